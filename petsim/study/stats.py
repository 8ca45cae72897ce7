"""Intervals and tests for shares, means and paired differences, each by a published method."""

import math
from collections.abc import Iterable, Mapping, Sequence
from operator import index
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from petsim.spec.normal import normal_quantile


class Interval(NamedTuple):
    """An estimate and the ends of its confidence interval."""

    estimate: float
    low: float
    high: float


def as_data(numbers: Mapping[Any, float]) -> dict[str, float | None]:
    """Return numbers by their names, with None for nan, which JSON does not have."""
    return {name: None if math.isnan(x) else x for name, x in numbers.items()}


def wilson(x: int, n: int, level: float = 0.95) -> Interval:
    """Return the score interval of a share: x of n independent lives.

    At 95 % it holds in about as many cases on average, but in as few as 83.9 % where only a life or
    less is expected to count (`tests/bench/coverage.py`).

    Source: Wilson (1927), "Probable inference, the law of succession, and statistical inference",
    Journal of the American Statistical Association 22:209-212.

    Args:
        x: the number of lives that count, 0 to n.
        n: the number of lives, at least 1.
        level: the confidence level, between 0 and 1.

    Raises:
        ValueError: a count or the level is out of its range.
    """
    x, n = _count(x, n)
    z = _two_sided(level)
    centre = x + z * z / 2
    half = z * math.sqrt(x * (n - x) / n + z * z / 4)
    low = (centre - half) / (n + z * z) if x > 0 else 0.0
    high = (centre + half) / (n + z * z) if x < n else 1.0
    return Interval(x / n, low, high)


def clopper_pearson(x: int, n: int, level: float = 0.95) -> Interval:
    """Return the exact interval of a share: x of n independent trials.

    It covers the truth at least as often as its level says, and so is wider than Wilson's: for a
    few real pets.

    Source: Clopper and Pearson (1934), "The use of confidence or fiducial limits illustrated in
    the case of the binomial", Biometrika 26:404-413; by quantiles of the beta distribution.

    Args:
        x: the number of trials that count, 0 to n.
        n: the number of trials, at least 1.
        level: the confidence level, between 0 and 1.

    Raises:
        ValueError: a count or the level is out of its range.
    """
    from scipy.special import betaincinv

    x, n = _count(x, n)
    tail = 1 - _upper_tail(level)
    low = float(betaincinv(x, n - x + 1, tail)) if x > 0 else 0.0
    high = float(betaincinv(x + 1, n - x, 1 - tail)) if x < n else 1.0
    return Interval(x / n, low, high)


def bonferroni(counts: Sequence[int], level: float = 0.95) -> list[Interval]:
    """Return exact intervals of all shares of a whole that hold together at the level.

    Each is Clopper and Pearson's at a higher level, at which by Bonferroni's inequality the chance
    that any of them fails is at most what the level leaves. In ten cases of 3 to 12 kinds and 50
    to 10,000 lives, all with kinds expected less than once, all held together in 97.2 to 99.3 %
    at a level of 95 % (exact sums, in `tests/bench/coverage.py`). In the same cases Wilson's at
    that level, which is Goodman's method (1965), held in 79.3 to 97.3 %; that of Sison and Glaz
    (1995) in 88 % of 2000 samples of the first. Blaker's exact intervals (2000), which take a
    search, were 5 % narrower at most among 5000 lives.

    Source: Dunn (1961), "Multiple comparisons among means", Journal of the American Statistical
    Association 56:52-64, for Bonferroni's inequality; from memory. See `clopper_pearson`.

    Args:
        counts: the lives of each kind there can be, also of those with none, that add up to all
            lives; at least one kind.
        level: the confidence level of all intervals together, between 0 and 1.

    Raises:
        ValueError: a count is negative, all are 0, or the level is out of its range.
    """
    each = 1 - (1 - level) / len(counts)
    n = sum(map(index, counts))
    return [clopper_pearson(x, n, each) for x in counts]


def none_in(n: int, level: float = 0.95) -> float:
    """Return the bound on the chance of something that happened in none of n independent trials.

    It is exact and one-sided, 1 - (1 - level)^(1 / n); at 95 % about 3 / n, the rule of three.

    Source: Hanley and Lippman-Hand (1983), "If nothing goes wrong, is everything all right?",
    Journal of the American Medical Association 249:1743-1745.

    Args:
        n: the number of trials, at least 1.
        level: the confidence level, between 0 and 1.

    Raises:
        ValueError: n or the level is out of its range.
    """
    _, n = _count(0, n)
    _upper_tail(level)
    return -math.expm1(math.log1p(-level) / n)


def mcnemar(b: int, c: int) -> float:
    """Return the exact two-sided p-value for two shares, seen on the same lives, being equal.

    Only lives that are good under one regime and not under the other count; if the shares are
    equal, each of these falls to either side with chance 1/2.

    Source: McNemar (1947), "Note on the sampling error of the difference between correlated
    proportions or percentages", Psychometrika 12:153-157; exact, by the binomial distribution.

    Args:
        b: lives good under the first regime only.
        c: lives good under the second only.

    Raises:
        ValueError: a count is negative.
    """
    from scipy.special import bdtr

    b, c = index(b), index(c)
    if min(b, c) < 0:
        raise ValueError(f"lives told apart {b} {c}; expected counts of 0 or more")
    return min(1.0, 2 * float(bdtr(min(b, c), b + c, 0.5)))


def newcombe_paired(a: int, b: int, c: int, d: int, level: float = 0.95) -> Interval:
    """Return the interval of the difference of two shares seen on the same lives.

    The estimate is the first regime's share of good lives less the second's, (b - c) / n. Where
    all lives are alike under both it is exactly 0, but its interval still has a width: that n lives
    agree does not prove that all would.

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

    It holds less often for few values of which hardly any differs from the others, as with rare
    care misses: at 95 %, of one that 1.7 % of lives have, in 29 % of groups of 20 lives, in 93 % of
    groups of 1000 (`tests/bench/coverage.py`).

    Source: Student (1908), "The probable error of a mean", Biometrika 6:1-25.

    Args:
        values: one number per life; with a single one both ends are nan, the spread being unknown.
        level: the confidence level, between 0 and 1.

    Raises:
        ValueError: there are no values, or the level is out of its range.
    """
    sample = np.fromiter(values, dtype=float)
    if len(sample) == 0:
        raise ValueError("no values; expected at least one")
    mean = float(sample.mean())
    squares = float(((sample - mean) ** 2).sum())
    # a sum rounds, and would make a mean and a spread of its own out of values that are all alike
    if sample.min() == sample.max():
        mean, squares = float(sample[0]), 0.0
    return _mean_interval(len(sample), mean, squares, level)


def mean_interval_of_sums(n: int, total: float, squares: float, level: float = 0.95) -> Interval:
    """Return the t interval of a mean as `mean_interval` does, of n values with these sums.

    Args:
        n: how many values there are, at least 1.
        total, squares: their sum, and that of their squares.
        level: the confidence level, between 0 and 1.

    Raises:
        ValueError: there are no values, or the level is out of its range.
    """
    if n == 0:
        raise ValueError("no values; expected at least one")
    mean = total / n
    return _mean_interval(n, mean, max(squares - total * mean, 0.0), level)


def _mean_interval(n: int, mean: float, squares: float, level: float) -> Interval:
    """The t interval of the mean of n values; squares: the sum of their squared deviations."""
    from scipy.special import stdtrit

    upper = _upper_tail(level)
    if n == 1:
        return Interval(mean, math.nan, math.nan)
    half = float(stdtrit(n - 1, upper)) * math.sqrt(squares / (n - 1) / n)
    return Interval(mean, mean - half, mean + half)


def ratio_interval(
    parts: Iterable[float], wholes: Iterable[float], level: float = 0.95
) -> Interval:
    """Return the interval of a ratio of sums: of a part of each life over a whole of each life.

    Its half-width is that of the t interval for the mean of `part - ratio * whole`, over the mean
    of the wholes.

    Source: Cochran (1977), "Sampling Techniques", 3rd edition, chapter 6, ratio estimators; from
    memory.

    Args:
        parts, wholes: numbers of the same lives; with a single one both ends are nan.
        level: the confidence level, between 0 and 1.

    Raises:
        ValueError: there are no lives, the wholes add up to 0, or the level is out of its range.
    """
    part, whole = np.fromiter(parts, dtype=float), np.fromiter(wholes, dtype=float)
    if not whole.sum():
        raise ValueError("wholes: add up to 0; expected more")
    ratio = float(part.sum() / whole.sum())
    residual = mean_interval(part - ratio * whole, level)
    half = (residual.high - residual.low) / 2 / float(whole.mean())
    return Interval(ratio, ratio - half, ratio + half)


def pairing_gain(a: int, b: int, c: int, d: int) -> float:
    """Return how many times as many independent lives would show a difference as sharply.

    It is the variance of the difference of two shares if they came from independent lives, over
    that of the paired difference of the same lives; nan where no life tells the two apart, or each
    does in the same way.

    Source: common random numbers, Law, "Simulation Modeling and Analysis", chapter 11; from memory.

    Args:
        a, b, c, d: as for `newcombe_paired`.
    """
    n = a + b + c + d
    first, second = (a + b) / n, (a + c) / n
    paired = (b + c) / n - ((b - c) / n) ** 2
    independent = first * (1 - first) + second * (1 - second)
    return independent / paired if paired > 0 else math.nan


def pairing_gain_of_means(ours: NDArray[np.float64], theirs: NDArray[np.float64]) -> float:
    """Return the same as `pairing_gain` of a difference of means.

    Args:
        ours, theirs: a number of each life under either.
    """
    paired = float(np.var(ours - theirs))
    return float(np.var(ours) + np.var(theirs)) / paired if paired > 0 else math.nan


def paired_t(differences: NDArray[np.float64]) -> float:
    """Return the two-sided p-value of the paired t test, 0..1, if the mean difference is 0.

    It is 1 where no life differs, and of a single one, which shows nothing.

    Source: Student (1908), see `mean_interval`.

    Args:
        differences: of each life, at least one.
    """
    from scipy.special import stdtr

    n, mean = len(differences), float(differences.mean())
    if n == 1 or not differences.any():
        return 1.0
    error = float(differences.std(ddof=1)) / math.sqrt(n)
    return 2 * float(stdtr(n - 1, -abs(mean) / error)) if error else 0.0


def _count(x: int, n: int) -> tuple[int, int]:
    x, n = index(x), index(n)
    if not 0 <= x <= n or n == 0:
        raise ValueError(f"{x} of {n}; expected 0 to n of at least 1")
    return x, n


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
