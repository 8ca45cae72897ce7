"""The law of a wait as the forward passes take it: its chances by steps of a grid."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from petsim.evidence.means import mean_of, shape_of
from petsim.spec.laws import Distribution

TAIL = 1e-4
"""The chance to last longer than the longest age that is kept apart."""
MOST_AGES = 4_000
MOST_HAZARD = 6.5
"""The logarithm of a hazard above which nothing lasts: e^-(e^6.5) is below 1e-280."""
DROPS_BETWEEN, STEPS_OF_A_WAIT = 5, 12
"""Steps of a grid there are at least between two checks, and in the mean of a wait."""


class Wait(NamedTuple):
    """A wait on a grid of steps, as the forward pass of levels takes it.

    longest: the longest age in steps that is kept apart. law: the chance to end at each age, from
    the longest down to 1; then that to last to the longest; then that to end in a step from then
    on.
    """

    longest: int
    law: NDArray[np.float64]


def grid_step(mean: float, interval: float) -> float:
    """Return the seconds of a step for waits of a mean, between checks at an interval.

    It is a fifth of the interval or a twelfth of the mean, whichever is less, rounded down to a
    divisor of the interval: the error that this makes in a mean is far below what a log can tell.
    """
    most = min(interval / DROPS_BETWEEN, mean / STEPS_OF_A_WAIT)
    return interval / math.ceil(interval / most)


def weibull(mean: float, shape: float) -> Distribution:
    """Return the Weibull law of a mean, in seconds, and a shape."""
    return Distribution("weibull", (shape, mean / math.gamma(1.0 + 1.0 / shape)))


def gridded_weibull(mean: float, shape: float, step: float) -> Wait:
    """Return a Weibull wait on a grid: of round(X / step) steps, at least 1.

    mean: in seconds, as step is.
    """
    scale = mean / math.gamma(1.0 + 1.0 / shape)
    last = scale * (-math.log(TAIL)) ** (1.0 / shape)
    longest = min(MOST_AGES, max(2, math.ceil(last / step)))
    edges = (np.arange(longest + 2) + 0.5) * step / scale
    lasting = np.exp(-np.exp(np.minimum(shape * np.log(edges), MOST_HAZARD)))
    lasting[0] = 1.0  # a wait of less than half a step takes one
    return _wait(lasting)


def _wait(lasting: NDArray[np.float64]) -> Wait:
    """A wait by its chances to last longer than 0, 1, 2 ... steps."""
    longest = len(lasting) - 2
    ends = (lasting[:-1] - lasting[1:])[:longest]
    last = lasting[longest]
    after = 1.0 - lasting[longest + 1] / last if last > 0.0 else 1.0
    return Wait(longest, np.concatenate([ends[::-1], [last, after]]))


def steps_to_end(law: Distribution, step: float) -> NDArray[np.float64]:
    """Return the chance of a wait of any law to end in a step, by age from 0, on a grid.

    The last is that of all later ages. A fixed wait is of the two numbers of steps around it, so
    that a likelihood is smooth in it.
    """
    if law.kind == "weibull":
        shape = law.parameters[0]
        wait = gridded_weibull(mean_of(law), shape, step)
        ends, (last, after) = wait.law[:-2][::-1], wait.law[-2:]
        lasting = last + ends[::-1].cumsum()[::-1]
        return np.append(ends / lasting, after)
    if law.kind == "fixed":
        whole, part = divmod(law.parameters[0] / step, 1.0)
        first = max(1, int(whole))
        return np.array([0.0] * (first - 1) + [1.0 - part if whole >= 1 else 1.0, 1.0])
    lasting = [1.0]
    while lasting[-1] > TAIL and len(lasting) < MOST_AGES:
        lasting.append(law.survival((len(lasting) + 0.5) * step))
    chances = np.array(lasting)
    return np.append(1.0 - chances[1:] / chances[:-1], 1.0)


def shape_like(law: Distribution) -> float:
    """Return the shape of the Weibull law that has the spread of a law, from 0.5 to 50.

    By Justus, Hargraves, Mikhail and Graber (1978), shape = (sd / mean)^-1.086; from memory.
    """
    shape = shape_of(law)
    if law.kind == "weibull" and shape is not None:
        return shape
    if law.kind == "exponential":
        return 1.0
    spread = math.sqrt(math.expm1(shape**2)) if law.kind == "lognormal" and shape else shape or 0.0
    return min(50.0, max(0.5, spread**-1.086)) if spread > 0 else 50.0
