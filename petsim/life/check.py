"""Checking files before they are used: models, regimes and Python policies, all at once."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import chain
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from petsim.errors import PolicyError, SpecError, listed
from petsim.life.caretaker import Caretaker, load_caretaker
from petsim.life.kinds import ACTION_KINDS, ILLNESS, WASTE
from petsim.life.record import Life
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
from petsim.spec.model import CareAction, Model
from petsim.spec.quantities import DAY, WEEK, Begins, Window, duration_text
from petsim.spec.regime import Checks, Regime

FORTNIGHT = 2 * WEEK


class Finding(NamedTuple):
    """What came of checking one file.

    kind: "model", "regime", "pet", "policy", "study" or "sweep"; empty if that could not be told.
    models: the ids of the models that anything but a model was checked against.
    problems: what is wrong, one line each; none if all is well.
    notes: what is allowed but may not be meant, one line each.
    """

    source: str
    kind: str
    models: tuple[str, ...]
    problems: tuple[str, ...]
    notes: tuple[str, ...] = ()


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
    if not any(entry.event in ACTION_KINDS for life in first.values() for entry in life.log):
        raise PolicyError(f"{caretaker.name}: never acted in 2 lives of 3 days; yield actions")


def ensure_alike(life: Life, again: Life) -> None:
    """Refuse a Python policy under which one life came out otherwise when it was lived again.

    Raises:
        PolicyError: the two logs differ.
    """
    if life.log != again.log:
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
    """When no check ever comes, and what none does anything about, though an action would."""
    regime = load_regime(source)
    done = {step.do for step in regime.routine if step.do}
    if done and not _is_ever_checked(regime):
        return ("no check ever comes, as `every` is never and it does not listen",)
    return _of_each_model(
        models, lambda model: (*_unvisited(model, regime.checks), *_undone(model, done))
    )


def _is_ever_checked(regime: Regime) -> bool:
    checks = regime.checks
    in_windows = (every for _, every in checks.interval_windows)
    intervals = (checks.every, *in_windows, *checks.by_stage.values())
    return any(intervals) or bool(checks.at) or regime.listens is not None


def _unvisited(model: Model, checks: Checks) -> Iterator[str]:
    """The windows that the grid passes by, as far as it is not left to chance."""
    if checks.first == "random":
        return
    taken = np.zeros(WEEK, dtype=bool)
    for during, every in dict.fromkeys(checks.interval_windows):
        within = seconds_within(during)
        if every is not None:
            checked = within & _seconds_checked(model.begins, checks.first, every)
            passed_by = f"no check comes during {during}, as"
            if not checked.any():
                interval = duration_text(every)
                yield f"{passed_by} every {interval} from `first` on never falls in it"
            elif not (checked & ~taken).any():
                yield f"{passed_by} an earlier window is in force then"
        taken |= within


def seconds_within(window: Window) -> NDArray[np.bool_]:
    """For each second of a week, from Monday 0:00 on, whether it lies in a clock window."""
    within = np.zeros(WEEK, dtype=bool)
    length = (window.end - window.start - 1) % DAY + 1
    for weekday in range(7) if window.weekdays is None else window.weekdays:
        opens = weekday * DAY + window.start
        within[np.arange(opens, opens + length) % WEEK] = True
    return within


def _seconds_checked(begins: Begins, first: int, every: int) -> NDArray[np.bool_]:
    """For each second of a week, whether a check at an interval comes at it within a fortnight."""
    checked = np.zeros(WEEK, dtype=bool)
    birth = begins.weekday * DAY + begins.clock
    checked[(birth + np.arange(first, first + FORTNIGHT, every)) % WEEK] = True
    return checked


def _undone(model: Model, done: set[str]) -> Iterator[str]:
    for trouble, fatal, helps in _troubles(model):
        if helps and not done & set(helps):
            end = ", which can be fatal" if fatal else ""
            yield f"nothing is done about {trouble}{end}; {listed(helps, ' or ')} would help"


def _troubles(model: Model) -> Iterator[tuple[str, bool, list[str]]]:
    """What befalls a pet in some form: its name, whether it can be fatal, and what helps."""
    forms = [form for form in model.forms.values() if not form.dormant]

    def that(helps: Callable[[CareAction], bool]) -> list[str]:
        return [action for action, effects in model.care.items() if helps(effects)]

    for need in model.needs:
        if any(need in form.drops for form in forms):
            fatal = any(form.fatal_after.get(need) is not None for form in forms)
            yield need, fatal, [a for a, effects in model.care.items() if need in effects.raises]
    if any(form.waste for form in forms):
        yield WASTE, False, that(lambda effects: effects.cleans)
    ills = [form.illness for form in forms if form.illness]
    if any(ill.base or ill.per_waste or ill.per_excess for ill in ills):
        fatal = any(ill.fatal_after is not None for ill in ills)
        yield ILLNESS, fatal, that(lambda effects: effects.doses)
    if any(form.sleeps and form.lights_grace is not None for form in forms):
        yield "lights in its sleep", False, that(lambda effects: effects.lights == "off")
    if model.discipline.step and any(form.misbehaviour for form in forms):
        yield "misbehaviour", False, that(lambda effects: effects.reprimands)


def _problems(attempt: Callable[..., object], *given: object) -> tuple[str, ...]:
    """What is wrong with what is attempted, one line each."""
    try:
        attempt(*given)
    except SpecError as error:
        return error.lines
    except PolicyError as error:
        return (str(error),)
    return ()
