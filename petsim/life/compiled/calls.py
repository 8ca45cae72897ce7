"""When the caretaker's checks come: clock windows, the grid, and calls that are heard."""

from __future__ import annotations

from typing import Any

import numpy as np

from petsim.life.compiled.chance import comes_true, draw, sample, whole_share
from petsim.life.compiled.compiling import compiled, inlined
from petsim.life.compiled.constants import NEVER, NONE, source
from petsim.life.compiled.layout import slots
from petsim.spec.quantities import DAY, WEEK

_FIRST_CHECK, _HEARS, _REACTION = map(source, ("first check", "hears", "reaction"))

FIRST_DROP: Any = np.int64(slots(0)["drop"])
"""The slot of the first drop, the same in all models; those up to lapses are busy ones."""


# What falls due next
#
# The slots of drops, waste and illness, which follow each other, change all the time and are looked
# at each time. The grid's slot is compared apart, so that idle checks can be passed over. None of
# the rest is due before `rest_at`, so they seldom have to be looked at.


@inlined
def set_due(state: Any, slot: int, at: int) -> None:
    """Set the due time of a slot that is one of the rest."""
    state.due[slot] = at
    state.rest_at = min(state.rest_at, at)


@inlined
def next_but_grid(table: Any, state: Any) -> Any:
    """Return the least due time but for the grid's, and its slot; of equal ones, the first."""
    at, next_slot = state.due[FIRST_DROP], FIRST_DROP
    for slot in range(FIRST_DROP + 1, table.at_lapse):
        if state.due[slot] < at:
            at, next_slot = state.due[slot], slot
    return next_of_all(table, state, at, next_slot) if state.rest_at <= at else (at, next_slot)


@compiled
def next_of_all(table: Any, state: Any, at: int, next_slot: int) -> Any:
    """Do the same with a look at the rest, given the least due time of the busy slots.

    `rest_at` is set to the next due time of the rest after the one returned.
    """
    if state.chosen:
        # the check that waited goes on before anything else, which is not handled yet
        return state.now, table.at_under_way
    rest_at, rest_slot, then = NEVER, table.at_grid, NEVER
    for slot in range(table.at_grid):
        if FIRST_DROP <= slot < table.at_lapse:
            continue
        then = min(then, max(rest_at, state.due[slot]))
        if state.due[slot] < rest_at:
            rest_at, rest_slot = state.due[slot], slot
    if at < rest_at or (at == rest_at and next_slot < rest_slot):
        state.rest_at = rest_at
        return at, next_slot
    state.rest_at = rest_at if state.due[table.at_grid] < rest_at else then
    return rest_at, rest_slot


@inlined
def is_clear(table: Any, state: Any, at: int) -> bool:
    """Whether no slot but the grid's is due by second `at`; False if that would take a search."""
    if state.rest_at <= at:
        return False
    for slot in range(FIRST_DROP, table.at_lapse):
        if state.due[slot] <= at:
            return False
    return True


# Windows and the grid


@compiled
def holds(table: Any, window: int, t: int) -> bool:
    """Whether a clock window holds at second t of the life."""
    since_monday = table.begins + t
    second, weekday = since_monday % DAY, since_monday // DAY % 7
    start, end = table.window_from[window], table.window_to[window]
    if start < end:
        within = start <= second < end
    else:
        within = second >= start or second < end
        if second < start:
            weekday = (weekday + 6) % 7
    return within and (table.window_days[window] >> weekday) & 1 == 1


@compiled
def first_that_holds(table: Any, first: int, n: int, t: int) -> int:
    """Return the number, from 0, of the first of n windows that holds at t; NONE if none does."""
    for number in range(n):
        if holds(table, first + number, t):
            return number
    return NONE


@compiled
def next_edge(table: Any, t: int) -> int:
    """Return the first second after t at which a window may begin or cease to hold."""
    if table.n_edges == 0:
        return NEVER
    second = (table.begins + t) % DAY
    for j in range(table.n_edges):
        if table.edge[j] > second:
            return t + table.edge[j] - second
    return t + table.edge[0] + DAY - second


@compiled
def tell_the_time(table: Any, state: Any) -> None:
    """Find out which windows hold now, as they do until the next edge."""
    now = state.now
    state.edge_at = next_edge(table, now)
    state.in_quiet = first_that_holds(table, table.first_quiet, table.n_quiet, now) != NONE
    eyes_window = first_that_holds(table, table.first_eyes_window, table.n_eyes_windows, now)
    state.eyes_window = 1 + eyes_window
    state.spells_count = table.n_spells_windows == 0 or holds(table, table.first_spells_window, now)
    settle_eyes(table, state)
    state.check_window = check_window(table, now)
    forget_window = first_that_holds(table, table.first_forget_window, table.n_forget_windows, now)
    state.forget_window = 1 + forget_window
    for number in range(table.n_clocks):
        holds_now = holds(table, table.first_clock + number, now)
        state.sight[table.sight_of_clock + number] = holds_now
    state.is_idle = 0


@inlined
def settle_eyes(table: Any, state: Any) -> None:
    """Let the eyes err as they do at this clock time and in this light."""
    in_spell = state.in_spell and state.spells_count
    state.eyes_setting = state.eyes_window + (1 + table.n_eyes_windows) * in_spell


@compiled
def check_window(table: Any, t: int) -> int:
    """Return the window whose interval is in force at t; NONE if that of no window is."""
    return first_that_holds(table, table.first_check_window, table.n_check_windows, t)


@inlined
def interval(table: Any, state: Any, t: int) -> int:
    """Return the interval in force at t, or NEVER."""
    window = state.check_window if t < state.edge_at else check_window(table, t)
    return table.every[state.form] if window == NONE else table.window_every[window]


@compiled
def first_check(table: Any, state: Any) -> int:
    """Return the second of the first check on the grid."""
    if table.first != NONE:
        return table.first
    if table.default_every == NEVER:
        return 0
    return whole_share(draw(table, state, _FIRST_CHECK), table.default_every)


@compiled
def aim(table: Any, state: Any, start: int) -> None:
    """Set the grid's slot to the first check due from start on, or to an edge before it.

    Another interval may be in force after an edge, so the next check is looked for anew there.
    """
    at, every = NEVER, interval(table, state, start)
    if start < state.first:
        at = state.first
    elif every != NEVER:
        at = next_on_grid(table, state, start, every)
    edge = next_edge(table, start) if table.n_check_windows else NEVER
    state.grid_is_sure = at < edge and start >= state.first
    state.every = every
    state.due[table.at_grid] = min(at, edge)


@inlined
def next_on_grid(table: Any, state: Any, start: int, every: int) -> int:
    """Return the first second from start on at which a check of an interval, or clock, is due."""
    if table.n_times == 0:
        return start + (state.first - start) % every
    return next_clock_time(table, start)


@compiled
def next_clock_time(table: Any, start: int) -> int:
    """Return the first second from start on that is one of the clock times of checks."""
    second, first, end = (table.begins + start) % WEEK, 0, table.n_times
    while first < end:
        middle = (first + end) // 2
        if table.time_of_week[middle] < second:
            first = middle + 1
        else:
            end = middle
    if first < table.n_times:
        return start + table.time_of_week[first] - second
    return start + table.time_of_week[0] + WEEK - second


@compiled
def hear(table: Any, state: Any) -> None:
    """The pet begins to call: it may be heard, and answered after a while."""
    if not table.listens or not comes_true(table, state, _HEARS, table.hears):
        return
    at = state.now + sample(table, state, table.reacts_in, _REACTION)
    set_due(state, table.at_heard, min(state.due[table.at_heard], at))
