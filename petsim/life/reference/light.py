"""The light that a caretaker sees the pet by: now and then, a spell of bad light."""

from __future__ import annotations

from petsim.life.kinds import EventKind, Turn
from petsim.life.luck import Luck
from petsim.life.mishaps import SPELL, Mishaps
from petsim.life.reference.phases import Phase, Turns
from petsim.life.reference.tally import Tally
from petsim.life.reference.timers import Seconds, order
from petsim.life.state import State
from petsim.spec.eyes import Spells


class Light:
    """How the light is: clear at first, then spells and clear times take turns.

    is_bad: whether there is a spell now.
    """

    def __init__(
        self,
        spells: Spells | None,
        env: Seconds,
        luck: Luck,
        mishaps: Mishaps,
        tally: Tally,
        start: State | None,
    ) -> None:
        self.is_bad = start is not None and start.in_spell
        self._env = env
        self._mishaps = mishaps
        self._tally = tally
        self._turns: Turns | None = None
        if spells is None:
            return
        phases = (
            Phase(spells.clear, "clear times", self._worsens),
            Phase(spells.lasts, "spell times", self._clears),
        )
        self._turns = Turns("spell", phases, env, luck, order(Turn.OUTAGE, 1))
        self._turns.begin(start, int(self.is_bad))
        if self.is_bad:
            tally.enter("spells_s", env.now)

    @property
    def due(self) -> dict[str, int]:
        """When the light changes next, as a state has it."""
        return {} if self._turns is None else self._turns.due

    def _worsens(self) -> None:
        self.is_bad = self._mishaps.happens(SPELL)
        if not self.is_bad:
            return
        self._tally.enter("spells_s", self._env.now)
        self._tally.note(self._env.now, EventKind.SPELL_BEGINS)

    def _clears(self) -> None:
        if not self.is_bad:  # the spell was withheld
            return
        self.is_bad = False
        self._tally.leave("spells_s", self._env.now)
        self._tally.note(self._env.now, EventKind.SPELL_ENDS)
