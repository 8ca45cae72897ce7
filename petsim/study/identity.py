"""What tells a Python policy from others: its source, and what is not written there."""

from __future__ import annotations

import inspect
import json
import tokenize
from collections.abc import Iterator
from types import CodeType, FunctionType
from typing import Any

from petsim.life.caretaker import Caretaker


def identity_of(caretaker: Caretaker) -> str:
    """What tells the policy of a caretaker from others.

    Of one from a file, the text of the file. Of a class, its source and that of the classes beside
    it that it is derived from; if it is made in a function, or its source is not known, also the
    values that it has from there.
    """
    make: Any = caretaker.make
    if caretaker.source is not None:
        with tokenize.open(caretaker.source.rpartition(":")[0]) as text:
            return text.read()
    if not isinstance(make, type):
        return _of_value(make)
    own = [each for each in make.__mro__ if each.__module__ == make.__module__]
    return "\n".join(line for each in own for line in _of_class(each))


def _of_class(each: type) -> Iterator[str]:
    source = _source(each)
    yield source or each.__name__
    if source is None or "<locals>" in each.__qualname__:
        for name, value in vars(each).items():
            if isinstance(value, FunctionType):
                if source is None:
                    yield _source(value) or str(_of_code(value.__code__))
                held = inspect.getclosurevars(value).nonlocals
                yield from (f"{name} = {_of_value(x)}" for name, x in held.items())
            elif not name.startswith("__"):
                yield f"{name} = {_of_value(value)}"


def _of_value(value: Any) -> str:
    """Plain data as it is, of a function its source, of anything else its type."""
    try:
        return json.dumps(value)
    except (TypeError, ValueError):
        return _source(value) or type(value).__name__


def _source(of: Any) -> str | None:
    try:
        return inspect.getsource(of)
    except (OSError, TypeError):
        return None


def _of_code(code: CodeType) -> list[Any]:
    """What a function does, where nobody knows how it was written."""
    return [code.co_code.hex(), code.co_names, [*map(_of_constant, code.co_consts)]]


def _of_constant(constant: Any) -> Any:
    if isinstance(constant, frozenset):
        return sorted(map(repr, constant))  # which comes in any order
    return _of_code(constant) if isinstance(constant, CodeType) else repr(constant)
