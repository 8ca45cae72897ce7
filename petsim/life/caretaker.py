"""Who looks after the pet: a regime with its routine, or with a Python policy in its place."""

from __future__ import annotations

import importlib.util
import inspect
import sys
import traceback
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from types import ModuleType
from typing import Any, Self

import cloudpickle

from petsim.errors import PolicyError, Problem, SpecError, near_miss, unknown
from petsim.life.kinds import PLAIN_SIGNALS
from petsim.life.policy import Clock, Look, Observation, Policy
from petsim.life.routine import Routine
from petsim.spec import defaults
from petsim.spec.document import is_file
from petsim.spec.library import load_regime
from petsim.spec.model import SIGNALS, Model
from petsim.spec.regime import Regime

CHECK = "expected def check(self, look)"

# One check of a sane policy takes a few dozen actions; this many means that it never stops.
MOST_ACTIONS = 1_000
MOST_LOOKS = 10_000

RegimeSource = Regime | str | Path | Mapping[str, Any]


@dataclass(frozen=True)
class Caretaker:
    """A regime and the mind that acts in its checks.

    name: as the user gave it. regime: when checks come, eyes, hands, power; and the routine, used
    if there is no Python policy. make: makes the Python policy of one life. source: the
    `FILE.py:CLASS` it came from, if from a file.
    """

    name: str
    regime: Regime
    make: Callable[[], Policy] | None = None
    source: str | None = None

    @property
    def asked_by(self) -> str | None:
        """What it can be asked for by: a name, a path or `FILE.py:CLASS`; None if it can't be."""
        return self.regime.asked_by if self.make is None else self.source

    def policy(self, model: Model, life: int, clock: Callable[[], Clock]) -> Policy:
        """The mind for one life of a model; `clock` tells the time when something is amiss."""
        if self.make is None:
            return Routine(self.regime.routine, self.regime.passes)
        return Supervised(self.make, self.name, model, life, clock)

    def __deepcopy__(self, memo: dict[int, Any]) -> Self:
        # nothing of it changes; made anew, its policy would be of another class
        return self

    def __reduce__(self) -> tuple[Any, ...]:
        # from its file, messages can say where in it something is wrong
        if self.source is not None:
            return load_policy, (self.source,)
        return _unpickled, (self.name, self.regime, self.pickled())

    def pickled(self) -> bytes | None:
        """What makes the Python policy, as another process or a file can have it.

        A class that can't be found by its name there, of a notebook, a function or a file of
        policies, is part of it.

        Raises:
            PolicyError: it uses something that can't be sent.
        """
        if self.make is None:
            return None
        module = sys.modules.get(self.make.__module__)
        from_file = self.source is not None and module is not None
        if from_file:
            cloudpickle.register_pickle_by_value(module)
        try:
            pickled: bytes = cloudpickle.dumps(self.make)
        except Exception as error:  # whatever an object that it uses raises
            raise PolicyError(
                f"{self.name}: can't be sent to another process or kept in a file "
                f"({_said(error)}); expected a class that makes locks, open files and the like "
                "in its __init__"
            ) from error
        finally:
            if from_file:
                cloudpickle.unregister_pickle_by_value(module)
        return pickled


def _unpickled(name: str, regime: Regime, policy: bytes | None) -> Caretaker:
    return Caretaker(name, regime, unpickled_policy(name, policy))


def unpickled_policy(name: str, policy: bytes | None) -> Callable[[], Policy] | None:
    """What makes the policy of a caretaker, from what `Caretaker.pickled` returned.

    Raises:
        PolicyError: something that it uses is not there.
    """
    if policy is None:
        return None
    try:
        make: Callable[[], Policy] = cloudpickle.loads(policy)
    except Exception as error:  # whatever an object that it uses raises
        raise PolicyError(
            f"{name}: can't be made here ({_said(error)}); expected the modules that it imports"
        ) from error
    return make


def load_caretaker(
    source: Caretaker | RegimeSource | type[Policy], model: Model | None
) -> Caretaker:
    """The caretaker that a regime, its name or path, a policy class or `FILE.py:CLASS` stands for.

    Raises:
        SpecError: it can't be read, or doesn't go with the model, if there is one.
        PolicyError: it is an instance of a policy class, which could be of one life only, or
            another object.
    """
    if isinstance(source, Caretaker):
        caretaker = source
    elif isinstance(source, type):
        if not callable(getattr(source, "check", None)):
            raise PolicyError(f"{source.__name__}: found no check; {CHECK}")
        regime = load_regime(getattr(source, "regime", defaults.REGIME))
        caretaker = Caretaker(source.__name__, regime, source)
    elif isinstance(source, str) and names_a_policy(source):
        caretaker = load_policy(source)
    elif callable(getattr(source, "check", None)):
        name = type(source).__name__
        raise PolicyError(
            f"{name}: found an instance of the class; expected the class itself, {name} and not "
            f"{name}(...), as each life makes its own"
        )
    elif callable(source):
        raise PolicyError(
            f"{source!r}: found a Python object of type {type(source).__name__}; expected a "
            "regime, its name, its path or its content, or the class of a policy"
        )
    else:
        regime = load_regime(source, model)
        caretaker = Caretaker(regime.id, regime)
    load_regime(caretaker.regime, model)
    return caretaker


def names_a_policy(source: str) -> bool:
    """Whether a name is that of a Python policy, `FILE.py:CLASS`, not of a regime."""
    return source.endswith(".py") or ".py:" in source


def load_policy(source: str) -> Caretaker:
    """The caretaker of a policy class in a file, given as `FILE.py:CLASS`.

    `CLASS` may be left out if the file defines just one class with a `check` method. The class may
    name the regime whose checks, eyes, hands and power it works with, as its attribute `regime`.

    Raises:
        SpecError: no such file or class, or the file can't be run.
    """
    stem, _, name = source.rpartition(".py")
    path, name = Path(f"{stem}.py"), name.removeprefix(":")
    module = _run(path)
    found: dict[str, Any] = {
        key: value
        for key, value in vars(module).items()
        if isinstance(value, type)
        and value.__module__ == module.__name__
        and callable(getattr(value, "check", None))
    }
    if not name and len(found) == 1:
        name = next(iter(found))
    if name not in found:
        raise _problem(path, name or "class", *_no_such_class(name, found))
    make = found[name]
    line = _line_of_class(make)
    if any(p.default is p.empty for p in _parameters(make)):
        expected = f"expected a class that {name}() makes, once a life"
        raise _problem(path, name, "found one that can't be made without arguments", expected, line)
    if len(_parameters(make.check)) != 2:
        raise _problem(path, f"{name}.check", "found other parameters", CHECK, line)
    regime = getattr(make, "regime", defaults.REGIME)
    if not isinstance(regime, Regime | str | Path | Mapping):
        found_regime = f"found a Python object of type {type(regime).__name__}"
        expected = "expected a regime, its name, its path or its content"
        raise _problem(path, f"{name}.regime", found_regime, expected, line)
    if isinstance(regime, str) and is_file(path.parent / regime):
        regime = path.parent / regime
    try:
        loaded = load_regime(regime)
    except SpecError as error:
        if isinstance(regime, str) and error.problems[0].line is None:
            [unread] = error.problems
            raise _problem(path, f"{name}.regime", unread.found, unread.expected, line) from None
        raise
    return Caretaker(f"{path.stem}:{name}", loaded, make, f"{path}:{name}")


def _parameters(callable_: Callable[..., Any]) -> list[inspect.Parameter]:
    """The parameters that must be given by position; none where Python can't tell."""
    try:
        signature = inspect.signature(callable_)
    except (TypeError, ValueError):
        return []
    positional = (inspect.Parameter.POSITIONAL_ONLY, inspect.Parameter.POSITIONAL_OR_KEYWORD)
    return [p for p in signature.parameters.values() if p.kind in positional]


def _file_of(make: Callable[[], Policy]) -> str | None:
    """The file of a policy's class, even where it was sent to without its module."""
    code = getattr(getattr(make, "check", None), "__code__", None)
    return None if code is None else str(code.co_filename)


def _line_of_class(make: type) -> int | None:
    try:
        return inspect.getsourcelines(make)[1]
    except (OSError, TypeError):
        return None


def _run(path: Path) -> ModuleType:
    """Run a policy's file as a module of its own."""
    spec = importlib.util.spec_from_file_location(f"petsim_policy_{path.stem}", path)
    if not is_file(path) or spec is None or spec.loader is None:
        raise _problem(path, "", "no such file", "expected a Python file, FILE.py:CLASS")
    module = importlib.util.module_from_spec(spec)
    sys.modules[module.__name__] = module
    expected = "expected a file that Python can run"
    try:
        spec.loader.exec_module(module)
    except SyntaxError as error:
        found = f"found what is not Python: {error.msg}"
        raise _problem(path, "", found, expected, error.lineno, error.offset) from error
    except (Exception, SystemExit) as error:
        found = f"found what can't be run: {_said(error)}"
        line = _line(error, spec.origin or "")
        raise _problem(path, "", found, expected, line) from error
    return module


def _no_such_class(name: str, found: Mapping[str, Any]) -> tuple[str, str]:
    if not found:
        return "found no class with a method check", "expected one with check(self, look)"
    if not name:
        return f"found several: {', '.join(found)}", "expected one of them, as FILE.py:CLASS"
    misfit = unknown("policy", name, found)
    return misfit.found, misfit.expected


def _problem(
    file: Path,
    field: str,
    found: str,
    expected: str,
    line: int | None = None,
    column: int | None = None,
) -> SpecError:
    column = column or (1 if line else None)
    return SpecError((Problem(str(file), line, column, field, found, expected),))


def _near(word: str, words: Iterable[str]) -> str:
    close = near_miss(word, words)
    return f"; did you mean {close!r}?" if close else ""


def _said(error: BaseException) -> str:
    text = str(error)
    return f"{type(error).__name__}: {text}" if text else type(error).__name__


def _line(error: BaseException, file: str) -> int | None:
    """The line of a file at which an error was raised."""
    lines = [f.lineno for f in traceback.extract_tb(error.__traceback__) if f.filename == file]
    return lines[-1] if lines else None


def _where(error: BaseException, file: str | None) -> str:
    """Where in a policy's file an error was raised, in brackets, if it was there."""
    line = None if file is None else _line(error, file)
    if file is None or line is None:
        return ""
    # code that was sent from another process has lost the name of its file
    return f" (line {line})" if file.startswith("<") else f" ({Path(file).name}, line {line})"


_END = object()


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
            raise self._error(f"raised {_said(error)}{_where(error, self._file)}") from error

    def _error(self, what: str) -> PolicyError:
        return PolicyError(f"{self._name}: life {self._life}, {self._clock()}: {what}")


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
