"""Bands in which many counts stay together, whatever depends on what.

A 95 % band for each count alone is left by one count or another far more often than 5 % of the
time. So lives, and not counts, are what the bands are made for: of each life it is said how far its
farthest count lies, and the bands reach as far as 95 % of lives do.

How far a count lies is told by ranks, as Besag, Green, Higdon and Mengersen (1995, Bayesian
computation and stochastic systems, Statistical Science 10, section 6.3) do for simultaneous bands:
by the share of lives that have less, or more. Beyond all of those lives it is told by the distance,
in units of how far the lives on that side lie from the median (root mean square).

The ranks are those among one half of the lives and the reach is that of the other half, which makes
the band one of split conformal prediction: a fresh life stays in it with at least the chance that
is asked for, however many counts there are and whatever they are (Lei, G'Sell, Rinaldo, Tibshirani
and Wasserman 2018, Distribution-free predictive inference for regression, JASA 113, theorem 2).
Both are cited from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from petsim.errors import ArgumentError

Counts = NDArray[np.float64]
"""Whole numbers by life and by count; nan where a life has none."""
ROUNDING = 1e-9
"""What products of shares and numbers of lives may be off by."""


@dataclass(frozen=True)
class Bands:
    """The least and the greatest of each count, both within the band: of shape (counts,).

    A count that no life has is nan, and any number is within its band.
    """

    low: NDArray[np.float64]
    high: NDArray[np.float64]

    def outside(self, counts: Counts) -> NDArray[np.bool_]:
        """Return whether each count lies outside its band; what a life has none of does not."""
        return np.asarray((counts < self.low) | (counts > self.high))


def joint_bands(counts: Counts, confidence: float) -> Bands:
    """Return bands that all counts of a fresh life stay in together, with this chance at least.

    Args:
        counts: of lives that are independent of each other, shape (lives, counts). The first half
            of them rank a count, the others say how far the bands reach.
        confidence: the chance, above 0 and below 1.

    Raises:
        ArgumentError: there are too few lives for it, with how many it takes.
    """
    ranking, reaching = np.array_split(counts, 2)
    place = math.ceil((len(reaching) + 1) * confidence - ROUNDING)
    if place > len(reaching):
        least = 2 * math.ceil(confidence / (1 - confidence) - ROUNDING)
        raise ArgumentError(
            f"lives: {len(counts)}; expected at least {least} for bands of {100 * confidence:g} %"
        )
    ranks = [_Ranks(column) for column in ranking.T]
    far = [rank.how_far(column) for rank, column in zip(ranks, reaching.T, strict=True)]
    reach = float(np.sort(np.max(far, axis=0))[place - 1])
    ends = np.array([rank.ends(reach) for rank in ranks])
    return Bands(ends[:, 0], ends[:, 1])


class _Ranks:
    """How far from the middle of some lives a count lies: from 0, by rank within them up to 1."""

    def __init__(self, counts: Counts) -> None:
        self._sorted = np.sort(counts[~np.isnan(counts)])
        from_middle = self._sorted - np.median(self._sorted) if len(self._sorted) else np.zeros(1)
        self._above = _spread(from_middle[from_middle >= 0])
        self._below = _spread(from_middle[from_middle <= 0])

    def how_far(self, counts: Counts) -> NDArray[np.float64]:
        """Return how far each count lies to the side on which it lies farther; 0 if it is nan."""
        n = len(self._sorted)
        if n == 0:
            return np.zeros(len(counts))
        fewer = np.searchsorted(self._sorted, counts, side="left") / n
        more = 1 - np.searchsorted(self._sorted, counts, side="right") / n
        above = np.maximum(counts - self._sorted[-1], 0) / self._above
        below = np.maximum(self._sorted[0] - counts, 0) / self._below
        far = np.maximum(fewer + above, more + below)
        return np.where(np.isnan(counts), 0.0, far)

    def ends(self, reach: float) -> tuple[float, float]:
        """Return the least and the greatest count that lie no farther than that."""
        n = len(self._sorted)
        if n == 0:
            return math.nan, math.nan
        place = math.floor(min(reach, 1.0) * n + ROUNDING)
        beyond = max(reach - 1.0, 0.0)
        high = self._sorted[min(place, n - 1)] + math.floor(beyond * self._above + ROUNDING)
        low = self._sorted[max(n - 1 - place, 0)] - math.floor(beyond * self._below + ROUNDING)
        return max(0.0, float(low)), float(high)


def _spread(distances: Counts) -> float:
    """Return how far from the middle counts lie, 1 at least, as less can't be told of counts."""
    return max(1.0, math.sqrt(float(np.mean(distances**2))))
