"""What `print` writes of files and results: the same text as the terminal shows."""

from __future__ import annotations

from functools import singledispatch
from typing import Any

from petsim.advice.choosing.choice import Choice
from petsim.advice.expecting.against import HeldLog
from petsim.advice.expecting.day import ExpectedDay
from petsim.advice.expecting.expect import Expected
from petsim.advice.explaining.explanation import Explanation
from petsim.advice.limits.tolerance import Tolerances
from petsim.advice.one_life.explain_life import LifeExplained
from petsim.errors import legible
from petsim.evidence.doubt import Doubt
from petsim.evidence.fit import Fit
from petsim.life.log.entries import LoggedLife
from petsim.life.record import Life
from petsim.spec.model import Model
from petsim.spec.pet import Pet
from petsim.spec.regime import Regime
from petsim.spec.study import Study
from petsim.study.batch import Batch
from petsim.study.compare import Comparison
from petsim.study.evaluate import Evaluation, Evaluator
from petsim.study.hours import Hours
from petsim.study.plan import SweepPlan
from petsim.study.reasons import MissReasons
from petsim.study.results import Sweep
from petsim.study.trials import TrialPlan, Trials
from petsim.theory.verdicts import Outcome
from petsim.view import (
    answers,
    chosen,
    comparison,
    diary,
    doubted,
    evaluation,
    expected,
    explained,
    fitted,
    hours,
    life_explained,
    log_text,
    real_pets,
    reasons,
    show,
    sweep_text,
    tolerances,
    verification,
)


def printed(result: Any) -> str:
    """Return the text of a file or a result, without characters that act on a terminal."""
    return legible(_text(result), "\n")


@singledispatch
def _text(result: Any) -> str:
    raise NotImplementedError(type(result))


_text.register(Model, show.show)
_text.register(Regime, show.show)
_text.register(Pet, show.show)
_text.register(Study, show.show)
_text.register(Comparison, comparison.comparison)
_text.register(Fit, fitted.fit)
_text.register(Doubt, doubted.odds)
_text.register(LoggedLife, log_text.life)
_text.register(Trials, real_pets.trials)
_text.register(TrialPlan, real_pets.plan)
_text.register(SweepPlan, sweep_text.plan)
_text.register(Evaluation, evaluation.evaluation)
_text.register(Evaluator, evaluation.evaluator)
_text.register(MissReasons, reasons.reasons)
_text.register(Outcome, verification.check)


@_text.register
def _(explanation: Explanation) -> str:
    return answers.text(explained.answer(explanation))


@_text.register
def _(why: LifeExplained) -> str:
    return answers.text(life_explained.answer(why))


@_text.register
def _(choice: Choice) -> str:
    return answers.text(chosen.answer(choice))


@_text.register
def _(result: Expected) -> str:
    return answers.text(expected.by_day(result))


@_text.register
def _(result: ExpectedDay) -> str:
    return answers.text(expected.by_hour(result))


@_text.register
def _(result: HeldLog) -> str:
    return answers.text(expected.against(result))


@_text.register
def _(found: Tolerances) -> str:
    return answers.text(tolerances.answer(found))


@_text.register
def _(batch: Batch) -> str:
    return comparison.comparison(alone(batch))


@_text.register
def _(life: Life) -> str:
    return "\n".join(diary.wrapped(diary.diary(life), 80))


@_text.register
def _(swept: Sweep) -> str:
    with swept.snapshot():
        if swept.tells_which_matters:
            return sweep_text.sensitivity(swept)
        return sweep_text.sweep(swept) if swept.lives_by_cell else sweep_text.described(swept)


@_text.register
def _(times: Hours) -> str:
    lines = (f"  {label}: {cell}" for label, cell in hours.hours(times).items())
    return "\n".join((hours.title(times), *lines))


def alone(batch: Batch) -> Comparison:
    """Return a batch as a comparison of one regime."""
    return Comparison(batch.model, batch.aim, (batch,))
