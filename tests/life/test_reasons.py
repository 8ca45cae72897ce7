"""The main reason of a care miss: what stopped the first check that could have put it right."""

from __future__ import annotations

import pytest

from petsim.life.causes import IN_VAIN, REASONS, Reason, ResponseKind, main_reason, misses
from petsim.life.history import replay
from petsim.life.kinds import ACTION_KINDS, EventKind
from tests.life.worlds import alone, care, fields, ill_at, live, needs, pet, regime

MINUTE, HOUR = 60, 3600
FEED = {"when": {"hunger": "below 1"}, "do": "feed"}
CLEAN = {"do": "clean"}
DOSE = {"when": {"ill": "yes"}, "do": "dose"}
SLIPS = {"feed": {"slips": "100%"}}
EMPTY = fields(drops={"hunger": "1 min"}, grace={"hunger": "10 min"})
NIGHTLY = fields(sleeps=["00:10 to 07:00"], lights_grace="15 min")


def hungry(**more):
    """A pet whose hunger is empty after a minute, and a miss ten minutes later."""
    return pet(EMPTY, needs=needs(hunger=1), **more)


def each(minutes, *routine, **more):
    """A regime with a check every so many minutes, the first not at once."""
    return regime(*routine, every=minutes * MINUTE, first=f"{minutes} min", **more)


def reasons(model, caretaker=None, until=15 * MINUTE):
    """The main reasons of the misses of a life, in order."""
    life = live(model, caretaker, until=until)
    return [main_reason(miss, life.model) for miss in misses(replay(life))]


REFUSING = care(feed={"raises": {"hunger": 1}, "refused when": ["misbehaving"]})
SHORT = {"up": "4 min", "down": "1 h"}


@pytest.mark.parametrize(
    ("model", "caretaker", "reason"),
    [
        (hungry(), None, "no check in time"),
        # of 00:03 it did not look, and the power failed only later
        (hungry(), each(3, CLEAN, outages=SHORT), "not in the routine"),
        (hungry(), each(7, FEED, outages=SHORT), "power out"),
        (hungry(), each(3, CLEAN, FEED, hands={"clean": {"takes": "2 min"}}, outages=SHORT),
         "power out"),
        (hungry(), each(7, FEED, hands=SLIPS), "slipped"),
        # at 00:00:30 it begins to clean for nine minutes, so that the next check finds it busy
        (hungry(), regime(CLEAN, every=300, first="30 s", hands={"clean": {"takes": "12 min"}}),
         "busy or too slow"),
        (hungry(), each(3, FEED, hands={"feed": {"takes": "9 min"}}), "busy or too slow"),
        (hungry(), each(7, {"when": {"asleep": "no", "hunger": "below 1"}, "do": "feed"},
                        eyes={"asleep": {"imagines": "100%"}}), "overlooked or misread"),
        (hungry(care=care(feed={"raises": {"hunger": 1}, "works": "0%"})), each(7, FEED),
         "refused or in vain"),
        (pet(EMPTY | {"misbehaviour": {"every": "2 min", "window": "1 h"}}, needs=needs(hunger=1),
             care=REFUSING), each(7, FEED), "refused or in vain"),
        (pet({"illness": ill_at(60, grace="10 min"), "sleeps": ["00:05 to 07:00"]}),
         each(7, {"when": {"asleep": "no", "ill": "yes"}, "do": "dose"}), "found asleep"),
        # the second of two doses was due at 00:14, and no check came
        (pet({"illness": ill_at(60, doses={"2": "100%"}, grace="10 min")}), each(7, DOSE),
         "no check in time"),
        # asleep from 00:05 to 00:20, in which time stands still, and awake no check came
        (pet(EMPTY | {"sleeps": ["00:05 to 00:20"]}, needs=needs(hunger=1)),
         regime({"when": {"asleep": "no", "hunger": "below 1"}, "do": "feed"}, every=HOUR,
                first="7 min"), "no check in time"),
        (pet(EMPTY | {"sleeps": ["00:05 to 00:20"]}, needs=needs(hunger=1)),
         regime(FEED, every=HOUR, first="7 min", outages={"up": "6 min", "down": "9 min"}),
         "no check in time"),
        (pet(NIGHTLY), each(6, {"when": {"clock": "00:12 to 00:13"}, "do": "lights_off"},
                            {"when": {"clock": "00:18 to 00:19"}, "do": "lights_on"}),
         "not in the routine"),
    ],
)  # fmt: skip
def test_reason_is_what_stopped_the_first_check_that_could_have_helped(model, caretaker, reason):
    found = reasons(model, caretaker, until=27 * MINUTE)
    assert found[0] == reason


LIT = {"clean": {"slips": "100%", "into": {"lights_on": "100%"}}}


@pytest.mark.parametrize(
    ("model", "caretaker", "reason"),
    [
        (hungry(), regime(FEED, checks={"every": "7 min", "first": "0 s", "forgets": "100%"}),
         "forgotten"),
        # due at 00:00 and 00:07, the first is given up at 00:07
        (hungry(), regime(FEED, checks={"every": "7 min", "first": "0 s", "late": "8 min"}),
         "busy or too slow"),
        # due at 00:00, it comes at 00:12
        (hungry(), regime(FEED, checks={"every": "1 h", "first": "0 s", "late": "12 min"}),
         "no check in time"),
        (hungry(), each(7, FEED, hands={"feed": {"slips": "100%", "into": {"clean": "100%"}}}),
         "slipped"),
        # asleep from 00:10, and off at 00:12; at 00:18 it means to clean and puts the lights on
        (pet(NIGHTLY), each(6, {"when": {"clock": "00:12 to 00:13"}, "do": "lights_off"},
                            {"when": {"clock": "00:18 to 00:19"}, "do": "clean"}, hands=LIT),
         "slipped"),
        # the lights are on, so that to put them on changes nothing: they were never looked at
        (pet(NIGHTLY), each(6, CLEAN, hands=LIT), "not in the routine"),
        (hungry(), each(7, FEED | {"when": {"calling": "yes"}}, eyes={
            "spells": {"clear": "6 min", "lasts": "1 h", "calling": {"overlooks": "100%"}}}),
         "overlooked or misread"),
    ],
)  # fmt: skip
def test_reason_of_a_miss_on_a_rig(model, caretaker, reason):
    life = alone(model, caretaker, 27 * MINUTE)
    assert next(main_reason(miss, life.model) for miss in misses(replay(life))) == reason


def test_every_response_and_fate_has_its_reason():
    # an action that is done, or an unfair reprimand that does its other effects, stops nothing
    landed = {EventKind.DONE, EventKind.UNFAIR}
    assert IN_VAIN.keys() == set(ACTION_KINDS) - landed
    assert REASONS.keys() == set(ResponseKind) - {ResponseKind.ACTED}
    assert {*REASONS.values(), *IN_VAIN.values(), Reason.NO_CHECK} == set(Reason)
