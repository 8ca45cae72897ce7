"""The mean of a distribution, and a distribution of the same shape with another mean.

What a log tells best of a law is its mean. A fit that can tell no more keeps the family and the
shape of the guess: every time in the law is longer or shorter by the same factor, so that its
spread stays the same share of its mean.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from petsim.spec.laws import FAMILIES, Distribution

MEANS: dict[str, Callable[..., float]] = {
    "fixed": lambda time: time,
    "uniform": lambda low, high: (low + high) / 2,
    "triangular": lambda low, mode, high: (low + mode + high) / 3,
    "exponential": lambda mean: mean,
    "weibull": lambda shape, scale: scale * math.gamma(1 + 1 / shape),
    "lognormal": lambda median, sigma: median * math.exp(sigma**2 / 2),
}
"""The mean in seconds of each family, for its parameters."""


def mean_of(law: Distribution) -> float:
    """Return the mean of a law in seconds, infinity where it is beyond all numbers."""
    try:
        return MEANS[law.kind](*law.parameters)
    except OverflowError:
        return math.inf


def scaled(law: Distribution, factor: float) -> Distribution:
    """Return the law of times that are longer by a factor."""
    parameters = zip(FAMILIES[law.kind].parameters, law.parameters, strict=True)
    return Distribution(
        law.kind,
        tuple(value if parameter.between else value * factor for parameter, value in parameters),
    )


def with_mean(law: Distribution, mean: float) -> Distribution:
    """Return the law of the same family and shape that has a mean, in seconds."""
    return scaled(law, mean / mean_of(law))
