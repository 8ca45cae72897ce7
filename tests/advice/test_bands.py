"""Bands that hold together, where the chance that they do can be computed."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import norm, poisson

from petsim.advice.expecting.bands import joint_bands
from petsim.errors import ArgumentError

MEANS = np.array([3, 9, 20, 40, 80, 150, 300, 0.5, 5, 12, 60, 110], dtype=float)
LIVES, TIMES = 1000, 40
LEVEL = 0.95
SPREAD = math.sqrt(LEVEL * (1 - LEVEL) / (LIVES / 2) / TIMES)
"""The standard error of the mean chance over TIMES bands, as the reach is a quantile of LIVES / 2
lives: that of the share above an order statistic, a beta distribution (David and Nagaraja 2003,
Order Statistics, section 2.3; from memory)."""


def exact(low: np.ndarray, high: np.ndarray) -> float:
    """The chance that independent Poisson counts are all within ends, by scipy."""
    return float(np.prod(poisson.cdf(high, MEANS) - poisson.cdf(low - 1, MEANS)))


def test_independent_counts_stay_in_together_with_the_chance_asked_for() -> None:
    random = np.random.default_rng(1)
    chances = []
    for _ in range(TIMES):
        bands = joint_bands(random.poisson(MEANS, (LIVES, len(MEANS))).astype(float), LEVEL)
        chances.append(exact(bands.low, bands.high))
    # at least, as a count is a whole number; and not all of the time
    assert LEVEL - 4.5 * SPREAD < np.mean(chances) < 0.98


def test_bands_of_each_count_alone_do_not() -> None:
    tail = (1 - LEVEL) / 2
    alone = exact(poisson.ppf(tail, MEANS), poisson.ppf(1 - tail, MEANS))
    # 0.95 to the power of twelve, or a little more
    assert LEVEL ** len(MEANS) < alone < 0.75


def test_one_count_has_the_band_of_its_distribution() -> None:
    random = np.random.default_rng(2)
    reach = []
    for _ in range(TIMES):
        bands = joint_bands(random.normal(1000, 100, (LIVES, 1)), LEVEL)
        low, high = norm.cdf([bands.low[0], bands.high[0]], 1000, 100)
        reach.append((low, high))
    low, high = np.mean(reach, axis=0)
    # each end is a quantile of as many lives too
    each = math.sqrt(0.025 * 0.975 / (LIVES / 2) / TIMES)
    assert abs(low - 0.025) < 4.5 * 2 * each and abs(high - 0.975) < 4.5 * 2 * each
    assert abs(high - low - LEVEL) < 4.5 * SPREAD + 2 / LIVES


def test_a_shared_cause_counts_once() -> None:
    # the same count on seven days is one count
    random = np.random.default_rng(3)
    once = random.poisson(50, (LIVES, 1)).astype(float)
    bands, alone = joint_bands(np.repeat(once, 7, axis=1), LEVEL), joint_bands(once, LEVEL)
    assert (bands.low == alone.low).all() and (bands.high == alone.high).all()


def test_what_seldom_happens_does_not_widen_the_rest() -> None:
    random = np.random.default_rng(4)
    usual = random.poisson(50, (LIVES, 1)).astype(float)
    seldom = random.binomial(1, 0.003, (LIVES, 10)).astype(float)
    bands = joint_bands(np.hstack([usual, seldom]), LEVEL)
    assert (bands.low[1:] == 0).all()
    assert poisson.ppf(0.9999, 50) >= bands.high[0]


def test_a_count_that_is_always_the_same_is_its_band() -> None:
    counts = np.full((LIVES, 2), 144.0)
    counts[:, 1] = np.random.default_rng(5).poisson(9, LIVES)
    bands = joint_bands(counts, LEVEL)
    assert (bands.low[0], bands.high[0]) == (144, 144)


def test_a_life_is_held_only_on_the_days_it_lived() -> None:
    random = np.random.default_rng(6)
    counts = random.poisson(50, (LIVES, 3)).astype(float)
    counts[: LIVES // 2, 2] = counts[LIVES // 2 :, 2][::-1]
    counts[::2, 2] = np.nan
    bands = joint_bands(counts, LEVEL)
    fresh = np.array([[50.0, 50.0, np.nan], [50.0, 500.0, 50.0]])
    assert bands.outside(fresh).tolist() == [[False] * 3, [False, True, False]]


def test_a_count_that_no_life_has_is_never_outside() -> None:
    counts = np.full((LIVES, 2), np.nan)
    counts[:, 0] = np.random.default_rng(7).poisson(9, LIVES)
    bands = joint_bands(counts, LEVEL)
    assert not bands.outside(np.array([[9.0, 1e6]])).any()


def test_too_few_lives_are_refused_with_how_many_it_takes() -> None:
    counts = np.zeros((37, 1))
    with pytest.raises(ArgumentError, match=r"^lives: 37; expected at least 38 for bands of 95 %$"):
        joint_bands(counts, 0.95)
    joint_bands(np.zeros((38, 1)), 0.95)
