"""States that take turns through a whole life, such as power and its outage."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

from simpy.events import EventPriority

from petsim.life import draws
from petsim.life.luck import Luck
from petsim.life.reference.timers import Seconds, Timer
from petsim.life.state import State
from petsim.spec.laws import Distribution


class Phase(NamedTuple):
    """A state that takes turns with others.

    lasts: the law of its time. source: the source of chance that its times are drawn from.
    ends: called when a time is over.
    """

    lasts: Distribution
    source: str
    ends: Callable[[], None]


class Turns:
    """Phases that follow each other in their order, again and again.

    name: what a state calls the second in which the phase that goes on is over.
    """

    def __init__(
        self,
        name: str,
        phases: Sequence[Phase],
        env: Seconds,
        luck: Luck,
        priority: EventPriority,
    ) -> None:
        self._name = name
        self._phases = phases
        self._luck = luck
        self._place = 0
        self._timer = Timer(env, priority, self._is_over)

    @property
    def due(self) -> dict[str, int]:
        """When the phase that goes on is over, as a state has it."""
        return {} if self._timer.at is None else {self._name: self._timer.at}

    def begin(self, start: State | None, place: int) -> None:
        """Begin with the first phase, or go on where a state left off, in the phase of a place."""
        if start is None or start.t == 0:
            self._draw()
        else:
            self._place = place
            self._timer.resume(start.due[self._name])

    def _draw(self) -> None:
        phase = self._phases[self._place]
        self._timer.set(draws.sample(phase.lasts, self._luck[phase.source].next()))

    def _is_over(self) -> None:
        self._phases[self._place].ends()
        self._place = (self._place + 1) % len(self._phases)
        self._draw()
