"""Text laid out: tables aligned at the decimal point, paragraphs, counts with their noun."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from textwrap import fill

Row = tuple[str, ...]
"""The cells of a line of a table."""
Column = dict[str, str]
"""The cells below a head by their labels, alike in all columns of a table."""


def table(head: Row, rows: Sequence[Row], indent: str = "") -> str:
    """Return rows under a head (left out if empty); numbers line up at the decimal point.

    Args:
        head: as many cells as each row has.
        rows: one or more.
        indent: what each line begins with.
    """
    lines = list(zip(*(_aligned(column) for column in zip(*rows, strict=True)), strict=True))
    if any(head):
        lines.insert(0, head)
    widths = [max(map(len, column)) for column in zip(*lines, strict=True)]
    padded = (map(str.ljust, line, widths) for line in lines)
    return "\n".join((indent + "  ".join(line)).rstrip() for line in padded)


def side_by_side(
    title: str,
    heads: Sequence[str],
    columns: Sequence[Column],
    width: int,
    bars: Sequence[Row] | None = None,
) -> Iterator[str]:
    """Return a table in as many parts, one below the other, as its width asks for.

    Args:
        title: written above each part.
        heads: one for each column.
        columns: with the same labels, which begin the lines of each part.
        width: characters of a line; a single column may be wider.
        bars: for each column, what is drawn beside its cells, if there is room for all bars and
            the columns of each part stay the same.
    """
    labels = list(columns[0])
    room = width - 2 - max(map(len, labels))
    cells = [_aligned(list(column.values())) for column in columns]
    parts = _parts(heads, cells, room)
    if bars is not None:
        barred = _parts(heads, list(map(_beside, cells, bars)), room)
        as_before = list(map(len, barred)) == list(map(len, parts))
        if as_before and all(_width(part) <= room for part in barred):
            parts = barred
    for part in parts:
        head, *body = zip(("", *labels), *part, strict=True)
        yield f"{title}\n{table(head, body, '  ')}"


def paragraph(text: str, width: int) -> str:
    """Return text in lines no longer than a width, none of which begins with a percent sign."""
    kept = text.replace(" %", "\N{NO-BREAK SPACE}%")
    return fill(kept, width).replace("\N{NO-BREAK SPACE}", " ")


def counted(n: int, what: str = "life") -> str:
    """Return a count with its noun, in the plural but for one."""
    plural = {"life": "lives", "care miss": "care misses"}.get(what, f"{what}s")
    return f"1 {what}" if n == 1 else f"{n} {plural}"


def _aligned(cells: Sequence[str]) -> list[str]:
    """Cells shifted so that the units of the numbers they begin with stand in one column."""
    numbers = [re.match(r"[+-]?\d+", cell) for cell in cells]
    room = max((number.end() for number in numbers if number), default=0)
    return [
        " " * (room - number.end() if number else 0) + cell
        for number, cell in zip(numbers, cells, strict=True)
    ]


def _beside(cells: Sequence[str], bars: Sequence[str]) -> list[str]:
    """Cells with a bar to the right of each, all bars beginning in one column."""
    room = max(map(len, cells))
    return [f"{cell:{room}}  {bar}".rstrip() for cell, bar in zip(cells, bars, strict=True)]


def _parts(heads: Sequence[str], cells: Sequence[Sequence[str]], room: int) -> list[list[Row]]:
    """Columns under their heads, as many side by side as there is room for."""
    parts: list[list[Row]] = []
    for column in ((head, *below) for head, below in zip(heads, cells, strict=True)):
        if parts and _width([*parts[-1], column]) <= room:
            parts[-1].append(column)
        else:
            parts.append([column])
    return parts


def _width(columns: Sequence[Row]) -> int:
    return sum(2 + max(map(len, column)) for column in columns)
