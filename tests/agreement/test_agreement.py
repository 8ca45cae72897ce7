"""The two engines on random lives, on found ones, without the compiler and with its checks on."""

from __future__ import annotations

import os
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from itertools import groupby
from pathlib import Path
from typing import Any

import pytest

from petsim.life.kinds import ACTION_KINDS, EventKind
from petsim.life.record import Life
from petsim.spec.library import shipped
from petsim.spec.quantities import DAY, WEEK
from tests.agreement.differences import Engines, agreed, write
from tests.life.worlds import fields, pet, regime
from tests.strategies import World, random_worlds

FOUND = sorted((Path(__file__).parent / "found").glob("*"))
MINUTE, HOUR = 60, 3600
# each lives random lives for a while, in a process that the compiler is set up anew in
SETTINGS = {
    "bounds are checked": ({"NUMBA_BOUNDSCHECK": "1"}, 400),
    "nothing is compiled": ({"NUMBA_DISABLE_JIT": "1"}, 40),
}


def lives_of(world: World, lives: int) -> list[Life]:
    """So many lives of a world, on which the engines agree."""
    engines, lived = Engines(world), []
    for number in range(world.life, world.life + lives):
        found, life = engines.difference(world.seed, number)
        assert found is None, f"{found}\n{write(world._replace(life=number), Path('disagreement'))}"
        lived.append(life)
    return lived


@pytest.fixture(scope="module")
def lived() -> list[Life]:
    """Lives of random worlds, on which the engines agree."""
    return [life for world in random_worlds() for life in lives_of(world, 8)]


def test_engines_agree_on_random_lives_of_every_kind(lived: list[Life]) -> None:
    assert len(lived) >= 2_000
    events = {event.event for life in lived for event in life.log}
    # their pets are born, and none is taken over
    assert events == {kind.value for kind in EventKind} - {EventKind.TAKEN_OVER}
    deaths = {life.summary["died"] for life in lived}
    assert {"untreated illness", "neglect", "old age"} <= deaths
    # and of a need of each name
    assert len(deaths) >= 5
    skipped = sum(life.summary["checks_skipped"] for life in lived)
    forgotten = sum(life.summary["checks_forgotten"] for life in lived)
    lost = sum(n for life in lived for c, n in life.summary.items() if c.startswith("lost."))
    cut_off = sum(life.summary["cut_off"] for life in lived)
    undecided = sum(life.summary["outcome"] == "undecided" for life in lived)
    assert min(skipped, forgotten, lost, cut_off, undecided) > 20


def test_random_lives_reach_every_effect_of_an_action(lived: list[Life]) -> None:
    effects = {"raises", "weight", "cleans", "doses", "lights", "reprimands"}
    done = [(life.model.care, event.what) for life in lived
            for event in life.log if event.event == EventKind.DONE]  # fmt: skip
    worked = {effect for care, name in done for effect in effects if getattr(care[name], effect)}
    assert worked == effects


def test_random_lives_reach_every_effect_of_an_action_that_is_pressed_by_mistake(
    lived: list[Life],
) -> None:
    effects = {"raises", "weight", "cleans", "doses", "lights", "reprimands"}
    # what no step does is only ever done instead of something else
    mistakes = [(life.model.care[event.what], event.event) for life in lived for event in life.log
                if event.event in ACTION_KINDS and event.what not in meant(life)]  # fmt: skip
    assert {kind for _, kind in mistakes} == {*ACTION_KINDS} - {EventKind.SLIPPED}
    worked = {effect for action, kind in mistakes if kind == EventKind.DONE
              for effect in effects if getattr(action, effect)}  # fmt: skip
    assert worked == effects


def meant(life: Life) -> set[str]:
    """The actions that the routine of a life's caretaker does."""
    return {step.do for step in life.caretaker.regime.routine}


def meetings(life: Life) -> Iterator[str]:
    """What seldom comes together in one second, and what came so in a life."""
    regime, begins = life.caretaker.regime, life.model.begins
    checks, spells = regime.checks, regime.eyes.spells
    windows = [window.during for window in checks.windows]
    edges = {edge % DAY for window in windows for edge in (window.start, window.end)}
    looks_on = any(step.look for step in regime.routine)
    for t, same in groupby(life.log, key=lambda event: event.t):
        kinds = [event.event for event in same]
        second = (begins.weekday * DAY + begins.clock + t) % WEEK
        checked = EventKind.CHECK in kinds
        for edge in (EventKind.SPELL_BEGINS, EventKind.SPELL_ENDS):
            if edge in kinds and checked:
                yield f"{edge} at a look" + (" of a step that only looks" if looks_on else "")
        if spells and spells.during and checked and second % DAY == spells.during.start:
            yield "spells begin to count at a look"
        if checked and checks.late and EventKind.CHECK_SKIPPED in kinds:
            yield "given up as the next comes"
        if kinds.count(EventKind.CHECK_SKIPPED) == 2:
            yield "given up as the next is skipped"
        if EventKind.CHECK_FORGOTTEN in kinds and EventKind.CHECK_SKIPPED in kinds:
            yield "given up as the next is forgotten"
        if EventKind.CHECK_FORGOTTEN in kinds and second % DAY in edges:
            yield "forgotten at the edge of a window"
        if checked and checks.at and not checks.late and not checks.jitter:
            yield from (
                f"clock time {place}" for place, is_there in
                (("at birth", t == 0), ("at midnight", second % DAY == 0),
                 ("at the turn of the week", second == 0), ("at an edge", second % DAY in edges))
                if is_there
            )  # fmt: skip
        if checked and checks.forgets == 1.0 and not checks.windows:
            yield "heard where all others are forgotten"
            if checks.every and checks.first == 0 and t % checks.every == 0:
                yield "heard as another would be forgotten"


def test_random_lives_reach_what_seldom_comes_together(lived: list[Life]) -> None:
    counts = Counter(meeting for life in lived for meeting in meetings(life))
    assert min(counts.values()) >= 3, counts
    assert len(counts) == 16, counts


@pytest.mark.parametrize("model", shipped("models"))
@pytest.mark.parametrize("caretaker", shipped("regimes"))
def test_engines_agree_on_what_is_shipped(model: str, caretaker: str) -> None:
    agreed(model, caretaker, until="death", seed=3, life=7)


@pytest.mark.parametrize("folder", FOUND, ids=lambda folder: folder.name)
def test_engines_agree_on_lives_they_once_differed_on(folder: Path) -> None:
    world = World(folder / "model.yaml", folder / "regime.yaml", {"until": "death"}, 0, 0)
    lives_of(world, 20)


@pytest.mark.parametrize("name", SETTINGS)
def test_engines_agree_when(name: str, tmp_path: Path) -> None:
    variables, lives = SETTINGS[name]
    module = [sys.executable, "-m", "tests.agreement"]
    command = [*module, "--minutes", "60", "--lives", "5", "--most", str(lives)]
    # what was compiled without these settings must not be found
    environment = os.environ | variables | {"NUMBA_CACHE_DIR": str(tmp_path)}
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.startswith(f"{lives} lives agree")


# What random worlds are too small for


def test_a_log_longer_than_its_room_is_fetched_in_parts() -> None:
    life = agreed(pet(), regime({"do": "clean"}, every=1), days=HOUR / 86_400)
    assert len(life.log) == 1 + 2 * HOUR


def test_more_of_everything_than_the_usual_room() -> None:
    names = [f"need {number}" for number in range(9)]
    forms: dict[str, Any] = {
        f"form {n}": {"stage": "young", "lasts": "40 s", "grows into": f"form {n + 1}"}
        for n in range(70)
    }
    model = pet(
        {"drops": dict.fromkeys(names, "uniform 3 s to 9 s"),
         "grace": dict.fromkeys(names, "5 s"), "again after": dict.fromkeys(names, "5 s")},
        needs={name: {"full": 3} for name in names},
        care={f"lift {name}": {"raises": {name: 1}} for name in names},
    )  # fmt: skip
    model["forms"] = forms | {"form 70": {"stage": "adult", "lasts": "20 s"}}
    model["aim"] = "form 70"
    eyes = {"windows": [{"during": f"00:0{n}:00 to 00:0{n}:30", names[n]: {"misreads": "30%"}}
                        for n in range(9)]}  # fmt: skip
    steps = [{"when": {name: "exactly 1"}, "do": f"lift {name}"} for name in names] * 8
    life = agreed(model, regime(*steps, every=11, eyes=eyes), until="death")
    assert life.summary["died"] == "old age"
    assert life.summary["misses"] > 100


@pytest.mark.parametrize("errs", [False, True])
def test_routines_too_long_or_too_large_to_be_seen_at_once(errs: bool) -> None:
    """62 steps are seen at once and 63 are not, numbers below 63 are and those above are not."""
    eyes = {"hunger": {"misreads": "5%"}} if errs else {}
    model = pet(
        {"drops": {"hunger": "uniform 10 s to 50 s"}},
        needs={"hunger": {"full": 200, "starts": 150}},
        care={
            "feed": {"raises": {"hunger": 1}, "weight": 1},
            "trim": {"weight": -1},
            "clean": {"cleans": "yes"},
        },
    )
    clocks = [
        {"when": {"clock": f"00:{n:02}:00 to 00:{n + 1:02}:30"}, "do": "feed"} for n in range(9)
    ]
    for steps in (62, 63):
        for bound in (62, 63, 64):
            routine = [
                {"when": {"weight": f"above {bound}"}, "do": "trim", "repeat": 2},
                {"when": {"hunger": f"below {bound}"}, "do": "feed", "repeat": 5},
                {
                    "when": {"hunger": f"at least {bound}", "weight": f"at most {bound}"},
                    "do": "feed",
                },
                *clocks,
            ]
            blind = [{"do": "clean"}] * (steps - len(routine))
            life = agreed(model, regime(*routine, *blind, every=20, eyes=eyes), days=HOUR / 86_400)
            assert life.summary["done.trim"] > 0
            assert life.summary["done.feed"] > 0


def test_lateness_of_many_days_needs_no_more_room() -> None:
    caretaker = regime({"do": "clean"}, every=2**53)
    caretaker["checks"] |= {
        "jitter": f"{2**53 - 1} s",
        "windows": [{"during": "00:00 to 12:00", "every": f"{2**53} s"}],
    }
    agreed(pet(lasts="1 day", adult_lasts="1 day"), caretaker, until="death")


def test_checks_are_counted_that_are_passed_over() -> None:
    blind = [{"do": "clean"}, {"do": "reprimand", "repeat": 3}, {"do": "lights_on"}]
    hands = fields(opening={"takes": "2 s", "presses": 2}, clean={"takes": "1 s", "slips": "0.1%"})
    eyes = {"waste": {"imagines": "0.1%"}, "hunger": {"misreads": "0.1%"}}
    looks = {"when": {"waste": "at least 1", "hunger": "below 3"}, "do": "feed"}
    life = agreed(
        pet({"drops": {"hunger": "1 h"}}),
        regime(*blind, looks, every=7, hands=hands, eyes=eyes, quiet_hours=["01:00 to 02:00"]),
        days=1,
    )
    assert life.summary["checks"] == -(-86_400 // 7)
    assert life.summary["slipped.clean"] > 0


def test_seeds_and_numbers_of_64_bits() -> None:
    for seed, life in ((2**64 - 1, 0), (0, 2**64 - 1), (2**63, 2**63)):
        agreed("lamplet-quick", "camera-rig", seed=seed, life=life)
