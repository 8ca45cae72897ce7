"""Regimes side by side on the same luck: odds, what goes wrong, what it costs, and differences."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from petsim._version import __version__
from petsim.errors import ArgumentError, choice
from petsim.life.caretaker import Caretaker
from petsim.life.drawn import Drawn
from petsim.life.simulate import CaretakerSource, ModelSource, Span, choose_engine, load_together
from petsim.spec import defaults
from petsim.spec.model import Model
from petsim.spec.quantities import DAY
from petsim.study.batch import Batch, lived, titled_table
from petsim.study.hours import Hours
from petsim.study.precision import EnoughLives, Precision
from petsim.study.requirements import requirements
from petsim.study.stats import (
    Interval,
    mcnemar,
    mean_interval,
    newcombe_paired,
    pairing_gain,
    wilson,
)

if TYPE_CHECKING:
    import pandas as pd

PER_DAY = ("presses", "quiet_presses", "checks", "checks_skipped")
"""The columns reported per day of life."""


MOST_TIMED = 6
"""Regimes whose lives are lived again for their hours, a second or two each."""


@dataclass(frozen=True)
class Difference:
    """How much likelier a form is under one regime than under another, on the same lives.

    table: lives that took the form under both regimes, under this one only, under the other one
    only, under neither.
    """

    of: str
    against: str
    aim: str
    table: tuple[int, int, int, int]

    @property
    def interval(self) -> Interval:
        """The difference with its 95 % interval, by Newcombe's method 10."""
        return newcombe_paired(*self.table)

    @property
    def p_value(self) -> float:
        """The two-sided p-value of McNemar's exact test that there is none."""
        return mcnemar(*self.table[1:3])

    @property
    def pairing_gain(self) -> float:
        """How many times as many lives of other luck would show it as sharply."""
        return pairing_gain(*self.table)

    @property
    def shown(self) -> bool:
        """Whether the interval leaves zero out."""
        return self.interval.low > 0 or self.interval.high < 0


@dataclass(frozen=True)
class Comparison(Drawn):
    """Batches of the same lives under several regimes.

    aim: the form whose odds are compared. differences: each later regime against the first.
    """

    model: Model
    aim: str
    batches: tuple[Batch, ...]

    @property
    def differences(self) -> tuple[Difference, ...]:
        """The paired difference of each later regime from the first, for the aim."""
        first, *others = self.batches
        return tuple(_difference(other, first, self.aim) for other in others)

    @property
    def precision(self) -> Precision | None:
        """What came of the precision that was asked for, if one was."""
        return self.batches[0].precision

    def miss_hours(self) -> tuple[Hours, ...]:
        """When care misses happen under the first few regimes, in the same first lives."""
        found = [batch.miss_hours() for batch in self.batches[:MOST_TIMED]]
        return tuple(hours.first(min(map(len, found))) for hours in found)

    def __len__(self) -> int:
        return len(self.batches[0])

    def odds(self, *, simultaneous: bool = False) -> pd.DataFrame:
        """Shares of all outcomes under all regimes, with 95 % intervals, one row each.

        Each interval is Wilson's; or, simultaneous, Goodman's, which hold at once for all outcomes
        of a regime.
        """
        import pandas as pd

        odds = {b.regime: b.odds(simultaneous=simultaneous) for b in self.batches}
        return pd.concat(odds, names=["regime"])

    def requirements(self) -> pd.DataFrame:
        """What the aim takes, and the share of lives that had it under each regime.

        One row for having come to each form before the aim, a share of all lives; and one for each
        thing that it takes from there, of those that outgrew that form. Each interval is Wilson's
        of 95 %. What a life's summary does not tell is left out, as by `growth.requirements`.
        """
        import pandas as pd

        unknown = Interval(math.nan, math.nan, math.nan)
        rows = [
            {"regime": batch.regime, "form": form, "what": what, **(met or unknown)._asdict()}
            for batch in self.batches
            for form, what, met in requirements(batch, self.aim)
        ]
        index = ["regime", "form", "what"]
        return pd.DataFrame(rows, columns=[*index, *Interval._fields]).set_index(index)

    def as_dict(self) -> dict[str, Any]:
        """Everything of it as plain data, as `petsim compare --json` prints it.

        An end of an interval that a single life leaves unknown is None, and so is what pairing
        gains where no life tells the regimes apart.
        """
        first = self.batches[0]
        return {
            "petsim": __version__,
            "model": self.model.id,
            "seed": first.seed,
            "lives": len(self),
            "until": str(first.span),
            "precision": None if self.precision is None else asdict(self.precision),
            "aim": self.aim,
            "regimes": [_regime_dict(batch, self.aim) for batch in self.batches],
            "differences": [
                {
                    "of": d.of,
                    "against": d.against,
                    "aim": d.aim,
                    **_ends(d.interval),
                    **_numbers({"p_value": d.p_value, "pairing_gain": d.pairing_gain}),
                }
                for d in self.differences
            ],
        }

    def __repr__(self) -> str:
        names = ", ".join(batch.regime for batch in self.batches)
        first = self.batches[0]
        return (
            f"<comparison of {names}: {len(self)} lives each of {self.model.id}, "
            f"seed {first.seed}, followed to {first.span}>"
        )

    def _repr_html_(self) -> str:
        return titled_table(repr(self), self.odds())


def compare(
    model: ModelSource,
    regimes: Sequence[CaretakerSource],
    *,
    lives: int | None = None,
    precision: float | None = None,
    seed: int = 0,
    until: str | None = None,
    days: float | None = None,
    aim: str | None = None,
    engine: str = "auto",
    workers: int | None = None,
    progress: bool = False,
) -> Comparison:
    """Live the same lives under several regimes.

    Args:
        model, seed, until, days, engine, workers, progress: as for `batch`.
        lives: under each regime; by default 5000, or 1000 if the reference engine has to live some.
        precision: live only as many as it takes, at most `lives` (by default 100,000, or 10,000),
            for the interval of each difference, or of a single regime's odds of the aim, to be this
            narrow: its half-width, such as 0.01 for one percentage point.
        regimes: one or more, each as for `batch`; later ones are compared with the first.
        aim: the form to compare the odds of; by default the model's.

    Raises:
        SpecError, PolicyError, ArgumentError: as for `batch`; the aim is not a form of the outcome
            stage; there is no regime, or two bear one name.
    """
    span, (pet, caretakers) = Span(until, days), load_together(model, regimes)
    aim = aim_of(pet, aim)
    see_that_names_differ(caretakers)
    engines = [choose_engine(pet, caretaker, span, engine) for caretaker in caretakers]
    enough = None if precision is None else EnoughLives(precision, partial(_goal, pet, aim))
    if lives is None:
        usual = defaults.LIVES if precision is None else defaults.MOST_LIVES
        lives = min(usual[used.name] for used in engines)
    batches = lived(
        pet, engines, span, lives, enough, seed=seed, workers=workers, progress=progress
    )
    return Comparison(pet, aim, batches)


def _goal(model: Model, aim: str, batches: tuple[Batch, ...]) -> list[Interval]:
    """The intervals that a precision is about: of the differences or, without any, of the odds."""
    differences = Comparison(model, aim, batches).differences
    return [d.interval for d in differences] or [batches[0].share(aim)]


def per_day(batch: Batch, column: str) -> Interval:
    """Mean over lives of a count per day of life, with its 95 % t interval."""
    days = np.maximum(batch.values["end_s"], 1) / DAY
    return mean_interval(batch.values[column] / days)


def misses_by_cause(batch: Batch) -> dict[str, Interval]:
    """Mean care misses a life, in all and by cause, with 95 % t intervals."""
    found = {"total": mean_interval(batch.values["misses"])}
    return found | {c: mean_interval(batch.values[f"misses.{c}"]) for c in batch.model.causes}


def misses_by_stage(batch: Batch) -> dict[str, Interval]:
    """Mean care misses a life by the stage they fell in, with 95 % t intervals."""
    forms = batch.model.forms
    return {
        stage: mean_interval(
            sum(
                (batch.values[f"misses_in.{f}"] for f in forms if forms[f].stage == stage),
                start=np.zeros(len(batch), dtype=np.int64),
            )
        )
        for stage in batch.model.stages
    }


def early_deaths(batch: Batch) -> Interval:
    """Share of lives that died before their outcome was decided, with its 95 % Wilson interval."""
    return wilson(int(batch.which("outcome", *batch.model.deaths).sum()), len(batch))


def deaths(batch: Batch) -> dict[str, int]:
    """Lives that ended by each cause of death, those that never happened included."""
    return {cause: int(batch.which("died", cause).sum()) for cause in batch.model.deaths}


def _difference(of: Batch, against: Batch, aim: str) -> Difference:
    ours, theirs = (batch.which("outcome", aim) for batch in (of, against))
    both, ours_only, theirs_only, neither = (
        int(taken.sum())
        for taken in (ours & theirs, ours & ~theirs, ~ours & theirs, ~ours & ~theirs)
    )
    return Difference(of.regime, against.regime, aim, (both, ours_only, theirs_only, neither))


def _ends(interval: Interval) -> dict[str, float | None]:
    return _numbers(interval._asdict())


def _numbers(numbers: dict[str, float]) -> dict[str, float | None]:
    return {name: None if math.isnan(x) else x for name, x in numbers.items()}


def _regime_dict(batch: Batch, aim: str) -> dict[str, Any]:
    causes, stages = misses_by_cause(batch), misses_by_stage(batch)
    daily = {f"{column}_per_day": per_day(batch, column) for column in PER_DAY}
    return {
        "name": batch.regime,
        "engine": batch.engine,
        "odds": {outcome: _ends(batch.share(outcome)) for outcome in batch.counts},
        "aim_takes": [
            {"form": r.form, "what": r.what, "met": r.met and _ends(r.met)}
            for r in requirements(batch, aim)
        ],
        "early_deaths": _ends(early_deaths(batch)),
        "deaths": deaths(batch),
        "misses_per_life": {cause: mean.estimate for cause, mean in causes.items()},
        "misses_per_life_by_stage": {stage: mean.estimate for stage, mean in stages.items()},
        **{name: mean.estimate for name, mean in daily.items()},
        "intervals": {
            "misses_per_life": {cause: _ends(mean) for cause, mean in causes.items()},
            "misses_per_life_by_stage": {stage: _ends(mean) for stage, mean in stages.items()},
            **{name: _ends(mean) for name, mean in daily.items()},
        },
    }


def see_that_names_differ(caretakers: Sequence[Caretaker]) -> None:
    """Refuse regimes that can't be told apart.

    Raises:
        ArgumentError: there is none, or two bear one name.
    """
    names = [caretaker.name for caretaker in caretakers]
    if not names or len(set(names)) < len(names):
        found = ", ".join(names) or "none"
        raise ArgumentError(f"regimes: {found}; expected one or more, each of a name of its own")


def aim_of(model: Model, aim: str | None) -> str:
    """The form aimed for: the one asked for or, by default, the model's.

    Raises:
        ArgumentError: it is no form of the outcome stage.
    """
    if aim is None:
        return model.aim
    forms = [f for f, form in model.forms.items() if form.stage == model.outcome_stage]
    if aim not in forms:
        raise ArgumentError(
            f"aim: {aim!r}, no form of the outcome stage {model.outcome_stage!r}; "
            f"{choice(aim, forms)}"
        )
    return aim
