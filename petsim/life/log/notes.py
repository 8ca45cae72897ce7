"""From a table of notes, such as a household keeps for a week, to a log.

A row is what was seen at a time, and what was pressed then; rows of one time are one check.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from itertools import groupby
from operator import attrgetter, itemgetter
from pathlib import Path
from typing import Any, NamedTuple

from petsim.errors import MisfitError, Problem, SpecError, choice, describe, near_miss, quote
from petsim.life.log.entries import Value
from petsim.life.log.lines import FORMAT, YEARS, YES_NO, line_text
from petsim.spec.choices import PRESSED, TIME
from petsim.spec.document import MOST_PROBLEMS, other_than_file
from petsim.spec.model import MOST_DISCIPLINE, SIGNALS, Model
from petsim.spec.quantities import LARGEST

LARGEST_TABLE = 10_000_000
"""Bytes that a table of notes may have."""
UNREADABLE = "?"
"""What is in the cell of a signal that could not be made out."""
_YES = {"yes": True, "true": True, "1": True, "no": False, "false": False, "0": False}
_ON = {"on": True, "off": False}
_A_TIME = "expected a date and a time, such as 2026-03-02 09:05"
_NAMED = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(?::\d\d)?", re.ASCII)


class Columns(NamedTuple):
    """Which column has what: the times, the actions, and each signal by its name."""

    time: str = TIME
    pressed: str = PRESSED
    seen: Mapping[str, str] = {}


class Notes(NamedTuple):
    """Notes as a log.

    text: of the file. checks: that they make. left_out: columns that nothing was taken from, each
    with the one that it may mean, if there is such one.
    """

    text: str
    checks: int
    left_out: Mapping[str, str | None]


class _Row(NamedTuple):
    """A row: the time, what was seen and could not be made out, and the actions in their order."""

    at: datetime
    saw: dict[str, Value]
    unreadable: list[str]
    actions: list[str]


def notes(path: str | Path, model: Model, columns: Columns, *, is_born: bool) -> Notes:
    """Return a table of notes, CSV with a line of names first, as a log.

    Its times are those of the pet's clock. An action takes no time and counts as one press, and
    what became of it is unknown.

    Args:
        path: of the table.
        model: of the pet: its needs, forms and actions are those that notes can name.
        columns: which has what; a signal that is not named there has the column of its own name.
        is_born: whether its birth is at the first row.

    Raises:
        SpecError: the table can't be read, with everything that is wrong with it.
    """
    table = _Table(str(path), model, columns)
    rows = table.rows(_text(path))
    checks = [[*run] for _, run in groupby(rows, attrgetter("at"))]
    signals = [signal for signal in table.signals if signal in table.columns]
    header = {"petsim": FORMAT, "pet": model.id, "signals": signals}
    lines = [(rows[0].at, *line) for line in _first(header, is_born=is_born)]
    for number, run in enumerate(checks, 1):
        began = (run[0].at - rows[0].at).total_seconds()
        lines += [(run[0].at, *line) for line in _check(number, run, began)]
    lines.append((rows[-1].at, "stop", {}))
    text = "".join(
        line_text(n, at, (at - rows[0].at).total_seconds(), 1, event, said)
        for n, (at, event, said) in enumerate(lines)
    )
    return Notes(text, len(checks), table.left_out)


def signals_of(model: Model) -> tuple[str, ...]:
    """Return the signals that notes of a model's pet can name."""
    return (*model.needs, *SIGNALS, "form", "stage", "weight", "discipline")


_Said = tuple[str, dict[str, Any]]


def _first(header: dict[str, Any], *, is_born: bool) -> Iterator[_Said]:
    yield "header", header
    yield "start", {"cause": "notes"}
    if is_born:
        yield "birth", {}


def _check(number: int, rows: Sequence[_Row], began: float) -> Iterator[_Said]:
    yield "check", {"check": number}
    for row in rows:
        if row.saw or row.unreadable:
            unreadable = {"unreadable": row.unreadable} if row.unreadable else {}
            yield "look", {"check": number, "saw": row.saw, **unreadable}
        for action in row.actions:
            yield "action", {"check": number, "action": action, "began": began, "presses": 1}


def _text(path: str | Path) -> str:
    """The text of a table of bearable size."""

    def refuse(found: str, expected: str = "expected a table, as CSV") -> SpecError:
        return SpecError([Problem(str(path), None, None, "", found, expected)])

    if (other := other_than_file(path)) is not None:
        raise refuse(f"found {other}")
    try:
        with Path(path).open("rb") as stream:
            content = stream.read(LARGEST_TABLE + 1)
    except FileNotFoundError:
        raise refuse("no such file") from None
    except (OSError, ValueError) as error:
        raise refuse(f"cannot be read: {getattr(error, 'strerror', None) or error}") from None
    if len(content) > LARGEST_TABLE:
        raise refuse(f"found more than {LARGEST_TABLE:,} bytes", "expected fewer")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        byte = f"found the byte 0x{content[error.start]:02x}"
        raise SpecError([Problem(str(path), line, 1, "", byte, "expected text in UTF-8")]) from None


class _Table:
    """A table, whose rows are read with all that is wrong with them."""

    def __init__(self, file: str, model: Model, columns: Columns) -> None:
        self._file = file
        self._model = model
        self._named = columns
        self._problems: list[Problem] = []
        self._more = 0
        self.signals = signals_of(model)
        self.columns: dict[str, int] = {}
        self.left_out: dict[str, str | None] = {}

    def rows(self, text: str) -> list[_Row]:
        """The rows of a table's text, one or more, in the order of their times."""
        reader = csv.reader(text.splitlines(keepends=True), delimiter=_delimiter(text), strict=True)
        rows: list[_Row] = []
        try:
            self._take_head(next(reader, []))
            for cells in reader:
                row = self._row(reader.line_num, cells) if any(map(str.strip, cells)) else None
                if row is not None and rows and row.at < rows[-1].at:
                    expected = f"expected no earlier time than {rows[-1].at:%Y-%m-%d %H:%M:%S}"
                    cell = cells[self.columns[TIME]].strip()
                    self._refuse(reader.line_num, TIME, MisfitError(expected, describe(cell)))
                elif row is not None:
                    rows.append(row)
        except csv.Error as error:
            self._add(reader.line_num, 1, "", f"cannot be read as CSV ({error})", "expected CSV")
        if not rows and not self._problems:
            self._add(1, 1, "", "found no row", "expected one row or more below the names")
        if self._problems:
            raise SpecError(self._problems, more=self._more)
        return rows

    def _take_head(self, head: Sequence[str]) -> None:
        """Find the columns; raise SpecError if one that is needed is missing, or there twice."""
        names = [cell.strip() for cell in head]
        wanted = {signal: signal for signal in self.signals} | {**self._named.seen}
        wanted |= {TIME: self._named.time, PRESSED: self._named.pressed}
        for what, name in wanted.items():
            places = [place for place, each in enumerate(names) if each == name]
            if len(places) > 1:
                self._add(1, places[1] + 1, name, "found the column again", "expected it once")
            elif places:
                self.columns[what] = places[0]
            elif what == TIME or name != what:
                found = f"found no column {quote(name)}"
                self._add(1, 1, "", found, choice(name, [each for each in names if each]))
        if not self._problems and not set(self.signals) & self.columns.keys():
            expected = f"expected one of a signal, such as {quote(self.signals[0])}"
            self._add(1, 1, "", "found no column of what was seen", expected)
        if self._problems:
            raise SpecError(self._problems)
        self.columns = dict(sorted(self.columns.items(), key=itemgetter(1)))
        known = [each for each in wanted if each not in self.columns]
        for place, name in enumerate(names):
            if place not in self.columns.values() and name:
                self.left_out[name] = near_miss(name, known)

    def _row(self, line: int, cells: Sequence[str]) -> _Row | None:
        """A row, or None with a problem told."""
        at: datetime | None = None
        saw: dict[str, Value] = {}
        unreadable: list[str] = []
        actions: list[str] = []
        is_right = True
        for what, place in self.columns.items():
            cell = cells[place].strip() if place < len(cells) else ""
            try:
                if what == TIME:
                    at = _time(cell)
                elif what == PRESSED:
                    actions = self._actions(cell)
                elif cell == UNREADABLE:
                    unreadable.append(what)
                elif cell:
                    saw[what] = self._value(what, cell)
            except MisfitError as misfit:
                is_right = False
                self._refuse(line, what, misfit, cell)
        return _Row(at, saw, unreadable, actions) if is_right and at is not None else None

    def _value(self, signal: str, cell: str) -> Value:
        """What was seen of a signal."""
        model = self._model
        if signal in YES_NO:
            words = _YES | (_ON if signal == "lights" else {})
            if cell.casefold() not in words:
                raise MisfitError(
                    "expected on or off" if signal == "lights" else "expected yes or no"
                )
            return words[cell.casefold()]
        if signal in ("form", "stage"):
            names = model.forms if signal == "form" else model.stages
            if cell not in names:
                raise MisfitError(choice(cell, names))
            return cell
        most = model.needs[signal].full if signal in model.needs else LARGEST
        return _whole(cell, MOST_DISCIPLINE if signal == "discipline" else most)

    def _actions(self, cell: str) -> list[str]:
        """The actions of a cell, such as `feed, feed, clean`, in order."""
        actions = [name.strip() for name in re.split("[,;+]", cell) if name.strip()]
        for name in actions:
            if name in self._model.care:
                continue
            words = name.split()
            if all(word in self._model.care for word in words):
                apart = quote("; ".join(words))
                raise MisfitError(f"expected a semicolon between actions: {apart}", describe(name))
            raise MisfitError(choice(name, self._model.care), describe(name))
        return actions

    def _refuse(self, line: int, what: str, misfit: MisfitError, cell: str = "") -> None:
        name = {TIME: self._named.time, PRESSED: self._named.pressed, **self._named.seen}.get(what)
        found = misfit.found or describe(cell)
        self._add(line, self.columns[what] + 1, name or what, found, str(misfit.expected))

    def _add(self, line: int, column: int, field: str, found: str, expected: str) -> None:
        if len(self._problems) < MOST_PROBLEMS:
            self._problems.append(Problem(self._file, line, column, field, found, expected))
        else:
            self._more += 1


def _delimiter(text: str) -> str:
    """What is between the cells of the first line: a comma, unless there are more of another."""
    head = text.partition("\n")[0]
    return max(",;\t", key=head.count)


def _time(cell: str) -> datetime:
    """The time of a cell, as the pet's clock shows it."""
    if not _NAMED.fullmatch(cell):
        raise MisfitError(_A_TIME)
    try:
        at = datetime.fromisoformat(cell).replace(tzinfo=UTC)
    except ValueError:
        raise MisfitError(_A_TIME) from None
    if at.year not in YEARS:
        raise MisfitError(f"expected a year from {YEARS[0]} to {YEARS[-1]}")
    return at


def _whole(cell: str, most: int) -> int:
    if not re.fullmatch("[0-9]{1,10}", cell) or int(cell) > most:
        up_to = "0 or more" if most == LARGEST else f"0 to {most}"
        raise MisfitError(f"expected a whole number, {up_to}")
    return int(cell)
