"""In words, where odds along a parameter are above a level."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from petsim.errors import ArgumentError
from petsim.study.stats import Interval
from petsim.study.thresholds import Crossing, Stretch, stretches
from petsim.view.numbers import decimals
from petsim.view.plots.scales import Scale

USUAL = 0.8
"""The level, a share, if some odds reach it; else half of the best is."""
SHORT = {"minutes": "min", "hours": "h", "days": "d", "seconds": "s"}
SMALLER = {"days": ("hours", 24), "hours": ("minutes", 60), "minutes": ("seconds", 60)}
FEW = 2
"""Units of time from which on they are not told in the next smaller one."""
Line = Sequence[tuple[float, Interval]]
"""Places along an axis and their intervals, in order."""


def level_of(estimates: Sequence[float], at_least: float | None) -> float | None:
    """The level at which odds are looked at; None if all of them are 0.

    Raises:
        ArgumentError: the one that is asked for is no share above 0.
    """
    if at_least is not None:
        if not 0 < at_least <= 1:
            raise ArgumentError(f"at_least: {at_least}; expected a share above 0, up to 1")
        return at_least
    best = max(estimates)
    if best >= USUAL:
        return USUAL
    half = best / 2
    return round(half, 2) if half >= 0.05 else half or None


def per_cent(level: float) -> str:
    """A level in words."""
    return f"{100 * level:.3g} %"


def verdict(line: Line, scale: Scale, level: float | None) -> str:
    """Where odds are at or above a level along a scale; nothing if it is no line.

    Of places on a log scale, lines are straight on paper, so between their logarithms.
    """
    if level is None or not scale.continuous or len(line) < 2:
        return ""
    found = _stretches(line, scale, level)
    if not found:
        return "nowhere"
    return " and ".join(_of(stretch, scale.unit) for stretch in found)


def verdict_on_all(lines: Sequence[Line], scale: Scale, level: float | None) -> str:
    """What is the same of each of several lines, or how far the farthest is above the level."""
    each = [verdict(line, scale, level) for line in lines]
    if len({*each}) == 1:
        return each[0]
    ends = [end for line in lines if (end := reach(line, scale, level)) is not None]
    if len(ends) + each.count("nowhere") < len(lines):
        return ""
    return f"up to {crossing(max(ends), scale.unit)} at best"


def reach(line: Line, scale: Scale, level: float | None) -> Crossing | None:
    """Where a line falls below a level, if it is above from its first place to there only."""
    if level is None or not scale.continuous or len(line) < 2:
        return None
    found = _stretches(line, scale, level)
    return found[0].ends if len(found) == 1 and found[0].begins is None else None


def _stretches(line: Line, scale: Scale, level: float) -> list[Stretch]:
    to, back = (math.log, math.exp) if scale.geometric else (float, float)
    places, intervals = [to(place) for place, _ in line], [interval for _, interval in line]
    return [_mapped(stretch, back) for stretch in stretches(places, intervals, level)]


def _mapped(stretch: Stretch, back: Callable[[float], float]) -> Stretch:
    return Stretch(*(end and Crossing(*map(back, end)) for end in stretch))


def _of(stretch: Stretch, unit: str) -> str:
    begins, ends = stretch
    if begins is None and ends is None:
        return "everywhere"
    if begins is None and ends is not None:
        return f"up to {crossing(ends, unit)}"
    if ends is None and begins is not None:
        return f"from {crossing(begins, unit)}"
    assert begins is not None
    assert ends is not None
    return f"from {crossing(begins, unit)} to {crossing(ends, unit)}"


def crossing(at: Crossing, unit: str) -> str:
    """A place with its unit and, in brackets, its interval as far as that is known."""
    if unit in SMALLER and abs(at.at) < FEW:
        smaller, times = SMALLER[unit]
        return crossing(Crossing(*(times * x for x in at)), smaller)
    known = [abs(end - at.at) for end in (at.low, at.high) if not math.isnan(end)]
    half = max(known, default=abs(at.at) / 10)
    digits = max(0, decimals(half) - 1) if half > 0 else 1
    number, low, high = (f"{x:.{digits}f}" for x in at)
    named = f"{number} {SHORT.get(unit, unit)}".rstrip()
    if not known:
        return named.replace(" ", "\N{NO-BREAK SPACE}")
    interval = f"({low} to {high})"
    if math.isnan(at.low):
        interval = f"({high} or less)"
    elif math.isnan(at.high):
        interval = f"({low} or more)"
    # no line is to break within either
    return " ".join(text.replace(" ", "\N{NO-BREAK SPACE}") for text in (named, interval))
