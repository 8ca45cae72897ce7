"""Reading a rig's log: its lives, and what became of its lines.

A line that a power cut or a kill cut off is no fault: that is the last one, if it has no end, and
one that can't be read directly before a `start`. All other lines are as `lines` says, or the log is
refused with every fault.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, NamedTuple

from petsim.errors import (
    Choice,
    MisfitError,
    Problem,
    SeveralMisfitsError,
    SpecError,
    describe,
    quote,
)
from petsim.life.log.entries import LoggedLife
from petsim.life.log.lines import LONGEST_LINE, Line, UnreadableError, read_line
from petsim.life.log.lives import Timed, lives_of
from petsim.spec.document import MOST_PROBLEMS, field_name, other_than_file

LARGEST_LOG = 1 << 27
"""Bytes a log may have: about a year of a rig that checks every ten minutes."""
MOST_FAULTS = 1_000
"""Problems after which nothing more of a log is read."""
JUMP = 2.0
"""Seconds by which wall clock and monotonic clock may part from one line to the next."""
A_LINE = "expected a line of a log, a JSON object"


class Gap(NamedTuple):
    """Lines are missing before a line of this number: so many."""

    line: int
    lost: int


class Jump(NamedTuple):
    """A clock jumped before a line of this number, by these seconds."""

    line: int
    by: float


@dataclass(frozen=True)
class Log:
    """A log that was read.

    lives: what it says of each. lines: how many it has. cuts: the numbers of lines that were cut
    off. gaps: where lines are missing. jumps: where the wall clock jumped, which the times of the
    lives do not. drifts: where the pet's clock was found to have gone otherwise than the rig's.
    outside: checks, looks and actions between an end and the next birth, which are of no life.
    """

    source: str
    lives: tuple[LoggedLife, ...]
    lines: int
    cuts: tuple[int, ...]
    gaps: tuple[Gap, ...]
    jumps: tuple[Jump, ...]
    drifts: tuple[Jump, ...]
    outside: int


def read_log(path: str | Path) -> tuple[LoggedLife, ...]:
    """Return the lives that a rig's log tells of.

    Raises:
        SpecError: it can't be read, with everything that is wrong with it.
    """
    return read(path).lives


def read(path: str | Path) -> Log:
    """Return a rig's log with what became of its lines.

    Raises:
        SpecError: it can't be read, with everything that is wrong with it.
    """
    found = _Found(str(path))
    with _opened(path) as stream:
        for number, content, is_whole in _contents(stream):
            found.take(number, content, is_whole=is_whole)
            if found.is_hopeless:
                break
    found.end()
    timed, jumps = _timed(found.lines)
    lives, drifts, outside = lives_of(str(path), timed, {gap.line for gap in found.gaps})
    return Log(
        source=str(path),
        lives=lives,
        lines=len(found.lines),
        cuts=tuple(found.cuts),
        gaps=tuple(found.gaps),
        jumps=tuple(jumps),
        drifts=tuple(Jump(*drift) for drift in drifts),
        outside=outside,
    )


def is_log(path: str | Path) -> bool:
    """Whether a file begins as a log does or is named so, whatever is wrong with it."""
    try:
        if Path(path).suffix == ".jsonl":
            return True
        if other_than_file(path) is not None:
            return False
        with Path(path).open("rb") as stream:
            return stream.read(1) == b"{" and b'"petsim":"log' in stream.readline(
                LONGEST_LINE
            ).replace(b" ", b"")
    except (OSError, ValueError):
        return False


def _opened(path: str | Path) -> BinaryIO:
    def refuse(found: str, expected: str = "expected a log") -> SpecError:
        return SpecError([Problem(str(path), None, None, "", found, expected)])

    if (other := other_than_file(path)) is not None:
        raise refuse(f"found {other}")
    try:
        size = Path(path).stat().st_size
    except FileNotFoundError:
        raise refuse("no such file") from None
    except (OSError, ValueError) as error:
        raise refuse(f"cannot be read: {getattr(error, 'strerror', None) or error}") from None
    if size > LARGEST_LOG:
        raise refuse(f"found {size:,} bytes", f"expected at most {LARGEST_LOG:,}")
    try:
        return Path(path).open("rb")
    except OSError as error:
        raise refuse(f"cannot be read: {error.strerror}") from None


def _contents(stream: BinaryIO) -> Iterator[tuple[int, bytes, bool]]:
    """Each line's number, its bytes without its end, and whether it had one.

    Of a line that is too long only the beginning is kept, which is too long as well.
    """
    number = 0
    while content := stream.readline(LONGEST_LINE + 1):
        number += 1
        rest = content
        while not rest.endswith(b"\n") and (rest := stream.readline(LONGEST_LINE)):
            pass
        yield number, content.removesuffix(b"\n"), rest.endswith(b"\n")


class _Found:
    """The lines that were found in a file, and what is wrong with them."""

    def __init__(self, file: str) -> None:
        self._file = file
        self._problems: list[Problem] = []
        self._more = 0
        self._unreadable: Problem | None = None
        self._signals: tuple[str, ...] = ()
        self._check = 0
        self.lines: list[Line] = []
        self.cuts: list[int] = []
        self.gaps: list[Gap] = []

    def take(self, number: int, content: bytes, *, is_whole: bool) -> None:
        """Take the next line; one that has no end, and can't be read, was cut off."""
        try:
            line = read_line(number, content)
        except UnreadableError as error:
            self._settle(is_cut=False)
            problem = Problem(self._file, number, error.column, "", error.found, A_LINE)
            if is_whole:
                self._unreadable = problem
            else:
                self.cuts.append(number)
        except SeveralMisfitsError as error:
            self._settle(is_cut=False)
            for misfit in error.misfits:
                self._refuse(number, content, misfit)
        else:
            self._settle(is_cut=line.event in ("start", "header"))
            for fault in filter(None, (self._out_of_place(line), self._misnumbered(line))):
                self._refuse(number, content, fault)
            self.lines.append(line)

    def end(self) -> None:
        """Raise SpecError if anything was wrong."""
        self._settle(is_cut=False)
        if not self.lines and not self._problems:
            found = "found no whole line" if self.cuts else "found nothing"
            expected = "expected the header of a log first"
            self._add(Problem(self._file, 1, 1, "", found, expected))
        if self._problems:
            raise SpecError(self._problems, more=self._more)

    @property
    def is_hopeless(self) -> bool:
        """Whether what follows says no more: without its header it is no log, or all is wrong."""
        has_header = bool(self.lines) and self.lines[0].event == "header"
        faults = len(self._problems) + self._more
        return faults >= MOST_FAULTS or (faults > 0 and not has_header)

    def _settle(self, *, is_cut: bool) -> None:
        """Say whether a line that couldn't be read was cut off, now that the next is known."""
        if self._unreadable is not None:
            if is_cut:
                assert self._unreadable.line is not None
                self.cuts.append(self._unreadable.line)
            else:
                self._add(self._unreadable)
        self._unreadable = None

    def _add(self, problem: Problem) -> None:
        if len(self._problems) < MOST_PROBLEMS:
            self._problems.append(problem)
        else:
            self._more += 1

    def _refuse(self, number: int, content: bytes, misfit: MisfitError) -> None:
        key = str(misfit.at[0]) if misfit.at else ""
        column = content.find(f'"{key}"'.encode("utf-8", "surrogatepass")) + 1
        field = field_name(misfit.at)
        expected = str(misfit.expected)
        self._add(Problem(self._file, number, max(1, column), field, misfit.found, expected))

    def _out_of_place(self, line: Line) -> MisfitError | None:
        """What is wrong with a line after those before it, if anything."""
        if line.event == "header":
            self._signals = line.fields["signals"]
        if not self.lines:
            return _first(line)
        last = self.lines[-1]
        if line.n <= last.n:
            return MisfitError(f"expected {last.n + 1}, as the last was {last.n}",
                               f"found {line.n}", ("n",))  # fmt: skip
        # whoever goes on after a line that was cut off may have counted it
        lost = line.n - last.n - 1 - (bool(self.cuts) and self.cuts[-1] > last.number)
        if lost > 0:
            self.gaps.append(Gap(line.number, lost))
        if line.boot < last.boot:
            return MisfitError(f"expected at least {last.boot}", f"found {line.boot}", ("boot",))
        if line.boot == last.boot and line.up < last.up:
            expected = f"expected at least {last.up:g}, as in the line before, or another boot"
            return MisfitError(expected, f"found {line.up:g}", ("up",))
        if line.event == "action" and line.fields["began"] > line.up:
            found = f"found {line.fields['began']:g}"
            return MisfitError(f"expected at most the {line.up:g} of `up`", found, ("began",))
        return self._unlisted(line)

    def _unlisted(self, line: Line) -> MisfitError | None:
        """What is wrong with a look that has a signal which the header does not list."""
        if line.event != "look":
            return None
        for key in (*line.fields["saw"], *line.fields.get("unreadable", ())):
            if key not in self._signals:
                found = f"found the signal {quote(key)}, which the header does not list"
                return MisfitError(Choice(key, self._signals), found, at=("saw",))
        return None

    def _misnumbered(self, line: Line) -> MisfitError | None:
        """What is wrong with the number of a line's check, if anything: it counts on in a life."""
        if line.event in ("birth", "end"):
            self._check = 0
        number, least = line.fields.get("check", 0), self._check + (line.event == "check")
        self._check = max(self._check, number)
        if 0 < number < least:
            return MisfitError(f"expected at least {least}", f"found {number}", at=("check",))
        return None


def _first(line: Line) -> MisfitError | None:
    if line.event != "header":
        expected = "expected the 'header' of a log as its first line"
        return MisfitError(expected, describe(line.event), at=("event",))
    return None


def _timed(lines: Sequence[Line]) -> tuple[list[Timed], list[Jump]]:
    """The lines with their times on one clock without jumps, and where the wall clock jumped.

    In a boot of the rig the monotonic clock counts, from one to the next the wall clock: as it was
    at the end of each, since a rig may learn the time only after a while. Where that goes backwards
    no time has passed.
    """
    timed: list[Timed] = []
    jumps: list[Jump] = []
    start = 0
    while start < len(lines):
        end = start
        while end < len(lines) and lines[end].boot == lines[start].boot:
            end += 1
        boot = lines[start:end]
        apart = [line.at.utc - line.up for line in boot]
        jumps += [
            Jump(line.number, round(now - before, 3))
            for line, before, now in zip(boot[1:], apart, apart[1:], strict=False)
            if abs(now - before) > JUMP
        ]
        shift = apart[-1]
        if timed and boot[0].up + shift < timed[-1].t:
            by = timed[-1].t - (boot[0].up + shift)
            jumps.append(Jump(boot[0].number, round(-by, 3)))
            shift += by
        timed += [Timed(round(line.up + shift, 3), line) for line in boot]
        start = end
    return timed, sorted(jumps)
