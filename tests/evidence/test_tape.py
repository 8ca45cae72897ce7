"""A log as a tape: what comes in which order, and in which form."""

import pytest

import petsim
from petsim.evidence.fit import fit_logs
from petsim.evidence.kernels.levels import ACT, GROW, LOOK, PASS, SWITCH
from petsim.evidence.levels import Lived, need_chain
from petsim.evidence.timeline import form_spans
from petsim.life.log.simulated import logged
from tests.evidence.logs import act, log, look


@pytest.fixture(scope="module")
def world():
    return petsim.load_model("lamplet"), petsim.load_regime("ten-minute")


def tape(world, *entries):
    model, regime = world
    life = log(*entries)
    spans = form_spans(life, model)
    lived = Lived(frozenset(span.form for span in spans), frozenset(model.care), 600.0)
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
