"""When the caretaker's checks come: clock windows, the grid, and calls that are heard."""

from __future__ import annotations

from typing import Any

import numpy as np

from petsim.life.compiled.chance import comes_true, draw, sample, source, whole_share
from petsim.life.compiled.compiling import compiled, inlined
from petsim.life.tables import NEVER, NONE, Slots
from petsim.spec.quantities import DAY

_FIRST_CHECK, _JITTER = source("first check"), source("jitter")
_HEARS, _REACTION = source("hears"), source("reaction")

FIRST_DROP: Any = np.int64(Slots.of(0).drop)
"""The place of the first drop, which that of all models is."""


# What falls due next. Drops, waste, illness and the grid change all the time and are looked at each
# time; of the rest none is due before `rest_at`, so that they seldom have to be.


@inlined
def set_due(s: Any, slot: int, at: int) -> None:
    """Fall due then, being one of the rest."""
    s.due[slot] = at
    s.rest_at = min(s.rest_at, at)


@inlined
def next_but_grid(w: Any, s: Any) -> Any:
    """The second and the place of what falls due next but for the grid; of equals, the first."""
    at, next_slot = s.due[FIRST_DROP], FIRST_DROP
    for slot in range(FIRST_DROP + 1, w.at_lapse):
        if s.due[slot] < at:
            at, next_slot = s.due[slot], slot
    return next_of_all(w, s, at, next_slot) if s.rest_at <= at else (at, next_slot)


@compiled
def next_of_all(w: Any, s: Any, at: int, next_slot: int) -> Any:
    """The same, with a look at the rest; finds out before when none but the next of them is due."""
    rest_at, rest_slot, then = NEVER, w.at_grid, NEVER
    for slot in range(w.at_grid):
        if FIRST_DROP <= slot < w.at_lapse:
            continue
        then = min(then, max(rest_at, s.due[slot]))
        if s.due[slot] < rest_at:
            rest_at, rest_slot = s.due[slot], slot
    if at < rest_at or (at == rest_at and next_slot < rest_slot):
        s.rest_at = rest_at
        return at, next_slot
    s.rest_at = rest_at if s.due[w.at_grid] < rest_at else then
    return rest_at, rest_slot


@inlined
def is_clear(w: Any, s: Any, at: int) -> bool:
    """Whether surely none of all that is due by second `at`, the grid's next second aside."""
    if s.rest_at <= at:
        return False
    for slot in range(FIRST_DROP, w.at_lapse):
        if s.due[slot] <= at:
            return False
    return True


# Windows and the grid


@compiled
def holds(w: Any, window: int, t: int) -> bool:
    """Whether a clock window holds at second t of the life."""
    since_monday = w.begins + t
    second, weekday = since_monday % DAY, since_monday // DAY % 7
    start, end = w.window_from[window], w.window_to[window]
    if start < end:
        within = start <= second < end
    else:
        within = second >= start or second < end
        if second < start:
            weekday = (weekday + 6) % 7
    return within and (w.window_days[window] >> weekday) & 1 == 1


@compiled
def first_that_holds(w: Any, first: int, n: int, t: int) -> int:
    """The number of the first of n windows that holds at t; NONE if none does."""
    for number in range(n):
        if holds(w, first + number, t):
            return number
    return NONE


@compiled
def next_edge(w: Any, t: int) -> int:
    """The first second after t at which a window may begin or cease to hold."""
    if w.n_edges == 0:
        return NEVER
    second = (w.begins + t) % DAY
    for j in range(w.n_edges):
        if w.edge[j] > second:
            return t + w.edge[j] - second
    return t + w.edge[0] + DAY - second


@compiled
def tell_the_time(w: Any, s: Any) -> None:
    """Find out which windows hold now; they do until the next edge."""
    s.edge_at = next_edge(w, s.now)
    s.in_quiet = first_that_holds(w, w.first_quiet, w.n_quiet, s.now) != NONE
    s.eyes_window = 1 + first_that_holds(w, w.first_eyes_window, w.n_eyes_windows, s.now)
    s.check_window = first_that_holds(w, w.first_check_window, w.n_check_windows, s.now)
    for number in range(w.n_clocks):
        s.clock[number] = holds(w, w.first_clock + number, s.now)
    s.alike = 0


@inlined
def interval(w: Any, s: Any, t: int) -> int:
    """The interval in force at t, or NEVER."""
    window = s.check_window
    if t >= s.edge_at:
        window = first_that_holds(w, w.first_check_window, w.n_check_windows, t)
    return w.every[s.form] if window == NONE else w.window_every[window]


@compiled
def first_check(w: Any, s: Any) -> int:
    """The second of the first check on the grid."""
    if w.first != NONE:
        return w.first
    if w.default_every == NEVER:
        return 0
    return whole_share(draw(w, s, _FIRST_CHECK), w.default_every)


@compiled
def aim(w: Any, s: Any, start: int) -> None:
    """Set the grid to the first second from start that is due, or an edge before it.

    ring_due says whether a check is due then for sure.
    """
    at, every = NEVER, interval(w, s, start)
    if start < s.first:
        at = s.first
    elif every != NEVER:
        at = start + (s.first - start) % every
    edge = next_edge(w, start) if w.n_check_windows else NEVER
    s.ring_due = at < edge and start >= s.first
    s.every = every
    s.due[w.at_grid] = min(at, edge)


@compiled
def hear(w: Any, s: Any) -> None:
    """The pet begins to call: it may be heard, and answered after a while."""
    if not w.listens or not comes_true(w, s, _HEARS, w.hears):
        return
    at = s.now + sample(w, s, w.reacts_in, _REACTION)
    set_due(s, w.at_heard, min(s.due[w.at_heard], at))


@compiled
def queue_late(w: Any, s: Any) -> None:
    """A check is due now, and comes late."""
    late = whole_share(draw(w, s, _JITTER), w.jitter + 1)
    s.late_at = max(s.now + late, s.late_at + 1)
    if s.n_late == 0:
        set_due(s, w.at_late, s.late_at)
    s.late[(s.late_first + s.n_late) % s.late.size] = s.late_at
    s.n_late += 1


@compiled
def take_late(w: Any, s: Any) -> None:
    """The late check that was due first comes now; the next one is waited for."""
    s.late_first = (s.late_first + 1) % s.late.size
    s.n_late -= 1
    set_due(s, w.at_late, s.late[s.late_first] if s.n_late else NEVER)
