"""What of the compiled engine living on both engines does not show: its generator, its cache."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import petsim
from petsim.life.compiled.chance import compiled, fill
from petsim.life.streams import block
from petsim.life.tables import lower

DIGEST = "from petsim.life.compiled.chance import digest; print(digest())"


@compiled
def fill_of_first(states, source, number, block):  # type: ignore[no-untyped-def]
    # a state is only passed on by compiled code, as one of its fields lies over others
    fill(states[0], source, number, block)


@pytest.mark.parametrize("seed", [0, 1, 2**63, 2**64 - 1])
@pytest.mark.parametrize("source", [0, 0x9E3779B97F4A7C15, 2**64 - 1])
def test_generator_is_that_of_the_streams(seed: int, source: int) -> None:
    # which are checked against the published vectors of Philox4x64-10 and against numpy's
    lowered = lower(
        petsim.load_model("lamplet-quick"),
        petsim.load_regime("hands-off"),
        until_outcome=True,
        horizon=None,
    )
    state = np.zeros(1, dtype=lowered.state).view(np.recarray)
    state["seed"] = seed
    for life, number in ((0, 0), (1, 7), (2**64 - 1, 2**51)):
        state["life"] = life
        fill_of_first(state, 0, np.uint64(source), number)
        assert tuple(state["word"][0][0].tolist()) == block((number, source, life, 0), (seed, 0))


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
    for file in ("life/compiled/pet.py", "life/draws.py", "life/tables.py", "spec/model.py"):
        with (package / file).open("a", encoding="utf-8") as stream:
            stream.write("# changed\n")
        assert digest() != before, file
        before = digest()
    with (package / "view" / "text.py").open("a", encoding="utf-8") as stream:
        stream.write("# changed\n")
    assert digest() == before
