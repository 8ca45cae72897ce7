"""What the aim takes, and how many lives had it when they outgrew the form before it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from petsim.spec.model import Conditions
from petsim.spec.quantities import Comparison
from petsim.study.stats import Interval, wilson

if TYPE_CHECKING:
    from petsim.study.batch import Batch


class Requirement(NamedTuple):
    """One thing that it takes to grow out of a form into the aim.

    what: such as "discipline at least 80"; empty for having come to the form. met: the share of
    all lives that came to it, or of those that outgrew it that had what it takes, with its 95 %
    Wilson interval; None if none did.
    """

    form: str
    what: str
    met: Interval | None


def requirements(batch: Batch, aim: str) -> list[Requirement]:
    """What it takes to become the aim, one by one, for each form that can grow into it.

    Left out is what a life's summary does not tell of that moment: care misses by cause, and in
    life.
    """
    found = []
    for form, growing in batch.model.forms.items():
        came = batch.values[f"entered_s.{form}"] >= 0
        for rule in growing.grows_into:
            if rule.form == aim:
                found.append(Requirement(form, "", wilson(int(came.sum()), len(batch))))
                found += _conditions(batch, form, rule.conditions)
    return found


def _conditions(batch: Batch, form: str, wanted: Conditions) -> Iterator[Requirement]:
    """The share of the lives that outgrew a form that met each of a rule's conditions."""
    grown = list(dict.fromkeys(rule.form for rule in batch.model.forms[form].grows_into))
    entered = np.array([batch.values[f"entered_s.{each}"] for each in grown])
    outgrew = (batch.values[f"entered_s.{form}"] >= 0) & (entered >= 0).any(axis=0)
    next_form = np.where(entered >= 0, entered, np.iinfo(np.int64).max).argmin(axis=0)

    def met(comparison: Comparison, values: NDArray[np.int64]) -> Interval | None:
        found = values[outgrew].tolist()
        return wilson(sum(map(comparison.holds, found)), len(found)) if found else None

    if "all" in wanted.misses_in_form:
        most = wanted.misses_in_form["all"]
        misses = batch.values[f"misses_in.{form}"]
        yield Requirement(form, f"misses in form {most}", met(most, misses))
    for what, bound in (("discipline", wanted.discipline), ("weight", wanted.weight)):
        if bound is not None:
            then = np.array([batch.values[f"{what}_at.{each}"] for each in grown])
            values = np.take_along_axis(then, next_form[None], axis=0)[0]
            yield Requirement(form, f"{what} {bound}", met(bound, values))
