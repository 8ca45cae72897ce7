"""A pet's illness: the risk of falling ill, its doses, and what comes of it untreated."""

from __future__ import annotations

import math
from typing import Any

from petsim.life import draws
from petsim.life.kinds import EventKind, Turn
from petsim.life.luck import Luck
from petsim.life.reference.tally import Tally
from petsim.life.reference.timers import Seconds, Timer, order
from petsim.life.state import State
from petsim.spec import model
from petsim.spec.laws import unit_exponential
from petsim.spec.model import UNTREATED
from petsim.spec.quantities import DAY, LONGEST


class IllnessProcess:
    """Whether a pet is ill, and everything of it that falls due.

    Well, it falls ill when the risk it has run, the integral of its rate, reaches a threshold that
    is exponential with mean 1. The rate is constant while nothing that it goes by changes.

    deadline: set while it is ill, for the care miss. death: set while it is ill, for its death.
    """

    def __init__(
        self, env: Seconds, luck: Luck, tally: Tally, deadline: Timer, death: Timer
    ) -> None:
        self._env = env
        self._luck = luck
        self._tally = tally
        self._onset = Timer(env, order(Turn.ILLNESS), self._begin)
        self._deadline = deadline
        self._death = death

        self.ill = False
        self._rules: model.Illness | None = None
        self.doses_left = 0
        self._threshold = 0.0
        self._risk = 0.0
        self._well_rate = 0.0
        self._rate = 0.0
        self._rated_at = 0

    @property
    def timers(self) -> dict[str, Timer]:
        """What of it falls due, by name."""
        return {"illness": self._onset, "illness deadline": self._deadline, UNTREATED: self._death}

    def be_born(self) -> None:
        """Begin well, with a threshold."""
        self._threshold = self._draw_threshold()

    def state(self, t: int) -> dict[str, Any]:
        """Return what a state of second t says of it, but for what falls due."""
        return {
            "ill": self.ill,
            "doses_left": self.doses_left,
            "illness_threshold": self._threshold,
            "illness_risk": self._risk,
            "illness_rated": self._rated_at if self._rate > 0 else t,
        }

    def resume(self, state: State, rules: model.Illness | None) -> None:
        """Be as a state says, under the rules of its form."""
        self.ill, self.doses_left = state.ill, state.doses_left
        self._threshold, self._risk = state.illness_threshold, state.illness_risk
        self._rated_at = state.illness_rated
        self._rules = rules
        self._well_rate = 0.0 if rules is None else _rate(rules, state.pile, state.weight)
        self._rate = 0.0 if self.ill else self._well_rate
        if self.ill:
            self._tally.enter("ill_s", self._env.now)

    def set_risk(self, rules: model.Illness | None, pile: int, weight: int) -> None:
        """From now on the rate is that of these rules for a pile of waste and a weight."""
        self._rules = rules
        self._well_rate = 0.0 if rules is None else _rate(rules, pile, weight)
        self._rerate()

    def treat(self) -> bool:
        """Give a dose; return whether the pet needed it."""
        if not self.ill:
            return False
        self.doses_left -= 1
        if self.doses_left == 0:
            self._end()
        return True

    def _draw_threshold(self) -> float:
        return unit_exponential(self._luck["illness"].next())

    def _rerate(self) -> None:
        """Add up the risk run so far and set the second at which it will reach the threshold."""
        now = self._env.now
        self._risk += self._rate * (now - self._rated_at)
        self._rated_at = now
        self._rate = 0.0 if self.ill else self._well_rate
        if self._rules is not None and self._onset.at == now:
            return  # what falls due in this very second stands
        if self._rate > 0.0:
            wait = min((self._threshold - self._risk) / self._rate, float(LONGEST))
            self._onset.set(max(1, math.ceil(wait)))
        else:
            self._onset.cancel()

    def _begin(self) -> None:
        assert self._rules is not None
        now = self._env.now
        self.ill = True
        numbers, chances = zip(*self._rules.doses.items(), strict=True)
        self.doses_left = numbers[draws.choose(chances, self._luck["doses"].next())]
        self._tally.enter("ill_s", now)
        self._tally.note(now, EventKind.ILL, value=self.doses_left)
        self._rerate()
        self._deadline.start(self._rules.grace)
        self._death.start(self._rules.fatal_after)

    def _end(self) -> None:
        self.ill = False
        self._tally.leave("ill_s", self._env.now)
        self._deadline.cancel()
        self._death.cancel()
        self._threshold = self._draw_threshold()
        self._risk = 0.0
        self._rerate()


def _rate(rules: model.Illness, pile: int, weight: int) -> float:
    """The rate of falling ill while well, per second."""
    heavy = rules.heavy_above
    excess = 0 if heavy is None else max(0, weight - heavy)
    per_day = rules.base + rules.per_waste * pile + rules.per_excess * excess
    return per_day / DAY
