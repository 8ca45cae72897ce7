"""Clock times, windows and weekdays as people write them, such as `22:30 to 07:00 on Mon-Fri`.

Each is read from text by a function that raises MisfitError, and is written back by `str` or by a
function here, so that reading it again gives the same.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from petsim.errors import MisfitError, unknown
from petsim.spec.quantities import CLOCK, DAY

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_DAY_OF_WORD = {
    word: day
    for day, name in enumerate(WEEKDAYS)
    for word in (name, name[:3], name.lower(), name[:3].lower())
}
A_CLOCK = "expected a clock time, such as 09:00"
A_WINDOW = "expected a clock window, such as 22:30 to 07:00"
A_CLOCK_TIME = "expected a clock time, such as 07:15 or 12:30 on weekdays"


def clock(text: str, latest: int = DAY - 1) -> int:
    """Return the second of day of `09:00`, `9:30` or `22:30:15`."""
    match = CLOCK.fullmatch(text)
    if match is None:
        raise MisfitError(A_CLOCK)
    hours, minutes, rest = (int(part or 0) for part in match.groups())
    second = hours * 3600 + minutes * 60 + rest
    if minutes > 59 or rest > 59 or second > latest:
        raise MisfitError(f"expected a clock time from 00:00 to {clock_text(latest)}")
    return second


def clock_text(second: int) -> str:
    """Write a second of day."""
    hours, rest = divmod(second, 3600)
    text = f"{hours:02}:{rest // 60:02}"
    return f"{text}:{rest % 60:02}" if rest % 60 else text


@dataclass(frozen=True)
class Window:
    """A clock window `[start, end)` in seconds of day, past midnight if start is above end.

    `weekdays` (Monday 0) are those on which it opens; None is every day.
    """

    start: int
    end: int
    weekdays: frozenset[int] | None = None

    def holds(self, clock: int, weekday: int) -> bool:
        """Say whether a second of a weekday lies in it."""
        if self.start < self.end:
            within, opened = self.start <= clock < self.end, weekday
        else:
            within = clock >= self.start or clock < self.end
            opened = weekday if clock >= self.start else (weekday - 1) % 7
        return within and (self.weekdays is None or opened in self.weekdays)

    def __str__(self) -> str:
        text = f"{clock_text(self.start)} to {clock_text(self.end)}"
        return text if self.weekdays is None else f"{text} on {_weekdays_text(self.weekdays)}"


def window(text: str) -> Window:
    """Return the clock window of `22:30 to 07:00` or `07:00 to 08:30 on Mon-Fri`."""
    match = re.fullmatch(r"(\S+) to (\S+)(?: on (.+))?", text)
    if match is None:
        raise MisfitError(A_WINDOW)
    start, end = clock(match[1]), clock(match[2], latest=DAY)
    if start == end:
        raise MisfitError("expected an end other than the beginning; all day is 00:00 to 24:00")
    return Window(start, end, _weekdays(match[3]) if match[3] else None)


@dataclass(frozen=True)
class ClockTime:
    """A clock time, in seconds of day; `weekdays` (Monday 0) are those it is of, None every day."""

    second: int
    weekdays: frozenset[int] | None = None

    def is_at(self, clock: int, weekday: int) -> bool:
        """Say whether it is that time at a second of a weekday."""
        return clock == self.second and (self.weekdays is None or weekday in self.weekdays)

    def seconds_of_week(self) -> list[int]:
        """Return the seconds of a week, from Monday 0:00, at which it is that time."""
        days = range(7) if self.weekdays is None else sorted(self.weekdays)
        return [day * DAY + self.second for day in days]

    def __str__(self) -> str:
        text = clock_text(self.second)
        return text if self.weekdays is None else f"{text} on {_weekdays_text(self.weekdays)}"


def clock_time(text: str) -> ClockTime:
    """Return the clock time of `07:15` or `12:30 on weekdays`."""
    match = re.fullmatch(r"(\S+)(?: on (.+))?", text)
    if match is None:
        raise MisfitError(A_CLOCK_TIME)
    return ClockTime(clock(match[1]), _weekdays(match[2]) if match[2] else None)


def sleep_window(text: str) -> Window:
    """Return a clock window that names no weekdays."""
    daily = window(text)
    if daily.weekdays is not None:
        raise MisfitError("expected a window without weekdays, as sleep is the same every day")
    return daily


def _weekdays(text: str) -> frozenset[int]:
    days: set[int] = set()
    for word in text.split(" "):
        first, dash, last = word.partition("-")
        if word in ("weekdays", "weekends"):
            days |= set(range(5)) if word == "weekdays" else {5, 6}
        elif dash:
            start = _weekday(first)
            days |= {(start + after) % 7 for after in range((_weekday(last) - start) % 7 + 1)}
        else:
            days.add(_weekday(word))
    return frozenset(days)


def _weekday(word: str) -> int:
    if word not in _DAY_OF_WORD:
        raise unknown(
            "weekday", word, (*WEEKDAYS, *(name[:3] for name in WEEKDAYS), "weekdays", "weekends")
        )
    return _DAY_OF_WORD[word]


def _weekdays_text(days: frozenset[int]) -> str:
    named = {frozenset(range(5)): "weekdays", frozenset((5, 6)): "weekends"}
    return named.get(days) or " ".join(WEEKDAYS[day][:3] for day in sorted(days))


@dataclass(frozen=True)
class Begins:
    """The weekday (Monday 0) and second of day at which a life begins."""

    weekday: int = 0
    clock: int = 9 * 3600

    def __str__(self) -> str:
        return f"{WEEKDAYS[self.weekday]} {clock_text(self.clock)}"


def begins(text: str) -> Begins:
    """Return the beginning of `09:00` (on a Monday) or `Friday 18:30`."""
    day, space, time = text.rpartition(" ")
    return Begins(_weekday(day) if space else 0, clock(time))
