"""Care as data: what a regime file says.

What each part must be is checked here, as it is read; what must hold between parts, and between a
regime and a model, in `regime_checks`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from itertools import pairwise
from typing import Annotated, Literal

from pydantic import ConfigDict, Field

from petsim.errors import MisfitError
from petsim.spec.clocks import Window
from petsim.spec.eyes import Eyes
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
    SignalList,
    Span,
    SpanNeverOrUsual,
    SpanOrNever,
    SpanOrRandom,
    TimeOfDay,
    Title,
    YesNo,
    count_type,
    either,
)
from petsim.spec.model import MOST_DISCIPLINE
from petsim.spec.parts import File, Part
from petsim.spec.quantities import WEEK, Bound, chance_text, count, duration_text

FORMAT = "regime 1"
"""The first line of a regime file, after `petsim:`."""
UNTIL_MET = 20
"""Repetitions that `until met` permits."""
MOST_REPEATS = 1000
BESIDE_TIMES = {"every": "every", "first": "first", "by_stage": "by stage"}
"""The fields of checks and their keys that are refused beside clock times."""
MARGIN = 1e-9
"""How far chances that sum to 1 may be over it, as they are rounded."""
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
    """Another interval, another chance to forget a check, or both, while a clock window holds.

    every: in seconds, None for never, "usual" where the interval stays as it is.
    """

    during: ClockWindow = Field(description="the clock window, such as 22:30 to 07:00 on Mon-Fri")
    every: SpanNeverOrUsual = Field(
        default="usual", description="the interval of checks in it, or never"
    )
    forgets: Chance | None = Field(
        default=None, description="the chance that a check in it is forgotten"
    )

    def misfits(self) -> Iterator[MisfitError]:
        """Refuse a window in which nothing is otherwise."""
        if self.every == "usual" and self.forgets is None:
            yield MisfitError(
                "expected the interval of checks in it, or never", "missing", ("every",)
            )


class Checks(Part):
    """When the caretaker looks in."""

    every: SpanOrNever = Field(default=None, description="the interval of checks, or never")
    at: tuple[TimeOfDay, ...] = Field(
        default=(), description="the clock times of checks, instead of an interval"
    )
    first: SpanOrRandom = Field(
        default="random", description="the time of the first check from birth, or random"
    )
    jitter: Span | None = Field(default=None, description="the longest time a check comes late")
    late: Law | None = Field(
        default=None, description="the time a check comes late, a distribution, instead of jitter"
    )
    forgets: Chance = Field(default=0.0, description="the chance that a check is forgotten")
    by_stage: dict[str, SpanOrNever] = Field(
        default={}, description="for each stage another interval, or never"
    )
    windows: tuple[CheckWindow, ...] = Field(
        default=(),
        description="intervals, or chances to forget, in clock windows; the first that holds and "
        "names one counts",
    )

    @property
    def refused_keys(self) -> Collection[str]:
        """The fields of intervals, beside clock times."""
        return BESIDE_TIMES.values() if self.at else ()

    @property
    def interval_windows(self) -> tuple[tuple[Window, int | None], ...]:
        """The clock windows that name an interval, each with it in seconds, None for never."""
        named = ((window.during, window.every) for window in self.windows)
        return tuple((during, every) for during, every in named if not isinstance(every, str))

    @property
    def forgetful_windows(self) -> tuple[tuple[Window, float], ...]:
        """The clock windows that name a chance to forget a check, each with it."""
        named = ((window.during, window.forgets) for window in self.windows)
        return tuple((during, chance) for during, chance in named if chance is not None)

    @property
    def seconds_due(self) -> list[int]:
        """The seconds of a week, from Monday 0:00, at which a check is due by `at`, in order."""
        return sorted({second for time in self.at for second in time.seconds_of_week()})

    @property
    def gaps(self) -> list[int]:
        """The seconds from each of these to the next, from the last to the first of next week."""
        due = self.seconds_due
        return [b - a for a, b in pairwise([*due, *(second + WEEK for second in due[:1])])]

    @property
    def shortest_gap(self) -> int | None:
        """The least time from one due check to the next, in seconds, windows of never apart.

        None if there is no grid.
        """
        if self.at:
            return min(self.gaps)
        intervals = [self.every, *(every for _, every in self.interval_windows)]
        return min((every for every in intervals if every is not None), default=None)

    def misfits(self) -> Iterator[MisfitError]:
        """Refuse a random start of no interval, and lateness that lets checks overtake."""
        if self.at:
            yield from self._misfits_of_clock_times()
        every = [every for _, every in self.interval_windows]
        has_grid = any((*every, *self.by_stage.values()))
        if self.first == "random" and self.every is None and has_grid and not self.at:
            expected = "expected a time from birth, such as 0 s, or the interval `every`"
            yield MisfitError(
                expected, "found a random first check without an interval", ("first",)
            )
        for name in ("jitter", "late"):
            if getattr(self, name) is not None and self.by_stage:
                yield MisfitError(f"expected no {name} where intervals go by stage", at=(name,))
        if self.jitter is None:
            return
        if self.late is not None:
            yield MisfitError("expected jitter or late, not both", at=("late",))
        if self.shortest_gap is not None and self.jitter >= self.shortest_gap:
            least = "the least time between clock times" if self.at else "the smallest interval"
            expected = f"expected less than {least}, {duration_text(self.shortest_gap)}"
            yield MisfitError(expected, at=("jitter",))

    def _misfits_of_clock_times(self) -> Iterator[MisfitError]:
        """Refuse intervals beside clock times, but for windows without checks."""
        for attribute, name in BESIDE_TIMES.items():
            if attribute in self.model_fields_set:
                yield MisfitError(f"expected no `{name}` beside clock times in `at`", at=(name,))
        for index, window in enumerate(self.windows):
            if isinstance(window.every, int):
                yield MisfitError(
                    "expected never, as checks come at clock times", at=("windows", index, "every")
                )


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
    discipline: Compared | None = Field(
        default=None, description="a comparison of the discipline, from 0 to 100"
    )
    clock: ClockWindow | None = Field(default=None, description="a clock window")

    @property
    def levels(self) -> dict[str, Bound]:
        """The comparisons of needs."""
        return self.__pydantic_extra__

    def misfits(self) -> Iterator[MisfitError]:
        """Refuse a condition of nothing, and what discipline never is."""
        if not self.model_fields_set:
            yield MisfitError("expected at least one condition", "found none")
        if self.discipline is not None and not self.discipline.possible(MOST_DISCIPLINE):
            expected = f"expected a comparison that can hold, from 0 to {MOST_DISCIPLINE}"
            yield MisfitError(expected, at=("discipline",))


SIGHTS = tuple(str(field.alias) for field in When.model_fields.values())
"""What a step can look at besides needs."""


class Step(Part):
    """One step of the routine: an action to do, or signals to look at.

    do: the action, empty where it looks. look: the signals, none where it does something.
    """

    when: When | None = Field(default=None, description="the conditions of the step")
    do: ActionToDo = Field(default="", description="the action to do")
    look: SignalList = Field(
        default=(), description="the signals to look at, each once, without doing anything"
    )
    repeat: Annotated[int, REPEAT] = Field(
        default=1, description="how often at most, or until met (up to 20 times)"
    )

    @property
    def needs(self) -> tuple[str, ...]:
        """The needs whose levels it looks at."""
        named = (*(self.when.levels if self.when else ()), *self.look)
        return tuple(name for name in named if name not in SIGHTS)

    @property
    def refused_keys(self) -> Collection[str]:
        """A step that only looks is not repeated."""
        return ("repeat",) if self.look else ()

    def misfits(self) -> Iterator[MisfitError]:
        """Refuse a step that neither acts nor looks, one that does both, and a repeated look."""
        if not self.do and not self.look:
            yield MisfitError(
                "expected the action to do, or signals to look at", "missing", ("do",)
            )
        if self.do and self.look:
            yield MisfitError("expected do or look, not both", at=("look",))
        if self.look and "repeat" in self.model_fields_set:
            yield MisfitError("expected no repeat, as it looks once", at=("repeat",))


class Opening(Part):
    """What opening a check costs."""

    takes: Delay = Field(default=0, description="the time it takes")
    presses: Natural = Field(default=0, description="the presses it costs")


class Hand(Part):
    """What an action costs, and the chance that it slips."""

    takes: Delay = Field(default=0, description="the time it takes")
    presses: Natural = Field(default=1, description="the presses it costs")
    slips: Chance = Field(default=0.0, description="the chance that it does not land")
    into: dict[str, Chance] = Field(
        default={},
        description="the actions that land instead of one that slips, each with its chance; "
        "for the rest of the chance nothing lands",
    )

    def misfits(self) -> Iterator[MisfitError]:
        """Refuse chances that sum to more than one."""
        if sum(self.into.values()) > 1 + MARGIN:
            total = chance_text(sum(self.into.values()))
            yield MisfitError(
                "expected at most 100% in all", f"found chances that sum to {total}", ("into",)
            )


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
            *(["at clock times"] if self.checks.at else []),
            *(["by stage"] if self.checks.by_stage else []),
            *(["by the clock"] if self.checks.interval_windows else []),
            *(["on calls"] if self.listens else []),
        ]
        checks = f"checks {', '.join(ways)}" if ways else "no checks"
        steps = "1 step" if len(self.routine) == 1 else f"{len(self.routine)} steps"
        return f"<regime {self.id}: {checks}; {steps}>"
