"""Policies: what decides, in a check, which care actions are done.

A regime's routine and a Python class are both policies. A policy never touches the pet: it calls
`look()` for an observation, reads the signals it wants, and yields the names of actions.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, NamedTuple, Protocol

from petsim.spec.clocks import Begins, Window
from petsim.spec.quantities import DAY


class Clock(NamedTuple):
    """The pet's own clock at one second of a life.

    t: seconds since the life began; day: 1 for the first; weekday: 0 for Monday;
    second: second of the day, 0..86399.
    """

    t: int
    day: int
    weekday: int
    second: int

    @property
    def hour(self) -> int:
        """Hour of the day, 0..23."""
        return self.second // 3600

    @property
    def minute(self) -> int:
        """Minute of the hour, 0..59."""
        return self.second % 3600 // 60

    def within(self, window: Window) -> bool:
        """Whether a clock window holds."""
        return window.holds(self.second, self.weekday)

    def __str__(self) -> str:
        rest = self.second % 60
        return f"day {self.day} {self.hour:02}:{self.minute:02}:{rest:02}"


def clock_at(t: int, begins: Begins) -> Clock:
    """The clock at second t of a life that began at that clock and weekday."""
    days, second = divmod(begins.clock + t, DAY)
    return Clock(t, days + 1, (begins.weekday + days) % 7, second)


class Observation(Protocol):
    """What one look shows; a signal is looked at when it is read.

    `seen["hunger"]` is a level; `seen["waste"]` a count; `seen["ill"]`, `seen["asleep"]`,
    `seen["lights"]` (true when on) and `seen["calling"]` are true or false; `seen["stage"]`,
    `seen["form"]`, `seen["weight"]`, `seen["discipline"]` and `seen["clock"]` (a `Clock`) are read
    without error. A Python policy's observation keeps what was read: reading it again shows the
    same.
    """

    def __getitem__(self, signal: str) -> Any:
        """What is seen of a signal."""


Look = Callable[[], Observation]


class Policy(Protocol):
    """A caretaker's mind, made anew for each life, so it may remember what it saw earlier in it."""

    def check(self, look: Look) -> Iterable[str]:
        """Carry out one check: yield (or return a list of) names of the model's care actions.

        Each action lands, and its time passes, before the next is asked for, so a generator that
        calls `look()` again sees what its last action changed.
        """
        ...
