"""How the rules are compiled, and what they are known by."""

from __future__ import annotations

from collections.abc import Callable
from hashlib import blake2b
from pathlib import Path
from typing import Any

from numba import njit


def compiled(function: Any, **options: Any) -> Any:
    """Compile a rule. Doubles are left to IEEE 754: no contraction, no reordering."""
    return njit(function, error_model="numpy", nogil=True, **options)


def digest() -> int:
    """A number that stands for all code that the kernel is made of, and the constants in it."""
    package = Path(__file__).parents[2]
    files = sorted(file for part in ("life", "spec") for file in (package / part).rglob("*.py"))
    sources = b"".join(file.read_bytes() for file in files)
    return int.from_bytes(blake2b(sources, digest_size=7).digest(), "little")


def inlined(function: Callable[..., Any]) -> Any:
    """Compile a rule into those that call it: what is done often and in few places."""
    return compiled(function, forceinline=True)


def merged(function: Any) -> Any:
    """Compile a rule as part of the only one that calls it: what is large, so that it is optimised
    once instead of at each level of calls."""
    return compiled(function, inline="always")
