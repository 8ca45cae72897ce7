"""Text laid out: tables aligned at the decimal point, paragraphs, counts with their noun."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from itertools import zip_longest
from textwrap import fill, wrap

Row = tuple[str, ...]
"""The cells of a line of a table."""
KEPT = "\N{NO-BREAK SPACE}"
MOST_COLUMNS = 3
"""Columns that may be told in parts below each other before they become rows."""
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


def within(head: Row, rows: Sequence[Row], width: int, below: Sequence[Sequence[str]] = ()) -> str:
    """Return a table, indented, in lines of a width, with all that is in it.

    Heads are broken first, then the widest cells, between words. Where that is not enough, the last
    columns stand below the others, beside the first one again.

    Args:
        head, rows: as for `table`.
        width: characters of a line; two columns whose words are longer stay wider.
        below: for each row, further lines that stand below it; none if empty.
    """
    cells = [_aligned(column) for column in zip(*rows, strict=True)]
    first, *others = ((name, *own) for name, own in zip(head, cells, strict=True))
    parts = []
    while others:
        fit = (n for n in range(len(others), 1, -1) if _least([first, *others[:n]]) <= width)
        n = next(fit, 1)
        parts.append([first, *others[:n]])
        others = others[n:]
    last = parts.pop()
    return "\n\n".join([*(_told(part, width) for part in parts), _told(last, width, below)])


def _least(columns: Sequence[Row]) -> int:
    """The width of columns that are broken wherever they may be."""
    return sum(2 + _longest(column) for column in columns)


def _longest(column: Row) -> int:
    """The length of the longest word of a column."""
    return max((len(word) for cell in column for word in unbroken(cell).split(" ")), default=0)


def _told(columns: Sequence[Row], width: int, below: Sequence[Sequence[str]] = ()) -> str:
    """Columns side by side, broken as far as the width asks for, with lines below their rows."""
    widths = _widths(columns, width)
    head, *rows = (
        [_broken(cell, room) for cell, room in zip(row, widths, strict=True)]
        for row in zip(*columns, strict=True)
    )
    high = max(map(len, head))
    lines = [*_in_lines([[""] * (high - len(cell)) + cell for cell in head], widths)]
    for row, its in zip_longest(rows, below, fillvalue=()):
        lines += _in_lines(row, widths)
        for line in its:
            lines += wrap(line, width, initial_indent=" " * 6, subsequent_indent=" " * 8)
    return "\n".join(lines)


def _widths(columns: Sequence[Row], width: int) -> list[int]:
    """The width of each column: that of its cells, or less where all are too wide."""
    least = [_longest(column) for column in columns]
    cells = [max(map(len, column[1:])) for column in columns]
    widths = [max(map(len, column)) for column in columns]
    while sum(widths) + 2 * len(widths) > width and widths > least:
        wide = [c for c in range(len(columns)) if widths[c] > least[c]]
        # a head is broken before a cell is
        widths[max(wide, key=lambda c: (widths[c] > cells[c], widths[c]))] -= 1
    return widths


def _broken(cell: str, room: int) -> list[str]:
    """The lines of a cell, all as far to the right as the first."""
    begins = " " * (len(cell) - len(cell.lstrip(" ")))
    lines = wrap(
        unbroken(cell),
        max(room, 1),
        subsequent_indent=begins,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [line.replace(KEPT, " ") for line in lines]


def _in_lines(cells: Sequence[Sequence[str]], widths: Sequence[int]) -> Iterator[str]:
    """The lines of a row whose cells have several each."""
    for line in zip_longest(*cells, fillvalue=""):
        yield f"  {'  '.join(map(str.ljust, line, widths))}".rstrip()


def unbroken(words: str) -> str:
    """Return words in which no figure is broken: an interval, a unit, what follows a ±."""
    return re.sub(r"\([^()]*\)| %| ± |^< ", lambda part: part[0].replace(" ", KEPT), words)


def side_by_side(
    title: str,
    heads: Sequence[str],
    columns: Sequence[Column],
    width: int,
    bars: Sequence[Row] | None = None,
) -> Iterator[str]:
    """Return a table in as many parts, one below the other, as its width asks for.

    More columns than `MOST_COLUMNS` that do not fit side by side become rows.

    Args:
        title: written above each part.
        heads: one for each column.
        columns: with the same labels, which begin the lines of each part.
        width: characters of a line; a single column may be wider.
        bars: for each column, what is drawn beside its cells, if there is room for all.
    """
    labels = list(columns[0])
    room = width - 2 - max(map(len, labels))
    cells = [_aligned(list(column.values())) for column in columns]
    parts = _parts(heads, cells, room)
    title = paragraph(title, width)
    if bars is not None:
        barred = _parts(heads, list(map(_beside, cells, bars)), room)
        if len(barred) == 1 and _width(barred[0]) <= room:
            parts = barred
    if len(parts) > 1 and len(heads) > MOST_COLUMNS:
        yield from _as_rows(title, heads, columns, width)
    else:
        yield from (_block(title, ("", *labels), part) for part in parts)


def _block(title: str, labels: Row, columns: Sequence[Row]) -> str:
    """Columns beside their labels, the first of which is above them all."""
    head, *body = zip(labels, *columns, strict=True)
    return f"{title}\n{table(head, body, '  ')}"


def _as_rows(
    title: str, heads: Sequence[str], columns: Sequence[Column], width: int
) -> Iterator[str]:
    """Columns as the rows of a table, their labels above in lines no wider than the cells."""
    room = width - 2 - max(map(len, heads))
    cells = [_aligned([column[label] for column in columns]) for label in columns[0]]
    above = [wrap(label, max(map(len, c))) for label, c in zip(columns[0], cells, strict=True)]
    # by their longest line, as what is above is broken
    parts = _parts([max(lines, key=len) for lines in above], cells, room)
    for part in parts:
        lines, above = above[: len(part)], above[len(part) :]
        most = max(map(len, lines))
        tops = [("",) * (most - len(line)) + tuple(line) for line in lines]
        stacked = [(*top, *below) for top, (_, *below) in zip(tops, part, strict=True)]
        yield _block(title, ("",) * most + tuple(heads), stacked)


def paragraph(text: str, width: int) -> str:
    """Return text in lines of a width; none begins with a percent sign or within a name."""
    kept = text.replace(" %", "\N{NO-BREAK SPACE}%")
    lines = fill(kept, width, break_on_hyphens=False)
    return lines.replace("\N{NO-BREAK SPACE}", " ")


def counted(n: int, what: str = "life") -> str:
    """Return a count with its noun, in the plural but for one."""
    plural = {"life": "lives", "miss": "misses", "care miss": "care misses"}.get(what, f"{what}s")
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
