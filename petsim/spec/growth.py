"""What a model's growth graph implies: what comes next, and when at the earliest and latest.

How long a form lasts does not depend on how the pet is looked after, only which form comes next
does; so the bounds of every growth follow from the model alone.
"""

from __future__ import annotations

from typing import NamedTuple

from petsim.spec.model import Model


class Bounds(NamedTuple):
    """The earliest and the latest second of life at which something can be; None is no limit."""

    earliest: int
    latest: int | None


def successors(model: Model) -> dict[str, tuple[str, ...]]:
    """The forms each form can grow into, in the order of its rules."""
    return {
        name: tuple(dict.fromkeys(rule.form for rule in form.grows_into))
        for name, form in model.forms.items()
    }


def in_order_of_growth(model: Model) -> list[str]:
    """All forms, each after every form that can grow into it."""
    nexts = successors(model)
    before: dict[str, list[str]] = {name: [] for name in nexts}
    for name, after in nexts.items():
        for successor in after:
            before[successor].append(name)
    order, placed = [model.root], {model.root}
    for name in order:
        for successor in nexts[name]:
            if successor not in placed and placed.issuperset(before[successor]):
                order.append(successor)
                placed.add(successor)
    return order


def reachable(model: Model) -> dict[str, tuple[str, ...]]:
    """All forms each form can still become, in order of growth."""
    nexts, order = successors(model), in_order_of_growth(model)
    reached: dict[str, set[str]] = {}
    for name in reversed(order):
        reached[name] = set(nexts[name]).union(*(reached[after] for after in nexts[name]))
    return {name: tuple(f for f in order if f in reached[name]) for name in order}


def has_outcome(model: Model, form: str) -> bool:
    """Whether the outcome of a pet in a form can change no more by growth.

    That is so in the outcome stage, and where no form of it can be reached.
    """
    possible = {form, *reachable(model)[form]}.intersection(model.outcome_forms)
    return form in possible or not possible


def entered(model: Model) -> dict[str, Bounds]:
    """When each form can be taken."""
    nexts = successors(model)
    times = {model.root: Bounds(0, 0)}
    for name in in_order_of_growth(model):
        leaves = _after(times[name], model, name)
        for successor in nexts[name]:
            times[successor] = _either(times.get(successor, leaves), leaves)
    return times


def left(model: Model) -> dict[str, Bounds]:
    """When each form can be over: grown into the next, or dead of old age."""
    return {name: _after(bounds, model, name) for name, bounds in entered(model).items()}


def _after(start: Bounds, model: Model, form: str) -> Bounds:
    shortest, longest = model.forms[form].lasts.bounds()
    latest = None if start.latest is None or longest is None else start.latest + longest
    return Bounds(start.earliest + shortest, latest)


def _either(one: Bounds, other: Bounds) -> Bounds:
    latest = None if one.latest is None or other.latest is None else max(one.latest, other.latest)
    return Bounds(min(one.earliest, other.earliest), latest)
