"""What a check gives: a value expected, the one got, and how far apart they may be.

The bound of every simulated figure: 4.5 standard errors, those of so many independent units, at a
fixed seed. A correct program breaks it about once in 150,000 figures.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from petsim.theory.lab import Lab

SIGMAS = 4.5


@dataclass(frozen=True)
class Verdict:
    """One figure against its expected value.

    what: the case and the figure, as in "checks every 600 s: P(miss)". tolerance: the greatest
    difference allowed; 0 for what must be equal.
    """

    what: str
    expected: float
    got: float
    tolerance: float

    @property
    def case(self) -> str:
        """The parameters it is for; none if there is but one case."""
        return self.what.rpartition(": ")[0]

    @property
    def figure(self) -> str:
        """What it is."""
        return self.what.rpartition(": ")[2]

    @property
    def holds(self) -> bool:
        """Whether the figure is as near its expected value as it must be."""
        return abs(self.got - self.expected) <= self.tolerance

    def __str__(self) -> str:
        return f"{self.what}: {self.got:.7g}, expected {self.expected:.7g} ± {self.tolerance:.2g}"


@dataclass(frozen=True)
class TheoryCheck:
    """A result of theory: its name, where it is from, and what holds the product against it."""

    name: str
    source: str
    verdicts: Callable[[Lab], Iterator[Verdict]]


def check(source: str) -> Callable[[Callable[[Lab], Iterator[Verdict]]], TheoryCheck]:
    """Make a generator of verdicts a check, named as the function is."""

    def made(verdicts: Callable[[Lab], Iterator[Verdict]]) -> TheoryCheck:
        return TheoryCheck(verdicts.__name__.replace("_", " "), source, verdicts)

    return made


def share(what: str, count: float, n: float, chance: float) -> Verdict:
    """A count out of n independent trials against its chance."""
    return mean(what, count / n, chance, math.sqrt(chance * (1 - chance) / n))


def mean(what: str, got: float, expected: float, standard_error: float) -> Verdict:
    """A simulated mean against its expected value."""
    return Verdict(what, float(expected), float(got), SIGMAS * float(standard_error))


def exact(what: str, got: float, expected: float) -> Verdict:
    """A figure that leaves chance no room."""
    return Verdict(what, float(expected), float(got), 0.0)


def digits(what: str, got: float, printed: float, half_unit: float) -> Verdict:
    """A computed figure against printed digits, half a unit of the last of which may be lost."""
    return Verdict(what, printed, float(got), half_unit)
