"""Checking files of any kind, those of studies before they are used and those of sweeps after."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from petsim.errors import ArgumentError, PolicyError, SpecError, legible
from petsim.life.check import Finding, check, kind_of
from petsim.life.log.reader import is_log, read
from petsim.spec import defaults
from petsim.spec.library import model_agreed, model_named_in
from petsim.spec.names import names_a_policy
from petsim.spec.study import Study, load_study
from petsim.study.design import design_of, stored_cells
from petsim.study.processes import call_apart
from petsim.study.results import Sweep, open_sweep
from petsim.study.store import DamageError, in_words


def check_files(
    sources: Sequence[str], model: str | None, check_limit: float = defaults.CHECK_LIMIT
) -> list[Finding]:
    """Check files: models, regimes and policies first, then studies, then sweeps, then logs.

    Args:
        sources: names or paths, policies as `FILE.py:CLASS`.
        model: name or path of what regimes and policies are checked against where there is no
            model among the files; None for the one that each names, or the default.
        check_limit: the seconds that a policy may take for a check, or to be loaded.
    """
    kinds = {source: "log" if is_log(source) else kind_of(source) for source in sources}
    apart = ("policy", "study", "sweep", "log")
    lone = [source for source in sources if kinds[source] not in apart]
    pets = [source for source in sources if kinds[source] == "model"]
    return [
        *check(lone, model),
        *(
            _check_policy(source, pets, model, check_limit)
            for source in kinds
            if kinds[source] == "policy"
        ),
        *(check_study(source) for source in kinds if kinds[source] == "study"),
        *(check_sweep(source) for source in kinds if kinds[source] == "sweep"),
        *(check_log(source) for source in kinds if kinds[source] == "log"),
    ]


def _check_policy(
    source: str, pets: Sequence[str], model: str | None, check_limit: float
) -> Finding:
    """Check a policy in a process of its own, which it may end."""
    try:
        *_, finding = call_apart(check_limit, _check_last, [*pets, source], model)
    except PolicyError as error:
        return Finding(source, "policy", (), (str(error),))
    return finding


def _check_last(sources: Sequence[str], model: str | None) -> list[Finding]:
    return [each for each in check(sources, model) if each.source == sources[-1]]


def asked_by(study: Study) -> dict[str, Any]:
    """Return the arguments of `sweep` that a study says.

    The model that it leaves out is the one its regimes name; policies are not asked, as to load
    them runs their code.
    """
    regimes = (regime for regime in study.regimes if not names_a_policy(regime))
    return {
        "model": study.model
        or model_agreed({regime: model_named_in(regime) for regime in regimes})
        or defaults.MODEL,
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
        asked = asked_by(study)
        models = (asked["model"],)
        design_of(**asked).validate()
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
        with sweep.snapshot() as store:
            store.verify(stored_cells(sweep.design))
            damages = [in_words([chunk]) for chunk in sorted(store.damaged, key=repr)]
            notes = tuple(_progress(sweep))
    except DamageError as error:
        return Finding(name, "sweep", (), (str(error),))
    except ArgumentError as error:
        return Finding(name, "", (), (str(error),))
    if damages:
        problems = tuple(f"{sweep.path}: is damaged: {damage}" for damage in damages)
        return Finding(name, "sweep", (), problems)
    return Finding(name, "sweep", (), (), notes)


def check_log(file: str) -> Finding:
    """Check the file of a log, and say what is in it."""
    try:
        return Finding(file, "log", (), (), log=read(file))
    except SpecError as error:
        return Finding(file, "log", (), error.lines)


def _progress(sweep: Sweep) -> Iterator[str]:
    cells, lives = sweep.design.number_of_cells, sum(sweep.lives_by_cell.values())
    yield f"{lives} of {cells * sweep.design.lives} lives have been lived, in {cells} cells"
    for cell, reason in sweep.failed.items():
        yield f"cell {cell} failed: {reason}"
