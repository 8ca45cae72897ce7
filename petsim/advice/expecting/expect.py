"""What the counters of a rig should show, day by day, as long as nothing is wrong.

Many lives are counted by day of the pet's own clock, with outages, slips and misread levels, which
are part of a quiet week. A day counts for the lives that lived through it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from petsim._version import __version__
from petsim.advice.expecting.bands import Bands, Counts, joint_bands
from petsim.advice.expecting.counting import apart, ends_of_days, followed_between, room_of
from petsim.errors import ArgumentError
from petsim.life.caretaker import Caretaker
from petsim.life.counters import Counter, counters_of, counters_under
from petsim.life.drawn import Drawn
from petsim.life.policy import clock_at
from petsim.life.record import columns
from petsim.life.simulate import (
    CaretakerSource,
    ModelSource,
    Span,
    choose_engine,
    load_together,
)
from petsim.spec import defaults
from petsim.spec.arguments import count_of, is_number, word_of
from petsim.spec.clocks import Begins
from petsim.spec.model import Model
from petsim.spec.quantities import DAY
from petsim.study.compare import ensure_names_differ
from petsim.study.memory import ensure_fit
from petsim.study.runner import Engine, Rows
from petsim.study.stats import Interval, wilson

LATE = 0.95
"""The share of lives whose end, or outcome, the last day is not before."""
PART = 10
"""The part of the lives that tells when they end."""
FEW = 0.05
"""The share of lives below which those that live through a day are too few to say what is usual."""


def lived(counts: Counts) -> NDArray[np.float64]:
    """Return the share of lives that lived through each day, of counts by life and day."""
    shares: NDArray[np.float64] = np.mean(~np.isnan(counts[:, :, 0]), axis=0)
    return shares


@dataclass(frozen=True, eq=False)
class Usual:
    """What the counters show under a regime while nothing is wrong.

    caretaker: who looks after the pet. counters: what is counted. counts: by life, day and counter;
    nan where a life did not live through the day. low, high: the ends of the bands, both within
    them, by day and counter.
    """

    caretaker: Caretaker
    counters: tuple[Counter, ...]
    counts: Counts
    low: NDArray[np.float64]
    high: NDArray[np.float64]

    @property
    def regime(self) -> str:
        """What the user calls the caretaker."""
        return self.caretaker.name

    @cached_property
    def median(self) -> NDArray[np.float64]:
        """The median of each count, by day and counter."""
        median: NDArray[np.float64] = np.nanmedian(self.counts, axis=0)
        return median

    @property
    def alive(self) -> NDArray[np.float64]:
        """The share of lives that lived through each day."""
        return lived(self.counts)

    def place(self, counter: Counter) -> int | None:
        """Return the place of a counter among those here; None if it is none of them."""
        return self.counters.index(counter) if counter in self.counters else None


@dataclass(frozen=True, eq=False)
class Quiet(Usual):
    """The same, and how fresh lives keep to it.

    together: the share of fresh lives all of whose counts are within their bands. alone: the same
    if each count has a band of its own, in which as many lives have it.
    """

    together: Interval
    alone: Interval

    def as_dict(self, begins: Begins) -> dict[str, Any]:
        """Return it as plain data."""
        return {
            "regime": self.regime,
            "together": self.together._asdict(),
            "alone": self.alone._asdict(),
            "days": [
                {
                    "day": day + 1,
                    "from_s": begins.clock if day == 0 else 0,
                    "alive": float(self.alive[day]),
                    "counters": [
                        {
                            **counter._asdict(),
                            "median": float(self.median[day, place]),
                            "low": int(self.low[day, place]),
                            "high": int(self.high[day, place]),
                        }
                        for place, counter in enumerate(self.counters)
                    ],
                }
                for day in range(len(self.low))
            ],
        }


@dataclass(frozen=True, eq=False)
class Expected(Drawn):
    """What the counters should show under one or more regimes, on the same luck.

    model: the pet; day 1 is from the clock at which it begins to midnight. lives: from which the
    bands are made; as many more were held against them. confidence: of the bands.
    """

    model: Model
    seed: int
    lives: int
    confidence: float
    regimes: tuple[Quiet, ...]

    @property
    def days(self) -> int:
        """How many days there are."""
        return len(self.regimes[0].low)

    def difference(self, counter: Counter, place: int) -> NDArray[np.float64]:
        """Return by day how much more of it is usual under a later regime than under the first.

        That is the median over the lives that lived through the day under both.

        Args:
            counter: counted under both.
            place: of the later one.
        """
        first, other = self.regimes[0], self.regimes[place]
        of_first, of_other = first.counters.index(counter), other.counters.index(counter)
        more = other.counts[:, :, of_other] - first.counts[:, :, of_first]
        median: NDArray[np.float64] = np.nanmedian(more, axis=0)
        return median

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain data, as `petsim expect --json` prints it."""
        return {
            "petsim": __version__,
            "model": self.model.id,
            "seed": self.seed,
            "lives": self.lives,
            "confidence": self.confidence,
            "regimes": [regime.as_dict(self.model.begins) for regime in self.regimes],
        }

    def __repr__(self) -> str:
        names = ", ".join(regime.regime for regime in self.regimes)
        return f"<expected of {self.model.id} under {names}: {self.days} days, {self.lives} lives>"


def expect(
    model: ModelSource,
    regimes: CaretakerSource | Sequence[CaretakerSource],
    *,
    lives: int | None = None,
    seed: int = 0,
    until: str | None = None,
    days: float | None = None,
    confidence: float = 0.95,
    check_limit: float = defaults.CHECK_LIMIT,
    progress: bool = False,
) -> Expected:
    """Return what the counters of a rig should show, day by day, as long as nothing is wrong.

    A fresh life stays within all bands of all days that it lives through with the confidence that
    is asked for, at least.

    Args:
        model: a model or a pet as it is now, by name, path or content.
        regimes: a regime, or a list of some, each as for `petsim.batch`.
        lives: from which the bands are made; by default 2000, or 100 of the reference engine. As
            many more tell how many stay within them.
        seed: the seed of the luck, 0 to 2**64 - 1.
        until: up to the day of the "outcome" (the default), or of "death", of nearly all lives.
        days: or up to this day of the pet's clock; day 1 is that of birth.
        confidence: the chance that a fresh life stays within all bands.
        check_limit: as for `petsim.batch`.
        progress: show a bar with the time left, where a terminal can.

    Raises:
        SpecError, PolicyError: as for `petsim.batch`.
        ArgumentError: an argument is out of its range, or no life lives through a day.
    """
    several: list[CaretakerSource] = (
        [*regimes] if isinstance(regimes, list | tuple) else [cast(CaretakerSource, regimes)]
    )
    span, (pet, caretakers) = Span(until, days), load_together(model, several)
    ensure_names_differ(caretakers)
    seed, lives = word_of("seed", seed), _lives_of(pet, caretakers, lives)
    _ensure_share(confidence)
    last = max(_last_day(pet, each, span, seed, lives, check_limit) for each in caretakers)
    ensure_fit(lives, 2 * len(caretakers) * room_of(pet, last))
    counts = [
        _by_day(pet, each, last, seed, 2 * lives, check_limit, progress) for each in caretakers
    ]
    enough = min(_days_lived(each[:lives]) for each in counts)
    quiet = [
        _quiet(pet, each, of_it[:, :enough], lives, confidence)
        for each, of_it in zip(caretakers, counts, strict=True)
    ]
    return Expected(pet, seed, lives, float(confidence), tuple(quiet))


def usual(
    pet: Model,
    caretaker: Caretaker,
    days: int,
    *,
    lives: int | None,
    seed: int,
    confidence: float,
    check_limit: float,
    progress: bool,
) -> Usual:
    """Return what the counters of one rig should show, without a trial by fresh lives.

    Args:
        pet, caretaker: whose counters they are.
        days: of the pet's clock.
        lives, seed, confidence, check_limit, progress: as for `expect`.

    Raises:
        PolicyError, ArgumentError: as for `expect`.
    """
    seed, lives = word_of("seed", seed), _lives_of(pet, [caretaker], lives)
    _ensure_share(confidence)
    ensure_fit(lives, room_of(pet, days))
    counts = _by_day(pet, caretaker, days, seed, lives, check_limit, progress)
    enough = counts[:, : _days_lived(counts), :]
    return _usual(pet, caretaker, enough, confidence)


def _lives_of(pet: Model, caretakers: Sequence[Caretaker], lives: int | None) -> int:
    """Return how many lives bands are made from, as given or by default."""
    engines = [choose_engine(pet, each, Span("death"), "auto").name for each in caretakers]
    if lives is None:
        lives = min(defaults.EXPECTED_LIVES[name] for name in engines)
    return count_of("lives", lives)


def _ensure_share(confidence: float) -> None:
    if not is_number(confidence) or not 0 < confidence < 1:
        raise ArgumentError(f"confidence: {confidence!r}; expected a share above 0 and below 1")


def _last_day(
    pet: Model, caretaker: Caretaker, span: Span, seed: int, lives: int, check_limit: float
) -> int:
    """Return the number of the last day: as given, or that by which nearly all have their end."""
    if span.days is not None:
        return math.ceil(span.days)
    engine = choose_engine(pet, caretaker, span, "auto")
    rows = apart(check_limit, _rows, engine, seed, range(max(1, lives // PART)))
    ends = rows[:, [column.name for column in columns(pet)].index("end_s")]
    return clock_at(int(np.quantile(ends, LATE)), pet.begins).day


def _rows(engine: Engine, seed: int, numbers: range) -> Rows:
    return engine.lives(seed, numbers)


def _by_day(
    pet: Model,
    caretaker: Caretaker,
    days: int,
    seed: int,
    lives: int,
    check_limit: float,
    progress: bool,
) -> Counts:
    """Return what may be counted under a caretaker, on each day of each life."""
    midnights = ends_of_days(pet.begins, days)
    engine = choose_engine(pet, caretaker, Span(days=midnights[-1] / DAY), "auto")
    counts, _ = followed_between(
        *(pet, engine, seed, range(lives), midnights), check_limit=check_limit, progress=progress
    )
    known = counters_of(pet)
    return counts[:, :, [known.index(each) for each in counters_under(pet, caretaker)]]


def _days_lived(counts: Counts) -> int:
    """Return how many days enough lives live through."""
    days = int(np.sum(lived(counts) >= FEW))
    if not days:
        raise ArgumentError(
            "days: hardly a life lives to its first midnight; expected a pet that does"
        )
    return days


def _usual(pet: Model, caretaker: Caretaker, counts: Counts, confidence: float) -> Usual:
    """Return the bands of what may be counted under a caretaker."""
    bands = joint_bands(counts.reshape(len(counts), -1), confidence)
    low, high = (ends.reshape(counts.shape[1:]) for ends in (bands.low, bands.high))
    return Usual(caretaker, counters_under(pet, caretaker), counts, low, high)


def _quiet(
    pet: Model, caretaker: Caretaker, counts: Counts, lives: int, confidence: float
) -> Quiet:
    """Return the bands from the first lives, and how all others keep to them."""
    made = _usual(pet, caretaker, counts[:lives], confidence)
    fresh = counts[lives:].reshape(lives, -1)
    tail = (1 - confidence) / 2
    ends = np.nanquantile(
        made.counts.reshape(lives, -1), (tail, 1 - tail), axis=0, method="closest_observation"
    )
    return Quiet(
        *(made.caretaker, made.counters, made.counts, made.low, made.high),
        together=_within(Bands(made.low.ravel(), made.high.ravel()), fresh),
        alone=_within(Bands(*ends), fresh),
    )


def _within(bands: Bands, fresh: Counts) -> Interval:
    """Return the share of fresh lives all of whose counts are within bands."""
    alarms = int(np.sum(np.any(bands.outside(fresh), axis=1)))
    return wilson(len(fresh) - alarms, len(fresh))
