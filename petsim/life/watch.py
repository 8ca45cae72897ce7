"""Where a Python policy is in its life, for whoever watches that it comes back.

A policy is code of the user's, which may never return. So whoever lives a life notes on a page of
memory whose check begins when; the page can be shared with another process, which can then say
where a policy was, also when it holds the interpreter, or has ended its process.
"""

from __future__ import annotations

import signal
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from mmap import mmap
from threading import current_thread, main_thread
from time import monotonic
from types import FrameType

from petsim.errors import ArgumentError, PolicyError
from petsim.life.policy import clock_at
from petsim.spec.arguments import is_number
from petsim.spec.clocks import Begins

LENGTH = 4096
"""Bytes of a page."""
LOOK = 0.5
"""Seconds between two looks at a page."""
LONGEST = 1_000_000.0
"""Most seconds that a check may be given."""

# When a check began, on the clock that all processes share, or 0 if there is none; its second.
# Native, so that a number is written at once, and nobody reads a half of it.
_CHECK = struct.Struct("@dq")
_BEGAN = struct.Struct("@d")
_LIFE = struct.Struct("=?Qqq")  # whether in one; its number; the clock and weekday it began at
_NAME = struct.Struct("=H")
_LIFE_AT = _CHECK.size
_NAME_AT = _LIFE_AT + _LIFE.size
_TEXT_AT = _NAME_AT + _NAME.size


class Page:
    """What is noted of the policy at work in a process: its name, its life, and its last check.

    Args:
        memory: where it is noted, `LENGTH` bytes.
    """

    def __init__(self, memory: bytearray | mmap) -> None:
        self._memory = memory
        self.is_shared = False

    def clear(self) -> None:
        """Note that no policy is at work."""
        self._memory[:_TEXT_AT] = bytes(_TEXT_AT)

    def load(self, name: str) -> None:
        """Note that the policy of a name is being loaded."""
        self.clear()
        text = name.encode(errors="replace")[: LENGTH - _TEXT_AT]
        self._memory[_TEXT_AT : _TEXT_AT + len(text)] = text
        self.check(0)
        _NAME.pack_into(self._memory, _NAME_AT, len(text))

    def begin(self, name: str, life: int, begins: Begins) -> None:
        """Note that a life begins, whose first second has that clock and weekday."""
        self.load(name)
        _LIFE.pack_into(self._memory, _LIFE_AT, True, life, begins.clock, begins.weekday)

    def check(self, t: int) -> None:
        """Note that a check begins, in second t of the life."""
        _CHECK.pack_into(self._memory, 0, monotonic(), t)

    def excuse(self, seconds: float) -> None:
        """Have some seconds not count for the check, if there is one, as all was held up."""
        (began,) = _BEGAN.unpack_from(self._memory, 0)
        if began:
            _BEGAN.pack_into(self._memory, 0, began + seconds)

    @property
    def is_empty(self) -> bool:
        """Whether no policy is at work."""
        return self._name_length == 0

    def left(self, limit: float) -> float:
        """The seconds left of what a check may take; all of them if no policy is at work."""
        since, _ = _CHECK.unpack_from(self._memory, 0)
        return float(since + limit - monotonic()) if since else limit

    def place(self) -> str:
        """The policy in words, with the life and the time of its last check if it is in a life."""
        name = bytes(self._memory[_TEXT_AT : _TEXT_AT + self._name_length]).decode(errors="replace")
        is_in_life, life, clock, weekday = _LIFE.unpack_from(self._memory, _LIFE_AT)
        if not is_in_life:
            return name
        _, t = _CHECK.unpack_from(self._memory, 0)
        return f"{name}: life {life}, {clock_at(t, Begins(clock=clock, weekday=weekday))}"

    @property
    def _name_length(self) -> int:
        length: int
        (length,) = _NAME.unpack_from(self._memory, _NAME_AT)
        return length

    def overdue(self, limit: float) -> PolicyError:
        """The error of a policy that did not come back in time."""
        return PolicyError(
            f"{self.place()}: did not come back within {limit:g} s; expected a check that ends, "
            "or a longer check limit"
        )

    def share(self, memory: mmap) -> None:
        """Note from now on in memory that another process sees, and watches."""
        self._memory, self.is_shared = memory, True


page = Page(bytearray(LENGTH))
"""The page of this process."""


class Overdue(BaseException):
    """Ends a policy that did not come back in time; no `except Exception` of it is in the way."""


@contextmanager
def limited(limit: float) -> Iterator[None]:
    """Watch over policies that live in this process.

    It ends a policy in Python code, and in what a signal wakes. It can't end compiled code that
    never comes back to the interpreter, nor any in a thread other than the main one, in a system
    without alarms, or where other code uses the alarm: there the policy goes on for ever.

    Args:
        limit: the seconds that a check may take.

    Raises:
        PolicyError: a policy did not come back in time.
    """
    if page.is_shared or not _has_alarm():
        yield
        return

    is_over = False

    def look(number: int, frame: FrameType | None) -> None:
        # Python answers an alarm a little after it came, and this was over by then
        if is_over:
            return
        # seldom, as an alarm also wakes compiled code that sleeps
        left = page.left(limit)
        signal.setitimer(signal.ITIMER_REAL, max(left, min(LOOK, limit)))
        if left < 0:
            raise Overdue

    page.clear()
    try:
        signal.signal(signal.SIGALRM, look)
        signal.setitimer(signal.ITIMER_REAL, limit)
        yield
    except Overdue:
        raise page.overdue(limit) from None
    finally:
        is_over = True
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, signal.SIG_DFL)
        page.clear()


def _has_alarm() -> bool:
    return (
        hasattr(signal, "setitimer")
        and current_thread() is main_thread()
        and signal.getsignal(signal.SIGALRM) is signal.SIG_DFL
    )


def limit_of(seconds: float) -> float:
    """The argument check_limit as a number.

    Raises:
        ArgumentError: it is no number of seconds above 0.
    """
    if not is_number(seconds) or not 0 < seconds <= LONGEST:
        raise ArgumentError(
            f"check_limit: {seconds!r}; expected seconds above 0, up to {LONGEST:g}"
        )
    return float(seconds)
