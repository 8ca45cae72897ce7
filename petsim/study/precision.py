"""How many lives are enough: a rule that lives more until an interval is as narrow as wanted."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from petsim.errors import ArgumentError
from petsim.spec.arguments import is_number
from petsim.study.stats import Interval

LOOK = 1_000
"""Lives between two looks at how narrow the intervals are."""


@dataclass(frozen=True)
class Precision:
    """The half-width wanted of the widest interval, as a share, and the one it has in the end.

    reached: whether the rule stopped the lives, rather than the most that were allowed.
    """

    wanted: float
    half_width: float
    reached: bool


class EnoughLives:
    """Says, look after look, when all intervals are as narrow as wanted.

    Only at the second look in a row: to stop at the first would pick out the lives that happen to
    spread little, and the interval would hold less often than it says. A sequential rule of fixed
    width as of Chow and Robbins (1965), "On the asymptotic theory of fixed-width sequential
    confidence intervals for the mean", Annals of Mathematical Statistics 36:457-462 (from memory);
    how often its intervals hold is measured in the tests.

    Args:
        wanted: the greatest half-width, above 0 and below 1/2.
        intervals: the intervals that matter, made from the lives that `look` is given.

    Raises:
        ArgumentError: wanted is out of its range.
    """

    def __init__(self, wanted: float, intervals: Callable[[Any], Iterable[Interval]]) -> None:
        if not is_number(wanted) or not 0 < wanted < 0.5:
            raise ArgumentError(
                f"precision: {wanted!r}; expected a half-width between 0 and 0.5, such as 0.01"
            )
        self._wanted = wanted
        self._intervals = intervals
        self._in_a_row = 0
        self._half_width = math.nan

    def look(self, lives: Any) -> bool:
        """Look at all lives so far, and say whether they are enough."""
        self._half_width = self._widest(lives)
        self._in_a_row = self._in_a_row + 1 if self._half_width <= self._wanted else 0
        return self._in_a_row == 2

    def needed(self, lives: int) -> int:
        """Estimate how many lives will be enough, after a look at `lives` of them."""
        ratio = max(self._half_width / self._wanted, 1.0)
        return LOOK * math.ceil(lives * ratio**2 / LOOK) + LOOK * (1 - self._in_a_row)

    def precision(self, lives: Any) -> Precision:
        """The precision that all lives together reach."""
        return Precision(self._wanted, self._widest(lives), self._in_a_row == 2)

    def _widest(self, lives: Any) -> float:
        return max((interval.high - interval.low) / 2 for interval in self._intervals(lives))
