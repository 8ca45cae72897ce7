"""Where in a life the aim went out of reach, and by which condition of a rule of growth."""

from __future__ import annotations

from typing import NamedTuple

from petsim.life.causes import Miss, misses, rule_numbers
from petsim.life.history import History
from petsim.life.kinds import EventKind
from petsim.life.moments import Moment
from petsim.spec.growth import reachable
from petsim.spec.model import Conditions, Model, Rule
from petsim.spec.quantities import Bound


class Demand(NamedTuple):
    """A condition of a rule of growth, and the number it was held against.

    quantity: the field of the rule's conditions, such as `misses_in_form`; cause: of the misses, or
    "all"; empty if it is no number of misses.
    """

    quantity: str
    cause: str
    bound: Bound
    number: int

    @property
    def met(self) -> bool:
        """Whether the condition held."""
        return self.bound.holds(self.number)

    @property
    def is_exceeded(self) -> bool:
        """Whether the number is above the one it was held against."""
        return self.number >= self.bound.number and not self.met

    @property
    def room(self) -> int:
        """How many more would have been allowed; below 0, how many too many there were."""
        return self.bound.number - (self.bound.op == "below") - self.number


class Turning(NamedTuple):
    """The growth by which a pet took a form that can't become the aim.

    place, t: of its entry in the log, and its second. form: the one outgrown; became: the one
    taken; missed: the form that would have kept the aim in reach, if a rule toward one was looked
    at. demands: the conditions that decided: of that rule, those that did not hold; of several such
    rules, those of the one that lacked fewest. Without such a rule, the conditions that held of
    the rule that led away, which comes before any toward the aim.
    """

    place: int
    t: int
    form: str
    became: str
    missed: str | None
    demands: tuple[Demand, ...]


def turning(history: History, aim: str) -> Turning | None:
    """Return the growth by which an aim went out of reach; None if it was reached or still can be.

    Args:
        history: of a traced life.
        aim: a form of the outcome stage.
    """
    model = history.life.model
    later = reachable(model)

    def leads(form: str) -> bool:
        return form == aim or aim in later[form]

    for place, entry in enumerate(history.life.entries):
        if entry.event != EventKind.GROWTH:
            continue
        before = history.states[place - 1]
        if entry.what != aim and aim in later[before.form] and not leads(entry.what):
            rules = _looked_at(model, before)
            toward = [rule for rule in rules if leads(rule.form)]
            decided = min(toward, key=lambda rule: len(_failed(model, before, rule)), default=None)
            if decided is None:
                *_, taken = rules
                demands = _demands(model, before, taken.conditions)
                return Turning(place, entry.t, before.form, entry.what, None, demands)
            demands = _failed(model, before, decided)
            return Turning(place, entry.t, before.form, entry.what, decided.form, demands)
    return None


def arrival(history: History, aim: str) -> list[tuple[str, Demand]]:
    """Return the conditions of the rule by which a life took the aim, each with the form outgrown.

    Empty if it never did.
    """
    model = history.life.model
    for place, entry in enumerate(history.life.entries):
        if entry.event == EventKind.GROWTH and entry.what == aim:
            before = history.states[place - 1]
            *_, taken = _looked_at(model, before)
            return [(before.form, each) for each in _demands(model, before, taken.conditions)]
    return []


def counted_by(history: History, turn: Turning, demand: Demand) -> list[Miss]:
    """Return the care misses that a condition on misses counted, in order."""
    begins = 0
    if demand.quantity == "misses_in_form":
        begins = next(
            place for place, state in enumerate(history.states) if state.form == turn.form
        )
    return [
        miss
        for miss in misses(history)
        if begins <= miss.place < turn.place and demand.cause in ("all", miss.cause)
    ]


def unmet(model: Model, state: Moment) -> list[tuple[str, Demand]]:
    """Return the conditions that did not hold of the rules that a pet looked at, with their forms.

    Args:
        model: the pet's.
        state: how things are before it grows.
    """
    rules = _looked_at(model, state)
    return [(rule.form, demand) for rule in rules for demand in _failed(model, state, rule)]


def _looked_at(model: Model, state: Moment) -> list[Rule]:
    """The rules of a form in order, up to the first that holds."""
    rules = list[Rule]()
    for rule in model.forms[state.form].grows_into:
        rules.append(rule)
        if not _failed(model, state, rule):
            break
    return rules


def _failed(model: Model, state: Moment, rule: Rule) -> tuple[Demand, ...]:
    demands = _demands(model, state, rule.conditions)
    return tuple(demand for demand in demands if not demand.met)


def _demands(model: Model, state: Moment, conditions: Conditions) -> tuple[Demand, ...]:
    """The conditions of a rule, each with the number that it goes by."""
    numbers = {(n.quantity, n.cause): n.number for n in rule_numbers(model, state)}
    bounds = {
        **{("misses_in_form", cause): bound for cause, bound in conditions.misses_in_form.items()},
        **{("misses_in_life", cause): bound for cause, bound in conditions.misses_in_life.items()},
        ("discipline", ""): conditions.discipline,
        ("weight", ""): conditions.weight,
    }
    return tuple(
        Demand(*key, bound, numbers[key]) for key, bound in bounds.items() if bound is not None
    )
