"""Which picture goes with which result, and drawing it by its name."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import nullcontext
from inspect import signature
from typing import TYPE_CHECKING, Any, TypeAlias

from matplotlib.axes import Axes

from petsim.errors import ArgumentError, ensure_known
from petsim.study.results import Sweep
from petsim.view.plots.along import differences_along, has_few_panels, odds_along
from petsim.view.plots.bands import bands
from petsim.view.plots.chain import chain
from petsim.view.plots.chosen import chosen
from petsim.view.plots.convergence import convergence
from petsim.view.plots.cost import cost
from petsim.view.plots.differences import differences
from petsim.view.plots.explained import costs
from petsim.view.plots.fitted import fitted
from petsim.view.plots.funnel import funnel
from petsim.view.plots.growth import growth
from petsim.view.plots.heat_maps import heat_map
from petsim.view.plots.laws import laws
from petsim.view.plots.lives import forms_over_time, misses_by_hour
from petsim.view.plots.missed import misses, whys
from petsim.view.plots.odds import odds
from petsim.view.plots.predicted import predicted
from petsim.view.plots.scatter import scatter
from petsim.view.plots.timeline import timeline
from petsim.view.plots.tolerances import room
from petsim.view.plots.trials import power, trials
from petsim.view.plots.unknowns import unknowns

if TYPE_CHECKING:
    from petsim.advice.choosing.choice import Choice
    from petsim.advice.expecting.expect import Expected
    from petsim.advice.explaining.explanation import Explanation
    from petsim.advice.limits.tolerance import Tolerances
    from petsim.advice.one_life.explain_life import LifeExplained
    from petsim.evidence.fit import Fit
    from petsim.life.record import Life
    from petsim.spec.model import Model
    from petsim.study.batch import Batch
    from petsim.study.compare import Comparison
    from petsim.study.trials import TrialPlan, Trials

    Result: TypeAlias = (
        Batch
        | Comparison
        | Sweep
        | Life
        | Model
        | Fit
        | Explanation
        | LifeExplained
        | Tolerances
        | Choice
        | Expected
        | Trials
        | TrialPlan
    )


def _forms_under_the_first(result: Comparison, ax: Axes | None = None) -> Axes:
    return forms_over_time(result.batches[0], ax=ax)


def _growth_of_lives(result: Batch | Comparison, ax: Axes | None = None) -> Axes:
    return growth(result.model, result, ax=ax)


KINDS: dict[str, dict[str, Callable[..., Axes]]] = {
    "Batch": {
        "odds": odds,
        "funnel": funnel,
        "whys": whys,
        "forms": forms_over_time,
        "hours": misses_by_hour,
        "growth": _growth_of_lives,
        "convergence": convergence,
    },
    "Comparison": {
        "odds": odds,
        "funnel": funnel,
        "misses": misses,
        "whys": whys,
        "differences": differences,
        "cost": cost,
        "forms": _forms_under_the_first,
        "hours": misses_by_hour,
        "growth": _growth_of_lives,
        "convergence": convergence,
    },
    "Sweep": {
        "along": odds_along,
        "heat-map": heat_map,
        "differences": differences_along,
        "cost": cost,
        "scatter": scatter,
        "unknowns": unknowns,
    },
    "Life": {"timeline": timeline, "hours": misses_by_hour},
    "Model": {"growth": growth},
    "Fit": {"fitted": fitted, "laws": laws, "predicted": predicted},
    "Explanation": {"costs": costs},
    "LifeExplained": {"chain": chain},
    "Expected": {"bands": bands},
    "Tolerances": {"room": room},
    "Trials": {"trials": trials},
    "TrialPlan": {"power": power},
    "Choice": {"chosen": chosen},
}
"""The pictures of each result by their names, the usual one first, and what draws them.

A result goes by the name of its type, so that no other type has to be loaded to draw it.
"""


def plot(result: Result, kind: str | None = None, *, ax: Axes | None = None, **how: Any) -> Axes:
    """Draw a result, and return the axes.

    Args:
        result: a batch, a comparison, a sweep, a life, a model, a fit, an explanation of odds or
            of a life, a choice, what to expect, or trials of real pets and how many it takes, as
            `trials` and `tell_apart` return them.
        kind: which of its pictures, by its name in KINDS; by default the first; of a sweep that
            which shows most of it.
        ax: what to draw on; by default a picture of its own.
        how: other arguments of the function in `petsim.view.plots` that draws it.

    Raises:
        ArgumentError: there is no such picture of such a result, or of anything like it.
    """
    of_type = type(result).__name__
    if of_type not in KINDS or not type(result).__module__.startswith("petsim."):
        stranger = f"a Python object of type {type(result).__name__}"
        expected = "expected what petsim's questions return, such as a batch or a comparison"
        raise ArgumentError(f"result: {stranger}; {expected}")
    kinds = KINDS[of_type]
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
    return "along" if has_few_panels(sweep) or "x" in how else "heat-map"
