"""What a caretaker is to the engine: it is shown observations and names actions.

A regime's routine and a Python class are both policies. A policy never touches the pet: it calls
`look()` for an observation, reads the signals it wants, and yields the names of actions.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any, NamedTuple, Protocol

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

    def __str__(self) -> str:
        rest = self.second % 60
        return f"day {self.day} {self.hour:02}:{self.minute:02}:{rest:02}"


def clock_at(t: int, begins_weekday: int, begins_clock: int) -> Clock:
    """The clock at second t of a life that begins on that weekday (Monday 0) at that second of day."""
    days, second = divmod(begins_clock + t, DAY)
    return Clock(t, days + 1, (begins_weekday + days) % 7, second)


class Observation:
    """What one look shows. A signal is looked at when it is first read, and then stays as seen.

    `seen["hunger"]` is a level; `seen["waste"]` a count; `seen["ill"]`, `seen["asleep"]`,
    `seen["lights"]` (true when on) and `seen["calling"]` are true or false; `seen["stage"]`,
    `seen["form"]`, `seen["weight"]` and `seen["clock"]` (a `Clock`) are read without error.
    """

    __slots__ = ("_seen", "_signals")

    def __init__(self, signals: Mapping[str, Callable[[], Any]]) -> None:
        self._signals = signals
        self._seen: dict[str, Any] = {}

    def __getitem__(self, signal: str) -> Any:
        seen = self._seen
        if signal not in seen:
            seen[signal] = self._signals[signal]()
        return seen[signal]

    def __repr__(self) -> str:
        return f"Observation({self._seen})"


Look = Callable[[], Observation]


class Policy(Protocol):
    """A caretaker's mind, made anew for each life, so it may remember what it saw earlier in it."""

    def check(self, look: Look) -> Iterable[str]:
        """Carry out one check: yield (or return a list of) names of the model's care actions.

        Each action lands, and its time passes, before the next is asked for, so a generator that
        calls `look()` again sees what its last action changed. An observation kept from before an
        action shows only what was read then.
        """
        ...


class PolicyError(Exception):
    """A Python policy did something a caretaker can't; the message is for its author."""
