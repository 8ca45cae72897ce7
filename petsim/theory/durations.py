"""Durations that chance draws, each under its law rounded to the nearest second."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np
from scipy import stats

from petsim.theory.closed_forms import surely
from petsim.theory.lab import Lab, times, totals
from petsim.theory.verdicts import Verdict, check, exact, mean, share
from petsim.theory.worlds import NO_CARE, pet, wasting

# Short, so that half a second more or less shows: where one exponential wait in twenty is over, it
# is worth 0.024, three times the bound of two lives.
LAWS = [
    ("exponential 20 s", stats.expon(scale=20)),
    ("uniform 3 s to 24.5 s", stats.uniform(3, 21.5)),
    ("triangular 4 s to 44 s around 14 s", stats.triang(0.25, 4, 40)),
    ("weibull shape 1.7 scale 20 s", stats.weibull_min(1.7, scale=20)),
    ("weibull shape 0.8 scale 20 s", stats.weibull_min(0.8, scale=20)),
    ("lognormal median 18 s sigma 0.5", stats.lognorm(0.5, scale=18)),
]
WAITS = 10_000


@check("the laws of scipy.stats")
def waits_of_each_law(lab: Lab) -> Iterator[Verdict]:
    """A wait is at most n seconds with chance F(n + 1/2), and no wait is below 1."""
    for text, law in LAWS:
        kept = surely(WAITS, law.std() / law.mean())
        seconds = round(WAITS * law.mean())
        lives = range(lab.number(8))
        logs = (lab.events(wasting(text), NO_CARE, seconds=seconds, life=life) for life in lives)
        waits_of_lives = [np.diff(times(events, "waste"), prepend=0)[:kept] for events in logs]
        waits = np.concatenate(waits_of_lives)
        for level in (0.05, 0.25, 0.5, 0.75, 0.95):
            n = max(1, round(law.ppf(level)))
            what = f"{text}: P(at most {n} s)"
            yield share(what, (waits <= n).sum(), len(waits), law.cdf(n + 0.5))
        yield exact(f"{text}: waits below 1 s", int(np.count_nonzero(waits < 1)), 0)


@check("no chance is left")
def a_wait_that_is_fixed(lab: Lab) -> Iterator[Verdict]:
    """It has no spread: the k-th comes after k times as long."""
    for wait in (17, 3_601):
        text = f"fixed {wait} s"
        events = lab.events(wasting(text), NO_CARE, seconds=1_000 * wait + 1)
        wasted = times(events, "waste")
        yield exact(f"{text}: waits in 1,000 times as long", len(wasted), 1_000)
        late = wasted - wait * np.arange(1, len(wasted) + 1)
        yield exact(f"{text}: waits out of step", int(np.count_nonzero(late)), 0)


CALM = [
    # law, its reference, window
    ("exponential 300 s", stats.expon(scale=300), 90),
    ("uniform 100 s to 400 s", stats.uniform(100, 300), 250),
    ("weibull shape 1.5 scale 40 s", stats.weibull_min(1.5, scale=40), 15),
]


@check(
    "an alternating renewal process: Cox (1962), Renewal Theory; in whole seconds, Feller, "
    "Probability Theory and Its Applications, vol. 1, ch. XIII (from memory)"
)
def misbehaviour_left_alone(lab: Lab) -> Iterator[Verdict]:
    """Calm and misbehaviour in turn: the number of lapses, and each at the end of its window."""
    for text, law, window in CALM:
        case = f"calm {text}, window {window} s"
        naughty = pet(f"misbehaviour: {{every: {text}, window: {window} s}}")
        wait, variance = _whole(law)
        cycle = wait + window
        seconds = round(2_000 * cycle)
        lived = lab.batch(naughty, NO_CARE, lives=50, seconds=seconds)
        # Nothing happens in the last second; and in whole seconds E N(t) tends to this.
        expected = (seconds - 1) / cycle + (variance + cycle - cycle**2) / (2 * cycle**2)
        spread = math.sqrt(variance * seconds / cycle**3)
        lapses = totals(lived)["lapses"] / len(lived)
        yield mean(f"{case}: lapses a life", lapses, expected, spread / math.sqrt(len(lived)))

        events = lab.events(naughty, NO_CARE, seconds=seconds)
        begun, lapsed = times(events, "misbehaves"), times(events, "lapse")
        other = int(np.count_nonzero(lapsed - begun[: len(lapsed)] != window))
        yield exact(f"{case}: lapses after another time", other, 0)


def _whole(law: Any) -> tuple[float, float]:
    """Mean and variance of a law of scipy.stats when rounded to whole seconds, 1 at least."""
    seconds = np.arange(60 * round(law.mean()))
    longer = np.where(seconds < 1, 1.0, law.sf(seconds + 0.5))
    average = float(longer.sum())
    return average, float((2 * seconds + 1) @ longer) - average**2
