"""What the log of a life implies but does not say: above all, why each care miss was one."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import groupby, islice, takewhile
from typing import NamedTuple

from petsim.life.kinds import ACTION_KINDS, ILLNESS, LIGHTS, WASTE, EventKind
from petsim.life.record import Event, Life, Seen
from petsim.spec.model import NEGLECT, UNTREATED, CareAction
from petsim.spec.quantities import WEEKDAYS, duration_text
from petsim.view.text import counted

_IMAGINED = {
    "waste": "imagined waste",
    "ill": "took it for ill",
    "asleep": "took it for asleep",
    "lights": "took the lights for on",
    "calling": "imagined a call",
}
_OVERLOOKED = {
    "waste": "overlooked the waste",
    "ill": "overlooked its illness",
    "asleep": "took it for awake",
    "lights": "took the lights for off",
    "calling": "overlooked its call",
}
# Causes of a miss whose deadlines run on while the pet sleeps.
_ON_THE_CLOCK = (ILLNESS, LIGHTS)


def mistake(sight: Seen) -> str:
    """What a caretaker saw that was not so."""
    if sight.signal in _OVERLOOKED:
        return (_OVERLOOKED if sight.truth else _IMAGINED)[sight.signal]
    return f"read {sight.signal} as {sight.seen}, not {sight.truth}"


class Deed(NamedTuple):
    """An action in the log: its place there, its entry, and why it was refused, if it was."""

    place: int
    entry: Event
    refusal: str


class Check(NamedTuple):
    """A check that was carried out: its place in the log, its second, what it saw and did."""

    place: int
    t: int
    sights: Sequence[Seen]
    deeds: list[Deed]


class Skip(NamedTuple):
    """A check that came and was skipped: its place in the log, its second, and why."""

    place: int
    t: int
    reason: str


@dataclass
class Trouble:
    """What is a care miss unless it is put right within a time.

    since: second at which it began; by: what began it, if it was no matter of course;
    place: of the entry in the log from which the time counts; allowed: that time, in seconds;
    missed: second of the last miss it was; naps: the pet's sleep while the time counted.
    """

    since: int
    by: str
    place: int
    allowed: int | None
    missed: int | None = None
    naps: list[tuple[int, int | None]] = field(default_factory=list)

    @property
    def counts_from(self) -> int:
        """The second from which the time counts."""
        return self.since if self.missed is None else self.missed


class Past:
    """A life gone through again from its log.

    visits: the checks that came, in order, carried out or skipped. notes: by place in the log, what
    is to be said of an entry beyond what stands there; of a care miss since when it was due, then
    what was done about it.
    """

    def __init__(self, life: Life) -> None:
        self.visits: list[Check | Skip] = []
        self.notes: dict[int, list[str]] = {}
        self._life = life
        self._model = life.model
        self._form = life.model.forms[life.model.root]
        self._levels = {name: need.starts for name, need in life.model.needs.items()}
        self._sights = {n: list(s) for n, s in groupby(life.sights, lambda sight: sight.check)}
        self._checks: list[Check] = []
        self._outages: list[int] = []
        self._troubles: dict[str, Trouble] = {}
        self._misses_in_form = Counter[str]()
        self._misses_in_life = Counter[str]()
        self._misbehaves_since: int | None = None
        self._doses_needed = self._doses_given = 0
        self._asleep = False
        self._lights = self._power = True
        self._now = 0
        for place, entry in enumerate(life.log):
            self._take(place, entry)

    def _take(self, place: int, entry: Event) -> None:
        self._now = place
        kind = EventKind(entry.event)
        handlers = {
            EventKind.BIRTH: self._takes_form,
            EventKind.GROWTH: self._grows,
            EventKind.ASLEEP: self._falls_asleep,
            EventKind.AWAKE: self._wakes,
            EventKind.DROP: self._drops,
            EventKind.WASTE: self._leaves_waste,
            EventKind.ILL: self._falls_ill,
            EventKind.WELL: self._recovers,
            EventKind.MISBEHAVES: self._misbehaves,
            EventKind.LAPSE: self._lapses,
            EventKind.MISS: self._misses,
            EventKind.DEATH: self._dies,
            EventKind.OUTAGE_BEGINS: self._loses_power,
            EventKind.OUTAGE_ENDS: self._has_power,
            EventKind.CHECK: self._is_checked,
            EventKind.CHECK_SKIPPED: self._is_passed_over,
        }
        handlers.get(kind, self._undergoes)(place, entry)

    # The pet

    def _grows(self, place: int, entry: Event) -> None:
        self.notes[place] = list(self._seen_by_rules(entry.what))
        self._takes_form(place, entry)

    def _seen_by_rules(self, successor: str) -> Iterator[str]:
        """The numbers that the form's rules went by."""
        rules = [rule.conditions for rule in self._form.grows_into]
        for where, misses in (("form", self._misses_in_form), ("life", self._misses_in_life)):
            named = [cause for rule in rules for cause in getattr(rule, f"misses_in_{where}")]
            for cause in dict.fromkeys(named):
                if cause == "all":
                    yield f"{misses.total()} misses in {where}"
                else:
                    yield f"{misses[cause]} misses of {cause} in {where}"
        for quantity in ("discipline", "weight"):
            if any(getattr(rule, quantity) is not None for rule in rules):
                yield f"{quantity} {self._life.summary[f'{quantity}_at.{successor}']}"

    def _takes_form(self, place: int, entry: Event) -> None:
        was_dormant = entry.event == EventKind.BIRTH or self._form.dormant
        self._form = self._model.forms[entry.what]
        self._misses_in_form.clear()
        self._misbehaves_since = None
        if was_dormant and not self._form.dormant:
            for need, level in self._levels.items():
                if level == 0:
                    self._begins(need, place, entry.t)
                    self.notes.setdefault(place, []).append(f"{need} is empty")

    def _falls_asleep(self, place: int, entry: Event) -> None:
        self._asleep = self._lights = True
        self._misbehaves_since = None
        for trouble in self._troubles.values():
            trouble.naps.append((entry.t, None))
        self._begins(LIGHTS, place, entry.t)

    def _wakes(self, _: int, entry: Event) -> None:
        self._asleep = False
        self._troubles.pop(LIGHTS)
        for trouble in self._troubles.values():
            if trouble.naps:
                trouble.naps[-1] = (trouble.naps[-1][0], entry.t)

    def _drops(self, place: int, entry: Event) -> None:
        assert entry.value is not None
        self._falls_to(entry.value, entry.what, place, entry.t)

    def _falls_to(self, level: int, need: str, place: int, t: int, by: str = "") -> None:
        if level == 0 < self._levels[need]:
            self._begins(need, place, t, by)
            how = f", {by}" if by else ""
            self.notes[place] = [f"{need} is empty{how}{'' if self._asleep else ', it calls'}"]
        self._levels[need] = level

    def _leaves_waste(self, place: int, entry: Event) -> None:
        if entry.value == 1:
            self._begins(WASTE, place, entry.t)

    def _falls_ill(self, place: int, entry: Event) -> None:
        self._begins(ILLNESS, place, entry.t)
        self._doses_needed, self._doses_given = entry.value or 0, 0

    def _recovers(self, _: int, entry: Event) -> None:
        self._troubles.pop(ILLNESS)

    def _misbehaves(self, _: int, entry: Event) -> None:
        self._misbehaves_since = entry.t

    def _lapses(self, place: int, entry: Event) -> None:
        assert self._misbehaves_since is not None
        self.notes[place] = [f"since {self._when(self._misbehaves_since, entry.t)}"]
        self._misbehaves_since = None

    def _dies(self, place: int, entry: Event) -> None:
        t = entry.t
        fatal = {
            need: f"{need} empty since {self._when(self._troubles[need].since, t)}"
            for need in self._model.needs
            if need in self._troubles and self._model.needs[need].death == entry.what
        }
        if entry.what == UNTREATED:
            fatal[ILLNESS] = f"ill since {self._when(self._troubles[ILLNESS].since, t)}"
        if entry.what == NEGLECT:
            fatal[NEGLECT] = counted(self._misses_in_life.total(), "care miss")
        self.notes[place] = list(fatal.values())

    # Troubles and misses

    def _begins(self, cause: str, place: int, t: int, by: str = "") -> None:
        naps: list[tuple[int, int | None]] = [(t, None)] if self._asleep else []
        self._troubles[cause] = Trouble(t, by, place, self._grace(cause), naps=naps)

    def _grace(self, cause: str) -> int | None:
        form = self._form
        blocks = {WASTE: form.waste, ILLNESS: form.illness}
        if cause == LIGHTS:
            return form.lights_grace
        block = blocks.get(cause)
        return block.grace if block is not None else form.grace.get(cause)

    def _again_after(self, cause: str) -> int | None:
        if cause == WASTE and self._form.waste is not None:
            return self._form.waste.again_after
        return self._form.again_after.get(cause)

    def _misses(self, place: int, entry: Event) -> None:
        cause, trouble = entry.what, self._troubles[entry.what]
        self.notes[place] = list(self._why(cause, trouble, entry.t))
        trouble.place, trouble.missed, trouble.naps = place, entry.t, []
        trouble.allowed = self._again_after(cause)
        self._misses_in_form[cause] += 1
        self._misses_in_life[cause] += 1

    def _why(self, cause: str, trouble: Trouble, t: int) -> Iterator[str]:
        """Since when it was due and how long there was, then what checks did in that time.

        Checks in a row that did the same are told as one.
        """
        assert trouble.allowed is not None
        due, allowed = self._due(cause, trouble, t), f"{duration_text(trouble.allowed)} allowed"
        naps = [f"{self._when(a, t)} to {self._when(b, t)}" for a, b in trouble.naps if b]
        if naps and cause not in _ON_THE_CLOCK:
            allowed += f", not counting sleep from {' and '.join(naps)}"
        told = [
            (visit.t, text)
            for visit in self._visits_since(trouble.place)
            if (text := self._told(visit, cause, t))
        ]
        if not told:
            yield f"{due}; no check came in the {allowed}"
            return
        yield f"{due}; {allowed}"
        for text, run in groupby(told, lambda told: told[1]):
            times = [self._when(at, t) for at, _ in run]
            many = len(times) > 1
            checks = f"{len(times)} checks from {times[0]} to" if many else "check at"
            yield f"{checks} {times[-1]}: {text}"
        if naps and cause not in _ON_THE_CLOCK and told[-1][0] < (trouble.naps[-1][1] or 0):
            yield "no check came after it woke"

    def _due(self, cause: str, trouble: Trouble, t: int) -> str:
        since = self._when(trouble.since, t)
        text = {
            WASTE: f"uncleaned since {since}",
            ILLNESS: f"ill since {since}, {self._doses_given} of {self._doses_needed} doses given",
            LIGHTS: f"asleep since {since} with the lights on",
        }.get(cause, f"empty since {since}")
        if trouble.by:
            text += f" {trouble.by}"
        if trouble.missed is not None:
            text += f", missed at {self._when(trouble.missed, t)} before"
        return text

    def _visits_since(self, place: int) -> list[Check | Skip]:
        """The visits since an entry of the log, and the check that may have gone on then."""
        recent: list[Check | Skip] = []
        for visit in reversed(self.visits):
            recent.append(visit)
            if isinstance(visit, Check) and visit.place < place:
                break
        return recent[::-1]

    def _told(self, visit: Check | Skip, cause: str, t: int) -> str:
        """What a check did about a trouble; nothing if it was over before."""
        trouble = self._troubles[cause]
        if isinstance(visit, Skip):
            return visit.reason if visit.place > trouble.place else ""
        deeds = [deed for deed in visit.deeds if deed.place > trouble.place]
        against = [deed for deed in deeds if _is_against(cause, self._model.care[deed.entry.what])]
        if against:
            return ", ".join(_counted(map(_fate, against)))
        sights = [sight for sight in visit.sights if trouble.counts_from <= sight.t < t]
        mistakes = [mistake(sight) for sight in sights if _misleads(sight, cause)]
        if mistakes:
            return ", ".join(dict.fromkeys(mistakes))
        return self._idled(visit, cause, sights) if visit.place > trouble.place else ""

    def _idled(self, check: Check, cause: str, sights: Sequence[Seen]) -> str:
        """Why a check that saw nothing wrongly did nothing about a trouble."""
        last = max((*(s.t for s in check.sights), *(d.entry.t for d in check.deeds)), default=-1)
        if any(check.t <= outage <= last for outage in self._outages):
            return "broken off, as the power failed"
        if cause != LIGHTS and any(s.signal == "asleep" and s.truth for s in sights):
            return "found it asleep"
        if check is self._checks[-1] and (late := self._late(cause)) is not None:
            return f"{late.what} came too late, at {self._when(late.t, late.t)}"
        if any(_shows(sight, cause) for sight in sights):
            return "saw it, did nothing about it"
        return f"did not look at {cause}"

    def _late(self, cause: str) -> Event | None:
        """What the check under way has to do with a cause, but does only after now."""
        rest = islice(self._life.log, self._now + 1, None)
        for entry in takewhile(lambda e: e.event != EventKind.CHECK, rest):
            if entry.event in ACTION_KINDS and _is_against(cause, self._model.care[entry.what]):
                return entry
        return None

    # The caretaker

    def _is_checked(self, place: int, entry: Event) -> None:
        sights = self._sights.get(len(self._checks) + 1, [])
        self._checks.append(Check(place, entry.t, sights, []))
        self.visits.append(self._checks[-1])

    def _is_passed_over(self, place: int, entry: Event) -> None:
        reason = "the last one still went on" if self._power else "the power was out"
        self.visits.append(Skip(place, entry.t, f"skipped, {reason}"))

    def _loses_power(self, _: int, entry: Event) -> None:
        self._power = False
        self._outages.append(entry.t)

    def _has_power(self, _: int, entry: Event) -> None:
        self._power = True

    def _undergoes(self, place: int, entry: Event) -> None:
        action = self._model.care[entry.what]
        refusal = self._refusal(action) if entry.event == EventKind.REFUSED else ""
        self._checks[-1].deeds.append(Deed(place, entry, refusal))
        if entry.event in (EventKind.DONE, EventKind.UNFAIR):
            self._is_changed(place, entry, action)

    def _refusal(self, action: CareAction) -> str:
        if self._form.dormant:
            return "it was dormant"
        if self._asleep and "asleep" in action.refused_when:
            return "it was asleep"
        if self._misbehaves_since is not None and "misbehaving" in action.refused_when:
            return "it misbehaved"
        return "it was full"

    def _is_changed(self, place: int, entry: Event, action: CareAction) -> None:
        for need, by in action.raises.items():
            self._levels[need] = min(self._model.needs[need].full, self._levels[need] + by)
            self._troubles.pop(need, None)
        if action.cleans:
            self._troubles.pop(WASTE, None)
        if action.doses:
            self._doses_given += 1
        if action.lights is not None and self._asleep:
            if action.lights == "on" and not self._lights:
                self._troubles[LIGHTS].by = f"again from {self._when(entry.t, entry.t)}"
            self._lights = action.lights == "on"
        if action.reprimands:
            self._misbehaves_since = None
        if entry.event == EventKind.UNFAIR:
            for need, cost in self._model.discipline.unfair_costs.items():
                level = max(0, self._levels[need] - cost)
                self._falls_to(level, need, place, entry.t, "by an unfair reprimand")

    def _when(self, t: int, now: int) -> str:
        """The time of day at t, with the weekday if it is not that of now."""
        clock, here = self._life.clock(t), self._life.clock(now)
        time = f"{clock.hour:02}:{clock.minute:02}"
        return time if clock.day == here.day else f"{WEEKDAYS[clock.weekday]} {time}"


def _is_against(cause: str, action: CareAction) -> bool:
    """Whether an action has to do with what causes a miss, for good or ill."""
    effects = {WASTE: action.cleans, ILLNESS: action.doses, LIGHTS: action.lights is not None}
    return effects.get(cause, cause in action.raises)


def _shows(sight: Seen, cause: str) -> bool:
    """Whether a sight was of what causes a miss, seen rightly or not."""
    if cause in (WASTE, ILLNESS, LIGHTS):
        return bool(sight.signal == {ILLNESS: "ill"}.get(cause, cause) and sight.truth)
    is_empty = sight.signal == cause and sight.truth == 0
    return is_empty or (sight.signal == "calling" and sight.truth)


def _misleads(sight: Seen, cause: str) -> bool:
    """Whether a sight was wrong and let a cause of a miss stand."""
    if sight.signal == "asleep":
        return bool(sight.truth != sight.seen and sight.truth == (cause == LIGHTS))
    return bool(sight.truth != sight.seen and _shows(sight, cause))


def _fate(deed: Deed) -> str:
    """An action and what became of it."""
    match EventKind(deed.entry.event):
        case EventKind.DONE:
            return deed.entry.what
        case EventKind.REFUSED:
            return f"{deed.entry.what} refused, {deed.refusal}"
        case EventKind.WASTED:
            return f"{deed.entry.what} changed nothing"
        case kind:
            return f"{deed.entry.what} {kind}"


def _counted(texts: Iterator[str]) -> Iterator[str]:
    for text, run in groupby(texts):
        times = len(list(run))
        yield text if times == 1 else f"{times} times {text}"
