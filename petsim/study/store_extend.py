"""The file of a sweep, made anew for a larger sweep, with all that it has."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import closing
from typing import Any

from petsim.study.checksum import checksum
from petsim.study.store import HEAD, StoredCell
from petsim.study.store_writer import StoreWriter
from petsim.study.writing import written_whole


def extend(
    store: StoreWriter,
    about: Mapping[str, Any],
    cells: Iterable[StoredCell],
    places: Mapping[int, int],
) -> None:
    """Replace the file of a sweep by that of a larger one, which has all its lives.

    The new file is written beside and takes the name at the end, so a kill leaves one or the other,
    whole. Nothing is done if another process has replaced the file before.

    Args:
        store: the file.
        about, cells: what the larger sweep is, as for `StoreWriter.begin`.
        places: the number of each cell in it, by the number that it has.

    Raises:
        ArgumentError: others read or write the file, or it can't be written.
    """
    with store.held() as is_there:
        if not is_there:
            return
        with written_whole(store.path) as draft:
            draft.touch()
            with closing(StoreWriter(draft)) as larger:
                larger.begin(about, cells)
                with larger.transaction():
                    _copy(store, larger, places)


def _copy(store: StoreWriter, larger: StoreWriter, places: Mapping[int, int]) -> None:
    """Copy all lives, failures and sessions to the file of a larger sweep."""
    for row in store.whole_chunks():
        head = (places[row[0]], *row[1 : len(HEAD)])
        own = checksum(larger.design_checksum, *head)
        larger.insert((*head, own, *row[len(HEAD) + 1 :]))
    for cell, reason in store.failed().items():
        larger.fail(places[cell], reason)
    for began, ended, command in store.sessions():
        session = (began, ended or None, command)
        larger.insert_session((*session, checksum(*session)))
