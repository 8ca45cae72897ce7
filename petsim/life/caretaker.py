"""The caretaker: who looks after the pet, when checks come, and how one is carried out.

Nothing here depends on the pet, or on whether it is simulated. `Rounds` decides; a host, such as
the reference engine or a rig, provides the world:

- the **clock**: the host calls `ring` in each second that `next_second` names, after everything
  else that happens in that second. It calls `grow` when the pet is born or enters another stage,
  `answer` when it has heard the pet call, and `power_fails` and `power_returns`.
- the **eyes**: `look` and `stage` of `Host`.
- the **hands**: once `ring` has returned that a check starts, the host asks `next_act` for one act
  after another, each when the last is over, until there is none. The clock runs on meanwhile. An
  act that is over in the second of a `ring` comes before it.

Errors of eyes and hands, calls that are not heard, checks that are forgotten (`forgets` of `Host`)
and failures of power belong to the host: a simulated one draws them, a real one has them. Late
checks, and those given up as the next is due, belong to `Rounds`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple, Protocol, Self

from petsim.errors import PolicyError
from petsim.life.draws import lateness
from petsim.life.kinds import EventKind
from petsim.life.policy import Clock, Look, Observation, Policy
from petsim.life.policy_files import (
    CHECK,
    load_policy,
    pickled_policy,
    unpickled_policy,
)
from petsim.life.routine import Position, Routine
from petsim.life.schedule import Schedule, first_check
from petsim.life.state import ActUnderWay, State
from petsim.life.streams import Stream
from petsim.life.supervised import Supervised
from petsim.spec import defaults
from petsim.spec.library import load_regime
from petsim.spec.model import Model
from petsim.spec.names import names_a_policy
from petsim.spec.regime import Hands, Regime

RegimeSource = Regime | str | Path | Mapping[str, Any]


@dataclass(frozen=True)
class Caretaker:
    """Who looks after the pet: a regime, and a Python policy if its routine is not followed.

    name: as the user gave it. regime: when checks come, eyes, hands, power; and the routine, used
    if there is no Python policy. make: makes the Python policy of one life. source: the
    `FILE.py:CLASS` it came from, if from a file.
    """

    name: str
    regime: Regime
    make: Callable[[], Policy] | None = None
    source: str | None = None

    @property
    def asked_by(self) -> str | None:
        """What it can be asked for by: a name, a path or `FILE.py:CLASS`; None if it can't be."""
        return self.regime.asked_by if self.make is None else self.source

    def policy(self, model: Model, life: int, clock: Callable[[], Clock]) -> Policy:
        """The policy of one life of a model; `clock` tells the time when something is amiss."""
        if self.make is None:
            return Routine(self.regime.routine, self.regime.passes)
        return Supervised(self.make, self.name, model, life, clock)

    def under(self, regime: Regime) -> Caretaker:
        """The same caretaker under another regime, under which another process has it too.

        A policy of a file is sent there as it is, without going back to the file and the regime
        that is named in it.
        """
        make = self.make
        if make is not None and self.source is not None:
            make = unpickled_policy(self.name, pickled_policy(self.name, make))
        return Caretaker(self.name, regime, make)

    def __deepcopy__(self, memo: dict[int, Any]) -> Self:
        # nothing of it changes; made anew, its policy would be of another class
        return self

    def __reduce__(self) -> tuple[Any, ...]:
        # from its file, messages can say where in it something is wrong
        if self.source is not None:
            return load_caretaker, (self.source, None)
        return _unpickled, (self.name, self.regime, self.pickled())

    def pickled(self) -> bytes | None:
        """What makes the Python policy, as another process or a file can have it; None if none.

        A class that can't be found by its name there, of a notebook, a function or a file of
        policies, is part of it.

        Raises:
            PolicyError: it uses something that can't be sent.
        """
        if self.make is None:
            return None
        return pickled_policy(self.name, self.make)


def is_sendable(caretaker: Caretaker) -> bool:
    """Whether another process can have a caretaker; it makes one in a file from there."""
    if caretaker.source is not None:
        return True
    try:
        caretaker.pickled()
    except PolicyError:
        return False
    return True


def _unpickled(name: str, regime: Regime, policy: bytes | None) -> Caretaker:
    make = None if policy is None else unpickled_policy(name, policy)
    return Caretaker(name, regime, make)


def load_caretaker(
    source: Caretaker | RegimeSource | type[Policy], model: Model | None
) -> Caretaker:
    """The caretaker that a regime, its name or path, a policy class or `FILE.py:CLASS` stands for.

    Raises:
        SpecError: it can't be read, or doesn't go with the model, if there is one.
        PolicyError: it is an instance of a policy class, which could be of one life only, or
            another object.
    """
    if isinstance(source, Caretaker):
        caretaker = source
    elif isinstance(source, str) and names_a_policy(source):
        policy = load_policy(source)
        caretaker = Caretaker(policy.name, policy.regime, policy.make, policy.source)
    elif callable(source) or callable(getattr(source, "check", None)):
        make = _policy_class(source)
        regime = load_regime(getattr(make, "regime", defaults.REGIME))
        caretaker = Caretaker(make.__name__, regime, make)
    else:
        regime = load_regime(source, model)
        caretaker = Caretaker(regime.id, regime)
    load_regime(caretaker.regime, model)
    return caretaker


def _policy_class(source: Any) -> type[Policy]:
    """A policy class as it is; anything else of Python is refused."""
    has_check = callable(getattr(source, "check", None))
    if not isinstance(source, type):
        name = type(source).__name__
        raise PolicyError(
            f"{name}: found an instance of the class; expected the class itself, {name} and not "
            f"{name}(...), as each life makes its own"
            if has_check
            else f"{source!r}: found a Python object of type {name}; expected a "
            "regime, its name, its path or its content, or the class of a policy"
        )
    if not has_check:
        raise PolicyError(f"{source.__name__}: found no check; {CHECK}")
    return source


class Act(NamedTuple):
    """Something a caretaker does in a check.

    action: the care action; None for opening the check. takes: the seconds that it takes, by the
    regime. presses: how many it costs.
    """

    action: str | None
    takes: int
    presses: int


Acts = Mapping[str | None, Act]
"""Every act a caretaker can do, by its action."""


def acts_of(hands: Hands, care: Iterable[str]) -> Acts:
    """What opening a check and each of a model's care actions cost with these hands."""
    acts: dict[str | None, Act] = {
        None: Act(None, hands.opening.takes, hands.opening.presses),
    }
    for action in care:
        hand = hands.of(action)
        acts[action] = Act(action, hand.takes, hand.presses)
    return acts


def carry_out(policy: Policy, acts: Acts, look: Look) -> Iterator[Act]:
    """Yield what is done in one check, in order; an act is over before the next is asked for."""
    yield acts[None]
    for action in policy.check(look):
        yield acts[action]


class Host(Protocol):
    """The world a caretaker works in, simulated or real, as far as it asks anything of it."""

    @property
    def stage(self) -> str:
        """The stage the pet is in."""

    def look(self) -> Observation:
        """What is seen of the pet now: each signal when it is read."""

    def forgets(self) -> bool:
        """Whether the check that would start now is forgotten; never by one who can't forget."""


class Rounds:
    """A caretaker at work through one life.

    Args:
        model: the pet's model, for its care actions and the clock at which the life begins.
        regime: when checks come and what acts cost.
        policy: decides what is done in a check of this life.
        host: the world that the caretaker works in.
        streams: the streams `first check`, `jitter` and `late`, the caretaker's own chance.
        start: the state that the life goes on from, or in which a pet is taken over; None if it
            begins with birth.
        is_late: asked of each check that would come late by some seconds, whether it does; if not,
            it comes when it is due.
    """

    def __init__(
        self,
        model: Model,
        regime: Regime,
        policy: Policy,
        host: Host,
        streams: Mapping[str, Stream],
        start: State | None = None,
        is_late: Callable[[int], bool] = lambda by: True,
    ) -> None:
        self._policy = policy
        self._is_late = is_late
        self._acts = acts_of(regime.hands, model.care)
        self._host = host
        self._checks = regime.checks
        self._streams = streams
        self._first = start.first_check if start is not None else None
        if self._first is None:
            self._first = first_check(regime.checks, streams["first check"])
        self._schedule = Schedule(regime.checks, self._first, model.begins)
        self._on_grid: int | None = None
        self._on_their_way: list[int] = []
        self._last_arrival = -1
        self._answer: int | None = None
        self._power = True
        self._cut = False
        self._under_way: Iterator[Act] | None = None
        if start is not None:
            self._go_on(start)

    def _go_on(self, start: State) -> None:
        self._on_their_way, self._last_arrival = list(start.late), start.last_late
        self._answer, self._power = start.answer, start.power
        if start.act is not None:
            self._cut = start.act.is_cut
            self._under_way = self._rest_of(start.act)

    def _rest_of(self, act: ActUnderWay) -> Iterator[Act]:
        """What is still to be done in a check of which an act is under way."""
        assert isinstance(self._policy, Routine)
        position = Position(act.number, act.step, act.times, act.has_acted)
        for action in self._policy.go_on(self._host.look, position):
            yield self._acts[action]

    def state(self) -> dict[str, Any]:
        """Return what a state says of it, but for the act under way."""
        return {
            "first_check": self._first,
            "answer": self._answer,
            "late": list(self._on_their_way),
            "last_late": self._last_arrival,
            "power": self._power,
        }

    @property
    def position(self) -> Position:
        """Where the check under way is in the routine; a Python policy has none."""
        return self._policy.position if isinstance(self._policy, Routine) else Position()

    @property
    def step(self) -> int:
        """The step of the routine at hand, from 1; 0 under a Python policy."""
        return self._policy.step if isinstance(self._policy, Routine) else 0

    @property
    def is_cut(self) -> bool:
        """Whether the check under way ends with its act, as the power has failed."""
        return self._cut

    # When checks come

    @property
    def next_second(self) -> int | None:
        """The next second in which `ring` is to be called; None for never."""
        seconds = (self._on_grid, self._answer, *self._on_their_way)
        return min((second for second in seconds if second is not None), default=None)

    def grow(self, t: int) -> None:
        """The pet is in another stage from second t on, or was born in it."""
        self._on_grid = self._schedule.next_second(t, self._host.stage)

    def answer(self, t: int) -> None:
        """Answer a call with a check at second t; of several answers only the earliest is kept."""
        if self._answer is None or t < self._answer:
            self._answer = t

    def ring(self, t: int) -> list[EventKind]:
        """Return what comes in second t, in order; mostly one thing, or nothing.

        First a check that is given up, as skipped, for the one that is due now; then a check, which
        is under way from here on, a skipped or a forgotten one. But for the one given up, all
        checks that come in one second are one. An answer is pending no more when its check starts,
        so a call that this check causes can be answered in its turn.
        """
        heard, given_up, arrives = self._is_answered(t), self._sets_off(t), self._arrives(t)
        comes = [EventKind.CHECK_SKIPPED] if given_up else []
        if heard or arrives:
            comes.append(self._begin(heard=heard))
        return comes

    def _begin(self, *, heard: bool) -> EventKind:
        """Begin the check that has come, if it can be; return what becomes of it."""
        if self._under_way is not None or not self._power:
            return EventKind.CHECK_SKIPPED
        if not heard and self._host.forgets():
            return EventKind.CHECK_FORGOTTEN
        self._cut = False
        if isinstance(self._policy, Routine):
            self._policy.position = Position()  # which a state of its opening tells
        self._under_way = carry_out(self._policy, self._acts, self._host.look)
        return EventKind.CHECK

    def _is_answered(self, t: int) -> bool:
        if self._answer != t:
            return False
        self._answer = None
        return not self._schedule.is_in_a_never(t)

    def _sets_off(self, t: int) -> bool:
        """Send the check that is due at second t, if any; return whether one is given up for it."""
        if self._on_grid != t:
            return False
        stage = self._host.stage
        self._on_grid = self._schedule.next_second(t + 1, stage)
        if not self._schedule.is_due(t, stage):
            return False
        given_up = self._checks.late is not None and any(at > t for at in self._on_their_way)
        if given_up:
            self._on_their_way = []
        self._on_their_way.append(self._arrival(t))
        return given_up

    def _arrival(self, t: int) -> int:
        """The second in which the check that is due at second t comes."""
        late, jitter = self._checks.late, self._checks.jitter
        if late is not None:
            by = lateness(late, self._streams["late"].next())
            return t + by if by and self._is_late(by) else t
        if jitter is not None:
            after = math.floor(self._streams["jitter"].next() * (jitter + 1))
            self._last_arrival = max(t + after, self._last_arrival + 1)
            return self._last_arrival
        return t

    def _arrives(self, t: int) -> bool:
        """Whether a check that was due comes at second t, and not in a never."""
        if t not in self._on_their_way:
            return False
        self._on_their_way = [second for second in self._on_their_way if second > t]
        return self._schedule.lets_come(t, self._host.stage)

    # Carrying one out

    def next_act(self) -> Act | None:
        """The next act of the check under way, now that the last is over; None if it has ended."""
        act = None if self._cut or self._under_way is None else next(self._under_way, None)
        if act is None:
            self._under_way = None
        return act

    # Power

    def power_fails(self) -> None:
        """From now on checks are skipped; one under way ends after the act being done."""
        self._power = False
        self._cut = True

    def power_returns(self) -> None:
        """From now on checks are carried out again."""
        self._power = True
