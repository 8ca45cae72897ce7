"""Estimates as text: two digits of the uncertainty, and the estimate as far."""

import math

import pytest

from petsim.study.stats import Interval, mean_interval
from petsim.view.numbers import bar, mean, points, share


@pytest.mark.parametrize(
    ("interval", "text"),
    [
        # half-widths of 25, 2.0, 0.20, 0.019 and 0.0031 points
        ((0.5, 0.25, 0.75), "50 % (25 to 75)"),
        ((0.873, 0.852, 0.892), "87.3 % (85.2 to 89.2)"),
        ((0.01234, 0.01034, 0.01434), "1.23 % (1.03 to 1.43)"),
        ((0.123456, 0.123266, 0.123646), "12.346 % (12.327 to 12.365)"),
        ((0.000041, 0.000020, 0.000082), "0.0041 % (0.0020 to 0.0082)"),
        ((0.0, 0.0, 0.16113), "0 % (at most 16)"),
        ((0.0, 0.0, 0.003827), "0 % (at most 0.38)"),
        ((1.0, 0.83887, 1.0), "100 % (at least 84)"),
        ((1.0, 0.996173, 1.0), "100 % (at least 99.62)"),
    ],
)
def test_share_in_per_cent(interval, text):
    assert share(Interval(*interval)) == text


@pytest.mark.parametrize(
    ("interval", "text"),
    [
        ((491.4, 466.2, 516.6), "491 ± 25"),
        ((1491.4, 1366.2, 1616.6), "1491 ± 125"),
        ((12.34, 11.11, 13.57), "12.3 ± 1.2"),
        ((0.5, 0.488, 0.512), "0.500 ± 0.012"),
        ((0.0, -0.0034, 0.0034), "0.0000 ± 0.0034"),
        # a half-width of 9.97 is 10 in two digits
        ((50.0, 40.03, 59.97), "50 ± 10"),
        ((15.0, math.nan, math.nan), "15 (one life)"),
        ((20448.0, math.nan, math.nan), "20448 (one life)"),
        ((9999.7, 9999.7, 9999.7), "10000 in every life"),
        ((0.20163, math.nan, math.nan), "0.2016 (one life)"),
        ((0.0, 0.0, 0.0), "0 in every life"),
        ((2.5, 2.5, 2.5), "2.5 in every life"),
    ],
)
def test_mean_over_lives(interval, text):
    assert mean(Interval(*interval)) == text


@pytest.mark.parametrize("n", [2, 10, 50])
def test_mean_of_lives_that_are_all_alike_has_no_spread_by_rounding(n):
    assert mean(mean_interval([0.3] * n)) == "0.3 in every life"


@pytest.mark.parametrize(
    ("interval", "text"),
    [
        ((-0.9, -0.97, -0.64), "-90 (-97 to -64)"),
        ((0.125, 0.034, 0.216), "+12.5 (+3.4 to +21.6)"),
        ((0.0, -0.0021, 0.0021), "+0.00 (-0.21 to +0.21)"),
    ],
)
def test_difference_in_percentage_points_with_its_sign(interval, text):
    assert points(Interval(*interval)) == text


@pytest.mark.parametrize(
    ("x", "drawn"),
    [
        (0, ""),
        (0.0001, "."),
        (0.0499, "."),
        (0.05, "#"),
        (0.1499, "#"),
        (0.25, "###"),
        (0.5, "#####"),
        (0.9499, "#########"),
        (0.95, "##########"),
        (1, "##########"),
    ],
)
def test_bar_is_as_long_as_the_nearest_tenth_but_never_none_of_some(x, drawn):
    assert bar(x) == drawn
