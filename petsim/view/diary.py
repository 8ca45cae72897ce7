"""One life as a diary: what happened, what the caretaker saw and did, why each miss was one."""

from __future__ import annotations

import re
from bisect import bisect_left
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Sequence
from itertools import groupby, zip_longest
from operator import attrgetter
from textwrap import wrap
from typing import NamedTuple

from petsim.life.causes import RuleNumber, fatal_troubles, misses, rule_numbers
from petsim.life.history import Attempt, Check, CheckDone, History, Stretch, replay
from petsim.life.kinds import ACTION_KINDS, ILLNESS, LIGHTS, WASTE, EventKind
from petsim.life.moments import Moment
from petsim.life.record import Life, Seen
from petsim.life.turning import Demand, unmet
from petsim.spec.clocks import WEEKDAYS
from petsim.spec.model import NEGLECT, Model
from petsim.spec.quantities import DAY
from petsim.view.assumed import assumed
from petsim.view.choices import ENTRIES
from petsim.view.misses import BY_REPRIMAND, explained, mistake, not_done, time_of
from petsim.view.outcome import headline
from petsim.view.tables import counted

SIGNS = {
    "!": "care miss",
    "i": "ill",
    "-": "no power",
    "o": "in want",
    "z": "asleep",
    "~": "bad light",
    ".": "none of these",
}
"""What the signs of a strip stand for, half an hour each, those first that hide others."""

_INDENT = " " * 9
_HALF_HOUR = 1800
_RULER = "".join(f"{hour:02}{'':4}" for hour in range(0, 24, 3))
"""The hours above the signs of a strip."""


class Day(NamedTuple):
    """A day on which something happened.

    entries: the time of day at which each thing happened, and the lines that tell it.
    """

    heading: str
    strip: str
    entries: list[tuple[str, list[str]]]

    @property
    def lines(self) -> Iterator[str]:
        """The lines of all entries, the first of each after its time, the others below it."""
        for time, (first, *more) in self.entries:
            yield f"  {time}  {first}"
            yield from (f"{_INDENT}{line}" for line in more)


class Entry(NamedTuple):
    """Something that happened: its second, and the lines that tell it."""

    t: int
    lines: list[str]


def diary(life: Life, only: Collection[str] | None = None) -> Iterator[str]:
    """A life's outcome, then its diary, or only entries of some kinds (keys of `ENTRIES`)."""
    yield f"{headline(life)}."
    yield ""
    yield repr(life).strip("<>")
    yield legend(life)
    if assumed(life.model):
        yield assumed(life.model)
    for day in days(life, only):
        yield from ("", day.heading, f"   {_RULER.rstrip()}", f"  {day.strip}", *day.lines)


def legend(life: Life) -> str:
    """Return what the signs of a strip stand for; bad light only where there can be any."""
    without = "" if life.caretaker.regime.eyes.spells else "~"
    meanings = (f"{sign} {what}" for sign, what in SIGNS.items() if sign != without)
    return f"half an hour a sign: {', '.join(meanings)}"


def wrapped(lines: Iterable[str], width: int) -> Iterator[str]:
    """The lines of a diary, those longer than a width broken, with what follows indented below.

    A strip is broken at noon, and the hours above it too.
    """
    ruler = ""
    for line in lines:
        if line.strip() == _RULER.rstrip():
            ruler = line
        elif line.startswith("  |"):
            yield from _broken_at_noon(ruler, line, width)
        elif len(line) <= width:
            yield line
        else:
            before_the_text = len(line) - len(re.sub(r"^ *(\d\d:\d\d +)?", "", line))
            below = " " * min(before_the_text + 2, width // 2)
            yield from wrap(line, width, subsequent_indent=below, break_on_hyphens=False)


def _broken_at_noon(ruler: str, strip: str, width: int) -> Iterator[str]:
    """The hours above a strip and the strip; if they are too long, each half day by itself."""
    if max(len(ruler), len(strip)) <= width:
        yield from (ruler, strip)
        return
    noon = len(strip) // 2 + 1
    yield from (ruler[:noon].rstrip(), strip[:noon])
    yield from (f"   {ruler[noon:]}", f"   {strip[noon:]}")


def days(life: Life, only: Collection[str] | None = None) -> Iterator[Day]:
    """The days of a life on which something happened, or something of some kinds."""
    kept = set().union(*(ENTRIES[name] for name in only)) if only else set(EventKind)
    history = replay(life)
    for day, run in groupby(_entries(history, kept), lambda entry: life.clock(entry.t).day):
        entries = [(time_of(t, t, life), lines) for t, lines in run]
        weekday = WEEKDAYS[(life.model.begins.weekday + day - 1) % 7]
        yield Day(f"Day {day}, {weekday}", f"|{_strip(day, history)}|", entries)


# Strips


def _strip(day: int, history: History) -> str:
    """What weighed most in each half hour of a day, 1 for the first, a sign for each."""
    midnight = (day - 1) * DAY - history.life.model.begins.clock
    return "".join(_sign(midnight + t, history) for t in range(0, DAY, _HALF_HOUR))


def _sign(start: int, history: History) -> str:
    life, end = history.life, start + _HALF_HOUR
    first, after = (bisect_left(life.entries, t, key=attrgetter("t")) for t in (start, end))
    if any(entry.event == EventKind.MISS for entry in life.entries[first:after]):
        return "!"
    lived = Stretch(max(start, 0), min(end, life.summary["end_s"]))
    signs = set().union(*map(_signs, history.during(lived)))
    return next((sign for sign in SIGNS if sign in signs), " ")


def _signs(state: Moment) -> set[str]:
    """The signs of all that is so."""
    holds = {
        "i": state.ill,
        "-": not state.power,
        "o": bool(state.troubles.keys() - {ILLNESS, LIGHTS}),
        "z": state.asleep,
        "~": state.in_spell,
        ".": True,
    }
    return {sign for sign in holds if holds[sign]}


# Entries


def _entries(history: History, kept: Collection[EventKind]) -> Iterator[Entry]:
    """The entries to show, in order; checks in a row are one, unless only some kinds are kept."""
    by_itself, life = kept != set(EventKind), history.life
    for _, run in groupby(_items(history, kept), lambda item: _alike(item, by_itself)):
        items = list(run)
        first, last = items[0], items[-1]
        until = time_of(last.t, last.t, life)
        checks = f"{len(items)} checks until {until}" if len(items) > 1 else "check"
        if isinstance(first, Entry):
            yield first
        elif isinstance(first, CheckDone):
            done = [item for item in items if isinstance(item, CheckDone)]
            yield Entry(first.t, [f"{checks}: {_course(life, done)}"])
        else:
            yield Entry(first.t, [f"{checks} {not_done(first)}"])


def _alike(item: Entry | Check, by_itself: bool) -> object:
    """A key that entries in a row have in common if they are told together."""
    if isinstance(item, Entry):
        return object()
    if isinstance(item, CheckDone):
        return object() if by_itself else "check"
    return not_done(item)


def _items(history: History, kept: Collection[EventKind]) -> Iterator[Entry | Check]:
    life = history.life
    checks = {check.place: check for check in history.checks}
    reasons = {miss.place: list(explained(miss, life)) for miss in misses(history)}
    for place, event in enumerate(life.entries):
        kind = EventKind(event.event)
        item: Entry | Check | None = checks.get(place)
        if kind in (EventKind.DROP, *ACTION_KINDS):
            # what is worth a line of these is a need that is empty
            lines = list(_emptied(history.states[place], history))
            kind, item = EventKind.DROP, Entry(event.t, lines) if lines else None
        elif kind is EventKind.MISS:
            first, *more = reasons[place]
            item = Entry(event.t, [f"CARE MISS {event.value}, {event.what}: {first}", *more])
        elif item is None and (kind, event.value) != (EventKind.WASTE, 1):
            item = Entry(event.t, [_happened(place, history)])
        if item is not None and kind in kept:
            yield item
    if not life.summary["died"]:
        outcome = life.summary["outcome"]
        yield Entry(life.summary["end_s"], [f"followed to here; outcome: {outcome}"])


def _course(life: Life, checks: Sequence[CheckDone]) -> str:
    """What one check saw and did, or what several did and how often they saw wrongly."""
    actions = _tried([attempt for check in checks for attempt in check.attempts]) or "nothing done"
    if len(checks) == 1:
        sights = ", ".join(_seen(life, checks[0].sights))
        return f"saw {sights}; {actions}" if sights else actions
    wrong = Counter(
        sight.signal for check in checks for sight in check.sights if sight.seen != sight.truth
    )
    mistakes = ", ".join(_times(signal, times) for signal, times in wrong.items())
    return f"{actions}; saw wrongly {mistakes}" if mistakes else actions


def _seen(life: Life, sights: Sequence[Seen]) -> list[str]:
    """What was amiss, once a signal as it was seen first, and every mistake."""
    readings: dict[str, str] = {}
    for sight in sights:
        if sight.seen != sight.truth:
            readings[sight.signal] = f"wrongly ({mistake(sight)})"
        elif _is_amiss(life, sight):
            reading = sight.signal if sight.seen is True else f"{sight.signal} {sight.seen}"
            readings.setdefault(sight.signal, reading)
    return list(readings.values())


def _is_amiss(life: Life, sight: Seen) -> bool:
    if sight.signal in life.model.needs:
        return bool(sight.seen < life.model.needs[sight.signal].full)
    return sight.signal in (WASTE, "ill", "asleep", "calling") and bool(sight.seen)


def _times(word: str, times: int) -> str:
    return word if times == 1 else f"{word} x{times}"


def _tried(attempts: Sequence[Attempt]) -> str:
    """Each action that was meant, how often, and how often not with the usual effect."""
    fates: dict[str, Counter[str]] = {}
    for attempt, following in zip_longest(attempts, attempts[1:]):
        if attempt.instead_of is None:
            fate = attempt.fate + (_pressed(following) if following else "")
            fates.setdefault(attempt.action, Counter())[fate] += 1
    return ", ".join(_counted(action, counter) for action, counter in fates.items())


def _pressed(attempt: Attempt) -> str:
    """What landed instead of an action that slipped, empty if this did not."""
    if attempt.instead_of is None:
        return ""
    fate = "" if attempt.fate == EventKind.DONE else f", {attempt.fate}"
    return f", pressed {attempt.action}{fate}"


def _counted(action: str, fates: Counter[str]) -> str:
    others = [
        kind if times == fates.total() else f"{times} {kind}"
        for kind, times in fates.items()
        if kind != EventKind.DONE
    ]
    text = _times(action, fates.total())
    return f"{text} ({', '.join(others)})" if others else text


def _happened(place: int, history: History) -> str:
    """The line of an entry that is neither a check nor an action of one."""
    model, event = history.life.model, history.life.entries[place]
    what, value = event.what, event.value
    stage = f"{what} ({model.forms[what].stage})" if what in model.forms else ""
    notes = ", ".join(_notes(place, history))
    more = f": {notes}" if notes else ""
    texts = {
        EventKind.BIRTH: f"begins as {stage}{more}",
        EventKind.TAKEN_OVER: f"taken over as {stage}{more}",
        EventKind.GROWTH: f"grows into {stage}{more}",
        EventKind.ASLEEP: "falls asleep",
        EventKind.AWAKE: "wakes",
        EventKind.WASTE: f"waste again, a pile of {value}",
        EventKind.ILL: f"falls ill, needs {value} {'dose' if value == 1 else 'doses'}",
        EventKind.WELL: "is well again",
        EventKind.MISBEHAVES: "misbehaves",
        EventKind.LAPSE: f"misbehaved {notes} without a reprimand: discipline {value}",
        EventKind.DEATH: f"DIES, {what}{more}",
        EventKind.OUTAGE_BEGINS: "the power fails",
        EventKind.OUTAGE_ENDS: "the power is back",
        EventKind.SPELL_BEGINS: "a spell of bad light begins",
        EventKind.SPELL_ENDS: "the light is clear again",
    }
    return texts[EventKind(event.event)]


def _notes(place: int, history: History) -> Iterator[str]:
    """What an entry implies but does not say."""
    life, event = history.life, history.life.entries[place]
    before, after = history.states[max(place - 1, 0)], history.states[place]
    match EventKind(event.event):
        case EventKind.BIRTH:
            yield from _emptied(after, history)
        case EventKind.TAKEN_OVER:
            yield from _as_taken_over(after, life.model)
        case EventKind.GROWTH:
            failed = unmet(life.model, before)
            for number in rule_numbers(life.model, before):
                yield _rule_number(number) + _asked(number, failed)
            yield from _emptied(after, history)
        case EventKind.LAPSE:
            assert before.misbehaves_since is not None
            yield f"since {time_of(before.misbehaves_since, event.t, life)}"
        case EventKind.DEATH:
            for cause, trouble in fatal_troubles(life.model, before, event.what).items():
                state = "ill" if cause == ILLNESS else f"{cause} empty"
                yield f"{state} since {time_of(trouble.since, event.t, life)}"
            if event.what == NEGLECT:
                yield counted(sum(before.misses_in_life.values()), "care miss")


def _as_taken_over(state: Moment, model: Model) -> Iterator[str]:
    """How a pet is when it is taken over, the usual apart."""
    for need, level in state.levels.items():
        yield f"{need} {level} of {model.needs[need].full}"
    if state.pile:
        yield f"a pile of waste of {state.pile}"
    if state.ill:
        yield f"ill, needs {counted(state.doses_needed, 'dose')}"
    if state.asleep:
        yield f"asleep, lights {'on' if state.lights else 'off'}"
    misses = sum(state.misses_in_form.values()), sum(state.misses_in_life.values())
    if any(misses):
        yield f"{counted(misses[0], 'care miss')} in form and {misses[1]} in life"


def _emptied(state: Moment, history: History) -> Iterator[str]:
    """The needs that the entry before a state emptied."""
    grown = history.life.entries[state.place].event in (EventKind.BIRTH, EventKind.GROWTH)
    for need in history.life.model.needs:
        trouble = state.troubles.get(need)
        if trouble is not None and trouble.place == state.place:
            how = f", {BY_REPRIMAND}" if trouble.unfair else ""
            calls = "" if grown or state.asleep else ", it calls"
            yield f"{need} is empty{how}{calls}"


def _rule_number(number: RuleNumber) -> str:
    """A number that the form's rules went by."""
    quantity, cause, value = number
    where = quantity.removeprefix("misses_in_")
    if cause == "all":
        return f"{value} {'miss' if value == 1 else 'misses'} in {where}"
    if cause:
        return f"{value} {'miss' if value == 1 else 'misses'} of {cause} in {where}"
    return f"{quantity} {value}"


def _asked(number: RuleNumber, failed: Sequence[tuple[str, Demand]]) -> str:
    """Which forms a number kept the pet from, and what they ask, in brackets."""
    quantity, cause, _ = number
    asks = [
        f"{form} asks {demand.bound}"
        for form, demand in failed
        if (demand.quantity, demand.cause) == (quantity, cause)
    ]
    return f" ({', '.join(dict.fromkeys(asks))})" if asks else ""
