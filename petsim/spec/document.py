"""YAML text -> plain data in which every scalar is text and every key keeps its line.

YAML readers disagree about what `22:30`, `on` or `010` is; kept as text, each has one meaning,
given to it by the field that holds it. The file is read event by event, so no depth of nesting
and no web of aliases can exhaust the reader before it is refused.
"""

from __future__ import annotations

import math
import numbers
import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from pathlib import Path
from typing import Any, TypeAlias

import yaml

from petsim.errors import MisfitError, Problem, SpecError, describe, quote

LARGEST_FILE = 1_000_000
"""Bytes a file may have."""
DEEPEST = 20
"""Mappings and lists that may lie inside each other."""

Data: TypeAlias = "str | dict[str, Data] | list[Data]"
Steps: TypeAlias = tuple[str | int, ...]
"""The way to a value: keys, and indices of lists."""

_SURROGATE = re.compile("[\ud800-\udfff]")
_FAULTS_OF_SYNTAX = (
    ("cannot start any token", "found a character that no text begins with", "quotes around it"),
    (
        "mapping values are not allowed",
        "found a ': ' where there can be no key",
        "quotes around a text that has one, or the indentation of the neighbouring keys",
    ),
    ("could not find expected ':'", "found a line without ': '", "a key, a colon and a space"),
    (
        "expected ',' or",
        "found neither a comma nor the end of a bracket",
        "a comma between its parts, or the closing bracket",
    ),
    ("unexpected end of stream", "found a quote that is not closed", "the closing quote"),
    ("expected <block end>", "found a line out of step", "the indentation of its neighbours"),
)


@dataclass(frozen=True)
class Fault:
    """Something wrong at a place of a document.

    It is shown at the value, with `of_key` at the key, or where `position` says.
    """

    steps: Steps
    found: str
    expected: str
    of_key: bool = False
    position: tuple[int, int] | None = None


@dataclass(frozen=True)
class Place:
    """Line and column, from 1, of a value and of the key before it (none in a list)."""

    key: tuple[int, int] | None
    value: tuple[int, int]


@dataclass(frozen=True)
class Document:
    """A file as plain data, with the place of everything in it.

    `faults` are the duplicate keys, which do not stop the rest from being read. `shipped_as` is the
    name that a file which comes with petsim is asked for by; its `file` has no folder, which
    says nothing to a person.
    """

    file: str
    data: dict[str, Data]
    places: dict[Steps, Place] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()
    shipped_as: str = ""

    @classmethod
    def read(cls, path: str | Path) -> Document:
        """Read a YAML file; raise SpecError if it is not one that this project reads."""
        return cls.from_text(_text(str(path), _content(path)), str(path))

    @classmethod
    def from_text(cls, text: str, file: str) -> Document:
        """Read YAML text; `file` is the name to show."""
        composer = _Composer(file)
        try:
            for event in yaml.parse(text, Loader=yaml.SafeLoader):
                composer.take(event)
        except yaml.reader.ReaderError as error:
            line, column = _line_and_column(text, error.position)
            found = f"found the control character {chr(int(error.character))!r}"
            raise SpecError(
                [Problem(file, line, column, "", found, "expected plain text")]
            ) from None
        except yaml.MarkedYAMLError as error:
            raise SpecError([_problem_of_syntax(error, file)]) from None
        except (ValueError, OverflowError):
            found = "found an escape or a directive that means nothing"
            raise SpecError([Problem(file, None, None, "", found, "expected plain YAML")]) from None
        return composer.document()

    @classmethod
    def from_data(cls, data: Mapping[str, object], name: str) -> Document:
        """Take plain Python data: mappings, lists, text, numbers, booleans (read as yes or no)."""
        faults: list[Fault] = []
        plain = _plain(data, (), faults)
        if faults:
            raise SpecError([cls(name, {}).problem(fault) for fault in faults])
        assert isinstance(plain, dict)
        return cls(name, plain)

    @property
    def stem(self) -> str:
        """The file's name without directory and ending."""
        return Path(self.file).stem

    def at(self, *steps: str | int) -> Data | None:
        """Return the data at a place, or None if there is nothing."""
        here: Data = self.data
        for step in steps:
            if isinstance(here, dict) and isinstance(step, str):
                below = here.get(step)
            elif isinstance(here, list) and isinstance(step, int):
                below = here[step] if step < len(here) else None
            else:
                below = None
            if below is None:
                return None
            here = below
        return here

    def mapping(self, *steps: str | int) -> dict[str, Data]:
        """Return the mapping at a place, an empty one if there is something else."""
        here = self.at(*steps)
        return here if isinstance(here, dict) else {}

    def sequence(self, *steps: str | int) -> list[Data]:
        """Return the list at a place, an empty one if there is something else."""
        here = self.at(*steps)
        return here if isinstance(here, list) else []

    def text(self, *steps: str | int) -> str | None:
        """Return the text at a place, None if there is something else."""
        here = self.at(*steps)
        return here if isinstance(here, str) else None

    def written(self, steps: Steps) -> Steps:
        """Return as much of the way as the document goes along."""
        while steps and self.at(*steps) is None:
            steps = steps[:-1]
        return steps

    def with_value(self, steps: Steps, value: Data) -> Document:
        """The same with another value at a place, in mappings made anew where there are none.

        Raises:
            MisfitError: the way leads through a text, or to an entry that a list does not have.
        """
        return replace(self, data=_with(self.data, steps, value))

    def problem(self, fault: Fault) -> Problem:
        """Return the fault with file, line and column."""
        line, column = fault.position or self._position(fault) or (None, None)
        name = field_name(fault.steps)
        return Problem(self.file, line, column, name, fault.found, fault.expected, self.shipped_as)

    def _position(self, fault: Fault) -> tuple[int, int] | None:
        """Return where to look: what is missing is missing from the mapping around it."""
        known = self.written(fault.steps)
        place = self.places.get(known)
        if place is None:
            return None
        at_value = known == fault.steps and not fault.of_key and isinstance(self.at(*known), str)
        return place.value if at_value else place.key or place.value

    def problems(self, faults: Iterable[Fault]) -> list[Problem]:
        """Return these faults and the document's own, each once, in the order of the file."""
        found = dict.fromkeys(self.problem(fault) for fault in (*self.faults, *faults))
        return sorted(found, key=lambda problem: (problem.line or 0, problem.column or 0))


def _with(here: Data | None, steps: Steps, value: Data) -> Any:
    if not steps:
        return value
    step, rest = steps[0], steps[1:]
    if isinstance(step, int):
        if not isinstance(here, list):
            raise MisfitError("expected a list", describe(here or ""))
        if step >= len(here):
            raise MisfitError(f"expected one of {len(here)}, from [0] on", f"found no [{step}]")
        return [_with(x, rest, value) if i == step else x for i, x in enumerate(here)]
    if here is not None and not isinstance(here, dict):
        raise MisfitError(f"expected a path that ends above {quote(step)}", describe(here))
    return (here or {}) | {step: _with((here or {}).get(step), rest, value)}


def is_file(path: str | Path) -> bool:
    """Whether there is such a file; under a name that no file can have there is none."""
    try:
        return Path(path).is_file()
    except OSError:
        return False


def field_name(steps: Steps) -> str:
    """Write a way as users see it: `stages.infant.drops.hunger`, `routine[3].repeat`."""
    name = "".join(
        f"[{step}]" if isinstance(step, int) else f".{step if step.isprintable() else quote(step)}"
        for step in steps
    )
    return name.removeprefix(".")


def plain_number(value: float) -> str:
    """Write a float so that it reads back the same, without an exponent."""
    if not math.isfinite(value):
        return str(value)
    text = format(Decimal(repr(float(value))), "f")
    return text.removesuffix(".0")


def _content(path: str | Path) -> bytes:
    """Return the bytes of a file of bearable size."""

    def refuse(found: str, expected: str) -> SpecError:
        return SpecError([Problem(str(path), None, None, "", found, expected)])

    try:
        with Path(path).open("rb") as stream:
            content = stream.read(LARGEST_FILE + 1)
            size = Path(path).stat().st_size
    except FileNotFoundError:
        raise refuse("no such file", "expected a YAML file") from None
    except IsADirectoryError:
        raise refuse("found a directory", "expected a YAML file") from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or "not a file name"
        raise refuse(f"cannot be read: {why}", "expected a YAML file") from None
    if len(content) > LARGEST_FILE:
        raise refuse(
            f"found {max(size, len(content)):,} bytes", f"expected at most {LARGEST_FILE:,}"
        )
    return content


def _text(file: str, content: bytes) -> str:
    """Decode the bytes of a file, with or without a byte order mark."""
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        column = error.start - content.rfind(b"\n", 0, error.start)
        found = f"found the byte 0x{content[error.start]:02x}"
        problem = Problem(file, line, column, "", found, "expected text in UTF-8")
        raise SpecError([problem]) from None


def _line_and_column(text: str, index: int) -> tuple[int, int]:
    return text.count("\n", 0, index) + 1, index - text.rfind("\n", 0, index)


def _problem_of_syntax(error: yaml.MarkedYAMLError, file: str) -> Problem:
    """Return YAML's own complaint in the words of a person."""
    opened = "quoted scalar" in str(error.context)
    mark = error.context_mark if opened else error.problem_mark or error.context_mark
    line, column = (None, None) if mark is None else (mark.line + 1, mark.column + 1)
    complaint = f"{error.context}, {error.problem}"
    if "'\\t'" in complaint:
        return Problem(file, line, column, "", "found a tab", "expected spaces")
    for part, found, expected in _FAULTS_OF_SYNTAX:
        if part in complaint:
            return Problem(file, line, column, "", found, f"expected {expected}")
    found = f"cannot be read as YAML ({error.problem or error.context})"
    return Problem(file, line, column, "", found, "expected keys and values")


def _position(event: yaml.Event) -> tuple[int, int]:
    mark = event.start_mark
    return (0, 0) if mark is None else (mark.line + 1, mark.column + 1)


@dataclass
class _Open:
    """A mapping or list being read, and the key whose value comes next."""

    steps: Steps
    data: dict[str, Data] | list[Data]
    key: str | None = None
    key_position: tuple[int, int] | None = None


class _Composer:
    """Builds a document from the events of a YAML parser."""

    def __init__(self, file: str) -> None:
        self._file = file
        self._root: Data | None = None
        self._places: dict[Steps, Place] = {}
        self._open: list[_Open] = []
        self._duplicates: list[Fault] = []
        self._refused: list[Fault] = []

    def take(self, event: yaml.Event) -> None:
        """Take the next event."""
        if isinstance(event, yaml.DocumentStartEvent) and self._root is not None:
            raise self._stop(event, "found a second document", "expected one in a file")
        if isinstance(event, yaml.CollectionEndEvent):
            self._open.pop()
        elif isinstance(event, yaml.NodeEvent):
            self._refuse_dialect(event)
            parent = self._open[-1] if self._open else None
            if parent is not None and isinstance(parent.data, dict) and parent.key is None:
                self._take_key(parent, parent.data, event)
            else:
                self._take_value(parent, event)

    def document(self) -> Document:
        """Return what was read."""
        document = Document(self._file, {}, self._places, tuple(self._duplicates))
        if self._refused:
            raise SpecError(document.problems(self._refused))
        if not self._root or not isinstance(self._root, dict):
            expected = "expected keys and values, the first of them 'petsim'"
            fault = Fault((), describe(self._root or ""), expected)
            raise SpecError([document.problem(fault)])
        return replace(document, data=self._root)

    def _stop(self, event: yaml.Event, found: str, expected: str) -> SpecError:
        line, column = _position(event)
        return SpecError([Problem(self._file, line, column, "", found, expected)])

    def _refuse_dialect(self, event: yaml.NodeEvent) -> None:
        """Note what YAML offers beyond plain keys and values."""

        def refuse(found: str, expected: str) -> None:
            self._refused.append(Fault((), found, expected, position=_position(event)))

        if isinstance(event, yaml.AliasEvent):
            refuse(f"found the alias {quote(f'*{event.anchor}')}", "write the value out")
        elif event.anchor is not None:
            refuse(f"found the anchor {quote(f'&{event.anchor}')}", "write the value out")
        tag = getattr(event, "tag", None)
        if tag is not None:
            refuse(f"found the tag {quote(tag)}", "write the value without it")
        if isinstance(event, yaml.ScalarEvent) and _SURROGATE.search(event.value):
            refuse("found half of a character", "expected the whole of it")

    def _take_key(self, parent: _Open, data: dict[str, Data], event: yaml.NodeEvent) -> None:
        if isinstance(event, yaml.CollectionStartEvent):
            raise self._stop(event, "found a mapping or list as a key", "expected a word")
        position = _position(event)
        key = _scalar(event)
        if key == "<<":
            fault = Fault((), "found the merge key '<<'", "write the values out", position=position)
            self._refused.append(fault)
        if key in data:
            first = self._places[(*parent.steps, key)].key or position
            found = f"found the key again, first in line {first[0]}"
            fault = Fault((*parent.steps, key), found, "expected it once", position=position)
            self._duplicates.append(fault)
        parent.key, parent.key_position = key, position

    def _take_value(self, parent: _Open | None, event: yaml.NodeEvent) -> None:
        value: Data = ""
        if isinstance(event, yaml.MappingStartEvent):
            value = {}
        elif isinstance(event, yaml.SequenceStartEvent):
            value = []
        else:
            value = _scalar(event)
        steps = self._store(parent, value, _position(event))
        if not isinstance(value, str):
            if len(self._open) == DEEPEST:
                found = f"found more than {DEEPEST} mappings and lists inside each other"
                raise self._stop(event, found, "expected fewer")
            self._open.append(_Open(steps, value))

    def _store(self, parent: _Open | None, value: Data, position: tuple[int, int]) -> Steps:
        """Put a value where it belongs; of a key written twice the first value stays."""
        if parent is None:
            self._root = value
            steps: Steps = ()
            key_position = None
        elif isinstance(parent.data, list):
            parent.data.append(value)
            steps = (*parent.steps, len(parent.data) - 1)
            key_position = None
        else:
            assert parent.key is not None
            parent.data.setdefault(parent.key, value)
            steps = (*parent.steps, parent.key)
            key_position = parent.key_position
            parent.key = None
        self._places.setdefault(steps, Place(key_position, position))
        return steps


def _scalar(event: yaml.NodeEvent) -> str:
    """Return the text of a scalar, of an alias none; letters with accents in one spelling."""
    text = event.value if isinstance(event, yaml.ScalarEvent) else ""
    return unicodedata.normalize("NFC", text)


def _plain(value: object, steps: Steps, faults: list[Fault]) -> Data:
    """Return Python data as data of a document, noting what has no place in one."""
    if len(steps) > DEEPEST:
        found = f"found more than {DEEPEST} mappings and lists inside each other"
        faults.append(Fault((), found, "expected fewer"))
        return ""
    if value is None or isinstance(value, str):
        return unicodedata.normalize("NFC", value or "")
    if isinstance(value, numbers.Real):
        return _plain_scalar(value)
    if isinstance(value, Mapping):
        return _plain_mapping(value, steps, faults)
    if isinstance(value, Sequence) and not isinstance(value, bytes | bytearray):
        return [_plain(item, (*steps, index), faults) for index, item in enumerate(value)]
    found = f"found a Python object of type {type(value).__name__}"
    faults.append(Fault(steps, found, "expected text, a number, yes or no, a list or a mapping"))
    return ""


def _plain_mapping(
    value: Mapping[object, object], steps: Steps, faults: list[Fault]
) -> dict[str, Data]:
    plain: dict[str, Data] = {}
    for key, item in value.items():
        if isinstance(key, bool) or not isinstance(key, str | numbers.Integral):
            faults.append(Fault(steps, f"found the key {quote(str(key))}", "expected a word"))
            continue
        word = unicodedata.normalize(
            "NFC", key if isinstance(key, str) else _whole_number(int(key))
        )
        if word in plain:
            faults.append(Fault((*steps, word), "found the key again", "expected it once"))
        plain[word] = _plain(item, (*steps, word), faults)
    return plain


def _plain_scalar(value: numbers.Real) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, numbers.Integral):
        return _whole_number(int(value))
    return plain_number(float(value))


def _whole_number(value: int) -> str:
    return str(value) if abs(value) < 10**100 else "a number of over 100 digits"
