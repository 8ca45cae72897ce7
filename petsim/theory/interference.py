"""One caretaker and many needs: the theory of machine interference.

Needs are machines that run until they fall empty; the caretaker, who sees to one at a time, is
the repairman. The printed digits were computed apart from this project, from the closed forms of
the sources, but for the tables of Peck and Hazelwood, which are as published.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from petsim.theory.lab import Lab
from petsim.theory.verdicts import Verdict, check, digits, mean
from petsim.theory.worlds import pet, regime

ASHCROFT = (
    "machine interference with constant service; Ashcroft (1950), J. R. Statist. Soc. B "
    "12:145-151; Takacs (1962), Introduction to the Theory of Queues, ch. 5 (both from memory)"
)

MACHINES = [
    # needs, mean, seconds of an action: busy, needs not empty, share empty; the same share if
    # actions took exponential times
    (4, 1800, 95, 0.199664, 3.783099, 0.054225, 0.057940),
    (2, 600, 45, 0.139180, 1.855729, 0.072135, 0.074273),
    (6, 1200, 70, 0.327419, 5.612891, 0.064518, 0.072595),
]
MORE_MACHINES = [(3, 400, 60), (1, 500, 40), (5, 900, 300)]


@check(ASHCROFT)
def laws_of_machine_interference(lab: Lab) -> Iterator[Verdict]:
    """The closed forms as printed, and the chain from which the checks below take their values."""
    for n, m, takes, busy, running, empty, exponential in MACHINES:
        case = _case(n, m, takes)
        p_busy = _busy(n, takes / m)
        _, efficiency = finite_source(n, 1, takes / m)
        at_exponential_times = 1 - efficiency * m / (m + takes)
        chain_busy, chain_empty = interference(n, m, takes)
        for what, computed, printed in (
            (f"{case}: share busy", p_busy, busy),
            (f"{case}: needs not empty", p_busy * m / takes, running),
            (f"{case}: share empty", 1 - p_busy * m / (n * takes), empty),
            (f"{case} of exponential times: share empty", at_exponential_times, exponential),
            (f"{case}: share busy by its chain", chain_busy, busy),
            (f"{case}: share empty by its chain", chain_empty, empty),
        ):
            yield digits(what, computed, printed, 6e-7)
    for n, m, takes in MORE_MACHINES:
        chain_busy, _ = interference(n, m, takes)
        what = f"{_case(n, m, takes)}: share busy by its chain"
        yield digits(what, chain_busy, _busy(n, takes / m), 1e-10)


def _busy(n: int, load: float) -> float:
    """Share of time one repairman is busy with n machines, the load being service over running."""
    failures = [math.prod(math.expm1(i * load) for i in range(1, j + 1)) for j in range(n)]
    x = n * load * sum(math.comb(n - 1, j) * failures[j] for j in range(n))
    return x / (1 + x)


PECK_HAZELWOOD = [
    # servers, service factor X: P(must wait) D, efficiency F; population 5
    (1, 0.012, 0.048, 0.999),
    (1, 0.025, 0.100, 0.997),
    (1, 0.050, 0.198, 0.989),
    (2, 0.060, 0.020, 0.999),
    (1, 0.060, 0.237, 0.983),
    (2, 0.070, 0.027, 0.999),
    (1, 0.070, 0.275, 0.977),
    (2, 0.080, 0.035, 0.998),
    (1, 0.080, 0.313, 0.969),
    (2, 0.090, 0.044, 0.998),
    (1, 0.090, 0.350, 0.960),
    (2, 0.100, 0.054, 0.997),
    (1, 0.100, 0.386, 0.950),
]


@check(
    "Peck & Hazelwood (1958), Finite Queuing Tables, as reprinted in Heizer & Render, Operations "
    "Management, module D"
)
def finite_queuing_tables(lab: Lab) -> Iterator[Verdict]:
    """The published table of five machines, and the number that run in its worked example."""
    for servers, x, must_wait, efficiency in PECK_HAZELWOOD:
        case = f"5 machines, {servers} repaired at a time, service factor {x}"
        d, f = finite_source(5, servers, x / (1 - x))
        yield digits(f"{case}: P(must wait)", d, must_wait, 5e-4)
        yield digits(f"{case}: efficiency", f, efficiency, 5e-4)
    for servers, running in ((1, 4.36), (2, 4.54)):
        # As in the example, from an efficiency of three digits.
        _, f = finite_source(5, servers, 0.091 / (1 - 0.091))
        case = f"5 machines, {servers} repaired at a time, service factor 0.091"
        yield digits(f"{case}: machines running", 5 * round(f, 3) * (1 - 0.091), running, 5e-3)


def finite_source(n: int, servers: int, load: float) -> tuple[float, float]:
    """P(must wait) and the efficiency of n machines with exponential times, M/M/c//N.

    The efficiency is the share of machines that do not wait. load: mean service over mean running.
    """

    def stopped(machines: int) -> NDArray[np.float64]:
        steps = [(machines - k) * load / min(k + 1, servers) for k in range(machines)]
        weights = np.cumprod([1.0, *steps])
        return np.asarray(weights / weights.sum())

    # A machine that stops finds the others as they would be without it (the arrival theorem).
    must_wait = stopped(n - 1)[servers:].sum()
    waiting = stopped(n) @ np.maximum(np.arange(n + 1) - servers, 0)
    return float(must_wait), float(1 - waiting / n)


@check(ASHCROFT)
def one_caretaker_for_many_needs(lab: Lab) -> Iterator[Verdict]:
    """Calls that are all heard at once, and actions that all take the same time: M/D/1//N."""
    for n, m, takes in [row[:3] for row in MACHINES] + MORE_MACHINES:
        yield from _interfered(lab, n, m, takes, lands=1.0)


@check(
    "machine interference with exponential service, M/M/1//N; Takacs (1962), Introduction to the "
    "Theory of Queues, ch. 5 (from memory); its chain in whole seconds"
)
def service_by_hands_that_slip(lab: Lab) -> Iterator[Verdict]:
    """Short actions that slip again and again take geometric, nearly exponential, times."""
    for n, m, takes, exponential in ((4, 1800, 95, 0.057940), (5, 900, 100, None)):
        # In the limit of short tries, of which as many are needed.
        _, limit = interference(n, m, takes * 1e-5, lands=1e-5)
        _, efficiency = finite_source(n, 1, takes / m)
        what = f"{_case(n, m, takes)} of many short tries: share empty"
        yield digits(what, limit, 1 - efficiency * m / (m + takes), 2e-6)
        if exponential is not None:
            yield digits(f"{what} as printed", limit, exponential, 2e-6)
        yield from _interfered(lab, n, m, 10, lands=10 / takes)


def _interfered(lab: Lab, n: int, m: int, takes: int, lands: float) -> Iterator[Verdict]:
    """Compare the shares of time of lives with those of the chain."""
    case = _case(n, m, takes) + ("" if lands == 1 else f" that slip {1 - lands:.1%}")
    p_busy, p_empty = interference(n, m, takes, lands, reaction=1, rounding=0.5)
    busy, empty = lived_shares(lab, n, m, takes, lands)
    for what, got, expected in (("share busy", busy, p_busy), ("share empty", empty, p_empty)):
        of_mean = got.std(ddof=1) / math.sqrt(len(got))
        yield mean(f"{case}: {what}", got.mean(), expected, of_mean)


def lived_shares(
    lab: Lab, n: int, m: int, takes: int, lands: float = 1.0
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Shares of time in which the caretaker is busy and a need is empty, by life.

    They are of 80 mean times; the 20 before are left out, as all needs are full at birth.
    """
    settled, seconds = 20 * m, 80 * m
    at_first, in_all = (
        lab.batch(*needy(n, m, takes, lands), lives=200, seconds=span).values
        for span in (settled, settled + seconds)
    )

    def of_time(columns: list[str]) -> NDArray[np.float64]:
        counted = [in_all[name] - at_first[name] for name in columns]
        return np.asarray(np.sum(counted, axis=0) / seconds)

    tries = of_time([f"{kind}.fill {i}" for kind in ("done", "slipped") for i in range(n)])
    return tries * takes, of_time([f"level_s.need {i}.0" for i in range(n)]) / n


def needy(n: int, m: int, takes: int, lands: float = 1.0) -> tuple[str, str]:
    """A pet of n needs, and a caretaker who hears each call and sees to one need at a time."""
    names = [f"need {i}" for i in range(n)]
    drops = ", ".join(f"{name}: exponential {m} s" for name in names)
    hands = ", ".join(f"fill {i}: {{takes: {takes} s, slips: {1 - lands}}}" for i in range(n))
    model = pet(
        f"drops: {{{drops}}}",
        needs=[f"{name}: {{full: 1}}" for name in names],
        care=[f"fill {i}: {{raises: {{need {i}: 1}}}}" for i in range(n)],
    )
    caretaker = regime(
        "listens: {hears: 100%, reacts in: 1 s}",
        f"hands: {{{hands}}}",
        "passes: 1000",
        routine=[f"{{when: {{need {i}: 0}}, do: fill {i}}}" for i in range(n)],
    )
    return model, caretaker


def interference(
    n: int, m: float, takes: float, lands: float = 1.0, reaction: float = 0, rounding: float = 0
) -> tuple[float, float]:
    """Shares of time in which the caretaker is busy and a need is empty, by a Markov chain.

    Its state is the number of needs left empty at the end of an action. With none empty, the first
    falls empty after m / n on average and is heard after the reaction; from there on the caretaker
    is busy until none is.

    Args:
        n: needs.
        m: mean seconds from full to empty.
        takes, lands: seconds of an action, and the chance that it lands.
        reaction: seconds from a call to the action.
        rounding: as a need that is empty from some instant on counts from the next whole second
            on, half a second later on average; 0 for continuous time.
    """
    move = np.zeros((n + 1, n + 1))
    for left in range(n + 1):
        served = max(left, 1)
        p = -math.expm1(-(takes if left else takes + reaction + rounding) / m)
        for more in range(n - served + 1):
            chance = math.comb(n - served, more) * p**more * (1 - p) ** (n - served - more)
            move[left, served + more - 1] += lands * chance
            move[left, served + more] += (1 - lands) * chance
    balance = np.vstack([move.T - np.eye(n + 1), np.ones(n + 1)])
    stationary = np.linalg.lstsq(balance, np.array([*[0.0] * (n + 1), 1.0]), rcond=None)[0]
    per_action = takes + stationary[0] * (m / n + rounding + reaction)
    # Each action that lands fills a need that was full for the mean of its wait (Little's law).
    return float(takes / per_action), float(1 - lands * (m + rounding) / (n * per_action))


def _case(n: int, m: int, takes: int) -> str:
    return f"{n} need{'' if n == 1 else 's'}, drops every {m} s, actions of {takes} s"
