"""What a uniform number u becomes: durations, choices and errors.

Every random quantity comes from one uniform, strictly between 0 and 1, by the inverse of its
distribution function. The arithmetic is scalar and in doubles, its order fixed, so that every
engine gets the same numbers.
"""

import math
from collections.abc import Callable, Sequence

from petsim.spec.quantities import LONGEST, Distribution

CERTAIN = 2**62
"""The error step of a chance of 1: above any threshold."""

ERROR_UNITS = 2.0**40
"""Units of what an error's trials use up, in a unit-exponential."""

# AS 241, PPND16: numerator and denominator of each range, highest power first.
_CENTRE = (
    (
        2.5090809287301226727e3,
        3.3430575583588128105e4,
        6.7265770927008700853e4,
        4.5921953931549871457e4,
        1.3731693765509461125e4,
        1.9715909503065514427e3,
        1.3314166789178437745e2,
        3.3871328727963666080e0,
    ),
    (
        5.2264952788528545610e3,
        2.8729085735721942674e4,
        3.9307895800092710610e4,
        2.1213794301586595867e4,
        5.3941960214247511077e3,
        6.8718700749205790830e2,
        4.2313330701600911252e1,
        1.0,
    ),
)
_TAIL = (
    (
        7.74545014278341407640e-4,
        2.27238449892691845833e-2,
        2.41780725177450611770e-1,
        1.27045825245236838258e0,
        3.64784832476320460504e0,
        5.76949722146069140550e0,
        4.63033784615654529590e0,
        1.42343711074968357734e0,
    ),
    (
        1.05075007164441684324e-9,
        5.47593808499534494600e-4,
        1.51986665636164571966e-2,
        1.48103976427480074590e-1,
        6.89767334985100004550e-1,
        1.67638483018380384940e0,
        2.05319162663775882187e0,
        1.0,
    ),
)
_FAR_TAIL = (
    (
        2.01033439929228813265e-7,
        2.71155556874348757815e-5,
        1.24266094738807843860e-3,
        2.65321895265761230930e-2,
        2.96560571828504891230e-1,
        1.78482653991729133580e0,
        5.46378491116411436990e0,
        6.65790464350110377720e0,
    ),
    (
        2.04426310338993978564e-15,
        1.42151175831644588870e-7,
        1.84631831751005468180e-5,
        7.86869131145613259100e-4,
        1.48753612908506148525e-2,
        1.36929880922735805310e-1,
        5.99832206555887937690e-1,
        1.0,
    ),
)


def _polynomial(coefficients: tuple[float, ...], x: float) -> float:
    total = 0.0
    for coefficient in coefficients:
        total = total * x + coefficient
    return total


def normal_quantile(u: float) -> float:
    """Return the standard normal quantile at u, to a relative accuracy of about 1e-16.

    Source: Wichura (1988), "Algorithm AS 241: the percentage points of the normal distribution",
    Applied Statistics 37:477-484, routine PPND16.
    """
    q = u - 0.5
    if abs(q) <= 0.425:
        r = 0.180625 - q * q
        return _polynomial(_CENTRE[0], r) * q / _polynomial(_CENTRE[1], r)
    r = math.sqrt(-math.log(min(u, 1.0 - u)))
    if r <= 5.0:
        z = _polynomial(_TAIL[0], r - 1.6) / _polynomial(_TAIL[1], r - 1.6)
    else:
        z = _polynomial(_FAR_TAIL[0], r - 5.0) / _polynomial(_FAR_TAIL[1], r - 5.0)
    return -z if q < 0.0 else z


def unit_exponential(u: float) -> float:
    """Return the quantile at u of the exponential distribution with mean 1."""
    return -math.log1p(-u)


def fixed(u: float, x: float) -> float:
    """Return x, whatever u is: a fixed duration uses up a draw like any other."""
    return x


def uniform(u: float, low: float, high: float) -> float:
    """Return the quantile at u of the uniform distribution from low to high."""
    return low + (high - low) * u


def triangular(u: float, low: float, mode: float, high: float) -> float:
    """Return the quantile at u of the triangular distribution from low to high around mode."""
    span = high - low
    if u * span < mode - low:
        return low + math.sqrt(u * span * (mode - low))
    return high - math.sqrt((1.0 - u) * span * (high - mode))


def exponential(u: float, mean: float) -> float:
    """Return the quantile at u of the exponential distribution."""
    return mean * unit_exponential(u)


def weibull(u: float, shape: float, scale: float) -> float:
    """Return the quantile at u of the Weibull distribution."""
    return scale * math.pow(unit_exponential(u), 1.0 / shape)


def lognormal(u: float, median: float, sigma: float) -> float:
    """Return the quantile at u of the lognormal distribution; sigma is that of the logarithm."""
    return median * math.exp(sigma * normal_quantile(u))


_QUANTILES: dict[str, Callable[..., float]] = {
    "fixed": fixed,
    "uniform": uniform,
    "triangular": triangular,
    "exponential": exponential,
    "weibull": weibull,
    "lognormal": lognormal,
}


def quantile(distribution: Distribution, u: float) -> float:
    """Return the quantile at u of a distribution, in seconds."""
    return _QUANTILES[distribution.kind](u, *distribution.parameters)


def whole_seconds(x: float) -> int:
    """Return a duration of x seconds as whole seconds: to the nearest, from 1 to 2**53."""
    if x >= LONGEST:
        return LONGEST
    return max(1, math.floor(x + 0.5))


def sample(distribution: Distribution, u: float) -> int:
    """Return the duration that u gives under a distribution, in whole seconds."""
    return whole_seconds(quantile(distribution, u))


def choose(chances: Sequence[float], u: float) -> int:
    """Return the place of the first chance whose running sum exceeds u, else the last place."""
    total = 0.0
    for place, chance in enumerate(chances):
        total += chance
        if u < total:
            return place
    return len(chances) - 1


def error_threshold(u: float) -> int:
    """Return how many error units (2**-40 of a unit-exponential) pass until the next error."""
    return math.floor(unit_exponential(u) * ERROR_UNITS)


def error_step(p: float) -> int:
    """Return how many error units a trial with chance p uses up; it errs if fewer were left.

    A chance of 1 uses up more than any threshold holds. A chance of 0 uses up none and is no
    trial; neither is one below 2**-41, which rounds to 0.
    """
    if p >= 1.0:
        return CERTAIN
    return math.floor(unit_exponential(p) * ERROR_UNITS + 0.5)


def effective_overlooks(p: float, of: int, agree: int) -> float:
    """Return the chance that fewer than `agree` of `of` looks show what is there.

    Args:
        p: the chance that one look overlooks it.
        of: the number of looks.
        agree: how many of them must show it, from 1 to `of`.
    """
    return _at_least(of - agree + 1, of, p)


def effective_imagines(p: float, of: int, agree: int) -> float:
    """Return the chance that at least `agree` of `of` looks show what is not there.

    Args:
        p: the chance that one look imagines it.
        of: the number of looks.
        agree: how many of them must show it, from 1 to `of`.
    """
    return _at_least(agree, of, p)


def effective_misreads(p: float, of: int) -> float:
    """Return the chance that the median of an odd number of readings of a level is off.

    The median is one too high if most readings are, and one too low likewise, each reading being
    either with chance p / 2.

    Args:
        p: the chance that one reading is off, by one up or down alike.
        of: the number of readings, odd.
    """
    return min(1.0, 2.0 * _at_least((of + 1) // 2, of, p / 2.0))


def _at_least(k: int, n: int, p: float) -> float:
    """The chance of at least k successes in n independent trials, each with chance p."""
    if n == 1:
        return p
    terms = (math.comb(n, i) * p**i * (1.0 - p) ** (n - i) for i in range(k, n + 1))
    return min(1.0, math.fsum(terms))
