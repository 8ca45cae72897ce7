"""Where to look among too many candidates: at those that seem promising by what was seen so far."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

from petsim.errors import ArgumentError

TOGETHER = 16
"""Points that are chosen before any of them is seen, so that all processors have work."""

Shares = tuple[float, ...]
"""A point: for each axis how far along it is, from 0 to 1."""


class Seen(NamedTuple):
    """What was seen at a point: its cost, and by how much it falls short of the target."""

    cost: float
    short: float


def look_where_promising(
    axes: int, points: int, see: Callable[[Sequence[Shares]], Sequence[Seen]]
) -> None:
    """Look at points, first anywhere and then where low costs without falling short were seen.

    By Optuna's sampler of tree-structured Parzen estimators: Bergstra, Bardenet, Bengio and Kégl
    (2011), "Algorithms for hyper-parameter optimization", NIPS 24:2546-2554 (from memory). The same
    points are chosen each time.

    Args:
        axes: how many there are.
        points: how many to look at.
        see: looks at some points.

    Raises:
        ArgumentError: Optuna is not installed.
    """
    try:
        import optuna
    except ImportError:
        raise ArgumentError(
            "sample: tpe needs Optuna; expected it installed (pip install 'petsim[search]'), or "
            "the sample latin"
        ) from None
    level = optuna.logging.get_verbosity()
    optuna.logging.set_verbosity(optuna.logging.WARNING)
    try:
        study = optuna.create_study(sampler=optuna.samplers.TPESampler(seed=0))
        for first in range(0, points, TOGETHER):
            trials = [study.ask() for _ in range(min(TOGETHER, points - first))]
            places = [
                tuple(trial.suggest_float(str(axis), 0, 1) for axis in range(axes))
                for trial in trials
            ]
            for trial, seen in zip(trials, see(places), strict=True):
                trial.set_constraint("short", seen.short)
                study.tell(trial, seen.cost)
    finally:
        optuna.logging.set_verbosity(level)
