"""Fixed drops and fixed checks, which leave no chance at all: elementary number theory."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from petsim.theory.lab import Lab, times, totals
from petsim.theory.verdicts import Verdict, check, exact
from petsim.theory.worlds import dropping, every, regime

EXACT = [
    # drops every, checks every, grace: misses among the first drops
    (2400, 1700, 700, 17, 10),
    (3700, 2700, 1000, 27, 17),
    (5000, 1800, 600, 9, 6),
    (1001, 1000, 1, 1000, 999),
    (97, 60, 60, 60, 0),
]


@check("elementary number theory: delays run through the multiples of the gcd below the interval")
def fixed_drops_and_fixed_checks(lab: Lab) -> Iterator[Verdict]:
    """Each possible delay comes once in a round of drops; one as long as the grace is a miss."""
    for wait, interval, grace, drops, misses in EXACT:
        case = f"{drops} drops {wait} s apart, checks every {interval} s, {grace} s allowed"
        step = math.gcd(wait, interval)
        late = sum(delay >= grace for delay in range(0, interval, step))
        yield exact(f"{case}: delays too long", late, misses)
        model = dropping(wait, grace)
        for times_over in (1, 7):
            seconds = times_over * drops * wait + 1
            lived = lab.batch(model, regime(every(interval)), lives=1, seconds=seconds)
            counted, rounds = totals(lived), len(lived) * times_over
            for figure, column, expected in (
                ("misses", "misses.hunger", misses),
                ("feeds", "done.feed", drops),
                ("s empty", "level_s.hunger.0", sum(range(0, interval, step))),
            ):
                what = f"{case}: {figure}, {times_over} times over"
                yield exact(what, counted[column], rounds * expected)


@check("elementary number theory, second by second")
def each_fixed_drop_that_waits_too_long(lab: Lab) -> Iterator[Verdict]:
    """It is missed in the very second that its grace is over, and no other drop is."""
    for wait, interval, grace, drops, _ in EXACT:
        case = f"{drops} drops {wait} s apart, checks every {interval} s, {grace} s allowed"
        events = lab.events(
            dropping(wait, grace), regime(every(interval)), seconds=drops * wait + 1
        )
        empties = np.arange(1, drops + 1) * wait
        late = empties[-empties % interval >= grace]
        for kinds, kind, due in (("drops", "drop", empties), ("misses", "miss", late + grace)):
            happened = times(events, kind, "hunger")
            in_time = np.intersect1d(happened, due)
            yield exact(f"{case}: {kinds} when they must", len(in_time), len(due))
            yield exact(f"{case}: {kinds} in all", len(happened), len(due))


@check("elementary number theory: the first drop after each check")
def fixed_drops_between_rare_checks(lab: Lab) -> Iterator[Verdict]:
    """Checks rarer than drops: each sees a need empty since the first drop after the last check."""
    for wait, interval, grace in [(700, 2500, 2100), (60, 97, 50), (900, 1000, 1)]:
        step = math.gcd(wait, interval)
        delays = interval - np.arange(step, wait + 1, step)
        case = f"drops {wait} s apart, checks every {interval} s, {grace} s allowed"
        model, caretaker = dropping(wait, grace), regime(every(interval))
        lived = lab.batch(model, caretaker, lives=1, seconds=len(delays) * interval + 1)
        counted, lives = totals(lived), len(lived)
        late = lives * int((delays >= grace).sum())
        yield exact(f"{case}: misses", counted["misses.hunger"], late)
        yield exact(f"{case}: feeds", counted["done.feed"], lives * len(delays))
        yield exact(f"{case}: s empty", counted["level_s.hunger.0"], lives * int(delays.sum()))
