"""When checks fall due: on a grid of intervals or at clock times."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Iterator

from petsim.life.policy import clock_at
from petsim.life.streams import Stream
from petsim.spec.clocks import Begins
from petsim.spec.quantities import DAY, WEEK
from petsim.spec.regime import Checks


class Schedule:
    """When checks fall due: a function of the second and of the pet's stage, and of nothing else.

    Args:
        checks: the intervals or the clock times of a regime.
        first: the second from which checks fall due, whole multiples of the interval apart; clock
            times have no use for it.
        begins: the clock and weekday at which the life begins.
    """

    def __init__(self, checks: Checks, first: int, begins: Begins) -> None:
        self._checks = checks
        self._first = first
        self._begins = begins
        self._windows = checks.interval_windows
        self._edges = {edge for during, _ in self._windows for edge in (during.start, during.end)}
        self._times = checks.seconds_due

    def is_in_a_never(self, t: int) -> bool:
        """Whether the first listed window that holds at second t lets no check come."""
        return next((every is None for every in self._intervals_at(t)), False)

    def lets_come(self, t: int, stage: str) -> bool:
        """Whether a check that fell due earlier may come at second t: it may not in a never."""
        if self._checks.at:
            return not self.is_in_a_never(t)
        return self._interval(t, stage) is not None

    def is_due(self, t: int, stage: str) -> bool:
        """Whether a check falls due at second t."""
        if self._checks.at:
            clock = clock_at(t, self._begins)
            is_time = any(time.is_at(clock.second, clock.weekday) for time in self._checks.at)
            return is_time and not self.is_in_a_never(t)
        interval = self._interval(t, stage)
        return t >= self._first and interval is not None and (t - self._first) % interval == 0

    def next_second(self, start: int, stage: str) -> int | None:
        """The first second from start at which a check may fall due while this stage lasts.

        That is a clock time; or a second of the grid, or one in which a window begins or ends, as
        the interval may change with it. None if none ever falls due.
        """
        if self._checks.at:
            return self._next_clock_time(start)
        if start < self._first:
            return self._first
        interval = self._interval(start, stage)
        due = None if interval is None else start + (self._first - start) % interval
        if not self._edges:
            return due
        elapsed = self._begins.clock + start + 1
        edge = start + 1 + min((edge - elapsed) % DAY for edge in self._edges)
        return edge if due is None else min(due, edge)

    def _next_clock_time(self, start: int) -> int:
        now = (self._begins.weekday * DAY + self._begins.clock + start) % WEEK
        later = bisect_left(self._times, now)
        time = self._times[later] if later < len(self._times) else self._times[0] + WEEK
        return start + time - now

    def _interval(self, t: int, stage: str) -> int | None:
        """The interval in force at second t, in seconds; None is never."""
        return next(self._intervals_at(t), self._checks.by_stage.get(stage, self._checks.every))

    def _intervals_at(self, t: int) -> Iterator[int | None]:
        """The intervals of the listed windows that hold at second t."""
        if not self._windows:
            return
        clock = clock_at(t, self._begins)
        for during, every in self._windows:
            if clock.within(during):
                yield every


def first_check(checks: Checks, stream: Stream) -> int:
    """The second from which checks may fall due, drawn from the stream if it is random."""
    if checks.first != "random":
        return checks.first
    return 0 if checks.every is None else math.floor(stream.next() * checks.every)
