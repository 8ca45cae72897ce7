"""A sweep's file, which may still be written to: its design, and which lives are in it."""

from __future__ import annotations

import logging
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from functools import cached_property, wraps
from pathlib import Path
from threading import get_ident
from typing import Any, Concatenate, ParamSpec, TypeVar

from petsim.errors import ArgumentError, quote
from petsim.life.caretaker import Caretaker
from petsim.spec.model import Model
from petsim.study.design import METHODS, Cell
from petsim.study.job import CellJob
from petsim.study.store import AGAIN, Session, Store, in_words
from petsim.study.stored_design import stored_design

P = ParamSpec("P")
T = TypeVar("T")
S = TypeVar("S", bound="StoredSweep")


def consistent(read: Callable[Concatenate[S, P], T]) -> Callable[Concatenate[S, P], T]:
    """A method that reads all it needs from one state of the file."""

    @wraps(read)
    def consistently(self: S, /, *args: P.args, **named: P.kwargs) -> T:
        with self.snapshot():
            return read(self, *args, **named)

    return consistently


class StoredSweep:
    """A sweep on disk, without what was found.

    Args:
        path: of its file.

    Raises:
        ArgumentError: there is none, or it is no sweep.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._stores: dict[int, Store] = {}  # of the threads that are reading, by their numbers
        self._warned: set[tuple[Any, Any]] = set()
        self._opened: bytes | None = None
        with self.snapshot() as store:
            about = store.about()
            self._opened = store.design_checksum
        self.design = stored_design(path, about)
        self.provenance: dict[str, Any] = {"chunk": about["chunk"], **about["design"]}

    @contextmanager
    def snapshot(self) -> Iterator[Store]:
        """Read all that is read within from one state of the file, which is opened once."""
        own = get_ident()
        if own in self._stores:
            yield self._stores[own]
            return
        with closing(Store(self.path)) as store, store.snapshot():
            if self._opened not in (None, store.design_checksum):
                raise ArgumentError(
                    f"{self.path}: is another sweep, or a larger one, than when it was opened; "
                    "expected it to be opened again"
                )
            self._stores[own] = store
            try:
                yield store
            finally:
                del self._stores[own]
                self._warn_of(store.damaged)

    def _warn_of(self, damaged: set[tuple[Any, Any]]) -> None:
        """Say once of each damaged chunk that it is left out."""
        unsaid = sorted(damaged - self._warned, key=repr)
        self._warned |= damaged
        if unsaid:
            logging.getLogger("petsim").warning(
                "petsim: %s: is damaged: %s are left out; %s", self.path, in_words(unsaid), AGAIN
            )

    @property
    def sessions(self) -> list[Session]:
        """When its lives were lived, the first time first."""
        with self.snapshot() as store:
            return store.sessions()

    @property
    def lives_by_cell(self) -> Counter[int]:
        """How many lives of each cell were lived."""
        lives = Counter[int]()
        with self.snapshot() as store:
            for chunk in store.chunks:
                lives[chunk.cell] += chunk.lives
        return lives

    def parameters(self, cell: int) -> dict[str, str]:
        """The parameters of a cell as text, by path, in the order in which they were given."""
        return {path: text for path, (text, _) in self.design.parameters(self._cell(cell)).items()}

    @property
    @consistent
    def finished(self) -> bool:
        """Whether all lives of all cells have been lived, but for cells that failed."""
        lives, tried = self.lives_by_cell, {*range(len(self._cells))} - self.failed.keys()
        return all(lives[cell] == self.design.lives for cell in tried)

    @property
    def failed(self) -> dict[int, str]:
        """The cells that failed, and why."""
        with self.snapshot() as store:
            return store.failed()

    def ensure_begun(self) -> None:
        """See that there is something to tell of it.

        Raises:
            ArgumentError: nothing was lived in it yet.
        """
        if not self.lives_by_cell:
            raise ArgumentError(f"{self.path}: nothing was lived in it yet")

    @property
    def is_sensitivity(self) -> bool:
        """Whether its cells were chosen to show which unknown matters."""
        return self.design.sample is not None and self.design.sample[0] in METHODS

    @property
    @consistent
    def tells_which_matters(self) -> bool:
        """Whether they were, and all were lived, so that `sensitivity` has an answer."""
        return self.is_sensitivity and self.finished and not self.failed

    def model(self, cell: int) -> Model:
        """The model of a cell."""
        return self._job(cell).read_model()

    def caretaker(self, cell: int, *, trust: bool = False) -> Caretaker:
        """Who looks after the pet in a cell.

        Args:
            cell: its number.
            trust: whether to run the code that the file holds, if it is a Python policy.

        Raises:
            ArgumentError: it is one, and is not trusted; or it needs what is not there.
        """
        regime = self.design.regimes[self._cell(cell).regime]
        if regime.policy is not None and not trust:
            source = regime.policy[1].split("\n")
            begins = next((line for line in source if line.strip()), "")
            raise ArgumentError(
                f"{self.path}: cell {cell} has the Python policy {regime.name}, whose code is in "
                f"the file: {len(source)} lines, from {quote(begins)} on; expected --trust (in "
                "Python, trust=True) to run it, if you know who made the file"
            )
        job = self._job(cell)
        return job.caretaker(job.read_model())

    def _job(self, cell: int) -> CellJob:
        return self.design.job(self._cell(cell), "reference")

    @cached_property
    def _cells(self) -> list[Cell]:
        return list(self.design.cells())

    def _cell(self, number: int) -> Cell:
        if number not in range(len(self._cells)):
            raise ArgumentError(f"cell: {number!r}; expected 0 to {len(self._cells) - 1}")
        return self._cells[number]
