"""The light that a caretaker sees the pet by: now and then, a spell of bad light."""

from __future__ import annotations

from petsim.life.kinds import EventKind, Turn
from petsim.life.reference.luck import Luck
from petsim.life.reference.phases import Phase, take_turns
from petsim.life.reference.tally import Tally
from petsim.life.reference.timers import Seconds, order
from petsim.spec.eyes import Spells


class Light:
    """How the light is: clear at first, then spells and clear times take turns.

    is_bad: whether there is a spell now.
    """

    def __init__(self, spells: Spells | None, env: Seconds, luck: Luck, tally: Tally) -> None:
        self.is_bad = False
        self._env = env
        self._tally = tally
        if spells is not None:
            phases = (
                Phase(spells.clear, "clear times", self._worsens),
                Phase(spells.lasts, "spell times", self._clears),
            )
            take_turns(phases, env, luck, order(Turn.OUTAGE, 1))

    def _worsens(self) -> None:
        self.is_bad = True
        self._tally.enter("spells_s", self._env.now)
        self._tally.note(self._env.now, EventKind.SPELL_BEGINS)

    def _clears(self) -> None:
        self.is_bad = False
        self._tally.leave("spells_s", self._env.now)
        self._tally.note(self._env.now, EventKind.SPELL_ENDS)
