"""Seconds, clocks, the order of one second, and what a life reports, each rule on a tiny life."""

import pytest

from petsim.errors import SpecError
from petsim.life.streams import uniform
from tests.life.worlds import (
    acting,
    care,
    drawn,
    fields,
    gaps,
    ill_at,
    live,
    needs,
    pet,
    regime,
    seconds,
    seed_where,
    span,
    story,
    times,
    values,
)

DEADLINES = {
    "hunger": (
        pet(fields(grace={"hunger": "30 s"}), needs=needs(hunger_starts=0)),
        "feed",
        30,
    ),
    "waste": (
        pet(fields(waste=fields(every="20 s", pile_max=1, grace="30 s"))),
        "clean",
        50,
    ),
    "illness": (pet(fields(illness=ill_at(20, grace="30 s"))), "dose", 50),
    "lights": (pet(fields(sleeps=[span(20, 90)], lights_grace="30 s")), "lights_off", 50),
}


# Clocks and windows


def checks_in(window, begins=None, until=10):
    """The checks, one a second, that a check window allows."""
    model = pet()
    if begins is None:
        del model["begins"]
    else:
        model["begins"] = begins
    checks = {
        "every": "never",
        "first": "0 s",
        "windows": [{"during": window, "every": "1 s"}],
    }
    return times(live(model, regime(checks=checks), until), "check")


def test_a_life_begins_at_nine_on_a_monday_unless_the_model_says_otherwise():
    assert checks_in("09:00:03 to 09:00:05 on Mon") == [3, 4]
    assert checks_in("09:00:03 to 09:00:05 on Tue") == []
    assert checks_in("10:30:03 to 10:30:05 on Wed", begins="Wednesday 10:30") == [3, 4]


def test_weekday_turns_at_midnight():
    assert checks_in("00:00 to 24:00 on Tue", begins="Monday 23:59:55") == [5, 6, 7, 8, 9]


def test_week_turns_after_sunday():
    assert checks_in("00:00 to 24:00 on Mon", begins="Sunday 23:59:55") == [5, 6, 7, 8, 9]


@pytest.mark.parametrize(
    ("x", "whole"), [(0.2, 1), (0.5, 1), (1.4, 1), (1.5, 2), (2.4, 2), (2.5, 3), (3.5, 4)]
)
def test_sampled_duration_is_rounded_half_up_and_at_least_a_second(x, whole):
    life = live(pet(fields(drops={"hunger": f"fixed {x} s"})), until=20)
    assert times(life, "drop")[:2] == [whole, 2 * whole]


def test_window_holds_from_its_first_second_to_the_one_before_its_last():
    life = live(pet(fields(sleeps=[span(10, 20)])), until=60)
    assert story(life) == ["0 birth sprig", "10 asleep", "20 awake"]


def test_window_whose_from_is_later_than_its_to_spans_midnight():
    model = pet(fields(sleeps=["23:59:50 to 00:00:10"]), begins="Monday 23:59:00")
    assert story(live(model, until=200)) == ["0 birth sprig", "50 asleep", "70 awake"]


def test_window_of_no_length_is_refused():
    with pytest.raises(SpecError):
        live(pet(fields(sleeps=["10:00 to 10:00"])), until=10)


def test_weekday_of_a_window_that_spans_midnight_is_that_of_its_opening():
    window = "23:59:57 to 00:00:02 on Mon"
    assert checks_in(window, begins="Monday 23:59:55") == [2, 3, 4, 5, 6]
    assert checks_in(window, begins="Sunday 23:59:55") == []


def test_twenty_four_hours_is_allowed_as_the_end_of_a_window():
    model = pet(fields(sleeps=["23:59:50 to 24:00"]), begins="Monday 23:59:00")
    assert story(live(model, until=100), "asleep", "awake") == ["50 asleep", "60 awake"]


def test_twenty_four_hours_is_refused_as_the_start_of_a_window():
    with pytest.raises(SpecError):
        live(pet(fields(sleeps=["24:00 to 07:00"])), until=10)


def test_sleep_window_may_not_name_weekdays():
    with pytest.raises(SpecError):
        live(pet(fields(sleeps=["10:00 to 11:00 on Mon"])), until=10)


def test_quiet_hours_may_name_weekdays():
    caretaker = regime(
        {"do": "clean"},
        every=10,
        quiet_hours=[span(0, 30) + " on Tue", span(30, 60) + " on Mon"],
    )
    assert live(pet(), caretaker, until=60).summary["quiet_presses"] == 3


@pytest.mark.parametrize(("grace", "hour"), [(59, "09"), (60, "10")])
def test_hour_of_day_is_that_of_the_events_own_second(grace, hour):
    model = pet(
        fields(grace={"hunger": seconds(grace)}),
        needs=needs(hunger_starts=0),
        begins="Monday 09:59:00",
    )
    summary = live(model, until=100).summary
    counts = {h: summary[f"misses_at.{h:02}"] for h in range(24)}
    assert {h: n for h, n in counts.items() if n} == {int(hour): 1}


# The span of a life


def test_nothing_due_at_the_horizon_happens():
    model = pet(fields(drops={"hunger": "10 s"}), lasts="20 s")
    caretaker = regime({"do": "clean"}, every=5)
    assert story(live(model, caretaker, until=10), at=10) == []
    assert times(live(model, caretaker, until=10), "check") == [0, 5]
    assert story(live(model, caretaker, until=11), "drop") == ["10 drop hunger"]
    assert times(live(model, until=20), "growth") == []
    assert live(model, until=10).summary["end_s"] == 10


def test_seconds_of_all_levels_sum_to_the_life_and_a_change_counts_from_its_second_on():
    model = pet(fields(drops={"hunger": "10 s"}, fatal_after={"hunger": "25 s"}), needs=needs(2, 3))
    summary = live(model, until="death").summary
    assert [summary[f"level_s.hunger.{level}"] for level in (2, 1, 0)] == [10, 10, 25]
    assert [summary[f"level_s.mood.{level}"] for level in (3, 2, 1, 0)] == [45, 0, 0, 0]
    assert summary["end_s"] == 45


def test_an_action_changes_a_level_from_the_second_it_lands():
    caretaker = regime({"do": "feed"}, every=1000, first="10 s", hands={"feed": {"takes": "7 s"}})
    summary = live(pet(needs=needs(hunger_starts=4)), caretaker, until=50).summary
    assert (summary["level_s.hunger.4"], summary["level_s.hunger.5"]) == (17, 33)


def test_seconds_asleep_and_ill_are_half_open():
    model = pet(fields(sleeps=[span(10, 25)], illness=ill_at(20)))
    summary = live(model, acting((33, "dose")), until=34).summary
    assert (summary["asleep_s"], summary["ill_s"]) == (15, 13)


def test_sleep_at_the_end_counts_up_to_the_horizon():
    assert live(pet(fields(sleeps=[span(10, 100)])), until=40).summary["asleep_s"] == 30


def test_durations_and_waits_are_cut_at_2_to_the_53_seconds():
    seed = seed_where(lambda s: uniform(s, "growth", 0, 1) > 0.7)
    never_ill = fields(illness=fields(base=f"0.{'0' * 30}1 per day"))
    model = pet({}, never_ill, lasts="10 s", adult_lasts="lognormal median 365 days sigma 50")
    life = live(model, until="death", seed=seed)
    end = 10 + 2**53
    assert story(life)[2:] == [f"{end} ill", f"{end} death old age"]
    assert life.summary["end_s"] == end


# The order of one second


def test_growth_comes_before_falling_asleep():
    model = pet(fields(sleeps=[span(30, 60)]), fields(sleeps=[span(30, 60)]), lasts="30 s")
    assert story(live(model, until=40), at=30) == ["30 growth tree", "30 asleep"]


def test_growth_comes_before_waking():
    model = pet(fields(sleeps=[span(30, 60)]), fields(sleeps=[span(30, 60)]), lasts="60 s")
    assert story(live(model, until=70), at=60) == ["60 growth tree", "60 awake"]


def test_growth_comes_before_what_is_due_in_its_second_and_draws_it_anew():
    rates = fields(
        drops={"hunger": "10 s"},
        waste=fields(every="10 s", pile_max=3),
        misbehaviour=fields(every="10 s", window="5 s"),
    )
    life = live(pet(rates, rates, lasts="10 s"), until=21)
    assert story(life) == [
        "0 birth sprig",
        "10 growth tree",
        "20 drop hunger",
        "20 waste",
        "20 misbehaves",
    ]


def test_classes_of_one_second_follow_their_order():
    three = needs() | {"company": {"full": 1, "starts": 0}}
    model = pet(
        fields(
            drops={"mood": "50 s", "hunger": "50 s"},
            grace={"company": "50 s"},
            waste=fields(every="50 s", pile_max=3),
            illness=ill_at(50),
            misbehaviour=fields(every="50 s", window="60 s"),
        ),
        needs=three,
    )
    caretaker = regime(
        {"do": "clean"}, every=50, first="50 s", outages=fields(up="50 s", down="9 s")
    )
    assert story(live(model, caretaker, until=51), at=50) == [
        "50 drop hunger",
        "50 drop mood",
        "50 waste",
        "50 ill",
        "50 misbehaves",
        "50 miss company",
        "50 outage begins",
        "50 check skipped",
    ]


def test_deadlines_of_one_second_go_needs_in_order_then_waste_then_illness():
    model = pet(
        fields(
            drops={"hunger": "40 s"},
            grace={"mood": "50 s", "hunger": "10 s"},
            waste=fields(every="30 s", pile_max=9, grace="20 s"),
            illness=ill_at(20, grace="30 s"),
        ),
        needs=needs(hunger=1, mood_starts=0),
    )
    assert story(live(model, until=55), "miss") == [
        "50 miss hunger",
        "50 miss mood",
        "50 miss waste",
        "50 miss illness",
    ]


def test_illness_deadline_comes_before_that_of_the_lights():
    model = pet(
        fields(illness=ill_at(40, grace="10 s"), sleeps=[span(20, 100)], lights_grace="30 s")
    )
    assert story(live(model, until=60), "miss") == ["50 miss illness", "50 miss lights"]


BOTH_FATAL = {
    "hunger": {"full": 5, "starts": 0, "death": "starved"},
    "mood": {"full": 5, "starts": 0, "death": "gloom"},
}


@pytest.mark.parametrize(
    ("cause", "model"),
    [
        ("starved", pet(fields(fatal_after={"mood": "50 s", "hunger": "50 s"}), needs=BOTH_FATAL)),
        (
            "gloom",
            pet(
                fields(fatal_after={"mood": "50 s"}),
                lasts="10 s",
                adult_lasts="40 s",
                needs=BOTH_FATAL,
            ),
        ),
        (
            "gloom",
            pet(
                fields(fatal_after={"mood": "50 s"}, illness=ill_at(20, fatal_after="30 s")),
                needs=BOTH_FATAL,
            ),
        ),
        (
            "untreated illness",
            pet(
                fields(grace={"mood": "50 s"}, illness=ill_at(20, fatal_after="30 s")),
                needs=BOTH_FATAL,
                fatal_misses=1,
            ),
        ),
        (
            "neglect",
            pet(
                fields(grace={"mood": "50 s"}),
                lasts="10 s",
                adult_lasts="40 s",
                needs=BOTH_FATAL,
                fatal_misses=1,
            ),
        ),
    ],
)
def test_deaths_of_one_second_go_needs_illness_neglect_old_age_and_only_one_happens(cause, model):
    life = live(model, until="death")
    assert story(life, "death") == [f"50 death {cause}"]
    assert life.summary["died"] == cause
    assert life.entries[-1].event == "death"


def test_miss_of_the_second_of_death_counts():
    model = pet(
        fields(grace={"hunger": "30 s"}, fatal_after={"hunger": "30 s"}),
        needs=needs(hunger_starts=0),
    )
    life = live(model, until="death")
    assert story(life, at=30) == ["30 miss hunger", "30 death starved"]
    assert life.summary["misses"] == 1


def test_old_age_counts_the_misses_of_its_second():
    model = pet(
        fields(grace={"hunger": "50 s"}),
        lasts="10 s",
        adult_lasts="40 s",
        needs=needs(hunger_starts=0),
    )
    life = live(model, until="death")
    assert story(life, at=50) == ["50 miss hunger", "50 death old age"]
    assert (life.summary["died"], life.summary["misses"]) == ("old age", 1)


def test_what_precedes_class_eight_still_happens_in_the_second_of_old_age():
    model = pet(
        {},
        fields(
            sleeps=[span(20, 50)],
            misbehaviour=fields(every="10 s", window="10 s"),
        ),
        lasts="10 s",
        adult_lasts="40 s",
    )
    # Awake 10 to 20 and from 50 on; the misbehaviour due at 20 waited asleep.
    assert story(live(model, until="death"), at=50) == [
        "50 awake",
        "50 misbehaves",
        "50 death old age",
    ]


def test_death_ends_the_second_before_outages_and_the_caretaker():
    model = pet(fields(fatal_after={"hunger": "30 s"}), needs=needs(hunger_starts=0))
    caretaker = regime({"do": "clean"}, every=10, outages=fields(up="30 s", down="10 s"))
    life = live(model, caretaker, until="death")
    assert [e.event for e in life.entries if e.t == 30] == ["death"]
    assert times(life, "check") == [0, 10, 20]
    assert life.summary["checks_skipped"] == 0


def test_check_due_in_the_second_an_outage_begins_is_skipped_and_in_the_one_it_ends_done():
    caretaker = regime({"do": "clean"}, every=10, outages=fields(up="30 s", down="20 s"))
    life = live(pet(), caretaker, until=65)
    assert times(life, "check") == [0, 10, 20, 50, 60]
    assert story(life, "outage begins", "outage ends", "check", "check skipped")[3:] == [
        "30 outage begins",
        "30 check skipped",
        "40 check skipped",
        "50 outage ends",
        "50 check",
        "60 check",
    ]


@pytest.mark.parametrize("cause", DEADLINES)
def test_action_in_the_second_of_a_deadline_is_too_late(cause):
    model, action, deadline = DEADLINES[cause]
    late = live(model, acting((deadline, action)), until=80)
    assert story(late, at=deadline)[:2] == [f"{deadline} miss {cause}", f"{deadline} done {action}"]
    in_time = live(model, acting((deadline - 1, action)), until=80)
    assert times(in_time, "miss", cause) == []


def test_action_in_the_second_of_death_is_too_late():
    model = pet(fields(fatal_after={"hunger": "30 s"}), needs=needs(hunger_starts=0))
    assert live(model, acting((30, "feed")), until=60).summary["died"] == "starved"
    assert live(model, acting((29, "feed")), until=60).summary["died"] == ""


def test_dose_in_the_second_of_death_by_illness_is_too_late():
    model = pet(fields(illness=ill_at(20, fatal_after="30 s")))
    assert live(model, acting((50, "dose")), until=60).summary["died"] == "untreated illness"
    assert live(model, acting((49, "dose")), until=60).summary["died"] == ""


def test_action_that_lands_later_is_judged_by_the_second_it_lands():
    model, *_ = DEADLINES["hunger"]
    hands = {"feed": {"takes": "5 s"}}
    assert times(live(model, acting((24, "feed"), hands=hands), until=60), "miss") == []
    assert times(live(model, acting((25, "feed"), hands=hands), until=60), "miss") == [30]


def test_what_the_caretaker_causes_falls_due_a_second_later_at_the_earliest():
    model = pet(
        fields(grace={"mood": "1 s"}, again_after={"mood": "1 s"}),
        needs=needs(mood=1),
        discipline=fields(unfair_costs={"mood": 1}),
    )
    life = live(model, acting((5, "reprimand")), until=9)
    assert story(life)[1:] == ["5 unfair reprimand", "6 miss mood", "7 miss mood", "8 miss mood"]


def test_what_is_due_in_the_second_of_the_outcome_does_not_happen_to_a_life_followed_to_it():
    model = pet(
        fields(grace={"hunger": "30 s"}), lasts="30 s", needs=needs(hunger_starts=0), fatal_misses=1
    )
    assert live(model).summary["outcome"] == "tree"
    assert live(model).summary["died"] == ""
    assert live(model, until="death").summary["died"] == "neglect"


# The event log


def test_log_begins_with_birth_and_names_forms():
    life = live(pet(egg="5 s", lasts="10 s"), until=30)
    assert story(life) == ["0 birth seed", "5 growth sprig", "15 growth tree"]


def test_values_of_events_are_those_after_them():
    model = pet(
        fields(
            drops={"hunger": "10 s"},
            waste=fields(every="12 s", pile_max=9),
            grace={"hunger": "5 s"},
            again_after={"hunger": "10 s"},
            illness=ill_at(20, doses={"3": "100%"}),
            misbehaviour=fields(every="10 s", window="5 s"),
        ),
        needs=needs(hunger=2),
        discipline=fields(starts=5, lapse_costs=2),
    )
    life = live(model, until=50)
    assert values(life, "drop") == [1, 0]
    assert values(life, "waste") == [1, 2, 3, 4]
    assert values(life, "miss") == [1, 2, 3]
    assert values(life, "ill") == [3]
    assert values(life, "lapse") == [3, 1, 0]


def test_drop_that_lowers_nothing_and_waste_that_adds_nothing_are_no_events():
    model = pet(
        fields(drops={"hunger": "10 s"}, waste=fields(every="10 s", pile_max=1)),
        needs=needs(hunger=1),
    )
    life = live(model, until=45)
    assert story(life) == ["0 birth sprig", "10 drop hunger", "10 waste"]
    assert (drawn(life, "drops hunger"), drawn(life, "waste")) == (5, 5)


def test_misbehaviour_ended_without_effect_and_calls_and_looks_are_no_events():
    model = pet(
        fields(
            misbehaviour=fields(every="10 s", window="90 s"),
            sleeps=[span(20, 30)],
            drops={"hunger": "15 s"},
        ),
        needs=needs(hunger=1),
    )
    caretaker = regime({"when": {"calling": "yes", "ill": "yes"}, "do": "dose"}, every=1)
    assert story(live(model, caretaker, until=40)) == [
        "0 birth sprig",
        "10 misbehaves",
        "15 drop hunger",
        "20 asleep",
        "30 awake",
    ]


def test_check_dropped_after_its_jitter_is_no_event():
    seed = seed_where(lambda s: uniform(s, "jitter", 0, 0) > 0.9)
    checks = fields(
        every="10 s",
        first="0 s",
        jitter="5 s",
        windows=[{"during": span(1, 10), "every": "never"}],
    )
    # The smallest interval is 10 s: a window's `never` counts for nothing.
    life = live(pet(), regime({"do": "clean"}, checks=checks), until=10, seed=seed)
    assert [e.event for e in life.entries] == ["birth"]


def test_each_action_is_one_event_the_one_that_tells_most():
    model = pet(
        fields(misbehaviour=fields(every="40 s", window="9 s")),
        care=care(
            gamble={"raises": {"hunger": 1}, "works": "0%"},
            fuss={"raises": {"hunger": 1}, "refused when": ["full"]},
        ),
        needs=needs(hunger_starts=4),
    )
    caretaker = acting(
        (5, "gamble"),
        (10, "feed"),
        (15, "feed"),
        (20, "fuss"),
        (25, "reprimand"),
        (30, "cheer"),
        (45, "reprimand"),
        hands={"cheer": {"slips": "100%"}},
    )
    assert story(live(model, caretaker, until=50))[1:] == [
        "5 lost gamble",
        "10 done feed",
        "15 wasted feed",
        "20 refused fuss",
        "25 unfair reprimand",
        "30 slipped cheer",
        "40 misbehaves",
        "45 done reprimand",
    ]


def test_effect_follows_its_cause_in_the_log():
    model = pet(fields(illness=ill_at(20)))
    assert story(live(model, acting((30, "dose")), until=31), at=30) == ["30 done dose", "30 well"]


def test_slip_is_logged_in_the_second_the_action_starts_and_the_rest_where_it_lands():
    hands = {"feed": {"takes": "5 s", "slips": "100%"}, "cheer": {"takes": "5 s"}}
    caretaker = regime({"do": "feed"}, {"do": "cheer"}, every=100, first="10 s", hands=hands)
    life = live(pet(needs=needs(mood_starts=1)), caretaker, until=50)
    assert story(life)[1:] == ["10 slipped feed", "20 done cheer"]


def test_action_cut_off_is_no_event():
    caretaker = regime({"do": "feed"}, every=100, hands={"feed": {"takes": "50 s"}})
    assert story(live(pet(), caretaker, until=50)) == ["0 birth sprig"]


def test_lowering_by_an_unfair_reprimand_is_part_of_its_action():
    model = pet(discipline=fields(unfair_costs={"mood": 2}))
    life = live(model, acting((5, "reprimand")), until=9)
    assert story(life) == ["0 birth sprig", "5 unfair reprimand"]
    assert life.summary["level_s.mood.3"] == 4


def test_log_never_goes_back_in_time():
    life = live("lamplet", "camera-rig", until=86_400, seed=3)
    assert min(gaps([e.t for e in life.entries])) == 0
    assert life.entries[-1].t < 86_400


# The summary


def test_summary_counts_misses_by_cause_form_and_hour():
    rates = fields(
        grace={"hunger": "10 s"},
        again_after={"hunger": "3000 s"},
        waste=fields(every="20 s", pile_max=1, grace="10 s"),
    )
    summary = live(
        pet(rates, rates, lasts="100 s", needs=needs(hunger_starts=0)), until=4000
    ).summary
    assert summary["misses"] == 3
    assert [summary[f"misses.{c}"] for c in ("hunger", "mood", "waste", "illness", "lights")] == [
        2,
        0,
        1,
        0,
        0,
    ]
    assert (summary["misses_in.sprig"], summary["misses_in.tree"]) == (2, 1)
    assert (summary["misses_at.00"], summary["misses_at.01"]) == (3, 0)


def test_summary_counts_actions_presses_and_checks():
    model = pet(
        care=care(gamble={"raises": {"hunger": 1}, "works": "0%"}), needs=needs(hunger_starts=0)
    )
    caretaker = acting(
        (5, "gamble"),
        (10, "clean"),
        (15, "feed"),
        (20, "cheer"),
        hands={"cheer": {"slips": "100%"}},
    )
    summary = live(model, caretaker, until=30).summary
    found = {
        column: summary[column]
        for column in summary
        if column.startswith(("done.", "wasted.", "lost.", "slipped.")) and summary[column]
    }
    assert found == {
        "done.gamble": 1,
        "lost.gamble": 1,
        "done.clean": 1,
        "wasted.clean": 1,
        "done.feed": 1,
        "slipped.cheer": 1,
    }
    assert (summary["presses"], summary["checks"], summary["checks_skipped"]) == (4, 30, 0)


def test_entry_times_tell_the_history_of_forms():
    summary = live(pet(egg="5 s", lasts="10 s"), until=10).summary
    assert [summary[f"entered_s.{f}"] for f in ("seed", "sprig", "tree")] == [0, 5, -1]


def test_life_is_followed_to_its_outcome_to_its_death_or_for_days():
    model = pet(lasts="30 s", adult_lasts="40 s")
    assert live(model).summary["end_s"] == 30
    assert live(model, until="outcome").summary["end_s"] == 30
    assert live(model, until="death").summary["end_s"] == 70
    assert live(model, until=50).summary["end_s"] == 50
