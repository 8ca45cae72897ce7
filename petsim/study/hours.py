"""When care misses happen: on which day of life, at which hour of the day."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from petsim.errors import ArgumentError
from petsim.life.kinds import EventKind
from petsim.life.record import Life
from petsim.spec.quantities import DAY
from petsim.spec.shown import Shown
from petsim.study.stats import Interval, mean_interval, ratio_interval

HOUR = 3_600


class Half(NamedTuple):
    """The shortest run of hours or of days with half of all misses.

    first, last: its first and last hour of the day, or day of life, from 0. share: of all misses,
    those in it, with its 95 % interval.
    """

    first: int
    last: int
    share: Interval


@dataclass(frozen=True, eq=False)
class Hours(Shown):
    """When the care misses of some lives of one model under one caretaker happen.

    model, regime, seed: the names and the seed that made the lives. followed: whether each life was
    followed into an hour of a day. misses: the number of its misses in that hour. Both arrays are
    of shape (lives, days, 24), by the pet's own clock.
    """

    model: str
    regime: str
    seed: int
    followed: NDArray[np.bool_]
    misses: NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.misses)

    def first(self, lives: int) -> Hours:
        """Return the hours of the first lives only."""
        return replace(self, followed=self.followed[:lives], misses=self.misses[:lives])

    @property
    def rates(self) -> NDArray[np.float64]:
        """Mean misses by day and hour, over the lives followed into it; nan where none was.

        An array of shape (days, 24).
        """
        with np.errstate(invalid="ignore"):
            means: NDArray[np.float64] = self.misses.sum(axis=0) / self.followed.sum(axis=0)
        return means

    @property
    def worst(self) -> tuple[int, int]:
        """The day of life, from 0, and the hour of it with the most misses a life."""
        day, hour = np.unravel_index(np.nanargmax(self.rates), self.rates.shape)
        return int(day), int(hour)

    def mean(self, day: int, hour: int) -> Interval:
        """Return the mean misses in an hour, over the lives followed into it, with a t interval.

        Args:
            day: of life, from 0.
            hour: of the day, 0 to 23.
        """
        return mean_interval(self.misses[self.followed[:, day, hour], day, hour])

    @property
    def half_by_hour(self) -> Half:
        """The shortest run of hours of the day with half of the misses; it may span midnight.

        Raises:
            ArgumentError: there is no care miss.
        """
        by_hour = self.misses.sum(axis=1)
        return _half(by_hour, np.concatenate([by_hour, by_hour], axis=1)[:, :-1])

    @property
    def half_by_day(self) -> Half:
        """The shortest run of days of life with half of the misses; raises as `half_by_hour`."""
        by_day = self.misses.sum(axis=2)
        return _half(by_day, by_day)

    def __repr__(self) -> str:
        return (
            f"<hours of the misses in {len(self)} lives of {self.model} under {self.regime}, "
            f"seed {self.seed}: {int(self.misses.sum())} misses>"
        )


def _half(misses: NDArray[np.int64], row: NDArray[np.int64]) -> Half:
    """The shortest run of places in a row with half of the misses.

    misses: of each life in each place, of shape (lives, places). row: the same places, and as many
    of them again as a run may lead over the end.
    """
    total, places = misses.sum(), misses.shape[1]
    if not total:
        raise ArgumentError("misses: none in any life; expected one or more")
    reached = np.concatenate([[0], row.sum(axis=0).cumsum()])
    for length in range(1, places + 1):
        runs = reached[length:] - reached[:-length]
        first = int(runs.argmax())
        if 2 * runs[first] >= total:
            break
    inside = row[:, first : first + length].sum(axis=1)
    share = ratio_interval(inside, misses.sum(axis=1))
    return Half(first, (first + length - 1) % places, share)


def hours_of(lives: Iterable[Life]) -> Hours:
    """Return when the care misses of some lives happen.

    Args:
        lives: one or more of one model under one caretaker, with their logs.

    Raises:
        ArgumentError: there is none.
    """
    ends, missed, last = [], [], None
    for last in lives:
        begins = last.model.begins.clock
        # the last second of a life is part of it
        ends.append(begins + last.summary["end_s"] + 1)
        missed.append([(begins + e.t) // HOUR for e in last.entries if e.event == EventKind.MISS])
    if last is None:
        raise ArgumentError("lives: none; expected one or more")
    days = (max(ends) - 1) // DAY + 1
    starts = HOUR * np.arange(24 * days)
    followed = (starts < np.array(ends)[:, None]) & (starts + HOUR > begins)
    misses = np.array([np.bincount(hours, minlength=24 * days) for hours in missed])
    return Hours(
        model=last.model.id,
        regime=last.regime,
        seed=last.seed,
        followed=followed.reshape(-1, days, 24),
        misses=misses.reshape(-1, days, 24),
    )
