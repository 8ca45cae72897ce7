"""A result as one page: its question, the answer, its sections, and how to repeat it."""

from __future__ import annotations

from petsim.advice.choosing.choice import Choice
from petsim.advice.expecting.expect import Expected
from petsim.advice.explaining.explanation import Explanation
from petsim.advice.limits.tolerance import Tolerances
from petsim.advice.one_life.explain_life import LifeExplained
from petsim.evidence.fit import Fit
from petsim.life.record import Life
from petsim.study.compare import Comparison
from petsim.study.results import Sweep
from petsim.view.report.answered import (
    of_choice,
    of_expected,
    of_explanation,
    of_life_explained,
    of_tolerances,
)
from petsim.view.report.comparisons import of_comparison
from petsim.view.report.fits import of_fit as of_fit
from petsim.view.report.lives import of_life
from petsim.view.report.page import page as page
from petsim.view.report.page import write as write
from petsim.view.report.parts import Report
from petsim.view.report.sweeps import of_sweep


def of(
    result: Comparison
    | Sweep
    | Life
    | Fit
    | Explanation
    | LifeExplained
    | Choice
    | Tolerances
    | Expected,
) -> Report:
    """Return the report of a result."""
    match result:
        case Expected():
            report = of_expected(result)
        case Choice():
            report = of_choice(result)
        case Explanation():
            report = of_explanation(result)
        case LifeExplained():
            report = of_life_explained(result)
        case Tolerances():
            report = of_tolerances(result)
        case Comparison():
            report = of_comparison(result)
        case Fit():
            report = of_fit(result)
        case Sweep():
            with result.snapshot():
                report = of_sweep(result)
        case _:
            report = of_life(result)
    return report
