"""The quantities of a regime, each a little less or more: what a small change would have done.

Any change shifts all that follows, so one may lead to the aim by chance. A quantity is tried from
its largest change down, therefore, and the smallest counts that leads to the aim with all larger
ones, if these are three or all that there are.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from enum import StrEnum
from functools import partial
from typing import NamedTuple

from petsim.spec.clocks import clock, clock_text
from petsim.spec.document import Data, Steps, field_name, plain_number
from petsim.spec.quantities import DAY, NUMBER, TIME_IN_UNITS, duration_text, seconds
from petsim.spec.regime import Regime
from petsim.spec.variation import is_choice

SHARES = (0.01, 0.02, 0.05, 0.1, 0.2, 0.35, 0.5)
"""The steps of a quantity, as shares of it."""
SHIFTS = (60, 120, 300, 600, 1200)
"""The steps of a time of the clock, in seconds."""
LEAST = 3
"""Changes of a quantity that have to lead to the aim, if there are as many."""
_HOUR = 3600
_LEFT_OUT = ("petsim", "name", "about", "quiet hours", "during", "clock", "do", "look", "presses")
"""Keys of what is no quantity, or changes no life."""
_ERRORS = ("overlooks", "imagines", "misreads", "slips", "forgets", "into")
"""Keys of chances that something goes wrong, which nobody wants to be larger."""
_BOUND = re.compile(r"(below|at most|at least|above|exactly) ([0-9]+)")
_CHANCE = re.compile(rf"({NUMBER}) ?%")
_CLOCK = re.compile(r"([0-9]{1,2}:[0-9]{2}(?::[0-9]{2})?)( .*)?")


class Kind(StrEnum):
    """What a quantity is."""

    CLOCK = "time of the clock"
    TIME = "time"
    LAW = "distribution"
    NUMBER = "number"


class Nudge(NamedTuple):
    """Another value of a quantity of a regime.

    path: of the quantity. kind: what it is. before, after: its values, as files have them. change:
    by which share of the value before; of a time of the clock, by which share of an hour; below 0
    where it is less. A distribution has all its times changed by it.
    """

    path: str
    kind: Kind
    before: str
    after: str
    change: float

    @property
    def is_choice(self) -> bool:
        """Whether whoever makes a rig or a rota decides the quantity."""
        return is_choice(self.path)

    @property
    def seconds(self) -> int | None:
        """By how many seconds a time is changed; None of what is no single time."""
        if self.kind is Kind.CLOCK:
            return round(self.change * _HOUR)
        return int(seconds(self.after) - seconds(self.before)) if self.kind is Kind.TIME else None


def ladders(regime: Regime) -> Iterator[list[Nudge]]:
    """Yield the changes of each quantity, less or more of it, the largest first."""
    for steps, text in _leaves(regime.source().data, ()):
        if any(step in _LEFT_OUT for step in steps):
            continue
        is_error = any(step in _ERRORS for step in steps)
        for sign in (-1,) if is_error else (-1, 1):
            by_value = {
                after: Nudge(field_name(steps), kind, text, after, change)
                for kind, after, change in _changed(text, sign)
                if after != text
            }
            if by_value:
                yield sorted(by_value.values(), key=lambda nudge: -abs(nudge.change))


def _leaves(data: Data, steps: Steps) -> Iterator[tuple[Steps, str]]:
    if isinstance(data, str):
        yield steps, data
        return
    below = data.items() if isinstance(data, dict) else enumerate(data)
    for step, value in below:
        yield from _leaves(value, (*steps, step))


def _changed(text: str, sign: int) -> Iterator[tuple[Kind, str, float]]:
    """Other values of a text with a quantity, less or more by the sign, and their changes."""
    if match := _CLOCK.fullmatch(text):
        time, on = match.groups("")
        for shift in SHIFTS:
            t = clock(time) + sign * shift
            if 0 <= t < DAY:
                yield Kind.CLOCK, f"{clock_text(t)}{on}", sign * shift / _HOUR
    elif match := _BOUND.fullmatch(text):
        word, number = match.groups()
        for whole, change in _wholes(int(number), sign, least=0):
            yield Kind.NUMBER, f"{word} {whole}", change
    elif text.isdigit():
        for whole, change in _wholes(int(text), sign, least=1):
            yield Kind.NUMBER, str(whole), change
    elif match := _CHANCE.fullmatch(text):
        for chance, change in _chances(float(match[1]), sign):
            yield Kind.NUMBER, f"{plain_number(chance)}%", change
    else:
        kind = Kind.TIME if re.fullmatch(TIME_IN_UNITS, text) else Kind.LAW
        for share in SHARES if sign < 0 else (*SHARES, 1.0):
            after = re.sub(TIME_IN_UNITS, partial(_times, 1 + sign * share), text)
            yield kind, after, sign * share


def _wholes(number: int, sign: int, least: int) -> Iterator[tuple[int, float]]:
    for step in (1, 2, *(round(number * share) for share in SHARES)):
        after = number + sign * step
        if step and number and after >= least:
            yield after, sign * step / number


def _chances(chance: float, sign: int) -> Iterator[tuple[float, float]]:
    """Chances in per cent, of which less goes down to 0 and more up to certain."""
    way = -chance if sign < 0 else 100 - chance
    for share in (*SHARES, 1.0) if chance else ():
        yield float(f"{chance + share * way:.4g}"), share * way / chance


def _times(factor: float, time: re.Match[str]) -> str:
    before = float(seconds(time[0]))
    return duration_text(max(1, round(before * factor))) if before else time[0]


def all_that_hold(ladder: Sequence[Nudge], leads: Callable[[Nudge], bool | None]) -> list[Nudge]:
    """Return the changes each of which leads to the aim with all larger ones, largest first.

    Args:
        ladder: largest first.
        leads: whether a change leads to the aim; None of one that the file does not allow.
    """
    held: list[Nudge] = []
    for nudge in ladder:
        does = leads(nudge)
        if does is False:
            break
        if does:
            held.append(nudge)
    return held


def smallest_of(held: Sequence[Nudge], ladder: Sequence[Nudge]) -> Nudge | None:
    """Return the smallest change of those that hold, if they are enough; None if not.

    Args:
        held: as `all_that_hold` returns.
        ladder: all changes that there are, largest first.
    """
    is_enough = len(held) >= LEAST or (held and held[-1] is ladder[-1])
    return held[-1] if is_enough else None
