"""Whole lives: what is due next, again and again, until the life ends."""

from __future__ import annotations

from typing import Any

import numpy as np

from petsim.life.compiled.calls import FIRST_DROP, aim, first_check, next_but_grid, tell_the_time
from petsim.life.compiled.chance import refill
from petsim.life.compiled.checks import begin_power, comes, go_on, is_due, switch_power
from petsim.life.compiled.compiling import compiled, digest, kept, merged
from petsim.life.compiled.constants import NEVER, NONE
from petsim.life.compiled.idle import pass_over
from petsim.life.compiled.light import begin_light, count_spell, switch_light
from petsim.life.compiled.pet import (
    be_born,
    die,
    drop,
    fall_ill,
    lapse,
    leave_waste,
    misbehave,
    miss,
    outlast_form,
    rate_of_illness,
    set_awake,
    settle_sleep,
    take_over,
)


@compiled
def live(table: Any, state: Any) -> None:
    """Live one life; the state says of which seed and number, and whether it is traced."""
    if state.waits:
        state.waits = state.over = 0
        state.rest_at = state.now
    elif state.goes_on:
        go_on_living(table, state)
    else:
        begin_life(table, state)
    while not state.over:
        at, slot = next_but_grid(table, state)
        if state.grid_check_ended:
            state.grid_check_ended = 0
            pass_over(table, state, at)
        if state.due[table.at_grid] < at:
            at, slot = state.due[table.at_grid], table.at_grid
        if at >= state.stop_at:
            state.now = state.stop_at
            break
        state.due[slot] = NEVER
        state.now = at
        if at >= state.edge_at:
            tell_the_time(table, state)
        if slot >= table.at_power:
            serve(table, state, slot)
        else:
            state.is_idle = 0
            happen(table, state, slot)
    if not state.waits:
        close(table, state)


@merged
def begin_life(table: Any, state: Any) -> None:
    """Begin at second 0."""
    clear(table, state)
    forget_the_moment(table, state)
    tell_the_time(table, state)
    begin_surroundings(table, state)
    be_born(table, state)


@merged
def go_on_living(table: Any, state: Any) -> None:
    """Go on from the second at which the life was left, or the pet is taken over."""
    forget_the_moment(table, state)
    state.rate = rate_of_illness(table, state)
    for source in range(table.n_sources):
        refill(table, state, source)
    tell_the_time(table, state)
    if state.now == 0:
        begin_surroundings(table, state)
        take_over(table, state)
    aim(table, state, state.now)


@compiled
def begin_surroundings(table: Any, state: Any) -> None:
    """Begin what goes on around the pet: the grid of checks, the power and the light."""
    state.first = first_check(table, state)
    begin_power(table, state)
    begin_light(table, state)


@compiled
def forget_the_moment(table: Any, state: Any) -> None:
    """Set what no life needs to know of the seconds before."""
    state.over = 0
    state.rest_at = state.now
    state.grid_check_ended = 0
    state.counted_at = NONE
    state.is_idle = 0
    state.idle_edge = NONE
    state.n_log = 0
    state.looks_at_once = table.looks_at_once and not state.traced
    for source in range(table.n_sources):
        state.law_ahead[source] = NONE


@merged
def serve(table: Any, state: Any, slot: int) -> None:
    """Handle what is due in the turns of the power, the light and the caretaker."""
    if slot <= table.at_spell:
        state.is_idle = 0
        if slot == table.at_power:
            switch_power(table, state)
        else:
            switch_light(table, state)
    elif slot == table.at_under_way or (is_due(table, state, slot) and comes(table, state, slot)):
        go_on(table, state)


@merged
def happen(table: Any, state: Any, slot: int) -> None:
    """Handle what is due in the turns of the pet, whose slots are tried in their order."""
    n = table.n_needs
    if slot == table.at_growth:
        outlast_form(table, state)
    elif slot == table.at_sleep_edge:
        settle_sleep(table, state)
    elif slot < table.at_waste:
        drop(table, state, slot - FIRST_DROP)
    elif slot == table.at_waste:
        leave_waste(table, state)
    elif slot == table.at_illness:
        fall_ill(table, state)
    elif slot == table.at_lapse:
        lapse(table, state)
    elif slot == table.at_misbehaves:
        misbehave(table, state)
    elif slot < table.at_waste_deadline:
        need = slot - table.at_deadline
        miss(table, state, need)
        set_awake(state, slot, table.again_after[state.form, need])
    elif slot == table.at_waste_deadline:
        miss(table, state, n)
        set_awake(state, slot, table.waste_again[state.form])
    elif slot == table.at_illness_deadline:
        miss(table, state, n + 1)
    elif slot == table.at_lights_deadline:
        if state.lights:
            miss(table, state, n + 2)
    elif slot < table.at_untreated:
        die(table, state, table.death[slot - table.at_fatal])
    elif slot == table.at_untreated:
        die(table, state, table.untreated)
    elif slot == table.at_neglect:
        die(table, state, table.neglect)
    else:
        die(table, state, table.old_age)


@compiled
def clear(table: Any, state: Any) -> None:
    """Set the state before birth."""
    state.now = 0
    state.form = table.root
    state.pile = 0
    state.ill = 0
    state.asleep = 0
    state.lights = 1
    state.misbehaving = 0
    state.weight = table.weight_starts
    state.discipline = table.discipline_starts
    state.doses_left = 0
    state.risk = 0.0
    state.rate = 0.0
    state.rated_at = 0
    state.power = 1
    state.in_spell = 0
    state.busy = 0
    state.cut = 0
    state.landing = NONE
    state.misses_brought = 0
    state.late_at = NONE
    state.late_first = 0
    state.n_late = 0
    # loops, as a slice would bring the code of its errors with it
    for slot in range(table.n_slots):
        state.due[slot] = state.left[slot] = NEVER
    for error in range(table.n_errors):
        state.error_left[error] = -1
    for cause in range(table.n_causes):
        state.brought[cause] = 0
    for source in range(table.n_sources):
        state.drawn[source] = 0
    for column in range(table.n_columns):
        state.row[column] = 0
    state.row[table.in_outcome] = table.undecided
    for column in range(table.in_entered, table.in_entered + 3 * table.n_forms):
        state.row[column] = -1


@compiled
def close(table: Any, state: Any) -> None:
    """Add up what lasted to the end of the life, or to the second at which it is left."""
    state.row[table.in_life] = np.int64(state.life)
    state.row[table.in_end] = state.now
    for need in range(table.n_needs):
        state.row[table.in_level[need] + state.level[need]] += state.now - state.level_since[need]
    if state.ill:
        state.row[table.in_ill] += state.now - state.ill_since
    if state.asleep:
        state.row[table.in_asleep] += state.now - state.asleep_since
    if state.in_spell:
        count_spell(table, state)
    # what lands instead of an action that slipped is not cut off, as it was never meant
    state.row[table.in_cut_off] = state.landing == table.do[state.step]


def _with(sources: int) -> Any:
    """Return the kernel, which is compiled once on a machine for these sources of the package.

    What is compiled is kept for what the function is made from: its own code, and this number that
    stands for all that it calls.
    """

    def live_all(tables: Any, states: Any, rows: Any) -> int:
        """Live lives of consecutive numbers, from the state's on, each into its row.

        Where code outside chooses the steps, each life has a state of its own, and goes on until it
        waits for the next choice, or is over.

        Args:
            tables: record array of one, the lowered world.
            states: record array, with the seed and the number of the first life or of each.
            rows: int64, shape (lives, columns of the table of lives).
        """
        table = tables[0]
        for number in range(len(rows)):
            state = states[number] if table.is_stepped else states[0]
            if table.is_stepped and state.over and not state.waits:
                continue
            live(table, state)
            for column in range(table.n_columns):
                rows[number, column] = state.row[column]
            if table.is_stepped:
                state.over = 1
            else:
                state.life = state.life + np.uint64(1)
        return sources

    return kept(live_all, "the engine")


live_all = _with(digest())
