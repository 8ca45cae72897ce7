"""How pet, power and light are at one moment of a life, and how each entry of its log changes that.

`history` goes through a log by it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from typing import Any, NamedTuple

from petsim.life.kinds import ILLNESS, LIGHTS, WASTE, EventKind
from petsim.life.record import Event
from petsim.life.state import ALL, State, deadline_of
from petsim.spec.model import MOST_DISCIPLINE, CareAction, Form, Model


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


def unborn(model: Model) -> Moment:
    """How everything is before birth, which is a growth from nothing."""
    levels = {name: need.starts for name, need in model.needs.items()}
    return Moment(-1, 0, "", True, levels, model.weight.starts, model.discipline.starts)


def as_left(start: State, model: Model) -> Moment:
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


def after(entry: Event, state: Moment, model: Model) -> Moment:
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
