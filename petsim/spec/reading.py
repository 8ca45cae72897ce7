"""From a file, YAML text or Python data to a document, in which every scalar is text.

YAML readers disagree about what `22:30`, `on` or `010` is; kept as text, each has one meaning,
given to it by the field that holds it. The file is read event by event, so no depth of nesting
and no web of aliases can exhaust the reader before it is refused.
"""

from __future__ import annotations

import numbers
import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import yaml

from petsim.errors import Problem, SpecError, describe, quote
from petsim.spec.document import (
    Data,
    Document,
    Fault,
    Place,
    Steps,
    other_than_file,
    plain_number,
)

LARGEST_FILE = 1_000_000
"""Bytes a file may have."""
DEEPEST = 20
"""Mappings and lists that may lie inside each other."""
TOO_DEEP = f"found more than {DEEPEST} mappings and lists inside each other"

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


def read_file(path: str | Path) -> Document:
    """Return the document of a YAML file; raise SpecError if this project can't read it."""
    return read_text(_decoded(_content(path), str(path)), str(path))


def read_text(text: str, file: str) -> Document:
    """Return the document of YAML text; `file` is the name that its problems show."""
    composer = _Composer(file)
    try:
        for event in yaml.parse(text, Loader=yaml.SafeLoader):
            composer.take(event)
    except yaml.reader.ReaderError as error:
        line, column = _line_and_column(text, error.position)
        character = f"found the control character {chr(int(error.character))!r}"
        raise SpecError(
            [Problem(file, line, column, "", character, "expected plain text")]
        ) from None
    except yaml.MarkedYAMLError as error:
        raise SpecError([_problem_of_syntax(error, file)]) from None
    except (ValueError, OverflowError):
        nonsense = "found an escape or a directive that means nothing"
        raise SpecError([Problem(file, None, None, "", nonsense, "expected plain YAML")]) from None
    return composer.document()


def read_data(data: Mapping[str, object], name: str) -> Document:
    """Return the document of plain Python data: mappings, lists, text, numbers, booleans.

    A boolean reads as yes or no. `name` is what problems show for a file.
    """
    faults: list[Fault] = []
    plain = _plain(data, (), faults)
    if faults:
        raise SpecError([Document(name, {}).problem(fault) for fault in faults])
    assert isinstance(plain, dict)
    return Document(name, plain)


def _content(path: str | Path) -> bytes:
    """Return the bytes of a file of bearable size."""

    def refuse(found: str, expected: str) -> SpecError:
        return SpecError([Problem(str(path), None, None, "", found, expected)])

    if (other := other_than_file(path)) is not None:
        raise refuse(f"found {other}", "expected a YAML file")
    try:
        with Path(path).open("rb") as stream:
            content = stream.read(LARGEST_FILE + 1)
            size = Path(path).stat().st_size
    except FileNotFoundError:
        raise refuse("no such file", "expected a YAML file") from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or "not a file name"
        raise refuse(f"cannot be read: {why}", "expected a YAML file") from None
    if len(content) > LARGEST_FILE:
        raise refuse(
            f"found {max(size, len(content)):,} bytes", f"expected at most {LARGEST_FILE:,}"
        )
    return content


def _decoded(content: bytes, file: str) -> str:
    """Return the text of a file's bytes, with or without a byte order mark."""
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        column = error.start - content.rfind(b"\n", 0, error.start)
        byte = f"found the byte 0x{content[error.start]:02x}"
        raise SpecError([Problem(file, line, column, "", byte, "expected text in UTF-8")]) from None


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
    for part_of_it, in_our_words, right in _FAULTS_OF_SYNTAX:
        if part_of_it in complaint:
            return Problem(file, line, column, "", in_our_words, f"expected {right}")
    in_its_words = f"cannot be read as YAML ({error.problem or error.context})"
    return Problem(file, line, column, "", in_its_words, "expected keys and values")


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

    # Mappings and lists that are still being read are open, the innermost last.

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
        """Note as refused what YAML offers beyond plain keys and values."""

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
            steps = (*parent.steps, key)
            first_line, _ = self._places[steps].key or position
            again = f"found the key again, first in line {first_line}"
            self._duplicates.append(Fault(steps, again, "expected it once", position=position))
        parent.key, parent.key_position = key, position

    def _take_value(self, parent: _Open | None, event: yaml.NodeEvent) -> None:
        value: Data
        if isinstance(event, yaml.MappingStartEvent):
            value = {}
        elif isinstance(event, yaml.SequenceStartEvent):
            value = []
        else:
            value = _scalar(event)
        steps = self._store(parent, value, _position(event))
        if not isinstance(value, str):
            if len(self._open) == DEEPEST:
                raise self._stop(event, TOO_DEEP, "expected fewer")
            self._open.append(_Open(steps, value))

    def _store(self, parent: _Open | None, value: Data, position: tuple[int, int]) -> Steps:
        """Put a value where it belongs and return the way there.

        Of a key that is written twice the first value stays.
        """
        steps: Steps = ()
        key_position = None
        if parent is None:
            self._root = value
        elif isinstance(parent.data, list):
            parent.data.append(value)
            steps = (*parent.steps, len(parent.data) - 1)
        else:
            assert parent.key is not None
            parent.data.setdefault(parent.key, value)
            steps = (*parent.steps, parent.key)
            key_position = parent.key_position
            parent.key = None
        self._places.setdefault(steps, Place(key_position, position))
        return steps


def _scalar(event: yaml.NodeEvent) -> str:
    """Return the text of a scalar, its accented letters in one spelling; "" for an alias."""
    text = event.value if isinstance(event, yaml.ScalarEvent) else ""
    return unicodedata.normalize("NFC", text)


def _plain(value: object, steps: Steps, faults: list[Fault]) -> Data:
    """Return Python data as data of a document; add to `faults` what has no place in one."""
    if len(steps) > DEEPEST:
        faults.append(Fault((), TOO_DEEP, "expected fewer"))
        return ""
    if value is None or isinstance(value, str):
        return unicodedata.normalize("NFC", value or "")
    if isinstance(value, numbers.Real):
        return _plain_scalar(value)
    if isinstance(value, Mapping):
        return _plain_mapping(value, steps, faults)
    if isinstance(value, Sequence) and not isinstance(value, bytes | bytearray):
        return [_plain(item, (*steps, index), faults) for index, item in enumerate(value)]
    stranger = f"found a Python object of type {type(value).__name__}"
    faults.append(Fault(steps, stranger, "expected text, a number, yes or no, a list or a mapping"))
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
