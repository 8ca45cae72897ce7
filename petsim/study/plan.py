"""What a sweep would take: its cells, and the time, estimated from a few lives of some of them."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

from petsim.spec.shown import Shown
from petsim.study.design import Cell, Design
from petsim.study.job import CellJob
from petsim.study.processes import call_apart

TRIED = {"compiled": 200, "reference": 5}
"""Lives that are tried in a cell."""
CELLS_TRIED = 5


@dataclass(frozen=True)
class SweepPlan(Shown):
    """A sweep before it begins, or what is left of one.

    done: lives that are there. tried: lives lived for the estimate. milliseconds: the time that a
    processor takes for one of them.
    """

    design: Design
    cells: int
    done: int
    workers: int
    tried: int
    milliseconds: float

    @property
    def seconds(self) -> float:
        """How long it will take, about."""
        left = self.cells * self.design.lives - self.done
        return left * self.milliseconds / 1000 / self.workers

    def __repr__(self) -> str:
        lives = self.cells * self.design.lives
        return f"<plan of a sweep: {self.cells} cells, {self.done} of {lives} lives done>"


def plan(
    design: Design,
    cells: Sequence[Cell],
    done: int,
    engine: Callable[[Cell], str],
    workers: int,
    check_limit: float,
) -> SweepPlan:
    """Time a few lives of cells spread over the sweep, as some cost more than others.

    Raises:
        PolicyError: a policy did in one of them what a caretaker can't.
    """
    step = max(1, len(cells) // CELLS_TRIED)
    tried, took = 0, 0.0
    for cell in cells[::step]:
        job, lives = design.job(cell, engine(cell))._replace(keep=False), TRIED[engine(cell)]
        call = partial(call_apart, check_limit, _took) if job.has_policy else _took
        tried, took = tried + lives, took + call(job, lives)
    return SweepPlan(design, len(cells), done, workers, tried, 1000 * took / tried)


def _took(job: CellJob, lives: int) -> float:
    """The seconds that some lives take."""
    # prepared and, if it must be, compiled
    job.live(range(1))
    began = time.perf_counter()
    job.live(range(1, 1 + lives))
    return time.perf_counter() - began
