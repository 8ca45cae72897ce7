"""Routines a step away from a routine: with a step in or out, two swapped, a threshold moved."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Self, TypeVar

from petsim.errors import MisfitError
from petsim.spec.clocks import Window, window
from petsim.spec.document import Data
from petsim.spec.quantities import DAY
from petsim.spec.regime import Regime

EARLIER, LATER = -1800, 1800
"""The seconds by which an edge of a clock window is moved."""
CLOCK = "clock"
NAMED = ("stage", "form", CLOCK)
"""Conditions of a step that are no comparison with a number."""
_NUMBER = re.compile(r"([a-z ]*)([0-9]+)")

Step = dict[str, Data]
T = TypeVar("T")


@dataclass(frozen=True, eq=False)
class Routine:
    """A routine that was made from that of a regime, and the clock windows of its checks.

    own: the steps of the regime, as its file has them. order: the places of those that are done,
    in order. now: each step as it is now, by its place. windows: when each window holds, and
    own_windows when it did.
    """

    own: tuple[Step, ...]
    order: tuple[int, ...]
    now: tuple[Step, ...]
    own_windows: tuple[str, ...]
    windows: tuple[str, ...]

    @classmethod
    def of(cls, regime: Regime) -> Self:
        """The routine of a regime as it is."""
        document = regime.source()
        steps = tuple(document.mapping("routine", i) for i in range(len(regime.routine)))
        windows = tuple(str(each.during) for each in regime.checks.windows)
        return cls(steps, tuple(range(len(steps))), steps, windows, windows)

    @property
    def changes(self) -> dict[str, Data]:
        """What is changed of the regime, by path; nothing of the one that is as it was."""
        changes: dict[str, Data] = {}
        steps = [self.now[place] for place in self.order]
        if steps != [*self.own]:
            changes["routine"] = [*steps]
        for index, (own, now) in enumerate(zip(self.own_windows, self.windows, strict=True)):
            if now != own:
                changes[f"checks.windows[{index}].during"] = now
        return changes

    @property
    def words(self) -> tuple[str, ...]:
        """What is changed of the regime, a few words each, steps by their numbers from 1."""
        places = tuple(range(len(self.own)))
        as_it_was = replace(self, order=places, now=self.own, windows=self.own_windows)
        return tuple(self._unlike(as_it_was))

    def words_against(self, other: Self) -> tuple[str, ...]:
        """What is otherwise than in another routine of the same regime, in the same words."""
        return tuple(self._unlike(other))

    def _unlike(self, other: Self) -> Iterator[str]:
        for place, step in enumerate(self.own):
            if (place in self.order) != (place in other.order):
                word = "with" if place in self.order else "without"
                yield f"{word} step {place + 1} ({_what(step)})"
        in_both = [place for place in self.order if place in other.order]
        if in_both != [place for place in other.order if place in self.order]:
            yield f"order of steps {', '.join(str(place + 1) for place in self.order)}"
        for place in sorted(self.order):
            before, now = (_conditions(routine.now[place]) for routine in (other, self))
            for name, text in now.items():
                if text != before[name]:
                    yield f"step {place + 1} ({_what(self.own[place])}) at {name} {text}"
        for index, (was, during) in enumerate(zip(other.windows, self.windows, strict=True)):
            if during != was:
                yield f"checks.windows[{index}] {during}"

    def neighbours(self) -> Iterator[Self]:
        """Yield the routines that are one change away."""
        order = self.order
        for place in range(len(self.own)):
            if place in order:
                yield replace(self, order=tuple(p for p in order if p != place))
            else:
                yield replace(self, order=_with(order, place))
        for i in range(len(order) - 1):
            swapped = (*order[:i], order[i + 1], order[i], *order[i + 2 :])
            yield replace(self, order=swapped)
        for place in sorted(order):
            for step in _otherwise(self.now[place]):
                yield replace(self, now=_replaced(self.now, place, step))
        for index, text in enumerate(self.windows):
            for moved in _moved(text):
                yield replace(self, windows=_replaced(self.windows, index, moved))


def _with(order: tuple[int, ...], place: int) -> tuple[int, ...]:
    """An order with one more place, before the first that comes after it."""
    at = next((i for i, other in enumerate(order) if other > place), len(order))
    return (*order[:at], place, *order[at:])


def _replaced(items: Sequence[T], place: int, item: T) -> tuple[T, ...]:
    return (*items[:place], item, *items[place + 1 :])


def _what(step: Step) -> str:
    looked = step.get("look", [])
    return str(step["do"]) if "do" in step else f"look at {', '.join(map(str, looked))}"


def _conditions(step: Step) -> Step:
    when = step.get("when")
    return when if isinstance(when, dict) else {}


def _otherwise(step: Step) -> Iterator[Step]:
    """The step with one of its thresholds or of the edges of its clock window moved."""
    for name, text in _conditions(step).items():
        if not isinstance(text, str):
            continue
        moved = _moved(text) if name == CLOCK else _one_off(text) if name not in NAMED else ()
        for other in moved:
            yield {**step, "when": {**_conditions(step), name: other}}


def _one_off(text: str) -> Iterator[str]:
    """A comparison with a number one down, and one up; nothing of what is none."""
    match = _NUMBER.fullmatch(text)
    if match is not None:
        number = int(match[2])
        yield from (f"{match[1]}{other}" for other in (number - 1, number + 1) if other >= 0)


def _moved(text: str) -> Iterator[str]:
    """A clock window with one of its edges earlier or later."""
    there = window(text)
    for by in (EARLIER, LATER):
        for start, end in ((there.start + by, there.end), (there.start, there.end + by)):
            moved = Window(start % DAY, (end - 1) % DAY + 1, there.weekdays)
            try:
                yield str(window(str(moved)))
            except MisfitError:  # as nothing is left of it
                continue
