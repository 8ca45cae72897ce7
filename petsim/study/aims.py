"""What one aims for: a form, one of several, or what each form is worth, and its estimates.

Of forms that all count alike it is the odds of one of them that are told; where forms are worth
more and less, the expected worth of a life.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from petsim.errors import ArgumentError, MisfitError, choice
from petsim.life.record import words
from petsim.spec.arguments import is_number
from petsim.spec.document import plain_number
from petsim.spec.model import Model
from petsim.spec.quantities import worth
from petsim.study.paired import paired_table
from petsim.study.stats import Interval, newcombe_paired, wilson
from petsim.study.weighted import combination

if TYPE_CHECKING:
    from petsim.study.batch import Batch

AimSource = str | Sequence[str] | Mapping[str, float]
"""A form, several of them, with commas or as a list, or what each is worth, from 0 to 1."""

WORTH = "worth"
"""What an aim is called whose forms are not all worth the same."""


@dataclass(frozen=True)
class Aim:
    """What is hoped for of a life: its worth by what becomes of it.

    name: as told to people: "beacon", "beacon or lantern", or "worth" if the forms differ in it.
    worths: of each form that is worth anything, above 0 and up to 1, the worthiest first; of equal
    worth the model's aim, then others in its order. All else, a death too, is worth 0.
    """

    name: str
    worths: Mapping[str, float]

    @property
    def forms(self) -> tuple[str, ...]:
        """The forms that are worth anything, the worthiest first."""
        return tuple(self.worths)

    @property
    def main(self) -> str:
        """The worthiest form, of which is told what it takes and at which step lives miss it."""
        return self.forms[0]

    @property
    def is_one_form(self) -> bool:
        """Whether it is the odds of one form alone."""
        return self.is_share and len(self.worths) == 1

    @property
    def text(self) -> str:
        """It as `read_aim` takes it: "beacon,lantern", or "beacon=1,lantern=0.5"."""
        if self.is_share:
            return ",".join(self.worths)
        return ",".join(f"{form}={plain_number(worth)}" for form, worth in self.worths.items())

    @property
    def is_share(self) -> bool:
        """Whether all forms are worth 1, so that the expected worth is the odds of one of them."""
        return set(self.worths.values()) == {1.0}

    @property
    def figure(self) -> str:
        """What is estimated: "odds of beacon", or "expected worth"."""
        return f"odds of {self.name}" if self.is_share else f"expected {self.name}"

    @property
    def unit(self) -> str:
        """Of the estimate in per cent: 100 % are all lives, or lives that are all worth 1."""
        return "% of lives" if self.is_share else "% of full worth"

    def values(self, batch: Batch) -> NDArray[np.float64]:
        """Return what each life of a batch is worth, of shape (lives,)."""
        known = words(batch.model)["outcome"]
        values: NDArray[np.float64] = self.by_outcome(known)[batch.values["outcome"]]
        return values

    def of(self, batch: Batch) -> Interval:
        """Return the odds, or the expected worth, of a batch, with the 95 % `interval`."""
        return self.interval(self.values(batch))

    def of_counts(self, counts: Mapping[str, int]) -> Interval:
        """Return the same of lives of which only how many had each outcome is known."""
        return self.interval(np.repeat(self.by_outcome([*counts]), [*counts.values()]))

    def by_outcome(self, outcomes: Sequence[str]) -> NDArray[np.float64]:
        """Return what each of some outcomes is worth, of shape (outcomes,)."""
        return np.array([self.worths.get(outcome, 0.0) for outcome in outcomes])

    def interval(self, values: NDArray[np.float64]) -> Interval:
        """Return the odds, or the expected worth, with a 95 % interval.

        It is Wilson's of odds, and that of `combined` of a worth.

        Args:
            values: what each life is worth, of shape (lives,), of at least one.
        """
        if self.is_share:
            return wilson(int(values.sum()), len(values))
        return self.combined(values[np.newaxis], np.ones(1))

    def difference(self, ours: NDArray[np.float64], theirs: NDArray[np.float64]) -> Interval:
        """Return by how much the same lives do better under one care than under another.

        The 95 % interval is Newcombe's of a paired difference for odds, and that of `combined`
        for a worth.

        Args:
            ours, theirs: what each life is worth under either, of shape (lives,).
        """
        if self.is_share:
            return newcombe_paired(*paired_table(ours > 0, theirs > 0))
        return self.combined(np.array([ours, theirs]), np.array([1.0, -1.0]))

    def combined(self, values: NDArray[np.float64], factors: NDArray[np.float64]) -> Interval:
        """Return the 95 % interval of a sum of expected worths times factors, on the same lives.

        An expected worth is itself a sum: of each step from one worth to the next higher, times the
        share of lives that are worth as much or more. `combination` joins the intervals of these
        shares. Unlike a t interval it can't leave the range of the worths, and holds where few
        lives, or all but a few, are worth anything.

        Args:
            values: what each life is worth, of shape (worths, lives).
            factors: of each expected worth, of shape (worths,).
        """
        levels = np.array(sorted({*self.worths.values()}))
        reached = values[:, np.newaxis, :] >= levels[:, np.newaxis]
        steps = np.outer(factors, np.diff(levels, prepend=0.0))
        of_worth = np.repeat(np.arange(len(values)), len(levels))
        return combination(reached.reshape(-1, values.shape[1]), steps.ravel(), of_worth)

    def __str__(self) -> str:
        return self.name


def read_aim(model: Model, aim: AimSource | None = None) -> Aim:
    """Return what is aimed for: as given or, by default, as the model has it.

    Args:
        model: whose outcome stage has the forms.
        aim: a form; several, of which each counts, as a list or with commas between them; or what
            each form is worth, from 0 to 1, as a mapping or as a text such as
            "beacon=1,lantern=0.5". The model's, if it is left out, is what forms are worth there
            or, if it does not say so, its aim.

    Raises:
        ArgumentError: one is no form of the outcome stage, or named twice; a worth is no number
            from 0 to 1; nothing is worth anything.
    """
    if aim is None:
        aim = model.worth or model.aim
    if not _is_source(aim):
        raise ArgumentError(
            f"aim: {aim!r}; expected a form, several of them, or what each of some is worth"
        )
    given: Mapping[str, Any] = aim if isinstance(aim, Mapping) else _worths(aim)
    for form, its_worth in given.items():
        if form not in model.outcome_forms:
            raise ArgumentError(
                f"aim: {form!r}, no form of the outcome stage {model.outcome_stage!r}; "
                f"{choice(form, model.outcome_forms)}"
            )
        if not is_number(its_worth) or not 0 <= its_worth <= 1:
            raise ArgumentError(
                f"aim: {form!r} is worth {its_worth!r}; expected a number from 0 to 1"
            )
    worths = {form: float(given[form]) for form in model.outcome_forms if given.get(form)}
    if not worths:
        raise ArgumentError("aim: nothing is worth anything; expected a form worth more than 0")
    ranked = sorted(worths, key=lambda form: (-worths[form], form != model.aim))
    is_share = set(worths.values()) == {1.0}
    return Aim(either(ranked) if is_share else WORTH, {form: worths[form] for form in ranked})


def aim_at(outcome: str) -> Aim:
    """Return the aim of an outcome that the model is known to have, which may be a death."""
    return Aim(outcome, {outcome: 1.0})


def either(forms: Iterable[str]) -> str:
    """Return forms of which each counts, in words: "beacon, lantern or candle"."""
    *others, last = forms
    return f"{', '.join(others)} or {last}" if others else last


def _is_source(aim: object) -> bool:
    """Whether it is a text, or a list or a mapping with texts for forms, of one at least."""
    if isinstance(aim, str):
        return True
    if not isinstance(aim, Sequence | Mapping) or not aim:
        return False
    return all(isinstance(form, str) for form in aim)


def _worths(aim: str | Sequence[str]) -> dict[str, Any]:
    """What each form of a text or of a list is worth, 1 if it does not say."""
    worths: dict[str, Any] = {}
    for text in aim.split(",") if isinstance(aim, str) else aim:
        form, _, number = (part.strip() for part in text.partition("="))
        if form in worths:
            raise ArgumentError(f"aim: {form!r} is named twice; expected each form once")
        worths[form] = _number(number) if "=" in text else 1.0
    return worths


def _number(text: str) -> float | str:
    """The worth that a text says, as the file of a model may say it; else the text."""
    try:
        return worth(text)
    except MisfitError:
        return text
