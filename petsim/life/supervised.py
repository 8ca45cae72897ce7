"""Python policies under supervision: whatever one does wrong ends in a message for its author.

Nothing that comes from a policy is trusted to be what it looks like: errors and returned values
may fail when they are shown, hashed or compared.
"""

from __future__ import annotations

import signal
import traceback
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial
from pathlib import Path
from types import GeneratorType
from typing import Any

from petsim.errors import PolicyError, near_miss
from petsim.life.kinds import PLAIN_SIGNALS
from petsim.life.policy import Clock, Look, Observation, Policy
from petsim.life.watch import Overdue, page
from petsim.spec.model import SIGNALS, Model

# One check of a sane policy takes a few dozen actions; this many means that it never stops.
MOST_ACTIONS = 1_000
MOST_LOOKS = 10_000
LONGEST_SHOWN = 500
"""Characters of what a policy returned or raised that a message shows."""

_END = object()


class KeptObservation:
    """An observation that keeps what was read of it."""

    def __init__(self, see: Callable[[str], Any], signals: Sequence[str]) -> None:
        self._see = see
        self._signals = signals
        self._seen: dict[str, Any] = {}

    def __getitem__(self, signal: str) -> Any:
        if signal not in self._seen:
            self._seen[signal] = self._see(signal)
        return self._seen[signal]

    def __getattr__(self, name: str) -> Any:
        signal = name if name in self._signals else self._signals[0]
        raise AttributeError(f"there is no look().{name}; expected a signal, as in {_read(signal)}")

    def __repr__(self) -> str:
        return f"Observation({self._seen})"


class LimitedLook:
    """What a policy calls to look, as often as it may in one check."""

    def __init__(
        self, look: Callable[[], KeptObservation], too_many: Callable[[], PolicyError]
    ) -> None:
        self._look = look
        self._too_many = too_many
        self._looks = 0

    def __call__(self) -> KeptObservation:
        """Return what is seen now, or raise the error of too many looks."""
        self._looks += 1
        if self._looks > MOST_LOOKS:
            raise self._too_many()
        return self._look()

    def __getitem__(self, signal: Any) -> Any:
        raise TypeError(f"look is to be called; expected {_read(signal)}")


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
        page.begin(name, life, model.begins)
        self._policy = self._attempt(make)

    def check(self, look: Look) -> Iterator[str]:
        """One check of the policy, each action looked at before it is passed on."""

        def keeping_look() -> KeptObservation:
            return KeptObservation(partial(self._see, look()), self._signals)

        def too_many() -> PolicyError:
            return self._error(f"looked more than {MOST_LOOKS} times in one check")

        limited_look = LimitedLook(keeping_look, too_many)
        page.check(self._clock().t)
        plan = self._attempt(lambda: self._iterate(self._policy.check(limited_look)))
        actions = 0
        try:
            while (action := self._attempt(lambda: self._next(plan))) is not _END:
                actions += 1
                if actions > MOST_ACTIONS:
                    raise self._error(f"never stops: more than {MOST_ACTIONS} actions in one check")
                yield action
        finally:
            _leave(plan)

    def _see(self, sight: Observation, signal: str) -> Any:
        if signal not in self._signals:
            raise self._error(
                f"read the signal {shown(signal)}, which there is not"
                f"{_near(signal, self._signals)} (signals: {', '.join(self._signals)})"
            )
        return sight[signal]

    def _iterate(self, actions: Any) -> Iterator[Any]:
        # a set of names would come in another order in another process
        if isinstance(actions, str | set | frozenset) or not isinstance(actions, Iterable):
            raise self._error(
                f"check returned {shown(actions)}; yield the names of actions, or return a list of "
                "them"
            )
        return iter(actions)

    def _next(self, plan: Iterator[Any]) -> Any:
        """The next action, as plain text whatever its class makes of it; or the end."""
        action = next(plan, _END)
        if action is _END:
            return _END
        if not isinstance(action, str):
            raise self._error(f"asked for {shown(action)}; an action is the name of one, as text")
        name = str.__str__(action)
        if name not in self._model.care:
            raise self._error(
                f"asked for {shown(name)}, which {self._model.id} does not know"
                f"{_near(name, self._model.care)} (its actions: {', '.join(self._model.care)})"
            )
        return name

    def _attempt(self, act: Callable[[], Any]) -> Any:
        """What a policy makes of something; it may raise anything there is."""
        try:
            return act()
        except _MisdeedError:
            raise
        except BaseException as error:
            if is_from_outside(error):
                raise
            raise self._error(f"raised {error_text(error)}{_where(error, self._file)}") from error

    def _error(self, what: str) -> PolicyError:
        return _MisdeedError(f"{self._name}: life {self._life}, {self._clock()}: {what}")


class _MisdeedError(PolicyError):
    """What a policy did wrong, with the life and the time; not one that it raised itself."""

    def __reduce__(self) -> tuple[Any, ...]:
        return PolicyError, self.args


def _read(signal: object) -> str:
    """How a policy reads a signal, in Python."""
    return f'look()["{signal}"]' if isinstance(signal, str) else 'look()["a signal"]'


def _leave(plan: Iterator[Any]) -> None:
    """Close a check that is cut off; what it does then is of no life."""
    if type(plan) is not GeneratorType:
        return
    try:
        plan.close()
    except BaseException as error:
        if is_from_outside(error):
            raise


def is_from_outside(error: BaseException) -> bool:
    """Whether an error is not of the policy it came from: the end of its time, or Ctrl-C.

    Where Python raises that, one that a policy raises can't be told from it.
    """
    if isinstance(error, KeyboardInterrupt):
        return callable(signal.getsignal(signal.SIGINT))
    return isinstance(error, Overdue)


def _file_of(make: Callable[[], Policy]) -> str | None:
    """The file of a policy's class, even where it was sent to without its module."""
    code = getattr(getattr(make, "check", None), "__code__", None)
    return None if code is None else str(code.co_filename)


def shown(value: Any) -> str:
    """A value of a policy as Python shows it, if it can be shown, and if that is short."""
    return _text(repr, value) or f"an object of type {_type_name(value)} that can't be shown"


def error_text(error: BaseException) -> str:
    """An error as Python shows it last: its type, and what it says if it says anything."""
    text = _text(str, error)
    return f"{_type_name(error)}: {text}" if text else _type_name(error)


def _text(show: Callable[[Any], str], value: Any) -> str:
    """What a value says of itself, shortened; nothing if that fails."""
    try:
        text = str.__str__(show(value))
    except BaseException as error:
        if is_from_outside(error):
            raise
        return ""
    return text if len(text) <= LONGEST_SHOWN else f"{text[:LONGEST_SHOWN]}…"


def _type_name(value: object) -> str:
    """The name of a value's class, whatever the class of that class says."""
    name: str = type.__dict__["__name__"].__get__(type(value))
    return name


def line_in(file: str, error: BaseException) -> int | None:
    """The line of a file at which an error was raised; None if it was raised elsewhere."""
    # not by the attribute, which its class may have made another
    trace = BaseException.__dict__["__traceback__"].__get__(error)
    lines = [frame.lineno for frame in traceback.extract_tb(trace) if frame.filename == file]
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
