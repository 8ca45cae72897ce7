"""Which of many lives is worth a look: the worst, or the most typical one."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from petsim.errors import ArgumentError, ensure_known
from petsim.life.simulate import CaretakerSource, ModelSource
from petsim.spec.quantities import DAY
from petsim.study.batch import Batch, batch

LIVES = 250
"""Lives that one is chosen from."""


class Chosen(NamedTuple):
    """As what a life was chosen, "worst" or "typical", and among how many."""

    what: str
    lives: int


def choose_life(
    model: ModelSource,
    regime: CaretakerSource,
    life: int | str,
    *,
    lives: int | None = None,
    **how: Any,
) -> tuple[int, Chosen | None]:
    """Return the number of a life and, if it is asked for by a word, as what it was chosen.

    Args:
        model, regime: as for `batch`.
        life: its number, or "worst" or "typical".
        lives: how many it is chosen from; 250 by default.
        how: what `batch` takes besides, all alike for the life itself.

    Raises:
        ArgumentError: the word is another, or lives are given with a number.
        SpecError, PolicyError: as for `batch`.
    """
    if not isinstance(life, str):
        if lives is not None:
            expected = 'expected life "worst" or "typical" with it'
            raise ArgumentError(f"lives: is how many to choose from; {expected}")
        return life, None
    ensure_known("life", life, WAYS)
    lived = batch(model, regime, lives=LIVES if lives is None else lives, **how)
    return WAYS[life](lived), Chosen(life, len(lived))


def worst_life(batch: Batch) -> int:
    """Return the number of the worst life: the earliest death; if none died, most care misses.

    Of several alike it is the first.
    """
    died = ~batch.which("died", "")
    if died.any():
        return int(np.where(died, batch.values["end_s"], np.iinfo(np.int64).max).argmin())
    return int(batch.values["misses"].argmax())


def typical_life(batch: Batch) -> int:
    """Return the number of the medoid: the life that is nearest to all others together.

    The distance of two lives is the Euclidean one over their misses of each cause, their presses a
    day, and for each outcome whether it was theirs; each divided by its standard deviation over all
    lives, so that all weigh alike. The medoid has the least sum of distances to the others; of
    several alike it is the first. Source: Kaufman and Rousseeuw, "Finding Groups in Data", 1990,
    chapter 2, from memory.
    """
    features = features_of(batch)
    sums = np.array([np.linalg.norm(features - own, axis=1).sum() for own in features])
    # sums that differ by rounding alone are alike
    return int(np.flatnonzero(sums <= sums.min() * (1 + 1e-12))[0])


WAYS: dict[str, Callable[[Batch], int]] = {"worst": worst_life, "typical": typical_life}
"""What finds a life among many, by the word that asks for it."""


def features_of(batch: Batch) -> NDArray[np.float64]:
    """Return what lives are compared by, of shape (lives, features), each of unit deviation.

    What is the same in all lives is left out.
    """
    values = batch.values
    columns = [
        *(values[f"misses.{cause}"] for cause in batch.model.causes),
        values["presses"] / np.maximum(values["end_s"], 1) * DAY,
        *(batch.which("outcome", outcome) for outcome in batch.counts),
    ]
    table = np.array(columns, dtype=np.float64).T
    spread = table.std(axis=0)
    return np.asarray(table[:, spread > 0] / spread[spread > 0])
