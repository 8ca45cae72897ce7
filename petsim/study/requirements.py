"""What the aim takes, and which lives had it when they outgrew the form before it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import partial
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from petsim.spec.model import Model, Rule
from petsim.spec.quantities import Bound

NOT_COUNTED = -1


class Requirement(NamedTuple):
    """One thing that it takes to grow out of a form into the aim.

    what: such as "discipline at least 80"; empty for having come to the form. met: works out, from
    the columns of a table of lives, 1 for each life that had it and 0 for one that did not; for
    one that never outgrew the form, NOT_COUNTED.
    """

    form: str
    what: str
    met: Callable[[Mapping[str, NDArray[Any]]], NDArray[Any]]


def requirements(model: Model, aim: str) -> list[Requirement]:
    """Return what it takes to become the aim, one by one, for each form that can grow into it.

    Conditions on care misses by cause, and on those in life, are left out: the summary of a life
    does not say how many there were at that moment.
    """
    return [
        requirement
        for form, growing in model.forms.items()
        for rule in growing.grows_into
        if rule.form == aim
        for requirement in _of_rule(model, form, rule)
    ]


def _of_rule(model: Model, form: str, rule: Rule) -> Iterator[Requirement]:
    nexts = list(dict.fromkeys(rule.form for rule in model.forms[form].grows_into))
    yield Requirement(form, "", partial(_came_to, form))
    if "all" in rule.conditions.misses_in_form:
        bound = rule.conditions.misses_in_form["all"]
        at_growth = dict.fromkeys(nexts, f"misses_in.{form}")
        yield Requirement(form, f"misses in form {bound}", partial(_met, form, at_growth, bound))
    for what in ("discipline", "weight"):
        bound = getattr(rule.conditions, what)
        if bound is not None:
            at_growth = {each: f"{what}_at.{each}" for each in nexts}
            yield Requirement(form, f"{what} {bound}", partial(_met, form, at_growth, bound))


def _came_to(form: str, columns: Mapping[str, NDArray[Any]]) -> NDArray[np.bool_]:
    came: NDArray[np.bool_] = columns[f"entered_s.{form}"] >= 0
    return came


def _met(
    form: str, at_growth: Mapping[str, str], bound: Bound, columns: Mapping[str, NDArray[Any]]
) -> NDArray[np.int64]:
    """Whether each life that outgrew a form kept to a bound then.

    at_growth: for each form that can come next, the column of what is compared with the bound.
    """
    entered = np.array([columns[f"entered_s.{each}"] for each in at_growth])
    outgrew = _came_to(form, columns) & (entered >= 0).any(axis=0)
    came_next = np.where(entered >= 0, entered, np.iinfo(np.int64).max).argmin(axis=0)
    values = np.array([columns[name] for name in at_growth.values()])
    own = np.take_along_axis(values, came_next[None], axis=0)[0]
    return np.where(outgrew, [bound.holds(value) for value in own.tolist()], NOT_COUNTED)
