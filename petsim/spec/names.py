"""The names of files: those that come with petsim, and what a name tells of a file unopened."""

from __future__ import annotations

from pathlib import Path
from typing import Literal, TypeAlias

from petsim.errors import ArgumentError, quote

Shelf: TypeAlias = Literal["models", "regimes"]

YAML = (".yaml", ".yml")
"""How the names of YAML files end."""

_PACKAGE = Path(__file__).resolve().parents[1]


def folder(shelf: Shelf) -> Path:
    """Return where the models or regimes that come with petsim are, and the manual of such files.

    That is beside the code in an installed package, above it in a checkout.
    """
    installed = _PACKAGE / shelf
    return installed if installed.is_dir() else _PACKAGE.parent / shelf


def shipped(shelf: Shelf) -> list[str]:
    """Return the names of the models or regimes that come with petsim."""
    return sorted(path.stem for path in folder(shelf).glob("*.yaml"))


def names_a_policy(source: str) -> bool:
    """Whether a name is that of a Python policy, `FILE.py:CLASS`, not of a regime."""
    return source.endswith(".py") or ".py:" in source


def sweep_path(name: str | Path) -> Path:
    """Return the path of the sweep of a name or path, to which `.sweep` may have to be added.

    Raises:
        ArgumentError: it is no name that a file can have.
    """
    if not isinstance(name, str | Path) or Path(name).name in ("", ".."):
        raise ArgumentError(f"{quote(str(name))}: expected the name of a sweep, such as night1")
    path = Path(name)
    return path if path.suffix == ".sweep" else path.with_name(f"{path.name}.sweep")


def sweeps_beside(path: Path) -> list[str]:
    """Return the names of the sweeps in the folder of a file."""
    return [file.stem for file in path.parent.glob("*.sweep")]
