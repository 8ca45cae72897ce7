"""NumPy records made from declared fields: kinds of numbers, room, and what may be put in."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray


class NumberKind(NamedTuple):
    """What the numbers of a field are: their type, and the least and the greatest one allowed."""

    dtype: type[np.generic]
    least: float
    most: float


FLAG = NumberKind(np.int64, 0, 1)
"""Whether something is so."""
COUNT = NumberKind(np.int64, 0, 2**62)
CHANGE = NumberKind(np.int64, -(2**62), 2**62)
"""A number that can be below 0."""
SECONDS = NumberKind(np.int64, 0, 2**62)
"""A length of time, or a second of life, of the day or of the week; NEVER if it does not come."""
NUMBER = NumberKind(np.int64, -1, 2**62)
"""The number that stands for a thing, in the order of its list; NONE if there is none."""
PLACE = NumberKind(np.uint32, 0, 2**32 - 1)
"""A place in a list, which is always there. It is unsigned, as each use of a signed index costs a
test of whether it counts from the end, and these are used all the time."""
BITS = NumberKind(np.int64, -(2**63), 2**63 - 1)
"""A set of steps or weekdays, a bit for each."""
REAL = NumberKind(np.float64, -np.inf, np.inf)
WORD = NumberKind(np.uint64, 0, 2**64 - 1)


class Field(NamedTuple):
    """A field of a record.

    Args:
        name: as the kernel calls it.
        kind: what its numbers are.
        meaning: what they tell, in words.
        shape: what each of its dimensions runs over, by name, or how long it is.
    """

    name: str
    kind: NumberKind
    meaning: str
    shape: tuple[str | int, ...] = ()

    def type(self, rooms: Mapping[str, int]) -> tuple[str, type[np.generic], tuple[int, ...]]:
        """Its part of a record's type, with this much room in each dimension."""
        sides = (side if isinstance(side, int) else rooms[side] for side in self.shape)
        return self.name, self.kind.dtype, tuple(sides)

    def numbers(self, value: Any) -> NDArray[Any]:
        """Return the numbers of a value that is to be put into it.

        Raises:
            ValueError: it has other dimensions, or a number that is not of the field's kind.
        """
        numbers, (dtype, least, most) = np.asarray(value), self.kind
        if numbers.ndim != len(self.shape):
            raise ValueError(f"{self.name}: {numbers.ndim} dimensions; expected {self.shape}")
        if numbers.size == 0:
            return numbers
        if dtype is not np.float64 and numbers.dtype.kind not in "biu":
            raise ValueError(f"{self.name}: {numbers.dtype}; expected whole numbers")
        # of a single number, NumPy's least and greatest take longer than Python's comparison
        low, high = (numbers.min(), numbers.max()) if self.shape else (value, value)
        if not (least <= low and high <= most):
            span = f"{low} to {high}"
            raise ValueError(f"{self.name}: {span}; expected {least} to {most}")
        return numbers


def each(shape: tuple[str | int, ...], *rows: tuple[str, NumberKind, str]) -> Iterable[Field]:
    """Declare fields of one shape by their names, kinds and meanings."""
    return (Field(*row, shape) for row in rows)


def lengths(fields: Iterable[Field], values: Mapping[str, Any]) -> dict[str, int]:
    """Return how long each named dimension has to be for the values of fields."""
    longest: dict[str, int] = {}
    for field in fields:
        if not field.shape or field.name not in values:
            continue
        shape = np.shape(values[field.name])
        for side, length in zip(field.shape, shape, strict=False):
            if isinstance(side, str):
                longest[side] = max(length, longest.get(side, 0))
    return longest


MOST_SCALE = 64
"""Times the usual room that a table may take: as it grows with the square of it, 16 times 5 MB."""


class TooLargeError(ValueError):
    """A world has more in it than there is room for."""


def rooms_for(lengths: Mapping[str, int], usual: Mapping[str, int]) -> dict[str, int]:
    """Return the room of every dimension: the usual, or more of all by the same power of 4.

    Raises:
        TooLargeError: it would take more than `MOST_SCALE` times the usual.
    """
    scale = 1
    while any(length > usual[name] * scale for name, length in lengths.items()):
        scale *= 4
    if scale > MOST_SCALE:
        raise TooLargeError
    return {name: room * scale for name, room in usual.items()}


def structured_type(fields: Iterable[Field], rooms: Mapping[str, int]) -> np.dtype[Any]:
    """Return the type of a record with these fields."""
    return np.dtype([field.type(rooms) for field in fields], align=True)


def overlaid(name: str, first: np.dtype[Any], rest: np.dtype[Any]) -> np.dtype[Any]:
    """Return the type of a record of two parts, the first of which is also an array by a name.

    Args:
        name: of the array, which lies over all fields of the first part.
        first: a type all of whose fields are 64-bit integers.
        rest: the type of the fields that follow.
    """
    parts = ((first, 0), (rest, first.itemsize))
    fields = [
        (key, field[0], start + field[1])
        for part, start in parts
        for key, field in (part.fields or {}).items()
    ]
    whole = np.dtype((np.int64, first.itemsize // 8))
    names, formats, offsets = zip((name, whole, 0), *fields, strict=True)
    return np.dtype({"names": names, "formats": formats, "offsets": offsets}, align=True)


def filled(
    fields: Iterable[Field], values: Mapping[str, Any], rooms: Mapping[str, int]
) -> NDArray[Any]:
    """Return a record array of one record with these values, and zeros where there is room left.

    Raises:
        ValueError: a field has no value, a value no field, or one does not fit the other.
    """
    declared = {field.name: field for field in fields}
    unfilled, undeclared = declared.keys() - values.keys(), values.keys() - declared.keys()
    if unfilled or undeclared:
        raise ValueError(f"fields without a value: {sorted(unfilled)}; without a declaration: "
                         f"{sorted(undeclared)}")  # fmt: skip
    record = np.zeros(1, dtype=structured_type(declared.values(), rooms))
    for name, value in values.items():
        numbers = declared[name].numbers(value)
        where: tuple[Any, ...] = (0, *map(slice, numbers.shape))
        record[name][where] = numbers
    return record.view(np.recarray)
