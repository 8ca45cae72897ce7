"""The caretaker in the compiled engine: looks, actions, power; and many checks at once."""

from __future__ import annotations

from typing import Any

import numpy as np

from petsim.life.compiled.calls import aim, interval, is_clear, queue_late, set_due, take_late
from petsim.life.compiled.chance import draw, errs, sample, source
from petsim.life.compiled.compiling import compiled, inlined, merged
from petsim.life.compiled.pet import (
    CHECK,
    CHECK_SKIPPED,
    NO_VALUE,
    OUTAGE_BEGINS,
    OUTAGE_ENDS,
    REFUSED,
    SLIPPED,
    UNFAIR,
    note,
    undergo,
)
from petsim.life.compiled.words import lowest_bit
from petsim.life.tables import MOST_SEEN, NEVER, NONE, SIGHT

_UP, _DOWN = source("up times"), source("down times")
_LEVELS = np.int64(len(SIGHT))
_ALL = np.int64(-1)


# When they come


@inlined
def is_due(w: Any, s: Any, slot: int) -> bool:
    """Whether a check comes now, on the grid, late or for a call."""
    if slot == w.at_heard:
        return s.check_window == NONE or w.window_every[s.check_window] != NEVER
    if slot == w.at_late:
        take_late(w, s)
        return interval(w, s, s.now) != NEVER
    due = s.ring_due or is_on_grid(w, s)
    if s.ring_due and w.n_check_windows == 0:
        s.due[w.at_grid] = s.now + s.every
    else:
        aim(w, s, s.now + 1)
    if due and w.jitter != NONE:
        queue_late(w, s)
        return False
    return due


@compiled
def is_on_grid(w: Any, s: Any) -> bool:
    """Whether a check is due now by the grid of the interval in force."""
    every = interval(w, s, s.now)
    return s.now >= s.first and every != NEVER and (s.now - s.first) % every == 0


@inlined
def comes(w: Any, s: Any, slot: int) -> bool:
    """Whether a check that comes starts; it is skipped if one goes on or the power is out."""
    if s.counted_at == s.now:
        return False
    s.counted_at = s.now
    if s.busy or not s.power:
        s.row[w.in_skipped] += 1
        note(s, CHECK_SKIPPED, NONE, NO_VALUE)
        return False
    s.row[w.in_checks] += 1
    note(s, CHECK, NONE, NO_VALUE)
    s.cut = 0
    s.pass_number = 0
    s.step = 0
    s.repeats = 0
    s.acted = 0
    s.landing = NONE
    s.by_grid = slot == w.at_grid
    s.began = s.now
    s.alike = 1
    s.n_noted = 0
    if w.errs_at_all:
        for error in range(w.n_errors):
            s.error_before[error] = s.error_left[error]
    press(w, s, w.opening_presses)
    return has_passed(w, s, w.opening_takes)


@inlined
def has_passed(w: Any, s: Any, seconds: int) -> bool:
    """Whether what takes so long has ended, as nothing else is due before; else it is under way."""
    if seconds == 0:
        return True
    end = s.now + seconds
    if end < min(s.edge_at, w.horizon) and end <= s.due[w.at_grid] and is_clear(w, s, end):
        s.now = end
        return True
    s.busy = 1
    set_due(s, w.at_under_way, end)
    return False


# Carrying one out


@merged
def go_on(w: Any, s: Any) -> None:
    """Go on with a check until it ends or something in it takes time."""
    s.busy = 0
    number, step, repeats, acted = s.pass_number, s.step, s.repeats, s.acted
    landing = s.landing
    s.landing = NONE
    while True:
        if landing != NONE:
            undergo(w, s, np.uint32(landing))
        if s.cut:
            return
        step, repeats = next_step(w, s, number, step, repeats)
        if step == w.n_steps:
            number += 1
            if not acted or number == w.passes:
                break
            step, acted, landing = np.uint32(0), 0, NONE
            continue
        repeats += 1
        acted |= w.has_when[step]
        landing = begin(w, s, w.do[step])
        if not has_passed(w, s, w.takes[w.do[step]]):
            s.pass_number, s.step, s.repeats, s.acted = number, step, repeats, acted
            s.landing = landing
            return
    s.check_ended = s.by_grid and not s.traced


@inlined
def next_step(w: Any, s: Any, number: int, step: Any, repeats: int) -> tuple[Any, int]:
    """The step done next in a pass of that number, after this one was done so often, and how often
    that was done before; the end of the routine if there is none."""
    if w.sees_at_once:
        done = repeats == w.times[step]
        found = lowest_bit(wanted(w, s, number) & (_ALL << np.int64(step + done)))
        return np.uint32(found), repeats if found == step else 0
    while step < w.n_steps and (repeats == w.times[step] or not is_wanted(w, s, step, number)):
        step, repeats = np.uint32(step + 1), 0
    return step, repeats


@inlined
def wanted(w: Any, s: Any, number: int) -> int:
    """The steps that a pass of that number would do now, as a bit each, and one for its end."""
    if w.heeds_calls:
        s.calling = calls(w, s)
    signals = np.uint32(s.ill + 2 * s.asleep + 4 * s.lights + 8 * s.calling)
    steps = w.steps_at[s.form, signals] & let(w, 0, s.pile)
    if w.looks_at_weight:
        steps &= let(w, 1, s.weight)
    for need in range(w.n_needs):
        steps &= let(w, 2 + need, s.level[need])
    for clock in range(w.n_clocks):
        steps &= let(w, 2 + w.n_needs + clock, s.clock[clock])
    return steps if number == 0 else steps & w.conditional


@inlined
def let(w: Any, j: int, number: int) -> int:
    """The steps that a number of one thing, such as a level, lets through."""
    return w.lets[np.uint32(j), np.uint32(min(number, MOST_SEEN))]


@inlined
def begin(w: Any, s: Any, action: int) -> int:
    """Begin an action; what will land when it has taken its time: the action, unless it slips."""
    press(w, s, w.presses[action])
    if not errs(w, s, np.uint32(w.first_slip + action), w.slip_step[action]):
        return action
    s.row[w.in_done + 4 * action + 3] += 1
    note(s, SLIPPED, action, NO_VALUE)
    return NONE


@inlined
def is_wanted(w: Any, s: Any, step: int, number: int) -> bool:
    """Whether the routine does a step, in a pass of that number."""
    if w.has_when[step]:
        return look(w, s, step)
    return number == 0


@inlined
def press(w: Any, s: Any, presses: int) -> None:
    """Count presses."""
    s.row[w.in_presses] += presses
    if s.in_quiet:
        s.row[w.in_quiet_presses] += presses


@inlined
def look(w: Any, s: Any, step: int) -> bool:
    """Look at all that a step's conditions name; whether they all hold as seen.

    It tries every signal, so that an error's threshold is used up by each look.
    """
    if w.looks_for_calls[step]:
        s.calling = calls(w, s)
    verdict = w.of_form[step, s.form] == 1
    first = w.first_test[step]
    for j in range(first, first + w.n_tests[step]):
        seen = see(w, s, j)
        verdict &= w.test_least[j] <= seen <= w.test_most[j]
    return verdict


@inlined
def see(w: Any, s: Any, j: int) -> int:
    """What is seen of what a test looks at, by eyes that may err."""
    truth = s.sight[w.test_of[j]]
    error = w.test_overlooks[j] if truth > 0 else w.test_imagines[j]
    if errs(w, s, error, w.error_step[error, s.eyes_window]):
        return mistaken(w, s, w.test_of[j])
    return truth


@compiled
def mistaken(w: Any, s: Any, what: int) -> int:
    """What is seen in error: a signal that is not so, or a level one off, if it can be."""
    if what < _LEVELS:
        return 0 if s.sight[what] > 0 else 1
    need = what - _LEVELS
    if draw(w, s, w.of_sides + need) < 0.5:
        return min(w.full[need], s.level[need] + 1)
    return max(0, s.level[need] - 1)


@inlined
def calls(w: Any, s: Any) -> int:
    """Whether the pet calls: awake, with a need at 0 or misbehaving."""
    if s.asleep or w.dormant[s.form]:
        return 0
    for need in range(w.n_needs):
        if s.level[need] == 0:
            return 1
    return s.misbehaving


# Many at once
#
# A check of which nothing comes, in which no eye or hand erred and during which nothing happened,
# goes the same way again as long as pet, windows and power stay as they are: it changes nothing
# but counts, thresholds and numbers of draws. It is remembered, and its like are counted at once.

# Not more than so many: what they use up of a threshold, which is below 2**46, then fits 64 bits.
_MANY = np.int64(2**16)


@inlined
def pass_over(w: Any, s: Any, at: int) -> None:
    """A check on the grid has ended: pass over those before second `at`, when the next other thing
    is due, that go like one that is remembered."""
    s.check_ended = 0
    every = s.every
    if s.alike:
        remember_check(w, s)
    if not s.ring_due or s.due[w.at_grid] != s.began + every or s.lasts >= every:
        return
    room = min(s.edge_at, w.horizon, at) - 1 - s.lasts - s.began
    if room < every or not (s.alike or is_as_remembered(w, s)):
        return
    n = min(room // every, _MANY)
    errors = w.n_errors if w.errs_at_all else 0
    for error in range(errors):
        if s.uses[error] > 0 and n * s.uses[error] > s.error_left[error]:
            n = s.error_left[error] // s.uses[error]
    if n <= 0:
        return
    for error in range(errors):
        s.error_left[error] -= n * s.uses[error]
    presses = w.opening_presses
    for j in range(s.n_acts):
        presses += w.presses[s.act[j]]
        repeat_action(w, s, s.act[j], s.act_kind[j], n)
    press(w, s, n * presses)
    s.row[w.in_checks] += n
    s.due[w.at_grid] += n * every
    if s.due[w.at_grid] >= s.edge_at:
        aim(w, s, s.due[w.at_grid] - every + 1)


@inlined
def remember_check(w: Any, s: Any) -> None:
    """Remember a check of which nothing came, and the pet and the windows it met."""
    s.lasts = s.now - s.began
    for error in range(w.n_errors if w.errs_at_all else 0):
        s.uses[error] = s.error_before[error] - s.error_left[error]
    s.n_acts = s.n_noted
    s.heeds_weight = w.looks_at_weight
    for j in range(s.n_noted):
        s.heeds_weight |= s.noted_kind[j] != REFUSED and w.gains[s.noted[j]] != 0
        s.act[j] = s.noted[j]
        s.act_kind[j] = s.noted_kind[j]
    s.met_edge = s.edge_at
    s.met_form = s.form
    s.met_pile = s.pile
    s.met_weight = s.weight
    s.met_switches = switches(s)
    for need in range(w.n_needs):
        s.met_level[need] = s.level[need]


@inlined
def is_as_remembered(w: Any, s: Any) -> bool:
    """Whether pet and windows are as the remembered check met them, as far as it matters."""
    if s.met_edge != s.edge_at or s.met_form != s.form or s.met_pile != s.pile:
        return False
    if s.met_switches != switches(s) or (s.heeds_weight and s.met_weight != s.weight):
        return False
    for need in range(w.n_needs):
        if s.met_level[need] != s.level[need]:
            return False
    return True


@inlined
def switches(s: Any) -> int:
    """All of the pet that is so or not, in one number."""
    return s.ill + 2 * s.asleep + 4 * s.lights + 8 * s.misbehaving + 16 * s.power


@compiled
def repeat_action(w: Any, s: Any, action: int, kind: int, n: int) -> None:
    """An action of which nothing comes is done n times more."""
    done = w.in_done + 4 * action
    s.row[done] += n
    if kind == UNFAIR:
        s.row[w.in_unfair] += n
    else:
        s.row[done + 1] += n
    if kind != REFUSED:
        s.drawn[w.of_works + action] += n


# Power


@compiled
def begin_power(w: Any, s: Any) -> None:
    """The power is on, for as long as is drawn."""
    if w.up != NONE:
        set_due(s, w.at_power, s.now + sample(w, s, w.up, _UP))


@compiled
def switch_power(w: Any, s: Any) -> None:
    """The power fails, or returns."""
    if s.power:
        s.power = 0
        s.cut = 1
        note(s, OUTAGE_BEGINS, NONE, NO_VALUE)
        set_due(s, w.at_power, s.now + sample(w, s, w.down, _DOWN))
    else:
        s.power = 1
        note(s, OUTAGE_ENDS, NONE, NO_VALUE)
        begin_power(w, s)
