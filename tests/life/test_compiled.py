"""What of the compiled engine living on both engines does not show: its generator, its cache."""

from __future__ import annotations

import logging
import math
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import petsim
from petsim.errors import ArgumentError
from petsim.life import draws
from petsim.life.compiled.chance import (
    MARGIN,
    fill,
    near_exponential,
    work_out,
)
from petsim.life.compiled.compiling import called_from_python, compiled, inlined
from petsim.life.compiled.layout import ROOMS
from petsim.life.compiled.lower import lower_files
from petsim.life.kinds import EventKind
from petsim.life.simulate import Span, choose_engine, load_together
from petsim.life.streams import block, open_uniforms
from petsim.spec.laws import FAMILIES, Distribution, distribution
from tests.life.worlds import pet, regime

EXPONENTIAL = list(FAMILIES).index("exponential")
HIGHEST = 1.0 - 2.0**-53
DIGEST = "from petsim.life.compiled.compiling import digest; print(digest())"


@called_from_python
def work_out_of_first(tables, states, law, source):  # type: ignore[no-untyped-def]
    work_out(tables[0], states[0], law, source)


@called_from_python
def fill_of_first(states, source, number, block):  # type: ignore[no-untyped-def]
    # a state is only passed on by compiled code, as one of its fields lies over others
    fill(states[0], source, number, block)


@called_from_python
def near_exponential_of(u):  # type: ignore[no-untyped-def]
    return near_exponential(u)


def records(regime: str = "hands-off") -> tuple[Any, Any]:
    """A table and a state, of one record each."""
    lowered = lower_files(
        petsim.load_model("lamplet-quick"),
        petsim.load_regime(regime),
        until_outcome=True,
    )
    return lowered.table, np.zeros(1, dtype=lowered.state).view(np.recarray)


@pytest.mark.parametrize("seed", [0, 1, 2**63, 2**64 - 1])
@pytest.mark.parametrize("source", [0, 0x9E3779B97F4A7C15, 2**64 - 1])
def test_generator_is_that_of_the_streams(seed: int, source: int) -> None:
    # which are checked against the published vectors of Philox4x64-10 and against numpy's
    _, state = records()
    state["seed"] = seed
    for life, number in ((0, 0), (1, 7), (2**64 - 1, 2**51)):
        state["life"] = life
        fill_of_first(state, 0, np.uint64(source), number)
        words = [
            word for n in (number, number + 1) for word in block((n, source, life, 0), (seed, 0))
        ]
        assert state["word"][0][0].tolist() == words


# Quantiles near the exact ones, and the margins in which those are asked

UNIFORMS = [
    (word + 0.5) * 2.0**-52
    for power in range(52)
    for word in (2**power - 1, 2**power, 2**52 - 2**power, 2**52 - 2**power - 1, 3 * 2**power // 2)
    if word < 2**52
] + [float(u) for u in np.random.Generator(np.random.Philox(3)).random(20_000) if u > 0.0]


def test_near_quantiles_are_nearer_than_the_margin() -> None:
    # against math.log1p, which gives all but the last bit or two
    worst = max(abs(near_exponential_of(u) / -math.log1p(-u) - 1.0) for u in UNIFORMS)
    assert 8 * worst < MARGIN


def test_thresholds_are_those_of_the_draws() -> None:
    table, state = records()
    for life in range(2_000):
        state["life"] = life
        state["drawn"], state["law_ahead"] = 8, -1
        work_out_of_first(table, state, table["threshold"][0], 0)
        us = open_uniforms(state["word"][0][0])
        assert state["ahead"][0][0].tolist() == [draws.error_threshold(u) for u in us]


@pytest.mark.parametrize("about", [3, 600, 86_400, 10**6, 10**9])
def test_seconds_are_those_of_the_draws_where_they_change(about: int) -> None:
    """Means whose quantile at some uniform lies at a bound between two seconds, give or take a few
    of its last bits."""
    table, state = records("ten-minute")
    seed = 5
    for life in range(40):
        state["seed"], state["life"] = seed, life
        fill_of_first(state, 0, np.uint64(9), 0)
        us = open_uniforms(state["word"][0][0])
        bound = about + life - 0.5
        for u in us:
            mean = bound / -math.log1p(-u)
            for _ in range(4):
                mean = math.nextafter(mean, 0.0)
            for _ in range(9):
                table["law"][0][0], table["parameter"][0][0][0] = EXPONENTIAL, mean
                state["law_ahead"] = -1
                state["drawn"] = 1
                work_out_of_first(table, state, 0, 0)
                law = Distribution("exponential", (mean,))
                assert state["ahead"][0][0].tolist() == [draws.sample(law, u) for u in us]
                mean = math.nextafter(mean, math.inf)


@pytest.mark.parametrize("text", ["exponential 2 s", "exponential 0.1 s", "uniform 0 s to 2 s",
                                  "lognormal median 1 s sigma 50"])  # fmt: skip
def test_lateness_is_that_of_the_draws(text: str) -> None:
    caretaker = regime(checks={"every": "1 h", "late": text})
    model, [caretaker] = load_together(pet(), [caretaker])
    lowered = lower_files(model, caretaker.regime, until_outcome=True)
    table, state = lowered.table, np.zeros(1, dtype=lowered.state).view(np.recarray)
    law, latenesses = distribution(text), set()
    for life in range(500):
        state["life"] = life
        state["drawn"], state["law_ahead"] = 8, -1
        work_out_of_first(table, state, table["lateness"][0], 0)
        us = open_uniforms(state["word"][0][0])
        ahead = state["ahead"][0][0].tolist()
        assert ahead == [draws.lateness(law, u) for u in us]
        latenesses.update(ahead)
    assert {0, 1} <= latenesses
    assert max(latenesses) <= 2**53


def test_what_was_compiled_is_not_used_once_any_rule_has_changed(tmp_path: Path) -> None:
    package = tmp_path / "petsim"
    shutil.copytree(Path(petsim.__file__).parent, package)

    def digest() -> str:
        return subprocess.run(
            [sys.executable, "-c", DIGEST],
            cwd=tmp_path,
            env=os.environ | {"PYTHONPATH": str(tmp_path)},
            capture_output=True,
            text=True,
            check=True,
        ).stdout

    before = digest()
    assert digest() == before
    for file in (
        "life/compiled/pet.py",
        "life/draws.py",
        "life/compiled/layout.py",
        "spec/laws.py",
    ):
        with (package / file).open("a", encoding="utf-8") as stream:
            stream.write("# changed\n")
        assert digest() != before, file
        before = digest()
    with (package / "view" / "text.py").open("a", encoding="utf-8") as stream:
        stream.write("# changed\n")
    assert digest() == before


def test_what_is_too_large_for_compiled_code_lives_on_the_reference_engine(
    caplog: pytest.LogCaptureFixture,
) -> None:
    care = {f"act{n}": {"raises": {"hunger": 1}} for n in range(64 * ROOMS["actions"])}
    model, [caretaker] = load_together(pet(care=care), [regime(every=3600)])
    with caplog.at_level(logging.WARNING):
        assert choose_engine(model, caretaker, Span(days=1), "auto").name == "reference"
    assert "larger than it has room for" in caplog.text
    with pytest.raises(ArgumentError, match=r"^engine: 'compiled', but .* is larger than it has"):
        choose_engine(model, caretaker, Span(days=1), "compiled")


def test_a_log_kept_in_part_is_that_part_of_it():
    model, [caretaker] = load_together("lamplet-quick", ["hourly"])
    engine = choose_engine(model, caretaker, Span("death"), "compiled")
    whole = engine.live(0, 3, traced=True)
    kinds = (EventKind.MISS, EventKind.DEATH)
    part = engine.live(0, 3, traced=True, kept=kinds)
    assert part.entries == tuple(entry for entry in whole.entries if entry.event in kinds)
    assert 1 < len(part.entries) < len(whole.entries)
    assert part.summary == whole.summary


def test_what_an_inlined_function_calls_is_not_inlined_by_force() -> None:
    # as numba has it otherwise, which made the loop four times as large
    called = compiled(lambda x: x + 1)
    caller = inlined(lambda x: 2 * called(x))
    assert called_from_python(lambda x: caller(x) + 1)(1) == 5
    assert "alwaysinline" in caller.inspect_llvm(caller.signatures[0])
    assert "alwaysinline" not in called.inspect_llvm(called.signatures[0])
