"""Why a life went as it did, as data: what its care misses, growths and deaths came of."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from operator import attrgetter
from typing import NamedTuple

from petsim.life.history import (
    Attempt,
    Check,
    CheckDone,
    CheckForgotten,
    CheckSkipped,
    History,
    Stretch,
)
from petsim.life.kinds import ILLNESS, LIGHTS, WASTE, EventKind
from petsim.life.moments import Moment, Trouble
from petsim.life.record import Seen
from petsim.spec.model import UNTREATED, CareAction, Model

ON_THE_CLOCK = (ILLNESS, LIGHTS)
"""Causes of a miss whose time runs on while the pet sleeps."""


class Reason(StrEnum):
    """The main reason of a care miss; each has one, which `main_reason` finds."""

    NO_CHECK = "no check in time"
    FORGOTTEN = "forgotten"
    POWER_OUT = "power out"
    BUSY = "busy or too slow"
    MISPERCEIVED = "overlooked or misread"
    SLIPPED = "slipped"
    REFUSED = "refused or in vain"
    ASLEEP = "found asleep"
    ROUTINE = "not in the routine"


class ResponseKind(StrEnum):
    """What a check did about the cause of a miss, or why it did nothing."""

    SKIPPED_POWER_OUT = "skipped, power out"
    SKIPPED_BUSY = "skipped, busy"
    GIVEN_UP = "given up"
    FORGOTTEN = "forgotten"
    ACTED = "acted"
    MISPERCEIVED = "misperceived"
    BROKEN_OFF = "broken off"
    FOUND_ASLEEP = "found asleep"
    TOO_LATE = "too late"
    SAW = "saw"
    DID_NOT_LOOK = "did not look"


def why_not_done(check: CheckSkipped | CheckForgotten) -> ResponseKind:
    """Return why a check that was not carried out did nothing."""
    if isinstance(check, CheckForgotten):
        return ResponseKind.FORGOTTEN
    if check.given_up:
        return ResponseKind.GIVEN_UP
    return ResponseKind.SKIPPED_POWER_OUT if check.power_out else ResponseKind.SKIPPED_BUSY


REASONS = {
    ResponseKind.SKIPPED_POWER_OUT: Reason.POWER_OUT,
    ResponseKind.SKIPPED_BUSY: Reason.BUSY,
    ResponseKind.GIVEN_UP: Reason.BUSY,
    ResponseKind.FORGOTTEN: Reason.FORGOTTEN,
    ResponseKind.MISPERCEIVED: Reason.MISPERCEIVED,
    ResponseKind.BROKEN_OFF: Reason.POWER_OUT,
    ResponseKind.FOUND_ASLEEP: Reason.ASLEEP,
    ResponseKind.TOO_LATE: Reason.BUSY,
    ResponseKind.SAW: Reason.ROUTINE,
    ResponseKind.DID_NOT_LOOK: Reason.ROUTINE,
}
"""What stopped a check that tried nothing in time."""
IN_VAIN = {
    EventKind.SLIPPED: Reason.SLIPPED,
    EventKind.REFUSED: Reason.REFUSED,
    EventKind.WASTED: Reason.REFUSED,
    EventKind.LOST: Reason.REFUSED,
}
"""What stopped a check, by the fate of an action that did not land."""


class Response(NamedTuple):
    """What a check did about the cause of a miss while it could.

    t: second at which the check came; attempts: what it tried against the cause, in time
    (`ACTED`) or not (`TOO_LATE`); sights: what it saw wrongly (`MISPERCEIVED`).
    """

    t: int
    kind: ResponseKind
    attempts: Sequence[Attempt] = ()
    sights: Sequence[Seen] = ()


class Miss(NamedTuple):
    """A care miss and why it was one.

    place: of its entry in the log; t: its second; cause: what of; number: how many it makes in
    life; trouble: since when it was due, and how long there was; naps: sleep that did not count;
    doses_needed, doses_given: of the illness there was; responses: one of each check that could
    have put it right; empty if none came.
    """

    place: int
    t: int
    cause: str
    number: int
    trouble: Trouble
    naps: Sequence[Stretch]
    doses_needed: int
    doses_given: int
    responses: Sequence[Response]


class RuleNumber(NamedTuple):
    """A number that a form's rules of growth go by.

    quantity: the field of the rules' conditions, such as `misses_in_form`; cause: of the misses,
    or "all"; empty if it is no number of misses.
    """

    quantity: str
    cause: str
    number: int


def misses(history: History) -> Iterator[Miss]:
    """The care misses of a life, in order."""
    asleep = history.stretches(lambda state: state.asleep)
    outages = history.stretches(lambda state: not state.power)
    for place, entry in enumerate(history.life.entries):
        if entry.event == EventKind.MISS:
            before, cause = history.states[place - 1], entry.what
            trouble = before.troubles[cause]
            responses = list(_Inquiry(history, place, cause, trouble, outages).responses())
            yield Miss(
                place,
                entry.t,
                cause,
                sum(history.states[place].misses_in_life.values()),
                trouble,
                _naps(asleep, trouble, entry.t) if cause not in ON_THE_CLOCK else (),
                before.doses_needed,
                before.doses_given,
                responses,
            )


def main_reason(miss: Miss, model: Model) -> Reason:
    """Return the main reason of a miss: what stopped the first check that could have put it right.

    A check is passed over if it came while the pet slept and the time stood still, or if all that
    it tried landed and more was needed, as with an illness of several doses. If none is left, no
    check came in time.
    """
    counted = miss.responses if miss.cause in ON_THE_CLOCK else _awake(miss)
    return next(filter(None, (_stopped_by(each, miss, model) for each in counted)), Reason.NO_CHECK)


def _awake(miss: Miss) -> Iterator[Response]:
    """The responses of checks that came while the time ran."""
    for response in miss.responses:
        asleep = any(nap.since <= response.t < nap.until for nap in miss.naps)
        if not asleep and response.kind is not ResponseKind.FOUND_ASLEEP:
            yield response


def _stopped_by(response: Response, miss: Miss, model: Model) -> Reason | None:
    """What kept a check from putting right its part of a miss; None if nothing did."""
    if response.kind is not ResponseKind.ACTED:
        return REASONS[response.kind]
    for attempt in response.attempts:
        if attempt.fate in IN_VAIN:
            return IN_VAIN[attempt.fate]
        if miss.cause == LIGHTS and model.care[attempt.action].lights == "on":
            return Reason.ROUTINE if attempt.instead_of is None else Reason.SLIPPED
    return None


def rule_numbers(model: Model, state: Moment) -> list[RuleNumber]:
    """The numbers that the rules of a form go by, each once; state: how things are before."""
    rules = [rule.conditions for rule in model.forms[state.form].grows_into]
    numbers = []
    for quantity in ("misses_in_form", "misses_in_life"):
        counts = getattr(state, quantity)
        for cause in dict.fromkeys(cause for rule in rules for cause in getattr(rule, quantity)):
            number = sum(counts.values()) if cause == "all" else counts.get(cause, 0)
            numbers.append(RuleNumber(quantity, cause, number))
    for quantity in ("discipline", "weight"):
        if any(getattr(rule, quantity) is not None for rule in rules):
            numbers.append(RuleNumber(quantity, "", getattr(state, quantity)))
    return numbers


def fatal_troubles(model: Model, state: Moment, death: str) -> dict[str, Trouble]:
    """What a pet in this state dies of, if it dies this death; empty for neglect and old age."""
    deaths = {name: need.death for name, need in model.needs.items()} | {ILLNESS: UNTREATED}
    return {
        cause: state.troubles[cause]
        for cause, fatal in deaths.items()
        if fatal == death and cause in state.troubles
    }


def _naps(asleep: Sequence[Stretch], trouble: Trouble, t: int) -> list[Stretch]:
    """When the pet slept while a time counted, which was to end at t."""
    return [
        Stretch(max(since, trouble.counts_from), until)
        for since, until in asleep
        if trouble.counts_from < until and since < t
    ]


@dataclass(frozen=True)
class _Inquiry:
    """Asks each check what it did about the cause of a miss, whose place in the log is given."""

    history: History
    place: int
    cause: str
    trouble: Trouble
    outages: Sequence[Stretch]

    def responses(self) -> Iterator[Response]:
        """Those of all checks that came since the time counts, or still went on then."""
        for check in self._checks():
            in_time = check.place > self.trouble.place
            if isinstance(check, CheckDone):
                response = self._active(check) or (self._idle(check) if in_time else None)
                if response is not None:
                    yield response
            elif in_time:
                yield Response(check.t, why_not_done(check))

    def _checks(self) -> list[Check]:
        """The checks since the time counts, and back to the last one carried out before."""
        checks = self.history.checks
        first = end = bisect_left(checks, self.place, key=attrgetter("place"))
        while first > 0:
            first -= 1
            if isinstance(checks[first], CheckDone) and checks[first].place < self.trouble.place:
                break
        return list(checks[first:end])

    def _active(self, check: CheckDone) -> Response | None:
        """What a check tried, or would have but for what it saw wrongly."""
        attempts = self._attempts(check, self.trouble.place, self.place)
        if attempts:
            return Response(check.t, ResponseKind.ACTED, attempts=attempts)
        wrong = [sight for sight in self._sights(check) if _misleads(sight, self.cause)]
        return Response(check.t, ResponseKind.MISPERCEIVED, sights=wrong) if wrong else None

    def _idle(self, check: CheckDone) -> Response:
        """Why a check that saw nothing wrongly did nothing in time."""
        late = self._attempts(check, self.place, len(self.history.life.entries))
        sights = self._sights(check)
        if not late and self._is_broken_off(check):
            return Response(check.t, ResponseKind.BROKEN_OFF)
        if self.cause != LIGHTS and any(s.signal == "asleep" and s.truth for s in sights):
            return Response(check.t, ResponseKind.FOUND_ASLEEP)
        if late:
            return Response(check.t, ResponseKind.TOO_LATE, attempts=late[:1])
        shown = any(_shows(sight, self.cause) for sight in sights)
        return Response(check.t, ResponseKind.SAW if shown else ResponseKind.DID_NOT_LOOK)

    def _attempts(self, check: CheckDone, after: int, before: int) -> list[Attempt]:
        """What a check tried against the cause between two entries of the log."""
        care = self.history.life.model.care
        return [
            attempt
            for attempt in check.attempts
            if after < attempt.place < before and _is_of(attempt, self.cause, care[attempt.action])
        ]

    def _sights(self, check: CheckDone) -> list[Seen]:
        """What a check saw while it mattered."""
        end = self.history.life.entries[self.place].t
        return [sight for sight in check.sights if self.trouble.counts_from <= sight.t < end]

    def _is_broken_off(self, check: CheckDone) -> bool:
        """Whether the power had failed by now and before the check had ended."""
        life = self.history.life
        hands, now = life.caretaker.regime.hands, life.entries[self.place].t
        ends = check.ends(hands)
        return any(check.t <= since <= ends and since < now for since, _ in self.outages)


def _is_of(attempt: Attempt, cause: str, action: CareAction) -> bool:
    """Whether an attempt was to do with what causes a miss.

    An action that landed instead of another was not meant, so it is no try; but the lights that it
    put on were a reason for a miss.
    """
    if attempt.instead_of is None:
        return _is_against(cause, action)
    return cause == LIGHTS and action.lights == "on" and attempt.fate not in IN_VAIN


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
