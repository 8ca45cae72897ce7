"""Means of laws, against a reference library and the manual's definition."""

import math

import pytest
from scipy import stats as reference

from petsim.evidence.means import (
    MEANS,
    bounds_of_shape,
    mean_of,
    scaled,
    shape_of,
    with_mean,
    with_shape,
)
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


class TestShape:
    @pytest.mark.parametrize(
        ("text", "law"),
        [
            ("uniform 60 s to 100 s", reference.uniform(60, 40)),
            ("triangular 60 s to 100 s around 70 s", reference.triang(0.25, 60, 40)),
        ],
    )
    def test_of_a_law_with_ends_is_its_spread_as_a_share_of_its_mean(self, text, law):
        assert shape_of(distribution(text)) == pytest.approx(law.std() / law.mean())

    def test_of_others_is_the_parameter_of_the_file(self):
        assert shape_of(distribution("weibull shape 1.7 scale 70 s")) == 1.7
        assert shape_of(distribution("lognormal median 70 s sigma 0.6")) == 0.6
        assert shape_of(distribution("exponential 70 s")) is None
        assert shape_of(distribution("fixed 70 s")) is None

    @each_family
    def test_is_changed_without_changing_the_mean(self, family):
        law = distribution(family.example)
        if shape_of(law) is None:
            with pytest.raises(ValueError, match="has no shape"):
                bounds_of_shape(law)
            return
        for shape in (0.3 * shape_of(law), bounds_of_shape(law)[1]):
            other = with_shape(law, shape)
            assert shape_of(other) == pytest.approx(shape)
            assert mean_of(other) == pytest.approx(mean_of(law))

    @pytest.mark.parametrize("text", ["uniform 1 h to 3 h", "triangular 2 h to 3 h around 150 min"])
    def test_of_a_law_with_ends_is_greatest_where_it_begins_at_0(self, text):
        law = distribution(text)
        widest = with_shape(law, bounds_of_shape(law)[1])
        assert min(widest.parameters) == pytest.approx(0, abs=1e-6)
