"""Intervals in groups, one below the other, with their figures beside."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from matplotlib.axes import Axes

from petsim.study.stats import Interval
from petsim.view.plots.sheet import GREY, HEIGHT, LINE, short, whiskers

NAME = 24
"""Characters of the name of a row."""


class Row(NamedTuple):
    """One line of a forest: the name of what was estimated, its interval, and that in words.

    colour, marker: those of its estimate, if these mean something. filled: whether the marker is.
    """

    name: str
    interval: Interval
    text: str
    colour: str = "black"
    marker: str = "D"
    filled: bool = True


def height_of(groups: dict[str, Sequence[Row]]) -> float:
    """Return the height in inches of a picture of a forest."""
    lines = sum(len(rows) + 1.3 * bool(head) for head, rows in groups.items())
    return max(HEIGHT, 1.7 + LINE * lines)


def forest(ax: Axes, groups: dict[str, Sequence[Row]], *, by: float) -> None:
    """Draw intervals as whiskers, one a line, in groups under heads, with their text beside.

    Args:
        ax: what to draw on.
        groups: the rows by the head of their group, which may be empty.
        by: what estimates are multiplied by, such as 100 for shares in per cent.
    """
    ticks: list[tuple[float, str, bool]] = []
    y = 0.0
    for head, rows in groups.items():
        if head:
            ticks.append((y + 0.3, head, True))
            y += 1.3
        for row in rows:
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
            ax.text(1.02, y, row.text, transform=ax.get_yaxis_transform(), va="center")
            ticks.append((y, row.name, False))
            y += 1
    ax.set_yticks([t for t, _, _ in ticks], [short(text, NAME) for _, text, _ in ticks])
    for label, (_, _, bold) in zip(ax.get_yticklabels(), ticks, strict=True):
        label.set_fontweight("bold" if bold else "normal")
    ax.tick_params(axis="y", length=0)
    ax.grid(visible=False, axis="y")
    ax.set_ylim(y - 0.4, -0.6)
