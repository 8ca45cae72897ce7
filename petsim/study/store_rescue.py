"""A damaged file of a sweep, made anew with all of it that is whole."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing, suppress
from pathlib import Path
from typing import Any

from petsim.errors import ArgumentError
from petsim.study import store_schema
from petsim.study.checksum import checksum
from petsim.study.store import HEAD, StoredCell, connected
from petsim.study.store_writer import LOG, StoreWriter
from petsim.study.writing import written_whole

LEAST_CHUNK = 100
"""Bytes that any chunk takes in a file, at the least: it has four checksums of 16."""
UNREADABLE = (sqlite3.Error, UnicodeDecodeError)
"""What reading damage ends in."""


def rescue(
    path: Path,
    about: Mapping[str, Any],
    cells: Sequence[StoredCell],
    *,
    is_known: bool,
) -> None:
    """Replace a damaged file by a new one, which has what is whole and belongs to the sweep.

    Args:
        path: of the file.
        about, cells: what the sweep is, as for `StoreWriter.begin`.
        is_known: whether the file itself says that it is this sweep.

    Raises:
        ArgumentError: it does not, and no lives can be read, so that it may be any sweep's.
    """
    with written_whole(path) as draft:
        draft.touch()
        with closing(StoreWriter(draft)) as store, closing(connected(path, "ro")) as base:
            store.begin(about, cells)
            kept = 0
            with store.transaction():
                most = path.stat().st_size // LEAST_CHUNK
                for row in _chunks(base, [cell.number for cell in cells], about["chunk"], most):
                    if store.is_whole(row[: len(HEAD) + 1]) and _is_whole(row):
                        store.insert(row)
                        kept += 1
                for cell, reason, own in _rows(base, "cell, reason, checksum", "failures"):
                    if checksum(store.design_checksum, cell, reason) == own:
                        store.fail(cell, reason)
                        kept += 1
                for *session, own in _rows(base, "began, ended, command, checksum", "sessions"):
                    if checksum(*session) == own:
                        store.insert_session((*session, own))
        if not kept and not is_known:
            raise ArgumentError(
                f"{path}: is damaged, and no lives of this sweep can be read from it; "
                "expected a copy of it, or another name to write to"
            )
        for beside in (*LOG, "-journal"):
            path.with_name(f"{path.name}{beside}").unlink(missing_ok=True)


def _chunks(
    base: sqlite3.Connection, cells: Sequence[int], size: int, most: int
) -> Iterator[tuple[Any, ...]]:
    """Yield the row of each chunk that can be read.

    After one that can't be, the next is tried, but no more than there can be: a sweep may be of so
    many lives that nobody can try all.

    Args:
        cells: the numbers of the cells.
        size: the lives of a chunk.
        most: how many chunks there can be in the file.
    """
    query = (
        f"SELECT {', '.join(HEAD)}, checksum, outcomes, rows FROM chunks "
        "WHERE cell = ? AND first >= ? ORDER BY first"
    )
    for cell in cells if _is_made(base, "chunks") else []:
        first, is_read = 0, False
        while most > 0 and not is_read:
            try:
                for row in base.execute(query, (cell, first)):
                    yield row
                    first = row[1] + size if isinstance(row[1], int) else first
                is_read = True
            except UNREADABLE:
                first, most = first + size, most - 1


def _rows(base: sqlite3.Connection, columns: str, table: str) -> Iterator[tuple[Any, ...]]:
    """Yield the rows of a table up to where it can't be read."""
    with suppress(*UNREADABLE):
        if _is_made(base, table):
            yield from base.execute(f"SELECT {columns} FROM {table}")


def _is_made(base: sqlite3.Connection, table: str) -> bool:
    """Whether a table is as petsim makes it, and no view, which may never end."""
    with suppress(*UNREADABLE):
        return table in store_schema.made(base)
    return False


def _is_whole(row: tuple[Any, ...]) -> bool:
    """Whether what is held of a chunk's lives is what was written."""
    *_, of_outcomes, of_rows, _, outcomes, rows = row
    return (checksum(outcomes), checksum(rows)) == (of_outcomes, of_rows)
