"""Lives that are left at a second and go on, and pets that are taken over, on both engines."""

from __future__ import annotations

import random
from collections import Counter

import pytest

import petsim
from petsim.errors import ArgumentError
from petsim.life.kinds import EventKind
from petsim.life.record import Life
from petsim.life.state import State
from tests.agreement.differences import Engines
from tests.drawn import in_worlds, of_each, random_rigs, random_takeovers, random_worlds
from tests.strategies import World


def left_anywhere(world: World, lives: int, times: int) -> list[tuple[Life, State]]:
    """Leave lives of a world at random seconds, compare the engines, and let each go on with
    what the other left.

    The seconds are often those of an event or next to one.
    """
    engines, left = Engines(world), []
    chance = random.Random(f"{world.seed} {world.life}")
    for number in range(world.life, world.life + lives):
        difference, whole = engines.difference(world.seed, number)
        assert difference is None
        end = whole.summary["end_s"]
        if end < 2:
            continue
        near = [entry.t + by for entry in whole.entries for by in (-1, 0, 1, 2)]
        for _ in range(times):
            t = min(max(chance.choice([chance.randrange(1, end), chance.choice(near)]), 1), end - 1)
            state = engines.reference.state_at(world.seed, number, t)
            assert state is not None
            assert state == engines.compiled.state_at(world.seed, number, t)
            kept = petsim.read_state(state.as_text())
            assert kept == state
            for engine in (engines.reference, engines.compiled):
                rest = engine.live(world.seed, number, traced=True, start=kept)
                assert rest.summary == whole.summary
                assert rest.entries == tuple(entry for entry in whole.entries if entry.t >= t)
                assert rest.draws == whole.draws
            left.append((whole, state))
    return left


@in_worlds(120)
def test_a_life_goes_on_as_it_would_have_wherever_it_was_left(world: World) -> None:
    left_anywhere(world, lives=1, times=3)


@of_each(lambda: random_takeovers()[:150])
def test_a_pet_that_is_taken_over_lives_alike_on_both_engines(world: World) -> None:
    left_anywhere(world, lives=2, times=1)


def test_random_states_are_of_all_kinds() -> None:
    kinds: Counter[str] = Counter()
    for world in [*random_worlds()[100:160], *random_rigs()[50:100]]:
        for _, state in left_anywhere(world, lives=1, times=4):
            kinds["asleep"] += state.asleep
            kinds["ill"] += state.ill
            kinds["misbehaving"] += state.misbehaving
            kinds["no power"] += not state.power
            kinds["bad light"] += state.in_spell
            kinds["late"] += bool(state.late)
            kinds["answer"] += state.answer is not None
            kinds["act"] += state.act is not None
            kinds["thresholds"] += bool(state.error_units)
    assert min(kinds.values()) > 0 and len(kinds) == 9, kinds


def test_random_pets_are_of_all_kinds() -> None:
    worlds = random_takeovers()
    assert len(worlds) >= 150
    kinds: Counter[str] = Counter()
    for world in worlds[:150]:
        start = Engines(world).reference.live(world.seed, world.life, traced=True).start
        assert start is not None
        kinds["asleep"] += start.asleep
        kinds["ill"] += start.ill
        kinds["a pile"] += start.pile > 0
        kinds["empty"] += 0 in start.levels.values()
        kinds["decided"] += start.outcome != "undecided"
        kinds["left asleep"] += bool(start.left)
    assert min(kinds.values()) > 0 and len(kinds) == 6, kinds


def test_taken_over_is_the_first_event_of_second_0() -> None:
    for world in random_takeovers()[:40]:
        life = Engines(world).reference.live(world.seed, world.life, traced=True)
        assert (life.entries[0].t, life.entries[0].event) == (0, EventKind.TAKEN_OVER)


# From Python


def test_state_at_and_simulate_go_together() -> None:
    whole = petsim.simulate("lamplet", "camera-rig", seed=3, life=2)
    state = petsim.state_at("lamplet", "camera-rig", 200_000, seed=3, life=2)
    rest = petsim.simulate("lamplet", "camera-rig", start=state)
    assert rest.summary == whole.summary
    later = petsim.state_at("lamplet", "camera-rig", 300_000, start=state)
    assert later == petsim.state_at("lamplet", "camera-rig", 300_000, seed=3, life=2)


def refusal(call, *given, **named) -> str:
    with pytest.raises(ArgumentError) as caught:
        call(*given, **named)
    return str(caught.value)


def test_states_that_cannot_be() -> None:
    state = petsim.state_at("lamplet-quick", "ten-minute", 1_000)
    assert refusal(petsim.simulate, "lamplet", "ten-minute", start=state) == (
        "start: found a state of another model; expected one of a life of lamplet"
    )
    assert refusal(petsim.state_at, "lamplet", "ten-minute", 0) == (
        "t: 0; expected a second of the life, a whole number from 1"
    )
    assert refusal(petsim.state_at, "lamplet", "ten-minute", 10**9) == (
        "t: 1000000000; expected a second before the life 0 is over"
    )
    text = state.as_text().replace('"version": 1', '"version": 2')
    assert refusal(petsim.read_state, text) == (
        "state: version: Input should be 1; expected what State.as_text returned, version 1"
    )
