"""A pet as data: what a model file says.

What each part must be is checked here, as it is read; what must hold between parts, in
`model_checks`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BeforeValidator,
    Field,
    PlainSerializer,
    SerializationInfo,
    SerializerFunctionWrapHandler,
    field_serializer,
    model_serializer,
    model_validator,
)

from petsim.errors import MisfitError, choice, quote
from petsim.spec.clocks import Begins
from petsim.spec.fields import (
    Beginning,
    Chance,
    Change,
    Compared,
    CountOrNever,
    FieldType,
    Law,
    Name,
    Natural,
    OnOff,
    Positive,
    Rate,
    SleepWindow,
    SpanOrNever,
    Title,
    Worth,
    YesNo,
    count_type,
    name_except,
)
from petsim.spec.overlay import difference
from petsim.spec.parts import BRIEFLY, BY_CAUSE, OF_ALL, OR_NONE, File, Part, quietly
from petsim.spec.quantities import count

FORMAT = "model 1"
"""The first line of a model file, after `petsim:`."""
SIGNALS = ("waste", "ill", "asleep", "lights", "calling")
"""The signals a caretaker sees besides the needs' levels."""
UNTREATED, NEGLECT, OLD_AGE, UNDECIDED = "untreated illness", "neglect", "old age", "undecided"
OTHERWISE = "otherwise"
MOST_DISCIPLINE = 100
MOST_LEVEL = 1_000
"""The largest `full`: each level of a need is a column of what a life reports."""
MOST_NEEDS = 100
"""Needs a model may have: every form has rates of each of them."""
MOST_FORMS = 500
"""Forms a model may have: 500 of 2^53 s each still end before 2^62 s, which is taken for never."""

_NOT_A_NEED = (
    *(*SIGNALS, "stage", "form", "weight", "discipline", "clock", "windows", "during", "looks"),
    *("spells", "clear", "lasts", "misbehaviour"),
)
_NOT_A_CAUSE = (OF_ALL, "illness")
_NOT_A_FORM = (UNTREATED, NEGLECT, OLD_AGE, UNDECIDED, OTHERWISE)

NeedName = Annotated[str, name_except("need", (*_NOT_A_NEED, *_NOT_A_CAUSE))]
ActionName = Annotated[str, name_except("action", ("opening",))]
FormName = Annotated[str, name_except("form", _NOT_A_FORM)]
DeathName = Annotated[str, name_except("death", _NOT_A_FORM)]
Refusal = Literal["asleep", "misbehaving", "full"]
REFUSALS: tuple[Refusal, ...] = ("asleep", "misbehaving", "full")
A_REFUSAL = "expected asleep, misbehaving or full"
A_DOSE_COUNT = "expected a number of doses, 1 or more"


def _refusal(text: str) -> str:
    if text not in REFUSALS:
        raise MisfitError(choice(text, REFUSALS))
    return text


def _dose_count(text: str) -> int:
    if text.startswith("0"):
        raise MisfitError(A_DOSE_COUNT)
    return count(text, 1)


DoseCount = FieldType(
    _dose_count, int, {"type": "string", "pattern": "^[1-9][0-9]*$"}, A_DOSE_COUNT
)


def _few(most: float, kind: str = "", why: str = "") -> AfterValidator:
    """Return a check that there is a named part and no more than most, with a message's words."""

    def refuse(named: dict[str, Part]) -> dict[str, Part]:
        if not named:
            raise MisfitError("expected at least one", "found none")
        if len(named) > most:
            raise MisfitError(f"expected at most {most}{why}", f"found {len(named)} {kind}")
        return named

    return AfterValidator(refuse)


NOT_EMPTY = _few(math.inf)
FEW_NEEDS = _few(MOST_NEEDS, "needs")
FEW_FORMS = _few(MOST_FORMS, "forms", ", or a life might last longer than time is counted")


MissComparisons = Annotated[dict[str, Compared], BY_CAUSE, BRIEFLY]


class Need(Part):
    """A need: a level that drops by itself and is raised by care."""

    full: Annotated[int, count_type(1, MOST_LEVEL)] = Field(
        description="the highest level of the need, a whole number"
    )
    starts: Natural = Field(default=0, description="the level at birth. Full, if it is left out")
    death: DeathName | None = Field(
        default=None,
        description="the name of the death it ends in. Due where a `fatal after` names the need",
    )

    @model_validator(mode="before")
    @classmethod
    def _start_full(cls, data: Any) -> Any:
        if isinstance(data, dict) and quietly(count, data.get("full")) is not None:
            return {"starts": data["full"], **data}
        return data

    def misfits(self) -> Iterator[MisfitError]:
        """Refuse a level above full."""
        if self.starts > self.full:
            yield MisfitError(f"expected at most {self.full}, which is full", at=("starts",))


class Weight(Part):
    """The weight at birth."""

    starts: Natural = Field(default=0, description="the weight at birth")


class Discipline(Part):
    """How discipline, 0 to 100, changes."""

    starts: Annotated[int, count_type(0, MOST_DISCIPLINE)] = Field(
        default=0, description="the discipline at birth, 0 to 100"
    )
    step: Annotated[int, count_type(0, MOST_DISCIPLINE)] = Field(
        default=0, description="what a reprimand of a misbehaving pet adds"
    )
    lapse_costs: Annotated[int, count_type(0, MOST_DISCIPLINE)] = Field(
        default=0, description="what a misbehaviour that nobody reprimands takes away"
    )
    unfair_costs: dict[str, Natural] = Field(
        default={}, description="the one need that an unfair reprimand lowers, and by how much"
    )

    def misfits(self) -> Iterator[MisfitError]:
        """Refuse a second need."""
        for need in list(self.unfair_costs)[1:]:
            yield MisfitError(
                "expected one need at most", f"found {quote(need)} too", ("unfair costs",)
            )


class CareAction(Part):
    """An action of care: its effects, the chance that it works, and when it is refused."""

    raises: dict[str, Positive] = Field(
        default={}, description="the needs it raises, and by how many levels"
    )
    weight: Change = Field(default=0, description="the change of weight, such as +1 or -1")
    cleans: YesNo = Field(default=False, description="whether it clears the waste")
    doses: YesNo = Field(default=False, description="whether it gives one dose of medicine")
    lights: OnOff | None = Field(default=None, description="on or off: how it puts the lights")
    reprimands: YesNo = Field(default=False, description="whether it reprimands")
    works: Chance = Field(default=1.0, description="the chance that it has its effect")
    refused_when: Annotated[
        frozenset[
            Annotated[Refusal, FieldType(_refusal, str, {"enum": list(REFUSALS)}, A_REFUSAL)]
        ],
        PlainSerializer(lambda refused: [refusal for refusal in REFUSALS if refusal in refused]),
    ] = Field(default=frozenset(), description="when the pet refuses it: asleep, misbehaving, full")


class Waste(Part):
    """How waste appears, and what comes of leaving it."""

    every: Law = Field(description="the awake time to the next waste, a distribution")
    pile_max: Positive = Field(description="the largest pile, a whole number")
    grace: SpanOrNever = Field(
        default=None, description="the awake time in which a pile must be cleaned"
    )
    again_after: SpanOrNever = Field(
        default=None, description="the awake time after which a pile is a miss again"
    )


class Illness(Part):
    """How often the pet falls ill, and what it then takes."""

    base: Rate = Field(description="the rate at which it falls ill, such as 0.2 per day")
    per_waste: Rate = Field(default=0.0, description="what each waste of the pile adds to the rate")
    per_excess: Rate = Field(
        default=0.0, description="what each unit of weight above `heavy above` adds to the rate"
    )
    heavy_above: Natural | None = Field(
        default=None, description="the weight above which the rate grows"
    )
    doses: dict[Annotated[int, DoseCount], Chance] = Field(
        default={1: 1.0}, description="how many doses an illness takes, each with its chance"
    )
    grace: SpanOrNever = Field(default=None, description="the clock time in which it must be cured")
    fatal_after: SpanOrNever = Field(
        default=None, description="the clock time after which it is fatal"
    )

    def misfits(self) -> Iterator[MisfitError]:
        """Refuse chances that are no distribution, and an excess over nothing."""
        total = sum(self.doses.values())
        if abs(total - 1) > 1e-9:
            sums = f"found chances that sum to {total:.12g}"
            yield MisfitError("expected chances that sum to 1", sums, ("doses",))
        if self.per_excess > 0 and self.heavy_above is None:
            expected = (
                "expected the weight above which there is an excess, as `per excess` is given"
            )
            yield MisfitError(expected, "missing", ("heavy above",))


class Misbehaviour(Part):
    """How often the pet misbehaves, and for how long."""

    every: Law = Field(description="the awake time to the next misbehaviour, a distribution")
    window: Law = Field(description="the awake time one lasts, a distribution")


class Stage(Part):
    """The rates of a stage of life."""

    dormant: YesNo = Field(default=False, description="whether nothing happens in it, as in an egg")
    weight_min: Natural = Field(default=0, description="the least weight")
    drops: dict[str, Law] = Field(
        default={}, description="for each need the awake time to its next drop, a distribution"
    )
    grace: dict[str, SpanOrNever] = Field(
        default={}, description="for each need the awake time at 0 after which it is a miss"
    )
    again_after: dict[str, SpanOrNever] = Field(
        default={}, description="for each need the awake time at 0 to a further miss"
    )
    fatal_after: dict[str, SpanOrNever] = Field(
        default={}, description="for each need the awake time at 0 that is fatal"
    )
    waste: Annotated[Waste | None, OR_NONE] = Field(
        default=None, description="how waste appears. None, if it is left out"
    )
    illness: Annotated[Illness | None, OR_NONE] = Field(
        default=None, description="how the pet falls ill. Never, if it is left out"
    )
    sleeps: tuple[SleepWindow, ...] = Field(
        default=(), description="the clock windows in which it sleeps, such as 21:00 to 07:00"
    )
    lights_grace: SpanOrNever = Field(
        default=None, description="the clock time after falling asleep to put the lights off in"
    )
    misbehaviour: Annotated[Misbehaviour | None, OR_NONE] = Field(
        default=None, description="how the pet misbehaves. Never, if it is left out"
    )

    @property
    def says_never(self) -> bool:
        """Whether it is worth writing that something never happens: where something can."""
        return not self.dormant

    def misfits(self) -> Iterator[MisfitError]:
        """Refuse rates in a dormant stage."""
        if not self.dormant:
            return
        for attribute, field in Stage.model_fields.items():
            is_rate = attribute not in ("dormant", "weight_min")
            if is_rate and getattr(self, attribute) not in (None, {}, ()):
                expected = "expected none, as nothing happens in a dormant stage"
                yield MisfitError(expected, "found a rate", (str(field.alias),))


class Conditions(Part):
    """What a rule of growth asks for; all of it must hold."""

    misses_in_form: MissComparisons = Field(
        default={}, description="care misses in this form: a comparison, or one for each cause"
    )
    misses_in_life: MissComparisons = Field(
        default={}, description="care misses in life: a comparison, or one for each cause"
    )
    discipline: Compared | None = Field(default=None, description="a comparison of discipline")
    weight: Compared | None = Field(default=None, description="a comparison of weight")

    def misfits(self) -> Iterator[MisfitError]:
        """Refuse what discipline never is."""
        if self.discipline is not None and not self.discipline.possible(MOST_DISCIPLINE):
            expected = f"expected a comparison that can hold; discipline is 0 to {MOST_DISCIPLINE}"
            yield MisfitError(expected, at=("discipline",))


class Rule(Part):
    """One rule of growth: the form it leads to, and its conditions (none: otherwise)."""

    form: str
    conditions: Conditions

    @model_validator(mode="before")
    @classmethod
    def _unfold(cls, data: Any) -> Any:
        """Return a rule's two fields, which a file writes as `form: conditions`."""
        if not isinstance(data, dict) or len(data) != 1:
            raise MisfitError("expected one form with its conditions, or with 'otherwise'")
        [(form, conditions)] = data.items()
        if conditions == OTHERWISE:
            return {"form": form, "conditions": {}}
        if not isinstance(conditions, dict) or not conditions:
            raise MisfitError("expected conditions or 'otherwise'", at=(form,))
        return {"form": form, "conditions": conditions}

    @model_serializer(mode="wrap")
    def _write(
        self, write: SerializerFunctionWrapHandler, info: SerializationInfo
    ) -> dict[str, Any]:
        return {self.form: write(self)["conditions"] or OTHERWISE}


def _rules(value: Any) -> Any:
    """Return rules of growth; a bare name of a form is the rule that always leads to it."""
    return [{value: OTHERWISE}] if isinstance(value, str) and value else value


def _end_with_otherwise(rules: tuple[Rule, ...]) -> tuple[Rule, ...]:
    """Refuse rules after which none may hold, or which are never reached."""
    if not rules:
        raise MisfitError("expected a form, or a list of rules", "found an empty list")
    for index, rule in enumerate(rules[:-1]):
        if rule.conditions == Conditions():
            too_early = f"found '{OTHERWISE}' before the last rule"
            raise MisfitError("expected it last", too_early, (index, rule.form))
    if rules[-1].conditions != Conditions():
        expected = f"expected '{OTHERWISE}' as the last rule, for when no other holds"
        raise MisfitError(expected, "found conditions", (len(rules) - 1, rules[-1].form))
    return rules


class Form(Stage):
    """A form, with the rates of its stage and its own laid over them."""

    stage: str = Field(description="the stage of the form")
    lasts: Law = Field(description="the time it lasts, a distribution")
    grows_into: Annotated[
        tuple[Rule, ...], BeforeValidator(_rules), AfterValidator(_end_with_otherwise)
    ] = Field(
        default=(),
        description="the form it becomes, or rules of which the first that holds decides. "
        "Without it the form ends in death of old age",
    )


class Model(File):
    """A pet: its needs, the care it takes, its stages and its forms."""

    petsim: Literal["model 1"] = Field(description="'model 1', the kind and version of the file")
    name: Title = Field(description="the name of the pet")
    about: str = Field(default="", description="a sentence about it")
    begins: Beginning = Field(
        default=Begins(), description="weekday and clock time of birth. Monday 09:00 if left out"
    )
    outcome_stage: str = Field(description="the stage whose first form is the outcome of a life")
    aim: str = Field(description="the form of the outcome stage that one hopes for")
    worth: dict[str, Worth] = Field(
        default={},
        description="what forms of the outcome stage are worth, 0 to 1; all others are worth 0. "
        "If it is left out, the aim is worth 1",
    )
    needs: Annotated[dict[NeedName, Need], FEW_NEEDS] = Field(description="the needs, by name")
    weight: Weight = Field(default=Weight(), description="the weight at birth")
    discipline: Discipline = Field(default=Discipline(), description="how discipline changes")
    fatal_misses: CountOrNever = Field(
        default=None, description="the number of care misses in life that is fatal"
    )
    care: dict[ActionName, CareAction] = Field(default={}, description="the actions, by name")
    stages: Annotated[dict[Name, Stage], NOT_EMPTY] = Field(
        description="the stages, by name, with their rates"
    )
    forms: Annotated[dict[FormName, Form], FEW_FORMS] = Field(description="the forms, by name")

    @property
    def causes(self) -> tuple[str, ...]:
        """The causes of a care miss."""
        return (*self.needs, "waste", "illness", "lights")

    @property
    def outcome_forms(self) -> list[str]:
        """The forms of the outcome stage."""
        return [name for name, form in self.forms.items() if form.stage == self.outcome_stage]

    @property
    def deaths(self) -> tuple[str, ...]:
        """The causes of death."""
        of_needs = dict.fromkeys(need.death for need in self.needs.values() if need.death)
        return (*of_needs, UNTREATED, NEGLECT, OLD_AGE)

    @property
    def root(self) -> str:
        """The form a life begins as."""
        grown = {rule.form for form in self.forms.values() for rule in form.grows_into}
        return next(form for form in self.forms if form not in grown)

    def __repr__(self) -> str:
        return f"<model {self.id}: {len(self.forms)} forms, aim {self.aim}>"

    @field_serializer("forms", mode="plain")
    def _write_forms(self, forms: dict[str, Form], info: SerializationInfo) -> dict[str, Any]:
        return {
            name: _beyond_stage(form, self.stages[form.stage], info.context)
            for name, form in forms.items()
        }


def _beyond_stage(form: Form, stage: Stage, context: Any) -> dict[str, Any]:
    """Return what a form's mapping must say beyond its stage's."""
    rates = form.model_dump(by_alias=True, context=context)
    stage_rates = stage.model_dump(by_alias=True, context=context)
    mapping = {key: rates.pop(key) for key in ("stage", "lasts")}
    rules = rates.pop("grows into", [])
    mapping |= difference(stage_rates, rates)
    if rules:
        [first, *others] = rules
        mapping["grows into"] = rules if others else next(iter(first))
    return mapping
