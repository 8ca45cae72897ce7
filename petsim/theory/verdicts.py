"""What a check gives: a value expected, the one got, and how far apart they may be.

Every simulated figure may be 4.5 standard errors off, those of a mean over independent units, at a
fixed seed. A correct program breaks that bound about once in 150,000 figures.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from petsim.spec.shown import Shown

if TYPE_CHECKING:
    from petsim.theory.lab import Lab

SIGMAS = 4.5


@dataclass(frozen=True)
class Verdict:
    """One figure against its expected value.

    what: the case and the figure, as in "checks every 600 s: P(miss)". expected, got: its values in
    theory and in the product. tolerance: the greatest difference allowed; 0 for what must be equal.
    """

    what: str
    expected: float
    got: float
    tolerance: float

    @property
    def case(self) -> str:
        """The parameters that the figure is for; empty if there is only one case."""
        return self.what.rpartition(": ")[0]

    @property
    def figure(self) -> str:
        """The name of the figure."""
        return self.what.rpartition(": ")[2]

    @property
    def holds(self) -> bool:
        """Whether the figure is as near its expected value as it must be."""
        return abs(self.got - self.expected) <= self.tolerance

    def __str__(self) -> str:
        return f"{self.what}: {self.got:.7g}, expected {self.expected:.7g} ± {self.tolerance:.2g}"


@dataclass(frozen=True)
class TheoryCheck:
    """A result of theory: its name, its source, and what compares the product with it."""

    name: str
    source: str
    verdicts: Callable[[Lab], Iterator[Verdict]]


@dataclass(frozen=True)
class Outcome(Shown):
    """The verdicts of a check, in order, by the engine that lived the lives."""

    check: TheoryCheck
    verdicts: dict[str, list[Verdict]]

    @property
    def holds(self) -> bool:
        """Whether all verdicts hold."""
        return all(verdict.holds for verdicts in self.verdicts.values() for verdict in verdicts)

    def __repr__(self) -> str:
        figures = len(next(iter(self.verdicts.values())))
        count = "1 figure" if figures == 1 else f"{figures} figures"
        engines, result = ", ".join(self.verdicts), "holds" if self.holds else "FAILS"
        return f"<check of {self.check.name}, {count} on {engines}: {result}>"


def check(source: str) -> Callable[[Callable[[Lab], Iterator[Verdict]]], TheoryCheck]:
    """Make a generator of verdicts a check, named as the function is."""

    def named(verdicts: Callable[[Lab], Iterator[Verdict]]) -> TheoryCheck:
        return TheoryCheck(verdicts.__name__.replace("_", " "), source, verdicts)

    return named


def share(what: str, count: float, n: float, chance: float) -> Verdict:
    """Compare a count out of n independent trials with its chance."""
    return mean(what, count / n, chance, math.sqrt(chance * (1 - chance) / n))


def mean(what: str, got: float, expected: float, standard_error: float) -> Verdict:
    """Compare a simulated mean with its expected value."""
    return _verdict(what, expected, got, SIGMAS * standard_error)


def exact(what: str, got: float, expected: float) -> Verdict:
    """Compare a figure that leaves no room for chance with the value it must have."""
    return _verdict(what, expected, got, 0)


def digits(what: str, got: float, printed: float, half_unit: float) -> Verdict:
    """Compare a computed figure with printed digits, good to half a unit of the last."""
    return _verdict(what, printed, got, half_unit)


def _verdict(what: str, expected: float, got: float, tolerance: float) -> Verdict:
    """The verdict in plain numbers, as NumPy's are not written as JSON."""
    return Verdict(what, float(expected), float(got), float(tolerance))
