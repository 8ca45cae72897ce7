"""What is drawn of a life: when what was so, and what happened when, by its log."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable
from itertools import groupby
from typing import NamedTuple

from petsim.life.history import CheckDone, History, replay
from petsim.life.kinds import ILLNESS, LIGHTS, WASTE, EventKind
from petsim.life.moments import Moment
from petsim.life.record import Life

CALLS, MISBEHAVES, POWER_OUT, BAD_LIGHT = "calls", "misbehaves", "power out", "bad light"
BARS: dict[str, tuple[str, Callable[[Moment], bool]]] = {
    BAD_LIGHT: (BAD_LIGHT, lambda state: state.in_spell),
    POWER_OUT: (POWER_OUT, lambda state: not state.power),
    ILLNESS: ("ill", lambda state: state.ill),
    LIGHTS: ("lights left on", lambda state: state.asleep and state.lights),
    MISBEHAVES: (MISBEHAVES, lambda state: state.misbehaving),
    CALLS: (CALLS, lambda state: state.calling),
}
"""What is drawn as bars: what is written beside each row, and in which states there is a bar."""
TO_BLAME = (BAD_LIGHT, POWER_OUT, ILLNESS)
"""Those that stand next to the misses, in their order."""


class Try(NamedTuple):
    """An action that a check tried.

    t: when the check came. before: how often it had tried that action by then. done: whether the
    action had its effect.
    """

    t: int
    before: int
    done: bool


class Trace:
    """What is drawn of a life, all times in seconds.

    levels: of each need, and of waste, the times at which it changed, and to what. bars: from
    when to when each of `BARS` held. asleep: when it slept. forms: when it took each, and which.
    misses: of each care miss its time and its cause. checks, skipped: when those came that were
    carried out, and those that were skipped or forgotten. tries: of each action, its attempts.
    """

    def __init__(self, life: Life) -> None:
        history = replay(life)
        self.levels = {need: _steps(history, _level_of(need)) for need in life.model.needs}
        self.levels[WASTE] = _steps(history, lambda state: state.pile)
        self.bars = {name: history.stretches(holds) for name, (_, holds) in BARS.items()}
        self.asleep = history.stretches(lambda state: state.asleep)
        grown = (EventKind.BIRTH, EventKind.TAKEN_OVER, EventKind.GROWTH)
        self.forms = [(entry.t, entry.what) for entry in life.entries if entry.event in grown]
        self.misses = [(e.t, e.what) for e in life.entries if e.event == EventKind.MISS]
        checks = [check for check in history.checks if isinstance(check, CheckDone)]
        self.checks = [check.t for check in checks]
        self.skipped = [c.t for c in history.checks if not isinstance(c, CheckDone)]
        self.tries: dict[str, list[Try]] = defaultdict(list)
        for check in checks:
            before = Counter[str]()
            for attempt in check.attempts:
                own = Try(check.t, before[attempt.action], attempt.fate is EventKind.DONE)
                self.tries[attempt.action].append(own)
                before[attempt.action] += 1

    def missed(self, cause: str) -> list[int]:
        """Return when there were care misses of a cause."""
        return [t for t, own in self.misses if own == cause]


def _level_of(need: str) -> Callable[[Moment], int]:
    return lambda state: state.levels[need]


def _steps(history: History, level: Callable[[Moment], int]) -> list[tuple[int, int]]:
    """When a level changed, and to what, from birth on."""
    return [(next(run).t, value) for value, run in groupby(history.states, key=level)]
