"""Why care misses, growths and deaths came, as data; the words are tested in `tests/view`."""

from __future__ import annotations

from petsim.life.causes import (
    ON_THE_CLOCK,
    Response,
    ResponseKind,
    RuleNumber,
    fatal_troubles,
    misses,
    rule_numbers,
)
from petsim.life.history import Attempt, Stretch, replay
from petsim.life.kinds import ILLNESS, EventKind
from petsim.life.record import Seen
from petsim.life.simulate import simulate
from petsim.spec.model import NEGLECT, OLD_AGE
from tests.drawn import in_rigs, in_worlds
from tests.life.worlds import acting, alone, care, fields, live, needs, pet, regime
from tests.strategies import World

MINUTE = 60


@in_worlds(150)
def test_causes_in_any_life_add_up(world: World) -> None:
    assert_causes_add_up(world)


@in_rigs(150)
def test_causes_in_any_life_on_a_rig_add_up(world: World) -> None:
    assert_causes_add_up(world)


def assert_causes_add_up(world):
    life = simulate(world.model, world.regime, seed=world.seed, life=world.life, **world.span)
    history = replay(life)
    assert_misses_come_when_their_time_is_over(history)
    assert_growth_goes_by_the_numbers(history)
    assert_deaths_are_of_something(history)


def assert_misses_come_when_their_time_is_over(history):
    """A miss comes when the time allowed is over, but for sleep that does not count."""
    log, all_misses = history.life.entries, list(misses(history))
    assert [(miss.place, miss.t, miss.cause, miss.number) for miss in all_misses] == [
        (place, entry.t, entry.what, entry.value)
        for place, entry in enumerate(log)
        if entry.event == EventKind.MISS
    ]
    for miss in all_misses:
        trouble, slept = miss.trouble, sum(until - since for since, until in miss.naps)
        assert miss.t == trouble.counts_from + trouble.allowed + slept
        assert all(trouble.counts_from <= since < until <= miss.t for since, until in miss.naps)
        assert not (miss.naps and miss.cause in ON_THE_CLOCK)
        assert miss.cause != ILLNESS or miss.doses_given < miss.doses_needed
        came = [response.t for response in miss.responses]
        assert came == sorted(came)
        # only one that is given up comes in the second of another
        others = [r.t for r in miss.responses if r.kind != ResponseKind.GIVEN_UP]
        assert others == sorted(set(others))
        for response in miss.responses:
            # a check under way before matters only if it then does something about it
            active = response.kind in (ResponseKind.ACTED, ResponseKind.MISPERCEIVED)
            assert active or response.t >= trouble.counts_from
            tried = response.kind in (ResponseKind.ACTED, ResponseKind.TOO_LATE)
            assert bool(response.attempts) == tried
            assert bool(response.sights) == (response.kind == ResponseKind.MISPERCEIVED)
            late = response.kind == ResponseKind.TOO_LATE
            assert all((attempt.place > miss.place) == late for attempt in response.attempts)


def assert_growth_goes_by_the_numbers(history):
    """The form a pet grows into is that of the first rule that they meet."""
    model, summary = history.life.model, history.life.summary
    for place, entry in enumerate(history.life.entries):
        if entry.event == EventKind.GROWTH:
            before = history.states[place - 1]
            assert sum(before.misses_in_form.values()) == summary[f"misses_in.{before.form}"]
            numbers = {(n.quantity, n.cause): n.number for n in rule_numbers(model, before)}
            rules = model.forms[before.form].grows_into
            assert entry.what == next(r.form for r in rules if met(r.conditions, numbers))


def met(conditions, numbers):
    """Whether numbers meet the conditions of a rule."""
    bounds = {
        (quantity, cause): comparison
        for quantity in ("misses_in_form", "misses_in_life")
        for cause, comparison in getattr(conditions, quantity).items()
    }
    for quantity in ("discipline", "weight"):
        if getattr(conditions, quantity) is not None:
            bounds[quantity, ""] = getattr(conditions, quantity)
    return all(comparison.holds(numbers[key]) for key, comparison in bounds.items())


def assert_deaths_are_of_something(history):
    """A death is of a trouble that there was, unless it is of neglect or old age."""
    life = history.life
    if death := life.summary["died"]:
        fatal = fatal_troubles(life.model, history.states[-2], death)
        assert bool(fatal) == (death not in (NEGLECT, OLD_AGE))


EMPTY = fields(drops={"hunger": "1 min"}, grace={"hunger": "10 min"})


def test_a_miss_says_what_each_check_did_about_it():
    # empty from 1:00; a check every 3 minutes, whose first feed slips, as do all
    hands = {"feed": {"slips": "100%", "takes": "1 min"}}
    feeds = {"when": {"hunger": "below 1", "clock": "00:00 to 00:05"}, "do": "feed"}
    caretaker = regime(feeds, every=3 * MINUTE, first="3 min", hands=hands,
                       outages={"up": "8 min", "down": "1 h"})  # fmt: skip
    life = live(pet(EMPTY, needs=needs(hunger=1)), caretaker, until=15 * MINUTE)
    [miss] = misses(replay(life))
    assert (miss.t, miss.cause, miss.number) == (11 * MINUTE, "hunger", 1)
    assert (miss.trouble.since, miss.trouble.allowed, miss.naps) == (MINUTE, 10 * MINUTE, [])
    place = [entry.event for entry in life.entries].index("slipped")
    slip = Attempt(place, 3 * MINUTE, "feed", EventKind.SLIPPED, None)
    assert miss.responses == [
        Response(3 * MINUTE, ResponseKind.ACTED, attempts=[slip]),
        Response(6 * MINUTE, ResponseKind.SAW),
        Response(9 * MINUTE, ResponseKind.SKIPPED_POWER_OUT),
    ]


def test_a_miss_says_which_checks_were_forgotten_and_given_up():
    # empty from 1:00; due every 3 minutes from 0:00 on and 4 minutes late, and so given up
    checks = {"every": "3 min", "first": "0 s", "late": "4 min"}
    forgets = [{"during": "00:00 to 00:08", "forgets": "100%"}]
    caretaker = regime({"when": {"hunger": "below 1"}, "do": "feed"}, checks=checks)
    [miss] = misses(replay(alone(pet(EMPTY, needs=needs(hunger=1)), caretaker, 15 * MINUTE)))
    assert miss.responses == [Response(t * MINUTE, ResponseKind.GIVEN_UP) for t in (3, 6, 9)]
    checks = {"every": "7 min", "first": "0 s", "windows": forgets}
    caretaker = regime({"do": "clean"}, checks=checks)
    [miss] = misses(replay(alone(pet(EMPTY, needs=needs(hunger=1)), caretaker, 15 * MINUTE)))
    assert miss.responses == [Response(7 * MINUTE, ResponseKind.FORGOTTEN)]


def test_a_miss_passes_over_what_landed_instead_of_another_action():
    hands = {"clean": {"slips": "100%", "takes": "1 min", "into": {"feed": "100%"}}}
    weak = {"raises": {"hunger": 1}, "works": "0%"}
    model = pet(EMPTY, needs=needs(hunger=1), care=care(feed=weak))
    caretaker = regime({"do": "clean"}, every=3600, first="7 min", hands=hands)
    [miss] = misses(replay(alone(model, caretaker, 15 * MINUTE)))
    # the feed, which was in vain, was not meant
    assert miss.responses == [Response(7 * MINUTE, ResponseKind.DID_NOT_LOOK)]


def test_a_miss_says_what_was_seen_wrongly():
    eyes = {"calling": {"overlooks": "100%"}}
    caretaker = regime({"when": {"calling": "yes"}, "do": "feed"}, every=3600, first="7 min",
                       eyes=eyes)  # fmt: skip
    [miss] = misses(replay(live(pet(EMPTY, needs=needs(hunger=1)), caretaker, until=15 * MINUTE)))
    overlooked = Seen(7 * MINUTE, 1, 1, 1, "calling", True, False)
    assert miss.responses == [Response(7 * MINUTE, ResponseKind.MISPERCEIVED, sights=[overlooked])]


def test_sleep_does_not_count_from_when_a_need_is_emptied_in_it():
    model = pet(
        fields(grace={"mood": "10 min"}, sleeps=["00:01 to 00:10"]),
        needs=needs(mood_starts=1),
        discipline={"unfair costs": {"mood": 1}},
    )
    life = live(model, acting((3 * MINUTE, "reprimand")), until=25 * MINUTE)
    [miss] = misses(replay(life))
    assert (miss.t, miss.naps) == (20 * MINUTE, [Stretch(3 * MINUTE, 10 * MINUTE)])


def test_sleep_before_a_need_is_empty_is_no_nap():
    # the drop that is due in the second of falling asleep falls in that of waking
    model = pet(EMPTY | fields(sleeps=["00:01 to 00:10"]), needs=needs(hunger=1))
    [miss] = misses(replay(live(model, until=25 * MINUTE)))
    assert (miss.trouble.since, miss.t, miss.naps) == (10 * MINUTE, 20 * MINUTE, [])


def test_an_outage_after_a_miss_has_not_broken_off_a_check_by_then():
    caretaker = regime({"when": {"hunger": "below 1"}, "do": "feed"}, every=3600, first="3 min",
                       hands={"opening": {"takes": "10 min"}},
                       outages={"up": "12 min", "down": "1 h"})  # fmt: skip
    life = live(pet(EMPTY, needs=needs(hunger=1)), caretaker, until=15 * MINUTE)
    [miss] = misses(replay(life))
    assert miss.responses == [Response(3 * MINUTE, ResponseKind.DID_NOT_LOOK)]


def test_growth_names_each_number_once():
    model = pet(EMPTY, needs=needs(hunger=1), lasts="20 min", discipline={"starts": 30})
    rules = [
        {"misses in form": {"all": "at most 5", "waste": "2"}, "discipline": "at least 90"},
        {"misses in form": "at most 0", "misses in life": {"hunger": "at least 1"}},
    ]
    model["forms"]["sprig"]["grows into"] = [{"tree": rule} for rule in rules] + [
        {"tree": "otherwise"}
    ]
    history = replay(live(model, until=20 * MINUTE))
    assert rule_numbers(history.life.model, history.states[-1]) == [
        RuleNumber("misses_in_form", "all", 1),
        RuleNumber("misses_in_form", "waste", 0),
        RuleNumber("misses_in_life", "hunger", 1),
        RuleNumber("discipline", "", 30),
    ]
