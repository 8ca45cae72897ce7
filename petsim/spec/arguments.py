"""Numbers that a caller gives in Python, checked."""

from __future__ import annotations

from numbers import Real
from operator import index

from petsim.errors import ArgumentError

LARGEST_COUNT = 2**63 - 1
"""What Python and NumPy can count up to."""


def is_number(value: object) -> bool:
    """Whether an argument is a real number."""
    return isinstance(value, Real)


def count_of(name: str, value: int) -> int:
    """Return the argument of a name, which says how many, as a plain int.

    Raises:
        ArgumentError: it is no whole number, below 1, or more than can be counted.
    """
    number = whole_of(name, value)
    if number < 1:
        raise ArgumentError(f"{name}: {number}; expected at least 1")
    if number > LARGEST_COUNT:
        raise ArgumentError(f"{name}: {number}; expected at most 2^63 - 1")
    return number


def whole_of(name: str, value: int) -> int:
    """Return the argument of a name as a plain int.

    Raises:
        ArgumentError: it is no whole number.
    """
    try:
        return int(index(value))
    except TypeError:
        raise ArgumentError(f"{name}: {value!r}; expected a whole number") from None
