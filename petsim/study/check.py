"""Checking study files before they are used."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from petsim.errors import ArgumentError, SpecError
from petsim.life.check import Finding
from petsim.spec.study import Study, load_study
from petsim.study.design import design_of


def asked_by(study: Study) -> dict[str, Any]:
    """The arguments of `sweep` that a study says."""
    return {
        "model": study.model,
        "regimes": study.regimes,
        "vary": study.vary,
        "lives": study.lives,
        "sample": study.sample and study.sample.method,
        "points": study.sample and study.sample.points,
        "seed": study.seed,
        "until": study.until,
        "days": study.days,
        "aim": study.aim,
        "keep": study.keep == "lives",
    }


def check_study(file: str) -> Finding:
    """Check a study file with the model and the regimes it names, in each cell that it makes."""
    path, models, problems = Path(file), tuple[str, ...](), tuple[str, ...]()
    try:
        study = load_study(path)
        models = (study.model,)
        design_of(**asked_by(study)).validate()
    except SpecError as error:
        problems = tuple(
            # of a file that it names and that there is not, nothing else says who names it
            str(problem) if problem.line or problem.field else f"{file}: {problem}"
            for problem in error.problems
        )
    except ArgumentError as error:
        problems = (f"{file}: {error}",)
    return Finding(file, "study", models, problems)
