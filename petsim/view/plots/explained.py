"""What each imperfection of a regime costs, as a forest of shares."""

from __future__ import annotations

import math

from matplotlib.axes import Axes

from petsim.advice.explaining.explanation import Explanation
from petsim.errors import ArgumentError
from petsim.view import explained as words
from petsim.view.plots.forest import Groups, Row, forest, height_of
from petsim.view.plots.layout import finish
from petsim.view.plots.sheet import axes, short, styled


@styled
def costs(result: Explanation, ax: Axes | None = None) -> Axes:
    """Fair share of the fall of each imperfection, dearest first, with 95 % intervals.

    Raises:
        ArgumentError: the regime has no imperfection, or an interrupt left no time for the shares.
    """
    known = [part for part in result.there if not math.isnan(part.share.estimate)]
    if not known:
        raise ArgumentError(f"costs: {result.regime} has no imperfection whose cost is known")
    rows = [Row(words.name(part), part.share, words.points(part.share)) for part in known]
    groups: Groups = {"": rows}
    ax = axes(ax, height_of(groups))
    forest(ax, groups, by=100)
    ax.axvline(0, color="0.6", linewidth=1, zorder=0)
    ax.set_xlabel(f"cost, points of the {result.aim.figure}", loc="left")
    between = 100 * result.fall.estimate
    odds, ideal = (f"{100 * x.estimate:.0f} %" for x in (result.odds, result.ideal))
    small = (
        f"{odds} as it is, {ideal} with the routine carried out flawlessly every minute. Costs sum "
        "to all between. Whiskers: 95 % intervals."
    )
    title = f"What takes {between:.0f} points of {result.aim} under {short(result.regime, 30)}?"
    return finish(ax, title, small)
