"""Lives where they matter: the least cost among candidates whose worth is sure to reach a target.

All candidates live the same lives. After some, those that surely fall short of the target drop out,
and so do those that surely cost more than another that surely reaches it; the rest live more. What
is chosen is confirmed on fresh lives, on which nothing was chosen: as the candidates that are tried
share the error out among them, one that falls short is confirmed in at most 5 % of all searches.

What a candidate is worth is its share of lives that reach the aim, or their mean worth from 0 to 1.

Source of the race, from memory: Maron and Moore (1994), "Hoeffding races: accelerating model
selection search for classification and function approximation", NIPS 6:59-66, with paired intervals
as in Nelson, Swann, Goldsman and Song (2001), "Simple procedures for selecting the best simulated
system when the number of alternatives is large", Operations Research 49:950-963.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from petsim.study.stats import Interval, mean_interval

ERROR = 0.05
"""The chance that a race drops the best, and that one which falls short is confirmed."""
FIRST = 100
"""Lives of every candidate before the first look; each look is at twice as many as the last."""
MOST_TRIED = 8
"""Candidates that are tried one after another on fresh lives."""


class Sample(NamedTuple):
    """Lives 0 to n - 1 of a candidate: what each was worth, from 0 to 1, and what it cost."""

    worths: NDArray[Any]
    costs: NDArray[Any]

    def __len__(self) -> int:
        return len(self.worths)

    @property
    def worth(self) -> float:
        """The mean of what its lives were worth."""
        return float(self.worths.mean())

    @property
    def cost(self) -> float:
        """The mean of what they cost."""
        return float(self.costs.mean())


Look = Callable[[Sequence[int], int], Sequence[Sample]]
"""Returns the first n lives of each of the candidates with these numbers: (numbers, n)."""


class Standing(Enum):
    """Where a race left a candidate: in it, or dropped, and why."""

    IN = "in the race"
    SHORT = "falls short"
    DEARER = "costs more"


class On(Enum):
    """What has to reach the target: the lower end of the interval of a worth, or its estimate."""

    BOUND = "bound"
    ESTIMATE = "estimate"

    def of(self, worth: Interval) -> float:
        """That end of an interval, or its estimate."""
        return worth.low if self is On.BOUND else worth.estimate


@dataclass(frozen=True)
class Race:
    """What came of a race: of each candidate its lives, and where it stands."""

    samples: list[Sample]
    standings: list[Standing]


class Try(NamedTuple):
    """A candidate that was tried on fresh lives: its worth there, and whether that is enough.

    level: of the interval of its worth.
    """

    candidate: int
    worth: Interval
    level: float
    holds: bool


def worth_interval(worths: NDArray[Any], error: float = ERROR) -> Interval:
    """Return the interval of a mean of values from 0 to 1; of shares it is exact.

    Of zeros and ones it is Clopper and Pearson's, each end of which is wrong in at most half of
    `error`. Values between have a smaller variance than a share has; then it is that of as many
    lives as would give a share this variance: Korn and Graubard (1998), "Confidence intervals for
    proportions with small expected number of positive counts estimated from survey data", Survey
    Methodology 24:193-201 (from memory).

    Args:
        worths: of independent lives, one or more.
        error: the chance that it misses the truth.
    """
    from scipy.special import betaincinv

    mean, n = float(worths.mean()), float(len(worths))
    variance = float(worths.var())
    if variance > 0:
        n *= mean * (1 - mean) / variance
    reached = mean * n
    low = float(betaincinv(reached, n - reached + 1, error / 2)) if mean > 0 else 0.0
    high = float(betaincinv(reached + 1, n - reached, 1 - error / 2)) if mean < 1 else 1.0
    return Interval(mean, low, high)


def difference_of_costs(one: Sample, other: Sample, error: float = ERROR) -> Interval:
    """Return by how much one costs more than the other, over the lives that both have lived."""
    lives = min(len(one), len(other))
    return mean_interval(one.costs[:lives] - other.costs[:lives], 1 - error)


def difference_of_worths(one: Sample, other: Sample) -> Interval:
    """Return by how much one is worth more than the other, over the lives that both have lived."""
    lives = min(len(one), len(other))
    return mean_interval(one.worths[:lives] - other.worths[:lives])


def looks(lives: int) -> Iterator[int]:
    """Yield how many lives there are at each look of a race, up to the most."""
    n = FIRST
    while n < lives:
        yield n
        n *= 2
    yield lives


def race(
    look: Look,
    candidates: int,
    target: float | None,
    lives: int,
    seen: Callable[[Race, int], None] = lambda race, lives: None,
) -> Race:
    """Live more and more lives of the candidates that may be the cheapest which reaches a target.

    By Bonferroni's inequality over all candidates and looks, the chance that the best is dropped is
    at most 5 %, as far as Student's intervals of the differences of costs hold.

    Args:
        look: lives the lives.
        candidates: how many there are; they are numbered from 0.
        target: the worth to reach; without one, the cheapest of all is looked for.
        lives: the most of each.
        seen: is told of the race after each look, and of the lives of the next.
    """
    steps = [*looks(lives)]
    error = ERROR / candidates / len(steps)
    race = Race([Sample(np.empty(0), np.empty(0))] * candidates, [Standing.IN] * candidates)
    for step, n in enumerate(steps):
        still = [c for c in range(candidates) if race.standings[c] is Standing.IN]
        for candidate, sample in zip(still, look(still, n), strict=True):
            race.samples[candidate] = sample
        sure = _drop(race, still, target, error)
        seen(race, steps[step + 1] if step + 1 < len(steps) else 0)
        if race.standings.count(Standing.IN) <= sure:
            break
    return race


def _drop(race: Race, still: Sequence[int], target: float | None, error: float) -> int:
    """Drop who is sure not to be chosen; return 1 if the cheapest left is sure to reach the target.

    If none is left or only that one, nothing is left to find out.
    """
    worths = {c: worth_interval(race.samples[c].worths, error) for c in still}
    reaching = [c for c in still if target is None or worths[c].low >= target]
    for candidate in still:
        if target is not None and worths[candidate].high < target:
            race.standings[candidate] = Standing.SHORT
    if not reaching:
        return 0
    cheapest = min(reaching, key=lambda c: race.samples[c].cost)
    for candidate in still:
        if race.standings[candidate] is Standing.IN and candidate != cheapest:
            more = difference_of_costs(race.samples[candidate], race.samples[cheapest], error)
            if more.low > 0:
                race.standings[candidate] = Standing.DEARER
    return 1


def in_order(samples: Sequence[Sample], target: float | None, on: On) -> list[int]:
    """Return the candidates whose lives so far reach the target, the cheapest first.

    As some have lived less than others, each is held against the one that has lived most, over the
    lives of both. Of those that cost the same, the one that is worth most comes first.
    """
    longest = max(samples, key=len)

    def cost(candidate: int) -> float:
        return difference_of_costs(samples[candidate], longest).estimate

    reaching = (
        c
        for c, sample in enumerate(samples)
        if target is None or on.of(worth_interval(sample.worths)) >= target
    )
    return sorted(reaching, key=lambda c: (cost(c), -samples[c].worth))


def confirm(
    fresh: Look, order: Sequence[int], target: float | None, on: On, lives: int
) -> Iterator[Try]:
    """Try candidates in an order on fresh lives until one holds, and yield each that is tried.

    The first takes half of the error, each further one half of what is left. As the order does not
    depend on the fresh lives, one that falls short is confirmed by its bound in at most 5 % of all
    searches, by Bonferroni's inequality; the first is held against the lower end of its plain 95 %
    interval. By its estimate there is no such promise.

    Args:
        fresh: lives lives on which nothing was chosen.
        order: of the candidates.
        target: the worth to reach; without one, the first holds.
        on: what has to reach it.
        lives: how many of each.
    """
    for place, candidate in enumerate(order[:MOST_TRIED]):
        error = ERROR / 2**place if on is On.BOUND else ERROR
        [sample] = fresh([candidate], lives)
        worth = worth_interval(sample.worths, error)
        holds = target is None or on.of(worth) >= target
        yield Try(candidate, worth, 1 - error, holds)
        if holds:
            return


def lives_for(half_width: float, share: float) -> int:
    """Return how many lives tell a share to within a half-width at 95 %, 100 or more."""
    return max(FIRST, math.ceil(1.96**2 * share * (1 - share) / half_width**2))
