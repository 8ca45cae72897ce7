"""Whole lives: the least of the due times, again and again, until the life ends."""

from __future__ import annotations

from typing import Any

import numpy as np

from petsim.life.compiled.calls import FIRST_DROP, first_check, next_but_grid, tell_the_time
from petsim.life.compiled.checks import begin_power, comes, go_on, is_due, pass_over, switch_power
from petsim.life.compiled.compiling import compiled, digest, merged
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
    set_awake,
    settle_sleep,
)
from petsim.life.tables import NEVER, NONE


@merged
def live(w: Any, s: Any) -> None:
    """Live one life, whose seed, number and trace the state has."""
    clear(w, s)
    tell_the_time(w, s)
    s.first = first_check(w, s)
    begin_power(w, s)
    be_born(w, s)
    while not s.over:
        at, slot = next_but_grid(w, s)
        if s.check_ended:
            pass_over(w, s, at)
        if s.due[w.at_grid] < at:
            at, slot = s.due[w.at_grid], w.at_grid
        if at >= w.horizon:
            s.now = w.horizon
            break
        s.due[slot] = NEVER
        s.now = at
        if at >= s.edge_at:
            tell_the_time(w, s)
        if slot >= w.at_power:
            serve(w, s, slot)
        else:
            s.alike = 0
            happen(w, s, slot)
    close(w, s)


@merged
def serve(w: Any, s: Any, slot: int) -> None:
    """What falls due in the turns of the power and of the caretaker."""
    if slot == w.at_power:
        s.alike = 0
        switch_power(w, s)
    elif slot == w.at_under_way or (is_due(w, s, slot) and comes(w, s, slot)):
        go_on(w, s)


@merged
def happen(w: Any, s: Any, slot: int) -> None:
    """What falls due in the turns of the pet, in their order."""
    n = w.n_needs
    if slot == w.at_growth:
        outlast_form(w, s)
    elif slot == w.at_sleep_edge:
        settle_sleep(w, s)
    elif slot < w.at_waste:
        drop(w, s, slot - FIRST_DROP)
    elif slot == w.at_waste:
        leave_waste(w, s)
    elif slot == w.at_illness:
        fall_ill(w, s)
    elif slot == w.at_lapse:
        lapse(w, s)
    elif slot == w.at_misbehaves:
        misbehave(w, s)
    elif slot < w.at_waste_deadline:
        need = slot - w.at_deadline
        miss(w, s, need)
        set_awake(s, slot, w.again_after[s.form, need])
    elif slot == w.at_waste_deadline:
        miss(w, s, n)
        set_awake(s, slot, w.waste_again[s.form])
    elif slot == w.at_illness_deadline:
        miss(w, s, n + 1)
    elif slot == w.at_lights_deadline:
        if s.lights:
            miss(w, s, n + 2)
    elif slot < w.at_untreated:
        die(w, s, w.death[slot - w.at_fatal])
    elif slot == w.at_untreated:
        die(w, s, w.untreated)
    elif slot == w.at_neglect:
        die(w, s, w.neglect)
    else:
        die(w, s, w.old_age)


@compiled
def clear(w: Any, s: Any) -> None:
    """The state before birth."""
    s.now = 0
    s.rest_at = 0
    s.over = 0
    s.form = w.root
    s.pile = 0
    s.ill = 0
    s.asleep = 0
    s.lights = 1
    s.misbehaving = 0
    s.weight = w.weight_starts
    s.discipline = w.discipline_starts
    s.doses_left = 0
    s.risk = 0.0
    s.rate = 0.0
    s.rated_at = 0
    s.power = 1
    s.busy = 0
    s.cut = 0
    s.check_ended = 0
    s.counted_at = -1
    s.landing = NONE
    s.late_at = -1
    s.late_first = 0
    s.n_late = 0
    s.met_edge = NONE
    s.n_log = 0
    # loops, as a slice would bring the code of its errors with it
    for slot in range(w.n_slots):
        s.due[slot] = s.left[slot] = NEVER
    for error in range(w.n_errors):
        s.error_left[error] = -1
    for source in range(w.n_sources):
        s.drawn[source] = 0
        s.law_ahead[source] = NONE
    for column in range(w.n_columns):
        s.row[column] = 0
    s.row[w.in_outcome] = w.undecided
    for column in range(w.in_entered, w.in_entered + 3 * w.n_forms):
        s.row[column] = -1


@compiled
def close(w: Any, s: Any) -> None:
    """Add up what lasted to the end of the life."""
    s.row[w.in_life] = np.int64(s.life)
    s.row[w.in_end] = s.now
    for need in range(w.n_needs):
        s.row[w.in_level[need] + s.level[need]] += s.now - s.level_since[need]
    if s.ill:
        s.row[w.in_ill] += s.now - s.ill_since
    if s.asleep:
        s.row[w.in_asleep] += s.now - s.asleep_since
    s.row[w.in_cut_off] = s.landing != NONE


def _with(sources: int) -> Any:
    """The kernel, compiled once on a machine for these sources of the package.

    The compiler keeps what it compiles as long as this file stays as it is, and does not know of
    the others; the number that stands for all of them makes it notice.
    """

    def live_all(table: Any, state: Any, numbers: Any) -> int:
        """Live lives of consecutive numbers, from the state's on, each into its row.

        Args:
            table: record array of one, as lowered.
            state: record array of one, with the seed and the number of the first life.
            numbers: int64, shape (lives, columns of the table of lives).
        """
        w, s = table[0], state[0]
        for place in range(len(numbers)):
            live(w, s)
            for column in range(w.n_columns):
                numbers[place, column] = s.row[column]
            s.life = s.life + np.uint64(1)
        return sources

    return compiled(live_all, cache=True)


live_all = _with(digest())
