"""Eyes that overlook an empty need, and needs that are then missed again and again.

The printed digits were computed apart from this project, from the closed forms of the sources.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import product

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from petsim.spec.quantities import DAY
from petsim.theory.closed_forms import Inspected, first_empty
from petsim.theory.inspection import BOOKS, LONG_LIVES, case_of, figures_of_fillings, watched
from petsim.theory.lab import Lab, times
from petsim.theory.verdicts import Verdict, check, digits, mean, share
from petsim.theory.worlds import every, hungry, regime

OVERLOOKED = [
    # mean, interval, grace, overlooks: P(miss | empty), undetected s, cycle s, a day, share
    (3600, 900, 1200, 0.10, 0.072462, 568.730, 4168.730, 1.501837, 0.136428),
    (3600, 900, 2000, 0.25, 0.053072, 768.730, 4368.730, 1.049595, 0.175962),
]
MORE_OVERLOOKED = [(2500, 1100, 700, 0.4), (5000, 600, 1200, 0.15)]


@check(BOOKS)
def exact_law_of_eyes_that_overlook(lab: Lab) -> Iterator[Verdict]:
    """Checks up to the one that sees are geometric; the law in whole seconds, as printed."""
    for m, interval, grace, overlooks, given, late, cycle, daily, empty in OVERLOOKED:
        case = f"{case_of(m, interval, grace)}, {overlooks:.0%} overlooked"
        law = Inspected(first_empty(m, interval), overlooks)
        unseen = law.mean(law.delays) + 0.5
        yield digits(f"{case}: P(miss | empty)", law.missed(grace), given, 6e-7)
        yield digits(f"{case}: s undetected", unseen, late, 6e-4)
        yield digits(f"{case}: s from filling to filling", law.cycle[0], cycle, 6e-4)
        # Whole seconds move the seventh digit.
        a_day = DAY * law.missed(grace) / law.cycle[0]
        yield digits(f"{case}: misses a day", a_day, daily, 1e-6)
        yield digits(f"{case}: share of time empty", unseen / law.cycle[0], empty, 6e-7)


@check(BOOKS)
def eyes_that_overlook(lab: Lab) -> Iterator[Verdict]:
    """A call overlooked, or a level misread.

    Of a level at 0 half the misreadings are clamped and right, so its chance is doubled.
    """
    cases = [row[:4] for row in OVERLOOKED] + MORE_OVERLOOKED
    for by, (m, interval, grace, overlooks) in product(("a call", "level 0"), cases):
        if by == "a call":
            eyes, step = f"calling: {{overlooks: {overlooks}}}", "{when: {calling: yes}, do: feed}"
        else:
            eyes, step = f"hunger: {{misreads: {2 * overlooks}}}", "{when: {hunger: 0}, do: feed}"
        caretaker = regime(every(interval), f"eyes: {{{eyes}}}", routine=[step])
        counted, n = watched(lab, hungry(m, grace), caretaker, interval, LONG_LIVES)
        case = f"{case_of(m, interval, grace)}, {by} overlooked by {overlooks:.0%}"
        law = Inspected(first_empty(m, interval), overlooks)
        filled = counted["done.feed"] - counted["wasted.feed"]
        yield from figures_of_fillings(case, law, grace, counted, n, filled)


@check("closed form; the geometric distribution")
def checks_from_empty_to_seen(lab: Lab) -> Iterator[Verdict]:
    """The checks up to the one that sees an empty need: 1 / (1 - overlooks) on average."""
    for m, interval, grace, overlooks in [row[:4] for row in OVERLOOKED] + MORE_OVERLOOKED:
        caretaker, seconds = _overlooking(interval, overlooks), 3_000 * interval + 1
        met = np.concatenate(
            [
                _checks_met(lab.events(hungry(m, grace), caretaker, seconds=seconds, life=life))
                for life in range(lab.number(2))
            ]
        )
        case = f"{case_of(m, interval, grace)}, {overlooks:.0%} overlooked"
        yield share(f"{case}: P(seen at first)", (met == 1).sum(), len(met), 1 - overlooks)
        of_mean = math.sqrt(overlooks / len(met)) / (1 - overlooks)
        yield mean(f"{case}: checks to be seen", met.mean(), 1 / (1 - overlooks), of_mean)


def _checks_met(events: pd.DataFrame) -> NDArray[np.int64]:
    """The number of checks from each emptying to its filling, including the one that fills."""
    checks, filled = times(events, "check"), times(events, "done", "feed")
    emptied = times(events, "drop", "hunger")[: len(filled)]
    return np.searchsorted(checks, filled, "right") - np.searchsorted(checks, emptied)


AGAIN = [
    # mean, interval, grace, overlooks, again after: misses per emptying
    (3600, 900, 1200, 0.25, 1000, 0.247775),
    (3600, 5400, 1200, 0.0, 1000, 2.667430),
    (2000, 3000, 700, 0.3, 450, None),
]


@check(BOOKS)
def misses_again_and_again(lab: Lab) -> Iterator[Verdict]:
    """A miss when the grace is over, and another after each `again after`."""
    for m, interval, grace, overlooks, again, printed in AGAIN:
        case = f"{case_of(m, interval, grace)}, {overlooks:.0%} overlooked, again after {again} s"
        law = Inspected(first_empty(m, interval), overlooks)
        misses = law.misses(grace, again)
        if printed is not None:
            yield digits(f"{case}: exact misses an emptying", law.mean(misses), printed, 6e-7)
        model = hungry(m, grace, f"again after: {{hunger: {again} s}}")
        counted, n = watched(lab, model, _overlooking(interval, overlooks), interval, LONG_LIVES)
        filled, missed = counted["done.feed"], counted["misses.hunger"]
        sd = law.sd(misses) / math.sqrt(filled)
        yield mean(f"{case}: misses an emptying", missed / filled, law.mean(misses), sd)
        (rate, spread), seconds = law.rate(misses), n * interval
        of_day = DAY * spread / math.sqrt(seconds)
        yield mean(f"{case}: misses a day", DAY * missed / seconds, DAY * rate, of_day)


def _overlooking(interval: int, overlooks: float) -> str:
    """A regime that feeds when the pet calls, and overlooks the call with some chance."""
    return regime(
        every(interval),
        f"eyes: {{calling: {{overlooks: {overlooks}}}}}",
        routine=["{when: {calling: yes}, do: feed}"],
    )
