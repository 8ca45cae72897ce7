"""The files that a fit leads to: the guess, with everything in it that the logs tell."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Sequence
from typing import TYPE_CHECKING

from petsim.evidence.estimate import Estimate
from petsim.evidence.means import with_mean, with_shape
from petsim.evidence.waits import weibull
from petsim.spec.clocks import Window, clock_text, window
from petsim.spec.document import Data, Document, Steps, plain_number
from petsim.spec.laws import Distribution, distribution
from petsim.spec.model import Model
from petsim.spec.model_checks import read_model
from petsim.spec.quantities import DAY, chance_text
from petsim.spec.regime import Regime
from petsim.spec.regime_checks import read_regime
from petsim.spec.variation import path_steps
from petsim.study.changes import changed

if TYPE_CHECKING:
    from petsim.evidence.fit import Fit

DIGITS = 3
"""Digits to which a fitted value is written: the doubt in it is larger than what they leave out."""
_WAIT = re.compile(r"\.(drops\.[^.]+|(waste|misbehaviour)\.every)$")
"""Laws of which a hidden chain chose the family."""
_TIME = re.compile(r"grace|again after|fatal after")
"""Times that are no law."""
_EDGE = re.compile(r"(?P<window>.*\.sleeps\[\d+\])\.(from|to)$")


def fitted_model(fit: Fit) -> Model:
    """Return the guess's model with all that the logs tell of it."""
    return with_estimates(fit.model.source(), fit.estimates)


def fitted_regime(fit: Fit) -> Regime:
    """Return the guess's regime with all that the logs tell of the rig's eyes, hands and power."""
    return regime_with_estimates(fit.regime.source(), fit.estimates, fitted_model(fit))


def with_estimates(model: Document, estimates: Sequence[Estimate]) -> Model:
    """Return the model of a document, with those estimates in it that are told of one."""
    return read_model(_fitted(model, [each for each in estimates if each.file == "model"]))


def regime_with_estimates(regime: Document, estimates: Sequence[Estimate], model: Model) -> Regime:
    """Return the regime of a document, with those estimates in it that are told of one.

    model: that it goes with.
    """
    return read_regime(
        _fitted(regime, [each for each in estimates if each.file == "regime"]), model
    )


def _fitted(document: Document, estimates: Sequence[Estimate]) -> Document:
    told = [each for each in estimates if each.estimate is not None]
    untold = {each.path for each in estimates if each.of == "shape" and each.estimate is None}
    laws = _laws(document, told, untold)
    return changed(document, [*_values(told), *laws, *_windows(document, told)])


def _values(told: Sequence[Estimate]) -> Iterator[tuple[Steps, Data]]:
    """Chances, rates, and whole numbers."""
    for each in told:
        assert each.estimate is not None
        if each.of == "chance":
            yield path_steps(each.path), chance_text(_rounded(each.estimate))
        elif each.of == "rate":
            yield path_steps(each.path), f"{plain_number(_rounded(each.estimate))} per day"
        elif each.of == "value" and _TIME.search(each.path):
            yield path_steps(each.path), f"{round(each.estimate)} s"
        elif each.of == "value" and not _EDGE.match(each.path) and each.estimate != each.guess:
            sign = "+" if each.path.startswith("care.") else ""
            yield path_steps(each.path), f"{round(each.estimate):{sign}d}"


def _laws(
    document: Document, told: Sequence[Estimate], untold: Collection[str]
) -> Iterator[tuple[Steps, Data]]:
    """Laws of times, by their mean and their shape.

    untold: the paths of laws whose shape stays that of the guess.
    """
    shapes = {each.path: each.estimate for each in told if each.of == "shape"}
    for each in told:
        if each.of != "mean":
            continue
        assert each.estimate is not None
        steps = path_steps(each.path)
        guess, shape = distribution(str(document.at(*steps))), shapes.get(each.path)
        is_chosen = bool(_WAIT.search(each.path)) and each.path not in untold
        law = _law(guess, _rounded(each.estimate), shape, is_chosen=is_chosen)
        yield steps, str(law)


def _law(guess: Distribution, mean: float, shape: float | None, *, is_chosen: bool) -> Distribution:
    """A law of a mean: of the family that a chain chose, else of the guess's."""
    if is_chosen and shape is not None:
        law = weibull(mean, _rounded(shape))
        return Distribution(law.kind, (law.parameters[0], _rounded(law.parameters[1])))
    if is_chosen:
        return Distribution("exponential", (mean,))
    shaped = guess if shape is None else with_shape(guess, _rounded(shape))
    law = with_mean(shaped, mean)
    return Distribution(law.kind, tuple(map(_rounded, law.parameters)))


def _windows(document: Document, told: Sequence[Estimate]) -> Iterator[tuple[Steps, Data]]:
    """Windows of sleep of which an edge was moved."""
    edges = {each.path: each for each in told if each.estimate != each.guess}
    for path in dict.fromkeys(m["window"] for path in edges if (m := _EDGE.match(path))):
        steps = path_steps(path)
        start, end = (
            edges[f"{path}.{side}"].estimate if f"{path}.{side}" in edges else None
            for side in ("from", "to")
        )
        yield steps, _moved(window(str(document.at(*steps))), start, end)


def _moved(guess: Window, start: float | None, end: float | None) -> str:
    begins = guess.start if start is None else round(start) % DAY
    ends = guess.end if end is None else round(end) % DAY
    return f"{clock_text(begins)} to {clock_text(ends)}"


def _rounded(value: float) -> float:
    """A value to a few digits; times of a minute or more to whole seconds."""
    rounded = float(f"{value:.{DIGITS}g}")
    return float(round(rounded)) if rounded >= 60 else rounded
