"""How an answer leaves a command: as text or data, and as a page and a picture."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from petsim.cli.output import INTERRUPTED, print_json, print_text, width, write_picture

if TYPE_CHECKING:
    from petsim.view.answers import Answer


class Files(NamedTuple):
    """The files in which an answer is shown too, where they are asked for."""

    report: Path | None
    plot: Path | None


NO_FILES = Files(None, None)


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


def give(
    result: Any,
    answer: Answer,
    files: Files = NO_FILES,
    *,
    as_json: bool,
    interrupted: bool = False,
) -> None:
    """Print an answer, show it in files, and exit if it was interrupted.

    Args:
        result: what was found, as data, and as pictures if files are named.
        answer: the same in words.
        files: in which it is shown too.
        as_json: whether the data are printed instead of the words.
        interrupted: whether it is only what was known at Ctrl-C.
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
    if interrupted:
        sys.exit(INTERRUPTED)
