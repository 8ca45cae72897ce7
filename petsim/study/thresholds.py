"""Where odds along a parameter are above a level, and how surely that is known."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from petsim.study.stats import Interval


class Crossing(NamedTuple):
    """Where odds cross a level, in the unit of the places; an end that is not known is nan."""

    at: float
    low: float
    high: float


class Stretch(NamedTuple):
    """Places at which odds are at or above a level.

    begins, ends: where they cross it; None if the stretch reaches the first or the last place.
    """

    begins: Crossing | None
    ends: Crossing | None


def stretches(
    places: Sequence[float], intervals: Sequence[Interval], level: float
) -> list[Stretch]:
    """Return where odds are at or above a level, from the lowest place on.

    Between neighbouring places odds are taken to be on the straight line from one estimate to the
    other. A crossing's interval is where the straight lines between the low ends, and between the
    high ends, cross the level on the way to it: the places at which the level is within the
    interval. That inverts intervals for each place by itself, so it holds at the crossing with
    their confidence, 95 %, as far as odds are straight between places; a nan stands for an end
    that is not crossed within the places.

    Args:
        places: where the intervals stand, rising; shape (n,).
        intervals: of shares, as many.
        level: a share.

    Source: inverse (calibration) intervals by inverting pointwise ones, as for an LD50: Finney
    (1971), "Probit Analysis"; from memory.
    """
    above = [interval.estimate >= level for interval in intervals]
    found, start = [], None
    for place, is_above in enumerate(above):
        if is_above and start is None:
            start = place
        if start is not None and (not is_above or place == len(above) - 1):
            begins = None if start == 0 else _rising(places, intervals, level, start)
            ends = None if is_above else _falling(places, intervals, level, place)
            found.append(Stretch(begins, ends))
            start = None
    return found


def _falling(
    places: Sequence[float], intervals: Sequence[Interval], level: float, after: int
) -> Crossing:
    """The crossing between a place and the one before, down from the level or above."""
    lows, estimates, highs = zip(*((x.low, x.estimate, x.high) for x in intervals), strict=True)
    at = _between(places, estimates, level, after)
    low = next((i + 1 for i in reversed(range(after)) if lows[i] >= level), None)
    high = next((i for i in range(after, len(places)) if highs[i] < level), None)
    return Crossing(
        at,
        math.nan if low is None else _between(places, lows, level, low),
        math.nan if high is None else _between(places, highs, level, high),
    )


def _rising(
    places: Sequence[float], intervals: Sequence[Interval], level: float, after: int
) -> Crossing:
    """The crossing between a place and the one before, up to the level or above."""
    mirrored = _falling(
        [-place for place in reversed(places)],
        [*reversed(intervals)],
        level,
        len(places) - after,
    )
    return Crossing(-mirrored.at, -mirrored.high, -mirrored.low)


def _between(places: Sequence[float], values: Sequence[float], level: float, after: int) -> float:
    """Where the straight line from the place before to a place crosses a level."""
    (x0, y0), (x1, y1) = ((places[i], values[i]) for i in (after - 1, after))
    return x0 + (x1 - x0) * (level - y0) / (y1 - y0)
