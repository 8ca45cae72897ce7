"""From the lines of a log to the lives that it tells of."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any, NamedTuple

from petsim.life.log.entries import Action, Check, Entry, LoggedLife, Look, Run
from petsim.life.log.lines import Line
from petsim.spec.clocks import Begins
from petsim.spec.quantities import DAY

DRIFT = 2.0
"""Seconds by which the pet's clock may go otherwise than the rig's between two readings of it."""
_WEEKDAY_OF_1970 = 3
"""Of its first day: a Thursday."""
_ENTRIES = ("check", "skipped", "look", "status", "pressing", "action")


class Timed(NamedTuple):
    """A line with its second on a clock that runs through the whole log."""

    t: float
    line: Line


class Reading(NamedTuple):
    """A reading of the pet's clock: the line that has it, its second, and how far it is ahead."""

    line: int
    t: float
    ahead: float


Part = Sequence[Timed]


def lives_of(
    source: str, timed: Part, after_gaps: Collection[int]
) -> tuple[tuple[LoggedLife, ...], list[tuple[int, float]], int]:
    """Return the lives that lines tell of, where the pet's clock drifted, and entries of no life.

    source: what the lines are of. after_gaps: the numbers of the lines before which some are
    missing.
    """
    parts, outside = _apart(timed)
    runs, readings = list(_runs(timed)), list(_readings(timed))
    drifts = [
        (now.line, round(now.ahead - before.ahead, 3))
        for before, now in pairwise(readings)
        if abs(now.ahead - before.ahead) > DRIFT
    ]
    headers = [line for _, line in timed if line.event == "header"]
    lives = []
    for part in parts:
        header = [line for line in headers if line.number <= part[-1].line.number][-1]
        told = _Telling(part, header.fields).life(source, runs, readings, after_gaps)
        lives.append(told)
    return tuple(lives), drifts, outside


def _apart(timed: Part) -> tuple[list[Part], int]:
    """The lines of each life, and how many entries are of none.

    A life begins with a birth, or with the first line, and ends with an end, before the next birth
    or with the last line. What comes before a birth is of a life if anything was done for it.
    """
    parts: list[list[Timed]] = [[]]
    outside, is_over = 0, False
    for each in timed:
        event = each.line.event
        if event == "birth":
            if not _is_told(parts[-1]):
                parts.pop()
            parts.append([])
            is_over = False
        if is_over:
            outside += event in _ENTRIES
            continue
        parts[-1].append(each)
        is_over = event == "end"
    return [part for part in parts if _is_told(part)], outside


def _is_told(part: Part) -> bool:
    return any(each.line.event in (*_ENTRIES, "birth", "end") for each in part)


def _runs(timed: Part) -> Iterator[Run]:
    """When the rig was up, on the log's clock."""
    since: float | None = None
    last = 0.0
    for t, line in timed:
        if line.event == "start":
            if since is not None:
                yield Run(since, last, is_clean=False)
            since = t
        elif line.event == "stop" and since is not None:
            yield Run(since, t, is_clean=True)
            since = None
        elif since is None and line.event in _ENTRIES:
            since = t
        last = t
    if since is not None:
        yield Run(since, last, is_clean=False)


def _readings(timed: Part) -> Iterator[Reading]:
    for t, line in timed:
        if (read := line.fields.get("pet clock")) is not None:
            yield Reading(line.number, t, read.utc + read.offset - t)


class _Telling:
    """The lines of one life, as they are told.

    header: the fields of the one that was the last when it ended.
    """

    def __init__(self, part: Part, header: Mapping[str, Any]) -> None:
        self._part = part
        self._header = header
        self._since = part[0].t
        self._until = part[-1].t
        self._entries: list[Entry] = []
        self._skipped: list[float] = []
        self._begun: tuple[int, str] | None = None

    def life(
        self,
        source: str,
        runs: Sequence[Run],
        readings: Sequence[Reading],
        after_gaps: Collection[int],
    ) -> LoggedLife:
        """Return what was logged of it."""
        for t, line in self._part:
            self._take(self._second(t), line)
        first, last = self._part[0].line, self._part[-1].line
        return LoggedLife(
            source=source,
            begins=self._begins(readings),
            is_born=first.event == "birth",
            until=self._second(self._until),
            end=last.fields["cause"] if last.event == "end" else None,
            entries=tuple(self._entries),
            runs=tuple(self._own(runs)),
            pet=self._header["pet"],
            regime=self._header.get("regime", ""),
            signals=self._header["signals"],
            lost=tuple(self._lost(after_gaps)),
            skipped=tuple(self._skipped),
        )

    def _second(self, t: float) -> float:
        """The second of the life, of one on the log's clock."""
        return round(t - self._since, 3)

    def _take(self, t: float, line: Line) -> None:
        said = line.fields
        check, step = said.get("check", 0), said.get("step", 0)
        match line.event:
            case "check":
                self._entries.append(Check(t, check))
            case "skipped":
                self._skipped.append(t)
            case "look":
                unreadable = said.get("unreadable", ())
                self._entries.append(Look(t, check, step, said["saw"], unreadable))
            case "status":
                saw = {key: value for key, value in said.items() if key != "check"}
                self._entries.append(Look(t, check, 0, saw))
            case "pressing":
                self._begun = len(self._entries), said["action"]
                self._entries.append(Action(t, check, said["action"], t, 0, "unfinished"))
            case "action":
                self._act(t, line)

    def _act(self, t: float, line: Line) -> None:
        """An action is over: it takes the place of what said that it was begun, if anything did."""
        said = line.fields
        began = round(t - (line.up - said["began"]), 3)
        outcome = said.get("outcome", "unknown")
        action = Action(t, said.get("check", 0), said["action"], began, said["presses"], outcome)
        if self._begun is not None and self._begun[1] == action.action:
            self._entries.pop(self._begun[0])
        self._begun = None
        self._entries.append(action)

    def _begins(self, readings: Sequence[Reading]) -> Begins:
        """The pet's clock at the first second: by the last reading by then, or else the next.

        Without one it shows the local time of the first line.
        """
        ahead = self._part[0].line.at.offset
        before = [reading for reading in readings if reading.t <= self._since]
        later = [reading for reading in readings if self._since < reading.t <= self._until]
        if before or later:
            ahead = (before[-1] if before else later[0]).ahead
        days, second = divmod(round(self._since + ahead), DAY)
        return Begins((days + _WEEKDAY_OF_1970) % 7, second)

    def _own(self, runs: Sequence[Run]) -> Iterator[Run]:
        """The runs of the rig within the life; it is up at the end of one that goes on after it."""
        for run in runs:
            if run.until >= self._since and run.since <= self._until:
                since, until = max(run.since, self._since), min(run.until, self._until)
                goes_on = run.until > self._until
                yield Run(self._second(since), self._second(until), run.is_clean or goes_on)

    def _lost(self, after_gaps: Collection[int]) -> Iterator[tuple[float, float]]:
        """The times in which lines are missing."""
        for before, after in pairwise(self._part):
            if after.line.number in after_gaps:
                yield self._second(before.t), self._second(after.t)
