"""A rig's log while it is written: whatever ends the writing, what was written stays."""

import os
import signal
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from itertools import count

import pytest

from petsim.errors import ArgumentError
from petsim.life.log.entries import Action, Check, Look, Run
from petsim.life.log.reader import read
from petsim.life.log.writer import SYNCED, LogWriter

SIGNALS = ("hunger", "form")


class Clock:
    """Clocks of a rig that are a second on with each line."""

    def __init__(self):
        self._seconds = count()
        self._second = 0

    def now(self):
        self._second = next(self._seconds)
        return datetime(2026, 3, 2, 9, tzinfo=UTC) + timedelta(seconds=self._second)

    def up(self):
        return float(self._second)


def rig(path, pet="mine", **more):
    clock = Clock()
    return LogWriter(path, pet, SIGNALS, more, now=clock.now, up=clock.up)


@pytest.fixture
def path(tmp_path, monkeypatch):
    """The name of a file that is not there."""
    monkeypatch.chdir(tmp_path)
    return tmp_path / "log.jsonl"


def test_log_is_written_line_by_line(path):
    with rig(path, regime="hourly") as log:
        log.write("birth")
        log.write("check", {"check": 1})
        log.write("look", {"check": 1, "step": 1, "saw": {"hunger": 2}})
        log.write("pressing", {"check": 1, "action": "feed"})
        log.write("action", {"check": 1, "action": "feed", "began": 5, "presses": 2})
    head = '"at":"2026-03-02T09:00:0%d.000+00:00","up":%d,"boot":1,"event":'
    assert path.read_text().splitlines()[:2] == [
        '{"n":0,' + head % (0, 0) + '"header","petsim":"log 1","pet":"mine","signals":["hunger",'
        '"form"],"regime":"hourly"}',
        '{"n":1,' + head % (1, 1) + '"start"}',
    ]
    [life] = read(path).lives
    assert life.entries == (
        Check(1, 1), Look(2, 1, 1, {"hunger": 2}), Action(4, 1, "feed", 3, 2),
    )  # fmt: skip
    assert life.runs == (Run(0, 5, is_clean=True),)


def test_each_line_is_one_write_and_certain_ones_are_on_the_disk(path, monkeypatch):
    done, write, fsync = [], os.write, os.fsync
    monkeypatch.setattr(os, "write", lambda f, what: done.append(what) or write(f, what))
    monkeypatch.setattr(os, "fsync", lambda f: done.append("sync") or fsync(f))
    with rig(path) as log:
        for event, fields in (
            ("check", {"check": 1}), ("pressing", {"action": "feed"}), ("alive", {}),
        ):  # fmt: skip
            log.write(event, fields)
        log.sync()
    kinds = [each if each == "sync" else each.partition(b'event":"')[2].split(b'"')[0].decode()
             for each in done]  # fmt: skip
    assert kinds == [
        *("header", "sync", "start", "sync", "sync"),  # the folder, which has a new name in it
        *("check", "pressing", "sync", "alive", "sync", "stop", "sync"),
    ]
    assert {"start", "pressing"} <= {*SYNCED}


def test_log_goes_on_where_it_ended(path):
    with rig(path) as log:
        log.write("check", {"check": 1})
    before = path.read_bytes()
    with rig(path):
        pass
    assert path.read_bytes().startswith(before)
    log = read(path)
    assert (log.cuts, log.gaps, log.lines) == ((), (), 7)
    assert [run.is_clean for run in log.lives[0].runs] == [True, True]


@pytest.mark.parametrize("whole", range(3))
def test_log_goes_on_after_a_line_that_was_cut_off_anywhere(whole, path):
    with rig(path) as log:
        log.write("birth")
        log.write("check", {"check": 1})
    lines = path.read_bytes().splitlines(keepends=True)
    kept = b"".join(lines[: whole + 1])
    for cut in range(0, len(lines[whole + 1]), 7):
        before = kept + lines[whole + 1][:cut]
        path.write_bytes(before)
        with rig(path) as log:
            log.write("birth")
        assert path.read_bytes().startswith(before)
        after = read(path)
        assert after.cuts == ((whole + 2,) if cut else ())
        # of a birth that is whole there is another life before it
        assert (after.gaps, len(after.lives)) == ((), 2 if whole == 2 else 1)


def test_log_goes_on_after_a_header_that_was_cut_off(path):
    with rig(path):
        pass
    header, *_ = path.read_bytes().splitlines(keepends=True)
    for cut in range(1, len(header)):
        path.write_bytes(header[:cut])
        with rig(path) as log:
            log.write("birth")
        after = read(path)
        # whole but for its end, it counts
        assert after.cuts == (() if cut == len(header) - 1 else (1,))
        assert len(after.lives) == 1


def test_log_goes_on_after_what_a_failing_disk_left(path):
    with rig(path):
        pass
    before = path.read_bytes() + b"\0" * 5000
    path.write_bytes(before)
    with rig(path) as log:
        log.write("birth")
    assert path.read_bytes().startswith(before + b"\n")
    assert (read(path).cuts, len(read(path).lives)) == ((4,), 1)


KILLED = """
import sys
from petsim.life.log.writer import LogWriter
log = LogWriter(sys.argv[1], "mine", ("hunger",))
for number in range(1, 10**9):
    log.write("check", {"check": number})
    log.write("pressing", {"check": number, "action": "feed"})
    print(number, flush=True)
"""


def test_kill_costs_nothing_that_was_written(path):
    for times in range(1, 4):
        with subprocess.Popen(
            [sys.executable, "-c", KILLED, path], stdout=subprocess.PIPE, text=True
        ) as process:
            assert process.stdout is not None
            for _ in range(20 * times):
                line = process.stdout.readline()
            process.send_signal(signal.SIGKILL)
            said = [line, *process.stdout.read().splitlines()]
        told = int(next(each for each in reversed(said) if each.strip().isdigit()))
        with rig(path) as log:
            log.write("birth")
        *_, last, _ = read(path).lives
        assert last.entries[-1].action == "feed"
        assert last.entries[-1].check >= told
        assert last.entries[-1].outcome == "unfinished"
        path.unlink()


@pytest.mark.parametrize(
    ("event", "fields", "message"),
    [
        ("lok", {}, "lok.event: found the unknown event 'lok'; did you mean 'look'?"),
        ("look", {"saw": {"hunger": -1}}, "look.saw.hunger: found -1; expected a whole number, 0 "
         "to 1000"),
        ("note", {"text": "a" * 5000}, "note: found a longer 'note'; expected at most 4,096 bytes"),
    ],
)  # fmt: skip
def test_what_is_no_line_is_not_written(event, fields, message, path):
    with rig(path) as log:
        before = path.read_bytes()
        with pytest.raises(ArgumentError) as refused:
            log.write(event, fields)
        assert path.read_bytes() == before
        log.write("alive")
    assert str(refused.value) == message
    assert read(path).lines == 4


def test_another_file_than_a_log_is_left_as_it_is(path):
    for content in (b"mine\n", b"mine", b'{"a": 1}\n', b'{"a": 1}\n{"b":', b"\n"):
        path.write_bytes(content)
        with pytest.raises(ArgumentError) as refused:
            rig(path)
        assert str(refused.value) == (
            f"{path}: is there already, and no log; expected a log, or a new file"
        )
        assert path.read_bytes() == content


def test_where_no_log_can_be_is_said(path, tmp_path):
    for place, message in (
        (tmp_path, "is a directory; expected a log, or the name of a new one"),
        (tmp_path / "none" / "a", "can't be written: No such file or directory"),
    ):
        with pytest.raises(ArgumentError) as refused:
            rig(place)
        assert str(refused.value) == f"{place}: {message}"


def test_full_disk_is_told_and_the_next_line_is_by_itself(path, monkeypatch):
    log, write = rig(path), os.write
    monkeypatch.setattr(os, "write", lambda f, what: write(f, what[:9]))
    with pytest.raises(ArgumentError, match=r"log\.jsonl: can't be written: the disk is full$"):
        log.write("alive")
    monkeypatch.setattr(os, "write", write)
    log.write("start")
    log.close()
    assert (read(path).cuts, read(path).lines) == ((3,), 4)


def test_disk_that_fails_is_told(path, monkeypatch):
    log = rig(path)

    def fail(*_):
        raise OSError(5, "Input/output error")

    for function in ("fsync", "write"):
        with monkeypatch.context() as broken:
            broken.setattr(os, function, fail)
            with pytest.raises(ArgumentError) as refused:
                log.write("pressing", {"action": "feed"})
        assert str(refused.value) == f"{path}: can't be written: Input/output error"
