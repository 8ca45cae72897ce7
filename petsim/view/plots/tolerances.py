"""How far each thing may go from what it is today, on scales of factors and of chances."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, NullLocator

from petsim.advice.limits.tolerance import Tolerance, Tolerances
from petsim.errors import ArgumentError
from petsim.study.stats import Interval
from petsim.view import tolerances as words
from petsim.view.plots.colours import IN_VAIN
from petsim.view.plots.forest import Row, forest, height_of
from petsim.view.plots.layout import finish
from petsim.view.plots.panels import finish_panels
from petsim.view.plots.sheet import axes, figure_of, short, styled

MOST = 10
"""Things that a scale shows, those with the least room."""
FACTORS = tuple(x * 10.0**power for power in range(-3, 4) for x in (1, 2, 5))
"""Factors that are written along the axis, as far as it goes and there is room."""
MOST_TICKS = 7
LEAST_REACH = 2.0
"""The factor to which the axis of factors goes at least, to either side of today."""
LEAST_FACTOR = 0.001
"""The least factor that is drawn."""
BAR = 7
"""Points that the bar from today to a limit is thick."""


@styled
def room(found: Tolerances, ax: Axes | None = None) -> Axes:
    """The limit of each thing as a factor of today's value; below, of chances that are 0 today.

    A bar leads from today to the limit. Whiskers are 95 % intervals. Of each scale those with the
    least room are shown.

    Args:
        found: as `petsim.tolerance` returns.
        ax: what to draw on, the factors alone if there are any; by default a picture of its own.

    Raises:
        ArgumentError: nothing has a limit that could be drawn.
    """
    limits = [each for each in found.each if each.has_limit]
    together = [found.together] if found.together and found.together.has_limit else []
    factors = [each for each in (*together, *limits) if math.isfinite(each.room)][:MOST]
    chances = [each for each in limits if each.unit == "chance" and math.isinf(each.room)][:MOST]
    groups = [group for group in (factors, chances) if group]
    if not groups:
        raise ArgumentError(f"room: {found.regime} has no limit that could be drawn")
    panels = _panels(groups) if ax is None else [ax]
    for panel, group in zip(panels, groups, strict=False):
        if group is factors:
            _draw_factors(panel, group)
        else:
            _draw_chances(panel, group)
    change = "better must" if found.falls_short else "worse may"
    title = f"How much {change} each be, for {words.goal(found)}?"
    left_out = len(limits) + len(together) - len(factors) - len(chances)
    small = (
        f"{short(found.regime, 30)}: {words.odds_today(found)}. Bars: from today to the limit. "
        f"Whiskers: 95 % intervals, seed {found.seed}."
        + (f" Left out: {left_out} others that have a limit." if left_out else "")
    )
    if len(panels) == 1:
        return finish(panels[0], title, small)
    return finish_panels(panels, title, small)


def _panels(groups: Sequence[Sequence[Tolerance]]) -> list[Axes]:
    heights = [height_of({"": _rows(group, 1.0)}, above=True) - 0.9 for group in groups]
    first = axes(None, sum(heights) + 0.9)
    if len(groups) == 1:
        return [first]
    figure = figure_of(first)
    first.remove()
    return [*figure.subplots(len(groups), height_ratios=heights)]


def _draw_factors(ax: Axes, group: Sequence[Tolerance]) -> None:
    intervals = [_factors_of(each) for each in group]
    rows = [_row(each, interval) for each, interval in zip(group, intervals, strict=True)]
    forest(ax, {"": rows}, by=1, above=True)
    _draw_bars(ax, 1.0, [interval.estimate for interval in intervals])
    least = min(1 / LEAST_REACH, *(each.low for each in intervals)) / 1.2
    most = 1.2 * max(LEAST_REACH, *(each.high for each in intervals))
    ax.set_xscale("log")
    ax.set_xlim(least, most)
    ticks = [factor for factor in FACTORS if least <= factor <= most]
    if len(ticks) > MOST_TICKS:
        ticks = [factor for factor in ticks if f"{factor:e}".startswith("1")]
    ax.set_xticks(ticks)
    ax.xaxis.set_major_formatter(FuncFormatter(lambda x, _: f"{x:g}"))
    ax.xaxis.set_minor_locator(NullLocator())
    ax.axvline(1, color="black", linewidth=1.2, gid="today")
    ax.set_xlabel("times today's", loc="left")


def _draw_chances(ax: Axes, group: Sequence[Tolerance]) -> None:
    rows = _rows(group, 100.0)
    forest(ax, {"": rows}, by=1, above=True)
    _draw_bars(ax, 0.0, [row.interval.estimate for row in rows])
    ax.set_xlim(-3, 103)
    ax.axvline(0, color="black", linewidth=1.2, gid="today")
    ax.set_xlabel("chance to err, none today (%)", loc="left")


def _rows(group: Sequence[Tolerance], by: float) -> list[Row]:
    return [_row(each, Interval(*(by * x for x in _ends(each)))) for each in group]


def _row(each: Tolerance, interval: Interval) -> Row:
    marker = "s" if each.kind == "all" else "D"
    return Row(words.name(each), interval, words.limit(each), marker=marker)


def _factors_of(each: Tolerance) -> Interval:
    return Interval(*(max(LEAST_FACTOR, x / each.today) for x in _ends(each)))


def _ends(each: Tolerance) -> tuple[float, float, float]:
    """The limit and its interval, as far as it was tried."""
    return each.limit, max(each.best, each.low), min(each.worst, each.high)


def _draw_bars(ax: Axes, today: float, limits: Iterable[float]) -> None:
    """Draw a bar from today to each limit, behind its whiskers."""
    # as errorbar drew them, each a line with one marker
    heights = [float(container[0].get_ydata()[0]) for container in ax.containers]
    for height, limit in zip(heights, limits, strict=True):
        ax.plot(
            [today, limit], [height, height], color=IN_VAIN, linewidth=BAR, zorder=0.5,
            solid_capstyle="butt", gid="from today",
        )  # fmt: skip
