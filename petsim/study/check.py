"""Checking files of any kind, those of studies before they are used and those of sweeps after."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from petsim.errors import ArgumentError, SpecError, legible
from petsim.life.check import Finding, check, kind_of
from petsim.spec.names import sweep_path
from petsim.spec.study import Study, load_study
from petsim.study.design import design_of
from petsim.study.results import Sweep, open_sweep

_TORN = """
SELECT cell, first FROM chunks
LEFT JOIN (SELECT cell, first, SUM(lives) AS counted FROM counts GROUP BY cell, first)
USING (cell, first)
WHERE LENGTH(outcomes) != 2 * lives OR counted IS NOT lives ORDER BY cell, first
"""
"""The chunks whose outcomes are not as many as their lives."""


def check_files(sources: Sequence[str], model: str) -> list[Finding]:
    """Check files: models, regimes and policies first, then studies, then sweeps.

    Args:
        sources: names or paths, policies as `FILE.py:CLASS`.
        model: name or path of what regimes and policies are checked against where there is no
            model among the files.
    """
    kinds = {source: kind_of(source) for source in sources}
    lone = [source for source in sources if kinds[source] not in ("study", "sweep")]
    return [
        *check(lone, model),
        *(check_study(source) for source in kinds if kinds[source] == "study"),
        *(check_sweep(source) for source in kinds if kinds[source] == "sweep"),
    ]


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
        # of a file that it names and that there is not, nothing else says who names it
        of_others = {str(p) for p in error.problems if not (p.line or p.field)}
        problems = tuple(
            f"{legible(file)}: {line}" if line in of_others else line for line in error.lines
        )
    except ArgumentError as error:
        problems = (f"{legible(file)}: {error}",)
    return Finding(file, "study", models, problems)


def check_sweep(name: str) -> Finding:
    """Check the file of a sweep: whether it is one, and whole, and what is missing from it.

    The finding is of the kind "sweep" if the file is one, also a damaged one.
    """
    try:
        sweep = open_sweep(name)
    except ArgumentError as error:
        why = getattr(error.__cause__, "sqlite_errorname", "")
        return Finding(name, "sweep" if why == "SQLITE_CORRUPT" else "", (), (str(error),))
    except Exception:  # whatever reading a damaged design leads to
        damage = f"{sweep_path(name)}: is damaged: its design can't be read"
        return Finding(name, "sweep", (), (damage,))
    try:
        with sweep.snapshot():
            problems = tuple(f"{sweep.path}: is damaged: {damage}" for damage in _damages(sweep))
            notes = () if problems else tuple(_progress(sweep))
    except ArgumentError as error:
        problems, notes = (str(error),), ()
    return Finding(name, "sweep", (), problems, notes)


def _damages(sweep: Sweep) -> Iterator[str]:
    for (verdict,) in sweep.query("PRAGMA integrity_check(10)"):
        if verdict != "ok":
            yield verdict
    for cell, first in sweep.query(_TORN):
        yield f"cell {cell}, life {first}: outcomes and lives differ in number"


def _progress(sweep: Sweep) -> Iterator[str]:
    [(cells,)] = sweep.query("SELECT COUNT(*) FROM cells")
    [(lives,)] = sweep.query("SELECT COALESCE(SUM(lives), 0) FROM chunks")
    yield f"{lives} of {cells * sweep.design.lives} lives have been lived, in {cells} cells"
    for cell, reason in sweep.failed.items():
        yield f"cell {cell} failed: {reason}"
