"""Tables of means shaded by their size: care misses, a row for each regime."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from matplotlib import pyplot as plt
from matplotlib.axes import Axes
from matplotlib.colors import to_hex

from petsim.study.stats import Interval
from petsim.view.numbers import decimals
from petsim.view.plots import regime_rows
from petsim.view.plots.colours import MISSES, PALE, ink_on
from petsim.view.plots.layout import wrapped
from petsim.view.plots.sheet import LINE, short

MOST_COLUMNS = 16
"""Columns of numbers that fill the width."""
HEAD = 22
"""Characters of the head of a column."""
APART = 7
"""Points between two groups of columns."""
DIGIT, DOT, SIGN = 8.3, 4.2, 11.0
"""Points that a digit, a decimal point, and ± take."""
NOT_REACHED = Interval(math.nan, math.nan, math.nan)


class Column(NamedTuple):
    """A column of means: its head, the interval of each row, and whether it begins a group."""

    head: str
    intervals: Sequence[Interval]
    begins: bool = False


def most_of(columns: Sequence[Column]) -> tuple[list[Column], list[str]]:
    """Return the columns that a table has room for, and the heads of those with the least."""
    ranked = sorted(columns, key=_largest, reverse=True)
    heads = {column.head for column in ranked[:MOST_COLUMNS]}
    kept = [column for column in columns if column.head in heads]
    return kept, [column.head for column in columns if column.head not in heads]


def _largest(column: Column) -> float:
    return max((x.estimate for x in column.intervals if x.estimate > 0), default=0)


def draw(ax: Axes | None, names: Sequence[str], columns: Sequence[Column]) -> tuple[Axes, bool]:
    """Draw means as a table, a row for each name, each cell shaded by its size on one scale.

    Below each mean is half the width of its interval, if there is room in all columns.

    Returns:
        The axes, and whether they have these halves.
    """
    apart = APART * sum(column.begins for column in columns)
    wide = (regime_rows.WIDE - apart) / len(columns)
    halves = wide >= SIGN + 3 * DIGIT + DOT and any(
        half_of(x) > 0 for column in columns for x in column.intervals
    )
    ax, places = regime_rows.begin(ax, names, 2 if halves else 1)
    most, left = max(map(_largest, columns)) or 1, 0.0
    for column in columns:
        left += APART * column.begins
        for interval, y in zip(column.intervals, places, strict=True):
            _draw_cell(ax, interval, (left, wide), (y, halves), most)
        left += wide
    _write_heads(ax, columns, wide)
    return ax, halves


def _draw_cell(
    ax: Axes, interval: Interval, across: tuple[float, float], down: tuple[float, bool], most: float
) -> None:
    """Draw a cell: from where and how wide, on which line and whether with half an interval."""
    (left, wide), (y, halves) = across, down
    high, ink = 1 + halves, "black"
    if interval.estimate > 0:
        colour = to_hex(MISSES(math.sqrt(interval.estimate / most)))
        ink = ink_on(colour)
        bars = ax.barh(y - 0.5 + high / 2, wide, high, left, color=colour)
        plt.setp(bars, edgecolor=PALE, linewidth=0.8, gid="cell")
    number, half = written(interval, wide)
    texts = [number, half] if halves and half else [number]
    first = y - 0.5 + high / 2 - (len(texts) - 1) / 2
    for place, text in enumerate(texts):
        cell = ax.text(left + wide / 2, first + place, text, color=ink, ha="center")
        cell.set(va="center_baseline", gid="half" if place else "mean")


def half_of(interval: Interval) -> float:
    """Return half the width of an interval of a mean; 0 if that is not known."""
    half = interval.high - interval.estimate
    return 0 if math.isnan(half) else half


def written(interval: Interval, wide: float) -> tuple[str, str]:
    """Return a mean, and half the width of its interval, to one digit of that or as room allows.

    Args:
        interval: of the mean, which is nan where no life got.
        wide: points that there are for it.
    """
    if math.isnan(interval.estimate):
        return "–", ""
    half = half_of(interval)
    digits = min(2, max(0, decimals(half) - 1)) if half > 0 else 0
    if not half and interval.estimate != round(interval.estimate):
        digits = 2
    while digits and _width(f"{interval.estimate:.{digits}f}") > wide:
        digits -= 1
    text = f"{interval.estimate:.{digits}f}"
    if interval.estimate and not float(text):
        text = "<" + f"{10.0**-digits:g}".lstrip("0")
        return text, ""
    return text, f"±{half:.{digits}f}" if half >= 0.5 * 10.0**-digits else ""


def _width(text: str) -> float:
    return sum(DOT if letter == "." else DIGIT for letter in text)


def _write_heads(ax: Axes, columns: Sequence[Column], wide: float) -> None:
    """Write the head of each column above it, upright if its words are too long to lie."""
    heads = [ax.text(0, 0, short(column.head, HEAD), gid="head") for column in columns]
    upright = max(_longest_word(ax, column.head) for column in columns) > wide - 2
    if upright:
        lines = max(regime_rows.width_of(ax, head) for head in heads) / (72 * LINE)
    else:
        for head, column in zip(heads, columns, strict=True):
            wrapped(head, column.head, wide / regime_rows.WIDE * ax.bbox.width)
        lines = max(head.get_text().count("\n") + 1 for head in heads)
    y, left = regime_rows.add_above(ax, lines + 0.2) + lines - 0.6, 0.0
    for head, column in zip(heads, columns, strict=True):
        left += APART * column.begins
        head.set(ha="center", va="bottom", rotation=90 if upright else 0)
        head.set_position((left + wide / 2, y))
        left += wide


def _longest_word(ax: Axes, head: str) -> float:
    """The width of the widest word of a head, in points of a row."""
    words = [ax.text(0, 0, word) for word in head.split()]
    widest = max(regime_rows.width_of(ax, word) for word in words)
    for word in words:
        word.remove()
    return widest
