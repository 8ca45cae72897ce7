"""Reading a regime, with what must hold between its parts, and between it and a model."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import NamedTuple

from petsim.errors import MisfitError, describe, near_miss, quote
from petsim.spec.document import Document, Fault, Steps, unknown_name
from petsim.spec.eyes import Eyes, EyesWindow, Spells
from petsim.spec.model import Model
from petsim.spec.parts import Part, quietly, validate
from petsim.spec.quantities import Names, comparison, names
from petsim.spec.regime import SIGHTS, Hands, Regime, When

MOST_FOREIGN = 0.5
"""The part of a regime's names beyond which it was made for another model."""
MOST_JUDGED = 100
"""Names by which that is told."""


def read_regime(document: Document, model: Model | None) -> Regime:
    """Return the regime of a document, checked against a model if there is one.

    Raises SpecError with everything that is wrong with it.
    """
    regime, faults = validate(Regime, document.data)
    faults += [*_faults_of_repeats(document), *_faults_of_slips(document)]
    if model is not None:
        faults += faults_together(document, model)
    document.refuse(faults)
    assert regime is not None
    return regime.read_from(document)


def _faults_of_slips(document: Document) -> Iterator[Fault]:
    """Yield the actions that are said to slip into themselves."""
    for action in document.mapping("hands"):
        if action in document.mapping("hands", action, "into"):
            steps = ("hands", action, "into", action)
            yield Fault(steps, "found the action itself", "expected other actions", of_key=True)


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
    """Yield what keeps a regime's document from being followed with a model.

    Where most of its names are not the model's, that is said once, as it is the wrong model.
    """
    uses, known = [*_uses(document)], _names_of(model)
    foreign = _foreign(uses, known)
    if foreign:
        yield _of_another_model(foreign, model)
    for use in uses:
        if (use.kind, use.name) not in foreign:
            yield from _faults_of_use(use, known)
    for index in range(len(document.sequence("routine"))):
        when = ("routine", index, "when")
        yield from _faults_of_levels(document, when, model)
        yield from _faults_of_place(document, when, model)


class _Use(NamedTuple):
    """A name that a regime takes for one of the model's.

    steps: the way to it. kind: "stage", "form", "need", "signal" (a need among them) or "action".
    fields: the keys of its part with a meaning of their own, if it is a key.
    """

    steps: Steps
    kind: str
    name: str
    is_key: bool
    fields: Collection[str] = ()


def _uses(document: Document) -> Iterator[_Use]:
    """Yield each name of a stage, form, need, signal or action in a regime's document."""
    for stage in document.mapping("checks", "by stage"):
        yield _Use(("checks", "by stage", stage), "stage", stage, is_key=True)
    for index in range(len(document.sequence("routine"))):
        steps = ("routine", index)
        action = document.text(*steps, "do")
        if action:
            yield _Use((*steps, "do"), "action", action, is_key=False)
        yield from _open_keys(document, (*steps, "when"), When, "need")
        for place, signal in enumerate(document.sequence(*steps, "look")):
            if isinstance(signal, str) and signal not in SIGHTS:
                yield _Use((*steps, "look", place), "signal", signal, is_key=False)
        yield from _listed(document, (*steps, "when", "stage"), "stage")
        yield from _listed(document, (*steps, "when", "form"), "form")
    yield from _open_keys(document, ("eyes",), Eyes, "need")
    for index in range(len(document.sequence("eyes", "windows"))):
        yield from _open_keys(document, ("eyes", "windows", index), EyesWindow, "need")
    yield from _open_keys(document, ("eyes", "spells"), Spells, "need")
    yield from _open_keys(document, ("hands",), Hands, "action")
    for action in document.mapping("hands"):
        for other in document.mapping("hands", action, "into"):
            yield _Use(("hands", action, "into", other), "action", other, is_key=True)


def _open_keys(document: Document, steps: Steps, part: type[Part], kind: str) -> Iterator[_Use]:
    """Yield the keys that are no fields of the part, but names of the model."""
    fields = [str(field.alias) for field in part.model_fields.values()]
    for key in document.mapping(*steps):
        if key not in fields:
            yield _Use((*steps, key), kind, key, True, fields)


def _listed(document: Document, steps: Steps, kind: str) -> Iterator[_Use]:
    """Yield the names in a condition, each at its place if they are in a list."""
    condition = _names(document, steps)
    is_list = isinstance(document.at(*steps), list)
    for index, name in enumerate(condition.names if condition else ()):
        yield _Use((*steps, index) if is_list else steps, kind, name, is_key=False)


def _names_of(model: Model) -> dict[str, Collection[str]]:
    return {
        "stage": model.stages, "form": model.forms, "need": model.needs, "action": model.care,
        "signal": (*model.needs, *SIGHTS),
    }  # fmt: skip


def _is_misspelt(use: _Use, known: Mapping[str, Collection[str]]) -> bool:
    """Whether a key is taken for a misspelt field: it is near one, and near no name."""
    is_near_name = near_miss(use.name, known[use.kind]) is not None
    return not is_near_name and near_miss(use.name, use.fields) is not None


def _faults_of_use(use: _Use, known: Mapping[str, Collection[str]]) -> Iterator[Fault]:
    """Yield the fault of a name that the model does not have."""
    if use.name in known[use.kind]:
        return
    kind, names = use.kind, known[use.kind]
    if _is_misspelt(use, known):
        kind, names = "key", use.fields
    yield from unknown_name(use.steps, kind, use.name, names, of_key=use.is_key)


def _foreign(uses: Sequence[_Use], known: Mapping[str, Collection[str]]) -> list[tuple[str, str]]:
    """Return the kinds and names that are like none of the model's, if they are most of them."""
    used = [*dict.fromkeys((use.kind, use.name) for use in uses)][:MOST_JUDGED]
    fields = {(use.kind, use.name): use.fields for use in uses}
    foreign = [
        (kind, name)
        for kind, name in used
        if name not in known[kind] and near_miss(name, (*known[kind], *fields[kind, name])) is None
    ]
    return foreign if len(foreign) > max(1, MOST_FOREIGN * len(used)) else []


def _of_another_model(foreign: Sequence[tuple[str, str]], model: Model) -> Fault:
    """Return the fault of a regime that was made for another model."""
    examples = dict(reversed(foreign))
    named = " and ".join(f"the {kind} {quote(name)}" for kind, name in examples.items())
    return Fault(
        ("petsim",),
        f"most names that it uses are not those of {model.id}, such as {named}",
        "expected the model that it was made for, with --model (in Python, the model argument)",
    )


def _faults_of_levels(document: Document, when: Steps, model: Model) -> Iterator[Fault]:
    """Yield the comparisons of a step that no level can hold."""
    for need, text in document.mapping(*when).items():
        level = quietly(comparison, text) if need in model.needs else None
        full = model.needs[need].full if need in model.needs else 0
        if level is not None and level.number > full:
            expected = f"expected a level from 0 to {full}, which is full"
            yield Fault((*when, need), describe(text), expected)
        elif level is not None and not level.possible(full):
            expected = f"expected a comparison that can hold; full is {full}"
            yield Fault((*when, need), describe(text), expected)


def _faults_of_place(document: Document, when: Steps, model: Model) -> Iterator[Fault]:
    """Yield the stages and forms of a condition that all exist, but never together."""
    stage = _names(document, (*when, "stage"))
    form = _names(document, (*when, "form"))
    stages, forms = (condition.names if condition else () for condition in (stage, form))
    if not ({*stages} <= {*model.stages} and {*forms} <= {*model.forms}):
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
