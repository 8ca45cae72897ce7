"""Small panels side by side under one question: their places, heads, labels and small print."""

from __future__ import annotations

import math
from collections.abc import Sequence
from textwrap import wrap
from typing import Any

from matplotlib import pyplot as plt
from matplotlib import rcParams
from matplotlib.axes import Axes

from petsim.view.plots.layout import NARROWER, lay_out, wrapped
from petsim.view.plots.sheet import GREY, LINE, WIDTH, figure_of

LEFT = 0.008
"""Where title and small print begin, in widths of the picture."""
BESIDE = 0.95
"""Inches that the label and the ticks of the upright axis take."""
CHARACTER = 0.105
"""Inches that a character takes, on average, rather more than less."""
HIGH = 2.15
"""Inches from the top to the foot of a panel."""
AROUND, USUAL_LINES = 1.9, 5
"""Inches that title, small print and the label below take, and lines of the first two in these."""
MOST_COLUMNS = 3


def columns_of(number: int, longest: int) -> int:
    """How many of a number of panels stand side by side, by the characters of the longest word."""
    fit = next((n for n in (MOST_COLUMNS, 2) if longest <= room_of(n)), 1)
    return min(number, 2 if number == 4 and fit > 1 else fit)


def columns_for(ticks: int) -> int:
    """How many panels stand side by side at most, by the number of texts below each."""
    return max(1, int((WIDTH - BESIDE) / (LINE * (ticks + 1))))


def room_of(columns: int) -> int:
    """The characters that fit across a panel, of some side by side."""
    return int((WIDTH - BESIDE) / columns / CHARACTER - 2)


def side_by_side(
    number: int, columns: int, *, lines: int = 0, below: float = 0, one_scale: bool = True
) -> list[Axes]:
    """The panels of a new picture, in rows from the top.

    Args:
        number: of panels. columns: side by side.
        lines: those of text above each.
        below: inches that ticks take below the lowest panels, beyond a line.
        one_scale: whether panels share the axis across; if not, each has labels below.
    """
    rows = math.ceil(number / columns)
    each = HIGH + LINE * lines + (0 if one_scale else 2.2 * LINE + below)
    size = (WIDTH, AROUND + rows * each + (below if one_scale else 0))
    _, grid = plt.subplots(
        rows, columns, figsize=size, squeeze=False, sharex=one_scale, sharey=True
    )
    flat = [*grid.flat]
    for spare in flat[number:]:
        spare.remove()
    return flat[:number]


def put_labels(panels: Sequence[Axes], columns: int, label: str) -> None:
    """Write the label of the shared axis below the lowest panel of each column, and ticks there."""
    for place, panel in enumerate(panels):
        is_lowest = place + columns >= len(panels)
        panel.tick_params(labelbottom=is_lowest)
        if is_lowest:
            panel.set_xlabel(broken(label, room_of(columns)))


def broken(path: str, room: int) -> str:
    """A label in lines that fit a room in characters, broken at spaces and dots."""
    lines = wrap(path.replace(".", ". "), max(room, 8), break_long_words=False)
    return "\n".join(lines).replace(". ", ".")


def put_heads(axes: Sequence[Axes], heads: Sequence[tuple[str, str]], columns: int) -> None:
    """Write the head of each panel above it, and below the head what it says, if anything."""
    room = room_of(columns)
    below = [wrap(says, room) for _, says in heads]
    for panel, (head, _), lines in zip(axes, heads, below, strict=True):
        # all heads of a row stand on one line
        pad = 5 + 72 * LINE * max(map(len, below))
        panel.set_title("\n".join(wrap(head, room)), fontsize=rcParams["font.size"], pad=pad)
        if lines:
            lines_above = max(map(len, below)) - len(lines)
            write_above(panel, "\n".join(lines), lines_above, gid="verdict")


def write_above(panel: Axes, text: str, lines: int = 0, **how: Any) -> None:
    """Write a text above a panel, from its left side on, a number of lines higher than the lowest.

    how: other arguments of the text, such as its weight.
    """
    panel.annotate(
        text,
        xy=(0, 1),
        xytext=(0, 5 + 72 * LINE * lines),
        xycoords="axes fraction",
        textcoords="offset points",
        **how,
    )


def lines_of(heads: Sequence[tuple[str, str]], columns: int) -> int:
    """How many lines `put_heads` takes."""
    room = room_of(columns)
    return sum(max(len(wrap(pair[i], room)) for pair in heads) for i in (0, 1))


def finish_panels(panels: Sequence[Axes], question: str, small: str, upright: str = "") -> Axes:
    """Write the question above all panels, the small print below and the upright label beside."""
    figure, size = figure_of(panels[0]), rcParams["font.size"]
    title = figure.suptitle(
        question, x=LEFT, ha="left", fontsize=rcParams["axes.titlesize"], fontweight="bold"
    )
    note = figure.supxlabel(small, x=LEFT, ha="left", color=GREY, fontsize=size)
    note.set_gid("small print")
    if upright:
        figure.supylabel(upright, fontsize=size, multialignment="center")
    width = NARROWER * (1 - 2 * LEFT) * figure.bbox.width
    wrapped(title, question, width)
    wrapped(note, small, width)
    lines = 2 + title.get_text().count("\n") + note.get_text().count("\n")
    figure.set_figheight(figure.get_figheight() + LINE * max(0, lines - USUAL_LINES))
    lay_out(panels[0])
    return panels[0]
