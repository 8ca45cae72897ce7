"""Errors in seeing sleep and lights, from looks made by hand and from simulated lives."""

import math

import pytest

from petsim import load_model, load_regime, simulate
from petsim.evidence.sleep_eyes import sleep_eyes_estimates
from petsim.life.log.simulated import logged
from petsim.spec.quantities import DAY
from tests.evidence.logs import act, log, look, spans_of
from tests.life.worlds import fields, pet, regime

HOUR = 3600
SLEEP = fields(sleeps=["21:00 to 07:00"], lights_grace="25 min")
RATES = {
    "asleep": {"overlooks": "5%", "imagines": "1%"},
    "lights": {"overlooks": "5%", "imagines": "2%"},
}


def told(life, eyes=RATES, care=None):
    care = load_regime(care or regime(eyes=eyes))
    model = load_model(pet(SLEEP))
    found = sleep_eyes_estimates([life], spans_of([life], model), model, care)
    return {each.path: each for each in found}


def is_night(t):
    return not 7 * HOUR <= t % DAY < 21 * HOUR


def looks(*, wrong=(), days=4, lights=None):
    """Looks every ten minutes at `asleep`, some of them wrong."""
    return [
        look(t, form="sprig", asleep=is_night(t) != (number in wrong), **(lights or {}))
        for number, t in enumerate(range(60, days * DAY, 600))
    ]


def map_of(wrong, right, mean=-3.0, spread=1.5):
    """The logit of an error rate at the top of its posterior, found by bisection of the slope."""
    low, high = -20.0, 20.0
    for _ in range(100):
        x = (low + high) / 2
        p = 1 / (1 + math.exp(-x))
        slope = wrong - (wrong + right) * p - (x - mean) / spread**2
        low, high = (x, high) if slope > 0 else (low, x)
    return x


class TestAsleep:
    def test_errors_are_counted_where_the_truth_is_sure(self):
        # one of a hundred by day, three at night; two near an edge, which may be no errors
        hours = [(0, 12), (1, 23), (2, 2), (3, 4), (1, 21), (2, 7)]
        wrong = {day * 144 + hour * 6 for day, hour in hours}
        found = told(log(*looks(wrong=wrong)))
        imagines, overlooks = found["eyes.asleep.imagines"], found["eyes.asleep.overlooks"]
        # all ten-minute looks but the three in the half hour to each side of an edge
        assert imagines.n == 4 * (14 * 6 - 2 * 3)
        assert overlooks.n == 4 * (10 * 6 - 2 * 3)
        for estimate, count in ((imagines, 1), (overlooks, 3)):
            assert estimate.estimate == pytest.approx(
                1 / (1 + math.exp(-map_of(count, estimate.n - count))), rel=0.01
            )
            assert estimate.low < estimate.estimate < estimate.high

    def test_a_window_of_the_eyes_has_its_own_rate(self):
        noon = {"during": "12:00 to 14:00", "asleep": {"imagines": "30%"}}
        found = told(log(*looks(wrong={74, 76, 80})), RATES | {"windows": [noon]})
        assert found["eyes.windows[0].asleep.imagines"].n == 4 * 12
        assert found["eyes.windows[0].asleep.imagines"].estimate > 0.04
        assert found["eyes.asleep.imagines"].estimate < 0.01

    def test_looks_that_agree_tell_the_rate_of_one(self):
        three = RATES | {"looks": {"of": 3, "agree": 2}}
        wrong = {day * 144 + hour * 6 for day in range(4) for hour in (9, 12, 15)}
        single, voted = (told(log(*looks(wrong=wrong)), eyes) for eyes in (RATES, three))
        rate = voted["eyes.asleep.imagines"].estimate
        # two of three are wrong as often as one was
        assert 3 * rate**2 - 2 * rate**3 == pytest.approx(
            single["eyes.asleep.imagines"].estimate, rel=0.15
        )

    def test_nobody_looked(self):
        found = told(log(look(100, form="sprig", hunger=3)))
        assert {each.verdict for each in found.values()} == {"refused"}
        assert found["eyes.asleep.overlooks"].why == "no look came when the truth is sure"
        assert found["eyes.asleep.overlooks"].record.startswith("look at `asleep`")

    def test_the_rates_of_bad_light_are_refused(self):
        spells = {"clear": "5 h", "lasts": "30 min", "during": "08:00 to 18:00"}
        found = told(log(*looks()), RATES | {"spells": spells | {"asleep": {"imagines": "65%"}}})
        bad = found["eyes.spells.asleep.imagines"]
        assert (bad.verdict, bad.guess) == ("refused", 0.65)
        # from 07:31 to 08:00, and from 18:00 to 20:21
        assert found["eyes.asleep.imagines"].n == 4 * (3 + 15)


class TestLights:
    def test_are_on_by_day_whatever_is_pressed(self):
        entries = looks(lights={"lights": True})
        off = [entry._replace(saw=entry.saw | {"lights": False}) for entry in entries[66:70]]
        life = log(*entries[:66], act(66 * 600, "lights_off", "took"), *off, *entries[70:])
        overlooks = told(life)["eyes.lights.overlooks"]
        n = overlooks.n
        assert overlooks.estimate == pytest.approx(1 / (1 + math.exp(-map_of(4, n - 4))), rel=0.01)

    def test_are_off_where_they_were_seen_to_be_put_off(self):
        night = [entry for entry in looks(lights={"lights": False}) if is_night(entry.t)]
        before = [entry for entry in night if entry.t < DAY + 23 * HOUR]
        after = [entry for entry in night if entry.t > DAY + 23 * HOUR]
        unknown = log(*looks(), *before, act(DAY + 23 * HOUR, "lights_off"), *after)
        assert told(unknown)["eyes.lights.imagines"].n == 0
        took = log(*looks(), *before, act(DAY + 23 * HOUR, "lights_off", "took"), *after)
        # until half an hour before it wakes
        assert told(took)["eyes.lights.imagines"].n == 8 * 6 - 3
        gap = ((2 * DAY + 2 * HOUR - 60.0, 2 * DAY + 2 * HOUR),)
        missed = log(*took.entries, lost=gap)
        assert told(missed)["eyes.lights.imagines"].n == 3 * 6
        put_on = act(2 * DAY + 2 * HOUR, "lights_on")
        again = [
            *before,
            act(DAY + 23 * HOUR, "lights_off", "took"),
            *[entry for entry in after if entry.t < put_on.t],
            put_on,
            *[entry for entry in after if entry.t > put_on.t],
        ]
        assert told(log(*looks(), *again))["eyes.lights.imagines"].n == 3 * 6

    def test_are_not_sure_where_a_later_press_may_have_been_another(self):
        night = [entry for entry in looks(lights={"lights": False}) if is_night(entry.t)]
        later = act(2 * DAY + 2 * HOUR, "clean")
        entries = [e for e in night if DAY + 23 * HOUR < e.t < later.t]
        rest = [e for e in night if e.t > later.t]
        put_off = act(DAY + 23 * HOUR, "lights_off", "took")
        life = log(*looks(), put_off, *entries, later, *rest)
        slips = regime(eyes=RATES, hands={"clean": {"slips": "3%", "into": {"lights_on": "20%"}}})
        assert told(life)["eyes.lights.imagines"].n == 8 * 6 - 3
        assert told(life, care=slips)["eyes.lights.imagines"].n == 3 * 6


def test_intervals_hold_the_truth_as_often_as_they_say():
    """20 logs of four days, looked at every 10 minutes; no rate is at the middle of its prior."""
    eyes = {"asleep": {"overlooks": "8%", "imagines": "3%"}, "lights": {"overlooks": "10%"}}
    care = regime({"look": ["asleep", "lights"]}, every=600, first="random", eyes=eyes)
    truth = {"asleep.overlooks": 0.08, "asleep.imagines": 0.03, "lights.overlooks": 0.1}
    held, lives = 0, 20
    for number in range(lives):
        life = logged(simulate(pet(SLEEP), care, seed=9, life=number, days=4))
        found = told(life, care=care)
        for path, rate in truth.items():
            estimate = found[f"eyes.{path}"]
            held += estimate.low <= rate <= estimate.high
    tries = lives * len(truth)
    assert held / tries > 0.95 - 4.5 * math.sqrt(0.95 * 0.05 / tries)
