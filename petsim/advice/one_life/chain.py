"""What a life failed by, link by link: what was due, what was seen, what was pressed, and why.

A link is a care miss that the failed rule of growth counted, a misbehaviour that nobody reprimanded
where discipline was short, or a death.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from operator import attrgetter
from typing import Final

from petsim.life.causes import (
    IN_VAIN,
    REASONS,
    Miss,
    Reason,
    fatal_troubles,
    main_reason,
    misses,
    why_not_done,
)
from petsim.life.history import Attempt, Check, CheckDone, History
from petsim.life.kinds import ILLNESS, LIGHTS, EventKind
from petsim.life.record import Seen
from petsim.life.turning import Demand, Turning, counted_by
from petsim.spec.model import NEGLECT

MISBEHAVIOUR: Final = "misbehaviour"
"""The cause of a link that is a misbehaviour."""


@dataclass(frozen=True)
class Link:
    """Something that the life failed by, with what the checks saw and did that it was due to.

    t: second at which it was too late. cause: the need, waste, illness, lights or misbehaviour.
    form: the pet's then. since: second at which it was due. before: second of the last check that
    was carried out before it was due, from which on it could have been kept from coming. reason:
    what stopped the first check that could have put it right. checks: those that came in time.
    sights: what they saw that it depends on. attempts: what they pressed against it. miss: the care
    miss that it is, if it is one.
    """

    t: int
    cause: str
    form: str
    since: int
    before: int
    reason: Reason
    checks: Sequence[Check]
    sights: Sequence[Seen]
    attempts: Sequence[Attempt]
    miss: Miss | None = None


def links(history: History, turn: Turning | None) -> list[Link]:
    """Return what a life failed by, in order.

    Args:
        history: of a life that failed.
        turn: where its aim went out of reach; None if it died before.
    """
    if turn is None:
        return [_of_miss(history, miss) for miss in _fatal(history)]
    counted = {
        miss.place: miss
        for demand in turn.demands
        if _is_of_misses(turn, demand)
        for miss in counted_by(history, turn, demand)
    }
    found = [_of_miss(history, counted[place]) for place in counted]
    if any(demand.quantity == "discipline" and not demand.is_exceeded for demand in turn.demands):
        found += _lapses(history, turn.place)
    return sorted(found, key=attrgetter("t"))


def one_too_many(found: Sequence[Link], turn: Turning | None) -> Link | None:
    """Return the care miss by which there were too many, of those that a life failed by.

    Args:
        found: what it failed by.
        turn: where its aim went out of reach; None if it died before.
    """
    demands = turn.demands if turn is not None else ()
    exceeded = (d for d in demands if d.quantity.startswith("misses") and d.is_exceeded)
    demand = next(exceeded, None)
    if turn is None or demand is None:
        return None
    own = [
        link
        for link in found
        if link.miss is not None
        and demand.cause in ("all", link.cause)
        and (demand.quantity != "misses_in_form" or link.form == turn.form)
    ]
    # a pet that was taken over may have brought some along
    return own[demand.room] if -demand.room <= len(own) else None


def _is_of_misses(turn: Turning, demand: Demand) -> bool:
    """Whether a condition failed by too many misses, or led away as there were as many."""
    return demand.quantity.startswith("misses") and (demand.is_exceeded or turn.missed is None)


def _fatal(history: History) -> list[Miss]:
    """The misses that a pet died of: all of one that died of neglect, else those of what it had."""
    death, all_misses = history.life.summary["died"], list(misses(history))
    if death == NEGLECT:
        return all_misses
    fatal = fatal_troubles(history.life.model, history.states[-2], death)
    return [m for m in all_misses if m.cause in fatal and m.trouble.since == fatal[m.cause].since]


def _of_miss(history: History, miss: Miss) -> Link:
    model, since = history.life.model, miss.trouble.since
    came = [response.t for response in miss.responses]
    checks = [check for check in history.checks if check.t in came]
    shows = _shown_by(miss.cause)
    sights = [s for s in _sights(checks) if s.signal in shows and since <= s.t < miss.t]
    attempts = [
        attempt
        for response in miss.responses
        for attempt in response.attempts
        if attempt.t <= miss.t
    ]
    form, before = history.states[miss.place - 1].form, _last_before(history, since)
    reason = main_reason(miss, model)
    return Link(miss.t, miss.cause, form, since, before, reason, checks, sights, attempts, miss)


def _shown_by(cause: str) -> tuple[str, ...]:
    """The signals that show a cause of a miss, or what is done about it."""
    own = {ILLNESS: "ill", MISBEHAVIOUR: "calling"}.get(cause, cause)
    return (own, "asleep") if cause in (LIGHTS, MISBEHAVIOUR) else (own, "asleep", "calling")


def _sights(checks: Sequence[Check]) -> Iterator[Seen]:
    for check in checks:
        if isinstance(check, CheckDone):
            yield from check.sights


def _last_before(history: History, t: int) -> int:
    """The second of the last check that was carried out before second t; the first if none was."""
    done = (c.t for c in history.checks if isinstance(c, CheckDone) and c.t < t)
    return max(done, default=history.states[0].t)


def _lapses(history: History, place: int) -> Iterator[Link]:
    """The misbehaviours before a place in the log that nobody reprimanded."""
    model, hands = history.life.model, history.life.caretaker.regime.hands
    for here, entry in enumerate(history.life.entries[:place]):
        if entry.event != EventKind.LAPSE:
            continue
        state = history.states[here - 1]
        since = state.misbehaves_since
        assert since is not None
        checks = [
            check
            for check in history.checks[bisect_left(history.checks, since, key=attrgetter("t")) :]
            if check.t < entry.t
        ]
        shows = _shown_by(MISBEHAVIOUR)
        sights = [s for s in _sights(checks) if s.signal in shows and s.t < entry.t]
        attempts = [
            attempt
            for check in checks
            if isinstance(check, CheckDone)
            for attempt in check.attempts
            if attempt.t < entry.t and model.care[attempt.action].reprimands
        ]
        ends = checks[0].ends(hands) if checks and isinstance(checks[0], CheckDone) else 0
        is_slow = ends >= entry.t
        reason = _why_lapsed(checks, sights, attempts, is_slow=is_slow)
        before = _last_before(history, since)
        yield Link(
            entry.t, MISBEHAVIOUR, state.form, since, before, reason, checks, sights, attempts
        )


def _why_lapsed(
    checks: Sequence[Check], sights: Sequence[Seen], attempts: Sequence[Attempt], *, is_slow: bool
) -> Reason:
    """What stopped the first check that could have reprimanded; is_slow: if it ended too late."""
    if not checks:
        return Reason.NO_CHECK
    first = checks[0]
    if not isinstance(first, CheckDone):
        return REASONS[why_not_done(first)]
    tried = [attempt for attempt in first.attempts if attempt in attempts]
    for attempt in tried:
        if attempt.fate in IN_VAIN:
            return IN_VAIN[attempt.fate]
    saw = [sight for sight in first.sights if sight in sights]
    wrong = any(sight.seen != sight.truth for sight in saw)
    if wrong:
        return Reason.MISPERCEIVED
    return Reason.BUSY if is_slow else Reason.ROUTINE
