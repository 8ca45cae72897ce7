"""All that can be chosen: the cells of a grid, the points of a sample, routines a step away."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from petsim.advice.choosing.steps import Routine
from petsim.errors import ArgumentError, SpecError, ensure_known
from petsim.life.caretaker import Caretaker, load_caretaker
from petsim.life.simulate import CaretakerSource
from petsim.spec import defaults
from petsim.spec.choices import LOOKED_AT, PROMISING
from petsim.spec.document import Data
from petsim.spec.model import Model
from petsim.spec.regime_checks import read_regime
from petsim.spec.variation import Axis, path_steps
from petsim.study.changes import changed
from petsim.study.design import Cell, Design, design_of, value_text

BY_STEPS = ("routine", "checks.windows")
"""What begins the paths of what steps change."""


@dataclass(frozen=True, eq=False)
class Candidate:
    """One way to look after the pet that can be chosen.

    values: of each quantity that varies, by its path. routine: the routine, if its steps are
    searched, too.
    """

    values: Mapping[str, Data]
    routine: Routine | None = None

    @property
    def changes(self) -> dict[str, Data]:
        """All that is changed of the files, by path, as an `Evaluator` takes it."""
        return {**self.values, **(self.routine.changes if self.routine else {})}

    @property
    def key(self) -> str:
        """What tells it from others."""
        return json.dumps(self.changes, sort_keys=True)

    @property
    def texts(self) -> dict[str, str]:
        """The values of what varies as texts, by path."""
        return {path: value_text(value) for path, value in self.values.items()}

    @property
    def words(self) -> tuple[str, ...]:
        """What is changed in the routine, a few words each."""
        return self.routine.words if self.routine else ()


class Space:
    """All candidates that there are, and those next to each.

    Args:
        models: the guesses at the pet. regime: what is changed.
        vary: the values of each quantity that varies, by its path.
        steps: whether the steps of the routine are searched, too.
        sample: how points are chosen of what varies: "latin", "sobol", "tpe" where it seems
            promising, or all of up to 500 and a Latin sample of more.
        points: how many, by default 256.

    Raises:
        SpecError, ArgumentError: as for `petsim.sweep`; nothing varies; what varies is for steps to
            change, or there are none, as for a Python policy.
    """

    def __init__(
        self,
        models: tuple[Model, ...],
        regime: CaretakerSource,
        vary: Mapping[str, Any],
        *,
        steps: bool,
        sample: str | None,
        points: int | None,
    ) -> None:
        self._models, self._caretaker = models, load_caretaker(regime, models[0])
        if not vary and not steps:
            raise ArgumentError("vary: nothing varies; expected a path with its values, or steps")
        if not vary and (sample or points):
            raise ArgumentError("sample: is of what varies; expected vary with it")
        self.design = _design(models, regime, vary, sample, points) if vary else None
        self._is_promising = sample == PROMISING
        self._routine = _routine(self._caretaker, vary) if steps else None

    @property
    def sample(self) -> str | None:
        """How it was chosen what to look at; None if all of what varies is."""
        if self._is_promising:
            return PROMISING
        return self.design.sample[0] if self.design and self.design.sample else None

    @property
    def points(self) -> int | None:
        """How many points are looked at; None if all."""
        return self.design.sample[1] if self.design and self.design.sample else None

    @property
    def axes(self) -> tuple[Axis, ...]:
        """What varies."""
        return self.design.axes if self.design else ()

    @property
    def number_of_cells(self) -> int | None:
        """How many combinations of what varies there are; None if any number."""
        if self.design is None:
            return 1
        if any(axis.range is not None for axis in self.design.axes):
            return None
        return replace(self.design, sample=None).number_of_cells

    def candidates(self) -> Iterator[Candidate]:
        """Yield what is looked at of what varies, under the routine as it is."""
        if self.design is None:
            yield Candidate({}, self._routine)
            return
        for cell in self.design.cells():
            yield self._of(self.design, cell)

    def at(self, shares: tuple[float, ...]) -> Candidate:
        """The candidate a share of the way, from 0 to 1, along each axis of what varies."""
        assert self.design is not None
        return self._of(self.design, Cell(0, 0, self.design.at(shares)))

    def _of(self, design: Design, cell: Cell) -> Candidate:
        paths = (axis.path for axis in design.axes)
        return Candidate(dict(zip(paths, cell.values, strict=True)), self._routine)

    def next_to(self, candidate: Candidate) -> Iterator[Candidate]:
        """Yield those one change of the routine away, or one value up or down of what varies."""
        for axis in self.axes:
            if candidate.values[axis.path] in axis.values:
                here = axis.values.index(candidate.values[axis.path])
                for value in (*axis.values[max(here - 1, 0) : here], *axis.values[here + 1 :][:1]):
                    yield replace(candidate, values={**candidate.values, axis.path: value})
        if candidate.routine is not None:
            for routine in candidate.routine.neighbours():
                other = replace(candidate, routine=routine)
                if self._can_be(other):
                    yield other

    def _can_be(self, candidate: Candidate) -> bool:
        """Whether a routine can stand in a file; one that looks for a level above full can't."""
        assert candidate.routine is not None
        regime = self._caretaker.regime.source()
        try:
            document = changed(regime, _steps_of(candidate.routine.changes))
            for model in self._models:
                read_regime(document, model)
        except SpecError:
            return False
        return True


def _steps_of(changes: Mapping[str, Data]) -> Iterator[tuple[tuple[str | int, ...], Data]]:
    return ((path_steps(path), value) for path, value in changes.items())


def _design(
    models: tuple[Model, ...],
    regime: CaretakerSource,
    vary: Mapping[str, Any],
    sample: str | None,
    points: int | None,
) -> Design:
    """What varies, seen to fit every model: the whole grid if it is small, or a sample."""
    if points is not None and sample is None:
        raise ArgumentError("points: are of a sample; expected sample with it")
    if sample is not None:
        ensure_known("sample", sample, LOOKED_AT)
    spread = "latin" if sample == PROMISING else sample
    given: dict[str, Any] = (
        {"sample": spread, "points": points or defaults.SAMPLED_CANDIDATES} if spread else {}
    )
    designs = [design_of(model, [regime], vary, **given) for model in models]
    if sample is None and designs[0].number_of_cells > defaults.MOST_CANDIDATES:
        designs = [
            replace(design, sample=("latin", defaults.SAMPLED_CANDIDATES)) for design in designs
        ]
    for design in designs:
        design.validate()
    return designs[0]


def _routine(caretaker: Caretaker, vary: Mapping[str, Any]) -> Routine:
    """The routine whose steps are searched."""
    if caretaker.make is not None:
        raise ArgumentError(
            f"steps: {caretaker.name} is a Python policy, which has none; expected a regime"
        )
    for path in vary:
        if path.startswith(BY_STEPS):
            raise ArgumentError(f"vary {path}: is for steps to change; expected either of them")
    return Routine.of(caretaker.regime)
