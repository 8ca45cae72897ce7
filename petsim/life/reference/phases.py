"""States that take turns through a whole life, such as power and its outage."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import cycle
from typing import NamedTuple

import simpy
from simpy.events import EventPriority

from petsim.life import draws
from petsim.life.reference.luck import Luck
from petsim.life.reference.timers import Due, Seconds
from petsim.spec.laws import Distribution


class Phase(NamedTuple):
    """A state that takes turns with others.

    lasts: the law of its time. source: the source of chance that its times are drawn from.
    ends: called when a time is over.
    """

    lasts: Distribution
    source: str
    ends: Callable[[], None]


def take_turns(phases: Sequence[Phase], env: Seconds, luck: Luck, priority: EventPriority) -> None:
    """Let phases follow each other in their order, again and again, the first from now on."""
    order = cycle(phases)

    def begin() -> None:
        phase = next(order)

        def is_over(_: simpy.Event) -> None:
            phase.ends()
            begin()

        Due(env, draws.sample(phase.lasts, luck[phase.source].next()), priority, is_over)

    begin()
