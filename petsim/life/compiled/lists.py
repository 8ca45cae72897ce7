"""Lists that entries of the table refer to by place, and how lists of entries become fields."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from petsim.life.compiled.constants import LEAST, MOST, NEVER, NONE
from petsim.spec.clocks import Window
from petsim.spec.laws import Distribution
from petsim.spec.quantities import Bound


@dataclass
class Lists:
    """The laws, each with its least result and its place, and the clock windows of the files."""

    laws: dict[tuple[Distribution, int], int] = field(default_factory=dict)
    windows: list[Window] = field(default_factory=list)

    def law(self, law: Distribution | None, least: int = 1) -> int:
        """Return the place of a law, NONE for none; the same law has one place.

        Args:
            least: the least that it may give, in seconds: 1 of a duration.
        """
        if law is None:
            return int(NONE)
        return self.laws.setdefault((law, least), len(self.laws))

    def add(self, windows: Iterable[Window]) -> int:
        """Add windows; return the place of the first."""
        first = len(self.windows)
        self.windows += windows
        return first


def by_field(entries: Sequence[dict[str, Any]]) -> dict[str, list[Any]]:
    """Return the fields of entries that all have the same ones, one at least."""
    return {name: [entry[name] for entry in entries] for name in entries[0]}


def named(names: Sequence[str], entries: Sequence[Sequence[Any]]) -> dict[str, list[Any]]:
    """Return the fields of entries that are rows of numbers, under these names."""
    return {name: [entry[place] for entry in entries] for place, name in enumerate(names)}


def or_never(seconds: int | None) -> int:
    """Return NEVER for none."""
    return int(NEVER) if seconds is None else seconds


def bounds(comparison: Bound) -> tuple[int, int]:
    """Return the least and the greatest number that satisfy a comparison."""
    number = comparison.number
    return {
        "at least": (number, int(MOST)),
        "at most": (int(LEAST), number),
        "below": (int(LEAST), number - 1),
        "above": (number + 1, int(MOST)),
        "exactly": (number, number),
    }[comparison.op]
