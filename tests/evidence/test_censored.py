"""Laws of durations that were looked at now and then, against published fits and formulas."""

import csv
import math
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from scipy import stats as reference

from petsim.evidence.censored import Known, fit, likelihood_interval, log_likelihood
from petsim.spec.laws import Distribution

DATA = Path(__file__).parents[1] / "data"


def rows(name):
    with (DATA / name).open(encoding="utf-8") as file:
        return list(csv.reader(file))[2:]


def between(name):
    return [Known(*map(float, row)) for row in rows(name)]


def looked_at_once(name):
    """Parts that were looked at once: cracked before, or not yet."""
    for t, cracked, whole in (map(float, row) for row in rows(name)):
        yield from (Known(0, t, cracked), Known(t, math.inf, whole))


BERKSON = between("berkson_interarrival.csv")
CRACKS = between("turbine_cracks.csv")
WHEELS = list(looked_at_once("turbine_wheels.csv"))


class TestExponential:
    # Source: Meeker and Escobar (1998), "Statistical Methods for Reliability Data", example 7.1,
    # p. 154: 572.3, 41.72, [498, 662] and [496, 660], as quoted at reliawiki.com, which was read;
    # more digits computed apart from this project.
    found = fit("exponential", BERKSON)

    def test_mean_and_its_error(self):
        [mean] = self.found.law.parameters
        assert mean == pytest.approx(572.274, rel=1e-5)
        assert mean * self.found.error(0) == pytest.approx(41.7195, rel=5e-5)
        assert self.found.log_likelihood == pytest.approx(-379.2952, abs=5e-5)

    def test_intervals(self):
        assert self.found.interval(0) == pytest.approx((496.08, 660.17), rel=5e-5)
        assert likelihood_interval(self.found, BERKSON) == pytest.approx((497.58, 662.26), rel=5e-5)


class TestTwoParameters:
    def test_weibull_of_parts_looked_at_on_one_schedule(self):
        # Source: Nelson (1982), "Applied Life Data Analysis", p. 415; the data as in the guide of
        # SAS/QC's RELIABILITY procedure, which was read, the estimates from memory.
        found = fit("weibull", CRACKS)
        shape, scale = found.law.parameters
        assert (scale, shape) == pytest.approx((71.6904, 1.48537), rel=1e-5)
        assert scale * found.error(1) == pytest.approx(5.3335, rel=2e-4)
        assert shape * found.error(0) == pytest.approx(0.1465, rel=4e-4)
        assert math.log(scale) == pytest.approx(4.27236, abs=6e-6)
        assert found.error(1) == pytest.approx(0.07440, abs=6e-6)
        assert 1 / shape == pytest.approx(0.67323, abs=6e-6)
        assert found.error(0) / shape == pytest.approx(0.06642, abs=6e-6)
        assert found.log_likelihood == pytest.approx(-309.6684, abs=6e-5)

    def test_lognormal_of_the_same(self):
        # Computed apart from this project, from the likelihood.
        found = fit("lognormal", CRACKS)
        median, sigma = found.law.parameters
        assert (math.log(median), sigma) == pytest.approx((4.02685, 0.99853), abs=6e-6)
        assert found.log_likelihood == pytest.approx(-311.9148, abs=6e-5)

    def test_lognormal_of_wheels_looked_at_once(self):
        # Source: Nelson (1982) p. 409, Meeker and Escobar (1998) p. 135; the data as in the guide
        # of SAS/QC, which was read (its counts sum to 432 though it says 435), the estimates from
        # memory.
        found = fit("lognormal", WHEELS)
        median, sigma = found.law.parameters
        assert (math.log(median), sigma) == pytest.approx((3.69991, 0.71989), abs=6e-6)
        assert found.error(0) == pytest.approx(0.07083, abs=6e-6)
        assert sigma * found.error(1) == pytest.approx(0.08868, abs=6e-6)
        assert found.log_likelihood == pytest.approx(-190.7315, abs=6e-5)


class TestClosedForms:
    @pytest.mark.parametrize(
        ("gap", "found_empty", "checks", "mean"),
        [(600, 91, 412, 2404.017), (900, 80, 365, 3637.713)],
    )
    def test_equal_gaps(self, gap, found_empty, checks, mean):
        # The definition: -gap / ln(1 - k / n).
        known = [Known(0, gap, found_empty), Known(gap, math.inf, checks - found_empty)]
        [estimate] = fit("exponential", known).law.parameters
        assert estimate == pytest.approx(mean, abs=6e-4)
        assert estimate == pytest.approx(-gap / math.log1p(-found_empty / checks), rel=1e-7)

    def test_unequal_gaps(self):
        # Computed apart from this project, from the score equation; by the observed information.
        known = [
            Known(low, high, count)
            for gap, empty, checks in ((600, 30, 150), (1200, 31, 80), (3600, 33, 40))
            for low, high, count in ((0, gap, empty), (gap, math.inf, checks - empty))
        ]
        found = fit("exponential", known)
        [mean] = found.law.parameters
        assert mean == pytest.approx(2413.2336, abs=1e-4)
        assert found.error(0) / mean == pytest.approx(4.4244e-5, rel=2e-5)

    def test_the_end_of_a_likelihood_interval_fits_worse_by_its_definition(self):
        found = fit("exponential", BERKSON)
        for end in likelihood_interval(found, BERKSON):
            worse = log_likelihood(Distribution("exponential", (end,)), BERKSON)
            drop = 2 * (found.log_likelihood - worse)
            assert drop == pytest.approx(reference.chi2.ppf(0.95, 1), rel=1e-6)


class TestNoLawFits:
    @pytest.mark.parametrize("kind", ["exponential", "weibull", "lognormal"])
    @pytest.mark.parametrize("known", [Known(50, math.inf, 9), Known(0, 50, 9)])
    def test_where_none_was_seen_to_end_or_all_may_have_ended_at_once(self, kind, known):
        assert fit(kind, [known]) is None

    @pytest.mark.parametrize("kind", ["weibull", "lognormal"])
    def test_where_one_time_fits_all(self, kind):
        assert fit(kind, [Known(50, 60), Known(55, 70), Known(40, 58)]) is None

    def test_where_nothing_is_known(self):
        with pytest.raises(ValueError, match="nothing is known of any"):
            fit("exponential", [Known(0, math.inf)])


@pytest.mark.parametrize(
    "law",
    [
        Distribution("exponential", (2400.0,)),
        Distribution("weibull", (1.7, 2400.0)),
        Distribution("lognormal", (2400.0, 0.8)),
    ],
    ids=lambda law: law.kind,
)
def test_intervals_hold_as_often_as_they_say(law):
    """300 logs of 60 durations each, looked at every 10 minutes until 2 hours have passed."""
    logs, random = 300, np.random.default_rng(20)
    held = np.zeros(len(law.parameters))
    for _ in range(logs):
        lasted = [law.quantile(u) // 600 * 600 for u in random.random(60)]
        ends = Counter((t, t + 600) if t < 7200 else (7200, math.inf) for t in lasted)
        known = [Known(*between, times) for between, times in ends.items()]
        found = fit(law.kind, known)
        for index, truth in enumerate(law.parameters):
            low, high = found.interval(index)
            held[index] += low <= truth <= high
    assert abs(held / logs - 0.95).max() < 4.5 * math.sqrt(0.95 * 0.05 / logs)
