"""What commands print, and the codes with which they exit."""

from __future__ import annotations

import errno
import json
import os
import re
import shutil
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from itertools import takewhile
from typing import TYPE_CHECKING, Any

import click

from petsim.errors import ArgumentError, legible
from petsim.view.manual import wrapped

if TYPE_CHECKING:
    from pathlib import Path

FAILED = 1
BAD_INPUT = 2
INTERRUPTED = 130


def width() -> int:
    """Return how many columns the terminal has."""
    return shutil.get_terminal_size().columns


def print_text(text: str, *, aside: bool = False) -> None:
    """Print text for people, in which names can't do anything to their terminal.

    Args:
        text: in lines.
        aside: whether it goes to the standard error, where it is in no reader's way.
    """
    print(legible(text, "\n"), file=sys.stderr if aside else sys.stdout)


def print_answer(text: str, marked: str | None = None) -> None:
    """Print text whose first paragraph is the answer: in bold, where that can be shown.

    Args:
        text: in paragraphs.
        marked: what the lines have that are about the aim, which are in bold too, if any are.
    """
    answer, blank, rest = legible(text, "\n").partition("\n\n")
    lines = [
        click.style(line, bold=True) if marked is not None and marked in line else line
        for line in rest.split("\n")
    ]
    print_styled(click.style(answer, bold=True) + blank + "\n".join(lines))


def print_diary(lines: Iterable[str]) -> None:
    """Print the lines of a diary, where that can be shown with the answer, up to the first empty
    line, in bold, and what went wrong in red.
    """
    lines = iter(lines)
    for line in takewhile(bool, lines):
        print_styled(click.style(legible(line), bold=True))
    print_styled("")
    for line in lines:
        wrong = "!" if "|" in line else r"CARE MISS \d+|DIES"
        print_styled(re.sub(wrong, lambda found: click.style(found[0], fg="red"), legible(line)))


def print_fit(text: str) -> None:
    """Print what a fit found: the answer in bold, and how well each value is told in colour."""
    answer, blank, rest = legible(text, "\n").partition("\n\n")
    colours = {"well": "green", "weak": "yellow", "predicted badly": "red"}
    told = re.sub(
        r"(?<=  |: )(well|weak)$|predicted badly",
        lambda found: click.style(found[0], fg=colours[found[0]]),
        rest,
        flags=re.MULTILINE,
    )
    print_styled(click.style(answer, bold=True) + blank + told)


def print_line(line: str) -> None:
    """Print a line, which it stays whatever the names in it have."""
    print(legible(line))


def print_json(data: Any) -> None:
    """Print plain data as JSON."""
    print(json.dumps(data, indent=2, allow_nan=False))


def write_picture(axes: Any, path: Path, *, aside: bool = False) -> None:
    """Write a picture to a file, whole or not at all, and say so.

    Args:
        axes: of the picture, as a function that draws returns them.
        path: of the file.
        aside: whether it is said on the standard error.
    """
    from petsim.study.writing import written_whole
    from petsim.view import plots

    with written_whole(path) as draft:
        plots.save(axes, draft)
    print_text(legible(f"{path}: written"), aside=aside)


def ensure_new(path: Path) -> None:
    """Refuse a file that can't be written or is one, before what is in it is worked out."""
    if not path.parent.is_dir():
        raise ArgumentError(f"{path}: can't be written: {os.strerror(errno.ENOENT)}")
    if path.exists():
        raise ArgumentError(f"{path}: is there already; expected a new file")


@contextmanager
def writing_new(path: Path) -> Iterator[None]:
    """Turn what keeps a new file from being written into an error for the user."""
    try:
        yield
    except FileExistsError:
        raise ArgumentError(f"{path}: is there already; expected a new file") from None
    except OSError as error:
        raise ArgumentError(f"{path}: can't be written: {error.strerror}") from error


def colour() -> bool | None:
    """Return whether there may be bold type and colours, as click takes it.

    None is for terminals alone, False is never: if NO_COLOR is set (see no-color.org).
    """
    return False if os.environ.get("NO_COLOR") else None


def print_styled(text: str) -> None:
    """Print text with bold type, where that can be shown."""
    click.echo(text, file=sys.stdout, color=colour())


def print_page(markdown: str) -> None:
    """Print a page of the manual; in a terminal as wide as that, a screen at a time."""
    if not sys.stdout.isatty():
        print(markdown)
        return
    blocks = wrapped(markdown, width())
    bold = (click.style(b, bold=True) if b.startswith("#") else b for b in blocks)
    click.echo_via_pager("\n\n".join(bold), color=colour())


def complain(message: str) -> None:
    """Print what is wrong, what is to blame in red: on each line the words before `: `."""
    for line in legible(message, "\n").split("\n"):
        place, colon, rest = line.partition(": ")
        styled = click.style(f"{place}{colon}", fg="red") + rest if colon else line
        click.echo(styled, file=sys.stderr, color=colour())


class _Formatter(click.HelpFormatter):
    """Writes help with its headings in bold."""

    def write_heading(self, heading: str) -> None:
        super().write_heading(click.style(heading, bold=True))


class _Context(click.Context):
    formatter_class = _Formatter


class Command(click.Command):
    """A command whose help has its headings in bold."""

    context_class = _Context


class Questions(click.Group):
    """A group whose help lists its commands by the question that they answer.

    Args:
        name: of the group.
        questions: the commands under each question.
        options: as for `click.Group`.
    """

    context_class = _Context

    def __init__(
        self, name: str, questions: dict[str, list[click.Command]], **options: Any
    ) -> None:
        commands = [command for listed in questions.values() for command in listed]
        super().__init__(name, {str(command.name): command for command in commands}, **options)
        self.questions = questions

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the commands, those of one question under one heading."""
        broadest = max(map(len, self.commands))
        for question, commands in self.questions.items():
            with formatter.section(question):
                formatter.write_dl(
                    [(f"{c.name:{broadest}}", c.get_short_help_str(limit=200)) for c in commands]
                )
