"""Intervals, tests and numbers of trials against published rows."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from petsim.study.sample_size import one_routine
from petsim.study.stats import (
    Interval,
    bonferroni,
    clopper_pearson,
    mcnemar,
    mean_interval,
    newcombe_paired,
    none_in,
    wilson,
)
from petsim.theory.closed_forms import Inspected, first_empty
from petsim.theory.lab import Lab
from petsim.theory.verdicts import Verdict, check, digits, exact, share
from petsim.theory.worlds import ROCK, every, hungry, regime

SHARES = [
    # x, n: Wilson, Clopper-Pearson; half a unit of the last digit
    (81, 263, (0.25529, 0.36621), (0.25274, 0.36762), 6e-6),
    (15, 148, (0.06239, 0.16049), (0.05784, 0.16165), 6e-6),
    (0, 20, (0.0, 0.16113), (0.0, 0.16843), 6e-6),
    (13, 16, (0.5699, 0.9341), (0.5435, 0.9595), 6e-5),
    (1, 10, (0.017876, 0.404150), (0.002529, 0.445016), 6e-7),
]


@check(
    "Newcombe (1998), Statistics in Medicine 17:857-872, Table I; Fagerland, Lydersen & Laake, "
    "Statistical Analysis of Contingency Tables, ch. 2 (13 of 16); rows of more digits recomputed"
)
def intervals_of_one_share(lab: Lab) -> Iterator[Verdict]:
    """Wilson's interval, and the exact one of Clopper and Pearson."""
    for x, n, score, tails, half_unit in SHARES:
        yield from _ends(f"{x} of {n}: Wilson", wilson(x, n), score, half_unit)
        yield from _ends(f"{x} of {n}: exact", clopper_pearson(x, n), tails, half_unit)


@check("NIST/SEMATECH e-Handbook 7.2.4.1 (from memory, recomputed)")
def exact_interval_at_90_percent(lab: Lab) -> Iterator[Verdict]:
    """4 defective of 20."""
    yield from _ends(
        "4 of 20: exact, 90 %", clopper_pearson(4, 20, 0.9), (0.071354, 0.401028), 2e-6
    )


@check("Hanley & Lippman-Hand (1983), JAMA 249:1743-1745 (from memory), and closed form")
def nothing_in_so_many_tries(lab: Lab) -> Iterator[Verdict]:
    """The greatest chance of a thing that goes with its not having happened; near 3 / n."""
    for n, bound in ((30, 0.095034), (100, 0.029513), (300, 0.009936)):
        yield digits(f"none in {n}: at most", none_in(n), bound, 6e-7)
        yield digits(f"none in {n}: rule of three", none_in(n), 3 / n, 0.06 * 3 / n)


@check(
    "Clopper & Pearson (1934), Biometrika 26:404-413, by the binomial distribution of scipy.stats; "
    "counts of Sison & Glaz (1995), JASA 90:366-369, Table 2"
)
def intervals_of_all_shares_at_once(lab: Lab) -> Iterator[Verdict]:
    """At each end of seven exact intervals, a fourteenth of the 5 % in which one may fail."""
    counts = (56, 72, 73, 59, 62, 87, 58)
    n, tail = sum(counts), 0.05 / 14
    for x, interval in zip(counts, bonferroni(counts), strict=True):
        case = f"{x} of {n}"
        at_least, at_most = (
            stats.binom.sf(x - 1, n, interval.low),
            stats.binom.cdf(x, n, interval.high),
        )
        yield digits(f"{case}: chance of as many at the low end", at_least, tail, 1e-9)
        yield digits(f"{case}: chance of as few at the high end", at_most, tail, 1e-9)


@check(
    "data of Cavo et al. (2012) in Fagerland, Lydersen & Laake, ch. 8; Newcombe (1998), Statistics "
    "in Medicine 17:2635-2650 (from memory); R's mcnemar.test, in the tests of statsmodels"
)
def two_shares_of_the_same_lives(lab: Lab) -> Iterator[Verdict]:
    """Newcombe's method 10, and McNemar's exact test."""
    for counts, estimate, ends in (
        ((59, 6, 16, 80), -0.0621, (-0.1186, -0.0046)),
        ((20, 12, 2, 16), 0.2000, (0.0562, 0.3292)),
    ):
        case = f"table {' '.join(map(str, counts))}"
        interval = newcombe_paired(*counts)
        yield digits(f"{case}: difference", interval.estimate, estimate, 6e-5)
        yield from _ends(f"{case}: Newcombe", interval, ends, 6e-5)
    yield digits("6 and 16 told apart: McNemar's p", mcnemar(6, 16), 0.052479, 6e-7)
    yield digits("121 and 59 told apart: McNemar's p", mcnemar(121, 59), 4.43e-6, 6e-9)


@check("Law & Kelton, Simulation Modeling and Analysis, ch. 9: 2.03 ± 0.32 (data quoted)")
def mean_of_ten_replications(lab: Lab) -> Iterator[Verdict]:
    """Student's interval at 90 %."""
    delays = (1.53, 1.66, 1.24, 2.34, 2.00, 1.69, 2.69, 2.86, 1.70, 2.60)
    interval = mean_interval(delays, 0.90)
    yield digits("mean delay, min", interval.estimate, 2.031, 1e-5)
    yield digits("half-width, min", interval.high - interval.estimate, 0.322283, 1e-5)


@check(
    "A'Hern (2001), Statistics in Medicine 20:859-866, exact single-stage designs, one-sided 5 %, "
    "power 80 % (from memory, recomputed)"
)
def real_pets_that_tell_two_odds_apart(lab: Lab) -> Iterator[Verdict]:
    """The number of trials, and the number of them that must succeed."""
    for first, second, pets, cutoff in (
        (0.05, 0.20, 27, 4),
        (0.05, 0.25, 16, 3),
        (0.10, 0.30, 25, 6),
        (0.20, 0.40, 35, 12),
        (0.30, 0.50, 39, 17),
    ):
        design = one_routine(first, second)
        assert design is not None and design.cutoff is not None
        yield exact(f"{first:.0%} or {second:.0%}: pets", design.pets, pets)
        yield exact(f"{first:.0%} or {second:.0%}: successes", design.cutoff, cutoff)


LIVES, ROUNDS = 2_500, 10
GROUP_SIZES = (50, 500)


@check(
    "coverage by the binomial distribution of scipy.stats; the chance of a miss is a closed form"
)
def how_often_intervals_hold(lab: Lab) -> Iterator[Verdict]:
    """The share of groups of lives in which Wilson's 95 % interval of the odds holds.

    As counts are whole, it can't hold in exactly 95 %; the binomial distribution says in how many.
    """
    interval, grace = 3600, 600
    for wanted in (0.02, 0.3, 0.96):
        mean = round((interval - grace) / -math.log(wanted))
        law = Inspected(first_empty(mean, interval))
        odds = 1 - law.p_empty * law.missed(grace)
        model = hungry(
            mean,
            grace,
            grain=f"{{stage: young, lasts: {interval + grace // 2} s, grows into: {UNMISSED}}}",
            rocks=(ROCK, "sand: {stage: grown, lasts: 1 day}"),
        )
        caretaker = regime(every(interval))
        sizes = [n for n in GROUP_SIZES if n <= lab.number(LIVES)]
        held, groups = dict.fromkeys(sizes, 0), dict.fromkeys(sizes, 0)
        for seed in range(min(ROUNDS, lab.number(ROUNDS))):
            lived = lab.batch(model, caretaker, lives=LIVES, seed=seed)
            for n in sizes:
                whole = len(lived) // n * n
                rocks = lived.which("outcome", "rock")[:whole].reshape(-1, n).sum(axis=1)
                held[n] += int(_covers(odds, n)[rocks].sum())
                groups[n] += len(rocks)
        for n in sizes:
            chance = float(_covers(odds, n) @ stats.binom.pmf(np.arange(n + 1), n, odds))
            yield share(f"odds of {odds:.1%}: {n} lives", held[n], groups[n], chance)


UNMISSED = "[rock: {misses in form: at most 0}, sand: otherwise]"


def _covers(odds: float, n: int) -> NDArray[np.bool_]:
    """Whether Wilson's interval of each count out of n, from 0 on, holds the odds."""
    ends = (wilson(x, n)[1:] for x in range(n + 1))
    return np.array([low <= odds <= high for low, high in ends])


def _ends(
    case: str, interval: Interval, ends: tuple[float, float], half_unit: float
) -> Iterator[Verdict]:
    """Compare both ends of an interval with printed digits."""
    yield digits(f"{case}: low", interval.low, ends[0], half_unit)
    yield digits(f"{case}: high", interval.high, ends[1], half_unit)
