"""Policies that never come back, end their process or draw chance: each ends in words."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

import petsim
from petsim.cli import BAD_INPUT
from petsim.errors import ArgumentError, PolicyError
from petsim.life.watch import LENGTH, Page, limited, page
from petsim.spec.clocks import Begins
from tests.study.policies import Crashes, Draws, Ends, HangsInC, OnceTidy
from tests.study.sweeps import MODEL, dump, started, wait_until

LATE = "did not come back within 3 s; expected a check that ends, or a longer check limit"
ENDED = "ended its process, twice"
BIRTH = "life 0, day 1 09:00:00"
VARIES = (
    "life 0 lived twice differs: it draws chance of its own, or remembers across lives; "
    "keep memory in self and take chance from nowhere"
)


def test_cells_whose_policies_misbehave_fail_with_the_reason_and_the_others_have_their_lives(
    tmp_path,
):
    regimes = [HangsInC, Ends, Crashes, Draws, OnceTidy, "hourly"]
    given = {"out": tmp_path / "a", "lives": 2, "days": 0.5, "workers": 2, "check_limit": 3}
    sweep = petsim.sweep(MODEL, regimes, {}, **given)
    assert sweep.failed == {
        0: f"HangsInC: {BIRTH}: {LATE}",
        1: f"Ends: {BIRTH}: {ENDED} (exit code 3)",
        2: f"Crashes: {BIRTH}: {ENDED} (SIGSEGV)",
        3: f"Draws: {VARIES}",
    }
    assert [*sweep.cells["lives"]] == [0, 0, 0, 0, 2, 2]
    before = dump(sweep.path)
    # nothing is missing, so nothing is tried again
    assert dump(petsim.sweep(MODEL, regimes, {}, **given | {"executor": object()}).path) == before


@pytest.mark.parametrize(
    ("policy", "message"),
    [(Ends, f"Ends: {BIRTH}: {ENDED} (exit code 3)"), (Draws, f"Draws: {VARIES}")],
)
def test_comparison_with_a_policy_that_misbehaves_is_an_error(policy, message):
    with pytest.raises(PolicyError) as complained:
        petsim.compare(MODEL, ["hourly", policy], lives=2, days=0.5, workers=1)
    assert str(complained.value) == message


def hanging(stubborn):
    class Hangs:
        regime = HangsInC.regime

        def check(self, look):
            while stubborn:
                try:
                    while True:
                        pass
                except Exception:
                    pass
            while True:
                pass

    return Hangs


@pytest.mark.skipif(os.name != "posix", reason="alarms are of POSIX")
@pytest.mark.parametrize("stubborn", [True, False])
def test_limit_holds_in_this_process_for_python_code(stubborn):
    before = signal.getsignal(signal.SIGALRM)
    with pytest.raises(PolicyError, match=rf"^Hangs: {BIRTH}: did not come back within 0.3 s"):
        petsim.simulate(MODEL, hanging(stubborn), days=0.1, check_limit=0.3)
    assert signal.getsignal(signal.SIGALRM) == before
    assert signal.getitimer(signal.ITIMER_REAL) == (0, 0)


@pytest.fixture
def alarms(monkeypatch):
    """What sets the alarm, to be replaced; no alarm is left behind, whatever goes wrong."""
    set_alarm = signal.setitimer
    yield set_alarm
    set_alarm(signal.ITIMER_REAL, 0)
    signal.signal(signal.SIGALRM, signal.SIG_DFL)


@pytest.mark.skipif(os.name != "posix", reason="alarms are of POSIX")
@pytest.mark.parametrize("late", [0, 100])
def test_alarm_that_comes_just_before_it_is_taken_back_does_nothing(alarms, late, monkeypatch):
    def taken_back(which, seconds):
        alarms(which, seconds)
        if seconds == 0:
            signal.raise_signal(signal.SIGALRM)

    monkeypatch.setattr(signal, "setitimer", taken_back)
    with limited(60):
        page.check(0)
        page.excuse(-late)
    assert signal.getitimer(signal.ITIMER_REAL) == (0, 0)


@pytest.mark.skipif(os.name != "posix", reason="alarms are of POSIX")
def test_ctrl_c_that_comes_just_after_the_alarm_is_set_takes_it_back(alarms, monkeypatch):
    def interrupted(which, seconds):
        alarms(which, seconds)
        if seconds:
            raise KeyboardInterrupt

    monkeypatch.setattr(signal, "setitimer", interrupted)
    with pytest.raises(KeyboardInterrupt), limited(60):
        pass
    assert signal.getsignal(signal.SIGALRM) is signal.SIG_DFL
    assert signal.getitimer(signal.ITIMER_REAL) == (0, 0)


@pytest.mark.parametrize("limit", [0, -1, "1 min", float("nan"), 1e9, None])
def test_limit_is_a_number_of_seconds(limit):
    for live in (
        lambda: petsim.simulate(MODEL, "hourly", check_limit=limit),
        lambda: petsim.batch(MODEL, "hourly", lives=1, check_limit=limit),
    ):
        with pytest.raises(ArgumentError) as refused:
            live()
        expected = "expected seconds above 0, up to 1e+06"
        assert str(refused.value) == f"check_limit: {limit!r}; {expected}"


def test_page_on_which_no_check_is_noted_is_not_overdue():
    # as another process may find it while it is cleared, or a name is written before a check
    memory = bytearray(LENGTH)
    page = Page(memory)
    page.load("Odd")
    memory[:8] = bytes(8)
    assert not page.is_empty and page.left(5) == 5


def test_page_names_policy_life_and_time():
    page = Page(bytearray(LENGTH))
    assert (page.is_empty, page.left(5)) == (True, 5)
    page.load("añil:" + "X" * 10_000)
    assert page.place().startswith("añil:XXX")
    page.begin("a:B", 2**64 - 1, Begins(weekday=4, clock=3600))
    page.check(86_400)
    assert page.place() == f"a:B: life {2**64 - 1}, day 2 01:00:00"
    assert 4 < page.left(5) <= 5
    page.clear()
    assert page.is_empty


# The command

LOUD = """
import os

print("loaded")


class Loud:
    def check(self, look):
        print("by Python")
        os.write(1, b"by the system\\n")
        return []
"""


def test_what_a_policy_prints_is_not_where_data_is(tmp_path):
    file = tmp_path / "loud.py"
    file.write_text(LOUD)
    given = ["run", f"{file}:Loud", "--model", MODEL, "--days", "0.1", "--json"]
    with started(*given) as running:
        out, err = running.communicate(timeout=60)
    assert json.loads(out)["regime"] == "loud:Loud"
    assert {"loaded", "by Python", "by the system"} == {*err.splitlines()}


HANGING = """
import ctypes, os
from pathlib import Path


class Hanging:
    def check(self, look):
        Path({begun!r}, str(os.getpid())).touch()
        while True:
            ctypes.PyDLL(None).sleep(1000)
"""


def is_running(pid: int) -> bool:
    """Whether a process is there, and not only its exit code for a parent that is gone."""
    try:
        status = Path(f"/proc/{pid}/stat").read_text()
    except OSError:
        return False
    return status.rpartition(")")[2].split()[0] != "Z"


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere compiled code may outlive it")
@pytest.mark.parametrize(("how", "code"), [(signal.SIGTERM, 143), (signal.SIGKILL, -9)])
def test_no_worker_outlives_a_command_that_is_killed_even_if_it_never_looks_up(how, code, tmp_path):
    begun, file = tmp_path / "begun", tmp_path / "hanging.py"
    begun.mkdir()
    file.write_text(HANGING.format(begun=str(begun)))
    given = ["sweep", f"{file}:Hanging", "--model", MODEL, "--lives", "300", "--workers", "2"]
    with started(*given, "--out", str(tmp_path / "a"), "--quiet") as running:
        wait_until(lambda: len([*begun.iterdir()]) == 2, 60)
        os.kill(running.pid, how)
        out, err = running.communicate(timeout=30)
    kept = f"petsim: interrupted; what is done is in {tmp_path / 'a.sweep'}, and the same goes on\n"
    said = kept if how == signal.SIGTERM else ""
    assert (running.returncode, out, err) == (code, "", said)
    workers = [int(file.name) for file in begun.iterdir()]
    wait_until(lambda: not any(map(is_running, workers)))


@pytest.mark.parametrize("command", [["run"], ["check"]])
def test_one_life_of_a_policy_that_hangs_is_told_by_the_command(command, tmp_path):
    (tmp_path / "begun").mkdir()
    file = tmp_path / "hanging.py"
    file.write_text(HANGING.format(begun=str(tmp_path / "begun")))
    done = subprocess.run(
        [*(sys.executable, "-m", "petsim", *command, f"{file}:Hanging", "--model", MODEL),
         "--check-limit", "3s"],
        capture_output=True,
        encoding="utf-8",
        check=False,
        timeout=60,
    )  # fmt: skip
    message = f"hanging:Hanging: life 0, day 1 09:05:27: {LATE}" if command == ["run"] else LATE
    assert message in done.stderr
    assert (done.returncode, done.stderr.count("\n")) == (BAD_INPUT, 1)
