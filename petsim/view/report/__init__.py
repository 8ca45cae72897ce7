"""A result as one page: its question, the answer, its sections, and how to repeat it."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from petsim.study.compare import Comparison
from petsim.view.beside import Helper
from petsim.view.report.page import page as page
from petsim.view.report.page import write as write
from petsim.view.report.parts import Report

if TYPE_CHECKING:
    from petsim.advice.choosing.choice import Choice
    from petsim.advice.expecting.expect import Expected
    from petsim.advice.explaining.explanation import Explanation
    from petsim.advice.limits.tolerance import Tolerances
    from petsim.advice.one_life.explain_life import LifeExplained
    from petsim.evidence.fit import Fit
    from petsim.life.record import Life
    from petsim.study.results import Sweep

_HOME = {
    "Choice": ("answered", "of_choice"),
    "Comparison": ("comparisons", "of_comparison"),
    "Expected": ("answered", "of_expected"),
    "Explanation": ("answered", "of_explanation"),
    "Fit": ("fits", "of_fit"),
    "Life": ("lives", "of_life"),
    "LifeExplained": ("answered", "of_life_explained"),
    "Sweep": ("sweeps", "of_sweep"),
    "Tolerances": ("answered", "of_tolerances"),
}
"""The module of each result's page and the function in it, so that a page loads no other."""


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
    beside: Helper | None = None,
) -> Report:
    """Return the report of a result; a helper, if there is one, draws pictures of a comparison."""
    module, function = _HOME[type(result).__name__]
    report_of: Any = getattr(import_module(f"petsim.view.report.{module}"), function)
    helper = (beside,) if isinstance(result, Comparison) else ()
    report: Report = report_of(result, *helper)
    return report
