"""How regimes differ from the first in the odds of the aim, on the same lives."""

from __future__ import annotations

from matplotlib.axes import Axes

from petsim.errors import ArgumentError
from petsim.study.compare import Comparison
from petsim.study.results import Sweep
from petsim.view import aims
from petsim.view.numbers import points
from petsim.view.plots.along import differences_along
from petsim.view.plots.colours import AIM, AIM_MARKER
from petsim.view.plots.forest import Row, forest, height_of
from petsim.view.plots.layout import finish
from petsim.view.plots.sheet import axes, short, styled
from petsim.view.tables import counted


@styled
def differences(
    result: Comparison | Sweep, baseline: int | None = None, ax: Axes | None = None
) -> Axes:
    """How the odds of the aim differ on the same lives, in percentage points, 95 % intervals.

    Of a comparison each later regime from the first; of a sweep each cell from a baseline cell.

    Args:
        result: a comparison of two regimes or more, or a sweep.
        baseline: of a sweep, the number of the cell; by default the first with lives.

    Raises:
        ArgumentError: the comparison is of one regime; or of a sweep as for `odds_along`, or it
            has no such cell.
    """
    if isinstance(result, Sweep):
        return differences_along(result, baseline, ax)
    if not result.differences:
        raise ArgumentError("differences: of one regime; expected a comparison of two or more")
    rows = [
        Row(d.of, d.interval, points(d.interval), AIM, AIM_MARKER, filled=d.shown)
        for d in sorted(result.differences, key=lambda d: -d.interval.estimate)
    ]
    first, groups = result.batches[0].regime, {"": rows}
    ax = axes(ax, height_of(groups, above=True))
    forest(ax, groups, by=100, above=True)
    ax.axvline(0, color="black", linewidth=1.2, gid="no difference")
    ax.set_xlabel("difference (percentage points)")
    said = aims.words(result.aim)
    by = "Newcombe's" if result.aim.is_share else said.by
    small = (
        f"{counted(len(result))} under each regime, {result.model.id}, seed "
        f"{result.batches[0].seed}, the same luck. {said.best.capitalize()} first. Filled: a "
        f"difference is shown. Whiskers: {by} paired 95 % intervals."
    )
    return finish(ax, aims.differ(result.aim, f" under {short(first, 30)}"), small)
