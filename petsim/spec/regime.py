"""Care as data: what a regime file says, and what must hold between it and a model."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Annotated, Literal

from pydantic import ConfigDict, Field

from petsim.errors import MisfitError, SpecError, describe, near_miss
from petsim.spec.document import Document, Fault, Steps
from petsim.spec.fields import (
    Chance,
    ClockWindow,
    Compared,
    Delay,
    FieldType,
    Law,
    NameSet,
    Natural,
    OnOff,
    Span,
    SpanOrNever,
    SpanOrRandom,
    Title,
    YesNo,
    count_type,
    either,
)
from petsim.spec.model import Model, unknown_keys, unknown_name
from petsim.spec.parts import File, Part, quietly, validate
from petsim.spec.quantities import Comparison, Names, comparison, count, duration_text, names

FORMAT = "regime 1"
"""The first line of a regime file, after `petsim:`."""
UNTIL_MET = 20
"""Repetitions that `until met` permits."""
MOST_REPEATS = 1000
MOST_LOOKS = 99


REPEAT = FieldType(
    either("until met", UNTIL_MET, lambda text: count(text, 1, MOST_REPEATS)),
    int,
    {
        "anyOf": [
            {"type": "integer", "minimum": 1, "maximum": MOST_REPEATS},
            {"const": "until met"},
        ]
    },
    "expected a number of times, or until met",
)


class CheckWindow(Part):
    """Another interval while a clock window holds."""

    during: ClockWindow = Field(description="the clock window, such as 22:30 to 07:00 on Mon-Fri")
    every: SpanOrNever = Field(description="the interval of checks in it, or never")


class Checks(Part):
    """When the caretaker looks in."""

    every: SpanOrNever = Field(default=None, description="the interval of checks, or never")
    first: SpanOrRandom = Field(
        default="random", description="the time of the first check from birth, or random"
    )
    jitter: Span | None = Field(default=None, description="the longest time a check comes late")
    by_stage: dict[str, SpanOrNever] = Field(
        default={}, description="for each stage another interval, or never"
    )
    windows: tuple[CheckWindow, ...] = Field(
        default=(), description="intervals of clock windows; the first that holds counts"
    )

    def misfits(self) -> Iterator[MisfitError]:
        """Refuse a random start of no interval, and a jitter that lets checks overtake."""
        windows = [window.every for window in self.windows]
        has_grid = any((*windows, *self.by_stage.values()))
        if self.first == "random" and self.every is None and has_grid:
            found = "found a random first check without an interval"
            expected = "expected a time from birth, such as 0 s, or the interval `every`"
            yield MisfitError(expected, found, ("first",))
        if self.jitter is None:
            return
        if self.by_stage:
            yield MisfitError("expected no jitter where intervals go by stage", at=("jitter",))
        intervals = [interval for interval in (self.every, *windows) if interval is not None]
        if intervals and self.jitter >= min(intervals):
            expected = f"expected less than the smallest interval, {duration_text(min(intervals))}"
            yield MisfitError(expected, at=("jitter",))


class Listens(Part):
    """Hearing the pet call."""

    hears: Chance = Field(description="the chance that the beginning of a call is heard")
    reacts_in: Law = Field(description="the time from hearing to the check, a distribution")


class When(Part):
    """The observations under which a step is done: all that are named must hold.

    Any other key is a need, with a comparison of its level.
    """

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, Compared] = Field(init=False)

    waste: Compared | None = Field(default=None, description="a comparison of the pile of waste")
    ill: YesNo | None = Field(default=None, description="yes or no: whether the pet is ill")
    asleep: YesNo | None = Field(default=None, description="yes or no: whether it is asleep")
    lights: OnOff | None = Field(default=None, description="on or off: how the lights are")
    calling: YesNo | None = Field(default=None, description="yes or no: whether it calls")
    stage: NameSet | None = Field(default=None, description="a stage, a list, or 'not' and one")
    form: NameSet | None = Field(default=None, description="a form, a list, or 'not' and one")
    weight: Compared | None = Field(default=None, description="a comparison of the weight")
    clock: ClockWindow | None = Field(default=None, description="a clock window")

    @property
    def levels(self) -> dict[str, Comparison]:
        """The comparisons of needs."""
        return self.__pydantic_extra__

    def misfits(self) -> Iterator[MisfitError]:
        """Refuse a condition of nothing."""
        if not self.model_fields_set:
            yield MisfitError("expected at least one condition", "found none")


class Step(Part):
    """One step of the routine."""

    when: When | None = Field(default=None, description="the conditions of the step")
    do: str = Field(description="the action to do")
    repeat: Annotated[int, REPEAT] = Field(
        default=1, description="how often at most, or until met (up to 20 times)"
    )


class SignalEye(Part):
    """How a yes/no signal, or the pile of waste, is misjudged."""

    overlooks: Chance = Field(default=0.0, description="the chance to miss what is there")
    imagines: Chance = Field(default=0.0, description="the chance to see what is not there")


class LevelEye(Part):
    """How the level of a need is misread."""

    misreads: Chance = Field(description="the chance to read a level one off")


class SignalChange(Part):
    """Other rates for a signal; None keeps the usual one."""

    overlooks: Chance | None = Field(
        default=None, description="the chance not to see what is there"
    )
    imagines: Chance | None = Field(default=None, description="the chance to see what is not there")


class EyesWindow(Part):
    """Other rates of error while a clock window holds; any other key is a need."""

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, LevelEye] = Field(init=False)

    during: ClockWindow = Field(description="the clock window, such as 12:00 to 14:00")
    waste: SignalChange = Field(default=SignalChange(), description="errors in seeing waste")
    ill: SignalChange = Field(default=SignalChange(), description="errors in seeing illness")
    asleep: SignalChange = Field(default=SignalChange(), description="errors in seeing sleep")
    lights: SignalChange = Field(default=SignalChange(), description="errors in seeing the lights")
    calling: SignalChange = Field(default=SignalChange(), description="errors in seeing a call")

    @property
    def levels(self) -> dict[str, LevelEye]:
        """The errors in reading needs."""
        return self.__pydantic_extra__


class Looks(Part):
    """How many looks make an observation, and how many must agree on a yes/no signal."""

    of: Annotated[int, count_type(1, MOST_LOOKS)] = Field(
        default=1, description="the number of looks of an observation"
    )
    agree: Annotated[int, count_type(1, MOST_LOOKS)] = Field(
        default=1, description="how many of them must show a signal for it to be believed"
    )

    def misfits(self) -> Iterator[MisfitError]:
        """Refuse more that agree than look."""
        if self.agree > self.of:
            yield MisfitError(f"expected at most {self.of}, the number of looks", at=("agree",))


class Eyes(Part):
    """How observations err; any other key is a need."""

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, LevelEye] = Field(init=False)

    waste: SignalEye = Field(default=SignalEye(), description="errors in seeing waste")
    ill: SignalEye = Field(default=SignalEye(), description="errors in seeing illness")
    asleep: SignalEye = Field(default=SignalEye(), description="errors in seeing sleep")
    lights: SignalEye = Field(default=SignalEye(), description="errors in seeing the lights")
    calling: SignalEye = Field(default=SignalEye(), description="errors in seeing a call")
    windows: tuple[EyesWindow, ...] = Field(
        default=(), description="other rates in clock windows; the first that holds counts"
    )
    looks: Looks = Field(default=Looks(), description="how many looks make an observation")

    @property
    def levels(self) -> dict[str, LevelEye]:
        """The errors in reading needs."""
        return self.__pydantic_extra__

    def misfits(self) -> Iterator[MisfitError]:
        """Refuse a median of an even number of readings."""
        levels = [self.levels, *(window.levels for window in self.windows)]
        misread = any(eye.misreads > 0 for part in levels for eye in part.values())
        if misread and self.looks.of % 2 == 0:
            expected = "expected an odd number, as levels are misread and the middle look counts"
            yield MisfitError(expected, at=("looks", "of"))


class Opening(Part):
    """What opening a check costs."""

    takes: Delay = Field(default=0, description="the time it takes")
    presses: Natural = Field(default=0, description="the presses it costs")


class Hand(Part):
    """What an action costs, and the chance that it slips."""

    takes: Delay = Field(default=0, description="the time it takes")
    presses: Natural = Field(default=1, description="the presses it costs")
    slips: Chance = Field(default=0.0, description="the chance that it does not land")


class Hands(Part):
    """The costs of opening a check and of each action; any key but `opening` is an action."""

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, Hand] = Field(init=False)

    opening: Opening = Field(default=Opening(), description="what opening a check costs")

    @property
    def actions(self) -> dict[str, Hand]:
        """The costs of the actions that are named."""
        return self.__pydantic_extra__

    def of(self, action: str) -> Hand:
        """Return what an action costs, whether it is named or not."""
        return self.actions.get(action, Hand())


class Outages(Part):
    """Alternating times in which the caretaker works and does not."""

    up: Law = Field(description="the time to the next outage, a distribution")
    down: Law = Field(description="the time an outage lasts, a distribution")


class Regime(File):
    """A way of caring for a pet."""

    petsim: Literal["regime 1"] = Field(description="'regime 1', the kind and version of the file")
    name: Title = Field(description="the name of the regime")
    about: str = Field(default="", description="a sentence about it")
    checks: Checks = Field(default=Checks(), description="when the caretaker looks in")
    listens: Listens | None = Field(default=None, description="hearing the pet call. Deaf without")
    routine: tuple[Step, ...] = Field(default=(), description="the steps of a check, in order")
    passes: Annotated[int, count_type(1, MOST_REPEATS)] = Field(
        default=1, description="how often at most a check goes through the routine"
    )
    eyes: Eyes = Field(default=Eyes(), description="how observations err")
    hands: Hands = Field(default=Hands(), description="what actions cost, and how they slip")
    outages: Outages | None = Field(
        default=None, description="when the caretaker is out. Never without"
    )
    quiet_hours: tuple[ClockWindow, ...] = Field(
        default=(), description="clock windows in which presses are counted apart"
    )


def read_regime(document: Document, model: Model | None) -> Regime:
    """Return the regime of a document, checked against a model if there is one.

    Raises SpecError with everything that is wrong with it.
    """
    regime, faults = validate(Regime, document.data)
    faults += _faults_of_repeats(document)
    if model is not None:
        faults += faults_together(document, model)
    problems = document.problems(faults)
    if problems:
        raise SpecError(problems)
    assert regime is not None
    return regime.read_from(document)


def _faults_of_repeats(document: Document) -> Iterator[Fault]:
    for index in range(len(document.sequence("routine"))):
        steps = ("routine", index)
        until_met = document.text(*steps, "repeat") == "until met"
        if until_met and document.at(*steps, "when") is None:
            found = "found 'until met' in a step without `when`"
            yield Fault((*steps, "repeat"), found, "expected a number, or conditions to be met")


def faults_together(document: Document, model: Model) -> Iterator[Fault]:
    """Yield what keeps a regime's document from being followed with a model."""
    yield from unknown_keys(document, ("checks", "by stage"), "stage", model.stages)
    for index in range(len(document.sequence("routine"))):
        yield from _faults_of_step(document, ("routine", index), model)
    yield from _unknown_more(document, ("eyes",), Eyes, "need", model.needs)
    for index in range(len(document.sequence("eyes", "windows"))):
        steps = ("eyes", "windows", index)
        yield from _unknown_more(document, steps, EyesWindow, "need", model.needs)
    yield from _unknown_more(document, ("hands",), Hands, "action", model.care)


def _unknown_more(
    document: Document, steps: Steps, part: type[Part], kind: str, known: Collection[str]
) -> Iterator[Fault]:
    """Yield the faults of keys that are neither the part's own nor known."""
    own = [str(field.alias) for field in part.model_fields.values()]
    for key in document.mapping(*steps):
        if key not in own and near_miss(key, known) is None and near_miss(key, own):
            yield from unknown_name((*steps, key), "key", key, own, of_key=True)
        elif key not in own:
            yield from unknown_name((*steps, key), kind, key, known, of_key=True)


def _faults_of_step(document: Document, steps: Steps, model: Model) -> Iterator[Fault]:
    action = document.text(*steps, "do")
    if action is not None:
        yield from unknown_name((*steps, "do"), "action", action, model.care)
    when = (*steps, "when")
    yield from _unknown_more(document, when, When, "need", model.needs)
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
    """Stages and forms that do not exist, or never together."""
    stage = _names(document, (*when, "stage"))
    form = _names(document, (*when, "form"))
    unknown_names = [
        *_unknown_listed(document, (*when, "stage"), "stage", stage, model.stages),
        *_unknown_listed(document, (*when, "form"), "form", form, model.forms),
    ]
    yield from unknown_names
    if unknown_names:
        return
    admitted = [name for name in model.forms if form is None or form.holds(name)]
    if not any(stage is None or stage.holds(model.forms[name].stage) for name in admitted):
        steps = (*when, "stage" if form is None else "form")
        yield Fault(steps, "found a condition that no form meets", "expected one that can hold")


def _names(document: Document, steps: Steps) -> Names | None:
    try:
        return names(document.at(*steps))
    except MisfitError:
        return None


def _unknown_listed(
    document: Document, steps: Steps, kind: str, named: Names | None, known: Collection[str]
) -> Iterator[Fault]:
    for index, name in enumerate(named.names if named else ()):
        listed = isinstance(document.at(*steps), list)
        yield from unknown_name((*steps, index) if listed else steps, kind, name, known)
