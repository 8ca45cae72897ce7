"""The caretaker in the compiled engine: checks, the routine, looks, actions and the power."""

from __future__ import annotations

from typing import Any

import numpy as np

from petsim.life.compiled.calls import aim, interval, is_clear, next_on_grid, set_due
from petsim.life.compiled.care import undergo
from petsim.life.compiled.chance import draw, errs, sample
from petsim.life.compiled.compiling import compiled, inlined, merged
from petsim.life.compiled.constants import (
    CHECK,
    CHECK_FORGOTTEN,
    CHECK_SKIPPED,
    MOST_SEEN,
    NEVER,
    NO_VALUE,
    NONE,
    OUTAGE_BEGINS,
    OUTAGE_ENDS,
    SIGHTS,
    SLIPPED,
    source,
)
from petsim.life.compiled.intrinsics import lowest_bit
from petsim.life.compiled.late import set_out, take_late
from petsim.life.compiled.pet import note

_UP, _DOWN = source("up times"), source("down times")
_FIRST_LEVEL = np.int64(len(SIGHTS))
_ALL_STEPS = np.int64(-1)


# When they come


@inlined
def is_due(table: Any, state: Any, slot: int) -> bool:
    """Whether a check comes now, as its slot is due: on the grid, late or for a call."""
    if slot == table.at_grid:
        return is_due_by_grid(table, state)
    return is_due_off_grid(table, state, slot)


@compiled
def is_due_off_grid(table: Any, state: Any, slot: int) -> bool:
    """Whether a check comes now that came late or for a call.

    What is due now by the grid sets out before, which gives up one that comes late by a law.
    """
    if table.lateness != NONE and state.due[table.at_grid] == state.now:
        is_due_by_grid(table, state)
    if slot == table.at_heard:
        return state.check_window == NONE or table.window_every[state.check_window] != NEVER
    take_late(table, state)
    return interval(table, state, state.now) != NEVER


@inlined
def is_due_by_grid(table: Any, state: Any) -> bool:
    """Whether a check is due now by the grid and comes now; one that comes late sets out."""
    due = state.grid_is_sure or is_on_grid(table, state)
    if state.grid_is_sure and table.is_regular:
        state.due[table.at_grid] = state.now + state.every
    else:
        aim(table, state, state.now + 1)
    if due and table.comes_late:
        set_out(table, state)
        return False
    return due


@compiled
def is_on_grid(table: Any, state: Any) -> bool:
    """Whether a check is due now by the grid of the interval in force."""
    now, every = state.now, interval(table, state, state.now)
    if now < state.first or every == NEVER:
        return False
    return next_on_grid(table, state, now, every) == now


@inlined
def comes(table: Any, state: Any, slot: int) -> bool:
    """Whether a check that comes starts, and has been opened already.

    It is skipped if another goes on or the power is out, and one that does not come for a call may
    be forgotten. Opening may take time; it is then under way.
    """
    if state.counted_at == state.now:
        return False
    state.counted_at = state.now
    if state.busy or not state.power:
        state.row[table.in_skipped] += 1
        note(state, CHECK_SKIPPED, NONE, NO_VALUE)
        return False
    state.is_idle = 1
    state.n_acts = 0
    for error in range(table.n_errors):
        state.error_before[error] = state.error_left[error]
    if slot != table.at_heard and is_forgotten(table, state):
        state.row[table.in_forgotten] += 1
        note(state, CHECK_FORGOTTEN, NONE, NO_VALUE)
        return False
    state.row[table.in_checks] += 1
    note(state, CHECK, NONE, NO_VALUE)
    state.cut = 0
    state.pass_number = 0
    state.step = 0
    state.repeats = 0
    state.acted = 0
    state.landing = NONE
    state.by_grid = slot == table.at_grid
    state.began = state.now
    press(table, state, table.opening_presses)
    return has_passed(table, state, table.opening_takes)


@inlined
def is_forgotten(table: Any, state: Any) -> bool:
    """Whether a check that would start is forgotten, unless one came for a call in its second."""
    return errs(table, state, table.forgets, table.forget_step[state.forget_window])


@inlined
def has_passed(table: Any, state: Any, seconds: int) -> bool:
    """Whether the time that something takes has passed at once, as nothing else is due before.

    Otherwise it is under way from here on.
    """
    if seconds == 0:
        return True
    end = state.now + seconds
    is_next = end < min(state.edge_at, state.stop_at) and end <= state.due[table.at_grid]
    if is_next and is_clear(table, state, end):
        state.now = end
        return True
    state.busy = 1
    set_due(state, table.at_under_way, end)
    return False


# Carrying one out


@merged
def go_on(table: Any, state: Any) -> None:
    """Go on with a check until it ends, or until something in it is under way."""
    state.busy = 0
    number, step, repeats, acted = state.pass_number, state.step, state.repeats, state.acted
    landing = state.landing
    state.landing = NONE
    while True:
        if landing != NONE:
            undergo(table, state, np.uint32(landing))
        if state.cut:
            return
        if state.looks_at_once:
            step, repeats = next_at_once(table, state, number, step, repeats)
        elif not table.is_stepped:
            step, repeats = next_looked_at(table, state, number, step, repeats)
        elif state.chosen:
            step, state.chosen = np.uint32(state.chosen - 1), 0
        else:
            wait(table, state)
            return
        if step == table.n_steps:
            number += 1
            if not acted or number == table.passes:
                break
            step, acted, landing = np.uint32(0), 0, NONE
            continue
        repeats += 1
        acted |= table.has_when[step]
        landing = begin(table, state, table.do[step])
        if not has_passed(table, state, table.takes[table.do[step]]):
            state.pass_number, state.step, state.repeats, state.acted = number, step, repeats, acted
            state.landing = landing
            return
    state.grid_check_ended = state.by_grid and not (state.traced or table.is_stepped)


@compiled
def wait(table: Any, state: Any) -> None:
    """Look at the signals that are watched, and leave the life until its next step is chosen."""
    if table.heeds_calls:
        state.calling = calls(table, state)
    for j in range(table.n_watched):
        state.seen[j] = see(table, state, table.first_watched + j)
    state.waits = state.over = 1


@inlined
def next_at_once(table: Any, state: Any, number: int, step: Any, repeats: int) -> tuple[Any, int]:
    """Return the next step's place and how often it was already repeated.

    Args:
        number: of the pass.
        step: the place of the step that is at hand.
        repeats: how often that one was done in this pass.

    Returns:
        The number of steps as the place, if the pass is over.
    """
    done = repeats == table.times[step]
    from_here_on = _ALL_STEPS << np.int64(step + done)
    following = lowest_bit(steps_wanted(table, state, number) & from_here_on)
    return np.uint32(following), repeats if following == step else 0


@inlined
def next_looked_at(table: Any, state: Any, number: int, step: Any, repeats: int) -> tuple[Any, int]:
    """Return the same by looking step by step, as each look may err or is counted."""
    while step < table.n_steps and (
        is_over(table, state, step, number, repeats) or not is_wanted(table, state, step, number)
    ):
        step, repeats = np.uint32(step + 1), 0
    return step, repeats


@inlined
def steps_wanted(table: Any, state: Any, number: int) -> int:
    """Return the steps that a pass of this number would do now, and its end, as a bit each."""
    if table.heeds_calls:
        state.calling = calls(table, state)
    signals = np.uint32(state.ill + 2 * state.asleep + 4 * state.lights + 8 * state.calling)
    steps = table.steps_by_signals[state.form, signals] & steps_by(table, 0, state.pile)
    if table.looks_at_weight:
        steps &= steps_by(table, 1, state.weight)
    if table.looks_at_discipline:
        steps &= steps_by(table, 2, state.discipline)
    for need in range(table.n_needs):
        steps &= steps_by(table, 3 + need, state.level[need])
    for clock in range(table.n_clocks):
        holds_now = state.sight[table.sight_of_clock + clock]
        steps &= steps_by(table, 3 + table.n_needs + clock, holds_now)
    return steps if number == 0 else steps & table.steps_with_when


@inlined
def steps_by(table: Any, thing: int, number: int) -> int:
    """Return the steps that the number of one thing, such as a level, lets through."""
    return table.steps_by_number[np.uint32(thing), np.uint32(min(number, MOST_SEEN))]


@inlined
def begin(table: Any, state: Any, action: int) -> int:
    """Begin an action; return what will land when its time has passed.

    If it slips, that is another action or NONE.
    """
    press(table, state, table.presses[action])
    if state.traced:
        state.begun[action] += 1
    if not errs(table, state, np.uint32(table.first_slip + action), table.slip_step[action]):
        return action
    state.row[table.in_done + 4 * action + 3] += 1
    note(state, SLIPPED, action, NO_VALUE)
    return wrong_press(table, state, action)


@compiled
def wrong_press(table: Any, state: Any, action: int) -> int:
    """Return the action that lands instead of one that has slipped, NONE if none does."""
    first, n, total = table.first_wrong[action], table.n_wrong[action], 0.0
    if n == 0:
        return NONE
    u = draw(table, state, np.int64(table.of_instead + action))
    for j in range(first, first + n):
        total += table.wrong_chance[j]
        if u < total:
            return table.wrong[j]
    return NONE


@inlined
def is_over(table: Any, state: Any, step: int, number: int, repeats: int) -> bool:
    """Whether a step was done as often as it may be: not at all if it only looks; then it does."""
    if repeats < table.times[step]:
        return False
    if table.times[step] == 0:
        look_on(table, state, step, number)
    return True


@inlined
def is_wanted(table: Any, state: Any, step: int, number: int) -> bool:
    """Whether the routine does a step now, in a pass of this number."""
    if table.has_when[step]:
        return look(table, state, step)
    return number == 0


@inlined
def press(table: Any, state: Any, presses: int) -> None:
    """Count presses."""
    state.row[table.in_presses] += presses
    if state.in_quiet:
        state.row[table.in_quiet_presses] += presses


@inlined
def look(table: Any, state: Any, step: int) -> bool:
    """Look at all that a step's conditions name; whether they all hold as seen.

    It tries every signal, so that an error's threshold is used up by each look.
    """
    if table.looks_for_calls[step]:
        state.calling = calls(table, state)
    verdict = table.of_form[step, state.form] == 1
    first = table.first_test[step]
    for j in range(first, first + table.n_tests[step]):
        seen = see(table, state, j)
        verdict &= table.test_least[j] <= seen <= table.test_most[j]
    return verdict


@compiled
def look_on(table: Any, state: Any, step: int, number: int) -> None:
    """Look at all that a step names which only looks, if it does so in a pass of this number."""
    if not is_wanted(table, state, step, number):
        return
    if table.looks_for_calls[step]:
        state.calling = calls(table, state)
    first = table.first_look[step]
    for j in range(first, first + table.n_looks[step]):
        see(table, state, j)


@inlined
def see(table: Any, state: Any, j: int) -> int:
    """Return what the eyes, which may err, see of what a test looks at."""
    seen = state.sight[table.test_of[j]]
    error = table.test_overlooks[j] if seen > 0 else table.test_imagines[j]
    if errs(table, state, error, table.error_step[error, state.eyes_setting]):
        seen = mistaken(table, state, table.test_of[j])
    if state.traced and seen == 0:
        count_zero(table, state, table.test_of[j])
    return seen


@inlined
def count_zero(table: Any, state: Any, what: int) -> None:
    """Count a look that read 0, if it was at a need."""
    if _FIRST_LEVEL <= what < _FIRST_LEVEL + table.n_needs:
        state.zeros[what - _FIRST_LEVEL] += 1


@compiled
def mistaken(table: Any, state: Any, what: int) -> int:
    """Return what is seen in error: the opposite of a signal, or a level one off if possible."""
    if what < _FIRST_LEVEL:
        return 0 if state.sight[what] > 0 else 1
    need = what - _FIRST_LEVEL
    if draw(table, state, table.of_sides + need) < 0.5:
        return min(table.full[need], state.level[need] + 1)
    return max(0, state.level[need] - 1)


@inlined
def calls(table: Any, state: Any) -> int:
    """Whether the pet calls: awake, with a need at 0 or misbehaving."""
    if state.asleep or table.dormant[state.form]:
        return 0
    for need in range(table.n_needs):
        if state.level[need] == 0:
            return 1
    return state.misbehaving


# Power


@compiled
def begin_power(table: Any, state: Any) -> None:
    """The power is on, for as long as is drawn."""
    if table.up != NONE:
        set_due(state, table.at_power, state.now + sample(table, state, table.up, _UP))


@compiled
def switch_power(table: Any, state: Any) -> None:
    """The power fails, or returns."""
    if state.power:
        state.power = 0
        state.cut = 1
        note(state, OUTAGE_BEGINS, NONE, NO_VALUE)
        set_due(state, table.at_power, state.now + sample(table, state, table.down, _DOWN))
    else:
        state.power = 1
        note(state, OUTAGE_ENDS, NONE, NO_VALUE)
        begin_power(table, state)
