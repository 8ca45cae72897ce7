"""Where the cells of a sweep are in one that has more lives, values or regimes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import product
from pathlib import Path

from petsim.errors import ArgumentError, MisfitError, SpecError
from petsim.spec.model import Model
from petsim.spec.regime import Regime
from petsim.spec.variation import Axis, as_read
from petsim.study.design import Cell, Design, values_text
from petsim.study.differing import differences

Places = Mapping[int, int]
"""The number of each cell in a larger sweep, by its number in the smaller one."""


def ensure_extends(path: Path, version: str, known: Design, now: Design) -> None:
    """Refuse a sweep that is not the one of a file, and not one that has more than that.

    Args:
        path: of the file, for messages.
        version: of the petsim that began it.
        known: its design. now: the design that it is to have.

    Raises:
        ArgumentError: it is another sweep; the message names each thing that differs.
    """
    differing = [*differences(path.name, version, known, now)]
    if differing:
        raise _refusal(path, differing)


def places_in(path: Path, known: Design, now: Design) -> Places | None:
    """Return where the cells of a file are in a sweep that has more; None if it is the same sweep.

    A life depends on its number, the seed and the files of its cell alone, so all lives of the file
    are also lives of the larger sweep. What the file has keeps its order there.

    Args:
        path: of the file, for messages.
        known: its design. now: one that extends it.

    Raises:
        ArgumentError: a path is new, and none of its values changes nothing in the file's cells.
    """
    if _size(known) == _size(now):
        return None
    try:
        return dict(enumerate(_places(path.name, known, now)))
    except MisfitError as error:
        raise _refusal(path, [str(error.expected)]) from None


def _size(design: Design) -> tuple[int, ...]:
    return design.lives, len(design.regimes), len(design.axes), design.number_of_cells


def _refusal(path: Path, differing: Sequence[str]) -> ArgumentError:
    return ArgumentError(
        f"{path}: {'; '.join(differing)}; expected what it was made with, or more lives, values or "
        "regimes, or another name to write to"
    )


def _places(file: str, known: Design, now: Design) -> Iterator[int]:
    """Yield the number that each cell of a design has in a larger one.

    Raises:
        MisfitError: it has none, as a path is new, and none of its values changes nothing.
    """
    names = [regime.name for regime in now.regimes]
    regimes = [names.index(regime.name) for regime in known.regimes]
    points = now.number_of_cells // len(now.regimes)
    if known.sample is not None:
        yield from (regime * points + point for regime in regimes for point in range(points))
        return
    larger = {axis.path: axis for axis in now.axes}
    moved = {axis.path: _moved(axis, larger[axis.path]) for axis in known.axes}
    own: dict[str, int] = {}
    for cell, indices in zip(known.cells(), _indices(known), strict=True):
        if len(moved) < len(larger):
            own = _own(file, known, now, cell, own)
        here = {path: moved[path][index] for path, index in zip(moved, indices, strict=True)}
        point = 0
        for path, axis in larger.items():
            point = point * len(axis.values) + (here | own)[path]
        yield regimes[cell.regime] * points + point


def _moved(axis: Axis, larger: Axis) -> list[int]:
    """The index of each value of an axis in a larger one, which has them in the same order."""
    rest = enumerate(map(as_read, larger.values))
    return [next(i for i, value in rest if value == one) for one in map(as_read, axis.values)]


def _indices(design: Design) -> Iterator[tuple[int, ...]]:
    """Yield the index of each axis's value in each cell of a grid, in the order of its cells."""
    for _ in design.regimes:
        yield from product(*(range(len(axis.values)) for axis in design.axes))


def _own(
    file: str, known: Design, now: Design, cell: Cell, before: dict[str, int]
) -> dict[str, int]:
    """The index of the value of each new path with which the files of a cell stay what they are.

    Args:
        before: those of another cell, which mostly are the same.

    Raises:
        MisfitError: a path has no such value.
    """
    values = {axis.path: value for axis, value in zip(known.axes, cell.values, strict=True)}
    new = {axis.path: axis for axis in now.axes if axis.path not in values}

    def changes(indices: Mapping[str, int]) -> bool:
        added = {path: new[path].values[index] for path, index in indices.items()}
        axes = tuple(axis for axis in now.axes if axis.path in values | added)
        every = tuple((values | added)[axis.path] for axis in axes)
        return _files(replace(known, axes=axes), cell._replace(values=every)) != files

    files = _files(known, cell)
    if before and not changes(before):
        return before
    own = {
        path: next((i for i in range(len(axis.values)) if not changes({path: i})), -1)
        for path, axis in new.items()
    }
    unknown = [path for path, index in own.items() if index < 0]
    if unknown or changes(own):
        raise MisfitError(
            "; ".join(
                f"{path}: none of {values_text(new[path].as_data())} is what the cells of {file} "
                "have"
                for path in unknown or new
            )
        )
    return own


def _files(design: Design, cell: Cell) -> tuple[Model, Regime] | None:
    """The model and the regime of a cell; None if they are wrong."""
    job = design.job(cell, "reference")
    try:
        model = job.read_model()
        return model, job.read_regime(model)
    except SpecError:
        return None
