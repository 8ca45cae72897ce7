"""Checks that begin at a random second, or come late by some seconds, all alike.

The printed digits were computed apart from this project, from the closed forms of the sources.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy import integrate, stats

from petsim.life.streams import uniform
from petsim.theory.closed_forms import Law, first_empty
from petsim.theory.inspection import BOOKS, LONG_LIVES, watched
from petsim.theory.lab import SEED, Lab
from petsim.theory.verdicts import Verdict, check, digits, exact, mean, share
from petsim.theory.worlds import dropping, every, hungry, regime


@check("closed form: a drop at random waits for each number of seconds alike")
def random_first_check(lab: Lab) -> Iterator[Verdict]:
    """Delays from 0 to the interval less a second are equally likely; and exact life by life."""
    for interval, grace, chance in [(1800, 700, 0.611111), (2400, 1700, None), (900, 31, None)]:
        wait = 4 * interval + 123
        case = f"checks every {interval} s from a random second on, {grace} s allowed"
        if chance is not None:
            yield digits(f"{case}: exact P(miss)", 1 - grace / interval, chance, 6e-7)
        caretaker = regime(every(interval, first="random"))
        lived = lab.batch(
            dropping(wait, grace), caretaker, lives=2_500, seconds=wait + interval
        ).values
        waited, missed, n = lived["level_s.hunger.0"], lived["misses.hunger"], len(lived["life"])
        yield share(f"{case}: P(miss)", int(missed.sum()), n, 1 - grace / interval)
        spread = math.sqrt((interval**2 - 1) / 12 / n)
        yield mean(f"{case}: s empty", float(waited.mean()), (interval - 1) / 2, spread)
        firsts = [math.floor(uniform(SEED, "first check", k, 0) * interval) for k in range(n)]
        delays = (np.array(firsts) - wait) % interval
        right_waits = int((waited == delays).sum())
        yield exact(f"{case}: lives that wait as long as they must", right_waits, n)
        right_misses = int((missed == (delays >= grace)).sum())
        yield exact(f"{case}: lives missed that must be", right_misses, n)


TIJMS = (
    "Tijms (2003), A First Course in Stochastic Models, p. 39, equations (2.1.9) and (2.1.10): an "
    "event at random waits E[X^2] / 2E[X] for the end of its gap X"
)

JITTERED = [
    # interval, either way, grace: mean wait, P(wait >= grace), of events at random
    (1800, 600, 900, 966.667, 0.501736),
    (1800, 600, 1800, 966.667, 0.111111),
]
MORE_JITTERED = [(1200, 500, 1000)]


@check(TIJMS)
def waits_for_a_check_at_random(lab: Lab) -> Iterator[Verdict]:
    """The formulas of the source: its own example, and those of jitter against printed digits."""
    # Its example 2.1.4: nine gaps in ten are of no time, the others of 10 minutes.
    tens, chances = np.array([0.0, 10.0]), np.array([0.9, 0.1])
    yield digits("gaps of 0 or 10 min: min between", float(tens @ chances), 1, 1e-12)
    yield digits("gaps of 0 or 10 min: min to wait", mean_wait(tens, chances), 5, 1e-12)

    for interval, either_way, grace, wait, missed in JITTERED:
        case = _jittered(interval, either_way, grace)
        # The printed digits are those of a lateness that need not be whole.
        law = stats.triang(0.5, interval - 2 * either_way, 4 * either_way)
        above, _ = integrate.quad(law.sf, grace, interval + 2 * either_way)
        continuous_wait = interval / 2 + law.var() / (2 * interval)
        yield digits(f"{case}: s to wait", continuous_wait, wait, 6e-4)
        yield digits(f"{case}: P(miss)", above / interval, missed, 6e-7)
        gaps = JitteredGaps(interval, 2 * either_way)
        x = gaps.x.ravel().astype(float)
        whole_wait = mean_wait(x, np.full(len(x), 1 / len(x)))
        yield digits(f"{case}, late by whole s: s to wait", whole_wait, wait, 2e-4 * wait)
        beyond = gaps.beyond(grace)
        yield digits(f"{case}, late by whole s: P(miss)", beyond, missed, 1e-3 * missed)


def mean_wait(gaps: NDArray[np.float64], chances: NDArray[np.float64]) -> float:
    """Mean time from an event at random to the end of its gap, of gaps with these chances."""
    return float(gaps**2 @ chances / (2 * (gaps @ chances)))


@check(TIJMS)
def jitter_for_rare_events(lab: Lab) -> Iterator[Verdict]:
    """Checks off by some seconds either way: how long one drop in a life waits."""
    for interval, either_way, grace in [row[:3] for row in JITTERED] + MORE_JITTERED:
        case = _jittered(interval, either_way, grace)
        gaps, wait = JitteredGaps(interval, 2 * either_way), 4 * interval + 123
        lived = lab.batch(
            dropping(wait, grace),
            regime(_late(interval, 2 * either_way, first="random")),
            lives=2_500,
            seconds=wait + 2 * interval,
        )
        missed, empty = lived.values["misses.hunger"], lived.values["level_s.hunger.0"]
        yield share(f"{case}: P(miss)", missed.sum(), len(lived), gaps.beyond(grace))
        # Of the seconds in a gap of x, one waits for each number from 0 to x - 1.
        x = gaps.x.astype(float)
        late = (x * (x - 1) / 2).mean() / interval
        square = (x * (x - 1) * (2 * x - 1) / 6).mean() / interval
        of_mean = math.sqrt((square - late**2) / len(lived))
        yield mean(f"{case}: s undetected", empty.mean(), late, of_mean)


@check(f"{TIJMS}; {BOOKS}")
def late_checks_make_longer_waits(lab: Lab) -> Iterator[Verdict]:
    """Checks late by 0 to 2j leave gaps off by j either way, of which long ones catch more."""
    for interval, either_way, grace in [row[:3] for row in JITTERED] + MORE_JITTERED:
        m, gaps = 3 * interval, JitteredGaps(interval, 2 * either_way)
        case = f"drops every {m} s, {_jittered(interval, either_way, grace)}"
        caretaker = regime(_late(interval, 2 * either_way))
        counted, n = watched(lab, hungry(m, grace), caretaker, interval, LONG_LIVES)
        chances = -np.expm1(-np.maximum(gaps.x - grace, 0) / m)
        expected, error = gaps.average(chances, chances, n)
        yield mean(f"{case}: P(miss)", counted["misses.hunger"] / n, expected, error)
        # Of a gap of x seconds those from second s on are empty with chance exp(-(s - 1) / m) -
        # exp(-s / m) each.
        seconds_empty, squares = _empty_seconds(first_empty(m, int(gaps.x.max())))
        expected, error = gaps.average(seconds_empty[gaps.x], squares[gaps.x], n)
        yield mean(f"{case}: s empty a check", counted["level_s.hunger.0"] / n, expected, error)


def _empty_seconds(law: Law) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Mean and mean square of the seconds empty in a gap of x seconds, for x = 0, 1, ..."""
    s = np.arange(len(law))
    zeroth, first, second = np.cumsum(law), np.cumsum(s * law), np.cumsum(s * s * law)
    return s * zeroth - first, s * s * zeroth - 2 * s * first + second


def _late(interval: int, latest: int, first: str = "0 s") -> str:
    """The line of a regime whose checks come late by 0 to `latest` seconds."""
    return f"checks: {{every: {interval} s, first: {first}, jitter: {latest} s}}"


def _jittered(interval: int, either_way: int, grace: int) -> str:
    return f"checks every {interval} s, {either_way} s either way, {grace} s allowed"


class JitteredGaps:
    """The gaps between checks that come late by 0 to `latest` seconds, each equally likely.

    Checks that are late by 0 to 2j leave the gaps of checks that are off by j either way.

    x: the gap by lateness of the check before it (rows) and of the one that ends it (columns).
    """

    def __init__(self, interval: int, latest: int) -> None:
        late = np.arange(latest + 1)
        self.interval = interval
        self.x = interval + late[None, :] - late[:, None]

    def beyond(self, seconds: int) -> float:
        """Chance that an event at a random whole second waits for at least some seconds."""
        return float(np.maximum(self.x - seconds, 0).mean() / self.interval)

    def average(
        self, values: NDArray[np.float64], squares: NDArray[np.float64], n: int
    ) -> tuple[float, float]:
        """The mean of a quantity over n gaps in a row, and its standard error.

        values, squares: the quantity's mean and mean square by gap. Gaps that touch share a
        lateness and are not independent; others are.
        """
        average = float(values.mean())
        variance = squares.mean() - average**2
        shared = (values.mean(axis=0) * values.mean(axis=1)).mean() - average**2
        return average, math.sqrt((variance + 2 * shared) / n)
