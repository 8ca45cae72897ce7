"""Evidence from real pets: what a few trials say of the odds, and how many tell two odds apart."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, replace
from functools import cached_property, partial
from typing import Any

from petsim._version import __version__
from petsim.errors import ArgumentError
from petsim.life.drawn import Drawn
from petsim.life.simulate import CaretakerSource, ModelSource
from petsim.spec import defaults
from petsim.spec.arguments import count_of, is_number, whole_of
from petsim.spec.library import load_model
from petsim.spec.quantities import DAY
from petsim.study.aims import AimSource, read_aim
from petsim.study.compare import Comparison, compare
from petsim.study.sample_size import (
    LEVEL,
    TrialDesign,
    fisher_power,
    one_routine,
    one_routine_of,
    two_routines,
)
from petsim.study.stats import Interval, clopper_pearson, none_in


@dataclass(frozen=True)
class Odds:
    """The odds of the aim: as given, or as simulated under a regime.

    simulated: the lives they come from, if any do.
    """

    value: float
    simulated: Comparison | None = None

    @property
    def interval(self) -> Interval:
        """The odds with Wilson's 95 % interval, which is of no width if they were given."""
        if self.simulated is None:
            return Interval(self.value, self.value, self.value)
        return self.simulated.aim.of(self.simulated.batches[0])

    @property
    def days(self) -> float | None:
        """How long a life takes to its outcome, on average, if it was simulated."""
        if self.simulated is None:
            return None
        return float(self.simulated.batches[0].values["end_s"].mean()) / DAY

    def as_dict(self) -> dict[str, Any]:
        """It as plain data."""
        if self.simulated is None:
            return {"odds": self.value}
        batch, aim = self.simulated.batches[0], self.simulated.aim
        about = {
            "model": batch.model.id,
            "regime": batch.regime,
            "aim": aim.text,
            "lives": len(batch),
        }
        _, low, high = self.interval
        return {"odds": self.value, "low": low, "high": high, "days": self.days, **about}


@dataclass(frozen=True)
class Trials(Drawn):
    """Real pets under one routine, and how many of them became what was aimed for.

    odds: what they are held against, if anything.

    Raises:
        ArgumentError: reached is not from 0 to the number of pets, or that is below 1.
    """

    reached: int
    pets: int
    odds: Odds | None = None

    def __post_init__(self) -> None:
        reached, pets = whole_of("trials", self.reached), whole_of("trials", self.pets)
        if not 0 <= reached <= pets or pets == 0:
            raise ArgumentError(
                f"trials: {reached} of {pets} pets; expected 0 or more of at least 1"
            )

    @cached_property
    def interval(self) -> Interval:
        """What they say of the odds: the share with its exact 95 % interval."""
        return clopper_pearson(self.reached, self.pets, LEVEL)

    @cached_property
    def bound(self) -> float | None:
        """The greatest odds that agree with no success, or the least with successes only."""
        if 0 < self.reached < self.pets:
            return None
        bound = none_in(self.pets, LEVEL)
        return bound if self.reached == 0 else 1 - bound

    @cached_property
    def p_value(self) -> float | None:
        """How likely trials are that agree with the odds no better than these do.

        The two-sided exact binomial test, by scipy.stats.binomtest.
        """
        if self.odds is None:
            return None
        from scipy.stats import binomtest

        return float(binomtest(self.reached, self.pets, self.odds.value).pvalue)

    @property
    def compatible(self) -> bool | None:
        """Whether they agree with the odds: whether the test at 5 % does not speak against it."""
        return None if self.p_value is None else self.p_value > 1 - LEVEL

    @cached_property
    def chances(self) -> list[Interval] | None:
        """How likely each number of pets that get there is, from none to all, by the odds.

        The ends are the least and the most over the interval of odds that are simulated; of odds
        that are given there is no doubt.
        """
        if self.odds is None:
            return None
        from scipy.stats import binom

        low, high = self.odds.interval[1:]

        def chance(reached: int, odds: float) -> float:
            return float(binom.pmf(reached, self.pets, odds))

        chances = []
        for reached in range(self.pets + 1):
            # the likeliest odds for a number are its share, and it gets less likely either way
            best = min(max(low, reached / self.pets), high)
            least = min(chance(reached, low), chance(reached, high))
            middle = chance(reached, self.odds.value)
            chances.append(Interval(middle, least, chance(reached, best)))
        return chances

    def as_dict(self) -> dict[str, Any]:
        """Everything of it as plain data, as `petsim trials --json` prints it."""
        return {
            "petsim": __version__,
            "reached": self.reached,
            "pets": self.pets,
            **self.interval._asdict(),
            "bound": self.bound,
            "against": None if self.odds is None else self.odds.as_dict(),
            "p_value": self.p_value,
            "compatible": self.compatible,
        }

    def __repr__(self) -> str:
        against = "" if self.odds is None else f", held against odds of {self.odds.value:.1%}"
        return f"<trials: {self.reached} of {self.pets} real pets{against}>"


def trials(
    reached: int,
    pets: int,
    odds: float | CaretakerSource | None = None,
    *,
    model: ModelSource = defaults.MODEL,
    lives: int | None = None,
    seed: int = 0,
    aim: AimSource | None = None,
    engine: str = "auto",
    workers: int | None = None,
    progress: bool = False,
) -> Trials:
    """Hold real pets against odds.

    Args:
        reached: how many of them became what was aimed for, or whatever else was counted.
        pets: how many there were.
        odds: to hold them against: a share, or a regime whose odds are simulated.
        model, lives, seed, aim, engine, workers, progress: of the simulation, as for `compare`.

    Raises:
        ArgumentError: a number is out of its range; SpecError, PolicyError: as for `compare`.
    """
    real = Trials(reached, pets)
    if odds is None:
        return real
    held_against = odds_of(
        *(odds, model), lives=lives, seed=seed, aim=aim, engine=engine,
        workers=workers, progress=progress,
    )  # fmt: skip
    return replace(real, odds=held_against)


def odds_of(
    source: float | CaretakerSource,
    model: ModelSource,
    *,
    lives: int | None,
    seed: int,
    aim: AimSource | None,
    engine: str,
    workers: int | None,
    progress: bool,
) -> Odds:
    """The odds given, or those simulated under a regime.

    Args:
        source: a share, or a regime.
        model, lives, seed, aim, engine, workers, progress: of the simulation, as for `compare`.

    Raises:
        ArgumentError: the odds given are not between 0 and 1; the aim is a worth; and as for
            `compare`.
    """
    if not isinstance(source, int | float):
        pet = load_model(model)
        asked = read_aim(pet, aim)
        if not asked.is_share:
            raise ArgumentError(
                f"aim: {asked.text} is a worth, and real pets are held against odds; expected "
                f"forms that all count alike, such as {','.join(asked.forms)}"
            )
        simulated = compare(
            *(pet, [source]), lives=lives, seed=seed, aim=aim, engine=engine,
            workers=workers, progress=progress,
        )  # fmt: skip
        return Odds(simulated.aim.of(simulated.batches[0]).estimate, simulated)
    if not 0 <= source <= 1:
        raise ArgumentError(f"odds: {source!r}; expected a share from 0 to 1")
    return Odds(float(source))


def tries_without(odds: float) -> int:
    """How many tries without any success put the odds below these, at 95 %.

    Source: the exact bound of `none_in`, solved for the number of trials.
    """
    return math.ceil(math.log(1 - LEVEL) / math.log1p(-odds))


@dataclass(frozen=True)
class TrialPlan(Drawn):
    """How many real pets it takes to tell two odds apart, and how long.

    days: what a real life takes to its outcome. rigs: how many live at a time.

    Raises:
        ArgumentError: the odds are alike, days is not above 0, or rigs is below 1.
    """

    first: Odds
    second: Odds
    days: float
    rigs: int = 1

    def __post_init__(self) -> None:
        if self.first.value == self.second.value:
            raise ArgumentError(f"odds: both {self.first.value:g}; expected two that differ")
        if not is_number(self.days) or not 0 < self.days < math.inf:
            raise ArgumentError(f"days: {self.days!r}; expected a number above 0")
        count_of("rigs", self.rigs)

    @cached_property
    def one(self) -> TrialDesign | None:
        """For one routine, whose odds are the first or the second."""
        return one_routine(self.first.value, self.second.value)

    @cached_property
    def two(self) -> TrialDesign | None:
        """For two routines, one of the first odds and one of the second."""
        return two_routines(self.first.value, self.second.value)

    def powers(self, pets: int) -> tuple[float, float]:
        """The chance that a number of pets tells the odds apart: of one routine, of each of two."""
        first, second = self.first.value, self.second.value
        design = one_routine_of(first, second, pets)
        return 0.0 if design is None else design.power, fisher_power(first, second, pets)

    def weeks(self, pets: int) -> float:
        """The weeks that a number of pets take, one in each rig at a time."""
        return math.ceil(pets / self.rigs) * self.days / 7

    def as_dict(self) -> dict[str, Any]:
        """Everything of it as plain data, as `petsim trials --json` prints it."""
        one, two = self.one, self.two
        return {
            "petsim": __version__,
            "first": self.first.as_dict(),
            "second": self.second.as_dict(),
            "days": self.days,
            "rigs": self.rigs,
            "one_routine": one and {**asdict(one), "weeks": self.weeks(one.pets)},
            "two_routines": two and {**asdict(two), "weeks": self.weeks(2 * two.pets)},
        }

    def __repr__(self) -> str:
        return (
            f"<plan of trials: odds of {self.first.value:.1%} against {self.second.value:.1%}, "
            f"{self.days:.2g} days a life, {self.rigs} at a time>"
        )


def tell_apart(
    first: float | CaretakerSource,
    second: float | CaretakerSource,
    *,
    model: ModelSource = defaults.MODEL,
    days: float | None = None,
    rigs: int = 1,
    lives: int | None = None,
    seed: int = 0,
    aim: AimSource | None = None,
    engine: str = "auto",
    workers: int | None = None,
    progress: bool = False,
) -> TrialPlan:
    """Work out how many real pets it takes to tell two odds apart.

    Args:
        first, second: shares, or regimes whose odds are simulated.
        days: what a real life takes to its outcome; by default what simulated ones take, or 7.
        rigs: how many live at a time.
        model, lives, seed, aim, engine, workers, progress: of the simulation, as for `compare`.

    Raises:
        ArgumentError: a number is out of its range, or the odds are alike; SpecError, PolicyError:
            as for `compare`.
    """
    odds = partial(
        odds_of, model=model, lives=lives, seed=seed, aim=aim, engine=engine,
        workers=workers, progress=progress,
    )  # fmt: skip
    one, other = odds(first), odds(second)
    if days is None:
        days = max((each.days for each in (one, other) if each.days is not None), default=7.0)
    return TrialPlan(one, other, days, rigs)
