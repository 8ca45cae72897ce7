"""Diaries of small lives, word for word: above all, why each care miss was one."""

from __future__ import annotations

import re

import pytest
from hypothesis import HealthCheck, given, settings

from petsim.life.kinds import EventKind
from petsim.life.simulate import simulate
from petsim.life.streams import uniform
from petsim.view.choices import ENTRIES
from petsim.view.diary import days, diary, legend, wrapped
from petsim.view.outcome import headline
from tests.life.worlds import (
    LONG,
    base_for,
    care,
    fields,
    ill_at,
    live,
    needs,
    per_day,
    pet,
    regime,
    seed_where,
    unit_exponential,
)
from tests.strategies import World, worlds

MINUTE, HOUR, DAY = 60, 3600, 86_400
EMPTY = fields(drops={"hunger": "1 min"}, grace={"hunger": "10 min"})
HOURS = "   00    03    06    09    12    15    18    21"
FEED = {"when": {"hunger": "below 1"}, "do": "feed"}


def hungry(**more):
    """A pet whose hunger is empty after a minute, and a miss ten minutes later."""
    return pet(EMPTY, needs=needs(hunger=1), **more)


def each(minutes, *routine, **more):
    """A regime with a check every so many minutes, the first not at once."""
    return regime(*routine, every=minutes * MINUTE, first=f"{minutes} min", **more)


def told(life, *only):
    """The entries of the diary of a life but the last, if that is where it is left."""
    lines = [line for day in days(life, only or None) for line in day.lines]
    return [line.strip() for line in lines if "followed to here" not in line]


def strips(life, *only):
    """The strips of the days of a life."""
    return [day.strip for day in days(life, only or None)]


def from_midnight(signs):
    """The strip of a day that ends, or is left, after these half hours."""
    return f"|{signs:48}|"


def missed(model, caretaker=None, until=HOUR, **options):
    """The lines of the care misses of a life."""
    return told(live(model, caretaker, until=until, **options), "misses")


# Needs


def test_miss_of_a_need_without_a_check():
    assert missed(hungry()) == [
        "00:11  CARE MISS 1, hunger: empty since 00:01; no check came in the 10 min allowed"
    ]


def test_miss_that_a_check_saw_coming_and_did_nothing_about():
    waits = {"when": {"hunger": "exactly 1"}, "do": "feed"}
    assert missed(hungry(), each(5, waits)) == [
        "00:11  CARE MISS 1, hunger: empty since 00:01; 10 min allowed",
        "2 checks from 00:05 to 00:10: saw it, did nothing about it",
    ]


def test_miss_that_a_check_heard_of_and_did_nothing_about():
    waits = {"when": {"calling": "no"}, "do": "feed"}
    assert missed(hungry(), each(7, waits))[1:] == ["check at 00:07: saw it, did nothing about it"]


def test_miss_that_no_check_looked_for():
    cleans = {"when": {"waste": "at least 1"}, "do": "clean"}
    assert missed(hungry(), each(7, cleans))[1:] == ["check at 00:07: did not look at hunger"]


@pytest.mark.parametrize(
    ("takes", "late"),
    [({"clean": {"takes": "5 min"}}, "00:12"), ({"feed": {"takes": "4 min"}}, "00:11")],
    ids=["before it looks", "in the very second"],
)
def test_miss_that_a_check_was_too_slow_for(takes, late):
    hungry_feed = {"when": {"hunger": "below 1"}, "do": "feed"}
    lines = missed(hungry(), each(7, {"do": "clean"}, hungry_feed, hands=takes), until=13 * MINUTE)
    assert lines[1:] == [f"check at 00:07: feed came too late, at {late}"]


def test_first_of_several_actions_that_came_too_late_is_told():
    hands = {"clean": {"takes": "5 min"}, "feed": {"slips": "100%"}}
    caretaker = each(7, {"do": "clean"}, FEED | {"repeat": 2}, hands=hands)
    assert missed(hungry(), caretaker, until=13 * MINUTE)[1:] == [
        "check at 00:07: feed came too late, at 00:12"
    ]


def test_further_misses_count_from_the_one_before():
    model = pet(EMPTY | fields(again_after={"hunger": "20 min"}), needs=needs(hunger=1))
    assert missed(model, each(12, {"do": "clean"}), until=32 * MINUTE) == [
        "00:11  CARE MISS 1, hunger: empty since 00:01; no check came in the 10 min allowed",
        "00:31  CARE MISS 2, hunger: empty since 00:01, missed at 00:11 before; 20 min allowed",
        "2 checks from 00:12 to 00:24: did not look at hunger",
    ]


def test_miss_of_a_need_empty_from_birth():
    model = pet(EMPTY, egg="5 min", needs=needs(hunger_starts=0))
    life = live(model, until=HOUR)
    assert told(life, "growth", "misses") == [
        "00:00  begins as seed (egg)",
        "00:05  grows into sprig (young): hunger is empty",
        "00:15  CARE MISS 1, hunger: empty since 00:05; no check came in the 10 min allowed",
    ]


def test_miss_of_a_need_that_an_unfair_reprimand_emptied():
    model = pet(
        fields(grace={"mood": "10 min"}),
        needs=needs(mood_starts=2),
        discipline={"unfair costs": {"mood": 1}},
    )
    life = live(model, each(2, {"do": "reprimand"}), until=15 * MINUTE)
    assert told(life, "misses", "needs") == [
        "00:04  mood is empty, by an unfair reprimand, it calls",
        "00:14  CARE MISS 1, mood: empty since 00:04 by an unfair reprimand; 10 min allowed",
        "4 checks from 00:06 to 00:12: did not look at mood",
    ]


def test_need_fed_and_emptied_again_counts_from_the_last_time():
    model = pet(fields(drops={"hunger": "6 min"}, grace={"hunger": "10 min"}),
                needs=needs(hunger=1))  # fmt: skip
    once = {"when": {"clock": "00:08 to 00:09", "hunger": "below 1"}, "do": "feed"}
    assert missed(model, each(8, once), until=30 * MINUTE) == [
        "00:22  CARE MISS 1, hunger: empty since 00:12; 10 min allowed",
        "check at 00:16: saw it, did nothing about it",
    ]


# Sleep

NIGHT = EMPTY | {"sleeps": ["00:05 to 07:00"]}
AWAKE_FEED = {"when": {"asleep": "no", "hunger": "below 1"}, "do": "feed"}


def test_time_asleep_is_said_not_to_count_where_it_does_not():
    model = pet(NIGHT, needs=needs(hunger=1))
    caretaker = regime(AWAKE_FEED, every=20 * MINUTE, first="13 min")
    assert missed(model, caretaker, until=7 * HOUR + 12 * MINUTE) == [
        "07:06  CARE MISS 1, hunger: empty since 00:01; 10 min allowed, "
        "not counting sleep from 00:05 to 07:00",
        "21 checks from 00:13 to 06:53: found it asleep",
        "no check came after it woke",
    ]


def test_check_after_waking_is_told_if_there_was_one():
    model = pet(NIGHT, needs=needs(hunger=1))
    asleep_feed = {"when": {"asleep": "yes"}, "do": "clean"}
    caretaker = regime(asleep_feed, every=3 * HOUR + 1800, first="2 min")
    assert missed(model, caretaker, until=8 * HOUR)[1:] == [
        "check at 00:02: did not look at hunger",
        "check at 03:32: found it asleep",
        "check at 07:02: did not look at hunger",
    ]


def test_times_of_another_day_name_the_weekday():
    model = pet(EMPTY | {"sleeps": ["22:00 to 07:00"]}, needs=needs(hunger=1),
                begins="Friday 21:55")  # fmt: skip
    assert missed(model, until=DAY) == [
        "07:06  CARE MISS 1, hunger: empty since Friday 21:56; no check came in the 10 min "
        "allowed, not counting sleep from Friday 22:00 to 07:00"
    ]


# Waste, illness, lights


def ill_once_at(second, **more):
    """An illness block, and a seed under which it strikes in that second and not soon again."""
    seed = seed_where(lambda seed: 20 * threshold(0, seed) < threshold(1, seed))
    return fields(base=per_day(base_for(second, seed=seed)), **more), seed


def threshold(k, seed):
    return unit_exponential("illness", k, seed, 0)


PILES = fields(waste=fields(every="1 min", pile_max=3, grace="10 min"))
CLEAN = {"when": {"waste": "at least 1"}, "do": "clean"}
DOSE = {"when": {"ill": "yes"}, "do": "dose"}
NIGHTLY = fields(sleeps=["00:10 to 07:00"], lights_grace="15 min")
LIGHTS_OFF = {"when": {"asleep": "yes", "lights": "on"}, "do": "lights_off"}


def test_miss_of_waste():
    assert missed(pet(PILES)) == [
        "00:11  CARE MISS 1, waste: uncleaned since 00:01; no check came in the 10 min allowed"
    ]


def test_further_misses_of_waste():
    again = fields(waste=fields(every="1 min", pile_max=3, grace="10 min", again_after="20 min"))
    assert missed(pet(again))[1:] == [
        "00:31  CARE MISS 2, waste: uncleaned since 00:01, missed at 00:11 before; "
        "no check came in the 20 min allowed",
        "00:51  CARE MISS 3, waste: uncleaned since 00:01, missed at 00:31 before; "
        "no check came in the 20 min allowed",
    ]


def test_miss_of_an_illness_with_doses_but_not_enough():
    ill = {"illness": ill_at(60, doses={"3": "100%"}, grace="20 min")}
    by_day = {"when": {"ill": "yes", "clock": "00:00 to 00:12"}, "do": "dose"}
    assert missed(pet(ill), each(5, by_day)) == [
        "00:21  CARE MISS 1, illness: ill since 00:01, 2 of 3 doses given; 20 min allowed",
        "2 checks from 00:05 to 00:10: dose",
        "2 checks from 00:15 to 00:20: saw it, did nothing about it",
    ]


def test_illness_is_a_miss_asleep_too():
    ill = {"illness": ill_at(60, grace="20 min"), "sleeps": ["00:05 to 07:00"]}
    waking = {"when": {"asleep": "no", "ill": "yes"}, "do": "dose"}
    assert missed(pet(ill), each(7, waking)) == [
        "00:21  CARE MISS 1, illness: ill since 00:01, 0 of 1 doses given; 20 min allowed",
        "2 checks from 00:07 to 00:14: found it asleep",
    ]


def test_miss_of_lights_left_on():
    assert missed(pet(NIGHTLY), each(12, CLEAN)) == [
        "00:25  CARE MISS 1, lights: asleep since 00:10 with the lights on; 15 min allowed",
        "2 checks from 00:12 to 00:24: did not look at lights",
    ]


def test_miss_of_lights_put_on_again():
    routine = (
        {"when": {"clock": "00:12 to 00:13"}, "do": "lights_off"},
        {"when": {"clock": "00:18 to 00:19"}, "do": "lights_on"},
    )
    assert missed(pet(NIGHTLY), each(6, *routine)) == [
        "00:25  CARE MISS 1, lights: asleep since 00:10 with the lights on again from 00:18; "
        "15 min allowed",
        "check at 00:12: lights_off",
        "check at 00:18: lights_on",
        "check at 00:24: did not look at lights",
    ]


def test_sleep_is_no_reason_to_leave_the_lights_on():
    cleans_asleep = {"when": {"asleep": "yes", "waste": "at least 1"}, "do": "clean"}
    assert missed(pet(NIGHTLY), each(12, cleans_asleep))[1:] == [
        "2 checks from 00:12 to 00:24: did not look at lights"
    ]


def test_lights_that_were_on_are_not_told_to_be_on_again_by_what_else_an_action_does():
    tidies = care(tidy={"lights": "on", "cleans": "yes"})
    model = pet(NIGHTLY | {"waste": {"every": "9 min", "pile max": 1}}, care=tidies)
    assert missed(model, each(12, {"do": "tidy"})) == [
        "00:25  CARE MISS 1, lights: asleep since 00:10 with the lights on; 15 min allowed",
        "check at 00:12: tidy",
        "check at 00:24: tidy changed nothing",
    ]


def test_lights_that_were_never_off_are_not_told_to_be_on_again():
    routine = {"when": {"clock": "00:18 to 00:19"}, "do": "lights_on"}
    assert missed(pet(NIGHTLY), each(6, routine)) == [
        "00:25  CARE MISS 1, lights: asleep since 00:10 with the lights on; 15 min allowed",
        "check at 00:12: did not look at lights",
        "check at 00:18: lights_on changed nothing",
        "check at 00:24: did not look at lights",
    ]


# Eyes


@pytest.mark.parametrize(
    ("model", "step", "eyes", "course"),
    [
        (pet(PILES), CLEAN, {"waste": {"overlooks": "100%"}}, "overlooked the waste"),
        (
            pet({"illness": ill_at(60, grace="10 min")}),
            DOSE,
            {"ill": {"overlooks": "100%"}},
            "overlooked its illness",
        ),
        (
            pet(NIGHTLY | {"sleeps": ["00:01 to 07:00"], "lights grace": "10 min"}),
            LIGHTS_OFF,
            {"lights": {"overlooks": "100%"}},
            "took the lights for off",
        ),
        (
            pet(NIGHTLY | {"sleeps": ["00:01 to 07:00"], "lights grace": "10 min"}),
            LIGHTS_OFF,
            {"asleep": {"overlooks": "100%"}},
            "took it for awake",
        ),
        (hungry(), AWAKE_FEED, {"asleep": {"imagines": "100%"}}, "took it for asleep"),
        (
            hungry(),
            {"when": {"calling": "yes"}, "do": "feed"},
            {"calling": {"overlooks": "100%"}},
            "overlooked its call",
        ),
    ],
)
def test_miss_for_wrong_eyes(model, step, eyes, course):
    lines = missed(model, each(7, step, eyes=eyes), until=20 * MINUTE)
    assert lines[1:] == [f"check at 00:07: {course}"]


def test_miss_for_a_misread_level():
    seed = seed_where(lambda seed: uniform(seed, "misread side hunger", 0, 0) < 0.5)
    eyes = {"hunger": {"misreads": "100%"}}
    lines = missed(hungry(), each(7, FEED, eyes=eyes), until=20 * MINUTE, seed=seed)
    assert lines[1:] == ["check at 00:07: read hunger as 1, not 0"]


def test_mistake_that_did_not_matter_is_not_the_reason():
    # the pet sleeps, which is seen; that the lights are on is seen wrongly, and does not matter
    model = pet(EMPTY | {"sleeps": ["00:05 to 00:20"]}, needs=needs(hunger=1))
    step = {"when": {"asleep": "no", "lights": "on", "hunger": "below 1"}, "do": "feed"}
    caretaker = regime(step, every=HOUR, first="7 min", eyes={"lights": {"overlooks": "100%"}})
    assert missed(model, caretaker)[1:] == [
        "check at 00:07: found it asleep",
        "no check came after it woke",
    ]


# Hands, refusals, luck


@pytest.mark.parametrize(
    ("stage", "model", "step", "more", "course"),
    [
        ({}, {}, FEED, {"hands": {"feed": {"slips": "100%"}}}, "feed slipped"),
        ({}, {"care": care(feed={"raises": {"hunger": 1}, "works": "0%"})}, FEED, {}, "feed lost"),
        (
            {"misbehaviour": {"every": "2 min", "window": LONG}},
            {"care": care(feed={"raises": {"hunger": 1}, "refused when": ["misbehaving"]})},
            FEED,
            {},
            "feed refused, it misbehaved",
        ),
        (
            {},
            {},
            FEED | {"repeat": 3},
            {"hands": {"feed": {"slips": "100%"}}},
            "3 times feed slipped",
        ),
    ],
)
def test_miss_for_an_action_that_did_not_help(stage, model, step, more, course):
    lines = missed(hungry_with(stage, model), each(7, step, **more), until=13 * MINUTE)
    assert lines[1:] == [f"check at 00:07: {course}"]


def test_miss_for_an_action_that_the_pet_refused_in_its_sleep():
    refused = {"raises": {"hunger": 1}, "refused when": ["asleep"]}
    model = hungry_with({"sleeps": ["00:06 to 00:10"]}, {"care": care(feed=refused)})
    assert missed(model, regime(FEED, every=HOUR, first="7 min"), until=16 * MINUTE) == [
        "00:15  CARE MISS 1, hunger: empty since 00:01; 10 min allowed, "
        "not counting sleep from 00:06 to 00:10",
        "check at 00:07: feed refused, it was asleep",
        "no check came after it woke",
    ]


def hungry_with(stage, model):
    """The hungry pet with more to its stage and more to its model."""
    return pet(EMPTY | stage, **({"needs": needs(hunger=1)} | model))


def test_misbehaviour_is_over_once_reprimanded():
    feed = {"raises": {"hunger": 1}, "works": "0%", "refused when": ["misbehaving"]}
    model = hungry_with(
        {"misbehaviour": {"every": "2 min", "window": "30 min"}}, {"care": care(feed=feed)}
    )
    routine = ({"do": "feed"}, {"do": "reprimand"}, {"do": "feed"})
    assert missed(model, each(7, *routine))[1] == (
        "check at 00:07: feed refused, it misbehaved, feed lost"
    )


def test_lights_refused_as_the_need_they_raise_is_full():
    soothing = {"lights": "off", "raises": {"mood": 1}, "refused when": ["full"]}
    model = pet(NIGHTLY, care=care(lights_off=soothing))
    assert missed(model, each(12, LIGHTS_OFF))[1:] == [
        "2 checks from 00:12 to 00:24: lights_off refused, it was full"
    ]


# Checks that did not come, or not to an end


def test_checks_skipped_for_want_of_power():
    outages = {"up": "4 min", "down": "1 h"}
    assert missed(hungry(), each(3, {"do": "clean"}, outages=outages), until=15 * MINUTE)[1:] == [
        "check at 00:03: did not look at hunger",
        "2 checks from 00:06 to 00:09: skipped, the power was out",
    ]


def test_checks_skipped_as_the_last_one_still_went_on():
    slow = {"feed": {"takes": "5 min", "slips": "100%"}}
    caretaker = each(3, FEED, hands=slow)
    assert missed(hungry(), caretaker, until=15 * MINUTE)[1:] == [
        "check at 00:03: feed slipped",
        "check at 00:06: skipped, the last one still went on",
        "check at 00:09: feed slipped",
    ]


def test_checks_that_were_forgotten():
    caretaker = each(3, FEED)
    caretaker["checks"]["forgets"] = "100%"
    assert missed(hungry(), caretaker)[1:] == ["3 checks from 00:03 to 00:09: forgotten"]
    assert told(live(hungry(), caretaker, until=8 * MINUTE), "care") == [
        "00:03  2 checks until 00:06 forgotten"
    ]


def test_checks_that_were_given_up_as_the_next_was_due():
    caretaker = each(3, FEED)
    caretaker["checks"]["late"] = "9 min"
    assert missed(hungry(), caretaker)[1:] == [
        "2 checks from 00:06 to 00:09: skipped, it was late and the next was due"
    ]


# Slips that press something else


def test_what_is_pressed_instead_is_told_with_what_was_meant():
    hands = {"feed": {"slips": "100%", "into": {"clean": "100%"}}}
    caretaker = each(3, FEED, hands=hands)
    assert told(live(hungry(), caretaker, until=8 * MINUTE), "care") == [
        "00:03  check: saw hunger 0; feed (slipped, pressed clean, wasted)",
        "00:06  check: saw hunger 0; feed (slipped, pressed clean, wasted)",
    ]
    assert missed(hungry(), caretaker)[1:] == ["3 checks from 00:03 to 00:09: feed slipped"]


def test_what_landed_instead_is_told_without_more_if_it_had_an_effect():
    hands = {"clean": {"slips": "100%", "into": {"feed": "100%"}}}
    caretaker = each(3, {"do": "clean", "repeat": 2}, hands=hands)
    assert told(live(hungry(), caretaker, until=4 * MINUTE), "care") == [
        "00:03  check: clean x2 (1 slipped, pressed feed, 1 slipped, pressed feed, wasted)"
    ]


# Bad light


def test_spells_of_bad_light_are_told_and_shown_in_the_strip():
    eyes = {"spells": {"clear": "30 min", "lasts": "1 h", "hunger": {"misreads": "100%"}}}
    life = live(pet(), regime(eyes=eyes), until=2 * HOUR)
    assert strips(life) == [from_midnight(".~~.")]
    assert told(life, "light") == [
        "00:30  a spell of bad light begins",
        "01:30  the light is clear again",
    ]
    assert legend(life).endswith("z asleep, ~ bad light, . none of these")
    assert "bad light" not in legend(live(pet(), until=HOUR))


def test_check_under_way_when_the_trouble_began_is_told_by_what_it_did_after():
    # begun at 00:00:30, it cleans for 5 minutes, then feeds in vain
    hands = {"clean": {"takes": "5 min"}, "feed": {"slips": "100%"}}
    caretaker = regime({"do": "clean"}, FEED, every=DAY, first="30 s", hands=hands)
    assert missed(hungry(), caretaker)[1:] == ["check at 00:00: feed slipped"]


def test_check_under_way_that_had_nothing_more_to_do_with_it_is_not_told():
    hands = {"clean": {"takes": "5 min"}}
    caretaker = regime(FEED, {"do": "clean"}, every=DAY, first="30 s", hands=hands)
    assert missed(hungry(), caretaker) == [
        "00:11  CARE MISS 1, hunger: empty since 00:01; no check came in the 10 min allowed"
    ]


def test_check_broken_off_by_an_outage():
    hands = {"clean": {"takes": "2 min"}}
    caretaker = each(3, {"do": "clean"}, FEED, hands=hands, outages={"up": "4 min", "down": "1 h"})
    assert missed(hungry(), caretaker, until=15 * MINUTE)[1:] == [
        "check at 00:03: broken off, as the power failed",
        "2 checks from 00:06 to 00:09: skipped, the power was out",
    ]


def test_check_broken_off_while_it_was_opened():
    caretaker = each(3, FEED, hands={"opening": {"takes": "2 min"}},
                     outages={"up": "4 min", "down": "1 h"})  # fmt: skip
    assert missed(hungry(), caretaker, until=15 * MINUTE)[1] == (
        "check at 00:03: broken off, as the power failed"
    )


def test_check_broken_off_by_an_outage_during_an_action_that_slipped():
    hands = {"clean": {"takes": "2 min", "slips": "100%"}}
    caretaker = each(3, {"do": "clean"}, FEED, hands=hands, outages={"up": "4 min", "down": "1 h"})
    assert missed(hungry(), caretaker, until=15 * MINUTE)[1] == (
        "check at 00:03: broken off, as the power failed"
    )


def test_check_broken_off_by_an_outage_during_an_action_that_lands_after_the_miss():
    hands = {"clean": {"takes": "9 min"}}
    caretaker = each(3, {"do": "clean"}, FEED, hands=hands, outages={"up": "4 min", "down": "1 h"})
    assert missed(hungry(), caretaker, until=15 * MINUTE)[1] == (
        "check at 00:03: broken off, as the power failed"
    )


def test_check_whose_last_action_lands_too_late_as_the_power_fails():
    hands = {"feed": {"takes": "9 min"}}
    caretaker = each(3, FEED, hands=hands, outages={"up": "4 min", "down": "1 h"})
    assert missed(hungry(), caretaker, until=15 * MINUTE)[1] == (
        "check at 00:03: feed came too late, at 00:12"
    )


def test_check_that_had_ended_when_the_power_failed_is_not_broken_off():
    hands = {"opening": {"takes": "1 min"}, "clean": {"takes": "1 min", "slips": "100%"}}
    caretaker = each(3, {"do": "clean"}, hands=hands, outages={"up": "6 min", "down": "1 h"})
    assert missed(hungry(), caretaker, until=15 * MINUTE)[1] == (
        "check at 00:03: did not look at hunger"
    )


# What else a diary tells


def test_whole_diary_of_a_small_life():
    model = pet(
        fields(
            drops={"hunger": "20 min"},
            waste=fields(every="25 min", pile_max=3),
            sleeps=["02:00 to 07:00"],
            misbehaviour={"every": "30 min", "window": "12 min"},
        ),
        egg="5 min",
        lasts="8 h",
        adult_lasts="1 h",
        discipline=fields(starts=50, step=10, lapse_costs=5),
    )
    feeds = {"when": {"asleep": "no", "hunger": "below 4"}, "do": "feed", "repeat": "until met"}
    life = live(model, each(45, {"do": "reprimand"}, feeds), until="death")
    assert list(diary(life)) == [
        f"{headline(life)}.",
        "",
        "life 0 of seed 0: a-pet under a-regime, tree, 0.4 days, 0 care misses",
        "half an hour a sign: ! care miss, i ill, - no power, o in want, z asleep, . none of these",
        "",
        "Day 1, Monday",
        HOURS,
        # a first pile at 00:30, never cleaned
        "  |.oooooooooooooooooo                             |",
        "  00:00  begins as seed (egg)",
        "  00:05  grows into sprig (young)",
        "  00:35  misbehaves",
        "  00:45  check: saw hunger 3; reprimand, feed",
        "  00:55  waste again, a pile of 2",
        "  01:15  misbehaves",
        "  01:20  waste again, a pile of 3",
        "  01:27  misbehaved since 01:15 without a reprimand: discipline 55",
        "  01:30  check: saw hunger 2; reprimand (unfair), feed x2",
        "  01:57  misbehaves",
        "  02:00  falls asleep",
        "  02:15  7 checks until 06:45: reprimand x7 (unfair)",
        "  07:00  wakes",
        "  07:30  misbehaves",
        "  07:30  check: saw hunger 1; reprimand, feed x3",
        "  08:00  misbehaves",
        "  08:05  grows into tree (adult)",
        "  08:15  2 checks until 09:00: reprimand x2 (unfair), feed",
        "  09:05  DIES, old age",
    ]


def test_checks_in_a_row_are_told_together_with_what_they_saw_wrongly():
    caretaker = each(5, FEED, {"do": "clean"}, eyes={"hunger": {"misreads": "100%"}})
    lines = told(live(pet(needs=needs(hunger=1)), caretaker, until=16 * MINUTE))
    assert lines[1].startswith("00:05  3 checks until 00:15: ")
    assert "clean x3 (wasted)" in lines[1]
    assert "; saw wrongly hunger x" in lines[1]


def test_checks_asked_for_are_told_one_by_one():
    illness, seed = ill_once_at(60)
    caretaker = each(5, DOSE, CLEAN, eyes={"waste": {"imagines": "100%"}})
    life = live(pet({"illness": illness}), caretaker, until=11 * MINUTE, seed=seed)
    assert told(life, "care") == [
        "00:05  check: saw ill, wrongly (imagined waste); dose, clean (wasted)",
        "00:10  check: saw wrongly (imagined waste); clean (wasted)",
    ]


def test_check_that_saw_and_did_nothing():
    assert told(live(pet(), each(5, DOSE), until=6 * MINUTE), "care") == [
        "00:05  check: nothing done"
    ]


def test_what_became_of_actions_is_counted():
    seed = seed_where(
        lambda seed: (
            [uniform(seed, "works cheer", 0, k) < 0.5 for k in range(4)]
            == [True, False, False, True]
        )
    )
    model = pet(
        needs=needs(mood_starts=0), care=care(cheer={"raises": {"mood": 1}, "works": "50%"})
    )
    caretaker = each(5, {"do": "cheer", "repeat": 4}, {"do": "clean", "repeat": 2})
    assert told(live(model, caretaker, until=6 * MINUTE, seed=seed), "care") == [
        "00:05  check: cheer x4 (2 lost), clean x2 (wasted)"
    ]


@pytest.mark.parametrize(
    ("rule", "numbers"),
    [
        ({"misses in form": "at most 5"}, "1 miss in form"),
        ({"misses in form": "at most 0"}, "1 miss in form (tree asks at most 0)"),
        ({"misses in life": {"hunger": "at most 5", "waste": "0"}},
         "1 miss of hunger in life, 0 misses of waste in life"),
        ({"misses in life": {"hunger": "0"}},
         "1 miss of hunger in life (tree asks exactly 0)"),
        ({"discipline": "at least 90"}, "discipline 30 (tree asks at least 90)"),
        ({"weight": "at least 1", "discipline": "at least 1"}, "discipline 30, weight 7"),
    ],
)  # fmt: skip
def test_growth_tells_the_numbers_that_the_rules_went_by(rule, numbers):
    model = hungry(lasts="20 min", discipline={"starts": 30}, weight={"starts": 7})
    model["forms"]["sprig"]["grows into"] = [{"tree": rule}, {"bush": "otherwise"}]
    model["forms"]["bush"] = {"stage": "adult", "lasts": LONG}
    life = live(model, until=HOUR)
    assert (
        told(life, "growth")[1] == f"00:20  grows into {life.summary['outcome']} (adult): {numbers}"
    )


@pytest.mark.parametrize(
    ("stage", "model", "line"),
    [
        (
            fields(drops={"hunger": "1 min"}, fatal_after={"hunger": "30 min"}),
            {"needs": needs(hunger=1)},
            "00:31  DIES, starved: hunger empty since 00:01",
        ),
        (
            {"illness": ill_at(60, fatal_after="30 min")},
            {},
            "00:31  DIES, untreated illness: ill since 00:01",
        ),
        (PILES, {"fatal misses": 1}, "00:11  DIES, neglect: 1 care miss"),
        ({}, {"lasts": "10 min", "adult_lasts": "5 min"}, "00:15  DIES, old age"),
    ],
)
def test_death_tells_what_it_was_of(stage, model, line):
    assert told(live(pet(stage, **model), until="death"))[-1] == line


def test_illness_and_power():
    illness, seed = ill_once_at(60, doses={"2": "100%"})
    caretaker = each(5, DOSE, outages={"up": "12 min", "down": "6 min"})
    life = live(pet({"illness": illness}), caretaker, until=19 * MINUTE, seed=seed)
    assert told(life, "illness", "power") == [
        "00:01  falls ill, needs 2 doses",
        "00:10  is well again",
        "00:12  the power fails",
        "00:18  the power is back",
    ]
    assert "00:15  check skipped, the power was out" in told(life)


def test_end_of_a_life_that_goes_on_is_told():
    assert (
        list(diary(live(pet(), until=HOUR)))[-1] == "  01:00  followed to here; outcome: undecided"
    )
    outcome = live(pet(lasts="10 min"), until="outcome")
    assert list(diary(outcome))[-1] == "  00:10  followed to here; outcome: tree"


def test_every_kind_of_entry_can_be_kept_to():
    actions = {
        EventKind.SLIPPED,
        EventKind.REFUSED,
        EventKind.WASTED,
        EventKind.LOST,
        EventKind.UNFAIR,
        EventKind.DONE,
    }
    assert set().union(*ENTRIES.values()) == set(EventKind) - actions


@pytest.mark.parametrize("only", ENTRIES)
def test_keeping_to_some_entries_leaves_out_the_others(only):
    life = simulate("lamplet-quick", "camera-rig", life=3)
    whole, kept = (list(diary(life, given)) for given in (None, [only]))
    assert kept[0] == whole[0]
    assert kept[-1] == whole[-1]
    if only != "care":
        assert set(kept) <= set(whole)
        assert len(kept) < len(whole)


# Strips: each worked out by hand


def test_strip_of_days_and_nights_from_birth_to_the_end():
    # born within a half hour; asleep from its end, over midnight, until the very second of 07:00
    model = pet(fields(sleeps=["22:00 to 07:00"]), begins="Friday 21:40")
    assert strips(live(model, until=DAY)) == [
        f"|{' ' * 43}.zzzz|",
        f"|{'z' * 14}{'.' * 30}    |",
    ]


@pytest.mark.parametrize(
    ("model", "caretaker", "until", "signs"),
    [
        # alive to the very end of a half hour, and one second longer
        (pet(), None, 60 * MINUTE, ".."),
        (pet(), None, 60 * MINUTE + 1, "..."),
        # asleep for part of a half hour
        (pet(fields(sleeps=["00:10 to 00:20"])), None, 60 * MINUTE, "z."),
        # empty from 01:40 to 01:50
        (pet(fields(drops={"hunger": "100 min"}), needs=needs(hunger=1)), each(110, FEED),
         180 * MINUTE, "...o.."),
        # empty from 01:00 to 01:30, and so neither before nor after
        (pet(fields(drops={"hunger": "60 min"}), needs=needs(hunger=1)), each(90, FEED),
         110 * MINUTE, "..o."),
        # empty at 01:00 and fed in that second
        (pet(fields(drops={"hunger": "60 min"}), needs=needs(hunger=1)), each(60, FEED),
         90 * MINUTE, "..."),
        # waste from 00:40 to 01:10
        (pet(fields(waste=fields(every="40 min", pile_max=3))), each(70, CLEAN), 75 * MINUTE,
         ".oo"),
        # a pet in its egg, until 00:40, is in want of nothing
        (pet(egg="40 min", needs=needs(hunger_starts=0)), None, 60 * MINUTE, ".o"),
        # out from 00:40 to 01:00
        (pet(), each(35, CLEAN, outages={"up": "40 min", "down": "20 min"}), 90 * MINUTE, ".-."),
        # empty from 00:01, missed at 00:11
        (hungry(), None, 90 * MINUTE, "!oo"),
    ],
)  # fmt: skip
def test_strip_of_each_thing(model, caretaker, until, signs):
    assert strips(live(model, caretaker, until=until)) == [from_midnight(signs)]


def test_strip_of_an_illness():
    # ill from 00:40 to 01:05
    illness, seed = ill_once_at(40 * MINUTE)
    life = live(pet({"illness": illness}), each(65, DOSE), until=115 * MINUTE, seed=seed)
    assert strips(life) == [from_midnight(".ii.")]


def test_strip_shows_the_gravest_of_what_there_is_in_a_half_hour():
    # empty from 00:01; asleep from 00:10 to 00:40; the power is out from 01:10 to 01:20, 02:30 to
    # 02:40 and 03:50 to 04:00; ill from 02:10, missed at 03:10
    ill = ill_at(130 * MINUTE, grace="60 min")
    model = pet(EMPTY | {"grace": {}, "sleeps": ["00:10 to 00:40"], "illness": ill},
                needs=needs(hunger=1))  # fmt: skip
    caretaker = each(45, CLEAN, outages={"up": "70 min", "down": "10 min"})
    life = live(model, caretaker, until=4 * HOUR)
    assert strips(life) == [from_midnight("oo-oii!i")]


def test_strip_shows_the_gravest_of_things_one_after_another():
    # asleep from 00:05 to 00:10, empty from 00:20 to 00:25
    model = pet(fields(sleeps=["00:05 to 00:10"], drops={"hunger": "15 min"}),
                needs=needs(hunger=1))  # fmt: skip
    assert strips(live(model, each(25, FEED), until=30 * MINUTE)) == [from_midnight("o")]
    # waste from 00:35 to 00:40; the power is out from 00:45 to 00:50
    outages = {"up": "45 min", "down": "5 min"}
    model = pet(fields(waste=fields(every="35 min", pile_max=3)))
    caretaker = each(40, CLEAN, outages=outages)
    assert strips(live(model, caretaker, until=60 * MINUTE)) == [from_midnight(".-")]
    # ill from 00:35 to 00:40 besides
    illness, seed = ill_once_at(35 * MINUTE)
    life = live(pet({"illness": illness}), each(40, DOSE, outages=outages),
                until=60 * MINUTE, seed=seed)  # fmt: skip
    assert strips(life) == [from_midnight(".i")]


def test_strip_shows_an_illness_through_a_half_hour_without_power():
    # ill from 00:40; the power is out from 00:45 to 02:00
    caretaker = each(35, CLEAN, outages={"up": "45 min", "down": "75 min"})
    life = live(pet({"illness": ill_at(40 * MINUTE)}), caretaker, until=120 * MINUTE)
    assert strips(life) == [from_midnight(".iii")]


def test_strip_ends_with_a_death():
    starves = pet(fields(drops={"hunger": "1 min"}, fatal_after={"hunger": "30 min"}),
                  needs=needs(hunger=1))  # fmt: skip
    assert strips(live(starves, until="death")) == [from_midnight("oo")]


def test_strip_shows_a_miss_in_the_second_of_death():
    # waste from 00:01, missed and fatal at 00:30
    waste = fields(every="1 min", pile_max=3, grace="29 min")
    model = pet({"waste": waste}, fields(), **fields(fatal_misses=1))
    assert strips(live(model, until="death")) == [from_midnight("o!")]


def test_days_without_entries_have_no_strip():
    life = live(pet(), until=3 * DAY + HOUR)
    lines = list(diary(life))
    assert lines[3:] == [
        legend(life),
        "",
        "Day 1, Monday",
        HOURS,
        f"  |{'.' * 48}|",
        "  00:00  begins as sprig (young)",
        "",
        "Day 4, Thursday",
        HOURS,
        f"  |..{' ' * 46}|",
        "  01:00  followed to here; outcome: undecided",
    ]


def test_strips_show_everything_whatever_entries_are_kept_to():
    model = hungry_with({"sleeps": ["00:30 to 07:00"]}, {})
    life = live(model, each(5, CLEAN, outages={"up": "7 h", "down": "10 min"}), until=8 * HOUR)
    whole = strips(life)
    assert whole == [from_midnight(f"!{'o' * 13}-o")]
    assert all(strips(life, only) == whole for only in ENTRIES)


def lasting(life, begins, ends):
    """The half hours, from the midnight before birth, with some of what these entries bound."""
    start, found = None, set()
    for t, event, *_ in (*life.entries, (life.summary["end_s"], ends)):
        if event == begins:
            start = t
        elif event == ends and start is not None and start < t:
            found |= {half_hour(life, s) for s in (*range(start, t, 1800), t - 1)}
            start = None
    return found


def half_hour(life, t):
    return (life.model.begins.clock + t) // 1800


@settings(
    max_examples=100, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck)
)
@given(worlds())
def test_strips_are_what_the_log_says(world: World) -> None:
    life = simulate(world.model, world.regime, seed=world.seed, life=world.life, **world.span)
    misses = {half_hour(life, event.t) for event in life.entries if event.event == EventKind.MISS}
    ill = lasting(life, EventKind.ILL, EventKind.WELL)
    out = lasting(life, EventKind.OUTAGE_BEGINS, EventKind.OUTAGE_ENDS)
    asleep = lasting(life, EventKind.ASLEEP, EventKind.AWAKE)
    wants = any(life.summary[f"level_s.{need}.0"] for need in life.model.needs) or any(
        event.event == EventKind.WASTE for event in life.entries
    )
    first, last = half_hour(life, 0), half_hour(life, life.summary["end_s"] - 1)
    for day in days(life):
        number = int(day.heading.split()[1].strip(","))
        for at, sign in enumerate(day.strip[1:-1], 48 * (number - 1)):
            assert (sign == "!") == (at in misses)
            assert (sign == "i") == (at in ill - misses)
            assert (sign == "-") == (at in out - ill - misses)
            assert wants or sign != "o"
            assert sign != "z" or at in asleep
            assert sign != "." or at not in asleep
            assert sign in "! " or first <= at <= last
            assert sign != " " or not first <= at <= last


# On a narrow terminal


def test_a_diary_that_fits_is_not_wrapped():
    lines = list(diary(simulate("lamplet", "camera-rig", life=3)))
    assert list(wrapped(lines, max(map(len, lines)))) == lines


def test_long_lines_are_broken_and_indented_below_their_text():
    lines = [
        "life 3 of seed 0: lamplet under camera-rig, lantern",
        "",
        HOURS,
        "  |zzzzzzzzzzzzzzoo...oo...o....--!!....o....zzzzzz|",
        "  15:56  CARE MISS 1, mood: empty since 15:36; 20 min allowed",
        "         2 checks from 15:41 to 15:51: skipped, the power was out",
        "  16:05  wakes",
    ]
    assert list(wrapped(lines, 38)) == [
        "life 3 of seed 0: lamplet under",
        "  camera-rig, lantern",
        "",
        "   00    03    06    09",
        "  |zzzzzzzzzzzzzzoo...oo...",
        "   12    15    18    21",
        "   o....--!!....o....zzzzzz|",
        "  15:56  CARE MISS 1, mood: empty",
        "           since 15:36; 20 min allowed",
        "         2 checks from 15:41 to 15:51:",
        "           skipped, the power was out",
        "  16:05  wakes",
    ]


@pytest.mark.parametrize("width", [28, 40, 60, 79])
def test_a_wrapped_diary_fits_and_says_the_same(width):
    lines = list(diary(simulate("lamplet", "camera-rig", life=3)))
    narrow = list(wrapped(lines, width))
    assert max(map(len, narrow)) <= width
    said, wanted = (
        "".join(line for line in some if not re.fullmatch(r" +\d\d( +\d\d)+", line))
        for some in (narrow, lines)
    )
    assert "".join(said.split()) == "".join(wanted.split())


def test_hours_stand_above_the_signs_of_their_half_hours():
    lines = list(diary(live(pet(), until=HOUR)))
    ruler, strip = lines[6:8]
    for hour in range(0, 24, 3):
        place = strip.index("|") + 1 + 2 * hour
        assert ruler[place : place + 2] == f"{hour:02}"


@pytest.mark.parametrize("only", ["illness", "needs", "misses", "growth"])
def test_the_death_is_shown_with_what_it_was_of(only):
    life = live(hungry(), until=12 * MINUTE)
    dead = simulate("lamplet-quick", "hands-off", until="death")
    assert any("DIES" in entry for entry in told(dead, only))
    assert not any("DIES" in entry for entry in told(life, only))


def test_one_care_miss_is_told_as_one():
    life = live(hungry(), until=12 * MINUTE)
    assert life.summary["misses"] == 1
    assert repr(life).endswith(", 1 care miss>")
    assert repr(live(hungry(), until=5 * MINUTE)).endswith(", 0 care misses>")
