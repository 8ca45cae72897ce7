"""Imperfections: what each is, and that switching them off leaves a routine done flawlessly."""

from itertools import permutations

import pytest

import petsim
from petsim.advice.explaining.imperfections import EVERY, imperfections, without
from petsim.life.caretaker import load_caretaker
from petsim.life.simulate import load_together
from petsim.spec.names import shipped
from petsim.spec.parts import as_yaml
from petsim.view.life_explained import free_of

FULL = {
    "petsim": "regime 1",
    "name": "All that can go wrong",
    "checks": {
        "every": "20 min",
        "first": "random",
        "jitter": "5 min",
        "forgets": "5%",
        "windows": [
            {"during": "12:00 to 14:00", "forgets": "20%"},
            {"during": "23:00 to 06:00", "every": "never", "forgets": "30%"},
            {"during": "18:00 to 20:00", "every": "40 min"},
        ],
    },
    "listens": {"hears": "75%", "reacts in": "exponential 5 min"},
    "routine": [
        {"when": {"waste": "at least 1"}, "do": "clean"},
        {"when": {"hunger": "below 6"}, "do": "feed"},
        {"look": ["calling"]},
    ],
    "eyes": {
        "waste": {"overlooks": "10%"},
        "calling": {"overlooks": "10%"},
        "hunger": {"misreads": "10%"},
        "mood": {"misreads": "10%"},
        "windows": [{"during": "08:00 to 10:00", "waste": {"overlooks": "50%"}}],
        "spells": {"clear": "5 h", "lasts": "1 h", "hunger": {"misreads": "40%"}},
    },
    "hands": {
        "feed": {"slips": "10%", "into": {"clean": "40%"}},
        "clean": {"slips": "4%"},
    },
    "outages": {"up": "30 h", "down": "1 h"},
}


def caretaker_of(regime):
    _, [caretaker] = load_together("lamplet", [regime])
    return caretaker


def there(caretaker):
    return [each for each in imperfections(caretaker) if each.is_there(caretaker.regime)]


def test_all_kinds_are_found():
    assert [each.path for each in there(caretaker_of(FULL))] == [
        "eyes.waste",
        "eyes.hunger",
        "eyes.windows[0]",
        "eyes.spells",
        "hands.slips",
        "hands.into",
        "outages",
        "checks.forgets",
        "checks.late",
        "listens.hears",
        "listens.reacts in",
        "checks.windows",
        "checks.every",
    ]


def test_what_nothing_is_done_by_is_no_imperfection():
    paths = {each.path for each in there(caretaker_of(FULL))}
    # mood is never looked at, and calls are only looked at for the records
    assert {"eyes.mood", "eyes.calling"}.isdisjoint(paths)


def test_a_policy_may_look_at_anything():
    class Any(petsim.Policy):
        regime = FULL

        def check(self, look):
            return []

    paths = {each.path for each in there(load_caretaker(Any, petsim.load_model("lamplet")))}
    assert {"eyes.mood", "eyes.calling"} <= paths


def test_without_any_a_routine_is_done_flawlessly_every_minute():
    caretaker = caretaker_of(FULL)
    flawless = without(caretaker, there(caretaker))
    regime = flawless.regime
    assert there(flawless) == []
    assert regime.checks.every == EVERY == 60
    assert regime.checks.windows == ()
    assert regime.routine == caretaker.regime.routine
    assert regime.hands.of("feed").presses == caretaker.regime.hands.of("feed").presses


@pytest.mark.parametrize("regime", shipped("regimes"))
def test_flawless_regimes_can_be_written_and_read(regime, tmp_path):
    caretaker = caretaker_of(regime)
    flawless = without(caretaker, there(caretaker))
    assert there(flawless) == []
    path = tmp_path / "flawless.yaml"
    path.write_text(as_yaml(flawless.regime))
    assert petsim.load_regime(path).content == flawless.regime.content


def test_each_is_switched_off_alone():
    caretaker = caretaker_of(FULL)
    every = there(caretaker)
    for one in every:
        left = {each.path for each in there(without(caretaker, [one]))}
        assert left == {each.path for each in every} - {one.path}


def test_the_order_in_which_they_are_switched_off_does_not_matter():
    caretaker = caretaker_of(FULL)
    of_hands = [x for x in there(caretaker) if x.path.startswith(("hands", "checks", "eyes.w"))]
    for three in permutations(of_hands, 3):
        one = without(caretaker, three).regime.content
        other = without(caretaker, three[::-1]).regime.content
        assert one == other


def test_slips_are_parted_by_what_lands():
    caretaker = caretaker_of(FULL)
    parts = {each.path: each for each in there(caretaker)}
    wrong = without(caretaker, [parts["hands.slips"]]).regime.hands
    assert wrong.of("feed").slips == pytest.approx(0.04)
    assert wrong.of("feed").into == {"clean": pytest.approx(1)}
    assert wrong.of("clean").slips == 0
    nothing = without(caretaker, [parts["hands.into"]]).regime.hands
    assert nothing.of("feed").slips == pytest.approx(0.06)
    assert nothing.of("feed").into == {}
    assert nothing.of("clean").slips == pytest.approx(0.04)


def test_jitter_may_be_longer_than_a_minute():
    caretaker = caretaker_of(FULL)
    parts = {each.path: each for each in there(caretaker)}
    checks = without(caretaker, [parts["checks.every"]]).regime.checks
    assert checks.jitter is None
    assert str(checks.late) == "uniform 0 s to 5 min"
    assert checks.forgets == 0.05


def test_windows_keep_what_is_left_of_them():
    caretaker = caretaker_of(FULL)
    parts = {each.path: each for each in there(caretaker)}
    lunch, night, evening = caretaker.regime.checks.windows
    remembered = without(caretaker, [parts["checks.forgets"]]).regime.checks
    assert remembered.windows == (night.model_copy(update={"forgets": None}), evening)
    awake = without(caretaker, [parts["checks.windows"]]).regime.checks
    assert awake.windows == (lunch, night.model_copy(update={"every": "usual"}), evening)
    often = without(caretaker, [parts["checks.every"]]).regime.checks
    assert often.windows == (lunch, night)


def test_clock_times_and_stages_are_the_interval():
    office = caretaker_of("office-rota")
    often = without(office, there(office)).regime.checks
    assert (often.at, often.every, often.first) == ((), 60, 0)
    staged = caretaker_of("staged")
    paths = [each.path for each in there(staged)]
    assert paths == ["checks.windows", "checks.every"]
    # the egg has none, which is no interval but a time without checks
    [_, interval] = there(staged)
    assert without(staged, [interval]).regime.checks.by_stage == {"egg": None}


def test_checks_of_less_than_a_minute_are_no_imperfection():
    often = {**FULL, "checks": {"every": "30 s"}}
    caretaker = caretaker_of(often)
    assert "checks.every" not in {each.path for each in there(caretaker)}


FORGETFUL = """
class Feeder:
    regime = {"petsim": "regime 1", "name": "F", "checks": {"every": "20 min", "forgets": "90%"}}

    def check(self, look):
        return ["feed"] if look()["hunger"] < 3 else []
"""


@pytest.mark.parametrize("workers", [1, 2])
def test_a_policy_of_a_file_is_without_it_in_other_processes_too(workers, tmp_path):
    file = tmp_path / "feeder.py"
    file.write_text(FORGETFUL)
    caretaker = load_caretaker(f"{file}:Feeder", None)
    off = [each for each in imperfections(caretaker) if each.path == "checks.forgets"]
    better = without(caretaker, off)
    lived = petsim.batch("lamplet-quick", better, lives=50, days=0.5, workers=workers)
    assert lived.values["checks_forgotten"].sum() == 0
    assert lived.regime == caretaker.name


def test_a_life_without_each_is_told_in_words():
    words = {each.path: free_of(each.what) for each in there(caretaker_of(FULL))}
    assert words["eyes.windows[0]"] == "with the eyes from 08:00 to 10:00 as at other times"
    assert words["checks.every"] == "with a check every minute"
    assert words["checks.windows"] == "with checks at all times"
    assert words["listens.hears"] == "with every call heard"
    assert words["outages"] == "without outages at all"
