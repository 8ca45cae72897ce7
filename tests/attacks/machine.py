"""Commands with whatever options, outlets, files that are none and signals; damaged caches."""

from __future__ import annotations

import json
import os
import random as chance
import signal
import socket
import subprocess
import time
from contextlib import suppress
from pathlib import Path

from petsim.life.compiled.kept import Sealed
from tests.study.sweeps import is_over
from tests.terminal import PETSIM

LONGEST = 90
"""Seconds after which a command hangs."""
QUICK = ("--model", "lamplet-quick")
VARIED = ("--vary", "stages.infant.grace.mood=1min,2min")
COUNTS = ("1", "2", "7", "0", "-1", "x", "100000000000", "18446744073709551615", "9" * 40)
DAYS = ("0.1", "2", "1e10", "1e300", "nan", "0", "-1")
NO_FILES = ("pipe", "folder", "endless", "socket", "missing", "empty")
OUTLETS = {
    "taken": "",
    "closed": ">&-",
    "full": ">/dev/full",
    "without errors": "2>&-",
    "with full errors": "2>/dev/full",
    "all closed": "<&- >&- 2>&-",
    "all full": ">/dev/full 2>/dev/full",
}
SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGKILL)


def attack(random: chance.Random, folder: Path) -> str | None:
    """Return what goes wrong with a random command, or with a damaged cache."""
    return _cache(random, folder) if random.random() < 0.1 else _command(random, folder)


def _cache(random: chance.Random, folder: Path) -> str | None:
    """Damage what was kept: it must come back as it was, or not at all."""
    cache, key = Sealed(folder / "code", random.random()), ("signature", "machine", "sources")
    data = random.randbytes(random.randrange(5_000))
    cache.save(key, data)
    [file] = folder.iterdir()
    content = bytearray(file.read_bytes())
    for _ in range(random.randrange(1, 5)):
        place = random.randrange(len(content) + 1)
        damage = random.choice(("changed", "cut", "filled"))
        if damage == "changed":
            content[place : place + 1] = bytes([random.randrange(256)])
        elif damage == "cut":
            del content[place : place + random.randrange(1, 5_000)]
        else:
            content[place:place] = random.randbytes(random.randrange(1, 100))
    file.write_bytes(content)
    return None if cache.load(key) in (data, None) else "a damaged cache came back as another"


def _command(random: chance.Random, folder: Path) -> str | None:
    _make_no_files(folder)
    given, is_endless = _arguments(random)
    outlet = random.choice(list(OUTLETS)) if Path("/dev/full").exists() else "taken"
    ignored = random.choice(("", "", "trap '' INT; ", "trap '' INT HUP TERM; "))
    taken = random.choice((None, None, 0, 1, 100))
    sent = random.choice((None, *SIGNALS)) if not is_endless else signal.SIGKILL
    if is_endless and not ignored:
        sent = random.choice(SIGNALS)
    after = random.choice((0.05, 0.3, 1.0, 3.0)) * random.random()
    what = f"{ignored}petsim {' '.join(given)} {OUTLETS[outlet]}, {taken} bytes read, {sent}"
    with (folder / "errors").open("wb") as errors:
        running = subprocess.Popen(
            ["bash", "-c", f'{ignored}exec "$@" {OUTLETS[outlet]}', "", *PETSIM, *given],
            cwd=folder,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=errors,
            start_new_session=True,
        )
    try:
        if sent is not None:
            time.sleep(after)
            with suppress(ProcessLookupError):
                os.killpg(running.pid, sent)
        printed = _read(running, taken)
        fault = _fault(running, folder, given, sent)
        if fault is None and "--json" in given and taken is None and running.returncode == 0:
            fault = _no_json(printed, OUTLETS[outlet])
    except subprocess.TimeoutExpired:
        fault = "hangs"
    finally:
        with suppress(ProcessLookupError):
            os.killpg(running.pid, signal.SIGKILL)
        running.wait()
    return fault and f"{what}: {fault}"


def _make_no_files(folder: Path) -> None:
    """Make what is no file under the names of models, policies, sweeps, pictures and tables."""
    for ending in ("yaml", "py", "sweep", "svg", "html", "csv"):
        os.mkfifo(folder / f"pipe.{ending}")
        (folder / f"folder.{ending}").mkdir()
        (folder / f"endless.{ending}").symlink_to("/dev/zero")
        (folder / f"empty.{ending}").touch()
        with socket.socket(socket.AF_UNIX) as end:
            end.bind(str(folder / f"socket.{ending}"))


def _arguments(random: chance.Random) -> tuple[list[str], bool]:
    """Return a random command, and whether it may go on for longer than anyone waits."""
    regime = random.choice(("hourly", "hands-off", "hourly", "{}.yaml", "{}.py:Carer"))
    regime = regime.format(random.choice(NO_FILES))
    model = random.choice(("lamplet-quick",) * 4 + (f"{random.choice(NO_FILES)}.yaml",))
    name = random.choice(NO_FILES)
    lives, days = random.choice(COUNTS), random.choice(DAYS)
    workers = random.choice(("1", "2", "100000", "0"))
    engine = random.choice(("auto", "reference"))
    json_ = random.choice(([], ["--json"]))
    lived = ["--model", model, *random.choice(([], ["--days", days]))]
    many = ["--lives", lives, *lived]
    varied = [*VARIED, "--engine", engine, "--workers", workers, "--out", name, *json_]
    commands: dict[str, list[str]] = {
        "list": [],
        "help": [random.choice(("models", "regimes", "compare", "nothing"))],
        "schema": [random.choice(("model", "regime", "pet", "x"))],
        "show": [f"{name}.{random.choice(('yaml', 'sweep', 'py:A'))}"],
        "check": [regime, f"{name}.{random.choice(('yaml', 'sweep', 'py:A'))}"],
        "compare": [regime, *many, "--engine", engine, *json_],
        "run": [regime, *lived, *random.choice((json_, ["--csv"], ["--outcome", "beacon"]))],
        "sweep": [regime, *many, *varied],
        "plot": [regime, *many, "-o", f"{name}.svg"],
        "report": [regime, *many, "-o", f"{name}.html"],
        "export": [name, f"{name}.csv"],
        "trials": ["3/5", regime, "--lives", lives, *QUICK, *json_],
        "new": [random.choice(("model", "regime", "pet")), f"{name}.yaml"],
    }
    command = random.choice(list(commands))
    return [command, *commands[command]], command == "sweep" and len(lives) > 2


def _read(running: subprocess.Popen[bytes], taken: int | None) -> bytes:
    """Return what a command prints, or so many bytes of it and read no more; wait for its end."""
    if taken is None:
        return running.communicate(timeout=LONGEST)[0]
    assert running.stdout is not None
    printed = running.stdout.read(taken)
    running.stdout.close()
    running.wait(timeout=LONGEST)
    return printed


def _fault(
    running: subprocess.Popen[bytes], folder: Path, given: list[str], sent: signal.Signals | None
) -> str | None:
    """Return what is wrong with how a command ended, and what it left."""
    errors = (folder / "errors").read_text(encoding="utf-8", errors="replace")
    # Python itself tells so of an interrupt that comes before there is a petsim
    is_too_early = errors.endswith("KeyboardInterrupt\n") and "petsim" not in errors
    if ("Traceback" in errors or "Exception ignored" in errors) and not is_too_early:
        return f"a traceback:\n{errors}"
    codes = {0, 1, 2} | ({-sent, 128 + sent} if sent else set())
    if running.returncode not in codes:
        return f"exit code {running.returncode}"
    ends = time.monotonic() + 10
    while not is_over(running.pid):
        if time.monotonic() > ends:
            return "a process is left"
        time.sleep(0.05)
    drafts = [path.name for path in folder.glob(".*")]
    if drafts and running.returncode in (0, 1, 2):
        return f"left {', '.join(drafts)}"
    return None


def _no_json(printed: bytes, outlet: str) -> str | None:
    if ">" in outlet.replace("2>", ""):
        return None
    try:
        json.loads(printed)
    except ValueError as error:
        return f"prints no JSON: {error}"
    return None
