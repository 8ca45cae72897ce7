"""Care as data: what a regime file says.

What each part must be is checked here, as it is read; what must hold between parts, and between a
regime and a model, in `regime_checks`.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import ConfigDict, Field

from petsim.errors import MisfitError
from petsim.spec.fields import (
    ActionToDo,
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
from petsim.spec.parts import File, Part
from petsim.spec.quantities import Bound, count, duration_text

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
            expected = "expected a time from birth, such as 0 s, or the interval `every`"
            yield MisfitError(
                expected, "found a random first check without an interval", ("first",)
            )
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
    def levels(self) -> dict[str, Bound]:
        """The comparisons of needs."""
        return self.__pydantic_extra__

    def misfits(self) -> Iterator[MisfitError]:
        """Refuse a condition of nothing."""
        if not self.model_fields_set:
            yield MisfitError("expected at least one condition", "found none")


class Step(Part):
    """One step of the routine."""

    when: When | None = Field(default=None, description="the conditions of the step")
    do: ActionToDo = Field(description="the action to do")
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
    model: str = Field(
        default="",
        description="the name or path of the model it is for, used where none is given",
    )
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

    def __repr__(self) -> str:
        ways = [
            *([f"every {duration_text(self.checks.every)}"] if self.checks.every else []),
            *(["by stage"] if self.checks.by_stage else []),
            *(["by the clock"] if self.checks.windows else []),
            *(["on calls"] if self.listens else []),
        ]
        checks = f"checks {', '.join(ways)}" if ways else "no checks"
        steps = "1 step" if len(self.routine) == 1 else f"{len(self.routine)} steps"
        return f"<regime {self.id}: {checks}; {steps}>"
