"""Hostile policies, at random: where and how they misbehave, under which command.

Whatever a policy does, a command ends in words and by its own code, in time, and leaves no process.
"""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
from pathlib import Path

PATIENCE = 120
"""Seconds in which a command ends though its policy does not; it takes a few by itself."""
CODES = {0, 1, 2}

HOW = {
    "raises": "raise {error}",
    "raises what can't be shown": "raise Unspeakable",
    "exits": "os._exit({code})",
    "crashes": "ctypes.string_at(0)",
    "aborts": "os.abort()",
    "overflows the stack": "overflow()",
    "kills itself": "os.kill(os.getpid(), signal.{signal})",
    "hangs in Python": "while True: pass",
    "hangs whatever is raised": "hang()",
    "hangs in compiled code": "while True: ctypes.PyDLL(None).sleep(1000)",
    "hangs in an expression": "re.match('(a+)+$', 'a' * 50 + 'b')",
    "prints a lot": "print('x' * 1_000_000)",
    "prints below Python": "os.write(1, b'low' * 1000)",
    "closes its output": "os.close(1); print('gone')",
    "returns rubbish": "return {rubbish}",
    "begins a thread that never ends": "threading.Thread(target=hang).start()",
    "does nothing of the kind": "pass",
}
ERRORS = (
    *("ValueError('odd')", "SystemExit(3)", "KeyboardInterrupt", "GeneratorExit", "StopIteration"),
    *("BaseException('of all')", "MemoryError", "RecursionError", "ImportError('no')"),
)
RUBBISH = (
    *("None", "3", "'feed'", "[3]", "[None]", "{'feed'}", "object()", "[Unshowable()]"),
    *("Unshowable()", "['feet']", "[Odd('feed')]", "iter(Odd, 3)", "(1 / 0 for _ in [1])", "b'x'"),
    *("['feed'] * 2000", "type", "[[]]", "float('nan')", "Elusive()", "[Elusive()]"),
)
WHERE = ("made", "check", "look", "middle", "left", "shown", "pickled", "destroyed")

SOURCE = """
import ctypes, os, re, signal, threading

{prelude}

class Unspeakable(BaseException):
    def __str__(self):
        raise ValueError


class Unshowable:
    def __repr__(self):
        raise ValueError


class Elusive:
    def __getattribute__(self, name):
        raise ValueError


class Odd(str):
    __hash__ = None

    def __eq__(self, other):
        raise ValueError


def hang():
    while True:
        try:
            while True:
                pass
        except BaseException:
            pass


def overflow():
    return eval("(" * 90 + ")" * 90) or overflow()


def misbehave():
    {how}


class Shown:
    def __repr__(self):
        {shown}
        return "shown"


class Hostile:
    regime = {{"petsim": "regime 1", "name": "Hostile", "checks": {{"every": "20 min"}}}}
    kept = None
    checks = 0

    def __init__(self):
        {made}

    def __del__(self):
        {destroyed}

    def __reduce__(self):
        {pickled}
        return object, ()

    def check(self, look):
        self.checks += 1
        now = self.checks >= {at}
        if now:
            {check}
        {look}
        return self.acts(look, now)

    def acts(self, look, now):
        try:
            yield "clean"
            if now:
                {middle}
            yield "clean"
            if now:
                yield {yielded}
        finally:
            {left}


{kept}
"""


def source(random: random.Random) -> tuple[str, str]:
    """A hostile policy's file, and in words what it does."""
    where, how = random.choice(WHERE), random.choice(list(HOW))
    line = HOW[how].format(
        error=random.choice(ERRORS),
        code=random.choice([0, 1, 3, 130]),
        signal=random.choice(["SIGKILL", "SIGTERM", "SIGSEGV"]),
        rubbish=random.choice(RUBBISH),
    )
    # the misbehaviour stands where it is, as where it returns something it has to
    places = {place: line if place == where else "pass" for place in WHERE}
    kept = "Hostile.kept = Hostile.__new__(Hostile)" if where == "pickled" else ""
    text = SOURCE.format(
        prelude="", how="pass", at=random.choice([1, 2, 5]), kept=kept,
        yielded="Shown()" if where == "shown" else "'clean'",
        **{**places, "look": line if where == "look" else "look()"},
    )  # fmt: skip
    return text, f"{where}: {how}: {line}"


def attack(random: random.Random, folder: Path) -> str | None:
    """Have one hostile policy live under one command.

    Returns:
        What went wrong, in words; None if all is well.
    """
    folder.mkdir(parents=True, exist_ok=True)
    file = folder / "hostile.py"
    text, does = source(random)
    file.write_text(text, encoding="utf-8")
    policy, model = f"{file}:Hostile", ("--model", "lamplet-quick", "--days", "0.2")
    command = random.choice(
        [
            ("run", policy, *model),
            ("run", policy, *model, "--json"),
            ("compare", policy, *model, "--lives", "3", "--json"),
            ("compare", "hourly", policy, *model, "--lives", "3"),
            *(
                ("sweep", policy, "hourly", *model, "--lives", "3", "--quiet", "--workers", workers)
                for workers in "12"
            ),
        ]
    )
    if command[0] == "sweep":
        command = (*command, "--out", str(folder / "hostile"))
        (folder / "hostile.sweep").unlink(missing_ok=True)
    wrong = _ends_well((*command, "--check-limit", "3s"))
    return wrong and f"{wrong}\n  {' '.join(command)}\n  {does}"


def _ends_well(command: tuple[str, ...]) -> str | None:
    """What is wrong with how a command ends, if anything is."""
    begun = subprocess.Popen(
        [sys.executable, "-m", "petsim", *command],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        encoding="utf-8",
        errors="replace",
        start_new_session=True,
    )
    try:
        out, err = begun.communicate(timeout=PATIENCE)
    except subprocess.TimeoutExpired:
        return "it never ends"
    finally:
        left = _left_of(begun.pid)
        if begun.poll() is None or left:
            os.killpg(begun.pid, signal.SIGKILL)
            begun.communicate()
    if begun.returncode not in CODES:
        return f"exit code {begun.returncode}: {err[-300:]}"
    if "Traceback" in err or "Traceback" in out:
        return f"a traceback: {err[-2000:]}"
    if "--json" in command and begun.returncode == 0:
        try:
            json.loads(out)
        except ValueError:
            return f"what is no JSON: {out[:300]}"
    if begun.returncode == 2 and not err:
        return "an error without a word"
    return f"processes left: {left}" if left else None


def _left_of(group: int) -> list[str]:
    """The processes of a group that still run, as far as the system tells."""
    left = []
    for status in Path("/proc").glob("[0-9]*/stat"):
        try:
            name, _, rest = status.read_text().rpartition(")")
        except OSError:
            continue
        state, _, its_group, *_ = rest.split()
        if int(its_group) == group and state != "Z":
            left.append(f"{name})")
    return left
