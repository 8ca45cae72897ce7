"""A regime's routine as a policy."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import Any, NamedTuple

from petsim.life.policy import Clock, Look, Observation
from petsim.spec.clocks import Window
from petsim.spec.regime import Step, When


class Position(NamedTuple):
    """How far a check has come in a routine.

    number: of the pass, from 0. step: the place of the step at hand. times: how often it was done
    in this pass. has_acted: whether a step with a condition was done in this pass.
    """

    number: int = 0
    step: int = 0
    times: int = 0
    has_acted: bool = False


Test = tuple[str, Callable[[Any], bool]]


class Routine:
    """Steps carried out in order, in one pass or more; the same in every check.

    passes: how many passes a check makes at most. position: where it was when it named an action
    last. step: the one at hand, from 1; 0 before the first.
    """

    def __init__(self, steps: tuple[Step, ...], passes: int) -> None:
        self._steps = [(None if step.when is None else tests(step.when), step) for step in steps]
        self._passes = passes
        self.position = Position()
        self.step = 0

    def check(self, look: Look) -> Iterator[str]:
        """One check: passes until one does nothing; steps without a condition only in the first."""
        return self.go_on(look, Position())

    def go_on(self, look: Look, position: Position) -> Iterator[str]:
        """The rest of a check, from a position on."""
        number, place, times, acted = self.position = position
        while number < self._passes:
            for step in range(place, len(self._steps)):
                self.step = step + 1
                for action in self._step(step, times, number, look):
                    times, acted = times + 1, acted or self._steps[step][0] is not None
                    self.position = Position(number, step, times, acted)
                    yield action
                times = 0
            if not acted:
                return
            number, place, acted = number + 1, 0, False

    def _step(self, place: int, times: int, number: int, look: Look) -> Iterator[str]:
        """The actions of a step in a pass of this number, after it was done some times in it."""
        when, step = self._steps[place]
        if when is None and number > 0:
            return
        for _ in range(times, step.repeat):
            if when is not None and not holds(when, look()):
                return
            if step.look:
                read(step.look, look())
            else:
                yield step.do


def read(signals: Iterable[str], seen: Observation) -> None:
    """Read each signal once, in order: a step that looks does so for whoever records it."""
    for signal in signals:
        seen[signal]


def holds(when: list[Test], seen: Observation) -> bool:
    """Whether all conditions hold. Each is read even if an earlier one fails: a look is whole."""
    verdict = True
    for signal, test in when:
        verdict &= test(seen[signal])
    return verdict


def tests(when: When) -> list[Test]:
    """A step's conditions as (signal, test of the value seen), in a fixed order."""
    conditions: list[Test] = []
    for signal in ("ill", "asleep", "calling"):
        wanted = getattr(when, signal)
        if wanted is not None:
            conditions.append((signal, wanted.__eq__))
    if when.lights is not None:
        conditions.append(("lights", (when.lights == "on").__eq__))
    plain = {"weight": when.weight, "discipline": when.discipline}
    comparisons = {"waste": when.waste, **plain, **when.levels}
    names = {"stage": when.stage, "form": when.form}
    conditions += [
        (signal, test.holds) for signal, test in (comparisons | names).items() if test is not None
    ]
    if when.clock is not None:
        conditions.append(("clock", _clock_test(when.clock)))
    return conditions


def _clock_test(window: Window) -> Callable[[Clock], bool]:
    return lambda clock: clock.within(window)
