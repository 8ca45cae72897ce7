"""The forward pass of a chain of levels: a need, or a pile of waste.

The hidden state is a level, the awake time since the last drop or growth, and whether the pet
refuses in this check. Within the bracket of a growth two *phases* of it run side by side: the form
before, and the one after. Where the waits of a form are exponential, no age is needed and time runs
on exactly. Else time runs in steps, and of each level the mass is kept by the step in which its
wait began (its birth), divided by the chance to last so long. So a step moves nothing but what
drops. Of each level there is also a factor of all its births, so that a look touches none of them.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from petsim.evidence.kernels import SOURCES
from petsim.life.compiled.compiling import compiled, kept

PASS, GROW, SWITCH, LOOK, ACT, CHECK_BEGINS, CHECK_ENDS, LOST, MIDWAY = range(9)
"""Operations of a tape."""
SURE = 8
"""A bit of an act: the screen showed that it had its effect."""
NO_LAW = -1
"""In place of the law of a phase in which nothing drops: asleep, dormant, or without mass."""
MIXED_IN = 1e-9
"""The share of an emission that shows any value alike, so that no single reading is impossible."""
LEAST_SCALE = 1e-60
"""The factor of births below which, or above whose inverse, they are multiplied out."""
ROOM = 4
"""Times the longest age that fit into the buffer of births before it is moved to its front."""


@compiled
def _dot(births: Any, first: int, weights: Any, n: int) -> float:
    """The sum over ages of births times weights: of four parts, which go on side by side."""
    a, b, c, d = 0.0, 0.0, 0.0, 0.0
    fours = n - n % 4
    for k in range(0, fours, 4):
        a += births[first + k] * weights[k]
        b += births[first + k + 1] * weights[k + 1]
        c += births[first + k + 2] * weights[k + 2]
        d += births[first + k + 3] * weights[k + 3]
    for k in range(fours, n):
        a += births[first + k] * weights[k]
    return (a + b) + (c + d)


@compiled
def _pass_exactly(mass: Any, rate_seconds: float, rises: bool, weights: Any) -> None:
    """Let a time pass in which drops come at a rate: Poisson, the last level taking the tail."""
    levels = mass.shape[1]
    weights[0] = np.exp(-rate_seconds)
    for k in range(1, levels):
        weights[k] = weights[k - 1] * rate_seconds / k
    for flag in range(2):
        if _is_empty(mass, flag):
            continue
        for place in range(levels):
            # from the level that is reached last, so that each is read before it is written
            level = levels - 1 - place if rises else place
            total, got, left = 0.0, 0.0, 1.0
            steps = level if rises else levels - 1 - level
            is_end = level == (levels - 1 if rises else 0)
            if is_end:
                for k in range(levels):
                    source = level - k if rises else level + k
                    total += mass[flag, source] * left
                    left -= weights[k]
                mass[flag, level] = total
                continue
            for k in range(steps + 1):
                source = level - k if rises else level + k
                got += mass[flag, source] * weights[k]
            mass[flag, level] = got


@compiled
def _is_empty(mass: Any, flag: int) -> bool:
    """Whether no level has any mass."""
    total = 0.0
    for level in range(mass.shape[1]):
        total += mass[flag, level]
    return total == 0.0


@compiled
def _step(part: Any, now: int, longest: int, law: Any, rises: bool, moved: Any) -> None:
    """Let a step pass in a phase that is kept by births; `now` is the step that begins.

    law: the chance to drop at each age, by births, then the chance to last to the longest age and
    that to drop in a step from then on.
    """
    mass, births, tails, by = part
    levels = mass.shape[1]
    lasting, last_drop, first = law[longest], law[longest + 1], now - longest
    for flag in range(2):
        for level in range(levels):
            births[flag, level, now] = 0.0
        if _is_empty(mass, flag):
            continue
        for level in range(levels):
            moved[level] = 0.0
            if mass[flag, level] < 1e-14:
                continue
            row, scale = births[flag, level], by[flag, level]
            drop = scale * _dot(row, first, law, longest)
            # what has become older than the longest age drops at one rate
            drop += tails[flag, level] * last_drop
            tails[flag, level] *= 1.0 - last_drop
            tails[flag, level] += scale * row[first] * lasting
            moved[level] = min(drop, mass[flag, level])
        for level in range(levels):
            to = min(level + 1, levels - 1) if rises else max(level - 1, 0)
            mass[flag, level] -= moved[level]
            mass[flag, to] += moved[level]
            births[flag, to, now] += moved[level] / by[flag, to]


@compiled
def _survival(law: Any, longest: int, lasting: Any) -> None:
    """Fill in the chance to last to each age, from one below the longest down to 0."""
    total = law[longest]
    for k in range(longest):
        total += law[k]
        lasting[k] = total


@compiled
def _weigh(part: Any, now: int, longest: int, lasting: Any) -> None:
    """Sum the mass of each level anew.

    What steps take off it adds up to too little where nearly all of a level has dropped, and the
    next look at it would make that error as large as what is left.
    """
    mass, births, tails, by = part
    for flag in range(2):
        for level in range(mass.shape[1]):
            if mass[flag, level] > 0.0:
                # what is of the longest age is among the tails already
                total = _dot(births[flag, level], now - longest + 1, lasting, longest)
                mass[flag, level] = tails[flag, level] + by[flag, level] * total


@compiled
def _make_room(births: Any, now: int, longest: int) -> int:
    """Move the births that still count to the front of the buffer; return the step they end at."""
    for flag in range(2):
        for level in range(births.shape[1]):
            for k in range(longest):
                births[flag, level, k] = births[flag, level, now - longest + k]
    return longest


@compiled
def _scale(part: Any, flag: int, level: int, share: float, span: Any) -> None:
    """Multiply the mass of a level, of all ages."""
    mass, births, tails, by = part
    mass[flag, level] *= share
    tails[flag, level] *= share
    by[flag, level] *= share
    if LEAST_SCALE < by[flag, level] < 1.0 / LEAST_SCALE:
        return
    for k in range(span[0], span[1]):
        births[flag, level, k] *= by[flag, level]
    by[flag, level] = 1.0


@compiled
def _move(part: Any, source: tuple[int, int], to: tuple[int, int], share: float, span: Any) -> None:
    """Move a share of the mass of one level, by flag and level, to another; ages stay."""
    mass, births, tails, by = part
    mass[to] += share * mass[source]
    tails[to] += share * tails[source]
    moved = share * by[source] / by[to]
    for k in range(span[0], span[1]):
        births[to[0], to[1], k] += moved * births[source[0], source[1], k]
    _scale(part, source[0], source[1], 1.0 - share, span)


@compiled
def _grow(old: Any, new: Any, share: float, now: int, span: Any) -> None:
    """Let a share of the old phase grow: it enters the new one, at its step, at the age of 0.

    span: of the old.
    """
    mass, births, _, by = new
    for flag in range(mass.shape[0]):
        for level in range(mass.shape[1]):
            grown = share * old[0][flag, level]
            if grown == 0.0:
                continue
            mass[flag, level] += grown
            births[flag, level, now] += grown / by[flag, level]
            _scale(old, flag, level, 1.0 - share, span)


@compiled
def _shown(emissions: Any, clear: int, bad: float, level: int, value: int) -> float:
    """The chance of a value at a level, where the light is bad with a chance."""
    e: float = (1.0 - bad) * emissions[clear, level, value]
    if bad > 0.0:
        e += bad * emissions[emissions.shape[0] - 1, level, value]
    return e


@compiled
def _look(
    parts: Any, emissions: Any, clear: int, bad: float, seen: int, span: Any, chances: Any
) -> float:
    """Take a look into account; return the chance of what was seen."""
    levels, values = emissions.shape[1], emissions.shape[2]
    before, total = 0.0, 0.0
    for level in range(levels):
        e = _shown(emissions, clear, bad, level, seen)
        chances[level] = (1.0 - MIXED_IN) * e + MIXED_IN / values
    for at in range(2):
        mass = parts[at][0]
        for flag in range(2):
            for level in range(levels):
                before += mass[flag, level]
                total += mass[flag, level] * chances[level]
    for at in range(2):
        for flag in range(2):
            for level in range(levels):
                if parts[at][0][flag, level] != 0.0:
                    _scale(parts[at], flag, level, chances[level] / total, span[at])
    return total / before


@compiled
def _predict(mass: Any, emissions: Any, clear: int, bad: float, seen: int, row: Any) -> None:
    """Note what is expected of a look.

    It is the chance of what is seen, the mean, the variance, and that chance in clear and in bad
    light.
    """
    whole, mean, squared = mass.sum(), 0.0, 0.0
    row[:] = 0.0
    for level in range(mass.shape[2]):
        m = mass[:, :, level].sum() / whole
        row[0] += m * _shown(emissions, clear, bad, level, seen)
        row[3] += m * _shown(emissions, clear, 0.0, level, seen)
        row[4] += m * _shown(emissions, clear, 1.0, level, seen)
        for value in range(emissions.shape[2]):
            e = m * _shown(emissions, clear, bad, level, value)
            mean += e * value
            squared += e * value * value
    row[1], row[2] = mean, squared - mean * mean


@compiled
def _act(part: Any, moves: Any, factor: float, bits: int, span: Any) -> None:
    """Let an action land in a phase, by its moves; a pet that refuses does not take it."""
    mass = part[0]
    for flag in range(1 if bits & 4 != 0 else 2):
        for k in range(moves.shape[0]):
            source = int(moves[k, 0])
            if source < 0:
                break
            if mass[flag, source] > 0.0 and source != int(moves[k, 1]):
                share = 1.0 if bits & SURE != 0 else factor * moves[k, 2]
                _move(part, (flag, source), (flag, int(moves[k, 1])), share, span)


@compiled
def _flag(part: Any, flags: tuple[int, int], share: float, span: Any) -> None:
    """Move a share of all levels from one flag, of whether the pet refuses, to the other."""
    mass = part[0]
    for level in range(mass.shape[1]):
        if mass[flags[0], level] > 0.0:
            _move(part, (flags[0], level), (flags[1], level), share, span)


@compiled
def _spread(part: Any, span: Any) -> None:
    """Make every level as likely as the others; ages, which no care changes, stay as they are."""
    mass, births, tails, by = part
    levels = mass.shape[1]
    for flag in range(2):
        mass[flag] = mass[flag].sum() / levels
        tails[flag] = tails[flag].sum() / levels
        for k in range(span[0], span[1]):
            births[flag, :, k] = (by[flag] * births[flag, :, k]).sum() / levels
        by[flag] = 1.0


@compiled
def _begin_midway(part: Any, now: int, longest: int, law: Any, lasting: Any) -> None:
    """Give levels the ages of waits that are under way at a moment chosen at random.

    Their births were as likely at each step as at another, so their ages are as survival is (Cox,
    1962, "Renewal Theory", chapter 5, from memory).
    """
    mass, births, tails, _ = part
    older = law[longest] / law[longest + 1]
    mean = older + lasting[:longest].sum()
    for k in range(longest):
        births[0, :, now - k] = mass[0] / mean
    tails[0] = mass[0] * older / mean


def _forward(
    kinds: Any,
    amounts: Any,
    firsts: Any,
    seconds: Any,
    start: Any,
    rises: bool,
    rates: Any,
    steps: Any,
    longest: Any,
    laws: Any,
    emissions: Any,
    moves: Any,
    refuses: float,
    predicted: Any,
) -> float:
    """Return the log-likelihood of a tape.

    Args:
        kinds, amounts, firsts, seconds: the operations, an entry each:
            PASS: seconds, law of the old phase, law of the new;
            GROW: share of the old phase that grows;
            SWITCH: the new phase becomes the old;
            LOOK: the chance of bad light, the emission, the value seen;
            ACT: a factor of its chance, the action, bits of phases in which it can't land (1 old,
            2 new), 4 if a pet that refuses does not take it, and 8 if it was seen to work;
            CHECK_BEGINS, CHECK_ENDS;
            LOST: what was done since the entry before is not known;
            MIDWAY: the life began before, and the law of its wait: any level is as likely.
        start: the chance of each level at the beginning.
        rises: whether a drop adds to the level, as with waste.
        rates: of each law, drops a second if its waits are exponential; else 0.
        steps: of each law, the seconds of a step, 0 if its waits are exponential.
        longest: of each law, the longest age in steps.
        laws: of each law, as `_step` takes it.
        emissions: the chance of each value seen, by emission, level and value; the last emission
            is that of bad light.
        moves: of each action, rows (from, to, chance) of which the first with from < 0 ends them.
        refuses: the chance that the pet refuses in a check.
        predicted: of each operation what was expected of the look, a row as `_predict` fills it
            in; of length 0 if nobody asks.
    """
    levels, oldest = start.shape[0], longest.max()
    room = ROOM * max(2, oldest) + 2
    mass, tails, by = np.zeros((2, 2, levels)), np.zeros((2, 2, levels)), np.ones((2, 2, levels))
    births = np.zeros((2, 2, levels, room))
    parts = (mass[0], births[0], tails[0], by[0]), (mass[1], births[1], tails[1], by[1])
    moved, weights, chances = np.zeros(levels), np.zeros(levels), np.zeros(levels)
    lasting = np.zeros((len(longest), max(1, oldest)))
    for law in range(len(longest)):
        _survival(laws[law], longest[law], lasting[law])
    # of each phase: awake seconds since it began, steps done of them, the step that begins, where
    # in the buffer its births are, and the law of steps done since its mass was summed
    awake, done, now = np.zeros(2), np.zeros(2, np.int64), np.full(2, oldest)
    span, law_of = np.zeros((2, 2), np.int64), np.full(2, NO_LAW)
    span[:, 1] = oldest + 1 if oldest > 0 else 0
    old, log_likelihood = 0, 0.0
    mass[old, 0] = start
    births[old, 0, :, oldest] = start

    for op in range(len(kinds)):
        kind, amount, first, second = kinds[op], amounts[op], firsts[op], seconds[op]
        if kind == PASS:
            for phase in range(2):
                law = first if phase == 0 else second
                if law == NO_LAW:
                    continue
                at = old if phase == 0 else 1 - old
                if steps[law] == 0.0:
                    _pass_exactly(parts[at][0], rates[law] * amount, rises, weights)
                    continue
                awake[at] += amount
                # a step that is due but for the rounding of a sum is due
                due = int(awake[at] / steps[law] + 1e-9)
                while done[at] < due:
                    done[at] += 1
                    now[at] += 1
                    law_of[at] = law
                    if now[at] == room:
                        now[at] = _make_room(births[at], now[at], oldest)
                    span[at, 0], span[at, 1] = now[at] - oldest, now[at] + 1
                    _step(parts[at], now[at], longest[law], laws[law], rises, moved)
        elif kind == GROW:
            _grow(parts[old], parts[1 - old], amount, now[1 - old], span[old])
        elif kind == SWITCH:
            mass[old] = 0.0
            births[old] = 0.0
            tails[old] = 0.0
            by[old] = 1.0
            awake[old], done[old], now[old], law_of[old] = 0.0, 0, oldest, NO_LAW
            span[old, 0], span[old, 1] = 0, span[1 - old, 1] - span[1 - old, 0]
            old = 1 - old
        elif kind == LOOK:
            for at in range(2):
                law = law_of[at]
                if law != NO_LAW:
                    _weigh(parts[at], now[at], longest[law], lasting[law])
                    law_of[at] = NO_LAW
            if len(predicted) > 0:
                _predict(mass, emissions, first, amount, second, predicted[op])
            log_likelihood += np.log(_look(parts, emissions, first, amount, second, span, chances))
        elif kind == ACT:
            for phase in range(2):
                at = old if phase == 0 else 1 - old
                if not second & (1 << phase):
                    _act(parts[at], moves[first], amount, second, span[at])
        elif kind == LOST:
            for at in range(2):
                _spread(parts[at], span[at])
        elif kind == MIDWAY:
            mass[old, 0] = 1.0 / levels
            births[old, 0, :, oldest] = 1.0 / levels
            if first != NO_LAW and steps[first] > 0.0:
                _begin_midway(parts[old], oldest, longest[first], laws[first], lasting[first])
        elif kind == CHECK_BEGINS:
            for at in range(2):
                _flag(parts[at], (0, 1), refuses, span[at])
        else:
            for at in range(2):
                _flag(parts[at], (1, 0), 1.0, span[at])
    return log_likelihood


forward = kept(_forward, "the fit of needs and waste", SOURCES)
