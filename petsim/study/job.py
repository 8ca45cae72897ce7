"""Lives as work that any process of any machine can do: plain data in, plain data out."""

from __future__ import annotations

import json
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from petsim._version import __version__
from petsim.errors import ArgumentError, PolicyError
from petsim.life.caretaker import Caretaker
from petsim.life.policy_files import unpickled_policy
from petsim.life.record import LABELS, columns, words
from petsim.life.simulate import Span, choose_engine
from petsim.spec.document import Document
from petsim.spec.library import model_in
from petsim.spec.model import Model
from petsim.spec.parts import as_yaml
from petsim.spec.reading import read_text
from petsim.spec.regime import Regime
from petsim.spec.regime_checks import read_regime
from petsim.study.changes import changed
from petsim.study.measures import measures
from petsim.study.runner import Engine, Place, Rows, rows_of

NOT_SUMMED = ("life", *LABELS)
PREPARED = 512
"""Cells whose engines are kept, of some 60 kB each: a sweep comes back to each in every round, and
to prepare one takes as long as some 40 of its lives."""


class CellJob(NamedTuple):
    """Lives of a model under a caretaker with some of their values changed, as plain data.

    model, regime: the name of the file and its text. name: what the user calls the caretaker.
    policy: the class of a Python policy, pickled. model_values, regime_values: the places and
    values that are changed, as JSON. engine: its name. keep: whether every life's row is wanted.
    """

    version: str
    model: tuple[str, str]
    regime: tuple[str, str]
    name: str
    policy: bytes | None
    model_values: str
    regime_values: str
    until: str | None
    days: float | None
    engine: str
    seed: int
    keep: bool

    @property
    def place(self) -> Place:
        """Where the lives are lived."""
        return "threads" if self.engine == "compiled" else "processes"

    @property
    def has_policy(self) -> bool:
        """Whether a Python policy looks after the pet."""
        return self.policy is not None

    def read_model(self) -> Model:
        """The model with its values changed; raises SpecError if one does not fit."""
        return _model(self.model, self.model_values)

    def read_regime(self, model: Model) -> Regime:
        """The regime with its values changed, for the model; raises as `read_model`."""
        return read_regime(_changed(self.regime, self.regime_values), model)

    def caretaker(self, model: Model) -> Caretaker:
        """Who looks after the pet; of a Python policy, this runs its code.

        Raises:
            ArgumentError: the policy needs what is not there.
        """
        try:
            make = None if self.policy is None else unpickled_policy(self.name, self.policy)
        except PolicyError as error:
            # of the machine, not of the cell
            raise ArgumentError(str(error)) from error
        return Caretaker(self.name, self.read_regime(model), make)

    def live(self, numbers: range) -> ChunkResult:
        """Live the lives with these numbers.

        Raises:
            ArgumentError: the job is of another version of petsim, or its engine or its policy
                can't live here.
            PolicyError: its policy did what a caretaker can't.
        """
        model, engine = _prepared(self)
        return _result(model, rows_of(engine, self.seed, numbers), numbers.start, keep=self.keep)


class ChunkResult(NamedTuple):
    """What came of some lives of a job, the first of them by its number.

    outcomes: of each life, by its number in words. columns, lives, totals, squares: of each column
    that is summed, its name, the lives in which it is 0 or more, and its sums over these. rows: the
    whole table, if asked for.
    """

    first: int
    words: tuple[str, ...]
    outcomes: NDArray[np.int16]
    columns: tuple[str, ...]
    lives: list[int]
    totals: list[float]
    squares: list[float]
    rows: NDArray[np.int64] | None


def written(file: Model | Regime) -> tuple[str, str]:
    """A model or regime as a job has it."""
    return file.source().file or f"{file.id}.yaml", as_yaml(file)


@lru_cache(maxsize=8)
def _model(file: tuple[str, str], values: str) -> Model:
    return model_in(_changed(file, values))


def _changed(file: tuple[str, str], values: str) -> Document:
    changes = [(tuple(steps), value) for steps, value in json.loads(values)]
    return changed(_document(*file), changes)


@lru_cache(maxsize=8)
def _document(name: str, text: str) -> Document:
    return read_text(text, name)


@lru_cache(maxsize=PREPARED)
def _prepared(job: CellJob) -> tuple[Model, Engine]:
    """The model and the engine of a job."""
    if job.version != __version__:
        raise ArgumentError(
            f"this is petsim {__version__}; expected {job.version}, as where the sweep was started"
        )
    model = job.read_model()
    return model, choose_engine(model, job.caretaker(model), Span(job.until, job.days), job.engine)


def _result(model: Model, rows: Rows, first: int, *, keep: bool) -> ChunkResult:
    """The result of lives from the first on; with every row only if rows are to be kept."""
    names, summed = [column.name for column in columns(model)], _summed(model, rows)
    known = [values[values >= 0] for values in summed.values()]
    return ChunkResult(
        first=first,
        words=words(model)["outcome"],
        outcomes=rows[:, names.index("outcome")].astype(np.int16),
        columns=tuple(summed),
        lives=[len(values) for values in known],
        totals=[values.sum().item() for values in known],
        # as floats, as the squares of many seconds outgrow 64 bits
        squares=[float((values.astype(np.float64) ** 2).sum()) for values in known],
        rows=rows if keep else None,
    )


def _summed(model: Model, rows: NDArray[np.int64]) -> dict[str, NDArray[Any]]:
    """What is summed over some lives: their columns, and the values of each measure."""
    plain = {column.name: rows[:, place] for place, column in enumerate(columns(model))}
    values = {measure.name: measure.values(plain) for measure in measures(model)}
    return {name: x for name, x in (plain | values).items() if name not in NOT_SUMMED}
