"""How well a fitted chain predicts: what was seen first in each check, against what was expected.

Each such look was expected to show a mean, with a variance, by all looks before it. Over many the
sum of the differences is near normal, so sums by form, and by hours of the day, are held against
chi-square. The largest difference is named.

Source: sums of one-step prediction errors are those of a martingale difference; see Harvey (1989),
"Forecasting, structural time series models and the Kalman filter", section 5.4; from memory.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from petsim.evidence.tape import Tape
from petsim.life.log.entries import LoggedLife
from petsim.life.policy import clock_at
from petsim.spec.quantities import DAY

Matrix = NDArray[np.float64]
A_CHECK = 120.0
"""Seconds between two looks from which on they are of different checks."""
HOURS = 3
"""Hours of the day that are taken together."""
LEAST_VARIANCE = 1.0
"""The variance of a sum below which it is far from normal, and not held against anything."""


@dataclass(frozen=True)
class Part:
    """Looks of one kind.

    what: a form, or hours of the day, such as `12:00 to 15:00`. n: how many looks. seen, expected:
    their means. z: the difference of the sums in standard deviations.
    """

    what: str
    n: int
    seen: float
    expected: float
    z: float


@dataclass(frozen=True)
class Goodness:
    """How well a chain predicts.

    parts: by form, and then by hours. chi_square, freedom: the sum of the squares of z over each
    of both, and how many there are. p: the chance of sums as large or larger in the worse of both,
    doubled as there are two.
    """

    parts: tuple[Part, ...]
    chi_square: float
    freedom: int
    p: float

    @property
    def largest(self) -> Part | None:
        """The part that is farthest from what was expected."""
        return max(self.parts, key=lambda part: abs(part.z), default=None)


def goodness_of(
    lives: Sequence[LoggedLife], tapes: Sequence[Tape], predictions: Sequence[Matrix]
) -> Goodness:
    """Return how well a chain predicted the first look of each check.

    predictions: of each life what was expected at each look, as a forward pass notes it.
    """
    by_form: dict[str, list[tuple[float, ...]]] = defaultdict(list)
    by_hours: dict[str, list[tuple[float, ...]]] = defaultdict(list)
    for life, tape, rows in zip(lives, tapes, predictions, strict=True):
        for place, t, form, seen in _first_looks(tape):
            _, mean, variance, *_ = rows[place]
            row = (seen, float(mean), float(variance))
            by_form[form].append(row)
            hour = clock_at(int(t), life.begins).hour // HOURS * HOURS
            by_hours[f"{hour:02}:00 to {(hour + HOURS) % (DAY // 3600):02}:00"].append(row)
    halves = [[*_parts(by_form)], [*_parts(dict(sorted(by_hours.items())))]]
    tests = [_tested(parts) for parts in halves]
    p, chi_square, freedom = min(tests)
    return Goodness((*halves[0], *halves[1]), chi_square, freedom, min(1.0, 2.0 * p))


def _first_looks(tape: Tape) -> Iterator[tuple[int, float, str, float]]:
    """The first look of each check: its place among the looks, second, form, and what it saw."""
    last = -math.inf
    for place, (op, t, form) in enumerate(tape.looks):
        if t - last > A_CHECK:
            yield place, t, form, float(tape.seconds[op])
        last = t


def _parts(rows: dict[str, list[tuple[float, ...]]]) -> Iterator[Part]:
    for what, of_part in rows.items():
        table = np.array(of_part)
        variance = table[:, 2].sum()
        if variance < LEAST_VARIANCE:
            continue
        z = (table[:, 0] - table[:, 1]).sum() / math.sqrt(variance)
        means = table.mean(axis=0)
        yield Part(what, len(table), float(means[0]), float(means[1]), float(z))


def _tested(parts: Sequence[Part]) -> tuple[float, float, int]:
    """The chance of as large differences, their chi-square, and its degrees of freedom."""
    from scipy.special import chdtrc

    chi_square = sum(part.z**2 for part in parts)
    return (float(chdtrc(len(parts), chi_square)) if parts else 1.0), chi_square, len(parts)
