"""Racing on known odds: who is dropped, who is confirmed, and how often wrongly."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom, binomtest, norm
from statsmodels.stats.proportion import proportion_confint

from petsim.advice.choosing.racing import (
    FIRST,
    MOST_TRIED,
    On,
    Sample,
    Standing,
    confirm,
    difference_of_costs,
    in_order,
    lives_for,
    looks,
    race,
    worth_interval,
)
from tests.advice.sources import Toys, chosen_falls_short, one_of_eight_falls_short

IN, SHORT, DEARER = Standing


# Intervals


@pytest.mark.parametrize(("reached", "lives"), [(0, 30), (7, 30), (30, 30), (1733, 1825)])
@pytest.mark.parametrize("error", [0.05, 0.0125])
def test_the_interval_of_a_share_is_exact(reached, lives, error):
    worths = np.arange(lives) < reached
    expected = binomtest(reached, lives).proportion_ci(1 - error, method="exact")
    assert worth_interval(worths, error) == pytest.approx((reached / lives, *expected))


def test_a_worth_between_0_and_1_counts_as_the_lives_that_give_a_share_its_variance():
    # half of the lives are worth 1/4, half 3/4: a variance of 1/16, a quarter of that of a share of
    # 1/2, and so as sure as four times the lives; the interval of a library
    worths = np.tile([0.25, 0.75], 50)
    expected = proportion_confint(200, 400, 0.05, method="beta")
    assert worth_interval(worths) == pytest.approx((0.5, *expected))


def test_worths_that_are_all_alike_are_as_sure_as_so_many_lives():
    expected = proportion_confint(25, 100, 0.05, method="beta")
    assert worth_interval(np.full(100, 0.25)) == pytest.approx((0.25, *expected))


def test_a_difference_is_taken_over_the_lives_of_both():
    one, other = (Sample(np.ones(n), np.arange(n)) for n in (3, 5))
    assert difference_of_costs(one, other) == (0, 0, 0)
    dearer = Sample(np.ones(2), np.array([1.0, 4.0]))
    # by Student's t with one degree of freedom, 12.7062 (a table)
    assert difference_of_costs(dearer, other) == pytest.approx((2, 2 - 12.7062, 2 + 12.7062), 1e-5)


@pytest.mark.parametrize(("half_width", "share", "lives"), [(0.01, 0.95, 1825), (0.1, 0.5, 100)])
def test_lives_for_a_precision(half_width, share, lives):
    assert lives_for(half_width, share) == lives


# The race


def test_looks_double_up_to_the_most():
    assert [*looks(1825)] == [100, 200, 400, 800, 1600, 1825]
    assert [*looks(200)] == [100, 200]
    assert [*looks(FIRST)] == [100]


def test_who_surely_falls_short_or_costs_more_drops_out_early():
    # the first surely falls short, the last surely costs more than the second
    toys = Toys([0.2, 0.99, 0.99], [1, 2, 9], seed=1)
    ran = race(toys.look, 3, 0.9, 2000)
    assert ran.standings == [SHORT, IN, DEARER]
    assert [*map(len, ran.samples)] == [100, 200, 200]
    assert toys.lived < 1000


def test_a_race_ends_with_the_lives_where_nothing_is_sure():
    toys = Toys([0.9, 0.9], [1, 1], seed=1)
    ran = race(toys.look, 2, 0.9, 700)
    assert ran.standings == [IN, IN]
    assert [*map(len, ran.samples)] == [700, 700]


def test_without_a_target_the_cheapest_is_left():
    toys = Toys([0.5, 0.5, 0.5], [3, 1, 2], seed=1)
    assert race(toys.look, 3, None, 1000).standings == [DEARER, IN, DEARER]


def test_each_look_is_told():
    told = []
    toys = Toys([0.9, 0.9], [1, 1], seed=1)
    race(toys.look, 2, 0.9, 300, lambda race, lives: told.append((len(race.samples[0]), lives)))
    assert told == [(100, 200), (200, 300), (300, 0)]


def test_the_best_is_hardly_ever_dropped():
    """In at most 5 % of races, by Bonferroni; held against 5 % of 200.

    The best is as near as the lives tell it from one that falls short and one that costs more.
    """
    dropped = 0
    for seed in range(200):
        toys = Toys([0.88, 0.92, 0.93], [1, 1.05, 1.1], seed)
        dropped += race(toys.look, 3, 0.9, 800).standings[1] is not IN
    assert dropped <= most(200)


# The order, and fresh lives


def of(share, cost, lives=1000):
    return Sample(np.arange(lives) < share * lives, np.full(lives, float(cost)))


def test_the_cheapest_that_reaches_comes_first():
    samples = [of(0.99, 3), of(0.99, 1), of(0.5, 0), of(0.999, 3), of(0.91, 0.5)]
    assert in_order(samples, 0.9, On.BOUND) == [1, 3, 0]
    assert in_order(samples, 0.9, On.ESTIMATE) == [4, 1, 3, 0]
    assert in_order(samples, None, On.BOUND) == [2, 4, 1, 3, 0]


def test_costs_are_held_against_each_other_over_the_same_lives():
    # what costs less in each life comes first, though by chance the first lives were cheap
    cheap_at_first = np.arange(1000) >= 100
    early, late = np.ones(100), np.ones(1000)
    samples = [Sample(early, cheap_at_first[:100] + 0.5), Sample(late, cheap_at_first + 0.0)]
    assert samples[0].cost < samples[1].cost
    assert in_order(samples, 0.9, On.BOUND) == [1, 0]


def test_candidates_are_tried_until_one_holds():
    samples = [of(0.9, 1), of(0.99, 2), of(0.99, 3)]
    tried = [*confirm(lambda some, lives: [samples[c] for c in some], [0, 1, 2], 0.9, On.BOUND, 9)]
    assert [(each.candidate, each.holds) for each in tried] == [(0, False), (1, True)]
    assert [each.level for each in tried] == pytest.approx([0.95, 0.975])
    assert tried[1].worth == worth_interval(samples[1].worths, 0.025)


def test_the_errors_of_all_that_may_be_tried_sum_to_the_promise():
    def look(some, lives):
        return [of(0.1, 1)]

    tried = [*confirm(look, [*range(20)], 0.9, On.BOUND, 100)]
    assert len(tried) == MOST_TRIED
    # of the interval of each only the lower end counts
    assert sum((1 - each.level) / 2 for each in tried) < 0.05
    assert len([*confirm(look, [3], None, On.BOUND, 100)]) == 1
    # by the estimate nothing is promised, and all intervals are alike
    assert {each.level for each in confirm(look, [1, 2], 0.9, On.ESTIMATE, 100)} == {0.95}


def most(searches):
    """As many wrong ones as a chance of 5 % can lead to, the bound of 4.5 standard errors."""
    return binom.ppf(norm.cdf(4.5), searches, 0.05)


def test_what_falls_short_is_confirmed_in_at_most_5_percent_of_searches():
    # tests/bench/choosing.py has 500 searches, and the figures
    assert sum(map(chosen_falls_short, range(60))) <= most(60)


def test_all_that_are_tried_share_the_error():
    assert sum(map(one_of_eight_falls_short, range(500))) <= most(500)


def test_by_the_estimate_what_falls_short_is_confirmed_more_often():
    # so that the tests of the promise can fail
    wrong = sum(chosen_falls_short(seed, On.ESTIMATE) for seed in range(30))
    assert wrong > most(30)
