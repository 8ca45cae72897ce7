"""An estimate as people read it: what it is of, few digits, its unit, and its interval beside."""

from __future__ import annotations

import re
from typing import NamedTuple

from petsim.evidence.estimate import Estimate
from petsim.spec.clocks import clock_text
from petsim.spec.quantities import DAY
from petsim.spec.variation import path_steps
from petsim.view.numbers import decimals

GUESS_DIGITS = 3


class Words(NamedTuple):
    """The texts of a guess, of an estimate, and of the ends of its 95 % interval.

    unit: that of the ends, which the others have already.
    """

    guess: str
    estimate: str
    ends: str
    unit: str = ""

    @property
    def interval(self) -> str:
        """The interval with its unit."""
        return f"{self.ends}{self.unit}"

    def __str__(self) -> str:
        return f"{self.estimate} ({self.ends})"


class Unit(NamedTuple):
    """A unit: what a value is multiplied by to be in it, and what is written after that."""

    by: float
    name: str


def in_words(estimate: Estimate) -> Words:
    """Return the texts of an estimate that a log tells."""
    value, low, high = estimate.estimate, estimate.low, estimate.high
    assert value is not None
    assert low is not None
    assert high is not None
    guess = _guess(estimate)
    if is_clock(estimate):
        return Words(guess, _clock(value), f"{_clock(low)} to {_clock(high)}")
    if estimate.of == "value":
        exactly = "exactly" if low == high else f"{low:.0f} to {high:.0f}"
        return Words(guess, f"{value:.0f}", exactly)
    by, unit = unit_of(estimate)
    half = by * (high - low) / 2
    digits = decimals(half) if half > 0 else GUESS_DIGITS
    middle, least, most = (f"{by * x:.{digits}f}" for x in (value, low, high))
    return Words(guess, f"{middle}{unit}", f"{least} to {most}", unit)


def _guess(estimate: Estimate) -> str:
    if estimate.guess is None:
        return ""
    if is_clock(estimate):
        return _clock(estimate.guess)
    by, unit = unit_of(estimate)
    return f"{float(f'{by * estimate.guess:.{GUESS_DIGITS}g}'):g}{unit}"


def is_clock(estimate: Estimate) -> bool:
    """Whether it is a time of the day: an edge of a window of sleep."""
    *_, edge = steps = path_steps(estimate.path)
    return edge in ("from", "to") and "sleeps" in steps


def _clock(second: float) -> str:
    return clock_text(round(second) % DAY)


def unit_of(estimate: Estimate) -> Unit:
    """Return the unit that suits an estimate; of a time by how long it is."""
    if estimate.of == "chance":
        return Unit(100, " %")
    if estimate.of == "rate":
        return Unit(1, " a day")
    if estimate.of != "mean":
        return Unit(1, "")
    seconds = estimate.guess if estimate.estimate is None else estimate.estimate
    if seconds is None or seconds < 120:
        return Unit(1, " s")
    if seconds < 2 * 3600:
        return Unit(1 / 60, " min")
    return Unit(1 / 3600, " h") if seconds < 2 * DAY else Unit(1 / DAY, " days")


class Named(NamedTuple):
    """What a parameter is in words: what is estimated, and of which form, signal or action."""

    what: str
    of: str


_PLACE, _ERROR = r"(?:stages|forms)\.(?P<of>[^.]+)", r"(?P<of>[^.]+)\.(?P<error>[^.]+)s"
_NAMES = (
    (rf"{_PLACE}\.drops\.(?P<need>.+)", r"\g<need> drops every"),
    (rf"{_PLACE}\.waste\.every", "waste every"),
    (rf"{_PLACE}\.misbehaviour\.every", "misbehaves every"),
    (rf"{_PLACE}\.misbehaviour\.window", "misbehaves for"),
    (rf"{_PLACE}\.illness\.base", "illnesses a day"),
    (rf"{_PLACE}\.lasts", "a form lasts"),
    (r"outages\.(?P<of>up|down)", "power is"),
    (r"eyes\.spells\.(?P<of>clear|lasts)", "spells of bad light"),
    (rf"eyes\.spells\.{_ERROR}", r"\g<error> in bad light"),
    (rf"eyes\.windows\[(?P<window>\d+)\]\.{_ERROR}", r"\g<error> in windows[\g<window>]"),
    (rf"eyes\.{_ERROR}", r"eyes \g<error>"),
    (r"hands\.(?P<of>[^.]+)\.slips", "hands slip"),
    (r"care\.(?P<of>[^.]+)\.works", "care works"),
)
"""What parameters are called, by their paths, whose group `of` is what they are of."""


def named(path: str) -> Named:
    """Return in words what a parameter is; one that has no words of its own by its path."""
    for pattern, what in _NAMES:
        if found := re.fullmatch(pattern, path):
            return Named(found.expand(what), found["of"])
    return Named("", path)
