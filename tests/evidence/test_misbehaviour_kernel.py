"""The forward pass of misbehaviour against a plain one, and what readings of discipline say."""

import math
from itertools import product

import numpy as np
import pytest

import petsim
from petsim.evidence.kernels.levels import (
    ACT,
    GROW,
    LOOK,
    LOST,
    MIDWAY,
    MIXED_IN,
    NO_LAW,
    PASS,
    SURE,
    SWITCH,
)
from petsim.evidence.kernels.misbehaviour import COUNTS, MOST, READ, SLEEP, forward_misbehaviour
from petsim.evidence.misbehaviour import ALL, agreeing
from petsim.evidence.waits import steps_to_end, weibull
from tests.evidence.tapes import arrays

NOTHING = np.zeros((0, 5))
STEP = 150.0
EVERY, WINDOW = steps_to_end(weibull(2400.0, 1.5), STEP), steps_to_end(weibull(900.0, 4.0), STEP)
RATES, CHANCE = np.array([[0.1, 0.02], [0.7, 0.05]]), 0.9


def plain(tape):
    """The log-likelihood by a dictionary of states.

    A state is the phase, whether it misbehaves, its age, and how many misbehaviours were
    reprimanded and ran out since discipline was read.
    """
    states, total = {(0, False, 0, 0, 0): 1.0}, 0.0
    awake, done = [0.0, 0.0], [0, 0]
    for kind, amount, first, second in zip(*tape, strict=True):
        if kind == PASS:
            for phase, law in ((0, first), (1, second)):
                if law == NO_LAW:
                    continue
                awake[phase] += amount
                while done[phase] < int(awake[phase] / STEP + 1e-9):
                    done[phase] += 1
                    states = moved(states, lambda state, at=phase: stepped(state, at))
        elif kind == GROW:
            states = moved(states, lambda state, share=amount: grown(state, share))
        elif kind == SWITCH:
            states = {(0, *rest): p for (phase, *rest), p in states.items() if phase == 1}
            awake, done = [awake[1], 0.0], [done[1], 0]
        elif kind == SLEEP:
            states = moved(states, lambda state, bits=second: asleep(state, bits))
        elif kind == ACT:
            lands = 1.0 if second & SURE else amount * CHANCE
            states = moved(states, lambda state, p=lands, bits=second: reprimanded(state, p, bits))
        elif kind == LOST:
            states = moved(states, lambda state: reprimanded(state, 0.5, 0))
        elif kind != MIDWAY:
            told = looked if kind == LOOK else read
            states = {s: p * told(s, amount, first, second) for s, p in states.items()}
            whole = math.fsum(states.values())
            total += math.log(whole)
            states = {s: p / whole for s, p in states.items()}
            if kind == READ:
                states = moved(states, lambda state: [((*state[:3], 0, 0), 1.0)])
    return total


def moved(states, moves):
    after = {}
    for state, p in states.items():
        for to, share in moves(state):
            after[to] = after.get(to, 0.0) + p * share
    return {state: p for state, p in after.items() if p > 0.0}


def stepped(state, at):
    phase, is_bad, age, fair, over = state
    if phase != at:
        return [(state, 1.0)]
    law = WINDOW if is_bad else EVERY
    ends, age = law[min(age, len(law) - 1)], min(age + 1, len(law) - 1)
    to = (phase, False, 0, fair, min(over + 1, MOST)) if is_bad else (phase, True, 0, fair, over)
    return [(to, ends), ((phase, is_bad, age, fair, over), 1.0 - ends)]


def grown(state, share):
    phase, _, _, fair, over = state
    if phase == 1:
        return [(state, 1.0)]
    return [((1, False, 0, fair, over), share), (state, 1.0 - share)]


def asleep(state, bits):
    phase, is_bad, _, fair, over = state
    return [((phase, False, 0, fair, over) if is_bad and bits & (1 << phase) else state, 1.0)]


def reprimanded(state, lands, bits):
    phase, is_bad, _, fair, over = state
    if not is_bad or bits & (1 << phase):
        return [(state, 1.0)]
    return [((phase, False, 0, min(fair + 1, MOST), over), lands), (state, 1.0 - lands)]


def looked(state, bad, pair, seen):
    def shows(row):
        return 1.0 - row[0] if state[1] else row[1]

    chance = (1.0 - bad) * shows(RATES[pair]) + bad * shows(RATES[-1])
    return (1.0 - MIXED_IN) * (chance if seen else 1.0 - chance) + MIXED_IN / 2


def read(state, _, __, bits):
    place = state[3] * (MOST + 1) + state[4]
    return (1.0 - MIXED_IN if bits & (1 << place) else 0.0) + MIXED_IN / COUNTS


@pytest.mark.parametrize("seed", range(10))
def test_two_independent_passes_agree(seed):
    random = np.random.default_rng(seed)
    ops, in_bracket = [(MIDWAY, 0.0, 0, 0)] if seed % 2 else [], False
    for _ in range(80):
        kind = random.choice([PASS, PASS, LOOK, ACT, READ, SLEEP, GROW, SWITCH, LOST])
        if kind == PASS:
            ops.append((PASS, random.uniform(0, 900), 0, 0 if in_bracket else NO_LAW))
        elif kind == LOOK:
            ops.append((LOOK, random.choice([0.0, 0.4]), 0, random.random() < 0.2))
        elif kind == ACT:
            ops.append((ACT, random.choice([1.0, 0.5]), 0, random.choice([0, 1, SURE])))
        elif kind == LOST:
            ops.append((LOST, 0.0, 0, 0))
        elif kind == READ:
            ops.append((READ, 0.0, 0, random.choice([ALL, 1 | 1 << (MOST + 1), 1 | 2])))
        elif kind == SLEEP:
            ops.append((SLEEP, 0.0, 0, random.choice([1, 2, 3])))
        elif kind == GROW:
            ops.append((GROW, random.choice([0.2, 0.5]), 0, 0))
            in_bracket = True
        elif in_bracket:
            ops += [(GROW, 1.0, 0, 0), (SWITCH, 0.0, 0, 0)]
            in_bracket = False
    tape = arrays(ops)
    compiled = forward_misbehaviour(*tape, STEP, EVERY[None], WINDOW[None], RATES, CHANCE, NOTHING)
    assert compiled == pytest.approx(plain(tape), abs=1e-6)


def model_with(step, lapse_costs):
    lamplet = petsim.load_model("lamplet").source()
    return petsim.load_model(
        {**lamplet.data, "discipline": {"starts": "0", "step": step, "lapse costs": lapse_costs}}
    )


def pairs(bits):
    """The counts that bits stand for: how many were reprimanded, and how many ran out."""
    return {
        (fair, over)
        for fair, over in product(range(MOST + 1), repeat=2)
        if bits & (1 << (fair * (MOST + 1) + over))
    }


@pytest.mark.parametrize(
    ("before", "after", "counts"),
    [
        (20, 20, {(0, 0), (1, 2)}),
        (20, 24, {(1, 0), (2, 2)}),
        (20, 28, {(2, 0)}),
        (20, 22, {(1, 1)}),
        (20, 18, {(0, 1)}),
        (0, 0, {(0, 0), (0, 1), (0, 2), (1, 2)}),
        (0, 4, {(1, 0), (1, 1), (1, 2), (2, 2)}),
        (98, 100, {(1, 0), (1, 1), (2, 0), (2, 1), (2, 2)}),
        (20, 45, {*product(range(MOST + 1), repeat=2)}),
    ],
)
def test_readings_of_discipline_tell_how_many_were_reprimanded_and_ran_out(before, after, counts):
    # a step adds 4, and one that runs out costs 2, from 0 to 100; by hand
    assert pairs(agreeing(before, after, model_with("4", "2"))) == counts
