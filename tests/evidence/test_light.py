"""The light: a hidden state that all looks share, against a sum over all that it may have been."""

import math
from itertools import product

import numpy as np
import pytest

from petsim.evidence.light import LitLooks, Pooled, bad_light, log_likelihood

CLEAR, LASTS = 18_000.0, 2_400.0


def chance_of(path, times):
    """The chance of a path of clear (0) and bad (1) light, of a two-state Markov chain.

    From clear light at 0 s: Ross (2014), "Introduction to probability models", section 6.4, on
    two-state chains in continuous time; from memory.
    """
    share = LASTS / (CLEAR + LASTS)
    p, state, last = 1.0, 0, 0.0
    for after, t in zip(path, times, strict=True):
        fading = math.exp(-(t - last) * (1 / CLEAR + 1 / LASTS))
        bad = share + ((1 - share) if state else -share) * fading
        p *= bad if after else 1 - bad
        state, last = after, t
    return p


@pytest.fixture
def looks():
    random = np.random.default_rng(3)
    times = np.cumsum(random.uniform(60, 3000, size=9))
    clear, bad = random.uniform(0.05, 0.95, size=(2, 9))
    return LitLooks(times, clear, bad)


def weight(path, looks):
    seen = np.where(np.array(path) == 1, looks.bad, looks.clear)
    return chance_of(path, looks.times) * float(seen.prod())


def test_chances_of_bad_light_are_sums_over_all_paths(looks):
    paths = list(product((0, 1), repeat=9))
    weights = [weight(path, looks) for path in paths]
    expected = [
        math.fsum(w for w, path in zip(weights, paths, strict=True) if path[k]) / math.fsum(weights)
        for k in range(9)
    ]
    found = bad_light(Pooled.of([looks]), looks.times, CLEAR, LASTS)
    assert found == pytest.approx(expected, rel=1e-9)


def test_likelihood_is_the_sum_over_all_paths(looks):
    total = math.fsum(weight(path, looks) for path in product((0, 1), repeat=9))
    over_clear = math.log(total) - float(np.log(looks.clear).sum())
    assert log_likelihood(Pooled.of([looks]), CLEAR, LASTS) == pytest.approx(over_clear, rel=1e-9)


def test_light_at_times_without_a_look_is_told_by_those_around(looks):
    between = (looks.times[:-1] + looks.times[1:]) / 2
    nothing = LitLooks(between, np.ones(8), np.ones(8))
    times = np.sort(np.concatenate([looks.times, between]))
    with_them = bad_light(Pooled.of([looks, nothing]), times, CLEAR, LASTS)
    assert bad_light(Pooled.of([looks]), times, CLEAR, LASTS) == pytest.approx(with_them)


def test_looks_of_several_signals_in_one_second_count_together(looks):
    both = LitLooks(looks.times, looks.clear**2, looks.bad**2)
    twice = bad_light(Pooled.of([looks, looks]), looks.times, CLEAR, LASTS)
    assert twice == pytest.approx(bad_light(Pooled.of([both]), looks.times, CLEAR, LASTS))


def test_without_looks_the_light_is_as_it_is_by_and_by():
    none = Pooled.of([])
    times = np.array([0.0, 1e9])
    assert bad_light(none, times, CLEAR, LASTS) == pytest.approx([0.0, LASTS / (CLEAR + LASTS)])
