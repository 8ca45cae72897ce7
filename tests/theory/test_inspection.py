"""Checks at regular times against needs that fall at random: the theory of inspection.

The rows marked printed were computed apart from this project from the closed forms of Barlow and
Proschan, "Mathematical Theory of Reliability" (1965), chapter 4, Cox, "Renewal Theory" (1962), and
Ross, "Stochastic Processes", chapter 3 (the books named from memory). The others are more cases
of the same, without printed digits.
"""

import math

import numpy as np
import pytest
from scipy import integrate, stats

from petsim.life.streams import uniform
from tests.theory.closed_forms import Inspected, first_empty, first_ill
from tests.theory.worlds import (
    DAY,
    agrees,
    events_of,
    every,
    lives_of,
    pet,
    regime,
    row_of,
    share_agrees,
    times,
)

SEED = 20_250_301
INTERVALS = 50_000


def hungry(folder, mean, grace, *more, full=1):
    """A pet with one need of exponential drops; feeding fills it."""
    return pet(
        folder,
        f"drops: {{hunger: exponential {mean} s}}",
        f"grace: {{hunger: {grace} s}}",
        *more,
        needs=[f"hunger: {{full: {full}}}"],
        care=[f"feed: {{raises: {{hunger: {full}}}}}"],
    )


def watched(model, caretaker, interval, seed=SEED, intervals=INTERVALS):
    """The summary of a life of whole intervals, each ended by its check."""
    return row_of(model, caretaker, intervals * interval + 1, seed=seed)


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


@pytest.mark.parametrize(
    ("m", "interval", "grace", "miss", "given", "daily", "late", "share"), ONE_LEVEL
)
def test_exact_law_of_one_level_gives_the_printed_row(
    m, interval, grace, miss, given, daily, late, share
):
    law = Inspected(first_empty(m, interval))
    p_miss = law.p_empty * law.missed(grace)
    assert p_miss == pytest.approx(miss, abs=6e-7)
    assert law.missed(grace) == pytest.approx(given, abs=6e-7)
    assert DAY / interval * p_miss == pytest.approx(daily, abs=6e-5)
    # A need that is empty from some instant on is empty from the next whole second on.
    assert law.mean(law.delays) + 0.5 == pytest.approx(late, abs=6e-3)
    lost = 0.5 * law.p_empty / interval
    assert law.mean(law.delays) / law.cycle[0] + lost == pytest.approx(share, abs=6e-7)


@pytest.mark.parametrize(
    ("m", "interval", "grace"), [row[:3] for row in ONE_LEVEL] + MORE_ONE_LEVEL
)
def test_one_level_of_a_need(tmp_path, m, interval, grace):
    life = watched(hungry(tmp_path, m, grace), regime(tmp_path, every(interval)), interval)
    _follows(life, Inspected(first_empty(m, interval)), grace, "hunger", life["done.feed"])
    assert life["wasted.feed"] == 0


@pytest.mark.parametrize(("m", "interval", "grace"), [(5400, 1800, 1100), (2000, 2500, 600)])
def test_waste_follows_the_law_of_a_need(tmp_path, m, interval, grace):
    model = pet(
        tmp_path,
        f"waste: {{every: exponential {m} s, pile max: 1, grace: {grace} s}}",
        care=["clean: {cleans: yes}"],
    )
    caretaker = regime(
        tmp_path, every(interval), routine=["{when: {waste: at least 1}, do: clean}"]
    )
    life = watched(model, caretaker, interval)
    law = Inspected(first_empty(m, interval))
    share_agrees(life["misses.waste"], INTERVALS, law.p_empty * law.missed(grace))
    share_agrees(life["done.clean"], INTERVALS, law.p_empty)


@pytest.mark.parametrize(("m", "interval", "grace"), [(3600, 2700, 900), (20, 60, 25)])
def test_illness_of_constant_rate_follows_the_law_without_any_half_second(
    tmp_path, m, interval, grace
):
    # The threshold does not round: ill by second n with chance 1 - exp(-n / m) exactly.
    model = pet(
        tmp_path,
        f"illness: {{base: {DAY / m} per day, grace: {grace} s}}",
        care=["dose: {doses: yes}"],
    )
    caretaker = regime(tmp_path, every(interval), routine=["{when: {ill: yes}, do: dose}"])
    life = watched(model, caretaker, interval)
    law = Inspected(first_ill(m, interval))
    share_agrees(life["misses.illness"], INTERVALS, law.p_empty * law.missed(grace))
    share_agrees(life["done.dose"], INTERVALS, law.p_empty)
    n = life["done.dose"]
    agrees(life["ill_s"] / n, law.mean(law.delays), law.sd(law.delays) / math.sqrt(n))


def test_night_stands_still(tmp_path):
    # Awake 07:00 to 21:00, 28 intervals a day; drops and deadlines run on awake time alone, so
    # the nights change nothing but the number of intervals.
    m, interval, grace, days = 3700, 1800, 700, 2000
    model = pet(
        tmp_path,
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
    life = row_of(model, regime(tmp_path, nights_off), days * DAY + 1, seed=SEED)
    assert life["asleep_s"] == days * 10 * 3600
    # The check of 21:00 is not made, so that interval's need is filled at 07:00, no awake time
    # later.
    law = Inspected(first_empty(m, interval))
    n = days * 28
    share_agrees(life["done.feed"], n, law.p_empty)
    share_agrees(life["misses.hunger"], n, law.p_empty * law.missed(grace))


def _follows(life, law, grace, need, filled):
    """Hold a life's misses, fillings and time empty against their exact values."""
    share_agrees(life[f"misses.{need}"], INTERVALS, law.p_empty * law.missed(grace))
    share_agrees(filled, INTERVALS, law.p_empty)
    share_agrees(life[f"misses.{need}"], filled, law.missed(grace))
    late, spread = law.mean(law.delays), law.sd(law.delays)
    empty = life[f"level_s.{need}.0"]
    agrees(empty / filled, late, spread / math.sqrt(filled))
    q = law.p_empty
    of_interval = math.sqrt(q * spread**2 + q * (1 - q) * late**2)
    agrees(empty / INTERVALS, q * late, of_interval / math.sqrt(INTERVALS))


# Several levels

SEVERAL_LEVELS = [
    # mean, interval, grace, full: P(miss), P(empty), misses a day, mean s empty
    (2400, 7200, 900, 4, 0.269448, 0.352768, 3.233375, 766.458),
    (3100, 9000, 1500, 3, 0.435340, 0.554783, 4.179262, 1913.833),
]


@pytest.mark.parametrize(
    ("m", "interval", "grace", "full", "miss", "empty", "daily", "seconds"),
    [*SEVERAL_LEVELS, (900, 6000, 2000, 5, None, None, None, None)],
)
def test_several_levels_filled_at_every_check(
    tmp_path, m, interval, grace, full, miss, empty, daily, seconds
):
    # The time to the n-th drop is a gamma variable; scipy.stats.gamma gives its law.
    law = Inspected(first_empty(m, interval, full))
    p_miss = stats.gamma.cdf(interval - grace, full, scale=m)
    late = law.mean(law.delays)
    if miss is not None:
        assert p_miss == pytest.approx(miss, abs=6e-7)
        assert law.p_empty == pytest.approx(empty, abs=6e-7)
        assert DAY / interval * p_miss == pytest.approx(daily, abs=6e-7 * DAY / interval)
        assert law.p_empty * (late + 0.5) == pytest.approx(seconds, abs=6e-3)

    n = 30_000
    caretaker = regime(
        tmp_path, every(interval), routine=[f"{{when: {{hunger: below {full}}}, do: feed}}"]
    )
    life = watched(hungry(tmp_path, m, grace, full=full), caretaker, interval, intervals=n)
    share_agrees(life["misses.hunger"], n, p_miss)
    q, spread = law.p_empty, law.sd(law.delays)
    sd = math.sqrt(q * spread**2 + q * (1 - q) * late**2)
    agrees(life["level_s.hunger.0"] / n, q * late, sd / math.sqrt(n))
    no_drop_at_all = math.exp(-interval / m)
    share_agrees(life["done.feed"], n, 1 - no_drop_at_all)


# Fixed drops, fixed checks: no chance at all

EXACT = [
    # drops every, checks every, grace: misses among the first drops
    (2400, 1700, 700, 17, 10),
    (3700, 2700, 1000, 27, 17),
    (5000, 1800, 600, 9, 6),
    (1001, 1000, 1, 1000, 999),
    (97, 60, 60, 60, 0),
]


@pytest.mark.parametrize(("wait", "interval", "grace", "drops", "misses"), EXACT)
def test_fixed_drops_run_through_all_delays(tmp_path, wait, interval, grace, drops, misses):
    # Elementary number theory: the delays of that many drops are the multiples of
    # gcd(wait, interval) below the interval, each once. A delay equal to the grace is a miss.
    step = math.gcd(wait, interval)
    assert drops == interval // step
    assert misses == sum(delay >= grace for delay in range(0, interval, step))

    model = pet(tmp_path, f"drops: {{hunger: {wait} s}}", f"grace: {{hunger: {grace} s}}")
    caretaker = regime(tmp_path, every(interval))
    life = row_of(model, caretaker, drops * wait + 1, seed=SEED)
    assert life["misses.hunger"] == misses
    assert life["done.feed"] == drops
    assert life["level_s.hunger.0"] == sum(range(0, interval, step))
    again = row_of(model, caretaker, 7 * drops * wait + 1, seed=SEED)
    assert again["misses.hunger"] == 7 * misses


def test_each_fixed_drop_that_waits_too_long_is_missed_in_its_second(tmp_path):
    wait, interval, grace = 2400, 1700, 700
    model = pet(tmp_path, f"drops: {{hunger: {wait} s}}", f"grace: {{hunger: {grace} s}}")
    events = events_of(model, regime(tmp_path, every(interval)), 40_801, seed=SEED)
    empties = np.arange(wait, 40_801, wait)
    late = empties[-empties % interval >= grace]
    assert times(events, "drop", "hunger").tolist() == empties.tolist()
    assert times(events, "miss", "hunger").tolist() == (late + grace).tolist()


# Eyes that overlook, and misses again and again

OVERLOOKED = [
    # mean, interval, grace, overlooks: P(miss | empty), undetected s, cycle s, a day, share
    (3600, 900, 1200, 0.10, 0.072462, 568.730, 4168.730, 1.501837, 0.136428),
    (3600, 900, 2000, 0.25, 0.053072, 768.730, 4368.730, 1.049595, 0.175962),
]
MORE_OVERLOOKED = [(2500, 1100, 700, 0.4), (5000, 600, 1200, 0.15)]


@pytest.mark.parametrize(
    ("m", "interval", "grace", "overlooks", "given", "late", "cycle", "daily", "share"), OVERLOOKED
)
def test_exact_law_of_eyes_that_overlook_gives_the_printed_row(
    m, interval, grace, overlooks, given, late, cycle, daily, share
):
    law = Inspected(first_empty(m, interval), overlooks)
    assert law.missed(grace) == pytest.approx(given, abs=6e-7)
    assert law.mean(law.delays) + 0.5 == pytest.approx(late, abs=6e-4)
    assert law.cycle[0] == pytest.approx(cycle, abs=6e-4)
    # Whole seconds move the seventh digit.
    assert DAY * law.missed(grace) / law.cycle[0] == pytest.approx(daily, abs=1e-6)
    assert (law.mean(law.delays) + 0.5) / law.cycle[0] == pytest.approx(share, abs=6e-7)


@pytest.mark.parametrize("by", ["calling", "level"])
@pytest.mark.parametrize(
    ("m", "interval", "grace", "overlooks"), [row[:4] for row in OVERLOOKED] + MORE_OVERLOOKED
)
def test_eyes_that_overlook(tmp_path, m, interval, grace, overlooks, by):
    # A level of 0 misread is one up or, clamped, 0 again, half each: so it is overlooked with
    # half the chance of a misreading.
    if by == "calling":
        eyes, step = f"calling: {{overlooks: {overlooks}}}", "{when: {calling: yes}, do: feed}"
    else:
        eyes, step = f"hunger: {{misreads: {2 * overlooks}}}", "{when: {hunger: 0}, do: feed}"
    caretaker = regime(tmp_path, every(interval), f"eyes: {{{eyes}}}", routine=[step])
    life = watched(hungry(tmp_path, m, grace), caretaker, interval)

    law = Inspected(first_empty(m, interval), overlooks)
    n = life["done.feed"] - life["wasted.feed"]
    late, (cycle, cycle_sd) = law.mean(law.delays), law.cycle
    agrees(INTERVALS * interval / n, cycle, cycle_sd / math.sqrt(n))
    share_agrees(life["misses.hunger"], n, law.missed(grace))
    agrees(life["level_s.hunger.0"] / n, late, law.sd(law.delays) / math.sqrt(n))


AGAIN = [
    # mean, interval, grace, overlooks, again after: misses per emptying
    (3600, 900, 1200, 0.25, 1000, 0.247775),
    (3600, 5400, 1200, 0.0, 1000, 2.667430),
    (2000, 3000, 700, 0.3, 450, None),
]


@pytest.mark.parametrize(("m", "interval", "grace", "overlooks", "again", "printed"), AGAIN)
def test_misses_again_and_again(tmp_path, m, interval, grace, overlooks, again, printed):
    law = Inspected(first_empty(m, interval), overlooks)
    misses = law.misses(grace, again)
    if printed is not None:
        assert law.mean(misses) == pytest.approx(printed, abs=6e-7)

    model = hungry(tmp_path, m, grace, f"again after: {{hunger: {again} s}}")
    caretaker = regime(
        tmp_path,
        every(interval),
        f"eyes: {{calling: {{overlooks: {overlooks}}}}}",
        routine=["{when: {calling: yes}, do: feed}"],
    )
    life = watched(model, caretaker, interval)
    n = life["done.feed"]
    agrees(life["misses.hunger"] / n, law.mean(misses), law.sd(misses) / math.sqrt(n))


# When the checks fall


@pytest.mark.parametrize(
    ("interval", "grace", "chance"), [(1800, 700, 0.611111), (2400, 1700, None), (900, 31, None)]
)
def test_random_first_check_makes_every_delay_alike(tmp_path, interval, grace, chance):
    # A drop far apart from the next waits for 0 to interval - 1 seconds, each equally likely, so
    # it is a miss with chance 1 - grace / interval. Units: lives.
    if chance is not None:
        assert 1 - grace / interval == pytest.approx(chance, abs=6e-7)
    lives, wait = 2_500, 4 * interval + 123
    model = pet(tmp_path, f"drops: {{hunger: {wait} s}}", f"grace: {{hunger: {grace} s}}")
    caretaker = regime(tmp_path, every(interval, first="random"))
    table = lives_of(model, caretaker, wait + interval, seed=SEED, lives=lives)
    share_agrees(table["misses.hunger"].sum(), lives, 1 - grace / interval)
    spread = math.sqrt((interval**2 - 1) / 12)
    agrees(table["level_s.hunger.0"].mean(), (interval - 1) / 2, spread / math.sqrt(lives))
    # And life by life without any chance: the first check is that share of an interval after birth.
    firsts = [math.floor(uniform(SEED, "first check", life, 0) * interval) for life in range(lives)]
    delays = [(first - wait) % interval for first in firsts]
    assert table["level_s.hunger.0"].tolist() == delays
    assert table["misses.hunger"].tolist() == [int(delay >= grace) for delay in delays]


JITTERED = [
    # interval, either way, grace: mean wait, P(wait >= grace), of rare events
    (1800, 600, 900, 966.667, 0.501736),
    (1800, 600, 1800, 966.667, 0.111111),
    (1200, 500, 1000, None, None),
]


@pytest.mark.parametrize(("interval", "either_way", "grace", "wait", "missed"), JITTERED)
def test_late_checks_make_longer_waits(tmp_path, interval, either_way, grace, wait, missed):
    # Tijms, "A First Course in Stochastic Models" (2003), p. 39, equations (2.1.9) and (2.1.10),
    # read there: an event at random waits E[X^2] / 2E[X] for the end of its gap X. Checks late by
    # 0 to 2j leave the gaps of checks off by j either way.
    gaps = JitteredGaps(interval, 2 * either_way)
    if wait is not None:
        # The printed numbers are those of a lateness that need not be whole.
        law = stats.triang(0.5, interval - 2 * either_way, 4 * either_way)
        above, _ = integrate.quad(law.sf, grace, interval + 2 * either_way)
        assert interval / 2 + law.var() / (2 * interval) == pytest.approx(wait, abs=6e-4)
        assert above / interval == pytest.approx(missed, abs=6e-7)
        x = gaps.x.astype(float)
        assert gaps.mean(x**2) / (2 * interval) == pytest.approx(wait, rel=2e-4)
        assert gaps.mean(np.maximum(x - grace, 0)) / interval == pytest.approx(missed, rel=1e-3)

    m = 3 * interval
    caretaker = regime(
        tmp_path,
        f"checks: {{every: {interval} s, first: 0 s, jitter: {2 * either_way} s}}",
    )
    life = watched(hungry(tmp_path, m, grace), caretaker, interval)
    chances = -np.expm1(-np.maximum(gaps.x - grace, 0) / m)
    agrees(life["misses.hunger"] / INTERVALS, *gaps.average(chances, chances, INTERVALS))
    # Of a gap of x seconds those from second s on are empty with chance exp(-(s - 1) / m) -
    # exp(-s / m) each.
    seconds, squares = _empty_seconds(first_empty(m, int(gaps.x.max())))
    agrees(
        life["level_s.hunger.0"] / INTERVALS,
        *gaps.average(seconds[gaps.x], squares[gaps.x], INTERVALS),
    )


def _empty_seconds(law):
    """Mean and mean square of the seconds empty in a gap of x seconds, for x = 0, 1, ..."""
    s = np.arange(len(law))
    zeroth, first, second = np.cumsum(law), np.cumsum(s * law), np.cumsum(s * s * law)
    return s * zeroth - first, s * s * zeroth - 2 * s * first + second


class JitteredGaps:
    """The gaps between checks that come late by 0 to `latest` seconds, all alike.

    x: the gap by lateness of the check before it (rows) and of the one that ends it (columns).
    """

    def __init__(self, interval, latest):
        late = np.arange(latest + 1)
        self.x = interval + late[None, :] - late[:, None]

    def mean(self, values):
        return float(values.mean())

    def average(self, values, squares, n):
        """The mean over n gaps in a row of something, and its standard error.

        values and squares: its mean and mean square by gap. Gaps that touch share a lateness and
        are not independent; others are.
        """
        mean = self.mean(values)
        variance = self.mean(squares) - mean**2
        shared = self.mean(values.mean(axis=0) * values.mean(axis=1)) - mean**2
        return mean, math.sqrt((variance + 2 * shared) / n)
