"""Checks at regular times against needs that fall at random: the theory of inspection.

The printed digits were computed apart from this project, from the closed forms of the sources.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import product

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import integrate, special, stats

from petsim.life.streams import uniform
from petsim.spec.quantities import DAY
from petsim.theory.closed_forms import Inspected, Law, first_empty, first_ill
from petsim.theory.lab import SEED, Lab, times, totals
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
    """What lives of whole intervals add up to, each ended by its check; and how many intervals."""
    lives, intervals = span
    lived = lab.batch(model, caretaker, lives=lives, seconds=intervals * interval + 1)
    return totals(lived), len(lived) * intervals


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
        filled = lived["done.feed"]
        yield share(f"{case}: P(miss)", lived["misses.hunger"], n, law.p_empty * law.missed(grace))
        yield share(f"{case}: P(empty)", filled, n, law.p_empty)
        yield from _seen(case, law, grace, lived, n, filled)
        yield exact(f"{case}: feeds wasted", lived["wasted.feed"], 0)


def _seen(
    case: str, law: Inspected, grace: int, lived: dict[str, int], n: int, seen: int
) -> Iterator[Verdict]:
    """What n intervals come to of a need that was seen to be empty, and filled, so many times."""
    missed, empty, seconds = lived["misses.hunger"], lived["level_s.hunger.0"], n * law.interval
    yield share(f"{case}: P(miss | empty)", missed, seen, law.missed(grace))
    late, of_late = law.mean(law.delays), law.sd(law.delays) / math.sqrt(seen)
    yield mean(f"{case}: s undetected", empty / seen, late, of_late)
    checks, spread = np.array(law.cycle) / law.interval
    yield mean(f"{case}: checks to a filling", n / seen, checks, spread / math.sqrt(seen))
    part, of_part = law.rate(law.delays)
    yield mean(f"{case}: share of time empty", empty / seconds, part, of_part / math.sqrt(seconds))
    rate, of_rate = np.array(law.rate(law.misses(grace))) * DAY
    daily = missed / seconds * DAY
    yield mean(f"{case}: misses a day", daily, rate, of_rate / math.sqrt(seconds))


@check(BOOKS)
def wait_that_begins_at_the_check(lab: Lab) -> Iterator[Verdict]:
    """The first interval of a life, whose rounded wait leaves drops half a second more."""
    for m, interval, grace, _, printed, *_ in ONE_LEVEL:
        what = f"{_case(m, interval, grace)}: P(miss at first)"
        yield digits(what, _missed_at_first(m, interval, grace), printed, 6e-7)
    # So fast that the half second shows.
    for m, interval, grace in [(9, 14, 4), (2, 2, 1)]:
        model, caretaker = hungry(m, grace), regime(every(interval))
        lived = lab.batch(model, caretaker, lives=5_000, seconds=interval + 1)
        missed, chance = totals(lived)["misses.hunger"], _missed_at_first(m, interval, grace)
        yield share(f"{_case(m, interval, grace)}: P(miss at first)", missed, len(lived), chance)


def _missed_at_first(m: float, interval: int, grace: int) -> float:
    return -math.expm1(-(interval - grace + 0.5) / m)


def _case(m: float, interval: int, grace: int) -> str:
    return f"drops every {m} s, checks every {interval} s, {grace} s allowed"


@check(BOOKS)
def waste_looked_after_like_a_need(lab: Lab) -> Iterator[Verdict]:
    """A pile of at most one follows the law of a need."""
    for m, interval, grace in [(5400, 1800, 1100), (2000, 2500, 600)]:
        model = pet(
            f"waste: {{every: exponential {m} s, pile max: 1, grace: {grace} s}}",
            care=["clean: {cleans: yes}"],
        )
        caretaker = regime(every(interval), routine=["{when: {waste: at least 1}, do: clean}"])
        lived, n = watched(lab, model, caretaker, interval)
        case, law = f"waste {_case(m, interval, grace)}", Inspected(first_empty(m, interval))
        yield share(f"{case}: P(miss)", lived["misses.waste"], n, law.p_empty * law.missed(grace))
        yield share(f"{case}: P(any waste)", lived["done.clean"], n, law.p_empty)


@check(BOOKS)
def illness_of_constant_rate(lab: Lab) -> Iterator[Verdict]:
    """The threshold does not round: ill by second n with chance 1 - exp(-n / m) exactly."""
    for m, interval, grace in [(3600, 2700, 900), (20, 60, 25)]:
        model = pet(
            f"illness: {{base: {DAY / m} per day, grace: {grace} s}}",
            care=["dose: {doses: yes}"],
        )
        caretaker = regime(every(interval), routine=["{when: {ill: yes}, do: dose}"])
        lived, n = watched(lab, model, caretaker, interval)
        case = f"ill every {m} s, checks every {interval} s, {grace} s allowed"
        law, cured = Inspected(first_ill(m, interval)), lived["done.dose"]
        missed = law.p_empty * law.missed(grace)
        yield share(f"{case}: P(miss)", lived["misses.illness"], n, missed)
        yield share(f"{case}: P(ill)", cured, n, law.p_empty)
        spread = law.sd(law.delays) / math.sqrt(cured)
        yield mean(f"{case}: s ill", lived["ill_s"] / cured, law.mean(law.delays), spread)


@check(BOOKS)
def nights_that_stand_still(lab: Lab) -> Iterator[Verdict]:
    """Drops and deadlines run on awake time alone: nights change but the number of intervals."""
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
    n, found = len(lived) * days * 28, totals(lived)
    law = Inspected(first_empty(m, interval))
    case = f"{_case(m, interval, grace)}, asleep ten hours a day"
    asleep = found["asleep_s"] / len(lived)
    yield exact(f"{case}: s asleep a life", asleep, days * 10 * 3600)
    yield share(f"{case}: P(empty)", found["done.feed"], n, law.p_empty)
    yield share(f"{case}: P(miss)", found["misses.hunger"], n, law.p_empty * law.missed(grace))


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
        case = f"{full} levels, {_case(m, interval, grace)}"
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
        model = pet(
            f"drops: {{hunger: exponential {m} s}}",
            f"grace: {{hunger: {grace} s}}",
            needs=[f"hunger: {{full: {full}}}"],
            care=[f"{action}: {{raises: {{hunger: {full}}}}}" for action in ("feed", "top up")],
        )
        steps = [FEED_WHEN_EMPTY, f"{{when: {{hunger: below {full}}}, do: top up}}"]
        lived, n = watched(lab, model, regime(every(interval), routine=steps), interval)
        yield share(f"{case}: P(miss)", lived["misses.hunger"], n, p_miss)
        sd = math.sqrt(q * spread**2 + q * (1 - q) * late**2) / math.sqrt(n)
        yield mean(f"{case}: s empty an interval", lived["level_s.hunger.0"] / n, q * late, sd)
        yield share(f"{case}: P(empty)", lived["done.feed"], n, q)
        filled = lived["done.feed"] + lived["done.top up"]
        yield share(f"{case}: P(any drop)", filled, n, -math.expm1(-interval / m))


# Fixed drops, fixed checks: no chance at all

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
    """Each delay comes once in so many drops. One that is as long as the grace is a miss."""
    for wait, interval, grace, drops, misses in EXACT:
        case = f"{drops} drops {wait} s apart, checks every {interval} s, {grace} s allowed"
        step = math.gcd(wait, interval)
        late = sum(delay >= grace for delay in range(0, interval, step))
        yield exact(f"{case}: delays too long", late, misses)
        model = _dropping(wait, grace)
        for times_over in (1, 7):
            seconds = times_over * drops * wait + 1
            lived = lab.batch(model, regime(every(interval)), lives=1, seconds=seconds)
            counted, of_all = totals(lived), len(lived) * times_over
            said = f"{case}: {{}}, {times_over} times over"
            yield exact(said.format("misses"), counted["misses.hunger"], of_all * misses)
            yield exact(said.format("feeds"), counted["done.feed"], of_all * drops)
            empty = of_all * sum(range(0, interval, step))
            yield exact(said.format("s empty"), counted["level_s.hunger.0"], empty)


@check("elementary number theory, second by second")
def each_fixed_drop_that_waits_too_long(lab: Lab) -> Iterator[Verdict]:
    """It is missed in the very second that its grace is over, and no other drop is."""
    for wait, interval, grace, drops, _ in EXACT:
        case = f"{drops} drops {wait} s apart, checks every {interval} s, {grace} s allowed"
        events = lab.events(
            _dropping(wait, grace), regime(every(interval)), seconds=drops * wait + 1
        )
        empties = np.arange(1, drops + 1) * wait
        late = empties[-empties % interval >= grace]
        for kinds, kind, due in (("drops", "drop", empties), ("misses", "miss", late + grace)):
            found = times(events, kind, "hunger")
            yield exact(
                f"{case}: {kinds} when they must", len(np.intersect1d(found, due)), len(due)
            )
            yield exact(f"{case}: {kinds} in all", len(found), len(due))


@check("elementary number theory: the first drop after each check")
def fixed_drops_between_rare_checks(lab: Lab) -> Iterator[Verdict]:
    """Checks that are rarer than drops: each finds the need empty since the first drop after it."""
    for wait, interval, grace in [(700, 2500, 2100), (60, 97, 50), (900, 1000, 1)]:
        step = math.gcd(wait, interval)
        delays = interval - np.arange(step, wait + 1, step)
        case = f"drops {wait} s apart, checks every {interval} s, {grace} s allowed"
        model, caretaker = _dropping(wait, grace), regime(every(interval))
        lived = lab.batch(model, caretaker, lives=1, seconds=len(delays) * interval + 1)
        counted, lives = totals(lived), len(lived)
        late = lives * int((delays >= grace).sum())
        yield exact(f"{case}: misses", counted["misses.hunger"], late)
        yield exact(f"{case}: feeds", counted["done.feed"], lives * len(delays))
        yield exact(f"{case}: s empty", counted["level_s.hunger.0"], lives * int(delays.sum()))


def _dropping(wait: int, grace: int) -> str:
    return pet(f"drops: {{hunger: {wait} s}}", f"grace: {{hunger: {grace} s}}")


# Eyes that overlook, and misses again and again

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
        case = f"{_case(m, interval, grace)}, {overlooks:.0%} overlooked"
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
    """A call overlooked, and a level misread: of one at 0 by half the chance, as it is clamped."""
    cases = [row[:4] for row in OVERLOOKED] + MORE_OVERLOOKED
    for by, (m, interval, grace, overlooks) in product(("a call", "level 0"), cases):
        if by == "a call":
            eyes, step = f"calling: {{overlooks: {overlooks}}}", "{when: {calling: yes}, do: feed}"
        else:
            eyes, step = f"hunger: {{misreads: {2 * overlooks}}}", "{when: {hunger: 0}, do: feed}"
        caretaker = regime(every(interval), f"eyes: {{{eyes}}}", routine=[step])
        lived, n = watched(lab, hungry(m, grace), caretaker, interval, LONG_LIVES)
        case = f"{_case(m, interval, grace)}, {by} overlooked by {overlooks:.0%}"
        law = Inspected(first_empty(m, interval), overlooks)
        filled = lived["done.feed"] - lived["wasted.feed"]
        yield from _seen(case, law, grace, lived, n, filled)


@check("closed form; the geometric distribution")
def checks_from_empty_to_seen(lab: Lab) -> Iterator[Verdict]:
    """How many checks a need that is empty meets until one sees it: 1 / (1 - overlooks)."""
    for m, interval, grace, overlooks in [row[:4] for row in OVERLOOKED] + MORE_OVERLOOKED:
        caretaker, seconds = _overlooking(interval, overlooks), 3_000 * interval + 1
        met = np.concatenate(
            [
                _checks_met(lab.events(hungry(m, grace), caretaker, seconds=seconds, life=life))
                for life in range(lab.number(2))
            ]
        )
        case = f"{_case(m, interval, grace)}, {overlooks:.0%} overlooked"
        yield share(f"{case}: P(seen at first)", (met == 1).sum(), len(met), 1 - overlooks)
        of_mean = math.sqrt(overlooks / len(met)) / (1 - overlooks)
        yield mean(f"{case}: checks to be seen", met.mean(), 1 / (1 - overlooks), of_mean)


def _checks_met(events: pd.DataFrame) -> NDArray[np.int64]:
    """How many checks there were from each emptying to its filling, the last one's included."""
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
    """One when the grace is over, and another every `again after`."""
    for m, interval, grace, overlooks, again, printed in AGAIN:
        case = f"{_case(m, interval, grace)}, {overlooks:.0%} overlooked, again after {again} s"
        law = Inspected(first_empty(m, interval), overlooks)
        misses = law.misses(grace, again)
        if printed is not None:
            yield digits(f"{case}: exact misses an emptying", law.mean(misses), printed, 6e-7)
        model = hungry(m, grace, f"again after: {{hunger: {again} s}}")
        lived, n = watched(lab, model, _overlooking(interval, overlooks), interval, LONG_LIVES)
        filled, missed = lived["done.feed"], lived["misses.hunger"]
        sd = law.sd(misses) / math.sqrt(filled)
        yield mean(f"{case}: misses an emptying", missed / filled, law.mean(misses), sd)
        (rate, spread), seconds = law.rate(misses), n * interval
        of_day = DAY * spread / math.sqrt(seconds)
        yield mean(f"{case}: misses a day", DAY * missed / seconds, DAY * rate, of_day)


def _overlooking(interval: int, overlooks: float) -> str:
    return regime(
        every(interval),
        f"eyes: {{calling: {{overlooks: {overlooks}}}}}",
        routine=["{when: {calling: yes}, do: feed}"],
    )


# When the checks fall


@check("closed form: a drop at random waits for each number of seconds alike")
def random_first_check(lab: Lab) -> Iterator[Verdict]:
    """Delays from 0 to the interval less a second, each alike; and life by life exactly."""
    for interval, grace, chance in [(1800, 700, 0.611111), (2400, 1700, None), (900, 31, None)]:
        wait = 4 * interval + 123
        case = f"checks every {interval} s from a random second on, {grace} s allowed"
        if chance is not None:
            yield digits(f"{case}: exact P(miss)", 1 - grace / interval, chance, 6e-7)
        caretaker = regime(every(interval, first="random"))
        lived = lab.batch(
            _dropping(wait, grace), caretaker, lives=2_500, seconds=wait + interval
        ).values
        waited, missed, n = lived["level_s.hunger.0"], lived["misses.hunger"], len(lived["life"])
        yield share(f"{case}: P(miss)", int(missed.sum()), n, 1 - grace / interval)
        spread = math.sqrt((interval**2 - 1) / 12 / n)
        yield mean(f"{case}: s empty", float(waited.mean()), (interval - 1) / 2, spread)
        firsts = [math.floor(uniform(SEED, "first check", k, 0) * interval) for k in range(n)]
        delays = (np.array(firsts) - wait) % interval
        yield exact(
            f"{case}: lives that wait as long as they must", int((waited == delays).sum()), n
        )
        as_must = int((missed == (delays >= grace)).sum())
        yield exact(f"{case}: lives missed that must be", as_must, n)


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
    """The formulas of the source: its own example, and jitter as printed."""
    # Its example 2.1.4: nine gaps in ten are of no time, the others of 10 minutes.
    tens, chances = np.array([0.0, 10.0]), np.array([0.9, 0.1])
    yield digits("gaps of 0 or 10 min: min between", float(tens @ chances), 1, 1e-12)
    yield digits("gaps of 0 or 10 min: min to wait", mean_wait(tens, chances), 5, 1e-12)

    for interval, either_way, grace, wait, missed in JITTERED:
        case = _jittered(interval, either_way, grace)
        # The printed digits are those of a lateness that need not be whole.
        law = stats.triang(0.5, interval - 2 * either_way, 4 * either_way)
        above, _ = integrate.quad(law.sf, grace, interval + 2 * either_way)
        of_any = interval / 2 + law.var() / (2 * interval)
        yield digits(f"{case}: s to wait", of_any, wait, 6e-4)
        yield digits(f"{case}: P(miss)", above / interval, missed, 6e-7)
        gaps = JitteredGaps(interval, 2 * either_way)
        x = gaps.x.ravel().astype(float)
        of_whole = mean_wait(x, np.full(len(x), 1 / len(x)))
        yield digits(f"{case}, late by whole s: s to wait", of_whole, wait, 2e-4 * wait)
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
            _dropping(wait, grace),
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
        found, n = watched(lab, hungry(m, grace), caretaker, interval, LONG_LIVES)
        chances = -np.expm1(-np.maximum(gaps.x - grace, 0) / m)
        expected, error = gaps.average(chances, chances, n)
        yield mean(f"{case}: P(miss)", found["misses.hunger"] / n, expected, error)
        # Of a gap of x seconds those from second s on are empty with chance exp(-(s - 1) / m) -
        # exp(-s / m) each.
        seconds_empty, squares = _empty_seconds(first_empty(m, int(gaps.x.max())))
        expected, error = gaps.average(seconds_empty[gaps.x], squares[gaps.x], n)
        yield mean(f"{case}: s empty a check", found["level_s.hunger.0"] / n, expected, error)


def _empty_seconds(law: Law) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Mean and mean square of the seconds empty in a gap of x seconds, for x = 0, 1, ..."""
    s = np.arange(len(law))
    zeroth, first, second = np.cumsum(law), np.cumsum(s * law), np.cumsum(s * s * law)
    return s * zeroth - first, s * s * zeroth - 2 * s * first + second


def _late(interval: int, latest: int, first: str = "0 s") -> str:
    return f"checks: {{every: {interval} s, first: {first}, jitter: {latest} s}}"


def _jittered(interval: int, either_way: int, grace: int) -> str:
    return f"checks every {interval} s, {either_way} s either way, {grace} s allowed"


class JitteredGaps:
    """The gaps between checks that come late by 0 to `latest` seconds, all alike.

    Late by 0 to 2j, they leave the gaps of checks that are off by j either way.

    x: the gap by lateness of the check before it (rows) and of the one that ends it (columns).
    """

    def __init__(self, interval: int, latest: int) -> None:
        late = np.arange(latest + 1)
        self.interval = interval
        self.x = interval + late[None, :] - late[:, None]

    def beyond(self, seconds: int) -> float:
        """Chance that an event at random waits for at least so long, of those of whole seconds."""
        return float(np.maximum(self.x - seconds, 0).mean() / self.interval)

    def average(
        self, values: NDArray[np.float64], squares: NDArray[np.float64], n: int
    ) -> tuple[float, float]:
        """The mean over n gaps in a row of something, and its standard error.

        values and squares: its mean and mean square by gap. Gaps that touch share a lateness and
        are not independent; others are.
        """
        of_one = float(values.mean())
        variance = squares.mean() - of_one**2
        shared = (values.mean(axis=0) * values.mean(axis=1)).mean() - of_one**2
        return of_one, math.sqrt((variance + 2 * shared) / n)


# Where to put the checks

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
        case, ratio = _costly(m, cost), cost / m
        best = -m * (1 + ratio + special.lambertw(-math.exp(-1 - ratio), -1).real)
        intervals = np.arange(1, 10 * m)
        costs = (cost + intervals) / -np.expm1(-intervals / m) - m
        yield digits(f"{case}: s of the cheapest interval", intervals[costs.argmin()], best, 1)

        lived_costs = []
        for interval in _around(best):
            law, lived, n = _emptied(lab, m, interval)
            emptied, q = lived["done.feed"], law.p_empty
            paid = (cost * n + lived["level_s.hunger.0"]) / emptied
            lived_costs.append(paid)
            spread = math.hypot(cost * math.sqrt(1 - q) / q, law.sd(law.delays))
            expected, of_mean = cost / q + law.mean(law.delays), spread / math.sqrt(emptied)
            what = f"{case}, checks every {interval} s: cost of an emptying"
            yield mean(what, paid, expected, of_mean)
        yield exact(f"{case}: cheapest of these intervals", int(np.argmin(lived_costs)) + 1, 2)


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
        case = _costly(m, cost)
        best = -m * (1 + special.lambertw((cost / m - 1) / math.e, -1).real)
        intervals = np.arange(1, 10 * m)
        costs = (cost + m * np.expm1(-intervals / m)) / intervals + 1
        yield digits(f"{case}: s of the cheapest interval", intervals[costs.argmin()], best, 1)

        lived_costs = []
        for interval in _around(best):
            law, lived, n = _emptied(lab, m, interval)
            seconds = n * interval
            paid = (cost * n + lived["level_s.hunger.0"]) / seconds
            lived_costs.append(paid)
            part, spread = law.rate(law.delays)
            expected, of_mean = cost / interval + part, spread / math.sqrt(seconds)
            what = f"{case}, checks every {interval} s: cost a second"
            yield mean(what, paid, expected, of_mean)
        yield exact(f"{case}: cheapest of these intervals", int(np.argmin(lived_costs)) + 1, 2)


def _emptied(lab: Lab, m: float, interval: int) -> tuple[Inspected, dict[str, int], int]:
    model = pet(f"drops: {{hunger: exponential {m} s}}")
    lived, n = watched(lab, model, regime(every(interval)), interval)
    return Inspected(first_empty(m, interval)), lived, n


def _around(best: float) -> list[int]:
    """Half the best interval, it and its double.

    They cost so much more that even the fewest lives tell them from it by 5 standard errors.
    """
    return [round(factor * best) for factor in (0.5, 1, 2)]


def _costly(m: float, cost: float) -> str:
    return f"drops every {m} s, a check costs as much as {cost} s empty"
