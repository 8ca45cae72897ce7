"""Numbers that a caller gives in Python, checked."""

from __future__ import annotations

from numbers import Integral, Real

from petsim.errors import ArgumentError
from petsim.spec.document import plain_whole

_LARGEST_WORD = 2**64 - 1
LARGEST_COUNT = 2**63 - 1
"""What Python and NumPy can count up to."""


def is_number(value: object) -> bool:
    """Whether an argument is a real number; True and False are none."""
    return isinstance(value, Real) and not isinstance(value, bool)


def count_of(name: str, value: int) -> int:
    """Return the argument of a name, which says how many, as a plain int.

    Raises:
        ArgumentError: it is no whole number, below 1, or above 2**63 - 1.
    """
    number = whole_of(name, value)
    if number < 1:
        raise ArgumentError(f"{name}: {plain_whole(number)}; expected at least 1")
    if number > LARGEST_COUNT:
        raise ArgumentError(f"{name}: {plain_whole(number)}; expected at most 2**63 - 1")
    return number


def whole_of(name: str, value: int) -> int:
    """Return the argument of a name as a plain int.

    Raises:
        ArgumentError: it is no whole number; True and False are none.
    """
    if not isinstance(value, Integral) or isinstance(value, bool):
        raise ArgumentError(f"{name}: {value!r}; expected a whole number")
    return int(value)


def word_of(name: str, value: int) -> int:
    """Return an argument that has 64 bits, such as a seed or the number of a life, as a plain int.

    Raises:
        ArgumentError: it is no whole number, or out of its range.
    """
    try:
        number = whole_of(name, value)
    except ArgumentError as error:
        raise ArgumentError(f"{error} from 0 to 2**64 - 1") from None
    if not 0 <= number <= _LARGEST_WORD:
        shown = plain_whole(number)
        raise ArgumentError(f"{name}: {shown}; expected a whole number from 0 to 2**64 - 1")
    return number
