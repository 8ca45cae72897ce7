"""What can fall due in a life, on SimPy's event queue but in the order the rules give.

SimPy handles events of one time by priority, then by the order of their making. A life must not
depend on the latter, so every event here has a priority of its own: its turn within the second,
then its index within the turn.
"""

from __future__ import annotations

from collections.abc import Callable

import simpy
from simpy.events import EventPriority

from petsim.life.kinds import Turn

# Priorities 0 and 1 are SimPy's own, for processes that start, end or are interrupted.
_TURN_STEP = 1 << 32


class Seconds(simpy.Environment):
    """SimPy's environment, its time in whole seconds since the life began; it starts at `t`."""

    def __init__(self, t: int = 0) -> None:
        super().__init__(initial_time=t)

    @property
    def now(self) -> int:
        """The current second."""
        return self._now  # type: ignore[return-value]  # only whole waits are ever scheduled


def order(turn: Turn, index: int = 0) -> EventPriority:
    """The SimPy priority of the index-th event of a turn."""
    return EventPriority(turn * _TURN_STEP + index)


class Due(simpy.Event):
    """An event that happens `after` whole seconds (0 or more) from now, in its order."""

    def __init__(
        self,
        env: Seconds,
        after: int,
        priority: EventPriority,
        ring: Callable[[simpy.Event], None],
    ) -> None:
        super().__init__(env)
        self.callbacks.append(ring)
        self._ok = True
        self._value = None
        self.at = env.now + after
        env.schedule(self, priority, after)


class Timer:
    """One thing of a life that can fall due: set, set again or cancelled at will.

    A cancelled event stays in SimPy's queue and is passed over when its time comes.
    """

    def __init__(self, env: Seconds, priority: EventPriority, ring: Callable[[], None]) -> None:
        self._env = env
        self._priority = priority
        self._ring = ring
        self._due: Due | None = None

    @property
    def at(self) -> int | None:
        """The second it falls due, or None."""
        return None if self._due is None else self._due.at

    def set(self, after: int) -> None:
        """Fall due `after` seconds from now, and no longer when it would have."""
        self._due = Due(self._env, after, self._priority, self._happens)

    def start(self, after: int | None) -> None:
        """Set it if there is a wait to set it by; None is never."""
        if after is not None:
            self.set(after)

    def cancel(self) -> None:
        """Fall due no more."""
        self._due = None

    def resume(self, at: int | None) -> None:
        """Fall due at a second, as a life goes on that was left; None is never."""
        if at is not None:
            self._due = Due(self._env, at - self._env.now, self._priority, self._happens)

    def _happens(self, event: simpy.Event) -> None:
        if event is self._due:
            self._due = None
            self._ring()


class AwakeTimer(Timer):
    """A timer that runs on awake time: asleep it stands still with the time left."""

    def __init__(self, env: Seconds, priority: EventPriority, ring: Callable[[], None]) -> None:
        super().__init__(env, priority, ring)
        self._asleep = False
        self._left: int | None = None

    def set(self, after: int) -> None:
        """Fall due when `after` awake seconds have passed."""
        if self._asleep:
            self._left = after
        else:
            super().set(after)

    def cancel(self) -> None:
        """Fall due no more."""
        super().cancel()
        self._left = None

    @property
    def left(self) -> int | None:
        """The awake seconds left until it falls due, while the pet sleeps; else None."""
        return self._left

    def resume_asleep(self, left: int | None) -> None:
        """Stand still with this time left, as the life of a sleeping pet goes on."""
        self._asleep, self._left = True, left

    def fall_asleep(self) -> None:
        """Stand still."""
        self._asleep = True
        if self._due is not None:
            self._left = self._due.at - self._env.now
            self._due = None

    def wake(self) -> None:
        """Run on; with no time left it falls due in this very second."""
        self._asleep = False
        if self._left is not None:
            super().set(self._left)
            self._left = None
