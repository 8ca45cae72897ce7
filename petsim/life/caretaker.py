"""The caretaker: who looks after the pet, when checks come, and how one is carried out.

Nothing here depends on the pet, or on whether it is simulated. `Rounds` decides; a host, such as
the reference engine or a rig, provides the world:

- the **clock**: the host calls `ring` in each second that `next_second` names, after everything
  else that happens in that second. It calls `grow` when the pet is born or enters another stage,
  `answer` when it has heard the pet call, and `power_fails` and `power_returns`.
- the **eyes**: `look` and `stage`, the two methods of `Host`.
- the **hands**: once `ring` has returned that a check starts, the host asks `next_act` for one act
  after another, each when the last is over, until there is none. The clock runs on meanwhile. An
  act that is over in the second of a `ring` comes before it.

Errors of eyes and hands, calls that are not heard and failures of power belong to the host: a
simulated one draws them, a real one has them.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple, Protocol, Self

from petsim.errors import PolicyError
from petsim.life.kinds import EventKind
from petsim.life.policy import Clock, Look, Observation, Policy, clock_at
from petsim.life.policy_files import (
    CHECK,
    load_policy,
    pickled_policy,
    unpickled_policy,
)
from petsim.life.routine import Routine
from petsim.life.streams import Stream
from petsim.life.supervised import Supervised
from petsim.spec import defaults
from petsim.spec.library import load_regime
from petsim.spec.model import Model
from petsim.spec.names import names_a_policy
from petsim.spec.quantities import DAY, Begins
from petsim.spec.regime import Checks, Hands, Regime

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


class Schedule:
    """When checks fall due: a function of the second and of the pet's stage, and of nothing else.

    Args:
        checks: the intervals of a regime.
        first: the second from which checks fall due, whole multiples of the interval apart.
        begins: the clock and weekday at which the life begins.
    """

    def __init__(self, checks: Checks, first: int, begins: Begins) -> None:
        self._checks = checks
        self._first = first
        self._begins = begins
        self._windows = checks.interval_windows
        self._edges = {edge for during, _ in self._windows for edge in (during.start, during.end)}

    def is_in_a_never(self, t: int) -> bool:
        """Whether the first listed window that holds at second t lets no check come."""
        return next((every is None for every in self._intervals_at(t)), False)

    def interval(self, t: int, stage: str) -> int | None:
        """The interval in force at second t, in seconds; None is never."""
        return next(self._intervals_at(t), self._checks.by_stage.get(stage, self._checks.every))

    def _intervals_at(self, t: int) -> Iterator[int | None]:
        """The intervals of the listed windows that hold at second t."""
        if not self._windows:
            return
        clock = clock_at(t, self._begins)
        for during, every in self._windows:
            if clock.within(during):
                yield every

    def is_due(self, t: int, stage: str) -> bool:
        """Whether a check falls due at second t."""
        interval = self.interval(t, stage)
        return t >= self._first and interval is not None and (t - self._first) % interval == 0

    def next_second(self, start: int, stage: str) -> int | None:
        """The first second from start at which a check may fall due while this stage lasts.

        That is one of the grid, or one in which a window begins or ends, as the interval may
        change with it; None if none ever falls due.
        """
        if start < self._first:
            return self._first
        interval = self.interval(start, stage)
        due = None if interval is None else start + (self._first - start) % interval
        if not self._edges:
            return due
        elapsed = self._begins.clock + start + 1
        edge = start + 1 + min((edge - elapsed) % DAY for edge in self._edges)
        return edge if due is None else min(due, edge)


def first_check(checks: Checks, stream: Stream) -> int:
    """The second from which checks may fall due, drawn from the stream if it is random."""
    if checks.first != "random":
        return checks.first
    return 0 if checks.every is None else math.floor(stream.next() * checks.every)


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


class Rounds:
    """A caretaker at work through one life.

    Args:
        model: the pet's model, for its care actions and the clock at which the life begins.
        regime: when checks come and what acts cost.
        policy: decides what is done in a check of this life.
        host: the world that the caretaker works in.
        streams: the streams `first check` and `jitter`, the caretaker's own chance.
    """

    def __init__(
        self,
        model: Model,
        regime: Regime,
        policy: Policy,
        host: Host,
        streams: Mapping[str, Stream],
    ) -> None:
        self._policy = policy
        self._acts = acts_of(regime.hands, model.care)
        self._host = host
        self._jitter = regime.checks.jitter
        self._lateness = streams["jitter"]
        first = first_check(regime.checks, streams["first check"])
        self._schedule = Schedule(regime.checks, first, model.begins)
        self._on_grid: int | None = None
        self._late: deque[int] = deque()
        self._last_late = -1
        self._answer: int | None = None
        self._power = True
        self._cut = False
        self._under_way: Iterator[Act] | None = None

    # When checks come

    @property
    def next_second(self) -> int | None:
        """The next second in which `ring` is to be called; None for never."""
        second = self._on_grid
        if self._answer is not None and (second is None or self._answer < second):
            second = self._answer
        if self._late and (second is None or self._late[0] < second):
            second = self._late[0]
        return second

    def grow(self, t: int) -> None:
        """The pet is in another stage from second t on, or was born in it."""
        self._on_grid = self._schedule.next_second(t, self._host.stage)

    def answer(self, t: int) -> None:
        """Answer a call with a check at second t; of several answers only the earliest is kept."""
        if self._answer is None or t < self._answer:
            self._answer = t

    def ring(self, t: int) -> EventKind | None:
        """Return what comes in second t: a check, which is then under way, a skipped one, or None.

        All checks that come in one second are one. An answer is pending no more when its check
        starts, so a call that this check causes can be answered in its turn.
        """
        heard, due, late = self._is_answered(t), self._falls_due(t), self._comes_late(t)
        if not (heard or due or late):
            return None
        if self._under_way is not None or not self._power:
            return EventKind.CHECK_SKIPPED
        self._cut = False
        self._under_way = carry_out(self._policy, self._acts, self._host.look)
        return EventKind.CHECK

    def _is_answered(self, t: int) -> bool:
        if self._answer != t:
            return False
        self._answer = None
        return not self._schedule.is_in_a_never(t)

    def _falls_due(self, t: int) -> bool:
        """Whether a check falls due at second t and comes at once; with jitter it comes late."""
        if self._on_grid != t:
            return False
        stage = self._host.stage
        self._on_grid = self._schedule.next_second(t + 1, stage)
        due = self._schedule.is_due(t, stage)
        if not due or self._jitter is None:
            return due
        late = math.floor(self._lateness.next() * (self._jitter + 1))
        self._last_late = max(t + late, self._last_late + 1)
        self._late.append(self._last_late)
        return False

    def _comes_late(self, t: int) -> bool:
        if not self._late or self._late[0] != t:
            return False
        self._late.popleft()
        return self._schedule.interval(t, self._host.stage) is not None

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
