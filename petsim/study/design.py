"""What a sweep is: a model, regimes, what varies in them, and the cells that come of it."""

from __future__ import annotations

import base64
import json
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property
from itertools import product
from pathlib import Path
from typing import Any, NamedTuple

from petsim._version import __version__
from petsim.errors import ArgumentError, MisfitError, Problem, SpecError, choice, quote
from petsim.life.caretaker import Caretaker
from petsim.life.simulate import CaretakerSource, ModelSource, Span, load_together
from petsim.spec import defaults
from petsim.spec.arguments import count_of, whole_of, word_of
from petsim.spec.choices import SAMPLE_OF, SAMPLES, SpecKind
from petsim.spec.document import Data, Document, Fault, plain_whole
from petsim.spec.model import Model
from petsim.spec.regime import Regime
from petsim.spec.variation import (
    MOST_VALUES,
    Axis,
    Range,
    ensure_few,
    is_bare,
    number_of,
    path_steps,
    range_meant,
)
from petsim.study.aims import Aim, AimSource, read_aim
from petsim.study.changes import blamed, home_of, is_within, steps_into
from petsim.study.compare import ensure_names_differ
from petsim.study.identity import identity_of
from petsim.study.job import CellJob, written
from petsim.study.processes import call_apart
from petsim.study.store import StoredCell

METHODS = {"morris": 1, "saltelli": 2}
"""Points that show which axis matters: Morris's trajectories, Saltelli's for Sobol indices. Each
point takes a cell for every axis, and beside those the number of cells that stands here."""
EVEN = ("sobol", "saltelli")
"""Points that are even only if there are a power of 2 of them."""
UNITS_LEFT_OUT = ("%", " min", " per day")
"""Units that may be meant where there is none."""
MOST_PROBLEMS = 10
MOST_LISTED = 6
"""Values that are all listed; of more, only some."""


class SweptRegime(NamedTuple):
    """A regime of a sweep.

    name: as the user gave it. file: the name and text of its file. policy: the pickled class of
    its Python policy, in base 64, and what it was made from.
    """

    name: str
    file: tuple[str, str]
    policy: tuple[str, str] | None


class Cell(NamedTuple):
    """One combination of a sweep: the place of its regime, and the value of each axis."""

    number: int
    regime: int
    values: tuple[Data, ...]


@dataclass(frozen=True)
class Design:
    """All that says what a sweep is: two that are equal give the same results.

    model: the name and text of its file. sample: how points are chosen and how many; None for the
    whole grid. keep: whether every life's row is kept.
    """

    model: tuple[str, str]
    regimes: tuple[SweptRegime, ...]
    axes: tuple[Axis, ...]
    sample: tuple[str, int] | None
    lives: int
    seed: int
    until: str | None
    days: float | None
    aim: Aim
    keep: bool
    sources: Mapping[str, Document] = field(default_factory=dict, compare=False, repr=False)
    """The files as they were read, by name, where they still are: for the lines of messages."""

    def as_dict(self) -> dict[str, Any]:
        """The design as plain data, by which it is compared with others."""
        return {
            "petsim": __version__,
            "model": content_of(self.model),
            "regimes": [
                [c.name, content_of(c.file), c.policy and c.policy[1]] for c in self.regimes
            ],
            "vary": {axis.path: axis.as_data() for axis in self.axes},
            "sample": self.sample and list(self.sample),
            "lives": self.lives,
            "seed": self.seed,
            "until": self.until,
            "days": self.days,
            "aim": self.aim.text,
            "keep": self.keep,
        }

    @property
    def number_of_cells(self) -> int:
        """How many cells there are."""
        return len(self.regimes) * _number_of_points(self.axes, self.sample)

    def cells(self) -> Iterator[Cell]:
        """All cells: regimes first, the last axis fastest."""
        points = [*self._points()]
        for number, (regime, values) in enumerate(product(range(len(self.regimes)), points)):
            yield Cell(number, regime, values)

    def _points(self) -> Iterator[tuple[Data, ...]]:
        if self.sample is None:
            yield from product(*(axis.values for axis in self.axes))
            return
        yield from map(self.at, _spread(*self.sample, len(self.axes)))

    def at(self, shares: Sequence[float]) -> tuple[Data, ...]:
        """The values a share of the way, from 0 to 1, along each axis."""
        return tuple(axis.at(share) for axis, share in zip(self._sampled, shares, strict=True))

    @cached_property
    def _sampled(self) -> tuple[Axis, ...]:
        """The axes as a sample chooses from them: where a file takes no fraction, none."""
        return tuple(
            replace(axis, range=replace(axis.range, whole=self._is_whole(axis, axis.range)))
            if axis.range is not None
            else axis
            for axis in self.axes
        )

    def _is_whole(self, axis: Axis, between: Range) -> bool:
        """Whether a quantity takes whole numbers only, as is found by trying a fraction."""
        if between.unit or between.low.denominator > 1 or between.high.denominator > 1:
            return False
        alone = replace(self, axes=(axis,))

        def is_refused(x: Fraction) -> bool:
            return alone._is_refused(Cell(0, 0, (between.text(x),)))

        return is_refused(between.low + Fraction(1, 2)) and not is_refused(between.low + 1)

    def _is_refused(self, cell: Cell) -> bool:
        """Whether a value of a cell is wrong, and not the files without it."""
        return any(self._axis_of(problem.field) for problem in self._faults(cell))

    def _axis_of(self, field: str) -> Axis | None:
        """The axis whose values have a field in them."""
        return next((axis for axis in self.axes if is_within(field, axis.path)), None)

    def job(self, cell: Cell, engine: str) -> CellJob:
        """The lives of a cell as plain data."""
        regime = self.regimes[cell.regime]
        values: dict[SpecKind, list[Any]] = {"model": [], "regime": []}
        for axis, value in zip(self.axes, cell.values, strict=True):
            values[home_of(axis.steps)].append([list(axis.steps), value])
        return CellJob(
            version=__version__,
            model=self.model,
            regime=regime.file,
            name=regime.name,
            policy=regime.policy and base64.b64decode(regime.policy[0]),
            model_values=json.dumps(values["model"]),
            regime_values=json.dumps(values["regime"]),
            until=self.until,
            days=self.days,
            engine=engine,
            seed=self.seed,
            keep=self.keep,
        )

    def engine(self, cell: Cell, declarative: str) -> str:
        """The engine of a cell: of one without a policy, the one named."""
        return declarative if self.regimes[cell.regime].policy is None else "reference"

    def validate(self) -> None:
        """See that every cell's files are right.

        Raises:
            SpecError: with what is wrong, in which cell.
        """
        problems: dict[tuple[str, str], Problem] = {}
        for cell in self.cells():
            for problem in self._problems(cell):
                problems.setdefault((problem.field, problem.found), problem)
            if len(problems) >= MOST_PROBLEMS:
                break
        if problems:
            raise SpecError([*problems.values()])

    def _problems(self, cell: Cell) -> Iterator[Problem]:
        where = f"in cell {cell.number}, {self.name(cell)}"
        paths = [axis.path for axis in self.axes]
        for problem in self._faults(cell):
            line, column = self._place(problem)
            meant = self._meant(cell, problem)
            expected = f"did you mean {meant}?" if meant else problem.expected
            placed = replace(problem, line=line, column=column, expected=expected)
            yield blamed(placed, paths, "vary", where)

    def _faults(self, cell: Cell) -> Sequence[Problem]:
        """What is wrong with the files of a cell."""
        job = self.job(cell, "reference")
        try:
            job.read_regime(job.read_model())
        except SpecError as error:
            return error.problems
        return ()

    def _meant(self, cell: Cell, problem: Problem) -> str | None:
        """The value that is meant by one that lacks a unit, or is a range written wrong."""
        values = {axis.path: value for axis, value in zip(self.axes, cell.values, strict=True)}
        value = values.get(problem.field)
        if not isinstance(value, str):
            return None
        alone = replace(self, axes=tuple(a for a in self.axes if a.path == problem.field))
        forms = [f"{value}{unit}" for unit in UNITS_LEFT_OUT] if is_bare(value) else []
        between = range_meant(value)
        if between is not None:
            forms = [between]
        for form in forms:
            first = Axis.read(problem.field, form).values[0]
            if not alone._is_refused(cell._replace(values=(first,))):
                return form
        return None

    def _place(self, problem: Problem) -> tuple[int | None, int | None]:
        """Where a field is in the file that the user wrote, not in the text that cells are of."""
        source = self.sources.get(problem.file)
        if source is None or not problem.field:
            return None, None
        try:
            steps = path_steps(problem.field)
        except MisfitError:
            return None, None
        there = source.problem(Fault(steps, problem.found, problem.expected))
        return there.line, there.column

    def regime_of(self, cell: Cell) -> str:
        """The name of a cell's regime."""
        return self.regimes[cell.regime].name

    def parameters(self, cell: Cell) -> dict[str, tuple[str, float | None]]:
        """The text of each parameter of a cell and, if it is one, the number; by path, in order."""
        return {
            axis.path: (value_text(value), number_of(value))
            for axis, value in zip(self.axes, cell.values, strict=True)
        }

    def name(self, cell: Cell) -> str:
        """A cell in words."""
        parameters = [f"{path} {text}" for path, (text, _) in self.parameters(cell).items()]
        return ", ".join([self.regime_of(cell), *parameters])


def stored_cells(design: Design) -> Iterator[StoredCell]:
    """Yield the cells of a design as a sweep's file has them for plain SQL."""
    for cell in design.cells():
        yield StoredCell(cell.number, design.regime_of(cell), design.parameters(cell))


def design_of(
    model: ModelSource,
    regimes: Sequence[CaretakerSource],
    vary: Mapping[str, Any],
    *,
    lives: int = defaults.CELL_LIVES,
    sample: str | None = None,
    points: int | None = None,
    seed: int = 0,
    until: str | None = None,
    days: float | None = None,
    aim: AimSource | None = None,
    keep: bool = False,
    check_limit: float = defaults.CHECK_LIMIT,
) -> Design:
    """The design of a sweep, by the arguments of `petsim.sweep`.

    Raises:
        SpecError: a file is wrong.
        PolicyError: a policy can't be sent to other processes.
        ArgumentError: an argument is out of its range, a path or its values can't be read.
    """
    span, (pet, caretakers) = Span(until, days), load_together(model, regimes)
    ensure_names_differ(caretakers)
    lives, seed, asked = count_of("lives", lives), word_of("seed", seed), read_aim(pet, aim)
    _ensure_mapping(vary)
    if not isinstance(keep, bool):
        raise ArgumentError(f"keep: {keep!r}; expected True or False")
    axes = _axes(pet, [caretaker.regime for caretaker in caretakers], vary)
    chosen = _sample(sample, points, axes)
    _ensure_steps(axes, chosen)
    number = len(caretakers) * _number_of_points(axes, chosen)
    if number > MOST_VALUES:
        made = plain_whole(number)
        raise ArgumentError(f"vary: makes {made} cells; expected at most {MOST_VALUES}")
    swept = tuple(
        SweptRegime(c.name, written(c.regime), _policy_of(c, check_limit)) for c in caretakers
    )
    read = [file.source() for file in (pet, *(caretaker.regime for caretaker in caretakers))]
    return Design(
        *(written(pet), swept, axes, chosen, lives, seed, span.until, span.days, asked, keep),
        sources={source.file: source for source in read if source.places},
    )


def _ensure_steps(axes: Sequence[Axis], sample: tuple[str, int] | None) -> None:
    """Refuse a range without a step where no sample chooses from it."""
    for axis in axes:
        if sample is None and axis.range is not None:
            meant = range_meant(str(axis.range)) or "2 min..60 min/2 min"
            raise ArgumentError(
                f"vary {axis.path}: found a range without a step; expected one, such as {meant}, "
                "or a sample"
            )


def _sample(kind: str | None, points: int | None, axes: Sequence[Axis]) -> tuple[str, int] | None:
    """How points are chosen and how many, as asked for; None for the whole grid."""
    if kind is None and points is None:
        return None
    if kind is None or points is None:
        raise ArgumentError("sample and points: expected both or neither")
    if kind not in (*SAMPLES, *METHODS):
        raise ArgumentError(f"sample: {kind!r}; {choice(kind, SAMPLES)}")
    points = whole_of("points", points)
    # which axis matters takes others to compare it with, and several points to know how surely
    least = 2 if kind in METHODS else 1
    if len(axes) < least:
        raise ArgumentError(f"vary: {len(axes)} given; expected at least {least}")
    if not least <= points <= MOST_VALUES:
        raise ArgumentError(f"points: {points}; expected {least} to {MOST_VALUES}")
    if kind in EVEN and points & (points - 1):
        raise ArgumentError(f"points: {points}; expected a power of 2, as they are even then")
    return kind, points


def _ensure_mapping(vary: Mapping[str, Any]) -> None:
    """Refuse what varies if it is not paths with their values."""
    if not isinstance(vary, Mapping) or not all(isinstance(path, str) for path in vary):
        raise ArgumentError(f"vary: {vary!r}; expected a mapping of paths to their values")


def _axes(model: Model, regimes: Sequence[Regime], vary: Mapping[str, Any]) -> tuple[Axis, ...]:
    axes: list[Axis] = []
    for path, values in vary.items():
        axes.append(_axis(model, regimes, path, values))
        try:
            ensure_few(axes)
        except MisfitError as error:
            raise ArgumentError(f"vary: {error.found}; {error.expected}") from None
    return tuple(axes)


def _axis(model: Model, regimes: Sequence[Regime], path: str, values: Any) -> Axis:
    try:
        steps_into(path, model, regimes)
        return Axis.read(path, values)
    except MisfitError as error:
        actual = error.found or f"found {quote(str(values))}"
        raise ArgumentError(f"vary {path}: {actual}; {error.expected}") from None


def _spread(kind: str, points: int, axes: int) -> Sequence[Sequence[float]]:
    """Points of a unit cube, always the same ones."""
    if kind in METHODS:
        from petsim.study.indices import sampled

        return sampled(kind, points, axes)
    from scipy.stats import qmc

    spread = {"latin": qmc.LatinHypercube, "sobol": qmc.Sobol}[kind]
    places: list[list[float]] = spread(axes, seed=0).random(points).tolist()
    return places


def _policy_of(caretaker: Caretaker, check_limit: float) -> tuple[str, str] | None:
    """As `_policy`; of one in a file from another process, as its code may run when it is sent."""
    if caretaker.source is None:
        return _policy(caretaker)
    return call_apart(check_limit, _policy, caretaker)


def _policy(caretaker: Caretaker) -> tuple[str, str] | None:
    """A Python policy that another process can make, and what tells it from others."""
    pickled = caretaker.pickled()
    return None if pickled is None else (base64.b64encode(pickled).decode(), identity_of(caretaker))


def content_of(file: tuple[str, str]) -> list[str]:
    """A file without its folder, where it may be moved from."""
    path, text = file
    return [Path(path).name, text]


def value_text(value: Data) -> str:
    """A value as text."""
    return value if isinstance(value, str) else json.dumps(value)


def values_text(values: Data) -> str:
    """The values of an axis, or its range, in a few words."""
    if not isinstance(values, list):
        return value_text(values)
    texts = [*map(value_text, values)]
    if len(texts) <= MOST_LISTED:
        return ", ".join(texts)
    return f"{', '.join(texts[:3])}, ... {texts[-1]} ({len(texts)} values)"


def sample_options(sample: tuple[str, int] | None) -> dict[str, object]:
    """The options that have the points of a sample chosen, or those of a method."""
    if sample is None:
        return {}
    kind, points = sample
    methods = {chosen: method for method, chosen in SAMPLE_OF.items()}
    option = {"method": methods[kind]} if kind in methods else {"sample": kind}
    return {**option, "points": points}


def _number_of_points(axes: Sequence[Axis], sample: tuple[str, int] | None) -> int:
    if sample is None:
        return math.prod(len(axis.values) for axis in axes)
    kind, points = sample
    return points * (len(axes) + METHODS[kind]) if kind in METHODS else points
