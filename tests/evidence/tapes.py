"""Tapes made by hand, and a second, plain forward pass to hold the compiled ones against."""

import math

import numpy as np

from petsim.evidence.kernels.levels import (
    ACT,
    CHECK_BEGINS,
    CHECK_ENDS,
    GROW,
    LOOK,
    LOST,
    MIDWAY,
    MIXED_IN,
    NO_LAW,
    PASS,
    SURE,
    SWITCH,
    forward,
)
from petsim.evidence.waits import gridded_weibull

SHARP = np.eye(2)[None].repeat(2, axis=0)
"""Emissions of eyes that never err, for a need that is full or empty."""
FILL = np.array([[[0.0, 1.0, 1.0], [-1.0, -1.0, -1.0]]])
"""An action that always fills it."""
NOTHING = np.zeros((0, 5))


def arrays(ops):
    """Operations (kind, amount, first, second) as the forward passes take them."""
    table = np.array(ops, float)
    return table[:, 0].astype(np.int64), table[:, 1], *table[:, 2:].T.astype(np.int64)


def filled_each_time(gaps):
    """The tape of a need that is looked at after each gap, and then filled: (seconds, empty)."""
    ops = []
    for seconds, is_empty in gaps:
        look = (LOOK, 0.0, 0, 0 if is_empty else 1)
        ops += [(PASS, seconds, 0, NO_LAW), look, (ACT, 1.0, 0, 0)]
    return arrays(ops)


def exponential(mean, step=0.0):
    """The tables of one exponential law, exact or on a grid of steps."""
    if not step:
        return np.array([1 / mean]), np.zeros(1), np.zeros(1, np.int64), np.zeros((1, 2))
    return weibull(mean, 1.0, step)


def weibull(mean, shape, step):
    """The tables of one Weibull law on a grid of steps."""
    wait = gridded_weibull(mean, shape, step)
    return np.zeros(1), np.array([step]), np.array([wait.longest]), wait.law[None]


def likelihood(tape, law, emissions=SHARP, moves=FILL, start=(0.0, 1.0), refuses=0.0, rises=False):
    """The log-likelihood of a tape by the compiled pass."""
    return forward(*tape, np.array(start), rises, *law, emissions, moves, refuses, NOTHING)


def plain(tape, law, emissions, moves, start, refuses, *, rises, step):
    """The log-likelihood of a tape by a dictionary of states, step by step.

    A state is (phase, level, age in steps, whether it refuses). All laws are on a grid of one step
    whose chances of ending by age are `law`; it has no tail, as `law` goes on as long as it takes.
    """
    states = {(0, level, 0, False): p for level, p in enumerate(start) if p}
    top, total = len(start) - 1, 0.0
    awake, done = [0.0, 0.0], [0, 0]
    for kind, amount, first, second in zip(*tape, strict=True):
        if kind == PASS:
            for phase, number in ((0, first), (1, second)):
                if number == NO_LAW:
                    continue
                awake[phase] += amount
                while done[phase] < int(awake[phase] / step + 1e-9):
                    done[phase] += 1
                    states = _stepped(states, phase, law, top, rises=rises)
        elif kind == GROW:
            states = _grown(states, amount)
        elif kind == SWITCH:
            states = {(0, *rest): p for (phase, *rest), p in states.items() if phase == 1}
            awake, done = [awake[1], 0.0], [done[1], 0]
        elif kind == LOOK:
            n = emissions.shape[2]
            states = {
                state: p
                * (
                    (1 - MIXED_IN)
                    * (
                        (1 - amount) * emissions[first, state[1], second]
                        + amount * emissions[-1, state[1], second]
                    )
                    + MIXED_IN / n
                )
                for state, p in states.items()
            }
            whole = math.fsum(states.values())
            total += math.log(whole)
            states = {state: p / whole for state, p in states.items()}
        elif kind == ACT:
            states = _acted(states, moves[first], amount, second)
        elif kind == LOST:
            states = _spread(states, len(start))
        elif kind == MIDWAY:
            states = _under_way(law, len(start))
        elif kind in (CHECK_BEGINS, CHECK_ENDS):
            states = _flagged(states, refuses if kind == CHECK_BEGINS else 0.0)
    return total


def _spread(states, levels):
    spread = {}
    for (phase, _, age, flag), p in states.items():
        for level in range(levels):
            _add(spread, (phase, level, age, flag), p / levels)
    return spread


def _under_way(law, levels):
    """All levels alike, of ages as long as a wait that lasts to them is likely."""
    lasting = np.concatenate([[1.0], np.cumprod(1.0 - law)])
    lasting = lasting[: np.searchsorted(-lasting, -1e-9)]
    mean = levels * lasting.sum()
    ages = enumerate(lasting)
    return {(0, level, age, False): p / mean for age, p in ages for level in range(levels)}


def _grown(states, share):
    grown = {}
    for (phase, level, age, flag), p in states.items():
        if phase == 0:
            _add(grown, (0, level, age, flag), p * (1 - share))
            _add(grown, (1, level, 0, flag), p * share)
        else:
            _add(grown, (1, level, age, flag), p)
    return grown


def _flagged(states, share):
    flagged = {}
    for (phase, level, age, _), p in states.items():
        _add(flagged, (phase, level, age, False), p * (1 - share))
        _add(flagged, (phase, level, age, True), p * share)
    return flagged


def _add(states, state, p):
    states[state] = states.get(state, 0.0) + p


def _stepped(states, phase, law, top, *, rises):
    after = {}
    for (at, level, age, flag), p in states.items():
        if at != phase:
            _add(after, (at, level, age, flag), p)
            continue
        ends = law[min(age, len(law) - 1)]
        dropped = min(level + 1, top) if rises else max(level - 1, 0)
        _add(after, (at, dropped, 0, flag), p * ends)
        _add(after, (at, level, age + 1, flag), p * (1 - ends))
    return {state: p for state, p in after.items() if p > 1e-300}


def _acted(states, moves, factor, mask):
    to = {int(source): (int(level), chance) for source, level, chance in moves if source >= 0}
    after = {}
    for (phase, level, age, flag), p in states.items():
        refused = mask & (1 << phase) or (mask & 4 and flag)
        if refused or level not in to:
            _add(after, (phase, level, age, flag), p)
            continue
        raised, chance = to[level]
        if mask & SURE:
            factor = chance = 1.0
        _add(after, (phase, raised, age, flag), p * factor * chance)
        _add(after, (phase, level, age, flag), p * (1 - factor * chance))
    return after
