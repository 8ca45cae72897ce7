"""Reading a pet as it is now, with what must hold between it and its model."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from petsim.errors import describe
from petsim.spec.clocks import begins
from petsim.spec.document import Document, Fault, Steps, unknown_keys, unknown_name
from petsim.spec.growth import reachable
from petsim.spec.laws import LEAST_SURVIVAL, Distribution
from petsim.spec.model import Form, Model
from petsim.spec.parts import OF_ALL, quietly, validate
from petsim.spec.pet import Pet, seconds_asleep, waits
from petsim.spec.quantities import duration_text
from petsim.spec.ranges import Range, count_range, span_range

NOT_DORMANT = (
    *("waste", "waste for", "ill", "ill for", "doses", "lights", "empty for", "since last"),
)
"""What a dormant form takes none of."""


def read_pet(document: Document, model: Model | None) -> Pet:
    """Return the pet of a document, checked against its model if there is one.

    What is said must be possible for every value that its ranges allow. How long something has
    lasted may be said unless the form lacks it altogether: has no `waste` or `illness` block, no
    `drops` of the need, or names the need under neither `grace` nor `fatal after`; `never` is no
    such lack. A pile or an illness may be there all the same, brought along from an earlier form.

    Raises:
        SpecError: with everything that is wrong with it.
    """
    pet, faults = validate(Pet, document.data)
    if model is not None:
        faults += faults_with_model(document, model)
    document.refuse(faults)
    assert pet is not None
    return pet.read_from(document)


def faults_with_model(document: Document, model: Model) -> Iterator[Fault]:
    """Yield what a pet of the model cannot be, whatever else is wrong inside the document."""
    yield from _faults_of_names(document, model)
    yield from _faults_of_levels(document, model)
    name = document.text("form")
    if name is None:
        return
    if name not in model.forms:
        yield from unknown_name(("form",), "form", name, model.forms)
        return
    form = model.forms[name]
    yield from _fault_of_age(document, ("for",), form.lasts, name)
    if form.dormant:
        yield from _faults_of_dormant(document)
    else:
        yield from _faults_of_waits(document, model, name)
        yield from _faults_of_empty_needs(document, model, name)
        yield from _faults_of_waste(document, name, form)
        yield from _faults_of_illness(document, name, form)
        yield from _faults_of_lights(document, name, form)
    yield from _faults_of_causes(document, model, name)
    yield from _faults_of_fatal_misses(document, model)


def _span(document: Document, *steps: str) -> Range | None:
    """Return the time at a place, None if there is none that can be read."""
    return quietly(span_range, document.at(*steps))


def _fault(document: Document, steps: Steps, expected: str) -> Fault:
    """Return the fault of what is said at a place."""
    return Fault(steps, describe(document.at(*steps)), expected)


# Names and levels


def _faults_of_names(document: Document, model: Model) -> Iterator[Fault]:
    """Yield the needs, waits and causes that the model does not have."""
    for key in ("levels", "empty for"):
        yield from unknown_keys(document, (key,), "need", model.needs)
    known = (*model.needs, "waste", "misbehaviour")
    yield from unknown_keys(document, ("since last",), "wait", known)
    for key in ("misses in form", "misses in life"):
        yield from unknown_keys(document, (key,), "cause", model.causes)


def _faults_of_levels(document: Document, model: Model) -> Iterator[Fault]:
    """Yield the levels that are missing, or above full."""
    if not isinstance(document.at("levels"), dict):
        return
    for name, need in model.needs.items():
        steps = ("levels", name)
        if document.at(*steps) is None:
            expected = f"expected the level of {name}, a number from 0 to {need.full}"
            yield Fault(steps, "missing", expected)
        level = quietly(count_range, document.at(*steps))
        if level is not None and level.high > need.full:
            yield _fault(document, steps, f"expected at most {need.full}, which is full")


# Times


def _fault_of_age(
    document: Document, steps: tuple[str, ...], law: Distribution, what: str
) -> Iterator[Fault]:
    """Yield the fault of a time for which something that goes by a law can't have lasted.

    A wait is no older than the form, whatever is said of it, as growth began it anew.
    """
    ages = [age.high for age in (_span(document, *steps), _span(document, "for")) if age]
    if _span(document, *steps) is None or law.can_last(min(ages)):
        return
    _, longest = law.bounds()
    if longest is None:
        why = f"the chance that {what} lasts so long is below {LEAST_SURVIVAL:g}"
    else:
        why = f"{what} lasts at most {duration_text(longest)}"
    yield _fault(document, steps, f"expected less, as {why}")


def _faults_of_waits(document: Document, model: Model, name: str) -> Iterator[Fault]:
    """Yield the waits that the form does not have, or that can't have lasted for so long."""
    laws = waits(model, model.forms[name])
    lacking = {"waste": f"{name} leaves no waste", "misbehaviour": f"{name} does not misbehave"}
    for key in document.mapping("since last"):
        steps = ("since last", key)
        if key in laws:
            what = f"a drop of {key}" if key in model.needs else f"{key}"
            yield from _fault_of_age(document, steps, laws[key], f"the wait for {what}")
        elif key in model.needs or key in lacking:
            why = lacking.get(key, f"{key} does not drop in {name}")
            yield _fault(document, steps, f"expected none, as {why}")


def _fault_if_fatal(
    document: Document, steps: tuple[str, ...], fatal_after: int | None
) -> Iterator[Fault]:
    """Yield the fault of a time after which the pet would be dead."""
    span = _span(document, *steps)
    if span is not None and fatal_after is not None and span.high >= fatal_after:
        expected = f"expected less than {duration_text(fatal_after)}, which is fatal"
        yield _fault(document, steps, expected)


def _faults_of_empty_needs(document: Document, model: Model, name: str) -> Iterator[Fault]:
    """Yield the needs that can't have been at 0 for so long, or whose time at 0 is nothing."""
    form = model.forms[name]
    for need in document.mapping("empty for"):
        steps = ("empty for", need)
        if need in form.grace or need in form.fatal_after:
            yield from _fault_if_fatal(document, steps, form.fatal_after.get(need))
        elif need in model.needs:
            why = f"{name} has neither `grace` nor `fatal after` for {need}"
            yield _fault(document, steps, f"expected none, as {why}")


def _faults_of_waste(document: Document, name: str, form: Form) -> Iterator[Fault]:
    """Yield a time that waste has lain where the form has no waste."""
    if form.waste is None and document.at("waste for") is not None:
        yield _fault(document, ("waste for",), f"expected none, as {name} leaves no waste")


def _faults_of_illness(document: Document, name: str, form: Form) -> Iterator[Fault]:
    """Yield a time of illness that is fatal, or where the form names no illness."""
    if form.illness is not None:
        yield from _fault_if_fatal(document, ("ill for",), form.illness.fatal_after)
    elif document.at("ill for") is not None:
        yield _fault(document, ("ill for",), f"expected none, as {name} does not fall ill")


def _faults_of_lights(document: Document, name: str, form: Form) -> Iterator[Fault]:
    """Yield lights that are off over a pet that is awake."""
    now = quietly(begins, document.at("at"))
    if now is None or document.text("lights") != "off":
        return
    if seconds_asleep(form.sleeps, now.clock) is None:
        yield _fault(document, ("lights",), f"expected on, as {name} is awake at {now}")


def _faults_of_dormant(document: Document) -> Iterator[Fault]:
    """Yield what is said of a dormant form though nothing happens to it."""
    for key in NOT_DORMANT:
        if document.at(key) is not None:
            yield _fault(document, (key,), "expected none, as nothing happens in a dormant form")


# Misses


def _misses(document: Document, key: str) -> Mapping[str, Range]:
    """Return what can be read of the misses under a key, a number alone under OF_ALL."""
    said = document.at(key)
    by_cause = said if isinstance(said, dict) else {OF_ALL: said}
    ranges = {cause: quietly(count_range, number) for cause, number in by_cause.items()}
    return {cause: number for cause, number in ranges.items() if number is not None}


def _faults_of_causes(document: Document, model: Model, name: str) -> Iterator[Fault]:
    """Yield misses without a cause where a rule that may come into play asks for those of one."""
    in_form, in_life = _misses(document, "misses in form"), _misses(document, "misses in life")
    if OF_ALL in in_form and in_form[OF_ALL].high > 0:
        yield from _fault_of_cause(document, model, "misses in form", "misses_in_form", (name,))
    later = (name, *reachable(model)[name])
    if OF_ALL in in_life:
        if in_life[OF_ALL].high > 0:
            yield from _fault_of_cause(document, model, "misses in life", "misses_in_life", later)
    elif OF_ALL in in_form and in_form[OF_ALL].high > sum(n.low for n in in_life.values()):
        yield from _fault_of_cause(document, model, "misses in form", "misses_in_life", later)


def _fault_of_cause(
    document: Document, model: Model, key: str, counted: str, forms: tuple[str, ...]
) -> Iterator[Fault]:
    """Yield the fault of misses without a cause, by the first rule of forms that asks for one.

    Args:
        document: the pet's. model: its model.
        key: under which the misses are.
        counted: the attribute of a rule's conditions that counts them.
        forms: those whose rules may come into play.
    """
    for rule in (rule for name in forms for rule in model.forms[name].grows_into):
        for cause in getattr(rule.conditions, counted):
            if cause != OF_ALL:
                why = f"growth into {rule.form} asks for those of {cause}"
                yield _fault(document, (key,), f"expected a number for each cause, as {why}")
                return


def _faults_of_fatal_misses(document: Document, model: Model) -> Iterator[Fault]:
    """Yield misses of which the pet would be dead."""
    in_form, in_life = _misses(document, "misses in form"), _misses(document, "misses in life")
    most_in_form = sum(number.high for number in in_form.values())
    most_of_causes = sum(
        max(misses[cause].high for misses in (in_form, in_life) if cause in misses)
        for cause in {*in_form, *in_life} - {OF_ALL}
    )
    without_cause = in_life[OF_ALL].high if OF_ALL in in_life else most_of_causes
    most = max(without_cause, most_in_form)
    if model.fatal_misses is not None and most >= model.fatal_misses:
        key = "misses in form" if most == most_in_form else "misses in life"
        expected = f"expected fewer than {model.fatal_misses}, which are fatal"
        yield Fault((key,), f"found {most}", expected)
