"""Forgotten checks, clock times, and checks that come late or not at all, on tiny lives."""

from __future__ import annotations

import math

import pytest

from petsim.life.streams import uniform
from tests.life.worlds import (
    drawn,
    errors,
    fields,
    live,
    needs,
    pet,
    regime,
    seconds,
    seed_where,
    span,
    story,
    times,
)

CLEAN = {"do": "clean"}
EMPTY_AT_10 = pet(fields(drops={"hunger": "10 s"}), needs=needs(hunger=1))
HEARS = {"hears": "100%", "reacts in": "20 s"}
"""With the pet above, a check that is heard comes at 30."""
KINDS = ("check", "check skipped", "check forgotten")


def checks(model=None, until=80, seed=0, routine=(CLEAN,), **more):
    """The life of a pet under checks given by their fields; and hands, outages and listening."""
    others = {name: more.pop(name) for name in ("hands", "outages", "listens") if name in more}
    caretaker = regime(*routine, checks=fields(**more), **others)
    return live(model or pet(), caretaker, until=until, seed=seed)


def came(*args, **named):
    """All checks of such a life that came, in lines such as `10 check`."""
    return story(checks(*args, **named), *KINDS)


def log(life):
    """All the log but the birth."""
    return story(life, *{e.event for e in life.entries})[1:]


def never(start, end):
    return {"during": span(start, end), "every": "never"}


def forgetful(start, end, forgets="100%", **every):
    return {"during": span(start, end), "forgets": forgets, **every}


def busy(takes):
    """Hands that take so many seconds to clean."""
    return {"clean": {"takes": seconds(takes)}}


# Forgetting

EVERY_10 = fields(every="10 s", first="0 s")


def test_forgotten_check_is_not_opened_and_counts_as_forgotten_only():
    hands = {"opening": {"takes": "3 s", "presses": 2}}
    life = checks(until=25, forgets="100%", hands=hands, **EVERY_10)
    assert log(life) == ["0 check forgotten", "10 check forgotten", "20 check forgotten"]
    summary = life.summary
    counts = [summary[name] for name in ("checks", "checks_skipped", "checks_forgotten")]
    assert counts == [0, 0, 3]
    assert (summary["presses"], life.sights) == (0, ())


def test_forgetting_is_one_trial_a_check_of_a_used_up_threshold():
    forgot, thresholds = errors("forgets", [0.3] * 50)
    life = checks(until=500, forgets="30%", **EVERY_10)
    assert times(life, "check forgotten") == [10 * k for k in range(50) if forgot[k]]
    assert times(life, "check") == [10 * k for k in range(50) if not forgot[k]]
    assert drawn(life, "forgets") == thresholds
    assert 5 < sum(forgot) < 30


def test_check_that_comes_while_another_goes_on_is_skipped_without_a_trial():
    life = checks(until=35, windows=[forgetful(5, 100)], hands=busy(25), **EVERY_10)
    assert log(life) == [
        "0 check",
        "10 check skipped",
        "20 check skipped",
        "25 wasted clean",
        "30 check forgotten",
    ]
    # the threshold of the check at 30, and the next as it erred
    assert drawn(life, "forgets") == 2


def test_check_that_comes_in_an_outage_is_skipped_without_a_trial():
    outages = fields(up="5 s", down="20 s")
    life = checks(until=35, forgets="100%", outages=outages, **EVERY_10)
    assert story(life, *KINDS) == [
        "0 check forgotten",
        "10 check skipped",
        "20 check skipped",
        "30 check skipped",  # the second outage began at 30
    ]
    assert drawn(life, "forgets") == 2


def test_what_is_under_way_goes_on_before_a_check_of_that_second_is_forgotten():
    life = checks(until=21, every="20 s", first="0 s", windows=[forgetful(5, 100)], hands=busy(20))
    assert log(life) == ["0 check", "20 wasted clean", "20 check forgotten"]


def test_forgotten_check_is_not_under_way():
    life = checks(until=21, windows=[forgetful(0, 5)], hands=busy(10), **EVERY_10)
    assert log(life) == ["0 check forgotten", "10 check", "20 wasted clean", "20 check"]


def test_second_in_a_never_is_no_check_to_forget():
    life = checks(until=45, forgets="50%", windows=[never(5, 35)], **EVERY_10)
    assert len(story(life, *KINDS)) == 2
    assert times(checks(until=45, forgets="100%", windows=[never(5, 35)], **EVERY_10),
                 "check forgotten") == [0, 40]  # fmt: skip


def test_heard_check_is_never_forgotten():
    life = checks(EMPTY_AT_10, every="never", first="0 s", forgets="100%", listens=HEARS)
    assert story(life, *KINDS) == ["30 check"]
    assert drawn(life, "forgets") == 0


def test_check_of_the_grid_is_not_forgotten_in_a_second_in_which_a_heard_one_comes():
    life = checks(EMPTY_AT_10, until=45, every="15 s", first="0 s", forgets="100%", listens=HEARS)
    assert story(life, *KINDS) == ["0 check forgotten", "15 check forgotten", "30 check"]
    # one of each check that was forgotten, and the first
    assert drawn(life, "forgets") == 3


def test_heard_and_grid_check_of_one_second_are_skipped_together_and_not_forgotten():
    outages = fields(up="25 s", down="10 s")
    life = checks(EMPTY_AT_10, until=45, every="30 s", first="0 s", forgets="100%",
                  listens=HEARS, outages=outages)  # fmt: skip
    assert story(life, *KINDS) == ["0 check forgotten", "30 check skipped"]


def test_check_forgotten_leaves_a_heard_one_pending():
    life = checks(EMPTY_AT_10, until=45, every="25 s", first="0 s", forgets="100%", listens=HEARS)
    assert story(life, *KINDS) == ["0 check forgotten", "25 check forgotten", "30 check"]


def test_window_that_names_only_forgets_does_not_change_when_checks_are_due():
    windows = [forgetful(15, 55), {"during": span(20, 40), "every": "5 s"}]
    life = checks(windows=windows, **EVERY_10)
    assert times(life, "check forgotten") == [20, 25, 30, 35, 40, 50]
    assert times(life, "check") == [0, 10, 60, 70]
    # nor does it keep a later one from letting nothing be due
    assert came(windows=[forgetful(15, 55), never(15, 35)], **EVERY_10) == [
        *("0 check", "10 check", "40 check forgotten", "50 check forgotten"),
        *("60 check", "70 check"),
    ]


def test_window_that_names_only_every_does_not_change_the_chance():
    windows = [{"during": span(20, 40), "every": "5 s"}, forgetful(30, 50)]
    assert times(checks(windows=windows, **EVERY_10), "check forgotten") == [30, 35, 40]
    life = checks(windows=windows[:1], forgets="100%", **EVERY_10)
    assert len(times(life, "check forgotten")) == 10


def test_first_window_that_holds_and_names_forgets_gives_the_chance():
    windows = [forgetful(20, 40, "0%"), forgetful(10, 60, every="20 s"), forgetful(0, 100, "0%")]
    life = checks(forgets="100%", windows=windows, **EVERY_10)
    # due every 20 s from 10 to 60
    assert story(life, *KINDS) == [
        *("0 check", "20 check", "40 check forgotten", "60 check", "70 check"),
    ]


def test_chance_of_0_is_no_trial_and_leaves_the_threshold_as_it_is():
    chances = [0.0 if 10 <= k < 30 else 0.2 for k in range(60)]
    forgot, thresholds = errors("forgets", chances)
    life = checks(until=600, forgets="20%", windows=[forgetful(100, 300, "0%")], **EVERY_10)
    assert times(life, "check forgotten") == [10 * k for k in range(60) if forgot[k]]
    assert drawn(life, "forgets") == thresholds


def test_window_of_forgetting_stops_no_heard_check_and_hides_no_never():
    heard = fields(every="never", first="0 s", listens=HEARS, until=40)
    assert came(EMPTY_AT_10, windows=[forgetful(25, 35)], **heard) == ["30 check"]
    assert came(EMPTY_AT_10, windows=[forgetful(25, 35), never(25, 35)], **heard) == []


def test_jittered_check_is_forgotten_by_the_chance_of_the_second_in_which_it_comes():
    seed = seed_where(lambda s: math.floor(uniform(s, "jitter", 0, 1) * 6) == 4)
    for window, forgotten in ((forgetful(10, 14), []), (forgetful(14, 15), [14])):
        life = checks(until=20, seed=seed, jitter="5 s", windows=[window], **EVERY_10)
        assert times(life, "check forgotten") == forgotten


# Clock times


def test_check_is_due_at_each_clock_time_in_second_0_too():
    at = ["00:00", "00:00:20", "00:01:10", "23:59:50"]
    assert times(checks(until=86_500, at=at), "check") == [
        0,
        20,
        70,
        86_390,
        86_400,
        86_420,
        86_470,
    ]


def test_clock_time_may_name_weekdays():
    at = ["10:00 on weekdays", "11:00 on Sat-Mon", "12:00 on Tue"]
    hour, day = 3600, 86_400
    life = checks(pet(begins="Friday 10:00"), until=7 * day, at=at)
    # from Friday 10:00, itself one of them, to Friday 10:00, which is no more
    assert times(life, "check") == [
        0,
        day + hour,
        2 * day + hour,
        3 * day,
        3 * day + hour,
        4 * day,
        4 * day + 2 * hour,
        5 * day,
        6 * day,
    ]


def test_clock_time_of_one_weekday_comes_once_a_week_whenever_the_life_begins():
    for begins, first in (
        ("Sunday 23:59:59", 2),
        ("Monday 00:00:01", 0),
        ("Monday 00:00:02", 604_799),
    ):
        life = checks(pet(begins=begins), until=604_802, at=["00:00:01 on Mon"])
        assert times(life, "check") == [t for t in (first, first + 604_800) if t < 604_802]


def test_two_clock_times_of_one_second_are_one():
    life = checks(until=60, at=["00:00:30", "00:00:30 on Mon", "00:00:30"])
    assert times(life, "check") == [30]


def test_no_clock_time_is_due_in_a_never():
    at = ["00:00:10", "00:00:20", "00:00:30"]
    life = checks(at=at, windows=[never(20, 30)])
    assert story(life, *KINDS) == ["10 check", "30 check"]
    # neither is a second in a never a skip
    life = checks(at=at, windows=[never(20, 30)], outages=fields(up="5 s", down="1 h"))
    assert times(life, "check skipped") == [10, 30]


def test_clock_times_draw_nothing_and_go_by_no_stage():
    life = checks(pet(egg="15 s", lasts="10 s"), at=["00:00:10", "00:00:20", "00:00:30"])
    assert times(life, "check") == [10, 20, 30]
    assert drawn(life, "first check") == 0


def test_clock_time_in_the_second_of_a_growth_comes_once():
    assert times(checks(pet(lasts="20 s"), at=["00:00:20"]), "check") == [20]


def test_heard_check_beside_clock_times_is_stopped_by_a_never_alone():
    heard = fields(at=["00:00:12"], listens=HEARS, until=40)
    assert came(EMPTY_AT_10, **heard) == ["12 check", "30 check"]
    assert came(EMPTY_AT_10, windows=[never(30, 31)], **heard) == ["12 check"]


def test_check_at_a_clock_time_may_be_forgotten():
    at = ["00:00:10", "00:00:20", "00:00:30"]
    assert came(at=at, windows=[forgetful(15, 25)]) == [
        "10 check",
        "20 check forgotten",
        "30 check",
    ]


AT = {"at": ["00:00", "00:00:20", "00:00:40", "00:01"]}


def jitter(seed, k, most=19):
    return math.floor(uniform(seed, "jitter", 0, k) * (most + 1))


def test_jitter_makes_each_clock_time_late_numbered_by_those_that_are_due():
    windows = [never(20, 21)]
    for seed in range(5):
        # what would come in the never is dropped, but none is late by 20 s
        expected = [due + jitter(seed, k) for k, due in enumerate((0, 40, 60))]
        life = checks(seed=seed, until=79, jitter="19 s", windows=windows, **AT)
        assert times(life, "check") == [t for t in expected if t < 79]
        assert drawn(life, "jitter") == 3


def test_jittered_clock_time_that_comes_in_a_never_is_dropped_uncounted():
    seed = seed_where(lambda s: jitter(s, 0) < 5 and jitter(s, 1) == 12)
    life = checks(seed=seed, until=40, jitter="19 s", windows=[never(30, 35)], **AT)
    assert story(life, *KINDS) == [f"{jitter(seed, 0)} check"]
    assert came(seed=seed, until=40, jitter="19 s", **AT)[1:] == ["32 check"]


# Lateness


def late(seed, k, most=30):
    """By how much the due check of a number is late, uniform from 0 s."""
    return math.floor(uniform(seed, "late", 0, k) * most + 0.5)


@pytest.mark.parametrize("seed", range(4))
def test_late_check_comes_by_its_own_draw_after_it_is_due_or_at_once(seed):
    life = checks(seed=seed, until=400, late="uniform 0 s to 2 s", **EVERY_10)
    delays = [late(seed, k, 2) for k in range(40)]
    assert {*delays} == {0, 1, 2}
    assert times(life, "check") == [10 * k + delay for k, delay in enumerate(delays)]
    assert drawn(life, "late") == 40


def test_lateness_is_drawn_in_the_second_in_which_the_check_is_due():
    for until, draws in ((10, 1), (11, 2)):
        assert drawn(checks(until=until, late="5 s", **EVERY_10), "late") == draws


def test_late_check_that_has_not_come_by_the_second_in_which_the_next_is_due_is_given_up():
    life = checks(until=45, late="25 s", **EVERY_10)
    assert log(life) == [f"{t} check skipped" for t in (10, 20, 30, 40)]
    assert (life.summary["checks_skipped"], life.summary["checks"]) == (4, 0)


def test_late_check_still_comes_in_the_second_in_which_the_next_is_due():
    life = checks(until=45, late="10 s", **EVERY_10)
    assert log(life)[::2] == ["10 check", "20 check", "30 check", "40 check"]
    assert life.summary["checks_skipped"] == 0


def test_late_check_and_one_due_and_on_time_in_one_second_are_one():
    seed = seed_where(lambda s: late(s, 0) == 10 and late(s, 1) == 0)
    life = checks(seed=seed, until=20, late="uniform 0 s to 30 s", **EVERY_10)
    assert story(life, *KINDS) == ["10 check"]
    assert drawn(life, "late") == 2


def test_check_is_given_up_before_the_one_for_which_it_is_comes_in_the_same_second():
    seed = seed_where(lambda s: late(s, 0) > 10 and late(s, 1) == 0)
    life = checks(seed=seed, until=20, late="uniform 0 s to 30 s", **EVERY_10)
    assert log(life) == ["10 check skipped", "10 check", "10 wasted clean"]
    assert (life.summary["checks_skipped"], life.summary["checks"]) == (1, 1)


def test_check_is_given_up_before_one_that_is_forgotten_or_skipped_in_the_same_second():
    seed = seed_where(lambda s: late(s, 0) > 10 and late(s, 1) == 0)
    grid = fields(seed=seed, until=20, late="uniform 0 s to 30 s", **EVERY_10)
    assert came(forgets="100%", **grid) == ["10 check skipped", "10 check forgotten"]
    outages = fields(up="5 s", down="1 h")
    assert came(outages=outages, **grid) == ["10 check skipped"] * 2


def test_check_is_given_up_in_an_outage_as_ever():
    outages = fields(up="5 s", down="1 h")
    life = checks(until=35, late="25 s", outages=outages, **EVERY_10)
    assert log(life) == ["5 outage begins", *(f"{t} check skipped" for t in (10, 20, 30))]


def test_check_is_given_up_while_another_goes_on_as_ever():
    # heard at 30, it goes on until 42
    life = checks(EMPTY_AT_10, until=55, every="20 s", first="0 s", late="35 s", hands=busy(12),
                  listens=HEARS)  # fmt: skip
    assert log(life)[1:] == [
        *("20 check skipped", "30 check", "40 check skipped", "42 wasted clean"),
    ]


def test_what_is_under_way_goes_on_before_a_check_is_given_up():
    life = checks(EMPTY_AT_10, until=45, every="40 s", first="0 s", late="55 s", hands=busy(10),
                  listens=HEARS)  # fmt: skip
    assert log(life)[1:] == ["30 check", "40 wasted clean", "40 check skipped"]


def test_check_is_given_up_before_a_heard_one_comes_in_that_second():
    life = checks(EMPTY_AT_10, until=35, every="30 s", first="0 s", late="55 s", listens=HEARS)
    assert log(life)[1:] == ["30 check skipped", "30 check", "30 wasted clean"]


def test_heard_check_leaves_a_late_one_on_its_way():
    life = checks(EMPTY_AT_10, until=45, every="100 s", first="0 s", late="40 s", listens=HEARS)
    assert story(life, *KINDS) == ["30 check", "40 check"]


def test_late_and_heard_check_of_one_second_are_one_that_is_not_forgotten():
    life = checks(EMPTY_AT_10, until=45, every="100 s", first="0 s", late="30 s", forgets="100%",
                  listens=HEARS)  # fmt: skip
    assert story(life, *KINDS) == ["30 check"]


def test_late_check_that_comes_in_a_never_is_dropped_uncounted():
    assert came(until=90, every="100 s", first="0 s", late="25 s", windows=[never(25, 26)]) == []
    assert came(until=90, every="100 s", first="0 s", late="25 s", windows=[never(24, 25)]) == [
        "25 check"
    ]


def test_late_check_that_comes_when_the_default_is_never_is_dropped_uncounted():
    windows = [{"during": span(0, 15), "every": "10 s"}]
    life = checks(every="never", first="0 s", late="25 s", windows=windows)
    # the one due at 0 is given up at 10, and that one would come at 35
    assert (story(life, *KINDS), drawn(life, "late")) == (["10 check skipped"], 2)


def test_late_check_that_is_dropped_in_a_never_is_tested_before_outage_and_busy():
    windows = [never(25, 26)]
    outages = fields(up="20 s", down="10 s")
    grid = fields(until=29, every="100 s", first="0 s", late="25 s", windows=windows)
    assert came(outages=outages, **grid) == []


def test_second_in_a_never_is_no_due_check_and_gives_none_up():
    life = checks(until=60, late="25 s", windows=[never(5, 25)], **EVERY_10)
    # due at 0, then at 30, 40 and 50, each given up for the next
    assert story(life, *KINDS) == ["25 check", "40 check skipped", "50 check skipped"]
    assert drawn(life, "late") == 4


def test_late_draws_are_numbered_by_due_checks_whether_they_come_or_not():
    seed, most = 3, 15
    life = checks(seed=seed, until=1000, late=f"uniform 0 s to {most} s", **EVERY_10)
    expected, on_its_way = [], None
    for k in range(100):
        due = 10 * k
        if on_its_way is not None and on_its_way <= due:
            expected.append((on_its_way, "check"))
        elif on_its_way is not None:
            expected.append((due, "check skipped"))
        on_its_way = due + late(seed, k, most)
    if on_its_way < 1000:
        expected.append((on_its_way, "check"))
    # one that comes as the next is due and on time is one with it
    assert sorted({*expected}) == sorted((e.t, e.event) for e in life.entries if e.event in KINDS)
    assert 20 < life.summary["checks_skipped"] < 60


def test_late_check_has_the_chance_to_be_forgotten_of_the_second_in_which_it_comes():
    grid = fields(until=50, every="100 s", first="0 s", late="25 s")
    assert came(windows=[forgetful(0, 25)], **grid) == ["25 check"]
    assert came(windows=[forgetful(25, 26)], **grid) == ["25 check forgotten"]


def test_late_check_is_skipped_by_an_outage_or_another_check_in_the_second_it_comes():
    grid = fields(until=50, every="100 s", first="0 s", late="25 s")
    assert came(outages=fields(up="25 s", down="1 s"), **grid) == ["25 check skipped"]
    assert came(outages=fields(up="20 s", down="5 s"), **grid) == ["25 check"]
    life = checks(EMPTY_AT_10, until=50, every="100 s", first="0 s", late="35 s", listens=HEARS,
                  hands=busy(6))  # fmt: skip
    assert story(life, *KINDS) == ["30 check", "35 check skipped"]


def test_late_check_at_a_clock_time_comes_or_is_given_up_for_the_next():
    # due at 0, 20, 40 and 60
    given_up = ["20 check skipped", "40 check skipped", "60 check skipped"]
    assert came(until=91, late="30 s", **AT) == [*given_up, "90 check"]
    assert came(until=91, late="15 s", windows=[never(20, 36)], **AT) == [
        *("15 check", "55 check", "75 check"),
    ]
    # due at 0, it would come in the never, in which nothing is due for which to give it up
    assert came(until=91, late="30 s", windows=[never(20, 60)], **AT) == ["90 check"]


def test_late_check_on_its_way_outlives_growth():
    assert came(pet(lasts="10 s"), until=30, every="100 s", first="0 s", late="25 s") == [
        "25 check"
    ]


def test_lateness_of_many_years_is_on_its_way_for_good():
    life = checks(until=90, every="100 s", first="0 s", late=f"{2**53} s")
    assert story(life, *KINDS) == []
