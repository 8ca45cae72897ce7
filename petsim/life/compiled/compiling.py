"""How the functions of the kernel are compiled, and what a compiled kernel is known by."""

from __future__ import annotations

from collections.abc import Callable
from hashlib import blake2b
from pathlib import Path
from typing import Any

from numba import njit

from petsim.life.compiled.kept import Kept


def called_from_python(function: Any, **options: Any) -> Any:
    """Compile a function. Arithmetic stays as written: nothing is contracted or reordered."""
    return njit(function, error_model="numpy", nogil=True, **options)


def kept(function: Any) -> Any:
    """Compile a function once on this machine, for all processes."""
    dispatcher = called_from_python(function)
    dispatcher._cache = Kept(function)
    return dispatcher


def compiled(function: Any, **options: Any) -> Any:
    """Compile a function that only compiled ones call, which takes less time."""
    return called_from_python(function, no_cpython_wrapper=True, no_cfunc_wrapper=True, **options)


def digest() -> int:
    """Return a number that stands for the sources of all code and constants in the kernel."""
    package = Path(__file__).parents[2]
    files = sorted(file for part in ("life", "spec") for file in (package / part).rglob("*.py"))
    sources = b"".join(file.read_bytes() for file in files)
    return int.from_bytes(blake2b(sources, digest_size=7).digest(), "little")


def inlined(function: Callable[..., Any]) -> Any:
    """Compile a function into those that call it: a short one that is called often."""
    return compiled(function, forceinline=True)


def merged(function: Any) -> Any:
    """Compile a function as a part of its only caller, so that a large one is optimised once."""
    return compiled(function, inline="always")
