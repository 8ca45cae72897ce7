"""Files that results are written to: of a kind that their name tells, and whole or not at all."""

from __future__ import annotations

import errno
import os
import re
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

from petsim.errors import ArgumentError, legible, quote
from petsim.spec.document import other_than_file

if TYPE_CHECKING:
    import pandas as pd

PATIENCE = 60.0
"""Seconds to wait for others in a folder."""
_BEGIN_FORMULAS = ("=", "+", "-", "@")
_NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?%?")


def path_named(name: str | Path, *ends: str) -> Path:
    """The path of a file that a result can be written to, before there is the result.

    Args:
        name: of the file.
        ends: how it may end, two or more.

    Raises:
        ArgumentError: it ends otherwise, its folder is not there, or it is no file.
    """
    text, (*others, last) = str(name), ends
    path = Path(text)
    if path.suffix not in ends:
        ends_in = f"{', '.join(others)} or {last}"
        raise ArgumentError(f"{text or quote(text)}: expected a name that ends in {ends_in}")
    if not path.parent.is_dir():
        raise _unwritten(path, os.strerror(errno.ENOENT))
    if (other := other_than_file(path)) is not None:
        raise ArgumentError(f"{path}: is {other}; expected a file, or the name of a new one")
    return path


def write_csv(table: pd.DataFrame, file: Path | TextIO) -> None:
    """Write a table as CSV that a spreadsheet shows and does not run.

    A text that begins as a formula may, with =, +, - or @, has an apostrophe before it, and control
    characters, which may end a cell, are written out; numbers, also those that are texts, stay as
    they are.

    Source: OWASP, "CSV Injection", as remembered.
    """
    plain = table.rename(columns=_as_cell)
    for place, (_, column) in enumerate(table.items()):
        if column.dtype.kind not in "biuf":
            plain.isetitem(place, column.map(_as_cell, na_action="ignore").array)
    plain.to_csv(file, index=False)


def _as_cell(value: object) -> object:
    """A value, of a text one that no spreadsheet takes for a formula or for several cells."""
    if not isinstance(value, str):
        return value
    text = legible(value)
    is_formula = text.startswith(_BEGIN_FORMULAS) and not _NUMBER.fullmatch(text)
    return f"'{text}" if is_formula else text


@contextmanager
def written_whole(path: Path) -> Iterator[Path]:
    """A draft to write to, which becomes the file at the end, unless an error ends it before.

    Raises:
        ArgumentError: it can't be written.
    """
    # ends as the file does, as other packages tell its kind by that
    draft = path.with_name(f".{os.getpid()}.{path.name}")
    with suppress(OSError):
        draft.unlink()  # what a process of the same number left when it was killed
    try:
        yield draft
        draft.replace(path)
    except OSError as error:
        raise _unwritten(path, error.strerror) from error
    finally:
        with suppress(OSError):
            draft.unlink()


@contextmanager
def alone_in(folder: Path) -> Iterator[Callable[[], None]]:
    """Wait until nobody else is within this for a folder, and keep others out meanwhile.

    Yields what lets others in before the end. The system does so when the process ends, however it
    ends. Nobody is kept out where there are no such locks, as on some network drives, nor after
    `PATIENCE`.
    """
    try:
        import fcntl

        place = os.open(folder, os.O_RDONLY)
    except (ImportError, OSError):
        yield lambda: None
        return

    def let_in() -> None:
        with suppress(OSError):
            fcntl.flock(place, fcntl.LOCK_UN)

    try:
        ends = time.monotonic() + PATIENCE
        while time.monotonic() < ends:
            try:
                fcntl.flock(place, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                time.sleep(0.01)
            except OSError:
                break
            else:
                break
        yield let_in
    finally:
        os.close(place)


def _unwritten(path: Path, why: str | None) -> ArgumentError:
    return ArgumentError(f"{path}: can't be written: {why}")
