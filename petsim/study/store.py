"""A sweep on disk: one database file that loses nothing and can be read while it is written.

SQLite in write-ahead mode with `synchronous=FULL`: what is committed survives a kill or a power
cut, and a chunk of lives is committed whole or not at all. Chunks are known by their cell and first
life, so none counts twice, whoever lived it.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from petsim.errors import ArgumentError, near_miss, quote
from petsim.spec.document import is_file, other_than_file
from petsim.spec.names import sweeps_beside
from petsim.study.job import ChunkResult

NOW = "strftime('%Y-%m-%dT%H:%M:%SZ', 'now')"
SCHEMA = """
CREATE TABLE about (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE sessions (began TEXT NOT NULL, ended TEXT, command TEXT NOT NULL);
CREATE TABLE cells (cell INTEGER PRIMARY KEY, regime TEXT NOT NULL, reason TEXT);
CREATE TABLE parameters (
    cell INTEGER, path TEXT, text TEXT NOT NULL, number REAL, PRIMARY KEY (cell, path)
) WITHOUT ROWID;
CREATE TABLE chunks (
    cell INTEGER, first INTEGER, lives INTEGER NOT NULL, outcomes BLOB NOT NULL, rows BLOB,
    PRIMARY KEY (cell, first)
);
CREATE TABLE counts (
    cell INTEGER, outcome TEXT, first INTEGER, lives INTEGER NOT NULL,
    PRIMARY KEY (cell, outcome, first)
) WITHOUT ROWID;
CREATE TABLE sums (
    cell INTEGER, column TEXT, first INTEGER, lives INTEGER NOT NULL, total NUMERIC NOT NULL,
    squares REAL NOT NULL, PRIMARY KEY (cell, column, first)
) WITHOUT ROWID;
CREATE VIEW odds AS
    SELECT cell, outcome, SUM(lives) AS lives FROM counts GROUP BY cell, outcome;
CREATE VIEW totals AS
    SELECT cell, column, SUM(lives) AS lives, SUM(total) AS total, SUM(squares) AS squares
    FROM sums GROUP BY cell, column;
"""


def _meant_by(path: Path) -> str:
    close = near_miss(path.stem, sweeps_beside(path))
    if close is None:
        return "expected the file of a sweep"
    return f"did you mean {quote(str(path.with_name(close)))}?"


class StoredCell(NamedTuple):
    """A cell as the store has it: its regime, and the text and number of each parameter by path."""

    number: int
    regime: str
    parameters: Mapping[str, tuple[str, float | None]]


class Store:
    """The file of a sweep.

    Args:
        path: of the file.
        writable: whether to make it if it is not there, and to write to it.

    Raises:
        ArgumentError: there is no such file, it is no sweep, or it can't be written.
    """

    def __init__(self, path: Path, *, writable: bool) -> None:
        self.path, self._writable = path, writable
        if (other := other_than_file(path)) is not None:
            raise ArgumentError(f"{path}: is {other}; expected the file of a sweep")
        if not writable and not is_file(path):
            raise ArgumentError(f"{path}: is not there; {_meant_by(path)}")
        # a new file is made when there is something to write into it
        self._base = self._opened() if is_file(path) else sqlite3.connect(":memory:")
        try:
            with self._explained():
                tables = self._all("SELECT name FROM sqlite_master WHERE type = 'table'")
            if tables and ("about",) not in tables:
                raise ArgumentError(f"{path}: is another database; expected the file of a sweep")
        except ArgumentError:
            self._base.close()
            raise
        self.empty = not tables

    def _opened(self) -> sqlite3.Connection:
        mode = "rwc" if self._writable else "ro"
        uri = f"{self.path.resolve().as_uri()}?mode={mode}"
        with self._explained():
            return sqlite3.connect(uri, uri=True, timeout=60, isolation_level=None)

    def _write_ahead(self) -> None:
        """Get the file ready to be written to while others read it."""
        self._base.execute("PRAGMA journal_mode=WAL")
        self._base.execute("PRAGMA synchronous=FULL")

    def close(self) -> None:
        """Leave the file, if it was written to as one that can be read from a read-only folder."""
        if self._writable:
            with suppress(sqlite3.Error):  # while another process reads or writes it
                self._base.execute("PRAGMA journal_mode=DELETE")
        self._base.close()

    @contextmanager
    def _explained(self) -> Iterator[None]:
        """Say what the database complains of in words for the user."""
        try:
            yield
        except sqlite3.Error as error:
            name = getattr(error, "sqlite_errorname", "")
            known = (reason for kind, reason in _REASONS.items() if name.startswith(kind))
            raise ArgumentError(f"{self.path}: {next(known, str(error))}") from error

    def begin(self, about: Mapping[str, Any], cells: Iterable[StoredCell]) -> None:
        """Write what the sweep is, if no other process just has."""
        cells = [*cells]
        self._base.close()
        self._base = self._opened()
        with self._explained():
            self._write_ahead()
        with self._explained(), self._transaction():
            self.empty = False
            if self._all("SELECT name FROM sqlite_master WHERE name = 'about'"):
                return
            for statement in SCHEMA.split(";\n"):
                self._base.execute(statement)
            self._base.executemany(
                "INSERT INTO about VALUES (?, ?)",
                [(key, json.dumps(value)) for key, value in about.items()],
            )
            self._base.executemany(
                "INSERT INTO cells VALUES (?, ?, NULL)", [(c.number, c.regime) for c in cells]
            )
            self._base.executemany(
                "INSERT INTO parameters VALUES (?, ?, ?, ?)",
                [(c.number, path, *forms) for c in cells for path, forms in c.parameters.items()],
            )

    def about(self) -> dict[str, Any]:
        """The facts that the sweep was begun with: its design, policies and size of chunks."""
        if self.empty:
            raise ArgumentError(f"{self.path}: is empty; expected the file of a sweep")
        with self._explained():
            facts = self._all("SELECT key, value FROM about")
        return {key: json.loads(value) for key, value in facts}

    def done(self) -> set[tuple[int, int]]:
        """The chunks there are, by cell and first life."""
        with self._explained():
            return set(self._all("SELECT cell, first FROM chunks"))

    def failed(self) -> dict[int, str]:
        """The cells that failed, and why."""
        with self._explained():
            return dict(self._all("SELECT cell, reason FROM cells WHERE reason IS NOT NULL"))

    def fail(self, cell: int, reason: str) -> None:
        """Write why a cell failed."""
        # what a policy raises may hold characters that no UTF-8 has
        text = reason.encode("utf-8", "backslashreplace").decode("utf-8")
        with self._explained():
            self._base.execute("UPDATE cells SET reason = ? WHERE cell = ?", (text, cell))

    def add(self, cell: int, result: ChunkResult) -> None:
        """Write a chunk of a cell's lives, unless it is there."""
        first, n = result.first, len(result.outcomes)
        rows = None if result.rows is None else result.rows.astype("<i8").tobytes()
        counts = np.bincount(result.outcomes, minlength=len(result.words)).tolist()
        sums = zip(result.columns, result.lives, result.totals, result.squares, strict=True)
        with self._explained(), self._transaction():
            added = self._base.execute(
                "INSERT OR IGNORE INTO chunks VALUES (?, ?, ?, ?, ?)",
                (cell, first, n, result.outcomes.astype("<i2").tobytes(), rows),
            )
            if added.rowcount == 0:
                return
            self._base.executemany(
                "INSERT INTO counts VALUES (?, ?, ?, ?)",
                [(cell, word, first, x) for word, x in zip(result.words, counts, strict=True) if x],
            )
            self._base.executemany(
                "INSERT INTO sums VALUES (?, ?, ?, ?, ?, ?)",
                [(cell, name, first, *figures) for name, *figures in sums],
            )

    @contextmanager
    def session(self, command: str) -> Iterator[None]:
        """Keep when lives were lived, and by which command."""
        with self._explained():
            self._write_ahead()
            place = self._base.execute(
                f"INSERT INTO sessions VALUES ({NOW}, NULL, ?)", (command,)
            ).lastrowid
        try:
            yield
        finally:
            with self._explained():
                ended = f"UPDATE sessions SET ended = {NOW} WHERE rowid = ?"
                self._base.execute(ended, (place,))

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

    def read(self, query: str, *values: Any) -> list[tuple[Any, ...]]:
        """The rows of a query."""
        with self._explained():
            return self._all(query, *values)

    def _all(self, query: str, *values: Any) -> list[tuple[Any, ...]]:
        return self._base.execute(query, values).fetchall()

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        try:
            self._base.execute("BEGIN IMMEDIATE")
            yield
            self._base.execute("COMMIT")
        except BaseException:
            if self._base.in_transaction:
                self._base.execute("ROLLBACK")
            raise


_REASONS = {
    "SQLITE_BUSY": "another process has been writing to it for a minute; give the command again",
    "SQLITE_FULL": "the disk is full; make room and give the same command again",
    "SQLITE_IOERR": "the disk takes no more, or fails; make room and give the same command again",
    "SQLITE_READONLY": "can't be written to; expected a folder and a file that can",
    "SQLITE_CANTOPEN": "can't be opened; expected a folder that is there and can be written to",
    "SQLITE_CORRUPT": "is damaged; expected the file as petsim left it",
    "SQLITE_NOTADB": "is another kind of file; expected the file of a sweep",
}
