"""The forward pass of misbehaviour, of which calls and discipline show something.

The hidden state is whether the pet misbehaves, and since when it does or does not.

Time runs in steps. Between two readings of discipline the pass also keeps how many misbehaviours
were reprimanded and how many ran out, as these change what is read next. Within the bracket of a
growth, the form before and the one after run side by side.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from petsim.evidence.kernels import SOURCES
from petsim.evidence.kernels.levels import (
    ACT,
    GROW,
    LOOK,
    LOST,
    MIXED_IN,
    NO_LAW,
    PASS,
    SURE,
    SWITCH,
)
from petsim.life.compiled.compiling import compiled, kept

SLEEP, READ = 10, 11
"""Operations besides those of levels: the pet falls asleep; discipline is read."""
MOST = 2
"""Reprimands, and misbehaviours that ran out, that are kept apart between two readings."""
COUNTS = (MOST + 1) * (MOST + 1)
"""Pairs of these two numbers."""
AS_LIKELY = 0.5
"""The chance that what is under way was reprimanded where nobody knows what was pressed."""
LEAST = 1e-15
"""The mass that is worth a row of its own."""


@compiled
def _age(row: Any, reach: int, chances: Any) -> float:
    """Let a row of ages, of which the first `reach` have mass, become a step older.

    Return the mass that ends.
    """
    last, ended = row.shape[0] - 1, 0.0
    left = row[last] * (1.0 - chances[last])
    for age in range(min(reach - 1, last), -1, -1):
        ends = row[age] * chances[age]
        ended += ends
        if age < last:
            row[age + 1] = row[age] - ends
    row[last] += left
    row[0] = 0.0
    return ended


@compiled
def _step(off: Any, on: Any, reach: Any, every: Any, window: Any, over: Any) -> None:
    """Let an awake step pass. every, window: the chance to end in a step, by age."""
    for n in range(COUNTS):
        over[n] = 0.0
        if reach[1, n] > 0:
            over[n] = _age(on[n], reach[1, n], window)
            reach[1, n] = min(reach[1, n] + 1, on.shape[1])
        if reach[0, n] > 0:
            on[n, 0] += _age(off[n], reach[0, n], every)
            reach[0, n] = min(reach[0, n] + 1, off.shape[1])
            reach[1, n] = max(reach[1, n], 1)
    for n in range(COUNTS):
        # one that runs out is counted with those that did, as far as they are kept apart
        after = n + 1 if n % (MOST + 1) < MOST else n
        if over[n] > LEAST:
            off[after, 0] += over[n]
            reach[0, after] = max(reach[0, after], 1)


@compiled
def _ends(off: Any, on: Any, reach: Any, share: float, is_reprimand: bool) -> None:
    """End a share of what is under way: by a reprimand, which counts, or by sleep or growth."""
    for n in range(COUNTS - 1, -1, -1):
        after = n
        if is_reprimand and n // (MOST + 1) < MOST:
            after = n + MOST + 1
        ended = 0.0
        for age in range(reach[1, n]):
            ended += share * on[n, age]
            on[n, age] *= 1.0 - share
        if ended > LEAST:
            off[after, 0] += ended
            reach[0, after] = max(reach[0, after], 1)


@compiled
def _sum(rows: Any, reach: Any) -> float:
    """The mass of all rows."""
    total = 0.0
    for n in range(COUNTS):
        for age in range(reach[n]):
            total += rows[n, age]
    return total


@compiled
def _scale(rows: Any, reach: Any, by: float) -> None:
    """Multiply the mass of all rows."""
    for n in range(COUNTS):
        for age in range(reach[n]):
            rows[n, age] *= by


@compiled
def _grow(off: Any, on: Any, reach: Any, old: int, share: float) -> None:
    """Let a share grow: what is under way ends, and the next wait begins."""
    new = 1 - old
    for n in range(COUNTS):
        grown = 0.0
        for age in range(reach[old, 0, n]):
            grown += share * off[old, n, age]
            off[old, n, age] *= 1.0 - share
        for age in range(reach[old, 1, n]):
            grown += share * on[old, n, age]
            on[old, n, age] *= 1.0 - share
        if grown > 0.0:
            off[new, n, 0] += grown
            reach[new, 0, n] = max(reach[new, 0, n], 1)


@compiled
def _merge(rows: Any, reach: Any, agrees: int) -> None:
    """Keep the counts that agree with a reading of discipline, and count anew from there."""
    for n in range(COUNTS):
        by = MIXED_IN / COUNTS
        if agrees & (1 << n):
            by += 1.0 - MIXED_IN
        for age in range(reach[n]):
            rows[n, age] *= by
            if n > 0:
                rows[0, age] += rows[n, age]
                rows[n, age] = 0.0
        reach[0] = max(reach[0], reach[n])
        if n > 0:
            reach[n] = 0


@compiled
def _called(rates: Any, pair: int, bad: float, under_way: float) -> float:
    """The chance that a call is seen, if it misbehaves with a chance."""
    last = rates.shape[0] - 1
    clear: float = under_way * (1.0 - rates[pair, 0]) + (1.0 - under_way) * rates[pair, 1]
    dark: float = under_way * (1.0 - rates[last, 0]) + (1.0 - under_way) * rates[last, 1]
    return (1.0 - bad) * clear + bad * dark


@compiled
def _look(
    off: Any, on: Any, reach: Any, rates: Any, pair: int, bad: float, seen: int, row: Any
) -> float:
    """Take a look at whether it calls into account; return the chance of what was seen."""
    behaves, misbehaves = 0.0, 0.0
    for at in range(2):
        behaves += _sum(off[at], reach[at, 0])
        misbehaves += _sum(on[at], reach[at, 1])
    whole = behaves + misbehaves
    under_way = misbehaves / whole
    if len(row) > 0:
        mean = _called(rates, pair, bad, under_way)
        clear, dark = _called(rates, pair, 0.0, under_way), _called(rates, pair, 1.0, under_way)
        row[0] = mean if seen == 1 else 1.0 - mean
        row[1], row[2] = mean, mean * (1.0 - mean)
        row[3] = clear if seen == 1 else 1.0 - clear
        row[4] = dark if seen == 1 else 1.0 - dark
    calls, quiet = _called(rates, pair, bad, 1.0), _called(rates, pair, bad, 0.0)
    if seen == 0:
        calls, quiet = 1.0 - calls, 1.0 - quiet
    calls = (1.0 - MIXED_IN) * calls + MIXED_IN / 2
    quiet = (1.0 - MIXED_IN) * quiet + MIXED_IN / 2
    total = under_way * calls + (1.0 - under_way) * quiet
    for at in range(2):
        _scale(off[at], reach[at, 0], quiet / (total * whole))
        _scale(on[at], reach[at, 1], calls / (total * whole))
    return total  # type: ignore[no-any-return]


@compiled
def _read(off: Any, on: Any, reach: Any, agrees: int) -> float:
    """Take a reading of discipline into account; return its chance."""
    before, after = 0.0, 0.0
    for at in range(2):
        before += _sum(off[at], reach[at, 0]) + _sum(on[at], reach[at, 1])
        _merge(off[at], reach[at, 0], agrees)
        _merge(on[at], reach[at, 1], agrees)
        after += _sum(off[at], reach[at, 0]) + _sum(on[at], reach[at, 1])
    for at in range(2):
        _scale(off[at], reach[at, 0], 1.0 / after)
        _scale(on[at], reach[at, 1], 1.0 / after)
    chance: float = after / before
    return chance


def _forward(
    kinds: Any,
    amounts: Any,
    firsts: Any,
    seconds: Any,
    step: float,
    every: Any,
    window: Any,
    rates: Any,
    chance: float,
    predicted: Any,
) -> float:
    """Return the log-likelihood of a tape.

    Args:
        kinds, amounts, firsts, seconds: the operations: PASS, GROW, SWITCH as of levels; SLEEP of
            the phases of bits 1 and 2; LOOK at whether it calls, with the chance of bad light, the
            pair of rates and what was seen; READ of discipline, with bits of the pairs of counts
            that agree with it; ACT, a reprimand, with a factor of its chance and bits of the phases
            in which it can't land, or 8 if it was seen to; LOST, of what was pressed. Others
            do nothing; a life that began before its log is taken to behave, its wait to be new.
        step: its seconds.
        every, window: of each law, the chance to end in a step, by age.
        rates: of each pair, the rates of overlooking and imagining a call; the last of bad light.
        chance: of a reprimand, to land.
        predicted: as of an illness.
    """
    off = np.zeros((2, COUNTS, every.shape[1]))
    on = np.zeros((2, COUNTS, window.shape[1]))
    # of each phase, of what behaves and misbehaves, of each pair of counts: ages that have mass
    reach, over = np.zeros((2, 2, COUNTS), np.int64), np.zeros(COUNTS)
    awake, done = np.zeros(2), np.zeros(2, np.int64)
    old, log_likelihood, nobody = 0, 0.0, np.zeros(0)
    off[0, 0, 0] = 1.0
    reach[0, 0, 0] = 1
    for op in range(len(kinds)):
        kind = kinds[op]
        if kind == PASS:
            for phase in range(2):
                law = firsts[op] if phase == 0 else seconds[op]
                if law == NO_LAW:
                    continue
                at = old if phase == 0 else 1 - old
                awake[at] += amounts[op]
                due = int(awake[at] / step + 1e-9)
                while done[at] < due:
                    done[at] += 1
                    _step(off[at], on[at], reach[at], every[law], window[law], over)
        elif kind == GROW:
            _grow(off, on, reach, old, amounts[op])
        elif kind == SWITCH:
            off[old] = 0.0
            on[old] = 0.0
            reach[old] = 0
            awake[old], done[old] = 0.0, 0
            old = 1 - old
        elif kind in (SLEEP, ACT):
            for phase in range(2):
                at, is_named = old if phase == 0 else 1 - old, seconds[op] & (1 << phase) != 0
                if is_named == (kind == SLEEP):
                    is_sure = kind == SLEEP or seconds[op] & SURE != 0
                    share = 1.0 if is_sure else amounts[op] * chance
                    _ends(off[at], on[at], reach[at], share, kind == ACT)
        elif kind == LOST:
            for at in range(2):
                _ends(off[at], on[at], reach[at], AS_LIKELY, True)
        elif kind == LOOK:
            row = predicted[op] if len(predicted) > 0 else nobody
            log_likelihood += np.log(
                _look(off, on, reach, rates, firsts[op], amounts[op], seconds[op], row)
            )
        elif kind == READ:
            log_likelihood += np.log(_read(off, on, reach, seconds[op]))
    return log_likelihood


forward_misbehaviour = kept(_forward, "the fit of misbehaviour", SOURCES)
