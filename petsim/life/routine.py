"""A regime's routine as a policy."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from petsim.life.policy import Clock, Look, Observation
from petsim.spec.quantities import Window
from petsim.spec.regime import Step, When

Test = tuple[str, Callable[[Any], bool]]


class Routine:
    """Steps carried out in order, in one pass or more; the same in every check.

    passes: how many passes a check makes at most.
    """

    def __init__(self, steps: tuple[Step, ...], passes: int) -> None:
        self._steps = [
            (None if step.when is None else tests(step.when), step.do, step.repeat)
            for step in steps
        ]
        self._passes = passes

    def check(self, look: Look) -> Iterator[str]:
        """One check: passes until one does nothing; steps without a condition only in the first."""
        for number in range(self._passes):
            acted = False
            for when, action, repeat in self._steps:
                if when is None:
                    for _ in range(repeat if number == 0 else 0):
                        yield action
                    continue
                for _ in range(repeat):
                    if not holds(when, look()):
                        break
                    yield action
                    acted = True
            if not acted:
                return


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
    comparisons = {"waste": when.waste, "weight": when.weight, **when.levels}
    names = {"stage": when.stage, "form": when.form}
    conditions += [
        (signal, test.holds) for signal, test in (comparisons | names).items() if test is not None
    ]
    if when.clock is not None:
        conditions.append(("clock", _clock_test(when.clock)))
    return conditions


def _clock_test(window: Window) -> Callable[[Clock], bool]:
    return lambda clock: clock.within(window)
