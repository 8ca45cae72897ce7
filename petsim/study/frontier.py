"""What is worth its work: which of several candidates are shown to beat which others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from functools import cached_property
from typing import NamedTuple

import numpy as np

from petsim.study.aims import Aim
from petsim.study.paired import Values, common


class Candidate(NamedTuple):
    """A regime or a cell: the mean work it takes, in any unit, and what its lives are worth."""

    work: float
    values: Values


class Verdict(Enum):
    """What paired 95 % intervals show of a candidate, each for itself.

    WORTH: that it has better odds than all that take less work, and nothing that takes no more has
    better. BEATEN: that something which takes no more work has better odds. OPEN: neither.
    """

    WORTH = "worth its work"
    OPEN = "open"
    BEATEN = "beaten"


@dataclass(frozen=True)
class Frontier:
    """What is shown of candidates, which live the same lives on the same luck.

    Work is compared by its means. A difference of odds is shown if the paired interval of it, that
    of `Aim.difference` over the lives that both have, excludes 0.
    """

    candidates: Sequence[Candidate]
    aim: Aim

    @cached_property
    def odds(self) -> list[float]:
        """The share of each candidate's lives that reached the aim, or what they are worth."""
        return [float(np.mean(np.concatenate([*c.values.values()]))) for c in self.candidates]

    @cached_property
    def verdicts(self) -> list[Verdict]:
        """The verdict on each candidate."""
        return [self._verdict(place) for place in range(len(self.candidates))]

    @cached_property
    def line(self) -> list[int]:
        """The places of those that are worth their work, the least work first."""
        worth = (p for p, verdict in enumerate(self.verdicts) if verdict is Verdict.WORTH)
        return sorted(worth, key=self._by_work)

    @cached_property
    def best(self) -> list[int]:
        """The places of those not shown to be worse than the likeliest, the least work first."""
        likeliest = max(range(len(self.candidates)), key=self.odds.__getitem__)
        alike = (p for p in range(len(self.candidates)) if not self._is_better(likeliest, p))
        return sorted(alike, key=self._by_work)

    def _by_work(self, place: int) -> tuple[float, float]:
        return self.candidates[place].work, -self.odds[place]

    def _verdict(self, place: int) -> Verdict:
        work = self.candidates[place].work
        rivals = [p for p in range(len(self.candidates)) if p != place]
        if any(self._is_better(p, place) for p in rivals if self.candidates[p].work <= work):
            return Verdict.BEATEN
        less = (p for p in rivals if self.candidates[p].work < work)
        return Verdict.WORTH if all(self._is_better(place, p) for p in less) else Verdict.OPEN

    def _is_better(self, one: int, other: int) -> bool:
        """Whether a candidate is shown to have better odds than another."""
        ours, theirs = common(self.candidates[one].values, self.candidates[other].values)
        return len(ours) > 0 and self.aim.difference(ours, theirs).low > 0
