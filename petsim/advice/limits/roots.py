"""Where odds fall below a level, if each of them has to be simulated: noisy root finding.

The same lives are lived at every place. With the lives held fixed the share of them that get there
is no longer random but a curve along the places, and where it crosses the level is found by
stepping and halving: with few lives at first, then with more near the crossing, until that is known
well enough. That is retrospective approximation: Chen and Schmeiser (2001), "Stochastic root
finding via retrospective approximation", IIE Transactions 33:259-275. Steps that follow one noisy
answer each, as Robbins and Monro (1951) take them, would need no more lives at a place than one,
but would not tell how surely the crossing is known. Both from memory.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from petsim.study.stats import Interval

Curve = Callable[[float, int], Interval]
"""The odds at a place, by a number of lives, with their 95 % interval."""
FIRST = 500
"""Lives at a place of the first, coarse look."""
STEP_UP = 4
"""How many times as many lives are taken at most at the next look."""
STEP = 1.0
"""How far apart the places are that are looked at first."""
NO_GAP = 1.0
"""Gaps as a share of half the interval, between which straight lines are near enough."""


class Fall(NamedTuple):
    """Where odds fall below a level: the place, and its 95 % interval.

    Each is minus infinity if the odds are below the level even at the first place, infinity if they
    are not below it even at the last.
    """

    at: float
    low: float
    high: float

    @property
    def is_outside(self) -> bool:
        """Whether it is beyond one end of the places, as surely as intervals say."""
        return self.low == self.high and math.isinf(self.low)


def fall(
    curve: Curve,
    level: float,
    first: float,
    today: float,
    last: float,
    *,
    precision: float,
    most: int,
) -> Fall:
    """Find where odds fall below a level, going along the places from today's.

    From today's place it goes on until the odds are surely below the level, and back until they
    surely are not; what they do beyond, where they may rise again, plays no part. The interval
    inverts those of the odds: it has all places whose interval holds the level, and so holds the
    crossing as often as they hold the odds there. Between places seen, odds and the ends of their
    intervals are taken to be on straight lines, and none of them to rise: what luck makes rise is
    evened out.

    Source: inversion of intervals, as for a dose that half of the animals survive: Finney (1971),
    "Probit Analysis", chapter 4; evening out by pooling neighbours: Ayer, Brunk, Ewing, Reid and
    Silverman (1955), "An empirical distribution function for sampling with incomplete information",
    Annals of Mathematical Statistics 26:641-647; both from memory.

    Args:
        curve: of the odds.
        level: a share.
        first, today, last: places, none of them below the one before.
        precision: half the width of the interval at which it is narrow enough, above 0.
        most: lives at a place at most, however wide the interval still is.
    """
    lives = min(FIRST, most)
    seen = _walked(curve, level, first, today, last, lives)
    known = {*seen}
    while True:
        found = crossing(seen, level)
        place = _next_outside(known, seen, found)
        if place is None:
            place = _next_between(seen, found, precision)
        if place is not None:
            known.add(place)
            seen[place] = curve(place, lives)
        elif found.is_outside or lives == most or (half := _half(found, known)) <= precision:
            return found
        else:
            lives = _more(lives, half / precision, most)
            seen = {place: curve(place, lives) for place in _around(seen, found)}


def _walked(
    curve: Curve, level: float, first: float, today: float, last: float, lives: int
) -> dict[float, Interval]:
    """The odds at places from where they surely are not below a level to where they surely are."""
    seen = {today: curve(today, lives)}
    place = today
    while place < last and seen[place].high >= level:
        place = min(last, place + STEP)
        seen[place] = curve(place, lives)
    place = today
    while place > first and seen[place].low < level:
        place = max(first, place - STEP)
        seen[place] = curve(place, lives)
    return seen


def crossing(seen: Mapping[float, Interval], level: float) -> Fall:
    """Return where odds seen at some places fall below a level, by straight lines between them."""
    places = sorted(seen)
    estimates, lows, highs = (
        falling(values) for values in np.array([seen[place] for place in places]).T[:3]
    )
    return Fall(*(_below(places, values, level) for values in (estimates, lows, highs)))


def falling(values: Sequence[float] | NDArray[np.float64]) -> list[float]:
    """Return the values nearest to some by least squares that never rise.

    Neighbours that rise are pooled until none does.
    """
    pools: list[list[float]] = []
    for value in values:
        pools.append([float(value)])
        while len(pools) > 1 and np.mean(pools[-2]) < np.mean(pools[-1]):
            pools[-2:] = [pools[-2] + pools[-1]]
    return [float(np.mean(pool)) for pool in pools for _ in pool]


def _below(places: Sequence[float], values: Sequence[float], level: float) -> float:
    """Where values that never rise fall below a level."""
    after = next((i for i, value in enumerate(values) if value < level), None)
    if after == 0:
        return -math.inf
    if after is None:
        return math.inf
    (x0, y0), (x1, y1) = ((places[i], values[i]) for i in (after - 1, after))
    return x0 + (x1 - x0) * (y0 - level) / (y0 - y1)


def _next_outside(known: set[float], seen: Mapping[float, Interval], found: Fall) -> float | None:
    """The nearest known place beyond those seen by as many lives, if an end is still farther."""
    below = [place for place in known if place < min(seen)]
    above = [place for place in known if place > max(seen)]
    if below and found.low == -math.inf:
        return max(below)
    if above and found.high == math.inf:
        return min(above)
    return None


def _next_between(seen: Mapping[float, Interval], found: Fall, precision: float) -> float | None:
    """The middle of the widest gap between places seen that an end or the crossing is in.

    None if no such gap is wide beside the interval or the precision.
    """
    places = sorted(seen)
    gaps = [
        (after - before, (before + after) / 2)
        for before, after in pairwise(places)
        if any(before <= end <= after for end in found)
    ]
    enough = max(precision, NO_GAP * _half(found, seen))
    width, middle = max(gaps, default=(0.0, 0.0))
    return middle if width > enough else None


def _half(found: Fall, places: set[float] | Mapping[float, Interval]) -> float:
    """Half the width of an interval, as far as it is within the places."""
    low, high = np.clip((found.low, found.high), min(places), max(places))
    return float(high - low) / 2


def _more(lives: int, too_wide: float, most: int) -> int:
    """The lives it takes, as intervals narrow with their root, within what a step may add."""
    needed = math.ceil(1.2 * lives * too_wide**2)
    return min(most, max(2 * lives, min(STEP_UP * lives, needed)))


def _around(seen: Mapping[float, Interval], found: Fall) -> list[float]:
    """The places within an interval, and the nearest to either side."""
    places = sorted(seen)
    before = max((place for place in places if place <= found.low), default=places[0])
    after = min((place for place in places if place >= found.high), default=places[-1])
    return [place for place in places if before <= place <= after]
