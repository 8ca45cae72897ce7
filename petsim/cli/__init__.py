"""The `petsim` command, the only part of the package that prints or exits."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence

import click

from petsim.cli.app import program
from petsim.cli.interrupts import interrupts_kept
from petsim.cli.output import BAD_INPUT, FAILED, INTERRUPTED, colour, complain
from petsim.errors import PetsimError, legible

__all__ = ["BAD_INPUT", "FAILED", "INTERRUPTED", "main"]

NAME = "petsim"


def main(arguments: Sequence[str] | None = None) -> None:
    """Run one command and exit: 0 if all is well, 1 if a check fails, 2 if the input is wrong."""
    if "_PETSIM_COMPLETE" in os.environ:
        program.main(prog_name=NAME)
    # what a terminal can't show is written out, not a reason to stop
    sys.stdout.reconfigure(errors="backslashreplace")  # type: ignore[union-attr]
    try:
        with interrupts_kept(_is_meant):
            code = _run(sys.argv[1:] if arguments is None else arguments)
        sys.stdout.flush()
    except BrokenPipeError:
        # the reader (head, less) has seen enough; keep Python from saying so again at exit
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except KeyboardInterrupt:
        complain("petsim: interrupted")
        sys.exit(INTERRUPTED)
    else:
        if code:
            sys.exit(code)


def _run(arguments: Sequence[str]) -> int:
    """Run one command: its exit code.

    This is what `click.Command.main` does, but for its own answers to Ctrl-C and a closed pipe.
    """
    try:
        with program.make_context(NAME, [*arguments], color=colour()) as context:
            program.invoke(context)
    except click.exceptions.Exit as end:
        return end.exit_code
    except click.UsageError as error:
        if error.ctx is not None:
            print(error.ctx.get_usage(), file=sys.stderr)
            print(f"Try '{error.ctx.command_path} --help' for help.", file=sys.stderr)
        complain(legible(f"Error: {error.format_message()}"))
        return BAD_INPUT
    except PetsimError as error:
        complain(str(error))
        return BAD_INPUT
    return 0


def _is_meant(error: Exception) -> bool:
    """Whether an error is how petsim ends a command, not what something made of Ctrl-C."""
    return isinstance(error, PetsimError | click.ClickException | click.exceptions.Exit)
