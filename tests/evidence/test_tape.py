"""A log as a tape: what comes in which order, and in which form."""

import math

import pytest

import petsim
from petsim.evidence.fit import fit_logs
from petsim.evidence.illness import illness_chain
from petsim.evidence.kernels.levels import ACT, GROW, LOOK, LOST, MIDWAY, PASS, SURE, SWITCH
from petsim.evidence.kernels.misbehaviour import READ
from petsim.evidence.levels import (
    Lived,
    misreading,
    need_chain,
    overlooking,
    pressed_instead,
)
from petsim.evidence.misbehaviour import ALL, misbehaviour_chain
from petsim.evidence.tape import of_outcomes
from petsim.evidence.timeline import form_spans
from petsim.life.log.simulated import logged
from petsim.spec.clocks import Begins
from tests.evidence.logs import act, log, look


@pytest.fixture(scope="module")
def world():
    return petsim.load_model("lamplet"), petsim.load_regime("ten-minute")


def lived_in(life, model):
    """The forms of a life, and what its chains depend on."""
    spans = form_spans(life, model)
    return spans, Lived(frozenset(span.form for span in spans), frozenset(model.care), 600.0)


def tape(world, *entries, **rest):
    model, regime = world
    life = log(*entries, **rest)
    spans, lived = lived_in(life, model)
    [made] = need_chain("hunger", model, regime, lived).over([life], [spans], model).tapes
    return made


def test_growth_comes_before_what_is_done_in_the_second_that_first_shows_it(world):
    made = tape(
        world,
        look(60, form="spark", hunger=3),
        look(400, form="glint", hunger=3),
        act(400, "feed"),
        look(400, form="glint", hunger=5),
    )
    kinds = [*made.kinds]
    assert kinds.index(SWITCH) < kinds.index(ACT)
    assert kinds.count(GROW) >= 1
    # an egg refuses all care, but it is none any more
    assert made.seconds[kinds.index(ACT)] & 1 == 0
    assert [form for _, _, form in made.looks] == ["spark", "glint", "glint"]


def test_what_an_egg_is_fed_in_the_second_that_last_shows_it_is_refused(world):
    made = tape(
        world,
        look(60, form="spark", hunger=3),
        act(60, "feed"),
        look(400, form="glint", hunger=3),
    )
    kinds = [*made.kinds]
    assert kinds.index(ACT) < kinds.index(GROW)
    assert made.seconds[kinds.index(ACT)] & 1


def test_within_the_bracket_an_action_may_land_in_either_form(world):
    made = tape(
        world,
        look(60, form="spark", hunger=3),
        act(200, "feed"),
        look(400, form="glint", hunger=5),
    )
    # in the old form it is refused, in the new one it is not; a pet that refuses does not take it
    assert made.seconds[[*made.kinds].index(ACT)] == 1 | 4


def test_time_asleep_passes_without_a_drop(world):
    model, _ = world
    night = model.stages["juvenile"].sleeps[0]
    evening, morning = night.start - 3600, night.end + 86_400 + 3600
    made = tape(
        world, look(evening, form="flicker", hunger=5), look(morning, form="flicker", hunger=4)
    )
    awake = sum(made.amounts[made.kinds == PASS])
    assert awake >= 2 * 3600
    assert awake < 2 * 3600 + evening + 1
    assert list(made.kinds).count(LOOK) == 2


def test_perfect_eyes_see_nothing_that_can_not_be(world):
    fit = fit_logs([logged(petsim.simulate(*world, seed=3, days=1))], *world)
    assert {chain.name: chain.impossible for chain in fit.chains} == {
        "hunger": (),
        "mood": (),
        "waste": (),
        "illness": (),
    }


# What the screen showed


def test_what_the_screen_showed_of_an_action_is_taken_at_its_word(world):
    fed = [act(100 * n, "feed", outcome) for n, outcome in enumerate(OUTCOMES, 1)]
    made = tape(world, look(50, form="glint", hunger=3), *fed)
    acts = made.seconds[made.kinds == ACT]
    assert [bool(bits & SURE) for bits in acts] == [True, True, True, False, False]
    # 3 that took and 1 that was lost; of the rest nobody knows
    assert of_outcomes([made], [0.75]) == pytest.approx(3 * math.log(0.75) + math.log(0.25))


OUTCOMES = ("took", "took", "took", "lost", "refused", "unknown", "unfinished")


def test_an_action_that_took_was_no_other(world):
    model, _ = world
    rig = petsim.load_regime("camera-rig", model)  # whose reprimand may slip into a dose
    doses = {}
    for outcome in ("unknown", "took", "lost"):
        life = log(look(10_000, form="flicker", ill=True), act(10_100, "reprimand", outcome))
        spans, lived = lived_in(life, model)
        [made] = illness_chain(model, rig, lived).over([life], [spans], rig).tapes
        doses[outcome] = list(made.kinds).count(ACT)
        assert not made.shown
    assert doses == {"unknown": 1, "took": 0, "lost": 0}


# What is not in the log


def test_a_life_that_began_before_its_log_is_midway_in_a_wait(world):
    noon = Begins(0, 12 * 3600)
    seen = [look(100, form="flicker", hunger=3), look(700, form="flicker", hunger=3)]
    assert MIDWAY not in tape(world, *seen, begins=noon).kinds
    made = tape(world, *seen, begins=noon, is_born=False)
    assert [*made.kinds] == [MIDWAY, LOOK, PASS, LOOK]
    # the law is that of the form which it then had
    assert made.firsts[0] == made.firsts[2]


def test_readings_around_lost_lines_say_nothing_of_misbehaviour(world):
    model, regime = world
    body = {"form": "flicker", **dict.fromkeys(model.needs, 3)}
    entries = [
        look(10_000, **body, calling=False, discipline=20),
        look(10_600, form="flicker", calling=True, discipline=16),
        look(11_200, form="flicker", calling=True, discipline=20),
        look(11_800, **body, calling=True, discipline=20),
    ]
    life = log(*entries, lost=((10_600.0, 11_200.0),))
    spans, lived = lived_in(life, model)
    chain = misbehaviour_chain(model, regime, lived, frozenset(("calling", "discipline")))
    [made] = chain.over([life], [spans]).tapes
    # it fell once before them; that it rose in them tells no count, and calls may be of hunger
    assert chain.over([life], [spans]).n_lapses == 1
    assert [bits == ALL for bits in made.seconds[made.kinds == READ]] == [False, True, False]
    assert [t for _, t, _ in made.looks] == [10_000, 10_600, 11_800]
    kinds = list(made.kinds)
    assert kinds.index(LOST) < [place for place, kind in enumerate(kinds) if kind == READ][1]


# What the guess says


def test_a_slip_presses_another_as_often_as_the_hands_say(world):
    rig = petsim.load_regime("camera-rig", world[0])
    # of 3 % slips 20 % press the dose
    action, chance = pressed_instead("reprimand", rig, lambda other: other == "dose")
    assert (action, chance) == ("dose", pytest.approx(0.03 * 0.2))
    assert pressed_instead("play", rig, lambda other: other == "dose") is None


def test_a_misreading_is_one_off_and_at_the_ends_inwards():
    # the manual of regimes; by hand
    table = misreading(3, 0.1)
    assert [list(row) for row in table] == [
        pytest.approx(row)
        for row in (
            [0.95, 0.05, 0, 0],
            [0.05, 0.9, 0.05, 0],
            [0, 0.05, 0.9, 0.05],
            [0, 0, 0.05, 0.95],
        )
    ]
    assert [list(row) for row in overlooking(2, 0.1, 0.02)] == [
        pytest.approx(row) for row in ([0.98, 0.02, 0], [0.1, 0.9, 0], [0.1, 0, 0.9])
    ]


def test_waste_and_weight_add_to_the_rate_of_illness(world):
    model, regime = world
    illness = model.forms["flicker"].illness
    heavy = illness.heavy_above + 10
    life = log(
        look(10_000, form="flicker", ill=False, waste=2, weight=heavy),
        look(10_600, form="flicker", ill=False),
    )
    spans, lived = lived_in(life, model)
    chain = illness_chain(model, regime, lived).over([life], [spans], regime)
    rate = 2 * illness.per_waste + 10 * illness.per_excess
    assert rate > 2 * illness.per_waste > 0
    assert chain.excess[0][-2] == pytest.approx(rate / 86_400 * 600)
