"""What the words of a command line stand for, as the package takes it, or why that can't be had."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar

import click

import petsim
from petsim.cli.complete import PET
from petsim.cli.options import written
from petsim.cli.output import print_text
from petsim.cli.values import TimeOfLife
from petsim.errors import ArgumentError, SpecError, near_miss, quote
from petsim.spec import defaults
from petsim.spec.names import YAML, names_a_policy, shipped, sweeps_beside

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from petsim.life.record import Life
    from petsim.spec.model import Model


T = TypeVar("T")

OPTIONS = ("lives", "seed", "until", "days", "points", "keep")
"""Options of a sweep that may be taken for what varies."""


class Subject(NamedTuple):
    """Whose lives are looked at.

    model, caretaker: the pet and who looks after it.
    span: the seed, and how long each life is followed, as `petsim.simulate` takes them.
    lives: how many are looked at at most, if that is said.
    """

    model: Any
    caretaker: Any
    span: dict[str, Any]
    lives: int | None


def of_a_regime(
    regime: str, lives: int | None, check_limit: float, lived: Mapping[str, Any]
) -> Subject:
    """Return the lives of a regime."""
    for option in written("cell", "trust"):
        raise ArgumentError(f"--{option}: is for a sweep; expected --from with it")
    model = model_for([regime], lived["model"], check_limit)
    return Subject(model, regime, _to_a_time(_span(lived), model), lives)


def _to_a_time(span: dict[str, Any], model: str) -> dict[str, Any]:
    """Return a span of days in place of one that ends at a time of the pet's clock."""
    from petsim.spec.library import load_model
    from petsim.spec.quantities import DAY

    time = span["until"]
    if not isinstance(time, TimeOfLife):
        return span
    begins = load_model(model).begins
    t = time.after(begins)
    if t < 1:
        expected = f"expected a time after {TimeOfLife(1, begins.clock)}, when the life begins"
        raise ArgumentError(f"--until: {time} is too early; {expected}")
    return span | {"until": None, "days": t / DAY}


def of_a_cell(name: str, cell: int, lives: int | None, *, trust: bool) -> Subject:
    """Return the lives of a cell of a sweep; its code is run only if it is trusted."""
    _refuse_beside_sweep("model", "pet", "seed", "until", "days")
    sweep = petsim.open_sweep(name)
    design = sweep.design
    span = {"seed": design.seed, "until": design.until, "days": design.days}
    caretaker = sweep.caretaker(cell, trust=trust)
    return Subject(sweep.model(cell), caretaker, span, lives or design.lives)


def _refuse_beside_sweep(*options: str) -> None:
    """Refuse options that say again what a sweep is."""
    for option in written(*options):
        raise ArgumentError(f"--{option}: is as in the sweep; expected no such option with it")


def of_a_study(regimes: tuple[str, ...], design: Mapping[str, Any]) -> dict[str, Any] | None:
    """Return the arguments of `petsim.sweep` by a study file, if it is one that is named.

    Args:
        regimes: what the command line names.
        design: the options that say what a sweep is, which are for the study to say.
    """
    from petsim.spec.document import is_file
    from petsim.spec.study import load_study
    from petsim.study.check import asked_by

    path = Path(regimes[0])
    if path.suffix not in YAML:
        return None
    if not is_file(path):
        raise ArgumentError(f"{path}: no such file; expected a YAML file")
    if not _is_study(path):
        return None
    if len(regimes) > 1 or design["vary"]:
        raise ArgumentError(f"{path}: is a study, which says itself what varies under which")
    study = load_study(path)
    for option in written(*(name for name in design if name not in ("out", "engine"))):
        raise ArgumentError(f"--{option}: is for {path} to say; expected it changed there")
    out = design["out"] or path.with_suffix("")
    return asked_by(study) | {"engine": design["engine"], "out": out}


def _is_study(path: Path) -> bool:
    from petsim.spec.library import kind

    try:
        return kind(path) == "study"
    except SpecError:  # which is for whoever reads it as a regime to say
        return False


def of_a_sweep(design: Mapping[str, Any]) -> dict[str, Any]:
    """Return the arguments of `petsim.sweep` by the options that say what a sweep is."""
    if design["out"] is None:
        raise ArgumentError("--out: missing; expected the name of the file for the results")
    return {**design, "vary": varied(design["vary"]), "keep": design["keep"] == "lives"}


def varied(vary: Sequence[tuple[str, str]]) -> dict[str, str]:
    """Return what varies by its path, as --vary says it, once or more often."""
    for path, values in vary:
        if path in OPTIONS:
            raise ArgumentError(f"--vary: {path} is of no file; did you mean --{path} {values}?")
    return _by_path(vary, "--vary", "all its values in one")


def _by_path(pairs: Sequence[tuple[str, str]], option: str, expected: str) -> dict[str, str]:
    """What an option says of each path, which may be named once."""
    paths = [path for path, _ in pairs]
    for path in paths:
        if paths.count(path) > 1:
            raise ArgumentError(f"{option}: {path} is given twice; expected {expected}")
    return dict(pairs)


@contextmanager
def workers_at(address: str | None) -> Iterator[Executor | None]:
    """Connect to a cluster to live lives on, if there is an address."""
    if address is None:
        yield None
        return
    from petsim.study.cluster import cluster

    with cluster(address) as executor:
        yield executor


def name_a_sweep(names: tuple[str, ...]) -> bool:
    """Say whether names on the command line are that of one sweep, and not those of regimes."""
    from petsim.spec.library import is_sweep

    return len(names) == 1 and is_sweep(names[0])


def shown(
    names: tuple[str, ...],
    life: int | None,
    lives: int | None,
    check_limit: float,
    lived: Mapping[str, Any],
) -> Any:
    """Return what is to be shown: a sweep by its name, a life by its number, or a comparison."""
    [first, *others] = names
    if name_a_sweep(names):
        if life is not None:
            raise ArgumentError("--life: is of a regime; of a sweep, see petsim run --from")
        _refuse_beside_sweep("lives", "model", "pet", "seed", "until", "days")
        return petsim.open_sweep(first)
    for name in names:
        _refuse_sweep(name)
    model, span = model_for(names, lived["model"], check_limit), _span(lived)
    if life is None:
        return petsim.compare(
            model, names, lives=lives, check_limit=check_limit, progress=True, **span
        )
    if others:
        raise ArgumentError(f"--life: of {first} or of {others[0]}? expected one regime")
    if lives is not None:
        raise ArgumentError("--lives: is of a comparison; expected it without --life")
    return one_life(model, first, life=life, check_limit=check_limit, **span)


def model_for(regimes: Sequence[str], model: str | None, check_limit: float) -> str:
    """Return the pet or the model that the command line names, else the one that regimes name.

    Args:
        regimes: names or paths, or `FILE.py:CLASS`; policies are loaded in a process of their own,
            which they may end.
        model: what the command line names.
        check_limit: the seconds that a policy may take to be loaded.

    Raises:
        ArgumentError: they name several, and the command line none; or one that is not the pet's.
        SpecError: there is no such model or pet.
    """
    from petsim.spec.library import model_agreed

    named = {regime: _model_named_by(regime, check_limit) for regime in regimes}
    pet: str | None = click.get_current_context().meta.get(PET)
    if pet is not None:
        by_regimes = {f"{regime} is for": its_model for regime, its_model in named.items()}
        _ensure_model_of(pet, {"--model says": model, **by_regimes})
        return pet
    if model is not None:
        return model
    agreed = model_agreed(named)
    if agreed is not None and sys.stderr.isatty():
        print_text(f"petsim: the model is {agreed}, as the regime says", aside=True)
    return agreed or defaults.MODEL


def models_for(
    regimes: Sequence[str], models: Sequence[str], weights: Sequence[float], check_limit: float
) -> tuple[list[str], list[float] | None]:
    """Return the models of the command line, or the pet or model as `model_for`, and their weights.

    Raises:
        ArgumentError: as for `model_for`; there are not as many weights as models, or several
            models beside a pet.
        SpecError: as for `model_for`.
    """
    if weights and len(weights) != len(models):
        raise ArgumentError(
            f"--weight: given {len(weights)} times; expected one for each --model, {len(models)}"
        )
    if len(models) > 1:
        if click.get_current_context().meta.get(PET) is not None:
            raise ArgumentError("--pet: is of one model; expected one --model with it, or none")
        return [*models], [*weights] or None
    only = model_for(regimes, models[0] if models else None, check_limit)
    return [only], None


def _ensure_model_of(pet: str, named: Mapping[str, str | None]) -> None:
    """Refuse another model beside a pet than its own.

    named: the models that are named, by who names them, as a message begins to say it.
    """
    from petsim.spec.library import load_model, load_pet, model_of

    own = model_of(load_pet(pet))
    for whose, model in named.items():
        if model is not None and load_model(model) != own:
            raise ArgumentError(
                f"--pet: {pet} is a pet of {own.id}, but {whose} {model}; expected one model"
            )


def _model_named_by(regime: str, check_limit: float) -> str | None:
    from petsim.spec.library import model_named_in
    from petsim.study.processes import call_apart

    if names_a_policy(regime):
        return call_apart(check_limit, _model_of_policy, regime)
    return model_named_in(regime)


def _model_of_policy(name: str) -> str | None:
    from petsim.life.policy_files import load_policy
    from petsim.spec.library import model_named_in

    return model_named_in(load_policy(name).regime)


def model_alone(names: tuple[str, ...]) -> Model | None:
    """Return the model that is named instead of regimes or a sweep, if one is.

    Raises:
        ArgumentError: something else is named or said with it.
    """
    from petsim.spec.document import is_file
    from petsim.spec.library import kind, load_model

    def is_model(name: str) -> bool:
        is_ours = name in shipped("models") and name not in shipped("regimes")
        return is_ours or (name.endswith(YAML) and is_file(Path(name)) and kind(name) == "model")

    models = [name for name in names if is_model(name)]
    if not models:
        return None
    [first, *_] = models
    if len(names) > 1:
        raise ArgumentError(f"{first}: is a model, which is drawn by itself; expected it alone")
    for option in written("model", "pet", "life", "lives", "seed", "until", "days"):
        raise ArgumentError(f"--{option}: is of regimes; expected no such option with a model")
    return load_model(first)


def of_a_picture(names: tuple[str, ...], options: Mapping[str, Any]) -> dict[str, Any]:
    """Return the arguments of a picture of a sweep by the options that the command line has.

    options: among others those of `options.of_a_sweep`.
    """
    from petsim.spec.library import is_sweep

    for option in written("x", "y", "panels", "fix", "baseline", "at_least"):
        if not is_sweep(names[0]):
            name = option.replace("_", "-")
            raise ArgumentError(f"--{name}: is for a sweep; expected the name of one with it")
    given = {name: options[name] for name in ("x", "y", "panels", "baseline", "at_least")}
    given["fix"] = _by_path(options["fix"], "--fix", "one value") or None
    return {name: value for name, value in given.items() if value is not None}


def ensure_policies_load(names: Sequence[str], check_limit: float) -> None:
    """Load the policies among some names in a process of their own, which they may end."""
    from petsim.study.processes import call_apart

    for name in filter(names_a_policy, names):
        call_apart(check_limit, _load, name)


def _load(name: str) -> None:
    from petsim.life.policy_files import load_policy

    load_policy(name)


def one_life(model: Any, caretaker: Any, *, check_limit: float, **how: Any) -> Life:
    """Return a life, as `petsim.simulate` does, but under a policy from a process of its own."""
    return apart_if_policy(petsim.simulate, model, caretaker, check_limit=check_limit, **how)


def apart_if_policy(
    work: Callable[..., T], model: Any, caretaker: Any, *, check_limit: float, **how: Any
) -> T:
    """Return what a function of a model and a caretaker returns; a policy's from another process.

    Args:
        work: the function, which takes all else by name.
        check_limit: the seconds that a policy may take for a check, or to be loaded.
    """
    from petsim.life.caretaker import Caretaker
    from petsim.study.processes import call_apart

    is_policy = (
        caretaker.make is not None
        if isinstance(caretaker, Caretaker)
        else names_a_policy(caretaker)
    )
    if not is_policy:
        return work(model, caretaker, **how)
    return call_apart(check_limit, work, model, caretaker, **how)


def _span(lived: Mapping[str, Any]) -> dict[str, Any]:
    return {name: lived[name] for name in ("seed", "until", "days")}


def _refuse_sweep(name: str) -> None:
    """Refuse the name of a sweep, or one that is nearest to a sweep's, where regimes are meant."""
    from petsim.spec.document import is_file
    from petsim.spec.library import is_sweep

    regimes, path = shipped("regimes"), Path(name)
    is_other_file = is_file(path) and path.suffix != ".sweep"
    if name in regimes or name.endswith(YAML) or names_a_policy(name) or is_other_file:
        return
    if is_sweep(name):
        raise ArgumentError(f"{name}: is a sweep, which is drawn by itself; expected it alone")
    sweeps = sweeps_beside(path)
    close = near_miss(path.name.removesuffix(".sweep"), [*regimes, *sweeps])
    if close in sweeps and close not in regimes:
        meant = quote(str(path.with_name(close)))
        raise ArgumentError(
            f"{quote(name)}: found no such regime or sweep; did you mean the sweep {meant}?"
        )
