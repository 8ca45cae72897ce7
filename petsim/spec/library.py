"""Files by name, path or plain data, and of which kind each is."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal, TypeAlias

from petsim.errors import ArgumentError, Problem, SpecError, describe, quote, unknown
from petsim.spec import defaults
from petsim.spec.choices import SpecKind
from petsim.spec.document import Document, Fault, is_file, unknown_name
from petsim.spec.model import FORMAT as MODEL_FORMAT
from petsim.spec.model import Model
from petsim.spec.model_checks import read_model
from petsim.spec.names import (
    YAML,
    Shelf,
    folder,
    names_a_policy,
    shipped,
    sweep_path,
    sweeps_beside,
)
from petsim.spec.pet import FORMAT as PET_FORMAT
from petsim.spec.pet import Pet
from petsim.spec.pet_checks import read_pet
from petsim.spec.pet_starter import pet_starter
from petsim.spec.reading import read_data, read_file
from petsim.spec.regime import FORMAT as REGIME_FORMAT
from petsim.spec.regime import Regime
from petsim.spec.regime_checks import faults_together, read_regime
from petsim.spec.study import FORMAT as STUDY_FORMAT
from petsim.spec.taken_over import TakenOver

Source: TypeAlias = str | os.PathLike[str] | Mapping[str, Any]
"""The bare name of a shipped file, the path of a file, or plain data."""
FileKind: TypeAlias = Literal["model", "regime", "pet", "study", "policy", "sweep"]

_FORMATS: dict[FileKind, str] = {
    "model": MODEL_FORMAT,
    "regime": REGIME_FORMAT,
    "pet": PET_FORMAT,
    "study": STUDY_FORMAT,
}
_KIND_OF: dict[Shelf, FileKind] = {"models": "model", "regimes": "regime"}
_SHELVES: dict[FileKind, Shelf] = {kind: shelf for shelf, kind in _KIND_OF.items()}


def load_model(source: Source | Model | Pet) -> Model:
    """Return the model of a shipped name, a path or plain data; a model is returned as it is.

    A pet as it is now, or its file, stands for its model, whose lives then take it over.

    Raises SpecError with everything that is wrong with it.
    """
    if isinstance(source, Model):
        return source
    if isinstance(source, Pet):
        return TakenOver.of(source, model_of(source))
    return model_in(_document(source, "model", "pet"))


def model_in(document: Document) -> Model:
    """Return the model of a document, which is that of a model or of a pet as it is now.

    Raises SpecError with everything that is wrong with it.
    """
    if document.at("petsim") == PET_FORMAT:
        return load_model(_pet_in(document, None))
    return read_model(document)


def load_regime(source: Source | Regime, model: Source | Model | None = None) -> Regime:
    """Return the regime of a shipped name, a path or plain data, checked against a model if given.

    Raises SpecError with everything that is wrong with it, or between it and the model.
    """
    model = None if model is None else load_model(model)
    if not isinstance(source, Regime):
        return read_regime(_document(source, "regime"), model)
    if model is not None:
        check_together(model, source)
    return source


def load_pet(source: Source | Pet, model: Source | Model | None = None) -> Pet:
    """Return the pet as it is now of a path or plain data, checked against its model.

    Args:
        source: a pet is checked if a model is given, and returned as it is.
        model: what is taken for its model in place of the one that it names.

    Raises:
        SpecError: with everything that is wrong with it, or between it and the model.
    """
    if isinstance(source, Pet) and model is None:
        return source
    document = source.source() if isinstance(source, Pet) else _document(source, "pet")
    pet = _pet_in(document, model)
    return source if isinstance(source, Pet) else pet


def _pet_in(document: Document, model: Source | Model | None) -> Pet:
    named = _model_in(document) if model is None else model
    return read_pet(document, None if named is None else load_model(named))


def _model_in(pet: Document) -> str | Mapping[str, Any] | None:
    """Return the content of the model in a pet's document, or where it is; None if it says none."""
    model = pet.at("model")
    return model if isinstance(model, Mapping) else _model_named_in(pet)


def model_named_in(regime: Source | Regime) -> str | None:
    """Return the name or path of the model that a regime says it is for, None if it says none.

    A path is from the folder of the regime's file. A regime that can't be read says none: what is
    wrong with it, who loads it is told.

    Raises SpecError if there is no such model.
    """
    try:
        document = regime.source() if isinstance(regime, Regime) else _document(regime, "regime")
    except SpecError:
        return None
    return _model_named_in(document)


def model_of(pet: Pet) -> Model:
    """Return the model that a pet names.

    Raises:
        SpecError: there is none of the name, with everything that is wrong with it.
    """
    named = _model_in(pet.source())
    assert named is not None
    return load_model(named)


def _model_named_in(document: Document) -> str | None:
    name = document.text("model")
    if not name:
        return None
    if not _is_path(name):
        document.refuse(unknown_name(("model",), "model", name, shipped("models")))
        return name
    path = Path(document.file).parent / name
    if not is_file(path):
        expected = "expected the path of a model from the folder of this file"
        raise document.refusal(Fault(("model",), f"found no file {quote(name)}", expected))
    return str(path)


def model_agreed(named: Mapping[str, str | None]) -> str | None:
    """Return the model that regimes name, None if none of them does.

    Args:
        named: by the name of each regime, the model that it names.

    Raises:
        ArgumentError: they name several.
    """
    regimes = {model: regime for regime, model in named.items() if model is not None}
    if len(regimes) > 1:
        which = " and ".join(f"{regime} names {model}" for model, regime in regimes.items())
        raise ArgumentError(f"model: missing, as {which}; expected the pet that is looked after")
    return next(iter(regimes), None)


def load(source: str | os.PathLike[str]) -> Model | Regime | Pet:
    """Return the model, regime or pet of a shipped name or a path, whichever it is.

    Raises SpecError with everything that is wrong with it.
    """
    kind_ = kind(source)
    if kind_ == "pet":
        return load_pet(source)
    return load_model(source) if kind_ == "model" else load_regime(source)


def kind(source: str | os.PathLike[str]) -> FileKind:
    """Say what a name or a path stands for.

    Policies are told by their name, `FILE.py:CLASS`; sweeps by theirs, unless it is that of a
    shipped file or, as a path, of another file; the rest by the first line of the file.

    Raises SpecError if there is no such file, or it is of no kind or version there is.
    """
    name = os.fspath(source)
    if names_a_policy(name):
        return "policy"
    if _names_a_sweep(name):
        return "sweep"
    document = _read(source, "models", "regimes", sweeps=sweeps_beside(Path(name)))
    header = document.at("petsim")
    for known in _FORMATS:
        if isinstance(header, str) and header.split(" ")[0] == known:
            _check_header(document, known)
            return known
    actual = "missing" if header is None else describe(header)
    *others, last = map(quote, _FORMATS.values())
    expected = f"expected {', '.join(others)} or {last}"
    raise document.refusal(Fault(("petsim",), actual, expected))


def is_sweep(name: str) -> bool:
    """Whether there is a sweep of a name, whatever else there is of it."""
    try:
        return is_file(sweep_path(name))
    except ArgumentError:
        return False


def _names_a_sweep(name: str) -> bool:
    if name.endswith(".sweep"):
        return True
    names = (*shipped("models"), *shipped("regimes"))
    is_other = is_file(name) if _is_path(name) else name in names
    return not is_other and is_sweep(name)


def check_together(model: Model, regime: Regime) -> None:
    """Check that a regime can be followed with a model; raise SpecError with its lines."""
    document = regime.source()
    document.refuse(faults_together(document, model))


def write_starter(kind: SpecKind, path: Path, model: str = defaults.MODEL) -> None:
    """Write a commented file to start from.

    Args:
        kind: of the file.
        path: where to.
        model: the name or path of the model that a pet is of.

    Raises:
        SpecError: the model can't be read.
        OSError: there is a file already, or it cannot be written.
    """
    if kind == "pet":
        text = pet_starter(load_model(model), from_folder_of(path, model))
    else:
        text = (Path(__file__).parent / "starters" / f"{kind}.yaml").read_text(encoding="utf-8")
    write_new(path, text)


def write_new(path: Path, text: str) -> None:
    """Write a file: whole or not at all, and never over another.

    Raises:
        OSError: there is a file already, or it cannot be written.
    """
    draft = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        draft.write_text(text, encoding="utf-8", newline="")
        path.hardlink_to(draft)
    finally:
        draft.unlink(missing_ok=True)


def from_folder_of(path: Path, model: str) -> str:
    """Return the name of a model, or its path from the folder of a file, as the file names it."""
    if not _is_path(model):
        return model
    way = Path(os.path.relpath(model, path.parent)).as_posix()
    return way if _is_path(way) else f"./{way}"


def _document(source: Source, kind: FileKind, other: FileKind | None = None) -> Document:
    """Read the source and see that it is of the right kind and version, or of the other kind.

    A file of a kind of which none is shipped has no bare name, but always a path.
    """
    if isinstance(source, Mapping):
        document = read_data(source, f"{kind} data")
    elif not isinstance(source, str | os.PathLike):
        actual = f"found a Python object of type {type(source).__name__}"
        expected = "expected a name, a path, or its content as a mapping"
        raise SpecError([Problem(kind, None, None, "", actual, expected)])
    elif kind in _SHELVES:
        document = _read(source, _SHELVES[kind])
    else:
        document = read_file(os.fspath(source))
    is_other = other is not None and document.at("petsim") == _FORMATS[other]
    if not is_other:
        _check_header(document, kind)
    return document


def _check_header(document: Document, kind: FileKind) -> None:
    """Refuse a file of another kind or version, without a word on the rest of it."""
    header, wanted = document.at("petsim"), _FORMATS[kind]
    if header is None or header == wanted:
        return
    version = wanted.removeprefix(f"{kind} ")
    expected = f"expected {quote(wanted)}"
    if isinstance(header, str) and header in _FORMATS.values():
        expected += f", as this is to be read as a {kind}"
    elif isinstance(header, str) and header.startswith(kind):
        expected += f", as version {version} is the only one this petsim reads"
    raise document.refusal(Fault(("petsim",), describe(header), expected))


def _read(source: str | os.PathLike[str], *shelves: Shelf, sweeps: Iterable[str] = ()) -> Document:
    """Read a file, looking up a bare name among those shipped.

    sweeps: what else may have been meant by a name that nothing bears.
    """
    name = os.fspath(source)
    if not isinstance(source, str) or _is_path(name):
        return read_file(name)
    names = {name: shelf for shelf in reversed(shelves) for name in shipped(shelf)}
    if name in names:
        path = folder(names[name]) / f"{name}.yaml"
        return replace(read_file(path), file=path.name, shipped_as=name)
    known = [*sorted(names), *sorted(sweeps)]
    misfit = unknown(" or ".join(_KIND_OF[shelf] for shelf in shelves), name, known)
    here = next((file for file in (name, f"{name}.yaml") if name and is_file(file)), None)
    if here is not None:
        expected = f"did you mean the file that is here, ./{here}?"
    else:
        such = name if Path(name).suffix else f"{name or 'mine'}.yaml"
        expected = f"{misfit.expected} (a path to a file works too, such as ./{such})"
    raise SpecError([Problem(quote(name), None, None, "", misfit.found, expected)])


def _is_path(name: str) -> bool:
    """Whether a name is the path of a file, not the bare name of one that comes with petsim."""
    return any(part in name for part in ("/", os.sep)) or name.endswith(YAML)
