"""An answer to a question of the maker's, written once for terminal, notebook and page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from markupsafe import Markup

from petsim.view import html
from petsim.view.tables import Row, narrowed, paragraph


class AnswerTable(NamedTuple):
    """A table of an answer: what it is of, the heads of its columns, and its rows."""

    title: str
    head: Row
    rows: Sequence[Row]


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
    tables = (
        f"{paragraph(table.title, width)}\n{narrowed(table.head, table.rows, width)}"
        for table in answer.tables
        if table.rows
    )
    lists = (_listed(each, width) for each in answer.lists if each.items)
    notes = (paragraph(note, width) for note in answer.notes)
    return "\n\n".join((paragraph(answer.gist, width), *tables, *lists, *notes))


def _listed(items: AnswerList, width: int) -> str:
    """A list under its title, each item with its further lines below its text."""
    lines = (paragraph(f"- {item}", width - 2).replace("\n", "\n  ") for item in items.items)
    return "\n".join((paragraph(items.title, width), *lines))


def markup(answer: Answer) -> Markup:
    """Return an answer as a notebook shows it."""
    return html.joined(
        html.answer(answer.gist),
        *(html.table(table.title, table.head, table.rows) for table in answer.tables),
        *(
            part
            for each in answer.lists
            if each.items
            for part in (html.paragraph(each.title), html.listing(each.items))
        ),
        *map(html.paragraph, answer.notes),
    )
