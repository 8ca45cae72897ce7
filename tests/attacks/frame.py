"""What attacks there are, and one try of one.

An attack is a module of this folder with a function `attack(random, folder)`: it makes up something
that a stranger might hand to petsim, from that chance alone and in that empty folder, hands it
over, and returns what went wrong, in words; None if all that is promised held.
"""

from __future__ import annotations

import pkgutil
import random
import traceback
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from tempfile import TemporaryDirectory

Attack = Callable[[random.Random, Path], str | None]


def attacks() -> dict[str, Attack]:
    """Return the attacks by the names of their modules."""
    names = [each.name for each in pkgutil.iter_modules([str(Path(__file__).parent)])]
    modules = {
        name: import_module(f"tests.attacks.{name}")
        for name in names
        if name not in ("__main__", "frame") and not name.startswith("test_")
    }
    return {name: module.attack for name, module in modules.items()}


def fault_of(name: str, seed: int) -> str | None:
    """Return what goes wrong in one try, which depends on its seed alone."""
    with TemporaryDirectory(prefix="petsim-attack-", ignore_cleanup_errors=True) as folder:
        try:
            return attacks()[name](random.Random(f"{name} {seed}"), Path(folder))
        except Exception:
            return traceback.format_exc()
