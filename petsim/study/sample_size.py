"""How many real pets it takes to tell two odds apart, by exact tests."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from petsim.spec.normal import normal_quantile

LEVEL, POWER = 0.95, 0.8
"""How sure to be that a difference is none by chance, and how likely to show one there is."""
MOST_TRIALS = 200
"""Real lives of one routine beyond which nobody goes, a life being a week."""


@dataclass(frozen=True)
class TrialDesign:
    """How many real pets show which of two odds is true, or which of two routines is better.

    pets: under each routine. power: the chance of showing the second odds, or the difference, if
    that is what there is. cutoff: the number of one routine's pets from which on (or down from
    which, if the second odds are the lower) they speak for the second odds; None with two routines.
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
    for pets in range(1, MOST_TRIALS + 1):
        design = one_routine_of(first, second, pets)
        if design is not None and design.power >= POWER:
            return design
    return None


def one_routine_of(first: float, second: float, pets: int) -> TrialDesign | None:
    """The most powerful design that tells the odds of one routine by a number of pets.

    If the first odds are true, the second are believed in one trial of twenty at most. None if so
    few pets can't keep to that.
    """
    from scipy.stats import binom

    counts = np.arange(pets + 1)
    tails = [
        binom.sf(counts - 1, pets, p) if second > first else binom.cdf(counts, pets, p)
        for p in (first, second)
    ]
    suits = tails[0] <= 1 - LEVEL
    if not suits.any():
        return None
    power = np.where(suits, tails[1], 0)
    best = int(power.argmax())
    return TrialDesign(pets, float(power[best]), best)


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
