"""Which unknown matters: a sweep whose cells are chosen to show it."""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import Executor
from pathlib import Path
from typing import Any

from petsim.errors import ensure_known
from petsim.life.simulate import CaretakerSource, ModelSource
from petsim.spec import defaults
from petsim.spec.choices import SAMPLE_OF
from petsim.study.aims import AimSource
from petsim.study.results import Sweep
from petsim.study.sweep import sweep


def sensitivity(
    model: ModelSource,
    regime: CaretakerSource,
    vary: Mapping[str, Any],
    *,
    out: str | Path,
    method: str = "morris",
    points: int = defaults.POINTS,
    lives: int = defaults.CELL_LIVES,
    seed: int = 0,
    until: str | None = None,
    days: float | None = None,
    aim: AimSource | None = None,
    keep: bool = False,
    engine: str = "auto",
    workers: int | None = None,
    executor: Executor | None = None,
    check_limit: float = defaults.CHECK_LIMIT,
    fail_fast: bool = False,
    progress: bool = False,
) -> Sweep:
    """Find which of several unknowns moves the odds of the aim; `.sensitivity()` then says so.

    Args:
        model, regime: as for `batch`.
        vary: two unknowns or more by their path, and the range of each, such as "10%..30%".
        out: the name of the file, to which `.sweep` is added.
        method: "morris", with points trajectories, each of a cell more than there are unknowns; or
            "sobol", with points times two more cells than there are unknowns, a power of 2.
        points: the more, the surer.
        lives, seed, until, days, aim, keep, engine, workers, executor, check_limit, fail_fast,
            progress: as for `sweep`.

    Raises:
        ArgumentError: the method is none; and as for `sweep`.
    """
    ensure_known("method", method, SAMPLE_OF)
    return sweep(
        *(model, [regime], vary), out=out, sample=SAMPLE_OF[method], points=points, lives=lives,
        seed=seed, until=until, days=days, aim=aim, keep=keep, engine=engine, workers=workers,
        executor=executor, check_limit=check_limit, fail_fast=fail_fast, progress=progress,
    )  # fmt: skip
