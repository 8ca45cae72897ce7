"""Spells of bad light in the compiled engine, in which the eyes err otherwise."""

from __future__ import annotations

from typing import Any

from petsim.life.compiled.calls import set_due, settle_eyes
from petsim.life.compiled.chance import sample
from petsim.life.compiled.compiling import compiled
from petsim.life.compiled.constants import NO_VALUE, NONE, SPELL_BEGINS, SPELL_ENDS, source
from petsim.life.compiled.pet import note

_CLEAR, _SPELL = source("clear times"), source("spell times")


@compiled
def begin_light(table: Any, state: Any) -> None:
    """The light is clear, for as long as is drawn."""
    if table.clear != NONE:
        set_due(state, table.at_spell, state.now + sample(table, state, table.clear, _CLEAR))


@compiled
def switch_light(table: Any, state: Any) -> None:
    """A spell begins, or ends."""
    if state.in_spell:
        end_spell(table, state)
        note(state, SPELL_ENDS, NONE, NO_VALUE)
        begin_light(table, state)
    else:
        state.in_spell = 1
        state.spell_since = state.now
        note(state, SPELL_BEGINS, NONE, NO_VALUE)
        set_due(state, table.at_spell, state.now + sample(table, state, table.spell_lasts, _SPELL))
    settle_eyes(table, state)


@compiled
def end_spell(table: Any, state: Any) -> None:
    """A spell is over, or the life is: count its seconds."""
    state.in_spell = 0
    state.row[table.in_spells] += state.now - state.spell_since
