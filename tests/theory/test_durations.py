"""Sampled durations follow their law, rounded to the nearest second, through a model file."""

import numpy as np
import pytest
from scipy import stats

from tests.theory.worlds import agrees, events_of, pet, regime, share_agrees, times

SEED = 20_250_303
# Short, so that half a second more or less shows: at the median of the exponential it is worth
# 0.0125, about twice the bound.
LAWS = [
    ("exponential 20 s", stats.expon(scale=20)),
    ("uniform 3 s to 24.5 s", stats.uniform(3, 21.5)),
    ("triangular 4 s to 44 s around 14 s", stats.triang(0.25, 4, 40)),
    ("weibull shape 1.7 scale 20 s", stats.weibull_min(1.7, scale=20)),
    ("weibull shape 0.8 scale 20 s", stats.weibull_min(0.8, scale=20)),
    ("lognormal median 18 s sigma 0.5", stats.lognorm(0.5, scale=18)),
]


@pytest.mark.parametrize(("text", "law"), LAWS)
def test_waits_follow_the_law_rounded_to_nearest(tmp_path, text, law):
    # Source: the laws of scipy.stats. A wait is at most n seconds with chance F(n + 1/2).
    model = pet(tmp_path, f"waste: {{every: {text}, pile max: 1000000}}")
    events = events_of(model, regime(tmp_path, routine=()), 100_000 * law.mean(), seed=SEED)
    waits = np.diff(times(events, "waste"), prepend=0)
    for level in (0.05, 0.25, 0.5, 0.75, 0.95):
        n = max(1, round(law.ppf(level)))
        share_agrees((waits <= n).sum(), len(waits), law.cdf(n + 0.5))
    assert waits.min() >= 1


def test_a_fixed_wait_has_no_spread(tmp_path):
    model = pet(tmp_path, "waste: {every: fixed 17 s, pile max: 1000000}")
    events = events_of(model, regime(tmp_path, routine=()), 17_001, seed=SEED)
    assert times(events, "waste").tolist() == list(range(17, 17_001, 17))


@pytest.mark.parametrize(
    ("calm", "window"), [("exponential 300 s", 90), ("uniform 100 s to 400 s", 250)]
)
def test_misbehaviour_left_alone_is_an_alternating_renewal_process(tmp_path, calm, window):
    # Cox, "Renewal Theory" (1962), from memory: in a time t the number of renewals is near
    # normal with mean t / mu and variance sigma^2 t / mu^3.
    law = {"exponential": stats.expon(scale=300), "uniform": stats.uniform(100, 300)}[
        calm.split()[0]
    ]
    model = pet(tmp_path, f"misbehaviour: {{every: {calm}, window: {window} s}}")
    span = 20_000_000
    events = events_of(model, regime(tmp_path, routine=()), span, seed=SEED)
    begun, lapsed = times(events, "misbehaves"), times(events, "lapse")
    mu = law.mean() + window
    agrees(len(lapsed), span / mu, law.std() * np.sqrt(span / mu**3))
    assert (lapsed - begun[: len(lapsed)] == window).all()
