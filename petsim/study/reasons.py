"""Why care misses happen: how many of each cause had which main reason, over some lives."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from petsim.life.causes import Reason, main_reason, misses
from petsim.life.history import replay
from petsim.life.record import Life
from petsim.spec.shown import Shown
from petsim.study.stats import Interval, mean_interval

ORDER = tuple(Reason)


@dataclass(frozen=True, eq=False)
class MissReasons(Shown):
    """Why the care misses of some lives of one model under one caretaker happened.

    model, regime, seed: the names and the seed that made the lives. causes: what was missed, in the
    model's order. misses: how many misses each life had of each cause for each main reason, in the
    order of `Reason`; an array of shape (lives, causes, reasons).
    """

    model: str
    regime: str
    seed: int
    causes: tuple[str, ...]
    misses: NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.misses)

    def first(self, lives: int) -> MissReasons:
        """Return the reasons in the first lives only."""
        return replace(self, misses=self.misses[:lives])

    def mean(self, reason: str | None = None, cause: str | None = None) -> Interval:
        """Return the mean misses a life, with Student's 95 % interval.

        Args:
            reason: only those with this main reason; by default all.
            cause: only those of this cause; by default all.

        Raises:
            ValueError: there is no such reason or cause.
        """
        part = self.misses
        if cause is not None:
            part = part[:, [self.causes.index(cause)]]
        if reason is not None:
            part = part[:, :, [ORDER.index(Reason(reason))]]
        return mean_interval(part.sum(axis=(1, 2)))

    def __repr__(self) -> str:
        return (
            f"<reasons of the misses in {len(self)} lives of {self.model} under {self.regime}, "
            f"seed {self.seed}: {int(self.misses.sum())} misses>"
        )


def counted_by_reason(life: Life) -> NDArray[np.int64]:
    """Return the misses of a traced life by cause and main reason, of shape (causes, reasons).

    Args:
        life: with its log and what was seen, as the reference engine traces it.
    """
    causes = life.model.causes
    counts = np.zeros((len(causes), len(ORDER)), dtype=np.int64)
    for miss in misses(replay(life)):
        reason = main_reason(miss, life.model)
        counts[causes.index(miss.cause), ORDER.index(reason)] += 1
    return counts
