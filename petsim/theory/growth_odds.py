"""The odds of growth: misses in a form are binomial, and a rule of growth compares them.

The printed digits were computed apart from this project, from the closed forms of the sources.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from scipy import stats

from petsim.theory.lab import Lab
from petsim.theory.verdicts import Verdict, check, digits, exact, mean, share
from petsim.theory.worlds import FEED_WHEN_EMPTY, every, hungry, regime

LIVES = 1_500

ODDS = [
    # mean, interval, grace, intervals, full: P(at most a number of misses) by that number
    (3700, 2700, 1500, 40, 1, {8: 0.182238, 11: 0.569165, 14: 0.884826}),
    (5400, 1800, 1100, 47, 1, {2: 0.063749, 5: 0.484829, 8: 0.889335}),
    (9000, 900, 480, 95, 1, {1: 0.065768, 3: 0.365979, 6: 0.856768}),
    (2400, 7200, 900, 12, 4, {1: 0.125397, 3: 0.587990, 5: 0.924614}),
]
MORE_ODDS = [
    # mean, interval, grace, intervals, full, numbers of misses
    (1800, 1200, 500, 25, 1, (6, 8, 11)),
    (1000, 3600, 1300, 18, 3, (5, 7, 9)),
]
BINOMIAL = "closed form; the binomial distribution, and the gamma distribution of scipy.stats"


@check(BINOMIAL)
def binomial_law_of_misses(lab: Lab) -> Iterator[Verdict]:
    """The odds that the check below takes for expected, as printed."""
    for m, interval, grace, n, full, odds in ODDS:
        law = stats.binom(n, _p_miss(m, interval, grace, full))
        for most, printed in odds.items():
            what = f"{_case(m, interval, grace, n, full)}: P(at most {most} misses)"
            yield digits(what, law.cdf(most), printed, 1e-6)


@check("a simulation apart from this project: 0.5699, standard error 0.0010")
def odds_as_simulated_elsewhere(lab: Lab) -> Iterator[Verdict]:
    """One of the odds as another program simulated it, and what half a second would change."""
    m, interval, grace, n, most = 3700, 2700, 1500, 40, 11
    what = f"{_case(m, interval, grace, n, 1)}: P(at most {most} misses)"
    odds = stats.binom.cdf(most, n, _p_miss(m, interval, grace, 1))
    yield mean(what, odds, 0.5699, 0.0010)
    # If every wait began at a check, its rounding would leave drops half a second more.
    rounded = stats.binom.cdf(most, n, -math.expm1(-(interval - grace + 0.5) / m))
    yield digits(f"{what} if each wait began at a check", rounded, 0.5686, 6e-5)


@check(BINOMIAL)
def growth_by_care_misses(lab: Lab) -> Iterator[Verdict]:
    """The form that a pet grows into, by its misses in the form before."""
    cases = [(*row[:5], (*row[5],)) for row in ODDS] + MORE_ODDS
    for m, interval, grace, n, full, bounds in cases:
        case = _case(m, interval, grace, n, full)
        law = stats.binom(n, _p_miss(m, interval, grace, full))
        forms = [f"up to {most}" for most in bounds]
        model = _growing(m, grace, full, lasts=n * interval + grace // 2, bounds=bounds)
        step = FEED_WHEN_EMPTY if full == 1 else f"{{when: {{hunger: below {full}}}, do: feed}}"
        lived = lab.batch(model, regime(every(interval), routine=[step]), lives=LIVES)

        misses = lived.values["misses_in.grain"]
        for most, form in zip(bounds, forms, strict=True):
            reached = lived.which("outcome", *forms[: forms.index(form) + 1])
            what = f"{case}: P(at most {most} misses)"
            yield share(what, reached.sum(), len(lived), law.cdf(most))
            astray = int(np.count_nonzero(reached != (misses <= most)))
            yield exact(f"{case}: lives of at most {most} misses that grew otherwise", astray, 0)
        of_mean = law.std() / math.sqrt(len(lived))
        yield mean(f"{case}: misses in the form", misses.mean(), law.mean(), of_mean)


def _p_miss(m: float, interval: int, grace: int, full: int) -> float:
    return float(stats.gamma.cdf(interval - grace, full, scale=m))


def _growing(m: float, grace: int, full: int, lasts: int, bounds: tuple[int, ...]) -> str:
    """A pet that grows into a form for each bound that its misses may not exceed, or a rock."""
    rules = [f"{{up to {most}: {{misses in form: at most {most}}}}}" for most in bounds]
    growth = f"[{', '.join(rules)}, {{rock: otherwise}}]"
    forms = [*(f"up to {most}" for most in bounds), "rock"]
    return hungry(
        m,
        grace,
        full=full,
        grain=f"{{stage: young, lasts: {lasts} s, grows into: {growth}}}",
        rocks=[f"{form}: {{stage: grown, lasts: 1 day}}" for form in forms],
    )


def _case(m: float, interval: int, grace: int, n: int, full: int) -> str:
    levels = "" if full == 1 else f" of {full} levels"
    return f"drops every {m} s{levels}, {n} checks every {interval} s, {grace} s allowed"
