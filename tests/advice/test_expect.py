"""What counters should show, against lives of another seed and distributions that are known.

The toy pets are invented.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest
from scipy.stats import binom, poisson

import petsim
from petsim.advice.expecting.bands import Bands
from petsim.advice.expecting.counting import ends_of_days, followed_between
from petsim.advice.expecting.expect import Expected
from petsim.errors import ArgumentError
from petsim.life.caretaker import load_caretaker
from petsim.life.counters import Counter, counters_of
from petsim.life.simulate import Span, choose_engine
from petsim.spec import defaults
from petsim.spec.library import load_model
from petsim.spec.quantities import DAY
from tests.life.worlds import pet, regime

CHECKS, FEED = Counter("checks"), Counter("action", "feed")
LEVEL, LIVES = 0.95, 2000
SPREAD = math.sqrt(LEVEL * (1 - LEVEL) * (2 / LIVES + 1 / LIVES))
"""The standard error of the share of LIVES fresh lives within bands whose reach LIVES / 2 say."""


@cache
def of(*regimes: str) -> Expected:
    return petsim.expect("lamplet", [*regimes], lives=LIVES, seed=1)


# Fresh lives


@cache
def fresh(name: str) -> np.ndarray:
    """Counts of lives of another seed, by life, and day and counter in one."""
    model = load_model("lamplet")
    caretaker = load_caretaker(name, model)
    ends = ends_of_days(model.begins, 7)
    engine = choose_engine(model, caretaker, Span(days=ends[-1] / DAY), "auto")
    counts, _ = followed_between(model, engine, 99, range(LIVES), ends, check_limit=60.0)
    places = [counters_of(model).index(each) for each in of(name).regimes[0].counters]
    return counts[:, :, places].reshape(LIVES, -1)


@pytest.mark.parametrize("name", ["camera-rig", "office-rota"])
def test_lives_of_another_seed_stay_within_all_bands_as_often_as_is_said(name: str) -> None:
    [quiet] = of(name).regimes
    within = ~Bands(quiet.low.ravel(), quiet.high.ravel()).outside(fresh(name)).any(axis=1)
    assert LEVEL - 4.5 * SPREAD < within.mean() < 0.98
    assert quiet.together.low < within.mean() + 4.5 * SPREAD
    assert abs(quiet.together.estimate - within.mean()) < 4.5 * math.sqrt(2 * 0.05 * 0.95 / LIVES)


@pytest.mark.parametrize("name", ["camera-rig", "office-rota"])
def test_bands_for_each_count_by_itself_raise_alarms_in_most_quiet_weeks(name: str) -> None:
    [quiet] = of(name).regimes
    made = quiet.counts.reshape(LIVES, -1)
    low, high = np.nanquantile(made, (0.025, 0.975), axis=0, method="closest_observation")
    alarms = Bands(low, high).outside(fresh(name)).any(axis=1).mean()
    assert alarms > 0.5
    error = math.sqrt(2 * quiet.alone.estimate * (1 - quiet.alone.estimate) / LIVES)
    assert abs(1 - alarms - quiet.alone.estimate) < 4.5 * error


# Distributions that are known


def test_feeds_of_a_pet_whose_level_drops_at_random_are_poisson() -> None:
    # a need that is never empty, filled at each check by as much as it has dropped: the drops of
    # a day, from its first check on, are a Poisson process
    toy = pet(young={"drops": {"hunger": "exponential 10 min"}}, needs={"hunger": {"full": 60}})
    toy["care"] = {"feed": {"raises": {"hunger": 1}}}
    fills = regime({"when": {"hunger": "below 60"}, "do": "feed", "repeat": 60}, every=600)
    expected = petsim.expect(toy, fills, lives=LIVES, days=3)
    [quiet] = expected.regimes
    feeds = quiet.counts[:, 1:, quiet.counters.index(FEED)].ravel()
    n, mean = len(feeds), DAY / 600
    # a wait is a whole number of seconds, which moves the mean by less than half of one in 600
    assert abs(feeds.mean() - mean) < 4.5 * math.sqrt(mean / n) + mean * 0.5 / 600
    # the standard error of the variance of a Poisson count: 2 of its mean to the fourth power are
    # by far most of it
    assert abs(feeds.var() - mean) < 4.5 * math.sqrt((2 * mean**2 + mean) / n) + mean / 600
    place = quiet.counters.index(FEED)
    low, high = quiet.low[:, place], quiet.high[:, place]
    each = poisson.cdf(high, mean) - poisson.cdf(low - 1, mean)
    # presses are the feeds once more, and checks always as many: three counts in all, of which the
    # first lacks a check's drops
    spread = math.sqrt(LEVEL * (1 - LEVEL) * 2 / LIVES)
    edges = (poisson.pmf(high, mean) + poisson.pmf(low, mean)).sum()
    assert LEVEL - 4.5 * spread - edges < each.prod() < LEVEL + 4.5 * spread + edges


def test_checks_that_are_forgotten_leave_a_binomial_number() -> None:
    forgetful = regime(every=600)
    forgetful["checks"]["forgets"] = "20%"
    [quiet] = petsim.expect(pet(), forgetful, lives=LIVES, days=2).regimes
    counts = quiet.counts[:, :, quiet.counters.index(CHECKS)].ravel()
    mean, variance, _, excess = binom.stats(144, 0.8, moments="mvsk")
    n = len(counts)
    assert abs(counts.mean() - mean) < 4.5 * math.sqrt(variance / n)
    assert abs(counts.var() - variance) < 4.5 * variance * math.sqrt((2 + excess) / n)


def test_checks_at_clock_times_are_what_they_are() -> None:
    [quiet] = of("ten-minute").regimes
    place = quiet.counters.index(CHECKS)
    # from 09:00 to midnight, then all day, every ten minutes
    assert quiet.median[:, place].tolist() == [90] + [144] * 6
    assert quiet.low[:, place].tolist() == quiet.high[:, place].tolist() == [90] + [144] * 6


# Days and regimes


def test_days_go_to_the_outcome_and_end_at_midnight() -> None:
    [quiet] = of("camera-rig").regimes
    assert of("camera-rig").days == 7
    assert (quiet.alive > 0.9).all()
    assert (quiet.low <= quiet.median).all() and (quiet.median <= quiet.high).all()


def test_days_to_death_are_those_that_some_live_through() -> None:
    [quiet] = petsim.expect("lamplet", "hands-off", lives=400, until="death").regimes
    batch = petsim.batch("lamplet", "hands-off", lives=400, until="death")
    # from 09:00 on
    midnight = len(quiet.alive) * DAY - 9 * 3600
    lived = np.mean(batch.values["end_s"] > midnight)
    assert quiet.alive[-1] == lived >= 0.05
    assert np.mean(batch.values["end_s"] > midnight + DAY) < 0.05


def test_a_pet_that_hardly_lives_to_midnight_is_refused() -> None:
    frail = pet(young={"drops": {"hunger": "1 min"}, "fatal after": {"hunger": "1 min"}})
    with pytest.raises(ArgumentError, match=r"^days: hardly a life lives to its first midnight; "):
        petsim.expect(frail, regime(every=600), lives=100, days=2)


def test_a_difference_is_over_the_same_lives() -> None:
    both = petsim.expect("lamplet", ["office-rota", "office-rota-gap"], lives=200)
    # three checks fall into the gap on each weekday
    assert both.difference(CHECKS, 1).tolist()[5:] == [0, 0]
    assert all(-5 <= less <= -2 for less in both.difference(CHECKS, 1)[:5])
    first, alone = both.regimes[0], petsim.expect("lamplet", "office-rota", lives=200).regimes[0]
    assert np.array_equal(first.counts, alone.counts, equal_nan=True)


def test_a_pet_as_it_is_now_has_a_first_day_from_now_on() -> None:
    state = petsim.state_at("lamplet", "ten-minute", 200_000)
    now = petsim.pet_of(state, load_model("lamplet")).pet
    expected = petsim.expect(now, "ten-minute", lives=100, days=2)
    begins = expected.model.begins
    [quiet] = expected.regimes
    left = (DAY - begins.clock) / 600
    first = quiet.median[0, quiet.counters.index(CHECKS)]
    assert begins.clock == (9 * 3600 + 200_000) % DAY and abs(first - left) <= 1


def test_a_policy_has_the_same_bands_as_the_routine_that_does_the_same() -> None:
    fed = regime({"when": {"hunger": "below 5"}, "do": "feed"}, every=3600)

    class Feeds:
        regime = {key: said for key, said in fed.items() if key != "routine"}  # noqa: RUF012

        def check(self, look):
            if look()["hunger"] < 5:
                yield "feed"

    toy = pet(young={"drops": {"hunger": "exponential 2 h"}})
    counts = []
    for caretaker in (fed, Feeds):
        [quiet] = petsim.expect(toy, caretaker, lives=40, days=1).regimes
        places = [quiet.counters.index(each) for each in (CHECKS, FEED)]
        counts.append(quiet.counts[:, :, places])
    assert np.array_equal(*counts)


def test_without_the_compiled_engine_fewer_lives_say_it(monkeypatch) -> None:
    monkeypatch.setattr(defaults, "EXPECTED_LIVES", {"compiled": 40, "reference": 40})
    [compiled] = petsim.expect("lamplet-quick", "camera-rig", days=1).regimes
    monkeypatch.setattr("petsim.life.simulate.why_not_compiled", lambda: "there is none here")
    [reference] = petsim.expect("lamplet-quick", "camera-rig", days=1).regimes
    assert np.array_equal(compiled.counts, reference.counts, equal_nan=True)


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ({"confidence": 1.0}, r"^confidence: 1\.0; expected a share above 0 and below 1$"),
        ({"lives": 0}, r"^lives: 0; expected at least 1$"),
        ({"lives": 10}, r"^lives: 10; expected at least 38 for bands of 95 %$"),
        ({"lives": 10**12}, r"^lives: 1000000000000 .*of memory"),
        ({"days": 10**9}, r"^lives: 2000 .*of memory"),
        ({"seed": -1}, r"^seed: -1; "),
        ({"until": "dusk"}, r"^until: 'dusk'; "),
    ],
)
def test_what_is_out_of_range_is_refused(how, said) -> None:
    with pytest.raises(ArgumentError, match=said):
        petsim.expect(
            "lamplet-quick", "hourly", **{"days": 1, **how} if "until" not in how else how
        )


def test_two_regimes_of_one_name_are_refused() -> None:
    with pytest.raises(ArgumentError, match=r"each of a name of its own$"):
        petsim.expect("lamplet-quick", ["hourly", "hourly"], lives=40)
