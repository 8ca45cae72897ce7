"""Care misses in words: since when each was due, and what each check did about it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import groupby

from petsim.life.causes import Miss, Response, ResponseKind, why_not_done
from petsim.life.history import Attempt, CheckForgotten, CheckSkipped, Stretch
from petsim.life.kinds import ILLNESS, LIGHTS, WASTE, EventKind
from petsim.life.record import Life, Seen
from petsim.spec.clocks import WEEKDAYS
from petsim.spec.quantities import duration_text

BY_REPRIMAND = "by an unfair reprimand"

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
_COURSES = {
    ResponseKind.SKIPPED_POWER_OUT: "skipped, the power was out",
    ResponseKind.SKIPPED_BUSY: "skipped, the last one still went on",
    ResponseKind.GIVEN_UP: "skipped, it was late and the next was due",
    ResponseKind.FORGOTTEN: "forgotten",
    ResponseKind.BROKEN_OFF: "broken off, as the power failed",
    ResponseKind.FOUND_ASLEEP: "found it asleep",
    ResponseKind.SAW: "saw it, did nothing about it",
    ResponseKind.DID_NOT_LOOK: "did not look at {cause}",
}
_REFUSALS = {
    "dormant": "it was dormant",
    "asleep": "it was asleep",
    "misbehaving": "it misbehaved",
    "full": "it was full",
}


def explained(miss: Miss, life: Life) -> Iterator[str]:
    """The lines that explain a care miss; checks in a row that did the same are told as one."""
    assert miss.trouble.allowed is not None
    due, allowed = _due(miss, life), f"{duration_text(miss.trouble.allowed)} allowed"
    if miss.naps:
        naps = " and ".join(_stretch(nap, miss.t, life) for nap in miss.naps)
        allowed += f", not counting sleep from {naps}"
    if not miss.responses:
        yield f"{due}; no check came in the {allowed}"
        return
    yield f"{due}; {allowed}"
    answers = [(response.t, _course(response, miss.cause, life)) for response in miss.responses]
    for course, run in groupby(answers, lambda answer: answer[1]):
        times = [time_of(t, miss.t, life) for t, _ in run]
        many = len(times) > 1
        checks = f"{len(times)} checks from {times[0]} to" if many else "check at"
        yield f"{checks} {times[-1]}: {course}"
    if miss.naps and miss.responses[-1].t < miss.naps[-1].until:
        yield "no check came after it woke"


def _due(miss: Miss, life: Life) -> str:
    trouble = miss.trouble
    since = time_of(trouble.since, miss.t, life)
    text = {
        WASTE: f"uncleaned since {since}",
        ILLNESS: f"ill since {since}, {miss.doses_given} of {miss.doses_needed} doses given",
        LIGHTS: f"asleep since {since} with the lights on",
    }.get(miss.cause, f"empty since {since}")
    if trouble.unfair:
        text += f" {BY_REPRIMAND}"
    if trouble.relit is not None:
        text += f" again from {time_of(trouble.relit, trouble.relit, life)}"
    if trouble.missed is not None:
        text += f", missed at {time_of(trouble.missed, miss.t, life)} before"
    return text


def _course(response: Response, cause: str, life: Life) -> str:
    """What a check did about a cause."""
    match response.kind:
        case ResponseKind.ACTED:
            return ", ".join(_counted(map(_fate, response.attempts)))
        case ResponseKind.MISPERCEIVED:
            return ", ".join(dict.fromkeys(map(mistake, response.sights)))
        case ResponseKind.TOO_LATE:
            [late] = response.attempts
            return f"{late.action} came too late, at {time_of(late.t, late.t, life)}"
        case kind:
            return _COURSES[kind].format(cause=cause)


def not_done(check: CheckSkipped | CheckForgotten) -> str:
    """That a check was skipped, and what for, or that it was forgotten."""
    return _COURSES[why_not_done(check)]


def _fate(attempt: Attempt) -> str:
    """An action and what became of it."""
    if attempt.instead_of is not None:
        return f"meant {attempt.instead_of}, pressed {attempt.action}"
    match attempt.fate:
        case EventKind.DONE:
            return attempt.action
        case EventKind.REFUSED:
            assert attempt.refusal is not None
            return f"{attempt.action} refused, {_REFUSALS[attempt.refusal]}"
        case EventKind.WASTED:
            return f"{attempt.action} changed nothing"
        case kind:
            return f"{attempt.action} {kind}"


def _counted(texts: Iterable[str]) -> Iterator[str]:
    for text, run in groupby(texts):
        times = len(list(run))
        yield text if times == 1 else f"{times} times {text}"


def mistake(sight: Seen) -> str:
    """What a caretaker saw that was not so."""
    if sight.signal in _OVERLOOKED:
        return (_OVERLOOKED if sight.truth else _IMAGINED)[sight.signal]
    return f"read {sight.signal} as {sight.seen}, not {sight.truth}"


def time_of(t: int, now: int, life: Life) -> str:
    """The time of day at second t, with the weekday if it is not that of second now."""
    clock, here = life.clock(t), life.clock(now)
    time = f"{clock.hour:02}:{clock.minute:02}"
    return time if clock.day == here.day else f"{WEEKDAYS[clock.weekday]} {time}"


def _stretch(stretch: Stretch, now: int, life: Life) -> str:
    return " to ".join(time_of(t, now, life) for t in stretch)
