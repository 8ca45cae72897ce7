"""The distributions that a file may name, a row each.

A row of `FAMILIES` has all that is known of one family of distributions: its text, its parameters,
its bounds and its quantile function. Files are read and written, checked by an editor and lived on
both engines by these rows alone, so another distribution is another row here, a line in the manual
of models, and a check against a reference library in the tests of the draws.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

from petsim.errors import MisfitError, quote, unknown
from petsim.spec.document import plain_number
from petsim.spec.normal import normal_quantile
from petsim.spec.quantities import LONGEST, NUMBER, TIME_PATTERN, duration_text, seconds

A_LAW = "expected a time or a distribution, such as 5 min or uniform 6 min to 10 min"

# Quantile functions. They are plain functions of u and the parameters, of numbers alone, so that
# numba compiles them as they stand. The order of their arithmetic is part of what a life is.


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


# The rows

MOST_PARAMETERS = 3
"""Parameters that a family may have, for which the engines have room."""


class Parameter(NamedTuple):
    """A parameter of a family: a time in seconds, or a number without a unit.

    Args:
        name: as the text of the family calls it.
        may_be_zero: whether a time may be 0 s.
        between: the least and the greatest value of a number without a unit, within which no
            sample overflows a double; None for a time.
    """

    name: str
    may_be_zero: bool = False
    between: tuple[float, float] | None = None

    @property
    def pattern(self) -> str:
        """The regular expression of its text."""
        return NUMBER if self.between else f"(?:{TIME_PATTERN})"

    def read(self, text: str) -> float:
        """Return the value of a text.

        Raises:
            MisfitError: it is no time or number, or out of its bounds.
        """
        if self.between:
            least, most = self.between
            value = float(text) if re.fullmatch(NUMBER, text) else math.nan
            if not least <= value <= most:
                bounds = f"{plain_number(least)} to {plain_number(most)}"
                raise MisfitError(f"expected the {self.name}, a number from {bounds}")
            return value
        exact = seconds(text)
        if exact == 0 and not self.may_be_zero:
            raise MisfitError("expected a time above zero")
        return float(exact)

    def write(self, value: float) -> str:
        """Return the text of a value."""
        return plain_number(value) if self.between else duration_text(value)


def _any_time(*parameters: float) -> tuple[float, float | None]:
    return 0.0, None


def _always(*parameters: float) -> bool:
    return True


@dataclass(frozen=True)
class Family:
    """A family of distributions of times.

    Args:
        template: its text in a file, each parameter in braces; its first word is its name.
        example: such a text.
        parameters: in the order of the functions below.
        quantile: the time in seconds for a number u between 0 and 1 and the parameters; compiled
            by numba too, with every function it calls, so all of them take and return numbers.
        bounds: the shortest and the longest time in seconds for the parameters, None for no
            longest.
        fits: whether parameters go together.
        misfit: what the message expects where they do not.
    """

    template: str
    example: str
    parameters: tuple[Parameter, ...]
    quantile: Callable[..., float]
    bounds: Callable[..., tuple[float, float | None]] = _any_time
    fits: Callable[..., bool] = _always
    misfit: str = ""

    def __post_init__(self) -> None:
        if len(self.parameters) > MOST_PARAMETERS:
            raise ValueError(f"{self.name}: more than {MOST_PARAMETERS} parameters")

    @property
    def name(self) -> str:
        """The first word of its text."""
        return self.template.partition(" ")[0]

    @property
    def pattern(self) -> str:
        """The regular expression of its text."""
        return self.template.format_map({p.name: p.pattern for p in self.parameters})

    def read(self, text: str) -> tuple[float, ...]:
        """Return the parameters of a text.

        Raises:
            MisfitError: the text is not of its form, or a parameter is wrong.
        """
        form = self.template.format_map({p.name: f"(?P<{p.name}>.+)" for p in self.parameters})
        match = re.fullmatch(form, text)
        if match is None:
            raise MisfitError(f"expected the form of {self.example}")
        named = {p.name: p for p in self.parameters}
        values: dict[str, float] = {}
        for name, part in match.groupdict().items():
            try:
                values[name] = named[name].read(part)
            except MisfitError as misfit:
                finding = misfit.found or f"found {quote(part)}"
                raise MisfitError(misfit.expected, f"{finding} in {quote(text)}") from None
        parameters = tuple(values[name] for name in named)
        if not self.fits(*parameters):
            raise MisfitError(self.misfit)
        return parameters

    def write(self, values: tuple[float, ...]) -> str:
        """Return the text of parameters."""
        pairs = zip(self.parameters, values, strict=True)
        return self.template.format_map({p.name: p.write(value) for p, value in pairs})


FAMILIES: dict[str, Family] = {
    family.name: family
    for family in (
        Family(
            "fixed {time}",
            "fixed 5 min",
            (Parameter("time"),),
            fixed,
            bounds=lambda time: (time, time),
        ),
        Family(
            "uniform {low} to {high}",
            "uniform 6 min to 10 min",
            (Parameter("low", may_be_zero=True), Parameter("high")),
            uniform,
            bounds=lambda low, high: (low, high),
            fits=lambda low, high: low < high,
            misfit="expected the shorter time first, then a longer one",
        ),
        Family(
            "triangular {low} to {high} around {mode}",
            "triangular 14 min to 40 min around 24 min",
            (
                Parameter("low", may_be_zero=True),
                Parameter("mode", may_be_zero=True),
                Parameter("high"),
            ),
            triangular,
            bounds=lambda low, mode, high: (low, high),
            fits=lambda low, mode, high: low <= mode <= high and low < high,
            misfit="expected the shortest time, the longest, and one between to lie around",
        ),
        Family(
            "exponential {mean}",
            "exponential 24 min",
            (Parameter("mean"),),
            exponential,
        ),
        Family(
            "weibull shape {shape} scale {scale}",
            "weibull shape 1.5 scale 3 h",
            (Parameter("shape", between=(0.01, 100.0)), Parameter("scale")),
            weibull,
        ),
        Family(
            "lognormal median {median} sigma {sigma}",
            "lognormal median 40 min sigma 1.0",
            (Parameter("median"), Parameter("sigma", between=(0.001, 50.0))),
            lognormal,
        ),
    )
}
"""All families by their names, in the order of the numbers that stand for them in the kernel."""


# Distributions


@dataclass(frozen=True)
class Distribution:
    """The law of a time in seconds: the name of a family, and its parameters in their order."""

    kind: str
    parameters: tuple[float, ...]

    def quantile(self, u: float) -> float:
        """Return the time in seconds that a number u, strictly between 0 and 1, stands for."""
        return FAMILIES[self.kind].quantile(u, *self.parameters)

    def bounds(self) -> tuple[int, int | None]:
        """Return the smallest and largest whole second a sample rounds to; None: no largest."""
        low, high = FAMILIES[self.kind].bounds(*self.parameters)
        return whole_seconds(low), None if high is None else whole_seconds(high)

    def __str__(self) -> str:
        return FAMILIES[self.kind].write(self.parameters)


def whole_seconds(x: float) -> int:
    """Return a duration of x seconds as whole seconds: to the nearest, from 1 to 2**53."""
    return max(1, nearest_second(x))


def nearest_second(x: float) -> int:
    """Return a time of x seconds as whole seconds: to the nearest, from 0 to 2**53."""
    if x >= LONGEST:
        return LONGEST
    return math.floor(x + 0.5)


def distribution(text: str) -> Distribution:
    """Return the distribution of a text such as `uniform 6 min to 10 min`; a time is fixed.

    Raises:
        MisfitError: it is neither.
    """
    kind = text.partition(" ")[0]
    if kind in FAMILIES:
        return Distribution(kind, FAMILIES[kind].read(text))
    if re.fullmatch("[a-z]{5,}", kind):
        raise unknown("distribution", kind, FAMILIES)
    return Distribution("fixed", (FAMILIES["fixed"].parameters[0].read(text),))


def pattern() -> str:
    """Return the regular expression of a time or a distribution."""
    return "|".join([f"(?:{TIME_PATTERN})", *(family.pattern for family in FAMILIES.values())])
