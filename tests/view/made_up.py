"""Sweeps whose odds are made up, so that pictures of them cost no lives."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from concurrent.futures import Executor, Future
from pathlib import Path

import numpy as np

import petsim
from petsim.life.record import words
from petsim.spec.variation import number_of
from petsim.study import sweep as module
from petsim.study.job import CellJob, ChunkResult
from petsim.study.results import Sweep

REGIMES = Path(__file__).parents[2] / "regimes"
Odds = Callable[..., float]
"""The odds by the regime's name and the numbers (else the texts) of what varies."""


class MadeUp(Executor):
    """Stands in for lives: each has a luck of its own, even over all, and reaches the aim by it.

    So the lives of all cells have the same luck, as petsim's have.
    """

    def __init__(self, odds: Odds, chunks: int | None = None) -> None:
        self.odds = odds
        self.left = chunks
        self.model = petsim.load_model("lamplet")

    def submit(self, _, job: CellJob, numbers: range) -> Future:
        future = Future()
        if self.left == 0:
            future.set_exception(KeyboardInterrupt())
            return future
        if self.left is not None:
            self.left -= 1
        future.set_result(self.lived(job, numbers))
        return future

    def lived(self, job: CellJob, numbers: range) -> ChunkResult:
        changes = json.loads(job.model_values) + json.loads(job.regime_values)
        values = [number_of(value) for _, value in changes]
        values = [v if n is None else n for n, (_, v) in zip(values, changes, strict=True)]
        odds = self.odds(Path(job.name).stem, *values)
        luck = (np.array(numbers) * 0.6180339887498949) % 1
        names = words(self.model)["outcome"]
        aim, other = names.index(self.model.aim), names.index("undecided")
        outcomes = np.where(luck < odds, aim, other).astype(np.int16)
        return ChunkResult(numbers.start, names, outcomes, (), [], [], [], None)


def made_up(
    out: Path,
    vary: Mapping[str, str],
    odds: Odds,
    regimes: list[str] | None = None,
    *,
    lives: int = 400,
    chunks: int | None = None,
    **how,
) -> Sweep:
    """A sweep with these odds; with only so many chunks of 20 lives, if that is said."""
    regimes = regimes or ["ten-minute"]
    chunk = module.CHUNK
    if chunks is not None:
        module.CHUNK = {"compiled": 20, "reference": 20}
    try:
        return petsim.sweep(
            "lamplet", regimes, vary, out=out, lives=lives, executor=MadeUp(odds, chunks), **how
        )
    finally:
        module.CHUNK = chunk
