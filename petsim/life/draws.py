"""What a uniform number u becomes: durations, choices and errors.

Every random quantity comes from one uniform, strictly between 0 and 1, by the inverse of its
distribution function. The arithmetic is scalar and in doubles, its order fixed, so that every
engine gets the same numbers.
"""

import math
from collections.abc import Sequence

from petsim.spec.laws import Distribution, nearest_second, unit_exponential, whole_seconds

CERTAIN = 2**62
"""The error step of a chance of 1: above any threshold."""

ERROR_UNITS = 2.0**40
"""Units of what an error's trials use up, in a unit-exponential."""


def sample(distribution: Distribution, u: float) -> int:
    """Return the duration that u gives under a distribution, in whole seconds."""
    return whole_seconds(distribution.quantile(u))


def lateness(distribution: Distribution, u: float) -> int:
    """Return the whole seconds, 0 or more, by which a check comes late; at most 2**53."""
    return nearest_second(distribution.quantile(u))


def choose(chances: Sequence[float], u: float) -> int:
    """Return the place of the first chance whose running sum exceeds u, else the last place."""
    total = 0.0
    for place, chance in enumerate(chances):
        total += chance
        if u < total:
            return place
    return len(chances) - 1


def error_threshold(u: float) -> int:
    """Return how many error units (2**-40 of a unit-exponential) pass until the next error."""
    return math.floor(unit_exponential(u) * ERROR_UNITS)


def error_step(p: float) -> int:
    """Return how many error units a trial with chance p uses up; it errs if fewer were left.

    A chance of 1 uses up more than any threshold holds. A chance of 0 uses up none and is no
    trial; neither is one below 2**-41, which rounds to 0.
    """
    if p >= 1.0:
        return CERTAIN
    return math.floor(unit_exponential(p) * ERROR_UNITS + 0.5)


def effective_overlooks(p: float, of: int, agree: int) -> float:
    """Return the chance that fewer than `agree` of `of` looks show what is there.

    Args:
        p: the chance that one look overlooks it.
        of: the number of looks.
        agree: how many of them must show it, from 1 to `of`.
    """
    return _at_least(of - agree + 1, of, p)


def effective_imagines(p: float, of: int, agree: int) -> float:
    """Return the chance that at least `agree` of `of` looks show what is not there.

    Args:
        p: the chance that one look imagines it.
        of: the number of looks.
        agree: how many of them must show it, from 1 to `of`.
    """
    return _at_least(agree, of, p)


def effective_misreads(p: float, of: int) -> float:
    """Return the chance that the median of an odd number of readings of a level is off.

    The median is one too high if most readings are, and one too low likewise, each reading being
    either with chance p / 2.

    Args:
        p: the chance that one reading is off, by one up or down alike.
        of: the number of readings, odd.
    """
    return min(1.0, 2.0 * _at_least((of + 1) // 2, of, p / 2.0))


def _at_least(k: int, n: int, p: float) -> float:
    """The chance of at least k successes in n independent trials, each with chance p."""
    if n == 1:
        return p
    terms = (math.comb(n, i) * p**i * (1.0 - p) ** (n - i) for i in range(k, n + 1))
    return min(1.0, math.fsum(terms))
