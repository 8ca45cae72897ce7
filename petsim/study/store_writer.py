"""A sweep on disk, written: nothing is lost, and others can read meanwhile.

SQLite in write-ahead mode with `synchronous=FULL`: what is committed survives a kill or a power
cut, and a chunk of lives is committed whole or not at all. Chunks are known by their cell and first
life, so none counts twice, whoever lived it.
"""

from __future__ import annotations

import json
import logging
import random
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from threading import Event, RLock, Thread
from time import sleep
from typing import Any

import numpy as np

from petsim.errors import ArgumentError
from petsim.spec.document import is_file
from petsim.study import store_schema
from petsim.study.checksum import checksum
from petsim.study.job import ChunkResult
from petsim.study.store import (
    HEAD,
    KINDS,
    PATIENCE,
    Store,
    StoredCell,
    checksum_of,
    checksum_of_cells,
    in_words,
)

NOW = "SELECT strftime('%Y-%m-%dT%H:%M:%SZ', 'now')"
SHORT_PATIENCE = 5
"""Seconds to wait for others to leave a file that is to be replaced."""
PAUSES = (0.01, 0.03, 0.1)
"""Seconds, more or less, after which a file that others still use is tried again at the end."""
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
        self._one_at_a_time = RLock()
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
        logs = [self.path.with_name(f"{self.path.name}{beside}") for beside in LOG]
        if self._is_gone():
            super().close()
            if not self.path.exists():
                for log in logs:
                    log.unlink(missing_ok=True)
            return
        for pause in PAUSES:
            with suppress(sqlite3.Error):  # while another process reads or writes it
                self._base.execute("PRAGMA busy_timeout = 0")  # whoever leaves last clears up
                self._base.execute("PRAGMA journal_mode=DELETE")
            super().close()
            if not any(is_file(log) for log in logs):
                return
            # two that leave at once see each other still there, and neither would clear up
            sleep(pause * random.uniform(0.5, 1.5))
            with suppress(ArgumentError):  # it was moved away meanwhile
                self._base = self._opened("rw")
        super().close()

    def begin(self, about: Mapping[str, Any], cells: Iterable[StoredCell]) -> None:
        """Write what the sweep is, if no other process just has."""
        cells = [*cells]
        facts = {key: json.dumps(value) for key, value in about.items()}
        facts["cells"] = json.dumps(checksum_of_cells(cells))
        self._base.close()
        self._base = self._opened("rwc")
        self._file = self._identity()
        with self._explained():
            self._write_ahead()
        with self.transaction():
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
            for kind in KINDS:
                self._note(kind, 0)

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
        """Write a chunk, unless it is there with as many lives; one with fewer is replaced."""
        cell, first, lives, *_ = row
        with self.transaction():
            shorter = "DELETE FROM chunks WHERE cell = ? AND first = ? AND lives < ?"
            fewer = self._base.execute(shorter, (cell, first, lives)).rowcount
            self._note("chunks", self._base.execute(INSERT_CHUNK, row).rowcount - fewer)

    def insert_session(self, row: tuple[Any, ...]) -> int | None:
        """Write a session as another file of the same sweep has it; return its place."""
        with self.transaction():
            self._note("sessions", 1)
            return self._base.execute("INSERT INTO sessions VALUES (?, ?, ?, ?)", row).lastrowid

    def fail(self, cell: int, reason: str) -> None:
        """Write why a cell failed."""
        # what a policy raises may hold characters that no UTF-8 has
        text = reason.encode("utf-8", "backslashreplace").decode("utf-8")
        with self.transaction():
            added = self._base.execute(
                "INSERT OR IGNORE INTO failures VALUES (?, ?, ?)",
                (cell, text, checksum(self.design_checksum, cell, text)),
            )
            self._note("failures", added.rowcount)
            # whose lives would be others if they had been lived together with those that failed
            size, most = self._sizes
            shorter = "DELETE FROM chunks WHERE cell = ? AND lives < MIN(?, ? - first)"
            fewer = self._base.execute(shorter, (cell, size, most)).rowcount
            self._note("chunks", -fewer)

    def _note(self, kind: str, more: int) -> None:
        """Note that more rows of a kind were written, so that one that vanishes is missed."""
        for (rows,) in self._all(f"SELECT rows FROM written WHERE kind = '{kind}'"):
            more += rows
        self._base.execute(
            "INSERT OR REPLACE INTO written VALUES (?, ?, ?)",
            (kind, more, checksum(self.design_checksum, kind, more)),
        )

    @contextmanager
    def held(self) -> Iterator[bool]:
        """Keep all others from writing to the file, which has no log beside it meanwhile.

        Yields whether it is still the file of that name.

        Raises:
            ArgumentError: others read or write it.
        """
        try:
            self._base.execute(f"PRAGMA busy_timeout = {1000 * SHORT_PATIENCE}")
            [(mode,)] = self._all("PRAGMA journal_mode=DELETE")
        except sqlite3.OperationalError:
            mode = "busy"
        finally:
            self._base.execute(f"PRAGMA busy_timeout = {1000 * PATIENCE}")
        if mode != "delete":
            raise ArgumentError(
                f"{self.path}: is read or written by another process; expected to be alone with "
                "it while it becomes a larger sweep"
            )
        with self._explained():
            self._base.execute("BEGIN IMMEDIATE")
        try:
            yield not self._is_gone()
        finally:
            with self._explained():
                self._base.execute("ROLLBACK")

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
        damaged = sorted(self.damaged, key=repr)
        with self.transaction():
            delete = "DELETE FROM chunks WHERE cell IS ? AND first IS ?"
            self._note("chunks", -self._base.executemany(delete, damaged).rowcount)
        logging.getLogger("petsim").warning(
            "petsim: %s: is damaged: %s are lived again", self.path, in_words(damaged)
        )
        for read_before in ("chunks", "_whole"):
            vars(self).pop(read_before, None)

    def _settle_soon(self) -> None:
        """Have what was committed moved into the file itself, for whoever copies that alone."""
        self._unsettled.set()
        if self._settling is None:
            self._settling = Thread(target=self._keep_settled, daemon=True)
            self._settling.start()

    def _keep_settled(self) -> None:
        while self._unsettled.wait() and not self._closing.wait(SETTLED_WITHIN):
            self._unsettled.clear()
            # what was cleared may have been the wake-up of one that closes it meanwhile
            if not self._settle() or self._closing.is_set():
                self._unsettled.set()

    def _settle(self) -> bool:
        """Move what was committed from the log beside the file into the file, and empty the log.

        So the file alone is all there is, and nothing of it is taken for another file's that is
        put in its place. It is not opened anew for this, as its name may be another file's by now.

        Returns:
            Whether all was moved; not if somebody reads an older state.
        """
        with self._one_at_a_time, suppress(sqlite3.Error):
            self._base.execute("PRAGMA busy_timeout = 0")
            try:
                [(is_held, *_)] = self._all("PRAGMA wal_checkpoint(TRUNCATE)")
            finally:
                self._base.execute(f"PRAGMA busy_timeout = {1000 * PATIENCE}")
            return not is_held
        return True

    @contextmanager
    def session(self, command: str) -> Iterator[None]:
        """Keep when lives were lived, and by which command."""
        with self._explained():
            self._write_ahead()
            [(began,)] = self._all(NOW)
        place = self.insert_session((began, None, command, checksum(began, None, command)))
        try:
            yield
        finally:
            if not self._is_gone():
                with self.transaction():
                    [(ended,)] = self._all(NOW)
                    self._base.execute(
                        "UPDATE sessions SET ended = ?, checksum = ? WHERE rowid = ?",
                        (ended, checksum(began, ended, command), place),
                    )

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """Write all that is written within, or nothing; within another, together with that.

        Raises:
            ArgumentError: it can't be written, or another file has its name by now.
        """
        if self._base.in_transaction:
            yield
            return
        if self._is_gone():
            self._settle()
            raise ArgumentError(
                f"{self.path}: was deleted, moved or replaced while lives were written to it; if "
                "it was moved, it has all lives but the last: put it back, and the same command "
                "goes on"
            )
        with self._explained(), self._one_at_a_time:
            try:
                self._base.execute("BEGIN IMMEDIATE")
                yield
                self._base.execute("COMMIT")
            except BaseException:
                if self._base.in_transaction:
                    self._base.execute("ROLLBACK")
                raise
        self._settle_soon()


LOG = ("-wal", "-shm")
"""What SQLite keeps beside a file that is written to."""


INSERT_CHUNK = (
    f"INSERT OR IGNORE INTO chunks ({', '.join(HEAD)}, checksum, outcomes, rows) "
    f"VALUES ({', '.join('?' * (len(HEAD) + 3))})"
)
