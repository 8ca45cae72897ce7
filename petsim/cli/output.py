"""What commands print, and the codes with which they exit."""

from __future__ import annotations

import json
import os
import shutil
import sys
from typing import Any, TextIO

import click

FAILED = 1
BAD_INPUT = 2
INTERRUPTED = 130


def width() -> int:
    """Return how many columns the terminal has."""
    return shutil.get_terminal_size().columns


def print_json(data: Any) -> None:
    """Print plain data as JSON."""
    print(json.dumps(data, indent=2, allow_nan=False))


def in_colour(stream: TextIO) -> bool:
    """Whether bold type and colours go to a stream: to terminals, unless NO_COLOR forbids it."""
    return stream.isatty() and not os.environ.get("NO_COLOR")


def print_styled(text: str) -> None:
    """Print text with bold type or colours, where they can be shown."""
    click.echo(text, file=sys.stdout, color=in_colour(sys.stdout))


def page(text: str) -> None:
    """Print a long text, headings of Markdown in bold, in a terminal a page at a time."""
    if not sys.stdout.isatty():
        print(text)
        return
    styled, in_code = [], False
    for line in text.splitlines():
        in_code ^= line.startswith("```")
        styled.append(click.style(line, bold=True) if line[:1] == "#" and not in_code else line)
    click.echo_via_pager("\n".join(styled), color=in_colour(sys.stdout))


def complain(message: str) -> None:
    """Print what is wrong, what is to blame in red: on each line the words before `: `."""
    for line in message.splitlines():
        place, colon, rest = line.partition(": ")
        styled = click.style(f"{place}{colon}", fg="red") + rest if colon else line
        click.echo(styled, file=sys.stderr, color=in_colour(sys.stderr))


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
