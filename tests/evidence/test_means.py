"""Means of laws, against a reference library and the manual's definition."""

import math

import pytest
from scipy import stats as reference

from petsim.evidence.means import MEANS, mean_of, scaled, with_mean
from petsim.spec.laws import FAMILIES, Distribution, distribution

each_family = pytest.mark.parametrize("family", FAMILIES.values(), ids=lambda family: family.name)


def test_every_family_has_a_mean():
    assert MEANS.keys() == FAMILIES.keys()


@pytest.mark.parametrize(
    ("text", "law"),
    [
        ("uniform 60 s to 100 s", reference.uniform(60, 40)),
        ("triangular 60 s to 100 s around 70 s", reference.triang(0.25, 60, 40)),
        ("exponential 70 s", reference.expon(scale=70)),
        ("weibull shape 1.7 scale 70 s", reference.weibull_min(1.7, scale=70)),
        ("lognormal median 70 s sigma 0.6", reference.lognorm(0.6, scale=70)),
    ],
)
def test_the_mean_is_that_of_a_reference_library(text, law):
    assert mean_of(distribution(text)) == pytest.approx(law.mean(), rel=1e-9)


def test_a_mean_beyond_all_numbers_is_infinite():
    assert mean_of(Distribution("weibull", (0.01, 3e300))) == math.inf
    assert mean_of(Distribution("lognormal", (60.0, 50.0))) == math.inf


@each_family
def test_a_law_with_another_mean_has_it_and_keeps_its_shape(family):
    law = distribution(family.example)
    other = with_mean(law, 12_345.0)
    assert mean_of(other) == pytest.approx(12_345.0)
    for u in (0.01, 0.3, 0.9):
        assert other.quantile(u) / law.quantile(u) == pytest.approx(12_345.0 / mean_of(law))
    assert scaled(law, 1) == law
