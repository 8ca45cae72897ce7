"""Facts of the trade, that the default pet and the shipped regimes should bear out.

Each is common practice, no source: what people who keep such pets say of them. The pet and the
regimes are invented all the same. Seeds are fixed; each test states how far off is near enough.
"""

from __future__ import annotations

import pytest

from petsim import batch, load_regime, simulate

HOUR, DAY = 3_600, 86_400
SEED = 2_024
STAGES = ["egg", "infant", "juvenile", "adolescent", "adult", "elder"]


@pytest.fixture(scope="module")
def grown():
    """200 lives under close care, to their outcome."""
    return batch("lamplet", "ten-minute", lives=200, seed=SEED)


@pytest.fixture(scope="module")
def aged():
    """100 lives under close care, to death."""
    return batch("lamplet", "ten-minute", lives=100, seed=SEED, until="death")


def nights(life):
    """The sleeps of a life that begin in the evening, as (falling asleep, waking)."""
    edges = [e for e in life.entries if e.event in ("asleep", "awake")]
    pairs = zip(edges[::2], edges[1::2], strict=False)
    return [(asleep.t, awake.t) for asleep, awake in pairs if life.clock(asleep.t).hour >= 20]


def test_it_hatches_about_five_minutes_after_its_start(grown):
    # common practice, no source; near enough: half a minute
    assert (grown.lives["entered_s.glint"] - 5 * 60).abs().max() <= 30


@pytest.mark.parametrize("regime", ["ten-minute", "thirty-minute", "hands-off"])
def test_it_grows_in_one_direction_only(regime):
    # common practice, no source; exact, in 10 lives
    for number in range(10):
        life = simulate("lamplet", regime, seed=SEED, life=number, until="death")
        forms = [e.what for e in life.entries if e.event in ("birth", "growth")]
        stages = [STAGES.index(life.model.forms[form].stage) for form in forms]
        assert stages == list(range(len(stages)))
        assert len(stages) > 1


def test_close_care_brings_the_best_adult(grown):
    # common practice, no source: every ten minutes, with a blind reprimand at each check;
    # near enough: the whole interval of the share above three quarters
    [first, *_] = load_regime("ten-minute").routine
    assert (first.do, first.when) == ("reprimand", None)
    assert grown.model.aim == "beacon"
    assert grown.share("beacon").low > 0.75


def test_the_best_adult_is_reached_about_six_days_in(grown):
    # common practice, no source; near enough: half a day, in every life that reaches it
    reached = grown.lives.query("outcome == 'beacon'")["entered_s.beacon"]
    assert (reached - 6 * DAY).abs().max() <= DAY / 2


def test_it_dies_of_old_age_after_about_two_weeks(aged):
    # common practice, no source; near enough: nine of ten lives, within two days
    old = aged.lives.query("died == 'old age'")["end_s"]
    assert len(old) >= 90
    assert (old - 14 * DAY).abs().max() <= 2 * DAY


TREATS_ONLY = {
    "petsim": "regime 1",
    "name": "Treats only",
    "about": "Half an hour of nothing but treats, one after the other without a gap.",
    "checks": {
        "every": "never",
        "first": "0 s",
        "windows": [{"during": "09:05 to 09:35 on Monday", "every": "10 s"}],
    },
    "routine": [{"do": "treat"}],
    "hands": {"treat": {"takes": "10 s"}},
}


def test_half_an_hour_of_nothing_but_treats_does_not_kill_it_within_six_hours():
    # common practice, no source; exact, in 200 lives. The treats are given from its hatching on.
    hatched, treated, later = 5 * 60, 30 * 60, 6 * HOUR
    days = (hatched + treated + later) / DAY
    lives = batch("lamplet", TREATS_ONLY, lives=200, seed=SEED, days=days).lives
    assert (lives["done.treat"] == treated / 10).all()
    assert (lives["died"] == "").all()
    assert (lives["ill_s"] > 0).mean() > 0.5  # alive, but not the better for it


def test_its_lights_have_to_be_put_out_every_night():
    # common practice, no source; exact, in 10 lives
    close = load_regime("ten-minute").model_dump(by_alias=True)
    steps = [step for step in close["routine"] if step["do"] != "lights_off"]
    assert len(steps) == len(close["routine"]) - 1
    dark = close | {"name": "Never dark", "routine": steps}
    for number in range(10):
        life, lit = (
            simulate("lamplet", regime, seed=SEED, life=number) for regime in ("ten-minute", dark)
        )
        assert len(nights(life)) >= 5
        assert life.summary["misses.lights"] == 0
        missed = [e.t for e in lit.entries if e.event == "miss" and e.what == "lights"]
        inside = [sum(dusk < t < dawn for t in missed) for dusk, dawn in nights(lit)]
        assert inside == [1] * len(nights(lit))
        assert len(nights(lit)) >= 5
