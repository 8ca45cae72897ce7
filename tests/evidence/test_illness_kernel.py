"""The forward pass of an illness against a sum over all that may have happened."""

import math
from itertools import product

import numpy as np
import pytest

from petsim.evidence.kernels.illness import forward_illness
from petsim.evidence.kernels.levels import ACT, LOOK, LOST, MIDWAY, MIXED_IN, NO_LAW, PASS, SURE
from tests.evidence.tapes import arrays

NOTHING = np.zeros((0, 5))
BASE, DOSES = 1e-4, (0.6, 0.4)
RATES = np.array([[0.1, 0.02], [0.6, 0.02]])
CHANCE = 0.9


def by_all_paths(ops, excess):
    """The likelihood of operations, summed over every sequence of doses that are still to give."""
    states = range(len(DOSES) + 1)
    total = 0.0
    for path in product(states, repeat=len(ops)):
        p, before = 1.0, 0
        for (kind, amount, first, second), added, after in zip(ops, excess, path, strict=True):
            p *= _step(kind, amount, first, second, added, before, after)
            before = after
            if p == 0.0:
                break
        total += p
    return total


def _step(kind, amount, first, second, added, before, after):
    if kind == PASS:
        falls = -math.expm1(-(BASE * amount + added)) if before == 0 else 0.0
        return 1 - falls if after == before else falls * DOSES[after - 1] if before == 0 else 0.0
    if kind == ACT:
        lands = (1.0 if second & SURE else amount * CHANCE) if before > 0 else 0.0
        return 1 - lands if after == before else lands if after == before - 1 else 0.0
    if kind == LOST:
        return 1 / (before + 1) if after <= before else 0.0
    if kind == MIDWAY:
        return 1 / (len(DOSES) + 1)
    if after != before:
        return 0.0
    shows = (1 - RATES[first, 0]) if before else RATES[first, 1]
    shows_dark = (1 - RATES[1, 0]) if before else RATES[1, 1]
    seen = (1 - amount) * shows + amount * shows_dark
    return (1 - MIXED_IN) * (seen if second else 1 - seen) + MIXED_IN / 2


@pytest.mark.parametrize("seed", range(8))
def test_likelihood_is_the_sum_over_all_paths(seed):
    random = np.random.default_rng(seed)
    ops, excess = [], []
    if seed % 2:
        ops, excess = [(MIDWAY, 0.0, 0, 0)], [0.0]
    for _ in range(8):
        kind = random.choice([PASS, LOOK, LOOK, ACT, LOST])
        ops.append(
            {
                PASS: (PASS, random.uniform(600, 6000), 0, NO_LAW),
                LOOK: (LOOK, random.choice([0.0, 0.5]), 0, random.integers(2)),
                ACT: (ACT, random.choice([1.0, 0.5]), 0, random.choice([0, SURE])),
                LOST: (LOST, 0.0, 0, 0),
            }[kind]
        )
        excess.append(random.uniform(0, 0.2) if kind == PASS else 0.0)
    compiled = forward_illness(
        *arrays(ops),
        np.array(excess),
        np.array([BASE]),
        np.array([DOSES]),
        RATES,
        np.array([CHANCE]),
        NOTHING,
    )
    assert math.exp(compiled) == pytest.approx(by_all_paths(ops, excess), rel=1e-9)


def test_a_dose_that_can_not_land_changes_nothing():
    look = (LOOK, 0.0, 0, 1)
    tape = [(PASS, 6000.0, 0, NO_LAW), look, (ACT, 1.0, 0, 1), look]
    without = [op for op in tape if op[0] != ACT]
    rest = np.array([BASE]), np.array([DOSES]), RATES, np.array([CHANCE]), NOTHING
    with_it = forward_illness(*arrays(tape), np.zeros(4), *rest)
    assert with_it == forward_illness(*arrays(without), np.zeros(3), *rest)
