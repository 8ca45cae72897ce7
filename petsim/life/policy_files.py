"""Classes of Python policies: found in files, and sent to other processes and files as bytes."""

from __future__ import annotations

import importlib.util
import inspect
import sys
from collections.abc import Callable, Mapping
from contextlib import redirect_stdout
from pathlib import Path
from types import ModuleType
from typing import Any, NamedTuple

import cloudpickle

from petsim.errors import PolicyError, Problem, SpecError, legible, unknown
from petsim.life.policy import Policy
from petsim.life.supervised import error_text, is_from_outside, line_in
from petsim.life.watch import page
from petsim.spec import defaults
from petsim.spec.document import is_file
from petsim.spec.library import load_regime
from petsim.spec.regime import Regime

_MODULE = "petsim_policy_"
"""How the modules begin that files of policies are run as."""
CHECK = "expected def check(self, look)"


class PolicyInFile(NamedTuple):
    """A policy class that was found in a file.

    name: `FILE:CLASS`, as people call it. make: the class. regime: the one it works with.
    source: `FILE.py:CLASS`, by which it is found again.
    """

    name: str
    make: Callable[[], Policy]
    regime: Regime
    source: str


def load_policy(source: str) -> PolicyInFile:
    """Load a policy class from a file, given as `FILE.py:CLASS`.

    `CLASS` may be left out if the file defines just one class with a `check` method. The class may
    name the regime whose checks, eyes, hands and power it works with, as its attribute `regime`.

    Raises:
        SpecError: no such file or class, or the file can't be run.
    """
    stem, _, name = source.rpartition(".py")
    path, name = Path(f"{stem}.py"), name.removeprefix(":")
    classes = _policy_classes(_run(path))
    if not name and len(classes) == 1:
        name = next(iter(classes))
    if name not in classes:
        raise _problem(path, name or "class", *_no_such_class(name, classes))
    make = classes[name]
    _refuse_other_parameters(path, name, make)
    return PolicyInFile(
        legible(f"{path.stem}:{name}"), make, _regime_of(path, name, make), f"{path}:{name}"
    )


def _policy_classes(module: ModuleType) -> dict[str, Any]:
    """The policy classes that a module defines, and does not only import, by their names."""
    return {
        name: value
        for name, value in vars(module).items()
        if isinstance(value, type)
        and value.__module__ == module.__name__
        and callable(getattr(value, "check", None))
    }


def _no_such_class(name: str, classes: Mapping[str, Any]) -> tuple[str, str]:
    """What was found and what was expected where no class, or several, may be meant."""
    if not classes:
        return "found no class with a method check", "expected one with check(self, look)"
    if not name:
        return f"found several: {', '.join(classes)}", "expected one of them, as FILE.py:CLASS"
    misfit = unknown("policy", name, classes)
    return misfit.found, str(misfit.expected)


def _refuse_other_parameters(path: Path, name: str, make: Any) -> None:
    """Refuse a class that needs arguments, or whose check takes other than one look."""
    line = _line_of_class(make)
    if any(p.default is p.empty for p in _parameters(make)):
        expected = f"expected a class that {name}() makes, once a life"
        raise _problem(path, name, "found one that can't be made without arguments", expected, line)
    if len(_parameters(make.check)) != 2:
        raise _problem(path, f"{name}.check", "found other parameters", CHECK, line)


def _parameters(callable_: Callable[..., Any]) -> list[inspect.Parameter]:
    """The parameters that must be given by position; none where Python can't tell."""
    try:
        signature = inspect.signature(callable_)
    except (TypeError, ValueError):
        return []
    positional = (inspect.Parameter.POSITIONAL_ONLY, inspect.Parameter.POSITIONAL_OR_KEYWORD)
    return [p for p in signature.parameters.values() if p.kind in positional]


def _regime_of(path: Path, name: str, make: Any) -> Regime:
    """The regime that a class names, which is looked for beside its file first."""
    line = _line_of_class(make)
    regime = getattr(make, "regime", defaults.REGIME)
    if not isinstance(regime, Regime | str | Path | Mapping):
        actual = f"found a Python object of type {type(regime).__name__}"
        expected = "expected a regime, its name, its path or its content"
        raise _problem(path, f"{name}.regime", actual, expected, line)
    if isinstance(regime, str) and is_file(path.parent / regime):
        regime = path.parent / regime
    try:
        return load_regime(regime)
    except SpecError as error:
        if isinstance(regime, str) and error.problems[0].line is None:
            [unread] = error.problems
            raise _problem(path, f"{name}.regime", unread.found, unread.expected, line) from None
        raise


def _line_of_class(make: type) -> int | None:
    try:
        return inspect.getsourcelines(make)[1]
    except (OSError, TypeError):
        return None


def _run(path: Path) -> ModuleType:
    """Run a policy's file as a module of its own."""
    spec = importlib.util.spec_from_file_location(f"{_MODULE}{path.stem}", path)
    page.load(str(path))
    if not is_file(path) or spec is None or spec.loader is None:
        raise _problem(path, "", "no such file", "expected a Python file, FILE.py:CLASS")
    module = importlib.util.module_from_spec(spec)
    sys.modules[module.__name__] = module
    expected = "expected a file that Python can run"
    try:
        # what is printed may be for a program to read, and that is petsim's alone
        with redirect_stdout(sys.stderr):
            spec.loader.exec_module(module)
    except SyntaxError as error:
        actual = f"found what is not Python: {error.msg}"
        raise _problem(path, "", actual, expected, error.lineno or 1, error.offset) from error
    except BaseException as error:
        if is_from_outside(error):
            raise
        actual = f"found what can't be run: {error_text(error)}"
        line = line_in(spec.origin or "", error)
        raise _problem(path, "", actual, expected, line) from error
    return module


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


def pickled_policy(name: str, make: Callable[[], Policy]) -> bytes:
    """What makes a Python policy, as another process or a file can have it.

    Args:
        name: what people call the policy.
        make: its class, or a function that makes one. All of its module goes with it if that is a
            file of policies, which can't be imported elsewhere.

    Raises:
        PolicyError: it uses something that can't be sent.
    """
    module = sys.modules.get(make.__module__)
    registered = module is not None and make.__module__.startswith(_MODULE)
    if registered:
        cloudpickle.register_pickle_by_value(module)
    try:
        pickled: bytes = cloudpickle.dumps(make)
    except BaseException as error:  # whatever an object that it uses raises
        if is_from_outside(error):
            raise
        raise PolicyError(
            f"{name}: can't be sent to another process or kept in a file "
            f"({error_text(error)}); expected a class that makes locks, open files and the like "
            "in its __init__"
        ) from error
    finally:
        if registered:
            cloudpickle.unregister_pickle_by_value(module)
    return pickled


def unpickled_policy(name: str, pickled: bytes) -> Callable[[], Policy]:
    """What makes a Python policy, from what `pickled_policy` returned.

    Raises:
        PolicyError: something that it uses is not there.
    """
    page.load(name)
    try:
        make: Callable[[], Policy] = cloudpickle.loads(pickled)
    except BaseException as error:  # whatever an object that it uses raises
        if is_from_outside(error):
            raise
        raise PolicyError(
            f"{name}: can't be made here ({error_text(error)}); expected the modules that it "
            "imports"
        ) from error
    return make
