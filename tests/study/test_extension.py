"""A sweep that is given more lives, values, regimes or paths goes on, and loses nothing."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing

import pytest

import petsim
from petsim.errors import ArgumentError
from petsim.spec.parts import as_yaml
from petsim.spec.reading import read_text
from petsim.study import store_extend, store_writer
from petsim.study import sweep as module
from petsim.study.check import check_sweep
from petsim.study.sweep import planned
from tests.study.sweeps import MODEL, POLICY, dump, rows
from tests.study.test_sweep import Here, after, interrupt

# three chunks a cell, the last of which is not full
CHUNK, LIVES = 20, 50
EVERY = "checks.every"
WORKS = read_text(as_yaml(petsim.load_model(MODEL)), MODEL).data["care"]["play"]["works"]
"""How often playing works, as the model's file has it."""
BEFORE = {"regimes": ["hourly"], "vary": {EVERY: "20 min, 40 min"}, "lives": LIVES}


@pytest.fixture(autouse=True)
def _small_chunks(monkeypatch):
    monkeypatch.setattr(module, "CHUNK", {"compiled": CHUNK, "reference": CHUNK})


def small(out, **given):
    return petsim.sweep(MODEL, out=out, keep=True, **{"executor": Here()} | BEFORE | given)


def sound(path) -> bool:
    finding = check_sweep(str(path))
    return finding.kind == "sweep" and not finding.problems


MORE = [
    {"lives": 65},
    {"lives": 60},
    {"vary": {EVERY: "10 min..40 min/10 min"}},
    {"regimes": ["ten-minute", "hourly"]},
    # of which the files have the first, one of them as a default that they do not write
    {"vary": {"passes": "1,2", EVERY: "20 min, 40 min", "care.play.works": f"20%,{WORKS}"}},
    {"vary": {EVERY: "20 min, 40 min", "passes": "1"}},
    {"regimes": ["hourly", "ten-minute"], "vary": {EVERY: "600 s, 1200 s, 2400 s"}, "lives": 90},
]


@pytest.mark.parametrize("more", MORE)
@pytest.mark.parametrize("done", [0, 4, 6])
def test_an_extended_sweep_is_the_same_as_one_made_at_once(more, done, tmp_path):
    at_once = dump(small(tmp_path / "b", **more).path)
    before = small(tmp_path / "a", executor=Here(after(done, interrupt)))
    kept = before.lives() if done else None
    found = small(tmp_path / "a", executor=Here(interrupt), **more)
    if done:
        # what was lived is there before anything else is
        assert len(found.lives()) == len(kept)
        assert len(found.differences()) == len(found.odds()) == len(kept["cell"].unique())
    found = small(tmp_path / "a", **more)
    assert dump(found.path) == at_once
    assert sound(found.path)
    assert {*tmp_path.iterdir()} == {tmp_path / "a.sweep", tmp_path / "b.sweep"}


@pytest.mark.parametrize(
    ("more", "chunks", "lives"),
    [
        # the last chunk of each cell, which was not full, and what follows it
        ({"lives": 80}, 2 * 2, 2 * 40),
        ({"lives": 60}, 2, 2 * 20),
        ({"vary": {EVERY: "20 min, 30 min, 40 min"}}, 3, 50),
        ({"regimes": ["hourly", "ten-minute"]}, 2 * 3, 2 * 50),
    ],
)
def test_only_what_is_missing_is_lived(more, chunks, lives, tmp_path):
    small(tmp_path / "a")
    plan = planned(MODEL, out=tmp_path / "a", keep=True, **BEFORE | more)
    assert plan.cells * plan.design.lives - plan.done == lives
    handed = []
    small(tmp_path / "a", executor=Here(handed=lambda: handed.append(1)), **more)
    assert len(handed) == chunks


def test_what_is_extended_is_told(tmp_path, caplog):
    small(tmp_path / "a")
    small(tmp_path / "a", lives=60)
    small(tmp_path / "a", lives=60, vary={EVERY: "10 min, 20 min, 40 min"})
    path = tmp_path / "a.sweep"
    keeps = "and keeps all lives that it has"
    assert caplog.messages == [
        f"petsim: {path}: is extended from 2 cells of 50 to 2 cells of 60, {keeps}",
        f"petsim: {path}: is extended from 2 cells of 60 to 3 cells of 60, {keeps}; its cells "
        "have new numbers",
    ]


def test_sessions_are_kept(tmp_path):
    small(tmp_path / "a")
    before = rows(tmp_path / "a.sweep", "SELECT began, command FROM sessions")
    small(tmp_path / "a", lives=60)
    assert rows(tmp_path / "a.sweep", "SELECT began, command FROM sessions")[:1] == before


def test_points_of_a_sample_stay_and_have_more_lives(tmp_path):
    sample = {"vary": {EVERY: "10 min..40 min"}, "sample": "latin", "points": 3}
    small(tmp_path / "a", **sample)
    given = sample | {"lives": 60, "regimes": ["ten-minute", "hourly"]}
    at_once = dump(small(tmp_path / "b", **given).path)
    assert dump(small(tmp_path / "a", **given).path) == at_once
    with pytest.raises(ArgumentError) as caught:
        small(tmp_path / "a", **given | {"points": 4})
    assert (
        "a.sweep: was made with --sample latin --points 3, not latin --points 4; the points of a "
        "sample can't be added to; expected what" in str(caught.value)
    )


def test_a_value_of_a_stage_and_of_its_form_are_told_apart(tmp_path):
    """What a form has by itself depends on what varies in its stage."""
    stage, form = "stages.adolescent.grace.hunger", "forms.glow.grace.hunger"
    varied = {"vary": {stage: "5 min, 30 min"}}
    small(tmp_path / "a", **varied, lives=2)
    with pytest.raises(ArgumentError, match=f"{form}: none of 5 min is what the cells of a.sweep"):
        small(tmp_path / "a", vary=varied["vary"] | {form: "5 min"}, lives=2)
    small(tmp_path / "a", vary=varied["vary"] | {form: "5 min, 30 min"}, lives=2)
    at_once = small(tmp_path / "b", vary=varied["vary"] | {form: "5 min, 30 min"}, lives=2)
    assert dump(tmp_path / "a.sweep") == dump(at_once.path)


def test_a_cell_that_fails_among_the_further_lives_is_as_if_made_at_once(tmp_path):
    (tmp_path / "cleaner.py").write_text(POLICY)
    given = {"regimes": [f"{tmp_path / 'cleaner.py'}:Cleaner"], "days": 0.13}
    given |= {"vary": {EVERY: "5 min, 25 min, 10 min"}}
    # it fails in life 21 of cell 1, and the chunk from 20 on has one life before that
    before = small(tmp_path / "a", lives=21, **given)
    assert not before.failed
    found = small(tmp_path / "a", **given)
    assert [*found.failed] == [1]
    assert dump(found.path) == dump(small(tmp_path / "b", **given).path)
    assert sound(found.path)


def test_cells_that_failed_stay_so(tmp_path):
    (tmp_path / "cleaner.py").write_text(POLICY)
    given = {"regimes": [f"{tmp_path / 'cleaner.py'}:Cleaner"], "days": 0.13}
    small(tmp_path / "a", vary={EVERY: "5 min, 25 min"}, **given)
    more = {"vary": {EVERY: "4 min, 5 min, 25 min"}, "lives": 60}
    found = small(tmp_path / "a", **given, **more)
    assert [*found.failed] == [2]
    assert dump(found.path) == dump(small(tmp_path / "b", **given, **more).path)


# Crashes and others


DIES = """
import os, sys
import petsim
from pathlib import Path
from petsim.spec.parts import as_yaml
from petsim.spec.reading import read_text
from petsim.study import store_extend, sweep, store_writer
sweep.CHUNK = {"compiled": 20, "reference": 20}
where = sys.argv[2]
if where == "copying":
    insert, left = store_writer.StoreWriter.insert, iter(range(3))
    def dies(self, row):
        if next(left, None) is None:
            os._exit(9)
        insert(self, row)
    store_writer.StoreWriter.insert = dies
else:
    replace = Path.replace
    def dies(self, target):
        if where == "replaced":
            replace(self, target)
        os._exit(9)
    Path.replace = dies
petsim.sweep("lamplet-quick", ["hourly"], {"checks.every": "10 min, 20 min, 40 min"},
             out=sys.argv[1], lives=60, keep=True, workers=1)
"""


@pytest.mark.parametrize("where", ["copying", "replacing", "replaced"])
def test_killed_it_is_the_old_sweep_or_the_new_one(where, tmp_path):
    more = {"vary": {EVERY: "10 min, 20 min, 40 min"}, "lives": 60}
    path = small(tmp_path / "a").path
    before = path.read_bytes()
    done = subprocess.run([sys.executable, "-c", DIES, str(path), where], check=False)
    assert done.returncode == 9
    assert sound(path)
    found = petsim.open_sweep(path)
    assert sum(found.lives_by_cell.values()) == 2 * LIVES
    assert (path.read_bytes() == before) == (where != "replaced")
    assert len(found.cells) == (3 if where == "replaced" else 2)
    assert dump(small(path, **more).path) == dump(small(tmp_path / "b", **more).path)


def test_what_a_process_of_the_same_number_left_when_it_was_killed_is_not_taken_for_its_own(
    tmp_path,
):
    path, more = small(tmp_path / "a").path, {"vary": {EVERY: "20 min, 40 min, 60 min"}}
    left = small(tmp_path / "b", vary={EVERY: "10 min, 20 min, 40 min"}).path
    left.rename(path.with_name(f".{os.getpid()}.{path.name}"))
    assert dump(small(path, **more).path) == dump(small(tmp_path / "b", **more).path)


def test_a_disk_that_takes_no_more_leaves_the_old_sweep(tmp_path, monkeypatch):
    path = small(tmp_path / "a").path
    before = path.read_bytes()

    def full(*_):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(store_extend, "_copy", full)
        with pytest.raises(ArgumentError, match="can't be written: No space left on device"):
            small(tmp_path / "a", lives=60)
    assert path.read_bytes() == before
    assert [*tmp_path.iterdir()] == [path]


def test_many_that_extend_at_once_share_the_work(tmp_path):
    small(tmp_path / "a")
    with ThreadPoolExecutor(4) as pool:
        found = [pool.submit(small, tmp_path / "a", lives=60) for _ in range(4)]
        assert all(each.result().finished for each in found)
    assert dump(tmp_path / "a.sweep") == dump(small(tmp_path / "b", lives=60).path)


def test_a_sweep_that_runs_is_not_extended(tmp_path, monkeypatch):
    monkeypatch.setattr(store_writer, "SHORT_PATIENCE", 0)
    said = []

    def extend():
        with pytest.raises(ArgumentError) as caught:
            small(tmp_path / "a", lives=60)
        said.append(str(caught.value))

    assert small(tmp_path / "a", executor=Here(after(3, extend))).finished
    assert said == [
        f"{tmp_path / 'a.sweep'}: is read or written by another process; expected to be alone with "
        "it while it becomes a larger sweep"
    ]


def test_whoever_reads_it_does_not_hold_it_up(tmp_path):
    small(tmp_path / "a")
    with closing(sqlite3.connect(tmp_path / "a.sweep")) as base:
        base.execute("BEGIN")
        base.execute("SELECT COUNT(*) FROM chunks").fetchone()
        assert small(tmp_path / "a", lives=60).finished


def test_what_was_opened_before_is_not_taken_for_the_larger_sweep(tmp_path):
    found = small(tmp_path / "a")
    small(tmp_path / "a", vary={EVERY: "10 min, 20 min, 40 min"})
    with pytest.raises(ArgumentError) as caught:
        found.odds()
    assert str(caught.value) == (
        f"{found.path}: is another sweep, or a larger one, than when it was opened; expected it to "
        "be opened again"
    )
