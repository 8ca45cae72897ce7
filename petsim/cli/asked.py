"""What a command line asks for, as the package takes it, or why it can't be had."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from petsim.spec import defaults

if TYPE_CHECKING:
    import argparse
    from concurrent.futures import Executor

SWEPT = {
    "model": defaults.MODEL,
    "lives": defaults.CELL_LIVES,
    "seed": defaults.SEED,
    "sample": None,
    "points": None,
    "until": None,
    "days": None,
    "aim": None,
    "keep": "sums",
}
"""The options that say what a sweep is, as they are if not given; a study file says them itself."""


class Asked(NamedTuple):
    """The pet and its caretaker, how they live, and lives to look at at most."""

    who: tuple[Any, Any]
    told: dict[str, Any]
    lives: int | None


def of_a_regime(given: argparse.Namespace) -> Asked:
    """What the command line asks for of a regime."""
    from petsim.errors import ArgumentError

    if given.cell is not None:
        raise ArgumentError("--cell: is one of a sweep; expected --from with it")
    told = {"seed": given.seed, "until": given.until, "days": given.days}
    return Asked((given.model, given.regime), told, given.lives)


def of_a_cell(given: argparse.Namespace) -> Asked:
    """What the command line asks for of a cell of a sweep."""
    from petsim.study.results import open_sweep

    _see_that_the_sweep_says(given, "model", "seed", "until", "days")
    found, cell = open_sweep(given.sweep), given.cell or 0
    design = found.design
    told = {"seed": design.seed, "until": design.until, "days": design.days}
    who = (found.model(cell), found.caretaker(cell))
    return Asked(who, told, given.lives or design.lives)


def _see_that_the_sweep_says(given: argparse.Namespace, *options: str) -> None:
    """Refuse options that say again what a sweep is."""
    from petsim.errors import ArgumentError

    usual = SWEPT | {"lives": None}
    for option in options:
        if getattr(given, option) != usual[option]:
            raise ArgumentError(f"--{option}: is as in the sweep; expected no such option with it")


def of_a_study(given: argparse.Namespace) -> dict[str, Any] | None:
    """What a sweep is by a study file, if it is given one."""
    from petsim.errors import ArgumentError
    from petsim.spec.document import is_file
    from petsim.spec.study import is_study, load_study
    from petsim.study.check import asked_by

    path = Path(given.regime[0])
    if path.suffix not in (".yaml", ".yml"):
        return None
    if not is_file(path):
        raise ArgumentError(f"{path}: no such file; expected a YAML file")
    if not is_study(path):
        return None
    if len(given.regime) > 1 or given.vary:
        raise ArgumentError(f"{path}: is a study, which says itself what varies under which")
    study = load_study(path)
    for option, usual in SWEPT.items():
        if getattr(given, option) != usual:
            raise ArgumentError(f"--{option}: is for {path} to say; expected it changed there")
    out = given.out or path.with_suffix("")
    return asked_by(study) | {"engine": given.engine, "out": out}


def of_a_sweep(given: argparse.Namespace) -> dict[str, Any]:
    """What a sweep is by the command line."""
    from petsim.errors import ArgumentError

    if given.out is None:
        raise ArgumentError("--out: missing; expected the name of the file for the results")
    paths = [path for path, _ in given.vary]
    for path in paths:
        if paths.count(path) > 1:
            raise ArgumentError(f"--vary: {path} is given twice; expected all its values in one")
    named = ("engine", "model", "out", "lives", "sample", "points", "seed", "until", "days", "aim")
    return {name: getattr(given, name) for name in named if hasattr(given, name)} | {
        "regimes": given.regime,
        "vary": dict(given.vary),
        "keep": given.keep == "lives",
    }


@contextmanager
def workers_at(address: str | None) -> Iterator[Executor | None]:
    """A cluster to live lives on, if there is an address."""
    if address is None:
        yield None
        return
    from petsim.study.cluster import cluster

    with cluster(address) as executor:
        yield executor


def shown(given: argparse.Namespace) -> Any:
    """What is to be shown: a sweep by its name, a life by its number, or regimes side by side."""
    from petsim.errors import ArgumentError
    from petsim.life.simulate import simulate
    from petsim.study.compare import compare
    from petsim.study.results import open_sweep

    [first, *others] = given.what
    if not others and _names_a_sweep(first):
        if given.life is not None:
            raise ArgumentError("--life: is of a regime; of a sweep, see petsim run --from")
        _see_that_the_sweep_says(given, "lives", "model", "seed", "until", "days")
        return open_sweep(first)
    for name in given.what:
        _see_that_it_is_no_sweep(name)
    told = {"seed": given.seed, "until": given.until, "days": given.days}
    if given.life is None:
        return compare(given.model, given.what, lives=given.lives, progress=True, **told)
    if others:
        raise ArgumentError(f"--life: of {first} or of {others[0]}? expected one regime")
    if given.lives is not None:
        raise ArgumentError("--lives: is of a comparison; expected it without --life")
    return simulate(given.model, first, life=given.life, **told)


def _names_a_sweep(name: str) -> bool:
    """Whether there is a sweep of this name."""
    from petsim.errors import ArgumentError
    from petsim.spec.document import is_file
    from petsim.study.store import sweep_path

    try:
        return is_file(sweep_path(name))
    except ArgumentError:
        return False


def _see_that_it_is_no_sweep(name: str) -> None:
    """Refuse the name of a sweep, or one that is nearest to a sweep's, where regimes are meant."""
    from petsim.errors import ArgumentError, near_miss, quote
    from petsim.life.policy_files import names_a_policy
    from petsim.spec.document import is_file
    from petsim.spec.library import shipped
    from petsim.study.store import sweeps_beside

    regimes, path = shipped("regimes"), Path(name)
    is_other_file = is_file(path) and path.suffix != ".sweep"
    if name in regimes or name.endswith((".yaml", ".yml")) or names_a_policy(name) or is_other_file:
        return
    if _names_a_sweep(name):
        raise ArgumentError(f"{name}: is a sweep, which is drawn by itself; expected it alone")
    sweeps = sweeps_beside(path)
    close = near_miss(path.name.removesuffix(".sweep"), [*regimes, *sweeps])
    if close in sweeps and close not in regimes:
        meant = quote(str(path.with_name(close)))
        raise ArgumentError(
            f"{quote(name)}: found no such regime or sweep; did you mean the sweep {meant}?"
        )
