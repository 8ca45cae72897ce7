"""What varies in a sweep: a quantity of a file by its path, and the values it takes.

Values are written as in the files. `2 min..60 min/2 min` stands for all from 2 to 60 min in steps
of 2 min, `1 min..64 min*2` for each twice the last, `5%..20%` for anything between, from which a
sample chooses: whole numbers where the file takes no others. A range may be part of a text:
`exponential {10 min..60 min/10 min}`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from math import floor
from typing import Self

from petsim.errors import MisfitError, SpecError
from petsim.spec.document import Data, Document, Steps, plain_number
from petsim.spec.quantities import NUMBER, UNITS, duration_text, seconds

MOST_VALUES = 100_000
"""Values of one quantity, and cells of a sweep."""

LONGEST = 100
"""Characters of a quantity."""

SPACED = {"per day": " per day"}

_UNIT = "|".join(sorted(UNITS, key=len, reverse=True))
_TIME = rf"{NUMBER} ?(?:{_UNIT})(?: {NUMBER} ?(?:{_UNIT}))*"
_QUANTITY = rf"(?:{_TIME}|{NUMBER}(?: ?(?:%|per day))?)"
_PLAIN = re.compile(rf"({NUMBER}) ?(%|per day)?")
_RANGE = re.compile(rf"(log )?({_QUANTITY}) ?\.\. ?({_QUANTITY})(?: ?([/*]) ?({_QUANTITY}))?")
_IN_TEXT = re.compile(rf"\{{({_RANGE.pattern})\}}")
_STEP = re.compile(r"\.?([^.\[\]]+)|\[([0-9]{1,9})\]")
A_PATH = "expected a path such as checks.every or routine[3].repeat"
A_RANGE = "expected a range such as 2 min..60 min/2 min, 1 min..64 min*2 or 5%..20%"


@dataclass(frozen=True)
class Range:
    """All between two quantities of one unit.

    low, high: the ends, in units. unit: what is written after the number, `s` for times. log:
    whether a sample takes as many from each doubling. before, after: the text around it. whole:
    whether what it stands for is a whole number.
    """

    low: Fraction
    high: Fraction
    unit: str
    log: bool = False
    before: str = ""
    after: str = ""
    whole: bool = False

    def __str__(self) -> str:
        ends = (replace(self, before="", after="").text(x) for x in (self.low, self.high))
        said = f"{'log ' if self.log else ''}{'..'.join(ends)}"
        return f"{self.before}{{{said}}}{self.after}" if self.before or self.after else said

    def at(self, share: float) -> str:
        """The value a share of the way from low to high, to six digits; times to whole seconds.

        Of whole numbers each has its own part of the way, the ends as well: that from it to the
        next.
        """
        low, high = float(self.low), float(self.high) + self.whole
        x = low * (high / low) ** share if self.log else low + (high - low) * share
        if self.whole:
            return self.text(min(Fraction(floor(x)), self.high))
        return self.text(Fraction(round(x)) if self.unit == "s" else Fraction(f"{x:.6g}"))

    def text(self, x: Fraction) -> str:
        """A value as a file has it."""
        if self.unit == "s":
            number = duration_text(float(x))
        else:
            number = f"{plain_number(float(x))}{SPACED.get(self.unit, self.unit)}"
        return f"{self.before}{number}{self.after}"


@dataclass(frozen=True)
class Axis:
    """A quantity that varies.

    path: as people see it. values: those it takes, as a file has them; none if a sample is to
    choose from the range.
    """

    path: str
    steps: Steps
    values: tuple[Data, ...] = ()
    range: Range | None = None

    def at(self, share: float) -> Data:
        """The value a share of the way through them, from 0 to 1."""
        if self.range is not None:
            return self.range.at(share)
        return self.values[min(int(share * len(self.values)), len(self.values) - 1)]

    def as_data(self) -> Data:
        """Its values as plain data."""
        return list(self.values) if self.range is None else str(self.range)

    @classmethod
    def read(cls, path: str, values: object) -> Self:
        """The axis of a path and the text of its values, or a list of them, numbers or yes or no.

        Raises:
            MisfitError: the path or the values can't be read.
        """
        steps = path_steps(path)
        plain = plain_value(values)
        if isinstance(plain, dict) or not plain:
            raise MisfitError(A_RANGE)
        items = _items(plain) if isinstance(plain, str) else plain
        if len(items) == 1 and (between := _between(items[0])) is not None:
            return cls(path, steps, range=between)
        found = tuple(value for item in items for value in _expanded(item))
        if len(found) > MOST_VALUES:
            raise MisfitError(f"expected at most {MOST_VALUES} values")
        return cls(path, steps, tuple(found))


def path_steps(path: str) -> Steps:
    """The way that a path such as `routine[3].repeat` goes.

    Raises:
        MisfitError: it is none.
    """
    steps: list[str | int] = []
    end = 0
    for match in _STEP.finditer(path):
        if match.start() != end:
            break
        end = match.end()
        steps.append(match[1].strip() if match[2] is None else int(match[2]))
    if end != len(path) or not steps or path.startswith("."):
        raise MisfitError(A_PATH)
    return tuple(steps)


def number_of(value: Data) -> float | None:
    """A quantity as a number: times in seconds, chances as shares; None if it is none."""
    quantity = as_read(value)
    if not isinstance(quantity, tuple):
        return None
    number, unit = quantity
    return float(number / 100 if unit == "%" else number)


def as_read(value: Data) -> Data | tuple[Fraction, str]:
    """What a value says, however it is written: of a quantity, its number and unit."""
    if not isinstance(value, str):
        return value
    try:
        return _quantity(value)
    except MisfitError:
        return value


def plain_value(values: object) -> Data:
    """Python data as a file has it."""
    try:
        return Document.from_data({"values": values}, "values").data["values"]
    except SpecError as error:
        problem = error.problems[0]
        raise MisfitError(problem.expected, problem.found) from None


def _items(text: str) -> list[Data]:
    """The values in a text, between commas outside of brackets."""
    parts = re.split(r",(?![^\[{]*[\]}])", text)
    return [_yaml(part.strip()) for part in parts]


def _yaml(text: str) -> Data:
    """What a value means in a file."""
    try:
        return Document.from_text(f"value: {text}", "value").data["value"]
    except SpecError:
        raise MisfitError("expected a value as in a file") from None


def _between(item: Data) -> Range | None:
    """The range without a step that a value is, if it is one."""
    if not isinstance(item, str):
        return None
    match, before, after = _range_in(item)
    if match is None or match[4] is not None:
        return None
    return _ends(match, before, after)


def _range_in(item: str) -> tuple[re.Match[str] | None, str, str]:
    """The range that a value is or has in braces, and what is around it."""
    if match := _RANGE.fullmatch(item):
        return match, "", ""
    if match := _IN_TEXT.search(item):
        return _RANGE.fullmatch(match[1]), item[: match.start()], item[match.end() :]
    return None, "", ""


def _ends(match: re.Match[str], before: str, after: str) -> Range:
    low, high = _quantity(match[2]), _quantity(match[3])
    if low[0] == 0 and not low[1]:
        low = (low[0], high[1])
    if low[1] != high[1] or low[0] >= high[0]:
        raise MisfitError("expected a range from less to more, in one kind of unit")
    if match[1] and low[0] <= 0:
        raise MisfitError("expected a range from above 0, as its logarithm is taken")
    return Range(low[0], high[0], low[1], bool(match[1]), before, after)


def _expanded(item: Data) -> Iterator[Data]:
    if not isinstance(item, str):
        yield item
        return
    match, before, after = _range_in(item)
    if match is None:
        if ".." in item:
            raise MisfitError(A_RANGE)
        yield item
        return
    if match[4] is None:
        raise MisfitError(
            "expected a step, such as 2 min..60 min/2 min, or a single range to sample"
        )
    between, step = _ends(match, before, after), _quantity(match[5])
    yield from map(between.text, _steps(between, match[4], step))


def _steps(between: Range, kind: str, step: tuple[Fraction, str]) -> Iterator[Fraction]:
    by, unit = step
    if kind == "/" and (unit != between.unit or by == 0):
        raise MisfitError("expected a step above 0, in the unit of the range")
    if kind == "*" and (unit != "" or by <= 1):
        raise MisfitError("expected a factor above 1, such as 1 min..64 min*2")
    if kind == "*" and between.low == 0:
        raise MisfitError("expected a range from above 0, as it is multiplied")
    x, count = between.low, 0
    while x <= between.high:
        if count == MOST_VALUES:
            raise MisfitError(f"expected at most {MOST_VALUES} values")
        yield x
        x, count = x + by if kind == "/" else x * by, count + 1


def _quantity(text: str) -> tuple[Fraction, str]:
    """A number with its unit; times in seconds."""
    if len(text) > LONGEST:
        raise MisfitError(f"expected at most {LONGEST} characters for a quantity")
    match = _PLAIN.fullmatch(text)
    if match is None:
        return seconds(text), "s"
    return Fraction(match[1]), match[2] or ""
