"""Care actions in the compiled engine: what the pet makes of them."""

from __future__ import annotations

from typing import Any

import numpy as np

from petsim.life.compiled.chance import comes_true
from petsim.life.compiled.compiling import compiled, inlined
from petsim.life.compiled.constants import (
    ACTS_ROOM,
    DONE,
    LOST,
    NO_VALUE,
    NONE,
    REFUSED,
    UNFAIR,
    WASTED,
    WELL,
)
from petsim.life.compiled.pet import (
    accrue,
    await_illness,
    await_misbehaviour,
    cancel,
    note,
    reach_zero,
    recover,
    rerate,
    set_level,
    stop_misbehaving,
)
from petsim.spec.model import MOST_DISCIPLINE


@inlined
def undergo(table: Any, state: Any, action: int) -> None:
    """A care action lands: count it, and remember it if the check is still idle after it."""
    was_ill = state.ill
    kind, changed = outcome_of(table, state, action)
    done = table.in_done + 4 * action
    state.row[done] += 1
    if kind in (REFUSED, WASTED):
        state.row[done + 1] += 1
    elif kind == LOST:
        state.row[done + 2] += 1
    note(state, kind, action, NO_VALUE)
    if was_ill and not state.ill:
        note(state, WELL, NONE, NO_VALUE)
    # an action whose chance may fail another time is not one to count without going through it
    is_sure = kind == REFUSED or table.works[action] == 1.0
    state.is_idle = state.is_idle and is_sure and not changed and state.n_acts < ACTS_ROOM
    if state.is_idle:
        state.act[state.n_acts] = action
        state.act_kind[state.n_acts] = kind
        state.n_acts += 1


@inlined
def outcome_of(table: Any, state: Any, action: int) -> tuple[int, bool]:
    """Work an action; return the kind of its entry in the log, and whether it changed anything."""
    if refuses(table, state, action):
        return REFUSED, False
    if not comes_true(table, state, np.int64(table.of_works + action), table.works[action]):
        return LOST, False
    changed = has_effects(table, state, action)
    if table.reprimands[action]:
        if state.misbehaving:
            reprimand_fairly(table, state)
            return DONE, True
        return UNFAIR, reprimand_unfairly(table, state) or changed
    return (DONE if changed else WASTED), changed


@inlined
def refuses(table: Any, state: Any, action: int) -> bool:
    """Whether the pet refuses an action as it is now."""
    if table.dormant[state.form]:
        return True
    if state.asleep and table.refused_asleep[action]:
        return True
    if state.misbehaving and table.refused_misbehaving[action]:
        return True
    if not table.refused_full[action] or table.n_raises[action] == 0:
        return False
    first = table.first_raise[action]
    for j in range(first, first + table.n_raises[action]):
        need = table.raised_need[j]
        if state.level[need] < table.full[need]:
            return False
    return True


@inlined
def has_effects(table: Any, state: Any, action: int) -> bool:
    """Work an action's effects, all but the reprimand, in order; whether anything changed."""
    changed, first = False, table.first_raise[action]
    for j in range(first, first + table.n_raises[action]):
        if lift(table, state, table.raised_need[j], table.raised_by[j]):
            changed = True
    if table.gains[action] != 0 and gain(table, state, table.gains[action]):
        changed = True
    if table.cleans[action] and state.pile > 0:
        state.pile = 0
        cancel(state, table.at_waste_deadline)
        rerate(table, state)
        changed = True
    if table.doses[action] and state.ill:
        state.doses_left -= 1
        if state.doses_left == 0:
            recover(table, state)
        changed = True
    if table.lights[action] != NONE:
        on = table.lights[action] or not state.asleep
        if on != state.lights:
            state.lights = on
            changed = True
    return changed


@inlined
def lift(table: Any, state: Any, need: int, by: int) -> bool:
    """Raise a need; whether that changed it."""
    level = min(table.full[need], state.level[need] + by)
    if level == state.level[need]:
        return False
    if state.level[need] == 0:
        cancel(state, table.at_deadline + need)
        cancel(state, table.at_fatal + need)
    set_level(table, state, need, level)
    return True


@inlined
def gain(table: Any, state: Any, by: int) -> bool:
    """Gain or lose weight; whether that changed it."""
    before, weight = state.weight, max(table.weight_min[state.form], state.weight + by)
    if weight == before:
        return False
    state.weight = weight
    if max(before, weight) > table.heavy_above[state.form]:
        rerate(table, state)
    elif state.rate > 0.0 and state.rated_at != state.now:
        # the rate stays the same, but the risk is added up at every change of weight
        accrue(state)
        await_illness(table, state)
    return True


@compiled
def reprimand_fairly(table: Any, state: Any) -> None:
    """It misbehaved: that ends, and it learns."""
    stop_misbehaving(table, state)
    state.discipline = min(MOST_DISCIPLINE, state.discipline + table.discipline_step)
    await_misbehaviour(table, state)


@inlined
def reprimand_unfairly(table: Any, state: Any) -> bool:
    """It did not misbehave: some needs may suffer. Return whether one did."""
    state.row[table.in_unfair] += 1
    suffered = False
    for j in range(table.n_unfair):
        need = table.unfair_need[j]
        level = max(0, state.level[need] - table.unfair_cost[j])
        if level == state.level[need]:
            continue
        suffered = True
        set_level(table, state, need, level)
        if level == 0:
            reach_zero(table, state, need)
    return suffered
