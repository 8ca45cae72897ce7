"""Growth, needs, waste, illness, sleep, misbehaviour and care actions, each rule on a tiny life."""

import math

import pytest

from petsim.life.streams import uniform
from tests.life.worlds import (
    acting,
    base_for,
    care,
    drawn,
    fields,
    ill_at,
    live,
    needs,
    per_day,
    pet,
    regime,
    saw,
    seed_where,
    sees,
    span,
    story,
    times,
    unit_exponential,
    values,
)

CALLING = {"listens": {"hears": "100%", "reacts in": "1 h"}}


# Growth and outcome


def branching(*rules, before="100 s", **model):
    """A sprig that is a shoot for 100 s and then an oak or an elm by these rules for an oak."""
    return pet(model.pop("young", {}), model.pop("adult", {}), **model) | {
        "aim": "oak",
        "forms": {
            "sprig": {"stage": "young", "lasts": before, "grows into": "shoot"},
            "shoot": {
                "stage": "young",
                "lasts": "100 s",
                "grows into": [*({"oak": rule} for rule in rules), {"elm": "otherwise"}],
            },
            "oak": {"stage": "adult", "lasts": "9 days"},
            "elm": {"stage": "adult", "lasts": "9 days"},
        },
    }


ONE_MISS_EACH = fields(grace={"hunger": "10 s"}, again_after={"hunger": "100 s"})
"""Of a hunger that starts at 0: misses at 10, 110, 210, and so on."""


@pytest.mark.parametrize(
    ("rule", "outcome"),
    [
        ({"misses in form": "at most 1"}, "oak"),
        ({"misses in form": "at least 2"}, "elm"),
        ({"misses in form": "1"}, "oak"),
        ({"misses in life": "exactly 2"}, "oak"),
        ({"misses in life": "below 2"}, "elm"),
        ({"misses in life": "above 1"}, "oak"),
        ({"misses in form": {"hunger": "1"}}, "oak"),
        ({"misses in form": {"mood": "at least 1"}}, "elm"),
        ({"misses in life": {"all": "2", "hunger": "2", "waste": "0"}}, "oak"),
        ({"misses in life": {"all": "2", "lights": "1"}}, "elm"),
        ({"discipline": "at least 7"}, "oak"),
        ({"discipline": "above 7"}, "elm"),
        ({"weight": "3"}, "oak"),
        ({"weight": "at least 3", "discipline": "below 7"}, "elm"),
    ],
)
def test_rule_compares_misses_in_form_and_life_of_all_or_one_cause_and_discipline_and_weight(
    rule, outcome
):
    model = branching(
        rule,
        young=ONE_MISS_EACH,
        needs=needs(hunger_starts=0),
        weight={"starts": 3},
        discipline={"starts": 7},
    )
    assert live(model).summary["outcome"] == outcome


def test_first_rule_whose_conditions_all_hold_wins():
    model = branching(weight={"starts": 3})
    model["forms"]["shoot"]["grows into"] = [
        {"elm": {"weight": "at least 3", "discipline": "at least 1"}},
        {"oak": {"weight": "at least 2"}},
        {"elm": {"weight": "at least 1"}},
        {"elm": "otherwise"},
    ]
    assert live(model).summary["outcome"] == "oak"


def test_form_with_no_successor_ends_in_death_of_old_age():
    life = live(pet(lasts="30 s", adult_lasts="40 s"), until="death")
    assert story(life) == ["0 birth sprig", "30 growth tree", "70 death old age"]


def test_form_may_override_rates_of_its_stage_key_by_key():
    model = pet(fields(drops={"hunger": "10 s", "mood": "15 s"}), needs=needs(9, 9))
    model["forms"]["sprig"] |= fields(drops={"hunger": "20 s"})
    assert story(live(model, until=35), "drop") == [
        "15 drop mood",
        "20 drop hunger",
        "30 drop mood",
    ]


def test_form_that_overrides_a_grace_gives_it_to_its_misses():
    model = pet(fields(grace={"hunger": "10 s"}), needs=needs(hunger_starts=0))
    model["forms"]["sprig"] |= fields(grace={"hunger": "20 s"})
    assert times(live(model, until=50), "miss") == [20]


def test_outcome_is_the_first_form_of_the_outcome_stage():
    model = pet(lasts="30 s")
    model["forms"]["tree"] = {"stage": "adult", "lasts": "30 s", "grows into": "snag"}
    model["forms"]["snag"] = {"stage": "adult", "lasts": "30 s"}
    summary = live(model, until="death").summary
    assert (summary["outcome"], summary["died"], summary["end_s"]) == ("tree", "old age", 90)


def test_outcome_of_an_earlier_death_is_its_cause():
    model = pet(fields(fatal_after={"hunger": "30 s"}), needs=needs(hunger_starts=0))
    summary = live(model).summary
    assert (summary["outcome"], summary["died"], summary["end_s"]) == ("starved", "starved", 30)


def test_outcome_at_the_horizon_is_undecided_and_the_pet_is_alive():
    summary = live(pet(), until=30).summary
    assert (summary["outcome"], summary["died"], summary["end_s"]) == ("undecided", "", 30)


def test_life_followed_to_its_outcome_ends_at_class_one_of_that_growth():
    rates = fields(grace={"hunger": "30 s"}, sleeps=[span(30, 60)])
    caretaker = regime({"do": "clean"}, every=30)
    life = live(pet(rates, rates, lasts="30 s", needs=needs(hunger_starts=0)), caretaker)
    assert [e.event for e in life.entries if e.t == 30] == ["growth"]
    assert (life.summary["misses"], life.summary["checks"]) == (0, 1)
    assert (life.summary["end_s"], life.summary["entered_s.tree"]) == (30, 30)


def test_life_ended_by_its_outcome_draws_nothing_for_the_form_it_takes():
    rates = fields(drops={"hunger": "100 s"})
    life = live(pet(rates, rates, lasts="30 s"))
    assert (drawn(life, "growth"), drawn(life, "drops hunger")) == (1, 1)


def test_growth_is_one_draw_per_form_entered():
    assert drawn(live(pet(egg="5 s", lasts="30 s"), until=50), "growth") == 3


def test_form_lasts_on_the_clock_awake_or_asleep():
    # Not among what stands still in sleep.
    life = live(pet(fields(sleeps=[span(10, 90)]), lasts="40 s"), until=50)
    assert times(life, "growth") == [40]


# Birth


def test_birth_draws_raises_weight_and_sleeps_at_once_in_second_zero():
    model = pet(
        fields(weight_min=7, drops={"hunger": "10 s"}, sleeps=["23:00 to 00:00:20"]),
        weight={"starts": 2},
    )
    caretaker = regime(
        {"when": {"weight": "7", "asleep": "yes", "lights": "on"}, "do": "clean"}, every=100
    )
    assert story(live(model, caretaker, until=40)) == [
        "0 birth sprig",
        "0 asleep",
        "0 wasted clean",
        "20 awake",
        "30 drop hunger",
    ]


def test_pet_is_born_awake_with_the_lights_on():
    assert saw(live(pet(), sees({"asleep": "no", "lights": "on"}, 0), until=5))


def test_second_zero_is_swept_so_a_first_check_in_it_is_carried_out():
    assert times(live(pet(), regime({"do": "clean"}, every=10), until=5), "check") == [0]


def test_need_that_starts_at_0_reaches_it_in_second_zero():
    model = pet(fields(grace={"hunger": "20 s"}), needs=needs(hunger_starts=0))
    life = live(model, regime(**CALLING), until=50)
    assert story(life) == ["0 birth sprig", "20 miss hunger"]
    assert drawn(life, "hears") == 1


def test_need_that_starts_at_0_reaches_it_in_the_first_second_that_is_not_dormant():
    model = pet(fields(grace={"hunger": "20 s"}), egg="5 s", needs=needs(hunger_starts=0))
    life = live(model, regime(**CALLING), until=50)
    assert times(life, "miss") == [25]
    assert drawn(life, "hears") == 1
    assert drawn(live(model, regime(**CALLING), until=5), "hears") == 0


def test_need_that_starts_at_0_reaches_it_after_sleep_is_settled():
    model = pet(
        fields(grace={"hunger": "20 s"}, sleeps=[span(0, 30)]), needs=needs(hunger_starts=0)
    )
    life = live(model, regime(**CALLING), until=60)
    assert times(life, "miss") == [50]
    assert drawn(life, "hears") == 0


def test_need_that_starts_at_0_under_a_dormant_root_reaches_it_asleep_if_growth_leads_into_sleep():
    model = pet(
        fields(grace={"hunger": "20 s"}, sleeps=[span(0, 30)]),
        egg="5 s",
        needs=needs(hunger_starts=0),
    )
    life = live(model, regime(**CALLING), until=60)
    assert story(life) == [
        "0 birth seed",
        "5 growth sprig",
        "5 asleep",
        "30 awake",
        "50 miss hunger",
    ]
    assert drawn(life, "hears") == 0


# What growth draws and what carries over


def test_growth_draws_the_next_drop_waste_and_misbehaviour_anew_once_each():
    rates = fields(
        drops={"hunger": "10 s"},
        waste=fields(every="10 s", pile_max=9),
        misbehaviour=fields(every="10 s", window="90 s"),
    )
    life = live(pet(rates, rates, lasts="15 s"), until=26)
    assert story(life) == [
        "0 birth sprig",
        "10 drop hunger",
        "10 waste",
        "10 misbehaves",
        "15 growth tree",
        "25 drop hunger",
        "25 waste",
        "25 misbehaves",
    ]
    # Birth, the drop at 10, growth, the drop at 25.
    assert (drawn(life, "drops hunger"), drawn(life, "waste")) == (4, 4)
    # Birth and growth: the next misbehaviour is drawn when one ends.
    assert (drawn(life, "misbehaviour"), drawn(life, "misbehaviour window")) == (2, 2)


def test_what_a_stage_lacks_draws_nothing():
    life = live(pet(fields(drops={"hunger": "10 s"}), lasts="15 s"), until=26)
    assert {s for s in life.draws if drawn(life, s)} - {"illness"} == {"drops hunger", "growth"}
    assert drawn(life, "drops hunger") == 2


def test_open_misbehaviour_ends_without_effect_at_growth():
    rates = fields(misbehaviour=fields(every="10 s", window="20 s"))
    model = pet(rates, lasts="15 s")
    life = live(model, acting((20, "reprimand")), until=50)
    assert story(life)[1:] == ["10 misbehaves", "15 growth tree", "20 unfair reprimand"]
    assert life.summary["lapses"] == 0


def test_misbehaviour_that_runs_out_in_the_second_of_growth_is_no_lapse():
    rates = fields(misbehaviour=fields(every="10 s", window="20 s"))
    life = live(pet(rates, lasts="30 s"), until=50)
    assert times(life, "lapse") == []


def test_open_deadline_of_a_need_carries_over_with_the_due_time_it_has():
    model = pet(
        fields(drops={"hunger": "10 s"}, grace={"hunger": "30 s"}),
        fields(grace={"hunger": "100 s"}),
        lasts="20 s",
        needs=needs(hunger=1),
    )
    assert times(live(model, until=200), "miss") == [40]


def test_running_time_to_death_carries_over_with_the_due_time_it_has():
    model = pet(
        fields(fatal_after={"hunger": "50 s"}),
        fields(fatal_after={"hunger": "900 s"}),
        lasts="20 s",
        needs=needs(hunger_starts=0),
    )
    assert live(model, until="death").summary["end_s"] == 50


def test_pile_and_its_deadline_carry_over():
    model = pet(
        fields(waste=fields(every="10 s", pile_max=1, grace="30 s")),
        fields(waste=fields(every="900 s", pile_max=1, grace="100 s")),
        lasts="20 s",
    )
    assert times(live(model, until=200), "miss") == [40]


def test_doses_and_deadlines_of_an_illness_carry_over():
    model = pet(
        fields(illness=ill_at(10, doses={"2": "100%"}, grace="30 s", fatal_after="90 s")),
        fields(illness=fields(base="0 per day", grace="5 s", fatal_after="10 s")),
        lasts="20 s",
    )
    life = live(model, acting((50, "dose")), until=200)
    assert story(life)[1:] == [
        "10 ill",
        "20 growth tree",
        "40 miss illness",
        "50 done dose",
        "100 death untreated illness",
    ]
    assert times(live(model, acting((50, "dose"), (60, "dose")), until=200), "well") == [60]


def test_deadlines_standing_still_carry_over_the_awake_time_left():
    model = pet(
        fields(drops={"hunger": "10 s"}, grace={"hunger": "30 s"}, sleeps=[span(20, 100)]),
        fields(grace={"hunger": "900 s"}),
        lasts="50 s",
        needs=needs(hunger=1),
    )
    # 10 s of the grace passed awake; growth at 50 wakes it with 20 s left.
    assert times(live(model, until=200), "miss") == [70]


def test_levels_weight_and_discipline_carry_over():
    model = pet(
        needs=needs(hunger_starts=3), lasts="20 s", weight={"starts": 6}, discipline={"starts": 9}
    )
    life = live(model, sees({"hunger": "3", "weight": "6"}, 30), until=40)
    assert saw(life)
    assert life.summary["discipline_at.tree"] == 9


def test_growth_raises_weight_to_the_new_minimum_but_reports_what_the_rules_saw():
    model = branching({"weight": "at most 4"}, adult={"weight min": 10}, weight={"starts": 4})
    life = live(model, sees({"weight": "10"}, 200), until=300)
    assert saw(life)
    assert (life.summary["outcome"], life.summary["weight_at.oak"]) == ("oak", 4)


def test_growth_leaves_a_weight_above_the_new_minimum():
    model = pet({"weight min": 5}, {"weight min": 3}, lasts="20 s", weight={"starts": 8})
    assert saw(live(model, sees({"weight": "8"}, 30), until=40))


def test_pile_above_the_new_maximum_stays_and_grows_no_more():
    model = pet(
        fields(waste=fields(every="10 s", pile_max=3)),
        fields(waste=fields(every="10 s", pile_max=1)),
        lasts="35 s",
    )
    life = live(model, sees({"waste": "3"}, 60), until=80)
    assert saw(life)
    assert times(life, "waste") == [10, 20, 30]


def test_grace_absent_when_it_would_start_is_never_and_a_later_stage_does_not_start_it():
    model = pet(
        fields(drops={"hunger": "10 s"}),
        fields(grace={"hunger": "10 s"}, fatal_after={"hunger": "20 s"}),
        lasts="20 s",
        needs=needs(hunger=1),
    )
    assert story(live(model, until=200))[1:] == ["10 drop hunger", "20 growth tree"]


def test_grace_of_waste_absent_when_it_would_start_is_never():
    model = pet(
        fields(waste=fields(every="10 s", pile_max=1)),
        fields(waste=fields(every="10 s", pile_max=1, grace="10 s")),
        lasts="20 s",
    )
    assert times(live(model, until=100), "miss") == []
    # A new pile starts the new stage's grace: cleaned at 35, waste again at 40.
    assert times(live(model, acting((35, "clean")), until=100), "miss") == [50]


def test_deadlines_of_illness_absent_when_it_falls_ill_are_never():
    later = fields(illness=fields(base="0 per day", grace="10 s", fatal_after="20 s"))
    model = pet(fields(illness=ill_at(10)), later, lasts="20 s")
    assert story(live(model, until=200))[1:] == ["10 ill", "20 growth tree"]


def test_grace_of_the_lights_absent_when_it_falls_asleep_is_never():
    model = pet(
        fields(sleeps=[span(10, 90)]),
        fields(sleeps=[span(10, 90)], lights_grace="10 s"),
        lasts="20 s",
    )
    assert times(live(model, until=100), "miss") == []


def test_again_after_absent_when_a_miss_falls_is_never():
    model = pet(
        fields(grace={"hunger": "10 s"}),
        fields(grace={"hunger": "10 s"}, again_after={"hunger": "10 s"}),
        lasts="20 s",
        needs=needs(hunger_starts=0),
    )
    assert times(live(model, until=200), "miss") == [10]


def test_again_after_is_that_of_the_stage_in_force_when_the_miss_falls():
    model = pet(
        fields(grace={"hunger": "10 s"}, again_after={"hunger": "20 s"}),
        fields(again_after={"hunger": "50 s"}),
        lasts="20 s",
        needs=needs(hunger_starts=0),
    )
    assert times(live(model, until=100), "miss") == [10, 30, 80]


def test_rules_see_the_misses_before_that_second_and_its_own_count_in_the_new_form():
    model = branching(
        {"misses in life": "0"},
        young=fields(grace={"hunger": "200 s"}, again_after={"hunger": "10 s"}),
        adult=fields(again_after={"hunger": "30 s"}),
        needs=needs(hunger_starts=0),
    )
    life = live(model, until=260)
    assert story(life)[2:] == [
        "200 growth oak",
        "200 miss hunger",
        "230 miss hunger",
    ]
    assert (life.summary["misses_in.shoot"], life.summary["misses_in.oak"]) == (0, 2)


# The dormant root


def test_dormant_pet_has_no_needs_waste_illness_misbehaviour_or_sleep_and_refuses_all_care():
    model = pet(egg="50 s", needs=needs(hunger_starts=2, mood_starts=0))
    actions = ["feed", "clean", "dose", "lights_off", "lights_on", "reprimand"]
    life = live(model, regime(*({"do": a} for a in actions), every=100, first="10 s"), until=50)
    assert story(life) == ["0 birth seed", *(f"10 refused {a}" for a in actions)]
    assert life.summary["unfair"] == 0
    assert drawn(life, "works feed") == 0
    assert [life.summary[f"wasted.{a}"] for a in actions] == [1] * 6


def test_dormant_levels_stand_can_be_observed_and_count_but_it_does_not_call():
    model = pet(egg="50 s", needs=needs(hunger_starts=2, mood_starts=0))
    life = live(model, sees({"hunger": "2", "mood": "0", "calling": "no"}, 20), until=60)
    assert saw(life)
    assert (life.summary["level_s.hunger.2"], life.summary["level_s.mood.0"]) == (60, 60)
    assert saw(live(model, sees({"calling": "yes"}, 50), until=60))


def test_hazard_is_summed_left_to_right():
    # A pet so hardy that the last bit of the sum decides the second.
    base, per_waste, per_excess, dirty, excess = 1e-9, 1e-9, 3e-9, 10**12, 3

    def due(seed, rate):
        risk = (base + per_waste * 0 + per_excess * excess) / 86_400 * dirty
        threshold = unit_exponential("illness", 0, seed)
        return dirty + max(1, math.ceil((threshold - risk) / (rate / 86_400)))

    rightly = (base + per_waste * 1) + per_excess * excess
    wrongly = base + (per_waste * 1 + per_excess * excess)
    assert rightly != wrongly
    seed = seed_where(lambda seed: dirty + 1 < due(seed, rightly) != due(seed, wrongly) < 9e15)
    illness = fields(
        base=f"{base:.9f} per day",
        per_waste=f"{per_waste:.9f} per day",
        per_excess=f"{per_excess:.9f} per day",
        heavy_above=2,
    )
    young = {"illness": illness, "waste": fields(every=f"{dirty} s", pile_max=1)}
    model = pet(young, lasts="9000000000000000 s", weight={"starts": 2 + excess})
    life = live(model, until=due(seed, rightly) + 10, seed=seed)
    assert times(life, "ill") == [due(seed, rightly)]


def test_illness_threshold_is_drawn_at_birth_even_if_dormant_and_its_hazard_starts_with_life():
    model = pet(fields(illness=ill_at(20)), egg="50 s")
    assert drawn(live(model, until=50), "illness") == 1
    life = live(model, until=100)
    assert times(life, "ill") == [70]
    assert drawn(life, "illness") == 1


# Growth and sleep


def test_growth_while_asleep_into_a_stage_that_sleeps_now_goes_on_with_sleep_lights_and_deadline():
    model = pet(
        fields(sleeps=[span(10, 90)], lights_grace="30 s"),
        fields(sleeps=[span(0, 70)], lights_grace="5 s"),
        lasts="20 s",
    )
    life = live(model, until=100)
    assert story(life)[1:] == ["10 asleep", "20 growth tree", "40 miss lights", "70 awake"]
    dark = live(model, acting((15, "lights_off")), until=100)
    assert times(dark, "miss") == []


def test_growth_while_asleep_into_a_stage_that_does_not_sleep_now_wakes_and_drops_the_deadline():
    model = pet(
        fields(sleeps=[span(10, 90)], lights_grace="30 s"),
        fields(drops={"hunger": "10 s"}),
        lasts="20 s",
    )
    life = live(model, sees({"lights": "on", "asleep": "no"}, 20), until=35)
    assert story(life)[1:] == [
        "10 asleep",
        "20 growth tree",
        "20 awake",
        "20 wasted cheer",
        "30 drop hunger",
    ]
    assert live(model, until=100).summary["misses"] == 0


def test_growth_that_wakes_puts_the_lights_on():
    model = pet(fields(sleeps=[span(10, 90)]), lasts="20 s")
    life = live(model, acting((15, "lights_off"), (25, "lights_on")), until=40)
    assert story(life, at=25) == ["25 wasted lights_on"]


def test_growth_while_awake_into_a_stage_that_sleeps_now_falls_asleep_at_once():
    model = pet({}, fields(sleeps=[span(0, 90)], lights_grace="15 s"), lasts="20 s")
    assert story(live(model, until=100))[1:] == [
        "20 growth tree",
        "20 asleep",
        "35 miss lights",
        "90 awake",
    ]


def test_growth_in_the_second_of_waking_into_a_stage_that_sleeps_now_goes_on_with_the_sleep():
    model = pet(
        fields(sleeps=[span(10, 30)], lights_grace="25 s"),
        fields(sleeps=[span(30, 60)], lights_grace="5 s"),
        lasts="30 s",
    )
    assert story(live(model, until=100))[1:] == [
        "10 asleep",
        "30 growth tree",
        "35 miss lights",
        "60 awake",
    ]


def test_growth_in_the_second_of_falling_asleep_into_a_stage_that_does_not_sleep_stays_awake():
    model = pet(fields(sleeps=[span(30, 60)]), {}, lasts="30 s")
    assert story(live(model, until=100)) == ["0 birth sprig", "30 growth tree"]


def test_growth_takes_the_sleep_of_the_old_stage_away():
    awake = pet(fields(sleeps=[span(30, 60)]), {}, lasts="20 s")
    assert story(live(awake, until=100)) == ["0 birth sprig", "20 growth tree"]
    asleep = pet(fields(sleeps=[span(10, 60)]), {}, lasts="20 s")
    assert story(live(asleep, until=100))[1:] == ["10 asleep", "20 growth tree", "20 awake"]
    other = pet(fields(sleeps=[span(30, 60)]), fields(sleeps=[span(50, 90)]), lasts="20 s")
    assert story(live(other, until=100))[2:] == ["50 asleep", "90 awake"]


def test_growth_into_sleep_draws_the_next_misbehaviour_once():
    rates = fields(misbehaviour=fields(every="10 s", window="90 s"))
    model = pet(rates, rates | fields(sleeps=[span(20, 50)]), lasts="20 s")
    life = live(model, until=61)
    assert story(life)[1:] == [
        "10 misbehaves",
        "20 growth tree",
        "20 asleep",
        "50 awake",
        "60 misbehaves",
    ]
    assert drawn(life, "misbehaviour") == 2


def test_pet_sleeps_every_day():
    model = pet(fields(sleeps=["21:00 to 07:00"]), begins="Friday 09:00")
    life = live(model, until=3 * 86_400)
    assert times(life, "asleep") == [43_200, 129_600, 216_000]
    assert times(life, "awake") == [79_200, 165_600, 252_000]


# Needs


def test_need_drops_again_and_again_whether_or_not_it_was_raised_meanwhile():
    model = pet(fields(drops={"hunger": "10 s"}))
    assert times(live(model, acting((15, "feed")), until=45), "drop") == [10, 20, 30, 40]


def test_drop_at_0_has_no_effect_but_the_next_keeps_its_time():
    model = pet(fields(drops={"hunger": "10 s"}), needs=needs(hunger=1))
    life = live(model, acting((45, "feed")), until=60)
    assert times(life, "drop") == [10, 50]


def test_need_still_at_0_after_its_grace_is_one_miss():
    model = pet(fields(drops={"hunger": "10 s"}, grace={"hunger": "25 s"}), needs=needs(hunger=2))
    assert story(live(model, until=500), "miss") == ["45 miss hunger"]


def test_need_raised_within_its_grace_is_no_miss_and_reaching_0_again_starts_it_anew():
    model = pet(fields(drops={"hunger": "10 s"}, grace={"hunger": "25 s"}), needs=needs(hunger=1))
    life = live(model, acting((34, "feed")), until=70)
    # Empty at 10, fed at 34, empty again at 40.
    assert times(life, "miss") == [65]


def test_further_misses_follow_every_again_after_while_the_need_stays_at_0():
    model = pet(
        fields(grace={"hunger": "10 s"}, again_after={"hunger": "20 s"}),
        needs=needs(hunger_starts=0),
    )
    assert times(live(model, acting((69, "feed")), until=200), "miss") == [10, 30, 50]


def test_need_at_0_for_fatal_after_without_a_break_is_death_of_the_cause_it_names():
    model = pet(
        fields(drops={"hunger": "10 s"}, fatal_after={"hunger": "35 s"}), needs=needs(hunger=1)
    )
    assert story(live(model, until="death"), "death") == ["45 death starved"]
    broken = live(model, acting((39, "feed")), until="death")
    # Fed at 39, empty again at 40: the time starts anew.
    assert story(broken, "death") == ["75 death starved"]


def test_need_fed_in_the_second_it_empties_is_heard_but_leaves_no_deadline():
    model = pet(
        fields(drops={"hunger": "10 s"}, grace={"hunger": "10 s"}, fatal_after={"hunger": "15 s"}),
        needs=needs(hunger=1),
    )
    life = live(model, acting((10, "feed"), (20, "feed"), **CALLING), until=30)
    assert story(life, "drop", "miss", "death") == ["10 drop hunger", "20 drop hunger"]
    assert drawn(life, "hears") == 2


# Waste


def test_waste_appears_again_and_again_and_at_the_maximum_passes_without_effect():
    model = pet(fields(waste=fields(every="10 s", pile_max=2)))
    life = live(model, acting((35, "clean")), until=65)
    assert times(life, "waste") == [10, 20, 40, 50]
    assert values(life, "waste") == [1, 2, 1, 2]


def test_pile_opens_its_deadline_at_its_first_waste_and_is_one_miss():
    model = pet(fields(waste=fields(every="10 s", pile_max=9, grace="25 s")))
    assert times(live(model, until=200), "miss") == [35]


def test_each_pile_has_its_own_deadline():
    model = pet(fields(waste=fields(every="10 s", pile_max=9, grace="25 s")))
    # Piles begin at 10, 40 (cleaned in time at 55) and 60.
    life = live(model, acting((36, "clean"), (55, "clean")), until=120)
    assert times(life, "miss") == [35, 85]


def test_pile_is_one_miss_unless_its_stage_names_again_after():
    model = pet(fields(waste=fields(every="10 s", pile_max=9, grace="25 s", again_after="20 s")))
    assert times(live(model, acting((80, "clean")), until=90), "miss") == [35, 55, 75]


# Illness

BASE = base_for(100)


def rate(base=BASE, per_waste=0.0, pile=0, per_excess=0.0, weight=0, heavy=0):
    return (base + per_waste * pile + per_excess * max(0, weight - heavy)) / 86_400


def due(t, acc, rate, k=0):
    return t + max(1, math.ceil((unit_exponential("illness", k) - acc) / rate))


def test_illness_comes_at_the_first_second_at_which_the_integral_reaches_its_threshold():
    illness = fields(base=per_day(BASE))
    assert due(0, 0.0, rate()) == 100
    assert times(live(pet(fields(illness=illness)), until=200), "ill") == [100]


def test_illness_comes_awake_or_asleep():
    model = pet(fields(illness=ill_at(100), sleeps=[span(20, 150)]))
    assert times(live(model, until=200), "ill") == [100]


def test_pile_raises_the_rate_of_illness_from_its_second_on_and_cleaning_lowers_it():
    per_waste = BASE / 3
    illness = fields(base=per_day(BASE), per_waste=per_day(per_waste))
    model = pet(fields(waste=fields(every="10 s", pile_max=2), illness=illness))
    acc, t = 0.0, 0
    for pile, until in ((0, 10), (1, 20), (2, 35), (0, 40), (1, 50)):
        acc += rate(per_waste=per_waste, pile=pile) * (until - t)
        t = until
    expected = due(50, acc, rate(per_waste=per_waste, pile=2))
    assert 60 < expected < 100
    assert times(live(model, acting((35, "clean")), until=200), "ill") == [expected]


def test_weight_above_heavy_raises_the_rate_of_illness():
    illness = fields(base=per_day(BASE), per_excess=per_day(BASE / 2), heavy_above=4)
    model = pet(fields(illness=illness), weight={"starts": 3}, care=care(snack={"weight": "+3"}))
    heavy = rate(per_excess=BASE / 2, weight=6, heavy=4)
    expected = due(30, rate() * 30, heavy)
    assert expected < 100
    assert times(live(model, acting((30, "snack")), until=200), "ill") == [expected]


def test_weight_below_heavy_does_not_lower_the_rate_of_illness():
    illness = fields(base=per_day(BASE), per_excess=per_day(BASE / 2), heavy_above=40)
    assert times(live(pet(fields(illness=illness)), until=200), "ill") == [100]


# The rate is reckoned anew at these times and no other: with a threshold at the edge of a second,
# adding the integral up in other parts gives another second.


def reckoned(base, moments):
    """The second of illness at a steady rate that is reckoned anew at these moments."""
    acc, t = 0.0, 0
    for moment in moments:
        if moment >= due(t, acc, rate(base)):
            break
        acc += rate(base) * (moment - t)
        t = moment
    return due(t, acc, rate(base))


def at_the_edge(*ways):
    """A base rate under which the ways of reckoning give different seconds, and these."""
    for second in range(60, 9000):
        base = unit_exponential("illness", 0) * 86_400 / second
        dues = [reckoned(base, moments) for moments in ways]
        if len({*dues}) == len(dues):
            return base, *dues
    raise AssertionError("no such rate")


SPLIT = 30
EDGE, WHOLE, SPLIT_UP = at_the_edge((), (SPLIT,))
ON_EDGE = fields(base=per_day(EDGE))
RECKONED = {
    "growth": (pet(fields(illness=ON_EDGE), fields(illness=ON_EDGE), lasts=f"{SPLIT} s"), regime()),
    "change of the pile": (
        pet(fields(illness=ON_EDGE, waste=fields(every=f"{SPLIT} s", pile_max=1))),
        regime(),
    ),
    "change of the weight below heavy": (
        pet(fields(illness=ON_EDGE), care=care(snack={"weight": "+1"})),
        acting((SPLIT, "snack")),
    ),
}
NOT_RECKONED = {
    "weight that stops at its minimum": (
        pet(fields(illness=ON_EDGE), care=care(run={"weight": "-1"})),
        acting((SPLIT, "run")),
    ),
    "cleaning of no pile": (pet(fields(illness=ON_EDGE)), acting((SPLIT, "clean"))),
    "raising of a need": (
        pet(fields(illness=ON_EDGE), needs=needs(hunger_starts=1)),
        acting((SPLIT, "feed")),
    ),
    "falling asleep": (
        pet(fields(illness=ON_EDGE, sleeps=[span(SPLIT, SPLIT + 4000)])),
        regime(),
    ),
    "dose while well": (pet(fields(illness=ON_EDGE)), acting((SPLIT, "dose"))),
    "looking": (pet(fields(illness=ON_EDGE)), sees({"ill": "no", "weight": "0"}, SPLIT)),
}


@pytest.mark.parametrize("change", RECKONED)
def test_rate_of_illness_is_reckoned_anew_at(change):
    model, caretaker = RECKONED[change]
    assert times(live(model, caretaker, until=SPLIT_UP + 50), "ill") == [SPLIT_UP]


@pytest.mark.parametrize("event", NOT_RECKONED)
def test_rate_of_illness_is_not_reckoned_anew_at(event):
    model, caretaker = NOT_RECKONED[event]
    assert times(live(model, caretaker, until=SPLIT_UP + 50), "ill") == [WHOLE]


def test_waste_that_passes_at_the_maximum_does_not_reckon_the_rate_anew():
    base, expected, _ = at_the_edge((10,), range(10, 9000, 10))
    model = pet(fields(illness=fields(base=per_day(base)), waste=fields(every="10 s", pile_max=1)))
    assert times(live(model, until=expected + 50), "ill") == [expected]


def test_illness_due_now_stands_when_the_pile_changes_in_its_second():
    base = base_for(100)
    illness = fields(base=per_day(base), per_waste=per_day(base))
    model = pet(fields(illness=illness, waste=fields(every="100 s", pile_max=1)))
    assert story(live(model, until=150), at=100) == ["100 waste", "100 ill"]


def test_illness_due_now_stands_at_growth():
    model = pet(
        fields(illness=ill_at(100)), fields(illness=fields(base="0.001 per day")), lasts="100 s"
    )
    assert story(live(model, until=150), at=100) == ["100 growth tree", "100 ill"]


def test_illness_due_now_stands_at_growth_into_a_stage_that_names_a_rate_of_0():
    model = pet(
        fields(illness=ill_at(100)), fields(illness=fields(base="0 per day")), lasts="100 s"
    )
    assert times(live(model, until=150), "ill") == [100]


def test_illness_due_now_does_not_stand_at_growth_into_a_stage_that_names_no_rate():
    model = pet(fields(illness=ill_at(100)), {}, lasts="100 s")
    assert times(live(model, until=5000), "ill") == []


def three_stages(young, youth, adult, first, second):
    """A sprig for `first` seconds, a shoot for `second`, then a tree."""
    model = pet(young, adult, lasts=f"{first} s")
    model["stages"]["youth"] = youth
    model["forms"]["sprig"]["grows into"] = "shoot"
    model["forms"]["shoot"] = {"stage": "youth", "lasts": f"{second} s", "grows into": "tree"}
    return model


def test_illness_past_its_threshold_comes_a_second_after_a_stage_names_a_rate_again():
    ill = fields(illness=ill_at(100))
    model = three_stages(ill, {}, ill, 100, 50)
    assert times(live(model, until=300), "ill") == [151]


def test_integral_of_the_rate_waits_in_a_stage_without_one():
    ill = fields(illness=ill_at(100))
    model = three_stages(ill, {}, ill, 60, 50)
    assert times(live(model, until=300), "ill") == [150]


def test_illness_is_never_due_at_rate_0():
    model = pet(fields(illness=fields(base="0 per day")))
    assert times(live(model, until=86_400), "ill") == []


def test_doses_taken_cure_in_the_second_of_the_last():
    model = pet(fields(illness=ill_at(10, doses={"2": "100%"})))
    life = live(model, acting((20, "dose"), (25, "dose")), until=26)
    assert story(life)[1:] == ["10 ill", "20 done dose", "25 done dose", "25 well"]
    assert (drawn(life, "doses"), drawn(life, "illness")) == (1, 2)


def test_after_a_cure_a_new_threshold_counts_from_0():
    model = pet(fields(illness=fields(base=per_day(BASE))))
    again = due(150, 0.0, rate(), k=1)
    life = live(model, acting((150, "dose")), until=again + 5)
    assert times(life, "ill") == [100, again]


def test_doses_are_drawn_even_if_there_is_one_chance_only():
    assert drawn(live(pet(fields(illness=ill_at(10))), until=20), "doses") == 1


def test_ill_for_its_grace_on_the_clock_is_one_miss():
    model = pet(fields(illness=ill_at(10, grace="30 s"), sleeps=[span(20, 60)]))
    assert story(live(model, until=500), "miss") == ["40 miss illness"]
    assert times(live(model, acting((39, "dose")), until=60), "miss") == []


def test_dose_that_does_not_cure_leaves_the_deadline_of_illness():
    model = pet(fields(illness=ill_at(10, grace="30 s", doses={"2": "100%"})))
    assert times(live(model, acting((20, "dose")), until=60), "miss") == [40]


def test_ill_for_fatal_after_on_the_clock_is_death_of_untreated_illness():
    model = pet(fields(illness=ill_at(10, fatal_after="50 s"), sleeps=[span(20, 90)]))
    assert story(live(model, until="death"), "death") == ["60 death untreated illness"]


def test_growth_gives_the_rate_of_illness_its_stage_weight_and_pile():
    young = fields(illness=fields(base=per_day(BASE)), waste=fields(every="20 s", pile_max=1))
    adult = fields(
        weight_min=6,
        illness=fields(
            base=per_day(BASE / 2),
            per_waste=per_day(BASE / 4),
            per_excess=per_day(BASE / 8),
            heavy_above=4,
        ),
    )
    new = rate(BASE / 2, per_waste=BASE / 4, pile=1, per_excess=BASE / 8, weight=6, heavy=4)
    acc = rate() * 20
    expected = due(30, acc + rate() * 10, new)
    assert expected == 100
    heavier = pet(young, adult | fields(weight_min=20), lasts="30 s")
    assert times(live(pet(young, adult, lasts="30 s"), until=300), "ill") == [expected]
    new = rate(BASE / 2, per_waste=BASE / 4, pile=1, per_excess=BASE / 8, weight=20, heavy=4)
    assert times(live(heavier, until=60), "ill") == [due(30, acc + rate() * 10, new)]


def test_rate_is_0_while_ill_whatever_changes_and_after_the_cure_that_of_the_pile_then():
    illness = fields(base=per_day(BASE), per_waste=per_day(BASE / 3))
    model = pet(fields(waste=fields(every="110 s", pile_max=9), illness=illness))
    again = due(250, 0.0, rate(per_waste=BASE / 3, pile=2), k=1)
    assert again < 330
    life = live(model, acting((250, "dose")), until=330)
    assert times(life, "waste") == [110, 220]
    assert times(life, "ill") == [100, again]


def test_illness_cured_after_growth_comes_again_at_the_rate_of_the_new_stage():
    model = pet(
        fields(illness=fields(base=per_day(BASE))),
        fields(illness=fields(base=per_day(BASE * 2))),
        lasts="120 s",
    )
    again = due(150, 0.0, rate(BASE * 2), k=1)
    life = live(model, acting((150, "dose")), until=again + 5)
    assert times(life, "ill") == [100, again]


def test_illness_cured_in_a_stage_that_names_no_rate_does_not_come_again_there():
    model = pet(fields(illness=fields(base=per_day(BASE))), lasts="120 s")
    life = live(model, acting((150, "dose")), until=3000)
    assert story(life)[1:] == ["100 ill", "120 growth tree", "150 done dose", "150 well"]
    assert drawn(life, "illness") == 2


# Sleep


@pytest.mark.parametrize(
    "windows", [[(10, 20), (20, 30)], [(15, 30), (10, 20)], [(10, 30), (12, 15)]]
)
def test_overlapping_or_touching_windows_are_one_sleep(windows):
    model = pet(fields(sleeps=[span(*w) for w in windows], lights_grace="5 s"))
    assert story(live(model, until=60))[1:] == ["10 asleep", "15 miss lights", "30 awake"]


def test_windows_that_touch_at_midnight_are_one_sleep():
    model = pet(
        fields(sleeps=["00:00 to 00:00:10", "23:59:50 to 24:00"], lights_grace="5 s"),
        begins="Monday 23:59:40",
    )
    assert story(live(model, until=60))[1:] == ["10 asleep", "15 miss lights", "30 awake"]


def test_windows_around_the_clock_are_one_sleep_without_end():
    model = pet(
        fields(sleeps=["00:00 to 12:00", "12:00 to 24:00"], lights_grace="5 s"),
    )
    life = live(model, until=3 * 86_400)
    assert story(life) == ["0 birth sprig", "0 asleep", "5 miss lights"]


def test_lights_put_off_while_awake_do_not_anticipate_the_night():
    model = pet(fields(sleeps=[span(20, 60)], lights_grace="10 s"))
    life = live(model, acting((19, "lights_off")), until=40)
    assert story(life)[1:] == ["19 wasted lights_off", "20 asleep", "30 miss lights"]


def test_lights_put_off_while_awake_are_still_on():
    assert saw(live(pet(), sees({"lights": "on"}, 6, (5, "lights_off")), until=10))


def test_lights_off_and_on_again_before_the_grace_is_a_miss_and_after_it_is_not():
    model = pet(fields(sleeps=[span(10, 60)], lights_grace="20 s"))
    before = acting((15, "lights_off"), (29, "lights_on"))
    after = acting((15, "lights_off"), (31, "lights_on"))
    assert times(live(model, before, until=60), "miss") == [30]
    assert times(live(model, after, until=60), "miss") == []


def test_lights_are_one_miss_per_sleep_at_most():
    model = pet(fields(sleeps=[span(10, 60), span(100, 160)], lights_grace="5 s"))
    moments = [(20, "lights_off"), (25, "lights_on"), (40, "lights_off"), (45, "lights_on")]
    assert times(live(model, acting(*moments), until=200), "miss") == [15, 105]


def test_waking_puts_the_lights_on_and_drops_the_deadline():
    model = pet(fields(sleeps=[span(10, 30), span(50, 70)], lights_grace="30 s"))
    life = live(model, acting((15, "lights_off"), (30, "lights_on"), (55, "lights_off")), until=99)
    assert story(life)[1:] == [
        "10 asleep",
        "15 done lights_off",
        "30 awake",
        "30 wasted lights_on",
        "50 asleep",
        "55 done lights_off",
        "70 awake",
    ]


def test_waking_in_the_second_of_the_lights_deadline_is_no_miss():
    model = pet(fields(sleeps=[span(10, 30)], lights_grace="20 s"))
    assert times(live(model, until=60), "miss") == []


ASLEEP = [span(30, 60)]


def test_what_runs_on_awake_time_stands_still_in_sleep():
    model = pet(
        fields(
            sleeps=ASLEEP,
            drops={"hunger": "40 s"},
            waste=fields(every="20 s", pile_max=1, grace="25 s"),
            grace={"mood": "44 s"},
            fatal_after={"mood": "50 s"},
            misbehaviour=fields(every="45 s", window="100 s"),
        ),
        needs={
            "hunger": {"full": 5},
            "mood": {"full": 1, "starts": 0, "death": "gloom"},
        },
    )
    assert story(live(model, until="death"))[1:] == [
        "20 waste",
        "30 asleep",
        "60 awake",
        "70 drop hunger",
        "74 miss mood",
        "75 misbehaves",
        "75 miss waste",
        "80 death gloom",
    ]


def test_again_after_stands_still_in_sleep():
    model = pet(
        fields(sleeps=ASLEEP, grace={"mood": "20 s"}, again_after={"mood": "20 s"}),
        needs=needs(mood_starts=0),
    )
    assert times(live(model, until=95), "miss") == [20, 70, 90]


WAITING = {
    "drop hunger": fields(drops={"hunger": "30 s"}),
    "waste": fields(waste=fields(every="30 s", pile_max=1)),
    "misbehaves": fields(misbehaviour=fields(every="30 s", window="90 s")),
    "miss mood": fields(grace={"mood": "30 s"}),
    "miss waste": fields(waste=fields(every="10 s", pile_max=1, grace="20 s")),
    "death gloom": fields(fatal_after={"mood": "30 s"}),
}
STARVING_MOOD = {
    "hunger": {"full": 5},
    "mood": {"full": 5, "starts": 0, "death": "gloom"},
}


@pytest.mark.parametrize("event", WAITING)
def test_what_is_due_in_the_second_of_falling_asleep_falls_in_the_second_of_waking(event):
    model = pet(WAITING[event] | {"sleeps": ASLEEP}, needs=STARVING_MOOD)
    life = live(model, until=61)
    assert story(life, at=30) == ["30 asleep"]
    assert story(life, at=60) == ["60 awake", f"60 {event}"]


@pytest.mark.parametrize("event", ["miss mood", "miss waste", "death gloom"])
def test_deadline_due_in_the_second_of_falling_asleep_by_growth_waits_too(event):
    model = pet(WAITING[event], {"sleeps": ASLEEP}, lasts="30 s", needs=STARVING_MOOD)
    life = live(model, until=61)
    assert story(life, at=30) == ["30 growth tree", "30 asleep"]
    assert story(life, at=60) == ["60 awake", f"60 {event}"]


@pytest.mark.parametrize(
    ("event", "action"), [("miss mood", "cheer"), ("miss waste", "clean"), ("death gloom", "cheer")]
)
def test_waiting_deadline_does_not_fall_if_an_action_removed_its_cause_in_sleep(event, action):
    model = pet(WAITING[event] | {"sleeps": ASLEEP}, needs=STARVING_MOOD)
    for moment in (30, 45, 59):
        life = live(model, acting((moment, action)), until=65)
        assert story(life, "awake", "miss", "death") == ["60 awake"]


def test_action_in_the_second_of_waking_is_too_late_for_a_waiting_deadline():
    model = pet(WAITING["miss mood"] | {"sleeps": ASLEEP}, needs=STARVING_MOOD)
    assert times(live(model, acting((60, "cheer")), until=65), "miss") == [60]


def test_next_drop_after_one_that_waited_counts_from_waking():
    model = pet(WAITING["drop hunger"] | {"sleeps": ASLEEP})
    assert times(live(model, until=100), "drop") == [60, 90]


def test_waiting_deadline_falls_when_growth_wakes():
    model = pet(WAITING["miss mood"] | {"sleeps": ASLEEP}, {}, lasts="40 s", needs=STARVING_MOOD)
    life = live(model, until=50)
    assert story(life, at=40) == ["40 growth tree", "40 awake", "40 miss mood"]
    assert life.summary["misses_in.tree"] == 1


def test_waiting_drop_is_drawn_anew_when_growth_comes_in_sleep():
    rates = WAITING["drop hunger"] | {"sleeps": ASLEEP}
    assert times(live(pet(rates, rates, lasts="40 s"), until=100), "drop") == [90]


def test_misbehaviour_in_progress_ends_without_effect_when_sleep_begins():
    model = pet(
        fields(misbehaviour=fields(every="20 s", window="15 s"), sleeps=ASLEEP),
        discipline={"starts": 5, "lapse costs": 2},
    )
    life = live(model, until=81)
    # The next is drawn at 30 and stands still till 60.
    assert story(life)[1:] == ["20 misbehaves", "30 asleep", "60 awake", "80 misbehaves"]
    assert (life.summary["lapses"], drawn(life, "misbehaviour")) == (0, 2)


def test_misbehaviour_whose_window_runs_out_in_the_second_of_falling_asleep_is_no_lapse():
    model = pet(fields(misbehaviour=fields(every="20 s", window="10 s"), sleeps=ASLEEP))
    life = live(model, until=81)
    assert story(life)[1:] == ["20 misbehaves", "30 asleep", "60 awake", "80 misbehaves"]
    assert drawn(life, "misbehaviour") == 2


def test_misbehaviour_not_yet_begun_keeps_its_time_left_in_sleep():
    model = pet(fields(misbehaviour=fields(every="35 s", window="10 s"), sleeps=ASLEEP))
    assert times(live(model, until=70), "misbehaves") == [65]


def test_deadline_that_waited_still_waits_after_growth_from_sleep_into_sleep():
    model = pet(
        WAITING["miss mood"] | {"sleeps": ASLEEP},
        {"sleeps": ASLEEP},
        lasts="40 s",
        needs=STARVING_MOOD,
    )
    life = live(model, until=70)
    assert times(life, "miss") == [60]
    assert life.summary["misses_in.tree"] == 1


@pytest.mark.parametrize(("grace", "miss"), [(10, 20), (15, 40), (24, 49), (25, 60), (30, 65)])
def test_awake_time_runs_on_from_sleep_to_sleep(grace, miss):
    sleeps = [span(10, 20), span(25, 40), span(50, 60)]
    model = pet(fields(grace={"mood": f"{grace} s"}, sleeps=sleeps), needs=needs(mood_starts=0))
    assert times(live(model, until=100), "miss") == [miss]


def test_pet_born_asleep_counts_awake_time_from_its_first_waking():
    model = pet(
        fields(
            sleeps=[span(0, 20)],
            drops={"hunger": "10 s"},
            waste=fields(every="12 s", pile_max=1),
            misbehaviour=fields(every="15 s", window="90 s"),
        )
    )
    assert story(live(model, until=36))[1:] == [
        "0 asleep",
        "20 awake",
        "30 drop hunger",
        "32 waste",
        "35 misbehaves",
    ]


# Misbehaviour and discipline

NAUGHTY = fields(misbehaviour=fields(every="10 s", window="20 s"))


def test_misbehaviour_runs_out_as_a_lapse_and_the_next_is_drawn_when_it_ends():
    life = live(pet(NAUGHTY, discipline={"starts": 3, "lapse costs": 2}), until=71)
    assert story(life)[1:] == [
        "10 misbehaves",
        "30 lapse",
        "40 misbehaves",
        "60 lapse",
        "70 misbehaves",
    ]
    assert values(life, "lapse") == [1, 0]
    assert (life.summary["lapses"], life.summary["misses"]) == (2, 0)
    assert (drawn(life, "misbehaviour"), drawn(life, "misbehaviour window")) == (3, 3)


def discipline_after(*moments, **discipline):
    model = pet(NAUGHTY, lasts="35 s", discipline=discipline)
    return live(model, acting(*moments)).summary["discipline_at.tree"]


@pytest.mark.parametrize("moment", [10, 20, 29])
def test_reprimand_from_the_second_it_begins_to_the_one_before_it_ends_is_fair(moment):
    # The first is ended by the reprimand, and growth ends the second.
    model = pet(NAUGHTY, lasts="35 s")
    life = live(model, acting((moment, "reprimand")))
    assert story(life)[1:3] == ["10 misbehaves", f"{moment} done reprimand"]
    assert (life.summary["lapses"], life.summary["unfair"]) == (0, 0)
    assert times(life, "misbehaves")[1:] == [moment + 10] * (moment < 25)
    assert discipline_after((moment, "reprimand"), starts=50, step=4) == 54


def test_reprimand_in_the_second_a_misbehaviour_ends_is_too_late_and_unfair():
    life = live(pet(NAUGHTY), acting((30, "reprimand")), until=31)
    assert story(life, at=30) == ["30 lapse", "30 unfair reprimand"]


def test_discipline_stays_within_0_and_100():
    assert discipline_after((15, "reprimand"), starts=98, step=4) == 100
    assert discipline_after(**{"starts": 1, "lapse costs": 9}) == 0


def test_fair_reprimand_is_not_wasted_even_if_discipline_gains_nothing():
    life = live(
        pet(NAUGHTY, discipline={"starts": 100, "step": 4}), acting((15, "reprimand")), until=20
    )
    assert life.summary["wasted.reprimand"] == 0


def test_misbehaving_pet_calls_though_nothing_is_empty():
    assert saw(
        live(pet(NAUGHTY), sees({"calling": "yes", "hunger": "5", "mood": "5"}, 15), until=20)
    )
    assert not saw(live(pet(NAUGHTY), sees({"calling": "yes"}, 9), until=20))
    assert not saw(live(pet(NAUGHTY), sees({"calling": "yes"}, 30), until=35))


def test_misbehaving_pet_refuses_the_actions_so_marked():
    meal = {"raises": {"hunger": 1}, "refused when": ["misbehaving"]}
    model = pet(NAUGHTY, care=care(meal=meal), needs=needs(hunger_starts=0))
    life = live(model, acting((9, "meal"), (15, "meal"), (16, "feed")), until=20)
    assert story(life)[1:] == [
        "9 done meal",
        "10 misbehaves",
        "15 refused meal",
        "16 done feed",
    ]


def test_unfair_reprimand_is_counted_done_and_not_wasted():
    summary = live(pet(), acting((5, "reprimand")), until=9).summary
    assert (summary["unfair"], summary["done.reprimand"], summary["wasted.reprimand"]) == (1, 1, 0)


def test_unfair_reprimand_lowers_the_named_need_but_not_below_0():
    model = pet(discipline=fields(unfair_costs={"mood": 3}))
    life = live(model, acting((5, "reprimand"), (10, "reprimand")), until=20)
    assert [life.summary[f"level_s.mood.{level}"] for level in (5, 2, 0)] == [5, 5, 10]


def test_unfair_reprimand_to_0_opens_a_call_and_is_heard():
    model = pet(
        fields(grace={"mood": "10 s"}),
        needs=needs(mood=1),
        discipline=fields(unfair_costs={"mood": 1}),
    )
    life = live(model, acting((5, "reprimand"), **CALLING), until=20)
    assert times(life, "miss") == [15]
    assert drawn(life, "hears") == 1


def test_unfair_reprimand_at_0_reaches_it_no_second_time():
    model = pet(
        fields(grace={"mood": "10 s"}),
        needs=needs(mood=1),
        discipline=fields(unfair_costs={"mood": 1}),
    )
    life = live(model, acting((5, "reprimand"), (9, "reprimand"), **CALLING), until=30)
    assert (times(life, "miss"), drawn(life, "hears")) == ([15], 1)


def test_unfair_reprimand_of_a_sleeping_pet_to_0_opens_a_call_that_stands_still_unheard():
    model = pet(
        fields(grace={"mood": "10 s"}, sleeps=ASLEEP),
        needs=needs(mood=1),
        discipline=fields(unfair_costs={"mood": 1}),
    )
    life = live(model, acting((40, "reprimand"), **CALLING), until=90)
    assert (times(life, "miss"), drawn(life, "hears")) == ([70], 0)


def test_refused_reprimand_is_never_unfair():
    strict = {"reprimands": "yes", "refused when": ["asleep"]}
    model = pet(
        {"sleeps": ASLEEP}, care=care(strict=strict), discipline=fields(unfair_costs={"mood": 1})
    )
    life = live(model, acting((40, "strict")), until=50)
    assert story(life, at=40) == ["40 refused strict"]
    assert (life.summary["unfair"], life.summary["level_s.mood.4"]) == (0, 0)


def test_lost_reprimand_has_no_effect_at_all():
    model = pet(NAUGHTY, care=care(shout={"reprimands": "yes", "works": "0%"}))
    life = live(model, acting((5, "shout"), (15, "shout")), until=31)
    assert story(life)[1:] == ["5 lost shout", "10 misbehaves", "15 lost shout", "30 lapse"]
    assert (life.summary["unfair"], life.summary["wasted.shout"]) == (0, 0)


def test_pet_calls_while_awake_and_a_need_is_at_0_but_never_asleep():
    model = pet({"sleeps": ASLEEP}, needs=needs(hunger_starts=0))
    for moment, calls in ((10, True), (29, True), (30, False), (59, False), (60, True)):
        assert saw(live(model, sees({"calling": "yes"}, moment), until=70)) == calls


def test_pet_that_wakes_with_a_need_at_0_is_not_heard_anew():
    model = pet({"sleeps": ASLEEP}, needs=needs(hunger_starts=0))
    assert drawn(live(model, regime(**CALLING), until=70), "hears") == 1


def test_sleeping_pet_with_no_need_at_0_does_not_call_for_a_misbehaviour_that_sleep_ended():
    model = pet(NAUGHTY | {"sleeps": [span(15, 60)]})
    assert not saw(live(model, sees({"calling": "yes"}, 60), until=65))


# Weight and death by misses


def test_weight_stops_at_the_stages_minimum_and_what_it_cannot_lose_is_wasted():
    model = pet({"weight min": 3}, weight={"starts": 4}, care=care(run={"weight": "-3"}))
    life = live(model, sees({"weight": "3"}, 7, (5, "run"), (6, "run")), until=9)
    assert story(life)[1:] == ["5 done run", "6 wasted run", "7 wasted cheer"]


def test_fatal_misses_kill_by_neglect_in_the_second_of_the_miss():
    model = pet(
        fields(grace={"hunger": "10 s"}, again_after={"hunger": "20 s"}),
        needs=needs(hunger_starts=0),
        fatal_misses=3,
    )
    life = live(model, until="death")
    assert story(life)[-2:] == ["50 miss hunger", "50 death neglect"]
    assert life.summary["misses"] == 3


def test_misses_of_the_second_beyond_the_fatal_number_count_too():
    model = pet(
        fields(grace={"hunger": "10 s", "mood": "10 s"}),
        needs=needs(hunger_starts=0, mood_starts=0),
        fatal_misses=1,
    )
    assert live(model, until="death").summary["misses"] == 2


# Care actions


def test_action_raises_a_need_by_n_up_to_full():
    model = pet(needs=needs(hunger_starts=0), care=care(feast={"raises": {"hunger": 3}}))
    summary = live(model, acting((5, "feast"), (8, "feast")), until=10).summary
    assert [summary[f"level_s.hunger.{level}"] for level in (0, 3, 5)] == [5, 3, 2]


def test_action_that_raises_and_reprimands_raises_first():
    model = pet(
        care=care(nag={"raises": {"hunger": 1}, "reprimands": "yes"}),
        discipline=fields(unfair_costs={"hunger": 1}),
    )
    # Full, it gains nothing and then loses one.
    summary = live(model, acting((5, "nag")), until=10).summary
    assert summary["level_s.hunger.4"] == 5


def test_need_raised_from_0_and_lowered_again_by_one_action_starts_its_deadlines_anew():
    model = pet(
        fields(grace={"hunger": "10 s"}),
        care=care(nag={"raises": {"hunger": 1}, "reprimands": "yes"}),
        needs=needs(hunger_starts=0),
        discipline=fields(unfair_costs={"hunger": 1}),
    )
    assert times(live(model, acting((5, "nag")), until=30), "miss") == [15]


def test_one_action_may_have_any_mix_of_effects():
    tend = {
        "raises": {"hunger": 1, "mood": 2},
        "weight": "+2",
        "cleans": "yes",
        "doses": "yes",
        "lights": "off",
    }
    model = pet(
        fields(
            waste=fields(every="15 s", pile_max=1),
            illness=ill_at(20),
            sleeps=ASLEEP,
            lights_grace="20 s",
        ),
        care=care(tend=tend),
        needs=needs(hunger_starts=1, mood_starts=1),
    )
    life = live(model, acting((40, "tend")), until=61)
    assert story(life, at=40) == ["40 done tend", "40 well"]
    assert (life.summary["level_s.hunger.2"], life.summary["level_s.mood.3"]) == (21, 21)
    assert times(life, "miss") == []
    caretaker = regime(
        {"when": {"clock": span(40, 41)}, "do": "tend"},
        {"when": {"waste": "0", "weight": "2", "lights": "off", "ill": "no"}, "do": "feed"},
        every=1,
        first="40 s",
    )
    assert times(live(model, caretaker, until=41), "done", "feed") == [40]


def test_lost_action_is_done_and_lost_has_no_effect_and_is_not_wasted():
    gamble = {"raises": {"hunger": 1}, "weight": "+1", "works": "0%"}
    model = pet(care=care(gamble=gamble), needs=needs(hunger_starts=1))
    life = live(model, sees({"weight": "0", "hunger": "1"}, 5, (5, "gamble")), until=9)
    summary = life.summary
    assert story(life)[1:] == ["5 lost gamble", "5 wasted cheer"]
    assert (summary["done.gamble"], summary["lost.gamble"], summary["wasted.gamble"]) == (1, 1, 0)
    assert summary["level_s.hunger.1"] == 9


def test_chance_that_an_action_works_is_drawn_unless_refused_even_at_100_percent():
    strict = {"raises": {"hunger": 1}, "refused when": ["full"], "works": "50%"}
    model = pet(care=care(strict=strict), needs=needs(hunger_starts=4))
    life = live(model, acting((1, "feed"), (2, "feed"), (3, "strict")), until=9)
    assert story(life)[1:] == ["1 done feed", "2 wasted feed", "3 refused strict"]
    assert (drawn(life, "works feed"), drawn(life, "works strict")) == (2, 0)


def test_action_refused_when_asleep():
    model = pet({"sleeps": ASLEEP}, care=care(nap={"weight": "+1", "refused when": ["asleep"]}))
    life = live(model, acting((29, "nap"), (30, "nap"), (59, "nap"), (60, "nap")), until=70)
    assert [line for line in story(life) if "nap" in line] == [
        "29 done nap",
        "30 refused nap",
        "59 refused nap",
        "60 done nap",
    ]


def test_action_refused_when_full_is_refused_only_if_every_need_it_raises_is():
    both = {"raises": {"hunger": 1, "mood": 1}, "refused when": ["full"]}
    model = pet(care=care(both=both), needs=needs(hunger_starts=5, mood_starts=4))
    life = live(model, acting((5, "both"), (6, "both")), until=9)
    assert story(life)[1:] == ["5 done both", "6 refused both"]


def test_action_that_raises_nothing_is_never_refused_as_full():
    model = pet(care=care(walk={"weight": "+1", "refused when": ["full"]}))
    assert story(live(model, acting((5, "walk")), until=9))[1:] == ["5 done walk"]


def test_action_not_marked_is_not_refused_when_full_but_wasted_if_it_changes_nothing():
    model = pet(care=care(treat={"raises": {"hunger": 1}, "weight": "+1"}))
    life = live(model, acting((5, "feed"), (6, "treat")), until=9)
    assert story(life)[1:] == ["5 wasted feed", "6 done treat"]


def test_refused_action_costs_its_time_and_presses_and_is_done_and_wasted():
    strict = {"raises": {"hunger": 1}, "refused when": ["full"]}
    model = pet(care=care(strict=strict))
    caretaker = regime(
        {"do": "strict"},
        {"do": "clean"},
        every=100,
        hands={"strict": {"takes": "7 s", "presses": 3}, "clean": {"presses": 0}},
    )
    life = live(model, caretaker, until=9)
    assert story(life)[1:] == ["7 refused strict", "7 wasted clean"]
    summary = life.summary
    assert (summary["done.strict"], summary["wasted.strict"], summary["presses"]) == (1, 1, 3)


def test_action_that_changes_nothing_is_wasted():
    life = live(
        pet(),
        acting(*((i, a) for i, a in enumerate(["feed", "clean", "dose", "lights_on"]))),
        until=9,
    )
    assert story(life)[1:] == [
        "0 wasted feed",
        "1 wasted clean",
        "2 wasted dose",
        "3 wasted lights_on",
    ]


def test_chance_of_working_comes_true_when_the_draw_is_below_it():
    u = uniform(0, "works gamble", 0, 0)
    for p, event in ((u, "lost"), (math.nextafter(u, 1), "done")):
        gamble = {"raises": {"hunger": 1}, "works": repr(p)}
        model = pet(care=care(gamble=gamble), needs=needs(hunger_starts=1))
        assert story(live(model, acting((5, "gamble")), until=9))[1:] == [f"5 {event} gamble"]
