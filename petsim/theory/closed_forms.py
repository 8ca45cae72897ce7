"""Exact results of renewal and inspection theory, in a few lines each.

Sources, named from memory, the formulas being closed forms derived anew here: Cox, "Renewal
Theory" (1962); Barlow and Proschan, "Mathematical Theory of Reliability" (1965), chapter 4;
Ross, "Stochastic Processes", chapter 3.

Time is whole seconds and a drop's wait is rounded to nearest, so P(wait <= n) = F(n + 1/2). Seen
from a check, though, the half second is gone: if the last drop was a second or more ago, the wait
has come to a + n seconds without one, and P(a + n) / P(a) is exp(-n / m) with no half in it. Only
a drop in the very second of the check, which happens at one check in m or so, leaves the half.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

Law = NDArray[np.float64]
"""The chance, for each second from 0 to the interval, that a need which a check left full is empty
in it for the first time."""


def surely(expected: int, spread: float = 1) -> int:
    """The number of waits that a life all but surely has, of those expected in its time.

    The last wait of a life is cut off, a long one more likely so; a check that looks at this many,
    seven standard deviations fewer than expected, leaves the cut ones out.

    Args:
        expected: the time of the life over the mean of a wait.
        spread: the standard deviation of a wait over its mean.
    """
    return expected - math.ceil(7 * spread * math.sqrt(expected))


def first_empty(mean: float, interval: int, levels: int = 1) -> Law:
    """The law of a need filled by the check at 0, with exponential waits between its drops.

    The drops run on whatever care does. Exact for one level; for more, the gamma law in whole
    seconds, which is off by less than 1 / mean squared.
    """
    seconds = np.arange(interval + 1)
    if levels > 1:
        law: Law = np.diff(stats.gamma.cdf(seconds, levels, scale=mean), prepend=0.0)
        return law
    mean_wait = 1 + np.exp(-1.5 / mean) / -np.expm1(-1 / mean)
    just_dropped = 1 / mean_wait
    survival = np.exp(-seconds / mean) * (1 + just_dropped * np.expm1(-0.5 / mean))
    survival[0] = 1.0
    falling: Law = -np.diff(survival, prepend=1.0)
    return falling


def first_ill(mean: float, interval: int) -> Law:
    """The same for an illness of constant hazard: ill at the first second that reaches it."""
    seconds = np.arange(interval + 1)
    return np.diff(-np.expm1(-seconds / mean), prepend=0.0)


class Inspected:
    """The law of a need that is checked every interval, and seen to be empty with some chance.

    p_empty: the chance that it is empty at the first check after a filling.

    Args:
        law: when it is empty first.
        overlooks: the chance that a check does not see that it is empty.
    """

    def __init__(self, law: Law, overlooks: float = 0.0) -> None:
        interval = len(law) - 1
        self.interval = interval
        self.p_empty = float(law.sum())
        # Time from empty to the check that sees it: to the next check, and on by one interval for
        # each check that overlooks it, their number being geometric.
        more = np.arange(1 if overlooks == 0 else 80)
        chances = (1 - overlooks) * overlooks**more
        delays = interval * (1 + more[:, None]) - np.arange(interval + 1)
        weights = chances[:, None] * law / self.p_empty
        self._delays, self._weights = delays.ravel(), weights.ravel()
        self._overlooks, self._overlooking = overlooks, np.repeat(more, interval + 1)

    def mean(self, values: ArrayLike) -> float:
        """The mean over emptyings of values by delay, as `delays` has these."""
        return float(np.asarray(values) @ self._weights)

    def sd(self, values: NDArray[np.float64]) -> float:
        """The standard deviation over emptyings of values by delay."""
        return float(np.sqrt(self.mean(values**2) - self.mean(values) ** 2))

    @property
    def delays(self) -> NDArray[np.float64]:
        """The seconds that may pass from empty to seen; how likely each is, is in `mean`."""
        return self._delays.astype(float)

    def misses(self, grace: int, again: int | None = None) -> NDArray[np.float64]:
        """Care misses by delay: one when the grace is over, and one more every `again`."""
        after = self._delays - grace
        return np.where(after < 0, 0, 1 if again is None else 1 + after // again).astype(float)

    def missed(self, grace: int) -> float:
        """Chance of a miss, given empty."""
        return self.mean(self.misses(grace))

    @property
    def cycle(self) -> tuple[float, float]:
        """Mean and standard deviation of the seconds from one filling to the next."""
        q, b = self.p_empty, self._overlooks
        mean = self.interval * (1 / q + b / (1 - b))
        sd = self.interval * np.sqrt((1 - q) / q**2 + b / (1 - b) ** 2)
        return mean, float(sd)

    def rate(self, values: NDArray[np.float64]) -> tuple[float, float]:
        """The long-run mean per second of what emptyings bring, and its spread.

        By renewal and reward: Ross, section 3.6. The spread over the root of a number of seconds is
        the standard error of a mean over them.

        Args:
            values: what an emptying brings, by delay.
        """
        cycle, _ = self.cycle
        rate = self.mean(values) / cycle
        per_check, q = rate * self.interval, self.p_empty
        # The checks up to the emptying are independent of all that follows it.
        after = self.sd(values - per_check * self._overlooking)
        variance = after**2 + per_check**2 * (1 - q) / q**2
        return rate, float(np.sqrt(variance / cycle))
