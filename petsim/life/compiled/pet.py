"""The pet in the compiled engine: growth, sleep, needs, waste, illness, misbehaviour, death."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from petsim.life.compiled.calls import FIRST_DROP, aim, hear, set_due
from petsim.life.compiled.chance import draw, sample, unit_exponential
from petsim.life.compiled.compiling import compiled, inlined
from petsim.life.compiled.constants import (
    ALL_CAUSES,
    ASLEEP,
    AWAKE,
    BIRTH,
    DEATH,
    DISCIPLINE,
    DROP,
    GROWTH,
    ILL,
    IN_FORM,
    LAPSE,
    LOG_ROOM,
    MISBEHAVES,
    MISS,
    NEVER,
    NO_VALUE,
    NONE,
    TAKEN_OVER,
    WASTE,
    WEIGHT,
    source,
)
from petsim.spec.quantities import DAY, LONGEST

_ILLNESS, _DOSES, _WASTE, _GROWTH = map(source, ("illness", "doses", "waste", "growth"))
_MISBEHAVIOUR, _WINDOW = source("misbehaviour"), source("misbehaviour window")


@inlined
def note(state: Any, kind: int, what: int, value: int) -> None:
    """Write an event down, if this life is traced."""
    if state.traced:
        # compiled once, whatever integer the number is
        write_down(state, kind, np.int64(what), value)


@compiled
def write_down(state: Any, kind: int, what: int, value: int) -> None:
    """Write an event down, if it is in the part of the log that is wanted."""
    place = state.n_log - state.log_from
    state.n_log += 1
    if 0 <= place < LOG_ROOM:
        state.log[place, 0] = state.now
        state.log[place, 1] = kind
        state.log[place, 2] = what
        state.log[place, 3] = value


# Due times
#
# What runs on awake time stands still while the pet sleeps: `left` then has the time that is left.


@inlined
def set_awake(state: Any, slot: int, after: int) -> None:
    """Set a slot to fall due after a time awake; after NEVER it stays as it is."""
    if after == NEVER:
        return
    if state.asleep:
        state.left[slot] = after
    else:
        set_due(state, slot, state.now + after)


@inlined
def cancel(state: Any, slot: int) -> None:
    """Let a slot fall due no more."""
    state.due[slot] = NEVER
    state.left[slot] = NEVER


@inlined
def runs_awake(table: Any, slot: int) -> bool:
    """Whether the time of a slot runs only while the pet is awake."""
    return (
        FIRST_DROP <= slot <= table.at_waste
        or table.at_lapse <= slot <= table.at_waste_deadline
        or table.at_fatal <= slot < table.at_untreated
    )


# Growth


@compiled
def be_born(table: Any, state: Any) -> None:
    """Become the root form, at second 0."""
    for need in range(table.n_needs):
        state.level[need] = table.starts[need]
        state.level_since[need] = 0
    state.threshold = unit_exponential(draw(table, state, _ILLNESS))
    enter(table, state, table.root, BIRTH)


@compiled
def take_over(table: Any, state: Any) -> None:
    """Take a pet over as it is, at second 0; if it has its outcome, that may be all."""
    note(state, TAKEN_OVER, state.form, NO_VALUE)
    if table.until_outcome and state.row[table.in_outcome] != table.undecided:
        state.over = 1
        return
    settle_sleep(table, state)
    rerate(table, state)


@compiled
def outlast_form(table: Any, state: Any) -> None:
    """The form has lasted its time: grow, or be due to die of old age."""
    if table.n_rules[state.form] == 0:
        set_due(state, table.at_old_age, state.now)
        return
    rule = table.first_rule[state.form]
    while not meets(table, state, rule):
        rule += 1
    enter(table, state, table.rule_form[rule], GROWTH)


@compiled
def meets(table: Any, state: Any, rule: int) -> bool:
    """Whether all conditions of a rule hold."""
    first = table.first_condition[rule]
    for j in range(first, first + table.n_conditions[rule]):
        number = compared(table, state, table.compared[j], table.cause[j])
        if number < table.least[j] or number > table.most[j]:
            return False
    return True


@compiled
def compared(table: Any, state: Any, kind: int, cause: int) -> int:
    """Return the number that a condition of growth compares."""
    if kind == DISCIPLINE:
        return state.discipline
    if kind == WEIGHT:
        return state.weight
    if cause == ALL_CAUSES:
        misses, before = misses_in_life(table, state), state.misses_before_form
    else:
        misses = state.row[table.in_misses_of + cause] + state.brought[cause]
        before = state.misses_before[cause]
    return misses - before if kind == IN_FORM else misses


@compiled
def enter(table: Any, state: Any, form: int, kind: int) -> None:
    """Grow into a form, or be born as it."""
    was_dormant = kind == BIRTH or table.dormant[state.form]
    stop_misbehaving(table, state)
    state.form = form
    state.misses_before_form = misses_in_life(table, state)
    for cause in range(table.n_causes):
        state.misses_before[cause] = state.row[table.in_misses_of + cause] + state.brought[cause]
    entered = table.in_entered + 3 * form
    state.row[entered] = state.now
    state.row[entered + 1] = state.weight
    state.row[entered + 2] = state.discipline
    note(state, kind, form, NO_VALUE)
    if table.decides[form] != NONE and state.row[table.in_outcome] == table.undecided:
        state.row[table.in_outcome] = table.decides[form]
        if table.until_outcome:
            state.over = 1
            return
    state.weight = max(state.weight, table.weight_min[form])
    set_due(state, table.at_growth, state.now + sample(table, state, table.lasts[form], _GROWTH))
    draw_anew(table, state)
    settle_sleep(table, state)
    rerate(table, state)
    if was_dormant and not table.dormant[form]:
        for need in range(table.n_needs):
            if state.level[need] == 0:
                reach_zero(table, state, need)
    aim(table, state, state.now)


@compiled
def draw_anew(table: Any, state: Any) -> None:
    """At growth, what depends on the stage's rates is drawn anew."""
    form = state.form
    for need in range(table.n_needs):
        start_anew(table, state, FIRST_DROP + need, table.drops[form, need], table.of_drops + need)
    start_anew(table, state, table.at_waste, table.waste_every[form], _WASTE)
    start_anew(table, state, table.at_misbehaves, table.misbehaves_every[form], _MISBEHAVIOUR)


@compiled
def start_anew(table: Any, state: Any, slot: int, law: int, source: int) -> None:
    """Set a slot to fall due after a time of a law; without a law, no more."""
    if law == NONE:
        cancel(state, slot)
    else:
        set_awake(state, slot, sample(table, state, law, source))


# Sleep


@compiled
def settle_sleep(table: Any, state: Any) -> None:
    """Sleep or be awake as the form does at this clock time, until it next turns."""
    second = (table.begins + state.now) % DAY
    first, n = table.first_turn[state.form], table.n_turns[state.form]
    passed = 0
    while passed < n and table.turn_at[first + passed] <= second:
        passed += 1
    sleeps = table.turn_asleep[first + (passed - 1 if passed else n - 1)]
    if sleeps and not state.asleep:
        fall_asleep(table, state)
    elif state.asleep and not sleeps:
        wake(table, state)
    if n == 1:
        state.due[table.at_sleep_edge] = NEVER
    elif passed < n:
        set_due(state, table.at_sleep_edge, state.now + table.turn_at[first + passed] - second)
    else:
        set_due(state, table.at_sleep_edge, state.now + table.turn_at[first] + DAY - second)


@compiled
def fall_asleep(table: Any, state: Any) -> None:
    """Sleep begins: a misbehaviour ends, and awake time stands still."""
    note(state, ASLEEP, NONE, NO_VALUE)
    if state.misbehaving:
        stop_misbehaving(table, state)
        await_misbehaviour(table, state)
    state.asleep = 1
    state.asleep_since = state.now
    for slot in range(table.n_slots):
        if runs_awake(table, slot) and state.due[slot] != NEVER:
            state.left[slot] = state.due[slot] - state.now
            state.due[slot] = NEVER
    if table.lights_grace[state.form] != NEVER:
        set_due(state, table.at_lights_deadline, state.now + table.lights_grace[state.form])


@compiled
def wake(table: Any, state: Any) -> None:
    """Sleep ends: the lights go on, and awake time runs on."""
    note(state, AWAKE, NONE, NO_VALUE)
    state.asleep = 0
    state.lights = 1
    state.row[table.in_asleep] += state.now - state.asleep_since
    state.due[table.at_lights_deadline] = NEVER
    for slot in range(table.n_slots):
        if state.left[slot] != NEVER:
            set_due(state, slot, state.now + state.left[slot])
            state.left[slot] = NEVER


# Misses


@inlined
def misses_in_life(table: Any, state: Any) -> int:
    """Return the misses that rules count, those before the pet was taken over among them."""
    return state.row[table.in_misses] + state.misses_brought


@compiled
def miss(table: Any, state: Any, cause: int) -> None:
    """One care miss; too many kill in this very second."""
    state.row[table.in_misses] += 1
    state.row[table.in_misses_of + cause] += 1
    state.row[table.in_misses_in + state.form] += 1
    state.row[table.in_misses_at + (table.begins + state.now) % DAY // 3600] += 1
    note(state, MISS, cause, misses_in_life(table, state))
    if misses_in_life(table, state) >= table.fatal_misses:
        set_due(state, table.at_neglect, state.now)


# Needs


@compiled
def drop(table: Any, state: Any, need: int) -> None:
    """A need's level falls by one, if it can; the next drop is drawn."""
    wait = sample(table, state, table.drops[state.form, need], table.of_drops + need)
    state.due[FIRST_DROP + need] = state.now + wait
    if state.level[need] > 0:
        note(state, DROP, need, state.level[need] - 1)
        set_level(table, state, need, state.level[need] - 1)
        if state.level[need] == 0:
            reach_zero(table, state, need)


@inlined
def set_level(table: Any, state: Any, need: int, level: int) -> None:
    """Set the level from now on."""
    state.row[table.in_level[need] + state.level[need]] += state.now - state.level_since[need]
    state.level[need] = level
    state.level_since[need] = state.now


@compiled
def reach_zero(table: Any, state: Any, need: int) -> None:
    """A need is empty: it calls if awake, and its deadlines run."""
    set_awake(state, table.at_deadline + need, table.grace[state.form, need])
    set_awake(state, table.at_fatal + need, table.fatal_after[state.form, need])
    if not state.asleep:
        hear(table, state)


# Waste


@compiled
def leave_waste(table: Any, state: Any) -> None:
    """Waste appears, if the pile can grow; the next is drawn."""
    wait = sample(table, state, table.waste_every[state.form], _WASTE)
    state.due[table.at_waste] = state.now + wait
    if state.pile >= table.pile_max[state.form]:
        return
    state.pile += 1
    note(state, WASTE, NONE, state.pile)
    if state.pile == 1:
        set_awake(state, table.at_waste_deadline, table.waste_grace[state.form])
    rerate(table, state)


# Illness


@compiled
def rerate(table: Any, state: Any) -> None:
    """Set the rate from now on, and when the pet falls ill, unless it does so this very second."""
    form = state.form
    accrue(state)
    state.rate = rate_of_illness(table, state)
    if table.can_fall_ill[form] and not state.ill and state.due[table.at_illness] == state.now:
        return
    state.due[table.at_illness] = NEVER
    if state.rate > 0.0:
        await_illness(table, state)


@compiled
def rate_of_illness(table: Any, state: Any) -> float:
    """Return the risk of a second, by the form, the pile and the weight; none while it is ill."""
    form = state.form
    if state.ill or not table.can_fall_ill[form]:
        return 0.0
    excess = max(0, state.weight - table.heavy_above[form])
    per_day = table.ill_base[form] + table.ill_per_waste[form] * state.pile
    return (per_day + table.ill_per_excess[form] * excess) / DAY


@inlined
def accrue(state: Any) -> None:
    """Add up the risk so far."""
    # each step rounded on its own: two statements, in doubles
    run = state.rate * (state.now - state.rated_at)
    state.risk = state.risk + run
    state.rated_at = state.now


@inlined
def await_illness(table: Any, state: Any) -> None:
    """Set the second at which the risk will reach the threshold."""
    wait = min((state.threshold - state.risk) / state.rate, float(LONGEST))
    state.due[table.at_illness] = state.now + max(1, math.ceil(wait))


@compiled
def fall_ill(table: Any, state: Any) -> None:
    """Illness begins; how many doses it takes is drawn."""
    form = state.form
    u, total, dose = draw(table, state, _DOSES), 0.0, table.first_dose[form]
    last = dose + table.n_doses[form] - 1
    total += table.dose_chance[dose]
    while dose < last and u >= total:
        dose += 1
        total += table.dose_chance[dose]
    state.ill = 1
    state.ill_since = state.now
    state.doses_left = table.dose_number[dose]
    note(state, ILL, NONE, state.doses_left)
    rerate(table, state)
    if table.ill_grace[form] != NEVER:
        set_due(state, table.at_illness_deadline, state.now + table.ill_grace[form])
    if table.ill_fatal[form] != NEVER:
        set_due(state, table.at_untreated, state.now + table.ill_fatal[form])


@compiled
def recover(table: Any, state: Any) -> None:
    """The last dose cures; the threshold of the next illness is drawn."""
    state.ill = 0
    state.row[table.in_ill] += state.now - state.ill_since
    state.due[table.at_illness_deadline] = NEVER
    state.due[table.at_untreated] = NEVER
    state.threshold = unit_exponential(draw(table, state, _ILLNESS))
    state.risk = 0.0
    rerate(table, state)


# Misbehaviour


@compiled
def await_misbehaviour(table: Any, state: Any) -> None:
    """Draw when the next misbehaviour begins."""
    law = table.misbehaves_every[state.form]
    if law != NONE:
        set_awake(state, table.at_misbehaves, sample(table, state, law, _MISBEHAVIOUR))


@compiled
def misbehave(table: Any, state: Any) -> None:
    """A misbehaviour begins."""
    state.misbehaving = 1
    set_awake(
        state, table.at_lapse, sample(table, state, table.misbehaves_for[state.form], _WINDOW)
    )
    note(state, MISBEHAVES, NONE, NO_VALUE)
    hear(table, state)


@inlined
def stop_misbehaving(table: Any, state: Any) -> None:
    """A misbehaviour, if there is one, is over."""
    state.misbehaving = 0
    cancel(state, table.at_lapse)


@compiled
def lapse(table: Any, state: Any) -> None:
    """A misbehaviour has run out without a reprimand."""
    stop_misbehaving(table, state)
    state.discipline = max(0, state.discipline - table.lapse_costs)
    state.row[table.in_lapses] += 1
    note(state, LAPSE, NONE, state.discipline)
    await_misbehaviour(table, state)


# Death


@compiled
def die(table: Any, state: Any, cause: int) -> None:
    """Die of a cause, which is the outcome if there was none yet."""
    state.row[table.in_died] = 1 + cause
    if state.row[table.in_outcome] == table.undecided:
        state.row[table.in_outcome] = table.first_death + cause
    note(state, DEATH, cause, NO_VALUE)
    state.over = 1
