"""petsim: a discrete-event simulator of a virtual-pet care regime.

Public names load when first used, so that importing petsim costs next to nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from petsim._version import __version__ as __version__
from petsim.life.drawn import Drawn
from petsim.spec.shown import Shown

if TYPE_CHECKING:
    from petsim.advice.choosing.choice import Choice as Choice
    from petsim.advice.choosing.choose import choose as choose
    from petsim.advice.expecting.against import HeldLog as HeldLog
    from petsim.advice.expecting.against import hold_log as hold_log
    from petsim.advice.expecting.day import ExpectedDay as ExpectedDay
    from petsim.advice.expecting.day import expect_day as expect_day
    from petsim.advice.expecting.expect import Expected as Expected
    from petsim.advice.expecting.expect import expect as expect
    from petsim.advice.explaining.explain import explain as explain
    from petsim.advice.explaining.explanation import Explanation as Explanation
    from petsim.advice.limits.tolerance import Tolerances as Tolerances
    from petsim.advice.limits.tolerance import tolerance as tolerance
    from petsim.advice.one_life.explain_life import LifeExplained as LifeExplained
    from petsim.advice.one_life.explain_life import explain_life as explain_life
    from petsim.errors import ArgumentError as ArgumentError
    from petsim.errors import PetsimError as PetsimError
    from petsim.errors import PolicyError as PolicyError
    from petsim.errors import Problem as Problem
    from petsim.errors import SpecError as SpecError
    from petsim.evidence.doubt import Doubt as Doubt
    from petsim.evidence.doubt import doubt as doubt
    from petsim.evidence.fit import Fit as Fit
    from petsim.evidence.fit import fit as fit
    from petsim.life.check import check_policy as check_policy
    from petsim.life.log.entries import LoggedLife as LoggedLife
    from petsim.life.log.reader import read_log as read_log
    from petsim.life.pet_left import PetLeft as PetLeft
    from petsim.life.pet_left import pet_of as pet_of
    from petsim.life.policy import Clock as Clock
    from petsim.life.policy import Observation as Observation
    from petsim.life.policy import Policy as Policy
    from petsim.life.record import Life as Life
    from petsim.life.record import columns as columns
    from petsim.life.simulate import simulate as simulate
    from petsim.life.simulate import state_at as state_at
    from petsim.life.state import State as State
    from petsim.life.state import read_state as read_state
    from petsim.life.stepping import Steps as Steps
    from petsim.spec.library import load_model as load_model
    from petsim.spec.library import load_pet as load_pet
    from petsim.spec.library import load_regime as load_regime
    from petsim.spec.model import Model as Model
    from petsim.spec.pet import Pet as Pet
    from petsim.spec.regime import Regime as Regime
    from petsim.study.batch import Batch as Batch
    from petsim.study.batch import batch as batch
    from petsim.study.compare import Comparison as Comparison
    from petsim.study.compare import compare as compare
    from petsim.study.evaluate import Evaluation as Evaluation
    from petsim.study.evaluate import Evaluator as Evaluator
    from petsim.study.results import Sweep as Sweep
    from petsim.study.results import open_sweep as open_sweep
    from petsim.study.sensitivity import sensitivity as sensitivity
    from petsim.study.sweep import sweep as sweep
    from petsim.study.trials import tell_apart as tell_apart
    from petsim.study.trials import trials as trials
    from petsim.view.plots import plot as plot

_HOME = {
    "ArgumentError": "petsim.errors",
    "Batch": "petsim.study.batch",
    "Choice": "petsim.advice.choosing.choice",
    "Clock": "petsim.life.policy",
    "Comparison": "petsim.study.compare",
    "Doubt": "petsim.evidence.doubt",
    "Evaluation": "petsim.study.evaluate",
    "Evaluator": "petsim.study.evaluate",
    "Explanation": "petsim.advice.explaining.explanation",
    "Expected": "petsim.advice.expecting.expect",
    "ExpectedDay": "petsim.advice.expecting.day",
    "Fit": "petsim.evidence.fit",
    "HeldLog": "petsim.advice.expecting.against",
    "Life": "petsim.life.record",
    "LifeExplained": "petsim.advice.one_life.explain_life",
    "LoggedLife": "petsim.life.log.entries",
    "Model": "petsim.spec.model",
    "Observation": "petsim.life.policy",
    "Pet": "petsim.spec.pet",
    "PetLeft": "petsim.life.pet_left",
    "PetsimError": "petsim.errors",
    "Policy": "petsim.life.policy",
    "PolicyError": "petsim.errors",
    "Problem": "petsim.errors",
    "Regime": "petsim.spec.regime",
    "SpecError": "petsim.errors",
    "State": "petsim.life.state",
    "Steps": "petsim.life.stepping",
    "Sweep": "petsim.study.results",
    "Tolerances": "petsim.advice.limits.tolerance",
    "batch": "petsim.study.batch",
    "check_policy": "petsim.life.check",
    "choose": "petsim.advice.choosing.choose",
    "columns": "petsim.life.record",
    "compare": "petsim.study.compare",
    "doubt": "petsim.evidence.doubt",
    "explain": "petsim.advice.explaining.explain",
    "explain_life": "petsim.advice.one_life.explain_life",
    "expect": "petsim.advice.expecting.expect",
    "expect_day": "petsim.advice.expecting.day",
    "fit": "petsim.evidence.fit",
    "hold_log": "petsim.advice.expecting.against",
    "load_model": "petsim.spec.library",
    "load_pet": "petsim.spec.library",
    "load_regime": "petsim.spec.library",
    "open_sweep": "petsim.study.results",
    "pet_of": "petsim.life.pet_left",
    "plot": "petsim.view.plots",
    "read_log": "petsim.life.log.reader",
    "read_state": "petsim.life.state",
    "sensitivity": "petsim.study.sensitivity",
    "simulate": "petsim.life.simulate",
    "state_at": "petsim.life.simulate",
    "sweep": "petsim.study.sweep",
    "tell_apart": "petsim.study.trials",
    "tolerance": "petsim.advice.limits.tolerance",
    "trials": "petsim.study.trials",
}


def _draw(result: Any, kind: str | None, *, ax: Any, **how: Any) -> Any:
    from petsim.view.plots import plot

    return plot(result, kind, ax=ax, **how)


def _print(shown: Any) -> str:
    from petsim.view.printed import printed

    return printed(shown)


def _show(shown: Any) -> str:
    from petsim.view.notebook import notebook

    return notebook(shown)


Drawn.draw = staticmethod(_draw)
Shown.as_text, Shown.as_html = staticmethod(_print), staticmethod(_show)


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'petsim' has no attribute {name!r}")
    value = getattr(import_module(_HOME[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted((*(name for name in globals() if name.startswith("__")), *_HOME))
