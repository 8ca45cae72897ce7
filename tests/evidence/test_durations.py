"""The mean and the shape of a law from durations between bounds, against theory and simulation."""

import math

import numpy as np
import pytest
from scipy import stats as reference

from petsim.evidence.censored import Known
from petsim.evidence.durations import Durations, mean_and_shape_told, mean_told
from petsim.evidence.means import mean_of, scaled, shape_of, with_shape
from petsim.spec.laws import distribution

HOUR = 3600.0


def exactly(*lasted):
    """Durations that are known to a second."""
    return [Known(x - 0.5, x + 0.5) for x in lasted]


def durations(guess, *known):
    path, law = "forms.glint.lasts", distribution(guess)
    return Durations(tuple(known), path, "model", law, "more lives", "life", "lives")


class TestOneDuration:
    def test_of_a_uniform_law_is_as_far_off_as_the_guess_lets_it(self):
        # Theory: x = mean (0.95 + 0.1 u), and u is from 0.025 to 0.975 with a chance of 95 %.
        told = mean_told(distribution("uniform 38 h to 42 h"), exactly(39 * HOUR))
        assert told.low == pytest.approx(39 * HOUR / (0.95 + 0.1 * 0.975), rel=2e-4)
        assert told.high == pytest.approx(39 * HOUR / (0.95 + 0.1 * 0.025), rel=2e-4)
        assert told.estimate == pytest.approx(39 * HOUR, rel=2e-4)

    def test_of_a_lognormal_law(self):
        told = mean_told(distribution("lognormal median 1 h sigma 0.4"), exactly(3 * HOUR))
        mean = 3 * HOUR * math.exp(0.08)
        assert told.estimate == pytest.approx(mean, rel=1e-3)
        assert told.low == pytest.approx(mean * math.exp(-1.96 * 0.4), rel=2e-3)
        assert told.high == pytest.approx(mean * math.exp(1.96 * 0.4), rel=2e-3)

    def test_of_a_fixed_time_is_within_its_bounds(self):
        told = mean_told(distribution("fixed 5 min"), [Known(200, 400)])
        assert 200 < told.low < 210 < told.estimate < 390 < told.high < 400

    def test_of_which_two_can_be_no_fixed_time(self):
        assert mean_told(distribution("fixed 5 min"), [Known(200, 300), Known(310, 400)]) is None


def test_exponential_durations_tell_what_theory_says():
    # Theory: of n exact exponential times with sum T, 2 T / mean is chi-square with 2 n degrees.
    lasted = (600.0, 1800.0, 2000.0, 3100.0)
    told = mean_told(distribution("exponential 1 h"), exactly(*lasted))
    low, high = (2 * sum(lasted) / reference.chi2.ppf(p, 8) for p in (0.975, 0.025))
    assert told[1:] == pytest.approx((low, high), rel=2e-3)


def test_lognormal_durations_tell_what_theory_says():
    # Theory: with a prior flat in the logarithms of median and sigma, the squared deviations of the
    # logarithms over sigma² are chi-square with n - 1 degrees; the prior of sigma is around 1, and
    # the normal law of its logarithm weighs that. A step of the grid is 4 %.
    logs = np.array([6.1, 6.9, 7.2, 7.4, 7.9, 8.3])
    _, shape = mean_and_shape_told(
        distribution("lognormal median 20 min sigma 1"), exactly(*np.exp(logs))
    )
    sigma = np.exp(np.linspace(-3, 3, 20_001))
    squares = ((logs - logs.mean()) ** 2).sum() / sigma**2
    density = reference.chi2.pdf(squares, 5) * squares * reference.norm.pdf(np.log(sigma))
    below = np.cumsum(density) / density.sum()
    assert shape == pytest.approx(np.interp([0.5, 0.025, 0.975], below, sigma), rel=2e-2)


@pytest.mark.parametrize("text", ["weibull shape 2 scale 2 h", "lognormal median 1 h sigma 0.8"])
def test_many_durations_tell_the_same_by_maximum_likelihood_as_on_a_grid(text, monkeypatch):
    law, random = distribution(text), np.random.default_rng(3)
    known = [Known(t, t + 120) for u in random.random(60) for t in [law.quantile(u) // 120 * 120]]
    by_likelihood = mean_and_shape_told(law, known)
    monkeypatch.setattr("petsim.evidence.durations.MANY", 1000)
    for told, on_grid in zip(by_likelihood, mean_and_shape_told(law, known), strict=True):
        assert told != on_grid
        # a median is not a maximum, and a posterior no normal law: they tend to it with the number
        deviation = math.log(on_grid.high / on_grid.low) / 4
        assert np.abs(np.log(told) - np.log(on_grid)).max() < deviation / 2


def test_many_exponential_durations_tell_the_same_by_maximum_likelihood_as_on_a_grid(monkeypatch):
    law, random = distribution("exponential 2 h"), np.random.default_rng(3)
    known = [Known(t, t + 120) for u in random.random(60) for t in [law.quantile(u) // 120 * 120]]
    told = mean_told(law, known)
    monkeypatch.setattr("petsim.evidence.durations.MANY", 1000)
    on_grid = mean_told(law, known)
    assert told != on_grid
    assert tuple(told) == pytest.approx(on_grid, rel=0.01)


class TestReport:
    def test_one_life_shows_no_spread(self):
        mean, shape = durations("uniform 80 min to 100 min", Known(5000, 5600)).estimates()
        assert (mean.of, mean.verdict, mean.n) == ("mean", "well", 1)
        assert mean.low < mean.estimate < mean.high
        assert mean.guess == 90 * 60
        assert (shape.of, shape.verdict, shape.estimate) == ("shape", "refused", None)
        assert shape.why == "one life shows one draw of it"
        assert shape.guess == pytest.approx(shape_of(distribution("uniform 80 min to 100 min")))

    def test_four_lives_show_no_spread_and_five_do(self):
        known = [Known(t, t + 60) for t in (4000, 4500, 5000, 5500, 6000)]
        *_, shape = durations("uniform 80 min to 100 min", *known[:4]).estimates()
        assert shape.why == "4 lives are too few to show how they differ"
        *_, shape = durations("uniform 80 min to 100 min", *known).estimates()
        assert shape.verdict != "refused"
        assert shape.low < np.std([4000, 4500, 5000, 5500, 6000], ddof=1) / 5000 < shape.high

    def test_lives_that_may_all_have_lasted_alike_show_no_spread(self):
        known = [Known(t, t + 3000) for t in (4000, 4500, 5000, 5500, 6000)]
        *_, shape = durations("uniform 80 min to 100 min", *known).estimates()
        assert shape.why == "looks are too far apart to show how the times differ"

    def test_a_guess_too_narrow_for_what_was_seen_is_said(self):
        known = [Known(1000, 1100), Known(2000, 2100)]
        mean, _ = durations("uniform 80 min to 84 min", *known).estimates()
        assert mean.verdict == "refused"
        assert "too narrow" in mean.why

    def test_a_fixed_time_has_no_shape(self):
        [mean] = durations("fixed 5 min", Known(200, 400)).estimates()
        assert mean.guess == 300


@pytest.mark.parametrize(
    ("text", "n"),
    [
        ("uniform 80 min to 100 min", 1),
        ("uniform 80 min to 100 min", 4),
        ("triangular 1 h to 3 h around 90 min", 1),
        ("weibull shape 2 scale 2 h", 3),
        ("exponential 2 h", 2),
    ],
)
def test_the_mean_is_in_its_interval_as_often_as_it_says(text, n):
    """200 logs of n durations, looked at every 2 minutes, of a law half as long as the guess."""
    logs, random, truth = 200, np.random.default_rng(5), distribution(text)
    guess = scaled(truth, 2)
    held = 0
    for _ in range(logs):
        lasted = [truth.quantile(u) // 120 * 120 for u in random.random(n)]
        told = mean_told(guess, [Known(t, t + 120) for t in lasted])
        held += told.low <= mean_of(truth) <= told.high
    assert abs(held / logs - 0.95) < 4.5 * math.sqrt(0.95 * 0.05 / logs)


@pytest.mark.parametrize(
    "text",
    ["uniform 80 min to 100 min", "weibull shape 2 scale 2 h", "lognormal median 1 h sigma 1"],
)
def test_mean_and_shape_are_in_their_intervals_as_often_as_they_say(text):
    """30 logs of six durations each, of a law with half of the guess's shape."""
    logs, random, truth = 30, np.random.default_rng(6), distribution(text)
    guess, held = with_shape(truth, 2 * shape_of(truth)), np.zeros(2)
    for _ in range(logs):
        lasted = [truth.quantile(u) // 60 * 60 for u in random.random(6)]
        told = mean_and_shape_told(guess, [Known(t, t + 60) for t in lasted])
        for place, value in enumerate((mean_of(truth), shape_of(truth))):
            held[place] += told[place].low <= value <= told[place].high
    assert (held / logs > 0.95 - 4.5 * math.sqrt(0.95 * 0.05 / logs)).all(), held
    print(text, held / logs)
