"""One life as a diary: what happened, what the caretaker saw and did, why each miss was one."""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Sequence
from itertools import groupby
from textwrap import wrap
from typing import NamedTuple

from petsim.life.kinds import ACTION_KINDS, ILLNESS, LIGHTS, WASTE, EventKind
from petsim.life.record import Event, Life, Seen
from petsim.spec.quantities import DAY, WEEKDAYS
from petsim.view.choices import ENTRIES
from petsim.view.past import Check, Deed, Past, Skip, mistake

LEGEND = "a strip is 00:00 to 24:00: z asleep, o in want, i ill, - no power, ! care miss"
"""What the signs of a strip stand for."""

_INDENT = " " * 9
_HALF_HOUR = 1800
_BY_WEIGHT = "i-oz."


class Day(NamedTuple):
    """A day on which something happened: its heading, its strip, and the lines of its entries."""

    heading: str
    strip: str
    lines: list[str]


class Told(NamedTuple):
    """Something that happened: its second, and the lines that tell it."""

    t: int
    lines: list[str]


def diary(life: Life, only: Collection[str] | None = None) -> Iterator[str]:
    """The lines of a life's diary, or only those of some kinds (keys of `ENTRIES`)."""
    yield repr(life).strip("<>")
    yield LEGEND
    for day in days(life, only):
        yield from ("", day.heading, f"  {day.strip}", *day.lines)


def wrapped(lines: Iterable[str], width: int) -> Iterator[str]:
    """The lines of a diary, those longer than a width broken, with what follows indented below.

    A strip is broken at noon.
    """
    for line in lines:
        if len(line) <= width:
            yield line
        elif line.startswith("  |"):
            noon = len(line) // 2 + 1
            yield from (line[:noon], "   " + line[noon:])
        else:
            before_the_text = len(line) - len(re.sub(r"^ *(\d\d:\d\d +)?", "", line))
            below = " " * min(before_the_text + 2, width // 2)
            yield from wrap(line, width, subsequent_indent=below, break_on_hyphens=False)


def days(life: Life, only: Collection[str] | None = None) -> Iterator[Day]:
    """The days of a life on which something happened, or something of some kinds."""
    kept = set().union(*(ENTRIES[name] for name in only)) if only else set(EventKind)
    past = _Traced(life)
    for day, entries in groupby(_entries(life, past, kept), lambda told: life.clock(told.t).day):
        lines: list[str] = []
        for t, (first, *more) in entries:
            lines += (f"  {_time(life, t)}  {first}", *(_INDENT + line for line in more))
        weekday = WEEKDAYS[(life.model.begins.weekday + day - 1) % 7]
        yield Day(f"Day {day}, {weekday}", f"|{past.strip(day)}|", lines)


class _Traced(Past):
    """A life gone through again, with how it was at any time."""

    def __init__(self, life: Life) -> None:
        # a state that began and ended in one second is overwritten: it lasted no time
        self._states: dict[int, str] = {}
        self._misses_at: list[int] = []
        super().__init__(life)
        self._states[life.summary["end_s"]] = ""
        self._changes = list(self._states)

    def _take(self, place: int, entry: Event) -> None:
        super()._take(place, entry)
        self._states[entry.t] = self._signs()
        if entry.event == EventKind.MISS:
            self._misses_at.append(entry.t)

    def _signs(self) -> str:
        """The signs of all that is so now."""
        so = {
            "i": ILLNESS in self._troubles,
            "-": not self._power,
            "o": bool(self._troubles.keys() - {ILLNESS, LIGHTS}),
            "z": self._asleep,
            ".": True,
        }
        return "".join(sign for sign, holds in so.items() if holds)

    def strip(self, day: int) -> str:
        """What weighed most in each half hour of a day, 1 for the first, a sign for each."""
        midnight = (day - 1) * DAY - self._life.model.begins.clock
        return "".join(self._sign(midnight + t) for t in range(0, DAY, _HALF_HOUR))

    def _sign(self, start: int) -> str:
        end = start + _HALF_HOUR
        if bisect_left(self._misses_at, start) < bisect_left(self._misses_at, end):
            return "!"
        reigning = bisect_right(self._changes, start) - 1
        there = self._changes[max(reigning, 0) : bisect_left(self._changes, end)]
        signs = "".join(self._states[t] for t in there)
        return next((sign for sign in _BY_WEIGHT if sign in signs), " ")


def _entries(life: Life, past: Past, kept: Collection[EventKind]) -> Iterator[Told]:
    """What is to be told, in order; checks in a row as one, unless it is the checks one wants."""
    by_itself = kept != set(EventKind)
    for _, run in groupby(_items(life, past, kept), lambda item: _alike(item, by_itself)):
        items = list(run)
        first, last = items[0], items[-1]
        until = f"{len(items)} checks until {_time(life, last.t)}" if len(items) > 1 else "check"
        if isinstance(first, Told):
            yield first
        elif isinstance(first, Skip):
            yield Told(first.t, [f"{until} {first.reason}"])
        else:
            checks = [item for item in items if isinstance(item, Check)]
            yield Told(first.t, [f"{until}: {_course(life, checks)}"])


def _alike(item: Told | Check | Skip, by_itself: bool) -> object:
    """A key that entries in a row have in common if they are told together."""
    if isinstance(item, Skip):
        return item.reason
    if isinstance(item, Check) and not by_itself:
        return "check"
    return object()


def _items(life: Life, past: Past, kept: Collection[EventKind]) -> Iterator[Told | Check | Skip]:
    visits = iter(past.visits)
    for place, event in enumerate(life.log):
        kind, notes = EventKind(event.event), past.notes.get(place, [])
        item: Told | Check | Skip | None = None
        if kind in (EventKind.CHECK, EventKind.CHECK_SKIPPED):
            item = next(visits)
        elif kind in (EventKind.DROP, *ACTION_KINDS):
            # what is worth a line of these is in the notes, and is of a need that is empty
            kind, item = EventKind.DROP, Told(event.t, notes) if notes else None
        elif (kind, event.value) != (EventKind.WASTE, 1):
            item = Told(event.t, _happened(life, event, notes))
        if item is not None and kind in kept:
            yield item
    if not life.summary["died"]:
        yield Told(life.summary["end_s"], [f"followed to here; outcome: {life.summary['outcome']}"])


def _course(life: Life, checks: Sequence[Check]) -> str:
    """What one check saw and did, or what several did and how often they saw wrongly."""
    did = _deeds([deed for check in checks for deed in check.deeds]) or "nothing done"
    if len(checks) == 1:
        saw = ", ".join(_seen(life, checks[0].sights))
        return f"saw {saw}; {did}" if saw else did
    wrong = Counter(
        sight.signal for check in checks for sight in check.sights if sight.seen != sight.truth
    )
    mistakes = ", ".join(_times(signal, times) for signal, times in wrong.items())
    return f"{did}; saw wrongly {mistakes}" if mistakes else did


def _seen(life: Life, sights: Sequence[Seen]) -> list[str]:
    """What was amiss, once a signal as it was seen first, and every mistake."""
    found: dict[str, str] = {}
    for sight in sights:
        if sight.seen != sight.truth:
            found[sight.signal] = f"wrongly ({mistake(sight)})"
        elif _is_amiss(life, sight):
            reading = sight.signal if sight.seen is True else f"{sight.signal} {sight.seen}"
            found.setdefault(sight.signal, reading)
    return list(found.values())


def _is_amiss(life: Life, sight: Seen) -> bool:
    if sight.signal in life.model.needs:
        return bool(sight.seen < life.model.needs[sight.signal].full)
    return sight.signal in (WASTE, "ill", "asleep", "calling") and bool(sight.seen)


def _times(word: str, times: int) -> str:
    return word if times == 1 else f"{word} x{times}"


def _deeds(deeds: Sequence[Deed]) -> str:
    """Each action, how often, and how often not with the usual effect."""
    fates: dict[str, Counter[str]] = {}
    for deed in deeds:
        fates.setdefault(deed.entry.what, Counter())[deed.entry.event] += 1
    return ", ".join(_counted(action, counter) for action, counter in fates.items())


def _counted(action: str, fates: Counter[str]) -> str:
    others = [
        kind if times == fates.total() else f"{times} {kind}"
        for kind, times in fates.items()
        if kind != EventKind.DONE
    ]
    text = _times(action, fates.total())
    return f"{text} ({', '.join(others)})" if others else text


def _happened(life: Life, event: Event, notes: Sequence[str]) -> list[str]:
    """The lines of an entry that is neither a check nor an action of one."""
    what, value = event.what, event.value
    stage = f"{what} ({life.model.forms[what].stage})" if what in life.model.forms else ""
    more = f": {', '.join(notes)}" if notes else ""
    texts = {
        EventKind.BIRTH: f"begins as {stage}{more}",
        EventKind.GROWTH: f"grows into {stage}{more}",
        EventKind.ASLEEP: "falls asleep",
        EventKind.AWAKE: "wakes",
        EventKind.WASTE: f"waste again, a pile of {value}",
        EventKind.ILL: f"falls ill, needs {value} {'dose' if value == 1 else 'doses'}",
        EventKind.WELL: "is well again",
        EventKind.MISBEHAVES: "misbehaves",
        EventKind.LAPSE: f"misbehaved {', '.join(notes)} without a reprimand: discipline {value}",
        EventKind.DEATH: f"DIES, {what}{more}",
        EventKind.OUTAGE_BEGINS: "the power fails",
        EventKind.OUTAGE_ENDS: "the power is back",
    }
    if event.event == EventKind.MISS:
        return [f"CARE MISS {value}, {what}: {notes[0]}", *notes[1:]]
    return [texts[EventKind(event.event)]]


def _time(life: Life, t: int) -> str:
    clock = life.clock(t)
    return f"{clock.hour:02}:{clock.minute:02}"
