"""Intervals against published tables and reference libraries."""

import csv
import math
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy import stats as reference
from statsmodels.stats.proportion import proportion_confint

from petsim.study.stats import mean_interval, newcombe_paired, wilson

REPLICATIONS = Path(__file__).parents[1] / "data" / "bank_ten_replications.csv"
COUNTS = [(0, 1), (1, 1), (0, 20), (1, 10), (13, 16), (250, 500), (999_999, 1_000_000)]


class TestWilson:
    @pytest.mark.parametrize(
        ("x", "n", "low", "high"),
        [
            # Source: Newcombe (1998), Statistics in Medicine 17:857-872, Table I. The first two
            # read in a package's tests that quote it; the others from memory, recomputed.
            (81, 263, 0.2553, 0.3662),
            (15, 148, 0.0624, 0.1605),
            (0, 20, 0.0, 0.1611),
            (1, 29, 0.0061, 0.1718),
            # Source: Fagerland, Lydersen and Laake, "Statistical Analysis of Contingency Tables",
            # chapter 2, as in the tests of the R package contingencytables.
            (13, 16, 0.5699, 0.9341),
        ],
    )
    def test_published_intervals(self, x, n, low, high):
        interval = wilson(x, n)
        assert interval.estimate == x / n
        assert (interval.low, interval.high) == pytest.approx((low, high), abs=6e-5)

    @pytest.mark.parametrize(
        ("x", "n", "low", "high"),
        [
            (81, 263, 0.25529, 0.36621),
            (15, 148, 0.06239, 0.16049),
            (0, 20, 0.0, 0.16113),
            (1, 10, 0.017876, 0.404150),
        ],
    )
    def test_more_digits(self, x, n, low, high):
        # Computed apart from this project, from Wilson's formula.
        assert wilson(x, n)[1:] == pytest.approx((low, high), abs=6e-6)

    @pytest.mark.parametrize("level", [0.8, 0.95, 0.999])
    @pytest.mark.parametrize(("x", "n"), COUNTS)
    def test_reference_library(self, x, n, level):
        # Source: statsmodels, proportion_confint(method="wilson").
        expected = proportion_confint(x, n, alpha=1 - level, method="wilson")
        assert wilson(x, n, level)[1:] == pytest.approx(expected, rel=1e-9, abs=1e-12)

    @pytest.mark.parametrize(("x", "n"), [count for count in COUNTS if 0 < count[0] < count[1]])
    def test_ends_solve_the_score_equation(self, x, n):
        # Source: the definition, Wilson (1927): |x/n - p| = z sqrt(p (1 - p) / n) at both ends.
        z = reference.norm.ppf(0.975)
        for p in wilson(x, n)[1:]:
            assert abs(x / n - p) == pytest.approx(z * math.sqrt(p * (1 - p) / n), rel=1e-7)

    @pytest.mark.parametrize("n", [1, 7, 20, 1000, 999_983])
    def test_none_and_all_reach_the_ends_exactly(self, n):
        assert wilson(0, n).low == 0
        assert wilson(n, n).high == 1
        assert wilson(0, n).high == pytest.approx(1 - wilson(n, n).low, rel=1e-12)

    @pytest.mark.parametrize(("x", "n"), [(-1, 5), (6, 5), (0, 0)])
    def test_impossible_counts_are_refused(self, x, n):
        with pytest.raises(ValueError, match=f"^{x} of {n}; expected"):
            wilson(x, n)


@pytest.mark.parametrize("level", [0, 1, 95])
def test_impossible_levels_are_refused(level):
    for interval in (
        lambda: wilson(1, 2, level),
        lambda: newcombe_paired(1, 2, 3, 4, level),
        lambda: mean_interval([1.0, 2.0], level),
    ):
        with pytest.raises(ValueError, match=f"^level: {level}; expected"):
            interval()


class TestNewcombePaired:
    @pytest.mark.parametrize(
        ("table", "estimate", "low", "high"),
        [
            # Source: data of Cavo et al. (2012) in Fagerland, Lydersen and Laake, chapter 8, as in
            # the tests of the R package contingencytables.
            ((59, 6, 16, 80), -0.0621, -0.1186, -0.0046),
            # Source: Newcombe (1998), Statistics in Medicine 17:2635-2650; from memory, recomputed.
            ((20, 12, 2, 16), 0.2000, 0.0562, 0.3292),
        ],
    )
    def test_published_intervals(self, table, estimate, low, high):
        assert newcombe_paired(*table) == pytest.approx((estimate, low, high), abs=5e-5)

    @pytest.mark.parametrize("n", [1, 54, 1000])
    def test_every_life_good_under_both(self, n):
        # Closed form: Wilson's interval of n of n is n / (n + z**2) to 1, and phi is 0.
        z = reference.norm.ppf(0.975)
        half = z**2 / (n + z**2)
        expected = (0, -half, half)
        assert newcombe_paired(n, 0, 0, 0) == pytest.approx(expected, rel=1e-9)
        assert newcombe_paired(0, 0, 0, n) == pytest.approx(expected, rel=1e-9)

    @pytest.mark.parametrize("n", [1, 54, 1000])
    def test_every_life_told_apart(self, n):
        # Closed form: both shares at an end, so the interval is that of Wilson twice, phi 0.
        z = reference.norm.ppf(0.975)
        low = 1 - math.sqrt(2) * z**2 / (n + z**2)
        assert newcombe_paired(0, n, 0, 0) == pytest.approx((1, low, 1), rel=1e-9)

    @pytest.mark.parametrize("table", [(50, 0, 0, 50), (1, 0, 0, 1), (700_000, 0, 0, 300_000)])
    def test_identical_regimes_differ_by_exactly_0(self, table):
        interval = newcombe_paired(*table)
        assert interval.estimate == 0
        assert interval.low < 0 < interval.high

    def test_a_positive_association_within_the_correction_counts_as_none(self):
        # Newcombe's correction: a surplus ad - bc of 0 to n/2 gives phi 0, so the limits are those
        # of two independent samples (method 10 of his companion paper, Statistics in Medicine
        # 17:873-890; from memory).
        a, b, c, d = 5, 5, 4, 6
        n = a + b + c + d
        assert 0 < a * d - b * c <= n / 2
        first, second = wilson(a + b, n), wilson(a + c, n)
        below = math.hypot(first.estimate - first.low, second.high - second.estimate)
        above = math.hypot(first.high - first.estimate, second.estimate - second.low)
        expected = (0.05, 0.05 - below, 0.05 + above)
        assert newcombe_paired(a, b, c, d) == pytest.approx(expected, rel=1e-12)

    def test_a_negative_association_is_left_as_it_is(self):
        # Newcombe (1998), method 10 written out: phi = (3 * 2 - 9 * 14) / sqrt(12 * 16 * 17 * 11).
        phi = -120 / math.sqrt(12 * 16 * 17 * 11)
        (p1, l1, u1), (p2, l2, u2) = wilson(12, 28), wilson(17, 28)
        below = (p1 - l1) ** 2 - 2 * phi * (p1 - l1) * (u2 - p2) + (u2 - p2) ** 2
        above = (u1 - p1) ** 2 - 2 * phi * (u1 - p1) * (p2 - l2) + (p2 - l2) ** 2
        expected = (-5 / 28, -5 / 28 - math.sqrt(below), -5 / 28 + math.sqrt(above))
        assert newcombe_paired(3, 9, 14, 2) == pytest.approx(expected, rel=1e-12)

    @pytest.mark.parametrize("table", [(59, 6, 16, 80), (3, 9, 14, 2), (0, 5, 0, 7), (8, 0, 3, 0)])
    def test_regimes_exchanged(self, table):
        a, b, c, d = table
        one, other = newcombe_paired(a, b, c, d), newcombe_paired(a, c, b, d)
        assert one == pytest.approx((-other.estimate, -other.high, -other.low), rel=1e-12)

    def test_pairing_narrows_the_interval(self):
        paired, crossed = newcombe_paired(450, 50, 40, 460), newcombe_paired(250, 250, 240, 260)
        assert paired.estimate == crossed.estimate
        assert paired.high - paired.low < (crossed.high - crossed.low) / 2

    def test_coverage(self):
        # 2000 tables of 60 lives with shares .30 .25 .15 .30: the true difference .10 is covered
        # in about 95 % of them, 4.5 standard errors allowed.
        tables = np.random.default_rng(20260).multinomial(60, [0.30, 0.25, 0.15, 0.30], size=2000)
        covered = sum(low <= 0.10 <= high for _, low, high in (newcombe_paired(*t) for t in tables))
        assert abs(covered / 2000 - 0.95) < 4.5 * math.sqrt(0.95 * 0.05 / 2000)

    def test_library_integers_do_not_overflow(self):
        large = [np.int64(x) for x in (500_000, 1000, 2000, 497_000)]
        assert newcombe_paired(*large) == newcombe_paired(500_000, 1000, 2000, 497_000)

    @pytest.mark.parametrize("table", [(0, 0, 0, 0), (5, -1, 0, 5)])
    def test_impossible_tables_are_refused(self, table):
        with pytest.raises(ValueError, match=r"^table .*; expected counts of 0 or more"):
            newcombe_paired(*table)


class TestMeanInterval:
    def test_ten_replications(self):
        # Source: Law, "Simulation Modeling and Analysis", chapter 9 (2.03 +- .32 at 90 %; the data
        # read in a document that quotes them, the half-width from memory, recomputed).
        with REPLICATIONS.open() as file:
            rows = csv.DictReader(line for line in file if not line.startswith("#"))
            delays = [float(row["mean_delay_min"]) for row in rows]
        expected = (2.031, 2.031 - 0.322283, 2.031 + 0.322283)
        assert mean_interval(delays, 0.90) == pytest.approx(expected, abs=1e-5)

    @pytest.mark.parametrize("n", [2, 3, 30, 5000])
    @pytest.mark.parametrize("level", [0.5, 0.95, 0.999])
    def test_reference_library(self, n, level):
        # Source: scipy.stats.t.interval with scipy.stats.sem.
        values = np.random.default_rng(n).gamma(2.0, 5.0, size=n)
        expected = reference.t.interval(level, n - 1, values.mean(), reference.sem(values))
        interval = mean_interval(values, level)
        assert interval.estimate == pytest.approx(values.mean(), rel=1e-14)
        assert interval[1:] == pytest.approx(expected, rel=1e-9)

    # the sum of ten times 0.3 is not 3 in binary
    @pytest.mark.parametrize(("value", "n"), [(0.0, 12), (0.3, 10), (1 / 3, 50)])
    def test_equal_values_leave_no_doubt(self, value, n):
        assert mean_interval([value] * n) == (value, value, value)

    def test_one_value_says_nothing_of_the_spread(self):
        estimate, low, high = mean_interval([4.0])
        assert estimate == 4
        assert math.isnan(low)
        assert math.isnan(high)

    def test_no_values_are_refused(self):
        with pytest.raises(ValueError, match=r"^no values; expected at least one"):
            mean_interval([])

    def test_any_iterable(self):
        assert mean_interval(float(x) for x in range(5)) == mean_interval(np.arange(5))


def test_importing_the_module_does_not_load_scipy():
    code = "import sys, petsim.study.stats; sys.exit('scipy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
