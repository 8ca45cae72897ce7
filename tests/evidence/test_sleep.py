"""The edges of sleep, from looks made by hand and from simulated lives with known windows."""

import numpy as np
import pytest

from petsim import load_model, load_regime, simulate
from petsim.evidence.sights import sights_of
from petsim.evidence.sleep import RECORD, sleep_estimates
from petsim.life.log.simulated import logged
from petsim.spec.quantities import DAY
from tests.evidence.logs import log, look, spans_of
from tests.life.worlds import fields, pet, regime

HOUR = 3600
PERFECT = regime()
ERRING = regime(eyes={"asleep": {"overlooks": "5%", "imagines": "1%"}})


def model(*windows, **more):
    return load_model(pet({"sleeps": list(windows)} | more))


def looks_at(every, *, days=3, start=21 * HOUR, end=7 * HOUR, first=0, late=0, wrong=()):
    """Looks at a pet that sleeps from `start` to `end`, late by up to some seconds by chance."""
    random, length = np.random.default_rng(1), (end - start) % DAY
    found = []
    for number, t in enumerate(range(first, days * DAY, every)):
        at = t + int(random.integers(late + 1))
        asleep = (at % DAY - start) % DAY < length
        found.append(look(at, form="sprig", asleep=asleep != (number in wrong)))
    return log(*found)


def told(life, windows=("21:00 to 07:00",), care=PERFECT):
    return {each.path: each for each in sleep_of(life, model(*windows), care)}


def sleep_of(life, guess, care=PERFECT):
    return sleep_estimates([life], spans_of([life], guess), guess, load_regime(care))


FROM, TO = "stages.young.sleeps[0].from", "stages.young.sleeps[0].to"


class TestOnAGrid:
    def test_the_edge_is_in_the_interval_of_checks_for_ever(self):
        for days in (2, 20):
            start = told(looks_at(600, days=days, first=195))[FROM]
            # looked at 20:53:15 and 21:03:15: the minutes between
            assert (start.low, start.high) == (20 * HOUR + 54 * 60, 21 * HOUR + 3 * 60)
            assert start.estimate == start.guess == 21 * HOUR
            assert (start.of, start.file, start.verdict) == ("value", "model", "well")
            assert start.record == RECORD

    def test_an_edge_of_a_wrong_guess_is_in_the_middle_of_its_bracket(self):
        found = told(looks_at(600, first=195), ["22:20 to 06:15"])
        assert found[FROM].estimate == 20 * HOUR + 58 * 60
        assert found[FROM].guess == 22 * HOUR + 20 * 60
        assert found[TO].low <= 7 * HOUR <= found[TO].high
        assert (found[TO].low, found[TO].high) == (6 * HOUR + 54 * 60, 7 * HOUR + 3 * 60)
        assert found[TO].estimate == 6 * HOUR + 58 * 60

    def test_looks_that_err_leave_it_where_it_is(self):
        # the pet seems awake in one look of an hour after it fell asleep, asleep in one before
        wrong = {(20 * HOUR + 10 * 60) // 600, (DAY + 21 * HOUR + 30 * 60) // 600}
        start = told(looks_at(600, days=4, first=195, wrong=wrong), care=ERRING)[FROM]
        assert (start.low, start.high) == (20 * HOUR + 54 * 60, 21 * HOUR + 3 * 60)


class TestOffAGrid:
    def test_looks_each_minute_leave_a_minute(self):
        start = told(looks_at(60, days=1, first=15))[FROM]
        assert (start.low, start.high) == (21 * HOUR, 21 * HOUR)
        assert start.record == ""

    def test_jitter_narrows_it_from_night_to_night(self):
        few, more = (told(looks_at(600, days=days, late=599))[FROM] for days in (2, 20))
        assert more.high - more.low <= 120 < few.high - few.low
        assert more.low <= 21 * HOUR <= more.high


def test_an_edge_near_midnight_may_be_before_it():
    found = told(looks_at(600, start=0, end=7 * HOUR, first=195), ["00:00 to 07:00"])
    assert (found[FROM].low, found[FROM].high) == (-6 * 60, 3 * 60)
    assert found[FROM].estimate == 0


def test_several_windows_have_their_own_edges():
    nap = ["21:00 to 07:00", "13:00 to 14:00"]
    night = looks_at(600, first=195)
    both = [
        look(entry.t, form="sprig", asleep=True) if 13 <= entry.t % DAY / HOUR < 14 else entry
        for entry in night.entries
    ]
    found = told(log(*both), nap)
    assert list(found) == [
        f"stages.young.sleeps[{place}].{side}" for place in (0, 1) for side in ("from", "to")
    ]
    assert all(each.low <= each.guess <= each.high for each in found.values())
    assert max(each.high - each.low for each in found.values()) == 9 * 60


class TestRefused:
    def test_where_nobody_looked(self):
        start = told(log(look(100, form="sprig", hunger=3)))[FROM]
        assert (start.verdict, start.estimate) == ("refused", None)
        assert start.why == "no look at `asleep` came when form and light were sure"
        assert start.record == "look at `asleep` in each check"

    def test_where_all_looks_were_by_day(self):
        by_day = [e for e in looks_at(600).entries if 10 * HOUR < e.t % DAY < 17 * HOUR]
        start = told(log(*by_day))[FROM]
        assert start.why == "no look shows it within three hours of the guess"

    def test_where_the_form_was_not_lived_there_is_nothing(self):
        assert sleep_of(log(), load_model(pet(adult=night()))) == []


def night():
    return fields(sleeps=["21:00 to 07:00"])


def test_a_form_with_its_own_sleep_has_its_own_path():
    file = pet(night())
    file["forms"]["sprig"] |= {"sleeps": ["20:00 to 06:00"]}
    found = sleep_of(looks_at(600), load_model(file))
    assert {each.path for each in found} == {
        f"forms.sprig.sleeps[0].{side}" for side in ("from", "to")
    }


class TestBadLight:
    def sights(self, **rates):
        spells = {"clear": "5 h", "lasts": "30 min", "during": "08:00 to 18:00"} | rates
        care = load_regime(regime(eyes={"spells": spells}))
        life = looks_at(HOUR, days=1)
        [forms] = spans_of([life], model("21:00 to 07:00"))
        return list(sights_of(life, forms, "asleep", care))

    def test_leaves_out_looks_in_its_hours(self):
        seen = {sight.clock.hour for sight in self.sights(asleep={"imagines": "65%"})}
        assert seen == {*range(24)} - {*range(8, 18)}

    def test_that_changes_nothing_of_sleep_leaves_out_none(self):
        assert len(self.sights(ill={"overlooks": "80%"})) == 24


def test_looks_around_a_growth_are_left_out():
    life = log(
        look(100, form="sprig", asleep=True),
        look(200, asleep=False),
        look(300, form="tree", asleep=True),
    )
    [forms] = spans_of([life], load_model(pet()))
    used = list(sights_of(life, forms, "asleep", load_regime(PERFECT)))
    assert [(sight.t, sight.form) for sight in used] == [(100, "sprig"), (300, "tree")]


@pytest.mark.parametrize("guess", ["21:40 to 07:00", "20:00 to 08:10"])
def test_simulated_logs_hold_the_truth_as_often_as_they_say(guess):
    """20 logs of two nights under erring eyes and late checks, guessed wrong by up to 70 min."""
    truth = model("21:04 to 07:13")
    care = regime({"look": ["asleep"]}, **{"eyes": ERRING["eyes"]})
    care["checks"] = {"every": "10 min", "first": "random", "jitter": "5 min"}
    held = told_ends = 0
    for number in range(20):
        life = logged(simulate(truth, care, seed=4, life=number, days=2.5))
        found = told(life, [guess], care)
        for path, second in ((FROM, 21 * HOUR + 4 * 60), (TO, 7 * HOUR + 13 * 60)):
            held += found[path].low <= second <= found[path].high
            told_ends += 1
    assert held / told_ends > 0.95 - 4.5 * (0.95 * 0.05 / told_ends) ** 0.5
