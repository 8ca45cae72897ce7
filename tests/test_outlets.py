"""What becomes of a command whose output nobody takes, or whose Ctrl-C is ignored."""

import os
import shlex
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

import petsim
from petsim.cli import BAD_INPUT, FAILED, main
from tests.terminal import PETSIM

QUICK = ("--model", "lamplet-quick")
VARIED = (*QUICK, "--vary", "stages.infant.grace.mood=1 min,2 min", "--lives", "2")
COMMANDS = {
    "list": ["list"],
    "a page": ["help", "models"],
    "help": ["compare", "--help"],
    "version": ["--version"],
    "schema": ["schema", "model"],
    "show": ["show", "lamplet"],
    "check": ["check", "lamplet", "hourly"],
    "compare": ["compare", "hourly", *QUICK, "--lives", "2"],
    "compare as JSON": ["compare", "hourly", *QUICK, "--lives", "2", "--json"],
    "diary": ["run", "hourly", *QUICK],
    "life as CSV": ["run", "hourly", *QUICK, "--csv"],
    "life as JSON": ["run", "hourly", *QUICK, "--json"],
    "sweep": ["sweep", "hourly", *VARIED, "--out", "nights"],
    "sweep as JSON": ["sweep", "hourly", *VARIED, "--out", "nights", "--json"],
    "trials": ["trials", "3/5"],
    "new": ["new", "model", "mine"],
}
WRONG = {"unknown file": ["check", "no-such"], "unknown option": ["list", "--no-such"]}
FULL = Path("/dev/full")
needs_full = pytest.mark.skipif(not FULL.exists(), reason="no device here that is always full")


def code_of(arguments):
    try:
        main(arguments)
    except SystemExit as end:
        return end.code
    return 0


@pytest.fixture
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)


@needs_full
@pytest.mark.parametrize("command", COMMANDS)
def test_where_output_is_full_a_line_says_so(command, here, monkeypatch, capsys):
    with FULL.open("w", encoding="utf-8") as full:
        monkeypatch.setattr(sys, "stdout", full)
        assert code_of(COMMANDS[command]) == FAILED
    words = "petsim: the output can't be written: No space left on device\n"
    assert capsys.readouterr().err == words


@needs_full
@pytest.mark.parametrize("command", COMMANDS | WRONG)
def test_where_nothing_can_be_said_the_code_still_tells(command, here, monkeypatch):
    with FULL.open("w", encoding="utf-8") as full:
        monkeypatch.setattr(sys, "stderr", full)
        assert code_of((COMMANDS | WRONG)[command]) == (BAD_INPUT if command in WRONG else 0)


@pytest.mark.parametrize("command", COMMANDS | WRONG)
def test_closed_outlets_are_no_error(command, here, monkeypatch):
    monkeypatch.setattr(sys, "stdout", None)
    monkeypatch.setattr(sys, "stderr", None)
    assert code_of((COMMANDS | WRONG)[command]) == (BAD_INPUT if command in WRONG else 0)
    sys.stdout.close()
    sys.stderr.close()


posix = pytest.mark.skipif(os.name != "posix", reason="outlets are closed and kept by a shell")


@posix
def test_in_a_shell_with_outlets_closed_full_or_gone(tmp_path):
    petsim_at = shlex.join(PETSIM)
    sweep = shlex.join([*COMMANDS["sweep as JSON"], "--engine", "reference"])
    ends = {
        f"{petsim_at} list >&- 2>&-": 0,
        f"{petsim_at} check no-such <&- >&- 2>&-": BAD_INPUT,
        f"{petsim_at} {sweep} <&- >&- 2>&-": 0,
        f"set -o pipefail; {petsim_at} check no-such 2>&1 | head -c 0": BAD_INPUT,
    }
    if FULL.exists():
        ends[f"{petsim_at} list > {FULL} 2> {FULL}"] = FAILED
        ends[f"{petsim_at} check no-such 2> {FULL}"] = BAD_INPUT
    running = {
        command: subprocess.Popen(["bash", "-c", command], cwd=tmp_path, stderr=subprocess.PIPE)
        for command in ends
    }
    for command, process in running.items():
        _, err = process.communicate(timeout=120)
        assert (process.returncode, err) == (ends[command], b""), command
    # nothing that was printed went into the file of the sweep
    assert len(petsim.open_sweep(tmp_path / "nights").cells) == 2


SLOW = """
import time
from pathlib import Path

class Slow:
    def check(self, look):
        Path("begun").touch()
        time.sleep(0.02)
        return []
"""


@posix
def test_ctrl_c_that_whoever_started_it_ignores_is_ignored(tmp_path):
    """As in the background of a script, for the command and for the processes it begins."""
    (tmp_path / "slow.py").write_text(SLOW)
    given = ["sweep", "slow.py:Slow", *VARIED[:-1], "60", "--days", "0.02", "--workers", "2"]
    running = subprocess.Popen(
        ["bash", "-c", "trap '' INT; exec \"$@\"", "", *PETSIM, *given, "--out", "n", "--quiet"],
        cwd=tmp_path,
        stderr=subprocess.PIPE,
        start_new_session=True,
    )
    end = time.monotonic() + 60
    while not (tmp_path / "begun").exists():
        assert running.poll() is None
        assert time.monotonic() < end
        time.sleep(0.02)
    for _ in range(3):
        os.killpg(running.pid, signal.SIGINT)
        time.sleep(0.02)
    _, err = running.communicate(timeout=120)
    assert (running.returncode, err) == (0, b"")
