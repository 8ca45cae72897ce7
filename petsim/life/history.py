"""A life replayed from its log: how pet and power were at any time, and what each check did.

The log and the files suffice, so it makes no difference what wrote the log. This is the one reading
of the rules of a life beside the engines: whatever tells, draws or explains a life goes by it.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import groupby
from operator import attrgetter
from typing import Any, NamedTuple

from petsim.life.kinds import ACTION_KINDS, ILLNESS, LIGHTS, WASTE, EventKind
from petsim.life.record import Event, Life, Seen
from petsim.life.state import ALL, State, deadline_of
from petsim.spec.model import MOST_DISCIPLINE, REFUSALS, CareAction, Form, Model
from petsim.spec.regime import Hands


class Stretch(NamedTuple):
    """Seconds on end: since the first of them, until the one after the last."""

    since: int
    until: int


class Trouble(NamedTuple):
    """What is a care miss unless it is put right in time.

    It is a need at 0, a pile of waste, an illness, or sleep, which takes putting out the lights.

    since: second at which it began; unfair: whether an unfair reprimand began it; relit: second at
    which the lights, once off, were put on again; missed: second of the last miss it was;
    place: of the entry in the log from which the time counts; allowed: that time, in seconds, or
    None for any.
    """

    since: int
    place: int
    allowed: int | None
    unfair: bool = False
    relit: int | None = None
    missed: int | None = None

    @property
    def counts_from(self) -> int:
        """The second from which the time counts."""
        return self.since if self.missed is None else self.missed


class Moment(NamedTuple):
    """How pet, power and light are after an entry of the log.

    place, t: that entry's place in the log, and its second; misbehaves_since: second at which the
    pet began to, if it does; in_spell: whether there is a spell of bad light; doses_needed,
    doses_given: of the illness there is; misses_in_form, misses_in_life: care misses by cause;
    troubles: what needs putting right, by cause.
    """

    place: int
    t: int
    form: str
    dormant: bool
    levels: Mapping[str, int]
    weight: int
    discipline: int
    pile: int = 0
    doses_needed: int = 0
    doses_given: int = 0
    asleep: bool = False
    lights: bool = True
    misbehaves_since: int | None = None
    power: bool = True
    in_spell: bool = False
    misses_in_form: Mapping[str, int] = {}
    misses_in_life: Mapping[str, int] = {}
    troubles: Mapping[str, Trouble] = {}

    @property
    def ill(self) -> bool:
        """Whether the pet is ill."""
        return ILLNESS in self.troubles

    @property
    def misbehaving(self) -> bool:
        """Whether the pet misbehaves."""
        return self.misbehaves_since is not None

    @property
    def calling(self) -> bool:
        """Whether the pet calls: awake, with a need at 0 or misbehaving."""
        if self.asleep or self.dormant:
            return False
        return self.misbehaving or 0 in self.levels.values()


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
    state = _unborn(model) if life.start is None else _as_left(life.start, model)
    states: list[Moment] = []
    for place, entry in enumerate(life.entries):
        state = _after(entry, state._replace(place=place, t=entry.t), model)
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


# What an entry of the log changes


def _unborn(model: Model) -> Moment:
    """How everything is before birth, which is a growth from nothing."""
    levels = {name: need.starts for name, need in model.needs.items()}
    return Moment(-1, 0, "", True, levels, model.weight.starts, model.discipline.starts)


def _as_left(start: State, model: Model) -> Moment:
    """How everything is where a life goes on, or takes a pet over."""
    form = model.forms[start.form]
    state = Moment(
        place=-1,
        t=start.t,
        form=start.form,
        dormant=form.dormant,
        levels=start.levels,
        weight=start.weight,
        discipline=start.discipline,
        pile=start.pile,
        doses_needed=start.doses_left,
        asleep=start.asleep,
        lights=start.lights,
        misbehaves_since=start.t if start.misbehaving else None,
        power=start.power,
        in_spell=start.in_spell,
        misses_in_form=_by_cause(start.misses_in_form),
        misses_in_life=_by_cause(start.misses_in_life),
    )
    return state._replace(troubles=dict(_troubles_left(start)))


def _by_cause(misses: Mapping[str, int]) -> dict[str, int]:
    """Misses by cause, those of no known cause under an empty name."""
    causes = {cause: number for cause, number in misses.items() if cause != ALL and number}
    uncaused = misses[ALL] - sum(causes.values())
    return causes | ({"": uncaused} if uncaused else {})


def _troubles_left(start: State) -> Iterator[tuple[str, Trouble]]:
    """Each trouble there is where a life goes on, as if it began then with the time it has left."""
    there = {
        **{need: level == 0 for need, level in start.levels.items()},
        WASTE: start.pile > 0,
        ILLNESS: start.ill,
        LIGHTS: start.asleep,
    }
    for cause, is_there in there.items():
        if is_there:
            name = deadline_of(cause)
            due = start.due.get(name)
            allowed = start.left.get(name) if due is None else due - start.t
            yield cause, Trouble(start.t, -1, allowed)


def _after(entry: Event, state: Moment, model: Model) -> Moment:
    """How things are after an entry of the log, given how they were, at its place and second."""
    t, kind, what, value = entry
    match EventKind(kind):
        case EventKind.BIRTH | EventKind.GROWTH:
            state = _grown(what, state, model)
        case EventKind.ASLEEP:
            state = state._replace(asleep=True, lights=True, misbehaves_since=None)
            state = _troubled([LIGHTS], state, model)
        case EventKind.AWAKE:
            state = _relieved([LIGHTS], state._replace(asleep=False, lights=True))
        case EventKind.DROP:
            state = _lowered(what, value or 0, state, model)
        case EventKind.WASTE:
            state = state._replace(pile=value or 0)
            state = _troubled([WASTE] if value == 1 else [], state, model)
        case EventKind.ILL:
            state = _troubled([ILLNESS], state._replace(doses_needed=value or 0), model)
        case EventKind.WELL:
            state = _relieved([ILLNESS], state._replace(doses_needed=0, doses_given=0))
        case EventKind.MISBEHAVES:
            state = state._replace(misbehaves_since=t)
        case EventKind.LAPSE:
            state = state._replace(misbehaves_since=None, discipline=value or 0)
        case EventKind.MISS:
            state = _missed(what, state, model)
        case EventKind.DONE | EventKind.UNFAIR:
            state = _undergone(model.care[what], state, model)
            state = _lowered_unfairly(state, model) if kind == EventKind.UNFAIR else state
        case switch if switch in _SWITCHES:
            state = state._replace(**_SWITCHES[switch])
    return state


_SWITCHES: dict[EventKind, dict[str, Any]] = {
    EventKind.OUTAGE_BEGINS: {"power": False},
    EventKind.OUTAGE_ENDS: {"power": True},
    EventKind.SPELL_BEGINS: {"in_spell": True},
    EventKind.SPELL_ENDS: {"in_spell": False},
}
"""What turns in the pet's surroundings."""


def _grown(name: str, state: Moment, model: Model) -> Moment:
    form, was_dormant = model.forms[name], state.dormant
    state = state._replace(
        form=name,
        dormant=form.dormant,
        weight=max(state.weight, form.weight_min),
        misbehaves_since=None,
        misses_in_form={},
    )
    empty = [need for need, level in state.levels.items() if level == 0]
    return _troubled(empty, state, model) if was_dormant and not form.dormant else state


def _lowered(need: str, level: int, state: Moment, model: Model, *, unfair: bool = False) -> Moment:
    before = state.levels[need]
    state = state._replace(levels={**state.levels, need: level})
    return _troubled([need], state, model, unfair=unfair) if level == 0 < before else state


def _lowered_unfairly(state: Moment, model: Model) -> Moment:
    for need, cost in model.discipline.unfair_costs.items():
        level = max(0, state.levels[need] - cost)
        state = _lowered(need, level, state, model, unfair=True)
    return state


def _undergone(action: CareAction, state: Moment, model: Model) -> Moment:
    """How things are after all effects of an action but the costs of an unfair reprimand."""
    raised = {
        need: min(model.needs[need].full, state.levels[need] + by)
        for need, by in action.raises.items()
    }
    state = _relieved(raised, state._replace(levels={**state.levels, **raised}))
    if action.weight:
        least = model.forms[state.form].weight_min
        state = state._replace(weight=max(least, state.weight + action.weight))
    if action.cleans:
        state = _relieved([WASTE], state._replace(pile=0))
    if action.doses and state.ill:
        state = state._replace(doses_given=state.doses_given + 1)
    if action.lights is not None and state.asleep:
        state = _lit(action.lights == "on", state)
    if action.reprimands and state.misbehaving:
        discipline = min(MOST_DISCIPLINE, state.discipline + model.discipline.step)
        state = state._replace(misbehaves_since=None, discipline=discipline)
    return state


def _lit(on: bool, state: Moment) -> Moment:
    """How things are once the lights of a sleeping pet are put on or off."""
    if on and not state.lights:
        asleep = state.troubles[LIGHTS]._replace(relit=state.t)
        state = state._replace(troubles={**state.troubles, LIGHTS: asleep})
    return state._replace(lights=on)


def _troubled(
    causes: Collection[str], state: Moment, model: Model, *, unfair: bool = False
) -> Moment:
    """How things are once these causes of a care miss begin."""
    form = model.forms[state.form]
    begun = {cause: Trouble(state.t, state.place, _grace(cause, form), unfair) for cause in causes}
    return state._replace(troubles={**state.troubles, **begun})


def _relieved(causes: Collection[str], state: Moment) -> Moment:
    """How things are once these causes of a care miss are put right, if there were any."""
    left = {cause: trouble for cause, trouble in state.troubles.items() if cause not in causes}
    return state._replace(troubles=left)


def _missed(cause: str, state: Moment, model: Model) -> Moment:
    form = model.forms[state.form]
    again = form.again_after.get(cause)
    if cause == WASTE and form.waste is not None:
        again = form.waste.again_after
    trouble = state.troubles[cause]._replace(place=state.place, allowed=again, missed=state.t)
    return state._replace(
        troubles={**state.troubles, cause: trouble},
        misses_in_form=_one_more(cause, state.misses_in_form),
        misses_in_life=_one_more(cause, state.misses_in_life),
    )


def _one_more(cause: str, misses: Mapping[str, int]) -> dict[str, int]:
    return {**misses, cause: misses.get(cause, 0) + 1}


def _grace(cause: str, form: Form) -> int | None:
    """The time in which a cause must be put right, in seconds; None for any."""
    if cause == LIGHTS:
        return form.lights_grace
    block = {WASTE: form.waste, ILLNESS: form.illness}.get(cause)
    return form.grace.get(cause) if block is None else block.grace
