"""A day hour by hour, against what can be worked out. The toy pets are invented."""

from __future__ import annotations

import math

import numpy as np
import pytest

import petsim
from petsim.advice.expecting.day import SUPPRESSED
from petsim.errors import ArgumentError
from petsim.life.compiled import CompiledEngine
from petsim.life.counters import Counter
from tests.life.worlds import pet, regime

CHECKS = Counter("checks")
LIVES = 1000


def suppressed(day: petsim.ExpectedDay, why: str) -> np.ndarray:
    return day.suppressed[:, SUPPRESSED.index(why)]


def test_the_hours_of_a_day_add_up_to_it() -> None:
    day = petsim.expect_day("lamplet", "camera-rig", 2, lives=200)
    [quiet] = petsim.expect("lamplet", "camera-rig", lives=200, days=2).regimes
    assert day.hours == tuple(range(24)) and day.counters == quiet.counters
    # all of these lives live through it
    assert day.alive == 1 and not np.isnan(quiet.counts).any()
    assert day.counts.sum(axis=0) == pytest.approx(quiet.counts[:, 1].mean(axis=0))
    # what is due and not carried out is suppressed: six an hour
    done = day.counts[:, day.counters.index(CHECKS)]
    assert done + day.suppressed[:, :3].sum(axis=1) == pytest.approx(np.full(24, 6.0))


def test_the_power_is_out_as_often_as_theory_says() -> None:
    # on and off in turn, each time exponential: the chance that it is off at t is
    # u / (u + d) (1 - exp(-(u + d) t)) with the rates u of failing and d of coming back (Ross,
    # Introduction to Probability Models, continuous-time Markov chains; from memory)
    up, down = 1 / 4, 1 / 2
    rig = regime(every=600, outages={"up": "exponential 4 h", "down": "exponential 2 h"})
    day = petsim.expect_day(pet(), rig, 1, lives=LIVES)
    for hour in range(24):
        times = hour + np.arange(6) / 6
        off = down_share = up / (up + down) * (1 - np.exp(-(up + down) * times))
        # the checks of an hour hardly differ, as if they were one
        error = 6 * math.sqrt((down_share * (1 - down_share)).max() / LIVES)
        assert abs(suppressed(day, "outage")[hour] - off.sum()) < 4.5 * error
    assert not suppressed(day, "busy").any()


def test_checks_that_are_forgotten_are_said_apart() -> None:
    rig = regime(every=600)
    rig["checks"]["forgets"] = "25%"
    day = petsim.expect_day(pet(), rig, 2, lives=LIVES)
    error = math.sqrt(6 * 0.25 * 0.75 / LIVES)
    assert np.abs(suppressed(day, "forgotten") - 1.5).max() < 4.5 * error


def test_a_check_that_still_goes_on_keeps_the_next_away() -> None:
    slow = regime({"do": "feed"}, every=600, hands={"feed": {"takes": "11 min"}})
    day = petsim.expect_day(pet(), slow, 1, lives=2)
    # of six each second one, as a feed takes longer than the time to the next
    assert suppressed(day, "busy").tolist() == [3] * 24
    assert not suppressed(day, "outage").any()


def test_windows_without_checks_are_said_apart() -> None:
    day = petsim.expect_day("lamplet", "ten-minute-quiet-night", 3, lives=20)
    never = suppressed(day, "window")
    assert never[:7].tolist() == [6] * 7 and never[22] == 3 and never[23] == 6
    assert not never[7:22].any()
    gap = petsim.expect_day("lamplet", "office-rota-gap", 2, lives=20)
    # 12:10, 12:50 and 13:30
    assert suppressed(gap, "window")[12:14].tolist() == [2, 1]
    assert suppressed(gap, "window").sum() == 3
    saturday = petsim.expect_day("lamplet", "office-rota-gap", 6, lives=20)
    assert not suppressed(saturday, "window").any()


def test_growth_comes_when_the_model_says_and_names_what_may_come_next() -> None:
    day = petsim.expect_day("lamplet", "ten-minute", 1, lives=200)
    first, second = day.growths
    # an egg for 5 minutes from 09:00, then for 80 to 100 minutes
    assert first[:3] == ("spark", "glint", 1.0)
    assert {*first.time} == {9 * 3600 + 300}
    assert second[:3] == ("glint", "flicker", 1.0)
    assert 9 * 3600 + 85 * 60 <= second.time.low < second.time.high <= 9 * 3600 + 105 * 60
    assert {told.form: told.next for told in day.forms} == {
        "spark": ("glint",),
        "glint": ("flicker",),
        "flicker": ("glow", "shimmer", "gutter"),
    }
    assert day.hours == tuple(range(9, 24))


def test_a_day_is_of_those_that_live_to_it() -> None:
    two = pet(
        young={"drops": {"hunger": "exponential 2 h"}, "fatal after": {"hunger": "8 h"}},
        lasts="26 h",
    )
    day = petsim.expect_day(two, regime(every=3600), 2, lives=400)
    alive = np.mean(
        [
            petsim.simulate(two, regime(every=3600), life=k, days=1).summary["died"] == ""
            for k in range(400)
        ]
    )
    assert day.alive == alive and 0.02 < alive < 0.5
    [growth] = day.growths
    assert growth.share < 1 and growth.time.estimate == 2 * 3600


def test_hours_are_those_that_some_live_through() -> None:
    short = pet(young={"drops": {"hunger": "exponential 2 h"}, "fatal after": {"hunger": "8 h"}})
    day = petsim.expect_day(short, regime(every=3600), 2, lives=100)
    assert day.hours == tuple(range(len(day.hours))) and 2 < len(day.hours) < 24
    assert not np.isnan(day.counts).any() and not np.isnan(day.suppressed).any()


def test_a_day_that_nobody_lives_to_is_refused() -> None:
    frail = pet(young={"drops": {"hunger": "1 min"}, "fatal after": {"hunger": "1 min"}})
    said = r"^day: 2; expected one that a life of 20 lives to$"
    with pytest.raises(ArgumentError, match=said):
        petsim.expect_day(frail, regime(every=600), 2, lives=20)
    with pytest.raises(ArgumentError, match=r"^day: 0; expected at least 1$"):
        petsim.expect_day("lamplet", "hourly", 0)


def test_each_life_is_lived_once(monkeypatch) -> None:
    begun = []
    own = CompiledEngine.followed

    def followed(engine, seed, number, *more):
        begun.append(number)
        return own(engine, seed, number, *more)

    def again(*args, **how):
        raise AssertionError("a life is lived again")

    monkeypatch.setattr(CompiledEngine, "followed", followed)
    monkeypatch.setattr(CompiledEngine, "live", again)
    petsim.expect_day("lamplet-quick", "hourly", 1, lives=20)
    assert sorted(begun) == [*range(20)]
