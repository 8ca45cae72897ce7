"""The types of the fields of a file: how pydantic reads, writes and describes each quantity."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated, Any, Literal, TypeVar

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, core_schema

from petsim.errors import MisfitError, describe
from petsim.spec import laws
from petsim.spec.clocks import (
    A_CLOCK_TIME,
    A_WINDOW,
    WEEKDAYS,
    Begins,
    ClockTime,
    Window,
    begins,
    clock_time,
    sleep_window,
    window,
)
from petsim.spec.document import plain_number
from petsim.spec.quantities import (
    A_CHANCE,
    A_COMPARISON,
    A_RATE,
    A_SIGNAL_LIST,
    A_TIME,
    A_WORTH,
    LARGEST,
    NUMBER,
    OPERATORS,
    TIME_PATTERN,
    Bound,
    Names,
    action,
    chance,
    chance_text,
    change,
    comparison,
    count,
    duration,
    duration_text,
    name,
    names,
    on_or_off,
    rate,
    signals,
    title,
    worth,
    worth_number,
    yes_or_no,
)

Value = TypeVar("Value")

LONGEST_TEXT = 1000
"""Characters of a quantity; a longer text is not looked at."""


@dataclass(frozen=True, eq=False)
class FieldType:
    """How pydantic reads, writes and describes one kind of quantity.

    `read` takes the document's text (or whatever lies there, if `structured`) and raises
    MisfitError; `write` gives plain data that is read back as the same; `schema` is JSON Schema.
    """

    read: Callable[[Any], Any]
    write: Callable[[Any], Any]
    schema: Mapping[str, Any]
    expected: str
    structured: bool = False

    def check(self, value: object) -> object:
        """Return the quantity of a value of a document."""
        if not self.structured and not isinstance(value, str):
            raise MisfitError(self.expected)
        if isinstance(value, str) and len(value) > LONGEST_TEXT:
            raise MisfitError(self.expected, f"{describe(value)} of {len(value)} characters")
        return _read(self, value) if isinstance(value, str) else self.read(value)

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(
            self.check,
            serialization=core_schema.plain_serializer_function_ser_schema(self.write),
        )

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return dict(self.schema)


@lru_cache(maxsize=4096)
def _read(field: FieldType, text: str) -> Any:
    # the same few texts are read over and over, where a form has what its stage has, or of a
    # file that is read again with one value changed
    return field.read(text)


def either(word: str, meaning: Value, read: Callable[[str], Value]) -> Callable[[str], Value]:
    """Return a reader that also takes a word, and says so where it takes neither."""

    def read_either(text: str) -> Value:
        if text == word:
            return meaning
        try:
            return read(text)
        except MisfitError as misfit:
            if str(misfit.expected).startswith("expected"):
                raise MisfitError(f"{misfit.expected}, or {word}", misfit.found) from None
            raise

    return read_either


def _text_schema(pattern: str, *others: str) -> dict[str, Any]:
    pattern = f"^(?:{pattern})$"
    text = {"type": "string", "pattern": pattern}
    return {"anyOf": [text, *({"const": other} for other in others)]} if others else text


_LAW_PATTERN = laws.pattern()
_CLOCK_PATTERN = "(?:[01]?[0-9]|2[0-3]):[0-5][0-9](?::[0-5][0-9])?"
_DAY_PATTERN = "(?:{})".format(
    "|".join(f"[{day[0]}{day[0].lower()}]{day[1:3]}(?:{day[3:]})?" for day in WEEKDAYS)
)
_SLEEP_PATTERN = f"{_CLOCK_PATTERN} to (?:{_CLOCK_PATTERN}|24:00(?::00)?)"
_DAYS_PATTERN = f"(?:weekdays|weekends|{_DAY_PATTERN}(?:-{_DAY_PATTERN})?)"
_WINDOW_PATTERN = f"{_SLEEP_PATTERN}(?: on {_DAYS_PATTERN}(?: {_DAYS_PATTERN})*)?"
SPAN_RANGE_PATTERN = f"(?:{TIME_PATTERN})(?: to (?:{TIME_PATTERN}))?"
PATTERNS = {
    f"^(?:{SPAN_RANGE_PATTERN})$": "time or range of times",
    f"^(?:{TIME_PATTERN})$": "time",
    f"^(?:{_LAW_PATTERN})$": "distribution",
    f"^(?:{_WINDOW_PATTERN})$": "window",
    f"^(?:{_SLEEP_PATTERN})$": "sleep window",
}
"""The long patterns of the schema, which it holds once each, under these names."""
_NAME_SCHEMA = {"type": "string", "minLength": 1}
_CHANCE_SCHEMA = {
    "anyOf": [
        {"type": "number", "minimum": 0, "maximum": 1},
        _text_schema(r"(?:100|[0-9]{1,2}(?:\.[0-9]+)?) ?%|0(?:\.[0-9]+)?|1(?:\.0+)?"),
    ]
}


def _count_schema(least: int, most: int = LARGEST) -> dict[str, Any]:
    return {"type": "integer", "minimum": least, "maximum": most}


def name_except(kind: str, reserved: Iterable[str]) -> FieldType:
    """Return the kind of a name that is none of the reserved ones."""
    taken = frozenset(reserved)

    def read(text: str) -> str:
        if text in taken:
            raise MisfitError(f"expected another name for the {kind}, as this one has a meaning")
        return name(text)

    schema = {**_NAME_SCHEMA, "not": {"enum": sorted(taken)}}
    return FieldType(read, str, schema, "expected a name")


def count_type(least: int, most: int = LARGEST) -> FieldType:
    """Return the kind of a whole number from `least` to `most`."""
    return FieldType(
        lambda text: count(text, least, most),
        int,
        _count_schema(least, most),
        f"expected a whole number, {least} or more",
    )


def _never_or(span: int | None) -> str:
    return "never" if span is None else duration_text(span)


Span = Annotated[int, FieldType(duration, duration_text, _text_schema(TIME_PATTERN), A_TIME)]
Delay = Annotated[
    int,
    FieldType(lambda text: duration(text, 0), duration_text, _text_schema(TIME_PATTERN), A_TIME),
]
SpanOrNever = Annotated[
    int | None,
    FieldType(
        either("never", None, duration),
        _never_or,
        _text_schema(TIME_PATTERN, "never"),
        f"{A_TIME}, or never",
    ),
]
SpanNeverOrUsual = Annotated[
    int | Literal["usual"] | None,
    FieldType(
        either("never", None, duration),
        lambda value: None if value == "usual" else _never_or(value),
        _text_schema(TIME_PATTERN, "never"),
        f"{A_TIME}, or never",
    ),
]
SpanOrRandom = Annotated[
    int | Literal["random"],
    FieldType(
        either("random", "random", lambda text: duration(text, 0)),
        lambda value: value if value == "random" else duration_text(value),
        _text_schema(TIME_PATTERN, "random"),
        f"{A_TIME}, or random",
    ),
]
Law = Annotated[
    laws.Distribution,
    FieldType(laws.distribution, str, _text_schema(_LAW_PATTERN), laws.A_LAW),
]
Chance = Annotated[float, FieldType(chance, chance_text, _CHANCE_SCHEMA, A_CHANCE)]
Worth = Annotated[float, FieldType(worth, worth_number, _CHANCE_SCHEMA, A_WORTH)]
Rate = Annotated[
    float,
    FieldType(
        rate,
        lambda value: f"{plain_number(value)} per day",
        _text_schema(f"{NUMBER} per day"),
        A_RATE,
    ),
]
ClockWindow = Annotated[Window, FieldType(window, str, _text_schema(_WINDOW_PATTERN), A_WINDOW)]
TimeOfDay = Annotated[
    ClockTime,
    FieldType(
        clock_time,
        str,
        _text_schema(f"{_CLOCK_PATTERN}(?: on {_DAYS_PATTERN}(?: {_DAYS_PATTERN})*)?"),
        A_CLOCK_TIME,
    ),
]
SleepWindow = Annotated[
    Window, FieldType(sleep_window, str, _text_schema(_SLEEP_PATTERN), A_WINDOW)
]
Beginning = Annotated[
    Begins,
    FieldType(
        begins,
        str,
        _text_schema(f"(?:{_DAY_PATTERN} )?{_CLOCK_PATTERN}"),
        "expected a weekday and a clock time, such as Monday 09:00",
    ),
]
Compared = Annotated[
    Bound,
    FieldType(
        comparison,
        str,
        {
            "anyOf": [
                _count_schema(0),
                _text_schema(f"(?:(?:{'|'.join(OPERATORS)}) )?[0-9]+"),
            ]
        },
        A_COMPARISON,
    ),
]
NameSet = Annotated[
    Names,
    FieldType(
        names,
        Names.written,
        {"anyOf": [_NAME_SCHEMA, {"type": "array", "items": _NAME_SCHEMA, "minItems": 1}]},
        "expected a name, a list of names, or 'not' and a name",
        structured=True,
    ),
]
Name = Annotated[str, FieldType(name, str, _NAME_SCHEMA, "expected a name")]
Change = Annotated[
    int,
    FieldType(
        change,
        int,
        {"type": "integer", "minimum": -LARGEST, "maximum": LARGEST},
        "expected a whole number, such as +1 or -1",
    ),
]
YesNo = Annotated[
    bool,
    FieldType(
        yes_or_no,
        lambda value: "yes" if value else "no",
        {"enum": [True, False, "yes", "no"]},
        "expected yes or no",
    ),
]
OnOff = Annotated[
    Literal["on", "off"],
    FieldType(on_or_off, str, {"enum": ["on", "off"]}, "expected on or off"),
]
Natural = Annotated[int, count_type(0)]
Positive = Annotated[int, count_type(1)]
CountOrNever = Annotated[
    int | None,
    FieldType(
        either("never", None, lambda text: count(text, 1)),
        lambda value: "never" if value is None else value,
        {"anyOf": [_count_schema(1), {"const": "never"}]},
        "expected a whole number, 1 or more, or never",
    ),
]
SignalList = Annotated[
    tuple[str, ...],
    FieldType(
        signals,
        list,
        {"type": "array", "items": _NAME_SCHEMA, "minItems": 1, "uniqueItems": True},
        A_SIGNAL_LIST,
        structured=True,
    ),
]
ActionToDo = Annotated[str, FieldType(action, str, _NAME_SCHEMA, "expected an action")]
Title = Annotated[str, FieldType(title, str, _NAME_SCHEMA, "expected a name")]
