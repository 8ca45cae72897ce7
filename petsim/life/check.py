"""Checking files before they are used: models, regimes and Python policies, all at once."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

from petsim.life.caretaker import load_caretaker, names_a_policy
from petsim.life.policy import PolicyError
from petsim.life.simulation import check_policy
from petsim.spec.library import kind, load_model, load_regime
from petsim.spec.model import Model
from petsim.spec.problems import SpecError


class Finding(NamedTuple):
    """What came of checking one file.

    kind: "model", "regime", "policy" or "study"; empty if that could not be told.
    models: the ids of the models that anything but a model was checked against.
    problems: what is wrong, one line each; none if all is well.
    """

    source: str
    kind: str
    models: tuple[str, ...]
    problems: tuple[str, ...]


def check(sources: Sequence[str], model: str) -> list[Finding]:
    """Check names or paths of models and regimes, and policies given as `FILE.py:CLASS`.

    Regimes and policies are checked against every model among them, or by themselves if none of
    these can be used; where there is no model among them, against the one that `model` names.
    """
    kinds = {source: _kind(source) for source in sources}
    pets = [source for source, found in kinds.items() if found == "model"]
    if not pets and any(kinds.values()):
        pets = [model]
    faults = {pet: _problems(load_model, pet) for pet in pets}
    models = [load_model(pet) for pet in pets if not faults[pet]]
    findings = []
    for source, found in kinds.items():
        if found in _ATTEMPTS:
            ids = tuple(pet.id for pet in models)
            problems = _against(models, _ATTEMPTS[found], source)
        else:
            ids = ()
            problems = faults[source] if found == "model" else _problems(kind, source)
        findings.append(Finding(source, found, ids, problems))
    others = [Finding(pet, "model", (), faults[pet]) for pet in pets if pet not in kinds]
    return findings + [finding for finding in others if finding.problems]


def _kind(source: str) -> str:
    if names_a_policy(source):
        return "policy"
    try:
        return kind(source)
    except SpecError:
        return ""


def _try_policy(source: str, model: Model | None) -> None:
    if model is None:
        load_caretaker(source, None)
    else:
        check_policy(source, model)


_ATTEMPTS: dict[str, Callable[[str, Model | None], object]] = {
    "regime": load_regime,
    "policy": _try_policy,
}


def _against(
    models: Sequence[Model], attempt: Callable[[str, Model | None], object], source: str
) -> tuple[str, ...]:
    """All that is wrong with any of the models; what is right with another says with which."""
    if not models:
        return _problems(attempt, source, None)
    found: dict[str, list[str]] = {}
    for model in models:
        for problem in _problems(attempt, source, model):
            found.setdefault(problem, []).append(model.id)
    return tuple(
        problem if len(ids) == len(models) else f"{problem} (with {', '.join(ids)})"
        for problem, ids in found.items()
    )


def _problems(attempt: Callable[..., object], *given: object) -> tuple[str, ...]:
    """What is wrong with what is attempted, one line each."""
    try:
        attempt(*given)
    except SpecError as error:
        return tuple(map(str, error.problems))
    except PolicyError as error:
        return (str(error),)
    return ()
