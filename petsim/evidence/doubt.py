"""The odds with the doubt in them: what chance and what not knowing the pet do to them.

What a log tells is drawn from its interval, on the scale on which that is symmetric; what it can't
tell, from around the guess. Each draw is a pet and a rig of which the same lives are lived, so that
draws differ by their parameters alone. To see what one group of parameters is worth, it is drawn
while all others stay as they were fitted.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from petsim.evidence.estimate import Z95, Estimate
from petsim.evidence.fit import Fit
from petsim.evidence.written import (
    fitted_model,
    fitted_regime,
    regime_with_estimates,
    with_estimates,
)
from petsim.life.caretaker import load_caretaker
from petsim.life.simulate import CaretakerSource
from petsim.spec.document import Document
from petsim.spec.shown import Shown
from petsim.study.aims import Aim
from petsim.study.batch import batch
from petsim.study.stats import Interval

UNTOLD = 0.3
"""The standard deviation of the logarithm by which a guess may be off of what no log tells."""
GROUPS = {
    "needs and waste": ("drops.", "waste.every"),
    "eyes and hands": ("eyes.", "hands.", ".works"),
    "illness": (".illness.base", ".per waste", ".per excess"),
    "outages": ("outages.",),
    "misbehaviour": (".misbehaviour.",),
    "when misses are due": ("grace", "again after", "fatal after"),
}
"""Groups of parameters by what their paths have in them."""


ALL = "all"
"""All groups together."""


@dataclass(frozen=True)
class Part:
    """What a group of parameters is worth: the odds in all draws of it alone, and their spread."""

    group: str
    odds: Interval

    @property
    def width(self) -> float:
        """How far apart the ends are."""
        return self.odds.high - self.odds.low


@dataclass(frozen=True)
class Doubt(Shown):
    """Odds of the aim under a regime, with both doubts.

    aim: what the model hopes for, whose odds or expected worth they are. chance: at the estimates,
    with the interval of as many lives. band: the odds over draws of
    all parameters, their median and the ends of 95 % of them. parts: of each group alone, widest
    first. lives, draws: how many of each.
    """

    aim: Aim
    regime: str
    chance: Interval
    band: Interval
    parts: tuple[Part, ...]
    lives: int
    draws: int

    def __repr__(self) -> str:
        return f"<doubt: {self.aim.figure} under {self.regime}, {self.draws} draws>"

    def as_dict(self) -> dict[str, Any]:
        """It as plain data."""
        return {
            "aim": self.aim.text,
            "regime": self.regime,
            "lives": self.lives,
            "draws": self.draws,
            "chance": self.chance._asdict(),
            "band": self.band._asdict(),
            "parts": [{"group": part.group, **part.odds._asdict()} for part in self.parts],
        }


def doubt(
    fit: Fit,
    regime: CaretakerSource | None = None,
    *,
    lives: int = 500,
    draws: int = 100,
    draws_of_parts: int = 40,
    seed: int = 0,
    progress: bool = False,
) -> Doubt:
    """Return the odds of the aim with the doubt in them.

    Args:
        fit: what logs told.
        regime: the one whose odds are asked for, carried out by the rig of the fit, with its eyes,
            hands and power; the fit's own, if it is left out.
        lives: simulated of each draw, the same luck in all.
        draws: of all parameters.
        draws_of_parts: of each group of parameters.
        seed: of the lives, and of the draws.
        progress: whether a terminal shows how many draws are lived, and the time left.

    Raises:
        SpecError: the regime can't be read.
    """
    from tqdm import tqdm

    asked = fit if regime is None else _of_other(fit, regime)
    random = np.random.default_rng(seed)
    model = fitted_model(asked)
    fitted = batch(model, fitted_regime(asked), lives=lives, seed=seed)
    drawn = {group: [*_draws(asked, draws_of_parts, random, group)] for group in GROUPS}
    drawn[ALL] = [*_draws(asked, draws, random, ALL)]
    guess = asked.model.source(), asked.regime.source()
    total, shown = sum(map(len, drawn.values())), None if progress else True  # none in a pipe
    with tqdm(total=total, unit=" draws", leave=False, disable=shown) as bar:
        bands = {
            group: _band([_odds(guess, each, lives, seed, bar) for each in of_group])
            for group, of_group in drawn.items()
            if of_group
        }
    band = bands.pop(ALL)
    parts = [Part(group, odds) for group, odds in bands.items()]
    parts.sort(key=lambda part: -part.width)
    middle = fitted.aim.of(fitted)
    return Doubt(fitted.aim, asked.regime.id, middle, band, tuple(parts), lives, draws)


def _of_other(fit: Fit, regime: CaretakerSource) -> Fit:
    rig = {part: getattr(fit.regime, part) for part in ("eyes", "hands", "outages")}
    other = load_caretaker(regime, fit.model).regime
    return replace(fit, regime=other.model_copy(update=rig))


def _odds(
    guess: tuple[Document, Document], drawn: Sequence[Estimate], lives: int, seed: int, bar: Any
) -> float:
    """The odds by the model and the regime of the guess, with what was drawn in them."""
    bar.update()
    model = with_estimates(guess[0], drawn)
    regime = regime_with_estimates(guess[1], drawn, model)
    lived = batch(model, regime, lives=lives, seed=seed)
    return lived.aim.of(lived).estimate


def _band(odds: Sequence[float]) -> Interval:
    low, middle, high = np.quantile(odds, (0.025, 0.5, 0.975))
    return Interval(float(middle), float(low), float(high))


def _draws(
    fit: Fit, draws: int, random: np.random.Generator, group: str
) -> Iterator[tuple[Estimate, ...]]:
    """Estimates with those of a group, or with all, drawn anew; nothing if the group is empty."""
    is_drawn = [
        _group_of(each) == group or (group == ALL and _group_of(each) != "")
        for each in fit.estimates
    ]
    if not any(is_drawn):
        return
    for _ in range(draws):
        yield tuple(
            _drawn(each, random) if drawn else each
            for each, drawn in zip(fit.estimates, is_drawn, strict=True)
        )


def _group_of(each: Estimate) -> str:
    """The group of a parameter; empty for what is no time, rate or chance, and is not drawn."""
    groups = (name for name, parts in GROUPS.items() if any(part in each.path for part in parts))
    return next(groups, "")


def _drawn(each: Estimate, random: np.random.Generator) -> Estimate:
    """A parameter drawn from its interval, or from around the guess if no log tells it."""
    u = random.standard_normal()
    value = each.estimate if each.estimate is not None else each.guess
    if not value or (value >= 1.0 and each.of == "chance"):
        return each
    middle = _free(value, each.of)
    spread = UNTOLD
    if each.low is not None and each.high is not None:
        spread = (_free(each.high, each.of) - _free(each.low, each.of)) / (2 * Z95)
    return replace(each, estimate=_natural(middle + spread * u, each.of))


def _free(value: float, of: str) -> float:
    return math.log(value / (1.0 - value)) if of == "chance" else math.log(value)


def _natural(free: float, of: str) -> float:
    return 1.0 / (1.0 + math.exp(-free)) if of == "chance" else math.exp(free)
