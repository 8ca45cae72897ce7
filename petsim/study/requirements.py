"""What the aim takes, and which lives had it when they outgrew the form before it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from petsim.spec.model import Model, Rule
from petsim.spec.quantities import Bound
from petsim.spec.taken_over import TakenOver

NOT_COUNTED = -1
MIXED = {
    "misses": "few enough misses",
    "discipline": "the discipline for it",
    "weight": "the weight for it",
}
"""Conditions that differ from rule to rule, in words."""
ORDER = ("", *MIXED)
"""The quantities of conditions, in the order of the steps."""


class Requirement(NamedTuple):
    """One thing that it takes to grow out of a form into the aim.

    quantity: what a condition is on, such as "discipline"; empty for having come to the form. what:
    the condition, such as "discipline at least 80"; empty likewise. met: works out, from
    the columns of a table of lives, 1 for each life that had it and 0 for one that did not; for
    one that never outgrew the form, NOT_COUNTED.
    """

    form: str
    quantity: str
    what: str
    met: Callable[[Mapping[str, NDArray[Any]]], NDArray[Any]]


def requirements(model: Model, aim: str) -> list[Requirement]:
    """Return what it takes to become the aim, one by one, for each form that can grow into it.

    Conditions on care misses by cause, and on those in life, are left out: the summary of a life
    does not say how many there were at that moment. So are those on misses in the form in which a
    pet is taken over, if its file gives only a range for them.
    """
    return [requirement for rule in _of_rules(model, aim) for requirement in rule]


def untold(model: Model, aim: str) -> list[str]:
    """Return the conditions of the aim that `requirements` leaves out, in words, each once."""
    conditions = [
        (form, rule.conditions)
        for form, growing in model.forms.items()
        for rule in growing.grows_into
        if rule.form == aim
    ]
    left_out = [
        f"{'misses' if cause == 'all' else f'misses of {cause}'} in {where} {bound}"
        for form, each in conditions
        for where, bounds in (("form", each.misses_in_form), ("life", each.misses_in_life))
        for cause, bound in bounds.items()
        if (where, cause) != ("form", "all") or _brought(model, form) is None
    ]
    return [*dict.fromkeys(left_out)]


def _brought(model: Model, form: str) -> int | None:
    """The misses in a form before lives begin, which a pet taken over may have; None: unknown."""
    return model.misses_brought(form) if isinstance(model, TakenOver) else 0


def _of_rules(model: Model, aim: str) -> list[list[Requirement]]:
    """What it takes by each rule that leads to the aim."""
    return [
        list(_of_rule(model, form, rule))
        for form, growing in model.forms.items()
        for rule in growing.grows_into
        if rule.form == aim
    ]


class Step(NamedTuple):
    """A step on the way to the aim: what it is, and whether each life took it and all before it."""

    what: str
    taken: Callable[[Mapping[str, NDArray[Any]]], NDArray[np.bool_]]


def steps(model: Model, aim: str) -> list[Step]:
    """Return the steps to the aim, in order: a form before it, then condition by condition.

    Where several rules lead to the aim, a life takes a step by any of them, and one that has no
    such condition asks for nothing. Conditions are left out as in `requirements`.
    """
    rules = _of_rules(model, aim)
    quantities = dict.fromkeys(each.quantity for rule in rules for each in rule)
    order = [quantity for quantity in ORDER if quantity in quantities]
    return [
        Step(_step_text(rules, quantity), partial(_taken, rules, order[: place + 1]))
        for place, quantity in enumerate(order)
    ]


def _step_text(rules: list[list[Requirement]], quantity: str) -> str:
    """A step in words, which name the condition if all rules have the same."""
    own = [each for rule in rules for each in rule if each.quantity == quantity]
    if not quantity:
        return f"came to {' or '.join(dict.fromkeys(each.form for each in own))}"
    texts = {each.what for each in own}
    return texts.pop() if len(texts) == 1 and len(own) == len(rules) else MIXED[quantity]


def _taken(
    rules: list[list[Requirement]], so_far: list[str], columns: Mapping[str, NDArray[Any]]
) -> NDArray[np.bool_]:
    """Whether each life met all conditions of these quantities of one of the rules."""
    by_rule = [
        [each.met(columns) > 0 for each in rule if each.quantity in so_far] for rule in rules
    ]
    taken: NDArray[np.bool_] = np.any([np.all(met, axis=0) for met in by_rule], axis=0)
    return taken


def _of_rule(model: Model, form: str, rule: Rule) -> Iterator[Requirement]:
    nexts = list(dict.fromkeys(rule.form for rule in model.forms[form].grows_into))
    yield Requirement(form, "", "", partial(_came_to, form))
    brought = _brought(model, form)
    if "all" in rule.conditions.misses_in_form and brought is not None:
        bound = rule.conditions.misses_in_form["all"]
        at_growth = dict.fromkeys(nexts, f"misses_in.{form}")
        met = partial(_met, form, at_growth, bound, before=brought)
        yield Requirement(form, "misses", f"misses in form {bound}", met)
    for what in ("discipline", "weight"):
        bound = getattr(rule.conditions, what)
        if bound is not None:
            at_growth = {each: f"{what}_at.{each}" for each in nexts}
            met = partial(_met, form, at_growth, bound)
            yield Requirement(form, what, f"{what} {bound}", met)


def _came_to(form: str, columns: Mapping[str, NDArray[Any]]) -> NDArray[np.bool_]:
    came: NDArray[np.bool_] = columns[f"entered_s.{form}"] >= 0
    return came


def _met(
    form: str,
    at_growth: Mapping[str, str],
    bound: Bound,
    columns: Mapping[str, NDArray[Any]],
    *,
    before: int = 0,
) -> NDArray[np.int64]:
    """Whether each life that outgrew a form kept to a bound then.

    at_growth: for each form that can come next, the column of what is compared with the bound.
    before: what is to be added to it, as it was there before the life began.
    """
    outgrew, came_next = next_form(form, [*at_growth], columns)
    values = np.array([columns[name] for name in at_growth.values()])
    own = np.take_along_axis(values, came_next[None], axis=0)[0]
    return np.where(outgrew, [bound.holds(before + value) for value in own.tolist()], NOT_COUNTED)


def next_form(
    form: str, nexts: Sequence[str], columns: Mapping[str, NDArray[Any]]
) -> tuple[NDArray[np.bool_], NDArray[np.int64]]:
    """Return whether each life outgrew a form, and the place of the form that came next.

    That is the one of `nexts`, all that it can grow into, which the life entered first, as a growth
    graph has no circles. Of a life that did not outgrow the form the place means nothing.

    Args:
        form: that grows.
        nexts: the forms that can come next.
        columns: of a table of lives, `entered_s.FORM` of all of these, each of shape (lives,).
    """
    entered = np.array([columns[f"entered_s.{each}"] for each in nexts])
    outgrew = _came_to(form, columns) & (entered >= 0).any(axis=0)
    return outgrew, np.where(entered >= 0, entered, np.iinfo(np.int64).max).argmin(axis=0)
