"""What the tests of sweeps share: a sweep's tables as text, and sweeps as processes."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import time
from contextlib import closing
from pathlib import Path

from tests.terminal import PETSIM

MODEL = "lamplet-quick"
POLICY = """
class Cleaner:
    regime = {"petsim": "regime 1", "name": "Cleaner", "checks": {"every": "20 min"}}

    def check(self, look):
        waste = look()["waste"]
        if waste >= 2:
            raise ValueError("too much")
        if waste:
            yield "clean"
"""

TABLES = {
    "about": "key",
    "cells": "cell",
    "parameters": "cell, path",
    "failures": "cell",
    "chunks": "cell, first",
    "odds": "cell, outcome",
    "totals": "cell, column",
}


def rows(path: Path, query: str) -> list[tuple]:
    with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)) as base:
        return base.execute(query).fetchall()


def dump(path: Path) -> str:
    """All that a sweep's file says but when and by whom it was lived, to the last bit."""
    found = []
    for table, key in TABLES.items():
        # a pickled policy is as good as another that does the same
        but = "WHERE key NOT IN ('policies', 'checksum')" if table == "about" else ""
        said = rows(path, f"SELECT * FROM {table} {but} ORDER BY {key}")
        found += [table, *map(repr, said)]
    return "\n".join(found)


def chunks(path: Path) -> int:
    """Chunks that are written, while they may still be."""
    try:
        return rows(path, "SELECT COUNT(*) FROM chunks")[0][0]
    except sqlite3.OperationalError:
        return 0


def wait_until(holds, patience: float = 30.0) -> None:
    end = time.monotonic() + patience
    while not holds():
        assert time.monotonic() < end
        time.sleep(0.01)


def started(*arguments: str, **options) -> subprocess.Popen:
    """A command as a process, the first of a group of its own."""
    return subprocess.Popen(
        [*PETSIM, *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        encoding="utf-8",
        start_new_session=True,
        **options,
    )


def is_over(group: int) -> bool:
    """Whether no process of the group is left."""
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return True
    return False
