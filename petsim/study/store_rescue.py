"""A damaged file of a sweep, made anew with all of it that is whole."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import closing, suppress
from pathlib import Path
from typing import Any

from petsim.errors import ArgumentError
from petsim.study import store_schema
from petsim.study.checksum import checksum
from petsim.study.store import HEAD, StoredCell
from petsim.study.store_writer import LOG, StoreWriter
from petsim.study.writing import written_whole


def rescue(
    path: Path,
    about: Mapping[str, Any],
    cells: Iterable[StoredCell],
    keys: Iterable[Any],
    *,
    is_known: bool,
) -> None:
    """Replace a damaged file by a new one, which has what is whole and belongs to the sweep.

    Args:
        path: of the file.
        about, cells: what the sweep is, as for `StoreWriter.begin`.
        keys: the cell and first life of each chunk that there may be.
        is_known: whether the file itself says that it is this sweep.

    Raises:
        ArgumentError: it does not, and no lives can be read, so that it may be any sweep's.
    """
    with written_whole(path) as draft:
        draft.touch()
        with closing(StoreWriter(draft)) as store, closing(_damaged(path)) as base:
            store.begin(about, cells)
            kept = 0
            with store.transaction():
                for row in _chunks(base, keys):
                    if store.is_whole(row[: len(HEAD) + 1]) and _is_whole(row):
                        store.insert(row)
                        kept += 1
                for cell, reason, own in _rows(base, "failures", "cell, reason, checksum"):
                    if checksum(store.design_checksum, cell, reason) == own:
                        store.fail(cell, reason)
                        kept += 1
                for *session, own in _rows(base, "sessions", "began, ended, command, checksum"):
                    if checksum(*session) == own:
                        store.insert_session((*session, own))
        if not kept and not is_known:
            raise ArgumentError(
                f"{path}: is damaged, and no lives of this sweep can be read from it; "
                "expected a copy of it, or another name to write to"
            )
        for beside in (*LOG, "-journal"):
            path.with_name(f"{path.name}{beside}").unlink(missing_ok=True)


def _damaged(path: Path) -> sqlite3.Connection:
    base = sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True, isolation_level=None)
    base.text_factory = lambda text: text.decode("utf-8", "replace")
    return base


def _chunks(base: sqlite3.Connection, keys: Iterable[Any]) -> Iterator[tuple[Any, ...]]:
    """Yield the row of each chunk that can be read."""
    columns = f"{', '.join(HEAD)}, checksum, outcomes, rows"
    for key in keys:
        yield from _rows(base, "chunks", columns, "WHERE cell = ? AND first = ?", *key)


def _rows(
    base: sqlite3.Connection, table: str, columns: str, where: str = "", *values: Any
) -> Iterator[tuple[Any, ...]]:
    """Yield what can be read of a table, if it is petsim's and no view, which may never end."""
    with suppress(sqlite3.Error, UnicodeDecodeError):  # where the damage is
        if table in store_schema.made(base):
            yield from base.execute(f"SELECT {columns} FROM {table} {where}", values)


def _is_whole(row: tuple[Any, ...]) -> bool:
    """Whether what is held of a chunk's lives is what was written."""
    *_, of_outcomes, of_rows, _, outcomes, rows = row
    return (checksum(outcomes), checksum(rows)) == (of_outcomes, of_rows)
