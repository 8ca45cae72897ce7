"""Shares over weighted models: one model's are those of published methods, others hold as often."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import binom, norm

from petsim.study.stats import Interval, newcombe_paired, wilson
from petsim.study.weighted import combination, weighted_interval

ONE = np.array([1.0])


def lives(*counts):
    """Two shares of lives: of both, of the first only, of the second only, of neither."""
    pairs = [(True, True), (True, False), (False, True), (False, False)]
    return np.repeat(np.array(pairs).T, counts, axis=1)


@pytest.mark.parametrize(("x", "n"), [(0, 10), (3, 10), (10, 10), (1, 1), (271, 900)])
def test_of_one_share_it_is_wilsons(x, n):
    happened = np.array([[True] * x + [False] * (n - x)])
    interval = wilson(x, n)
    assert combination(happened, ONE) == pytest.approx(interval, abs=1e-12)
    mixed = weighted_interval([interval], interval, ONE)
    assert mixed[:3] == pytest.approx(interval, abs=1e-12)


@pytest.mark.parametrize(
    "table",
    [(36, 12, 2, 0), (0, 10, 0, 0), (5, 0, 0, 5), (1, 2, 3, 4), (0, 4, 7, 0), (20, 1, 1, 9)],
)
def test_of_a_difference_of_two_it_is_newcombes(table):
    difference = combination(lives(*table), np.array([1.0, -1.0]))
    assert difference == pytest.approx(newcombe_paired(*table), abs=1e-12)


def test_intervals_of_weighted_shares_hold_as_often_as_they_say():
    # lives of common luck: each share is that of lives whose one uniform lies below it
    rng = np.random.default_rng(20)
    shares, weights = np.array([0.15, 0.3, 0.72]), np.array([0.5, 0.2, 0.3])
    number, n, true = 4_000, 150, float(weights @ shares)
    for common in (True, False):
        held = 0
        for _ in range(number):
            luck = rng.random((1, n) if common else (3, n))
            interval = combination(luck < shares[:, None], weights)
            held += interval.low <= true <= interval.high
        # 4.5 standard errors of a share of 95 %
        assert abs(held / number - 0.95) < 4.5 * math.sqrt(0.95 * 0.05 / number)


def test_luck_that_is_common_makes_a_difference_sharper_and_a_mean_less_sharp():
    rng = np.random.default_rng(21)
    shares = np.array([[0.4], [0.5]])
    common, own = (rng.random((k, 2_000)) < shares for k in (1, 2))
    width = {
        (name, factor): np.ptp(combination(happened, np.array([1.0, factor]))[1:])
        for name, happened in (("common", common), ("own", own))
        for factor in (1.0, -1.0)
    }
    assert width["common", -1.0] < 0.7 * width["own", -1.0]
    assert width["common", 1.0] > 1.2 * width["own", 1.0]


def test_doubt_between_models_is_that_of_a_mixture_of_normals():
    # ends at 1.96 standard errors make each a normal, so the mixture is one of two normals
    z, weights = norm.ppf(0.975), np.array([0.7, 0.3])
    intervals = [Interval(m, m - z * s, m + z * s) for m, s in ((0.3, 0.02), (0.6, 0.05))]
    mixed = weighted_interval(intervals, Interval(0.39, 0.37, 0.41), weights)
    for end, share in ((mixed.low, 0.025), (mixed.high, 0.975)):
        below = weights @ norm.cdf(end, [0.3, 0.6], [0.02, 0.05])
        assert below == pytest.approx(share, abs=1e-9)
    assert mixed.spread == pytest.approx(0.3 * math.sqrt(0.7 * 0.3))
    assert mixed.sampling == Interval(0.39, 0.37, 0.41)


def test_a_model_of_no_weight_does_not_count():
    intervals = [wilson(3, 10), wilson(9, 10)]
    mixed = weighted_interval(intervals, intervals[0], np.array([1.0, 0.0]))
    assert mixed[:3] == pytest.approx(intervals[0], abs=1e-12)
    assert mixed.spread == 0


def test_of_many_draws_the_interval_holds_the_odds_of_the_one_that_is_true():
    """Odds drawn from their prior, one of them true: the rest know no more than the interval."""
    rng = np.random.default_rng(22)
    number, models, n, held = 600, 40, 100, 0
    for _ in range(number):
        odds = rng.beta(6, 4, models + 1)
        counts = binom.rvs(n, odds[1:], random_state=rng)
        intervals = [wilson(int(x), n) for x in counts]
        weights = np.full(models, 1 / models)
        mixed = weighted_interval(intervals, intervals[0], weights)
        held += mixed.low <= odds[0] <= mixed.high
    # the draws' own sampling error widens it, so it may hold more often, never less
    assert held / number > 0.95 - 4.5 * math.sqrt(0.95 * 0.05 / number)
    assert held / number < 0.99
