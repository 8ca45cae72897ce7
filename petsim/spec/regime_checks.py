"""Reading a regime, with what must hold between its parts, and between it and a model."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from petsim.errors import MisfitError, describe, near_miss
from petsim.spec.document import Document, Fault, Steps, unknown_keys, unknown_name
from petsim.spec.model import Model
from petsim.spec.parts import Part, quietly, validate
from petsim.spec.quantities import Names, comparison, names
from petsim.spec.regime import Eyes, EyesWindow, Hands, Regime, When


def read_regime(document: Document, model: Model | None) -> Regime:
    """Return the regime of a document, checked against a model if there is one.

    Raises SpecError with everything that is wrong with it.
    """
    regime, faults = validate(Regime, document.data)
    faults += _faults_of_repeats(document)
    if model is not None:
        faults += faults_together(document, model)
    document.refuse(faults)
    assert regime is not None
    return regime.read_from(document)


def _faults_of_repeats(document: Document) -> Iterator[Fault]:
    """Yield the steps that are to be repeated until met and have no conditions to meet."""
    for index in range(len(document.sequence("routine"))):
        steps = ("routine", index)
        until_met = document.text(*steps, "repeat") == "until met"
        if until_met and document.at(*steps, "when") is None:
            unmeetable = "found 'until met' in a step without `when`"
            expected = "expected a number, or conditions to be met"
            yield Fault((*steps, "repeat"), unmeetable, expected)


def faults_together(document: Document, model: Model) -> Iterator[Fault]:
    """Yield what keeps a regime's document from being followed with a model."""
    yield from unknown_keys(document, ("checks", "by stage"), "stage", model.stages)
    for index in range(len(document.sequence("routine"))):
        yield from _faults_of_step(document, ("routine", index), model)
    yield from _unknown_open_keys(document, ("eyes",), Eyes, "need", model.needs)
    for index in range(len(document.sequence("eyes", "windows"))):
        steps = ("eyes", "windows", index)
        yield from _unknown_open_keys(document, steps, EyesWindow, "need", model.needs)
    yield from _unknown_open_keys(document, ("hands",), Hands, "action", model.care)


def _unknown_open_keys(
    document: Document, steps: Steps, part: type[Part], kind: str, known: Collection[str]
) -> Iterator[Fault]:
    """Yield the faults of keys that are neither fields of the part nor names of the model.

    Such a key is taken for a misspelt field only if it is near one, and near no name.
    """
    fields = [str(field.alias) for field in part.model_fields.values()]
    for key in document.mapping(*steps):
        if key not in fields and near_miss(key, known) is None and near_miss(key, fields):
            yield from unknown_name((*steps, key), "key", key, fields, of_key=True)
        elif key not in fields:
            yield from unknown_name((*steps, key), kind, key, known, of_key=True)


def _faults_of_step(document: Document, steps: Steps, model: Model) -> Iterator[Fault]:
    """Yield what keeps a step of the routine from being done to this pet."""
    action = document.text(*steps, "do")
    if action:
        yield from unknown_name((*steps, "do"), "action", action, model.care)
    when = (*steps, "when")
    yield from _unknown_open_keys(document, when, When, "need", model.needs)
    for need, text in document.mapping(*when).items():
        level = quietly(comparison, text) if need in model.needs else None
        full = model.needs[need].full if need in model.needs else 0
        if level is not None and level.number > full:
            expected = f"expected a level from 0 to {full}, which is full"
            yield Fault((*when, need), describe(text), expected)
        elif level is not None and not level.possible(full):
            expected = f"expected a comparison that can hold; full is {full}"
            yield Fault((*when, need), describe(text), expected)
    yield from _faults_of_place(document, when, model)


def _faults_of_place(document: Document, when: Steps, model: Model) -> Iterator[Fault]:
    """Yield the stages and forms of a condition that do not exist, or never together."""
    stage = _names(document, (*when, "stage"))
    form = _names(document, (*when, "form"))
    misnamed = [
        *_unknown_listed(document, (*when, "stage"), "stage", stage, model.stages),
        *_unknown_listed(document, (*when, "form"), "form", form, model.forms),
    ]
    yield from misnamed
    if misnamed:
        return
    admitted = [name for name in model.forms if form is None or form.holds(name)]
    if not any(stage is None or stage.holds(model.forms[name].stage) for name in admitted):
        steps = (*when, "stage" if form is None else "form")
        yield Fault(steps, "found a condition that no form meets", "expected one that can hold")


def _names(document: Document, steps: Steps) -> Names | None:
    """Return the names that a condition lists, None if there is none that can be read."""
    try:
        return names(document.at(*steps))
    except MisfitError:
        return None


def _unknown_listed(
    document: Document, steps: Steps, kind: str, condition: Names | None, known: Collection[str]
) -> Iterator[Fault]:
    """Yield the faults of names in a condition, each at its place if they are in a list."""
    is_list = isinstance(document.at(*steps), list)
    for index, name in enumerate(condition.names if condition else ()):
        yield from unknown_name((*steps, index) if is_list else steps, kind, name, known)
