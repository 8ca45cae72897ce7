"""What a rig counts of a life: checks, presses, the actions it began, and looks that read 0."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from petsim.life.kinds import EventKind
from petsim.spec.model import Model

if TYPE_CHECKING:
    from petsim.life.caretaker import Caretaker
    from petsim.life.record import Life

Of = Literal["checks", "presses", "action", "zero"]
"""What is counted: checks that were started, presses, an action that was begun, whatever became of
it, or looks that read 0 of a need."""


class Counter(NamedTuple):
    """Something that is counted, and the name of the action or the need; empty for the others."""

    of: Of
    name: str = ""

    def __str__(self) -> str:
        return {"action": self.name, "zero": f"{self.name} read 0"}.get(self.of, self.of)


def counters_of(model: Model) -> tuple[Counter, ...]:
    """Return all that can be counted of a model's lives, in the order of its actions and needs."""
    return (
        Counter("checks"),
        Counter("presses"),
        *(Counter("action", action) for action in model.care),
        *(Counter("zero", need) for need in model.needs),
    )


def counters_under(model: Model, caretaker: Caretaker) -> tuple[Counter, ...]:
    """Return what can be counted under a caretaker: without actions or looks that it never does.

    A Python policy may do all of them.
    """
    if caretaker.make is not None:
        return counters_of(model)
    steps = caretaker.regime.routine
    done = {step.do for step in steps}
    seen = {need for step in steps for need in step.needs}
    known = {"action": done, "zero": seen}
    return tuple(each for each in counters_of(model) if each.name in known.get(each.of, ("",)))


def counted(life: Life, seconds: Sequence[int]) -> NDArray[np.int64]:
    """Count what a rig would have counted of a traced life before some seconds, as sights tell it.

    Args:
        life: one of the reference engine, as only that notes what was seen.
        seconds: in order.

    Returns:
        The counts so far, by second and by counter of the model; -1 where the life was over.
    """
    counters = counters_of(life.model)
    times: dict[Counter, list[int]] = {counter: [] for counter in counters}
    opening = life.caretaker.regime.hands.opening.presses
    times[Counter("checks")] = [e.t for e in life.entries if e.event == EventKind.CHECK]
    pressed = [(t, opening) for t in times[Counter("checks")]]
    for begun in life.begun:
        times[Counter("action", begun.action)].append(begun.t)
        pressed.append((begun.t, begun.presses))
    for sight in life.sights:
        if sight.signal in life.model.needs and sight.seen == 0:
            times[Counter("zero", sight.signal)].append(sight.t)
    times[Counter("presses")] = [t for t, presses in sorted(pressed) for _ in range(presses)]
    end = life.summary["end_s"]
    return np.array(
        [
            [-1 if second > end else bisect_left(times[each], second) for each in counters]
            for second in seconds
        ],
        dtype=np.int64,
    )
