"""Two pets or caretakers on one seed meet the same luck: what pairing them gains."""

import math

import numpy as np
import pandas as pd
import pytest

from petsim import batch
from tests.theory.worlds import agrees, events_of, every, pet, regime, times

SEED = 20_250_306


@pytest.mark.parametrize(
    ("m", "interval", "graces", "paired", "independent"),
    [(3700, 2700, (900, 1500), 0.096519, 0.437089), (2400, 1500, (300, 800), None, None)],
)
def test_misses_of_a_longer_grace_are_nested_in_those_of_a_shorter(
    tmp_path, m, interval, graces, paired, independent
):
    # Closed form: the difference of nested events is one event of chance d, of variance d(1 - d);
    # independent ones have the sum of their variances. Units: intervals.
    p = [-math.expm1(-(interval - grace) / m) for grace in graces]
    d = p[0] - p[1]
    if paired is not None:
        assert d * (1 - d) == pytest.approx(paired, abs=6e-7)
        assert sum(q * (1 - q) for q in p) == pytest.approx(independent, abs=6e-7)

    n = 50_000
    caretaker = regime(tmp_path, every(interval))
    missed, dropped = [], []
    for grace in graces:
        model = pet(
            tmp_path,
            f"drops: {{hunger: exponential {m} s}}",
            f"grace: {{hunger: {grace} s}}",
            file=f"grace {grace}",
        )
        events = events_of(model, caretaker, n * interval + 1, seed=SEED)
        dropped.append(times(events, "drop").tolist())
        in_interval = np.zeros(n, dtype=int)
        in_interval[(times(events, "miss") - 1) // interval] = 1
        missed.append(in_interval)
    assert dropped[0] == dropped[1]
    assert (missed[1] <= missed[0]).all()

    difference = missed[0] - missed[1]
    error = abs(1 - 2 * d) * math.sqrt(d * (1 - d) / n)
    agrees(difference.var(), d * (1 - d), error)


@pytest.mark.parametrize(("short", "long"), [(2400, 3000), (900, 3600)])
def test_waits_of_two_means_come_from_the_same_luck(tmp_path, short, long):
    # Closed form: A = a E and B = b E of one exponential E, so var(A - B) is (a - b)^2, against
    # a^2 + b^2 if they were independent: 41 times as much for 2400 and 3000 s.
    waits = []
    for mean in (short, long):
        model = pet(
            tmp_path,
            f"waste: {{every: exponential {mean} s, pile max: 1000000}}",
            file=f"mean {mean}",
        )
        events = events_of(model, regime(tmp_path, routine=()), 40_000 * mean, seed=SEED)
        waits.append(np.diff(times(events, "waste"), prepend=0)[:39_000])
    first, second = waits
    # Exactly proportional, but for each being rounded to its nearest second and being 1 at least.
    assert (np.abs(long * first - short * second) <= (long + short) / 2 + short).all()

    n = len(first)
    expected = (short - long) ** 2
    # The square of a centred exponential variable has variance 8.
    agrees((first - second).var(), expected, expected * math.sqrt(8 / n))
    if (short, long) == (2400, 3000):
        assert (short**2 + long**2) / expected == 41


def test_regimes_that_say_the_same_live_the_same_lives(tmp_path):
    lines = (
        "checks: {every: 10 min, first: random, jitter: 3 min}",
        "listens: {hears: 60%, reacts in: exponential 4 min}",
        "eyes: {waste: {overlooks: 8%, imagines: 3%}, hunger: {misreads: 6%}}",
        "hands: {feed: {takes: 8 s, slips: 5%}}",
        "outages: {up: exponential 20 h, down: lognormal median 40 min sigma 1.0}",
    )
    tables = [
        batch("lamplet", caretaker, lives=12, seed=SEED, workers=1).lives
        for caretaker in (
            regime(tmp_path, *lines, file="one"),
            regime(tmp_path, *lines[::-1], file="other"),
        )
    ]
    pd.testing.assert_frame_equal(*tables)
    assert tables[0]["misses"].nunique() > 1
