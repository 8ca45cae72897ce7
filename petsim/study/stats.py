"""Intervals for shares, means and paired differences, each by a published method."""

import math
from collections.abc import Iterable
from operator import index
from typing import NamedTuple

import numpy as np

from petsim.life.draws import normal_quantile


class Interval(NamedTuple):
    """An estimate and the ends of its confidence interval."""

    estimate: float
    low: float
    high: float


def wilson(x: int, n: int, level: float = 0.95) -> Interval:
    """Return the score interval of a share: x of n independent lives.

    Source: Wilson (1927), "Probable inference, the law of succession, and statistical inference",
    Journal of the American Statistical Association 22:209-212.

    Args:
        x: the number of lives that count, 0 to n.
        n: the number of lives, at least 1.
        level: the confidence level, between 0 and 1.

    Raises:
        ValueError: a count or the level is out of its range.
    """
    x, n = index(x), index(n)
    if not 0 <= x <= n or n == 0:
        raise ValueError(f"{x} of {n}; expected 0 to n of at least 1")
    z = _two_sided(level)
    centre = x + z * z / 2
    half = z * math.sqrt(x * (n - x) / n + z * z / 4)
    low = (centre - half) / (n + z * z) if x > 0 else 0.0
    high = (centre + half) / (n + z * z) if x < n else 1.0
    return Interval(x / n, low, high)


def newcombe_paired(a: int, b: int, c: int, d: int, level: float = 0.95) -> Interval:
    """Return the interval of the difference of two shares seen on the same lives.

    The estimate is the first regime's share of good lives less the second's, (b - c) / n. Where
    no life tells the two apart it is exactly 0, and the interval around it is as wide as the
    method makes it: that n lives agree does not prove that all would.

    Source: Newcombe (1998), "Improved confidence intervals for the difference between binomial
    proportions based on paired data", Statistics in Medicine 17:2635-2650, method 10 (score
    intervals combined with a continuity-corrected phi).

    Args:
        a: lives good under both regimes.
        b: lives good under the first only.
        c: lives good under the second only.
        d: lives good under neither.
        level: the confidence level, between 0 and 1.

    Raises:
        ValueError: a count is negative, all are 0, or the level is out of its range.
    """
    a, b, c, d = index(a), index(b), index(c), index(d)
    n = a + b + c + d
    if min(a, b, c, d) < 0 or n == 0:
        raise ValueError(f"table {a} {b} {c} {d}; expected counts of 0 or more, not all 0")
    first, second = wilson(a + b, n, level), wilson(a + c, n, level)
    phi = _corrected_phi(a, b, c, d)
    difference = (b - c) / n
    return Interval(
        difference,
        difference - _joint(first.estimate - first.low, second.high - second.estimate, phi),
        difference + _joint(first.high - first.estimate, second.estimate - second.low, phi),
    )


def mean_interval(values: Iterable[float], level: float = 0.95) -> Interval:
    """Return the t interval of a mean, from independent lives or paired differences of lives.

    Source: Student (1908), "The probable error of a mean", Biometrika 6:1-25.

    Args:
        values: one number per life; with a single one both ends are nan, the spread being unknown.
        level: the confidence level, between 0 and 1.

    Raises:
        ValueError: there are no values, or the level is out of its range.
    """
    from scipy.special import stdtrit

    sample = np.fromiter(values, dtype=float)
    n = len(sample)
    upper = _upper_tail(level)
    if n == 0:
        raise ValueError("no values; expected at least one")
    mean = float(sample.mean())
    if n == 1:
        return Interval(mean, math.nan, math.nan)
    # a sum rounds, and would make a mean and a spread of its own out of values that are all alike
    if sample.min() == sample.max():
        return Interval(float(sample[0]), float(sample[0]), float(sample[0]))
    half = float(stdtrit(n - 1, upper) * sample.std(ddof=1)) / math.sqrt(n)
    return Interval(mean, mean - half, mean + half)


def _upper_tail(level: float) -> float:
    if not 0 < level < 1:
        raise ValueError(f"level: {level}; expected a number between 0 and 1")
    return (1 + level) / 2


def _two_sided(level: float) -> float:
    return normal_quantile(_upper_tail(level))


def _corrected_phi(a: int, b: int, c: int, d: int) -> float:
    margins = (a + b) * (c + d) * (a + c) * (b + d)
    if margins == 0:
        return 0.0
    surplus = float(a * d - b * c)
    if surplus > 0:
        surplus = max(surplus - (a + b + c + d) / 2, 0.0)
    return surplus / math.sqrt(margins)


def _joint(x: float, y: float, phi: float) -> float:
    # x**2 - 2 * phi * x * y + y**2, in a form that rounding cannot turn negative.
    return math.sqrt((x - y) ** 2 + 2 * (1 - phi) * x * y)
