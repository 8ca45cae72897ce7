"""Logs damaged by chance, or left by a writer that was killed: nothing but words, and no loss."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from functools import cache
from pathlib import Path
from random import Random

import petsim
from petsim.errors import PetsimError
from petsim.life.log.reader import read
from petsim.life.log.writer import LogWriter, text_of
from petsim.study.check import check_files
from petsim.view.log_text import as_dict, summary

SECONDS = 5.0
"""Of the processor's time that reading a log may take."""
PIECES = (
    b"", b"\n", b"\0", b"\0" * 5000, b"{", b"}", b"[" * 3000, b'"', b",", b":", b"\\", b"\xff",
    b"NaN", b"1e999", b"-1", b"9" * 400, b"true", b"null", b'"n":0', b'"boot":0', b'"up":1e300',
    b'"event":"birth"', b'"event":"header"', b"\\u0000", b"\\ud800", b"\x1b[2J", b"\xe2\x80\xae",
    b'"at":"9999-12-31T23:59:59.999+23:59"', b"\r", b"\xef\xbb\xbf", b"a" * 5000,
)  # fmt: skip
"""What is put into logs."""
WRITER = """
import sys
from petsim.life.log.writer import LogWriter
log = LogWriter(sys.argv[1], "mine", ("hunger",))
for number in range(1, 10**9):
    log.write("check", {"check": number})
    log.write("look", {"check": number, "saw": {"hunger": number % 5}})
    log.write("pressing", {"check": number, "action": "feed"})
    print(number, flush=True)
"""


def attack(random: Random, folder: Path) -> str | None:
    """Damage a log and read it, or kill one who writes it; return what was wrong, if anything."""
    if random.random() < 0.2:
        return _killed(random, folder)
    path = folder / "log.jsonl"
    content = damaged(random)
    path.write_bytes(content)
    began = time.process_time()
    wrong = next(filter(None, (_read(path), _gone_on_with(path, content))), None)
    took = time.process_time() - began
    return wrong or (f"took {took:.1f} s" if took > SECONDS else None)


def damaged(random: Random) -> bytes:
    """Return the log of a life, damaged."""
    return random.choice(_DAMAGES)(random, _whole())


@cache
def _whole() -> bytes:
    life = petsim.simulate("lamplet-quick", "camera-rig", seed=1, days=0.5)
    return text_of(life.log()).encode()


def _read(path: Path) -> str | None:
    """Read a log in each way; return what is wrong with how it was read or refused."""
    try:
        [finding] = check_files([str(path)], None)
        for problem in finding.problems:
            if not problem.isprintable():
                return f"says {problem!r}"
        if finding.log is not None:
            said = summary(finding.log)
            json.dumps(as_dict(finding.log), allow_nan=False)
            if not said.replace("\n", "").isprintable():
                return f"says {said!r}"
    except Exception as error:
        return f"raised {error!r}"
    return None


def _gone_on_with(path: Path, content: bytes) -> str | None:
    """Go on with a damaged log; what was in it stays, or it is refused and left as it is."""
    try:
        with LogWriter(path, "mine", ("hunger",)) as log:
            log.write("alive")
    except PetsimError as error:
        if path.read_bytes() != content:
            return f"changed a log that it refused: {error}"
        return None if str(error).isprintable() else f"says {str(error)!r}"
    except Exception as error:
        return f"raised {error!r}"
    return None if path.read_bytes().startswith(content) else "did not keep what was written"


def _killed(random: Random, folder: Path) -> str | None:
    """Kill a writer after a while, and go on; return what was lost of what it had told, if any."""
    path, told = folder / "log.jsonl", 0
    for _ in range(random.randint(1, 2)):
        with subprocess.Popen(
            [sys.executable, "-c", WRITER, path], stdout=subprocess.PIPE, text=True
        ) as process:
            assert process.stdout is not None
            process.stdout.readline()
            time.sleep(random.random() / 10)
            process.send_signal(signal.SIGKILL)
            said = [line for line in process.stdout.read().split("\n")[:-1] if line]
        told = int(said[-1]) if said else 1
        before = path.read_bytes()
        if random.random() < 0.5:
            # as a power cut leaves it
            whole = before[: random.randint(before.rindex(b"\n") + 1, len(before))]
            os.truncate(path, len(whole))
            before = whole
        with LogWriter(path, "mine", ("hunger",)) as log:
            log.write("birth")
        if not path.read_bytes().startswith(before):
            return "did not keep what was written"
        *_, last, _ = read(path).lives
        if max(entry.check for entry in last.entries if hasattr(entry, "check")) < told:
            return f"lost a check before number {told}"
    return None


def _cut(random: Random, content: bytes) -> bytes:
    return content[: random.randrange(len(content) + 1)]


def _cut_and_gone_on_with(random: Random, content: bytes) -> bytes:
    start = content.splitlines(keepends=True)[1]
    return b"\n".join([_cut(random, content), start, start])


def _of_bytes(random: Random, content: bytes) -> bytes:
    changed = bytearray(content)
    for _ in range(random.randint(1, 6)):
        changed[random.randrange(len(changed))] = random.randrange(256)
    return bytes(changed)


def _of_pieces(random: Random, content: bytes) -> bytes:
    for _ in range(random.randint(1, 4)):
        start = random.randrange(len(content) + 1)
        end = min(len(content), start + random.choice((0, 0, 1, 5, 200)))
        content = content[:start] + random.choice(PIECES) + content[end:]
    return content


def _of_lines(random: Random, content: bytes) -> bytes:
    """Lines that are there again, elsewhere or no more."""
    lines = content.splitlines(keepends=True)
    for _ in range(random.randint(1, 5)):
        place = random.randrange(len(lines))
        part = lines[place : place + random.randint(1, 9)]
        if random.random() < 0.5:
            del lines[place : place + len(part)]
        to = random.randrange(len(lines) + 1)
        lines[to:to] = part * random.choice((0, 1, 30))
    return b"".join(lines)


def _of_values(random: Random, content: bytes) -> bytes:
    """Lines of which some values are others."""
    lines = [json.loads(line) for line in content.splitlines()]
    for _ in range(random.randint(1, 5)):
        line, other = random.choice(lines), random.choice(lines)
        value = random.choice(
            (other[random.choice([*other])], 0, -1, 1e308, "", [], {}, None, True)
        )
        line[random.choice([*line, "other"])] = value
    return "".join(json.dumps(line) + "\n" for line in lines).encode()


_DAMAGES: tuple[Callable[[Random, bytes], bytes], ...] = (
    _cut,
    _cut_and_gone_on_with,
    _of_bytes,
    _of_pieces,
    _of_lines,
    _of_values,
)
