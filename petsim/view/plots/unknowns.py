"""Which unknown of a pet or a rig moves the odds, and how much."""

from __future__ import annotations

from matplotlib.axes import Axes

from petsim.study.results import Sweep
from petsim.view.plots.forest import Row, forest, height_of
from petsim.view.plots.layout import finish
from petsim.view.plots.scales import about
from petsim.view.plots.sheet import axes, styled
from petsim.view.sweep import effects


@styled
def unknowns(sweep: Sweep, ax: Axes | None = None) -> Axes:
    """How much each unknown moves the odds of the aim, that which matters most first.

    By Morris's method in percentage points over its range, either way; by Sobol indices its share
    of the variance of the odds, alone and together with the others.

    Raises:
        ArgumentError: the sweep was not made by `petsim.sensitivity`, or is not finished.
    """
    results = effects(sweep)
    if results.by_morris:
        what, method = "change of the odds (percentage points)", "Morris's method"
        rows = zip(results.rows, results.intervals, strict=True)
        groups = {"": [Row(path, interval, size) for (path, size, *_), [interval] in rows]}
    else:
        what, method = "share of the variance of the odds (%)", "Sobol indices"
        names = results.head[1:]
        groups = {
            path: [*map(Row, names, intervals, texts)]
            for (path, *texts), intervals in zip(results.rows, results.intervals, strict=True)
        }
    ax = axes(ax, height_of(groups))
    forest(ax, groups, by=100)
    ax.set_xlim(-3, 103)
    ax.axvline(0, color="black", linewidth=1.2, gid="nothing")
    ax.set_xlabel(what)
    how = f"{method}, over the whole ranges. Whiskers: 95 % intervals, by resampling."
    small = f"{about(sweep, sweep.odds())} {how} {results.warning}".strip()
    return finish(ax, f"Which unknown moves the {sweep.design.aim.figure}?", small)
