"""An answer to a question of the maker's, written once for terminal, notebook and page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from markupsafe import Markup

from petsim.view import html
from petsim.view.html import Cell
from petsim.view.tables import Row, paragraph, within


class AnswerTable(NamedTuple):
    """A table of an answer: what it is of, the heads of its columns, and its rows.

    details: for each row, further lines: below it as text, and else in a last column. of_details:
    the head of that column. most: how many rows are shown as text; None if all are.
    """

    title: str
    head: Row
    rows: Sequence[Row]
    details: Sequence[Sequence[str]] = ()
    of_details: str = ""
    most: int | None = None

    @property
    def heads(self) -> Row:
        """The heads of all columns, with that of the details."""
        return (*self.head, self.of_details) if self.details else self.head

    @property
    def cells(self) -> Sequence[Sequence[Cell]]:
        """The rows with their details."""
        if not self.details:
            return self.rows
        return [(*row, lines) for row, lines in zip(self.rows, self.details, strict=True)]


class AnswerList(NamedTuple):
    """A list of an answer: what it is of, and its items."""

    title: str
    items: Sequence[str]


@dataclass(frozen=True)
class Answer:
    """What answers a question: a few sentences, the tables they rest on, and what to know of them.

    question: as a page is headed by it. gist: the answer. tables: without those that have no row.
    notes: paragraphs. lists: below the tables, without those that have no item.
    """

    question: str
    gist: str
    tables: Sequence[AnswerTable] = ()
    notes: Sequence[str] = field(default=())
    lists: Sequence[AnswerList] = ()


def text(answer: Answer, width: int = 80) -> str:
    """Return an answer as text, in lines of a width."""
    tables = (_as_text(table, width) for table in answer.tables if table.rows)
    lists = (_listed(each, width) for each in answer.lists if each.items)
    notes = (paragraph(note, width) for note in answer.notes)
    return "\n\n".join((paragraph(answer.gist, width), *tables, *lists, *notes))


def _as_text(table: AnswerTable, width: int) -> str:
    """A table under its title, with as many rows as text has, and how many more there are."""
    rows = within(table.head, table.rows[: table.most], width, table.details[: table.most])
    left = 0 if table.most is None else len(table.rows) - table.most
    more = [f"  and {left} more"] if left > 0 else []
    return "\n".join((paragraph(table.title, width), rows, *more))


def _listed(items: AnswerList, width: int) -> str:
    """A list under its title, each item with its further lines below its text."""
    lines = (paragraph(f"- {item}", width - 2).replace("\n", "\n  ") for item in items.items)
    return "\n".join((paragraph(items.title, width), *lines))


def markup(answer: Answer) -> Markup:
    """Return an answer as a notebook shows it."""
    return html.joined(
        html.answer(answer.gist),
        *(html.table(table.title, table.heads, table.cells) for table in answer.tables),
        *(
            part
            for each in answer.lists
            if each.items
            for part in (html.paragraph(each.title), html.listing(each.items))
        ),
        *map(html.paragraph, answer.notes),
    )
