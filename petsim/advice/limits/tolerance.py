"""How good eyes, hands, power and people must be for the odds to hold: the limit of each.

For everything that a caretaker may do better or worse, all else as it is, the greatest value is
sought up to which the odds are as high as asked for. Where today's odds are, it is how much worse
it may become; where they are not, what it must improve to by itself, if that can do at all.
"""

from __future__ import annotations

import logging
import math
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, Literal

from petsim._version import __version__
from petsim.advice.limits.quantities import quantities
from petsim.advice.limits.quantity import Quantity, Thing
from petsim.advice.limits.roots import fall
from petsim.errors import ArgumentError
from petsim.life.caretaker import Caretaker
from petsim.life.drawn import Drawn
from petsim.life.simulate import CaretakerSource, ModelSource, Span
from petsim.spec import defaults
from petsim.spec.arguments import count_of, is_number
from petsim.spec.model import Model
from petsim.study.aims import Aim, AimSource
from petsim.study.evaluate import Evaluation, Evaluator
from petsim.study.stats import Interval
from petsim.study.weighted import WeightedInterval

Holds = Literal["up to a limit", "everywhere", "nowhere"]

AT_LEAST = 0.9
"""The odds that are to hold, if nothing else is asked for."""
PRECISION = 0.2
"""How far a limit may be off, as a share of it."""
AT_AN_END = 2_000
"""Lives by which the odds are told of what has no limit, and of each model at a limit."""


@dataclass(frozen=True)
class Tolerance(Thing):
    """How bad one thing may be.

    limit: the greatest value up to which the odds hold; minus infinity if they don't even at the
    best, infinity if they do even at the worst. low, high: its 95 % interval, with infinities
    likewise. end: the odds at the best or the worst, where that is so; None of a limit. under: the
    odds at the limit under each of several models.
    """

    limit: float
    low: float
    high: float
    end: Interval | None = None
    under: tuple[Interval, ...] = ()

    @property
    def room(self) -> float:
        """The limit as a factor of today's value; infinity if that is 0, or if there is none."""
        if math.isinf(self.limit):
            return 0.0 if self.limit < 0 else math.inf
        return self.limit / self.today if self.today else math.inf

    @property
    def holds(self) -> Holds:
        """Where the odds hold: up to a limit, at all values that were tried, or at none."""
        if self.has_limit:
            return "up to a limit"
        return "everywhere" if self.limit > 0 else "nowhere"

    @property
    def has_limit(self) -> bool:
        """Whether the odds hold up to a value within those that were tried."""
        return math.isfinite(self.limit)

    def share_of_time(self, value: float) -> float | None:
        """Return the share of time that it takes at a value, of what comes and goes; else None."""
        return None if self.half is None else value / (value + self.half)

    def as_dict(self) -> dict[str, Any]:
        """It as plain data."""
        share = self.share_of_time(self.limit) if self.has_limit else None
        numbers = {"limit": self.limit, "low": self.low, "high": self.high, "room": self.room}
        return {
            **{name: getattr(self, name) for name in ("what", "path", "kind", "unit", "assumed")},
            **{name: getattr(self, name) for name in ("today", "best", "worst")},
            "holds": self.holds,
            **{name: x if math.isfinite(x) else None for name, x in numbers.items()},
            "share_of_time": share,
            "odds_at_end": None if self.end is None else self.end._asdict(),
            "odds_under_each_model": [odds._asdict() for odds in self.under],
        }


@dataclass(frozen=True)
class Tolerances(Drawn):
    """How bad each thing may be for the odds to be at least as high as asked for.

    aim, caretaker, models, weights, seed, span: of whom and what the odds are; where forms are
    worth more and less, it is the expected worth that is asked for. at_least: the odds asked for.
    odds: those of today. each: of one thing, those with the least room left first. together: of
    all errors, which are changed by one factor; None if there are none. lives: at one value at
    most. precision: half the width of an interval that was wanted, as a share. asked: how many
    things were asked about. interrupted: whether some of them were not gone into.
    """

    aim: Aim
    caretaker: Caretaker
    models: tuple[Model, ...]
    weights: tuple[float, ...]
    seed: int
    span: Span
    at_least: float
    odds: WeightedInterval
    each: tuple[Tolerance, ...]
    together: Tolerance | None
    lives: int
    precision: float
    asked: int
    interrupted: bool = False

    @property
    def regime(self) -> str:
        """What the user calls the regime or policy."""
        return self.caretaker.name

    @property
    def falls_short(self) -> bool:
        """Whether today's odds are below those asked for."""
        return self.odds.estimate < self.at_least

    @property
    def is_near(self) -> bool:
        """Whether luck alone may be why they are, or are not."""
        return self.odds.sampling.low < self.at_least <= self.odds.sampling.high

    def __repr__(self) -> str:
        limits = sum(each.has_limit for each in self.each)
        return (
            f"<tolerances of {self.regime}: {self.aim} in at least {self.at_least:.0%}; "
            f"{limits} of {len(self.each)} have a limit>"
        )

    def as_dict(self) -> dict[str, Any]:
        """It as plain data."""
        odds = {name: getattr(self.odds, name) for name in ("estimate", "low", "high")}
        return {
            "petsim": __version__,
            "aim": self.aim.text,
            "regime": self.regime,
            "models": [
                {"model": model.id, "weight": weight}
                for model, weight in zip(self.models, self.weights, strict=True)
            ],
            "at_least": self.at_least,
            "odds": {**odds, "sampling": self.odds.sampling._asdict()},
            "together": None if self.together is None else self.together.as_dict(),
            "each": [each.as_dict() for each in self.each],
            "lives": self.lives,
            "precision": self.precision,
            "seed": self.seed,
            "until": str(self.span),
            "asked": self.asked,
            "interrupted": self.interrupted,
        }


def tolerance(
    model: ModelSource | Sequence[ModelSource],
    regime: CaretakerSource,
    *,
    at_least: float = AT_LEAST,
    weights: Sequence[float] | None = None,
    aim: AimSource | None = None,
    precision: float = PRECISION,
    lives: int | None = None,
    seed: int = 0,
    until: str | None = None,
    days: float | None = None,
    engine: str = "auto",
    workers: int | None = None,
    check_limit: float = defaults.CHECK_LIMIT,
    progress: bool = False,
) -> Tolerances:
    """Return how bad each thing may be for the odds of the aim to be as high as asked for.

    The limit of each is found by `petsim.advice.limits.roots.fall`, on the same lives for all.

    Args:
        model: a model or a pet as it is now, as for `batch`, or a list of several.
        regime: a regime or a policy, as for `batch`: a rig or a rota as it is today.
        at_least: the odds, or the expected worth, that are to hold, above 0 and below 1.
        weights, aim: as for `Evaluator`.
        precision: half the width of a limit's 95 % interval that is narrow enough, as a share of
            the limit, above 0; near 0, of an eighth of today's value.
        lives: at one value at most, however wide the interval still is; by default 5000, or 1000
            with the reference engine.
        seed, until, days, engine, workers, check_limit: as for `batch`.
        progress: whether a terminal shows how many things are gone into, and the time left.

    Interrupted, it says so and returns what is known, once the first limit is.

    Raises:
        SpecError, PolicyError, ArgumentError: as for `Evaluator`; at_least or precision is out of
            its range; lives is below 1; the caretaker never looks in.
    """
    at_least = _within("at_least", at_least, 1.0)
    precision = _within("precision", precision, math.inf)
    evaluator = Evaluator(
        model, regime, weights=weights, aim=aim, seed=seed, until=until, days=days, engine=engine,
        workers=workers, check_limit=check_limit,
    )  # fmt: skip
    caretaker = evaluator.caretaker
    asked = quantities(caretaker, evaluator.models[0])
    if not asked:
        expected = "expected checks, or an ear for calls"
        raise ArgumentError(f"{caretaker.name}: never looks in; {expected}")
    if lives is None:
        lives = defaults.LIVES[evaluator.evaluate(lives=1).batches[0].engine]
    search = Search(
        evaluator, caretaker.under(caretaker.regime), at_least, precision, count_of("lives", lives)
    )
    found, interrupted = _all_of(search, asked, progress=progress)
    together = [each for each in found if each.kind == "all"]
    return Tolerances(
        aim=evaluator.aim,
        caretaker=caretaker,
        models=evaluator.models,
        weights=evaluator.weights,
        seed=evaluator.seed,
        span=evaluator.span,
        at_least=at_least,
        odds=search.today.odds(),
        each=tuple(sorted((each for each in found if each.kind != "all"), key=_by_room)),
        together=together[0] if together else None,
        lives=search.lives,
        precision=precision,
        asked=len(asked),
        interrupted=interrupted,
    )


def _within(name: str, value: float, end: float) -> float:
    if not is_number(value) or not 0 < value < end:
        expected = "a number above 0" if math.isinf(end) else f"a number above 0 and below {end:g}"
        raise ArgumentError(f"{name}: {value!r}; expected {expected}")
    return float(value)


def _all_of(
    search: Search, asked: Sequence[Quantity], *, progress: bool
) -> tuple[list[Tolerance], bool]:
    """The tolerance of each quantity, and whether Ctrl-C came before the last."""
    from tqdm import tqdm

    found: list[Tolerance] = []
    shown = None if progress else True  # none in a pipe
    try:
        for quantity in tqdm(asked, unit=" limits", leave=False, disable=shown):
            found.append(search.tolerance(quantity))
    except KeyboardInterrupt:
        if not found:
            raise
        logging.getLogger("petsim").warning(
            "petsim: interrupted after %d of %d limits; this is what is known", len(found),
            len(asked),
        )  # fmt: skip
    return found, len(found) < len(asked)


def _by_room(each: Tolerance) -> tuple[Any, ...]:
    """The order by how little room is left: limits by it, then what no limit was found of.

    What does not happen today has no factor, and comes by its limit; what would not do alone, by
    how far it would get.
    """
    if not each.has_limit:
        assert each.end is not None
        return (2 if each.limit < 0 else 3, -each.end.estimate if each.limit < 0 else 0.0)
    if math.isinf(each.room):
        return 1, each.limit / each.worst
    return 0, abs(math.log(each.room)) if each.room else math.inf


@dataclass(frozen=True)
class Search:
    """The search for limits under one evaluator.

    caretaker: as it is today, so that other processes can have it under another regime. at_least,
    precision, lives: as for `tolerance`.
    """

    evaluator: Evaluator
    caretaker: Caretaker
    at_least: float
    precision: float
    lives: int

    @property
    def today(self) -> Evaluation:
        """The lives of the regime as it is, all that may be lived at one value."""
        return self.evaluator.evaluate(lives=self.lives, regime=self.caretaker)

    def tolerance(self, quantity: Quantity) -> Tolerance:
        """How bad one thing may be."""

        def curve(place: float, lives: int) -> Interval:
            return Interval(*self._at(quantity, quantity.value(place), lives).odds()[:3])

        found = fall(
            curve,
            self.at_least,
            *map(quantity.place, (quantity.best, quantity.today, quantity.worst)),
            precision=math.log2(1 + self.precision),
            most=self.lives,
        )
        limit, low, high = (_value(quantity, place) for place in found)
        thing = {each.name: getattr(quantity, each.name) for each in fields(Thing)}
        return self._with_odds(quantity, Tolerance(**thing, limit=limit, low=low, high=high))

    def _with_odds(self, quantity: Quantity, told: Tolerance) -> Tolerance:
        """A tolerance with the odds at the end, or with those under each model at the limit."""
        lives = min(self.lives, AT_AN_END)
        if not told.has_limit:
            end = quantity.best if told.limit < 0 else quantity.worst
            return replace(told, end=Interval(*self._at(quantity, end, lives).odds()[:3]))
        if len(self.evaluator.models) > 1:
            return replace(told, under=self._at(quantity, told.limit, lives).shares())
        return told

    def _at(self, quantity: Quantity, value: float, lives: int) -> Evaluation:
        """The lives with a value of a quantity, all else as it is."""
        regime = quantity.at(self.caretaker.regime, value)
        return self.evaluator.evaluate(lives=lives, regime=replace(self.caretaker, regime=regime))


def _value(quantity: Quantity, place: float) -> float:
    return quantity.value(place) if math.isfinite(place) else place
