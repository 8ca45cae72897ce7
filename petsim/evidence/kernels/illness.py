"""The forward pass of an illness: well, or ill with some doses still to give.

It falls ill at a rate, in clock time, so no age is needed and time passes exactly.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from petsim.evidence.kernels import SOURCES
from petsim.evidence.kernels.levels import ACT, LOOK, LOST, MIDWAY, MIXED_IN, NO_LAW, PASS, SURE
from petsim.life.compiled.compiling import compiled, kept


@compiled
def _shown(rates: Any, pair: int, is_ill: bool, seen: int) -> float:
    """The chance of what was seen, ill (1) or well (0), by the two rates of error that hold."""
    shows_ill: float = 1.0 - rates[pair, 0] if is_ill else rates[pair, 1]
    return shows_ill if seen == 1 else 1.0 - shows_ill


def _forward(
    kinds: Any,
    amounts: Any,
    firsts: Any,
    seconds: Any,
    excess: Any,
    base: Any,
    doses: Any,
    rates: Any,
    chances: Any,
    predicted: Any,
) -> float:
    """Return the log-likelihood of a tape.

    Args:
        kinds, amounts, firsts, seconds: the operations: PASS with its seconds and law; LOOK with
            the chance of bad light, the pair of rates and what was seen; ACT with a factor of its
            chance, the action, and whether it can't land (bit 1) or was seen to (8); LOST, of what
            was pressed; MIDWAY, with the law. Others do nothing.
        excess: of each PASS, what waste and weight add to the expected number of illnesses.
        base: of each law, the base rate a second.
        doses: of each law, the chance of each number of doses, from 1.
        rates: of each pair, the rates of overlooking and imagining; the last pair is of bad light.
        chances: of each action, the chance that it lands and gives a dose.
        predicted: of each operation the chance, mean and variance expected of a look, and the
            chances in clear and in bad light; to be filled in; of length 0 if nobody asks.
    """
    most = doses.shape[1]
    mass = np.zeros(most + 1)
    mass[0] = 1.0
    log_likelihood, bad_pair = 0.0, rates.shape[0] - 1
    for op in range(len(kinds)):
        if kinds[op] == PASS:
            law = firsts[op]
            falls = mass[0] * -np.expm1(-(base[law] * amounts[op] + excess[op]))
            mass[0] -= falls
            for n in range(most):
                mass[n + 1] += falls * doses[law, n]
        elif kinds[op] == ACT and not seconds[op] & 1:
            share = 1.0 if seconds[op] & SURE else amounts[op] * chances[firsts[op]]
            for n in range(1, most + 1):
                given = share * mass[n]
                mass[n] -= given
                mass[n - 1] += given
        elif kinds[op] == LOST:
            # of the doses that were still to give, any number may have been
            for n in range(1, most + 1):
                alike = mass[n] / (n + 1)
                mass[n] = alike
                mass[:n] += alike
        elif kinds[op] == MIDWAY and firsts[op] != NO_LAW:
            mass[:] = 1.0 / (most + 1)
        elif kinds[op] == LOOK:
            bad, pair, seen = amounts[op], firsts[op], seconds[op]
            whole = mass.sum()
            ill = (whole - mass[0]) / whole
            if len(predicted) > 0:
                shows = ill * (1.0 - rates[pair, 0]) + (1.0 - ill) * rates[pair, 1]
                bad_shows = ill * (1.0 - rates[bad_pair, 0]) + (1.0 - ill) * rates[bad_pair, 1]
                mean = (1.0 - bad) * shows + bad * bad_shows
                predicted[op, 0] = mean if seen == 1 else 1.0 - mean
                predicted[op, 1], predicted[op, 2] = mean, mean * (1.0 - mean)
                predicted[op, 3] = shows if seen == 1 else 1.0 - shows
                predicted[op, 4] = bad_shows if seen == 1 else 1.0 - bad_shows
            for n in range(most + 1):
                e = (1.0 - bad) * _shown(rates, pair, n > 0, seen)
                e += bad * _shown(rates, bad_pair, n > 0, seen)
                mass[n] *= (1.0 - MIXED_IN) * e + MIXED_IN / 2
            total = mass.sum()
            log_likelihood += np.log(total / whole)
            mass /= total
    return log_likelihood


forward_illness = kept(_forward, "the fit of illness", SOURCES)
