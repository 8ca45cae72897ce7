"""Checks, listening, routines, hands, outages and quiet hours, each rule on a tiny life."""

import math

import pytest

from petsim.errors import SpecError
from petsim.life.streams import uniform
from tests.life.worlds import (
    acting,
    care,
    drawn,
    fields,
    ill_at,
    live,
    needs,
    pet,
    regime,
    seconds,
    seed_where,
    sees,
    span,
    story,
    times,
)

CLEAN = {"do": "clean"}


def checks(model=None, until=80, routine=(CLEAN,), seed=0, listens=None, outages=None, **grid):
    """The life of a pet under a grid of checks given by its fields."""
    more = {"listens": listens, "outages": outages, "checks": fields(**grid)}
    caretaker = regime(*routine, **{k: v for k, v in more.items() if v})
    return live(model or pet(), caretaker, until=until, seed=seed)


def started(*args, **grid):
    return times(checks(*args, **grid), "check")


def window(start, end, every):
    return {"during": span(start, end), "every": seconds(every)}


# The grid


def test_check_is_due_from_first_on_at_every_multiple_of_the_interval_since_first():
    assert started(every="20 s", first="13 s") == [13, 33, 53, 73]


def test_no_check_is_due_before_first():
    assert started(every="10 s", first="35 s") == [35, 45, 55, 65, 75]


def test_no_check_is_due_before_first_whatever_window_or_stage_holds_then():
    windows = [window(0, 8, 1), window(20, 30, 5)]
    grid = {"every": "10 s", "first": "35 s", "windows": windows, "by_stage": {"young": "7 s"}}
    assert started(**grid) == [35, 42, 49, 56, 63, 70, 77]


def test_jittered_grid_begins_with_first_as_its_due_check_0():
    expected = [35 + 10 * k + lateness(0, k, 9) for k in range(5)]
    life = checks(until=89, every="10 s", first="35 s", jitter="9 s", windows=[window(0, 30, 10)])
    assert times(life, "check") == [t for t in expected if t < 89]


def test_grid_has_no_memory_when_the_interval_changes():
    assert started(every="10 s", first="3 s", windows=[window(25, 60, 7)]) == [
        3,
        13,
        23,
        31,
        38,
        45,
        52,
        59,
        63,
        73,
    ]


def test_never_only_suppresses():
    assert started(every="10 s", first="0 s", windows=[window(15, 35, "never")]) == [
        0,
        10,
        40,
        50,
        60,
        70,
    ]


def test_first_listed_window_that_holds_gives_the_interval():
    windows = [window(20, 40, "never"), window(10, 50, 5)]
    assert started(every="30 s", first="0 s", windows=windows) == [0, 10, 15, 40, 45, 60]


def test_window_comes_before_the_stage_and_the_stage_before_the_default():
    life = checks(
        pet(egg="30 s", lasts="30 s"),
        until=100,
        every="20 s",
        first="0 s",
        by_stage={"egg": "7 s", "young": "never"},
        windows=[window(10, 20, 5), window(40, 45, 1)],
    )
    assert times(life, "check") == [0, 7, 10, 15, 21, 28, 40, 41, 42, 43, 44, 60, 80]


def test_interval_of_a_stage_goes_by_the_stages_name_whatever_a_form_overrides():
    model = pet(fields(drops={"hunger": "50 s"}))
    model["forms"]["sprig"] |= fields(drops={"hunger": "20 s"})
    assert started(model, every="50 s", first="0 s", by_stage={"young": "30 s"}) == [0, 30, 60]


def test_interval_is_that_of_the_form_just_grown_into():
    life = checks(
        pet(lasts="30 s"), every="10 s", first="0 s", by_stage={"young": "never", "adult": "15 s"}
    )
    assert times(life, "check") == [30, 45, 60, 75]


def test_random_first_check_is_a_share_of_the_default_interval_rounded_down():
    for seed in range(5):
        first = math.floor(uniform(seed, "first check", 0, 0) * 50)
        windows = [window(0, first + 1, 50)]
        life = checks(
            seed=seed, until=200, every="50 s", windows=windows, by_stage={"young": "60 s"}
        )
        assert times(life, "check") == [first, *range(first + 60, 200, 60)]
        assert drawn(life, "first check") == 1


def test_random_first_check_is_refused_without_a_default_interval():
    with pytest.raises(SpecError):
        checks(every="never", first="random", windows=[window(0, 10, 5)])


# Jitter


def lateness(seed, k, jitter):
    return math.floor(uniform(seed, "jitter", 0, k) * (jitter + 1))


def test_jitter_makes_each_due_check_late_by_its_own_draw():
    expected = [10 * k + lateness(0, k, 9) for k in range(20)]
    assert len({t % 10 for t in expected}) > 5
    assert started(until=200, every="10 s", first="0 s", jitter="9 s") == expected


def test_jitter_is_numbered_by_due_checks_and_a_second_in_a_never_is_none():
    life = checks(
        until=100, every="10 s", first="0 s", jitter="5 s", windows=[window(18, 41, "never")]
    )
    # Due at 0, 10, 50, 60, 70, 80, 90; the one due at 10 comes before the never.
    dues = [0, 10, 50, 60, 70, 80, 90]
    assert times(life, "check") == [due + lateness(0, k, 5) for k, due in enumerate(dues)]
    assert drawn(life, "jitter") == 7


def test_jitter_is_drawn_in_the_due_second():
    life = checks(until=11, every="10 s", first="0 s", jitter="5 s")
    assert drawn(life, "jitter") == 2
    assert drawn(checks(until=10, every="10 s", first="0 s", jitter="5 s"), "jitter") == 1


def test_jittered_check_that_comes_in_a_never_is_dropped_uncounted():
    seed = seed_where(lambda s: lateness(s, 2, 5) >= 1 and lateness(s, 3, 5) == 0)
    life = checks(
        until=40,
        seed=seed,
        every="10 s",
        first="0 s",
        jitter="5 s",
        windows=[window(21, 30, "never")],
    )
    assert times(life, "check") == [lateness(seed, 0, 5), 10 + lateness(seed, 1, 5), 30]
    assert life.summary["checks_skipped"] == 0


def test_jittered_check_that_comes_when_the_default_is_never_is_dropped_uncounted():
    seed = seed_where(lambda s: lateness(s, 0, 5) == 0 and lateness(s, 1, 5) >= 2)
    life = checks(
        until=40, seed=seed, every="never", first="0 s", jitter="5 s", windows=[window(0, 12, 10)]
    )
    assert (times(life, "check"), drawn(life, "jitter")) == ([0], 2)
    assert life.summary["checks_skipped"] == 0


def test_jittered_check_has_the_interval_of_its_due_second():
    # Due at 20 in the last second of its window, it comes when checks are due every 100 s.
    seed = seed_where(lambda s: lateness(s, 2, 5) == 4)
    life = checks(
        until=40, seed=seed, every="100 s", first="0 s", jitter="5 s", windows=[window(5, 21, 10)]
    )
    assert times(life, "check") == [lateness(seed, 0, 5), 10 + lateness(seed, 1, 5), 24]


def test_jittered_check_is_skipped_by_an_outage_in_the_second_it_comes():
    seed = seed_where(lambda s: lateness(s, 2, 5) == 4)
    outages = fields(up="24 s", down="3 s")
    life = checks(until=30, seed=seed, every="10 s", first="0 s", jitter="5 s", outages=outages)
    assert times(life, "check skipped") == [24]


def test_jittered_check_due_in_an_outage_is_carried_out_if_it_comes_after():
    seed = seed_where(lambda s: lateness(s, 2, 5) == 4)
    outages = fields(up="18 s", down="6 s")
    life = checks(until=30, seed=seed, every="10 s", first="0 s", jitter="5 s", outages=outages)
    assert times(life, "check")[-1] == 24
    assert life.summary["checks_skipped"] == 0


def test_jittered_check_is_skipped_while_another_is_carried_out_in_the_second_it_comes():
    hands = {"clean": {"takes": "12 s"}}
    life = live(
        pet(),
        regime(CLEAN, checks=fields(every="10 s", first="0 s", jitter="5 s"), hands=hands),
        until=400,
    )
    begun, skipped, free = [], [], 0
    for k in range(40):
        comes = 10 * k + lateness(0, k, 5)
        if comes < free:
            skipped.append(comes)
        elif comes < 400:
            begun.append(comes)
            free = comes + 12
    assert len(begun) > 15
    assert len(skipped) > 5
    assert (times(life, "check"), times(life, "check skipped")) == (begun, skipped)


# In this grid checks are due at 99 and at 100: seconds 33 and 34 of the due checks.
def close_grid(*windows):
    return {
        "until": 110,
        "every": "100 s",
        "first": "0 s",
        "jitter": "2 s",
        "windows": [*windows, window(0, 100, 3)],
    }


LATE_THEN_NOT = seed_where(lambda s: (lateness(s, 33, 2), lateness(s, 34, 2)) == (2, 0))
LATE_THEN_LATE = seed_where(lambda s: (lateness(s, 33, 2), lateness(s, 34, 2)) == (2, 1))
NOT_THEN_LATE = seed_where(lambda s: (lateness(s, 33, 2), lateness(s, 34, 2)) == (0, 2))


@pytest.mark.parametrize(
    ("seed", "came"),
    [(LATE_THEN_NOT, [101, 102]), (LATE_THEN_LATE, [101, 102]), (NOT_THEN_LATE, [99, 102])],
)
def test_jittered_check_comes_at_least_a_second_after_the_one_before(seed, came):
    assert started(seed=seed, **close_grid())[-2:] == came


def test_jittered_check_comes_a_second_after_the_one_before_even_if_that_was_dropped():
    life = checks(seed=LATE_THEN_NOT, **close_grid(window(101, 102, "never")))
    assert times(life, "check")[-1] == 102
    assert 100 not in times(life, "check")
    assert life.summary["checks_skipped"] == 0


def test_jittered_check_comes_a_second_after_the_one_before_even_if_that_was_skipped():
    life = checks(seed=LATE_THEN_NOT, outages=fields(up="101 s", down="1 s"), **close_grid())
    assert times(life, "check")[-1] == 102
    assert times(life, "check skipped") == [101]


def test_jitter_is_below_the_smallest_interval_never_apart_and_refused_with_intervals_by_stage():
    every = {"every": "10 s", "first": "0 s"}
    assert started(until=5, jitter="3 s", windows=[window(20, 30, 4)], **every)
    with pytest.raises(SpecError):
        checks(jitter="4 s", windows=[window(20, 30, 4)], **every)
    with pytest.raises(SpecError):
        checks(jitter="10 s", **every)
    with pytest.raises(SpecError):
        checks(jitter="3 s", by_stage={"young": "20 s"}, **every)


# A check that takes time


def timed(takes, every, until, routine=(CLEAN,), **more):
    """The life of a pet that is cleaned in so many seconds."""
    hands = {"clean": {"takes": seconds(takes)}} | more.pop("hands", {})
    return live(pet(), regime(*routine, every=every, hands=hands, **more), until=until)


def log(life):
    """All the log but the birth."""
    return story(life, *{e.event for e in life.entries})[1:]


def test_checks_due_before_the_end_of_one_under_way_are_skipped_and_counted():
    life = timed(25, every=10, until=36)
    assert log(life) == [
        "0 check",
        "10 check skipped",
        "20 check skipped",
        "25 wasted clean",
        "30 check",
    ]
    assert (life.summary["checks"], life.summary["checks_skipped"]) == (2, 2)


def test_check_due_in_the_second_another_ends_follows_it_in_that_second():
    assert log(timed(20, every=10, until=21)) == [
        "0 check",
        "10 check skipped",
        "20 wasted clean",
        "20 check",
    ]


def test_what_is_under_way_goes_on_before_the_check_that_comes_is_skipped():
    life = timed(
        20, every=20, until=26, routine=[CLEAN, {"do": "dose"}], hands={"dose": {"takes": "5 s"}}
    )
    assert log(life) == [
        "0 check",
        "20 wasted clean",
        "20 check skipped",
        "25 wasted dose",
    ]


def test_what_is_under_way_goes_on_with_instant_actions_and_then_the_check_that_comes_starts():
    life = timed(20, every=20, until=21, routine=[CLEAN, {"do": "dose"}])
    assert log(life) == ["0 check", "20 wasted clean", "20 wasted dose", "20 check"]


def test_check_counts_as_done_in_the_second_it_starts_however_it_ends():
    assert timed(20, every=100, until=5).summary["checks"] == 1
    assert (
        timed(20, every=100, until=90, outages=fields(up="5 s", down="5 s")).summary["checks"] == 1
    )


def test_check_without_actions_takes_no_time():
    life = live(pet(), regime({"when": {"ill": "yes"}, "do": "dose"}, every=1), until=5)
    assert (life.summary["checks"], life.summary["checks_skipped"]) == (5, 0)


# Listening

EMPTY_AT_10 = pet(fields(drops={"hunger": "10 s"}), needs=needs(hunger=1))
LISTENS = {"hears": "100%", "reacts in": "20 s"}


def test_heard_call_is_a_check_after_the_reaction():
    life = live(EMPTY_AT_10, regime(CLEAN, listens=LISTENS), until=100)
    assert times(life, "check") == [30]
    assert (drawn(life, "hears"), drawn(life, "reaction")) == (1, 1)


def test_misbehaviour_is_heard_when_it_begins():
    model = pet(fields(misbehaviour=fields(every="10 s", window="100 s")))
    assert times(live(model, regime(CLEAN, listens=LISTENS), until=100), "check") == [30]


def test_reaction_is_drawn_only_when_heard():
    u = uniform(0, "hears", 0, 0)
    for p, heard in ((u, 0), (math.nextafter(u, 1), 1)):
        listens = fields(hears=repr(p), reacts_in="20 s")
        life = live(EMPTY_AT_10, regime(CLEAN, listens=listens), until=100)
        assert (drawn(life, "hears"), drawn(life, "reaction")) == (1, heard)
        assert times(life, "check") == [30] * heard


def test_hearing_is_drawn_also_when_it_already_calls():
    model = pet(
        fields(
            drops={"hunger": "10 s", "mood": "15 s"},
            misbehaviour=fields(every="20 s", window="9 s"),
        ),
        needs=needs(hunger=1, mood=1),
    )
    assert drawn(live(model, regime(CLEAN, listens=LISTENS), until=21), "hears") == 3


def test_hearing_is_drawn_in_any_never_in_an_outage_and_while_busy():
    hands = {"clean": {"takes": "50 s"}}
    grid = fields(every="100 s", first="0 s", windows=[window(5, 90, "never")])
    outages = fields(up="8 s", down="9 s")
    life = live(
        EMPTY_AT_10,
        regime(CLEAN, checks=grid, hands=hands, listens=LISTENS, outages=outages),
        until=20,
    )
    assert (drawn(life, "hears"), drawn(life, "reaction")) == (1, 1)


def test_two_needs_at_0_in_one_second_are_heard_in_their_order():
    seed = seed_where(lambda s: uniform(s, "hears", 0, 0) >= 0.5 > uniform(s, "hears", 0, 1))
    model = pet(fields(drops={"hunger": "10 s", "mood": "10 s"}), needs=needs(hunger=1, mood=1))
    listens = LISTENS | {"hears": "50%"}
    life = live(model, regime(CLEAN, listens=listens), until=40, seed=seed)
    assert (drawn(life, "hears"), drawn(life, "reaction"), times(life, "check")) == (2, 1, [30])


TWO_CALLS = pet(fields(drops={"hunger": "10 s", "mood": "20 s"}), needs=needs(hunger=1, mood=1))
SLOW = fields(hears="100%", reacts_in="uniform 20 s to 100 s")


def reaction(seed, k):
    return math.floor(20 + 80 * uniform(seed, "reaction", 0, k) + 0.5)


def test_one_heard_check_is_pending_at_a_time_the_earliest():
    later_first = seed_where(lambda s: 20 + reaction(s, 1) < 10 + reaction(s, 0))
    life = live(TWO_CALLS, regime(CLEAN, listens=SLOW), until=300, seed=later_first)
    assert times(life, "check") == [20 + reaction(later_first, 1)]
    first_first = seed_where(lambda s: 10 + reaction(s, 0) < 20 + reaction(s, 1))
    life = live(TWO_CALLS, regime(CLEAN, listens=SLOW), until=300, seed=first_first)
    assert times(life, "check") == [10 + reaction(first_first, 0)]
    assert drawn(life, "reaction") == 2


def test_call_heard_after_the_pending_check_came_is_pending_anew():
    model = pet(fields(drops={"hunger": "10 s", "mood": "31 s"}), needs=needs(hunger=1, mood=1))
    assert times(live(model, regime(CLEAN, listens=LISTENS), until=100), "check") == [30, 51]


def test_answering_meanwhile_does_not_cancel_a_heard_check():
    caretaker = regime({"do": "feed"}, every=1000, first="12 s", listens=LISTENS)
    assert times(live(EMPTY_AT_10, caretaker, until=40), "check") == [12, 30]


def test_heard_check_ignores_first():
    caretaker = regime(CLEAN, every=10, first="900 s", listens=LISTENS)
    assert times(live(EMPTY_AT_10, caretaker, until=100), "check") == [30]


def heard(until=100, hands=None, **grid):
    outages = grid.pop("outages", None)
    more = {"hands": hands, "outages": outages, "checks": fields(**grid)}
    caretaker = regime(CLEAN, listens=LISTENS, **{k: v for k, v in more.items() if v})
    return live(EMPTY_AT_10, caretaker, until=until)


def test_heard_check_in_a_listed_window_that_is_never_is_dropped_uncounted():
    life = heard(every="1000 s", first="5 s", windows=[window(30, 31, "never")])
    assert times(life, "check") == [5]
    assert life.summary["checks_skipped"] == 0


def test_heard_check_is_not_stopped_by_never_as_the_interval_of_the_stage_or_the_default():
    assert times(heard(every="never", first="0 s"), "check") == [30]
    by_stage = {"young": "never"}
    assert times(heard(every="9 s", first="0 s", by_stage=by_stage), "check") == [30]


def test_heard_check_comes_in_a_window_whose_first_listed_interval_is_not_never():
    life = heard(
        every="1000 s", first="5 s", windows=[window(29, 35, 900), window(20, 40, "never")]
    )
    assert times(life, "check") == [5, 30]


def test_heard_check_in_an_outage_is_skipped_and_then_pending_no_more():
    life = heard(every="never", first="0 s", outages=fields(up="25 s", down="10 s"))
    assert times(life, "check skipped") == [30]
    assert times(life, "check") == []


def test_heard_check_while_busy_is_skipped_and_then_pending_no_more():
    life = heard(hands={"clean": {"takes": "20 s"}}, every="1000 s", first="15 s")
    assert times(life, "check skipped") == [30]
    assert times(life, "check") == [15]


def test_never_of_a_window_is_tested_before_outage_and_busy():
    windows = [window(30, 31, "never")]
    outage = heard(
        every="never", first="0 s", windows=windows, outages=fields(up="25 s", down="10 s")
    )
    busy = heard(hands={"clean": {"takes": "20 s"}}, every="1000 s", first="15 s", windows=windows)
    assert outage.summary["checks_skipped"] == busy.summary["checks_skipped"] == 0


def test_grid_and_heard_check_of_one_second_are_one():
    life = heard(every="30 s", first="0 s", until=35)
    assert times(life, "check") == [0, 30]
    assert life.summary["done.clean"] == 2


def test_grid_and_heard_check_skipped_in_one_second_are_one_skip():
    outages = fields(up="25 s", down="10 s")
    life = heard(every="30 s", first="0 s", until=40, outages=outages)
    assert (times(life, "check skipped"), life.summary["checks_skipped"]) == ([30], 1)
    busy = heard(hands={"clean": {"takes": "40 s"}}, every="30 s", first="0 s", until=40)
    assert (times(busy, "check skipped"), busy.summary["checks_skipped"]) == ([30], 1)


def test_pending_check_outlives_growth():
    model = pet(fields(drops={"hunger": "10 s"}), lasts="20 s", needs=needs(hunger=1))
    assert times(live(model, regime(CLEAN, listens=LISTENS), until=90), "check") == [30]


def test_call_in_the_very_second_the_pending_check_comes_is_later_and_not_kept():
    model = pet(fields(drops={"hunger": "10 s", "mood": "30 s"}), needs=needs(hunger=1, mood=1))
    life = live(model, regime(CLEAN, listens=LISTENS), until=100)
    assert (times(life, "check"), drawn(life, "hears")) == ([30], 2)


def test_call_that_the_heard_check_itself_causes_is_pending_anew():
    model = pet(
        fields(drops={"hunger": "10 s"}),
        needs=needs(hunger=1, mood=1),
        discipline=fields(unfair_costs={"mood": 1}),
    )
    life = live(model, regime({"do": "reprimand"}, listens=LISTENS), until=200)
    assert times(life, "check") == [30, 50]


def test_call_that_a_check_both_heard_and_on_the_grid_causes_is_pending_anew():
    model = pet(
        fields(drops={"hunger": "10 s"}),
        needs=needs(hunger=1, mood=2),
        discipline=fields(unfair_costs={"mood": 1}),
    )
    caretaker = regime({"do": "reprimand"}, every=30, listens=LISTENS)
    assert times(live(model, caretaker, until=85), "check") == [0, 30, 50, 60]


def test_heard_check_in_the_second_another_ends_follows_it():
    life = heard(hands={"clean": {"takes": "15 s"}}, every="1000 s", first="15 s", until=31)
    assert log(life)[-3:] == ["15 check", "30 wasted clean", "30 check"]


def test_grid_and_heard_check_that_follow_one_that_ends_are_one():
    life = heard(hands={"clean": {"takes": "15 s"}}, every="15 s", first="15 s", until=31)
    assert log(life)[-3:] == ["15 check", "30 wasted clean", "30 check"]
    assert life.summary["checks_skipped"] == 0


def test_heard_check_is_not_jittered():
    grid = fields(every="1000 s", first="0 s", jitter="900 s")
    for seed in range(5):
        caretaker = regime(CLEAN, listens=LISTENS, checks=grid)
        life = live(EMPTY_AT_10, caretaker, until=1000, seed=seed)
        assert times(life, "check") == sorted({30, lateness(seed, 0, 900)})


def test_heard_check_that_skips_leaves_room_for_a_later_call():
    model = pet(fields(drops={"hunger": "10 s", "mood": "40 s"}), needs=needs(hunger=1, mood=1))
    caretaker = regime(CLEAN, listens=LISTENS, outages=fields(up="25 s", down="10 s"))
    life = live(model, caretaker, until=100)
    # The power is off again from 60 to 70, when the second call would be answered.
    assert (times(life, "check skipped"), times(life, "check")) == ([30, 60], [])


# Routine


def looked(life):
    """Seconds and signals looked at, in order."""
    return [(sight.t, sight.signal) for sight in life.sights]


def checked_once(model, *routine, t=10, **more):
    return live(model, regime(*routine, every=10_000, first=f"{t} s", **more), until=t + 500)


HUNGRY = pet(needs=needs(hunger=9, hunger_starts=0))
BELOW_5 = {"hunger": "below 5"}


def test_step_is_done_while_it_holds_at_most_repeat_times_with_a_look_before_each():
    life = checked_once(HUNGRY, {"when": BELOW_5, "do": "feed", "repeat": 3})
    assert life.summary["done.feed"] == 3
    # No further look after the last permitted one.
    assert looked(life) == [(10, "hunger")] * 3


def test_step_stops_when_a_look_shows_it_no_longer_holds():
    life = checked_once(HUNGRY, {"when": BELOW_5, "do": "feed", "repeat": 9})
    assert life.summary["done.feed"] == 5
    assert looked(life) == [(10, "hunger")] * 6


def test_step_is_done_once_by_default():
    assert checked_once(HUNGRY, {"when": BELOW_5, "do": "feed"}).summary["done.feed"] == 1


def test_until_met_is_up_to_20():
    life = checked_once(HUNGRY, {"when": BELOW_5, "do": "clean", "repeat": "until met"})
    assert life.summary["done.clean"] == 20
    assert len(looked(life)) == 20


def test_until_met_needs_a_when():
    with pytest.raises(SpecError):
        checked_once(HUNGRY, {"do": "clean", "repeat": "until met"})


def test_pass_looks_anew_before_each_step():
    steps = [{"when": {"hunger": "0"}, "do": "feed"}, {"when": {"hunger": "1"}, "do": "clean"}]
    life = checked_once(HUNGRY, *steps)
    assert story(life)[1:] == ["10 done feed", "10 wasted clean"]


def test_look_before_a_repetition_is_in_its_own_second():
    life = checked_once(
        HUNGRY, {"when": BELOW_5, "do": "feed", "repeat": 2}, hands={"feed": {"takes": "4 s"}}
    )
    assert looked(life) == [(10, "hunger"), (14, "hunger")]
    assert times(life, "done") == [14, 18]


def test_passes_repeat_until_one_does_nothing():
    life = checked_once(HUNGRY, {"when": BELOW_5, "do": "feed"}, passes=50)
    assert life.summary["done.feed"] == 5
    assert len(looked(life)) == 6


def test_passes_are_at_most_as_many_as_the_regime_says():
    life = checked_once(HUNGRY, {"when": BELOW_5, "do": "feed"}, passes=3)
    assert life.summary["done.feed"] == 3
    assert len(looked(life)) == 3


def test_there_is_one_pass_by_default():
    assert checked_once(HUNGRY, {"when": BELOW_5, "do": "feed"}).summary["done.feed"] == 1


def test_refused_and_slipped_actions_count_as_something_done():
    strict = {"raises": {"mood": 1}, "refused when": ["full"]}
    model = pet(care=care(strict=strict))
    life = checked_once(model, {"when": {"mood": "5"}, "do": "strict"}, passes=4)
    assert life.summary["done.strict"] == 4
    slips = {"feed": {"slips": "100%"}}
    life = checked_once(HUNGRY, {"when": BELOW_5, "do": "feed"}, passes=4, hands=slips)
    assert life.summary["slipped.feed"] == 4


def test_refused_and_slipped_actions_use_up_repetitions():
    slips = {"feed": {"slips": "100%"}}
    life = checked_once(HUNGRY, {"when": BELOW_5, "do": "feed", "repeat": 3}, hands=slips)
    assert life.summary["slipped.feed"] == 3


def test_step_without_when_takes_no_look_is_done_repeat_times_in_the_first_pass_only():
    steps = [{"do": "clean", "repeat": 3}, {"when": {"hunger": "below 2"}, "do": "feed"}]
    life = checked_once(HUNGRY, *steps, passes=9)
    assert story(life)[1:] == ["10 wasted clean"] * 3 + ["10 done feed"] * 2
    assert looked(life) == [(10, "hunger")] * 3


def test_step_without_when_does_not_ask_for_another_pass():
    steps = [{"do": "clean"}, {"when": {"hunger": "above 5"}, "do": "feed"}]
    life = checked_once(HUNGRY, *steps, passes=9)
    assert life.summary["done.clean"] == 1
    assert looked(life) == [(10, "hunger")]


# Observations


def test_when_is_a_conjunction():
    model = pet({"sleeps": [span(5, 50)]}, needs=needs(hunger_starts=2))
    when = {"asleep": "yes", "lights": "on", "hunger": "at most 2"}
    assert checked_once(model, {"when": when, "do": "feed"}).summary["done.feed"] == 1
    for signal, other in (("asleep", "no"), ("lights", "off"), ("hunger", "at least 3")):
        life = checked_once(model, {"when": when | {signal: other}, "do": "feed"})
        assert life.summary["done.feed"] == 0


def test_every_signal_that_a_when_names_is_tried_even_if_an_earlier_condition_fails():
    eyes = {"waste": {"imagines": "50%"}, "calling": {"imagines": "50%"}}
    when = {"ill": "yes", "waste": "at least 1", "hunger": "0", "calling": "yes"}
    life = checked_once(pet(), {"when": when, "do": "dose"}, eyes=eyes)
    assert sorted(signal for _, signal in looked(life)) == ["calling", "hunger", "ill", "waste"]
    assert (drawn(life, "imagines waste"), drawn(life, "imagines calling")) != (0, 0)


def test_two_steps_that_name_one_signal_are_two_observations():
    step = {"when": {"waste": "at least 1"}, "do": "clean"}
    life = checked_once(pet(), step, step)
    assert looked(life) == [(10, "waste")] * 2


@pytest.mark.parametrize(
    ("clock", "moments"),
    [
        ("00:00 to 24:00 on Tue", range(10, 20)),
        ("23:59:55 to 00:00:05 on Mon", range(5, 15)),
        ("23:59:55 to 00:00:05 on Tue", ()),
    ],
)
def test_clock_condition_may_name_weekdays_and_one_past_midnight_is_of_its_opening(clock, moments):
    caretaker = regime({"when": {"clock": clock}, "do": "clean"}, every=1)
    life = live(pet(begins="Monday 23:59:50"), caretaker, until=20)
    assert times(life, "wasted") == list(moments)


def test_stage_form_weight_and_clock_are_read():
    model = pet(egg="20 s", lasts="20 s", weight={"starts": 3})
    step = {"when": {"stage": ["egg", "adult"], "weight": "3"}, "do": "clean"}
    assert times(live(model, regime(step, every=10), until=60), "refused", "clean") == [0, 10]
    assert times(live(model, regime(step, every=10), until=60), "wasted", "clean") == [40, 50]
    step = {"when": {"form": "not sprig", "clock": span(10, 50)}, "do": "clean"}
    life = live(model, regime(step, every=10), until=90)
    assert [e.t for e in life.entries if e.what == "clean"] == [10, 40]


def test_misbehaviour_is_not_observed():
    with pytest.raises(SpecError):
        checked_once(pet(), {"when": {"misbehaving": "yes"}, "do": "reprimand"})


class Glancer:
    """A policy that looks twice and reads one signal of the first observation twice."""

    regime = regime(
        every=10_000,
        first="10 s",
        eyes={"waste": {"imagines": "50%"}, "ill": {"imagines": "50%"}},
    )

    def check(self, look):
        seen = look()
        assert seen["waste"] == seen["waste"]
        look()
        return []


def test_policy_looks_at_a_signal_when_it_first_reads_it_in_an_observation():
    life = live(pet(), Glancer, until=20)
    assert looked(life) == [(10, "waste")]
    assert drawn(life, "imagines ill") == 0


class Feeder:
    """A policy that feeds what it sees hungry, looking again after each time."""

    regime = regime(every=10_000, first="10 s", hands={"feed": {"takes": "4 s"}})

    def check(self, look):
        while look()["hunger"] < 2:
            yield "feed"


def test_policy_looks_again_after_its_action_has_landed():
    life = live(HUNGRY, Feeder, until=40)
    assert story(life)[1:] == ["14 done feed", "18 done feed"]
    assert looked(life) == [(10, "hunger"), (14, "hunger"), (18, "hunger")]


# Hands


def test_action_not_named_takes_no_time_costs_one_press_and_never_slips():
    life = checked_once(pet(), CLEAN)
    assert times(life, "wasted") == [10]
    assert (life.summary["presses"], drawn(life, "slips clean")) == (1, 0)


def test_part_of_an_action_not_named_is_as_if_it_was_not():
    life = checked_once(pet(), CLEAN, CLEAN, hands={"clean": {"takes": "5 s"}})
    assert (times(life, "wasted"), life.summary["presses"]) == ([15, 20], 2)
    life = checked_once(pet(), CLEAN, CLEAN, hands={"clean": {"presses": 4}})
    assert (times(life, "wasted"), life.summary["presses"]) == ([10, 10], 8)


def test_action_lands_after_the_seconds_it_takes_and_0_seconds_lands_at_once():
    steps = [{"do": "feed"}, CLEAN, {"do": "cheer"}]
    hands = {"feed": {"takes": "7 s"}, "clean": {"takes": "0 s"}, "cheer": {"takes": "1 s"}}
    assert story(checked_once(pet(), *steps, hands=hands))[1:] == [
        "17 wasted feed",
        "17 wasted clean",
        "18 wasted cheer",
    ]


def test_refusal_belongs_to_the_second_the_action_lands():
    model = pet(
        {"sleeps": [span(20, 40)]}, care=care(nap={"weight": "+1", "refused when": ["asleep"]})
    )
    hands = {"nap": {"takes": "10 s"}}
    for starts, kind in ((9, "done"), (10, "refused"), (29, "refused"), (30, "done")):
        life = live(model, acting((starts, "nap"), hands=hands), until=60)
        assert story(life, "done", "refused") == [f"{starts + 10} {kind} nap"]


def test_effect_belongs_to_the_second_the_action_lands():
    model = pet(fields(waste=fields(every="15 s", pile_max=1)))
    life = live(model, acting((10, "clean"), hands={"clean": {"takes": "8 s"}}), until=20)
    assert story(life, "waste", "done") == ["15 waste", "18 done clean"]


def test_slip_spends_time_and_presses():
    hands = {"feed": {"takes": "7 s", "presses": 3, "slips": "100%"}}
    life = checked_once(HUNGRY, {"do": "feed"}, CLEAN, hands=hands)
    assert story(life)[1:] == ["10 slipped feed", "17 wasted clean"]
    summary = life.summary
    assert (summary["presses"], summary["slipped.feed"], summary["done.feed"]) == (4, 1, 0)
    assert summary["level_s.hunger.0"] == 510


QUIET = {"quiet hours": [span(20, 30)]}


@pytest.mark.parametrize(("starts", "quiet"), [(19, 0), (20, 3), (29, 3), (30, 0)])
def test_presses_in_quiet_hours_belong_to_the_second_the_action_starts(starts, quiet):
    hands = {"clean": {"takes": "5 s", "presses": 3}}
    caretaker = acting((starts, "clean"), hands=hands) | QUIET
    summary = live(pet(), caretaker, until=50).summary
    assert (summary["presses"], summary["quiet_presses"]) == (3, quiet)


def test_presses_of_a_slip_in_quiet_hours_count():
    hands = {"clean": {"presses": 3, "slips": "100%"}}
    assert (
        live(pet(), acting((25, "clean"), hands=hands) | QUIET, until=50).summary["quiet_presses"]
        == 3
    )


def test_presses_in_overlapping_quiet_hours_count_once():
    caretaker = acting((27, "clean")) | {"quiet hours": [span(20, 30), span(25, 35)]}
    assert live(pet(), caretaker, until=50).summary["quiet_presses"] == 1


def test_quiet_hours_suppress_nothing():
    life = live(pet(), regime(CLEAN, every=5) | QUIET, until=40)
    assert times(life, "check") == times(life, "wasted") == list(range(0, 40, 5))


def test_action_cut_off_by_the_horizon_has_its_presses_but_is_not_done():
    for takes, done, cut in ((19, 1, 0), (20, 0, 1), (30, 0, 1)):
        life = timed(takes, every=100, until=20)
        summary = life.summary
        assert (summary["done.clean"], summary["cut_off"], summary["presses"]) == (done, cut, 1)


def test_action_cut_off_by_death_has_its_presses_but_is_not_done():
    model = pet(fields(fatal_after={"hunger": "20 s"}), needs=needs(hunger_starts=0))
    for takes, done in ((19, 1), (20, 0)):
        caretaker = regime(CLEAN, every=100, hands={"clean": {"takes": f"{takes} s"}})
        summary = live(model, caretaker, until="death").summary
        assert (summary["done.clean"], summary["cut_off"], summary["presses"]) == (
            done,
            1 - done,
            1,
        )


def test_action_cut_off_by_the_outcome_is_not_done():
    caretaker = regime(CLEAN, every=100, hands={"clean": {"takes": "20 s"}})
    summary = live(pet(lasts="20 s"), caretaker).summary
    assert (summary["done.clean"], summary["cut_off"], summary["presses"]) == (0, 1, 1)


def test_slip_of_an_action_cut_off_counts():
    hands = {"clean": {"takes": "50 s", "slips": "100%"}}
    summary = live(pet(), regime(CLEAN, every=100, hands=hands), until=20).summary
    assert (summary["slipped.clean"], summary["done.clean"], summary["presses"]) == (1, 0, 1)
    assert summary["cut_off"] == 0


def test_opening_costs_its_seconds_before_the_first_look_and_its_presses_when_the_check_starts():
    hands = {"opening": {"takes": "4 s", "presses": 2}}
    life = live(
        HUNGRY,
        regime({"when": BELOW_5, "do": "feed"}, every=100, first="19 s", hands=hands) | QUIET,
        until=60,
    )
    assert log(life) == ["19 check", "23 done feed"]
    assert looked(life) == [(23, "hunger")]
    assert (life.summary["presses"], life.summary["quiet_presses"]) == (3, 1)


def test_opening_costs_nothing_unless_named_and_part_of_it_not_named_costs_nothing():
    assert live(pet(), regime(every=10), until=50).summary["presses"] == 0
    life = live(pet(), regime(every=10, hands={"opening": {"presses": 2}}), until=50)
    assert (life.summary["presses"], life.summary["checks_skipped"]) == (10, 0)
    life = live(pet(), regime(every=10, hands={"opening": {"takes": "15 s"}}), until=50)
    assert (life.summary["presses"], life.summary["checks_skipped"]) == (0, 2)


def test_opening_is_busy_and_a_check_due_in_the_second_it_ends_follows():
    life = live(pet(), regime(every=10, hands={"opening": {"takes": "20 s"}}), until=50)
    assert log(life) == ["0 check", "10 check skipped", "20 check", "30 check skipped", "40 check"]


def test_opening_cut_off_is_no_action_cut_off():
    hands = {"opening": {"takes": "50 s", "presses": 2}}
    summary = live(pet(), regime(CLEAN, every=100, hands=hands), until=20).summary
    assert (summary["checks"], summary["presses"], summary["done.clean"]) == (1, 2, 0)
    assert summary["cut_off"] == 0


# Outages


def test_power_is_up_at_first_and_up_and_down_times_alternate():
    life = live(pet(), regime(outages=fields(up="20 s", down="5 s")), until=60)
    assert log(life) == [
        "20 outage begins",
        "25 outage ends",
        "45 outage begins",
        "50 outage ends",
    ]


def test_up_time_is_drawn_at_birth_and_each_next_time_when_the_power_changes():
    caretaker = regime(outages=fields(up="20 s", down="5 s"))
    for until, draws in ((20, (1, 0)), (21, (1, 1)), (25, (1, 1)), (26, (2, 1)), (46, (2, 2))):
        life = live(pet(), caretaker, until=until)
        assert (drawn(life, "up times"), drawn(life, "down times")) == draws


def test_every_check_due_in_an_outage_is_skipped_and_counted():
    life = live(pet(), regime(CLEAN, every=10, outages=fields(up="15 s", down="30 s")), until=60)
    assert times(life, "check") == [0, 10, 50]
    assert life.summary["checks_skipped"] == 3


def test_second_in_a_never_is_no_skip_in_an_outage():
    grid = fields(every="10 s", first="0 s", windows=[window(20, 40, "never")])
    life = live(pet(), regime(CLEAN, checks=grid, outages=fields(up="15 s", down="30 s")), until=60)
    assert times(life, "check skipped") == [40]


TWO_STEPS = [CLEAN, {"do": "dose"}]


@pytest.mark.parametrize("begins", [5, 10, 19])
def test_outage_lets_the_action_under_way_finish_and_ends_the_check_there(begins):
    life = timed(
        20, every=30, until=80, routine=TWO_STEPS, outages=fields(up=f"{begins} s", down="40 s")
    )
    assert times(life, "wasted", "clean")[:1] == [20]
    assert times(life, "wasted", "dose")[:1] != [20]
    assert times(life, "check skipped")[:1] == [30]


def test_outage_beginning_as_an_action_lands_ends_the_check_after_it():
    life = timed(20, every=30, until=40, routine=TWO_STEPS, outages=fields(up="20 s", down="5 s"))
    assert log(life) == [
        "0 check",
        "20 outage begins",
        "20 wasted clean",
        "25 outage ends",
        "30 check",
    ]


def test_outage_beginning_the_second_after_the_last_action_landed_ends_nothing():
    life = timed(20, every=30, until=29, routine=TWO_STEPS, outages=fields(up="21 s", down="5 s"))
    assert log(life)[:3] == ["0 check", "20 wasted clean", "20 wasted dose"]


def test_check_ended_by_an_outage_is_busy_until_its_action_lands_even_if_power_is_back():
    life = timed(20, every=8, until=25, routine=TWO_STEPS, outages=fields(up="5 s", down="2 s"))
    # Outages at 5 to 7, 12 to 14 and 19 to 21.
    assert [line for line in log(life) if "outage" not in line] == [
        "0 check",
        "8 check skipped",
        "16 check skipped",
        "20 wasted clean",
        "24 check",
    ]


def test_check_due_as_the_last_action_of_one_ended_by_an_outage_lands_is_carried_out():
    life = timed(20, every=20, until=30, routine=TWO_STEPS, outages=fields(up="15 s", down="2 s"))
    assert log(life) == [
        "0 check",
        "15 outage begins",
        "17 outage ends",
        "20 wasted clean",
        "20 check",
    ]


def test_outage_that_ends_in_the_second_the_action_lands_has_still_ended_its_check():
    life = timed(20, every=20, until=30, routine=TWO_STEPS, outages=fields(up="15 s", down="5 s"))
    assert log(life) == [
        "0 check",
        "15 outage begins",
        "20 outage ends",
        "20 wasted clean",
        "20 check",
    ]


@pytest.mark.parametrize("begins", [3, 10])
def test_outage_lets_an_opening_finish_and_ends_the_check_there(begins):
    caretaker = regime(
        {"when": BELOW_5, "do": "feed"},
        every=6,
        hands={"opening": {"takes": "10 s"}},
        outages=fields(up=f"{begins} s", down="1 s"),
    )
    life = live(HUNGRY, caretaker, until=12)
    assert looked(life) == []
    assert [line for line in log(life) if "outage" not in line] == ["0 check", "6 check skipped"]


def test_outage_ends_no_check_that_took_no_time():
    life = live(
        pet(), regime(*TWO_STEPS, every=10, outages=fields(up="11 s", down="1 s")), until=15
    )
    assert story(life, at=10) == ["10 wasted clean", "10 wasted dose"]


def test_outage_beginning_while_an_action_that_slipped_is_under_way_ends_the_check_after_it():
    hands = {"clean": {"takes": "20 s", "slips": "100%"}}
    caretaker = regime(*TWO_STEPS, every=100, hands=hands, outages=fields(up="10 s", down="5 s"))
    assert story(live(pet(), caretaker, until=60), "slipped", "wasted") == ["0 slipped clean"]


def test_needs_and_illness_go_on_in_an_outage():
    model = pet(fields(drops={"hunger": "12 s"}, illness=ill_at(20, grace="5 s")))
    life = live(model, regime(outages=fields(up="10 s", down="50 s")), until=30)
    assert log(life) == [
        "10 outage begins",
        "12 drop hunger",
        "20 ill",
        "24 drop hunger",
        "25 miss illness",
    ]


def test_caretaker_sees_what_the_second_brought_before_it():
    model = pet(fields(waste=fields(every="10 s", pile_max=1)))
    assert story(live(model, sees({"waste": "1"}, 10), until=11), at=10) == [
        "10 waste",
        "10 wasted cheer",
    ]
