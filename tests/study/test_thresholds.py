"""Where odds cross a level: by hand, and how often its interval holds."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from petsim.study.stats import Interval, wilson
from petsim.study.thresholds import stretches


def band(*rows):
    return [Interval(estimate, low, high) for low, estimate, high in rows]


FALLING = band((0.90, 0.95, 0.99), (0.80, 0.85, 0.90), (0.30, 0.35, 0.40))


def test_a_fall_crosses_where_the_lines_do():
    # by hand: from 0.85 to 0.35 in 10, 0.8 after 1; low ends are at 0.8 at 20; high ends go from
    # 0.90 to 0.40 in 10, 0.8 after 2
    [(begins, ends)] = stretches([10, 20, 30], FALLING, 0.8)
    assert begins is None
    assert ends == pytest.approx((21, 20, 22))


def test_a_rise_is_a_fall_seen_from_the_other_side():
    [(begins, ends)] = stretches([10, 20, 30], FALLING[::-1], 0.8)
    assert ends is None
    assert begins == pytest.approx((19, 18, 20))


def test_an_end_of_the_band_that_does_not_cross_is_not_known():
    wide = band((0.1, 0.9, 1.0), (0.0, 0.5, 1.0))
    [(begins, ends)] = stretches([0, 1], wide, 0.7)
    assert begins is None
    assert ends.at == pytest.approx(0.5)
    assert math.isnan(ends.low) and math.isnan(ends.high)


def test_a_crossing_in_the_middle_of_wide_bands_reaches_as_far_as_these_do():
    # low ends cross two places before the estimate, high ends one after
    wide = band((0.6, 0.9, 1), (0.4, 0.8, 1), (0.3, 0.6, 0.9), (0.1, 0.4, 0.7), (0, 0.1, 0.3))
    [(_, ends)] = stretches([0, 1, 2, 3, 4], wide, 0.5)
    assert ends == pytest.approx((2.5, 0.5, 3.5))


@pytest.mark.parametrize(
    ("estimates", "expected"),
    [
        ([0.9, 0.9, 0.9], [(None, None)]),
        ([0.1, 0.1, 0.1], []),
        ([0.1, 0.9, 0.1], [(0.5, 1.5)]),
        ([0.9, 0.1, 0.9], [(None, 0.5), (1.5, None)]),
        ([0.5, 0.1, 0.1], [(None, 0)]),
        ([0.1, 0.5, 0.1], [(1, 1)]),
        ([0.9], [(None, None)]),
        ([0.1], []),
    ],
)
def test_each_stretch_has_its_own_ends(estimates, expected):
    found = stretches([*range(len(estimates))], [Interval(x, x, x) for x in estimates], 0.5)
    assert [tuple(end and pytest.approx(end.at) for end in ends) for ends in found] == expected


@given(st.lists(st.integers(0, 40), min_size=1, max_size=8))
def test_a_crossing_is_within_its_interval_and_between_its_places(reached):
    intervals = [wilson(number, 40) for number in reached]
    for stretch in stretches([*range(len(reached))], intervals, 0.52):
        for end in filter(None, stretch):
            assert 0 <= end.at <= len(reached) - 1
            assert not end.low > end.at and not end.high < end.at


def test_the_interval_has_the_crossing_in_it_as_often_as_it_says():
    # odds on straight lines between places, so that all that is left is chance
    random = np.random.default_rng(13)
    places, odds = [10, 20, 30, 40], [0.95, 0.86, 0.62, 0.2]
    truth, held, tried = 20 + 10 * 0.06 / 0.24, 0, 2_000
    for reached in random.binomial(400, odds, (tried, len(odds))):
        [(_, ends)] = stretches(places, [wilson(int(n), 400) for n in reached], 0.8)
        held += ends.low <= truth <= ends.high
    # where the truth is between places the interval is between two bands, so it holds more often;
    # 4.5 standard errors of 0.95 below
    assert held / tried > 0.95 - 4.5 * math.sqrt(0.95 * 0.05 / tried)
    assert held < tried
