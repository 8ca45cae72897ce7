"""One life on both engines, and the first thing that differs."""

from __future__ import annotations

from itertools import zip_longest
from pathlib import Path
from typing import Any

from petsim.life.caretaker import load_caretaker
from petsim.life.compiled import CompiledEngine
from petsim.life.record import Life
from petsim.life.reference import ReferenceEngine
from petsim.life.simulate import Span
from petsim.spec.library import load_model
from petsim.spec.parts import as_yaml
from tests.strategies import World


class Engines:
    """Both engines for the lives of one world; hears every life's log, if asked."""

    def __init__(self, world: World) -> None:
        self.model = load_model(world.model)
        self.caretaker = load_caretaker(world.regime, self.model)
        span = Span(**world.span)
        ends: dict[str, Any] = {"until_outcome": span.to_outcome, "horizon": span.horizon}
        self.reference = ReferenceEngine(self.model, self.caretaker, **ends)
        self.compiled = CompiledEngine(self.model, self.caretaker, **ends)

    def difference(self, seed: int, number: int) -> tuple[str | None, Life]:
        """The first difference between the engines in one life, if any; and the reference's life.

        The compiled engine lives it twice, as it passes over checks only in an untraced life.
        """
        life = self.reference.live(seed, number, traced=True)
        traced, untraced = (
            self.compiled.live(seed, number, traced=trace) for trace in (True, False)
        )
        return (
            _of_logs(life, traced)
            or _of_numbers("traced", life, traced)
            or _of_numbers("untraced", life, untraced)
        ), life


def agreed(model: Any, regime: Any, **options: Any) -> Life:
    """One life as `petsim.simulate` gives it, that the compiled engine must not live otherwise."""
    seed, number = options.pop("seed", 0), options.pop("life", 0)
    found, life = Engines(World(model, regime, options, seed, number)).difference(seed, number)
    assert found is None, found
    return life


def _of_logs(life: Life, other: Life) -> str | None:
    for ours, theirs in zip_longest(life.entries, other.entries):
        if ours != theirs:
            at = life.clock((ours or theirs).t)
            return f"log, at {at}: reference {ours}, compiled {theirs}"
    return None


def _of_numbers(trace: str, life: Life, other: Life) -> str | None:
    for what, ours, theirs in (
        ("column", life.summary, other.summary),
        ("draws of", life.draws, other.draws),
    ):
        for name in {**ours, **theirs}:
            if ours.get(name) != theirs.get(name):
                found = f"reference {ours.get(name)}, compiled {theirs.get(name)}"
                return f"{trace}, {what} {name}: {found}"
    return None


def write(world: World, folder: Path) -> str:
    """Write a world as files; the command that replays its life."""
    folder.mkdir(parents=True, exist_ok=True)
    model, regime = folder / "model.yaml", folder / "regime.yaml"
    pet = load_model(world.model)
    model.write_text(as_yaml(pet), encoding="utf-8")
    regime.write_text(as_yaml(load_caretaker(world.regime, pet).regime), encoding="utf-8")
    [(option, value)] = world.span.items()
    return (
        f"petsim run {regime} --model {model} --seed {world.seed} --life {world.life}"
        f" --{option} {value!s}"
    )
