"""Checks at regular times against needs that fall at random: the theory of inspection.

The printed digits were computed apart from this project, from the closed forms of the sources.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy import integrate, stats

from petsim.life.streams import uniform
from petsim.spec.quantities import DAY
from petsim.theory.closed_forms import Inspected, first_empty, first_ill
from petsim.theory.lab import SEED, Lab, times, totals
from petsim.theory.verdicts import Verdict, check, digits, exact, mean, share
from petsim.theory.worlds import every, hungry, pet, regime

BOOKS = (
    "closed form; Barlow & Proschan (1965), Mathematical Theory of Reliability, ch. 4; "
    "Cox (1962), Renewal Theory; Ross, Stochastic Processes, ch. 3 (books from memory)"
)
LIVES, INTERVALS = 50, 1_000


def watched(lab: Lab, model: str, caretaker: str, interval: int) -> tuple[dict[str, int], int]:
    """What lives of whole intervals add up to, each ended by its check; and how many intervals."""
    seconds = INTERVALS * interval + 1
    lived = lab.batch(model, caretaker, lives=LIVES, seconds=seconds)
    return totals(lived), len(lived) * INTERVALS


# One level

ONE_LEVEL = [
    # mean, interval, grace: P(miss), P(miss | empty), misses a day, undetected s, share empty
    (2400, 600, 420, 0.072257, 0.326658, 10.4049, 312.49, 0.115203),
    (3700, 2700, 900, 0.385217, 0.743719, 12.3270, 1512.75, 0.290202),
    (5400, 1800, 1100, 0.121579, 0.428898, 5.8358, 949.91, 0.149594),
    (9876, 777, 345, 0.042800, 0.565680, 4.7592, 393.59, 0.038326),
]
# The last two are so fast that the rounding of a wait to whole seconds shows.
MORE_ONE_LEVEL = [(1500, 2100, 800), (700, 350, 349), (20, 60, 25), (9, 14, 4)]


@check(BOOKS)
def exact_law_of_one_level(lab: Lab) -> Iterator[Verdict]:
    """The law in whole seconds, from which the checks below take what they expect, as printed."""
    for m, interval, grace, miss, given, daily, late, empty in ONE_LEVEL:
        case, law = _case(m, interval, grace), Inspected(first_empty(m, interval))
        p_miss = law.p_empty * law.missed(grace)
        yield digits(f"{case}: P(miss)", p_miss, miss, 6e-7)
        yield digits(f"{case}: P(miss | empty)", law.missed(grace), given, 6e-7)
        yield digits(f"{case}: misses a day", DAY / interval * p_miss, daily, 6e-5)
        # A need that is empty from some instant on is empty from the next whole second on.
        unseen = law.mean(law.delays)
        yield digits(f"{case}: s undetected", unseen + 0.5, late, 6e-3)
        lost = 0.5 * law.p_empty / interval
        yield digits(f"{case}: share of time empty", unseen / law.cycle[0] + lost, empty, 6e-7)


@check(BOOKS)
def one_level_of_a_need(lab: Lab) -> Iterator[Verdict]:
    """Misses, fillings and time empty of a need that is filled whenever it is found empty."""
    for m, interval, grace in [row[:3] for row in ONE_LEVEL] + MORE_ONE_LEVEL:
        case, law = _case(m, interval, grace), Inspected(first_empty(m, interval))
        lived, n = watched(lab, hungry(m, grace), regime(every(interval)), interval)
        filled, empty = lived["done.feed"], lived["level_s.hunger.0"]
        yield share(f"{case}: P(miss)", lived["misses.hunger"], n, law.p_empty * law.missed(grace))
        yield share(f"{case}: P(empty)", filled, n, law.p_empty)
        yield share(f"{case}: P(miss | empty)", lived["misses.hunger"], filled, law.missed(grace))
        late, spread, q = law.mean(law.delays), law.sd(law.delays), law.p_empty
        yield mean(f"{case}: s undetected", empty / filled, late, spread / math.sqrt(filled))
        of_interval = math.sqrt(q * spread**2 + q * (1 - q) * late**2)
        yield mean(f"{case}: s empty an interval", empty / n, q * late, of_interval / math.sqrt(n))
        yield exact(f"{case}: feeds wasted", lived["wasted.feed"], 0)


def _case(m: float, interval: int, grace: int) -> str:
    return f"drops every {m} s, checks every {interval} s, {grace} s allowed"
