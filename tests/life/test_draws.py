"""Inverse distribution functions, errors and votes against outside values."""

import itertools
import math
import statistics

import numpy as np
import pytest
from scipy import integrate, special, stats

from petsim.life import draws
from petsim.life.streams import Stream
from petsim.spec.laws import FAMILIES, Distribution, unit_exponential, whole_seconds
from petsim.spec.normal import normal_quantile
from petsim.spec.quantities import LONGEST

(SMALLEST_SHAPE, _), (_, LARGEST_SIGMA) = (
    FAMILIES[name].parameters[place].between for name, place in (("weibull", 0), ("lognormal", 1))
)
LOWEST, HIGHEST = 2.0**-53, 1 - 2.0**-53
GRID = [LOWEST, 1e-12, 1e-6, *(k / 200 for k in range(1, 200)), 1 - 1e-6, 1 - 1e-12, HIGHEST]

# Each distribution with the reference library's own form of it.
CONTINUOUS = [
    (Distribution("uniform", (5400.0, 12600.0)), stats.uniform(5400, 7200)),
    (Distribution("uniform", (0.0, 30.0)), stats.uniform(0, 30)),
    (Distribution("triangular", (840.0, 1440.0, 2400.0)), stats.triang(600 / 1560, 840, 1560)),
    (Distribution("triangular", (60.0, 60.0, 90.0)), stats.triang(0, 60, 30)),
    (Distribution("triangular", (60.0, 90.0, 90.0)), stats.triang(1, 60, 30)),
    (Distribution("exponential", (1440.0,)), stats.expon(scale=1440)),
    (Distribution("weibull", (1.5, 10800.0)), stats.weibull_min(1.5, scale=10800)),
    (Distribution("weibull", (0.7, 5000.0)), stats.weibull_min(0.7, scale=5000)),
    (Distribution("lognormal", (2400.0, 1.0)), stats.lognorm(1, scale=2400)),
    (Distribution("lognormal", (600.0, 0.25)), stats.lognorm(0.25, scale=600)),
]
each_continuous = pytest.mark.parametrize(
    ("distribution", "reference"),
    CONTINUOUS,
    ids=[str(distribution) for distribution, _ in CONTINUOUS],
)


def stream(n, life=0):
    source = Stream(20260, "test", life)
    return [source.next() for _ in range(n)]


def within(share, p, n):
    """Whether a share of n independent trials is within 4.5 standard errors of p."""
    return abs(share - p) <= 4.5 * math.sqrt(p * (1 - p) / n)


class TestNormalQuantile:
    @pytest.mark.parametrize(
        ("u", "z"),
        [
            (0.25, -0.6744897501960817),
            (0.001, -3.090232306167814),
            (1e-20, -9.262340089798408),
        ],
    )
    def test_published_values(self, u, z):
        # Source: Wichura (1988), AS 241, its three test values (read in documents that quote it).
        assert normal_quantile(u) == pytest.approx(z, rel=1e-15)

    def test_same_as_the_standard_library(self):
        # Source: statistics.NormalDist.inv_cdf, the same algorithm; 4 units in the last place.
        for u in [*GRID, *stream(2000), 0.075, 0.925, 1e-11, 1e-300]:
            expected = statistics.NormalDist().inv_cdf(u)
            assert abs(normal_quantile(u) - expected) <= 4 * math.ulp(expected)

    def test_against_another_algorithm(self):
        # Source: scipy.special.ndtri (Cephes).
        places = [*GRID, 1e-11, 1e-300]
        values = [normal_quantile(u) for u in places]
        assert values == pytest.approx(special.ndtri(places).tolist(), rel=1e-14, abs=1e-16)

    def test_middle_is_exactly_0(self):
        assert normal_quantile(0.5) == 0.0


class TestQuantiles:
    @pytest.mark.parametrize(
        ("kind", "parameters", "expected"),
        [
            ("exponential", (3600.0,), (379.29785637, 2495.32985002, 9952.63398933)),
            ("weibull", (1.7, 3600.0), (958.09183811, 2901.81966187, 6547.68997626)),
            ("lognormal", (math.exp(8), 0.5), (1570.61763211, 2980.95798704, 6406.27843579)),
        ],
    )
    def test_closed_forms(self, kind, parameters, expected):
        # Closed forms, computed apart from this project and printed to 8 decimals: half a unit.
        values = [Distribution(kind, parameters).quantile(u) for u in (0.1, 0.5, 0.937)]
        assert values == pytest.approx(expected, rel=1e-12, abs=5e-9)

    @each_continuous
    def test_reference_library(self, distribution, reference):
        # Source: scipy.stats, ppf of each distribution.
        values = [distribution.quantile(u) for u in GRID]
        assert values == pytest.approx(reference.ppf(GRID).tolist(), rel=1e-12)

    @each_continuous
    def test_many_draws_follow_the_law(self, distribution, reference):
        # Source: scipy.stats.kstest (Kolmogorov-Smirnov), refused as 4.5 standard errors would be.
        values = [distribution.quantile(u) for u in stream(100_000)]
        assert stats.kstest(values, reference.cdf).pvalue > 2 * stats.norm.sf(4.5)

    @each_continuous
    def test_whole_seconds_follow_the_law(self, distribution, reference):
        # A duration rounds to the nearest second, so P(X <= n) = F(n + 1/2).
        values = np.array([draws.sample(distribution, u) for u in stream(50_000, life=1)])
        for p in (0.05, 0.3, 0.5, 0.7, 0.95):
            second = round(reference.ppf(p))
            share = float(np.mean(values <= second))
            assert within(share, float(reference.cdf(second + 0.5)), len(values))

    @each_continuous
    @pytest.mark.parametrize("u", [LOWEST, HIGHEST])
    def test_extreme_draws_are_finite_whole_and_positive(self, distribution, reference, u):
        del reference
        value = draws.sample(distribution, u)
        assert isinstance(value, int)
        assert 1 <= value <= LONGEST

    @each_continuous
    def test_larger_draws_never_give_less(self, distribution, reference):
        del reference
        values = [distribution.quantile(u) for u in sorted(stream(2000))]
        assert values == sorted(values)

    @pytest.mark.parametrize("u", [LOWEST, 0.3, HIGHEST])
    def test_fixed_is_fixed(self, u):
        assert draws.sample(Distribution("fixed", (300.0,)), u) == 300

    def test_small_chances_keep_their_digits(self):
        # Closed form p + p**2 / 2 + ...; -log(1 - p) would be off by 2e-5 here.
        assert unit_exponential(1e-12) == pytest.approx(1e-12 + 5e-25, rel=1e-15)

    @pytest.mark.parametrize(
        "distribution",
        [
            Distribution("weibull", (SMALLEST_SHAPE, float(LONGEST))),
            Distribution("lognormal", (float(LONGEST), LARGEST_SIGMA)),
            Distribution("exponential", (float(LONGEST),)),
        ],
        ids=str,
    )
    def test_widest_laws_a_file_may_name_are_cut(self, distribution):
        assert math.isfinite(distribution.quantile(HIGHEST))
        assert draws.sample(distribution, HIGHEST) == LONGEST
        assert draws.sample(distribution, LOWEST) == 1


def ages(reference):
    """Ages of a wait in seconds: new, below the shortest, in its prime, and old."""
    shortest = max(0.0, float(reference.support()[0]))
    quantiles = reference.ppf([1e-6, 0.1, 0.3, 0.5, 0.7, 0.9, 0.999, 1 - 1e-6]).tolist()
    return [0.0, shortest / 2, shortest, *quantiles]


class TestResiduals:
    @each_continuous
    def test_chance_to_last_is_that_of_a_reference_library(self, distribution, reference):
        # Source: scipy.stats, sf of each distribution; a few units of 1 in the last place, as its
        # sf of some is 1 - cdf.
        for age in ages(reference):
            expected = float(reference.sf(age))
            assert distribution.survival(age) == pytest.approx(expected, rel=1e-12, abs=1e-15)

    @each_continuous
    def test_what_is_left_is_the_quantile_given_the_age(self, distribution, reference):
        # Source: scipy.stats, isf and sf: S(age + x) = (1 - u) S(age). The chance (1 - u) S(age) is
        # off by a unit in the last place of 1 where isf goes by ppf, which moves x by
        # 2^-52 / density. Of age 0 it is the quantile, whose small values isf has not.
        for age in filter(None, ages(reference)):
            for u in GRID[1:-1]:
                chance = (1 - u) * float(reference.sf(age))
                expected = float(reference.isf(chance)) - age
                slack = 4 * 2.0**-52 / max(float(reference.pdf(age + expected)), 1e-9)
                value = distribution.residual(u, age)
                assert value == pytest.approx(expected, rel=1e-9, abs=1e-9 * (1 + age) + slack)

    @each_continuous
    def test_it_lasts_on_with_the_ratio_of_two_chances(self, distribution, reference):
        # P(X > age + x | X > age) = S(age + x) / S(age), by the definition of conditional chance.
        for age in ages(reference)[:-1]:
            for u in (0.01, 0.25, 0.5, 0.75, 0.99):
                left = distribution.residual(u, age)
                ratio = float(reference.sf(age + left) / reference.sf(age))
                assert ratio == pytest.approx(1 - u, abs=1e-9)

    @each_continuous
    def test_mean_of_what_is_left(self, distribution, reference):
        # Source: scipy.stats, expect, given that the age is passed. The mean over u is that over
        # t = -ln(1 - u), which keeps apart what is near 1.
        for age in ages(reference)[:-2]:
            expected = float(reference.expect(lb=age, conditional=True)) - age
            mean, _ = integrate.quad(
                lambda t, age=age: math.exp(-t) * distribution.residual(-math.expm1(-t), age),
                *(1e-12, 36),
                epsrel=1e-7,
            )
            assert mean == pytest.approx(expected, rel=1e-5)

    @each_continuous
    def test_many_draws_follow_the_law_given_the_age(self, distribution, reference):
        # Source: scipy.stats.kstest (Kolmogorov-Smirnov), refused as 4.5 standard errors would be.
        age = float(reference.ppf(0.6))

        def cdf(left):
            return 1 - reference.sf(age + left) / reference.sf(age)

        values = [distribution.residual(u, age) for u in stream(50_000, life=2)]
        assert stats.kstest(values, cdf).pvalue > 2 * stats.norm.sf(4.5)

    @pytest.mark.parametrize("age", [1, 60, 10**6, 10**12])
    def test_the_exponential_has_no_memory(self, age):
        law = Distribution("exponential", (1440.0,))
        assert [law.residual(u, age) for u in GRID] == [law.quantile(u) for u in GRID]

    def test_a_weibull_of_shape_1_has_no_memory_either(self):
        # A Weibull distribution of shape 1 is the exponential (a textbook identity).
        law = Distribution("weibull", (1.0, 1440.0))
        for u in GRID[1:-1]:
            expected = law.quantile(u)
            assert law.residual(u, 3600) == pytest.approx(expected, rel=1e-9, abs=1e-11)

    def test_what_is_left_of_a_uniform_wait_is_uniform(self):
        law = Distribution("uniform", (5400.0, 12600.0))
        for u in GRID:
            assert law.residual(u, 9000) == pytest.approx(3600 * u, abs=1e-11)
            assert law.residual(u, 600) == pytest.approx(4800 + 7200 * u, abs=1e-11)

    def test_a_fixed_wait_has_the_rest_of_it_left(self):
        law = Distribution("fixed", (300.5,))
        assert [law.residual(u, 100) for u in (LOWEST, HIGHEST)] == [200.5, 200.5]
        assert [law.can_last(age) for age in (0, 300, 301)] == [True, True, False]

    @each_continuous
    def test_extremes_are_finite_whole_and_positive(self, distribution, reference):
        oldest = float(reference.isf(1e-11))
        for age in (0, 1, math.floor(oldest)):
            for u in (LOWEST, HIGHEST):
                assert 1 <= whole_seconds(distribution.residual(u, age)) < LONGEST

    @each_continuous
    def test_can_last_up_to_a_chance_of_1e_12(self, distribution, reference):
        # Source: scipy.stats, isf.
        assert distribution.can_last(float(reference.isf(1.1e-12)) * (1 - 1e-14))
        assert not distribution.can_last(float(reference.isf(0.5e-12)) + 1e-6)

    @pytest.mark.parametrize(
        "distribution",
        [
            Distribution("weibull", (100.0, 1e-300)),
            Distribution("lognormal", (1e-300, 0.001)),
            Distribution("exponential", (1e-300,)),
        ],
        ids=str,
    )
    def test_nothing_of_the_widest_laws_overflows(self, distribution):
        assert distribution.survival(LONGEST) == 0.0
        assert not distribution.can_last(1)


@pytest.mark.parametrize(
    ("x", "seconds"),
    [
        (0.0, 1),
        (0.2, 1),
        (1.49, 1),
        (1.5, 2),
        (2.5, 3),
        (1e9 + 0.5, 10**9 + 1),
        (2.0**52 - 1, 2**52 - 1),
        (2.0**53, 2**53),
        (1e300, 2**53),
        (math.inf, 2**53),
    ],
)
def test_whole_seconds(x, seconds):
    assert whole_seconds(x) == seconds


class TestChoose:
    @pytest.mark.parametrize(
        ("u", "place"), [(LOWEST, 0), (0.59, 0), (0.6, 1), (0.89, 1), (0.95, 2), (HIGHEST, 2)]
    )
    def test_first_running_sum_above(self, u, place):
        assert draws.choose((0.6, 0.3, 0.1), u) == place

    def test_last_place_takes_what_rounding_leaves(self):
        chances = (0.1,) * 9 + (0.1 - 1e-10,)
        assert sum(chances) < HIGHEST
        assert draws.choose(chances, HIGHEST) == 9

    def test_a_chance_of_0_is_never_taken(self):
        assert {draws.choose((0.0, 0.5, 0.0, 0.5), u) for u in GRID} == {1, 3}

    def test_shares(self):
        chances, n = (0.6, 0.3, 0.1), 50_000
        taken = [draws.choose(chances, u) for u in stream(n)]
        for place, chance in enumerate(chances):
            assert within(taken.count(place) / n, chance, n)


def errors(chances, source):
    """Which trials err, each using up its step of one threshold after the other."""
    left = draws.error_threshold(source.next())
    seen = []
    for p in chances:
        left -= draws.error_step(p)
        seen.append(left < 0)
        if left < 0:
            left = draws.error_threshold(source.next())
    return seen


class TestErrors:
    @pytest.mark.parametrize("p", [0.001, 0.02, 0.06, 0.3, 0.5, 0.97])
    def test_share_of_errors(self, p):
        n = 200_000
        assert within(sum(errors([p] * n, Stream(7, "overlooks waste", 0))) / n, p, n)

    def test_trials_of_changing_chance_stay_independent(self):
        n = 100_000
        chances = [0.02, 0.3] * n
        seen = errors(chances, Stream(8, "overlooks waste", 0))
        low, high = seen[::2], seen[1::2]
        assert within(sum(low) / n, 0.02, n)
        assert within(sum(high) / n, 0.3, n)
        both = sum(one and other for one, other in zip(low, high, strict=True))
        assert within(both / n, 0.02 * 0.3, n)

    @pytest.mark.parametrize("p", [1e-9, 1e-4, 0.03, 0.2, 0.5, 0.9, 1 - 1e-6])
    def test_chance_of_one_step(self, p):
        # A threshold floor(E * 2**40) lies below h with chance 1 - exp(-h / 2**40); h is rounded
        # to a whole unit, so that chance is within half a unit of p.
        h = draws.error_step(p)
        assert -math.expm1(-h / 2**40) == pytest.approx(p, abs=2.0**-41)

    @pytest.mark.parametrize("u", stream(20))
    def test_errorless_trials_can_be_skipped_at_once(self, u):
        threshold, step = draws.error_threshold(u), draws.error_step(0.003)
        trials, left = 0, threshold
        while left >= step:
            left -= step
            trials += 1
        assert (trials, left) == divmod(threshold, step)

    def test_thresholds_are_whole_units_of_the_unit_exponential(self):
        # Source: -ln(1 - 1/2) = ln 2 = 0.693147180559945309417 (OEIS A002162, from memory).
        assert draws.error_threshold(0.5) == 693147180559945309417 * 2**40 // 10**21

    def test_certain_and_impossible(self):
        assert draws.error_step(0.0) == 0
        assert draws.error_step(1.0) == draws.CERTAIN
        assert draws.error_threshold(HIGHEST) < draws.CERTAIN < 2**63
        assert not any(errors([0.0] * 100, Stream(9, "slips feed", 0)))
        assert all(errors([1.0] * 100, Stream(9, "slips feed", 0)))


def chance(n, p, counts):
    """The chance of a set of k-of-n outcomes, added up over every sequence of looks."""
    return math.fsum(
        math.prod(p if wrong else 1 - p for wrong in looks)
        for looks in itertools.product((False, True), repeat=n)
        if counts(sum(looks))
    )


def level_seen(truth, full, p, n):
    """The chances of each level seen by the median of n clamped readings, by enumeration."""
    seen = dict.fromkeys(range(full + 1), 0.0)
    for offs in itertools.product((-1, 0, 1), repeat=n):
        reading = statistics.median(min(max(truth + off, 0), full) for off in offs)
        seen[reading] += math.prod(1 - p if off == 0 else p / 2 for off in offs)
    return seen


class TestVotes:
    # Source of the tables: von Neumann (1956) and, for 2 of 3, the triple-redundancy formula
    # 3 R**2 - 2 R**3 of Lyons and Vanderkulk (1962); from memory, recomputed.
    @pytest.mark.parametrize(
        ("of", "agree", "expected"),
        [
            (3, 2, (0.00725, 0.028, 0.104, 0.216)),
            (2, 1, (0.0025, 0.01, 0.04, 0.09)),
            (5, 3, (0.00115813, 0.00856, 0.05792, 0.16308)),
        ],
    )
    def test_overlooked(self, of, agree, expected):
        rates = [draws.effective_overlooks(p, of, agree) for p in (0.05, 0.1, 0.2, 0.3)]
        assert rates == pytest.approx(expected, abs=1e-8)

    @pytest.mark.parametrize(
        ("of", "agree", "expected"),
        [
            (3, 2, (0.001184, 0.00725, 0.028)),
            (2, 1, (0.0396, 0.0975, 0.19)),
            (5, 3, (0.00007762, 0.00115813, 0.00856)),
        ],
    )
    def test_imagined(self, of, agree, expected):
        rates = [draws.effective_imagines(p, of, agree) for p in (0.02, 0.05, 0.1)]
        assert rates == pytest.approx(expected, abs=1e-8)

    @pytest.mark.parametrize(("of", "agree"), [(2, 2), (3, 1), (4, 3), (5, 2), (7, 7)])
    @pytest.mark.parametrize("p", [0.0, 0.004, 0.37, 1.0])
    def test_every_sequence_of_looks(self, of, agree, p):
        overlooked = chance(of, p, lambda missed: of - missed < agree)
        imagined = chance(of, p, lambda shown: shown >= agree)
        assert draws.effective_overlooks(p, of, agree) == pytest.approx(overlooked, rel=1e-12)
        assert draws.effective_imagines(p, of, agree) == pytest.approx(imagined, rel=1e-12)

    def test_tail_of_the_binomial(self):
        # Source: scipy.stats.binom.sf.
        for p in (0.01, 0.2, 0.5, 0.93):
            expected = float(stats.binom.sf(10, 25, p))
            assert draws.effective_imagines(p, 25, 11) == pytest.approx(expected, rel=1e-11)

    def test_median_of_three_readings(self):
        # Same sources: right .985500, each side .007250.
        assert draws.effective_misreads(0.1, 3) == pytest.approx(2 * 0.00725, abs=1e-8)

    @pytest.mark.parametrize("of", [1, 3, 5])
    @pytest.mark.parametrize("p", [0.0, 0.1, 0.8, 1.0])
    @pytest.mark.parametrize("truth", [0, 2, 4])
    def test_median_by_enumeration(self, truth, p, of):
        rate = draws.effective_misreads(p, of)
        expected = dict.fromkeys(range(5), 0.0)
        expected[truth] += 1 - rate
        expected[max(truth - 1, 0)] += rate / 2
        expected[min(truth + 1, 4)] += rate / 2
        assert level_seen(truth, 4, p, of) == pytest.approx(expected, abs=1e-12)

    @pytest.mark.parametrize("p", [0.0, 0.06, 1 / 3, 0.1 + 0.2, 1.0])
    def test_one_look_leaves_the_rate_as_it_stands(self, p):
        assert draws.effective_overlooks(p, 1, 1) == p
        assert draws.effective_imagines(p, 1, 1) == p
        assert draws.effective_misreads(p, 1) == p

    @pytest.mark.parametrize(
        ("p", "of"),
        [(0.9303513874254228, 27), (0.9243335585215262, 24), (0.9815698877303782, 30)],
    )
    def test_never_above_1(self, p, of):
        # Found by search: the unguarded sum of these rounds to 1 + 2**-52.
        assert draws.effective_overlooks(p, of, of) == 1
        assert draws.effective_imagines(p, of, 1) == 1

    @pytest.mark.parametrize(("of", "agree"), [(2, 1), (3, 2), (9, 9)])
    def test_certain_and_impossible_looks(self, of, agree):
        for effective in (draws.effective_overlooks, draws.effective_imagines):
            assert effective(0.0, of, agree) == 0
            assert effective(1.0, of, agree) == 1


@pytest.mark.parametrize(
    ("x", "seconds"),
    [(0.2, 0), (0.499, 0), (0.5, 1), (1.5, 2), (2.49, 2), (2.0**53, 2**53), (1e300, 2**53)],
)
def test_a_check_is_late_by_whole_seconds_from_0_to_2_to_the_53(x, seconds):
    assert draws.lateness(Distribution("fixed", (x,)), 0.3) == seconds


def test_lateness_is_the_quantile_of_its_law():
    # Source: the quantile function of scipy.stats.uniform.
    for u in (0.001, 0.37, 0.9999):
        law = Distribution("uniform", (10.0, 30.0))
        assert draws.lateness(law, u) == math.floor(stats.uniform(10, 20).ppf(u) + 0.5)
