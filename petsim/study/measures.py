"""Every reported figure, defined once: its name, its label, its unit and how it is estimated.

The data and the text of a comparison, its page, its pictures, and the sums and means of a sweep all
read MEASURES. A new figure is a new entry there.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from functools import partial
from operator import itemgetter
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from petsim.life.record import words
from petsim.spec.model import Model
from petsim.spec.quantities import DAY
from petsim.study.aims import Aim
from petsim.study.requirements import requirements, steps
from petsim.study.stats import Interval, mean_interval, mean_interval_of_sums, wilson

if TYPE_CHECKING:
    from petsim.study.batch import Batch

Columns = Mapping[str, NDArray[Any]]
"""The columns of a table of lives, each word by its number, as `Batch.values` has them."""
Values = Callable[[Columns], NDArray[Any]]
"""Works out one number a life; one below 0 leaves the life out of the estimate."""

ODDS = "Odds of each outcome, share of lives"
MISSES = "Care misses a life"
DEATHS = "Deaths, share of lives"
WORK = "Work"
AIM_MARK = "(the aim)"
"""What follows the name of the aim in a table."""
WORTH = "Expected worth, share of full worth"
IN_NO_TABLE = ""


class Estimator(Enum):
    """How a figure is estimated from one number a life, and how data have it.

    A share has Wilson's interval. So has a count, of which data have the number of lives instead.
    A mean has Student's, and data have its estimate and its interval apart.
    """

    SHARE = "share of lives"
    COUNT = "number of lives"
    MEAN = "mean over lives"


def _always(_: Batch) -> bool:
    return True


@dataclass(frozen=True)
class Measure:
    """One reported figure of the lives of a batch.

    path: its keys in the data of a comparison, from the outermost. label: what tables call it.
    table: the title of the table that has it, or IN_NO_TABLE. unit: of the estimate. values: the
    number of each life that it is estimated from.

    aim: what its share or worth is of, if it is neither that of one outcome nor any other share.
    rare: whether a 0 is left out: tables leave the figure out if it is 0 under all regimes, and the
    data of a regime if it is 0 there, unless it is a count. reached: whether some life of a batch
    was followed to where this can happen; tables say so where none was, and leave the figure out
    where none was under any regime. in_data: whether `Comparison.as_dict` has it at its path.
    """

    path: tuple[str, ...]
    label: str
    table: str
    estimator: Estimator
    unit: str
    values: Values
    aim: Aim | None = None
    rare: bool = False
    reached: Callable[[Batch], bool] = _always
    in_data: bool = True

    @property
    def name(self) -> str:
        """Its path in one word, such as `misses_per_life.hunger`, as a sweep knows it."""
        return ".".join(self.path)

    def of(self, columns: Columns) -> Interval:
        """Estimate it from lives, with its 95 % interval; all nan if no life is counted."""
        values = self.values(columns)
        values = values[values >= 0]
        if len(values) == 0:
            return Interval(math.nan, math.nan, math.nan)
        if self.estimator is Estimator.MEAN:
            return mean_interval(values)
        if self.aim is not None:
            return self.aim.interval(values)
        return wilson(int(values.sum()), len(values))

    def of_sums(self, lives: int, total: float, squares: float) -> Interval:
        """Estimate it as `of` does, from how many lives are counted and the sums of their values.

        Args:
            lives: how many, at least 1.
            total, squares: the sum of their values, and that of the squares of these.

        Raises:
            ValueError: no life is counted.
        """
        if self.estimator is Estimator.MEAN:
            return mean_interval_of_sums(lives, total, squares)
        return wilson(int(total), lives)


Family = Callable[[Model, Aim | None], Iterator[Measure]]
"""Figures that depend on the model, and maybe on what is aimed for, which may not be known."""


def daily(column: str, label: str, *, rare: bool = False) -> Measure:
    """Return the measure of a counted column per day of life, a mean over lives."""

    def values(columns: Columns) -> NDArray[np.float64]:
        days: NDArray[np.float64] = np.maximum(columns["end_s"], 1) / DAY
        return columns[column] / days

    path, unit = (f"{column}_per_day",), "count a day"
    return Measure(path, label, WORK, Estimator.MEAN, unit, values, rare=rare)


def has_word(model: Model, column: str, *wanted: str) -> Values:
    """Return what works out of each life whether a column of words has one of these."""
    known = words(model)[column]
    numbers = [known.index(word) for word in wanted]
    return lambda columns: np.isin(columns[column], numbers)


def _odds(model: Model, aim: Aim | None) -> Iterator[Measure]:
    for outcome in words(model)["outcome"]:
        yield Measure(
            ("odds", outcome),
            f"{outcome} {AIM_MARK}" if aim and aim.is_one_form and outcome == aim.main else outcome,
            ODDS,
            Estimator.SHARE,
            "0..1",
            has_word(model, "outcome", outcome),
            rare=outcome not in model.forms,
        )


def _of_the_aim(model: Model, aim: Aim | None) -> Iterator[Measure]:
    """The odds of one of several forms, or the expected worth; of one form they are in `_odds`."""
    if aim is None or aim.is_one_form:
        return
    worths = aim.by_outcome(words(model)["outcome"])
    yield Measure(
        ("expected_worth",),
        f"{aim.name if aim.is_share else aim.figure} {AIM_MARK}",
        ODDS if aim.is_share else WORTH,
        Estimator.SHARE,
        "0..1",
        lambda columns: worths[columns["outcome"]],
        aim,
    )


def what_it_takes(model: Model, aim: Aim | None) -> Iterator[Measure]:
    """What the aim takes: for each form before it, having come to it, and what its rule asks for.

    Of several forms it is the worthiest. Shares of all lives and, from there, of those that
    outgrew the form.
    """
    if aim is None:
        return
    needed = requirements(model, aim.main)
    forms = {requirement.form for requirement in needed}
    before = forms.pop() if len(forms) == 1 else None
    table = f"What {aim.main} takes, share of lives, then of those that outgrew "
    table = table + (before or "the form before") if any(r.what for r in needed) else IN_NO_TABLE
    for form, _, what, met in needed:
        label = what if form == before else f"as {form}: {what}"
        yield Measure(
            ("aim_takes", form, what),
            label if what else f"became {form}",
            table,
            Estimator.SHARE,
            "0..1",
            met,
            in_data=False,
        )


def funnel(model: Model, aim: Aim) -> Iterator[Measure]:
    """The steps to the aim, of several forms to the worthiest, and it, each with all before it."""
    for what, taken in steps(model, aim.main):
        path = ("funnel", what)
        yield Measure(path, what, IN_NO_TABLE, Estimator.SHARE, "0..1", taken, in_data=False)
    reached = has_word(model, "outcome", aim.main)
    path = ("funnel", f"became {aim.main}")
    yield Measure(path, path[-1], IN_NO_TABLE, Estimator.SHARE, "0..1", reached, in_data=False)


def _misses_by_cause(model: Model, _: Aim | None) -> Iterator[Measure]:
    columns = {"total": "misses"} | {cause: f"misses.{cause}" for cause in model.causes}
    for cause, column in columns.items():
        yield Measure(
            ("misses_per_life", cause),
            "in all" if column == "misses" else f"cause {cause}",
            MISSES,
            Estimator.MEAN,
            "count",
            itemgetter(column),
        )


def _misses_by_stage(model: Model, _: Aim | None) -> Iterator[Measure]:
    for stage in model.stages:
        forms = [name for name, form in model.forms.items() if form.stage == stage]
        yield Measure(
            ("misses_per_life_by_stage", stage),
            f"as {stage}",
            MISSES,
            Estimator.MEAN,
            "count",
            partial(_sum_of, [f"misses_in.{form}" for form in forms]),
            reached=partial(_lived_in, [form for form in forms if not model.forms[form].dormant]),
        )


def _sum_of(names: Sequence[str], columns: Columns) -> NDArray[np.int64]:
    none = np.zeros(len(columns["end_s"]), dtype=np.int64)
    return sum((columns[name] for name in names), start=none)


def _lived_in(forms: Sequence[str], batch: Batch) -> bool:
    """Whether a life of a batch was followed in one of these forms."""
    entered = [batch.values[f"entered_s.{form}"] for form in forms]
    return any(bool(((each >= 0) & (each < batch.values["end_s"])).any()) for each in entered)


def _deaths(model: Model, _: Aim | None) -> Iterator[Measure]:
    """Deaths before the outcome; all, where lives are followed beyond it; and each cause."""
    share = partial(Measure, table=DEATHS, unit="0..1")
    early = has_word(model, "outcome", *model.deaths)
    yield share(("early_deaths",), "before the outcome", estimator=Estimator.SHARE, values=early)
    yield share(
        ("deaths", "total"),
        "in all",
        estimator=Estimator.SHARE,
        values=has_word(model, "died", *model.deaths),
        reached=lambda batch: not batch.span.to_outcome,
        in_data=False,
    )
    for cause in model.deaths:
        died = has_word(model, "died", cause)
        label = f"cause {cause}"
        yield share(("deaths", cause), label, estimator=Estimator.COUNT, values=died, rare=True)


MEASURES: tuple[Measure | Family, ...] = (
    _of_the_aim,
    _odds,
    what_it_takes,
    _misses_by_cause,
    _misses_by_stage,
    _deaths,
    daily("presses", "presses a day"),
    daily("quiet_presses", "presses a day in quiet hours"),
    daily("checks", "checks a day"),
    daily("checks_skipped", "checks skipped a day"),
    daily("checks_forgotten", "checks forgotten a day", rare=True),
    Measure(
        ("share_in_spells",),
        "share of time in spells of bad light",
        WORK,
        Estimator.MEAN,
        "share of time",
        lambda columns: columns["spells_s"] / np.maximum(columns["end_s"], 1),
        rare=True,
    ),
    Measure(
        ("days_followed",),
        "days followed",
        WORK,
        Estimator.MEAN,
        "days",
        lambda columns: columns["end_s"] / DAY,
        in_data=False,
    ),
)
"""All measures, in the order of the tables that have them."""


def measures(model: Model, aim: Aim | None = None) -> Iterator[Measure]:
    """Return all measures of a model, in order.

    Args:
        model: whose outcomes, causes, stages and deaths have a measure each.
        aim: what is aimed for; without it, what it takes is left out.
    """
    for entry in MEASURES:
        if isinstance(entry, Measure):
            yield entry
        else:
            yield from entry(model, aim)


def measures_of_work() -> dict[str, Measure]:
    """Return the measures in the table of work that every model has, by their names."""
    plain = (entry for entry in MEASURES if isinstance(entry, Measure))
    return {measure.name: measure for measure in plain if measure.table == WORK}


def table_rows(
    batches: Sequence[Batch], aim: Aim
) -> Iterator[tuple[Measure, tuple[Interval, ...]]]:
    """Return the measures that tables of these batches have, each with its estimate of each batch.

    Args:
        batches: of one model, one or more.
        aim: what is aimed for.
    """
    for measure in measures(batches[0].model, aim):
        if measure.table == IN_NO_TABLE or not any(map(measure.reached, batches)):
            continue
        intervals = tuple(measure.of(batch.values) for batch in batches)
        if not measure.rare or any(interval.estimate for interval in intervals):
            yield measure, intervals
