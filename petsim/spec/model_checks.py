"""Reading a model, with what must hold between its parts: names, levels, and the way of growth."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from graphlib import CycleError, TopologicalSorter
from typing import Any, TypeGuard

from petsim.errors import choice, listed, quote
from petsim.spec.document import Data, Document, Fault, Steps, unknown_keys, unknown_name
from petsim.spec.model import Model
from petsim.spec.overlay import overlay
from petsim.spec.parts import quietly, validate
from petsim.spec.quantities import count, worth, yes_or_no

MOST_RATES = 50_000
"""Keys and values that the forms of a model may have, each with those of its stage."""


def read_model(document: Document) -> Model:
    """Return the model of a document; raise SpecError with everything that is wrong with it."""
    resolved = _resolved(document)
    model, faults = validate(Model, resolved)
    places = {fault.steps for fault in faults}
    faults = [fault for fault in faults if not _is_inherited(fault, document, places)]
    document.refuse([*faults, *_faults_between_parts(document, resolved)])
    assert model is not None
    return model.read_from(document)


def _resolved(document: Document) -> dict[str, Data]:
    """Return the data with each form's mapping laid over its stage's."""
    _refuse_too_many_rates(document)
    resolved = dict(document.data)
    if isinstance(resolved.get("forms"), dict):
        resolved["forms"] = {
            name: overlay(document.mapping("stages", str(form.get("stage"))), form)
            if isinstance(form, dict)
            else form
            for name, form in document.mapping("forms").items()
        }
    return resolved


def _refuse_too_many_rates(document: Document) -> None:
    """Refuse forms that are too much to read with all they have of their stages."""
    of_stage = {name: _size(stage) for name, stage in document.mapping("stages").items()}
    total = sum(
        _size(form) + of_stage.get(str(document.at("forms", name, "stage")), 0)
        for name, form in document.mapping("forms").items()
    )
    if total > MOST_RATES:
        found = f"found forms with {total:,} keys and values, those of their stages included"
        fault = Fault(("forms",), found, f"expected at most {MOST_RATES:,}", of_key=True)
        raise document.refusal(fault)


def _size(data: Data) -> int:
    """Return the number of keys and values of something, itself included."""
    if isinstance(data, dict):
        return 1 + len(data) + sum(map(_size, data.values()))
    return 1 + (sum(map(_size, data)) if isinstance(data, list) else 0)


def _is_inherited(fault: Fault, document: Document, places: Collection[Steps]) -> bool:
    """Whether a form's fault is its stage's, where there is a fault too."""
    in_form = fault.steps[:1] == ("forms",) and len(fault.steps) > 2
    if not in_form or document.at(*fault.steps) is not None:
        return False
    stage = document.text("forms", fault.steps[1], "stage")
    return stage is not None and ("stages", stage, *fault.steps[2:]) in places


def _faults_between_parts(document: Document, resolved: Mapping[str, Data]) -> Iterator[Fault]:
    """Yield what is wrong between the parts of a model, whatever else is wrong inside them."""
    yield from _faults_of_needs(document)
    yield from _faults_of_rates(document)
    yield from _faults_of_outcome(document)
    yield from _faults_of_worth(document)
    yield from _faults_of_forms(document)
    yield from _faults_of_growth(document, resolved)


def _faults_of_needs(document: Document) -> Iterator[Fault]:
    """Yield needs that do not exist, levels beyond full, and deaths that have a form's name."""
    needs, forms = document.mapping("needs"), document.mapping("forms")
    if not needs:
        return
    raises = [("care", action, "raises") for action in document.mapping("care")]
    for steps in [("discipline", "unfair costs"), *raises]:
        yield from unknown_keys(document, steps, "need", needs)
        for need in document.mapping(*steps):
            full = quietly(count, document.at("needs", need, "full"))
            levels = quietly(count, document.at(*steps, need))
            if full is not None and levels is not None and levels > full:
                expected = f"expected at most {full}, which is full"
                yield Fault((*steps, need), f"found '{levels}'", expected)
    for need in needs:
        death = document.text("needs", need, "death")
        if death is not None and death in forms:
            a_form = f"found {quote(death)}, the name of a form"
            yield Fault(("needs", need, "death"), a_form, "expected another name")


def _faults_of_rates(document: Document) -> Iterator[Fault]:
    """Yield the rates of needs that do not exist or have no death to end in."""
    needs = document.mapping("needs")
    if not needs:
        return
    for block in ("stages", "forms"):
        for name in document.mapping(block):
            for key in ("drops", "grace", "again after", "fatal after"):
                yield from unknown_keys(document, (block, name, key), "need", needs)
            for need, time in document.mapping(block, name, "fatal after").items():
                mortal = document.at("needs", need, "death") is not None
                if need in needs and not mortal and time not in ("never", "none"):
                    yield Fault(
                        (block, name, "fatal after", need),
                        "found a time for a need without a death",
                        f"expected `death:` under needs.{need}, to name what it ends in",
                        of_key=True,
                    )


def _faults_of_outcome(document: Document) -> Iterator[Fault]:
    """Yield an outcome stage or an aim that does not exist, and an aim of another stage."""
    stages, forms = document.mapping("stages"), document.mapping("forms")
    outcome, aim = document.text("outcome stage"), document.text("aim")
    if outcome is not None and stages:
        yield from unknown_name(("outcome stage",), "stage", outcome, stages)
    if aim is not None and forms:
        yield from unknown_name(("aim",), "form", aim, forms)
    if outcome in stages and aim in forms and document.at("forms", aim, "stage") != outcome:
        rivals = [name for name in forms if document.at("forms", name, "stage") == outcome]
        elsewhere = f"found {quote(aim)}, no form of the outcome stage {quote(outcome)}"
        yield Fault(("aim",), elsewhere, choice("", rivals))


def _faults_of_worth(document: Document) -> Iterator[Fault]:
    """Yield what is worth something and is no outcome, and an aim that is not the worthiest."""
    forms, aim = document.mapping("forms"), document.text("aim")
    outcome, given = document.text("outcome stage"), document.mapping("worth")
    outcomes = [name for name in forms if document.at("forms", name, "stage") == outcome]
    yield from unknown_keys(document, ("worth",), "form", forms)
    for form in given:
        if outcomes and form in forms and form not in outcomes:
            elsewhere = f"found {quote(form)}, no form of the outcome stage {quote(outcome or '')}"
            yield Fault(("worth", form), elsewhere, choice("", outcomes), of_key=True)
    read = {form: quietly(worth, document.at("worth", form)) for form in given}
    worths = {form: number for form, number in read.items() if number is not None}
    if not worths or len(worths) < len(given):
        return
    most = max(worths.values())
    if not most:
        yield Fault(("worth",), "found 0 for all", "expected a form that is worth more")
    elif aim in outcomes and worths.get(aim, 0.0) < most:
        worthier = [form for form in worths if worths[form] == most]
        less = f"found {quote(aim)}, which is worth less than {quote(worthier[0])}"
        yield Fault(("aim",), less, choice("", worthier))


def _faults_of_forms(document: Document) -> Iterator[Fault]:
    """Yield the stages, forms and causes that forms name and that do not exist."""
    stages, forms = document.mapping("stages"), document.mapping("forms")
    causes = dict.fromkeys((*document.mapping("needs"), "waste", "illness", "lights", "all"))
    for form in forms:
        stage = document.text("forms", form, "stage")
        if stage is not None and stages:
            yield from unknown_name(("forms", form, "stage"), "stage", stage, stages)
        for steps, successor in _successors(document, form):
            yield from unknown_name(steps, "form", successor, forms, of_key=len(steps) > 3)
            for key in ("misses in form", "misses in life"):
                yield from unknown_keys(document, (*steps, key), "cause", causes)


def _successors(document: Document, form: str) -> Iterator[tuple[Steps, str]]:
    """Yield the forms that a form may grow into, with the steps to each name."""
    steps = ("forms", form, "grows into")
    only = document.text(*steps)
    if only:
        yield steps, only
    for index, rule in enumerate(document.sequence(*steps)):
        if _is_rule(rule):
            name = next(iter(rule))
            yield (*steps, index, name), name


def _is_rule(data: Data) -> TypeGuard[dict[str, Data]]:
    """Whether data has the shape of a rule of growth, a mapping of one form."""
    return isinstance(data, dict) and len(data) == 1


def _faults_of_growth(document: Document, resolved: Mapping[str, Data]) -> Iterator[Fault]:
    """Yield what keeps the forms from being a graph with one root from which all are reached."""
    forms = document.mapping("forms")
    graph = {form: [name for _, name in _successors(document, form)] for form in forms}
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        circle = error.args[1][::-1]
        way = f"found a circle of growth, {listed(circle, ' → ')}"
        yield Fault(("forms", circle[0], "grows into"), way, "expected growth without return")
        return
    grown = {name for names in graph.values() for name in names}
    legible = all(
        _is_rule(rule) for form in forms for rule in document.sequence("forms", form, "grows into")
    )
    if not forms or not legible or not grown <= forms.keys():
        return
    dormant = {form for form in forms if _is_dormant(resolved, form)}
    yield from _faults_of_roots([form for form in forms if form not in grown], dormant)
    for form in forms:
        if form in grown & dormant:
            intruder = "found a dormant form that others grow into"
            yield Fault(
                ("forms", form), intruder, "expected only the first form dormant", of_key=True
            )


def _faults_of_roots(roots: list[str], dormant: Collection[str]) -> Iterator[Fault]:
    """Yield what is wrong with the forms that no form grows into, if there are several.

    If just one of them is dormant, life begins with it, and the others are out of reach.
    """
    if len(roots) < 2:
        return
    sleepers = [root for root in roots if root in dormant]
    if len(sleepers) != 1:
        several = f"found {len(roots)} forms that no form grows into"
        expected = "expected one, as which life begins"
        yield Fault(("forms",), f"{several}: {listed([*map(quote, roots)])}", expected, of_key=True)
        return
    for root in roots:
        if root not in sleepers:
            expected = f"expected a way to it from {quote(sleepers[0])}, where life begins"
            yield Fault(
                ("forms", root), "found a form that no form grows into", expected, of_key=True
            )


def _is_dormant(resolved: Mapping[str, Any], form: str) -> bool:
    rates = resolved["forms"][form]
    return isinstance(rates, dict) and quietly(yes_or_no, rates.get("dormant")) is True
