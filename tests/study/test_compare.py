"""Regimes side by side on the same luck, each figure against a direct computation."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from pandas.testing import assert_frame_equal
from scipy.stats import binomtest, t

import petsim
from petsim import batch, compare, load_regime
from petsim.study.stats import mcnemar, pairing_gain
from tests.study.figures import estimates

MODEL = "lamplet-quick"
LIVES = 60
SEED = 4


def every(interval, name=None):
    """Ten-minute care at another interval."""
    regime = load_regime("ten-minute").model_dump(by_alias=True)
    checks = {"every": interval, "first": "random"}
    return regime | {"name": name or f"Every {interval}", "checks": checks}


@pytest.fixture(scope="module")
def comparison():
    return compare(MODEL, [every("12 min"), "ten-minute", "hourly"], lives=LIVES, seed=SEED)


def table(interval, seed=SEED, lives=LIVES):
    return batch(MODEL, every(interval), lives=lives, seed=seed).lives


# Same lives, same luck


def test_each_batch_is_the_one_lived_alone(comparison):
    for made, regime in zip(
        comparison.batches, (every("12 min"), "ten-minute", "hourly"), strict=True
    ):
        alone = batch(MODEL, regime, lives=LIVES, seed=SEED, workers=1)
        assert_frame_equal(made.lives, alone.lives)
        assert (made.regime, made.seed, made.span) == (alone.regime, SEED, alone.span)


def test_regimes_that_say_the_same_live_the_same_lives_and_differ_by_nothing():
    twins = [every("12 min", name) for name in ("One", "Other")]
    made = compare(MODEL, twins, lives=LIVES, seed=SEED, until="death")
    first, second = made.batches
    assert_frame_equal(first.lives, second.lives)
    [difference] = made.differences
    assert difference.interval.estimate == 0
    assert difference.interval.low < 0 < difference.interval.high
    assert not difference.shown
    assert 0 < first.share("beacon").estimate < 1


def test_a_life_grows_up_in_the_same_time_under_all_regimes(comparison):
    # all forms of an age last as long by the same draw, so the way taken does not matter here
    first, *others = (made.lives for made in comparison.batches)
    alive = np.logical_and.reduce([table["died"] == "" for table in (first, *others)])
    assert alive.sum() > LIVES // 2
    for other in others:
        assert (first["end_s"] == other["end_s"])[alive].all()
    assert first["end_s"].nunique() > LIVES // 2


def test_the_same_luck_tells_regimes_apart_with_fewer_lives():
    # The gain: the variance of a life's difference between two regimes on other luck, over that
    # on the same luck. Measured here: checks every 10 against every 12 minutes.
    lives = 400
    ten, twelve, other = (
        table("10 min", 5, lives),
        table("12 min", 5, lives),
        table("12 min", 6, lives),
    )

    def gain(figure):
        same, apart = (figure(ten) - figure(against) for against in (twelve, other))
        return apart.var() / same.var()

    assert gain(lambda lives: (lives["outcome"] == "beacon").astype(float)) > 1
    assert gain(lambda lives: lives["presses"]) > 4


# Differences


def newcombe(ours, theirs):
    """Newcombe's paired interval, method 10, from lists of truth values.

    Source: Newcombe (1998), Statistics in Medicine 17:2635-2650; the score intervals are scipy's.
    """
    n = len(ours)
    a, b, c, d = (
        sum(x == p and y == q for x, y in zip(ours, theirs, strict=True))
        for p, q in ((True, True), (True, False), (False, True), (False, False))
    )
    p1, p2 = (a + b) / n, (a + c) / n
    l1, u1 = binomtest(a + b, n).proportion_ci(method="wilson")
    l2, u2 = binomtest(a + c, n).proportion_ci(method="wilson")
    product, margins = a * d - b * c, (a + b) * (c + d) * (a + c) * (b + d)
    corrected = max(product - n / 2, 0) if product > 0 else product
    phi = corrected / math.sqrt(margins) if margins else 0
    below = math.sqrt((p1 - l1) ** 2 - 2 * phi * (p1 - l1) * (u2 - p2) + (u2 - p2) ** 2)
    above = math.sqrt((u1 - p1) ** 2 - 2 * phi * (u1 - p1) * (p2 - l2) + (p2 - l2) ** 2)
    return p1 - p2, p1 - p2 - below, p1 - p2 + above


def test_differences_are_each_later_regime_less_the_first(comparison):
    first, *others = comparison.batches
    assert [d.of for d in comparison.differences] == [made.regime for made in others]
    for difference, made in zip(comparison.differences, others, strict=True):
        assert (difference.against, difference.aim.name) == (first.regime, "beacon")
        ours, theirs = (list(b.lives["outcome"] == "beacon") for b in (made, first))
        assert difference.interval == pytest.approx(newcombe(ours, theirs), abs=1e-12)
        low, high = difference.interval[1:]
        assert difference.shown == (not low <= 0 <= high)
        both, ours_only, theirs_only, _neither = difference.table
        assert both + ours_only == sum(ours) and both + theirs_only == sum(theirs)
        assert sum(difference.table) == LIVES
        assert difference.p_value == mcnemar(ours_only, theirs_only)
        assert difference.pairing_gain == pairing_gain(*difference.table)
    more, less = (difference.interval.estimate for difference in comparison.differences)
    assert more > 0 > less


def test_another_aim_compares_its_odds():
    made = compare(MODEL, [every("12 min"), "ten-minute"], lives=LIVES, seed=SEED, aim="lantern")
    one, two = (list(made.lives["outcome"] == "lantern") for made in made.batches)
    assert made.aim.name == "lantern"
    assert made.differences[0].interval == pytest.approx(newcombe(two, one), abs=1e-12)
    assert made.differences[0].interval.estimate != 0


# Figures


def student(values):
    """Mean and 95 % t interval, by scipy."""
    values = np.asarray(values, dtype=float)
    mean, error = values.mean(), values.std(ddof=1) / math.sqrt(len(values))
    if error == 0:
        return mean, mean, mean
    return (mean, *t.interval(0.95, len(values) - 1, mean, error))


def test_figures_of_a_regime_are_means_over_its_lives(comparison):
    made = comparison.batches[0]
    lives, model, means = made.lives, made.model, estimates(made)
    for column in ("presses", "quiet_presses", "checks"):
        daily = [row[column] / (row["end_s"] / 86_400) for row in lives.to_dict("records")]
        assert means[f"{column}_per_day"] == pytest.approx(student(daily), rel=1e-12)
    assert means["days_followed"] == pytest.approx(student(lives["end_s"] / 86_400), rel=1e-12)
    for cause in ("total", *model.causes):
        column = "misses" if cause == "total" else f"misses.{cause}"
        mean = means[f"misses_per_life.{cause}"]
        assert mean == pytest.approx(student(lives[column]), rel=1e-12)
    by_stage = [means[f"misses_per_life_by_stage.{stage}"].estimate for stage in model.stages]
    assert sum(by_stage) == pytest.approx(means["misses_per_life.total"].estimate)


def test_deaths_are_counted_by_cause_and_early_ones_apart():
    result = compare(MODEL, ["hands-off"], lives=30, until="death")
    [made], [data] = result.batches, result.as_dict()["regimes"]
    assert data["deaths"] == {d: (made.lives["died"] == d).sum() for d in made.model.deaths}
    assert sum(data["deaths"].values()) == 30
    early = sum(outcome not in made.model.forms for outcome in made.lives["outcome"])
    assert early > 0
    ends = binomtest(early, 30).proportion_ci(method="wilson")
    expected = (early / 30, ends.low, ends.high)
    assert tuple(data["early_deaths"].values()) == pytest.approx(expected, abs=1e-12)


def test_the_odds_of_all_regimes_are_one_table(comparison):
    odds = comparison.odds()
    for made in comparison.batches:
        assert_frame_equal(odds.loc[made.regime], made.odds())
        together = comparison.odds(simultaneous=True).loc[made.regime]
        assert_frame_equal(together, made.odds(simultaneous=True))
    assert list(odds.index.names) == ["regime", "outcome"]
    assert f"{LIVES} lives each of {MODEL}" in repr(comparison)
    assert "beacon" in comparison._repr_html_()


def test_a_comparison_is_plain_data_that_json_can_write(comparison):
    told = json.loads(json.dumps(comparison.as_dict(), allow_nan=False))
    assert (told["model"], told["seed"], told["lives"]) == (MODEL, SEED, LIVES)
    assert (told["until"], told["aim"], told["petsim"]) == ("outcome", "beacon", petsim.__version__)
    for regime, made in zip(told["regimes"], comparison.batches, strict=True):
        assert regime["name"] == made.regime
        assert regime["odds"]["beacon"] == made.share("beacon")._asdict()
        assert regime["misses_per_life"]["total"] == made.lives["misses"].mean()
        daily = made.lives["presses"] / (made.lives["end_s"] / 86_400)
        assert regime["presses_per_day"] == pytest.approx(daily.mean(), rel=1e-12)
        means = regime["intervals"]["presses_per_day"]
        assert tuple(means.values()) == pytest.approx(student(daily), rel=1e-12)
    for said, difference in zip(told["differences"], comparison.differences, strict=True):
        assert said == {
            "of": difference.of,
            "against": difference.against,
            "aim": "beacon",
            **difference.interval._asdict(),
            "p_value": difference.p_value,
            "pairing_gain": difference.pairing_gain,
        }


# Errors


@pytest.mark.parametrize(
    ("regimes", "arguments", "message"),
    [
        ([], {}, "regimes: none; expected one or more, each of a name of its own"),
        (
            ["hourly", "hourly"],
            {},
            "regimes: hourly, hourly; expected one or more, each of a name of its own",
        ),
        ("ten-minute", {}, "regimes: 'ten-minute'; expected a list, such as ['ten-minute']"),
        (
            {"petsim": "regime 1"},
            {},
            "regimes: one that is in no list; expected a list of one or more",
        ),
        (["hourly"], {"lives": 0}, "lives: 0; expected at least 1"),
        (["hourly"], {"lives": "5"}, "lives: '5'; expected a whole number"),
        (["hourly"], {"until": "x"}, "until: 'x'; expected 'outcome' or 'death'"),
    ],
)
def test_an_argument_out_of_its_range_is_named(regimes, arguments, message):
    with pytest.raises(ValueError) as caught:
        compare(MODEL, regimes, **{"lives": 2, **arguments})
    assert str(caught.value) == message


@pytest.mark.parametrize(
    ("aim", "expected"),
    [
        ("bacon", "did you mean 'beacon'?"),
        ("glow", "expected one of 'beacon', 'lantern', 'ember'"),
    ],
)
def test_an_aim_is_a_form_of_the_outcome_stage(aim, expected):
    with pytest.raises(ValueError) as caught:
        compare(MODEL, ["hourly"], lives=2, aim=aim)
    assert str(caught.value) == f"aim: {aim!r}, no form of the outcome stage 'adult'; {expected}"
