"""Writing a log: line by line on a rig, so that no kill or power cut costs what was written; or as
a whole, of a simulated life.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final, NamedTuple, Self

from petsim.errors import ArgumentError, MisfitError, SeveralMisfitsError, legible
from petsim.life.log.entries import ALIVE, Action, Check, Entry, LoggedLife, Look, Run
from petsim.life.log.lines import (
    FORMAT,
    LONGEST_LINE,
    LONGEST_TEXT,
    UnreadableError,
    line_text,
    read_line,
)
from petsim.spec.document import other_than_file
from petsim.spec.library import write_new

SYNCED: Final = ("header", "start", "pressing", "birth", "end", "stop")
"""Events whose lines are on the disk before anything else is done."""
_MONDAY = datetime(2001, 1, 1, tzinfo=UTC)
"""The nominal date at which simulated lives begin on a Monday."""


def _now() -> datetime:
    return datetime.now().astimezone()


class LogWriter:
    """A rig's log, to which lines are added; what is in its file already stays as it is.

    Each line is one write, and on the disk at once if it tells of a `SYNCED` event; other lines
    once `sync` is called, as is to be done at the end of each check. A rig says that it is `alive`
    if it has written nothing for a minute.

    Args:
        path: of the file, new or of a log.
        pet: what the pet is called.
        signals: that the rig can see.
        more: further fields of the header, such as `regime` or `pet clock`.
        now: tells the wall clock's time, with its offset.
        up: tells the seconds of a clock that never jumps.

    Raises:
        ArgumentError: the file can't be written, or is another than a log.
    """

    def __init__(
        self,
        path: str | Path,
        pet: str,
        signals: tuple[str, ...],
        more: Mapping[str, Any] | None = None,
        *,
        now: Callable[[], datetime] = _now,
        up: Callable[[], float] = time.monotonic,
    ) -> None:
        self._path = Path(path)
        self._now, self._up = now, up
        end = _end_of(self._path)
        try:
            self._file = os.open(self._path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o666)
        except OSError as error:
            raise _unwritten(self._path, error) from error
        self._n, self._boot, self._is_mid_line = end.n, end.boot, end.is_mid_line
        header = {"petsim": FORMAT, "pet": pet, "signals": [*signals], **(more or {})}
        if end.has_header:
            self.write("start")
            self.write("header", header)
        else:
            self.write("header", header)
            self.write("start")
            _sync_folder(self._path.parent)

    def write(self, event: str, fields: Mapping[str, Any] | None = None) -> None:
        """Add the line of an event with its fields, which `lines.EVENTS` lists.

        Raises:
            ArgumentError: it can't be written, or would be no line of a log.
        """
        try:
            text = line_text(self._n, self._now(), self._up(), self._boot, event, fields or {})
            read_line(0, text.removesuffix("\n").encode())
        except MisfitError as misfit:
            raise ArgumentError(f"{event}: {misfit.found}; {misfit.expected}") from None
        except SeveralMisfitsError as error:
            [first, *_] = error.misfits
            field = ".".join(map(str, (event, *first.at)))
            raise ArgumentError(f"{field}: {first.found}; {first.expected}") from None
        if self._is_mid_line:
            # what was cut off stays, in a line by itself
            self._put(b"\n")
        self._is_mid_line = True
        self._put(text.encode())
        self._is_mid_line = False
        self._n += 1
        if event in SYNCED:
            self.sync()

    def sync(self) -> None:
        """Have on the disk what was written."""
        try:
            os.fsync(self._file)
        except OSError as error:
            raise _unwritten(self._path, error) from error

    def close(self) -> None:
        """Say that the rig stops on purpose, and close the file."""
        self.write("stop")
        os.close(self._file)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: object, *_: object) -> None:
        if kind is None:
            self.close()
        else:
            os.close(self._file)

    def _put(self, content: bytes) -> None:
        try:
            written = os.write(self._file, content)
        except OSError as error:
            raise _unwritten(self._path, error) from error
        if written < len(content):
            raise ArgumentError(f"{self._path}: can't be written: the disk is full")


class _End(NamedTuple):
    """Where a log goes on: number and boot of its next line, and how it ends."""

    n: int = 0
    boot: int = 1
    is_mid_line: bool = False
    has_header: bool = False


def _end_of(path: Path) -> _End:
    """Where the log in a file goes on, if there is one."""
    if (other := other_than_file(path)) is not None:
        raise ArgumentError(f"{path}: is {other}; expected a log, or the name of a new one")
    try:
        with path.open("rb") as stream:
            first = stream.readline(LONGEST_LINE)
            size = stream.seek(0, os.SEEK_END)
            stream.seek(max(0, size - _TAIL))
            tail = stream.read()
    except FileNotFoundError:
        return _End()
    except (OSError, ValueError) as error:
        raise _unwritten(path, error) from error
    if not tail:
        return _End()
    is_mid_line = not tail.endswith(b"\n")
    if not _is_header(first):
        if first == tail and is_mid_line and first[:1] in (b"{", b"\0"):
            return _End(n=1, is_mid_line=True)
        raise ArgumentError(f"{path}: is there already, and no log; expected a log, or a new file")
    unread = 0
    for content in reversed(tail.removesuffix(b"\n").split(b"\n")):
        try:
            last = read_line(0, content)
        except (UnreadableError, SeveralMisfitsError):
            unread = 1
        else:
            return _End(last.n + 1 + unread, last.boot + 1, is_mid_line, has_header=True)
    raise ArgumentError(f"{path}: has no line of a log near its end; expected a whole log")


_TAIL = 64 * LONGEST_LINE
"""Bytes at the end of a log in which its last whole line is looked for."""


def _is_header(content: bytes) -> bool:
    try:
        return read_line(1, content.removesuffix(b"\n")).event == "header"
    except (UnreadableError, SeveralMisfitsError):
        return False


def _sync_folder(folder: Path) -> None:
    """Have the name of a new file on the disk, where a folder can be opened for that."""
    try:
        place = os.open(folder, os.O_RDONLY)
    except OSError:
        return
    try:
        os.fsync(place)
    except OSError:
        pass
    finally:
        os.close(place)


def _unwritten(path: Path, error: Exception) -> ArgumentError:
    return ArgumentError(f"{path}: can't be written: {getattr(error, 'strerror', None) or error}")


# A log as a whole


def write_whole(log: LoggedLife, path: Path) -> None:
    """Write what a rig would have logged of a simulated life to a new file.

    Raises:
        ArgumentError: it can't be written, or there is a file already.
    """
    text = text_of(log)
    try:
        write_new(path, text)
    except FileExistsError:
        raise ArgumentError(f"{path}: is there already; expected a new file") from None
    except (OSError, ValueError) as error:
        raise _unwritten(path, error) from error


def text_of(log: LoggedLife) -> str:
    """Return the file of what a rig would have logged of a simulated life, on nominal dates.

    Its life begins in the first week of 2001, on the weekday of its pet's clock, in UTC.

    Raises:
        ArgumentError: the model has so many needs that a line would be too long.
    """
    begins = _MONDAY + timedelta(days=log.begins.weekday, seconds=log.begins.clock)
    try:
        return "".join(
            line_text(n, begins + timedelta(seconds=t), up, boot, event, said)
            for n, (t, up, boot, event, said) in enumerate(_lines(log))
        )
    except MisfitError as misfit:
        raise ArgumentError(f"log of {log.pet}: {misfit.found}; {misfit.expected}") from None


class _Said(NamedTuple):
    """A line before it is written: its second, and what it says."""

    t: float
    up: float
    boot: int
    event: str
    said: Mapping[str, Any]


def _lines(log: LoggedLife) -> Iterator[_Said]:
    who = {"pet": _in_one_line(log.pet)}
    if log.regime:
        who["regime"] = _in_one_line(log.regime)
    header = {"petsim": FORMAT, **who, "signals": [*log.signals]}
    note = _in_one_line(f"simulated, on nominal dates: {log.source}")
    yield _Said(0, 0, 1, "header", header)
    told, place = _told(log), 0
    for boot, run in enumerate(log.runs, 1):
        first = [(run.since, "start", {"cause": "power"})]
        if boot == 1:
            first.append((run.since, "note", {"text": note}))
            first += [(run.since, "birth", {})] if log.is_born else []
        last = place
        while last < len(told) and told[last][0] <= run.until:
            last += 1
        end = [(run.until, "end", {"cause": log.end})] if run is log.runs[-1] and log.end else []
        stop: list[_Told] = [(run.until, "stop", {})] if run.is_clean else []
        for t, event, said in _kept_alive([*first, *told[place:last], *end, *stop], run):
            yield _Said(t, t - run.since, boot, event, said)
        place = last


def _in_one_line(text: str) -> str:
    return legible(text)[:LONGEST_TEXT]


_Told = tuple[float, str, Mapping[str, Any]]


def _told(log: LoggedLife) -> list[_Told]:
    """What a rig tells of checks, looks and actions, in order."""
    skipped: list[_Told] = [(t, "skipped", {}) for t in log.skipped]
    lines = [line for entry in log.entries for line in _of_entry(entry, log.runs)]
    return sorted([*lines, *skipped], key=lambda line: line[0])


def _of_entry(entry: Entry, runs: Sequence[Run]) -> Iterator[_Told]:
    match entry:
        case Check():
            yield entry.t, "check", {"check": entry.number}
        case Look():
            said = {"check": entry.check, "step": entry.step, "saw": entry.saw}
            unreadable = {"unreadable": [*entry.unreadable]} if entry.unreadable else {}
            yield entry.t, "look", said | unreadable
        case Action():
            did = {"check": entry.check, "action": entry.action}
            yield entry.began, "pressing", did
            if entry.outcome != "unfinished":
                since = next(run.since for run in reversed(runs) if run.since <= entry.began)
                over = {"presses": entry.presses, "outcome": entry.outcome}
                yield entry.t, "action", did | {"began": entry.began - since} | over


def _kept_alive(lines: Sequence[_Told], run: Run) -> Iterator[_Told]:
    """These lines of a run, with one that the rig is alive wherever it was silent for long."""
    last = run.since
    for line in lines:
        yield from _alive(last, line[0])
        yield line
        last = line[0]
    yield from _alive(last, run.until + 1)


def _alive(last: float, until: float) -> Iterator[_Told]:
    """The lines that tell that a rig is alive after its last one, before a second."""
    while last + ALIVE < until:
        last += ALIVE
        yield last, "alive", {}
