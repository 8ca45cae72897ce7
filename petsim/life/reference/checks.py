"""The caretaker at work: when checks come, how one is carried out, and the power that may fail."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import NamedTuple

import simpy

from petsim.life import draws
from petsim.life.kinds import EventKind, Turn
from petsim.life.policy import Observation, Policy
from petsim.life.reference.eyes import Errors
from petsim.life.reference.luck import Luck
from petsim.life.reference.pet import Pet
from petsim.life.reference.tally import Tally
from petsim.life.reference.timers import Due, Seconds, Timer, order
from petsim.spec.quantities import Distribution
from petsim.spec.regime import CheckWindow, Regime

# Within the caretaker's turn: what is under way goes on before the check that comes. Of checks of
# one second the heard one is first, so that it is pending no more when a call is heard in it.
_UNDER_WAY = order(Turn.CARETAKER, 0)
_HEARD = order(Turn.CARETAKER, 1)
_GRID = order(Turn.CARETAKER, 2)
_LATE = order(Turn.CARETAKER, 3)


class Hand(NamedTuple):
    """What an action costs and how it slips."""

    takes: int
    presses: int
    slip_step: int
    slips: Errors


class Checks:
    """All that a caretaker does in one life."""

    def __init__(self, regime: Regime, env: Seconds, luck: Luck, tally: Tally, pet: Pet) -> None:
        self._regime = regime
        self._env = env
        self._luck = luck
        self._tally = tally
        self._pet = pet
        self._under_way: Iterator[int] | None = None
        self._cut = False
        self._power = True
        self._counted_at = -1
        self._late_at = -1
        self._landing: str | None = None
        self._grid = Timer(env, _GRID, self._grid_rings)
        self._heard = Timer(env, _HEARD, self._heard_comes)
        self._first = self._first_check()
        windows = regime.checks.windows
        self._edges = [edge for w in windows for edge in (w.during.start, w.during.end)]
        self._hands = {action: self._hand(action) for action in pet.care}

    def attend(self, policy: Policy, sight: Observation) -> None:
        """Look after the pet from second 0, as this policy says, seeing it in this way."""
        self._policy = policy
        self._sight = sight
        if self._regime.outages is not None:
            self._power_lasts()

    def _hand(self, action: str) -> Hand:
        hand = self._regime.hands.of(action)
        step = draws.error_step(hand.slips)
        return Hand(hand.takes, hand.presses, step, Errors(self._luck[f"slips {action}"]))

    # When checks come

    def _first_check(self) -> int:
        checks = self._regime.checks
        if checks.first != "random":
            return checks.first
        if checks.every is None:
            return 0
        return math.floor(self._luck["first check"].next() * checks.every)

    def grid_changes(self) -> None:
        """The pet has grown: its stage may have an interval of its own from this second on."""
        self._aim(self._env.now)

    def _aim(self, start: int) -> None:
        """Set the grid's timer to the first second from start that is due, or may change what is.

        At a window's edge the interval in force may change, so the timer rings there as well and
        aims again.
        """
        now, interval = self._env.now, self._interval(start)
        waits = [self._pet.next_time(edge, start) - now for edge in self._edges]
        if start < self._first:
            waits.append(self._first - now)
        elif interval is not None:
            waits.append((self._first - start) % interval + start - now)
        if waits:
            self._grid.set(min(waits))

    def _grid_rings(self) -> None:
        now = self._env.now
        interval = self._interval(now)
        if now >= self._first and interval is not None and (now - self._first) % interval == 0:
            self._falls_due()
        self._aim(now + 1)

    def _falls_due(self) -> None:
        now, jitter = self._env.now, self._regime.checks.jitter
        if jitter is None:
            self._comes()
            return
        late = math.floor(self._luck["jitter"].next() * (jitter + 1))
        self._late_at = max(now + late, self._late_at + 1)
        Due(self._env, self._late_at - now, _LATE, self._late_comes)

    def _late_comes(self, _: simpy.Event) -> None:
        if self._interval(self._env.now) is not None:
            self._comes()

    def hear(self) -> None:
        """The pet begins to call: it may be heard, and answered after a while."""
        listens = self._regime.listens
        if listens is None or self._luck["hears"].next() >= listens.hears:
            return
        reaction = draws.sample(listens.reacts_in, self._luck["reaction"].next())
        if self._heard.at is None or self._env.now + reaction < self._heard.at:
            self._heard.set(reaction)

    def _heard_comes(self) -> None:
        window = self._window(self._env.now)
        if window is None or window.every is not None:
            self._comes()

    def _window(self, t: int) -> CheckWindow | None:
        """The first listed window that holds at t."""
        for window in self._regime.checks.windows:
            if self._pet.within(window.during, t):
                return window
        return None

    def _interval(self, t: int) -> int | None:
        """The interval in force at t, in seconds; None is never."""
        window, checks = self._window(t), self._regime.checks
        if window is not None:
            return window.every
        return checks.by_stage.get(self._pet.form.stage, checks.every)

    def _comes(self) -> None:
        """A check comes: it starts, or is skipped if the last one goes on or the power is out."""
        now = self._env.now
        if self._counted_at == now:
            return  # a grid check and a heard one of the same second are one
        self._counted_at = now
        if self._under_way is not None or not self._power:
            self._tally.count("checks_skipped")
            self._tally.note(now, EventKind.CHECK_SKIPPED)
            return
        self._cut = False
        self._tally.count("checks")
        self._tally.note(now, EventKind.CHECK)
        self._under_way = self._carry_out()
        self._go_on()

    # Carrying one out

    def _go_on(self, _: simpy.Event | None = None) -> None:
        """Go on with the check under way until it ends or something in it takes time."""
        assert self._under_way is not None
        seconds = next(self._under_way, None)
        if seconds is None:
            self._under_way = None
        else:
            Due(self._env, seconds, _UNDER_WAY, self._go_on)

    def _carry_out(self) -> Iterator[int]:
        """One check; yields the seconds of what takes any."""
        opening = self._regime.hands.opening
        self._press(opening.presses)
        if opening.takes:
            yield opening.takes
        if self._cut:
            return
        for action in self._policy.check(self._look):
            hand = self._hands[action]
            self._press(hand.presses)
            slipped = hand.slips.errs(hand.slip_step)
            if slipped:
                self._tally.count(f"slipped.{action}")
                self._tally.note(self._env.now, EventKind.SLIPPED, action)
            if hand.takes:
                self._landing = None if slipped else action
                yield hand.takes
                self._landing = None
            if not slipped:
                self._pet.undergo(action)
            if self._cut:
                return

    def _press(self, presses: int) -> None:
        if presses == 0:
            return
        self._tally.count("presses", presses)
        for window in self._regime.quiet_hours:
            if self._pet.within(window, self._env.now):
                self._tally.count("quiet_presses", presses)
                return

    def _look(self) -> Observation:
        return self._sight

    def cut_off(self) -> None:
        """The life has ended: an action under way never lands."""
        if self._landing is not None:
            self._tally.count("cut_off")

    # Power

    def _power_lasts(self) -> None:
        assert self._regime.outages is not None
        self._after(self._regime.outages.up, "up times", self._power_fails)

    def _power_fails(self, _: simpy.Event) -> None:
        assert self._regime.outages is not None
        self._power = False
        self._cut = True
        self._tally.note(self._env.now, EventKind.OUTAGE_BEGINS)
        self._after(self._regime.outages.down, "down times", self._power_returns)

    def _power_returns(self, _: simpy.Event) -> None:
        self._power = True
        self._tally.note(self._env.now, EventKind.OUTAGE_ENDS)
        self._power_lasts()

    def _after(
        self, duration: Distribution, source: str, ring: Callable[[simpy.Event], None]
    ) -> None:
        wait = draws.sample(duration, self._luck[source].next())
        Due(self._env, wait, order(Turn.OUTAGE), ring)
