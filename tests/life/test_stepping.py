"""Lives that are stepped are those that a Python policy lives which does the same."""

from __future__ import annotations

import zlib
from typing import Any, ClassVar

import numpy as np
import pytest

import petsim
from petsim.errors import ArgumentError
from petsim.life.stepping import END
from tests.drawn import in_rigs, in_worlds
from tests.strategies import World

LIVES = 2


def choice(asked: int, seen: list[int], actions: tuple[str, ...]) -> str:
    """Anything at all, but the same whoever asks: of actions, the last of which ends a check."""
    return actions[zlib.crc32(repr((asked, seen)).encode()) % len(actions)]


def policy_of(world: World, signals: tuple[str, ...], actions: tuple[str, ...]) -> type[Any]:
    class Chooses:
        regime: ClassVar = {key: said for key, said in world.regime.items() if key != "routine"}

        def __init__(self) -> None:
            self.asked = 0

        def check(self, look: Any) -> Any:
            while True:
                sight = look()
                seen = [int(sight[signal]) for signal in signals]
                action = choice(self.asked, seen, actions)
                self.asked += 1
                if action == END:
                    return
                yield action

    return Chooses


def lived_by_steps(world: World, signals: tuple[str, ...]) -> petsim.Steps:
    steps = petsim.Steps(
        world.model, world.regime, lives=LIVES, seed=world.seed, signals=signals, **world.span
    )
    asked = np.zeros(LIVES, dtype=int)
    while steps.waits.any():
        seen, waits = steps.seen, steps.waits
        chosen = [
            choice(int(asked[k]), [int(seen[signal][k]) for signal in signals], steps.actions)
            for k in range(LIVES)
        ]
        asked += waits
        steps.act(chosen)
    return steps


def same_as_under_a_policy(world: World) -> None:
    needs = tuple(petsim.load_model(world.model).needs)
    signals = ("waste", "ill", needs[0], "asleep", "calling", "discipline")
    steps = lived_by_steps(world, signals)
    policy = policy_of(world, signals, steps.actions)
    lived = [
        petsim.simulate(world.model, policy, seed=world.seed, life=number, **world.span).summary
        for number in range(LIVES)
    ]
    assert steps.lives.to_dict("records") == lived


@in_worlds(30)
def test_stepped_as_a_policy_a_life_is_the_same(world: World) -> None:
    same_as_under_a_policy(world)


@in_rigs(40)
def test_so_it_is_with_all_that_rigs_add(world: World) -> None:
    same_as_under_a_policy(world)


def test_many_at_once_are_as_each_alone() -> None:
    def stepped(lives: int) -> petsim.Steps:
        steps = petsim.Steps("lamplet-quick", "camera-rig", lives=lives, seed=5)
        while steps.waits.any():
            hungry = steps.seen["hunger"] <= 2
            steps.act(np.where(hungry, steps.actions.index("feed"), len(steps.actions) - 1))
        return steps

    many, few = (stepped(lives).lives.to_dict("records") for lives in (30, 3))
    assert many[:3] == few


def test_a_pet_as_it_is_now_is_stepped_from_now_on() -> None:
    state = petsim.state_at("lamplet", "ten-minute", 200_000)
    pet = petsim.pet_of(state, petsim.load_model("lamplet")).pet
    steps = petsim.Steps(pet, "ten-minute", lives=3)
    assert steps.waits.all() and (steps.form == pet.form).all() and (steps.t < 600).all()


def test_an_action_in_a_life_that_is_over_does_nothing() -> None:
    steps = petsim.Steps("lamplet-quick", "hands-off", days=0.01)
    assert not steps.waits.any()
    before = steps.lives
    steps.act("feed")
    assert steps.lives.to_dict("records") == before.to_dict("records") and steps.t == [864]


@pytest.mark.parametrize(
    ("action", "message"),
    [
        ("fed", "action: 'fed'; did you mean 'feed'?"),
        (9, "action: 9; expected a place from 0 to 8"),
        (["feed"] * 3, "action: an array of shape (3,); expected one, or one for each of 2 lives"),
    ],
)
def test_an_action_that_there_is_not_is_refused(action: Any, message: str) -> None:
    steps = petsim.Steps("lamplet", "ten-minute", lives=2)
    with pytest.raises(ArgumentError) as caught:
        steps.act(action)
    assert str(caught.value) == message


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"signals": ["hungar"]}, "signals: 'hungar'; did you mean 'hunger'?"),
        ({"lives": 0}, "lives: 0; expected at least 1"),
    ],
)
def test_what_cannot_be_stepped_is_refused(given: dict[str, Any], message: str) -> None:
    with pytest.raises(ArgumentError) as caught:
        petsim.Steps("lamplet", "ten-minute", **given)
    assert str(caught.value) == message
