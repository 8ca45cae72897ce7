"""What options and arguments take: texts read to values, or a word on what was expected."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import click

from petsim.errors import MisfitError, choice
from petsim.spec.choices import UNTIL
from petsim.spec.names import YAML

if TYPE_CHECKING:
    from petsim.spec.clocks import Begins


class TimeOfLife(NamedTuple):
    """A day of a life, 1 for the first, and a second of that day, by the pet's clock."""

    day: int
    second: int

    def __str__(self) -> str:
        from petsim.spec.clocks import clock_text

        return f"day {self.day} {clock_text(self.second)}"

    def after(self, begins: Begins) -> int:
        """Return the second of a life that begins at some clock time, which may be before it."""
        from petsim.spec.quantities import DAY

        return (self.day - 1) * DAY + self.second - begins.clock


class Value(click.ParamType[Any]):
    """A value that a function reads from its text.

    Args:
        read: returns the value, or raises MisfitError with what it expected.
    """

    name = "value"

    def __init__(self, read: Callable[[str], Any]) -> None:
        self._read = read

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the value of a text; what is no text is a default, and one already."""
        if not isinstance(value, str):
            return value
        try:
            return self._read(value)
        except MisfitError as misfit:
            self.fail(f"{misfit.found or repr(value)}; {misfit.expected}", param, ctx)


class Word(click.Choice[str]):
    """One of some words; of another, it says which may have been meant."""

    def __init__(self, words: Iterable[str]) -> None:
        super().__init__([*words])

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return a word that there is."""
        if value not in self.choices:
            expected = choice(value, self.choices, most=len(self.choices))
            self.fail(f"{value!r}; {expected}", param, ctx)
        return value

    def get_missing_message(self, param: click.Parameter, ctx: click.Context | None) -> str:
        """Say nothing more, as the name of what is missing lists the words."""
        return ""


def whole(least: int) -> Value:
    """Return the type of a whole number of 64 bits that is not below some least one."""

    def read(text: str) -> int:
        value = int(text) if text.isascii() and text.isdigit() and len(text) < 21 else -1
        if not least <= value < 2**64:
            raise MisfitError(f"expected a whole number from {least} up")
        return value

    return Value(read)


def _days(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 0 < value < float("inf"):
        raise MisfitError("expected a number of days above 0")
    return value


def _date(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise MisfitError("expected a date such as 2027-01-04") from None


def _seconds(text: str) -> float:
    from petsim.spec.quantities import duration

    return float(duration(text))


def _pair(expected: str) -> Callable[[str], tuple[str, str]]:
    """Return what reads a path and what is said of it."""

    def read(text: str) -> tuple[str, str]:
        path, equals, values = map(str.strip, text.partition("="))
        if not equals and (meant := re.fullmatch(r"([^\s:]+)\s*[:\s]\s*(.+)", text.strip())):
            kind = expected.partition(",")[0]
            raise MisfitError(f"expected {kind}; did you mean {'='.join(meant.groups())}?")
        if not equals or not path or not values:
            raise MisfitError(f"expected {expected}")
        return path, values

    return read


def _address(text: str) -> str:
    if not text.strip():
        raise MisfitError("expected an address such as tcp://host:8786")
    return text


def _reached(text: str) -> tuple[int, int]:
    reached, slash, pets = text.partition("/")
    if not (slash and all(part.isascii() and part.isdigit() for part in (reached, pets))):
        raise MisfitError("expected two numbers such as 3/5")
    return int(reached), int(pets)


def _odds(text: str) -> float | str:
    """Odds in per cent or as a number; anything else is a regime."""
    from petsim.spec.quantities import chance

    try:
        return chance(text)
    except MisfitError as misfit:
        if re.fullmatch(r"[-+]?[0-9.]+ ?%?", text):
            raise MisfitError(misfit.expected) from None
        return text


def _share(text: str) -> float:
    from petsim.spec.quantities import chance

    return chance(text)


def _half_width(text: str) -> float:
    from petsim.spec.quantities import chance

    try:
        value = chance(text)
    except MisfitError:
        value = 0.0
    if not 0 < value < 0.5:
        raise MisfitError("expected a share such as 1%, below 50%")
    return value


def _new_file(*endings: str) -> Callable[[str], Path]:
    """Return what reads the name of a new file, to which the first ending may have to be added."""

    def read(text: str) -> Path:
        path = Path(text)
        if path.name.strip() in ("", ".."):
            raise MisfitError("expected the name of a new file")
        is_named = path.suffix in endings
        return path if is_named else path.with_name(f"{path.name}{endings[0]}")

    return read


def _zoom(text: str) -> tuple[int, int]:
    match = re.fullmatch(r"([0-9]{1,6})(?:\.\.([0-9]{1,6}))?", text)
    if match is None:
        raise MisfitError("expected a day of life such as 2, or the first and last such as 2..3")
    return int(match[1]), int(match[2] or match[1])


def _end(text: str) -> str | TimeOfLife:
    from petsim.spec.clocks import clock

    if text in UNTIL:
        return text
    match = re.fullmatch(r"day ([0-9]{1,6}) ([0-9:]+)", text.strip())
    if match is None:
        outcome, death = UNTIL
        raise MisfitError(f'expected {outcome}, {death}, or a time such as "day 3 12:00"')
    return TimeOfLife(int(match[1]), clock(match[2]))


def _weight(text: str) -> float:
    try:
        weight = float(text)
    except ValueError:
        weight = -1.0
    if not 0 <= weight < float("inf"):
        raise MisfitError("expected a number from 0 on, such as 3")
    return weight


DAYS = Value(_days)
END = Value(_end)
ZOOM = Value(_zoom)
SECONDS = Value(_seconds)
VARIATION = Value(_pair("PATH=VALUES, such as checks.every=10min,20min"))
FIXED = Value(_pair("PATH=VALUE, such as checks.every=10min"))
SHARE = Value(_share)
ADDRESS = Value(_address)
REACHED = Value(_reached)
ODDS = Value(_odds)
HALF_WIDTH = Value(_half_width)
COLUMN_OF = Value(_pair("SIGNAL=COLUMN, such as hunger=food"))
WEIGHT = Value(_weight)
DATE = Value(_date)
NEW_CALENDAR = Value(_new_file(".ics"))
NEW_FILE = Value(_new_file(*YAML))
NEW_LOG = Value(_new_file(".jsonl"))
