"""How an answer leaves a command: as text or data, and as a page and a picture."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any, NamedTuple

from petsim.cli.output import INTERRUPTED, print_json, print_text, width, write_picture


class Files(NamedTuple):
    """The files in which an answer is shown too, where they are asked for."""

    report: Path | None
    plot: Path | None


def files_named(report: str | None, plot: str | None) -> Files:
    """Return the files of these names, before anything is worked out.

    Raises:
        ArgumentError: one has an ending that can't be written.
    """
    from petsim.study.writing import path_named

    return Files(
        None if report is None else path_named(report, ".html", ".htm"),
        None if plot is None else path_named(plot, ".svg", ".png", ".pdf"),
    )


def give(result: Any, answer: Any, files: Files, *, as_json: bool) -> None:
    """Print an answer, show it in files, and exit if it was interrupted.

    Args:
        result: what was found, with `as_dict`, `plot` and `interrupted`.
        answer: the same in words, as `petsim.view.answers` has it.
    """
    from petsim.view import answers
    from petsim.view import report as pages

    if as_json:
        print_json(result.as_dict())
    else:
        print_text(answers.text(answer, width()))
    if files.report is not None:
        pages.write(pages.of(result), files.report)
        print_text(f"{files.report}: written", aside=True)
    if files.plot is not None:
        write_picture(result.plot(), files.plot, aside=True)
    if result.interrupted:
        sys.exit(INTERRUPTED)
