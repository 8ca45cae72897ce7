"""A simulated pet as a pet file says it, and what no such file can hold.

A state says when things fall due, and a pet file for how long they have lasted. How long a wait has
lasted follows from the number that it was drawn by. Of an empty need, a pile or an illness the file
says a time from which the same misses and the same death fall due as in the state, even if the
trouble has lasted longer and was a miss before.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from petsim.errors import ArgumentError
from petsim.life.kinds import ILLNESS, LIGHTS, WASTE
from petsim.life.luck import Luck
from petsim.life.pet_now import PetNow, pet_now
from petsim.life.policy import clock_at
from petsim.life.state import ALL, State, deadline_of
from petsim.life.streams import uniform
from petsim.life.taking_over import TakingOver, wait_names
from petsim.spec.clocks import Begins
from petsim.spec.laws import whole_seconds
from petsim.spec.library import load_pet
from petsim.spec.model import UNTREATED, Form, Model
from petsim.spec.pet import FORMAT, Pet, seconds_asleep, waits
from petsim.spec.quantities import duration_text
from petsim.spec.taken_over import TakenOver

Data = dict[str, Any]


class PetLeft(NamedTuple):
    """A pet as a simulated life had it.

    pet: as its file says it. lost: what no pet file can hold of it, each in words.
    """

    pet: Pet
    lost: tuple[str, ...]


def pet_of(state: State, model: Model, named: str | None = None) -> PetLeft:
    """Return the pet of a state as it is then, for other lives to take over.

    They have other luck; all else that a pet file can hold is as it was.

    Args:
        state: of a life of the model.
        model: a model, or a pet that the life took over.
        named: the name or path by which the pet is to name its model, instead of its content.

    Raises:
        ArgumentError: the pet leaves its form or dies in the second of the state.
    """
    own = own_model(model)
    left = _seconds_left(state)
    _ensure_stays(state, left)
    clock = clock_at(state.t, model.begins)
    form, before = own.forms[state.form], _taken_over(state, model)
    ages = _wait_ages(state, model, before, left)
    said: Data = {
        "petsim": FORMAT,
        "model": named or own.model_dump(by_alias=True),
        "at": str(Begins(clock.weekday, clock.second)),
        "form": state.form,
        "for": duration_text(_form_age(state, before)),
        "levels": state.levels,
        "weight": state.weight,
        "discipline": state.discipline,
        "misses in form": _misses(state.misses_in_form),
        "misses in life": _misses(state.misses_in_life),
    }
    if not form.dormant:
        said |= _since_last(form, own, ages) | _troubles(state, form, clock.second, left)
    pet = load_pet(said, own)
    taken_over = TakingOver(TakenOver.of(pet, own)).state(state.seed, state.life)
    return PetLeft(pet, (*_over(own, form, ages), *_lost(state, taken_over)))


def own_model(model: Model) -> Model:
    """Return the model of a pet that lives take over, else the model that it is already."""
    return model.own_model if isinstance(model, TakenOver) else model


def _seconds_left(state: State) -> dict[str, int]:
    """Return the seconds left of all that falls due, by the clock or in awake time."""
    return {name: due - state.t for name, due in state.due.items()} | state.left


def _ensure_stays(state: State, left: Mapping[str, int]) -> None:
    """Refuse a pet that is in its form, or alive, no longer than this second."""
    ends = [n for name, n in left.items() if name == UNTREATED or name.startswith("fatal ")]
    if 0 in ends or left["growth"] == 0:
        what = "is about to die" if 0 in ends else "leaves its form"
        expected = "expected a second before or after it"
        raise ArgumentError(f"second {state.t}: the pet {what}; {expected}")


# How long its waits have lasted


def _taken_over(state: State, model: Model) -> PetNow | None:
    """Return how the life took a pet over, if it did and the pet is still in the same form."""
    if not isinstance(model, TakenOver) or state.counts[f"entered_s.{state.form}"] != 0:
        return None
    luck = Luck(state.seed, state.life)
    return pet_now(model.pet, model, lambda source: luck[source].next())


def _form_age(state: State, before: PetNow | None) -> int:
    entered = state.counts[f"entered_s.{state.form}"]
    return state.t - entered + (before.form_age if before else 0)


def _wait_ages(
    state: State, model: Model, before: PetNow | None, left: Mapping[str, int]
) -> dict[str, int]:
    """Return the awake time that each wait of the form has lasted, by its key under `since last`.

    Args:
        state: of a life of the model.
        model: a model, or a pet that the life took over.
        before: how the life took the pet over, if that was in this form.
        left: the seconds left of all that falls due.
    """
    at_first, ages = before.wait_ages if before else {}, {}
    for key, law in waits(model, model.forms[state.form]).items():
        timer, source = wait_names(key, model)
        if timer in left:
            drawn = state.drawn[source]
            u = uniform(state.seed, source, state.life, drawn - 1)
            age = at_first.get(key, 0) if drawn == 1 else 0
            ages[key] = age + whole_seconds(law.residual(u, age)) - left[timer]
    return ages


def _since_last(form: Form, model: Model, ages: Mapping[str, int]) -> Data:
    """Return what a file says of waits of which it matters how long they have lasted."""
    said = {
        key: duration_text(ages[key])
        for key, law in waits(model, form).items()
        if law.kind != "exponential" and key in ages and law.can_last(ages[key])
    }
    return {"since last": said} if said else {}


def _over(model: Model, form: Form, ages: Mapping[str, int]) -> Iterator[str]:
    """Yield the waits that have lasted as long as they can, which a file can't say of any."""
    for key, law in waits(model, form).items():
        if key in ages and not law.can_last(ages[key]):
            yield f"that the wait for {key} is over"


# Troubles


def _troubles(state: State, form: Form, clock: int, left: Mapping[str, int]) -> Data:
    """Return what a file says of a pile, an illness, the lights and empty needs."""
    said: Data = {"waste": state.pile, "ill": "yes" if state.ill else "no"}
    if state.pile and form.waste is not None:
        deadline, rules = left.get("waste deadline"), form.waste
        said["waste for"] = _lasted(deadline, None, rules.grace, rules.again_after, None)
    if state.ill:
        said["doses"] = state.doses_left
    if state.ill and form.illness is not None:
        miss, death, ill = left.get("illness deadline"), left.get(UNTREATED), form.illness
        said["ill for"] = _lasted(miss, death, ill.grace, None, ill.fatal_after)
    if seconds_asleep(form.sleeps, clock) is not None:
        said["lights"] = "on" if state.lights else "off"
    empty = {
        need: _empty_for(need, form, left)
        for need, level in state.levels.items()
        if level == 0 and (need in form.grace or need in form.fatal_after)
    }
    return said | ({"empty for": empty} if empty else {})


def _empty_for(need: str, form: Form, left: Mapping[str, int]) -> str:
    return _lasted(
        left.get(f"deadline {need}"),
        left.get(f"fatal {need}"),
        *(rule.get(need) for rule in (form.grace, form.again_after, form.fatal_after)),
    )


def _lasted(
    miss_in: int | None,
    death_in: int | None,
    grace: int | None,
    again: int | None,
    fatal_after: int | None,
) -> str:
    """Return for how long a trouble has lasted, by when it is a miss, and when death.

    Args:
        miss_in: the seconds to its next miss; None if none is to come.
        death_in: the seconds to the death it ends in; None if none is to come.
        grace: the seconds to its first miss; None if it has none.
        again: the seconds from a miss to the next; None if there is but one.
        fatal_after: the seconds to the death; None if it ends in none.
    """
    if death_in is not None and fatal_after is not None:
        lasted = fatal_after - death_in
    elif grace is None:
        lasted = 0
    elif miss_in is None:
        lasted = grace
    else:
        is_first = again is None or miss_in <= grace
        lasted = grace - miss_in if is_first else grace + (again or 0) - miss_in
    most = lasted if fatal_after is None else fatal_after - 1
    return duration_text(max(0, min(lasted, most)))


def _misses(by_cause: Mapping[str, int]) -> int | dict[str, int]:
    """Return the misses of each cause that has some; the number of all if some have no cause."""
    caused = {cause: n for cause, n in by_cause.items() if cause != ALL and n}
    return caused if sum(caused.values()) == by_cause[ALL] and caused else by_cause[ALL]


# What is lost


def _lost(state: State, taken_over: State) -> Iterator[str]:
    """Yield what a life that takes the pet over does not take over with it."""
    here = {
        "a misbehaviour under way": state.misbehaving,
        "that the power is out": not state.power,
        "a spell of bad light": state.in_spell,
        "an action under way": state.act is not None,
        "a check that is late": bool(state.late),
        "a call that will be answered": state.answer is not None,
        "that it falls asleep only now": taken_over.asleep and not state.asleep,
        "that it wakes only now": state.asleep and not taken_over.asleep,
        "its waste, as its form is dormant": state.pile != taken_over.pile,
        "its illness, as its form is dormant": state.ill != taken_over.ill,
        "the causes of its misses in this form": _differ("misses_in_form", state, taken_over),
        "the causes of its misses in life": _differ("misses_in_life", state, taken_over),
    }
    yield from (what for what, is_so in here.items() if is_so)
    yield from _other_deadlines(state, taken_over)


def _differ(field: str, *states: State) -> bool:
    one, other = (getattr(state, field) for state in states)
    return bool(one != other)


def _other_deadlines(state: State, taken_over: State) -> Iterator[str]:
    """Yield the deadlines that another life would have another time for."""
    left, other = _seconds_left(state), _seconds_left(taken_over)
    causes = (*state.levels, WASTE, ILLNESS, LIGHTS)
    deadlines = {deadline_of(cause): f"the next miss for {cause}" for cause in causes}
    deadlines |= {f"fatal {need}": f"its death of {need} at 0" for need in state.levels}
    deadlines[UNTREATED] = "its death of the illness"
    for name, what in deadlines.items():
        if left.get(name) != other.get(name):
            yield f"when {what} is due, which does not follow from the rules of this form"
