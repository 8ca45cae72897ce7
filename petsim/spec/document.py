"""A file as plain data in which every scalar is text, with the line and column of everything.

`reading` makes a document of a file, of text or of Python data. It answers what is at a place and
where a fault is shown, and can be had with another value at a place.
"""

from __future__ import annotations

import math
import stat
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, field, replace
from decimal import Decimal
from pathlib import Path
from typing import Any, TypeAlias

from petsim.errors import (
    MisfitError,
    Problem,
    SpecError,
    Words,
    describe,
    quote,
    unknown,
)

Data: TypeAlias = "str | dict[str, Data] | list[Data]"
Steps: TypeAlias = tuple[str | int, ...]
"""The way to a value: keys, and indices of lists."""

MOST_PROBLEMS = 50
"""Problems of a file that are told one by one; further ones are counted."""
LONGEST_KEY = 100
"""Characters of a key that are shown as part of a way."""


@dataclass(frozen=True)
class Fault:
    """Something wrong at a place of a document.

    It is shown at the value, with `of_key` at the key, or where `position` says.
    """

    steps: Steps
    found: str
    expected: Words
    of_key: bool = False
    position: tuple[int, int] | None = None


@dataclass(frozen=True)
class Place:
    """Line and column, from 1, of a value and of the key before it (none in a list)."""

    key: tuple[int, int] | None
    value: tuple[int, int]


@dataclass(frozen=True)
class Document:
    """A file as plain data, with the place of everything in it.

    `faults` are the duplicate keys, which do not stop the rest from being read. `shipped_as` is the
    name that a file which comes with petsim is asked for by; its `file` has no folder, which
    says nothing to a person.
    """

    file: str
    data: dict[str, Data]
    places: dict[Steps, Place] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()
    shipped_as: str = ""

    @property
    def stem(self) -> str:
        """The file's name without directory and ending."""
        return Path(self.file).stem

    def at(self, *steps: str | int) -> Data | None:
        """Return the data at a place, or None if there is nothing."""
        here: Data = self.data
        for step in steps:
            if isinstance(here, dict) and isinstance(step, str):
                below = here.get(step)
            elif isinstance(here, list) and isinstance(step, int):
                below = here[step] if step < len(here) else None
            else:
                below = None
            if below is None:
                return None
            here = below
        return here

    def mapping(self, *steps: str | int) -> dict[str, Data]:
        """Return the mapping at a place, an empty one if there is something else."""
        here = self.at(*steps)
        return here if isinstance(here, dict) else {}

    def sequence(self, *steps: str | int) -> list[Data]:
        """Return the list at a place, an empty one if there is something else."""
        here = self.at(*steps)
        return here if isinstance(here, list) else []

    def text(self, *steps: str | int) -> str | None:
        """Return the text at a place, None if there is something else."""
        here = self.at(*steps)
        return here if isinstance(here, str) else None

    def written(self, steps: Steps) -> Steps:
        """Return as much of the way as the document goes along."""
        while steps and self.at(*steps) is None:
            steps = steps[:-1]
        return steps

    def with_value(self, steps: Steps, value: Data) -> Document:
        """Return the same document with another value at a place.

        Mappings that are missing on the way are made.

        Raises:
            MisfitError: the way leads through a text, or to an entry that a list does not have.
        """
        return replace(self, data=_with(self.data, steps, value))

    def problem(self, fault: Fault) -> Problem:
        """Return the fault with file, line and column."""
        line, column = self._position(fault) or (None, None)
        name, expected = field_name(fault.steps), str(fault.expected)
        return Problem(self.file, line, column, name, fault.found, expected, self.shipped_as)

    def _position(self, fault: Fault) -> tuple[int, int] | None:
        """Return where to look: what is missing is missing from the mapping around it."""
        if fault.position is not None:
            return fault.position
        written = self.written(fault.steps)
        place = self.places.get(written)
        if place is None:
            return None
        has_text = written == fault.steps and isinstance(self.at(*written), str)
        return place.value if has_text and not fault.of_key else place.key or place.value

    def refuse(self, faults: Iterable[Fault]) -> None:
        """Raise the refusal for these faults and the document's own, if there are any."""
        faults = tuple(faults)
        if faults or self.faults:
            raise self.refusal(*faults)

    def refusal(self, *faults: Fault) -> SpecError:
        """Return these faults and the document's own as an error.

        It has each once, in the order of the file, and of over `MOST_PROBLEMS` the first ones.
        """
        each = {
            (self._position(fault) or (0, 0), fault.steps, fault.found, fault.expected): fault
            for fault in (*self.faults, *faults)
        }
        in_order = [each[key] for key in sorted(each, key=lambda key: key[0])]
        shown = dict.fromkeys(map(self.problem, in_order[:MOST_PROBLEMS]))
        return SpecError([*shown], more=len(in_order[MOST_PROBLEMS:]))


def _with(here: Data | None, steps: Steps, value: Data) -> Any:
    if not steps:
        return value
    step, rest = steps[0], steps[1:]
    if isinstance(step, int):
        if not isinstance(here, list):
            raise MisfitError("expected a list", describe(here or ""))
        if step >= len(here):
            last = f"[0] to [{len(here) - 1}]" if here else "none, as the list is empty"
            raise MisfitError(f"expected {last}", f"found no [{step}]")
        return [_with(x, rest, value) if i == step else x for i, x in enumerate(here)]
    if isinstance(here, list):
        expected = "expected the place of an entry in brackets, such as [0]"
        raise MisfitError(expected, f"found {quote(step)}")
    if here is not None and not isinstance(here, dict):
        raise MisfitError(f"expected a path that ends above {quote(step)}", describe(here))
    return (here or {}) | {step: _with((here or {}).get(step), rest, value)}


def unknown_name(
    steps: Steps, kind: str, name: str, known: Collection[str], *, of_key: bool = False
) -> Iterator[Fault]:
    """Yield the fault of a name that is not among the known ones."""
    if name not in known:
        misfit = unknown(kind, name, known)
        yield Fault(steps, misfit.found, misfit.expected, of_key=of_key)


def unknown_keys(
    document: Document, steps: Steps, kind: str, known: Collection[str]
) -> Iterator[Fault]:
    """Yield the faults of the keys of a mapping that are not among the known ones."""
    for key in document.mapping(*steps):
        yield from unknown_name((*steps, key), kind, key, known, of_key=True)


def is_file(path: str | Path) -> bool:
    """Whether there is such a file; under a name that no file can have there is none."""
    try:
        return Path(path).is_file()
    except OSError:
        return False


def other_than_file(path: str | Path) -> str | None:
    """Return what is at a path in place of a file: opening it might wait for ever, or never end."""
    try:
        mode = Path(path).stat().st_mode
    except (OSError, ValueError):
        return None
    return next((name for is_it, name in _OTHERS if is_it(mode)), None)


_OTHERS = (
    (stat.S_ISDIR, "a directory"),
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISSOCK, "a socket"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
)


def field_name(steps: Steps) -> str:
    """Write a way as users see it: `stages.infant.drops.hunger`, `routine[3].repeat`."""
    name = "".join(f"[{step}]" if isinstance(step, int) else f".{_legible(step)}" for step in steps)
    return name.removeprefix(".")


def _legible(key: str) -> str:
    """Return a key as it is if it can be read, otherwise as a quote."""
    return key if key.isprintable() and len(key) <= LONGEST_KEY else quote(key)


def plain_whole(value: int) -> str:
    """Write a whole number, or that it is too long for it."""
    return str(value) if abs(value) < 10**100 else "a number of over 100 digits"


def plain_number(value: float) -> str:
    """Write a float so that it reads back the same, without an exponent."""
    if not math.isfinite(value):
        return str(value)
    text = format(Decimal(repr(float(value))), "f")
    return text.removesuffix(".0")
