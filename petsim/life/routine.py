"""A regime's routine as a policy."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
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
        self._steps = [(None if step.when is None else tests(step.when), step) for step in steps]
        self._passes = passes

    def check(self, look: Look) -> Iterator[str]:
        """One check: passes until one does nothing; steps without a condition only in the first."""
        for number in range(self._passes):
            acted = False
            for when, step in self._steps:
                if when is None and number > 0:
                    continue
                for _ in range(step.repeat):
                    if when is not None and not holds(when, look()):
                        break
                    if step.look:
                        read(step.look, look())
                    else:
                        yield step.do
                        acted |= when is not None
            if not acted:
                return


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
