"""What is known of a pet only roughly: a whole number or a time, or a range that it lies in."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any

from petsim.errors import MisfitError
from petsim.spec.fields import SPAN_RANGE_PATTERN, FieldType
from petsim.spec.quantities import A_TIME, LARGEST, count, duration, duration_text

BETWEEN = " to "
"""What stands between the ends of a range."""


@dataclass(frozen=True)
class Range:
    """Whole numbers, or times in whole seconds, from `low` to `high`; both alike if it is known."""

    low: int
    high: int

    @property
    def is_known(self) -> bool:
        """Whether there is but one value."""
        return self.low == self.high

    def draw(self, u: float) -> int:
        """Return the value that a number u, strictly between 0 and 1, stands for: each alike."""
        return self.low + math.floor(u * (self.high - self.low + 1))


def _range(text: str, read: Callable[[str], int]) -> Range:
    low, between, high = text.partition(BETWEEN)
    ends = Range(read(low), read(high if between else low))
    if ends.low > ends.high:
        raise MisfitError("expected the smaller end of the range first")
    return ends


def _written(ends: Range, write: Callable[[int], Any]) -> Any:
    if ends.is_known:
        return write(ends.low)
    return f"{write(ends.low)}{BETWEEN}{write(ends.high)}"


def span_range(text: str) -> Range:
    """Return the range in seconds of `20 h to 24 h`; a time alone is known."""
    return _range(text, lambda end: duration(end, 0))


def span_range_text(ends: Range) -> str:
    """Write a range of seconds."""
    return str(_written(ends, duration_text))


def count_range(text: str, least: int = 0, most: int = LARGEST) -> Range:
    """Return the range of `20 to 40`, whole numbers from `least` to `most`; one alone is known."""
    return _range(text, lambda end: count(end, least, most))


def count_range_text(ends: Range) -> str:
    """Write a range of whole numbers."""
    return str(_written(ends, int))


def count_range_type(least: int, most: int = LARGEST) -> FieldType:
    """Return the kind of a whole number from `least` to `most`, or a range of such."""
    return FieldType(
        lambda text: count_range(text, least, most),
        lambda ends: _written(ends, int),
        {
            "anyOf": [
                {"type": "integer", "minimum": least, "maximum": most},
                {"type": "string", "pattern": f"^[0-9]+(?:{BETWEEN}[0-9]+)?$"},
            ]
        },
        f"expected a whole number, {least} or more, or a range such as 2 to 4",
    )


CountRange = Annotated[Range, count_range_type(0)]
SpanRange = Annotated[
    Range,
    FieldType(
        span_range,
        span_range_text,
        {"type": "string", "pattern": f"^(?:{SPAN_RANGE_PATTERN})$"},
        f"{A_TIME}, or a range such as 20 h to 24 h",
    ),
]
