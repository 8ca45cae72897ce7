"""Measure how often intervals of 95 % hold: `python -m tests.bench.coverage`, about a minute."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from scipy.special import stdtrit

import petsim
from petsim.study.aims import Aim
from petsim.study.stats import Interval, clopper_pearson, mean_interval, wilson

IntervalOf = Callable[[int, int], Interval]
"""The interval of a share, from a count and the number of lives."""

EXPECTED = (0.1, 0.3, 1, 3, 10)
"""Lives in which an outcome is expected."""
LIVES = 5000
OF_WORTH = (20, 100, 1000)
"""Lives in groups whose worth is estimated."""
WORTHS = [(0.7, 0.28), (0.2, 0.6), (0.95, 0.04), (0.02, 0.03), (0.002, 0.003), (0.98, 0.02)]
"""Chances of a life that is worth 1, and of one that is worth 0.5; others are worth 0."""
ROUNDING = 1e-12
GROUPS, SEED = 20_000, 1
"""How many groups of lives are drawn from a batch, and the seed of the batch and of the draws."""
TOGETHER = [
    # lives; the odds of all outcomes, of which the rarest is expected less than once
    (50, (0.90, 0.09, 0.01)),
    (50, (0.5, 0.3, 0.15, 0.04, 0.01)),
    (100, (0.70, 0.24, 0.05, 0.008, 0.002)),
    (250, (0.6, 0.3, 0.08, 0.01, 0.004, 0.003, 0.002, 0.001)),
    (500, (0.74, 0.21, 0.04, 0.0096, 0.0002, 0.0002)),
    (1000, (0.95, 0.048, 0.0015, 0.0003, 0.0002)),
    (1000, (0.99847, *[0.00017] * 9)),
    (2000, (0.4, 0.3, 0.2, 0.0999, 0.00005, 0.00005)),
    (5000, (0.953, 0.0468, 0.00005, 0.00005, 0.00004, 0.00003, 0.00003)),
    (10_000, (0.5, 0.2, 0.1, 0.1, 0.05, 0.04993, *[0.00002] * 2, *[0.00001] * 2, *[0.000005] * 2)),
]


def counts_that_hold(interval: IntervalOf, n: int, odds: float) -> range:
    """The counts of n lives whose interval holds the odds, which come in a row."""
    spread = math.sqrt(n * odds)
    near = range(max(0, int(n * odds - 8 * spread - 10)), min(n, int(n * odds + 8 * spread + 30)))
    ends = {x: interval(x, n) for x in (*near, near.stop)}
    counts = [x for x, (_, low, high) in ends.items() if low <= odds <= high]
    assert counts == [*range(counts[0], counts[-1] + 1)]
    return range(counts[0], counts[-1] + 1)


def one_holds(interval: IntervalOf, n: int, odds: float) -> float:
    """The chance that the interval of a share holds, a sum of binomial chances."""
    return float(stats.binom.pmf(counts_that_hold(interval, n, odds), n, odds).sum())


def all_hold(interval: IntervalOf, n: int, shares: Sequence[float]) -> float:
    """The chance that the intervals of all shares of a whole hold together.

    Counts of a whole are Poisson counts that happen to add up to it. Source: Levin (1981), "A
    representation for multinomial cumulative distribution functions", Annals of Statistics
    9:1123-1126 (from memory; compared with samples in the tests).
    """
    chances = np.zeros(n + 1)  # of what the counts so far add up to
    chances[0] = 1
    for share in shares:
        counts = counts_that_hold(interval, n, share)
        own = zip(counts, stats.poisson.pmf(counts, n * share), strict=True)
        chances = sum(chance * _shifted(chances, count) for count, chance in own)
    return float(chances[n] / stats.poisson.pmf(n, n))


def _shifted(chances: NDArray[np.float64], places: int) -> NDArray[np.float64]:
    return np.concatenate([np.zeros(places), chances[: len(chances) - places]])


def at_once(interval: Callable[..., Interval], outcomes: int) -> IntervalOf:
    """The interval of a share at the level at which, by Bonferroni, those of all outcomes hold."""
    return partial(interval, level=1 - 0.05 / outcomes)


def mean_holds(values: NDArray[np.int64], n: int) -> float:
    """How often Student's interval of the mean of n lives, drawn from many, holds that of all."""
    known, counts = np.unique(values, return_counts=True)
    drawn = np.random.default_rng(SEED).multinomial(n, counts / len(values), size=GROUPS)
    means = drawn @ known / n
    squares = np.maximum(drawn @ known**2 - n * means**2, 0)
    halves = stdtrit(n - 1, 0.975) * np.sqrt(squares / (n - 1) / n)
    return float((np.abs(means - values.mean()) <= halves).mean())


def worth_holds(chances: tuple[float, float], n: int) -> tuple[float, float]:
    """How often the interval of the worth of n lives, and Student's, hold the expected worth.

    Args:
        chances: of a life that is worth 1, and of one that is worth 0.5. n: lives in a group.
    """
    worth, values = Aim("worth", {"one": 1.0, "half": 0.5}), np.array([1.0, 0.5, 0.0])
    true = float(values[:2] @ chances)
    drawn = np.random.default_rng(SEED).multinomial(n, (*chances, 1 - sum(chances)), size=GROUPS)
    held = np.zeros(2)
    for counts, groups in zip(*np.unique(drawn, axis=0, return_counts=True), strict=True):
        lives = np.repeat(values, counts)
        for way, interval in enumerate((worth.interval(lives), mean_interval(lives))):
            held[way] += groups * (interval.low - ROUNDING <= true <= interval.high + ROUNDING)
    ours, students = (held / GROUPS).tolist()
    return ours, students


def main() -> None:
    print(f"Wilson's interval, {LIVES} lives: expected lives with an outcome, holds in (exactly)")
    for expected in EXPECTED:
        print(f"  {expected:5} {one_holds(wilson, LIVES, expected / LIVES):.1%}")
    finely = np.arange(0.01, 10, 0.0025)
    least = min((one_holds(wilson, LIVES, x / LIVES), x) for x in finely)
    print(f"  least, for 0.01 to 10: {least[0]:.1%} at {least[1]:.4g}")

    print("\nAll outcomes together: lives, outcomes, the rarest expected in, hold in (exactly)")
    print(" " * 22 + "Clopper-Pearson  Wilson (Goodman)")
    for n, shares in TOGETHER:
        case = f"  {n:6} {len(shares):3} {n * min(shares):7.3g}"
        ways = (at_once(each, len(shares)) for each in (clopper_pearson, wilson))
        print(case, *(f"{all_hold(way, n, shares):15.2%}" for way in ways))

    lived = petsim.batch("lamplet", "camera-rig", lives=100_000, seed=SEED).values
    print(f"\nStudent's interval, of {GROUPS} groups drawn from 100,000 lives of camera-rig")
    groups = (20, 100, 1000, 5000)
    print("  misses" + " " * 18 + "a life  lives with any " + "".join(f"{n:7}" for n in groups))
    columns = {
        "in all": "misses",
        "cause illness": "misses.illness",
        "as infant": "misses_in.glint",
    }
    for name, column in columns.items():
        values = lived[column].astype(np.int64)
        held = "".join(f"{mean_holds(values, n):7.1%}" for n in groups)
        print(f"  {name:22} {values.mean():7.4f} {(values > 0).mean():14.1%} {held}")

    print(f"\nInterval of a worth and Student's, {GROUPS} groups: chances of 1, of 0.5, hold in")
    print(" " * 16 + "".join(f"{n:8} lives    " for n in OF_WORTH))
    for chances in WORTHS:
        held = (
            f"{ours:8.1%} {other:7.1%}"
            for ours, other in (worth_holds(chances, n) for n in OF_WORTH)
        )
        print(f"  {chances[0]:6.1%} {chances[1]:6.1%}", *held)


if __name__ == "__main__":
    main()
