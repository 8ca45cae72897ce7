"""What is to be cheapest: a reported figure, a column of the table of lives, or a weighted sum."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from operator import itemgetter
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from petsim.errors import ArgumentError, choice
from petsim.life.record import LABELS, columns
from petsim.spec.model import Model
from petsim.study.measures import Columns, Measure, Values, measures

SHORT = {
    "presses": "presses_per_day",
    "checks": "checks_per_day",
    "quiet presses": "quiet_presses_per_day",
}
"""Short words for figures, and their names."""
NO_COST = ("life", *LABELS)
OF_FORMS = ("entered_s.", "weight_at.", "discipline_at.")
"""What begins the columns that are -1 where a pet never had the form."""
_TERM = re.compile(r"(?:([0-9]+\.?[0-9]*|\.[0-9]+) *\* *)?([^*+]*[^*+ ])")


class Figure(NamedTuple):
    """What a term counts: its number of each life, and what people call it.

    is_counted: whether that follows a number, as in "41 presses a day".
    """

    values: Values
    label: str
    is_counted: bool = False


class Term(NamedTuple):
    """A part of a cost: a name, and how many times it counts."""

    factor: float
    name: str

    def __str__(self) -> str:
        return self.name if self.factor == 1 else f"{self.factor:.12g}*{self.name}"


@dataclass(frozen=True)
class Cost:
    """A sum of figures of a life, each times a factor.

    figures: by their names, of each model. terms: the parts of the sum.
    """

    terms: tuple[Term, ...]
    figures: tuple[Mapping[str, Figure], ...]

    def __str__(self) -> str:
        return " + ".join(map(str, self.terms))

    @property
    def label(self) -> str:
        """What people call it, such as `presses a day`, with its unit if it has one."""
        return self._figure.label if self._figure else str(self)

    @property
    def is_counted(self) -> bool:
        """Whether its label follows a number, as in "41 presses a day"."""
        return self._figure is not None and self._figure.is_counted

    @property
    def _figure(self) -> Figure | None:
        """What it is if it is no sum."""
        [first, *others] = self.terms
        return None if others or first.factor != 1 else self.figures[0][first.name]

    def values(self, batches: Sequence[Columns], weights: Sequence[float]) -> NDArray[np.float64]:
        """Return what each life costs, on average over weighted models.

        Args:
            batches: the columns of the same lives under each model. weights: of the models.
        """
        total = np.zeros(len(batches[0]["outcome"]))
        for of_model, figures, weight in zip(batches, self.figures, weights, strict=True):
            for factor, name in self.terms:
                total += weight * factor * figures[name].values(of_model)
        return total


def read_cost(text: str, models: Sequence[Model]) -> Cost:
    """Return the cost that a text names, such as `presses` or `checks + 0.01*level_s.hunger.0`.

    Args:
        text: a sum of names, each of which may have a factor: a figure of
            `petsim.study.measures`, a short word for one, or a column of the table of lives, of
            which the mean over lives is meant.
        models: those of which it has to be known.

    Raises:
        ArgumentError: the text is no such sum, or a name is unknown to a model.
    """
    figures = tuple(map(_figures, models))
    terms = tuple(_term(part.strip(), figures) for part in str(text).split("+"))
    return Cost(terms, figures)


def _term(text: str, figures: Sequence[Mapping[str, Figure]]) -> Term:
    match = _TERM.fullmatch(text)
    if match is None:
        raise ArgumentError(
            f"cheapest: {text!r}; expected a sum of names, such as presses or "
            "checks + 0.01*level_s.hunger.0"
        )
    factor, name = float(match[1] or 1), SHORT.get(match[2], match[2])
    for known in figures:
        if name not in known:
            raise ArgumentError(f"cheapest: {match[2]!r}; {choice(match[2], [*SHORT, *known])}")
    if factor == 0:
        raise ArgumentError(f"cheapest: {text!r}; expected a factor above 0")
    return Term(factor, name)


def _figures(model: Model) -> dict[str, Figure]:
    """Everything that a cost can count, by its name."""
    reported: dict[str, Figure] = {measure.name: _reported(measure) for measure in measures(model)}
    counted: dict[str, Any] = {
        column.name: Figure(itemgetter(column.name), f"{column.name} ({column.unit} a life)")
        for column in columns(model)
        if column.name not in NO_COST and not column.name.startswith(OF_FORMS)
    }
    return counted | reported


def _reported(measure: Measure) -> Figure:
    """A figure of a day is called as tables call it; of another its name says more."""
    is_daily = measure.name.endswith("_per_day")
    return Figure(measure.values, measure.label if is_daily else measure.name, is_daily)
