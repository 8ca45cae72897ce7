"""A sweep on disk, written: nothing is lost, and others can read meanwhile.

SQLite in write-ahead mode with `synchronous=FULL`: what is committed survives a kill or a power
cut, and a chunk of lives is committed whole or not at all. Chunks are known by their cell and first
life, so none counts twice, whoever lived it.
"""

from __future__ import annotations

import json
import logging
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from threading import Event, Thread
from typing import Any

import numpy as np

from petsim.errors import ArgumentError
from petsim.spec.document import is_file
from petsim.study import store_schema
from petsim.study.checksum import checksum
from petsim.study.job import ChunkResult
from petsim.study.store import HEAD, Store, StoredCell, checksum_of, in_words

NOW = "SELECT strftime('%Y-%m-%dT%H:%M:%SZ', 'now')"
SETTLED_WITHIN = 0.5
"""Seconds within which what was committed is moved from the log beside the file into the file."""


class StoreWriter(Store):
    """The file of a sweep, to be written to. It need not be there before.

    Args:
        path: of the file.

    Raises:
        ArgumentError: it is no sweep, or can't be written.
        DamageError: it is a sweep, but damaged.
    """

    def __init__(self, path: Path) -> None:
        super().__init__(path)
        self._file = self._identity()
        self._unsettled, self._closing = Event(), Event()
        self._settling: Thread | None = None

    def _connected(self) -> sqlite3.Connection:
        # a new file is made when there is something to write into it
        return self._opened("rwc") if is_file(self.path) else sqlite3.connect(":memory:")

    def _identity(self) -> tuple[int, int] | None:
        """What tells the file from another that is put in its place; None if there is none."""
        with suppress(OSError):
            status = self.path.stat()
            return status.st_dev, status.st_ino
        return None

    def _is_gone(self) -> bool:
        """Whether the file that was opened is no longer the one of that name."""
        return self._file is not None and self._file != self._identity()

    def _write_ahead(self) -> None:
        """Get the file ready to be written to while others read it."""
        self._base.execute("PRAGMA journal_mode=WAL")
        self._base.execute("PRAGMA synchronous=FULL")

    def close(self) -> None:
        """Leave the file as one that can be read from a read-only folder."""
        self._closing.set()
        self._unsettled.set()
        if self._settling is not None:
            self._settling.join()
        if not self._is_gone():
            with suppress(sqlite3.Error):  # while another process reads or writes it
                self._base.execute("PRAGMA journal_mode=DELETE")
        super().close()

    def begin(self, about: Mapping[str, Any], cells: Iterable[StoredCell]) -> None:
        """Write what the sweep is, if no other process just has."""
        cells = [*cells]
        facts = {key: json.dumps(value) for key, value in about.items()}
        self._base.close()
        self._base = self._opened("rwc")
        self._file = self._identity()
        with self._explained():
            self._write_ahead()
        with self._explained(), self._transaction():
            self.empty = self._is_empty()
            if not self.empty:
                return
            store_schema.create(self._base)
            self.empty = False
            self._base.executemany(
                "INSERT INTO about VALUES (?, ?)",
                [*facts.items(), ("checksum", checksum_of(facts))],
            )
            for cell in cells:
                row, *parameters = cell.rows()
                self._base.execute("INSERT INTO cells VALUES (?, ?)", row)
                self._base.executemany("INSERT INTO parameters VALUES (?, ?, ?, ?)", parameters)

    def add(self, cell: int, result: ChunkResult) -> None:
        """Write a chunk of a cell's lives, unless it is there."""
        rows = None if result.rows is None else result.rows.astype("<i8").tobytes()
        outcomes = result.outcomes.astype("<i2").tobytes()
        counts = np.bincount(result.outcomes, minlength=len(result.words)).tolist()
        sums = zip(result.columns, result.lives, result.totals, result.squares, strict=True)
        head = (
            *(cell, result.first, len(result.outcomes)),
            json.dumps({word: n for word, n in zip(result.words, counts, strict=True) if n}),
            json.dumps({name: figures for name, *figures in sums}),
            *(checksum(outcomes), checksum(rows)),
        )
        self.insert((*head, checksum(self.design_checksum, *head), outcomes, rows))

    def insert(self, row: tuple[Any, ...]) -> None:
        """Write a chunk as another file of the same sweep has it, unless it is there."""
        with self._explained(), self._transaction():
            self._base.execute(INSERT_CHUNK, row)
        self._settle_soon()

    def insert_session(self, row: tuple[Any, ...]) -> None:
        """Write a session as another file of the same sweep has it."""
        began, ended, command, own = row
        if checksum(began, ended, command) == own:
            with self._explained():
                self._base.execute("INSERT INTO sessions VALUES (?, ?, ?, ?)", row)

    def fail(self, cell: int, reason: str) -> None:
        """Write why a cell failed."""
        # what a policy raises may hold characters that no UTF-8 has
        text = reason.encode("utf-8", "backslashreplace").decode("utf-8")
        with self._explained(), self._transaction():
            self._base.execute(
                "INSERT OR REPLACE INTO failures VALUES (?, ?, ?)",
                (cell, text, checksum(self.design_checksum, cell, text)),
            )

    def drop_damaged(self, cells: Iterable[StoredCell]) -> None:
        """Take the chunks that are damaged out of the file, so that they are lived again.

        Args:
            cells: those of the sweep's design.

        Raises:
            DamageError: something else of the file is damaged.
        """
        self.verify(cells)
        if not self.damaged:
            return
        with self._explained(), self._transaction():
            delete = "DELETE FROM chunks WHERE cell IS ? AND first IS ?"
            self._base.executemany(delete, self.damaged)
        logging.getLogger("petsim").warning(
            "petsim: %s: is damaged, and lived again are %s", self.path, in_words([*self.damaged])
        )
        for read_before in ("chunks", "_whole"):
            vars(self).pop(read_before, None)

    def _settle_soon(self) -> None:
        """Have what was committed moved into the file itself, for whoever copies that alone."""
        self._unsettled.set()
        if self._settling is None:
            self._settling = Thread(target=self._settle, daemon=True)
            self._settling.start()

    def _settle(self) -> None:
        while self._unsettled.wait() and not self._closing.wait(SETTLED_WITHIN):
            self._unsettled.clear()
            with suppress(sqlite3.Error, ArgumentError), closing(self._opened("rw")) as base:
                base.execute("PRAGMA wal_checkpoint(PASSIVE)")

    @contextmanager
    def session(self, command: str) -> Iterator[None]:
        """Keep when lives were lived, and by which command."""
        with self._explained():
            self._write_ahead()
            [(began,)] = self._all(NOW)
            place = self._base.execute(
                "INSERT INTO sessions VALUES (?, NULL, ?, ?)",
                (began, command, checksum(began, None, command)),
            ).lastrowid
        try:
            yield
        finally:
            if not self._is_gone():
                with self._explained():
                    [(ended,)] = self._all(NOW)
                    self._base.execute(
                        "UPDATE sessions SET ended = ?, checksum = ? WHERE rowid = ?",
                        (ended, checksum(began, ended, command), place),
                    )

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        if self._is_gone():
            raise ArgumentError(
                f"{self.path}: was deleted or replaced while lives were written to it; expected it "
                "to stay as it is until the sweep ends"
            )
        try:
            self._base.execute("BEGIN IMMEDIATE")
            yield
            self._base.execute("COMMIT")
        except BaseException:
            if self._base.in_transaction:
                self._base.execute("ROLLBACK")
            raise


INSERT_CHUNK = (
    f"INSERT OR IGNORE INTO chunks ({', '.join(HEAD)}, checksum, outcomes, rows) "
    f"VALUES ({', '.join('?' * (len(HEAD) + 3))})"
)
