"""Sweeps lose nothing and count nothing twice: what is found is that of an undisturbed run."""

from __future__ import annotations

import json
import os
import resource
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import closing
from functools import partial
from importlib import import_module
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pandas.testing import assert_frame_equal
from scipy import stats

from petsim import (
    PolicyError,
    SpecError,
    batch,
    compare,
    load_regime,
    open_sweep,
    simulate,
    sweep,
)
from petsim.cli import BAD_INPUT, FAILED, INTERRUPTED, main
from petsim.errors import ArgumentError
from petsim.life.caretaker import Caretaker
from petsim.life.simulate import choose_engine
from petsim.spec.model_checks import read_model
from petsim.study import design, job
from petsim.study import sweep as module
from petsim.study.job import CellJob
from petsim.study.sweep import planned
from petsim.view import plots, report
from tests.study.sweeps import MODEL, POLICY, chunks, dump, is_over, rows, started, wait_until

# four cells of four chunks, the last of which is not full
CHUNK, LIVES = 20, 70
VARY = {"checks.every": ["10 min", "40 min"], "care.play.works": ["70%", "20%"]}
CELLS = 4
ALL = CELLS * 4

# fails in life 21 first, of the second chunk, and then in each, if it comes every 25 min
CLEANED = {"checks.every": ["5 min", "25 min", "10 min"]}


class Lazy(Future):
    """Lives when it is asked for, in this process."""

    def __init__(self, before, work):
        super().__init__()
        self.before, self.work = before, work

    def result(self, timeout=None):
        self.before()
        return self.work()


class Here(Executor):
    """Calls a function before each chunk, and one when it is handed out."""

    def __init__(self, before=lambda: None, handed=lambda: None):
        self.before, self.handed = before, handed

    def submit(self, work, *arguments, **named):
        self.handed()
        return Lazy(self.before, lambda: work(*arguments, **named))


def after(number, what):
    """A function that does something when it is called for the last of so many times."""
    left = iter(range(number, -1, -1))

    def count():
        if next(left, None) == 0:
            what()

    return count


def interrupt():
    raise KeyboardInterrupt


@pytest.fixture(autouse=True)
def _small_chunks(monkeypatch):
    monkeypatch.setattr(module, "CHUNK", {"compiled": CHUNK, "reference": CHUNK})


def small(out, **changed):
    """A sweep of some seconds' worth of a person's time, and none of ours."""
    said = {"model": MODEL, "regimes": ["hourly"], "vary": VARY, "lives": LIVES, "keep": True}
    said |= {"executor": Here()} if "workers" not in changed else {}
    return sweep(out=out, **said | changed)


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory):
    """What an undisturbed run finds."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "CHUNK", {"compiled": CHUNK, "reference": CHUNK})
        return dump(small(tmp_path_factory.mktemp("undisturbed") / "a").path)


def test_a_sweep_of_any_number_of_lives_begins_at_once(tmp_path, caplog):
    stop = after(3, interrupt)
    found = small(tmp_path / "a", executor=Here(stop), lives=10**15)
    assert caplog.messages[-1].startswith("petsim: interrupted")
    assert not found.finished
    assert chunks(found.path) == 3


def test_a_sweep_of_any_number_of_lives_is_rescued_at_once(tmp_path, caplog):
    path = small(tmp_path / "a", executor=Here(after(3, interrupt)), lives=10**15).path
    with closing(sqlite3.connect(path)) as base, base:
        base.execute("UPDATE about SET value = 'x' WHERE key = 'cells'")
    caplog.clear()
    found = small(path, executor=Here(after(1, interrupt)), lives=10**15)
    assert caplog.messages[0].endswith("what was whole in it is kept, and the rest is lived again")
    assert chunks(found.path) == 4


# The same again


def test_same_again_lives_nothing_and_leaves_the_file_as_it_is(tmp_path):
    path = small(tmp_path / "a").path
    before = path.read_bytes()
    found = small(tmp_path / "a", executor=Here(handed=interrupt))
    assert (found.finished, path.read_bytes()) == (True, before)
    assert [*tmp_path.iterdir()] == [path]


def test_differences_read_a_model_once_however_many_cells_have_it(tmp_path, monkeypatch):
    # as many as are not kept from one reading to the next
    works = [f"{x}%" for x in range(50, 60)]
    vary = {"checks.every": ["10 min", "40 min"], "care.play.works": works}
    found = small(tmp_path / "a", vary=vary, lives=1)
    read = []
    monkeypatch.setattr(job, "model_in", lambda text: read.append(text) or read_model(text))
    job._model.cache_clear()
    assert len(found.differences()) == 2 * len(works)
    assert len(read) == len(works)


def test_every_life_is_counted_once(tmp_path):
    path = small(tmp_path / "a").path
    lives = CELLS * LIVES
    assert rows(path, "SELECT SUM(lives), COUNT(*) FROM chunks") == [(lives, ALL)]
    assert rows(path, "SELECT SUM(lives) FROM odds") == [(lives,)]
    assert rows(path, "SELECT SUM(lives) FROM totals WHERE column = 'end_s'") == [(lives,)]


# Interrupts


@settings(
    max_examples=8,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(points=st.lists(st.tuples(st.integers(0, ALL), st.booleans()), max_size=6))
def test_wherever_it_is_interrupted_it_goes_on(points, undisturbed, tmp_path_factory, caplog):
    out = tmp_path_factory.mktemp("interrupted") / "a"
    done = 0
    for number, when_handed_out in points:
        caplog.clear()
        stop = after(number, interrupt)
        found = small(out, executor=Here(handed=stop) if when_handed_out else Here(stop))
        done = done if when_handed_out and number < ALL - done else min(done + number, ALL)
        assert chunks(found.path) == done
        assert found.finished == (done == ALL)
        assert bool(caplog.messages) == (not found.finished)
        assert int(found.cells["lives"].sum()) == sum(
            n for (n,) in rows(found.path, "SELECT lives FROM chunks")
        )
    assert dump(small(out).path) == undisturbed


def test_interrupt_says_where_it_is_and_that_the_same_goes_on(tmp_path, caplog):
    found = small(tmp_path / "a", executor=Here(after(5, interrupt)))
    assert caplog.messages == [
        f"petsim: interrupted; what is done is in {tmp_path / 'a.sweep'}, and the same goes on"
    ]
    assert repr(found) == f"<sweep {tmp_path / 'a.sweep'}: 4 cells, {5 * CHUNK} of 280 lives>"
    assert list(found.odds().index) == [0, 1, 2, 3]
    assert len(found.lives()) == 5 * CHUNK


# As processes


COMMAND = (
    *("sweep", "hourly", "--model", MODEL, "--lives", "3000", "--keep", "lives"),
    *("--vary", "checks.every=10min..30min/10min", "--vary", "care.play.works=70%,20%"),
)
CHUNKS = 6 * 3
POLICIES = ("--model", MODEL, "--lives", "300", "--days", "0.13", "--workers", "2")


@pytest.fixture(scope="module")
def command(tmp_path_factory):
    """A command, and what it finds if it is undisturbed."""
    out = tmp_path_factory.mktemp("command") / "a"
    with started(*COMMAND, "--out", str(out), "--quiet") as running:
        assert running.communicate() == ("", "")
    assert running.returncode == 0
    return COMMAND, dump(out.with_suffix(".sweep"))


def finish(*arguments):
    with started(*arguments) as running:
        out, err = running.communicate(timeout=60)
    assert (running.returncode, err) == (0, "")
    return out


def kill(running, how=signal.SIGKILL):
    os.killpg(running.pid, how)
    out, err = running.communicate(timeout=30)
    wait_until(lambda: is_over(running.pid))
    return out, err


def test_killed_at_any_moment_it_goes_on(command, tmp_path):
    arguments, undisturbed = command
    path = tmp_path / "a.sweep"
    given = (*arguments, "--out", str(path))
    running = started(*given)
    wait_until(path.exists)
    kill(running)
    for delay in (0, 0.06):
        done, running = chunks(path), started(*given)
        wait_until(lambda done=done: chunks(path) > done)
        time.sleep(delay)
        kill(running)
        assert done < chunks(path) <= CHUNKS
    finish(*given)
    assert dump(path) == undisturbed
    assert [*tmp_path.iterdir()] == [path]


def test_ctrl_c_ends_it_in_one_line_and_it_goes_on(command, tmp_path):
    arguments, undisturbed = command
    path = tmp_path / "a.sweep"
    given = (*arguments, "--out", str(path), "--quiet")
    for most in (1, 8):
        with started(*given) as running:
            wait_until(lambda most=most: chunks(path) >= most)
            out, err = kill(running, signal.SIGINT)
        assert (running.returncode, out) == (INTERRUPTED, "")
        assert err == f"petsim: interrupted; what is done is in {path}, and the same goes on\n"
        assert most <= chunks(path) < CHUNKS
        assert [*tmp_path.iterdir()] == [path]
    finish(*given)
    assert dump(path) == undisturbed


def test_two_at_once_share_the_work_or_do_it_twice_but_count_it_once(command, tmp_path):
    arguments, undisturbed = command
    path = tmp_path / "a.sweep"
    given = (*arguments, "--out", str(path), "--quiet", "--workers", "1")
    with started(*given) as one, started(*given) as other:
        assert one.communicate(timeout=60) == other.communicate(timeout=60) == ("", "")
    assert one.returncode == other.returncode == 0
    assert dump(path) == undisturbed
    assert [*tmp_path.iterdir()] == [path]
    assert rows(path, "SELECT COUNT(*), COUNT(ended) FROM sessions") == [(2, 2)]


def test_many_that_begin_at_once_begin_it_once(tmp_path, undisturbed):
    # in threads, each with a connection of its own, which the database takes as it does processes
    with ThreadPoolExecutor(6) as pool:
        found = [pool.submit(small, tmp_path / "a") for _ in range(6)]
        assert {dump(one.result().path) for one in found} == {undisturbed}


def test_policy_in_processes_is_killed_with_them_and_goes_on(tmp_path, monkeypatch):
    file, path = tmp_path / "cleaner.py", tmp_path / "a.sweep"
    file.write_text(POLICY)
    given = ("sweep", f"{file}:Cleaner", *POLICIES, "--vary", "checks.every=5 min,10 min")
    for how in (signal.SIGKILL, signal.SIGINT):
        before = chunks(path)
        with started(*given, "--out", str(path)) as running:
            wait_until(lambda before=before: chunks(path) > before)
            _, err = kill(running, how)
            assert "Traceback" not in err
    finish(*given, "--out", str(path))
    monkeypatch.setattr(module, "CHUNK", {"reference": 50})
    said = {"regimes": [f"{file}:Cleaner"], "vary": {"checks.every": ["5 min", "10 min"]}}
    assert dump(path) == dump(small(tmp_path / "b", lives=300, days=0.13, keep=False, **said).path)


# Disks


@pytest.mark.parametrize("kilobytes", [2, 200, 5_000])
def test_file_that_may_not_grow_is_told_and_it_goes_on_where_there_is_room(
    kilobytes, command, tmp_path
):
    arguments, undisturbed = command
    path = tmp_path / "a.sweep"
    given = (*arguments, "--out", str(path), "--quiet")

    def limit():
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (kilobytes * 1024, kilobytes * 1024))

    with started(*given, preexec_fn=limit) as running:
        out, err = running.communicate(timeout=30)
    assert (running.returncode, out) == (BAD_INPUT, "")
    room = "the disk takes no more, or fails; make room and give the same command again"
    assert err == f"{path}: {room}\n"
    if kilobytes == 5_000:
        finish(*given)
        assert dump(path) == undisturbed


@pytest.fixture
def little_disk(tmp_path):
    """A disk of its own; the options it is mounted with can be changed."""
    place = tmp_path / "disk"
    place.mkdir()

    def mount(options):
        command = ["mount", "-t", "tmpfs", "-o", options, "none", str(place)]
        done = subprocess.run(command, check=False, capture_output=True)
        if done.returncode:
            pytest.skip("needs to mount a disk")
        return place

    try:
        if shutil.which("mount") is None:
            pytest.skip("needs to mount a disk")
        mount("size=50m")
        yield place, lambda options: mount(f"remount,{options}")
    finally:
        subprocess.run(["umount", "--lazy", str(place)], check=False, capture_output=True)


def test_full_disk_is_told_and_it_goes_on_where_there_is_room(little_disk, command):
    place, remount = little_disk
    arguments, undisturbed = command
    path = place / "a.sweep"
    given = (*arguments, "--out", str(path), "--quiet")
    for size in ("2500k", "6m"):
        remount(f"size={size}")
        with started(*given) as running:
            out, err = running.communicate(timeout=30)
        assert (running.returncode, out) == (BAD_INPUT, "")
        full = "the disk is full; make room and give the same command again"
        assert err == f"{path}: {full}\n"
        assert 0 < chunks(path) < CHUNKS
    remount("size=50m")
    finish(*given)
    assert dump(path) == undisturbed


def test_finished_sweep_is_read_from_a_read_only_copy(little_disk, tmp_path, undisturbed):
    place, remount = little_disk
    found = small(tmp_path / "a")
    shutil.copy(found.path, place)
    remount("ro")
    copy = open_sweep(place / "a")
    assert copy.finished
    assert dump(copy.path) == undisturbed
    assert_frame_equal(copy.odds(), found.odds())
    assert small(place / "a").finished
    with pytest.raises(ArgumentError, match=r"b.sweep: can't be opened; expected a folder"):
        small(place / "b")
    with pytest.raises(ArgumentError, match=r"a.sweep: was made with --seed 0, not 1;"):
        small(place / "a", seed=1)


def test_sweep_begun_is_not_gone_on_with_where_it_cannot_be_written(little_disk):
    place, remount = little_disk
    small(place / "a", executor=Here(after(6, interrupt)))
    remount("ro")
    assert len(open_sweep(place / "a").odds()) == CELLS
    with pytest.raises(ArgumentError, match=r"a.sweep: can't be written to; expected a folder"):
        small(place / "a")


IS_ANOTHER = "is another kind of file; expected the file of a sweep"
CANT = "can't be opened; expected a folder that is there and can be written to"


def test_what_is_no_place_for_a_sweep_is_told(tmp_path):
    (tmp_path / "folder.sweep").mkdir()
    (tmp_path / "file").write_text("a note")
    text = tmp_path / "text.sweep"
    text.write_text("these are no results\n" * 100)
    os.mkfifo(tmp_path / "pipe.sweep")
    for name, message in {
        "folder": "is a directory; expected the file of a sweep",
        "pipe": "is a pipe; expected the file of a sweep",
        "none/a": CANT,
        "file/a": CANT,
        "text": IS_ANOTHER,
    }.items():
        path = tmp_path / f"{name}.sweep"
        with pytest.raises(ArgumentError) as caught:
            small(path)
        assert str(caught.value) == f"{path}: {message}"
    assert text.read_text() == "these are no results\n" * 100
    assert {file.name for file in tmp_path.iterdir()} == {
        "folder.sweep", "pipe.sweep", "file", "text.sweep"
    }  # fmt: skip


@pytest.mark.parametrize("mode", ["DELETE", "WAL"])
def test_other_database_is_left_alone(mode, tmp_path):
    path = tmp_path / "other.sweep"
    with closing(sqlite3.connect(path)) as base:
        base.execute(f"PRAGMA journal_mode={mode}")
        base.execute("CREATE TABLE cells (cell)")
        base.commit()
    before = path.read_bytes()
    for use in (small, open_sweep):
        with pytest.raises(ArgumentError, match="is another database; expected the file of a"):
            use(path)
    assert path.read_bytes() == before


def test_sweep_that_is_not_there_or_empty_is_told(tmp_path):
    with pytest.raises(ArgumentError, match=r"a.sweep: is not there; expected the file of a"):
        open_sweep(tmp_path / "a")
    (tmp_path / "a.sweep").touch()
    with pytest.raises(ArgumentError, match=r"a.sweep: is empty; expected the file of a"):
        open_sweep(tmp_path / "a")


def test_empty_file_is_begun(tmp_path, undisturbed):
    (tmp_path / "a.sweep").touch()
    assert planned(MODEL, ["hourly"], VARY, out=tmp_path / "a", lives=LIVES).done == 0
    assert dump(small(tmp_path / "a").path) == undisturbed


def test_cell_that_is_wrong_leaves_no_file(tmp_path):
    with pytest.raises(SpecError, match=r"in cell 1, hourly, care\.play\.works 120%"):
        small(tmp_path / "a", vary={"care.play.works": ["20%", "120%"]})
    assert not [*tmp_path.iterdir()]


# Reading


def test_what_a_sweep_does_not_have_is_told(tmp_path):
    found = small(tmp_path / "a", vary={}, lives=1)
    for wrong, message in (
        (partial(found.odds, "becon"), "outcome: 'becon'; did you mean 'beacon'?"),
        (partial(found.differences, outcome="becon"), "outcome: 'becon'; did you mean 'beacon'?"),
        (partial(found.means, "mises"), "column: 'mises' is not summed; see petsim.columns"),
    ):
        with pytest.raises(ArgumentError) as caught:
            wrong()
        assert str(caught.value) == message
    # an outcome that never came is one
    assert found.odds("old age")["estimate"].tolist() == [0]


@pytest.mark.parametrize("name", ["", ".", "/"])
@pytest.mark.parametrize(
    "command",
    [("sweep", "hourly", "--out"), ("run", "--cell", "0", "--from")],
)
def test_name_of_a_folder_is_no_sweep(command, name, capsys):
    with pytest.raises(SystemExit) as ended:
        main([*command, name])
    assert ended.value.code == BAD_INPUT
    expected = f"{name!r}: expected the name of a sweep, such as night1\n"
    assert capsys.readouterr().err == expected


def test_it_is_read_while_it_runs(tmp_path, undisturbed):
    seen = []

    def look():
        if (tmp_path / "a.sweep").exists():
            found = open_sweep(tmp_path / "a")
            done = chunks(found.path)
            lives = sum(n for (n,) in rows(found.path, "SELECT lives FROM chunks"))
            assert int(found.cells["lives"].sum()) == lives == len(found.lives())
            assert (len(found.odds()), found.finished) == (min(done, CELLS), done == ALL)
            said = found.as_dict()["cells"]
            assert sum(cell["lives"] for cell in said) == lives
            if done:
                assert len(found.differences()) == len(found.odds())
                assert found.export(tmp_path / "a.csv") == len(found.odds())
            seen.append(done)

    assert dump(small(tmp_path / "a", executor=Here(look)).path) == undisturbed
    assert seen == [*range(ALL)]


def test_readers_do_not_hold_it_up(tmp_path, undisturbed):
    """One that reads all the time, and one that began to read and never ends."""
    path, held = tmp_path / "a.sweep", []

    def hold():
        base = sqlite3.connect(path)
        base.execute("BEGIN")
        base.execute("SELECT COUNT(*) FROM chunks").fetchone()
        held.append(base)

    assert small(path, executor=Here(after(3, hold))).finished
    assert held[0].execute("SELECT COUNT(*) FROM chunks").fetchone() == (3,)
    assert dump(path) == undisturbed
    held[0].close()
    small(path)
    assert [*tmp_path.iterdir()] == [path]


@pytest.fixture
def opened(monkeypatch):
    """The files that were opened as databases, in order."""
    paths, connect = [], sqlite3.connect

    def counted(path, *arguments, **named):
        paths.append(path)
        return connect(path, *arguments, **named)

    monkeypatch.setattr(sqlite3, "connect", counted)
    return paths


ALL_READ = {
    "as_dict": lambda found: found.as_dict(),
    "odds": lambda found: found.odds(),
    "differences": lambda found: found.differences(),
    "means": lambda found: found.means("presses", "misses"),
    "lives": lambda found: found.lives(),
    "export": lambda found: found.export(found.path.with_suffix(".csv")),
    "report": report.of,
    "plot": lambda found: plots.plot(found, "along"),
}


@pytest.mark.parametrize("read", ALL_READ)
def test_it_is_opened_once_for_whatever_is_read_of_it(read, tmp_path, opened):
    small(tmp_path / "a")
    found = open_sweep(tmp_path / "a")
    opened.clear()
    ALL_READ[read](found)
    assert len(opened) == 1


@pytest.mark.parametrize(
    ("command", "times"),
    [
        (("report", "a", "--out", "a.html"), 2),
        (("plot", "a", "--out", "a.svg"), 2),
        (("export", "a", "--what", "lives", "a.csv"), 2),
        # which is also opened to be written to
        (("sweep", "hourly", "--model", MODEL, "--lives", "5", "--vary", "passes=1,2", "--keep",
          "lives", "--out", "a"), 3),
    ],
)  # fmt: skip
def test_a_command_opens_it_once_to_see_what_it_is_and_once_to_read_it(
    command, times, tmp_path, monkeypatch, opened
):
    monkeypatch.chdir(tmp_path)
    sweep(MODEL, ["hourly"], {"passes": "1,2"}, out="a", lives=5, keep=True)
    opened.clear()
    main([*command])
    assert len(opened) == times


def test_chunks_are_handed_out_in_rounds_over_all_cells(tmp_path, undisturbed):
    def done(number):
        small(tmp_path / "a", executor=Here(after(number, interrupt)))
        return rows(tmp_path / "a.sweep", "SELECT cell, first FROM chunks ORDER BY first, cell")

    in_rounds = [(cell, first) for first in range(0, LIVES, CHUNK) for cell in range(CELLS)]
    assert done(6) == in_rounds[:6]
    # resumed, the round that was interrupted is ended first
    assert done(3) == in_rounds[:9]
    assert dump(small(tmp_path / "a").path) == undisturbed


def test_cells_of_a_round_are_prepared_once(tmp_path, monkeypatch):
    prepared = []

    def choose(model, caretaker, *how):
        prepared.append(caretaker.name)
        return choose_engine(model, caretaker, *how)

    job._prepared.cache_clear()
    monkeypatch.setattr(job, "choose_engine", choose)
    many = {"checks.every": "600 s..619 s/1 s"}
    small(tmp_path / "a", vary=many, days=0.1, keep=False)
    assert len(prepared) == 20


def test_what_is_read_in_a_snapshot_agrees_whatever_is_written_meanwhile(tmp_path, undisturbed):
    kept = []

    def hold():
        found = open_sweep(tmp_path / "a")
        snapshot = found.snapshot()
        snapshot.__enter__()
        kept.append((found, snapshot, found.as_dict()))

    small(tmp_path / "a", executor=Here(after(6, hold)))
    [(found, snapshot, before)] = kept
    assert found.as_dict() == before
    assert [cell["lives"] for cell in before["cells"]] == [2 * CHUNK, 2 * CHUNK, CHUNK, CHUNK]
    assert len(found.lives()) == 6 * CHUNK
    snapshot.__exit__(None, None, None)
    # and after it, what there is now
    assert found.finished
    assert [cell["lives"] for cell in found.as_dict()["cells"]] == [LIVES] * CELLS
    assert dump(found.path) == undisturbed


def test_threads_may_read_one_sweep(tmp_path):
    found = small(tmp_path / "a")
    expected = found.odds()
    with found.snapshot(), ThreadPoolExecutor(4) as pool:
        for odds in [pool.submit(found.odds) for _ in range(8)]:
            assert_frame_equal(odds.result(), expected)


# Another sweep


def text_of(what, old, new):
    text = Path(f"{what}s/{'lamplet-quick' if what == 'model' else 'hourly'}.yaml").read_text()
    assert old in text
    return text.replace(old, new)


@pytest.mark.parametrize(
    ("changed", "differing"),
    [
        ({"seed": 1}, "was made with --seed 0, not 1"),
        ({"lives": 69}, "was made with --lives 70, not 69"),
        ({"aim": "ember"}, "was made with --aim beacon, not ember"),
        ({"until": "death"}, "was made with --until outcome, not death"),
        ({"days": 1.0}, "was made with --until outcome, not with --days 1"),
        ({"keep": False}, "was made with --keep lives, not sums"),
        ({"model": "lamplet-tender"},
         "was made with the model lamplet-quick.yaml, not lamplet-tender.yaml"),
        ({"regimes": ["ten-minute"]}, "was made with hourly, which is not given"),
        ({"vary": VARY | {"care.play.works": ["70%", "30%"]}},
         "care.play.works: 70%, 30% here, 70%, 20% in a.sweep"),
        ({"vary": {"checks.every": VARY["checks.every"]}},
         "care.play.works: not varied here, 70%, 20% in a.sweep"),
        ({"vary": VARY | {"checks.every": "40 min, 10 min"}},
         "checks.every: 40 min, 10 min here, 10 min, 40 min in a.sweep"),
        ({"vary": VARY | {"checks.every": ["10 min", "1 h..9 h/1 h"]}},
         "checks.every: 10 min, 1 h, 2 h, ... 9 h (10 values) here, 10 min, 40 min in a.sweep"),
        ({"vary": VARY | {"passes": "2,3"}},
         "passes: none of 2, 3 is what the cells of a.sweep have"),
        ({"sample": "latin", "points": 4},
         "was made with every combination, not with --sample latin --points 4"),
        ({"vary": dict(reversed(VARY.items()))},
         "varies care.play.works, checks.every here, in the order checks.every, care.play.works in "
         "a.sweep"),
        ({"seed": 1, "lives": 10, "vary": VARY | {"care.play.works": "70%"}},
         "care.play.works: 70% here, 70%, 20% in a.sweep; was made with --lives 70, not 10; "
         "was made with --seed 0, not 1"),
    ],
)  # fmt: skip
def test_file_of_another_sweep_is_refused_and_left_alone(changed, differing, tmp_path):
    path = small(tmp_path / "a", executor=Here(after(6, interrupt))).path
    before = path.read_bytes()
    for use in (small, partial(planned, keep=True)):
        given = {"model": MODEL, "regimes": ["hourly"], "vary": VARY, "lives": LIVES}
        with pytest.raises(ArgumentError) as caught:
            use(out=tmp_path / "a", **given | changed)
        assert str(caught.value) == (
            f"{path}: {differing}; expected what it was made with, or more lives, values or "
            "regimes, or another name to write to"
        )
    assert path.read_bytes() == before
    assert [*tmp_path.iterdir()] == [path]


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        ({"regimes": "ten-minute"},
         "regimes: 'ten-minute'; expected a list, such as ['ten-minute']"),
        ({"lives": "5"}, "lives: '5'; expected a whole number"),
        ({"lives": 2.5}, "lives: 2.5; expected a whole number"),
        ({"lives": 0}, "lives: 0; expected at least 1"),
        ({"workers": "2"}, "workers: '2'; expected a whole number"),
    ],
)  # fmt: skip
def test_argument_of_another_kind_is_named(asked, message, tmp_path):
    with pytest.raises(ArgumentError) as caught:
        sweep(MODEL, **{"regimes": ["hourly"], "vary": {}, "out": tmp_path / "a"} | asked)
    assert str(caught.value) == message


def test_numbers_of_lives_may_be_of_numpy(tmp_path):
    assert sweep(MODEL, ["hourly"], {}, out=tmp_path / "a", workers=1, lives=np.int64(2)).finished


def test_values_written_otherwise_are_the_same_sweep(tmp_path, undisturbed):
    small(tmp_path / "a", executor=Here(after(6, interrupt)))
    for every, works in (("10min..40min/30min", "70 %,20 %"), (["600 s", "40min"], "70.0%, 20%")):
        vary = {"checks.every": every, "care.play.works": works}
        found = small(tmp_path / "a", vary=vary)
        assert found.finished
        assert dump(found.path) == undisturbed
    assert [*found.provenance["vary"].values()] == [*VARY.values()]
    with pytest.raises(ArgumentError, match=r"care.play.works: 0.7, 0.2 here, 70%, 20% in"):
        small(tmp_path / "a", vary=VARY | {"care.play.works": ["0.7", "0.2"]})
    planned(MODEL, ["hourly"], vary, out=tmp_path / "a", lives=LIVES, keep=True)


def test_edited_file_or_other_version_is_another_sweep(tmp_path, monkeypatch):
    model, regime, policy = (tmp_path / name for name in ("m.yaml", "r.yaml", "cleaner.py"))
    model.write_text(text_of("model", "", ""))
    regime.write_text(text_of("regime", "", ""))
    policy.write_text(POLICY)

    def again():
        given = {"lives": 1, "vary": {}, "regimes": [str(regime), f"{policy}:Cleaner"]}
        return small(tmp_path / "a", model=str(model), **given)

    before = again().path.read_bytes()
    for file, old, new, differing in (
        (
            model,
            "Monday 09:00",
            "Monday 09:01",
            "begins Monday 09:01 here, Monday 09:00 in a.sweep",
        ),
        (regime, "passes: 1", "passes: 2", ": regime r: passes 2 here, 1 in a.sweep"),
        (policy, "too much", "no", ": policy cleaner:Cleaner: is other code here than in a.sweep"),
    ):
        text = file.read_text()
        file.write_text(text.replace(old, new))
        with pytest.raises(ArgumentError) as caught:
            again()
        assert f"{differing};" in str(caught.value)
        file.write_text(text)
    with monkeypatch.context() as patch:
        patch.setattr(design, "__version__", "9.9")
        patch.setattr("petsim.study.differing.__version__", "9.9")
        with pytest.raises(
            ArgumentError, match=r"was made by petsim 0.1.0, and this is petsim 9.9"
        ):
            again()
    assert again().path.read_bytes() == before


# Policies


def feeder(below):
    class Feeder:
        regime = "hourly"

        def check(self, look):
            return ["feed"] if look()["hunger"] < below else []

    return Feeder


class Eager(feeder(4)):
    pass


NO_SOURCE = """
class Feeder:
    regime, below = "hourly", {below}

    def check(self, look):
        return ["feed"] if look()["hunger"] < self.below and {more} else []
"""


def sourceless(below=3, more='look()["form"] in {"glow", "glint", "flicker"}'):
    """A class as of a notebook or a prompt, whose source Python does not know."""
    place = {"__name__": "nowhere"}
    exec(NO_SOURCE.format(below=below, more=more), place)
    return place["Feeder"]


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (feeder(3), feeder(2)),
        (type("Feeder", (feeder(3),), {}), type("Feeder", (feeder(2),), {})),
        (sourceless(), sourceless(2)),
        (sourceless(), sourceless(more="True")),
    ],
)
def test_same_class_with_other_values_is_another_sweep(one, other, tmp_path):
    path = small(tmp_path / "a", regimes=[one], lives=2).path
    before = path.read_bytes()
    small(tmp_path / "a", regimes=[one], lives=2)
    with pytest.raises(ArgumentError, match=r"policy Feeder: is other code here than in a.sweep;"):
        small(tmp_path / "a", regimes=[other], lives=2)
    assert path.read_bytes() == before


def test_policies_of_files_of_one_name_are_told_apart(tmp_path):
    given = []
    for folder, name in (("one", "First"), ("other", "Second")):
        (tmp_path / folder).mkdir()
        file = tmp_path / folder / "cleaner.py"
        file.write_text(POLICY.replace("Cleaner:", f"{name}:"))
        given.append(f"{file}:{name}")
    found = small(tmp_path / "a", regimes=given, lives=2, vary={})
    for name, (_, _, told) in zip(("First", "Second"), found.provenance["regimes"], strict=True):
        assert f"class {name}:" in told


def test_a_caretaker_may_be_made_by_any_function(tmp_path):
    regime = load_regime("hourly")
    for below in (2, 3):
        made = Caretaker("fed", regime, lambda below=below: feeder(below)())
        assert small(tmp_path / str(below), regimes=[made], lives=2).finished


TELLS = """
from petsim.life.caretaker import load_caretaker
from petsim.study.identity import identity_of
from tests.study.test_sweep import Eager, feeder, sourceless
for each in (Eager, feeder(3), sourceless()):
    print(identity_of(load_caretaker(each, None)))
"""


def test_same_class_is_told_alike_by_another_process():
    told = [
        subprocess.run(
            [sys.executable, "-c", TELLS],
            env=os.environ | {"PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("1", "2", "3")
    ]
    assert told[0] == told[1] == told[2]
    assert "below = 4" in told[0]


def test_sweep_whose_policy_needs_what_is_not_there_says_so(tmp_path, monkeypatch):
    (tmp_path / "of_the_user.py").write_text(POLICY)
    with monkeypatch.context() as patch:
        patch.syspath_prepend(tmp_path)
        policy = import_module("of_the_user").Cleaner
        found = small(tmp_path / "a", regimes=[policy], lives=2)
    sys.modules.pop("of_the_user")
    with pytest.raises(ArgumentError) as caught:
        found.caretaker(0, trust=True)
    assert str(caught.value) == (
        "Cleaner: can't be made here (ModuleNotFoundError: No module named 'of_the_user'); "
        "expected the modules that it imports"
    )


@pytest.fixture
def cleaner(tmp_path):
    file = tmp_path / "cleaner.py"
    file.write_text(POLICY)
    return {
        "regimes": [f"{file}:Cleaner"],
        "vary": CLEANED,
        "days": 0.13,
    }


REASON = "cleaner:Cleaner: life 21, day 1 "


def test_cell_that_fails_has_its_reason_and_the_others_all_their_lives(cleaner, tmp_path):
    found = small(tmp_path / "a", **cleaner)
    assert list(found.failed) == [1]
    assert found.failed[1].startswith(REASON)
    assert list(found.cells["lives"]) == [LIVES, CHUNK, LIVES]
    assert list(found.cells["failed"]) == ["", found.failed[1], ""]
    assert found.finished
    before = dump(found.path)
    again = small(tmp_path / "a", executor=Here(handed=interrupt), **cleaner)
    assert (again.finished, dump(again.path)) == (True, before)
    assert len(found.lives()) == 2 * LIVES + CHUNK


@pytest.mark.parametrize("ways", ["threads", "processes", "one after the other"])
def test_what_is_kept_of_a_cell_that_fails_does_not_depend_on_who_lives_it(ways, cleaner, tmp_path):
    expected = dump(small(tmp_path / "a", **cleaner).path)
    if ways == "one after the other":
        found = small(tmp_path / "b", workers=1, **cleaner)
    else:
        with executor_of(ways) as executor:
            found = small(tmp_path / "b", executor=executor, **cleaner)
    assert dump(found.path) == expected


def test_process_that_is_gone_is_told_and_it_goes_on(cleaner, tmp_path, monkeypatch):
    def gone(self, numbers):
        raise BrokenProcessPool("no memory")

    expected = dump(small(tmp_path / "b").path)
    with monkeypatch.context() as patch:
        patch.setattr(CellJob, "live", gone)
        with pytest.raises(ArgumentError, match=r"that lived lives is gone .*the same goes on$"):
            small(tmp_path / "a")
    found = open_sweep(tmp_path / "a")
    assert (found.failed, found.finished, chunks(found.path)) == ({}, False, 0)
    assert dump(small(tmp_path / "a").path) == expected


def test_first_cell_may_fail_and_the_others_be_compared(cleaner, tmp_path):
    file = tmp_path / "never.py"
    file.write_text(POLICY.replace("waste = ", "waste = 1 / 0 + "))
    given = cleaner | {"regimes": [f"{file}:Cleaner", "hourly", "ten-minute"], "vary": {}}
    found = small(tmp_path / "a", **given)
    assert [*found.failed] == [0]
    assert_frame_equal(found.differences(), found.differences(1))
    assert [*found.differences()["baseline"]] == [1, 1]
    assert found.export(tmp_path / "a.csv", "differences") == 2
    assert {*found.means().index} == {1, 2}
    with pytest.raises(ArgumentError, match="cell 0: nothing was lived in it yet"):
        found.differences(0)
    none = small(tmp_path / "b", **given | {"regimes": given["regimes"][:1]})
    for table in (none.differences, lambda: none.means("misses")):
        with pytest.raises(ArgumentError, match=r"b\.sweep: nothing was lived in it yet$"):
            table()


def test_fail_fast_raises_what_the_policy_did_and_it_goes_on(cleaner, tmp_path):
    with pytest.raises(PolicyError) as caught:
        small(tmp_path / "a", fail_fast=True, **cleaner)
    assert str(caught.value).startswith(REASON)
    found = open_sweep(tmp_path / "a")
    assert (found.failed, found.finished) == ({1: str(caught.value)}, False)
    expected = dump(small(tmp_path / "b", **cleaner).path)
    assert dump(small(tmp_path / "a", **cleaner).path) == expected


@pytest.mark.parametrize(("option", "code"), [((), FAILED), (("--fail-fast",), BAD_INPUT)])
def test_command_exits_with_whether_a_cell_failed(option, code, cleaner, tmp_path, capsys):
    given = ["sweep", *cleaner["regimes"], "--model", MODEL, "--days", "0.13", "--lives", "70"]
    varied = "checks.every=5 min,25 min,10 min"
    with pytest.raises(SystemExit) as ended:
        main([*given, "--vary", varied, "--out", str(tmp_path / "a"), *option])
    out, err = capsys.readouterr()
    assert ended.value.code == code
    if option:
        assert (out, err.startswith(REASON), err.count("\n")) == ("", True, 1)
    else:
        assert (f"cell 1 failed: {REASON}" in out, err) == (True, "")
        before = (tmp_path / "a.sweep").read_bytes()
        with pytest.raises(SystemExit) as ended:
            main([*given, "--vary", varied, "--out", str(tmp_path / "a"), "--json"])
        said = json.loads(capsys.readouterr().out)["cells"]
        assert ended.value.code == FAILED
        assert [cell["failed"] is None for cell in said] == [True, False, True]
        assert (tmp_path / "a.sweep").read_bytes() == before


# Replays


def test_cell_replays_the_lives_it_kept(cleaner, tmp_path):
    regimes = ["hourly", *cleaner["regimes"]]
    vary = {"checks.every": ["5 min", "10 min"], "care.play.works": ["70%", "20%"]}
    found = small(tmp_path / "a", regimes=regimes, vary=vary, days=0.13, seed=7)
    (tmp_path / "cleaner.py").unlink()
    found = open_sweep(tmp_path / "a")
    assert len(found.cells) == 8
    for cell in found.cells.index:
        kept = found.lives(cell)
        for number in (0, 19, 20, LIVES - 1):
            made = (found.model(cell), found.caretaker(cell, trust=True))
            life = simulate(*made, seed=7, life=number, days=0.13)
            assert kept.iloc[number][list(life.summary)].to_dict() == life.summary


def test_command_replays_a_life_of_a_cell(cleaner, tmp_path, capsys):
    found = small(tmp_path / "a", **cleaner | {"vary": {"checks.every": ["5 min"]}, "seed": 3})
    (tmp_path / "cleaner.py").unlink()
    life = ["run", "--from", str(tmp_path / "a"), "--cell", "0", "--life", "33", "--json"]
    with pytest.raises(SystemExit):
        main(life)
    assert capsys.readouterr().err == (
        f"{tmp_path / 'a.sweep'}: cell 0 has the Python policy cleaner:Cleaner, whose code is in "
        "the file: 11 lines, from 'class Cleaner:' on; expected --trust (in Python, trust=True) to "
        "run it, if you know who made the file\n"
    )
    main([*life, "--trust"])
    summary = json.loads(capsys.readouterr().out)["summary"]
    assert found.lives(0).iloc[33][list(summary)].to_dict() == summary


@pytest.mark.parametrize("cell", [-1, 4])
def test_cell_that_is_not_there_is_told(cell, tmp_path):
    found = small(tmp_path / "a")
    for use in (found.model, found.caretaker, found.lives, found.differences):
        with pytest.raises(ArgumentError, match=f"cell: {cell}; expected 0 to 3"):
            use(cell)


# Who lives them


def executor_of(ways) -> Executor:
    # as distributed work is: in new processes, not copies of this one
    fresh = get_context("spawn")
    return {
        "threads": lambda: ThreadPoolExecutor(2),
        "processes": lambda: ProcessPoolExecutor(2, mp_context=fresh),
    }[ways]()


@pytest.mark.parametrize("workers", [0, -1])
def test_workers_are_at_least_one(workers, tmp_path):
    for use in (sweep, planned):
        with pytest.raises(ArgumentError, match=f"workers: {workers}; expected at least 1"):
            use(MODEL, ["hourly"], VARY, out=tmp_path / "a", workers=workers)


@pytest.mark.parametrize("engine", ["compiled", "reference"])
@pytest.mark.parametrize("workers", [1, 2])
def test_workers_do_not_matter(engine, workers, tmp_path, undisturbed):
    found = small(tmp_path / "a", engine=engine, workers=workers)
    assert dump(found.path) == undisturbed


@pytest.mark.parametrize(
    ("ways", "engine"),
    [("threads", "compiled"), ("threads", "reference"), ("processes", "reference")],
)
def test_any_executor_will_do(ways, engine, tmp_path, undisturbed):
    with executor_of(ways) as executor:
        found = small(tmp_path / "a", engine=engine, executor=executor)
    assert dump(found.path) == undisturbed


def test_sizes_of_chunks_do_not_matter_to_odds_and_sums(tmp_path, monkeypatch, undisturbed):
    one = small(tmp_path / "a", engine="compiled")
    monkeypatch.setattr(module, "CHUNK", {"compiled": 1_000, "reference": 33})
    for other in (small(tmp_path / name, engine=name) for name in ("compiled", "reference")):
        odds = "SELECT * FROM odds ORDER BY cell, outcome"
        assert rows(one.path, odds) == rows(other.path, odds)
        query = "SELECT cell, column, lives, total, squares FROM totals ORDER BY cell, column"
        for ours, theirs in zip(rows(one.path, query), rows(other.path, query), strict=True):
            assert ours[:3] == theirs[:3]
            if ours[1].endswith("_per_day") or ours[1] == "days_followed":
                # floats, whose sums round as they are ordered
                assert ours[3:] == pytest.approx(theirs[3:], rel=1e-12)
            else:
                assert ours[3:] == theirs[3:]
        assert_frame_equal(one.lives(), other.lives())


# What is found


@pytest.fixture(scope="module")
def found_and_batches(tmp_path_factory):
    """A sweep, and batches of its cells whose files were changed by hand."""
    folder = tmp_path_factory.mktemp("found")
    found = small(folder / "a", lives=500, seed=5)
    batches = []
    for every in ("10 min", "40 min"):
        for works in ("70%", "20%"):
            model, regime = folder / "m.yaml", folder / f"r{len(batches)}.yaml"
            model.write_text(text_of("model", "works: 70%", f"works: {works}"))
            regime.write_text(text_of("regime", "every: 1 h", f"every: {every}"))
            batches.append(batch(str(model), str(regime), lives=500, seed=5))
    return found, batches


def test_odds_are_those_of_a_batch(found_and_batches):
    found, batches = found_and_batches
    for outcome in ("beacon", "ember", "starved"):
        odds = found.odds(outcome)
        for cell, one in enumerate(batches):
            interval = one.share(outcome)
            assert tuple(odds.loc[cell, [*interval._fields]]) == interval
    said = found.odds().iloc[3]
    assert said[["regime", "lives", "outcome"]].to_list() == ["hourly", 500, "beacon"]
    assert said[["checks.every", "care.play.works"]].to_list() == [2400.0, 0.2]


def test_differences_are_those_of_a_comparison(tmp_path):
    regimes = ["ten-minute", "thirty-minute", "hourly"]
    found = small(tmp_path / "a", regimes=regimes, vary={}, lives=300)
    for baseline, aim in ((0, "beacon"), (2, "lantern")):
        first = [regimes[baseline], *(r for r in regimes if r != regimes[baseline])]
        expected = compare(MODEL, first, lives=300, aim=aim).differences
        said = found.differences(baseline, aim).set_index("regime")
        for difference in expected:
            interval = difference.interval
            assert tuple(said.loc[difference.of, [*interval._fields]]) == interval
        assert said.loc[regimes[baseline], "estimate"] == 0


def test_means_are_those_of_the_lives_with_intervals_by_scipy(found_and_batches):
    found, batches = found_and_batches
    for cell, one in enumerate(batches):
        lives = one.lives
        day = np.maximum(lives["end_s"], 1) / 86_400
        for column, values in {
            "end_s": lives["end_s"],
            "presses": lives["presses"],
            "presses_per_day": lives["presses"] / day,
            "weight_at.ember": lives["weight_at.ember"][lives["weight_at.ember"] >= 0],
        }.items():
            means = found.means(column)
            if values.empty:  # as no life got there
                assert cell not in means.index
                continue
            said = means.loc[cell]
            assert said["column"] == column
            ends = stats.t.interval(0.95, len(values) - 1, values.mean(), stats.sem(values))
            expected = (values.mean(), *ends)
            assert tuple(said[["estimate", "low", "high"]]) == pytest.approx(expected, rel=1e-9)
    with pytest.raises(ArgumentError, match="'pressses' is not summed"):
        found.means("pressses")


def test_lives_are_those_of_batches(found_and_batches):
    found, batches = found_and_batches
    every = found.lives()
    assert len(every) == 4 * 500
    for cell, one in enumerate(batches):
        own = every[every["cell"] == cell]
        names = ["regime", "checks.every", "care.play.works"]
        assert own[names].drop_duplicates().to_numpy().tolist() == [
            ["hourly", (600.0, 2400.0)[cell // 2], (0.7, 0.2)[cell % 2]]
        ]
        for table in (own.reset_index(drop=True), found.lives(cell)):
            assert_frame_equal(
                table[list(one.lives)], one.lives, check_dtype=False, check_categorical=False
            )


def test_lives_that_were_not_kept_are_told(tmp_path):
    found = small(tmp_path / "a", keep=False)
    assert rows(found.path, "SELECT COUNT(*) FROM chunks WHERE rows IS NOT NULL") == [(0,)]
    with pytest.raises(ArgumentError, match="kept no lives; sweep with --keep lives"):
        found.lives()


@pytest.mark.parametrize("what", ["odds", "differences", "cells", "lives"])
def test_export_reads_back_the_same(what, found_and_batches, tmp_path):
    found, _ = found_and_batches
    expected = found.cells if what == "cells" else getattr(found, what)()
    expected = expected if what == "lives" else expected.reset_index()
    # a file has words where a table of lives has categories
    expected = expected.astype(dict.fromkeys(expected.select_dtypes("category"), str))
    for name, read in (("a.csv", partial(pd.read_csv, na_filter=False)),
                       ("a.parquet", pd.read_parquet)):  # fmt: skip
        assert found.export(tmp_path / name, what) == len(expected)
        back = read(tmp_path / name).astype(expected.dtypes)
        assert_frame_equal(back, expected)
    assert {file.name for file in tmp_path.iterdir()} == {"a.csv", "a.parquet"}


def test_export_that_cannot_be_is_told(found_and_batches, tmp_path):
    found, _ = found_and_batches
    for name, what, message in (
        ("a.xlsx", "odds", "expected a name that ends in .csv, .parquet or .sweep"),
        ("a.csv", "lifes", "what: 'lifes'; did you mean 'lives'"),
        ("none/a.csv", "odds", "none/a.csv: can't be written: "),
        ("none/a.parquet", "odds", "none/a.parquet: can't be written: "),
    ):
        with pytest.raises(ArgumentError, match=message):
            found.export(tmp_path / name, what)
    assert not [*tmp_path.iterdir()]
