"""Checks by people, who have times of their own, come late and forget."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from itertools import pairwise

import numpy as np
from scipy import stats

from petsim.spec.quantities import DAY, WEEK
from petsim.theory.closed_forms import Inspected, first_empty
from petsim.theory.inspection import BOOKS, LONG_LIVES, case_of, figures_of_fillings, watched
from petsim.theory.lab import Lab, times, totals
from petsim.theory.verdicts import Verdict, check, exact, mean, share
from petsim.theory.worlds import dropping, hungry, pet, regime

# Forgetting

THINNED = (
    "thinning, and the geometric distribution; Ross, Introduction to Probability Models, sect. 5.3 "
    "(from memory)"
)
FORGOTTEN = [
    # mean, interval, grace, forgets
    (3600, 900, 1200, 0.1),
    (2500, 1100, 700, 0.4),
]


@check(f"{THINNED}; {BOOKS}")
def needs_under_checks_that_are_forgotten(lab: Lab) -> Iterator[Verdict]:
    """A need is found by the first check that is not forgotten, their number being geometric."""
    for m, interval, grace, forgets in FORGOTTEN:
        caretaker = regime(_forgetting(interval, forgets))
        counted, n = watched(lab, hungry(m, grace), caretaker, interval, LONG_LIVES)
        case = f"{case_of(m, interval, grace)}, {forgets:.0%} forgotten"
        law = Inspected(first_empty(m, interval), forgets)
        yield from figures_of_fillings(case, law, grace, counted, n, counted["done.feed"])
        yield exact(f"{case}: feeds wasted", counted["wasted.feed"], 0)


@check(THINNED)
def gaps_between_checks_that_are_kept(lab: Lab) -> Iterator[Verdict]:
    """The intervals from one check that is kept to the next: 1 / (1 - p) on average."""
    interval = 60
    for forgets in (0.1, 0.5, 0.9):
        case = f"{forgets:.0%} forgotten"
        gaps, lost, due = [], 0, 0
        for life in range(lab.number(4)):
            caretaker = regime(_forgetting(interval, forgets), routine=())
            events = lab.events(pet(), caretaker, seconds=5_000 * interval, life=life)
            kept, forgotten = times(events, "check"), times(events, "check forgotten")
            gaps.append(np.diff(kept) // interval)
            lost, due = lost + len(forgotten), due + len(kept) + len(forgotten)
        of_each = np.concatenate(gaps)
        yield exact(f"{case}: checks", due, lab.number(4) * 5_000)
        yield share(f"{case}: P(forgotten)", lost, due, forgets)
        n, kept_of = len(of_each), 1 - forgets
        yield share(f"{case}: P(the next is kept)", (of_each == 1).sum(), n, kept_of)
        yield share(f"{case}: P(three in a row lost)", (of_each > 3).sum(), n, forgets**3)
        of_mean = math.sqrt(forgets / n) / kept_of
        yield mean(f"{case}: intervals", of_each.mean(), 1 / kept_of, of_mean)


@check("closed form; the binomial distribution")
def hours_in_which_more_is_forgotten(lab: Lab) -> Iterator[Verdict]:
    """The chance is that of the first window that holds and names one, else the usual."""
    checks = (
        "checks:\n  every: 600 s\n  first: 0 s\n  forgets: 20%\n  windows:\n"
        "    - {during: 12:00 to 18:00, every: 300 s}\n"
        "    - {during: 17:00 to 22:00, forgets: 70%}\n"
        "    - {during: 21:00 to 23:00, forgets: 0%}"
    )
    chances = np.array([0.2] * 17 + [0.7] * 5 + [0.0] + [0.2])
    number = np.array([6] * 12 + [12] * 6 + [6] * 6)
    forgotten, days = np.zeros(24), 200
    lives = lab.number(5)
    for life in range(lives):
        events = lab.events(pet(), regime(checks, routine=()), seconds=days * DAY, life=life)
        hours = (times(events, "check forgotten") + 9 * 3600) // 3600 % 24
        forgotten += np.bincount(hours, minlength=24)
    for since, to in ((0, 12), (12, 17), (17, 18), (18, 22), (22, 23), (23, 24)):
        n = lives * days * int(number[since:to].sum())
        what = f"from {since}:00 to {to}:00: P(forgotten)"
        yield share(what, float(forgotten[since:to].sum()), n, float(chances[since]))


def _forgetting(interval: int, forgets: float) -> str:
    return f"checks: {{every: {interval} s, first: 0 s, forgets: {forgets}}}"


# Clock times

CLOCK_TIMES: list[list[tuple[str, Iterable[int], int]]] = [
    # as a file has them; on which days of the week, and at which second of day
    [
        ("07:15", range(7), 26_100),
        ("12:30 on weekdays", range(5), 45_000),
        ("19:00", range(7), 68_400),
    ],
    [("07:15 on Mon Wed-Fri", (0, 2, 3, 4), 26_100), ("00:00:30 on Sunday", (6,), 30)],
]


@check("closed form; gaps between clock times, worked out from the calendar")
def needs_under_checks_at_clock_times(lab: Lab) -> Iterator[Verdict]:
    """Each gap of x seconds is missed with chance 1 - exp(-(x - grace) / m), all by themselves."""
    m, grace, weeks = 40_000, 9_000, 20
    model = pet(
        f"drops: {{hunger: exponential {m} s}}",
        f"grace: {{hunger: {grace} s}}",
        more=["begins: Monday 07:15"],
    )
    for entries in CLOCK_TIMES:
        case = ", ".join(text for text, _, _ in entries)
        start = 26_100
        due = sorted((day * DAY + t - start) % WEEK for _, days, t in entries for day in days)
        caretaker = regime(f"checks: {{at: [{case}]}}")
        events = lab.events(model, caretaker, seconds=WEEK + 1)
        at = times(events, "check")
        yield exact(f"{case}: checks in a week and a second", len(at), len(due) + 1)
        right = int((at == np.array([*due, WEEK])).sum()) if len(at) == len(due) + 1 else 0
        yield exact(f"{case}: checks at their seconds", right, len(due) + 1)
        lived = lab.batch(model, caretaker, lives=50, seconds=weeks * WEEK + 1)
        gaps = np.array([b - a for a, b in pairwise([*due, WEEK])])
        chances = -np.expm1(-np.maximum(gaps - grace, 0) / m)
        n, missed = len(lived) * weeks, totals(lived)["misses.hunger"]
        of_mean = math.sqrt(float((chances * (1 - chances)).sum()) / n)
        yield mean(f"{case}: misses a week", missed / n, float(chances.sum()), of_mean)


# Lateness

LATE = [
    # interval, law as a file has it, and as scipy has it
    (1_800, "exponential 600 s", stats.expon(scale=600)),
    (1_800, "lognormal median 900 s sigma 1", stats.lognorm(1, scale=900)),
    (600, "uniform 0 s to 1000 s", stats.uniform(0, 1_000)),
    (300, "weibull shape 0.5 scale 100 s", stats.weibull_min(0.5, scale=100)),
]
LAW = "closed form; laws of scipy.stats"


@check(LAW)
def checks_given_up_for_the_next(lab: Lab) -> Iterator[Verdict]:
    """A check is given up if it is later than the interval: 1 - F(E + 1/2), in whole seconds."""
    checks = 2_000
    for interval, text, law in LATE:
        case = f"checks every {interval} s, late by {text}"
        caretaker = regime(_late(interval, text), routine=())
        lived = lab.batch(pet(), caretaker, lives=20, seconds=checks * interval + 1)
        n, given_up = len(lived) * checks, totals(lived)["checks_skipped"]
        yield share(f"{case}: P(given up)", given_up, n, float(law.sf(interval + 0.5)))
        events = lab.events(pet(), caretaker, seconds=checks * interval)
        came = times(events, "check") % interval
        # One that is as late as the interval comes as the next is due, and looks as if in time.
        as_if = law.cdf(interval + 0.5) - law.cdf(interval - 0.5)
        for late in (interval // 20, interval // 5, interval // 2):
            within, chance = int((came <= late).sum()), float(law.cdf(late + 0.5) + as_if)
            yield share(f"{case}: P(at most {late} s late)", within, checks, chance)


@check(LAW)
def misses_under_checks_that_come_late(lab: Lab) -> Iterator[Verdict]:
    """A need that empties after a check was due is seen by that check, if late enough, or the next.

    Both are late by themselves, so it is missed with the product of the chances of not being seen.
    """
    for interval, text, law in LATE:
        for after, grace in ((interval // 3, interval // 2), (interval // 2, interval)):
            empties = 10 * interval + after
            case = f"checks every {interval} s, late by {text}, {after} s after, {grace} s allowed"
            model = dropping(empties, grace)
            caretaker = regime(_late(interval, text, first=10 * interval))
            seconds = empties + grace + 1
            lived = lab.batch(model, caretaker, lives=1_000, seconds=seconds)
            # In whole seconds a lateness is at most n with chance F(n + 1/2); at the interval, the
            # check still comes.
            last = min(after + grace - 1, interval)
            caught = law.cdf(last + 0.5) - law.cdf(after - 0.5)
            by_next = law.cdf(after + grace - 1 - interval + 0.5) if after + grace > interval else 0
            missed = float((1 - caught) * (1 - by_next))
            yield share(f"{case}: P(miss)", totals(lived)["misses.hunger"], len(lived), missed)


def _late(interval: int, law: str, first: int = 0) -> str:
    return f"checks: {{every: {interval} s, first: {first} s, late: {law}}}"
