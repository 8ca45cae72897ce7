"""Files of sweeps, damaged in random ways: nothing is counted but what was written.

Each try damages a copy of one finished sweep, reads all of it, and has the same sweep go on. Either
it says in words what is wrong, or all that it counts is what was counted before the damage.
"""

from __future__ import annotations

import logging
import random
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from functools import cache
from pathlib import Path
from tempfile import mkdtemp

import petsim
from petsim.errors import PetsimError
from petsim.study.results import Sweep
from tests.study.sweeps import MODEL, POLICY

LIVES, CHUNK = 40, 20
DESIGN = {
    "model": MODEL,
    "vary": {"checks.every": ["10 min", "40 min"], "care.play.works": ["70%", "20%"]},
    "lives": LIVES,
    "days": 0.2,
    "keep": True,
    "workers": 1,
}
EDITS = (
    "UPDATE chunks SET lives = lives + 1",
    "UPDATE chunks SET counts = '{}' WHERE cell = 1",
    "UPDATE chunks SET sums = '[[[['",
    "UPDATE chunks SET first = first + 7 WHERE cell = 0",
    "UPDATE chunks SET cell = 10000000 + cell WHERE cell = 0",
    "UPDATE chunks SET rows = NULL",
    "UPDATE chunks SET outcomes = zeroblob(80)",
    "UPDATE failures SET reason = char(27) || '[2J'",
    "UPDATE cells SET regime = 'another'",
    "UPDATE parameters SET number = NULL",
    "UPDATE about SET value = '[]' WHERE key = 'design'",
    "UPDATE about SET value = replace(value, '\"lives\": 40', '\"lives\": 41')",
    "UPDATE about SET value = randomblob(100)",
    "DELETE FROM about WHERE key = 'policies'",
    "DELETE FROM chunks WHERE cell = 1",
    "DROP TABLE chunks",
    "DROP TABLE failures",
    "DROP TABLE about",
    "DROP VIEW odds",
    "PRAGMA user_version = 77",
    "PRAGMA user_version = 0",
    "DROP TABLE chunks; CREATE VIEW chunks AS WITH RECURSIVE n(cell) AS "
    "(SELECT 1 UNION ALL SELECT cell + 1 FROM n) SELECT * FROM n",
    "CREATE TRIGGER t AFTER INSERT ON chunks BEGIN DELETE FROM chunks; END",
)


@cache
def _whole() -> tuple[bytes, str, dict]:
    """The bytes of a finished sweep with a cell that failed, its policy, and what it counts."""
    folder = Path(mkdtemp())
    policy = folder / "cleaner.py"
    policy.write_text(POLICY)
    swept = _go_on(folder / "whole.sweep", str(policy))
    return swept.path.read_bytes(), str(policy), _counted(swept)


def _go_on(path: Path, policy: str) -> Sweep:
    from petsim.study import sweep as sweeps

    sweeps.CHUNK = {"compiled": CHUNK, "reference": CHUNK}
    return petsim.sweep(regimes=["hourly", policy], out=path, **DESIGN)


def _counted(swept: Sweep) -> dict:
    """What is counted of each cell, by whether all its lives are there."""
    counted = {}
    with swept.snapshot() as store:
        for chunk in store.chunks:
            counted[chunk.cell, chunk.first] = (chunk.lives, dict(chunk.counts))
        for cell, sums in store.sums():
            counted.setdefault(("sums", cell), []).append(sums)
    for table in (swept.odds(), swept.means(), swept.differences()):
        assert len(table)
    swept.lives()
    return counted | {"failed": swept.failed}


def attack(chance: random.Random, folder: Path) -> str | None:
    """Damage a sweep's file, and return in words what went wrong with reading it or going on."""
    content, policy, whole = _whole()
    path = folder / "a.sweep"
    damage = _damaged(chance, path, content)
    try:
        with _warnings() as warnings:
            counted = _counted(petsim.open_sweep(path))
    except PetsimError:
        pass
    else:
        wrong = [key for key, what in counted.items() if not _is_part(key, what, whole)]
        if wrong:
            return f"{damage}: counts something else of {wrong[0]}"
        if counted != whole and not warnings:
            return f"{damage}: leaves something out without a word"
    try:
        again = _counted(_go_on(path, policy))
    except PetsimError:
        return None
    return None if again == whole else f"{damage}: something else came of going on"


@contextmanager
def _warnings() -> Iterator[list[str]]:
    """What petsim warns of within."""
    warnings: list[str] = []
    handler, logger = logging.Handler(), logging.getLogger("petsim")
    handler.emit = lambda record: warnings.append(record.getMessage())
    logger.addHandler(handler)
    try:
        yield warnings
    finally:
        logger.removeHandler(handler)


def _is_part(key: object, what: object, whole: dict) -> bool:
    """Whether nothing is counted but what was."""
    if isinstance(key, tuple) and key[0] == "sums":
        return all(sums in whole.get(key, []) for sums in what)
    if key == "failed":
        return what.items() <= whole["failed"].items()
    return whole.get(key) == what


def _damaged(chance: random.Random, path: Path, content: bytes) -> str:
    """Write a damaged copy of the file, and return what was done to it."""
    path.with_name(f"{path.name}-wal").unlink(missing_ok=True)
    damaged = bytearray(content)
    kind = chance.choice(["byte", "bytes", "cut", "longer", "block", "fewer", "edit"])
    if kind in ("byte", "bytes"):
        for _ in range(1 if kind == "byte" else 10):
            damaged[chance.randrange(len(damaged))] ^= 1 << chance.randrange(8)
    elif kind == "cut":
        del damaged[chance.randrange(len(damaged)) :]
    elif kind == "longer":
        damaged += chance.randbytes(chance.randrange(1, 10_000))
    elif kind == "block":
        start = chance.randrange(0, len(damaged), 512)
        damaged[start : start + 512] = chance.choice([bytes(512), chance.randbytes(512)])
    elif kind == "fewer":
        # a page of a tree has its kind in its first byte, and how many rows in its fourth and fifth
        pages = [p for p in range(4096, len(damaged), 4096) if damaged[p] in (10, 13)]
        place = chance.choice(pages) + 4
        damaged[place] = chance.randrange(damaged[place] or 1)
    path.write_bytes(damaged)
    if kind != "edit":
        return kind
    edit = chance.choice(EDITS)
    with closing(sqlite3.connect(path)) as base:
        base.executescript(edit)
    return edit
