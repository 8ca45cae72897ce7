"""Intervals in groups: one below the other with their figures, or, if many, group beside group.

Source of groups side by side: Cleveland (1993), "Visualizing Data", multiway dot plots; from
memory.
"""

from __future__ import annotations

import math
from decimal import Decimal
from typing import NamedTuple

import numpy as np
from matplotlib.axes import Axes

from petsim.study.stats import Interval
from petsim.view.plots.sheet import GREY, HEIGHT, LINE, look, short, whiskers

HATCHES = ("", "///", "|||", "\\\\\\", "xxx", "---")
MOST_LINES = 40
"""Lines that groups below each other may take."""
CHARACTER = 0.11
"""Inches that a character takes, on average."""
COLUMN = 0.84
"""The part of the distance between groups side by side that each fills."""


class Row(NamedTuple):
    """One line of a forest: the name of what was estimated, its interval, and that in words."""

    name: str
    interval: Interval
    text: str


def ungrouped(groups: dict[str, list[Row]]) -> dict[str, list[Row]]:
    """Return groups of one row each as one group without a head, whose rows bear their heads."""
    return {"": [rows[0]._replace(name=head) for head, rows in groups.items()]}


def is_tall(groups: dict[str, list[Row]]) -> bool:
    """Say whether groups are better drawn side by side than below each other."""
    return len(groups) > 1 and _lines(groups) > MOST_LINES


def height_of(groups: dict[str, list[Row]]) -> float:
    """Return the height in inches of a picture of a forest, or of groups side by side."""
    if is_tall(groups):
        rows = len(next(iter(groups.values())))
        return max(
            HEIGHT, 1.7 + LINE * (rows + 1) + CHARACTER * max(len(short(head)) for head in groups)
        )
    return max(HEIGHT, 1.7 + LINE * _lines(groups))


def _lines(groups: dict[str, list[Row]]) -> float:
    return sum(len(rows) + 1.3 * bool(head) for head, rows in groups.items())


def forest(ax: Axes, groups: dict[str, list[Row]], *, by: float, bars: bool) -> None:
    """Draw intervals as whiskers, one a line, in groups under heads, with their text beside.

    Args:
        ax: what to draw on.
        groups: the rows by the head of their group, which may be empty.
        by: what estimates are multiplied by, such as 100 for shares in per cent.
        bars: whether a bar leads from 0 to each estimate.
    """
    ticks: list[tuple[float, str, bool]] = []
    y = 0.0
    for head, rows in groups.items():
        if head:
            ticks.append((y + 0.3, head, True))
            y += 1.3
        for place, row in enumerate(rows):
            own = look(place)
            if bars:
                hatch, edge = HATCHES[place % len(HATCHES)], "black"
                width = by * row.interval.estimate
                ax.barh(y, width, 0.7, color=own["color"], alpha=0.55, hatch=hatch, edgecolor=edge)
            ax.errorbar(
                [by * row.interval.estimate],
                [y],
                xerr=whiskers([row.interval], by),
                color="black" if bars else own["color"],
                marker="" if bars else own["marker"],
                linestyle="",
                capsize=3,
            )
            ax.text(1.02, y, row.text, transform=ax.get_yaxis_transform(), va="center")
            ticks.append((y, row.name, False))
            y += 1
    ax.set_yticks([t for t, _, _ in ticks], [short(text, 24) for _, text, _ in ticks])
    for label, (_, _, bold) in zip(ax.get_yticklabels(), ticks, strict=True):
        label.set_fontweight("bold" if bold else "normal")
    ax.tick_params(axis="y", length=0)
    ax.grid(visible=False, axis="y")
    ax.set_ylim(y - 0.4, -0.6)


def side_by_side(
    ax: Axes, groups: dict[str, list[Row]], *, by: float, whole: float | None = None
) -> None:
    """Draw the same rows in each group, group beside group under its head, each from 0 on.

    Args:
        ax: what to draw on.
        groups: the rows by the head of their group, with the same names in each.
        by: what estimates are multiplied by, such as 100 for shares in per cent.
        whole: the value at which each group ends; by default where its own intervals do.
    """
    rows = next(iter(groups.values()))
    for place, group in enumerate(groups.values()):
        # of a single life the ends are unknown
        end = whole or rounded_up(by * float(np.nanmax([row.interval for row in group])))
        scaled = COLUMN * by / end
        own = look(place)
        ax.errorbar(
            [place + scaled * row.interval.estimate for row in group],
            range(len(rows)),
            xerr=whiskers([row.interval for row in group], scaled),
            color=own["color"],
            marker=own["marker"],
            linestyle="",
            capsize=2,
        )
        ax.axvline(place, color=GREY, linewidth=0.8, zorder=0)
        ax.text(place + COLUMN, len(rows), f"{end:g}", ha="right", va="center")
    ax.xaxis.tick_top()
    middle = [place + COLUMN / 2 for place in range(len(groups))]
    ax.set_xticks(middle, [short(head) for head in groups], rotation=90)
    ax.set_yticks(range(len(rows)), [short(row.name, 16) for row in rows])
    ax.tick_params(length=0)
    ax.grid(visible=False, axis="x")
    ax.set_xlim(-0.1, len(groups))
    ax.set_ylim(len(rows) + 0.5, -0.6)


def rounded_up(x: float) -> float:
    """Return x rounded up to two digits, or to one if it is below 0.1; 1 if it is 0."""
    if x == 0:
        return 1
    digit = Decimal(1).scaleb(math.floor(math.log10(x)) - (x >= 0.1))
    return float(math.ceil(Decimal(x) / digit) * digit)
