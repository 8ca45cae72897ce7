"""Outages of a rig, from runs made by hand and from simulated lives with known laws."""

import math

import pytest

from petsim import load_regime, simulate
from petsim.evidence.means import mean_of
from petsim.evidence.power import RECORD, exponential_mean, outage_estimates
from petsim.life.log.entries import Run
from petsim.life.log.simulated import logged
from tests.evidence.logs import log
from tests.life.worlds import pet, regime

HOUR = 3600.0
LAWS = {"up": "exponential 30 h", "down": "lognormal median 40 min sigma 1.0"}


def rig(**laws):
    return load_regime(regime(outages=LAWS | laws))


def runs(*ups, down=HOUR, last_is_clean=True):
    """Runs of these lengths, with a power cut after each but the last, and the hours between."""
    since, found = 0.0, []
    for place, up in enumerate(ups):
        is_last = place == len(ups) - 1
        found.append(Run(since, since + up, is_last and last_is_clean))
        since += up + down
    return tuple(found)


def told(life, path="outages.up", of="mean", **laws):
    """What a log tells of one law of outages."""
    [estimate] = [
        each for each in outage_estimates([life], rig(**laws)) if (each.path, each.of) == (path, of)
    ]
    return estimate


def test_published_interval_of_exponential_times():
    # Source: NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.5.1: 2 failures in 800 h, at 90 %
    # from 127 to 2251 h by the factors 0.3177 and 5.6281; from memory, recomputed.
    assert exponential_mean(800.0, 2, 0.9) == pytest.approx((127.07, 2251.23), abs=6e-3)


def test_the_mean_of_exponential_times_is_all_time_over_all_cuts():
    life = log(runs=runs(10 * HOUR, 20 * HOUR, 40 * HOUR, 26 * HOUR))
    up = told(life)
    assert up.estimate == pytest.approx((96 * HOUR + 3 * 30) / 3)
    assert (up.low, up.high) == exponential_mean(96 * HOUR + 3 * 30, 3)
    assert (up.verdict, up.n, up.record) == ("weak", 3, RECORD)
    assert up.guess == 30 * HOUR


def test_a_run_in_which_the_log_ends_in_a_cut_counts_as_one():
    life = log(runs=runs(10 * HOUR, 20 * HOUR, 40 * HOUR, last_is_clean=False))
    assert told(life).n == 3
    assert told(life, "outages.down").n == 2


def test_two_cuts_are_too_few():
    up, down = outage_estimates([log(runs=runs(HOUR, HOUR, HOUR))], rig())
    assert {up.verdict, down.verdict} == {"refused"}
    assert up.why == "the logs show 2 of them; 3 are the fewest that tell anything"
    assert up.record == "record months of the rig's own uptime; no pet needed"


def test_cuts_of_several_lives_are_added():
    lives = [log(runs=runs(HOUR, HOUR)) for _ in range(3)]
    assert {each.n for each in outage_estimates(lives, rig())} == {3}


def test_a_rig_that_was_stopped_on_purpose_was_not_out():
    stopped = (Run(0, HOUR, True), Run(9 * HOUR, 10 * HOUR, True))
    cut = runs(HOUR, HOUR, HOUR, HOUR)
    lives = [log(runs=stopped), log(runs=cut)]
    up, down, _ = outage_estimates(lives, rig())
    assert up.n == down.n == 3
    assert up.estimate == pytest.approx(told(log(runs=cut)).estimate + 2 * HOUR / 3)


def test_down_times_have_the_minute_before_the_cut_off():
    life = log(runs=runs(*[HOUR] * 4, down=3000))
    down = told(life, "outages.down", down="fixed 1 h")
    assert 2940 < down.low < down.estimate < down.high < 3000


def test_a_spread_is_told_from_five_outages_on():
    few, more = (
        log(runs=runs(*[HOUR] * 5)),
        log(runs=runs(HOUR, 2 * HOUR, 9 * HOUR, HOUR, HOUR, HOUR)),
    )
    assert told(few, "outages.down", "shape").why == "4 outages are too few to show how they differ"
    assert told(more, "outages.down", "shape").why.startswith("looks are too far apart")


def test_a_regime_without_outages_is_told_of_those_that_there_were():
    bare = load_regime(regime())
    assert outage_estimates([log()], bare) == []
    up, down = outage_estimates([log(runs=runs(HOUR, HOUR))], bare)
    assert (up.verdict, up.n) == (down.verdict, down.n) == ("refused", 1)
    assert "the regime has no `outages`" in up.why


def test_intervals_hold_the_truth_as_often_as_they_say():
    """24 logs of 12 days, with about 18 outages each, against guesses wrong by a factor of 2."""
    truth = load_regime(regime(outages={"up": "exponential 15 h", "down": LAWS["down"]}))
    laws, lives, held, ended = truth.outages, 24, dict.fromkeys(("up", "down", "shape"), 0), 0
    guess = rig(down="lognormal median 80 min sigma 2")
    for number in range(lives):
        life = logged(simulate(pet(), truth, seed=3, life=number, days=12))
        up, down, shape = outage_estimates([life], guess)
        held["up"] += up.low <= mean_of(laws.up) <= up.high
        held["down"] += down.low <= mean_of(laws.down) <= down.high
        held["shape"] += shape.low <= 1.0 <= shape.high
        ended += up.n
    assert ended / lives == pytest.approx(12 * 24 / 16.1, rel=0.15)
    assert min(held.values()) / lives > 0.95 - 4.5 * math.sqrt(0.95 * 0.05 / lives), held
