"""Pets that simulated lives leave: what their files say, and what other lives make of them."""

from __future__ import annotations

import random
from collections import Counter
from functools import cache

import pytest

import petsim
from petsim.errors import ArgumentError
from petsim.life.history import replay
from petsim.life.record import Life
from petsim.life.simulate import Span, choose_engine, load_together
from petsim.life.state import State
from petsim.spec.clocks import Begins
from petsim.spec.parts import as_yaml
from petsim.spec.reading import read_text
from petsim.spec.taken_over import TakenOver
from tests.drawn import random_rigs, random_takeovers, random_worlds

HANDS_OFF = {"petsim": "regime 1", "name": "Nobody", "checks": {"every": "1 h"}, "routine": []}


class Left:
    """A life, and its pet as it was at a second of it."""

    def __init__(self, life: Life, state: State) -> None:
        self.life, self.state = life, state
        self.pet, self.lost = petsim.pet_of(state, life.model)

    @property
    def ages(self) -> dict[str, int]:
        return {key: age.low for key, age in self.pet.since_last.items()}


@cache
def left() -> list[Left]:
    """Pets that random lives had at random seconds, often next to an event."""
    pets, chance = [], random.Random(0)
    for world in [*random_worlds(160), *random_rigs(80), *random_takeovers(150)]:
        model, [regime] = load_together(world.model, [world.regime])
        engine = choose_engine(model, regime, Span("death"), "compiled")
        life = engine.live(world.seed, world.life, traced=True)
        end = life.summary["end_s"]
        near = [entry.t + by for entry in life.entries for by in (-1, 1, 2, 20)]
        for t in {chance.randrange(1, end + 1), chance.choice(near), chance.choice(near)}:
            if 1 <= t < end:
                state = engine.state_at(world.seed, world.life, t)
                try:
                    pets.append(Left(life, state))
                except ArgumentError as error:
                    assert leaves(state, life), error
    return pets


def leaves(state: State, life: Life) -> bool:
    """Whether a pet grows up or dies in a second, or as it wakes."""
    ends = any(e.t == state.t and e.event in ("growth", "death") for e in life.entries)
    return ends or any(not state.left[name] for name in state.left if name.startswith("fatal"))


def test_the_pet_is_as_it_was() -> None:
    for each in left():
        pet, state = each.pet, each.state
        form = each.life.model.forms[state.form]
        assert {need: level.low for need, level in pet.levels.items()} == state.levels
        assert (pet.form, pet.weight.low) == (state.form, state.weight)
        assert pet.discipline.low == state.discipline
        assert str(pet.at) == clock_text_of(each.life, state.t)
        if not form.dormant:
            assert (pet.pile.low, bool(pet.ill)) == (state.pile, state.ill)


def test_it_has_been_in_its_form_since_before_it_was_taken_over() -> None:
    stayed = 0
    for each in left():
        state, model, age = each.state, each.life.model, each.pet.form_age.low
        in_life = state.t - state.counts[f"entered_s.{state.form}"]
        if isinstance(model, TakenOver) and in_life == state.t:
            before = model.pet.form_age
            assert before.low <= age - in_life <= before.high
            stayed += before.low > 0
        else:
            assert age == in_life
    assert stayed > 10, stayed


def clock_text_of(life: Life, t: int) -> str:
    clock = life.clock(t)
    return str(Begins(clock.weekday, clock.second))


def test_its_file_is_a_file_that_says_the_same() -> None:
    for each in left():
        assert petsim.load_pet(read_text(as_yaml(each.pet), "it").data) == each.pet


def test_its_waits_are_as_old_as_the_log_shows() -> None:
    shown = Counter[str]()
    for each in left():
        for key, age in each.ages.items():
            began = last_beginning(key, each)
            if began is not None:
                assert age == awake_between(began, each), (key, each.state)
                shown[key if key in ("waste", "misbehaviour") else "need"] += 1
    assert min(shown.values()) > 1 and len(shown) == 3, shown


def last_beginning(key: str, each: Left) -> int | None:
    """The second at which a wait began, if the log shows it for sure.

    A need that was at 0 may have dropped unseen, and waste that filled its place come unseen.
    """
    t, entered = each.state.t, each.state.counts[f"entered_s.{each.state.form}"]
    in_form = [entry for entry in each.life.entries if entered <= entry.t < t]
    if key == "waste":
        of_key = [e for e in in_form if e.event == "waste"]
        full = each.life.model.forms[each.state.form].waste.pile_max
        begins = [e.t for e in of_key if e.value < full]
        return begins[-1] if begins and of_key[-1].value < full else None
    if key == "misbehaviour":
        ends = [e.t for e in in_form if e.event == "lapse"]
        other = [e for e in in_form if e.event in ("misbehaves", "asleep")]
        return ends[-1] if ends and not any(e.t >= ends[-1] for e in other) else None
    drops = [e for e in in_form if e.event == "drop" and e.what == key]
    lowered = [e for e in in_form if e.event == "unfair"]
    is_sure = drops and drops[-1].value > 0 and not lowered
    return drops[-1].t if is_sure else None


def awake_between(since: int, each: Left) -> int:
    t = each.state.t
    asleep = replay(each.life).stretches(lambda moment: moment.asleep)
    slept = sum(max(0, min(stretch.until, t) - max(stretch.since, since)) for stretch in asleep)
    return t - since - slept


def test_what_troubles_it_is_a_miss_when_it_would_have_been() -> None:
    same = Counter[str]()
    for each in left():
        if each.lost:
            continue
        model, t = each.life.model, each.state.t
        without_care = petsim.simulate(model, HANDS_OFF, start=each.state, until="death")
        taken_over = petsim.simulate(each.pet, HANDS_OFF, until="death")
        for cause in troubles(each.state):
            ahead = first_miss(cause, without_care, t), first_miss(cause, taken_over, 0)
            grown = min(first_growth(without_care, t), first_growth(taken_over, 0))
            if None not in ahead and max(ahead) < grown:
                assert ahead[0] == ahead[1], (cause, each.state)
                same[cause if cause in ("waste", "illness", "lights") else "need"] += 1
    assert min(same.values()) > 1 and len(same) == 4, same


def troubles(state: State) -> list[str]:
    there = {need: level == 0 for need, level in state.levels.items()}
    there |= {"waste": state.pile > 0, "illness": state.ill, "lights": state.asleep}
    return [cause for cause, is_there in there.items() if is_there]


def first_miss(cause: str, life: Life, since: int) -> int | None:
    of_cause = (e.t - since for e in life.entries if (e.event, e.what) == ("miss", cause))
    return next(of_cause, None)


def first_growth(life: Life, since: int) -> int:
    return next((e.t - since for e in life.entries if e.event == "growth"), life.summary["end_s"])


def test_nothing_is_lost_of_most_and_what_is_lost_is_said() -> None:
    lost = Counter(what for each in left() for what in each.lost)
    assert sum(not each.lost for each in left()) > len(left()) / 3
    for each in left():
        assert ("a misbehaviour under way" in each.lost) == each.state.misbehaving
        assert ("that the power is out" in each.lost) != each.state.power
        assert ("a spell of bad light" in each.lost) == each.state.in_spell
    assert {"an action under way", "a check that is late", "a call that will be answered"} <= {
        *lost
    }


def test_other_luck_from_a_growth_on_gives_the_odds_of_all_lives_that_came_there() -> None:
    """Met a second after growth, with other luck: as the lives that go on, by the Markov property.

    Two independent samples of n lives, whose shares differ by chance alone (two-sided z).
    """
    model, [rig] = load_together("lamplet", ["camera-rig"])
    engine = choose_engine(model, rig, Span("death"), "compiled")
    batch = petsim.batch(model, "camera-rig", lives=300, seed=3)
    came = batch.lives[batch.lives["entered_s.glow"] >= 0]
    became = (came["outcome"] == "beacon").sum()
    again = 0
    for number, entered in zip(came["life"], came["entered_s.glow"], strict=True):
        state = engine.state_at(3, int(number), int(entered) + 1)
        pet = petsim.pet_of(state, model).pet
        other_luck = petsim.batch(pet, "camera-rig", lives=1, seed=1000 + int(number))
        again += other_luck.lives["outcome"][0] == "beacon"
    n = len(came)
    share = (became + again) / (2 * n)
    assert n > 250 and abs(became - again) / n < 4.5 * (2 * share * (1 - share) / n) ** 0.5


def test_a_pet_that_grows_up_in_the_second_is_in_no_file() -> None:
    state = petsim.state_at("lamplet", "ten-minute", 600)
    at_growth = state.due["growth"]
    then = petsim.state_at("lamplet", "ten-minute", at_growth)
    with pytest.raises(ArgumentError, match=f"^second {at_growth}: the pet leaves its form; "):
        petsim.pet_of(then, petsim.load_model("lamplet"))
