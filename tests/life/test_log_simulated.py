"""What a rig would have logged of a simulated life, beside what happened in it."""

import pytest

from petsim.life.kinds import ACTION_KINDS, EventKind
from petsim.life.log.entries import Action, Check, Look, Run
from petsim.life.log.simulated import ALIVE, logged
from petsim.life.simulate import simulate, state_at
from petsim.spec.clocks import Begins
from petsim.spec.library import load_pet
from tests.drawn import in_rigs, in_worlds
from tests.life.worlds import alone, fields, needs, pet, regime

HANDS = {"feed": {"takes": "8 s", "presses": 3}, "clean": {"takes": "5 s", "presses": 2}}
EMPTY = pet(needs=needs(hunger_starts=0))
SPROUT = {"form": "sprig", "stage": "young"}


def checked(*routine, model=EMPTY, until=400, every=100, **more):
    return alone(model, regime(*routine, every=every, first="10 s", **more), until=until)


def cut(*cuts, up="1 h"):
    """Power that fails after a time, and comes back after another."""
    return {"outages": {"up": up, "down": cuts[0]}}


def looks(life):
    return [entry for entry in logged(life).entries if isinstance(entry, Look)]


def actions(life):
    return [entry for entry in logged(life).entries if isinstance(entry, Action)]


# Looks and presses


def test_each_observation_is_a_look_with_the_form_and_the_stage():
    steps = [
        {"when": {"hunger": "below 1", "waste": "0"}, "do": "feed"},
        {"when": {"hunger": "below 3"}, "look": ["mood", "calling"]},
    ]
    life = checked(*steps, hands=HANDS, until=60)
    assert logged(life).entries == (
        Check(10, 1),
        Look(10, 1, 1, {"waste": 0, "hunger": 0, **SPROUT}),
        Action(18, 1, "feed", began=10, presses=3),
        # of one step and one second: that of the `when`, and that of the `look`
        Look(18, 1, 2, {"hunger": 1, **SPROUT}),
        Look(18, 1, 2, {"mood": 5, "calling": False, **SPROUT}),
    )


def test_clock_and_stage_are_no_looks():
    steps = [
        {"when": {"clock": "00:00 to 01:00", "stage": "young"}, "do": "clean"},
        {"when": {"form": "sprig"}, "do": "clean"},
    ]
    assert looks(checked(*steps, until=20)) == [Look(10, 1, 2, SPROUT)]


def test_look_has_the_form_of_its_second():
    life = alone(pet(lasts="30 s"), regime({"look": ["mood"]}, every=10, first="20 s"), until=50)
    seen = [(look.t, look.saw["form"], look.saw["stage"]) for look in looks(life)]
    assert seen == [(20, "sprig", "young"), (30, "tree", "adult"), (40, "tree", "adult")]


def test_look_has_what_the_eyes_took_for_the_truth():
    eyes = {"calling": {"overlooks": "100%"}}
    assert looks(checked({"look": ["calling"]}, eyes=eyes, until=20)) == [
        Look(10, 1, 1, {"calling": False, **SPROUT})
    ]


class Pensive:
    """A policy that reads of an earlier observation after an action, and of two in one second."""

    regime = regime(every=1000, first="10 s", hands=HANDS)

    def check(self, look):
        first, second = look(), look()
        assert first["hunger"] == second["hunger"] == 0
        yield "feed"
        assert first["hunger"] == 0
        assert first["mood"] == 5


def test_observations_of_a_policy_are_looks_when_they_are_read():
    life = simulate(EMPTY, Pensive, days=100 / 86_400)
    assert logged(life).entries == (
        Check(10, 1),
        Look(10, 1, 0, {"hunger": 0, **SPROUT}),
        Look(10, 1, 0, {"hunger": 0, **SPROUT}),
        Action(18, 1, "feed", began=10, presses=3),
        Look(18, 1, 0, {"mood": 5, **SPROUT}),
    )


def test_slip_is_the_action_that_was_meant():
    hands = {"feed": {"takes": "8 s", "presses": 3, "slips": "100%", "into": {"clean": "100%"}}}
    life = checked({"do": "feed"}, hands=hands, until=60)
    assert [(e.t, e.event) for e in life.entries if e.event in ACTION_KINDS] == [
        (10, "slipped"), (18, "wasted"),
    ]  # fmt: skip
    assert actions(life) == [Action(18, 1, "feed", began=10, presses=3)]


def test_acts_without_time_keep_their_order():
    steps = [{"look": ["mood"]}, {"do": "feed"}, {"look": ["hunger"]}, {"do": "clean"}]
    kinds = [type(entry).__name__ for entry in logged(checked(*steps, until=20)).entries]
    assert kinds == ["Check", "Look", "Action", "Look", "Action"]


# What is cut off


@pytest.mark.parametrize(("until", "outcome"), [(18, "unfinished"), (19, "unknown")])
def test_end_cuts_off_what_would_land_in_its_second(until, outcome):
    life = checked({"do": "feed"}, hands=HANDS, until=until)
    assert life.summary["cut_off"] == (outcome == "unfinished")
    t, presses = (10, 0) if outcome == "unfinished" else (18, 3)
    assert actions(life) == [Action(t, 1, "feed", 10, presses, outcome)]


@pytest.mark.parametrize(
    ("up", "outcome"), [(11, "unfinished"), (17, "unfinished"), (18, "unfinished"), (19, "unknown")]
)
def test_power_cut_leaves_an_action_unfinished_though_it_lands(up, outcome):
    outages = {"up": f"{up} s", "down": "1 h"}
    life = checked({"do": "feed", "repeat": 1}, hands=HANDS, outages=outages)
    assert [e.t for e in life.entries if e.event == "done"] == [18]
    assert [each.outcome for each in actions(life)] == [outcome]
    assert logged(life).runs == (Run(0, 18 if outcome == "unknown" else 10, is_clean=False),)
    assert (logged(life).until, logged(life).end) == (logged(life).runs[0].until, None)


def test_run_ends_with_the_last_line_before_the_power_cut():
    # a line a minute after the start, and a check at 100 s; the power is off from 281 s to 300 s
    life = checked({"look": ["mood"]}, every=10_000, until=700,
                   outages={"up": "281 s", "down": "19 s"})  # fmt: skip
    assert logged(life).runs == (
        Run(0, 10 + 4 * ALIVE, is_clean=False),
        Run(300, 300 + 4 * ALIVE, is_clean=False),
        Run(600, 700, is_clean=True),
    )
    assert (logged(life).until, logged(life).end) == (700, "left")


def test_a_line_that_would_come_in_the_second_of_the_cut_does_not():
    life = checked(every=10_000, until=300, outages={"up": "190 s", "down": "1 h"})
    assert logged(life).runs == (Run(0, 130, is_clean=False),)


def test_check_is_skipped_in_a_log_only_while_the_rig_is_up():
    hands = {"feed": {"takes": "150 s", "presses": 1}}
    life = checked({"do": "feed"}, hands=hands, until=500, outages={"up": "350 s", "down": "1 h"})
    assert [e.t for e in life.entries if e.event == "check skipped"] == [110, 310, 410]
    assert logged(life).skipped == (110, 310)


# Beginnings and ends


def test_log_of_a_death_says_so():
    dying = pet(fields(**{"fatal after": {"hunger": "1 min"}}), needs=needs(hunger_starts=0))
    log = logged(checked(model=dying, until="death"))
    assert (log.end, log.until, log.runs) == ("died", 60, (Run(0, 60, is_clean=True),))


def test_log_says_who_was_looked_after_and_what_was_looked_at():
    log = logged(simulate("lamplet", "camera-rig", seed=1, days=1))
    assert (log.pet, log.regime, log.begins) == ("lamplet", "camera-rig", Begins())
    assert log.is_born
    assert log.signals == (
        *("hunger", "mood", "waste", "ill", "asleep", "lights", "calling"),
        *("form", "stage", "discipline"),
    )


def test_log_of_a_life_that_goes_on_begins_there():
    model = EMPTY | {"begins": "Sunday 23:59"}
    caretaker = regime({"do": "feed"}, {"look": ["hunger"]}, every=100, first="10 s", hands=HANDS)
    state = state_at(model, caretaker, 112)
    log = logged(simulate(model, caretaker, start=state, days=250 / 86_400))
    assert (log.is_born, log.begins, log.until) == (False, Begins(0, 52), 138)
    assert log.runs == (Run(0, 138, is_clean=True),)
    # the first press of what lands at 118 s was before it
    assert log.lost == ((0, 6),)
    assert log.entries == (
        Look(6, 2, 2, {"hunger": 2, **SPROUT}),
        Check(98, 3),
        Action(106, 3, "feed", began=98, presses=3),
        Look(106, 3, 2, {"hunger": 3, **SPROUT}),
    )


def test_log_of_a_pet_that_was_taken_over_is_not_that_of_a_birth():
    taken = {"petsim": "pet 1", "model": EMPTY, "at": "Tuesday 12:00", "form": "tree", "for": "1 h",
             "levels": {"hunger": 1, "mood": 1}, "misses in form": 0}  # fmt: skip
    log = logged(simulate(load_pet(taken), regime({"look": ["mood"]}, every=100), days=0.01))
    assert (log.is_born, log.begins, log.lost) == (False, Begins(1, 43_200), ())
    assert log.entries[1].saw["form"] == "tree"


# Whatever happens


def the_same_as_lived(world):
    """A log has what was seen and pressed in a life, in order, and lies within its runs."""
    life = simulate(world.model, world.regime, seed=world.seed, life=world.life, **world.span)
    log = logged(life)
    saw = [(e.t, e.check, e.step, *each) for e in log.entries if isinstance(e, Look)
           for each in e.saw.items() if each[0] not in ("form", "stage")]  # fmt: skip
    assert saw == [
        (seen.t, seen.check, seen.step, seen.signal, seen.seen)
        for seen in life.sights
        if seen.signal not in ("form", "stage", "clock")
    ]
    for look in (e for e in log.entries if isinstance(e, Look)):
        assert life.model.forms[look.saw["form"]].stage == look.saw["stage"]
    pressed = [(e.began, e.check, e.action) for e in log.entries if isinstance(e, Action)]
    assert pressed == [(begun.t, begun.check, begun.action) for begun in life.begun]
    finished = [e for e in log.entries if isinstance(e, Action) and e.outcome == "unknown"]
    assert len(finished) <= sum(life.summary[f"{fate}.{action}"] for action in life.model.care
                                for fate in ("done", "lost", "slipped"))  # fmt: skip
    checks = [e.t for e in log.entries if isinstance(e, Check)]
    assert checks == [e.t for e in life.entries if e.event == EventKind.CHECK]
    assert [e.t for e in log.entries] == sorted(e.t for e in log.entries)
    cuts = [e.t for e in life.entries if e.event == EventKind.OUTAGE_BEGINS]
    for run, cut_at in zip(log.runs, cuts, strict=False):
        assert not run.is_clean
        assert 0 < cut_at - run.until <= ALIVE
    assert len(log.runs) - len(cuts) == log.runs[-1].is_clean
    for t in (*(entry.t for entry in log.entries), *log.skipped):
        assert any(run.since <= t <= run.until for run in log.runs)


test_a_log_is_what_was_seen_and_pressed = in_worlds(60)(the_same_as_lived)
test_a_log_of_a_rig_is_what_was_seen_and_pressed = in_rigs(60)(the_same_as_lived)
