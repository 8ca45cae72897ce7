"""One life as a diary: what happened, what the caretaker saw and did, why each miss was one."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import groupby

from petsim.life.kinds import ACTION_KINDS, ILLNESS, LIGHTS, WASTE, Kind

from petsim.life.record import Event, Life, Seen
from petsim.spec.quantities import WEEKDAYS

KINDS_OF = {
    "misses": {Kind.MISS, Kind.LAPSE, Kind.DEATH},
    "growth": {Kind.BIRTH, Kind.GROWTH, Kind.DEATH},
    "care": {Kind.CHECK, Kind.CHECK_SKIPPED},
    "illness": {Kind.ILL, Kind.WELL, Kind.DEATH},
    "sleep": {Kind.ASLEEP, Kind.AWAKE},
    "power": {Kind.OUTAGE_BEGINS, Kind.OUTAGE_ENDS},
}
"""What `petsim run --only` can keep to."""

_IDLE = {Kind.UNFAIR, Kind.REFUSED, Kind.WASTED}


@dataclass
class Check:
    """One check: when it started, what it saw, what it did."""

    t: int
    sights: list[Seen] = field(default_factory=list)
    actions: list[Event] = field(default_factory=list)


def diary(life: Life, only: Collection[str] | None = None) -> Iterator[str]:
    """The lines of a life's diary, or only those of some kinds (keys of `KINDS_OF`)."""
    yield repr(life).strip("<>")
    kept = set().union(*(KINDS_OF[name] for name in only)) if only else set(Kind)
    day = 0
    for t, text in _entries(life, kept):
        clock = life.clock(t)
        if clock.day != day:
            day = clock.day
            yield ""
            yield f"Day {day}, {WEEKDAYS[clock.weekday]}"
        yield f"  {clock.hour:02}:{clock.minute:02}:{clock.second % 60:02}  {text}"


def _entries(life: Life, kept: Collection[str]) -> Iterator[tuple[int, str]]:
    checks = checks_of(life)
    number = 0
    idle: list[Check] = []
    for event in life.log:
        kind = Kind(event.event)
        text = None
        if kind is Kind.CHECK:
            number += 1
            check = checks[number - 1]
            if kind in kept and _is_idle(life, check):
                idle.append(check)
            elif kind in kept:
                text = f"check: {_check(life, check)}"
        elif kind in kept and kind not in ACTION_KINDS:
            text = _happened(life, event, checks)
        if text is not None:
            yield from _idle_checks(idle)
            idle = []
            yield event.t, text
    yield from _idle_checks(idle)
    end = life.summary["end_s"]
    if not life.summary["died"]:
        yield end, f"followed up to here: {life.summary['outcome']}"


def checks_of(life: Life) -> list[Check]:
    """The checks of a life in order, each with its looks and actions."""
    checks: list[Check] = []
    for event in life.log:
        if event.event == Kind.CHECK:
            checks.append(Check(event.t))
        elif event.event in ACTION_KINDS:
            checks[-1].actions.append(event)
    for sight in life.sights:
        checks[sight.check - 1].sights.append(sight)
    return checks


def _is_idle(life: Life, check: Check) -> bool:
    """Whether a check saw all well and changed nothing."""
    return not _notable(life, check) and all(Kind(a.event) in _IDLE for a in check.actions)


def _idle_checks(checks: Sequence[Check]) -> Iterator[tuple[int, str]]:
    if not checks:
        return
    actions = [action for check in checks for action in check.actions]
    did = f": {_actions(sorted(actions, key=lambda a: (a.what, a.event)))}" if actions else ""
    many = f"{len(checks)} checks" if len(checks) > 1 else "check"
    yield checks[0].t, f"{many}, nothing amiss seen{did}"


def _check(life: Life, check: Check) -> str:
    saw = ", ".join(_notable(life, check)) or "nothing amiss"
    did = _actions(check.actions) or "nothing"
    return f"saw {saw}; did {did}"


def _notable(life: Life, check: Check) -> list[str]:
    """What a check saw amiss, once a signal, and everything that it saw wrongly."""
    found: dict[str, str] = {}
    for sight in check.sights:
        wrong = sight.seen != sight.truth
        if wrong:
            found[sight.signal] = f"{_reading(sight.signal, sight.seen)} (wrongly)"
        elif _amiss(life, sight):
            found.setdefault(sight.signal, _reading(sight.signal, sight.seen))
    return list(found.values())


def _amiss(life: Life, sight: Seen) -> bool:
    if sight.signal in life.model.needs:
        return bool(sight.seen < life.model.needs[sight.signal].full)
    if sight.signal == "lights":
        return False
    return sight.signal in (WASTE, "ill", "asleep", "calling") and bool(sight.seen)


def _reading(signal: str, seen: object) -> str:
    if signal == "lights":
        return "lights on" if seen else "lights off"
    if isinstance(seen, bool):
        return signal if seen else f"not {signal}"
    return f"{signal} {seen}"


def _actions(actions: Sequence[Event]) -> str:
    """Actions in order, runs of the same one counted, with what became of them."""
    parts = []
    for (what, event), run in groupby(actions, key=lambda a: (a.what, a.event)):
        times = len(list(run))
        parts.append(
            what + (f" x{times}" if times > 1 else "") + ("" if event == Kind.DONE else f" ({event})")
        )
    return ", ".join(parts)


def _happened(life: Life, event: Event, checks: Sequence[Check]) -> str | None:
    model, what, value = life.model, event.what, event.value
    match Kind(event.event):
        case Kind.BIRTH:
            return f"begins as {what} ({model.forms[what].stage})"
        case Kind.GROWTH:
            return f"grows into {what} ({model.forms[what].stage})"
        case Kind.DROP:
            return f"{what} is empty: it calls" if value == 0 else None
        case Kind.WASTE:
            return f"waste: {value}"
        case Kind.ILL:
            return f"falls ill, needs {value} {'dose' if value == 1 else 'doses'}"
        case Kind.LAPSE:
            return f"misbehaviour ran out unreprimanded: discipline {value}"
        case Kind.MISS:
            return f"CARE MISS {value}, {what}: {why(life, event, checks)}"
        case Kind.DEATH:
            return f"DIES: {what}"
        case other:
            return other.value


def why(life: Life, miss: Event, checks: Sequence[Check]) -> str:
    """Why a miss was one: since when it was due, and what the checks in between did about it."""
    began = _began(life, miss)
    if began is None:
        return "due since the start"
    since = f"{_BEGAN.get(miss.what, 'empty')} since {_hour(life, began)}"
    skipped = sum(
        e.event == Kind.CHECK_SKIPPED for e in life.log if began <= e.t < miss.t
    )
    reasons = [
        f"{_hour(life, check.t)} {_did_about(life, miss.what, check)}"
        for check in checks
        if began <= check.t < miss.t
    ]
    if skipped:
        reasons.append(f"{skipped} skipped")
    return f"{since}; checks: {', '.join(reasons)}" if reasons else f"{since}; no check came"


_BEGAN = {WASTE: "uncleaned", ILLNESS: "ill", LIGHTS: "asleep with lights on"}


def _began(life: Life, miss: Event) -> int | None:
    """The second at which what was missed became due."""

    def begins(event: Event) -> bool:
        if miss.what == WASTE:
            return event.event == Kind.WASTE and event.value == 1
        if miss.what == ILLNESS:
            return event.event == Kind.ILL
        if miss.what == LIGHTS:
            return event.event == Kind.ASLEEP
        lowered = event.event == Kind.UNFAIR and miss.what in life.model.discipline.unfair_costs
        return lowered or (event.event, event.what, event.value) == (Kind.DROP, miss.what, 0)

    return max((e.t for e in life.log if e.t < miss.t and begins(e)), default=None)


def _did_about(life: Life, cause: str, check: Check) -> str:
    """What one check did about a cause: the actions against it, or what it saw instead."""
    care = life.model.care
    against = {
        WASTE: {a for a, action in care.items() if action.cleans},
        ILLNESS: {a for a, action in care.items() if action.doses},
        LIGHTS: {a for a, action in care.items() if action.lights == "off"},
    }.get(cause, {a for a, action in care.items() if cause in action.raises})
    actions = [a for a in check.actions if a.what in against]
    if actions:
        return _actions(actions)
    signals = {ILLNESS: ("ill",), LIGHTS: ("lights", "asleep")}.get(cause, (cause,))
    sights = [s for s in check.sights if s.signal in signals]
    wrong = [s for s in sights if s.seen != s.truth]
    if wrong:
        return f"saw {_reading(wrong[-1].signal, wrong[-1].seen)}"
    return "saw it, did nothing" if sights else "did not look"


def _hour(life: Life, t: int) -> str:
    clock = life.clock(t)
    return f"{clock.hour:02}:{clock.minute:02}"


