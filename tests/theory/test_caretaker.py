"""Hands that slip, eyes that err, calls that are heard, power that fails: each against its law."""

import math

import numpy as np
import pytest

from tests.theory.closed_forms import Inspected, first_empty
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

SEED = 20_250_305
CHECKS = 40_000


# Hands


@pytest.mark.parametrize("fails", ["slips", "lost"])
@pytest.mark.parametrize(
    ("chance", "tries", "all_fail", "presses"),
    [(0.1, 3, 0.001, 1.11), (0.3, 2, None, None), (0.5, 4, None, None)],
)
def test_tries_until_one_lands_are_geometric(tmp_path, fails, chance, tries, all_fail, presses):
    # Closed form: all of r tries fail with chance s^r, and (1 - s^r) / (1 - s) are made on average.
    law = np.array([*(chance ** np.arange(tries) * (1 - chance)), chance**tries])
    number = np.array([*range(1, tries + 1), tries])
    mean = float(number @ law)
    assert law[-1] == pytest.approx(chance**tries)
    assert mean == pytest.approx((1 - chance**tries) / (1 - chance))
    if all_fail is not None:
        assert (law[-1], mean) == pytest.approx((all_fail, presses), abs=1e-12)

    # A drop in the second of every check, so each finds the need empty.
    model = pet(
        tmp_path,
        "drops: {hunger: 60 s}",
        care=["feed: {raises: {hunger: 1}, works: %s}" % (1 - chance if fails == "lost" else 1)],
    )
    caretaker = regime(
        tmp_path,
        every(60, first="60 s"),
        f"hands: {{feed: {{slips: {chance if fails == 'slips' else 0}}}}}",
        routine=[f"{{when: {{hunger: 0}}, do: feed, repeat: {tries}}}"],
    )
    life = row_of(model, caretaker, CHECKS * 60 + 1, seed=SEED)
    assert life["checks"] == CHECKS
    failed = life["slipped.feed"] + life["lost.feed"]
    landed = life["done.feed"] - life["lost.feed"]
    share_agrees(CHECKS - landed, CHECKS, law[-1])
    spread = math.sqrt(float(number**2 @ law) - mean**2)
    agrees(life["presses"] / CHECKS, mean, spread / math.sqrt(CHECKS))
    assert life["presses"] == failed + landed


# Eyes


@pytest.mark.parametrize(
    ("m", "interval", "imagines", "daily"), [(3600, 900, 0.03, 2.242946), (1500, 1200, 0.12, None)]
)
def test_false_alarms_waste_actions(tmp_path, m, interval, imagines, daily):
    # Closed form: a look that finds nothing there imagines it with that chance.
    full = 1 - Inspected(first_empty(m, interval)).p_empty
    if daily is not None:
        assert imagines * DAY / interval * full == pytest.approx(daily, abs=6e-7)
    model = pet(tmp_path, f"drops: {{hunger: exponential {m} s}}")
    caretaker = regime(
        tmp_path,
        every(interval),
        f"eyes: {{calling: {{imagines: {imagines}}}}}",
        routine=["{when: {calling: yes}, do: feed}"],
    )
    life = row_of(model, caretaker, CHECKS * interval + 1, seed=SEED)
    share_agrees(life["wasted.feed"], CHECKS, imagines * full)
    share_agrees(life["done.feed"] - life["wasted.feed"], CHECKS, 1 - full)


# Source: majority voting, von Neumann (1956); two of three, Lyons and Vanderkulk (1962); from
# memory, the values being binomial sums computed apart from this project.
VOTES = [
    # looks, agree: chance of one look, chance of all of them
    ("overlooks", 3, 2, 0.1, 0.028),
    ("overlooks", 2, 1, 0.2, 0.04),
    ("overlooks", 5, 3, 0.3, 0.16308),
    ("imagines", 3, 2, 0.05, 0.00725),
    ("imagines", 2, 1, 0.02, 0.0396),
    ("imagines", 5, 3, 0.1, 0.00856),
]


@pytest.mark.parametrize(("error", "looks", "agree", "one", "vote"), VOTES)
def test_looks_that_vote(tmp_path, error, looks, agree, one, vote):
    start = 0 if error == "overlooks" else 1
    model = pet(tmp_path, needs=[f"hunger: {{full: 1, starts: {start}}}"], care=["wave: {}"])
    caretaker = regime(
        tmp_path,
        every(60),
        f"eyes: {{calling: {{{error}: {one}}}, looks: {{of: {looks}, agree: {agree}}}}}",
        routine=["{when: {calling: yes}, do: wave}"],
    )
    life = row_of(model, caretaker, CHECKS * 60, seed=SEED)
    seen = life["done.wave"]
    share_agrees(seen if error == "imagines" else CHECKS - seen, CHECKS, vote)


@pytest.mark.parametrize("level", [0, 2, 5])
@pytest.mark.parametrize(("looks", "misreads", "side"), [(1, 0.1, 0.05), (3, 0.1, 0.00725)])
def test_median_of_readings_is_off_to_either_side_but_within_the_scale(
    tmp_path, level, looks, misreads, side
):
    # The median of three is one too high if two are: 3 x 0.05^2 x 0.95 + 0.05^3 = 0.00725. What
    # would lie beyond the scale is read as its end.
    readings = [r for r in (level - 1, level, level + 1) if 0 <= r <= 5]
    model = pet(
        tmp_path,
        needs=[f"hunger: {{full: 5, starts: {level}}}"],
        care=[f"say {r}: {{}}" for r in readings],
    )
    caretaker = regime(
        tmp_path,
        every(60),
        f"eyes: {{hunger: {{misreads: {misreads}}}, looks: {{of: {looks}, agree: 1}}}}",
        routine=[f"{{when: {{hunger: {r}}}, do: say {r}}}" for r in readings],
    )
    life = row_of(model, caretaker, CHECKS * 60, seed=SEED)
    for r in readings:
        chance = side if r != level else 1 - side * (len(readings) - 1)
        share_agrees(life[f"done.say {r}"], CHECKS, chance)


# Ears


@pytest.mark.parametrize(
    ("m", "interval", "grace", "hears", "miss", "daily"),
    [(3700, 2700, 900, 0.6, 0.176832, 5.6586), (2500, 2000, 600, 0.35, None, None)],
)
def test_calls_that_are_heard_thin_out_the_misses(tmp_path, m, interval, grace, hears, miss, daily):
    # Closed form: drops thinned by the chance of being heard; the reaction takes its one second.
    if miss is not None:
        thinned = -math.expm1(-(1 - hears) * (interval - grace) / m)
        assert thinned == pytest.approx(miss, abs=6e-7)
        assert DAY / interval * thinned == pytest.approx(daily, abs=6e-5)
    model = pet(tmp_path, f"drops: {{hunger: exponential {m} s}}", f"grace: {{hunger: {grace} s}}")
    caretaker = regime(tmp_path, every(interval), f"listens: {{hears: {hears}, reacts in: 1 s}}")
    life = row_of(model, caretaker, CHECKS * interval + 1, seed=SEED)
    share_agrees(life["misses.hunger"], CHECKS, 1 - _never_unheard(m, hears, interval - grace))


def _never_unheard(m, hears, seconds):
    """Chance that so many seconds pass without a need's emptying unheard."""
    drop = -math.expm1(-1 / m)
    before, now = 1.0, 1.0
    for _ in range(seconds):
        # No drop, or one that is heard, whose second of reaction no other drop can use.
        before, now = now, (1 - drop) * now + drop * hears * before
    return now


# Source: machine interference with constant service, Ashcroft (1950), J. R. Statist. Soc. B
# 12:145-151, and Takacs, "Introduction to the Theory of Queues" (1962), chapter 5; from memory, the
# values computed apart from this project.
MACHINES = [
    # needs, mean, seconds of an action: share of time a need is empty
    (4, 1800, 95, 0.054225),
    (2, 600, 45, 0.072135),
    (6, 1200, 70, 0.064518),
    (3, 400, 60, None),
]


@pytest.mark.parametrize(("n", "m", "takes", "printed"), MACHINES)
def test_one_caretaker_for_many_needs_is_one_repairman_for_many_machines(
    tmp_path, n, m, takes, printed
):
    if printed is not None:
        assert share_empty(n, m, takes, reaction=0, rounding=0) == pytest.approx(printed, abs=6e-7)
    names = [f"need{i}" for i in range(n)]
    drops = ", ".join(f"{name}: exponential {m} s" for name in names)
    model = pet(
        tmp_path,
        f"drops: {{{drops}}}",
        needs=[f"{name}: {{full: 1}}" for name in names],
        care=[f"fill {name}: {{raises: {{{name}: 1}}}}" for name in names],
    )
    hands = ", ".join(f"fill {name}: {{takes: {takes} s}}" for name in names)
    caretaker = regime(
        tmp_path,
        "listens: {hears: 100%, reacts in: 1 s}",
        f"hands: {{{hands}}}",
        "passes: 1000",
        routine=[f"{{when: {{{name}: 0}}, do: fill {name}}}" for name in names],
    )
    # Units: lives, from their own spread. Their first 20 mean times are left out, as all needs are
    # full at birth.
    lives, settled, seconds = 40, 20 * m, 200 * m
    empty = [f"level_s.{name}.0" for name in names]
    at_first, in_all = (
        lives_of(model, caretaker, span, seed=SEED, lives=lives)[empty].sum(axis=1)
        for span in (settled, settled + seconds)
    )
    shares = (in_all - at_first) / (n * seconds)
    expected = share_empty(n, m, takes, reaction=1, rounding=0.5)
    agrees(shares.mean(), expected, shares.std() / math.sqrt(lives))


def share_empty(n, m, takes, reaction, rounding):
    """Share of time a need is empty, by the Markov chain of those empty when an action lands.

    The rest fall empty independently, the first of them after m / n on average, heard after the
    reaction; from there on the caretaker is busy until none is empty. A need empty from some
    instant on is so from the next whole second on: the rounding, half a second on average.
    """
    move = np.zeros((n, n))
    for left in range(n):
        served = max(left, 1)
        p = -math.expm1(-(takes if left else takes + reaction + rounding) / m)
        for more in range(n - served + 1):
            chance = math.comb(n - served, more) * p**more * (1 - p) ** (n - served - more)
            move[left, served - 1 + more] += chance
    stationary = np.linalg.lstsq(
        np.vstack([move.T - np.eye(n), np.ones(n)]), np.array([*[0.0] * n, 1.0]), rcond=None
    )[0]
    per_action = takes + stationary[0] * (m / n + rounding + reaction)
    # Each action fills a need that was full for the mean of its wait (Little's law).
    return 1 - (m + rounding) / (n * per_action)


# Power

OUTAGES = [
    # mean up, mean down, interval: share of checks lost, up at 1800 and 7200, none lost, mean run
    (86_400, 3_600, 1_200, 0.04, (0.983761, 0.964981), 0.149594, 3.527726),
    (43_200, 1_800, 900, 0.04, (0.974115, 0.960620), 0.213061, 2.541494),
    (6_000, 2_500, 800, None, (None, None), None, None),
]


def failing(folder, up, down, *lines):
    outages = f"outages: {{up: exponential {up} s, down: exponential {down} s}}"
    return regime(folder, *lines, outages, routine=())


@pytest.mark.parametrize(
    ("up", "down", "interval", "lost", "available", "none_lost", "run"), OUTAGES
)
def test_checks_lost_to_outages(tmp_path, up, down, interval, lost, available, none_lost, run):
    # Closed form: an alternating renewal process (Ross, "Stochastic Processes", section 3.4, from
    # memory). Units: outages.
    none = 1 + math.expm1(-interval / down) * down / interval
    mean_run = -1 / math.expm1(-interval / down)
    if lost is not None:
        assert down / (up + down) == pytest.approx(lost, abs=1e-9)
        assert none == pytest.approx(none_lost, abs=6e-7)
        assert mean_run == pytest.approx(run, abs=6e-7)

    cycles = 1_500
    seconds = cycles * (up + down)
    caretaker = failing(tmp_path, up, down, every(interval, first="random"))
    events = events_of(pet(tmp_path), caretaker, seconds, seed=SEED)
    begun, ended = times(events, "outage begins"), times(events, "outage ends")
    skipped, done = times(events, "check skipped"), times(events, "check")
    ends = np.append(ended, seconds)[: len(begun)]
    runs = np.searchsorted(skipped, ends) - np.searchsorted(skipped, begun)
    assert runs.sum() == len(skipped)
    share_agrees((runs == 0).sum(), len(runs), none)
    some = runs[runs > 0]
    spread = math.sqrt(math.exp(-interval / down)) * mean_run
    agrees(some.mean(), mean_run, spread / math.sqrt(len(some)))
    # The share lost is a ratio of sums over cycles of an up and a down time.
    share = down / (up + down)
    variance = ((1 - share) * down) ** 2 + (share * up) ** 2 + (1 - share) ** 2 * interval * down
    n = len(skipped) + len(done)
    agrees(len(skipped) / n, share, math.sqrt(variance / cycles) / (up + down))


@pytest.mark.parametrize(("up", "down", "available"), [(*row[:2], row[4]) for row in OUTAGES])
def test_availability_after_a_start_with_the_power_on(tmp_path, up, down, available):
    # The same source: A(t) = u + (1 - u) exp(-(1/U + 1/D) t) with u = U / (U + D). Units: lives.
    lives = 2_000
    for at, printed in zip((1_800, 7_200), available, strict=True):
        up_share = up / (up + down)
        chance = up_share + (1 - up_share) * math.exp(-(1 / up + 1 / down) * at)
        if printed is not None:
            assert chance == pytest.approx(printed, abs=6e-7)
        caretaker = failing(tmp_path, up, down, every(10 * DAY, first=f"{at} s"))
        table = lives_of(pet(tmp_path), caretaker, at + 1, seed=SEED, lives=lives)
        assert (table["checks"] + table["checks_skipped"] == 1).all()
        share_agrees(table["checks"].sum(), lives, chance)
