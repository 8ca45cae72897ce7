"""A life replayed from its log: how pet and power were at any time, and what each check did.

The log and the files suffice, so it makes no difference what wrote the log. This is the one reading
of the rules of a life beside the engines: whatever tells, draws or explains a life goes by it.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import groupby
from operator import attrgetter
from typing import NamedTuple

from petsim.life.kinds import ACTION_KINDS, EventKind
from petsim.life.moments import Moment, after, as_left, unborn
from petsim.life.record import Event, Life, Seen
from petsim.spec.model import REFUSALS, Model
from petsim.spec.regime import Hands


class Stretch(NamedTuple):
    """Seconds on end: since the first of them, until the one after the last."""

    since: int
    until: int


class Attempt(NamedTuple):
    """An action that a check tried.

    place: of its entry in the log; t: that entry's second; fate: one of the kinds of an action;
    refusal: if it was refused, why: "dormant" or one of `petsim.spec.model.REFUSALS`; instead_of:
    the action that was meant, if that slipped and this one landed instead, as far as the log tells:
    one that is done next and at once looks the same.
    """

    place: int
    t: int
    action: str
    fate: EventKind
    refusal: str | None
    instead_of: str | None = None


class CheckDone(NamedTuple):
    """A check that was carried out: its place in the log, its second, what it saw and tried."""

    place: int
    t: int
    sights: Sequence[Seen]
    attempts: list[Attempt]

    def ends(self, hands: Hands) -> int:
        """The second in which it ended, or in which the last act ended that the log knows of."""
        ends = [self.t + hands.opening.takes, *(sight.t for sight in self.sights)]
        for attempt in self.attempts:
            slipped = attempt.fate is EventKind.SLIPPED  # which is noted when it starts
            ends.append(attempt.t + (hands.of(attempt.action).takes if slipped else 0))
        return max(ends)


class CheckSkipped(NamedTuple):
    """A check that was skipped: its place in the log, its second, and what for.

    power_out: whether the power was out. given_up: whether it was late, and given up as the next
    was due, as far as the log tells: not where the power was out or the last check still went on.
    If neither, the last check still went on.
    """

    place: int
    t: int
    power_out: bool
    given_up: bool = False


class CheckForgotten(NamedTuple):
    """A check that was forgotten: its place in the log, and its second."""

    place: int
    t: int


Check = CheckDone | CheckSkipped | CheckForgotten


@dataclass(frozen=True, eq=False)
class History:
    """A life gone through again.

    states: one for each entry of the life's log; checks: all that came, in order.
    """

    life: Life
    states: Sequence[Moment]
    checks: Sequence[Check]

    @cached_property
    def _last_of_second(self) -> list[Moment]:
        """Of each second with an entry in the log, how things were from then on."""
        return list({state.t: state for state in self.states}.values())

    def at(self, t: int) -> Moment:
        """How things were in second t, which is below the length of the life."""
        return self.during(Stretch(t, t + 1))[0]

    def during(self, stretch: Stretch) -> Sequence[Moment]:
        """How things were one after another in a stretch; empty for an empty one."""
        states, (since, until), second = self._last_of_second, stretch, attrgetter("t")
        first = bisect_right(states, since, key=second) - 1
        return states[first : bisect_left(states, until, key=second)] if since < until else []

    def stretches(self, holds: Callable[[Moment], bool]) -> list[Stretch]:
        """When something held."""
        runs = [(held, next(run).t) for held, run in groupby(self._last_of_second, key=holds)]
        ends = [*(t for _, t in runs[1:]), self.life.summary["end_s"]]
        return [
            Stretch(since, until)
            for (held, since), until in zip(runs, ends, strict=True)
            if held and since < until
        ]


def replay(life: Life) -> History:
    """Go through a traced life again."""
    model = life.model
    state = unborn(model) if life.start is None else as_left(life.start, model)
    states: list[Moment] = []
    for place, entry in enumerate(life.entries):
        state = after(entry, state._replace(place=place, t=entry.t), model)
        states.append(state)
    checks = list(_checks(life, states))
    if life.caretaker.regime.checks.late is not None:
        checks = list(_with_those_given_up(checks, life))
    return History(life, states, checks)


def _checks(life: Life, states: Sequence[Moment]) -> Iterator[Check]:
    """The checks that came, in the order of the log."""
    sights = {number: list(run) for number, run in groupby(life.sights, lambda seen: seen.check)}
    number, attempts = 0, list[Attempt]()
    for place, (entry, state) in enumerate(zip(life.entries, states, strict=True)):
        kind = EventKind(entry.event)
        if kind is EventKind.CHECK:
            number, attempts = number + 1, []
            yield CheckDone(place, entry.t, sights.get(number, []), attempts)
        elif kind is EventKind.CHECK_SKIPPED:
            yield CheckSkipped(place, entry.t, power_out=not state.power)
        elif kind is EventKind.CHECK_FORGOTTEN:
            yield CheckForgotten(place, entry.t)
        elif kind in ACTION_KINDS:
            # a refused action leaves everything as it was
            refused = kind is EventKind.REFUSED
            why = refusal(entry.what, state, life.model) if refused else None
            meant = _slip_before(entry, attempts, life.caretaker.regime.hands)
            attempts.append(Attempt(place, entry.t, entry.what, kind, why, meant))


def _slip_before(entry: Event, attempts: Sequence[Attempt], hands: Hands) -> str | None:
    """The action that slipped and was to land in an entry's second, if it may slip into this one.

    attempts: what the check had tried before the entry.
    """
    if not attempts or attempts[-1].fate is not EventKind.SLIPPED:
        return None
    meant, hand = attempts[-1], hands.of(attempts[-1].action)
    is_in_time = meant.t + hand.takes == entry.t and entry.event != EventKind.SLIPPED
    return meant.action if is_in_time and hand.into.get(entry.what) else None


def _with_those_given_up(checks: Sequence[Check], life: Life) -> Iterator[Check]:
    """The checks of a life whose checks may come late, with those marked that were given up."""
    hands, done = life.caretaker.regime.hands, [c for c in checks if isinstance(c, CheckDone)]
    last_of_second = {check.t: check for check in checks}
    free_from = 0
    for check in checks:
        given_up = False
        if isinstance(check, CheckDone):
            cut_off = check is done[-1] and life.summary["cut_off"]
            free_from = life.summary["end_s"] if cut_off else check.ends(hands)
        elif isinstance(check, CheckSkipped):
            # one is given up before another comes in that second
            another_comes = last_of_second[check.t] is not check
            given_up = another_comes or not (check.power_out or check.t < free_from)
        yield CheckSkipped(check.place, check.t, False, given_up=True) if given_up else check


def refusal(name: str, state: Moment, model: Model) -> str | None:
    """Why the pet refuses an action, if it does: "dormant" or one of `REFUSALS`."""
    if state.dormant:
        return "dormant"
    action = model.care[name]
    reasons = {
        "asleep": state.asleep,
        "misbehaving": state.misbehaving,
        "full": bool(action.raises)
        and all(state.levels[need] == model.needs[need].full for need in action.raises),
    }
    return next((why for why in REFUSALS if reasons[why] and why in action.refused_when), None)
