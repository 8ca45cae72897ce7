"""The one reason of a care miss: what kept most of the checks that could have prevented it."""

from __future__ import annotations

from collections import Counter
from enum import StrEnum

from petsim.life.causes import Miss, Response, ResponseKind
from petsim.life.kinds import EventKind


class Reason(StrEnum):
    """What a care miss came of."""

    POWER_OUT = "power out"
    NO_CHECK = "no check in time"
    BUSY = "busy"
    ASLEEP = "asleep"
    OVERLOOKED = "overlooked"
    NOT_LOOKED = "not looked at"
    IGNORED = "ignored"
    LATE = "too late"
    SLIPPED = "slipped"
    REFUSED = "refused"
    FAILED = "failed"
    NOT_ENOUGH = "not enough"


_OF_RESPONSE = {
    ResponseKind.SKIPPED_POWER_OUT: Reason.POWER_OUT,
    ResponseKind.BROKEN_OFF: Reason.POWER_OUT,
    ResponseKind.SKIPPED_BUSY: Reason.BUSY,
    ResponseKind.FOUND_ASLEEP: Reason.ASLEEP,
    ResponseKind.MISPERCEIVED: Reason.OVERLOOKED,
    ResponseKind.DID_NOT_LOOK: Reason.NOT_LOOKED,
    ResponseKind.SAW: Reason.IGNORED,
    ResponseKind.TOO_LATE: Reason.LATE,
}
_OF_ATTEMPT = {
    EventKind.SLIPPED: Reason.SLIPPED,
    EventKind.REFUSED: Reason.REFUSED,
    EventKind.LOST: Reason.FAILED,
}


def reason(miss: Miss) -> Reason:
    """Return what kept most of the checks from preventing a miss; of as many, the earlier."""
    if not miss.responses:
        return Reason.NO_CHECK
    # a counter keeps the order in which it first met its keys
    return Counter(map(_of_response, miss.responses)).most_common(1)[0][0]


def _of_response(response: Response) -> Reason:
    if response.kind is not ResponseKind.ACTED:
        return _OF_RESPONSE[response.kind]
    fates = (_OF_ATTEMPT.get(attempt.fate, Reason.NOT_ENOUGH) for attempt in response.attempts)
    return Counter(fates).most_common(1)[0][0]
