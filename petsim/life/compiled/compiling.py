"""How the functions of the kernel are compiled, and what a compiled kernel is known by."""

from __future__ import annotations

import logging
from collections.abc import Callable
from hashlib import blake2b
from pathlib import Path
from typing import Any

from numba import njit
from numba.core import event

from petsim.life.compiled.kept import Kept

_SAID_OF: dict[Any, str] = {}
"""What is compiled, of each function that takes a while."""


class _Notice(event.Listener):
    """Says that something is being compiled, as that takes a while."""

    def on_start(self, event: event.Event) -> None:
        what = _SAID_OF.get(event.data["dispatcher"])
        if what is not None:
            notice = f"petsim: compiling {what}, once on this machine; takes up to a minute"
            logging.getLogger("petsim").warning(notice)

    def on_end(self, event: event.Event) -> None:
        pass


event.register("numba:compile", _Notice())  # type: ignore[no-untyped-call]


def called_from_python(function: Any, **options: Any) -> Any:
    """Compile a function. Arithmetic stays as written: nothing is contracted or reordered."""
    return njit(function, error_model="numpy", nogil=True, **options)


def kept(function: Any, what: str, made_of: int = 0) -> Any:
    """Compile a function once on this machine, for all processes.

    Args:
        function: it is compiled anew when the file that it is in has changed.
        what: it is called in the notice that it is being compiled.
        made_of: or when this number has, which stands for other sources that it is made of.
    """
    dispatcher = called_from_python(function)
    dispatcher._cache = Kept(function, made_of)
    _SAID_OF[dispatcher] = what
    return dispatcher


def compiled(function: Any, *, forceinline: bool = False, **options: Any) -> Any:
    """Compile a function that only compiled ones call, which takes less time.

    It always says whether it is inlined, as numba else inlines whatever an inlined one calls.
    """
    return called_from_python(
        function,
        forceinline=forceinline,
        no_cpython_wrapper=True,
        no_cfunc_wrapper=True,
        **options,
    )


def digest() -> int:
    """Return a number that stands for the sources of all code and constants in the kernel."""
    package = Path(__file__).parents[2]
    return digest_of(package / "life", package / "spec")


def digest_of(*folders: Path) -> int:
    """Return a number that stands for all sources in some folders."""
    files = sorted(file for folder in folders for file in folder.rglob("*.py"))
    sources = b"".join(file.read_bytes() for file in files)
    return int.from_bytes(blake2b(sources, digest_size=7).digest(), "little")


def inlined(function: Callable[..., Any]) -> Any:
    """Compile a function into those that call it: a short one that is called often."""
    return compiled(function, forceinline=True)


def merged(function: Any) -> Any:
    """Compile a function as a part of its only caller, so that a large one is optimised once."""
    return compiled(function, inline="always")
