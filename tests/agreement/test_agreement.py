"""The two engines on random lives, on found ones, without the compiler and with its checks on."""

from __future__ import annotations

import os
import subprocess
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from itertools import groupby
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from petsim.life.kinds import ACTION_KINDS, EventKind
from petsim.life.record import Life
from petsim.spec.library import shipped
from petsim.spec.quantities import DAY, WEEK
from petsim.spec.regime import Regime
from tests.agreement.differences import Engines, agreed, write
from tests.drawn import random_rigs, random_worlds
from tests.life.worlds import care, fields, pet, regime
from tests.strategies import World

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
    corpora = ((random_worlds(), 8), (random_rigs(), 3))
    return [life for worlds, n in corpora for world in worlds for life in lives_of(world, n)]


def test_engines_agree_on_random_lives_of_every_kind(lived: list[Life]) -> None:
    assert len(lived) >= 2_000
    events = {event.event for life in lived for event in life.entries}
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
            for event in life.entries if event.event == EventKind.DONE]  # fmt: skip
    worked = {effect for care, name in done for effect in effects if getattr(care[name], effect)}
    assert worked == effects


def test_engines_agree_on_every_effect_of_an_action_that_is_pressed_by_mistake() -> None:
    """All that is done here is done instead of feeding, which slips."""
    stage = fields(
        drops={"hunger": "20 s", "mood": "20 s"},
        waste={"every": "40 s", "pile max": 3},
        illness={"base": "864 per day"},
        misbehaviour={"every": "30 s", "window": "30 s"},
        sleeps=["00:05 to 00:10"],
    )
    extra = {
        "cheer": {"raises": {"mood": 1}, "weight": 1, "works": "50%"},
        "clean": {"cleans": "yes", "refused when": ["asleep"]},
    }
    actions = ["cheer", "clean", "dose", "lights_off", "reprimand"]
    hands = {"feed": {"takes": "1 s", "slips": "100%", "into": dict.fromkeys(actions, "19%")}}
    caretaker = regime({"do": "feed", "repeat": 2}, every=10, hands=hands)
    world = World(pet(stage, care=care(**extra)), caretaker, {"days": HOUR / 86_400}, 0, 0)
    lives = lives_of(world, 10)
    kinds = Counter(event.event for life in lives for event in life.entries)
    assert min(kinds[kind] for kind in ACTION_KINDS) > 20, kinds
    done = {event.what for life in lives for event in life.entries if event.event == EventKind.DONE}
    assert done == {*actions}
    assert all(life.summary["done.feed"] == 0 for life in lives)


class Moment(NamedTuple):
    """A second of a life, and of the week, and how often what of its log happens in it."""

    regime: Regime
    t: int
    of_week: int
    kinds: Counter[str]

    @property
    def time(self) -> tuple[int, int]:
        """The second of the day, and the weekday."""
        return self.of_week % DAY, self.of_week // DAY

    @property
    def is_at_an_edge(self) -> bool:
        """Whether a window of checks opens or closes."""
        windows = [window.during for window in self.regime.checks.windows]
        return self.time[0] in {edge % DAY for w in windows for edge in (w.start, w.end)}

    @property
    def is_due(self) -> bool:
        """Whether a check is surely due that comes at once."""
        checks = self.regime.checks
        if checks.late or checks.jitter or (checks.first == "random" and not checks.at):
            return False
        in_windows = (n for during, n in checks.interval_windows if during.holds(*self.time))
        every = next(in_windows, None if checks.by_stage else checks.every)
        if checks.at:
            return any(time.is_at(*self.time) for time in checks.at)
        return every is not None and self.t >= checks.first and (self.t - checks.first) % every == 0

    @property
    def is_at_a_clock_time(self) -> bool:
        """Whether a check starts at a clock time of checks."""
        return CHECK in self.kinds and bool(self.regime.checks.at) and self.is_due

    @property
    def is_heard(self) -> bool:
        """Whether a check starts that was heard, as all others are forgotten."""
        checks = self.regime.checks
        in_windows = (p for during, p in checks.forgetful_windows if during.holds(*self.time))
        return CHECK in self.kinds and next(in_windows, checks.forgets) == 1.0


CHECK, SKIPPED, FORGOTTEN = (
    EventKind.CHECK, EventKind.CHECK_SKIPPED, EventKind.CHECK_FORGOTTEN
)  # fmt: skip
MEETINGS: dict[str, Callable[[Moment], bool]] = {
    "a spell begins at a look": lambda m: {EventKind.SPELL_BEGINS, CHECK} <= {*m.kinds},
    "a spell ends at a look": lambda m: {EventKind.SPELL_ENDS, CHECK} <= {*m.kinds},
    "a spell begins as the power fails": lambda m: (
        {EventKind.SPELL_BEGINS, EventKind.OUTAGE_BEGINS} <= {*m.kinds}
    ),
    "one is given up as the next starts": lambda m: {SKIPPED, CHECK} <= {*m.kinds},
    "one is given up as the next is skipped": lambda m: m.kinds[SKIPPED] == 2,
    "one is given up as the next is forgotten": lambda m: {SKIPPED, FORGOTTEN} <= {*m.kinds},
    "one is forgotten at an edge of a window": lambda m: FORGOTTEN in m.kinds and m.is_at_an_edge,
    "one is heard as another is due": lambda m: m.is_heard and m.is_due,
    "a clock time at birth": lambda m: m.is_at_a_clock_time and m.t == 0,
    "a clock time at midnight": lambda m: m.is_at_a_clock_time and m.time[0] == 0,
    "a clock time at the turn of the week": lambda m: m.is_at_a_clock_time and m.of_week == 0,
    "a clock time at an edge of a window": lambda m: m.is_at_a_clock_time and m.is_at_an_edge,
}


def moments(life: Life) -> Iterator[Moment]:
    """The seconds of a life in which there is something in its log."""
    begins = life.model.begins
    for t, events in groupby(life.entries, key=lambda event: event.t):
        of_week = (begins.weekday * DAY + begins.clock + t) % WEEK
        yield Moment(life.caretaker.regime, t, of_week, Counter(e.event for e in events))


def crowded(checks: dict[str, Any]) -> World:
    """A world in whose every life much comes in one second, on the night from Sunday to Monday."""
    model = pet({"drops": {"hunger": "10 s"}, "waste": {"every": "15 s", "pile max": 2}},
                needs={"hunger": {"full": 1}}, begins="Sunday 23:59:00")  # fmt: skip
    del model["care"]["cheer"]
    rates = {"waste": {"overlooks": "50%", "imagines": "50%"}, "hunger": {"misreads": "50%"}}
    caretaker = regime(
        {"when": {"waste": "at least 1"}, "look": ["calling", "hunger", "discipline"]},
        {"look": ["waste", "hunger"]},
        {"when": {"hunger": 0}, "do": "feed"},
        checks=checks,
        listens=fields(hears="100%", reacts_in="20 s"),
        outages={"up": "70 s", "down": "30 s"},
        eyes=rates | {"spells": {"clear": "50 s", "lasts": "20 s"} | rates},
        hands={"feed": {"slips": "50%", "into": {"clean": "50%", "reprimand": "50%"}}},
    )
    return World(model, caretaker, {"days": 600 / 86_400}, 0, 0)


EVERY_10 = {"every": "10 s", "first": "0 s"}
AT_TIMES = {"at": ["23:59", "00:00 on Mon", "00:00:30", "00:00:30 on Mon", "00:01"]}
EDGES = [
    {"during": "00:00:30 to 00:01", "forgets": "100%"},
    {"during": "00:01:40 to 00:02", "every": "never"},
]
CROWDS: list[dict[str, Any]] = [
    EVERY_10 | {"forgets": "50%", "windows": EDGES},
    EVERY_10 | {"forgets": "50%", "late": "lognormal median 10 s sigma 5"},
    EVERY_10 | {"forgets": "50%", "late": "uniform 0 s to 21 s", "windows": EDGES},
    EVERY_10 | {"forgets": "100%", "jitter": "9 s"},
    EVERY_10 | {"forgets": "100%"},
    AT_TIMES | {"windows": EDGES},
    AT_TIMES | {"late": "lognormal median 30 s sigma 5"},
    AT_TIMES | {"jitter": "29 s", "forgets": "50%"},
]


def test_engines_agree_on_lives_in_which_much_seldom_comes_together() -> None:
    counts = dict.fromkeys(MEETINGS, 0)
    for checks in CROWDS:
        for moment in (m for life in lives_of(crowded(checks), 20) for m in moments(life)):
            for name, happens in MEETINGS.items():
                counts[name] += happens(moment)
    assert min(counts.values()) >= 3, counts


def test_random_lives_reach_looks_of_steps_that_only_look(lived: list[Life]) -> None:
    regimes = [life.caretaker.regime for life in lived]
    looking = [r for r in regimes if any(step.look for step in r.routine)]
    assert sum(r.eyes.looks.of > 1 for r in looking) >= 3
    assert sum(r.eyes.spells is not None for r in looking) >= 3


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
    assert len(life.entries) == 1 + 2 * HOUR


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
