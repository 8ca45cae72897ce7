"""The parts of a page: sections with their pictures and tables."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from petsim.errors import ArgumentError
from petsim.spec.model import Model
from petsim.view.assumed import assumed
from petsim.view.picture import Picture

ASSUMED = (
    "The model's numbers are taken for the pet's; the intervals say nothing of that. Trust "
    "differences before odds, and odds before times to the hour.",
    "Errors of eyes and hands, outages and the pet's own chance are independent of each other, but "
    "that eyes err together in a spell of bad light.",
    "A routine does not change in the course of a life, and misbehaviour is never seen.",
    "Every simplification, what it would change and how one would notice is in petsim's manuals "
    "of models and regimes.",
)

ACROSS = 4
"""Columns of a block of a table, beside what its rows are about."""


@dataclass(frozen=True)
class PageTable:
    """A table: its caption, its head and its rows, each begun by what it is about.

    prose: whether its cells are sentences, which may be broken, and not figures.
    """

    caption: str
    head: Sequence[str]
    rows: Sequence[Sequence[str]]
    prose: bool = False

    @property
    def blocks(self) -> list[tuple[Sequence[str], list[Sequence[str]]]]:
        """The head and rows of its parts, each with `ACROSS` columns at most."""
        number = -(-(len(self.head) - 1) // ACROSS)
        across = -(-(len(self.head) - 1) // number)
        parts = [
            range(1 + across * n, min(1 + across * (n + 1), len(self.head))) for n in range(number)
        ]
        return [
            (
                [self.head[0], *(self.head[c] for c in part)],
                [[row[0], *(row[c] for c in part)] for row in self.rows],
            )
            for part in parts
        ]


@dataclass(frozen=True)
class Section:
    """A part of a page: a question of the reader's, and the pictures and tables that answer it.

    left_out: of what can't be drawn or shown of this result, a sentence why.
    """

    question: str
    pictures: Sequence[Picture]
    tables: Sequence[PageTable]
    left_out: Sequence[str] = ()


@dataclass(frozen=True)
class Report:
    """What a page says, from the question and its answer to how to repeat it."""

    question: str
    answer: str
    sections: Sequence[Section]
    provenance: Mapping[str, str]
    command: str
    assumed: Sequence[str] = ASSUMED

    @property
    def pictures(self) -> list[Picture]:
        """The pictures of all sections."""
        return [picture for section in self.sections for picture in section.pictures]

    @property
    def tables(self) -> list[PageTable]:
        """The tables of all sections."""
        return [table for section in self.sections for table in section.tables]

    @property
    def left_out(self) -> list[str]:
        """Why pictures are missing, of all sections."""
        return [sentence for section in self.sections for sentence in section.left_out]


@dataclass(frozen=True)
class Planned:
    """A section before its pictures are drawn: its question, what draws them, and its tables.

    draw: what returns the axes of each picture, or the picture itself. remark: a sentence on what
    it leaves out, if it does.
    """

    question: str
    draw: Sequence[Callable[[], Any]]
    tables: Sequence[PageTable] = ()
    remark: str = ""


def drawn(planned: Iterable[Planned]) -> list[Section]:
    """Sections with their pictures, each described by what is written in it.

    Instead of a picture that can't be drawn there is a sentence why; a section without a picture, a
    table or a sentence is left out. Where a terminal can, a line says what is drawn.
    """
    from tqdm import tqdm

    sections = [*planned]
    draw = [each for section in sections for each in section.draw]
    # from the last on, as a helper begins with the first
    shown = tqdm(draw[::-1], desc="pictures", unit="", leave=False, disable=None)
    found = {each: _found(each) for each in shown}
    return [*filter(None, (_finished(section, found) for section in sections))]


def _found(draw: Callable[[], Any]) -> Picture | str:
    """What draws a picture has drawn, or why it can't."""
    try:
        drawn = draw()
        if isinstance(drawn, Picture):
            return drawn
        from petsim.view import plots

        return plots.as_svg(drawn)
    except ArgumentError as error:
        return f"No picture here: {error}."


def _finished(section: Planned, found: Mapping[Callable[[], Any], Picture | str]) -> Section | None:
    """A section with its pictures; None if nothing is in it."""
    drawn = [found[draw] for draw in section.draw]
    pictures = [each for each in drawn if isinstance(each, Picture)]
    left_out = [section.remark] if section.remark else []
    left_out += [each for each in drawn if isinstance(each, str)]
    if not (pictures or section.tables or left_out):
        return None
    return Section(section.question, pictures, section.tables, left_out)


def assumed_of(model: Model) -> tuple[str, ...]:
    """What is assumed of lives of a model, or of the pet that they take over."""
    return (*ASSUMED, *filter(None, [assumed(model)]))
