"""What a caretaker may do more or less well, each as a number that is worse the greater it is.

Of chances, it is the chance to err; of what comes again and again, how often it comes; of times,
their mean, in a law that keeps its family and shape; of several chances or times that differ, the
factor by which all of them are greater than today.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any, Literal

from petsim.spec.laws import Distribution
from petsim.spec.regime import Regime

Unit = Literal["chance", "per day", "s", "factor"]
Kind = Literal[
    "eyes",
    "bad light",
    "slips",
    "wrong presses",
    "outages",
    "length of outages",
    "forgetting",
    "lateness",
    "hearing",
    "reaction",
    "interval",
    "all",
]

FINE = 8
"""Parts of today's value below which places along a scale are even, not doublings."""
LEAST_CHANCE = 0.01
"""The same of a chance that is 0 today."""
COARSE = 64
"""Parts of the worst value below which they are, of what does not happen today but has no scale."""
HARDEST = 16.0
"""The factor to which all errors together are tried to grow, and times that have no other end."""
OUTAGE = 3600.0
"""The mean length, in seconds, of the outages of a rig that has none today."""
EXPONENTIAL = "exponential"


@dataclass(frozen=True)
class Thing:
    """One thing that may be better or worse.

    what: what people call it. path: where a regime has it. kind: what it is about. unit: of its
    values: a chance as a share, how often as times a day, a time in seconds, or a factor of today's
    values. today, best, worst: its value, and those between which its limit is sought. assumed:
    what is assumed of it that the regime does not say; empty if nothing is. half: the value at
    which it takes half of the time, of what comes and goes; None of all else.
    """

    what: str
    path: str
    kind: Kind
    unit: Unit
    today: float
    best: float
    worst: float
    assumed: str = field(default="", kw_only=True)
    half: float | None = field(default=None, kw_only=True)


@dataclass(frozen=True)
class Quantity(Thing):
    """One thing that may be better or worse, and how a regime has another value of it.

    changed: returns a regime with another value. together: whether it is one of all errors
    together.
    """

    changed: Callable[[Regime, float], Regime]
    together: bool = True

    @property
    def step(self) -> float:
        """The value below which places are evenly spaced; each doubling counts alike above it."""
        if self.today:
            return self.today / FINE
        return LEAST_CHANCE if self.unit == "chance" else self.worst / COARSE

    def at(self, regime: Regime, value: float) -> Regime:
        """Return a regime with a value of it, the very same with today's."""
        return regime if value == self.today else self.changed(regime, value)

    def place(self, value: float) -> float:
        """Return where a value stands: at doublings, above the step."""
        return math.log2(1 + value / self.step)

    def value(self, place: float) -> float:
        """Return the value that stands at a place."""
        return self.step * (2**place - 1)


def chance_of(
    what: str,
    way: Sequence[str | int],
    kind: Kind,
    today: float,
    at: Callable[[Regime, float], Regime],
) -> Quantity:
    """Return a chance to err that a regime has at the end of a way."""
    # in bad light it is the light that is to be better, and all together it comes less often
    together = kind != "bad light"
    return Quantity(what, path_of(way), kind, "chance", today, 0.0, 1.0, at, together)


def path_of(way: Iterable[str | int]) -> str:
    """Return a way as a path, as people write it."""
    parts = (f"[{step}]" if isinstance(step, int) else f".{step}" for step in way)
    return "".join(parts).removeprefix(".")


def group_of(
    what: str, path: str, kind: Kind, today: Sequence[float], at: Callable[..., Regime]
) -> Quantity:
    """A chance if all are alike, else the factor by which all are greater.

    at: returns a regime with the chances as they were times a factor, or all of one value.
    """
    if len({*today}) == 1:
        one = partial(at, alike=True)
        return Quantity(what, path, kind, "chance", today[0], 0.0, 1.0, one)
    worst = 1 / min(chance for chance in today if chance)
    return Quantity(what, path, kind, "factor", 1.0, 0.0, worst, partial(at, alike=False))


def replaced(regime: Regime, way: Sequence[str | int], leaf: object) -> Regime:
    """A regime with another value at the end of a way of attributes and places."""
    replaced: Regime = _part_with(regime, way, leaf)
    return replaced


def _part_with(part: Any, way: Sequence[str | int], leaf: object) -> Any:
    first, *rest = way
    if isinstance(first, int):
        return (*part[:first], _part_with(part[first], rest, leaf), *part[first + 1 :])
    value = _part_with(getattr(part, first), rest, leaf) if rest else leaf
    return part.model_copy(update={first: value})


def exponential(mean: float) -> Distribution:
    """Return the exponential law of a mean, in seconds."""
    return Distribution(EXPONENTIAL, (mean,))
