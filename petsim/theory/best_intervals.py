"""How often to check, where a check has a cost and so has each second that a need is empty."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from functools import partial

import numpy as np
from scipy import special

from petsim.theory.closed_forms import Inspected, first_empty
from petsim.theory.inspection import watched
from petsim.theory.lab import Lab
from petsim.theory.verdicts import Verdict, check, digits, exact, mean
from petsim.theory.worlds import every, pet, regime

COSTS = [
    # mean; cost of a check, where a second empty costs one
    (3600, 600),
    (5400, 45),
    (900, 360),
]


@check(
    "e^y - y - 1 = cost / mean, y = interval / mean; Barlow, Hunter & Proschan (1963), Optimum "
    "checking procedures, J. SIAM 11:1078-1095 (from memory)"
)
def where_to_put_the_checks(lab: Lab) -> Iterator[Verdict]:
    """Where the checks up to the one that sees an emptying and the seconds empty cost least."""
    for m, cost in COSTS:
        case, ratio = _case(m, cost), cost / m
        best = -m * (1 + ratio + special.lambertw(-math.exp(-1 - ratio), -1).real)
        intervals = np.arange(1, 10 * m)
        costs = (cost + intervals) / -np.expm1(-intervals / m) - m
        yield digits(f"{case}: s of the cheapest interval", intervals[costs.argmin()], best, 1)
        yield from _dearer_around(case, best, partial(_cost_of_an_emptying, lab, m, cost))


def _cost_of_an_emptying(lab: Lab, m: int, cost: int, interval: int) -> Verdict:
    law, counted, n = _emptied(lab, m, interval)
    filled, q = counted["done.feed"], law.p_empty
    paid = (cost * n + counted["level_s.hunger.0"]) / filled
    spread = math.hypot(cost * math.sqrt(1 - q) / q, law.sd(law.delays))
    expected = cost / q + law.mean(law.delays)
    what = f"{_case(m, cost)}, checks every {interval} s: cost of an emptying"
    return mean(what, paid, expected, spread / math.sqrt(filled))


@check(
    "1 - (1 + y) e^-y = cost / mean, y = interval / mean, by renewal and reward; Ross, Stochastic "
    "Processes, sect. 3.6 (from memory)"
)
def where_to_put_the_checks_in_the_long_run(lab: Lab) -> Iterator[Verdict]:
    """Where a second costs least, of a need that is filled and empties again and again.

    The interval is longer than the one that is best for an emptying, as rare checks also leave
    fewer emptyings to a day.
    """
    for m, cost in COSTS:
        case = _case(m, cost)
        best = -m * (1 + special.lambertw((cost / m - 1) / math.e, -1).real)
        intervals = np.arange(1, 10 * m)
        costs = (cost + m * np.expm1(-intervals / m)) / intervals + 1
        yield digits(f"{case}: s of the cheapest interval", intervals[costs.argmin()], best, 1)
        yield from _dearer_around(case, best, partial(_cost_of_a_second, lab, m, cost))


def _cost_of_a_second(lab: Lab, m: int, cost: int, interval: int) -> Verdict:
    law, counted, n = _emptied(lab, m, interval)
    seconds = n * interval
    paid = (cost * n + counted["level_s.hunger.0"]) / seconds
    part, spread = law.rate(law.delays)
    what = f"{_case(m, cost)}, checks every {interval} s: cost a second"
    return mean(what, paid, cost / interval + part, spread / math.sqrt(seconds))


def _emptied(lab: Lab, m: int, interval: int) -> tuple[Inspected, dict[str, int], int]:
    """The law of a need under checks, what is counted in its lives, and the number of intervals."""
    model = pet(f"drops: {{hunger: exponential {m} s}}")
    counted, n = watched(lab, model, regime(every(interval)), interval)
    return Inspected(first_empty(m, interval)), counted, n


def _dearer_around(
    case: str, best: float, lived_cost: Callable[[int], Verdict]
) -> Iterator[Verdict]:
    """Yield the costs at half the best interval, at it and at its double, and that it is cheapest.

    The others cost so much more that even the fewest lives show it by 5 standard errors.
    """
    costs = [lived_cost(round(factor * best)) for factor in (0.5, 1, 2)]
    yield from costs
    cheapest = int(np.argmin([cost.got for cost in costs]))
    yield exact(f"{case}: cheapest of these intervals", cheapest + 1, 2)


def _case(m: int, cost: int) -> str:
    return f"drops every {m} s, a check costs as much as {cost} s empty"
