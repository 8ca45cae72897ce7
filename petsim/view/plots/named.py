"""Which picture goes with which result, and drawing it by its name."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import nullcontext
from inspect import signature
from typing import Any

from matplotlib.axes import Axes

from petsim.errors import ArgumentError, ensure_known
from petsim.life.record import Life
from petsim.study.batch import Batch
from petsim.study.compare import Comparison
from petsim.study.results import Sweep
from petsim.view.plots import along, heat_maps, lives, regimes, scatter, timeline, unknowns


def _forms_under_the_first(result: Comparison, ax: Axes | None = None) -> Axes:
    return lives.forms_over_time(result.batches[0], ax=ax)


Result = Batch | Comparison | Sweep | Life
KINDS: dict[type, dict[str, Callable[..., Axes]]] = {
    Batch: {
        "odds": regimes.odds,
        "forms": lives.forms_over_time,
        "hours": lives.misses_by_hour,
    },
    Comparison: {
        "odds": regimes.odds,
        "misses": regimes.misses,
        "differences": regimes.differences,
        "cost": regimes.cost,
        "forms": _forms_under_the_first,
        "hours": lives.misses_by_hour,
    },
    Sweep: {
        "along": along.odds_along,
        "heat-map": heat_maps.heat_map,
        "differences": along.differences_along,
        "cost": regimes.cost,
        "scatter": scatter.scatter,
        "unknowns": unknowns.unknowns,
    },
    Life: {"timeline": timeline.timeline, "hours": lives.misses_by_hour},
}
"""The pictures of each result by their names, the usual one first, and what draws them."""


def plot(result: Result, kind: str | None = None, *, ax: Axes | None = None, **how: Any) -> Axes:
    """Draw a result, and return the axes.

    Args:
        result: a batch, a comparison, a sweep or a life.
        kind: which of its pictures, by its name in KINDS; by default the first; of a sweep that
            which shows most of it.
        ax: what to draw on; by default a picture of its own.
        how: other arguments of the function in `petsim.view.plots` that draws it.

    Raises:
        ArgumentError: there is no such picture of such a result, or of anything like it.
    """
    if type(result) not in KINDS:
        stranger = f"a Python object of type {type(result).__name__}"
        expected = "expected a batch, a comparison, a sweep or a life"
        raise ArgumentError(f"result: {stranger}; {expected}")
    kinds = KINDS[type(result)]
    with result.snapshot() if isinstance(result, Sweep) else nullcontext():
        if kind is None:
            kind = _usual(result, how) if isinstance(result, Sweep) else next(iter(kinds))
        # a list, as what can't be hashed is refused too
        ensure_known("kind", kind, kinds)
        known = [*signature(kinds[kind]).parameters][1:]
        for argument in how:
            if argument not in known:
                takes = ", ".join(name for name in known if name != "ax") or "nothing"
                raise ArgumentError(f"{argument}: is not of {kind}, which takes {takes}")
        return kinds[kind](result, ax=ax, **how)


def _usual(sweep: Sweep, how: Mapping[str, Any]) -> str:
    """The picture that shows most of a sweep, and takes the arguments that are given."""
    if sweep.tells_which_matters:
        return "unknowns"
    if sweep.design.sample is not None:
        return "scatter"
    if "y" in how:
        return "heat-map"
    if "baseline" in how:
        return "differences"
    return "along" if along.has_few_panels(sweep) or "x" in how else "heat-map"
