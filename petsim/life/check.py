"""Checking files before they are used: models, regimes and Python policies, all at once."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from itertools import chain
from typing import NamedTuple

from petsim.errors import PolicyError, SpecError
from petsim.life.caretaker import Caretaker, load_caretaker
from petsim.life.kinds import ACTION_KINDS
from petsim.life.log.reader import Log
from petsim.life.record import Life
from petsim.life.remarks import never_checked, remarks, remarks_with_a_model
from petsim.life.simulate import CaretakerSource, ModelSource, Span, choose_engine, load_together
from petsim.life.watch import limit_of, limited
from petsim.spec import defaults
from petsim.spec.library import (
    kind,
    load_model,
    load_pet,
    load_regime,
    model_named_in,
    model_of,
)
from petsim.spec.model import Model


class Finding(NamedTuple):
    """What came of checking one file.

    kind: "model", "regime", "pet", "policy", "study", "sweep" or "log"; empty if that could not be
    told.
    models: the ids of the models that anything but a model was checked against.
    problems: what is wrong, one line each; none if all is well.
    notes: what is allowed but may not be meant, one line each. log: what was read of a log.
    """

    source: str
    kind: str
    models: tuple[str, ...]
    problems: tuple[str, ...]
    notes: tuple[str, ...] = ()
    log: Log | None = None


def check(sources: Sequence[str], model: str | None = None) -> list[Finding]:
    """Check names or paths of models, regimes and pets, and policies given as `FILE.py:CLASS`.

    Regimes and policies are checked against every model among them, or by themselves if none of
    these can be used; where there is no model among them, against the one that `model` names, else
    the one that they name themselves, else the default. A pet is checked against the one it names.
    """
    kinds = {source: kind_of(source) for source in sources}
    given = [source for source, kind_ in kinds.items() if kind_ == "model"]
    pets_of = {
        source: given or [model or _model_named_by(source) or defaults.MODEL]
        for source, kind_ in kinds.items()
        if kind_ in _ATTEMPTS
    }
    pets = dict.fromkeys([*given, *chain(*pets_of.values())])
    faults = {pet: _problems(load_model, pet) for pet in pets}
    findings = []
    for source, kind_ in kinds.items():
        if kind_ == "pet":
            findings.append(_check_pet(source))
            continue
        models = [load_model(pet) for pet in pets_of.get(source, ()) if not faults[pet]]
        if kind_ in _ATTEMPTS:
            ids = tuple(pet.id for pet in models)
            problems = _against(models, _ATTEMPTS[kind_], source)
        else:
            ids = ()
            problems = faults[source] if kind_ == "model" else _problems(kind, source)
        notes = _notes(models, source) if kind_ == "regime" and not problems else ()
        findings.append(Finding(source, kind_, ids, problems, notes))
    others = [Finding(pet, "model", (), faults[pet]) for pet in pets if pet not in kinds]
    return findings + [finding for finding in others if finding.problems]


def _check_pet(source: str) -> Finding:
    try:
        model = model_of(load_pet(source))
    except SpecError as error:
        return Finding(source, "pet", (), error.lines)
    return Finding(source, "pet", (model.id,), ())


def _model_named_by(source: str) -> str | None:
    """Return the model that a regime, or that of a policy, names; None if that can't be told."""
    try:
        return model_named_in(load_caretaker(source, None).regime)
    except SpecError:
        return None


def check_policy(
    policy: CaretakerSource,
    model: ModelSource = defaults.MODEL,
    check_limit: float = defaults.CHECK_LIMIT,
) -> None:
    """Try a Python policy on a few lives and say what is wrong with it, as early as can be.

    The same lives are lived twice, in another order the second time: a policy that draws chance of
    its own, or remembers across lives, then acts differently.

    Args:
        policy: a policy class or `FILE.py:CLASS`.
        model, check_limit: the pet to try it on, and the time for a check, as for `simulate`.

    Raises:
        SpecError: it can't be loaded. PolicyError: it did something a caretaker can't, never acts,
            or acts differently in the same life. ArgumentError: as for `simulate`.
    """
    with limited(limit_of(check_limit)):
        _try_out(*load_together(model, [policy]))


def _try_out(pet: Model, caretakers: Sequence[Caretaker]) -> None:
    [caretaker] = caretakers
    trial = choose_engine(pet, caretaker, Span(days=3))
    first = {life: trial.live(0, life, traced=True) for life in (0, 1)}
    for life in (1, 0):
        ensure_alike(first[life], trial.live(0, life, traced=True))
    if not any(entry.event in ACTION_KINDS for life in first.values() for entry in life.entries):
        raise PolicyError(f"{caretaker.name}: never acted in 2 lives of 3 days; yield actions")


def ensure_alike(life: Life, again: Life) -> None:
    """Refuse a Python policy under which one life came out otherwise when it was lived again.

    Raises:
        PolicyError: the two logs differ.
    """
    if life.entries != again.entries:
        raise PolicyError(
            f"{life.caretaker.name}: life {life.number} lived twice differs: it draws chance of "
            "its own, or remembers across lives; keep memory in self and take chance from nowhere"
        )


def kind_of(source: str) -> str:
    """Return what a name or a path stands for; the empty text if that can't be told."""
    try:
        return kind(source)
    except SpecError:
        return ""


def _try_regime(source: str, model: Model | None) -> None:
    model_named_in(load_regime(source, model))


def _try_policy(source: str, model: Model | None) -> None:
    model_named_in(load_caretaker(source, None).regime)
    if model is not None:
        check_policy(source, model)


_ATTEMPTS: dict[str, Callable[[str, Model | None], object]] = {
    "regime": _try_regime,
    "policy": _try_policy,
}


def _against(
    models: Sequence[Model], attempt: Callable[[str, Model | None], object], source: str
) -> tuple[str, ...]:
    """All that is wrong with any of the models."""
    if not models:
        return _problems(attempt, source, None)
    return _of_each_model(models, lambda model: _problems(attempt, source, model))


def _of_each_model(
    models: Sequence[Model], remarks_on: Callable[[Model], Iterable[str]]
) -> tuple[str, ...]:
    """The remarks on all models, each once; one that is not on every model names those it is on."""
    ids_of: dict[str, list[str]] = {}
    for model in models:
        for remark in remarks_on(model):
            ids_of.setdefault(remark, []).append(model.id)
    return tuple(
        remark if len(ids) == len(models) else f"{remark} (with {', '.join(ids)})"
        for remark, ids in ids_of.items()
    )


def _notes(models: Sequence[Model], source: str) -> tuple[str, ...]:
    """What a regime does not do or never uses, though it may be meant to."""
    regime = load_regime(source)
    if never_checked(regime):
        return ("no check ever comes, as `every` is never and it does not listen",)
    with_models = _of_each_model(models, lambda model: remarks_with_a_model(regime, model))
    return (*remarks(regime), *with_models)


def _problems(attempt: Callable[..., object], *given: object) -> tuple[str, ...]:
    """What is wrong with what is attempted, one line each."""
    try:
        attempt(*given)
    except SpecError as error:
        return error.lines
    except PolicyError as error:
        return (str(error),)
    return ()
