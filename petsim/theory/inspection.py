"""Checks at regular times against needs that fall at random: the theory of inspection.

The printed digits were computed apart from this project, from the closed forms of the sources.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy import integrate, optimize, stats

from petsim.life.streams import uniform
from petsim.spec.quantities import DAY
from petsim.theory.closed_forms import Inspected, Law, first_empty, first_ill
from petsim.theory.lab import SEED, Lab, times, totals
from petsim.theory.verdicts import Verdict, check, digits, exact, mean, share
from petsim.theory.worlds import every, hungry, pet, regime

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
        filling = f"{{when: {{hunger: below {full}}}, do: feed}}"
        model = hungry(m, grace, full=full)
        lived, n = watched(lab, model, regime(every(interval), routine=[filling]), interval)
        yield share(f"{case}: P(miss)", lived["misses.hunger"], n, p_miss)
        sd = math.sqrt(q * spread**2 + q * (1 - q) * late**2) / math.sqrt(n)
        yield mean(f"{case}: s empty an interval", lived["level_s.hunger.0"] / n, q * late, sd)
        yield share(f"{case}: P(any drop)", lived["done.feed"], n, -math.expm1(-interval / m))


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
        model = pet(f"drops: {{hunger: {wait} s}}", f"grace: {{hunger: {grace} s}}")
        for times_over in (1, 7):
            seconds = times_over * drops * wait + 1
            lived = totals(lab.batch(model, regime(every(interval)), lives=1, seconds=seconds))
            said = f"{case}: {{}}, {times_over} times over"
            yield exact(said.format("misses"), lived["misses.hunger"], times_over * misses)
            yield exact(said.format("feeds"), lived["done.feed"], times_over * drops)
            empty = times_over * sum(range(0, interval, step))
            yield exact(said.format("s empty"), lived["level_s.hunger.0"], empty)


@check("elementary number theory, second by second")
def each_fixed_drop_that_waits_too_long(lab: Lab) -> Iterator[Verdict]:
    """It is missed in the very second that its grace is over."""
    wait, interval, grace = 2400, 1700, 700
    model = pet(f"drops: {{hunger: {wait} s}}", f"grace: {{hunger: {grace} s}}")
    events = lab.events(model, regime(every(interval)), seconds=40_801)
    empties = np.arange(wait, 40_801, wait)
    late = empties[-empties % interval >= grace]
    dropped, missed = times(events, "drop", "hunger"), times(events, "miss", "hunger")
    yield exact("drops that come when they must", _common(dropped, empties), len(empties))
    yield exact("drops in all", len(dropped), len(empties))
    yield exact("misses that come when they must", _common(missed, late + grace), len(late))
    yield exact("misses in all", len(missed), len(late))


def _common(some: NDArray[np.int64], others: NDArray[np.int64]) -> int:
    return len(np.intersect1d(some, others))


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
        cycle, cycle_sd = law.cycle
        found = n * interval / filled
        yield mean(f"{case}: s a cycle", found, cycle, cycle_sd / math.sqrt(filled))
        yield share(f"{case}: P(miss | empty)", lived["misses.hunger"], filled, law.missed(grace))
        late, sd = law.mean(law.delays), law.sd(law.delays) / math.sqrt(filled)
        yield mean(f"{case}: s undetected", lived["level_s.hunger.0"] / filled, late, sd)


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
        caretaker = regime(
            every(interval),
            f"eyes: {{calling: {{overlooks: {overlooks}}}}}",
            routine=["{when: {calling: yes}, do: feed}"],
        )
        model = hungry(m, grace, f"again after: {{hunger: {again} s}}")
        lived, _ = watched(lab, model, caretaker, interval, LONG_LIVES)
        filled = lived["done.feed"]
        sd = law.sd(misses) / math.sqrt(filled)
        found = lived["misses.hunger"] / filled
        yield mean(f"{case}: misses an emptying", found, law.mean(misses), sd)


# When the checks fall


@check("closed form: a drop at random waits for each number of seconds alike")
def random_first_check(lab: Lab) -> Iterator[Verdict]:
    """Delays from 0 to the interval less a second, each alike; and life by life exactly."""
    for interval, grace, chance in [(1800, 700, 0.611111), (2400, 1700, None), (900, 31, None)]:
        wait = 4 * interval + 123
        case = f"checks every {interval} s from a random second on, {grace} s allowed"
        if chance is not None:
            yield digits(f"{case}: exact P(miss)", 1 - grace / interval, chance, 6e-7)
        model = pet(f"drops: {{hunger: {wait} s}}", f"grace: {{hunger: {grace} s}}")
        caretaker = regime(every(interval, first="random"))
        lived = lab.batch(model, caretaker, lives=2_500, seconds=wait + interval).values
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


JITTERED = [
    # interval, either way, grace: mean wait, P(wait >= grace), of rare events
    (1800, 600, 900, 966.667, 0.501736),
    (1800, 600, 1800, 966.667, 0.111111),
    (1200, 500, 1000, None, None),
]


@check(
    "Tijms (2003), A First Course in Stochastic Models, p. 39, (2.1.9) and (2.1.10): an event at "
    "random waits E[X^2] / 2E[X] for the end of its gap X"
)
def late_checks_make_longer_waits(lab: Lab) -> Iterator[Verdict]:
    """Checks late by 0 to 2j leave gaps off by j either way, of which long ones catch more."""
    for interval, either_way, grace, wait, missed in JITTERED:
        case = f"checks every {interval} s, up to {2 * either_way} s late, {grace} s allowed"
        gaps = JitteredGaps(interval, 2 * either_way)
        if wait is not None and missed is not None:
            # The printed numbers are those of a lateness that need not be whole.
            law = stats.triang(0.5, interval - 2 * either_way, 4 * either_way)
            above, _ = integrate.quad(law.sf, grace, interval + 2 * either_way)
            longer = interval / 2 + law.var() / (2 * interval)
            yield digits(f"{case}: exact s waited", longer, wait, 6e-4)
            yield digits(f"{case}: exact P(wait too long)", above / interval, missed, 6e-7)
        m = 3 * interval
        caretaker = regime(
            f"checks: {{every: {interval} s, first: 0 s, jitter: {2 * either_way} s}}"
        )
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


class JitteredGaps:
    """The gaps between checks that come late by 0 to `latest` seconds, all alike.

    x: the gap by lateness of the check before it (rows) and of the one that ends it (columns).
    """

    def __init__(self, interval: int, latest: int) -> None:
        late = np.arange(latest + 1)
        self.x = interval + late[None, :] - late[:, None]

    def average(
        self, values: NDArray[np.float64], squares: NDArray[np.float64], n: int
    ) -> tuple[float, float]:
        """The mean over n gaps in a row of something, and its standard error.

        values and squares: its mean and mean square by gap. Gaps that touch share a lateness and
        are not independent; others are.
        """
        mean = float(values.mean())
        variance = float(squares.mean()) - mean**2
        shared = float((values.mean(axis=0) * values.mean(axis=1)).mean()) - mean**2
        return mean, math.sqrt((variance + 2 * shared) / n)


# Where to put the checks


@check(
    "Barlow, Hunter & Proschan (1963), J. SIAM 11:1078-1095; Barlow & Proschan (1965), section "
    "4.3.2 (from memory): the least cost is at T = y m, where e^y - y - 1 = c1 / (c2 m)"
)
def where_to_put_the_checks(lab: Lab) -> Iterator[Verdict]:
    """A check costs c1, a second undetected c2: an emptying costs least at the source's T."""
    for m, a_check, a_second in [(3600, 300.0, 1.0), (5400, 60.0, 0.5), (900, 2000.0, 1.0)]:
        best = _best_interval(m, a_check / a_second)
        case = f"drops every {m} s, a check costs {a_check:g}, a second empty {a_second:g}"
        costs = {
            interval: _cost(m, interval, a_check, a_second)[0]
            for interval in range(max(best - 60, 1), best + 61)
        }
        # whole seconds move the best interval by a second or two
        least = min(costs, key=lambda interval: costs[interval])
        yield digits(f"{case}: exact s between checks", least, best, 3)
        for interval in (best // 2, best, 2 * best):
            lived, n = watched(lab, hungry(m, 1), regime(every(interval)), interval)
            expected, sd = _cost(m, interval, a_check, a_second)
            spent = a_check * n + a_second * lived["level_s.hunger.0"]
            said = f"{case}: cost, checks every {interval} s"
            yield mean(said, spent / lived["done.feed"], expected, sd / math.sqrt(n))


def _best_interval(m: float, ratio: float) -> int:
    def beyond(y: float) -> float:
        return math.expm1(y) - y - ratio / m

    return round(m * optimize.brentq(beyond, 1e-9, 50))


def _cost(m: float, interval: int, a_check: float, a_second: float) -> tuple[float, float]:
    """Exact mean cost of an emptying, and the standard deviation of the ratio over an interval.

    The costs of n intervals over the emptyings in them are a ratio of means, whose error is that of
    (cost - ratio x emptied) / P(empty).
    """
    law = Inspected(first_empty(m, interval))
    q, late, spread = law.p_empty, law.mean(law.delays), law.sd(law.delays)
    cost = a_check / q + a_second * late
    emptied = (a_check + a_second * late - cost) ** 2 + (a_second * spread) ** 2
    return cost, math.sqrt((1 - q) * a_check**2 + q * emptied) / q
