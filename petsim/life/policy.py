"""Policies: what decides, in a check, which care actions are done.

A regime's routine and a Python class are both policies. A policy never touches the pet: it calls
`look()` for an observation, reads the signals it wants, and yields the names of actions.
"""

from __future__ import annotations

import traceback
from collections.abc import Callable, Iterable, Iterator
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple, Protocol

from petsim.errors import PolicyError, near_miss
from petsim.life.kinds import PLAIN_SIGNALS
from petsim.spec.model import SIGNALS, Model
from petsim.spec.quantities import DAY, Begins, Window


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
    `seen["form"]`, `seen["weight"]` and `seen["clock"]` (a `Clock`) are read without error.
    A Python policy's observation keeps what was read: reading it again shows the same.
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


# One check of a sane policy takes a few dozen actions; this many means that it never stops.
MOST_ACTIONS = 1_000
MOST_LOOKS = 10_000

_END = object()


class KeptObservation:
    """An observation that keeps what was read of it."""

    def __init__(self, see: Callable[[str], Any]) -> None:
        self._see = see
        self._seen: dict[str, Any] = {}

    def __getitem__(self, signal: str) -> Any:
        if signal not in self._seen:
            self._seen[signal] = self._see(signal)
        return self._seen[signal]

    def __repr__(self) -> str:
        return f"Observation({self._seen})"


class Supervised:
    """A Python policy in one life: whatever it does wrong ends in a message for its author."""

    def __init__(
        self,
        make: Callable[[], Policy],
        name: str,
        model: Model,
        life: int,
        clock: Callable[[], Clock],
    ) -> None:
        self._name = name
        self._model = model
        self._signals = (*model.needs, *SIGNALS, *PLAIN_SIGNALS)
        self._life = life
        self._clock = clock
        self._file = _file_of(make)
        self._policy = self._attempt(make)

    def check(self, look: Look) -> Iterator[str]:
        """One check of the policy, each action looked at before it is passed on."""
        looks = 0

        def limited_look() -> Observation:
            nonlocal looks
            looks += 1
            if looks > MOST_LOOKS:
                raise self._error(f"looked more than {MOST_LOOKS} times in one check")
            return KeptObservation(partial(self._see, look()))

        plan = self._attempt(lambda: self._iterate(self._policy.check(limited_look)))
        actions = 0
        while (action := self._attempt(lambda: next(plan, _END))) is not _END:
            actions += 1
            if actions > MOST_ACTIONS:
                raise self._error(f"never stops: more than {MOST_ACTIONS} actions in one check")
            yield self._known(action)

    def _see(self, sight: Observation, signal: str) -> Any:
        if signal not in self._signals:
            raise self._error(
                f"read the signal {signal!r}, which there is not{_near(str(signal), self._signals)}"
                f" (signals: {', '.join(self._signals)})"
            )
        return sight[signal]

    def _iterate(self, actions: Any) -> Iterator[Any]:
        # a set of names would come in another order in another process
        if isinstance(actions, str | set | frozenset) or not isinstance(actions, Iterable):
            raise self._error(
                f"check returned {actions!r}; yield the names of actions, or return a list of them"
            )
        return iter(actions)

    def _known(self, action: Any) -> str:
        if not isinstance(action, str):
            raise self._error(f"asked for {action!r}; an action is the name of one, as text")
        if action not in self._model.care:
            raise self._error(
                f"asked for {action!r}, which {self._model.id} does not know"
                f"{_near(action, self._model.care)} (its actions: {', '.join(self._model.care)})"
            )
        return action

    def _attempt(self, act: Callable[[], Any]) -> Any:
        try:
            return act()
        except PolicyError:
            raise
        except (Exception, SystemExit) as error:
            raise self._error(f"raised {error_text(error)}{_where(error, self._file)}") from error

    def _error(self, what: str) -> PolicyError:
        return PolicyError(f"{self._name}: life {self._life}, {self._clock()}: {what}")


def _file_of(make: Callable[[], Policy]) -> str | None:
    """The file of a policy's class, even where it was sent to without its module."""
    code = getattr(getattr(make, "check", None), "__code__", None)
    return None if code is None else str(code.co_filename)


def error_text(error: BaseException) -> str:
    """An error as Python shows it last: its type, and what it says if it says anything."""
    text = str(error)
    return f"{type(error).__name__}: {text}" if text else type(error).__name__


def line_in(file: str, error: BaseException) -> int | None:
    """The line of a file at which an error was raised; None if it was raised elsewhere."""
    lines = [f.lineno for f in traceback.extract_tb(error.__traceback__) if f.filename == file]
    return lines[-1] if lines else None


def _where(error: BaseException, file: str | None) -> str:
    """Where in a policy's file an error was raised, in brackets, if it was there."""
    line = None if file is None else line_in(file, error)
    if file is None or line is None:
        return ""
    # code that was sent from another process has lost the name of its file
    return f" (line {line})" if file.startswith("<") else f" ({Path(file).name}, line {line})"


def _near(word: str, words: Iterable[str]) -> str:
    close = near_miss(word, words)
    return f"; did you mean {close!r}?" if close else ""
