"""The `petsim` command, the only part of the package that prints or exits."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence

import click

from petsim.cli.app import program
from petsim.cli.interrupts import interrupts_kept
from petsim.cli.outlets import OutputError, open_what_is_closed, outlets
from petsim.cli.output import BAD_INPUT, FAILED, INTERRUPTED, colour, complain
from petsim.errors import PetsimError, legible

__all__ = ["BAD_INPUT", "FAILED", "INTERRUPTED", "main"]

NAME = "petsim"


def main(arguments: Sequence[str] | None = None) -> None:
    """Run one command and exit: 0 if all is well, 1 if a check fails, 2 if the input is wrong."""
    open_what_is_closed()
    if "_PETSIM_COMPLETE" in os.environ:
        program.main(prog_name=NAME)
    with outlets():
        code = _printed(sys.argv[1:] if arguments is None else arguments)
    if code:
        sys.exit(code)


def _printed(arguments: Sequence[str]) -> int:
    """Run one command and see that all it printed is out: its exit code."""
    code, signals = 0, list[int]()
    try:
        with interrupts_kept(_is_meant, signals):
            code = _run(arguments)
        sys.stdout.flush()
    except OutputError as error:
        # of a reader (head, less) that is gone there is nothing to say: it has seen enough
        if not isinstance(error.__cause__, BrokenPipeError):
            complain(f"petsim: the output can't be written: {error}")
            code = code or FAILED
    except KeyboardInterrupt:
        complain("petsim: interrupted")
        code = INTERRUPTED
    return _ended_by(signals) if code == INTERRUPTED else code


def _run(arguments: Sequence[str]) -> int:
    """Run one command: its exit code.

    This is what `click.Command.main` does, but for its own answers to Ctrl-C and a closed pipe.
    """
    try:
        with program.make_context(NAME, [*arguments], color=colour()) as context:
            program.invoke(context)
    except click.exceptions.Exit as end:
        return end.exit_code
    except SystemExit as end:
        return int(end.code or 0)
    except click.UsageError as error:
        if error.ctx is not None:
            print(error.ctx.get_usage(), file=sys.stderr)
            print(f"Try '{error.ctx.command_path} --help' for help.", file=sys.stderr)
        complain(legible(f"Error: {error.format_message()}"))
        return BAD_INPUT
    except PetsimError as error:
        complain(str(error))
        return BAD_INPUT
    except MemoryError as error:
        complain(f"petsim: not enough memory: {error or 'there is none left'}")
        return FAILED
    return 0


def _ended_by(signals: Sequence[int]) -> int:
    """Return the exit code of a command that signals have ended, that of the last."""
    return 128 + signals[-1] if signals else INTERRUPTED


def _is_meant(error: Exception) -> bool:
    """Whether an error is how petsim ends a command, not what something made of Ctrl-C."""
    return isinstance(
        error, PetsimError | OutputError | click.ClickException | click.exceptions.Exit
    )
