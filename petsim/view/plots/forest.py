"""Intervals in groups, one below the other, with their figures beside."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from matplotlib.axes import Axes

from petsim.study.stats import Interval
from petsim.view.plots.sheet import GREY, LINE, short, whiskers

NAME, NAME_ABOVE = 24, 46
"""Characters of the name of a row, beside it or above it."""
LEAST = 2.7
"""Inches of a picture of few rows."""
ABOVE = 1.5
"""Lines that a name above its row takes, with the distance to the row before."""


class Row(NamedTuple):
    """One line of a forest: the name of what was estimated, its interval, and that in words.

    colour, marker: those of its estimate, if these mean something. filled: whether the marker is.
    beside: another value, drawn as an upright stroke, if there is one.
    """

    name: str
    interval: Interval
    text: str
    colour: str = "black"
    marker: str = "D"
    filled: bool = True
    beside: float | None = None


Groups = Mapping[str, Sequence[Row]]
"""Rows by the head of their group, which may be empty."""


def height_of(groups: Groups, *, above: bool = False) -> float:
    """Return the height in inches of a picture of a forest, as `forest` draws it."""
    each = 1 + ABOVE * above
    lines = sum(each * len(rows) + 1.3 * bool(head) for head, rows in groups.items())
    return max(LEAST, 1.9 + LINE * lines)


def forest(ax: Axes, groups: Groups, *, by: float, above: bool = False) -> None:
    """Draw intervals as whiskers, one a line, in groups under heads, with their text beside.

    Args:
        ax: what to draw on.
        groups: the rows of each group, in order.
        by: what estimates are multiplied by, such as 100 for shares in per cent.
        above: whether the name of each stands above it, where a long one has room.
    """
    ticks: list[tuple[float, str, bool]] = []
    y = 0.0
    for head, rows in groups.items():
        if head:
            ticks.append((y + 0.3, head, True))
            y += 1.3
        for row in rows:
            if above:
                _write_above(ax, row.name, y)
                y += ABOVE - 0.5
            else:
                ticks.append((y, row.name, False))
            ax.errorbar(
                [by * row.interval.estimate],
                [y],
                xerr=whiskers([row.interval], by),
                color=row.colour,
                # seen on white and on a dark page, however light or dark the marker is
                ecolor=row.colour if row.colour == "black" else GREY,
                marker=row.marker,
                markerfacecolor=row.colour if row.filled else "white",
                markeredgecolor=GREY if row.filled else row.colour,
                markersize=8,
                linestyle="",
                capsize=3,
            )
            if row.beside is not None:
                ax.plot([by * row.beside], [y], "|", color=GREY, markersize=14, markeredgewidth=2)
            ax.text(1.02, y, row.text, transform=ax.get_yaxis_transform(), va="center")
            y += 1.5 if above else 1
    ax.set_yticks([t for t, _, _ in ticks], [short(text, NAME) for _, text, _ in ticks])
    for label, (_, _, bold) in zip(ax.get_yticklabels(), ticks, strict=True):
        label.set_fontweight("bold" if bold else "normal")
    ax.tick_params(axis="y", length=0)
    ax.spines["left"].set_visible(not above)
    ax.grid(visible=False, axis="y")
    ax.set_ylim(y - 0.4, -0.6)


def _write_above(ax: Axes, name: str, y: float) -> None:
    """Write the name of a row above it, clear of what goes through it."""
    at, clear = ax.get_yaxis_transform(), {"facecolor": "white", "linewidth": 0, "pad": 1}
    ax.text(0.01, y, short(name, NAME_ABOVE), transform=at, va="center", bbox=clear, gid="name")
