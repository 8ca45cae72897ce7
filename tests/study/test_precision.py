"""How many lives are enough: the rule, how often its intervals hold, and batches that follow it."""

import numpy as np
import pytest
from pandas.testing import assert_frame_equal

import petsim
from petsim.study.precision import LOOK, EnoughLives
from petsim.study.stats import Interval, newcombe_paired, wilson

REPETITIONS = 10_000


def half_widths(rule, *widths):
    """What the rule says, look after look, of intervals of these half-widths."""
    return [rule.look(Interval(0.5, 0.5 - w, 0.5 + w)) for w in widths]


def one(interval):
    return [interval]


def test_it_stops_at_the_second_narrow_look_in_a_row():
    assert half_widths(EnoughLives(0.01, one), 0.03, 0.009, 0.009) == [False, False, True]
    assert half_widths(EnoughLives(0.01, one), 0.009, 0.02, 0.009, 0.008) == [False] * 3 + [True]


def test_the_widest_interval_counts():
    rule = EnoughLives(0.01, lambda widths: [Interval(0, -w, w) for w in widths])
    assert [rule.look((0.005, 0.02)), rule.look((0.004, 0.0099)), rule.look((0.004, 0.009))] == [
        False,
        False,
        True,
    ]


def test_what_is_needed_goes_with_the_square_of_the_width():
    rule = EnoughLives(0.01, one)
    half_widths(rule, 0.0299)
    assert rule.needed(LOOK) == 10 * LOOK
    half_widths(rule, 0.0101)
    assert rule.needed(9 * LOOK) == 11 * LOOK
    half_widths(rule, 0.0099)
    assert rule.needed(10 * LOOK) == 10 * LOOK


@pytest.mark.parametrize("wanted", [0, 0.5, -0.01, 1, float("nan")])
def test_an_impossible_width_is_refused(wanted):
    with pytest.raises(ValueError, match=f"^precision: {wanted}; expected a half-width between"):
        EnoughLives(wanted, one)


def coverage(rng, shares, wanted, interval, true, looks=1000):
    """Share of repetitions whose interval holds when the rule stops them.

    Each look adds LOOK lives of these shares of four kinds, or of two.
    """
    held = 0
    for _ in range(REPETITIONS):
        rule, counts = EnoughLives(wanted, one), np.zeros(len(shares), dtype=int)
        for _ in range(looks):
            counts += rng.multinomial(LOOK, shares)
            found = interval(counts.tolist())
            if rule.look(found):
                break
        held += found.low <= true <= found.high
    return held / REPETITIONS


@pytest.mark.parametrize(
    ("p", "wanted"),
    [(0.02, 0.005), (0.3, 0.02), (0.96, 0.01), (0.5, 0.02), (0.005, 0.002), (0.001, 0.005)],
)
def test_intervals_of_odds_hold_after_repeated_looking(p, wanted):
    # 94 % is 4.5 standard errors below 95 % in so many repetitions.
    rng = np.random.default_rng(20_263)
    held = coverage(rng, [p, 1 - p], wanted, lambda xs: wilson(xs[0], sum(xs)), p)
    assert held >= 0.94


@pytest.mark.parametrize(
    ("shares", "wanted"),
    [
        ([0.70, 0.02, 0.01, 0.27], 0.01),
        ([0.50, 0.20, 0.10, 0.20], 0.02),
        ([0.18, 0.01, 0.77, 0.04], 0.01),
        ([0.95, 0.002, 0.001, 0.047], 0.005),
    ],
)
def test_intervals_of_differences_hold_after_repeated_looking(shares, wanted):
    rng = np.random.default_rng(20_264)
    difference = shares[1] - shares[2]
    held = coverage(rng, shares, wanted, lambda xs: newcombe_paired(*xs), difference)
    assert held >= 0.94


def test_the_first_narrow_look_would_not_do():
    # Why the rule waits for a second one: of odds of 0.5 % to within 0.2 points.
    rng, held = np.random.default_rng(20_265), 0
    for _ in range(REPETITIONS):
        x, n, found = 0, 0, Interval(0, 0, 1)
        while found.high - found.low > 2 * 0.002:
            x, n = x + rng.binomial(LOOK, 0.005), n + LOOK
            found = wilson(x, n)
        held += found.low <= 0.005 <= found.high
    assert held / REPETITIONS < 0.94


# Lives

MODEL, REGIME = "lamplet-quick", "camera-rig"
FIXED = petsim.batch(MODEL, REGIME, lives=20_000)


@pytest.mark.parametrize("workers", [1, 2])
def test_a_batch_lives_as_many_as_it_takes(workers):
    made = petsim.batch(MODEL, REGIME, lives=20_000, precision=0.01, workers=workers)
    n = len(made)
    assert 2 * LOOK <= n < 20_000 and n % LOOK == 0
    assert_frame_equal(made.lives, FIXED.lives.head(n))
    assert made.precision.wanted == 0.01 and made.precision.reached
    _, low, high = made.share("beacon")
    assert made.precision.half_width == (high - low) / 2 <= 0.01
    # one look less was narrow enough too, two looks less was not
    beacons = FIXED.which("outcome", "beacon")
    halves = [
        (i.high - i.low) / 2
        for i in (wilson(beacons[:k].sum(), k) for k in (n - LOOK, n - 2 * LOOK))
    ]
    assert halves[0] <= 0.01 < halves[1]
    assert not made.interrupted


def test_the_most_lives_end_it_and_say_so():
    made = petsim.batch(MODEL, REGIME, lives=2_500, precision=0.001)
    assert (len(made), made.precision.reached) == (2_500, False)
    assert made.precision.half_width > 0.001


def test_without_a_precision_nothing_is_said_of_it():
    assert FIXED.precision is None


def test_a_comparison_goes_by_its_widest_difference():
    regimes = [REGIME, "ten-minute", "hourly"]
    made = petsim.compare(MODEL, regimes, precision=0.01)
    widest = max((d.interval.high - d.interval.low) / 2 for d in made.differences)
    assert made.precision.half_width == widest <= 0.01
    assert made.precision.reached
    fixed = petsim.compare(MODEL, regimes, lives=len(made))
    intervals = [[d.interval for d in each.differences] for each in (fixed, made)]
    assert intervals[0] == intervals[1]
    assert made.as_dict()["precision"] == {
        "wanted": 0.01,
        "half_width": widest,
        "reached": True,
    }


def test_one_regime_goes_by_the_odds_of_the_aim_asked_for():
    made = petsim.compare(MODEL, [REGIME], aim="lantern", precision=0.01)
    _, low, high = made.batches[0].share("lantern")
    assert made.precision.half_width == (high - low) / 2


def test_the_engine_makes_no_difference():
    short = {"lives": 6_000, "precision": 0.06, "days": 0.05, "seed": 3}
    lived = [petsim.batch(MODEL, "hourly", engine=e, **short) for e in ("compiled", "reference")]
    assert_frame_equal(lived[0].lives, lived[1].lives)
    assert lived[0].precision == lived[1].precision
