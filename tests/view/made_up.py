"""Sweeps whose odds are made up, so that pictures of them cost no lives."""

from __future__ import annotations

import json
import math
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
    vary: Mapping[str, object],
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


def falling(middle: float, width: float = 3) -> Callable[[float], float]:
    """Odds that fall from 95 % to 0 around some minutes between checks."""
    return lambda seconds: 0.95 / (1 + math.exp((seconds / 60 - middle) / width))


def by_three(_: str, every: float, up: str, overlooks: float) -> float:
    """Odds by the interval of checks, the law of the power, and the lights overlooked."""
    hours = float(up.split()[1])
    return falling(18)(every) * min(1, (hours / 90) ** 0.4) * (1 - 0.3 * overlooks)


TEN = ("call-listener", "camera-rig", "hands-off", "hourly", "school-day", "staged", "ten-minute",
       "ten-minute-quiet-night", "thirty-minute", "microphone")  # fmt: skip
LAWS = (
    "exponential 14 min",
    "uniform 20 min to 28 min",
    "triangular 9 min to 40 min around 24 min",
)
LIGHTS, SLIPS = "eyes.lights.overlooks", "hands.feed.slips"
UP = "exponential 12 h, exponential 30 h, exponential 90 h"


class Sweeps:
    """Made-up sweeps, each made when it is first wanted."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def __getattr__(self, name: str) -> Sweep:
        vary, odds, how = getattr(type(self), f"_{name}")(self)
        made = made_up(self._folder / name, vary, odds, **how)
        setattr(self, name, made)
        return made

    def _one(self):
        return {"checks.every": "10 min..40 min/5 min"}, lambda _, every: falling(25)(every), {}

    def _two(self):
        vary = {"checks.every": "10 min..40 min/5 min", LIGHTS: "0, 20%, 40%"}
        return vary, lambda _, every, lights: falling(25)(every) * (1 - lights), {}

    def _running(self):
        return *self._two()[:2], {"chunks": 25}

    def _begun(self):
        return *self._two()[:2], {"chunks": 5}

    def _three(self):
        vary = {"checks.every": "10 min, 20 min, 30 min", "outages.up": UP, LIGHTS: "0,20%,40%"}
        return vary, by_three, {"regimes": ["camera-rig"], "lives": 500}

    def _alike(self):
        vary, odds, how = self._three()
        return vary | {LIGHTS: "0, 1%, 40%"}, odds, how

    def _five(self):
        def odds(regime, every, up, lights, slips, first):
            by_first = 0.8 if first == "random" else 1
            return by_three(regime, every, up, lights) * (1 - slips) * by_first

        up = "exponential 12 h, exponential 90 h"
        vary = {"checks.every": "10 min, 20 min", "outages.up": up, LIGHTS: "0,20%",
                SLIPS: "0,10%", "checks.first": "random, 2 min"}  # fmt: skip
        return vary, odds, {"regimes": ["camera-rig"]}

    def _regimes(self):
        def odds(regime, every, lights):
            return falling(25 if regime == "camera-rig" else 32)(every) * (1 - lights)

        vary = {"checks.every": "10 min..40 min/10 min", LIGHTS: "0, 20%"}
        return vary, odds, {"regimes": ["camera-rig", "thirty-minute"]}

    def _ten_regimes(self):
        vary = {"checks.every": "10 min, 20 min, 30 min"}
        return vary, lambda name, every: falling(10 + len(name))(every), {"regimes": [*TEN]}

    def _only_regimes(self):
        return {}, lambda name: len(name) / 25, {"regimes": [*TEN]}

    def _laws(self):
        def odds(_, law, every, lights):
            return (1 + LAWS.index(law)) / 3 * falling(25)(every) * (1 - lights)

        vary = {"stages.juvenile.drops.mood": [*LAWS], "checks.every": "10 min, 20 min, 30 min",
                LIGHTS: "0%..60%/20%"}  # fmt: skip
        return vary, odds, {}

    def _fine(self):
        vary = {"checks.every": "5 min..30 min/5 min", LIGHTS: "0%..35%/5%"}
        return vary, lambda _, every, lights: falling(25)(every) * (1 - lights), {}

    def _very_fine(self):
        vary = {"checks.every": "2 min..40 min/2 min", LIGHTS: "0%..95%/5%"}
        return vary, lambda _, every, lights: falling(25)(every) * (1 - lights), {}

    def _many_cells(self):
        vary = {
            "checks.every": "10 min..40 min/10 min",
            LIGHTS: "0%..30%/10%",
            SLIPS: "0%..30%/10%",
        }
        return vary, lambda _, every, a, b: falling(25)(every) * (1 - a) * (1 - b), {}

    def _doublings(self):
        vary = {"checks.every": "64 min, 1 min, 2 min, 4 min, 8 min, 16 min, 32 min",
                LIGHTS: "20%, 0%"}  # fmt: skip
        return vary, lambda _, every, lights: falling(20)(every) * (1 - lights), {}

    def _wide(self):
        vary = {"checks.every": "30 s..9 h*4", LIGHTS: "1%..64%*4"}
        return vary, lambda _, every, lights: falling(25, 10)(every) * (1 - lights), {}

    def _hopeless(self):
        return self._two()[0], lambda *_: 0, {}

    def _one_value(self):
        return {"checks.every": "20 min"}, lambda *_: 0.5, {}

    def _points(self):
        def odds(_, every, lights, slips):
            return falling(25)(every) * (1 - 0.4 * lights) * (1 - 0.01 * slips)

        vary = {"checks.every": "5 min..40 min", LIGHTS: "0%..40%", SLIPS: "0%..20%"}
        return vary, odds, {"sample": "latin", "points": 60}

    def _mixed_points(self):
        def odds(_, every, first, passes, lights):
            return falling(25)(every) * (0.6 if first == "random" else 1)

        vary = {"checks.every": "5 min..40 min", "checks.first": "random, 2 min", "passes": "1..3",
                LIGHTS: "0%..40%"}  # fmt: skip
        how = {"sample": "sobol", "points": 32, "regimes": ["camera-rig", "thirty-minute"]}
        return vary, odds, how

    def _few_points(self):
        return {"checks.every": "10 min..30 min"}, lambda *_: 0.5, {"sample": "latin", "points": 3}
