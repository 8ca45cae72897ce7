"""Shares over several weighted models: how far luck alone may be off, and how far the models."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from petsim.spec.normal import normal_quantile
from petsim.study.stats import Interval, wilson

TAIL = 0.025
"""The chance left out at each end of an interval."""


class WeightedInterval(NamedTuple):
    """The weighted mean of a share, or of a difference of shares, over several models.

    low, high: the 95 % interval of what holds for the one model that is true, each having its
    weight as the chance to be it: the error of sampling and the doubt between models. sampling:
    the 95 % interval of the mean by sampling alone. spread: the standard deviation between the
    models' estimates, 0 for a single model.
    """

    estimate: float
    low: float
    high: float
    sampling: Interval
    spread: float


def weighted_interval(
    intervals: Sequence[Interval], sampling: Interval, weights: NDArray[np.float64]
) -> WeightedInterval:
    """Put together what each model says of a quantity.

    Args:
        intervals: of the quantity under each model. sampling: of its weighted mean.
        weights: of the models, from 0 on, which sum to 1.
    """
    estimates = np.array([interval.estimate for interval in intervals])
    deviations = estimates - weights @ estimates
    spread = math.sqrt(weights @ deviations**2)
    ends = _quantile(intervals, weights, TAIL), _quantile(intervals, weights, 1 - TAIL)
    return WeightedInterval(sampling.estimate, *ends, sampling, spread)


def _quantile(intervals: Sequence[Interval], weights: NDArray[np.float64], share: float) -> float:
    """The value below which a share of a mixture lies, found by halving.

    Each interval stands for two halves of normal distributions about its estimate, whose quantiles
    are its ends: a confidence distribution, by Xie and Singh (2013), "Confidence distribution, the
    frequentist distribution estimator of a parameter: a review", International Statistical Review
    81:3-39 (from memory).
    """
    from scipy.special import ndtr

    estimates, lows, highs = np.array(intervals)[weights > 0].T
    own, z = weights[weights > 0], normal_quantile(1 - TAIL)

    def below(x: float) -> float:
        off = x - estimates
        width = np.where(off < 0, estimates - lows, highs - estimates)
        with np.errstate(divide="ignore", invalid="ignore"):
            scores = np.where(off == 0, 0.0, z * off / width)
        return float(own @ ndtr(scores))

    low, high = float(lows.min()), float(highs.max())
    while low < (middle := (low + high) / 2) < high:
        low, high = (middle, high) if below(middle) < share else (low, middle)
    return low if share < 0.5 else high


def combination(
    happened: NDArray[np.bool_],
    factors: NDArray[np.float64],
    nested: NDArray[np.int64] | None = None,
) -> Interval:
    """Return the 95 % interval of a sum of shares times factors, all seen on the same lives.

    The ends of Wilson's interval of each share are put together by the correlations of the shares,
    as Newcombe's method 10 does for the difference of two, with its corrected phi; of one share it
    is Wilson's interval, of a difference of two Newcombe's.

    Source: Zou, Huang and Zhang (2009), "A note on confidence interval estimation for a linear
    function of binomial proportions", Computational Statistics & Data Analysis 53:1080-1085, and
    Newcombe (1998), see `newcombe_paired`; from memory.

    Args:
        happened: whether it happened, of shape (shares, lives).
        factors: of each share.
        nested: the number of the set that each share belongs to, if there are such sets: what
            happens in one share of a set happens in all larger ones of it. Their correlation is not
            corrected, and is 1 where it can't be told, as it happened in no life, or in all:
            anything less would make the interval of a sum narrower than that of its parts.
    """
    counts, n = happened.sum(axis=1), happened.shape[1]
    estimates, lows, highs = np.array([wilson(int(count), n) for count in counts]).T
    correlations, estimate = _phi(happened), float(factors @ estimates)
    if nested is not None:
        in_one_set = nested[:, np.newaxis] == nested
        correlations = np.where(in_one_set, _phi_of_nested(counts, n), correlations)
    below = np.where(factors > 0, estimates - lows, highs - estimates) * factors
    above = np.where(factors > 0, highs - estimates, estimates - lows) * factors
    down, up = (math.sqrt(max(0.0, off @ correlations @ off)) for off in (below, above))
    return Interval(estimate, estimate - down, estimate + up)


def _phi_of_nested(counts: NDArray[np.int64], n: int) -> NDArray[np.float64]:
    """The correlation of each two shares, one within the other; 1 where it can not be told."""
    less, more = np.minimum.outer(counts, counts), np.maximum.outer(counts, counts)
    told = (less > 0) & (more < n)
    ratio = np.divide(less * (n - more), more * (n - less), out=np.ones(told.shape), where=told)
    phi: NDArray[np.float64] = np.sqrt(ratio)
    return phi


def _phi(happened: NDArray[np.bool_]) -> NDArray[np.float64]:
    """The correlation of each two shares, those above 0 with Newcombe's correction."""
    lives = happened.astype(np.float64)
    counts, n = lives.sum(axis=1), happened.shape[1]
    surplus = n * (lives @ lives.T) - np.outer(counts, counts)
    corrected = np.where(surplus > 0, np.maximum(surplus - n / 2, 0), surplus)
    margins = counts * (n - counts)
    both = np.sqrt(np.outer(margins, margins))
    phi: NDArray[np.float64] = np.divide(corrected, both, out=np.zeros_like(both), where=both > 0)
    np.fill_diagonal(phi, 1.0)
    return phi
