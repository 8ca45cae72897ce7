"""Models and regimes by name, path or plain data."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal, TypeAlias

from petsim.errors import Problem, SpecError, describe, quote, unknown
from petsim.spec.document import Document, Fault, is_file
from petsim.spec.model import FORMAT as MODEL_FORMAT
from petsim.spec.model import Model
from petsim.spec.model_checks import read_model
from petsim.spec.reading import read_data, read_file
from petsim.spec.regime import FORMAT as REGIME_FORMAT
from petsim.spec.regime import Regime
from petsim.spec.regime_checks import faults_together, read_regime

Source: TypeAlias = str | os.PathLike[str] | Mapping[str, Any]
"""The bare name of a shipped file, the path of a file, or plain data."""
Shelf: TypeAlias = Literal["models", "regimes"]
FileKind: TypeAlias = Literal["model", "regime"]

_PACKAGE = Path(__file__).resolve().parents[1]
_FORMATS = {"models": MODEL_FORMAT, "regimes": REGIME_FORMAT}


def load_model(source: Source | Model) -> Model:
    """Return the model of a shipped name, a path or plain data; a model is returned as it is.

    Raises SpecError with everything that is wrong with it.
    """
    return source if isinstance(source, Model) else read_model(_document(source, "models"))


def load_regime(source: Source | Regime, model: Source | Model | None = None) -> Regime:
    """Return the regime of a shipped name, a path or plain data, checked against a model if given.

    Raises SpecError with everything that is wrong with it, or between it and the model.
    """
    model = None if model is None else load_model(model)
    if not isinstance(source, Regime):
        return read_regime(_document(source, "regimes"), model)
    if model is not None:
        check_together(model, source)
    return source


def load(source: str | os.PathLike[str]) -> Model | Regime:
    """Return the model or regime of a shipped name or a path, whichever it is.

    Raises SpecError with everything that is wrong with it.
    """
    return load_model(source) if kind(source) == "model" else load_regime(source)


def kind(source: str | os.PathLike[str]) -> FileKind:
    """Say what a shipped name or a file is, by the first line of the file.

    Raises SpecError if there is no such file, or it is of no kind or version there is.
    """
    document = _read(source, "models", "regimes")
    header = document.at("petsim")
    formats: dict[FileKind, str] = {"model": MODEL_FORMAT, "regime": REGIME_FORMAT}
    for name, wanted in formats.items():
        if isinstance(header, str) and header.split(" ")[0] == name:
            _check_header(document, wanted)
            return name
    found = "missing" if header is None else describe(header)
    expected = f"expected {' or '.join(map(quote, formats.values()))}"
    raise SpecError(document.problems([Fault(("petsim",), found, expected)]))


def check_together(model: Model, regime: Regime) -> None:
    """Check that a regime can be followed with a model; raise SpecError with its lines."""
    document = regime.source()
    problems = document.problems(faults_together(document, model))
    if problems:
        raise SpecError(problems)


def shipped(shelf: Shelf) -> list[str]:
    """Return the names of the models or regimes that come with the package."""
    return sorted(path.stem for path in _shelf(shelf).glob("*.yaml"))


def write_starter(kind: FileKind, path: Path) -> None:
    """Write a commented file to start from: whole or not at all, and never over another file.

    Raises OSError if there is one, or it cannot be written.
    """
    text = (Path(__file__).parent / "starters" / f"{kind}.yaml").read_text(encoding="utf-8")
    draft = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        draft.write_text(text, encoding="utf-8")
        path.hardlink_to(draft)
    finally:
        draft.unlink(missing_ok=True)


def _shelf(shelf: Shelf) -> Path:
    """Return the directory beside the code in an installed package, above it in a checkout."""
    installed = _PACKAGE / shelf
    return installed if installed.is_dir() else _PACKAGE.parent / shelf


def _document(source: Source, shelf: Shelf) -> Document:
    """Read the source and see that it is of the right kind and version."""
    if isinstance(source, Mapping):
        document = read_data(source, f"{shelf.removesuffix('s')} data")
    elif not isinstance(source, str | os.PathLike):
        found = f"found a Python object of type {type(source).__name__}"
        expected = "expected a name, a path, or its content as a mapping"
        raise SpecError([Problem(shelf.removesuffix("s"), None, None, "", found, expected)])
    else:
        document = _read(source, shelf)
    _check_header(document, _FORMATS[shelf])
    return document


def _check_header(document: Document, wanted: str) -> None:
    """Refuse a file of another kind or version, without a word on the rest of it."""
    header = document.at("petsim")
    if header is None or header == wanted:
        return
    kind, version = wanted.split(" ")
    expected = f"expected {quote(wanted)}"
    if isinstance(header, str) and header in _FORMATS.values():
        expected += f", as this is to be read as a {kind}"
    elif isinstance(header, str) and header.startswith(kind):
        expected += f", as version {version} is the only one this petsim reads"
    raise SpecError(document.problems([Fault(("petsim",), describe(header), expected)]))


def _read(source: str | os.PathLike[str], *shelves: Shelf) -> Document:
    """Read a file, looking up a bare name among those shipped."""
    name = os.fspath(source)
    is_path = any(separator in name for separator in ("/", os.sep))
    if is_path or not isinstance(source, str) or name.endswith((".yaml", ".yml")):
        return read_file(name)
    names = {name: shelf for shelf in reversed(shelves) for name in shipped(shelf)}
    if name in names:
        path = _shelf(names[name]) / f"{name}.yaml"
        return replace(read_file(path), file=path.name, shipped_as=name)
    misfit = unknown(" or ".join(shelf.removesuffix("s") for shelf in shelves), name, sorted(names))
    if name and is_file(f"{name}.yaml"):
        expected = f"did you mean the file that is here, ./{name}.yaml?"
    else:
        expected = (
            f"{misfit.expected} (a path to a file works too, such as ./{name or 'mine'}.yaml)"
        )
    raise SpecError([Problem(quote(name), None, None, "", misfit.found, expected)])
