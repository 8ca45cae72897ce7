"""Checks that come late in the compiled engine: by jitter, or by a law of their own."""

from __future__ import annotations

from typing import Any

from petsim.life.compiled.calls import set_due
from petsim.life.compiled.chance import draw, sample, whole_share
from petsim.life.compiled.compiling import compiled
from petsim.life.compiled.constants import CHECK_SKIPPED, NEVER, NO_VALUE, NONE, source
from petsim.life.compiled.pet import note

_JITTER, _LATE = source("jitter"), source("late")


@compiled
def set_out(table: Any, state: Any) -> None:
    """A check is due now, and comes late."""
    if table.lateness != NONE:
        set_out_alone(table, state)
        return
    late = whole_share(draw(table, state, _JITTER), table.jitter + 1)
    state.late_at = max(state.now + late, state.late_at + 1)
    if state.n_late == 0:
        set_due(state, table.at_late, state.late_at)
    state.late[(state.late_first + state.n_late) % state.late.size] = state.late_at
    state.n_late += 1


@compiled
def set_out_alone(table: Any, state: Any) -> None:
    """It comes late by a law: one that was due before and has not come by now is given up."""
    if state.now < state.due[table.at_late] < NEVER:
        state.row[table.in_skipped] += 1
        note(state, CHECK_SKIPPED, NONE, NO_VALUE)
    state.late_at = state.now + sample(table, state, table.lateness, _LATE)
    if state.due[table.at_late] != state.now:
        set_due(state, table.at_late, state.late_at)


@compiled
def take_late(table: Any, state: Any) -> None:
    """The late check that was due first comes now; the next one is waited for."""
    if table.lateness != NONE:
        # it may come in the second in which the next one was due
        set_due(state, table.at_late, state.late_at if state.late_at > state.now else NEVER)
        return
    state.late_first = (state.late_first + 1) % state.late.size
    state.n_late -= 1
    set_due(state, table.at_late, state.late[state.late_first] if state.n_late else NEVER)
