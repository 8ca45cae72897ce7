"""A model in tables: how the pet grows, what each stage brings, and what care does."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from markupsafe import Markup

from petsim.spec.clocks import WEEKDAYS, clock_text
from petsim.spec.growth import entered, in_order_of_growth
from petsim.spec.model import CareAction, Form, Model, Stage
from petsim.spec.quantities import duration_text
from petsim.study.aims import read_aim
from petsim.study.measures import AIM_MARK
from petsim.view import html
from petsim.view.aims import worths
from petsim.view.laws import chance, law
from petsim.view.show import conditions_text, span
from petsim.view.tables import counted

GROWTH = ("form", "stage", "begins, after birth", "lasts", "grows into, by the first that holds")
PACE = (
    *("stage", "a level drops by 1 every", "a care miss after", "death after", "waste every"),
    *("illnesses a day, and their cure", "sleeps", "misbehaves every"),
)
CARE = ("action", "what it does", "chance that it works", "refused when the pet is")


def model(pet: Model) -> Markup:
    """Return a model as people read it: growth first, then what care has to keep up with."""
    return html.joined(
        html.answer(f"{pet.name}: {pet.about}" if pet.about else pet.name),
        html.paragraph(_birth(pet)),
        html.table(f"How {pet.id} grows", GROWTH, [*_growth(pet)]),
        html.table(
            "What each stage brings; needs, waste and misbehaviour go by the time it is awake",
            PACE,
            [(name, *_pace(stage)) for name, stage in pet.stages.items()],
        ),
        html.listing(_notes(pet)),
        html.table("Care", CARE, [(name, *_care(action)) for name, action in pet.care.items()]),
    )


def _birth(pet: Model) -> str:
    day, time = WEEKDAYS[pet.begins.weekday], clock_text(pet.begins.clock)
    told = (
        f"It is born on {day} at {time} as {pet.root}. What becomes of it is the first form it "
        f"takes as {pet.outcome_stage}; the aim is {pet.aim}. {worths(read_aim(pet))}"
    )
    return told.rstrip()


def _growth(pet: Model) -> Iterator[tuple[html.Cell, ...]]:
    begins = entered(pet)
    for name in in_order_of_growth(pet):
        form = pet.forms[name]
        rules = [*_rules(pet, form)]
        yield (_named(pet, name), form.stage, span(begins[name]), law(form.lasts), rules)


def _named(pet: Model, form: str) -> str:
    return f"{form} {AIM_MARK}" if form == pet.aim else form


def _rules(pet: Model, form: Form) -> Iterator[str]:
    if not form.grows_into:
        yield "nothing: it dies of old age"
    for rule in form.grows_into:
        condition = f": {conditions_text(rule.conditions)}" if len(form.grows_into) > 1 else ""
        yield f"{_named(pet, rule.form)}{condition}"


def _pace(stage: Stage) -> tuple[html.Cell, ...]:
    if stage.dormant:
        return ("nothing happens", "", "", "", "", "", "")
    return (
        [f"{need}: {law(drops)}" for need, drops in stage.drops.items()],
        [*_misses(stage)],
        [*_deaths(stage)],
        [*_waste(stage)],
        [*_illness(stage)],
        [str(window) for window in stage.sleeps],
        [*_misbehaviour(stage)],
    )


def _misses(stage: Stage) -> Iterator[str]:
    """What may last for how long before it is a care miss, needs of the same times together."""
    times = {
        need: _grace(grace, stage.again_after.get(need)) for need, grace in stage.grace.items()
    }
    for time, needs in _together(times):
        yield f"{needs} empty: {time}"
    waste, illness = stage.waste, stage.illness
    if waste and waste.grace is not None:
        yield f"waste: {_grace(waste.grace, waste.again_after)}"
    if illness and illness.grace is not None:
        yield f"ill: {duration_text(illness.grace)}"
    if stage.lights_grace is not None:
        yield f"asleep with the lights on: {duration_text(stage.lights_grace)}"


def _grace(grace: int | None, again: int | None) -> str:
    """A time that is allowed, and after how much longer it is a miss again; empty for never."""
    if grace is None:
        return ""
    return duration_text(grace) + ("" if again is None else f", again {duration_text(again)} later")


def _together(times: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    """Each time, unless it is empty, with the names that have it."""
    for time in dict.fromkeys(filter(None, times.values())):
        yield time, " or ".join(name for name in times if times[name] == time)


def _deaths(stage: Stage) -> Iterator[str]:
    times = {n: "" if t is None else duration_text(t) for n, t in stage.fatal_after.items()}
    for time, needs in _together(times):
        yield f"{needs} empty: {time}"
    if stage.illness and stage.illness.fatal_after is not None:
        yield f"ill: {duration_text(stage.illness.fatal_after)}"


def _waste(stage: Stage) -> Iterator[str]:
    if stage.waste:
        yield law(stage.waste.every)
        yield f"a pile of {stage.waste.pile_max} at most"


def _illness(stage: Stage) -> Iterator[str]:
    illness = stage.illness
    if illness is None:
        return
    yield f"{illness.base:g}"
    if illness.per_waste:
        yield f"+{illness.per_waste:g} for each waste"
    if illness.per_excess:
        yield f"+{illness.per_excess:g} for each weight above {illness.heavy_above}"
    if illness.doses:
        doses = ", ".join(
            counted(n, "dose") if p == 1 else f"{counted(n, 'dose')} in {chance(p)}"
            for n, p in illness.doses.items()
        )
        yield f"cured by {doses}"


def _misbehaviour(stage: Stage) -> Iterator[str]:
    if stage.misbehaviour:
        yield law(stage.misbehaviour.every)
        yield f"for {law(stage.misbehaviour.window)} each"


def _notes(pet: Model) -> Iterator[str]:
    """What holds in all stages, and which forms differ from theirs."""
    for name, need in pet.needs.items():
        death = f"; death of it is called {need.death}" if need.death else ""
        yield f"{name} goes from 0 to {need.full}, and is {need.starts} at birth{death}"
    yield f"weight is {pet.weight.starts} at birth"
    discipline = pet.discipline
    unfair = "".join(
        f"; an unfair one takes {levels} of {need}"
        for need, levels in discipline.unfair_costs.items()
    )
    yield (
        f"discipline is {discipline.starts} of 100 at birth; a reprimand in time adds "
        f"{discipline.step}, a misbehaviour without one takes {discipline.lapse_costs}{unfair}"
    )
    if pet.fatal_misses is not None:
        yield f"the care miss number {pet.fatal_misses} is fatal"
    own = [name for name, form in pet.forms.items() if _differs(form, pet.stages[form.stage])]
    if own:
        yield f"what their stages bring is changed by these forms: {', '.join(own)}"


def _differs(form: Form, stage: Stage) -> bool:
    return any(getattr(form, field) != getattr(stage, field) for field in Stage.model_fields)


def _care(action: CareAction) -> tuple[html.Cell, ...]:
    effects = [
        *(f"{need} +{levels}" for need, levels in action.raises.items()),
        *([f"weight {action.weight:+d}"] if action.weight else []),
        *(["clears the waste"] if action.cleans else []),
        *(["gives a dose"] if action.doses else []),
        *([f"puts the lights {action.lights}"] if action.lights else []),
        *(["reprimands"] if action.reprimands else []),
    ]
    refused = [word for word in ("asleep", "misbehaving", "full") if word in action.refused_when]
    return (", ".join(effects) or "nothing", chance(action.works), ", ".join(refused) or "never")
