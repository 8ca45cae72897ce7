"""Evidence from real pets: against direct computations and general-purpose libraries.

Published rows are among the checks of petsim.theory.intervals.
"""

import math

import numpy as np
import pytest
from scipy.stats import binom, binomtest, fisher_exact
from statsmodels.stats.power import NormalIndPower
from statsmodels.stats.proportion import proportion_effectsize

from petsim import compare, tell_apart, trials
from petsim.study.sample_size import (
    MOST_TRIALS,
    approximate_pets,
    fisher_power,
    one_routine,
    two_routines,
)
from petsim.study.stats import clopper_pearson, none_in
from petsim.study.trials import tries_without

MODEL = "lamplet-quick"


# What real pets say


def test_some_of_them_leave_an_interval():
    real = trials(3, 5)
    assert real.interval == clopper_pearson(3, 5)
    assert (real.bound, real.p_value, real.compatible) == (None, None, None)


def test_none_or_all_of_them_leave_a_bound():
    assert trials(0, 30).bound == none_in(30)
    assert trials(30, 30).bound == 1 - none_in(30)


@pytest.mark.parametrize(
    ("reached", "pets", "odds", "compatible"),
    [
        (3, 5, 0.74, True),
        (0, 4, 0.74, False),
        (5, 5, 0.5, True),
        (0, 3, 0.0, True),
        (1, 9, 1, False),
    ],
)
def test_they_are_held_against_odds(reached, pets, odds, compatible):
    real = trials(reached, pets, odds)
    # Source: scipy.stats.binomtest
    assert real.p_value == binomtest(reached, pets, odds).pvalue
    assert real.compatible == compatible == (real.p_value > 0.05)


def test_they_are_held_against_a_regime():
    real = trials(1, 6, "ten-minute", model=MODEL, lives=400, seed=2)
    simulated = compare(MODEL, ["ten-minute"], lives=400, seed=2)
    share = simulated.batches[0].share("beacon")
    assert real.odds.value == share.estimate
    assert real.p_value == binomtest(1, 6, share.estimate).pvalue
    days = simulated.batches[0].lives["end_s"].mean() / 86_400
    assert real.odds.days == pytest.approx(days, rel=1e-12)
    assert real.as_dict()["against"] == {
        "odds": share.estimate,
        "low": share.low,
        "high": share.high,
        "days": real.odds.days,
        "model": MODEL,
        "regime": "ten-minute",
        "aim": "beacon",
        "lives": 400,
    }


def test_another_aim_has_other_odds():
    real = trials(1, 6, "ten-minute", model=MODEL, lives=400, aim="lantern")
    made = compare(MODEL, ["ten-minute"], lives=400)
    assert real.odds.value == made.batches[0].share("lantern").estimate


@pytest.mark.parametrize("odds", [0.05, 0.5, 0.011])
def test_so_many_tries_without_one_put_the_odds_below(odds):
    tries = tries_without(odds)
    assert none_in(tries) <= odds < none_in(tries - 1)


# How many real pets it takes


@pytest.mark.parametrize(("first", "second"), [(0.74, 0.95), (0.95, 0.74), (0.2, 0.21), (0.0, 0.4)])
def test_one_routine_takes_the_fewest_pets_that_tell(first, second):
    def tells(pets, cutoff):
        """Whether so many of them believe the second odds seldom wrongly and often rightly."""
        tail = binom.sf if second > first else binom.cdf
        at = cutoff - 1 if second > first else cutoff
        return tail(at, pets, first) <= 0.05 and tail(at, pets, second) >= 0.8

    design = one_routine(first, second)
    if design is None:
        assert not any(tells(MOST_TRIALS, x) for x in range(MOST_TRIALS + 1))
        return
    assert tells(design.pets, design.cutoff)
    fewer = range(1, design.pets)
    assert not any(tells(n, x) for n in fewer for x in range(n + 1))


@pytest.mark.parametrize(("first", "second", "pets"), [(0.5, 0.9, 20), (0.74, 0.95, 12), (0, 1, 4)])
def test_power_of_fishers_test_is_that_of_all_tables(first, second, pets):
    # Source: scipy.stats.fisher_exact, table by table
    shown = [
        binom.pmf(x, pets, first) * binom.pmf(y, pets, second)
        for x in range(pets + 1)
        for y in range(pets + 1)
        if fisher_exact([[x, pets - x], [y, pets - y]]).pvalue <= 0.05
    ]
    assert fisher_power(first, second, pets) == pytest.approx(math.fsum(shown), rel=1e-9)


@pytest.mark.parametrize(("first", "second"), [(0.5, 0.9), (0.74, 0.95), (0.95, 0.74), (0.05, 0.5)])
def test_two_routines_take_a_number_of_which_fewer_do_not_do(first, second):
    design = two_routines(first, second)
    assert design.cutoff is None
    assert design.power == fisher_power(first, second, design.pets) >= 0.8
    assert fisher_power(first, second, design.pets - 1) < 0.8


def test_as_many_as_are_allowed_may_do_though_about_more_are_expected():
    assert approximate_pets(0.87, 0.953) > MOST_TRIALS
    design = two_routines(0.87, 0.953)
    assert design is not None and design.pets <= MOST_TRIALS
    assert fisher_power(0.87, 0.953, design.pets) >= 0.8


def test_two_routines_that_hardly_differ_take_too_many():
    assert two_routines(0.9, 0.95) is None


@pytest.mark.parametrize(("first", "second"), [(0.5, 0.7), (0.2, 0.4), (0.9, 0.95)])
def test_the_approximate_number_is_near_that_of_another_approximation(first, second):
    # Source: statsmodels, NormalIndPower with Cohen's effect size (arcsine), and the 2 / |p - q|
    # pets that the exact test costs beyond it (Fleiss, Levin and Paik, chapter 4; from memory).
    effect = proportion_effectsize(second, first)
    reference = NormalIndPower().solve_power(effect, alpha=0.05, power=0.8)
    expected = reference + 2 / abs(first - second)
    assert approximate_pets(first, second) == pytest.approx(expected, rel=0.03)


def test_a_plan_counts_the_weeks_of_all_pets():
    plan = tell_apart(0.74, 0.95, days=6, rigs=3)
    assert plan.weeks(7) == pytest.approx(3 * 6 / 7)
    told = plan.as_dict()
    assert told["one_routine"]["weeks"] == plan.weeks(plan.one.pets)
    assert told["two_routines"]["weeks"] == plan.weeks(2 * plan.two.pets)
    assert (told["first"], told["second"]) == ({"odds": 0.74}, {"odds": 0.95})


def test_a_life_takes_as_long_as_simulated_or_a_week():
    assert tell_apart(0.2, 0.9).days == 7
    plan = tell_apart("hourly", 0.9, model=MODEL, lives=200)
    assert plan.days == plan.first.days == pytest.approx(np.mean(
        compare(MODEL, ["hourly"], lives=200).batches[0].values["end_s"]) / 86_400
    )  # fmt: skip


# Errors


@pytest.mark.parametrize(
    ("ask", "message"),
    [
        (lambda: trials(6, 5), "trials: 6 of 5 pets; expected 0 or more of at least 1"),
        (lambda: trials(0, 0), "trials: 0 of 0 pets; expected 0 or more of at least 1"),
        (lambda: trials(1, 2, 1.5), "odds: 1.5; expected a share from 0 to 1"),
        (lambda: tell_apart(0.3, 0.3), "odds: both 0.3; expected two that differ"),
        (lambda: tell_apart(0.3, 0.4, days=0), "days: 0; expected a number above 0"),
        (lambda: tell_apart(0.3, 0.4, rigs=0), "rigs: 0; expected at least 1"),
    ],
)
def test_an_argument_out_of_its_range_is_named(ask, message):
    with pytest.raises(ValueError) as caught:
        ask()
    assert str(caught.value) == message
