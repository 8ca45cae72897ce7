"""The light that a caretaker sees the pet by: now and then, a spell of bad light."""

from __future__ import annotations

from petsim.life.kinds import EventKind, Turn
from petsim.life.luck import Luck
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
        tally: Tally,
        start: State | None,
    ) -> None:
        self.is_bad = start is not None and start.in_spell
        self._env = env
        self._tally = tally
        self._turns: Turns | None = None
        if spells is None:
            return
        phases = (
            Phase(spells.clear, "clear times", self._worsens),
            Phase(spells.lasts, "spell times", self._clears),
        )
        self._turns = Turns(phases, env, luck, order(Turn.OUTAGE, 1))
        if start is None or start.t == 0:
            self._turns.begin()
            return
        self._turns.go_on(int(self.is_bad), start.due["spell"])
        if self.is_bad:
            tally.enter("spells_s", start.t)

    @property
    def due(self) -> dict[str, int]:
        """When the light changes next, as a state has it."""
        at = None if self._turns is None else self._turns.next_at
        return {} if at is None else {"spell": at}

    def _worsens(self) -> None:
        self.is_bad = True
        self._tally.enter("spells_s", self._env.now)
        self._tally.note(self._env.now, EventKind.SPELL_BEGINS)

    def _clears(self) -> None:
        self.is_bad = False
        self._tally.leave("spells_s", self._env.now)
        self._tally.note(self._env.now, EventKind.SPELL_ENDS)
