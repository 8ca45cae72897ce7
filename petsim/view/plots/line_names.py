"""Names of the lines in panels, written once, where they are farthest apart."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise

import numpy as np
from matplotlib.axes import Axes
from matplotlib.text import Text

from petsim.study.stats import Interval
from petsim.view.plots.layout import spread
from petsim.view.plots.panels import CHARACTER, room_of
from petsim.view.plots.scales import Scale, unlike
from petsim.view.plots.sheet import figure_of, short
from petsim.view.plots.verdicts import Line

Panels = Mapping[str, Mapping[str, Line]]
"""The lines of each panel by their values."""
LONGEST = 20
"""Characters of a name."""
BESIDE = 9
"""Points from the last mark of a line to its name."""


def names_of(panels: Panels) -> dict[str, str]:
    """The name of each line; of lines that can't be told apart, all names under the first one.

    That is where in every panel each estimate is within the other's interval, all along.
    """
    values = [*next(iter(panels.values()))]
    short_names = dict(zip(values, unlike(values), strict=True))
    groups: list[list[str]] = []
    for value in values:
        if groups and all(_are_alike(panels, value, other) for other in groups[-1]):
            groups[-1].append(value)
        else:
            groups.append([value])
    return {
        group[0]: short(", ".join(short_names[value] for value in group), LONGEST)
        for group in groups
    }


def _are_alike(panels: Panels, one: str, other: str) -> bool:
    pairs = [(a, b) for lines in panels.values() for a, b in _beside(lines[one], lines[other])]
    return bool(pairs) and all(
        a.low <= b.estimate <= a.high and b.low <= a.estimate <= b.high for a, b in pairs
    )


def _beside(one: Line, other: Line) -> Iterator[tuple[Interval, Interval]]:
    """Pairs of the intervals of two lines at each place that both have."""
    known = dict(other)
    yield from ((interval, known[place]) for place, interval in one if place in known)


def _where(panels: Panels, names: Mapping[str, str]) -> tuple[int, int]:
    """The place of the panel, and the end of its lines (0 or -1), at which they are most apart."""

    def apart(where: tuple[int, int]) -> float:
        lines = [*panels.values()][where[0]]
        ends = sorted(lines[name][where[1]][1].estimate for name in names if lines[name])
        return min((b - a for a, b in pairwise(ends)), default=0.0)

    return max(((number, end) for end in (-1, 0) for number in range(len(panels))), key=apart)


def widen(
    axes: Sequence[Axes], panels: Panels, names: Mapping[str, str], scale: Scale, columns: int
) -> None:
    """Make room for the names at the end of the lines, in all panels as they share the axis."""
    if not any(names.values()) or [*names] == [""]:
        return
    _, end = _where(panels, names)
    wide = max(map(len, names.values())) + BESIDE / 72 / CHARACTER
    part = min(0.5, wide / (room_of(columns) + 2))
    low, high = axes[0].get_xlim()
    if scale.geometric:
        low, high = math.log(low), math.log(high)
    more = (high - low) * part / (1 - part)
    limits = (low, high + more) if end == -1 else (low - more, high)
    axes[0].set_xlim(*(map(math.exp, limits) if scale.geometric else limits))


def name_lines(axes: Sequence[Axes], panels: Panels, names: Mapping[str, str]) -> None:
    """Write the names beside the lines, in one panel, clear of each other."""
    if [*names] == [""]:
        return
    number, end = _where(panels, names)
    ax, lines = axes[number], [*panels.values()][number]
    drawn = {line.get_label(): line for line in ax.lines}
    texts, wanted = [], []
    for value, name in names.items():
        if not lines[value]:
            continue
        place, interval = lines[value][end]
        offset = (BESIDE if end == -1 else -BESIDE, 0)
        text = ax.annotate(
            name,
            xy=(place, 100 * interval.estimate),
            xytext=offset,
            textcoords="offset points",
            ha="left" if end == -1 else "right",
            va="center",
            gid="name of a line",
            arrowprops={"arrowstyle": "-", "linewidth": 0.7, "color": drawn[value].get_color()}
            if value in drawn
            else {"arrowstyle": "-", "linewidth": 0.7},
        )
        text.set_in_layout(False)
        texts.append(text)
        wanted.append(ax.transData.transform((place, 100 * interval.estimate))[1])
    heights = [Text.get_window_extent(text).height for text in texts]
    places = spread(wanted, heights, ax.bbox.y0, ax.bbox.y1)
    by = 72 / figure_of(ax).dpi
    for text, place, own in zip(texts, places, np.array(wanted), strict=True):
        text.set_position((text.xyann[0], by * (place - own)))
