"""Evidence from real pets: what a few trials say of the odds, and how many tell two odds apart."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, replace
from functools import cached_property, partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from petsim._version import __version__
from petsim.errors import ArgumentError
from petsim.life.simulate import CaretakerSource, ModelSource
from petsim.spec import defaults
from petsim.spec.arguments import count_of, is_number, whole_of
from petsim.spec.normal import normal_quantile
from petsim.spec.quantities import DAY
from petsim.study.compare import Comparison, compare
from petsim.study.stats import Interval, clopper_pearson, none_in

LEVEL, POWER = 0.95, 0.8
"""How sure to be that a difference is none by chance, and how likely to show one there is."""
MOST_TRIALS = 200
"""Real lives of one routine beyond which nobody goes, a life being a week."""


@dataclass(frozen=True)
class Odds:
    """The odds of the aim: as given, or as simulated under a regime.

    simulated: the lives they come from, if any do.
    """

    value: float
    simulated: Comparison | None = None

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
        about = {"model": batch.model.id, "regime": batch.regime, "aim": aim, "lives": len(batch)}
        _, low, high = batch.share(aim)
        return {"odds": self.value, "low": low, "high": high, "days": self.days, **about}


@dataclass(frozen=True)
class Trials:
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
        """The greatest odds that go with none having got there, or the least with all."""
        if 0 < self.reached < self.pets:
            return None
        bound = none_in(self.pets, LEVEL)
        return bound if self.reached == 0 else 1 - bound

    @cached_property
    def p_value(self) -> float | None:
        """How likely trials are that go with the odds no better than these do.

        The two-sided exact binomial test, by scipy.stats.binomtest.
        """
        if self.odds is None:
            return None
        from scipy.stats import binomtest

        return float(binomtest(self.reached, self.pets, self.odds.value).pvalue)

    @property
    def compatible(self) -> bool | None:
        """Whether they go with the odds: whether the test at 5 % does not speak against it."""
        return None if self.p_value is None else self.p_value > 1 - LEVEL

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


def trials(
    reached: int,
    pets: int,
    odds: float | CaretakerSource | None = None,
    *,
    model: ModelSource = defaults.MODEL,
    lives: int | None = None,
    seed: int = 0,
    aim: str | None = None,
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
    aim: str | None,
    engine: str,
    workers: int | None,
    progress: bool,
) -> Odds:
    """The odds given, or those simulated under a regime.

    Args:
        source: a share, or a regime.
        model, lives, seed, aim, engine, workers, progress: of the simulation, as for `compare`.

    Raises:
        ArgumentError: the odds given are not between 0 and 1; and as for `compare`.
    """
    if not isinstance(source, int | float):
        simulated = compare(
            *(model, [source]), lives=lives, seed=seed, aim=aim, engine=engine,
            workers=workers, progress=progress,
        )  # fmt: skip
        return Odds(simulated.batches[0].share(simulated.aim).estimate, simulated)
    if not 0 <= source <= 1:
        raise ArgumentError(f"odds: {source!r}; expected a share from 0 to 1")
    return Odds(float(source))


def tries_without(odds: float) -> int:
    """How many tries without any success put the odds below these, at 95 %.

    Source: the exact bound of `none_in`, solved for the number of trials.
    """
    return math.ceil(math.log(1 - LEVEL) / math.log1p(-odds))


@dataclass(frozen=True)
class TrialPlan:
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


def tell_apart(
    first: float | CaretakerSource,
    second: float | CaretakerSource,
    *,
    model: ModelSource = defaults.MODEL,
    days: float | None = None,
    rigs: int = 1,
    lives: int | None = None,
    seed: int = 0,
    aim: str | None = None,
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


@dataclass(frozen=True)
class TrialDesign:
    """How many real pets show which of two odds is true, or which of two routines is better.

    pets: under each routine. power: the chance of showing the second odds, or the difference, if
    that is what there is. cutoff: of one routine's pets, so many or more (or fewer, if the second
    odds are the lower) speak for the second odds; None with two routines.
    """

    pets: int
    power: float
    cutoff: int | None = None


def one_routine(first: float, second: float) -> TrialDesign | None:
    """The least number of pets that tells whether one routine has the first or the second odds.

    If the first are true, the second are believed in one trial of twenty at most; if the second
    are, in four of five at least. None if that takes more than MOST_TRIALS.

    Source: the exact single-stage design, A'Hern (2001), "Sample size tables for exact
    single-stage phase II designs", Statistics in Medicine 20:859-866.
    """
    from scipy.stats import binom

    for pets in range(1, MOST_TRIALS + 1):
        counts = np.arange(pets + 1)
        tails = [
            binom.sf(counts - 1, pets, p) if second > first else binom.cdf(counts, pets, p)
            for p in (first, second)
        ]
        suits = (tails[0] <= 1 - LEVEL) & (tails[1] >= POWER)
        if suits.any():
            power = np.where(suits, tails[1], 0)
            best = int(power.argmax())
            return TrialDesign(pets, float(power[best]), best)
    return None


def two_routines(first: float, second: float) -> TrialDesign | None:
    """The number of pets under each of two routines that tells these odds apart.

    By Fisher's exact test, two-sided at 5 %, with a power of 80 %. None if that takes more than
    MOST_TRIALS of each. The power goes up and down a little with the number; this is the least
    one from which fewer do not suffice, coming down from the approximate number.

    Source: Casagrande, Pike and Smith (1978), "An improved approximate formula for calculating
    sample sizes for comparing two binomial distributions", Biometrics 34:483-486, for the
    approximate number.
    """
    pets = min(math.ceil(approximate_pets(first, second)), MOST_TRIALS)
    while pets <= MOST_TRIALS and (power := fisher_power(first, second, pets)) < POWER:
        pets += 1
    if pets > MOST_TRIALS:
        return None
    while pets > 1 and (less := fisher_power(first, second, pets - 1)) >= POWER:
        pets, power = pets - 1, less
    return TrialDesign(pets, power)


def approximate_pets(first: float, second: float) -> float:
    """About how many pets of each routine the exact test takes, by its normal approximation.

    Source: Casagrande, Pike and Smith (1978); Fleiss, Levin and Paik, "Statistical Methods for
    Rates and Proportions", chapter 4; from memory.
    """
    distance, middle = abs(first - second), (first + second) / 2
    spread = math.sqrt(2 * middle * (1 - middle))
    spread_apart = math.sqrt(first * (1 - first) + second * (1 - second))
    z_level, z_power = normal_quantile((1 + LEVEL) / 2), normal_quantile(POWER)
    uncorrected = ((z_level * spread + z_power * spread_apart) / distance) ** 2
    return uncorrected / 4 * (1 + math.sqrt(1 + 4 / (uncorrected * distance))) ** 2


def fisher_power(first: float, second: float, pets: int) -> float:
    """The chance that Fisher's exact test at 5 % tells two odds apart, with `pets` pets of each.

    Exact, over all pairs of counts. Source: Fisher, "The Design of Experiments" (1935), section
    21; the p-value is the chance of all tables no likelier than the one seen.
    """
    from scipy.stats import binom

    shown = _shown(pets)
    ours, theirs = (binom.pmf(np.arange(pets + 1), pets, p) for p in (first, second))
    return float(ours @ shown @ theirs)


def _shown(pets: int) -> NDArray[np.bool_]:
    """Whether Fisher's test shows a difference, by both counts."""
    from scipy.stats import hypergeom

    counts = np.arange(pets + 1)
    shown = np.zeros((pets + 1, pets + 1), dtype=bool)
    for together in range(2 * pets + 1):
        ours = counts[(together - pets <= counts) & (counts <= together)]
        chances = hypergeom.pmf(ours, 2 * pets, together, pets)
        # equal chances that rounding tells apart count as equal, as in other programs
        no_likelier = chances[None, :] <= chances[:, None] * (1 + 1e-7)
        p_values = no_likelier @ chances
        shown[ours, together - ours] = p_values <= 1 - LEVEL
    return shown
