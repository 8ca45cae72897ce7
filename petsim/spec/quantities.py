"""The units people write: times, chances, rates, comparisons, names.

Each quantity is read from text by a function that raises MisfitError, and is written back by
`str` or by a function here, so that reading it again gives the same.
"""

from __future__ import annotations

import math
import operator
import re
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from petsim.errors import MisfitError, legible, quote, unknown
from petsim.spec.document import plain_number

DAY = 86_400
"""Seconds of a day."""
WEEK = 7 * DAY
LONGEST = 2**53
"""Seconds no duration exceeds: up to here a double holds every whole number."""
LARGEST = 2**31 - 1
"""The largest count, level or weight a file may name."""
LONGEST_NAME = 60
"""Characters a name may have."""
NUMBER = r"[0-9]+(?:\.[0-9]+)?"
UNITS = {
    "week": 7 * DAY,
    "weeks": 7 * DAY,
    "day": DAY,
    "days": DAY,
    "h": 3600,
    "hour": 3600,
    "hours": 3600,
    "min": 60,
    "minute": 60,
    "minutes": 60,
    "s": 1,
    "sec": 1,
    "second": 1,
    "seconds": 1,
}
_UNIT = "|".join(sorted(UNITS, key=len, reverse=True))
_PART = rf"{NUMBER} ?[A-Za-z]+"
_PARTS = re.compile(rf"{_PART}(?: {_PART})*")
_ISO_TIME = "T(?:([0-9]+)H(?:([0-9]+)M(?:([0-9]+)S)?)?|([0-9]+)M(?:([0-9]+)S)?|([0-9]+)S)"
ISO = re.compile(rf"P(?:([0-9]+)W|([0-9]+)D(?:{_ISO_TIME})?|{_ISO_TIME})")
TIME_IN_UNITS = rf"{NUMBER} ?(?:{_UNIT})(?: {NUMBER} ?(?:{_UNIT}))*"
TIME_PATTERN = rf"{TIME_IN_UNITS}|{ISO.pattern}"
"""What the text of a time looks like, for the JSON Schema; not every such text is one."""
_ISO_SECONDS = (7 * DAY, DAY, *2 * (3600, 60, 1, 60, 1, 1))
_ISO_CALENDAR = re.compile("P(?:[0-9]+Y|[0-9]+M).*")
CLOCK = re.compile("([0-9]{1,2}):([0-9]{2})(?::([0-9]{2}))?")
"""What a clock time looks like."""
OPERATORS: dict[str, Callable[[int, int], bool]] = {
    "at least": operator.ge,
    "at most": operator.le,
    "below": operator.lt,
    "above": operator.gt,
    "exactly": operator.eq,
}
"""What the words of a comparison mean."""

A_TIME = "expected a time with its unit, such as 20 min or 1 h 30 min"
A_CHANCE = "expected a chance from 0% to 100%, such as 70% or 0.7"
A_WORTH = "expected a worth from 0 to 1, such as 0.5 or 50%"
A_RATE = "expected a rate, such as 0.2 per day"
A_SIGNAL_LIST = "expected a list of signals, such as [calling, discipline]"
A_COMPARISON = "expected a comparison, such as at least 3 or below 3"


def seconds(text: str) -> Fraction:
    """Return the exact seconds of `1 h 30 min`, `1.5 h` or ISO 8601 `PT90M`.

    The ISO form is that of RFC 3339, appendix A, without years and months, which have no fixed
    length.
    """
    if text.startswith("P"):
        return _iso_seconds(text)
    if CLOCK.fullmatch(text):
        raise MisfitError(A_TIME, f"found the clock time {quote(text)}")
    if text.startswith("-"):
        raise MisfitError("expected a time that is not negative")
    if not _PARTS.fullmatch(text):
        raise MisfitError(A_TIME)
    total, above = Fraction(0), math.inf
    for number, unit in re.findall(rf"({NUMBER}) ?([A-Za-z]+)", text):
        if unit.startswith(("month", "year")):
            raise MisfitError("expected weeks, days or less, as a month has no fixed length")
        if unit not in UNITS:
            raise unknown("unit", unit, ("s", "min", "h", "day", "days", "week", "weeks"))
        if UNITS[unit] >= above:
            raise MisfitError("expected each unit once, the largest first, such as 1 h 30 min")
        above = UNITS[unit]
        total += Fraction(number) * above
    return _bearable(total)


def _iso_seconds(text: str) -> Fraction:
    match = ISO.fullmatch(text)
    if match is None:
        if _ISO_CALENDAR.fullmatch(text):
            raise MisfitError("expected weeks, days or less, as a month has no fixed length")
        raise MisfitError("expected a time, such as 90 min or, in ISO 8601, PT1H30M")
    parts = zip(match.groups(), _ISO_SECONDS, strict=True)
    return _bearable(Fraction(sum(int(count) * size for count, size in parts if count)))


def _bearable(total: Fraction) -> Fraction:
    if total > LONGEST:
        raise MisfitError("expected at most 2^53 s, some 285 million years")
    return total


def duration(text: str, least: int = 1) -> int:
    """Return a time in whole seconds, `least` or more."""
    total = seconds(text)
    if total.denominator != 1:
        raise MisfitError("expected a whole number of seconds")
    if total < least:
        raise MisfitError(f"expected at least {least} s")
    return int(total)


def duration_text(total: float) -> str:
    """Write seconds in the unit that suits them: `90 min`, `4 days`, `1 h 1 min 1 s`."""
    if total != int(total) or total < 60:
        return f"{plain_number(total)} s"
    units = ((DAY, "day"), (3600, "h"), (60, "min"), (1, "s"))
    for size, unit in units:
        if total % size == 0 and total // size <= 200:
            return _units_text(int(total // size), unit)
    rest, parts = int(total), []
    for size, unit in units:
        if rest >= size:
            parts.append(_units_text(rest // size, unit))
            rest %= size
    return " ".join(parts)


def _units_text(count: int, unit: str) -> str:
    return f"{count} {unit}{'s' if unit == 'day' and count > 1 else ''}"


def chance(text: str) -> float:
    """Return the probability of `2%`, `2 %` or `0.02`."""
    match = re.fullmatch(f"({NUMBER})( ?%)?", text)
    if match is None:
        raise MisfitError(A_CHANCE)
    value = Fraction(match[1]) / (100 if match[2] else 1)
    if value > 1:
        raise MisfitError(A_CHANCE)
    return float(value)


def chance_text(value: float) -> str:
    """Write a probability in per cent."""
    return f"{(Decimal(repr(value)) * 100).normalize():f}%"


def worth(text: str) -> float:
    """Return the worth of `0.5`, `50%` or `50 %`."""
    try:
        return chance(text)
    except MisfitError:
        raise MisfitError(A_WORTH) from None


def worth_number(value: float) -> float:
    """Write a worth as a plain number, a whole one without a point."""
    return int(value) if value == int(value) else value


def rate(text: str) -> float:
    """Return the rate per day of `0.1 per day`."""
    match = re.fullmatch(f"({NUMBER}) per day", text)
    if match is None:
        raise MisfitError(A_RATE)
    if Fraction(match[1]) > DAY:
        raise MisfitError(f"expected at most {DAY} per day, one a second")
    return float(match[1])


@dataclass(frozen=True)
class Bound:
    """A comparison with a whole number; `op` is the word of the file."""

    op: str
    number: int

    def holds(self, value: int) -> bool:
        """Say whether a value satisfies it."""
        return OPERATORS[self.op](value, self.number)

    def possible(self, largest: int = LARGEST) -> bool:
        """Say whether any whole number from 0 to the largest satisfies it."""
        return any(
            self.holds(value) for value in (0, largest, self.number) if 0 <= value <= largest
        )

    def __str__(self) -> str:
        return f"{self.op} {self.number}"


def comparison(text: str) -> Bound:
    """Return the comparison of a text such as `at least 3`; a bare `3` means exactly."""
    match = re.fullmatch(f"(?:({'|'.join(OPERATORS)}) )?([0-9]+)", text)
    if match is None:
        raise MisfitError(A_COMPARISON)
    bound = Bound(match[1] or "exactly", count(match[2]))
    if not bound.possible():
        raise MisfitError("expected a comparison that can hold; nothing is below 0")
    return bound


@dataclass(frozen=True)
class Names:
    """One of the names, or, negated, any other."""

    names: tuple[str, ...]
    negated: bool = False

    def holds(self, name: str) -> bool:
        """Say whether it admits a name."""
        return (name in self.names) != self.negated

    def written(self) -> str | list[str]:
        """Return it as it is written in a file."""
        if self.negated:
            return f"not {self.names[0]}"
        return self.names[0] if len(self.names) == 1 else list(self.names)


def names(value: object) -> Names:
    """Return the names of `infant`, `not infant` or a list of names."""
    if isinstance(value, str) and value:
        bare = value.removeprefix("not ")
        return Names((bare,), negated=bare != value)
    if isinstance(value, list) and value and all(isinstance(item, str) for item in value):
        for index, item in enumerate(value):
            if item.startswith("not "):
                raise MisfitError(
                    "expected 'not' before a single name, without a list", at=(index,)
                )
        return Names(tuple(value))
    raise MisfitError("expected a name, a list of names, or 'not' and a name")


def name(text: str) -> str:
    """Return a name: a letter, then letters, digits, spaces, `_` or `-`."""
    if not re.fullmatch(r"[^\W\d_](?:[\w -]*\w)?", text) or text.startswith("not "):
        raise MisfitError("expected a name: a letter first, then letters, digits, spaces, _ or -")
    if len(text) > LONGEST_NAME:
        raise MisfitError(f"expected a name of at most {LONGEST_NAME} characters")
    return text


def signals(value: object) -> tuple[str, ...]:
    """Return the names of signals to look at, a list of one or more, none of them twice."""
    if not isinstance(value, list):
        raise MisfitError(A_SIGNAL_LIST)
    if not value:
        raise MisfitError(A_SIGNAL_LIST, "found an empty list")
    for index, item in enumerate(value):
        if not isinstance(item, str):
            raise MisfitError("expected the name of a signal", at=(index,))
        if item in value[:index]:
            raise MisfitError("expected each signal once", at=(index,))
    return tuple(value)


def action(text: str) -> str:
    """Return the name of an action to do; whether there is one of the name, the model says."""
    if not text:
        raise MisfitError("expected an action")
    return text


def title(text: str) -> str:
    """Return the name of a file's pet or regime, any line of text but none."""
    if not text.strip():
        raise MisfitError("expected a name")
    if text != legible(text):
        raise MisfitError("expected a name in one line, without control characters")
    return text


def count(text: str, least: int = 0, most: int = LARGEST) -> int:
    """Return a whole number from `least` to `most`."""
    if not re.fullmatch("[0-9]+", text):
        raise MisfitError(f"expected a whole number, {least} or more")
    if int(text) < least:
        raise MisfitError(f"expected at least {least}")
    if int(text) > most:
        raise MisfitError(f"expected at most {most}")
    return int(text)


def change(text: str) -> int:
    """Return a whole number with or without a sign."""
    if not re.fullmatch("[+-]?[0-9]+", text) or abs(int(text)) > LARGEST:
        raise MisfitError("expected a whole number, such as +1 or -1")
    return int(text)


def yes_or_no(text: str) -> bool:
    """Return the truth of `yes`, `no`, `true` or `false`."""
    if text not in ("yes", "no", "true", "false"):
        raise MisfitError("expected yes or no")
    return text in ("yes", "true")


def on_or_off(text: str) -> str:
    """Return `on` or `off`."""
    if text not in ("on", "off"):
        raise MisfitError("expected on or off")
    return text
