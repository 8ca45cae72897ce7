"""What varies in a sweep: a quantity of a file by its path, and the values it takes.

Values are written as in the files. `2 min..60 min/2 min` stands for all from 2 to 60 min in steps
of 2 min, `1 min..64 min*2` for all from 1 to 64 min of which each is twice the one before,
`5%..20%` for everything between, from which a sample chooses: whole numbers where the file takes
no others. A range may be part of a text: `exponential {10 min..60 min/10 min}`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import floor
from typing import Self, TypeVar

from petsim.errors import MisfitError, SpecError, quote
from petsim.spec.document import Data, Steps, plain_number
from petsim.spec.quantities import NUMBER, TIME_IN_UNITS, duration_text, seconds
from petsim.spec.reading import read_data, read_text

T = TypeVar("T")

MOST_VALUES = 100_000
"""Values of all quantities of a sweep together, and its cells."""
MOST_MULTIPLES = 1_000
"""Values of a range each of which is the last one times a factor, whose digits grow as they do."""

LONGEST = 100
"""Characters of a quantity."""

SPACED = {"per day": " per day"}

_QUANTITY = rf"(?:{TIME_IN_UNITS}|{NUMBER}(?: ?(?:%|per day))?)"
_PLAIN = re.compile(rf"({NUMBER}) ?(%|per day)?")
_RANGE = re.compile(rf"(log )?({_QUANTITY}) ?\.\. ?({_QUANTITY})(?: ?([/*]) ?({_QUANTITY}))?")
_LOOSE = re.compile(
    rf"({_QUANTITY}) ?(?:\.{{2,}}|\N{{HORIZONTAL ELLIPSIS}}|-|\N{{EN DASH}}|to) ?({_QUANTITY})"
    rf"(?: ?(?:/|:|by|step) ?({_QUANTITY})| ?(?:\*|x) ?({NUMBER}))?"
)
"""What may be meant for a range."""
_ENDS_IN = re.compile("(?<=[0-9]) ?(?:%|[a-z][a-z ]*)$")
"""The unit of a quantity."""
_IN_TEXT = re.compile(rf"\{{({_RANGE.pattern})\}}")
_BARE = re.compile("[A-Za-z0-9][A-Za-z0-9 .%]*")
_STEP = re.compile(r"\.?([^.\[\]]+)|\[([0-9]{1,9})\]")
_CHOICE = re.compile(
    r"regime$|checks\b(?!(?:\.windows\[[0-9]+\])?\.(?:jitter|late|forgets)\b)|routine\b|passes$|"
    r"eyes\.looks\b|quiet hours\b"
)
A_PATH = "expected a path such as checks.every or routine[3].repeat"
A_RANGE = "expected a range such as 2 min..60 min/2 min, 1 min..64 min*2 or 5%..20%"


@dataclass(frozen=True)
class Range:
    """All values between two quantities of one unit.

    low, high: the ends, in that unit. unit: what is written after the number, `s` for times. log:
    whether a sample takes as many from each doubling. before, after: the text around it. whole:
    whether the values are whole numbers.
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
        span = f"{'log ' if self.log else ''}{'..'.join(ends)}"
        return f"{self.before}{{{span}}}{self.after}" if self.before or self.after else span

    def at(self, share: float) -> str:
        """The value a share of the way from low to high, to six digits; times to whole seconds.

        Whole numbers, the ends among them, each have an equal part of the way, the one that begins
        at the number.
        """
        low, high = float(self.low), float(self.high) + self.whole
        x = low * (high / low) ** share if self.log else low + (high - low) * share
        if self.whole:
            return self.text(min(Fraction(floor(x)), self.high))
        return self.text(Fraction(round(x)) if self.unit == "s" else Fraction(f"{x:.6g}"))

    def text(self, x: Fraction) -> str:
        """A number of the range as the value that a file has."""
        if self.unit == "s":
            number = duration_text(float(x))
        else:
            number = f"{plain_number(float(x))}{SPACED.get(self.unit, self.unit)}"
        return f"{self.before}{number}{self.after}"


@dataclass(frozen=True)
class Axis:
    """A quantity that varies.

    path: as people see it. steps: the same as the way to the value in a document. values: those it
    takes, as a file has them; none if a sample is to choose from the range.
    """

    path: str
    steps: Steps
    values: tuple[Data, ...] = ()
    range: Range | None = None

    def at(self, share: float) -> Data:
        """The value a share of the way, from 0 to 1, through the range or the values."""
        if self.range is not None:
            return self.range.at(share)
        return self.values[min(int(share * len(self.values)), len(self.values) - 1)]

    def as_data(self) -> Data:
        """The values as plain data: a list, or the text of the range."""
        return list(self.values) if self.range is None else str(self.range)

    @classmethod
    def read(cls, path: str, values: object) -> Self:
        """The axis of a path and its values.

        Args:
            path: as people see it, such as `checks.every`.
            values: text, such as `2 min, 5 min` or a range; or a list of texts, numbers or
                booleans, which stand for yes and no.

        Raises:
            MisfitError: the path or the values can't be read.
        """
        steps = path_steps(path)
        plain = plain_value(values)
        if isinstance(plain, dict) or not plain:
            raise MisfitError(A_RANGE)
        items = _items(plain) if isinstance(plain, str) else plain
        if len(items) == 1 and (between := _right(_between, items[0])) is not None:
            return cls(path, steps, range=between)
        expanded = tuple(
            value for item in items for value in _right(lambda item: [*_expanded(item)], item)
        )
        if len(expanded) > MOST_VALUES:
            raise MisfitError(f"expected at most {MOST_VALUES} values")
        return cls(path, steps, expanded)


class TooManyValuesError(MisfitError):
    """What varies has more values than are read."""


def ensure_few(axes: Sequence[Axis]) -> None:
    """Refuse axes that have too many values together.

    Raises:
        TooManyValuesError: they have.
    """
    if sum(len(axis.values) for axis in axes) > MOST_VALUES:
        raise TooManyValuesError(f"expected at most {MOST_VALUES} values in all", "found more")


def path_steps(path: str) -> Steps:
    """The way through a document of a path such as `routine[3].repeat`.

    Raises:
        MisfitError: it is no path.
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


def is_choice(path: str) -> bool:
    """Say whether whoever makes a rig or a rota decides what a path leads to.

    They decide when to look in, what to do then, how many looks make an observation, and when it
    is to be quiet. They find, and do not choose, how late a check comes and how often it is
    forgotten, how often eyes and hands err, how long the power lasts, and what the pet is like.
    """
    return _CHOICE.match(path) is not None


def is_bare(value: Data) -> bool:
    """Whether a value is a number without a unit."""
    return isinstance(value, str) and re.fullmatch(NUMBER, value) is not None


def range_meant(text: str) -> str | None:
    """Return the range with a step that is meant by a text which is none, or has no step.

    None if it is one, or means none.
    """
    match = _LOOSE.fullmatch(text.strip())
    if match is None:
        return None
    low, high, step, factor = match.groups()
    unit = next(
        (unit[0] for each in (high, low, step) if (unit := _ENDS_IN.search(each or ""))), ""
    )
    low, high, step = (f"{each}{unit}" if is_bare(each) else each for each in (low, high, step))
    try:
        between = _between(f"{low}..{high}")
        assert between is not None
        even, kind = _quantity(step) if step else (_even_step(between), between.unit)
        if kind != between.unit:
            return None
        meant = f"{between}*{factor}" if factor else f"{between}/{between.text(even)}"
        [*_expanded(meant)]
    except MisfitError:
        return None
    return None if meant.replace(" ", "") == text.replace(" ", "") else meant


def _even_step(between: Range) -> Fraction:
    """A step that leads from one end of a range to the other: its low end, or half of the way."""
    way = between.high - between.low
    return between.low if between.low and way % between.low == 0 else way / 2


def number_of(value: Data) -> float | None:
    """A quantity as a number, times in seconds, chances as shares; None of what is no quantity."""
    quantity = as_read(value)
    if not isinstance(quantity, tuple):
        return None
    number, unit = quantity
    return float(number / 100 if unit == "%" else number)


def as_read(value: Data) -> Data | tuple[Fraction, str]:
    """The number and unit of a quantity, which may be written in several ways; else the value."""
    if not isinstance(value, str):
        return value
    try:
        return _quantity(value)
    except MisfitError:
        return value


def plain_value(values: object) -> Data:
    """Python data as a file has it.

    Raises:
        MisfitError: it can't stand in a file.
    """
    try:
        return read_data({"values": values}, "values").data["values"]
    except SpecError as error:
        problem = error.problems[0]
        raise MisfitError(problem.expected, problem.found) from None


def _items(text: str) -> list[Data]:
    """The values in a text, between commas outside of brackets."""
    parts, end, inside = list[str](), len(text), False
    for place in reversed(range(len(text))):
        if text[place] in "[]{}":
            inside = text[place] in "]}"
        elif text[place] == "," and not inside:
            parts.append(text[place + 1 : end])
            end = place
    return [_yaml(part.strip()) for part in reversed([*parts, text[:end]])]


def _yaml(text: str) -> Data:
    """The data that a file has where this text is the value."""
    if _BARE.fullmatch(text):
        # as most values of a long list are, which are then not read one by one
        return text
    try:
        return read_text(f"value: {text}", "value").data["value"]
    except SpecError:
        raise MisfitError("expected a value as in a file") from None


def _right(read: Callable[[Data], T], item: Data) -> T:
    """What is read from an item; of one that is misread, say what may be meant."""
    try:
        return read(item)
    except MisfitError:
        meant = range_meant(item) if isinstance(item, str) else None
        if meant is None:
            raise
        if not re.search("[/*:]|by|step", str(item)):
            meant += f", or for a sample {meant.partition('/')[0]}"
        raise MisfitError(f"did you mean {meant}?", f"found {quote(str(item))}") from None


def _between(item: Data) -> Range | None:
    """The range that a value is or has in it, if it is one without a step; else None."""
    if not isinstance(item, str):
        return None
    match, before, after = _range_in(item)
    if match is None or match[4] is not None:
        return None
    return _ends(match, before, after)


def _range_in(item: str) -> tuple[re.Match[str] | None, str, str]:
    """The match of the range that a value is or has in braces, and the text before and after."""
    if match := _RANGE.fullmatch(item):
        return match, "", ""
    if match := _IN_TEXT.search(item):
        return _RANGE.fullmatch(match[1]), item[: match.start()], item[match.end() :]
    return None, "", ""


def _ends(match: re.Match[str], before: str, after: str) -> Range:
    """The range of a match, without its step; a bare 0 at its low end has the high end's unit."""
    low, high = _quantity(match[2]), _quantity(match[3])
    if low[0] == 0 and not low[1]:
        low = (low[0], high[1])
    if low[1] != high[1] or low[0] >= high[0]:
        raise MisfitError("expected a range from less to more, in one kind of unit")
    if match[1] and low[0] <= 0:
        raise MisfitError("expected a range from above 0, as its logarithm is taken")
    return Range(low[0], high[0], low[1], bool(match[1]), before, after)


def _expanded(item: Data) -> Iterator[Data]:
    """Yield the values that an item of a list stands for: itself, or those of its range."""
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
    """Yield the numbers of a range, each the last plus the step (`/`) or times it (`*`)."""
    by, unit = step
    if kind == "/" and (unit != between.unit or by == 0):
        raise MisfitError("expected a step above 0, in the unit of the range")
    if kind == "*" and (unit != "" or by <= 1):
        raise MisfitError("expected a factor above 1, such as 1 min..64 min*2")
    if kind == "*" and between.low == 0:
        raise MisfitError("expected a range from above 0, as it is multiplied")
    x, count, most = between.low, 0, MOST_VALUES if kind == "/" else MOST_MULTIPLES
    while x <= between.high:
        if count == most:
            raise MisfitError(f"expected at most {most} values")
        yield x
        x, count = x + by if kind == "/" else x * by, count + 1


def _quantity(text: str) -> tuple[Fraction, str]:
    """The number and the unit of a quantity; of a time, the seconds and `s`."""
    if len(text) > LONGEST:
        raise MisfitError(f"expected at most {LONGEST} characters for a quantity")
    match = _PLAIN.fullmatch(text)
    if match is None:
        return seconds(text), "s"
    return Fraction(match[1]), match[2] or ""
