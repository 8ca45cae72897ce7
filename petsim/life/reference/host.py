"""The caretaker's host in a simulated life: its clock, eyes, ears, memory, hands and power."""

from __future__ import annotations

from functools import partial
from typing import Any

from petsim.life import draws
from petsim.life.caretaker import Act, Rounds
from petsim.life.kinds import EventKind, Turn
from petsim.life.luck import Luck
from petsim.life.mishaps import LATE, OUTAGE, UNHEARD, Mishaps
from petsim.life.policy import Observation, Policy
from petsim.life.reference.care import Care
from petsim.life.reference.errors import Thresholds
from petsim.life.reference.eyes import NotedSight, Sight
from petsim.life.reference.pet import Pet
from petsim.life.reference.phases import Phase, Turns
from petsim.life.reference.tally import Tally
from petsim.life.reference.timers import Seconds, Timer, order
from petsim.life.state import ActUnderWay, State
from petsim.spec.model import Model
from petsim.spec.regime import Regime

# Within the caretaker's turn: what is under way goes on before the check that comes.
_ACT_ENDS = order(Turn.CARETAKER, 0)
_CHECK_COMES = order(Turn.CARETAKER, 1)

_COLUMNS = {
    EventKind.CHECK: "checks",
    EventKind.CHECK_SKIPPED: "checks_skipped",
    EventKind.CHECK_FORGOTTEN: "checks_forgotten",
}


class SimulatedHost:
    """The world that a caretaker works in for one simulated life; see `petsim.life.caretaker`.

    sight: an observation of the pet as it is whenever a signal is read.
    """

    def __init__(
        self,
        model: Model,
        regime: Regime,
        policy: Policy,
        sight: Sight,
        pet: Pet,
        env: Seconds,
        luck: Luck,
        errors: Thresholds,
        mishaps: Mishaps,
        tally: Tally,
        start: State | None,
    ) -> None:
        self._regime = regime
        self._sight = sight
        self._pet = pet
        self._env = env
        self._luck = luck
        self._mishaps = mishaps
        self._tally = tally
        self._slips = {
            action: (errors[f"slips {action}"], draws.error_step(hand.slips))
            for action, hand in regime.hands.actions.items()
        }
        self._forgetting = errors["forgets"]
        self._act_is_over = Timer(env, _ACT_ENDS, self._act_ends)
        self._landing: str | None = None
        self._has_slipped = False
        self._care = Care(model, pet, luck, tally)
        self._bell = Timer(env, _CHECK_COMES, self._rings)
        is_late = partial(mishaps.happens, LATE)
        self._rounds = Rounds(model, regime, policy, self, luck, start, is_late)
        self._is_out = start is not None and not start.power
        self._power: Turns | None = None
        if regime.outages is None:
            return
        phases = (
            Phase(regime.outages.up, "up times", self._power_fails),
            Phase(regime.outages.down, "down times", self._power_returns),
        )
        self._power = Turns("power", phases, env, luck, order(Turn.OUTAGE, 0))
        self._power.begin(start, int(self._is_out))

    def go_on(self, start: State) -> None:
        """Go on with what a state says that was under way, now that the pet is there."""
        if start.act is not None:
            self._act_is_over.resume(start.act.ends)
            self._landing, self._has_slipped = start.act.lands or None, start.act.has_slipped
        self.grow()

    def state(self) -> dict[str, Any]:
        """Return what a state says of the caretaker and its world."""
        return {
            **self._rounds.state(),
            "due": {} if self._power is None else self._power.due,
            "act": self._act(),
        }

    def _act(self) -> ActUnderWay | None:
        ends, at = self._act_is_over.at, self._rounds.position
        if ends is None:
            return None
        return ActUnderWay(
            ends=ends,
            lands=self._landing or "",
            has_slipped=self._has_slipped and self._landing is not None,
            is_cut=self._rounds.is_cut,
            **at._asdict(),
        )

    # Eyes

    @property
    def stage(self) -> str:
        """The stage the pet is in."""
        return self._pet.form.stage

    def look(self) -> Observation:
        """What is seen of the pet now."""
        if not self._tally.traced:
            return self._sight
        return NotedSight(self._sight, self._rounds.step, self._env, self._tally)

    # Clock

    def grow(self) -> None:
        """The pet has grown, or was born."""
        self._rounds.grow(self._env.now)
        self._set_bell()

    def hear(self) -> None:
        """The pet begins to call: it may be heard, and answered after a while."""
        listens = self._regime.listens
        if listens is None:
            return
        heard = self._luck["hears"].next() < listens.hears
        if not heard and self._mishaps.happens(UNHEARD):
            return
        # of its own source for a call that was withheld to go unheard: other calls keep theirs
        source = "reaction" if heard else "reaction, unheard"
        reaction = draws.sample(listens.reacts_in, self._luck[source].next())
        self._rounds.answer(self._env.now + reaction)
        self._set_bell()

    def _set_bell(self) -> None:
        second = self._rounds.next_second
        if second is None:
            self._bell.cancel()
        elif second != self._bell.at:
            self._bell.set(second - self._env.now)

    def _rings(self) -> None:
        comes = self._rounds.ring(self._env.now)
        self._set_bell()
        for kind in comes:
            self._tally.note(self._env.now, kind)
            self._tally.count(_COLUMNS[kind])
        if EventKind.CHECK in comes:
            self._go_on()

    # Memory

    def forgets(self) -> bool:
        """Whether the check that would start now is forgotten."""
        checks, clock = self._regime.checks, self._pet.clock
        special = (chance for during, chance in checks.forgetful_windows if clock.within(during))
        return self._forgetting.errs(draws.error_step(next(special, checks.forgets)))

    # Hands

    def _go_on(self) -> None:
        """Go on with the check under way until it ends or an act of it takes time."""
        while (act := self._rounds.next_act()) is not None:
            self._press(act)
            self._start(act.action)
            if act.takes:
                self._act_is_over.set(act.takes)
                return
            self._land()

    def _start(self, action: str | None) -> None:
        """Start an action, which may slip, or the opening of a check, which can't."""
        self._landing, self._has_slipped = action, False
        if action not in self._slips:
            return
        slips, step = self._slips[action]
        errs = slips.errs(step)
        if not errs and not slips.is_withheld:
            return
        # chosen for one that is withheld too, so that each later one keeps its own
        instead = self._instead_of(action)
        if errs:
            self._landing, self._has_slipped = instead, True
            self._tally.count(f"slipped.{action}")
            self._tally.note(self._env.now, EventKind.SLIPPED, action)

    def _act_ends(self) -> None:
        self._land()
        self._go_on()

    def _land(self) -> None:
        """The action that is being done reaches the pet, or what a slip has made of it."""
        if self._landing is not None:
            self._care.land(self._landing)
            self._landing = None

    def _instead_of(self, action: str) -> str | None:
        """The action that lands instead of one that has slipped; None if nothing does."""
        into = self._regime.hands.of(action).into
        if not into:
            return None
        # the rest of the chance is for nothing
        place = draws.choose([*into.values(), 1.0], self._luck[f"instead {action}"].next())
        return [*into, None][place]

    def _press(self, act: Act) -> None:
        if act.action is not None:
            self._tally.begin(self._env.now, act.action, act.presses, act.takes)
        if act.presses == 0:
            return
        self._tally.count("presses", act.presses)
        for window in self._regime.quiet_hours:
            if self._pet.clock.within(window):
                self._tally.count("quiet_presses", act.presses)
                return

    def cut_off(self) -> None:
        """The life has ended: an action under way never lands, and one that slipped never would."""
        if self._landing is not None and not self._has_slipped:
            self._tally.count("cut_off")

    # Power

    def _power_fails(self) -> None:
        self._is_out = self._mishaps.happens(OUTAGE)
        if not self._is_out:
            return
        self._rounds.power_fails()
        self._tally.note(self._env.now, EventKind.OUTAGE_BEGINS)

    def _power_returns(self) -> None:
        if not self._is_out:  # the outage was withheld
            return
        self._rounds.power_returns()
        self._tally.note(self._env.now, EventKind.OUTAGE_ENDS)
