"""The tables of a sweep's file, and whether a file has them as they were made."""

from __future__ import annotations

import sqlite3

FORMAT = 1
"""The number of this form of the file, kept as its `user_version`."""
SCHEMA = (
    "CREATE TABLE about (key TEXT PRIMARY KEY, value NOT NULL) WITHOUT ROWID",
    "CREATE TABLE written (kind TEXT PRIMARY KEY, rows INTEGER NOT NULL, checksum BLOB NOT NULL) "
    "WITHOUT ROWID",
    "CREATE TABLE sessions (began TEXT NOT NULL, ended TEXT, command TEXT NOT NULL, "
    "checksum BLOB NOT NULL)",
    "CREATE TABLE cells (cell INTEGER PRIMARY KEY, regime TEXT NOT NULL)",
    "CREATE TABLE parameters (cell INTEGER, path TEXT, text TEXT NOT NULL, number REAL, "
    "PRIMARY KEY (cell, path)) WITHOUT ROWID",
    "CREATE TABLE failures (cell INTEGER PRIMARY KEY, reason TEXT NOT NULL, "
    "checksum BLOB NOT NULL)",
    # without a row number, so that no second tree can say otherwise where a row is
    "CREATE TABLE chunks (cell INTEGER, first INTEGER, lives INTEGER NOT NULL, "
    "counts TEXT NOT NULL, sums TEXT NOT NULL, of_outcomes BLOB NOT NULL, of_rows BLOB NOT NULL, "
    "checksum BLOB NOT NULL, outcomes BLOB NOT NULL, rows BLOB, "
    "PRIMARY KEY (cell, first)) WITHOUT ROWID",
    "CREATE VIEW odds AS SELECT cell, key AS outcome, SUM(value) AS lives "
    "FROM chunks, json_each(counts) GROUP BY cell, key",
    "CREATE VIEW totals AS SELECT cell, key AS column, SUM(json_extract(value, '$[0]')) AS lives, "
    "SUM(json_extract(value, '$[1]')) AS total, SUM(json_extract(value, '$[2]')) AS squares "
    "FROM chunks, json_each(sums) GROUP BY cell, key",
)
"""What makes each table, and the views for whoever reads the file with plain SQL."""


def create(base: sqlite3.Connection) -> None:
    """Make all tables and views in an empty file."""
    for statement in SCHEMA:
        base.execute(statement)
    base.execute(f"PRAGMA user_version = {FORMAT}")


def made(base: sqlite3.Connection) -> set[str]:
    """Return the names of a file's tables and views that are as petsim makes them."""
    statements = {sql for (sql,) in base.execute("SELECT sql FROM sqlite_master").fetchall()}
    return {statement.split()[2] for statement in SCHEMA if statement in statements}


def foreign(base: sqlite3.Connection) -> str | None:
    """Return why a file is not one for this petsim to use, None if it is.

    Views and tables of anybody else's are left alone, as nothing here reads them; a trigger would
    act when petsim writes.
    """
    [(version,)] = base.execute("PRAGMA user_version").fetchall()
    if version > FORMAT:
        return "was written by a newer petsim; expected a petsim as new to read it"
    if version < FORMAT:
        return "was written by an older petsim; expected that petsim to read it, or another name"
    if base.execute("SELECT 1 FROM sqlite_master WHERE type = 'trigger'").fetchall():
        return "has a trigger, which would change what petsim writes; expected the file without it"
    return None


def damage(base: sqlite3.Connection) -> str | None:
    """Return which table or view is not as petsim makes it, None if all are."""
    as_made = made(base)
    for statement in SCHEMA:
        _, kind, name, *_ = statement.split()
        if name not in as_made:
            return f"is damaged: its {kind.lower()} {name} is not as petsim made it"
    return None
