"""The mean and the shape of a distribution, and one of the same family with others.

What a log tells best of a law is its mean. A fit that can tell no more keeps the family and the
shape of the guess: every time in the law is longer or shorter by the same factor, so that its
spread stays the same share of its mean.

The shape of a Weibull law is the parameter of that name, that of a lognormal one its sigma, and of
a uniform or triangular one the standard deviation as a share of the mean. Fixed times and
exponential ones have none.
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
MOST_SIGMA = 30.0


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


def shape_of(law: Distribution) -> float | None:
    """Return the shape of a law, None if its family has none."""
    match law.kind:
        case "weibull":
            return law.parameters[0]
        case "lognormal":
            return law.parameters[1]
        case "uniform":
            low, high = law.parameters
            return (high - low) / math.sqrt(12) / mean_of(law)
        case "triangular":
            low, mode, high = law.parameters
            squares = (mode - low) ** 2 + (high - mode) ** 2 + (high - low) ** 2
            return math.sqrt(squares) / 6 / mean_of(law)
    return None


def bounds_of_shape(law: Distribution) -> tuple[float, float]:
    """Return the least and the greatest shape that a law of its family can have.

    A law with ends can't begin below 0 s, and a triangular one stays as lopsided as it is. A
    lognormal one of a greater sigma has a mean beyond all numbers.
    """
    for parameter in FAMILIES[law.kind].parameters:
        if parameter.between:
            least, most = parameter.between
            return least, min(most, MOST_SIGMA) if law.kind == "lognormal" else most
    shape, mean = shape_of(law), mean_of(law)
    if shape is None:
        raise ValueError(f"{law}: has no shape; expected a law that has one")
    return 1e-4, shape * mean / (mean - min(law.parameters))


def with_shape(law: Distribution, shape: float) -> Distribution:
    """Return the law of the same family and mean that has a shape, within its bounds."""
    mean = mean_of(law)
    if law.kind == "weibull":
        return with_mean(Distribution("weibull", (shape, 1.0)), mean)
    if law.kind == "lognormal":
        return with_mean(Distribution("lognormal", (1.0, shape)), mean)
    wider = shape / (shape_of(law) or math.nan)
    ends = (max(0.0, mean + (x - mean) * wider) for x in law.parameters)
    return Distribution(law.kind, tuple(ends))
