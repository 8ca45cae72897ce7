"""Slips that press something else, each rule on a tiny life."""

from __future__ import annotations

import pytest

from petsim.life.streams import uniform
from tests.life.worlds import (
    acting,
    care,
    drawn,
    fields,
    live,
    needs,
    pet,
    regime,
    span,
    story,
    times,
)

LOW = pet(needs=needs(hunger_starts=0, mood_starts=0))


def slipping(into, **more):
    """Hands whose feed always slips, into other actions with these chances."""
    return {"feed": {"slips": "100%", "into": into} | more}


def fed(into, model=LOW, until=100, t=10, seed=0, more_hands=None, **more):
    """The life of a pet that is fed in one check, but that slips."""
    hands = slipping(into, **more.pop("feed", {})) | (more_hands or {})
    caretaker = regime({"do": "feed"}, every=10_000, first=f"{t} s", hands=hands, **more)
    return live(model, caretaker, until=until, seed=seed)


def log(life):
    """All the log but the birth."""
    return story(life, *{e.event for e in life.entries})[1:]


def test_other_action_lands_in_the_second_in_which_the_one_meant_would_have():
    life = fed({"cheer": "100%"}, feed={"takes": "7 s"})
    assert log(life) == ["10 check", "10 slipped feed", "17 done cheer"]
    assert (life.summary["level_s.mood.0"], life.summary["level_s.hunger.0"]) == (17, 100)
    assert log(fed({"cheer": "100%"})) == ["10 check", "10 slipped feed", "10 done cheer"]


def test_other_action_counts_as_done_of_its_own_kind_and_the_one_meant_as_slipped():
    summary = fed({"cheer": "100%"}).summary
    assert (summary["slipped.feed"], summary["done.feed"]) == (1, 0)
    assert (summary["slipped.cheer"], summary["done.cheer"], summary["wasted.cheer"]) == (0, 1, 0)


def test_seconds_and_presses_are_those_of_the_action_meant():
    costly = {"cheer": {"takes": "30 s", "presses": 9}}
    feed = {"takes": "7 s", "presses": 3}
    life = fed({"cheer": "100%"}, feed=feed, more_hands=costly, quiet_hours=[span(10, 11)])
    assert times(life, "done") == [17]
    assert (life.summary["presses"], life.summary["quiet_presses"]) == (3, 3)


def test_other_action_never_slips_itself():
    life = fed({"cheer": "100%"}, more_hands={"cheer": {"slips": "100%", "into": {"feed": "1"}}})
    assert log(life)[1:] == ["10 slipped feed", "10 done cheer"]
    assert (drawn(life, "slips cheer"), drawn(life, "instead cheer")) == (0, 0)


def test_other_action_has_its_chance_to_work_drawn_as_it_lands():
    model = pet(needs=needs(mood_starts=0), care=care(cheer={"raises": {"mood": 1}, "works": "0"}))
    life = fed({"cheer": "100%"}, model, feed={"takes": "7 s"})
    assert log(life)[1:] == ["10 slipped feed", "17 lost cheer"]
    assert (drawn(life, "works cheer"), drawn(life, "works feed")) == (1, 0)
    assert (life.summary["done.cheer"], life.summary["lost.cheer"]) == (1, 1)
    early = fed({"cheer": "100%"}, model, feed={"takes": "7 s"}, until=17)
    assert drawn(early, "works cheer") == 0


@pytest.mark.parametrize(("t", "fate"), [(12, "wasted"), (13, "refused"), (32, "refused")])
def test_other_action_is_refused_by_how_things_are_as_it_lands(t, fate):
    model = pet(
        {"sleeps": [span(20, 40)]}, care=care(nap={"doses": "yes", "refused when": ["asleep"]})
    )
    life = fed({"nap": "100%"}, model, t=t, feed={"takes": "7 s"})
    assert story(life, "wasted", "refused") == [f"{t + 7} {fate} nap"]
    assert life.summary["wasted.nap"] == 1


def test_reprimand_pressed_instead_is_unfair():
    model = pet(needs=needs(mood_starts=2), discipline=fields(unfair_costs={"mood": 1}))
    life = fed({"reprimand": "100%"}, model)
    assert log(life)[1:] == ["10 slipped feed", "10 unfair reprimand"]
    assert (life.summary["unfair"], life.summary["level_s.mood.1"]) == (1, 90)


# Which action it is


@pytest.mark.parametrize(
    "into",
    [
        {"cheer": "40%", "lights_on": "10%"},
        {"lights_on": "10%", "cheer": "40%"},
        {"cheer": "0%", "lights_on": "30%", "clean": "70%"},
    ],
)
def test_first_entry_whose_running_sum_exceeds_its_draw_lands_or_nothing(into):
    landed = []
    for seed in range(40):
        u, total, expected = uniform(seed, "instead feed", 0, 0), 0.0, None
        for action, chance in into.items():
            total += float(chance.rstrip("%")) / 100
            expected = expected or (action if u < total else None)
        life = fed(into, seed=seed)
        after = [e.what for e in life.entries if e.event not in ("birth", "check", "slipped")]
        assert after == ([expected] if expected else [])
        assert drawn(life, "instead feed") == 1
        landed.append(expected)
    others = {None} if sum(float(c.rstrip("%")) for c in into.values()) < 100 else set()
    assert {*landed} == {action for action, chance in into.items() if chance != "0%"} | others


def test_nothing_is_drawn_of_what_it_is_without_a_slip_or_without_into():
    step, chance = {"do": "feed"}, {"cheer": "50%"}
    for hand in ({"slips": "0%", "into": chance}, {"slips": "100%"}, {"into": chance}):
        life = live(LOW, regime(step, every=1, hands={"feed": hand}), until=50)
        assert drawn(life, "instead feed") == 0


def test_each_slip_draws_once_in_its_own_second_from_the_source_of_the_action_meant():
    hands = slipping({"cheer": "50%"}, takes="20 s") | {
        "clean": {"slips": "100%", "into": {"cheer": "50%"}}
    }
    caretaker = regime({"do": "feed", "repeat": 2}, {"do": "clean"}, every=10_000, hands=hands)
    for until, feeds, cleans in ((20, 1, 0), (21, 2, 0), (40, 2, 0), (41, 2, 1)):
        life = live(LOW, caretaker, until=until)
        assert (drawn(life, "instead feed"), drawn(life, "instead clean")) == (feeds, cleans)
        assert drawn(life, "instead cheer") == 0


# What ends it


def test_end_before_the_other_action_lands_leaves_a_slip_and_nothing_cut_off():
    life = fed({"cheer": "100%"}, feed={"takes": "50 s"}, until=60)
    assert log(life) == ["10 check", "10 slipped feed"]
    summary = life.summary
    assert (summary["slipped.feed"], summary["done.cheer"], summary["cut_off"]) == (1, 0, 0)
    assert summary["presses"] == 1
    assert fed({"cheer": "100%"}, feed={"takes": "50 s"}, until=61).summary["done.cheer"] == 1


def test_action_after_a_slip_is_cut_off_as_any_other():
    hands = slipping({"cheer": "100%"}, takes="5 s") | {"clean": {"takes": "50 s"}}
    caretaker = regime({"do": "feed"}, {"do": "clean"}, every=10_000, hands=hands)
    life = live(LOW, caretaker, until=30)
    assert log(life)[1:] == ["0 slipped feed", "5 done cheer"]
    assert life.summary["cut_off"] == 1


def test_outage_lets_the_other_action_land_and_ends_the_check_there():
    hands = slipping({"cheer": "100%"}, takes="7 s")
    steps = [{"do": "feed"}, {"do": "clean"}]
    outages = fields(up="12 s", down="1 h")
    caretaker = regime(*steps, every=10_000, first="10 s", hands=hands, outages=outages)
    assert log(live(LOW, caretaker, until=60)) == [
        "10 check",
        "10 slipped feed",
        "12 outage begins",
        "17 done cheer",
    ]


def test_slip_into_another_action_is_one_thing_done_for_repetitions_and_passes():
    step = {"when": {"hunger": "0"}, "do": "feed", "repeat": 2}
    caretaker = regime(step, every=10_000, passes=2, hands=slipping({"cheer": "100%"}))
    summary = live(LOW, caretaker, until=10).summary
    assert (summary["slipped.feed"], summary["done.cheer"]) == (4, 4)


def test_other_action_shows_in_the_look_that_follows():
    step = {"when": {"mood": "0"}, "do": "feed", "repeat": "until met"}
    caretaker = regime(step, every=10_000, hands=slipping({"cheer": "100%"}, takes="2 s"))
    assert log(live(LOW, caretaker, until=10)) == ["0 check", "0 slipped feed", "2 done cheer"]


def test_call_that_a_reprimand_pressed_instead_causes_is_heard():
    model = pet(needs=needs(mood_starts=1), discipline=fields(unfair_costs={"mood": 1}))
    hands = slipping({"reprimand": "100%"}, takes="5 s")
    listens = {"hears": "100%", "reacts in": "20 s"}
    caretaker = acting((10, "feed"), hands=hands, listens=listens)
    assert drawn(live(model, caretaker, until=30), "hears") == 1
