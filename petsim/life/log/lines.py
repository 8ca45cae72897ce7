"""The lines of a log's file: what each event has, and how one is written and read as JSON."""

from __future__ import annotations

import json
import math
import re
import unicodedata
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from typing import Any, NamedTuple, NoReturn, get_args

from petsim.errors import Choice, MisfitError, SeveralMisfitsError, legible, quote, unknown
from petsim.life.log.entries import Outcome, Value
from petsim.spec.model import MOST_DISCIPLINE, MOST_LEVEL, SIGNALS
from petsim.spec.quantities import LARGEST, LONGEST, name

FORMAT = "log 1"
"""What the header of a log says that it is, as `petsim`."""
LONGEST_LINE = 4096
"""Bytes that a line may have, its end included: up to here a file system writes it as one."""
LONGEST_TEXT = 500
"""Characters of a text that is no name."""
YES_NO = tuple(signal for signal in SIGNALS if signal != "waste")
"""Signals that are there or not."""
YEARS = range(2000, 2100)
"""In which a log can be written."""

_MOMENT = re.compile(
    r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d:\d\d(?:\.\d{1,9})?(?:[Zz]|[+-]\d\d:\d\d)", re.ASCII
)
_A_MOMENT = (
    "expected a time with its offset from UTC, as in RFC 3339, such as "
    "2026-03-02T09:00:03.120+01:00"
)
_EPOCH = datetime(1970, 1, 1)

Read = Callable[[Any], Any]


class Moment(NamedTuple):
    """A wall-clock time: seconds since 1970 began, by UTC, and what to add for local time."""

    utc: float
    offset: float


class Line(NamedTuple):
    """A line that was read: its number in the file, from 1, and what it says."""

    number: int
    n: int
    at: Moment
    up: float
    boot: int
    event: str
    fields: dict[str, Any]


class UnreadableError(Exception):
    """A line is no JSON object in UTF-8, as one is that was cut off while it was written.

    column: where it ceases to be one, if known.
    """

    def __init__(self, found: str, column: int = 1) -> None:
        super().__init__(found)
        self.found = found
        self.column = column


# What a field can mean


def _shown(value: Any) -> str:
    """What was found, as JSON has it."""
    if isinstance(value, str):
        return f"found {quote(value)}" if value else "found an empty text"
    if isinstance(value, dict | list):
        return "found a mapping" if isinstance(value, dict) else "found a list"
    return f"found {json.dumps(value)}"


def _misfit(value: Any, expected: str) -> MisfitError:
    return MisfitError(expected, _shown(value))


def _whole(least: int, most: int = LARGEST) -> Read:
    def read(value: Any) -> int:
        if not isinstance(value, int) or isinstance(value, bool) or not least <= value <= most:
            up_to = "or more" if most >= LARGEST else f"to {most}"
            raise _misfit(value, f"expected a whole number, {least} {up_to}")
        return value

    return read


def _seconds(value: Any) -> float:
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    if not is_number or not 0 <= value <= LONGEST:
        raise _misfit(value, "expected seconds, 0 or more")
    return float(value)


def _flag(value: Any) -> bool:
    if not isinstance(value, bool):
        raise _misfit(value, "expected true or false")
    return value


def _text(value: Any) -> str:
    if not isinstance(value, str) or not value.strip() or value != legible(value):
        raise _misfit(value, "expected a text in one line, without control characters")
    if len(value) > LONGEST_TEXT:
        raise _misfit(value, f"expected at most {LONGEST_TEXT} characters")
    return value


def _name(value: Any) -> str:
    if not isinstance(value, str):
        raise _misfit(value, "expected a name, as text")
    try:
        return name(unicodedata.normalize("NFC", value) if len(value) < LONGEST_TEXT else value)
    except MisfitError as misfit:
        raise _misfit(value, str(misfit.expected)) from None


def _word(*words: str) -> Read:
    def read(value: Any) -> str:
        if not isinstance(value, str) or value not in words:
            known = value if isinstance(value, str) else ""
            raise MisfitError(Choice(known, words), _shown(value))
        return value

    return read


def _names(value: Any) -> tuple[str, ...]:
    """Names of signals, each once."""
    if not isinstance(value, list):
        raise _misfit(value, 'expected a list of signals, such as ["hunger", "waste"]')
    for index, item in enumerate(value):
        _at(index, _name, item)
        if item in value[:index]:
            raise MisfitError("expected each signal once", _shown(item), at=(index,))
        if item == "clock":
            expected = "expected signals of the pet, as the time is what `at` says"
            raise MisfitError(expected, _shown(item), at=(index,))
    return tuple(map(_name, value))


def moment(value: Any) -> Moment:
    """Return the moment of a text as in RFC 3339."""
    if not isinstance(value, str) or not _MOMENT.fullmatch(value):
        raise _misfit(value, _A_MOMENT)
    try:
        at = datetime.fromisoformat(value.upper())
    except ValueError:
        raise _misfit(value, _A_MOMENT) from None
    if at.year not in YEARS:
        raise _misfit(value, f"expected a year from {YEARS[0]} to {YEARS[-1]}")
    local = (at.replace(tzinfo=None) - _EPOCH).total_seconds()
    offset = at.utcoffset()
    assert offset is not None
    return Moment(local - offset.total_seconds(), offset.total_seconds())


def _saw(value: Any) -> dict[str, Value]:
    """What was read: signals and values; a signal that petsim has no name for is a need's level."""
    if not isinstance(value, dict):
        raise _misfit(value, 'expected signals with what was seen, such as {"hunger": 3}')
    return {_at(key, _name, key): _at(key, signal_reader(key), item) for key, item in value.items()}


def signal_reader(signal: str) -> Read:
    """What reads a value of a signal."""
    return _READERS.get(signal, _whole(0, MOST_LEVEL))


_READERS: dict[str, Read] = {
    "waste": _whole(0),
    **dict.fromkeys(YES_NO, _flag),
    "stage": _name,
    "form": _name,
    "weight": _whole(0),
    "discipline": _whole(0, MOST_DISCIPLINE),
}


def _at(step: str | int, read: Read, value: Any) -> Any:
    """Read a value inside another, in which `step` leads to it."""
    try:
        return read(value)
    except MisfitError as misfit:
        raise MisfitError(misfit.expected, misfit.found, at=(step, *misfit.at)) from None


# What each event has


class Event(NamedTuple):
    """The fields of an event, and what reads each: those it must have, and those it may have."""

    must: Mapping[str, Read]
    may: Mapping[str, Read]


_EACH: dict[str, Read] = {
    "n": _whole(0, LONGEST),
    "at": moment,
    "up": _seconds,
    "boot": _whole(0),
}
"""What every line has, beside its event."""
_IN_A_CHECK: dict[str, Read] = {"check": _whole(0), "step": _whole(0)}
EVENTS: dict[str, Event] = {
    "header": Event(
        {"petsim": _word(FORMAT), "pet": _text, "signals": _names},
        {"regime": _text, "regime sha256": _text, "pet clock": moment},
    ),
    "start": Event({}, {"cause": _text}),
    "stop": Event({}, {}),
    "alive": Event({}, {}),
    "birth": Event({}, {}),
    "check": Event({"check": _whole(1)}, {"by": _word("grid", "call")}),
    "skipped": Event({}, {"by": _word("grid", "call")}),
    "look": Event({"saw": _saw}, {**_IN_A_CHECK, "unreadable": _names}),
    "status": Event(
        {},
        {
            "check": _whole(0),
            "weight": _READERS["weight"],
            "discipline": _READERS["discipline"],
            "age": _whole(0),
        },
    ),
    "pressing": Event({"action": _name}, {"check": _whole(0)}),
    "action": Event(
        {"action": _name, "began": _seconds, "presses": _whole(0)},
        {
            "check": _whole(0),
            "outcome": _word(*(word for word in get_args(Outcome) if word != "unfinished")),
        },
    ),
    "pet clock": Event({"pet clock": moment}, {}),
    "end": Event({"cause": _word("died", "left")}, {}),
    "note": Event({"text": _text}, {}),
}


# Reading a line


def read_line(number: int, content: bytes) -> Line:
    """Return the line of a file's bytes, without the end of the line.

    Raises:
        UnreadableError: it is no JSON object.
        SeveralMisfitsError: it is one, but not a line of a log.
    """
    plain = _plain(content)
    misfits: list[MisfitError] = []
    event = plain.pop("event", None)
    kind = EVENTS.get(event) if isinstance(event, str) else None
    if kind is None:
        raise SeveralMisfitsError([_unknown_event(event)])
    known = {**_EACH, **kind.must, **kind.may}
    read: dict[str, Any] = {}
    for key, value in plain.items():
        try:
            read[key] = _at(key, _reader(key, known), value)
        except MisfitError as misfit:
            misfits.append(misfit)
    misfits += [
        MisfitError(f"expected it in a line of {event!r}", "missing", at=(key,))
        for key in (*_EACH, *kind.must)
        if key not in plain
    ]
    if event == "status" and not kind.may.keys() - {"check"} & plain.keys():
        misfits.append(MisfitError("expected 'weight', 'discipline' or 'age'", "found none"))
    if misfits:
        raise SeveralMisfitsError(misfits)
    n, at, up, boot = (read.pop(key) for key in _EACH)
    return Line(number, n, at, up, boot, str(event), read)


def _reader(key: str, known: Mapping[str, Read]) -> Read:
    if key not in known:
        misfit = unknown("key", key, [*known, "event"])
        raise MisfitError(misfit.expected, misfit.found, at=(key,))
    return known[key]


def _unknown_event(event: Any) -> MisfitError:
    if event is None:
        return MisfitError("expected what the line tells, such as 'look'", "missing", at=("event",))
    if not isinstance(event, str):
        expected = "expected the name of an event, such as 'look'"
        return MisfitError(expected, _shown(event), at=("event",))
    misfit = unknown("event", event, EVENTS)
    return MisfitError(misfit.expected, misfit.found, at=("event",))


def _plain(content: bytes) -> dict[str, Any]:
    """The JSON object of a line's bytes; of one that has a key twice, raise SeveralMisfitsError."""
    if len(content) >= LONGEST_LINE:
        raise UnreadableError(f"found a line of more than {LONGEST_LINE:,} bytes")
    if not content.strip():
        raise UnreadableError("found an empty line")
    try:
        text = content.decode("utf-8")
    except UnicodeDecodeError as error:
        byte = f"found the byte 0x{content[error.start]:02x}, which is no UTF-8"
        raise UnreadableError(byte, error.start + 1) from None
    try:
        plain = json.loads(
            text, object_pairs_hook=_once, parse_constant=_no_number, parse_float=_finite
        )
    except json.JSONDecodeError as error:
        character = text[error.pos : error.pos + 1]
        found = f"found {quote(character)}" if character else "found the end of the line"
        raise UnreadableError(f"{found}, which is no JSON there", error.colno) from None
    except SeveralMisfitsError:
        raise
    except (ValueError, RecursionError) as error:
        why = str(error) if isinstance(error, _NoNumberError) else "found no such JSON"
        raise UnreadableError(why) from None
    if not isinstance(plain, dict):
        raise UnreadableError(_shown(plain))
    return plain


class _NoNumberError(ValueError):
    """A number is none that JSON has."""


def _no_number(text: str) -> NoReturn:
    raise _NoNumberError(f"found {text}, which is no number of JSON")


def _finite(text: str) -> float:
    value = float(text)
    return value if math.isfinite(value) else _no_number(quote(text))


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    plain: dict[str, Any] = {}
    for key, value in pairs:
        if key in plain:
            misfit = MisfitError("expected it once", "found the key again", at=(key,))
            raise SeveralMisfitsError([misfit])
        plain[key] = value
    return plain


# Writing a line


def line_text(
    n: int, at: datetime, up: float, boot: int, event: str, fields: Mapping[str, Any]
) -> str:
    """Return a line of a log, with its end.

    Raises:
        MisfitError: it would be longer than a line may be.
    """
    written = {
        "n": n,
        "at": at.isoformat(timespec="milliseconds"),
        "up": _short(up),
        "boot": boot,
        "event": event,
        **fields,
    }
    line = json.dumps(written, ensure_ascii=False, allow_nan=False, separators=(",", ":")) + "\n"
    if len(line.encode()) > LONGEST_LINE:
        raise MisfitError(f"expected at most {LONGEST_LINE:,} bytes", f"found a longer {event!r}")
    return line


def _short(seconds: float) -> float:
    """Seconds to a thousandth, whole ones without a point."""
    rounded = round(seconds, 3)
    return int(rounded) if rounded == int(rounded) else rounded


def utc(seconds: float) -> datetime:
    """Return the moment so many seconds after the beginning of 1970, in UTC."""
    return datetime.fromtimestamp(seconds, UTC)
