"""How long forms last, from logs made by hand and from simulated lives with known laws."""

import math

import pytest

from petsim import load_model, simulate
from petsim.evidence.growth_times import lasts_estimates
from petsim.evidence.means import mean_of
from petsim.life.log.simulated import logged
from petsim.spec.laws import distribution
from tests.evidence.logs import log, look, spans_of
from tests.life.worlds import pet, regime

MINUTE, HOUR = 60.0, 3600.0


def model(**lasts):
    return load_model(pet(**({"lasts": "uniform 80 min to 100 min", "egg": "5 min"} | lasts)))


def grown(hatched=300, tree=5400, width=60, since=0):
    """A log with a look each side of both growths, and one an hour later."""
    return log(
        look(since + hatched - width / 2, form="seed"),
        look(since + hatched + width / 2, form="sprig"),
        look(since + tree - width / 2, form="sprig"),
        look(since + tree + width / 2, form="tree"),
        look(since + tree + HOUR, form="tree"),
    )


def lasts_of(lives, guess):
    return lasts_estimates(lives, spans_of(lives, guess), guess)


def by_path(estimates):
    return {(each.path, each.of): each for each in estimates}


def test_a_form_that_was_lived_through_tells_its_mean_between_its_looks():
    found = by_path(lasts_of([grown()], model()))
    assert found.keys() == {
        ("forms.seed.lasts", "mean"),
        ("forms.sprig.lasts", "mean"),
        ("forms.sprig.lasts", "shape"),
    }
    seed, sprig = found["forms.seed.lasts", "mean"], found["forms.sprig.lasts", "mean"]
    assert 270 < seed.low < seed.estimate < seed.high < 330
    assert sprig.estimate == pytest.approx(5100, rel=0.01)
    # one draw of a law that is 10 % wide to either side
    assert (sprig.low, sprig.high) == pytest.approx((5100 / 1.1, 5100 / 0.9), rel=0.02)
    assert (sprig.verdict, sprig.n, sprig.guess) == ("well", 1, 90 * MINUTE)
    assert found["forms.sprig.lasts", "shape"].why == "one life shows one draw of it"
    assert found["forms.sprig.lasts", "shape"].record == "more lives"


def test_a_form_it_still_had_when_it_was_last_seen_lasted_longer():
    young = log(look(270, form="seed"), look(330, form="sprig"), look(7000, form="sprig"))
    young = log(*young.entries, until=50_000)
    guess, key = model(lasts="weibull shape 2 scale 1 h"), ("forms.sprig.lasts", "mean")
    alone = by_path(lasts_of([grown()], guess))[key]
    both = by_path(lasts_of([grown(), young], guess))[key]
    assert both.n == 1
    # Theory: the squares of such times are exponential, whose mean is told by all of their sum.
    assert both.estimate / alone.estimate == pytest.approx(math.hypot(5100, 6670) / 5100, rel=0.01)


def test_a_form_that_none_grew_out_of_is_not_told_of():
    assert lasts_of([log(look(100, form="seed"))], model()) == []


def test_the_first_form_of_a_log_that_begins_later_does_not_count():
    later = log(look(10, form="sprig"), look(5000, form="tree"), is_born=False)
    assert lasts_of([later], model()) == []


def test_a_form_too_brief_to_be_seen_tells_nothing_of_its_mean():
    brief = log(look(10, form="seed"), look(5000, form="tree"))
    sprig = by_path(lasts_of([brief], model(lasts="fixed 1 h")))["forms.sprig.lasts", "mean"]
    assert sprig.verdict == "refused"
    assert sprig.why.startswith("it would look much the same from 1 s to 1 h ")


def test_a_form_that_was_over_at_once_by_what_was_seen_tells_nothing():
    # as in notes that begin later than their maker says
    late = log(look(0, form="sprig"), look(5000, form="sprig"), look(5100, form="tree"))
    found = by_path(lasts_of([late], model()))
    assert found.keys() == {("forms.sprig.lasts", "mean"), ("forms.sprig.lasts", "shape")}


def test_five_lives_tell_the_spread():
    lives = [grown(tree=300 + lasted) for lasted in (4900, 5100, 5300, 5600, 5900)]
    found = by_path(lasts_of(lives, model()))
    assert found["forms.sprig.lasts", "shape"].verdict != "refused"
    assert found["forms.sprig.lasts", "mean"].n == 5


def test_intervals_hold_the_truth_as_often_as_they_say():
    """50 logs of one life, looked at every 30 minutes, against a guess that is half as long."""
    truth, guess = model(lasts="uniform 20 h to 28 h"), model(lasts="uniform 10 h to 14 h")
    care = regime({"look": ["hunger"]}, every=1800, first="random")
    lives, held = 50, 0
    for number in range(lives):
        life = logged(simulate(truth, care, seed=1, life=number, days=2))
        found = by_path(lasts_of([life], guess))["forms.sprig.lasts", "mean"]
        held += found.low <= mean_of(distribution("uniform 20 h to 28 h")) <= found.high
    assert abs(held / lives - 0.95) < 4.5 * math.sqrt(0.95 * 0.05 / lives)
