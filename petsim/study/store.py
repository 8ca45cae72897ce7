"""A sweep on disk, read: nothing counts but what is as it was written.

The file is an SQLite database. Whatever is read of it is verified by its checksum, and what is
damaged is left out; `store_writer` writes it, and `store_rescue` mends it.
"""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from functools import cached_property
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from pydantic import PositiveInt, TypeAdapter, ValidationError

from petsim.errors import ArgumentError, near_miss, quote
from petsim.spec.document import is_file, other_than_file
from petsim.spec.names import sweeps_beside
from petsim.study import store_schema
from petsim.study.checksum import checksum

Figures = tuple[int, int | float, int | float]
"""What is summed over some lives: their number, the total and the sum of squares."""
PATIENCE = 60
"""Seconds to wait for another process that writes."""
MOST_NAMED = 3
"""Damaged chunks that a message names."""
AGAIN = (
    "give the petsim sweep command that made it again, which keeps what is whole and lives the rest"
)
"""What to do about damage."""
FACTS = ("design", "policies", "chunk", "cells")
"""What a sweep is begun with."""
KINDS = ("chunks", "failures", "sessions")
"""The tables that grow, of which it is noted how many rows were written."""
HEAD = ("cell", "first", "lives", "counts", "sums", "of_outcomes", "of_rows")
"""What the checksum of a chunk is of, with the design; what else it holds has its own in here."""
CHUNK_HEADS = f"SELECT {', '.join(HEAD)}, checksum FROM chunks ORDER BY cell, first"

_COUNTS = TypeAdapter(dict[str, PositiveInt])
_SUMS = TypeAdapter(dict[str, Figures])


class DamageError(ArgumentError):
    """The file of a sweep is not as petsim left it."""


class StoredCell(NamedTuple):
    """A cell as plain SQL finds it: its regime, and the text and number of each parameter."""

    number: int
    regime: str
    parameters: Mapping[str, tuple[str, float | None]]

    def rows(self) -> Iterator[tuple[Any, ...]]:
        """The row of the cell, and those of its parameters."""
        yield self.number, self.regime
        yield from ((self.number, path, *forms) for path, forms in self.parameters.items())


class StoredChunk(NamedTuple):
    """Lives of a cell that were written together: the first, and the lives with each outcome."""

    cell: int
    first: int
    lives: int
    counts: Mapping[str, int]


class Session(NamedTuple):
    """When lives were lived, as UTC in ISO 8601, and by which command; `ended` may be empty."""

    began: str
    ended: str
    command: str

    @property
    def span(self) -> str:
        """When it was, in words."""
        return f"{self.began} to {self.ended or 'now'}"


class Store:
    """The file of a sweep, to be read.

    Args:
        path: of the file.

    Raises:
        ArgumentError: there is no such file, or it is no sweep.
        DamageError: it is a sweep, but damaged.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.damaged: set[tuple[Any, Any]] = set()
        """Chunks left out as they are not what was written, by their cell and first life."""
        if (other := other_than_file(path)) is not None:
            raise ArgumentError(f"{path}: is {other}; expected the file of a sweep")
        self._base = self._connected()
        try:
            with self._explained():
                self.empty = self._is_empty()
        except ArgumentError:
            self._base.close()
            raise

    def _connected(self) -> sqlite3.Connection:
        if not is_file(self.path):
            raise ArgumentError(f"{self.path}: is not there; {_meant_by(self.path)}")
        written_to = self.path.with_name(f"{self.path.name}-wal").exists()
        if written_to or os.access(self.path.parent, os.W_OK):
            return self._opened("ro")
        # readers otherwise make files of their own beside it
        return self._opened("ro&immutable=1")

    def _opened(self, mode: str) -> sqlite3.Connection:
        with self._explained():
            return connected(self.path, mode)

    def _is_empty(self) -> bool:
        """Whether nothing was written into the file yet; raises if it is anything but a sweep."""
        tables = self._all("SELECT name FROM sqlite_master WHERE type = 'table'")
        if not tables:
            return True
        if ("about",) not in tables:
            raise ArgumentError(f"{self.path}: is another database; expected the file of a sweep")
        if (foreign := store_schema.foreign(self._base)) is not None:
            raise ArgumentError(f"{self.path}: {foreign}")
        if (damage := store_schema.damage(self._base)) is not None:
            raise DamageError(f"{self.path}: {damage}")
        return False

    def close(self) -> None:
        """Leave the file."""
        self._base.close()

    @contextmanager
    def _explained(self) -> Iterator[None]:
        """Say what the database complains of in words for the user."""
        try:
            yield
        except sqlite3.Error as error:
            name = getattr(error, "sqlite_errorname", "")
            known = (reason for kind, reason in _REASONS.items() if name.startswith(kind))
            kind = DamageError if name.startswith("SQLITE_CORRUPT") else ArgumentError
            raise kind(f"{self.path}: {next(known, str(error))}") from error
        except UnicodeDecodeError as error:  # the message of an error that quotes what is damaged
            raise DamageError(f"{self.path}: {_REASONS['SQLITE_CORRUPT']}") from error

    @contextmanager
    def snapshot(self) -> Iterator[None]:
        """Read all that is read within from one state of the file, whoever writes to it."""
        with self._explained():
            self._base.execute("BEGIN")
        try:
            yield
        finally:
            with self._explained():
                self._base.execute("ROLLBACK")

    def about(self) -> dict[str, Any]:
        """The facts that the sweep was begun with: its design, policies and size of chunks."""
        facts = self._facts
        try:
            return {key: json.loads(facts[key]) for key in FACTS}
        except (KeyError, TypeError, ValueError, RecursionError) as error:
            raise DamageError(f"{self.path}: is damaged: its design can't be read") from error

    @cached_property
    def _facts(self) -> dict[str, str]:
        if self.empty:
            raise ArgumentError(f"{self.path}: is empty; expected the file of a sweep")
        facts = dict(self._each("SELECT key, value FROM about"))
        if facts.pop("checksum", None) != checksum_of(facts):
            raise DamageError(f"{self.path}: is damaged: its design is not what was written")
        return facts

    @cached_property
    def design_checksum(self) -> bytes:
        """What tells the chunks of this sweep from those of any other."""
        return checksum(self._facts.get("design"), self._facts.get("cells"))

    @cached_property
    def chunks(self) -> list[StoredChunk]:
        """The chunks that are as they were written, but for what else is kept of their lives.

        Raises:
            DamageError: there are not as many as were written.
        """
        chunks, damaged = [], set()
        for row in self._each(CHUNK_HEADS):
            chunk = self._chunk(row)
            if chunk is None:
                damaged.add(row[:2])
            else:
                chunks.append(chunk)
        self.damaged |= damaged
        self._ensure_number("chunks", len(chunks) + len(damaged))
        return chunks

    def _chunk(self, head: tuple[Any, ...]) -> StoredChunk | None:
        """The chunk of a head; None if that is not what was written, or is no chunk of a sweep."""
        if not self.is_whole(head):
            return None
        cell, first, lives, text, *_ = head
        try:
            counts = _COUNTS.validate_json(text, strict=True)
        except ValidationError:
            return None
        size, most = self._sizes
        is_sound = (
            isinstance(cell, int)
            and first in range(0, most, size)
            and 0 < lives <= self.whole_chunk(first)
            and lives == sum(counts.values())
        )
        return StoredChunk(cell, first, lives, counts) if is_sound else None

    def whole_chunk(self, first: int) -> int:
        """How many lives the chunk has that begins with one, once all its lives are there.

        The last one of a cell had fewer while the sweep was to have fewer lives.
        """
        size, most = self._sizes
        return min(size, most - first)

    @cached_property
    def _sizes(self) -> tuple[int, int]:
        """The lives of a chunk and of a cell."""
        about = self.about()
        return about["chunk"], about["design"]["lives"]

    def sums(self) -> Iterator[tuple[int, dict[str, Figures]]]:
        """Yield each chunk's cell, and by name what was summed over its lives."""
        for cell, first, _, _, text, *_ in self._each(CHUNK_HEADS):
            if (cell, first) in self._whole:
                try:
                    yield cell, _SUMS.validate_json(text)
                except ValidationError:
                    self.damaged.add((cell, first))

    def _ensure_number(self, kind: str, rows: int) -> None:
        """See that as many rows of a kind are there as were written, so that none has vanished."""
        noted = [*self._each("SELECT rows, checksum FROM written WHERE kind = ?", kind)]
        if noted != [(rows, checksum(self.design_checksum, kind, rows))]:
            raise self._damage(kind)

    def _damage(self, kind: str) -> DamageError:
        return DamageError(
            f"{self.path}: is damaged: its {kind} are not those that were written; {AGAIN}"
        )

    def is_whole(self, row: tuple[Any, ...]) -> bool:
        """Whether the head of a chunk, with its checksum, is what was written of this sweep."""
        *head, own = row
        return bool(checksum(self.design_checksum, *head) == own)

    def outcomes(self, cell: int) -> dict[int, NDArray[np.int16]]:
        """The outcome of each life of a cell, by its number in words; by the chunk's first life."""
        held = self._held("outcomes", cell)
        return {first: np.frombuffer(outcomes, dtype="<i2") for first, outcomes in held}

    def rows(self, cell: int) -> NDArray[np.int64]:
        """The rows of the table of lives that were kept of a cell, one after another."""
        return np.frombuffer(b"".join(held for _, held in self._held("rows", cell)), dtype="<i8")

    def _held(self, what: str, cell: int) -> Iterator[tuple[int, bytes]]:
        """Yield the first life of each of a cell's chunks, and what is held of its lives."""
        query = f"SELECT first, of_{what}, {what} FROM chunks WHERE cell = ? ORDER BY first"
        for first, own, held in self._each(query, cell):
            lives = self._whole.get((cell, first))
            if lives and checksum(held) == own and _is_of(lives, what, held):
                yield first, held
            else:
                self.damaged.add((cell, first))

    @cached_property
    def _whole(self) -> dict[tuple[int, int], int]:
        """How many lives each chunk has that is as it was written, by its cell and first life."""
        return {(chunk.cell, chunk.first): chunk.lives for chunk in self.chunks}

    def whole_chunks(self) -> Iterator[tuple[Any, ...]]:
        """Yield the rows of the chunks that are as they were written: head, checksum, content."""
        query = f"SELECT {', '.join(HEAD)}, checksum, outcomes, rows FROM chunks"
        for row in self._each(f"{query} ORDER BY cell, first"):
            if row[:2] in self._whole:
                yield row

    def verify(self, cells: Iterable[StoredCell]) -> None:
        """Read all there is, so that `damaged` has every chunk that is.

        Args:
            cells: those of the sweep's design.

        Raises:
            DamageError: something other than chunks is damaged.
        """
        held = "SELECT cell, first, of_outcomes, of_rows, outcomes, rows FROM chunks"
        for cell, first, *digests, outcomes, rows in self._each(held):
            if [checksum(outcomes), checksum(rows)] != digests:
                self.damaged.add((cell, first))
        for _ in self.sums():
            pass
        cells = [*cells]
        numbers = {cell.number for cell in cells}
        self.damaged |= {each[:2] for each in self.chunks if each.cell not in numbers}
        listed = {*self._each("SELECT cell, regime FROM cells")}
        listed |= {*self._each("SELECT cell, path, text, number FROM parameters")}
        if listed != {row for cell in cells for row in cell.rows()}:
            raise DamageError(f"{self.path}: is damaged: its table of cells is not as written")
        self.failed()
        self.sessions()
        for (verdict,) in self._each("PRAGMA integrity_check(1)"):
            if verdict != "ok":
                raise DamageError(f"{self.path}: is damaged: {' '.join(verdict.split())}")

    def failed(self) -> dict[int, str]:
        """The cells that failed, and why.

        Raises:
            DamageError: they are not those that were written.
        """
        query = "SELECT cell, reason, checksum FROM failures"
        return dict(self._verified("failures", query, self.design_checksum))

    def sessions(self) -> list[Session]:
        """When lives were lived, the first time first.

        Raises:
            DamageError: they are not those that were written.
        """
        query = "SELECT began, ended, command, checksum FROM sessions ORDER BY began, rowid"
        return [
            Session(began, ended or "", command)
            for began, ended, command in self._verified("sessions", query)
        ]

    def _verified(self, kind: str, query: str, *of: bytes) -> list[list[Any]]:
        """The rows of a kind without their checksums, which are of these parts and the row."""
        rows = [(row, own) for *row, own in self._each(query)]
        self._ensure_number(kind, len(rows))
        if any(checksum(*of, *row) != own for row, own in rows):
            raise self._damage(kind)
        return [row for row, _ in rows]

    def copy(self, path: Path) -> None:
        """Write all that is there at this moment to another file, whoever writes to this one.

        Raises:
            ArgumentError: it can't be written.
        """
        try:
            with closing(sqlite3.connect(path)) as copy:
                self._base.backup(copy)
                copy.execute("PRAGMA journal_mode=DELETE")
        except sqlite3.Error as error:
            raise ArgumentError(f"{path}: can't be written: {error}") from error

    def _each(self, query: str, *values: Any) -> Iterator[tuple[Any, ...]]:
        with self._explained():
            yield from self._base.execute(query, values)

    def _all(self, query: str) -> list[tuple[Any, ...]]:
        return self._base.execute(query).fetchall()


def connected(path: Path, mode: str) -> sqlite3.Connection:
    """Return a connection to a file as it is, also where its texts are damaged.

    Args:
        path: of the file.
        mode: of SQLite's URI, such as "ro".
    """
    base = sqlite3.connect(
        f"{path.resolve().as_uri()}?mode={mode}",
        uri=True,
        timeout=PATIENCE,
        isolation_level=None,
        check_same_thread=False,
    )
    base.text_factory = lambda text: text.decode("utf-8", "replace")
    return base


def checksum_of(facts: Mapping[str, Any]) -> bytes:
    """Return the checksum of the facts that a sweep is begun with."""
    return checksum(*(part for key in sorted(facts, key=repr) for part in (key, facts[key])))


def checksum_of_cells(cells: Iterable[StoredCell]) -> str:
    """Return the checksum of the cells of a sweep, as JSON can have it."""
    return checksum(*(part for cell in cells for row in cell.rows() for part in row)).hex()


def in_words(chunks: Sequence[tuple[Any, Any]]) -> str:
    """Return which lives some chunks are of: the cell and the first life of the first few."""
    few = [f"the lives of cell {cell} from {first} on" for cell, first in chunks[:MOST_NAMED]]
    more = len(chunks) - MOST_NAMED
    return ", ".join([*few, *([f"and {more} more chunks"] if more > 0 else [])])


def _is_of(lives: int, what: str, held: Any) -> bool:
    """Whether something is the outcomes or the rows of so many lives."""
    if not isinstance(held, bytes):
        return False
    return len(held) == 2 * lives if what == "outcomes" else len(held) % (8 * lives) == 0


def _meant_by(path: Path) -> str:
    close = near_miss(path.stem, sweeps_beside(path))
    if close is None:
        return "expected the file of a sweep"
    return f"did you mean {quote(str(path.with_name(close)))}?"


_REASONS = {
    "SQLITE_BUSY": "another process has been writing to it for a minute; give the command again",
    "SQLITE_FULL": "the disk is full; make room and give the same command again",
    "SQLITE_IOERR": "the disk takes no more, or fails; make room and give the same command again",
    "SQLITE_READONLY": "can't be written to; expected a folder and a file that can",
    "SQLITE_CANTOPEN": "can't be opened; expected a folder that is there and can be written to",
    "SQLITE_CORRUPT": f"is damaged; {AGAIN}",
    "SQLITE_NOTADB": "is another kind of file; expected the file of a sweep",
}
