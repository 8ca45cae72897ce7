"""The `petsim` command, the only part of the package that prints or exits."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence

from petsim.cli.arguments import parser
from petsim.cli.commands import BAD_INPUT, FAILED, INTERRUPTED
from petsim.cli.interrupts import interrupts_kept

__all__ = ["BAD_INPUT", "FAILED", "INTERRUPTED", "main"]


def main(arguments: Sequence[str] | None = None) -> None:
    """Run one command and exit: 0 if all is well, 1 if a check fails, 2 if the input is wrong."""
    given = parser().parse_args(arguments)
    # what a terminal can't show is written out, not a reason to stop
    sys.stdout.reconfigure(errors="backslashreplace")  # type: ignore[union-attr]
    try:
        with interrupts_kept(_is_for_the_user):
            given.command(given)
        sys.stdout.flush()
    except BrokenPipeError:
        # the reader (head, less) has seen enough; keep Python from saying so again at exit
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except KeyboardInterrupt:
        print("petsim: interrupted", file=sys.stderr)
        sys.exit(INTERRUPTED)
    except Exception as error:
        if not _is_for_the_user(error):
            raise
        print(error, file=sys.stderr)
        sys.exit(BAD_INPUT)


def _is_for_the_user(error: Exception) -> bool:
    from petsim.errors import PetsimError

    return isinstance(error, PetsimError)
