"""What durations of which only bounds are known tell of the mean and the shape of their law.

The doubt is that of a posterior, summed over a grid, so that it holds for laws with ends too, to
which no normal one is near, and for a single duration, of which the guess says how far from the
mean it may be. Before the log every logarithm of the mean is as likely as another; that of the
shape is around the guess's. Of exact durations, and a law that is right but for its mean, the
interval of the mean holds as often as it says.

Of many durations the likelihood of a law without ends is near to a normal one, and a grid would
take long: they are told by maximum likelihood.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from petsim.evidence.censored import (
    Fit,
    Fitted,
    Known,
    fit,
    likelihood_interval,
    log_likelihood,
)
from petsim.evidence.estimate import Z95, Estimate, Of, refused, text_of, verdict_of
from petsim.evidence.means import bounds_of_shape, mean_of, scaled, shape_of, with_shape
from petsim.spec.laws import FAMILIES, Distribution

LEAST_FOR_SHAPE = 5
"""Durations from which on their law's shape is estimated, and no longer that of the guess."""
MANY = 30
"""Durations from which on laws without ends are told by maximum likelihood."""
SHAPED: tuple[Fitted, ...] = ("weibull", "lognormal")
DOUBT_BEFORE: dict[Of, float] = {"mean": 1.5, "shape": 1.0}
"""Standard deviations of the logarithms before the log, with which those after it are compared;
that of the shape is also the prior."""
NEGLIGIBLE = 20.0
"""How much less than the greatest a logarithm of a likelihood is where nothing counts any more."""
FINE, COARSE, ZOOMS = 400, 50, 3
"""Points of a grid in one dimension, and on each side of one in two; how often it is narrowed."""
SMALL = 1e-5
"""The step in the logarithm of a parameter by which the slope of the mean is taken."""
RARE = 1e-4
"""The chance of times beyond which the first grid does not look."""

Vector = NDArray[np.float64]


class Told(NamedTuple):
    """A parameter's median and its 95 % interval."""

    estimate: float
    low: float
    high: float


@dataclass(frozen=True)
class Durations:
    """Durations of one law, and how what they tell is reported.

    known: what is known of each. path, file: of the law. guess: the law in the file. record: what
    to record for more of them. one, several: what they come from, such as `life` and `lives`.
    """

    known: tuple[Known, ...]
    path: str
    file: Literal["model", "regime"]
    guess: Distribution
    record: str
    one: str
    several: str

    @property
    def ended(self) -> int:
        """How many of them were seen to end."""
        return _ended(self.known)

    def estimates(self) -> list[Estimate]:
        """The mean, and the shape if the law's family has one."""
        shape = shape_of(self.guess)
        if shape is None or self.ended < LEAST_FOR_SHAPE or self._are_all_alike():
            alone = [self._reported("mean", mean_of(self.guess), mean_told(self.guess, self.known))]
            return alone if shape is None else [*alone, self._no_shape(shape)]
        mean, told = mean_and_shape_told(self.guess, self.known)
        return [
            self._reported("mean", mean_of(self.guess), mean),
            self._reported("shape", shape, told),
        ]

    def _are_all_alike(self) -> bool:
        """Whether one and the same time is possible for all, so that nothing shows their spread."""
        return max(known.low for known in self.known) < min(known.high for known in self.known)

    def _no_shape(self, guess: float) -> Estimate:
        n = self.ended
        if n >= LEAST_FOR_SHAPE:
            why = "looks are too far apart to show how the times differ"
        elif n == 1:
            why = f"one {self.one} shows one draw of it"
        else:
            why = f"{n} {self.several} are too few to show how they differ"
        return refused(self.path, self.file, "shape", guess=guess, record=self.record, why=why, n=n)

    def _reported(self, of: Of, guess: float, told: Told | None) -> Estimate:
        if told is None:
            why = "no time that the guess allows fits what was seen, so its spread is too narrow"
            return refused(
                self.path, self.file, of, guess=guess, record=self.record, why=why, n=self.ended
            )
        shrink = math.log(told.high / told.low) / (2 * Z95) / DOUBT_BEFORE[of]
        verdict = verdict_of(shrink, of, told.low, told.high)
        if verdict == "refused":
            ends = f"{text_of(of, told.low)} to {text_of(of, told.high)}"
            why = f"it would look much the same from {ends}"
            return refused(
                self.path, self.file, of, guess=guess, record=self.record, why=why, n=self.ended
            )
        return Estimate(
            self.path,
            self.file,
            of,
            *told,
            verdict,
            guess,
            record="" if verdict == "well" else self.record,
            n=self.ended,
            shrink=shrink,
        )


def mean_told(guess: Distribution, known: Sequence[Known]) -> Told | None:
    """Return what durations tell of the mean of a law that has the guess's family and shape.

    None if none of its laws can have given such durations. At least one must have been seen to end.
    """
    if guess.kind == "exponential" and _ended(known) >= MANY:
        found = fit("exponential", known)
        if found is not None:
            return Told(mean_of(found.law), *likelihood_interval(found, known))

    def fits(log_factor: float) -> float:
        return log_likelihood(scaled(guess, math.exp(log_factor)), known)

    grid = np.linspace(*_factors(guess, known), FINE)
    for _ in range(ZOOMS):
        chances = np.array([fits(x) for x in grid])
        if chances.max() == -math.inf:
            return None
        grid = np.linspace(*_where_it_counts(grid, chances), FINE)
    weights = _weights(np.array([fits(x) for x in grid]))
    return _told(mean_of(guess) * np.exp(grid), weights)


def mean_and_shape_told(guess: Distribution, known: Sequence[Known]) -> tuple[Told, Told]:
    """Return what durations tell of the mean, and of the shape, of a law of the guess's family.

    The family must have a shape, and no single time may be possible for all the durations.
    """
    kind = next((kind for kind in SHAPED if kind == guess.kind), None)
    if kind is not None and _ended(known) >= MANY:
        found = fit(kind, known)
        if found is not None:
            return _mean_of_fit(found), _shape_of_fit(found)

    middles = np.linspace(*_middles(known), COARSE)
    shapes = np.linspace(*_shapes(guess), COARSE)
    for _ in range(ZOOMS):
        chances = _chances(guess, middles, shapes, known)
        middles = np.linspace(*_where_it_counts(middles, chances.max(axis=0)), COARSE)
        shapes = np.linspace(*_where_it_counts(shapes, chances.max(axis=1)), COARSE)
    weights = _weights(_chances(guess, middles, shapes, known))
    means = [[mean_of(law) for law in laws] for laws in _laws(guess, middles, shapes)]
    return (
        _told(np.array(means).ravel(), weights.ravel()),
        _told(np.exp(shapes), weights.sum(axis=1)),
    )


def _mean_of_fit(found: Fit) -> Told:
    """The mean of a fitted law, with Wald's interval on the scale of its logarithm."""
    law = found.law

    def log_mean(place: int, by: float) -> float:
        moved = [x * math.exp(by * (place == other)) for other, x in enumerate(law.parameters)]
        return math.log(mean_of(Distribution(law.kind, tuple(moved))))

    places = range(len(law.parameters))
    slopes = np.array([(log_mean(i, SMALL) - log_mean(i, -SMALL)) / (2 * SMALL) for i in places])
    error = math.sqrt(float(slopes @ np.array(found.covariance) @ slopes))
    factor = math.exp(Z95 * error)
    return Told(mean_of(law), mean_of(law) / factor, mean_of(law) * factor)


def _shape_of_fit(found: Fit) -> Told:
    """The shape of a fitted law, with Wald's interval on the scale of its logarithm."""
    kinds = FAMILIES[found.law.kind].parameters
    place = next(place for place, kind in enumerate(kinds) if kind.between)
    return Told(found.law.parameters[place], *found.interval(place))


def _ended(known: Sequence[Known]) -> int:
    return sum(math.isfinite(each.high) for each in known)


def _laws(guess: Distribution, middles: Vector, shapes: Vector) -> Iterator[list[Distribution]]:
    """Laws of the guess's family: for each logarithm of a shape those of all medians."""
    for shape in shapes:
        law = with_shape(guess, math.exp(shape))
        unit = scaled(law, 1 / law.quantile(0.5))
        yield [scaled(unit, math.exp(middle)) for middle in middles]


def _chances(
    guess: Distribution, middles: Vector, shapes: Vector, known: Sequence[Known]
) -> Vector:
    """The logarithm of the posterior at each point of a grid: shapes down, medians across."""
    laws = _laws(guess, middles, shapes)
    chances: Vector = np.array([[log_likelihood(law, known) for law in row] for row in laws])
    off = (shapes - math.log(shape_of(guess) or math.nan)) / DOUBT_BEFORE["shape"]
    chances -= (off**2 / 2).reshape(-1, 1)
    return chances


def _factors(guess: Distribution, known: Sequence[Known]) -> tuple[float, float]:
    """The logarithms of factors between which a law must be longer than the guess, or shorter."""
    ended = [each for each in known if math.isfinite(each.high)]
    shortest, longest = guess.quantile(RARE), guess.quantile(1 - RARE)
    low = min(max(1.0, each.low) for each in ended) / longest
    return math.log(low), math.log(max(each.high for each in ended) / max(1.0, shortest)) + 3.0


def _middles(known: Sequence[Known]) -> tuple[float, float]:
    """Logarithms between which the median of the law of durations is, by their own spread."""
    ended = np.array([each[:2] for each in known if math.isfinite(each.high)])
    logs, n = np.log(ended.mean(axis=1)), len(ended)
    widths = (ended[:, 1] - ended[:, 0]) / ended.mean(axis=1)
    half = 6 * logs.std() / math.sqrt(n) + widths.mean() + 2 * (len(known) - n) / n
    return logs.mean() - half, logs.mean() + half


def _shapes(guess: Distribution) -> tuple[float, float]:
    """Logarithms of shapes between which one is looked for: up to 10 times the guess's, or less."""
    shape, (least, most) = shape_of(guess) or math.nan, bounds_of_shape(guess)
    return math.log(max(least, shape / 10)), math.log(min(most, shape * 10))


def _where_it_counts(grid: Vector, chances: Vector) -> tuple[float, float]:
    """The ends of the part of a grid outside which logarithms of chances are negligible."""
    [counting] = np.nonzero(chances > chances.max() - NEGLIGIBLE)
    first, last = max(0, counting[0] - 1), min(len(grid) - 1, counting[-1] + 1)
    return float(grid[first]), float(grid[last])


def _weights(chances: Vector) -> Vector:
    """Shares of chances, of which these are the logarithms."""
    weights: Vector = np.exp(chances - chances.max())
    weights /= weights.sum()
    return weights


def _told(values: Vector, weights: Vector) -> Told:
    """The median and the 95 % interval of values that have these weights."""
    order = np.argsort(values)
    below = np.cumsum(weights[order]) - weights[order] / 2
    return Told(*(float(np.interp(x, below, values[order])) for x in (0.5, 0.025, 0.975)))
