"""Odds at the points of a sample against each parameter, with a smooth."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from matplotlib.axes import Axes

from petsim.errors import ArgumentError
from petsim.study.results import Sweep
from petsim.study.stats import Interval, mean_interval
from petsim.view import aims
from petsim.view.plots import panels
from petsim.view.plots.colours import AIM
from petsim.view.plots.layout import finish
from petsim.view.plots.scales import about, numbers_in, percent_limits, scale_of, unit_of, varied
from petsim.view.plots.sheet import HEIGHT, axes, short, styled, whiskers
from petsim.view.sweep import values_of_cell

if TYPE_CHECKING:
    import pandas as pd

MOST_PANELS = 8
FEW, USUAL, MOST = 3, 12, 8
"""Local means along a parameter, of few points each; points of one else; local means at most."""
FAINT = "#8a8a8a"
"""A point."""


class Cloud(NamedTuple):
    """The odds at all points against one parameter.

    path: of it. label: with its unit. places, odds: of each point, the odds as shares. names: of
    values that are texts, which stand at 0, 1, 2 and so on. smooth: places and local means.
    """

    path: str
    label: str
    places: list[float]
    odds: list[float]
    names: list[str]
    smooth: list[tuple[float, Interval]]

    @property
    def reach(self) -> float:
        """How far the local means are from each other, at most."""
        means = [interval.estimate for _, interval in self.smooth]
        return max(means) - min(means)

    @property
    def is_shown(self) -> bool:
        """Whether some interval of a local mean is clear of another."""
        lows, highs = ([interval[end] for _, interval in self.smooth] for end in (1, 2))
        return max(lows) > min(highs)


@styled
def scatter(sweep: Sweep, ax: Axes | None = None, *, x: str | None = None) -> Axes:
    """Odds of the aim at each cell of a sweep against each parameter, that which moves them first.

    Made for samples, whose points lie on no line. The line joins local means: the points in the
    order of the parameter, in up to 8 groups of as many points each, of every group the mean odds
    at the mean place, with Student's 95 % interval over its points as a band (a regressogram;
    Tukey (1961), "Curves as parameters, and touch estimation"; from memory). The band has in it
    what the other parameters do. Of texts, and of up to 8 numbers, each has a mean of its own.

    Args:
        sweep: any sweep.
        ax: what to draw on: of one parameter, x or that which moves the odds most.
        x: path of the only parameter to draw.

    Raises:
        ArgumentError: nothing is simulated yet, or there is no such parameter.
    """
    sweep.ensure_begun()
    odds = sweep.odds()
    paths = varied(sweep)
    if x is not None and x not in paths:
        from petsim.errors import choice

        raise ArgumentError(f"x: {x!r}; {choice(x, paths)}")
    if not paths:
        raise ArgumentError("scatter: nothing varies; expected a sweep of several cells")
    clouds = [_cloud(sweep, odds, path) for path in ([x] if x else paths)]
    clouds.sort(key=lambda cloud: -cloud.reach)
    shown = clouds[: 1 if ax is not None else MOST_PANELS]
    upright = aims.upright(sweep.design.aim)
    drawn_on = [axes(ax, HEIGHT)] if len(shown) == 1 else _panels(shown)
    for panel, cloud in zip(drawn_on, shown, strict=True):
        _draw_cloud(panel, cloud, 50 if len(shown) == 1 else panels.room_of(2))
    percent_limits(drawn_on[0], [Interval(y, y, y) for cloud in shown for y in cloud.odds])
    question = _question(sweep, clouds)
    small = _small_print(sweep, odds, shown, len(clouds))
    if len(shown) == 1:
        drawn_on[0].set(xlabel=shown[0].label, ylabel=upright)
        return finish(drawn_on[0], question, small)
    return panels.finish_panels(drawn_on, question, small, upright)


def _panels(shown: Sequence[Cloud]) -> list[Axes]:
    drawn_on = panels.side_by_side(len(shown), 2, one_scale=False)
    for panel, cloud in zip(drawn_on, shown, strict=True):
        panel.set_xlabel(panels.broken(cloud.label, panels.room_of(2)))
    return drawn_on


def _cloud(sweep: Sweep, odds: pd.DataFrame, path: str) -> Cloud:
    """The points of a parameter and their local means."""
    texts = [values_of_cell(sweep, odds, int(cell))[path] for cell in odds.index]
    estimates = [float(x) for x in odds["estimate"]]
    common, bare, known = numbers_in(texts)
    if not known:
        names = scale_of(sweep, path).texts
        places = [float(names.index(text)) for text in texts]
        return Cloud(path, path, places, estimates, names, _means(places, estimates))
    unit, factor = unit_of(bare, max(known))
    places = [x / factor for x in known]
    in_units = ", ".join(filter(None, (common, unit)))
    label = f"{path} ({in_units})" if in_units else path
    smooth = _means if len({*places}) <= MOST else _smooth
    return Cloud(path, label, places, estimates, [], smooth(places, estimates))


def _smooth(places: Sequence[float], odds: Sequence[float]) -> list[tuple[float, Interval]]:
    """The local means along a parameter: its groups' mean places and mean odds."""
    groups = max(1, min(MOST, len(places) // USUAL), min(FEW, len(places) // FEW))
    order = np.argsort(places, kind="stable")
    return [
        (float(np.mean(np.array(places)[group])), mean_interval(np.array(odds)[group]))
        for group in np.array_split(order, groups)
    ]


def _means(places: Sequence[float], odds: Sequence[float]) -> list[tuple[float, Interval]]:
    """The mean odds at each place."""
    return [
        (place, mean_interval(np.array(odds)[np.array(places) == place]))
        for place in sorted({*places})
    ]


def _draw_cloud(ax: Axes, cloud: Cloud, room: int) -> None:
    """Draw the points and the local means of a parameter, in per cent."""
    ax.scatter(cloud.places, [100 * y for y in cloud.odds], 14, color=FAINT, alpha=0.6, gid="cells")
    middle = [place for place, _ in cloud.smooth]
    intervals = [interval for _, interval in cloud.smooth]
    means = [100 * interval.estimate for interval in intervals]
    if cloud.names:
        reach = whiskers(intervals, 100)
        ax.errorbar(middle, means, yerr=reach, color=AIM, marker="o", linestyle="", capsize=3)
        names = [short(name, max(6, room // len(cloud.names))) for name in cloud.names]
        ax.set_xticks(range(len(names)), names)
        ax.set_xlim(-0.5, len(names) - 0.5)
        return
    low, high = ([100 * interval[end] for interval in intervals] for end in (1, 2))
    ax.fill_between(middle, low, high, color=AIM, alpha=0.2, linewidth=0)
    ax.plot(middle, means, color=AIM, marker="o", gid="smooth")
    ax.locator_params(axis="x", nbins=max(2, min(6, room // 5)))


def _question(sweep: Sweep, clouds: Sequence[Cloud]) -> str:
    """Which parameter moves the odds most, if that is shown."""
    first, aim = clouds[0], sweep.design.aim
    if not first.is_shown:
        return f"No parameter is seen to move the {aim.figure}"
    means = [interval.estimate for _, interval in first.smooth]
    among = f", of {len(clouds)} parameters" if len(clouds) > 1 else ""
    return (
        f"{first.path} moves the {aim.figure} most{among}: on average from "
        f"{100 * min(means):.0f} to {100 * max(means):.0f} %"
    )


def _small_print(sweep: Sweep, odds: pd.DataFrame, shown: Sequence[Cloud], there_are: int) -> str:
    some = f" The {len(shown)} of {there_are} that move the odds most." * (len(shown) < there_are)
    return (
        f"{about(sweep, odds)}{some} A point a cell; line: local means. "
        "Bands, whiskers: Student's 95 % intervals of these."
    )
