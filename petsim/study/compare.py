"""Regimes side by side on the same luck: odds, what goes wrong, what it costs, and differences."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from functools import cached_property, partial
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from petsim._version import __version__
from petsim.errors import ArgumentError
from petsim.life.caretaker import Caretaker
from petsim.life.drawn import Drawn
from petsim.life.simulate import CaretakerSource, ModelSource, Span, choose_engine, load_together
from petsim.spec import defaults
from petsim.spec.model import Model
from petsim.study.aims import Aim, AimSource, read_aim
from petsim.study.batch import Batch, lived
from petsim.study.hours import Hours
from petsim.study.measures import Estimator, funnel, measures, what_it_takes
from petsim.study.paired import paired_table
from petsim.study.precision import EnoughLives, Precision
from petsim.study.reasons import ORDER, MissReasons
from petsim.study.stats import (
    Interval,
    as_data,
    mcnemar,
    paired_t,
    pairing_gain,
    pairing_gain_of_means,
)

if TYPE_CHECKING:
    import pandas as pd

MOST_TIMED = 6
"""At most as many regimes have their first lives lived again for the hours and the reasons of their
misses, which takes a second or two each."""

MOST_TRACED, LEAST_TRACED = 40, 8
"""Lives whose misses are asked for their reasons, in all, and under each regime at least."""


@dataclass(frozen=True, eq=False)
class Difference:
    """How much likelier the aim is under one regime than under another, on the same lives.

    Where the aim is a worth, it is how much more a life is worth on average. of, against: the names
    of the two regimes. ours, theirs: what each life is worth under `of` and under `against`.
    """

    of: str
    against: str
    aim: Aim
    ours: NDArray[np.float64]
    theirs: NDArray[np.float64]

    @cached_property
    def interval(self) -> Interval:
        """The difference of the shares, or of the worths, -1 to 1, with its 95 % interval.

        That of shares is Newcombe's by method 10, that of worths is `Aim.combined`.
        """
        return self.aim.difference(self.ours, self.theirs)

    @cached_property
    def p_value(self) -> float:
        """The two-sided p-value, 0..1, if there is no difference.

        For shares it is that of McNemar's exact test, for worths that of the paired t test.
        """
        if self.aim.is_share:
            return mcnemar(*self.table[1:3])
        return paired_t(self.ours - self.theirs)

    @cached_property
    def pairing_gain(self) -> float:
        """The factor by which the two regimes would need more lives without the same luck.

        It is nan where no life tells them apart.
        """
        if self.aim.is_share:
            return pairing_gain(*self.table)
        return pairing_gain_of_means(self.ours, self.theirs)

    @cached_property
    def table(self) -> tuple[int, int, int, int]:
        """The number of lives with the aim under both, `of` only, `against` only, neither."""
        return paired_table(self.ours > 0, self.theirs > 0)

    @property
    def shown(self) -> bool:
        """Whether the interval excludes zero."""
        return self.interval.low > 0 or self.interval.high < 0


@dataclass(frozen=True)
class Comparison(Drawn):
    """Batches of the same lives under several regimes, of which later ones differ from the first.

    aim: what is hoped for, whose odds or worth are compared. batches: one for each regime, in
    order.
    """

    model: Model
    aim: Aim
    batches: tuple[Batch, ...]

    @property
    def differences(self) -> tuple[Difference, ...]:
        """The paired difference of each later regime from the first, for the aim."""
        first, *others = self.batches
        base = self.aim.values(first)
        return tuple(
            Difference(other.regime, first.regime, self.aim, self.aim.values(other), base)
            for other in others
        )

    @property
    def by_odds(self) -> list[int]:
        """The places of the batches by their odds of the aim, or their worth, the best first."""
        odds = [self.aim.of(batch).estimate for batch in self.batches]
        return sorted(range(len(odds)), key=lambda place: -odds[place])

    @property
    def precision(self) -> Precision | None:
        """How precise the intervals came out, if a precision was wanted; otherwise None."""
        return self.batches[0].precision

    def miss_hours(self) -> tuple[Hours, ...]:
        """When care misses happen under the first few regimes, in the same first lives."""
        timed = [batch.miss_hours() for batch in self.batches[:MOST_TIMED]]
        return tuple(hours.first(min(map(len, timed))) for hours in timed)

    def miss_reasons(self) -> tuple[MissReasons, ...]:
        """Why care misses happened under the first few regimes, in the same first lives.

        Of more regimes these are fewer, from 25 under one to 8 under each of five or more.
        """
        batches = self.batches[:MOST_TIMED]
        lives = max(LEAST_TRACED, MOST_TRACED // len(batches))
        traced = [batch.miss_reasons(lives) for batch in batches]
        return tuple(reasons.first(min(map(len, traced))) for reasons in traced)

    def funnel(self) -> pd.DataFrame:
        """Return how many lives get how far towards the aim, condition by condition.

        Returns:
            A frame with a row for each (regime, step), both text, in order. `estimate`, `low` and
            `high` (float, shares 0..1 of all lives) are of the lives that took this step and all
            before it, with Wilson's 95 % interval. The last step is the aim, of several forms the
            worthiest. Conditions that the summary of a life does not tell are left out, as in
            `requirements`.
        """
        import pandas as pd

        index = ["regime", "step"]
        rows = [
            {"regime": batch.regime, "step": step.label} | step.of(batch.values)._asdict()
            for batch in self.batches
            for step in funnel(self.model, self.aim)
        ]
        return pd.DataFrame(rows, columns=[*index, *Interval._fields]).set_index(index)

    def __len__(self) -> int:
        return len(self.batches[0])

    def odds(self, *, simultaneous: bool = False) -> pd.DataFrame:
        """Return the odds: the share of each outcome under each regime, with its 95 % interval.

        Args:
            simultaneous: whether the intervals of a regime hold for all its outcomes at once
                (Clopper and Pearson's, by Bonferroni), rather than each for itself (Wilson's).

        Returns:
            A frame with a row for each (regime, outcome), both text, and the columns `lives`
            (int, those with the outcome), `estimate`, `low` and `high` (float, shares 0..1).
        """
        import pandas as pd

        odds = {b.regime: b.odds(simultaneous=simultaneous) for b in self.batches}
        return pd.concat(odds, names=["regime"])

    def requirements(self) -> pd.DataFrame:
        """Return what the aim takes, and the share of lives that had it under each regime.

        Of several forms it is the worthiest; of equal ones the model's aim, or else its first.
        Conditions on care misses by cause, and on those in life, are left out, as the summary of a
        life does not say how many there were when it grew.

        Returns:
            A frame with a row for each (regime, form, what), all text: with an empty `what`, the
            share of all lives that came to this form before the aim; with one such as "discipline
            at least 75", the share that had this of the lives that outgrew the form. Its columns
            are `estimate`, `low` and `high` (float, shares 0..1), with Wilson's 95 % interval; nan
            if no life outgrew the form.
        """
        import pandas as pd

        index = ["regime", "form", "what"]
        rows = [
            dict(zip(index, (batch.regime, *measure.path[1:]), strict=True))
            | measure.of(batch.values)._asdict()
            for batch in self.batches
            for measure in what_it_takes(self.model, self.aim)
        ]
        return pd.DataFrame(rows, columns=[*index, *Interval._fields]).set_index(index)

    def as_dict(self, *, why: bool = False) -> dict[str, Any]:
        """Return all of it as plain data, as `petsim compare --json` prints it.

        None stands for an end of an interval that a single life leaves unknown, and for the gain
        of pairing where no life tells the regimes apart.

        Args:
            why: whether to add why care misses happened, as with `--why`.
        """
        first = self.batches[0]
        reasons = {"miss_reasons": [*map(_reasons_dict, self.miss_reasons())]} if why else {}
        return {
            "petsim": __version__,
            "model": self.model.id,
            "seed": first.seed,
            "lives": len(self),
            "until": str(first.span),
            "precision": None if self.precision is None else asdict(self.precision),
            "aim": self.aim.text,
            "regimes": [_regime_dict(batch, self.aim) for batch in self.batches],
            "differences": [
                {
                    "of": d.of,
                    "against": d.against,
                    "aim": d.aim.text,
                    **_ends(d.interval),
                    **as_data({"p_value": d.p_value, "pairing_gain": d.pairing_gain}),
                }
                for d in self.differences
            ],
            **reasons,
        }

    def __repr__(self) -> str:
        names = ", ".join(batch.regime for batch in self.batches)
        first = self.batches[0]
        return (
            f"<comparison of {names}: {len(self)} lives each of {self.model.id}, "
            f"seed {first.seed}, followed to {first.span}>"
        )


def compare(
    model: ModelSource,
    regimes: Sequence[CaretakerSource],
    *,
    lives: int | None = None,
    precision: float | None = None,
    seed: int = 0,
    until: str | None = None,
    days: float | None = None,
    aim: AimSource | None = None,
    engine: str = "auto",
    workers: int | None = None,
    check_limit: float = defaults.CHECK_LIMIT,
    progress: bool = False,
) -> Comparison:
    """Simulate the same lives under several regimes.

    Args:
        model, seed, until, days, engine, workers, check_limit, progress: as for `batch`.
        lives: under each regime; by default 5000, or 1000 if the reference engine has to live some.
        precision: simulate only as many as it takes, at most `lives` (by default 100,000, or
            10,000), for the interval of each difference, or of a single regime's odds of the aim,
            to be this narrow: its half-width, such as 0.01 for one percentage point.
        regimes: one or more, each as for `batch`; later ones are compared with the first.
        aim: the form to compare the odds of; several, of which each counts, such as
            "beacon,lantern"; or what each is worth, such as {"beacon": 1, "lantern": 0.5}, to
            compare the expected worth. By default the model's.

    Raises:
        SpecError, PolicyError, ArgumentError: as for `batch`; the aim is none of the outcome
            stage; there is no regime, or two bear one name.
    """
    span, (pet, caretakers) = Span(until, days), load_together(model, regimes)
    asked = read_aim(pet, aim)
    ensure_names_differ(caretakers)
    engines = [choose_engine(pet, caretaker, span, engine) for caretaker in caretakers]
    enough = None if precision is None else EnoughLives(precision, partial(_goal, pet, asked))
    if lives is None:
        by_engine = defaults.LIVES if precision is None else defaults.MOST_LIVES
        lives = min(by_engine[engine.name] for engine in engines)
    batches = lived(
        *(pet, engines, span, lives, enough), seed=seed, workers=workers,
        check_limit=check_limit, progress=progress,
    )  # fmt: skip
    return Comparison(pet, asked, batches)


def _goal(model: Model, aim: Aim, batches: tuple[Batch, ...]) -> list[Interval]:
    """The intervals that are to be narrow: of the differences or, without any, of the odds."""
    differences = Comparison(model, aim, batches).differences
    return [d.interval for d in differences] or [aim.of(batches[0])]


def _ends(interval: Interval) -> dict[str, float | None]:
    return as_data(interval._asdict())


def _regime_dict(batch: Batch, aim: Aim) -> dict[str, Any]:
    """The figures of a regime: shares, then means, then the intervals of these."""
    shares: dict[str, Any] = {"odds": {}, "aim_takes": _what_it_takes_dicts(batch, aim)}
    means: dict[str, Any] = {}
    intervals: dict[str, Any] = {}
    for measure in measures(batch.model, aim):
        if not measure.in_data:
            continue
        interval = measure.of(batch.values)
        if measure.estimator is Estimator.MEAN:
            _put(means, measure.path, interval.estimate)
            _put(intervals, measure.path, _ends(interval))
        elif measure.estimator is Estimator.COUNT:
            _put(shares, measure.path, int(measure.values(batch.values).sum()))
        elif interval.estimate or not measure.rare:
            _put(shares, measure.path, _ends(interval))
    about = {"name": batch.regime, "engine": batch.engine}
    return {**about, **shares, **means, "intervals": intervals}


def _reasons_dict(reasons: MissReasons) -> dict[str, Any]:
    """Why the misses of some lives under a regime happened: by reason, and by cause and reason."""
    return {
        "regime": reasons.regime,
        "lives": len(reasons),
        "misses_per_life": {str(reason): _ends(reasons.mean(reason)) for reason in ORDER},
        "misses_per_life_by_cause": {
            cause: {str(reason): _ends(reasons.mean(reason, cause)) for reason in ORDER}
            for cause in reasons.causes
        },
    }


def _put(data: dict[str, Any], path: tuple[str, ...], value: Any) -> None:
    for key in path[:-1]:
        data = data.setdefault(key, {})
    data[path[-1]] = value


def _what_it_takes_dicts(batch: Batch, aim: Aim) -> list[dict[str, Any]]:
    shares = []
    for measure in what_it_takes(batch.model, aim):
        _, form, what = measure.path
        share = measure.of(batch.values)
        met = None if math.isnan(share.estimate) else _ends(share)
        shares.append({"form": form, "what": what, "met": met})
    return shares


def ensure_names_differ(caretakers: Sequence[Caretaker]) -> None:
    """Refuse regimes that can't be told apart.

    Raises:
        ArgumentError: there is none, or two bear one name.
    """
    names = [caretaker.name for caretaker in caretakers]
    if not names or len(set(names)) < len(names):
        listed = ", ".join(names) or "none"
        raise ArgumentError(f"regimes: {listed}; expected one or more, each of a name of its own")
