"""The forward pass of a chain of levels: a need, or a pile of waste.

The hidden state is a level, the awake time since the last drop or growth, and whether the pet
refuses in this check. Within the bracket of a growth two *phases* of it run side by side: the form
before, and the one after. Where the waits of a form are exponential, no age is needed and time runs
on exactly. Else time runs in steps, and of each level the mass is kept by the step in which its
wait began (its birth), divided by the chance to last so long. So a step moves nothing but what
drops.
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
ROOM = 4
"""Times the longest age that fit into the buffer of births before it is moved to its front."""


@compiled
def _dropped(births: Any, first: int, chances: Any, n: int) -> float:
    """The mass of a level that drops in a step: a sum over the ages."""
    total = 0.0
    for k in range(n):
        total += births[first + k] * chances[k]
    return total


@compiled
def _pass_exactly(mass: Any, rate_seconds: float, rises: bool, weights: Any) -> None:
    """Let a time pass in which drops come at a rate: Poisson, the last level taking the tail."""
    levels = mass.shape[1]
    weights[0] = np.exp(-rate_seconds)
    for k in range(1, levels):
        weights[k] = weights[k - 1] * rate_seconds / k
    for flag in range(2):
        if mass[flag].sum() == 0.0:
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
def _step(
    mass: Any, births: Any, tails: Any, now: int, longest: int, law: Any, rises: bool, moved: Any
) -> None:
    """Let a step pass in a phase that is kept by births; `now` is the step that begins.

    law: the chance to drop at each age, by births, then the chance to last to the longest age and
    that to drop in a step from then on.
    """
    levels = mass.shape[1]
    chances, lasting, last_drop = law[:longest], law[longest], law[longest + 1]
    first = now - longest
    for flag in range(2):
        for level in range(levels):
            moved[level] = 0.0
            if mass[flag, level] < 1e-14:
                continue
            row = births[flag, level]
            drop = _dropped(row, first, chances, longest)
            # what has become older than the longest age drops at one rate
            drop += tails[flag, level] * last_drop
            tails[flag, level] *= 1.0 - last_drop
            tails[flag, level] += row[first] * lasting
            moved[level] = min(drop, mass[flag, level])
        for level in range(levels):
            births[flag, level, now] = 0.0
        for level in range(levels):
            to = min(level + 1, levels - 1) if rises else max(level - 1, 0)
            mass[flag, level] -= moved[level]
            mass[flag, to] += moved[level]
            births[flag, to, now] += moved[level]


@compiled
def _weigh(mass: Any, births: Any, tails: Any, now: int, longest: int, law: Any) -> None:
    """Sum the mass of each level anew.

    What steps take off it adds up to too little where nearly all of a level has dropped, and the
    next look at it would make that error as large as what is left.
    """
    for flag in range(2):
        for level in range(mass.shape[1]):
            if mass[flag, level] == 0.0:
                continue
            # what is of the longest age is among the tails already
            row, total, lasting = births[flag, level], tails[flag, level], law[longest]
            for k in range(longest):
                lasting += law[k]
                total += row[now - longest + 1 + k] * lasting
            mass[flag, level] = total


@compiled
def _make_room(births: Any, now: int, longest: int) -> int:
    """Move the births that still count to the front of the buffer; return the step they end at."""
    for flag in range(2):
        for level in range(births.shape[1]):
            for k in range(longest):
                births[flag, level, k] = births[flag, level, now - longest + k]
    return longest


@compiled
def _scale(mass: Any, births: Any, tails: Any, flag: int, level: int, by: float, span: Any) -> None:
    """Multiply the mass of a level, of all ages."""
    mass[flag, level] *= by
    tails[flag, level] *= by
    for k in range(span[0], span[1]):
        births[flag, level, k] *= by


@compiled
def _move(
    mass: Any,
    births: Any,
    tails: Any,
    source: tuple[int, int],
    to: tuple[int, int],
    share: float,
    span: Any,
) -> None:
    """Move a share of the mass of one level, by flag and level, to another; ages stay."""
    mass[to] += share * mass[source]
    tails[to] += share * tails[source]
    for k in range(span[0], span[1]):
        births[to[0], to[1], k] += share * births[source[0], source[1], k]
    _scale(mass, births, tails, source[0], source[1], 1.0 - share, span)


@compiled
def _grow(mass: Any, births: Any, tails: Any, old: int, share: float, now: Any, span: Any) -> None:
    """Let a share of the old phase grow: it enters the new one at the age of 0."""
    new = 1 - old
    for flag in range(mass.shape[1]):
        for level in range(mass.shape[2]):
            grown = share * mass[old, flag, level]
            if grown == 0.0:
                continue
            mass[new, flag, level] += grown
            births[new, flag, level, now[new]] += grown
            _scale(mass[old], births[old], tails[old], flag, level, 1.0 - share, span[old])


@compiled
def _shown(emissions: Any, clear: int, bad: float, level: int, value: int) -> float:
    """The chance of a value at a level, where the light is bad with a chance."""
    e: float = (1.0 - bad) * emissions[clear, level, value]
    if bad > 0.0:
        e += bad * emissions[emissions.shape[0] - 1, level, value]
    return e


@compiled
def _look(
    mass: Any, births: Any, tails: Any, emissions: Any, clear: int, bad: float, seen: int, span: Any
) -> float:
    """Take a look into account; return the chance of what was seen."""
    values = emissions.shape[2]
    before, total = mass.sum(), 0.0
    for at in range(2):
        for flag in range(2):
            for level in range(mass.shape[2]):
                if mass[at, flag, level] == 0.0:
                    continue
                e = _shown(emissions, clear, bad, level, seen)
                e = (1.0 - MIXED_IN) * e + MIXED_IN / values
                _scale(mass[at], births[at], tails[at], flag, level, e / before, span[at])
                total += mass[at, flag, level]
    for at in range(2):
        for flag in range(2):
            for level in range(mass.shape[2]):
                if mass[at, flag, level] != 0.0:
                    _scale(mass[at], births[at], tails[at], flag, level, 1.0 / total, span[at])
    return total


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
def _act(
    mass: Any, births: Any, tails: Any, moves: Any, factor: float, bits: int, span: Any
) -> None:
    """Let an action land in a phase, by its moves; a pet that refuses does not take it."""
    for flag in range(1 if bits & 4 != 0 else 2):
        for k in range(moves.shape[0]):
            source = int(moves[k, 0])
            if source < 0:
                break
            if mass[flag, source] > 0.0 and source != int(moves[k, 1]):
                to = (flag, int(moves[k, 1]))
                share = 1.0 if bits & SURE != 0 else factor * moves[k, 2]
                _move(mass, births, tails, (flag, source), to, share, span)


@compiled
def _flag(
    mass: Any, births: Any, tails: Any, flags: tuple[int, int], share: float, span: Any
) -> None:
    """Move a share of all levels from one flag, of whether the pet refuses, to the other."""
    for level in range(mass.shape[1]):
        if mass[flags[0], level] > 0.0:
            source, to = (flags[0], level), (flags[1], level)
            _move(mass, births, tails, source, to, share, span)


@compiled
def _spread(mass: Any, births: Any, tails: Any, span: Any) -> None:
    """Make every level as likely as the others; ages, which no care changes, stay as they are."""
    levels = mass.shape[1]
    for flag in range(2):
        mass[flag] = mass[flag].sum() / levels
        tails[flag] = tails[flag].sum() / levels
        for k in range(span[0], span[1]):
            births[flag, :, k] = births[flag, :, k].sum() / levels


@compiled
def _begin_midway(births: Any, tails: Any, mass: Any, now: int, longest: int, law: Any) -> None:
    """Give levels the ages of waits that are under way at a moment chosen at random.

    Their births were as likely at each step as at another, so their ages are as survival is (Cox,
    1962, "Renewal Theory", chapter 5, from memory).
    """
    lasting = law[longest]
    older, mean = lasting / law[longest + 1], lasting / law[longest + 1]
    for k in range(longest):
        lasting += law[k]
        mean += lasting
    for k in range(longest):
        births[:, now - k] = mass / mean
    tails[:] = mass[:] * older / mean


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
    mass = np.zeros((2, 2, levels))
    births = np.zeros((2, 2, levels, room))
    tails = np.zeros((2, 2, levels))
    moved, weights = np.zeros(levels), np.zeros(levels)
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
                    _pass_exactly(mass[at], rates[law] * amount, rises, weights)
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
                    _step(
                        mass[at],
                        births[at],
                        tails[at],
                        now[at],
                        longest[law],
                        laws[law],
                        rises,
                        moved,
                    )
        elif kind == GROW:
            _grow(mass, births, tails, old, amount, now, span)
        elif kind == SWITCH:
            mass[old] = 0.0
            births[old] = 0.0
            tails[old] = 0.0
            awake[old], done[old], now[old], law_of[old] = 0.0, 0, oldest, NO_LAW
            span[old, 0], span[old, 1] = 0, span[1 - old, 1] - span[1 - old, 0]
            old = 1 - old
        elif kind == LOOK:
            for at in range(2):
                law = law_of[at]
                if law != NO_LAW:
                    _weigh(mass[at], births[at], tails[at], now[at], longest[law], laws[law])
                    law_of[at] = NO_LAW
            if len(predicted) > 0:
                _predict(mass, emissions, first, amount, second, predicted[op])
            log_likelihood += np.log(
                _look(mass, births, tails, emissions, first, amount, second, span)
            )
        elif kind == ACT:
            for phase in range(2):
                at = old if phase == 0 else 1 - old
                if not second & (1 << phase):
                    _act(mass[at], births[at], tails[at], moves[first], amount, second, span[at])
        elif kind == LOST:
            for at in range(2):
                _spread(mass[at], births[at], tails[at], span[at])
        elif kind == MIDWAY:
            mass[old, 0] = 1.0 / levels
            births[old, 0, :, oldest] = 1.0 / levels
            if first != NO_LAW and steps[first] > 0.0:
                _begin_midway(
                    births[old, 0], tails[old, 0], mass[old, 0], oldest, longest[first], laws[first]
                )
        elif kind == CHECK_BEGINS:
            for at in range(2):
                _flag(mass[at], births[at], tails[at], (0, 1), refuses, span[at])
        else:
            for at in range(2):
                _flag(mass[at], births[at], tails[at], (1, 0), 1.0, span[at])
    return log_likelihood


forward = kept(_forward, "the fit of needs and waste", SOURCES)
