"""A pet as it is now, as data: what a pet file says of one in the middle of its life.

What each part must be, and what must hold between them, is checked here, as it is read; what must
hold between a pet and its model, in `pet_checks`.

A field that is left out is None or empty here, and what it then is taken for, `Pet.assumed` says.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Annotated, Any, Literal, NamedTuple

from pydantic import BeforeValidator, Field

from petsim.errors import MisfitError
from petsim.spec.clocks import Window
from petsim.spec.fields import Beginning, FieldType, OnOff, Title, YesNo
from petsim.spec.laws import Distribution
from petsim.spec.model import MOST_DISCIPLINE, Form, Model
from petsim.spec.parts import BRIEFLY, BY_CAUSE, OF_ALL, File
from petsim.spec.quantities import DAY, LONGEST, title
from petsim.spec.ranges import CountRange, Range, SpanRange, count_range_text, count_range_type

FORMAT = "pet 1"
"""The first line of a pet file, after `petsim:`."""
NONE = Range(0, 0)
"""The range of what there is none of."""
EXACT_IF_EXPONENTIAL = "as at a growth, which is exact only for exponential waits"

Misses = Annotated[dict[str, CountRange], BY_CAUSE, BRIEFLY]
"""Care misses by cause; a number alone is that of misses without a cause, under OF_ALL."""
NO_MISSES = BeforeValidator(lambda value: {OF_ALL: "0"} if value == {} else value)
"""Takes no misses of any cause for the number 0, which is written where they have to be said."""


def _named_or_content(value: Any) -> Any:
    if isinstance(value, dict):
        return value
    if not isinstance(value, str):
        raise MisfitError("expected the name of a model")
    return title(value)


ModelNamed = Annotated[
    str | dict[str, Any],
    FieldType(
        _named_or_content,
        lambda model: model,
        {"anyOf": [{"type": "string", "minLength": 1}, {"type": "object"}]},
        "expected the name of a model",
        structured=True,
    ),
]
"""A model by its name or path; as plain data also by its content."""


class Assumed(NamedTuple):
    """What is taken for granted of a pet, as its file does not say it.

    Args:
        field: the way to it in a file, such as `since last.hunger`.
        value: what is assumed, in words.
        reason: why that.
    """

    field: str
    value: str
    reason: str


class Pet(File):
    """A pet as it is now: the form it is in, for how long, its levels and misses, and the like.

    It says nothing of a misbehaviour in progress, as none can be seen: the pet is taken to have
    none.
    """

    petsim: Literal["pet 1"] = Field(description="'pet 1', the kind and version of the file")
    name: Title = Field(default="", description="what the pet is called")
    about: str = Field(default="", description="a sentence about it")
    model: ModelNamed = Field(
        description="the name of its model, the path from this file's folder, or its content"
    )
    at: Beginning = Field(description="the weekday and clock time it is now, such as Wed 07:40")
    form: str = Field(description="the form that it is in")
    form_age: SpanRange = Field(
        alias="for", description="the clock time that it has been in this form"
    )
    levels: dict[str, CountRange] = Field(description="the level of each need")
    waste: CountRange | None = Field(default=None, description="the pile of waste. 0 if left out")
    waste_for: SpanRange | None = Field(
        default=None, description="the awake time since the pile began. Now, if left out"
    )
    weight: CountRange | None = Field(
        default=None, description="its weight. The model's at birth, if left out"
    )
    discipline: Annotated[Range, count_range_type(0, MOST_DISCIPLINE)] | None = Field(
        default=None, description="its discipline, 0 to 100. The model's at birth, if left out"
    )
    ill: YesNo | None = Field(default=None, description="whether it is ill. No, if left out")
    ill_for: SpanRange | None = Field(
        default=None, description="the clock time since it fell ill. Now, if left out"
    )
    doses: Annotated[Range, count_range_type(1)] | None = Field(
        default=None, description="the doses it takes to cure it. Drawn, if left out"
    )
    lights: OnOff | None = Field(
        default=None, description="on or off: how the lights are, asleep. On, if left out"
    )
    empty_for: dict[str, SpanRange] = Field(
        default={}, description="for each need at 0 the awake time since it is. Now, if left out"
    )
    since_last: dict[str, SpanRange] = Field(
        default={},
        description="the awake time since the last drop of each need, the last waste, and the end "
        "of the last misbehaviour. Now, if left out",
    )
    misses_in_form: Annotated[Misses, NO_MISSES] = Field(
        description="the care misses in this form: a number, or one for each cause"
    )
    misses_in_life: Misses = Field(
        default={}, description="the care misses in life likewise. Those in this form, if left out"
    )

    @property
    def id(self) -> str:
        """The file's name without its ending; without a file, the pet's name, or `pet`."""
        return super().id or "pet"

    @property
    def pile(self) -> Range:
        """Its pile of waste, said or not."""
        return self.waste or NONE

    def misfits(self) -> Iterator[MisfitError]:
        """Refuse what is said of an illness, a pile or an empty need that there is not."""
        if not self.ill:
            for attribute in ("ill_for", "doses"):
                if getattr(self, attribute) is not None:
                    key = str(Pet.model_fields[attribute].alias)
                    yield MisfitError("expected none, as it is not ill", at=(key,))
        if self.waste_for is not None and self.pile.high == 0:
            yield MisfitError("expected none, as there is no waste", at=("waste for",))
        for need in self.empty_for:
            if need in self.levels and self.levels[need].low > 0:
                expected = f"expected none, as {need} is not at 0"
                yield MisfitError(expected, at=("empty for", need))

    def assumed(self, model: Model) -> tuple[Assumed, ...]:
        """Return what its file does not say and is assumed, for its model, in the file's order."""
        form = model.forms[self.form]
        return (
            *(() if form.dormant else self._assumed_of_waste(form)),
            *self._assumed_of_character(model, form),
            *(() if form.dormant else self._assumed_of_illness(form)),
            *(() if form.dormant else self._assumed_of_sleep(form)),
            *(() if form.dormant else self._assumed_of_needs(model, form)),
            *(() if form.dormant else self._assumed_of_waits(model, form)),
            *self._assumed_of_misses(),
        )

    def _assumed_of_waste(self, form: Form) -> Iterator[Assumed]:
        if self.waste is None:
            yield Assumed("waste", "0", "as none is said")
        has_deadline = form.waste is not None and form.waste.grace is not None
        if has_deadline and self.pile.high > 0 and self.waste_for is None:
            yield Assumed("waste for", "0 s", "as if it had just come")

    def _assumed_of_character(self, model: Model, form: Form) -> Iterator[Assumed]:
        starts, least = model.weight.starts, form.weight_min
        weight = self.weight or Range(starts, starts)
        raised = Range(max(weight.low, least), max(weight.high, least))
        if raised != weight:
            reason = f"the least that {self.form} weighs"
            yield Assumed("weight", count_range_text(raised), reason)
        elif self.weight is None:
            yield Assumed("weight", count_range_text(weight), "as at birth")
        if self.discipline is None:
            yield Assumed("discipline", str(model.discipline.starts), "as at birth")

    def _assumed_of_illness(self, form: Form) -> Iterator[Assumed]:
        if self.ill is None:
            yield Assumed("ill", "no", "as it is not said")
        if not self.ill:
            return
        rules = form.illness
        has_deadline = rules is not None and (rules.grace, rules.fatal_after) != (None, None)
        if has_deadline and self.ill_for is None:
            yield Assumed("ill for", "0 s", "as if it had just fallen ill")
        if self.doses is None:
            yield Assumed("doses", "drawn", "as for a new illness")

    def _assumed_of_sleep(self, form: Form) -> Iterator[Assumed]:
        if self.lights is None and seconds_asleep(form.sleeps, self.at.clock) is not None:
            yield Assumed("lights", "on", "as when it fell asleep")

    def _assumed_of_needs(self, model: Model, form: Form) -> Iterator[Assumed]:
        for need in model.needs:
            deadlines = (form.grace.get(need), form.fatal_after.get(need))
            has_deadline = deadlines != (None, None)
            if has_deadline and self.levels[need].low == 0 and need not in self.empty_for:
                yield Assumed(f"empty for.{need}", "0 s", "as if it had just reached 0")

    def _assumed_of_waits(self, model: Model, form: Form) -> Iterator[Assumed]:
        for source, law in waits(model, form).items():
            if law.kind != "exponential" and source not in self.since_last:
                yield Assumed(f"since last.{source}", "0 s", EXACT_IF_EXPONENTIAL)
        if form.misbehaviour is not None:
            yield Assumed("misbehaving", "no", "as it can't be seen")

    def _assumed_of_misses(self) -> Iterator[Assumed]:
        if not self.misses_in_life:
            yield Assumed("misses in life", "those in form", "as none before are said")

    def __repr__(self) -> str:
        model = self.model if isinstance(self.model, str) else self.model.get("name", "a model")
        return f"<pet {self.id}: {self.form} of {model}, at {self.at}>"


def waits(model: Model, form: Form) -> dict[str, Distribution]:
    """Return the law of each wait that a pet in a form is in, by its key under `since last`."""
    laws = {need: form.drops[need] for need in model.needs if need in form.drops}
    if form.waste is not None:
        laws["waste"] = form.waste.every
    if form.misbehaviour is not None:
        laws["misbehaviour"] = form.misbehaviour.every
    return laws


def seconds_asleep(windows: Sequence[Window], clock: int) -> int | None:
    """Return for how long a pet has slept by its windows of sleep; None if it is awake.

    Args:
        windows: those of its form. Overlapping and touching ones are one.
        clock: the second of day it is now.

    Returns:
        The seconds since the window opened, 0 or more; the longest time there is if it never wakes.
    """

    def sleeps(second: int) -> bool:
        return any(window.holds(second % DAY, 0) for window in windows)

    if not sleeps(clock):
        return None
    since_opening = sorted((clock - window.start) % DAY for window in windows)
    return next((s for s in since_opening if not sleeps(clock - s - 1)), LONGEST)
