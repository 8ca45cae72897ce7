"""The pet in the compiled engine: its needs, waste, illness, sleep, misbehaviour and growth."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from petsim.life.compiled.calls import FIRST_DROP, aim, hear, set_due
from petsim.life.compiled.chance import comes_true, draw, numbered, sample, source, unit_exponential
from petsim.life.compiled.compiling import compiled, inlined
from petsim.life.kinds import EventKind
from petsim.life.tables import (
    ACTS_ROOM,
    ALL_CAUSES,
    DISCIPLINE,
    IN_FORM,
    IN_LIFE,
    LOG_ROOM,
    NEVER,
    NONE,
)
from petsim.spec.model import MOST_DISCIPLINE
from petsim.spec.quantities import DAY, LONGEST

KINDS = tuple(EventKind)
"""Kinds of the log's entries, by number."""
NO_VALUE: Any = np.int64(-(2**62))
"""The value of a log entry that has none."""
(BIRTH, GROWTH, ASLEEP, AWAKE, DROP, WASTE, ILL, WELL, MISBEHAVES, LAPSE, MISS, DEATH,
 OUTAGE_BEGINS, OUTAGE_ENDS, CHECK, CHECK_SKIPPED, SLIPPED, REFUSED, WASTED, LOST, UNFAIR,
 DONE) = numbered(KINDS)  # fmt: skip
_IN_FORM, _IN_LIFE, _DISCIPLINE = map(np.int64, (IN_FORM, IN_LIFE, DISCIPLINE))

_ILLNESS, _DOSES, _WASTE, _GROWTH = map(source, ("illness", "doses", "waste", "growth"))
_MISBEHAVIOUR, _WINDOW = source("misbehaviour"), source("misbehaviour window")


@inlined
def note(s: Any, kind: int, what: int, value: int) -> None:
    """Write an event down, if this life is traced."""
    if s.traced:
        # compiled once, whatever integer the number is
        write_down(s, kind, np.int64(what), value)


@compiled
def write_down(s: Any, kind: int, what: int, value: int) -> None:
    """Write an event down, if it is in the part of the log that is asked for."""
    place = s.n_log - s.log_from
    s.n_log += 1
    if 0 <= place < LOG_ROOM:
        s.log[place, 0] = s.now
        s.log[place, 1] = kind
        s.log[place, 2] = what
        s.log[place, 3] = value


# Due times. What runs on awake time stands still asleep: `left` then has the time that is left.


@inlined
def set_awake(s: Any, slot: int, after: int) -> None:
    """Fall due after so many awake seconds; NEVER is never."""
    if after == NEVER:
        return
    if s.asleep:
        s.left[slot] = after
    else:
        set_due(s, slot, s.now + after)


@inlined
def cancel(s: Any, slot: int) -> None:
    """Fall due no more."""
    s.due[slot] = NEVER
    s.left[slot] = NEVER


@inlined
def runs_awake(w: Any, slot: int) -> bool:
    """Whether what falls due there runs on awake time."""
    return (
        FIRST_DROP <= slot <= w.at_waste
        or w.at_lapse <= slot <= w.at_waste_deadline
        or w.at_fatal <= slot < w.at_untreated
    )


# Growth


@compiled
def be_born(w: Any, s: Any) -> None:
    """Become the root form, at second 0."""
    for need in range(w.n_needs):
        s.level[need] = w.starts[need]
        s.level_since[need] = 0
    s.threshold = unit_exponential(draw(w, s, _ILLNESS))
    enter(w, s, w.root, BIRTH)


@compiled
def outlast_form(w: Any, s: Any) -> None:
    """The form has lasted its time: grow, or be due to die of old age."""
    if w.n_rules[s.form] == 0:
        set_due(s, w.at_old_age, s.now)
        return
    rule = w.first_rule[s.form]
    while not meets(w, s, rule):
        rule += 1
    enter(w, s, w.rule_form[rule], GROWTH)


@compiled
def meets(w: Any, s: Any, rule: int) -> bool:
    """Whether all conditions of a rule hold."""
    first = w.first_condition[rule]
    for j in range(first, first + w.n_conditions[rule]):
        number = compared(w, s, w.compared[j], w.cause[j])
        if number < w.least[j] or number > w.most[j]:
            return False
    return True


@compiled
def compared(w: Any, s: Any, kind: int, cause: int) -> int:
    """The number that a condition compares."""
    if kind == _IN_FORM and cause == ALL_CAUSES:
        return s.row[w.in_misses] - s.misses_before_form
    if kind == _IN_FORM:
        return s.row[w.in_misses_of + cause] - s.misses_before[cause]
    if kind == _IN_LIFE:
        return s.row[w.in_misses] if cause == ALL_CAUSES else s.row[w.in_misses_of + cause]
    return s.discipline if kind == _DISCIPLINE else s.weight


@compiled
def enter(w: Any, s: Any, form: int, kind: int) -> None:
    """Grow into a form, or be born as it."""
    was_dormant = kind == BIRTH or w.dormant[s.form]
    stop_misbehaving(w, s)
    s.form = form
    s.misses_before_form = s.row[w.in_misses]
    for cause in range(w.n_causes):
        s.misses_before[cause] = s.row[w.in_misses_of + cause]
    entered = w.in_entered + 3 * form
    s.row[entered] = s.now
    s.row[entered + 1] = s.weight
    s.row[entered + 2] = s.discipline
    note(s, kind, form, NO_VALUE)
    if w.decides[form] != NONE and s.row[w.in_outcome] == w.undecided:
        s.row[w.in_outcome] = w.decides[form]
        if w.until_outcome:
            s.over = 1
            return
    s.weight = max(s.weight, w.weight_min[form])
    set_due(s, w.at_growth, s.now + sample(w, s, w.lasts[form], _GROWTH))
    draw_anew(w, s)
    settle_sleep(w, s)
    rerate(w, s)
    if was_dormant and not w.dormant[form]:
        for need in range(w.n_needs):
            if s.level[need] == 0:
                reach_zero(w, s, need)
    aim(w, s, s.now)


@compiled
def draw_anew(w: Any, s: Any) -> None:
    """At growth, what depends on the stage's rates is drawn anew."""
    for need in range(w.n_needs):
        start_anew(w, s, FIRST_DROP + need, w.drops[s.form, need], w.of_drops + need)
    start_anew(w, s, w.at_waste, w.waste_every[s.form], _WASTE)
    start_anew(w, s, w.at_misbehaves, w.misbehaves_every[s.form], _MISBEHAVIOUR)


@compiled
def start_anew(w: Any, s: Any, slot: int, law: int, source: int) -> None:
    """Fall due after a wait of a law; without one, no more."""
    if law == NONE:
        cancel(s, slot)
    else:
        set_awake(s, slot, sample(w, s, law, source))


# Sleep


@compiled
def settle_sleep(w: Any, s: Any) -> None:
    """Sleep or be awake as the form does at this clock time, until it next turns."""
    second = (w.begins + s.now) % DAY
    first, n = w.first_turn[s.form], w.n_turns[s.form]
    passed = 0
    while passed < n and w.turn_at[first + passed] <= second:
        passed += 1
    sleeps = w.turn_asleep[first + (passed - 1 if passed else n - 1)]
    if sleeps and not s.asleep:
        fall_asleep(w, s)
    elif s.asleep and not sleeps:
        wake(w, s)
    if n == 1:
        s.due[w.at_sleep_edge] = NEVER
    elif passed < n:
        set_due(s, w.at_sleep_edge, s.now + w.turn_at[first + passed] - second)
    else:
        set_due(s, w.at_sleep_edge, s.now + w.turn_at[first] + DAY - second)


@compiled
def fall_asleep(w: Any, s: Any) -> None:
    """Sleep begins: a misbehaviour ends, and awake time stands still."""
    note(s, ASLEEP, NONE, NO_VALUE)
    if s.misbehaving:
        stop_misbehaving(w, s)
        await_misbehaviour(w, s)
    s.asleep = 1
    s.asleep_since = s.now
    for slot in range(w.n_slots):
        if runs_awake(w, slot) and s.due[slot] != NEVER:
            s.left[slot] = s.due[slot] - s.now
            s.due[slot] = NEVER
    if w.lights_grace[s.form] != NEVER:
        set_due(s, w.at_lights_deadline, s.now + w.lights_grace[s.form])


@compiled
def wake(w: Any, s: Any) -> None:
    """Sleep ends: the lights go on, and awake time runs on."""
    note(s, AWAKE, NONE, NO_VALUE)
    s.asleep = 0
    s.lights = 1
    s.row[w.in_asleep] += s.now - s.asleep_since
    s.due[w.at_lights_deadline] = NEVER
    for slot in range(w.n_slots):
        if s.left[slot] != NEVER:
            set_due(s, slot, s.now + s.left[slot])
            s.left[slot] = NEVER


# Misses


@compiled
def miss(w: Any, s: Any, cause: int) -> None:
    """One care miss; too many kill in this very second."""
    s.row[w.in_misses] += 1
    s.row[w.in_misses_of + cause] += 1
    s.row[w.in_misses_in + s.form] += 1
    s.row[w.in_misses_at + (w.begins + s.now) % DAY // 3600] += 1
    note(s, MISS, cause, s.row[w.in_misses])
    if s.row[w.in_misses] >= w.fatal_misses:
        set_due(s, w.at_neglect, s.now)


# Needs


@compiled
def drop(w: Any, s: Any, need: int) -> None:
    """A need's level falls by one, if it can; the next drop is drawn."""
    wait = sample(w, s, w.drops[s.form, need], w.of_drops + need)
    s.due[FIRST_DROP + need] = s.now + wait
    if s.level[need] > 0:
        note(s, DROP, need, s.level[need] - 1)
        set_level(w, s, need, s.level[need] - 1)
        if s.level[need] == 0:
            reach_zero(w, s, need)


@inlined
def set_level(w: Any, s: Any, need: int, level: int) -> None:
    """Another level from now on."""
    s.row[w.in_level[need] + s.level[need]] += s.now - s.level_since[need]
    s.level[need] = level
    s.level_since[need] = s.now


@compiled
def reach_zero(w: Any, s: Any, need: int) -> None:
    """A need is empty: it calls if awake, and its deadlines run."""
    set_awake(s, w.at_deadline + need, w.grace[s.form, need])
    set_awake(s, w.at_fatal + need, w.fatal_after[s.form, need])
    if not s.asleep:
        hear(w, s)


# Waste


@compiled
def leave_waste(w: Any, s: Any) -> None:
    """Waste appears, if the pile can grow; the next is drawn."""
    s.due[w.at_waste] = s.now + sample(w, s, w.waste_every[s.form], _WASTE)
    if s.pile >= w.pile_max[s.form]:
        return
    s.pile += 1
    note(s, WASTE, NONE, s.pile)
    if s.pile == 1:
        set_awake(s, w.at_waste_deadline, w.waste_grace[s.form])
    rerate(w, s)


# Illness


@compiled
def rerate(w: Any, s: Any) -> None:
    """Another rate from now on, unless the pet falls ill in this very second."""
    form = s.form
    accrue(s)
    s.rate = 0.0
    if not s.ill and w.can_fall_ill[form]:
        excess = max(0, s.weight - w.heavy_above[form])
        per_day = w.ill_base[form] + w.ill_per_waste[form] * s.pile
        s.rate = (per_day + w.ill_per_excess[form] * excess) / DAY
    if w.can_fall_ill[form] and not s.ill and s.due[w.at_illness] == s.now:
        return
    s.due[w.at_illness] = NEVER
    if s.rate > 0.0:
        await_illness(w, s)


@inlined
def accrue(s: Any) -> None:
    """Add up the risk so far."""
    # each step rounded on its own: two statements, in doubles
    run = s.rate * (s.now - s.rated_at)
    s.risk = s.risk + run
    s.rated_at = s.now


@inlined
def await_illness(w: Any, s: Any) -> None:
    """Find the second at which the risk will reach the threshold."""
    wait = min((s.threshold - s.risk) / s.rate, float(LONGEST))
    s.due[w.at_illness] = s.now + max(1, math.ceil(wait))


@compiled
def fall_ill(w: Any, s: Any) -> None:
    """Illness begins; how many doses it takes is drawn."""
    form = s.form
    u, total, last = draw(w, s, _DOSES), 0.0, w.first_dose[form] + w.n_doses[form] - 1
    dose = w.first_dose[form]
    total += w.dose_chance[dose]
    while dose < last and u >= total:
        dose += 1
        total += w.dose_chance[dose]
    s.ill = 1
    s.ill_since = s.now
    s.doses_left = w.dose_number[dose]
    note(s, ILL, NONE, s.doses_left)
    rerate(w, s)
    if w.ill_grace[form] != NEVER:
        set_due(s, w.at_illness_deadline, s.now + w.ill_grace[form])
    if w.ill_fatal[form] != NEVER:
        set_due(s, w.at_untreated, s.now + w.ill_fatal[form])


@compiled
def recover(w: Any, s: Any) -> None:
    """The last dose cures; the threshold of the next illness is drawn."""
    s.ill = 0
    s.row[w.in_ill] += s.now - s.ill_since
    s.due[w.at_illness_deadline] = NEVER
    s.due[w.at_untreated] = NEVER
    s.threshold = unit_exponential(draw(w, s, _ILLNESS))
    s.risk = 0.0
    rerate(w, s)


# Misbehaviour


@compiled
def await_misbehaviour(w: Any, s: Any) -> None:
    """Draw when the next misbehaviour begins."""
    law = w.misbehaves_every[s.form]
    if law != NONE:
        set_awake(s, w.at_misbehaves, sample(w, s, law, _MISBEHAVIOUR))


@compiled
def misbehave(w: Any, s: Any) -> None:
    """A misbehaviour begins."""
    s.misbehaving = 1
    set_awake(s, w.at_lapse, sample(w, s, w.misbehaves_for[s.form], _WINDOW))
    note(s, MISBEHAVES, NONE, NO_VALUE)
    hear(w, s)


@inlined
def stop_misbehaving(w: Any, s: Any) -> None:
    """A misbehaviour, if there is one, is over."""
    s.misbehaving = 0
    cancel(s, w.at_lapse)


@compiled
def lapse(w: Any, s: Any) -> None:
    """A misbehaviour has run out without a reprimand."""
    stop_misbehaving(w, s)
    s.discipline = max(0, s.discipline - w.lapse_costs)
    s.row[w.in_lapses] += 1
    note(s, LAPSE, NONE, s.discipline)
    await_misbehaviour(w, s)


# Care


@inlined
def undergo(w: Any, s: Any, action: int) -> None:
    """A care action lands."""
    was_ill, before = s.ill, s.alike
    s.alike = 0
    kind = outcome_of(w, s, action)
    done = w.in_done + 4 * action
    s.row[done] += 1
    if kind in (REFUSED, WASTED):
        s.row[done + 1] += 1
    elif kind == LOST:
        s.row[done + 2] += 1
    note(s, kind, action, NO_VALUE)
    if was_ill and not s.ill:
        note(s, WELL, NONE, NO_VALUE)
    remember(w, s, action, kind, before)


@inlined
def remember(w: Any, s: Any, action: int, kind: int, before: int) -> None:
    """Whether the check is still one that the next may be like: if nothing came of its actions."""
    nothing = kind == REFUSED or (
        w.works[action] == 1.0 and (kind == WASTED or (kind == UNFAIR and s.alike))
    )
    s.alike = before and nothing and s.n_noted < ACTS_ROOM
    if s.alike:
        s.noted[s.n_noted] = action
        s.noted_kind[s.n_noted] = kind
        s.n_noted += 1


@inlined
def outcome_of(w: Any, s: Any, action: int) -> int:
    """What becomes of an action that lands: its kind in the log."""
    if refuses(w, s, action):
        return REFUSED
    if not comes_true(w, s, np.int64(w.of_works + action), w.works[action]):
        return LOST
    changed = has_effects(w, s, action)
    if w.reprimands[action]:
        if s.misbehaving:
            reprimand_fairly(w, s)
            return DONE
        reprimand_unfairly(w, s)
        s.alike = s.alike and not changed
        return UNFAIR
    return DONE if changed else WASTED


@inlined
def refuses(w: Any, s: Any, action: int) -> bool:
    """Whether the pet refuses an action as it is now."""
    if w.dormant[s.form]:
        return True
    if s.asleep and w.refused_asleep[action]:
        return True
    if s.misbehaving and w.refused_misbehaving[action]:
        return True
    if not w.refused_full[action] or w.n_raises[action] == 0:
        return False
    first = w.first_raise[action]
    for j in range(first, first + w.n_raises[action]):
        need = w.raised_need[j]
        if s.level[need] < w.full[need]:
            return False
    return True


@inlined
def has_effects(w: Any, s: Any, action: int) -> bool:
    """Work an action's effects, all but the reprimand, in order; whether anything changed."""
    changed, first = False, w.first_raise[action]
    for j in range(first, first + w.n_raises[action]):
        if lift(w, s, w.raised_need[j], w.raised_by[j]):
            changed = True
    if w.gains[action] != 0 and gain(w, s, w.gains[action]):
        changed = True
    if w.cleans[action] and s.pile > 0:
        s.pile = 0
        cancel(s, w.at_waste_deadline)
        rerate(w, s)
        changed = True
    if w.doses[action] and s.ill:
        s.doses_left -= 1
        if s.doses_left == 0:
            recover(w, s)
        changed = True
    if w.lights[action] != NONE:
        on = w.lights[action] or not s.asleep
        if on != s.lights:
            s.lights = on
            changed = True
    return changed


@inlined
def lift(w: Any, s: Any, need: int, by: int) -> bool:
    """Raise a need; whether that changed it."""
    level = min(w.full[need], s.level[need] + by)
    if level == s.level[need]:
        return False
    if s.level[need] == 0:
        cancel(s, w.at_deadline + need)
        cancel(s, w.at_fatal + need)
    set_level(w, s, need, level)
    return True


@inlined
def gain(w: Any, s: Any, by: int) -> bool:
    """Gain or lose weight; whether that changed it."""
    before, weight = s.weight, max(w.weight_min[s.form], s.weight + by)
    if weight == before:
        return False
    s.weight = weight
    if max(before, weight) > w.heavy_above[s.form]:
        rerate(w, s)
    elif s.rate > 0.0 and s.rated_at != s.now:
        # the same rate, but the risk is added up at every change of weight
        accrue(s)
        await_illness(w, s)
    return True


@compiled
def reprimand_fairly(w: Any, s: Any) -> None:
    """It misbehaved: that ends, and it learns."""
    stop_misbehaving(w, s)
    s.discipline = min(MOST_DISCIPLINE, s.discipline + w.discipline_step)
    await_misbehaviour(w, s)


@inlined
def reprimand_unfairly(w: Any, s: Any) -> None:
    """It did not misbehave: some needs may suffer. Sets `alike` to whether nothing did."""
    s.row[w.in_unfair] += 1
    s.alike = 1
    for j in range(w.n_unfair):
        need = w.unfair_need[j]
        level = max(0, s.level[need] - w.unfair_cost[j])
        if level == s.level[need]:
            continue
        s.alike = 0
        set_level(w, s, need, level)
        if level == 0:
            reach_zero(w, s, need)


# Death


@compiled
def die(w: Any, s: Any, cause: int) -> None:
    """Die of a cause, which is the outcome if there was none yet."""
    s.row[w.in_died] = 1 + cause
    if s.row[w.in_outcome] == w.undecided:
        s.row[w.in_outcome] = w.first_death + cause
    note(s, DEATH, cause, NO_VALUE)
    s.over = 1
