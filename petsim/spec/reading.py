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
from functools import lru_cache
from itertools import chain, groupby
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
    plain_whole,
)

LARGEST_FILE = 1_000_000
"""Bytes a file may have."""
MOST_VALUES = 10_000
"""Keys and values a file may have, its mappings and lists counted as values."""
DEEPEST = 20
"""Mappings and lists that may lie inside each other."""
TOO_DEEP = f"found more than {DEEPEST} mappings and lists inside each other"
MOST_MARKS = 30
"""Accents and other marks that may follow a letter, as in the stream-safe text format of Unicode
Standard Annex 15. To put more in order would take a time that grows with their square."""
TOO_MANY_MARKS = f"found more than {MOST_MARKS} accents on a letter"

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
    return read_text(_decoded(_content(path), str(path)), str(path), MOST_VALUES)


@lru_cache(maxsize=4)
def read_text(text: str, file: str, most: int | None = None) -> Document:
    """Return the document of YAML text.

    Args:
        text: is read once, for all who ask about the same file.
        file: the name that its problems show.
        most: keys and values that it may have, if that is limited.
    """
    composer = _Composer(file, most)
    parser = _parser_of(text, file)
    try:
        while parser.check_event():
            composer.take(parser.get_event())  # type: ignore[no-untyped-call]
    except yaml.MarkedYAMLError as error:
        raise SpecError([_problem_of_syntax(error, file)]) from None
    except (ValueError, OverflowError):
        nonsense = "found an escape or a directive that means nothing"
        line, column = parser.line + 1, parser.column + 1
        raise SpecError(
            [Problem(file, line, column, "", nonsense, "expected plain YAML")]
        ) from None
    return composer.document()


def _parser_of(text: str, file: str) -> yaml.SafeLoader:
    """Return the parser of a text that has no control characters."""
    try:
        return yaml.SafeLoader(text)
    except yaml.reader.ReaderError as error:
        line, column = _line_and_column(text, error.position)
        character = f"found the control character {chr(int(error.character))!r}"
        raise SpecError(
            [Problem(file, line, column, "", character, "expected plain text")]
        ) from None


def read_data(data: Mapping[str, object], name: str) -> Document:
    """Return the document of plain Python data: mappings, lists, text, numbers, booleans.

    A boolean reads as yes or no. `name` is what problems show for a file.
    """
    faults: list[Fault] = []
    plain = _plain(data, (), faults)
    if faults:
        raise Document(name, {}).refusal(*faults)
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

    def __init__(self, file: str, most: int | None) -> None:
        self._file = file
        self._most = most
        self._read = 0
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
            self._count(event)
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
            raise document.refusal(*self._refused)
        if not self._root or not isinstance(self._root, dict):
            expected = "expected keys and values, the first of them 'petsim'"
            # of an empty file, the beginning is where they are missing
            position = None if () in self._places else (1, 1)
            fault = Fault((), describe(self._root or ""), expected, position=position)
            raise document.refusal(fault)
        return replace(document, data=self._root)

    def _stop(self, event: yaml.Event, found: str, expected: str) -> SpecError:
        line, column = _position(event)
        return SpecError([Problem(self._file, line, column, "", found, expected)])

    def _count(self, event: yaml.NodeEvent) -> None:
        self._read += 1
        if self._most is not None and self._read > self._most:
            raise self._stop(
                event, f"found more than {self._most:,} keys and values", "expected fewer"
            )

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
        if isinstance(event, yaml.ScalarEvent):
            if _SURROGATE.search(event.value):
                refuse("found half of a character", "expected the whole of it")
            if _has_too_many_marks(event.value):
                refuse(TOO_MANY_MARKS, "expected fewer")

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
    return _in_one_spelling(event.value) if isinstance(event, yaml.ScalarEvent) else ""


def _in_one_spelling(text: str) -> str:
    """Return a text with its accented letters in one spelling; one to be refused, as it is."""
    return text if _has_too_many_marks(text) else unicodedata.normalize("NFC", text)


def _has_too_many_marks(text: str) -> bool:
    if text.isascii():
        return False
    # each by itself, as it is their common order that would take long
    apart = chain.from_iterable(unicodedata.normalize("NFD", character) for character in text)
    runs = groupby(apart, lambda character: unicodedata.combining(character) > 0)
    return any(is_of_marks and sum(1 for _ in run) > MOST_MARKS for is_of_marks, run in runs)


def _plain(value: object, steps: Steps, faults: list[Fault]) -> Data:
    """Return Python data as data of a document; add to `faults` what has no place in one."""
    if len(steps) > DEEPEST:
        faults.append(Fault((), TOO_DEEP, "expected fewer"))
        return ""
    if value is None or isinstance(value, str):
        if _has_too_many_marks(value or ""):
            faults.append(Fault(steps, TOO_MANY_MARKS, "expected fewer"))
        return _in_one_spelling(value or "")
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
        word = _in_one_spelling(key if isinstance(key, str) else plain_whole(int(key)))
        if _has_too_many_marks(word):
            faults.append(Fault((*steps, word), TOO_MANY_MARKS, "expected fewer"))
        if word in plain:
            faults.append(Fault((*steps, word), "found the key again", "expected it once"))
        plain[word] = _plain(item, (*steps, word), faults)
    return plain


def _plain_scalar(value: numbers.Real) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, numbers.Integral):
        return plain_whole(int(value))
    try:
        return plain_number(float(value))
    except OverflowError:
        return "a number beyond all bounds"
