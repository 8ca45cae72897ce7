"""The forward pass of levels against published figures, and against a plain one."""

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import minimize, minimize_scalar
from scipy.special import gammaincc

from petsim.evidence.kernels.levels import (
    ACT,
    CHECK_BEGINS,
    CHECK_ENDS,
    GROW,
    LOOK,
    LOST,
    MIDWAY,
    NO_LAW,
    PASS,
    SURE,
    SWITCH,
)
from petsim.evidence.levels import misreading, overlooking
from petsim.evidence.waits import gridded_weibull, steps_to_end
from petsim.evidence.waits import weibull as weibull_law
from tests.evidence.tapes import (
    arrays,
    exponential,
    filled_each_time,
    likelihood,
    plain,
    weibull,
)

DATA = Path(__file__).parents[1] / "data"


def best_mean(tape, step=0.0, **how):
    """The mean that makes a tape likeliest."""
    found = minimize_scalar(
        lambda free: -likelihood(tape, exponential(math.exp(free), step), **how),
        bounds=(math.log(100), math.log(20_000)),
        method="bounded",
        options={"xatol": 1e-9},
    )
    return math.exp(found.x)


@pytest.mark.parametrize(
    ("gaps", "mean"),
    [
        # the maximum is -T / ln(1 - k / n): Collett (2015), "Modelling survival data in medical
        # research", on interval-censored exponential times, from memory; worked out by hand
        ([(600.0, k < 91) for k in range(412)], 2404.017),
        ([(900.0, k < 80) for k in range(365)], 3637.713),
        # 30 of 150 after 600 s, 31 of 80 after 1200 s, 33 of 40 after 3600 s: by the score equation
        (
            [(600.0, k < 30) for k in range(150)]
            + [(1200.0, k < 31) for k in range(80)]
            + [(3600.0, k < 33) for k in range(40)],
            2413.2336,
        ),
    ],
)
def test_exponential_waits_between_looks_are_fitted_as_by_hand(gaps, mean):
    assert best_mean(filled_each_time(gaps)) == pytest.approx(mean, rel=1e-6)


@pytest.mark.parametrize("step", [60.0, 30.0])
def test_on_a_grid_the_mean_is_the_same(step):
    # its standard error is 251 s, of which this is less than a hundredth
    tape = filled_each_time([(600.0, k < 91) for k in range(412)])
    assert best_mean(tape, step) == pytest.approx(2404.017, abs=1.0)


def test_a_wait_that_outlasts_all_it_was_to_last_is_weighed_rightly():
    # what is left of a level is then a thousandth of a thousandth of what it was
    tape = filled_each_time([(600.0, False)] * 40)
    exact, gridded = (likelihood(tape, exponential(200.0, step)) for step in (0.0, 20.0))
    assert exact == pytest.approx(-40 * 600 / 200, rel=1e-6)
    # the first wait is of at least a step and rounded, which is worth a twentieth
    assert gridded == pytest.approx(exact, abs=0.06)


def test_eyes_that_err_are_corrected_as_rogan_and_gladen_do():
    # Rogan and Gladen (1978), "Estimating prevalence from the results of a screening test",
    # American Journal of Epidemiology 107:71-76: (p - imagined) / (1 - overlooked - imagined)
    emissions = np.array([[[0.9, 0.1], [0.02, 0.98]]] * 2)
    tape = filled_each_time([(600.0, k < 91) for k in range(412)])
    mean = best_mean(tape, emissions=emissions)
    assert 1 - math.exp(-600 / mean) == pytest.approx(0.228266, abs=1e-6)


def cracks():
    """Turbine parts that were cracked between two inspections: a wait each, and how many."""
    with (DATA / "turbine_cracks.csv").open(encoding="utf-8") as file:
        rows = csv.DictReader(line for line in file if not line.startswith("#"))
        return [tuple(map(float, row.values())) for row in rows]


def test_weibull_waits_are_fitted_as_nelson_did():
    # Nelson (1982), "Applied life data analysis", p. 415: 167 parts; scale 71.690, shape 1.4854.
    # A month is 1000 s here.
    step = 120.0
    tapes = []
    for low, high, count in cracks():
        ops = [(PASS, 1000 * low, 0, NO_LAW), (LOOK, 0.0, 0, 1)] if low else []
        if math.isfinite(high):
            ops += [(PASS, 1000 * (high - low), 0, NO_LAW), (LOOK, 0.0, 0, 0)]
        tapes.append((arrays(ops), count))

    def loss(free):
        shape, scale = np.exp(free)
        law = weibull(scale * math.gamma(1 + 1 / shape), shape, step)
        return -sum(count * likelihood(tape, law) for tape, count in tapes)

    found = minimize(loss, np.log([1.2, 60_000.0]), method="Nelder-Mead", options={"xatol": 1e-4})
    shape, scale = np.exp(found.x)
    assert scale / 1000 == pytest.approx(71.6904, rel=1e-3)
    assert shape == pytest.approx(1.48537, rel=4e-3)
    assert found.fun == pytest.approx(309.6684, abs=0.01)


def random_tape(random, levels, values):
    """A tape of anything that can be on one, in a random order that can be."""
    ops, in_bracket, in_check = [], False, False
    for _ in range(60):
        kind = random.choice([PASS, PASS, PASS, LOOK, LOOK, ACT, GROW, SWITCH, CHECK_BEGINS, LOST])
        if kind == PASS:
            ops.append((PASS, random.uniform(0, 900), 0, 0 if in_bracket else NO_LAW))
        elif kind == LOOK:
            bad = random.choice([0.0, 0.3])
            ops.append((LOOK, bad, random.integers(2), random.integers(values)))
        elif kind == ACT:
            mask = random.choice([0, 4, 1, 5, SURE])
            ops.append((ACT, random.choice([1.0, 0.5]), random.integers(2), mask))
        elif kind == LOST:
            ops.append((LOST, 0.0, 0, 0))
        elif kind == GROW and not in_check:
            ops.append((GROW, random.choice([0.2, 0.5]), 0, 0))
            in_bracket = True
        elif kind == SWITCH and in_bracket:
            ops += [(GROW, 1.0, 0, 0), (SWITCH, 0.0, 0, 0)]
            in_bracket = False
        elif kind == CHECK_BEGINS:
            ops.append((CHECK_ENDS if in_check else CHECK_BEGINS, 0.0, 0, 0))
            in_check = not in_check
    return ops


@pytest.mark.parametrize("rises", [False, True])
@pytest.mark.parametrize("seed", range(12))
def test_two_independent_passes_agree(seed, rises):
    random = np.random.default_rng([seed, rises])
    levels = 5
    shape, step = random.choice([0.8, 1.0, 2.5]), 60.0
    mean = float(random.uniform(600, 2400))
    by_value = overlooking(levels - 1, 0.1, 0.05) if rises else misreading(levels - 1, 0.1)
    bad = overlooking(levels - 1, 0.6, 0.05) if rises else misreading(levels - 1, 0.4)
    # what was seen is made up, so eyes err widely: the pass keeps no more than 1 in 10,000 of what
    # outlasts the longest age apart
    emissions = 0.6 * np.array([by_value, misreading(levels - 1, 0.2), bad]) + 0.4 / levels
    moves = np.full((2, levels + 1, 3), -1.0)
    for k, level in enumerate(reversed(range(levels - 1))):
        moves[0, k] = level, min(level + 2, levels - 1), 0.7
    for k, level in enumerate(range(1, levels)):
        moves[1, k] = level, 0, 0.9
    start = np.zeros(levels)
    start[2] = 1.0
    ops = random_tape(random, levels, levels)
    tape = arrays(ops if seed % 4 else [(MIDWAY, 0.0, 0, 0), *ops])
    compiled = likelihood(
        tape,
        weibull(mean, shape, step),
        emissions,
        moves,
        start,
        refuses=0.05,
        rises=rises,
    )
    # to far beyond the longest age, so that the plain pass has no tail
    lasting = np.exp(-(((np.arange(4_000) + 0.5) * step) ** shape) * _hazard(mean, shape))
    lasting[0] = 1.0
    ends = 1.0 - lasting[1:] / np.maximum(lasting[:-1], 1e-300)
    expected = plain(tape, ends, emissions, moves, start, 0.05, rises=rises, step=step)
    assert compiled == pytest.approx(expected, abs=0.01)
    if seed > 4:
        return
    # with the same tail, they are the same but for what is too little to be kept
    same = _long(steps_to_end(weibull_law(mean, shape), step))
    with_tail = plain(tape, same, emissions, moves, start, 0.05, rises=rises, step=step)
    assert compiled == pytest.approx(with_tail, abs=1e-6)


def _long(ends):
    """Chances of which the last is that of all later ages, to far beyond."""
    return np.append(ends, np.full(4_000, ends[-1]))


@pytest.mark.parametrize("shape", [0.7, 1.0, 3.0])
@pytest.mark.parametrize("seconds", [300.0, 900.0, 1800.0, 3600.0])
def test_the_first_wait_of_a_life_that_began_before_its_log_has_the_law_of_a_residual(
    shape, seconds
):
    # survival integrated from there on, divided by the mean: Cox (1962), "Renewal theory",
    # chapter 5, from memory; for a Weibull law an incomplete gamma function, by scipy
    mean, step = 1500.0, 10.0
    unseen = [(MIDWAY, 0.0, 0, 0), (LOOK, 0.0, 0, 1)]
    tape = [*unseen, (PASS, seconds, 0, NO_LAW), (LOOK, 0.0, 0, 1)]
    law = weibull(mean, shape, step)
    lasts = math.exp(likelihood(arrays(tape), law) - likelihood(arrays(unseen), law))
    scale = mean / math.gamma(1 + 1 / shape)
    assert lasts == pytest.approx(gammaincc(1 / shape, (seconds / scale) ** shape), abs=0.005)


def _hazard(mean, shape):
    """The cumulative hazard of a Weibull law at 1 s."""
    return (math.gamma(1 + 1 / shape) / mean) ** shape


def test_an_exponential_law_is_the_same_on_a_fine_grid():
    random = np.random.default_rng(5)
    levels, mean = 5, 1500.0
    emissions = np.array([misreading(levels - 1, 0.1)] * 2)
    moves = np.full((1, levels + 1, 3), -1.0)
    for k, level in enumerate(reversed(range(levels - 1))):
        moves[0, k] = level, level + 1, 0.7
    start = np.full(levels, 1 / levels)
    ops = []
    for _ in range(200):
        ops += [(PASS, 600.0, 0, NO_LAW), (LOOK, 0.0, 0, random.integers(levels))]
        ops += [(ACT, 1.0, 0, 0), (LOOK, 0.0, 0, random.integers(levels))]
    tape = arrays(ops)
    exact = likelihood(tape, exponential(mean), emissions, moves, start)
    near = likelihood(tape, exponential(mean, 6.0), emissions, moves, start)
    coarse = likelihood(tape, exponential(mean, 60.0), emissions, moves, start)
    assert abs(near - exact) < abs(coarse - exact)
    assert near == pytest.approx(exact, abs=0.1)


@pytest.mark.parametrize("shape", [0.7, 1.0, 1.5, 4.0, 40.0])
def test_the_chances_of_a_gridded_wait_are_those_of_its_rounded_times(shape):
    step, mean = 60.0, 1500.0
    wait = gridded_weibull(mean, shape, step)
    ends = wait.law[:-2][::-1]
    law = weibull_law(mean, shape)
    for steps, chance in enumerate(ends, 1):
        low = 0.0 if steps == 1 else (steps - 0.5) * step
        assert chance == pytest.approx(
            law.survival(low) - law.survival((steps + 0.5) * step), abs=1e-12
        )
    assert ends.sum() + wait.law[-2] == pytest.approx(1.0, abs=1e-12)


def test_a_fixed_wait_on_a_grid_has_its_mean():
    for seconds in (90.0, 600.0, 1440.0, 1475.0):
        chances = steps_to_end(weibull_law(seconds, 1.0), 60.0)
        assert len(chances) > 2
        fixed = steps_to_end(type(weibull_law(1, 1))("fixed", (seconds,)), 60.0)
        lasting = np.concatenate([[1.0], np.cumprod(1.0 - fixed)])
        assert 60.0 * lasting.sum() == pytest.approx(seconds)
