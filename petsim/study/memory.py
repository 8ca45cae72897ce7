"""How many lives fit into memory at once."""

from __future__ import annotations

import math
import os
import re
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

import numpy as np

from petsim.errors import ArgumentError
from petsim.life.record import columns
from petsim.spec.model import Model

BESIDE_TABLE = 1.25
"""Memory that a life takes in all for each byte of its row in the table: 1.12 as measured."""
MEMINFO = Path("/proc/meminfo")
LIMITS = (
    Path("/sys/fs/cgroup/memory.max"),
    Path("/sys/fs/cgroup/memory/memory.limit_in_bytes"),
)
"""What a container may use, in bytes, or `max`."""


def dtypes(model: Model) -> dict[str, str]:
    """Return the type of each column of the table of lives, where words are numbers."""
    return {c.name: c.dtype.replace("category", "int16") for c in columns(model)}


def ensure_room(models: Iterable[Model], lives: int) -> None:
    """Refuse tables of more lives than there is memory for, before any is lived.

    Args:
        models: the model of each table.
        lives: how many there are in each.

    Raises:
        ArgumentError: they do not fit into memory; the message says how many would.
    """
    sizes = (np.dtype(each).itemsize for model in models for each in dtypes(model).values())
    ensure_fit(lives, BESIDE_TABLE * sum(sizes), ", or a sweep, which needs no such memory")


def ensure_fit(lives: int, each: float, instead: str = "") -> None:
    """Refuse more lives than there is memory for, before any is lived.

    Args:
        lives: how many there are.
        each: the bytes that each takes.
        instead: what the message adds to how many would fit.

    Raises:
        ArgumentError: they do not fit into memory; the message says how many would.
    """
    free = free_memory()
    if free is not None and lives * each > free:
        raise ArgumentError(
            f"lives: {lives} take about {_gigabytes(lives * each)} of memory, and "
            f"{_gigabytes(free)} are free; expected at most {_rounded(free / each)}{instead}"
        )


def free_memory() -> int | None:
    """Return the bytes of memory that may still be used; None if the system does not say."""
    amounts = []
    with suppress(OSError, ValueError, AttributeError):
        amounts.append(os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE"))
    with suppress(OSError):
        match = re.search(r"^MemAvailable: +(\d+) kB$", MEMINFO.read_text(), re.MULTILINE)
        amounts += [1024 * int(match[1])] if match else []
    for limit in LIMITS:
        with suppress(OSError, ValueError):
            amounts.append(int(limit.read_text()))
    return min(amounts, default=None)


def _gigabytes(amount: float) -> str:
    return f"{amount / 1e9:,.0f} GB" if amount >= 1e9 else f"{amount / 1e9:.1g} GB"


def _rounded(count: float) -> int:
    """Return a count to two digits, rounded down."""
    unit = 10 ** max(0, math.floor(math.log10(max(count, 1))) - 1)
    return max(1, int(count // unit * unit))
