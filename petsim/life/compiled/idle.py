"""Idle checks in the compiled engine, of which many are counted at once.

A check is idle if nothing in it changes anything but counts, what is left of the thresholds of
errors, and numbers of draws: no action had an effect, no eye or hand erred, and nothing else
happened during it. While pet, windows and power stay as they are, the checks after it go the same
way. So an idle check is remembered with what it met, and as many like it as come before the next
other thing is due are counted at once.

Traced lives go through each check, as each has its entries in the log.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from petsim.life.compiled.calls import aim
from petsim.life.compiled.checks import press
from petsim.life.compiled.compiling import compiled, inlined
from petsim.life.compiled.constants import REFUSED, UNFAIR

MOST_AT_ONCE: Any = np.int64(2**16)
"""Checks counted at once, at most. What they use up of a threshold, which is below 2**46, then fits
64 bits."""


@inlined
def pass_over(table: Any, state: Any, at: int) -> None:
    """Pass over checks like the idle one that is remembered.

    A check on the grid has just ended. If it was idle, or went as the remembered one did, the next
    ones do so too.

    Args:
        at: the second at which anything but the grid is due next.
    """
    if state.is_idle:
        remember_check(table, state)
    every, next_check = state.every, state.began + state.every
    if not state.grid_is_sure or state.due[table.at_grid] != next_check:
        return
    room = min(state.edge_at, table.horizon, at) - 1 - state.idle_lasts - state.began
    if state.idle_lasts >= every or room < every:
        return
    if not (state.is_idle or meets_the_same(table, state)):
        return
    n = errorless_checks(table, state, min(room // every, MOST_AT_ONCE))
    if n > 0:
        count_checks(table, state, n)
        state.due[table.at_grid] += n * every
        if state.due[table.at_grid] >= state.edge_at:
            aim(table, state, state.due[table.at_grid] - every + 1)


@inlined
def remember_check(table: Any, state: Any) -> None:
    """Remember an idle check that has just ended, and the pet and the windows it met."""
    state.idle_lasts = state.now - state.began
    for error in range(table.n_errors):
        state.idle_uses[error] = state.error_before[error] - state.error_left[error]
    state.idle_n_acts = state.n_acts
    state.idle_heeds_weight = table.looks_at_weight
    for j in range(state.n_acts):
        state.idle_heeds_weight |= state.act_kind[j] != REFUSED and table.gains[state.act[j]] != 0
        state.idle_act[j] = state.act[j]
        state.idle_act_kind[j] = state.act_kind[j]
    state.idle_edge = state.edge_at
    state.idle_form = state.form
    state.idle_pile = state.pile
    state.idle_weight = state.weight
    state.idle_discipline = state.discipline
    state.idle_switches = switches(state)
    for need in range(table.n_needs):
        state.idle_level[need] = state.level[need]


@inlined
def meets_the_same(table: Any, state: Any) -> bool:
    """Whether pet and windows are as the remembered check met them, as far as it matters."""
    if state.idle_edge != state.edge_at or state.idle_form != state.form:
        return False
    if state.idle_pile != state.pile or state.idle_switches != switches(state):
        return False
    if state.idle_heeds_weight and state.idle_weight != state.weight:
        return False
    if table.looks_at_discipline and state.idle_discipline != state.discipline:
        return False
    for need in range(table.n_needs):
        if state.idle_level[need] != state.level[need]:
            return False
    return True


@inlined
def switches(state: Any) -> int:
    """Return what is on or off, of the pet, power and light, as the bits of one number."""
    pet = state.ill + 2 * state.asleep + 4 * state.lights + 8 * state.misbehaving
    return pet + 16 * state.power + 32 * state.in_spell


@inlined
def errorless_checks(table: Any, state: Any, n: int) -> int:
    """Return how many of n checks like the remembered one go by before an eye or a hand errs."""
    for error in range(table.n_errors):
        uses = state.idle_uses[error]
        if uses > 0 and n * uses > state.error_left[error]:
            n = state.error_left[error] // uses
    return n


@inlined
def count_checks(table: Any, state: Any, n: int) -> None:
    """Count n checks like the remembered one."""
    for error in range(table.n_errors):
        state.error_left[error] -= n * state.idle_uses[error]
    presses = table.opening_presses
    for j in range(state.idle_n_acts):
        presses += table.presses[state.idle_act[j]]
        repeat_action(table, state, state.idle_act[j], state.idle_act_kind[j], n)
    press(table, state, n * presses)
    state.row[table.in_checks] += n


@compiled
def repeat_action(table: Any, state: Any, action: int, kind: int, n: int) -> None:
    """Count an action of n idle checks, of which nothing but an entry of this kind comes."""
    done = table.in_done + 4 * action
    state.row[done] += n
    if kind == UNFAIR:
        state.row[table.in_unfair] += n
    else:
        state.row[done + 1] += n
    if kind != REFUSED:
        state.drawn[table.of_works + action] += n
