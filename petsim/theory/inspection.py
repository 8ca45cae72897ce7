"""Needs that empty at random and are filled by checks at regular times: the theory of inspection.

`overlooking`, `jitter` and `best_intervals` go on from here. The printed digits were computed apart
from this project, from the closed forms of the sources.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from scipy import stats

from petsim.spec.quantities import DAY
from petsim.theory.closed_forms import Inspected, first_empty, first_ill
from petsim.theory.lab import Lab, totals
from petsim.theory.verdicts import Verdict, check, digits, exact, mean, share
from petsim.theory.worlds import FEED_WHEN_EMPTY, every, hungry, pet, regime

BOOKS = (
    "closed form; Barlow & Proschan (1965), Mathematical Theory of Reliability, ch. 4; "
    "Cox (1962), Renewal Theory; Ross, Stochastic Processes, ch. 3 (books from memory)"
)
FILLED_AT_THE_END = (50, 1_000)
"""Lives and intervals, where the check that ends a life leaves the need full."""
LONG_LIVES = (5, 10_000)
"""Where it may not, and lives are to have next to no ends."""


def watched(
    lab: Lab, model: str, caretaker: str, interval: int, span: tuple[int, int] = FILLED_AT_THE_END
) -> tuple[dict[str, int], int]:
    """Live lives that end with the check after a whole number of intervals.

    Args:
        span: lives, and intervals of each.

    Returns:
        What is counted in all lives, by column; and the number of intervals in all.
    """
    lives, intervals = span
    lived = lab.batch(model, caretaker, lives=lives, seconds=intervals * interval + 1)
    return totals(lived), len(lived) * intervals


def case_of(m: float, interval: int, grace: int) -> str:
    """The words for a need, its checks and its grace."""
    return f"drops every {m} s, checks every {interval} s, {grace} s allowed"


# One level

ONE_LEVEL = [
    # mean, interval, grace: P(miss), the same of a wait that begins at the check,
    # P(miss | empty), misses a day, undetected s, share empty
    (2400, 600, 420, 0.072257, 0.072450, 0.326658, 10.4049, 312.49, 0.115203),
    (3700, 2700, 900, 0.385217, 0.385300, 0.743719, 12.3270, 1512.75, 0.290202),
    (5400, 1800, 1100, 0.121579, 0.121661, 0.428898, 5.8358, 949.91, 0.149594),
    (9876, 777, 345, 0.042800, 0.042848, 0.565680, 4.7592, 393.59, 0.038326),
]
# The last two are so fast that the rounding of a wait to whole seconds shows.
MORE_ONE_LEVEL = [(1500, 2100, 800), (700, 350, 349), (20, 60, 25), (9, 14, 4)]


@check(BOOKS)
def exact_law_of_one_level(lab: Lab) -> Iterator[Verdict]:
    """The law in whole seconds, from which the checks below take what they expect, as printed."""
    for m, interval, grace, miss, _, given, daily, late, empty in ONE_LEVEL:
        case, law = case_of(m, interval, grace), Inspected(first_empty(m, interval))
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
        case, law = case_of(m, interval, grace), Inspected(first_empty(m, interval))
        counted, n = watched(lab, hungry(m, grace), regime(every(interval)), interval)
        missed, filled = counted["misses.hunger"], counted["done.feed"]
        yield share(f"{case}: P(miss)", missed, n, law.p_empty * law.missed(grace))
        yield share(f"{case}: P(empty)", filled, n, law.p_empty)
        yield from figures_of_fillings(case, law, grace, counted, n, filled)
        yield exact(f"{case}: feeds wasted", counted["wasted.feed"], 0)


def figures_of_fillings(
    case: str, law: Inspected, grace: int, counted: dict[str, int], n: int, filled: int
) -> Iterator[Verdict]:
    """Compare what came of a need, which was `filled` that often in n intervals, with its law."""
    missed, empty, seconds = counted["misses.hunger"], counted["level_s.hunger.0"], n * law.interval
    yield share(f"{case}: P(miss | empty)", missed, filled, law.missed(grace))
    late, spread = law.mean(law.delays), law.sd(law.delays)
    yield mean(f"{case}: s undetected", empty / filled, late, spread / math.sqrt(filled))
    checks, spread = np.array(law.cycle) / law.interval
    yield mean(f"{case}: checks to a filling", n / filled, checks, spread / math.sqrt(filled))
    part, spread = law.rate(law.delays)
    yield mean(f"{case}: share of time empty", empty / seconds, part, spread / math.sqrt(seconds))
    rate, spread = np.array(law.rate(law.misses(grace))) * DAY
    daily = missed / seconds * DAY
    yield mean(f"{case}: misses a day", daily, rate, spread / math.sqrt(seconds))


@check(BOOKS)
def wait_that_begins_at_the_check(lab: Lab) -> Iterator[Verdict]:
    """The first interval of a life, whose rounded wait leaves drops half a second more."""
    for m, interval, grace, _, printed, *_ in ONE_LEVEL:
        what = f"{case_of(m, interval, grace)}: P(miss at first)"
        yield digits(what, _missed_at_first(m, interval, grace), printed, 6e-7)
    # So fast that the half second shows.
    for m, interval, grace in [(9, 14, 4), (2, 2, 1)]:
        model, caretaker = hungry(m, grace), regime(every(interval))
        lived = lab.batch(model, caretaker, lives=5_000, seconds=interval + 1)
        missed, chance = totals(lived)["misses.hunger"], _missed_at_first(m, interval, grace)
        yield share(f"{case_of(m, interval, grace)}: P(miss at first)", missed, len(lived), chance)


def _missed_at_first(m: float, interval: int, grace: int) -> float:
    return -math.expm1(-(interval - grace + 0.5) / m)


@check(BOOKS)
def waste_looked_after_like_a_need(lab: Lab) -> Iterator[Verdict]:
    """A pile of at most one follows the law of a need."""
    for m, interval, grace in [(5400, 1800, 1100), (2000, 2500, 600)]:
        model = pet(
            f"waste: {{every: exponential {m} s, pile max: 1, grace: {grace} s}}",
            care=["clean: {cleans: yes}"],
        )
        caretaker = regime(every(interval), routine=["{when: {waste: at least 1}, do: clean}"])
        counted, n = watched(lab, model, caretaker, interval)
        case, law = f"waste {case_of(m, interval, grace)}", Inspected(first_empty(m, interval))
        yield share(f"{case}: P(miss)", counted["misses.waste"], n, law.p_empty * law.missed(grace))
        yield share(f"{case}: P(any waste)", counted["done.clean"], n, law.p_empty)


@check(BOOKS)
def illness_of_constant_rate(lab: Lab) -> Iterator[Verdict]:
    """The threshold does not round: ill by second n with chance 1 - exp(-n / m) exactly."""
    for m, interval, grace in [(3600, 2700, 900), (20, 60, 25)]:
        model = pet(
            f"illness: {{base: {DAY / m} per day, grace: {grace} s}}",
            care=["dose: {doses: yes}"],
        )
        caretaker = regime(every(interval), routine=["{when: {ill: yes}, do: dose}"])
        counted, n = watched(lab, model, caretaker, interval)
        case = f"ill every {m} s, checks every {interval} s, {grace} s allowed"
        law, cured = Inspected(first_ill(m, interval)), counted["done.dose"]
        missed = law.p_empty * law.missed(grace)
        yield share(f"{case}: P(miss)", counted["misses.illness"], n, missed)
        yield share(f"{case}: P(ill)", cured, n, law.p_empty)
        of_mean = law.sd(law.delays) / math.sqrt(cured)
        yield mean(f"{case}: s ill", counted["ill_s"] / cured, law.mean(law.delays), of_mean)


@check(BOOKS)
def nights_that_stand_still(lab: Lab) -> Iterator[Verdict]:
    """Drops and deadlines run on awake time alone: nights only change the number of intervals."""
    # Awake 07:00 to 21:00, 28 intervals a day. The check of 21:00 is not made, so that interval's
    # need is filled at 07:00, no awake time later.
    m, interval, grace, days = 3700, 1800, 700, 40
    model = pet(
        f"drops: {{hunger: exponential {m} s}}",
        f"grace: {{hunger: {grace} s}}",
        "sleeps: [21:00 to 07:00]",
        care=["feed: {raises: {hunger: 1}, refused when: [asleep]}"],
        more=["begins: Monday 07:00"],
    )
    nights_off = (
        "checks:\n  every: 30 min\n  first: 0 s\n"
        "  windows: [{during: 21:00 to 07:00, every: never}]"
    )
    lived = lab.batch(model, regime(nights_off), lives=50, seconds=days * DAY + 1)
    n, counted = len(lived) * days * 28, totals(lived)
    law = Inspected(first_empty(m, interval))
    case = f"{case_of(m, interval, grace)}, asleep ten hours a day"
    asleep = counted["asleep_s"] / len(lived)
    yield exact(f"{case}: s asleep a life", asleep, days * 10 * 3600)
    yield share(f"{case}: P(empty)", counted["done.feed"], n, law.p_empty)
    yield share(f"{case}: P(miss)", counted["misses.hunger"], n, law.p_empty * law.missed(grace))


# Several levels

SEVERAL_LEVELS: list[tuple[int, int, int, int, tuple[float, ...]]] = [
    # mean, interval, grace, full: P(miss), P(empty), misses a day, mean s empty
    (2400, 7200, 900, 4, (0.269448, 0.352768, 3.233375, 766.458)),
    (3100, 9000, 1500, 3, (0.435340, 0.554783, 4.179262, 1913.833)),
    (900, 6000, 2000, 5, ()),
]


@check(f"time to the n-th drop by scipy.stats.gamma; {BOOKS}")
def several_levels(lab: Lab) -> Iterator[Verdict]:
    """A need of several levels, filled at every check."""
    for m, interval, grace, full, printed in SEVERAL_LEVELS:
        case = f"{full} levels, {case_of(m, interval, grace)}"
        law = Inspected(first_empty(m, interval, full))
        p_miss = float(stats.gamma.cdf(interval - grace, full, scale=m))
        q, late, spread = law.p_empty, law.mean(law.delays), law.sd(law.delays)
        if printed:
            miss, empty, daily, seconds = printed
            yield digits(f"{case}: exact P(miss)", p_miss, miss, 6e-7)
            yield digits(f"{case}: exact P(empty)", q, empty, 6e-7)
            a_day = DAY / interval
            yield digits(f"{case}: exact misses a day", a_day * p_miss, daily, 6e-7 * a_day)
            yield digits(f"{case}: exact s empty an interval", q * (late + 0.5), seconds, 6e-3)
        model = hungry(m, grace, full=full, actions=("feed", "top up"))
        steps = [FEED_WHEN_EMPTY, f"{{when: {{hunger: below {full}}}, do: top up}}"]
        counted, n = watched(lab, model, regime(every(interval), routine=steps), interval)
        yield share(f"{case}: P(miss)", counted["misses.hunger"], n, p_miss)
        sd = math.sqrt(q * spread**2 + q * (1 - q) * late**2) / math.sqrt(n)
        yield mean(f"{case}: s empty an interval", counted["level_s.hunger.0"] / n, q * late, sd)
        yield share(f"{case}: P(empty)", counted["done.feed"], n, q)
        filled = counted["done.feed"] + counted["done.top up"]
        yield share(f"{case}: P(any drop)", filled, n, -math.expm1(-interval / m))
