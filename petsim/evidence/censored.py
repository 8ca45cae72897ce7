"""Laws of durations of which only bounds are known, by maximum likelihood.

A duration that was seen to end between two looks counts with the chance that the law gives to what
lies between, one that had not ended with the chance to last longer. Parameters are fitted on the
scale of their logarithms, on which the likelihood of few durations is nearest to a normal one.

Source: Meeker and Escobar (1998), "Statistical Methods for Reliability Data", chapters 7 and 8;
from memory.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, NamedTuple

from petsim.evidence.estimate import Z95
from petsim.spec.laws import Distribution

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Vector = NDArray[np.float64]

Fitted = Literal["exponential", "weibull", "lognormal"]
FARTHEST = 15.0
"""How far from where it begins a fit looks for a parameter, in its logarithm."""
STEP = 1e-3
"""The step in the logarithms of parameters by which the curvature of the likelihood is taken."""
CHI95 = Z95**2
"""What a chi-square of 1 degree of freedom, the square of a normal number, exceeds in 5 %."""


class Known(NamedTuple):
    """What is known of a duration: it is above low seconds and not above high.

    times: how many durations that is known of. high: infinity if it was not seen to end.
    """

    low: float
    high: float
    times: float = 1


@dataclass(frozen=True)
class Fit:
    """A law that makes what is known of some durations likeliest.

    covariance: of the logarithms of its parameters, by the observed information.
    """

    law: Distribution
    log_likelihood: float
    covariance: tuple[tuple[float, ...], ...]

    def error(self, index: int) -> float:
        """Return the standard error of the logarithm of a parameter, by its place in the law."""
        return math.sqrt(self.covariance[index][index])

    def interval(self, index: int) -> tuple[float, float]:
        """Return the 95 % interval of a parameter: Wald's, on the scale of logarithms."""
        factor = math.exp(Z95 * self.error(index))
        return self.law.parameters[index] / factor, self.law.parameters[index] * factor


def log_likelihood(law: Distribution, durations: Sequence[Known]) -> float:
    """Return the logarithm of the chance of what is known of durations, -infinity if it is 0."""
    total = 0.0
    for low, high, times in durations:
        chance = law.survival(low) - (law.survival(high) if high < math.inf else 0.0)
        if chance <= 0:
            return -math.inf
        total += times * math.log(chance)
    return total


def fit(kind: Fitted, durations: Sequence[Known]) -> Fit | None:
    """Return the law of a family that fits best.

    None where no law does: the more extreme, the better it fits. So it is if no duration was seen
    to end, or to last; and with more than one parameter if one and the same time fits them all.
    """
    from scipy.optimize import minimize

    def loss(free: Vector) -> float:
        if max(abs(free - start)) > FARTHEST:
            return math.inf
        return -log_likelihood(_law(kind, free), durations)

    start = _start(kind, durations)
    found = minimize(loss, start, method="Nelder-Mead", options={"xatol": 1e-8, "fatol": 1e-11})
    if not math.isfinite(found.fun) or max(abs(found.x - start)) > FARTHEST - 1:
        return None
    covariance = _covariance(loss, found.x)
    return None if covariance is None else Fit(_law(kind, found.x), -float(found.fun), covariance)


def likelihood_interval(found: Fit, durations: Sequence[Known]) -> tuple[float, float]:
    """Return the 95 % likelihood-ratio interval of the mean of an exponential law that was fitted.

    Its ends fit worse by half of the 95 % quantile of chi-square with 1 degree of freedom.
    """
    from scipy.optimize import brentq

    [mean] = found.law.parameters

    def beyond(shift: float) -> float:
        law = Distribution("exponential", (mean * math.exp(shift),))
        return 2 * (found.log_likelihood - log_likelihood(law, durations)) - CHI95

    far = 2 * Z95 * found.error(0)
    while min(beyond(-far), beyond(far)) < 0:
        far *= 2
    low, high = brentq(beyond, -far, 0.0), brentq(beyond, 0.0, far)
    return mean * math.exp(low), mean * math.exp(high)


def _law(kind: Fitted, free: Vector) -> Distribution:
    """The law whose parameters have these logarithms."""
    return Distribution(kind, tuple(math.exp(x) for x in free))


def _start(kind: Fitted, durations: Sequence[Known]) -> Vector:
    """Logarithms of parameters to begin with: by the middles of what is known."""
    import numpy as np

    told = [known for known in durations if known[:2] != (0, math.inf)]
    middles = [low if high == math.inf else (low + high) / 2 for low, high, _ in told]
    counts = [times for _, _, times in told]
    if not sum(counts):
        raise ValueError("durations: nothing is known of any; expected at least one")
    if kind == "exponential":
        return np.log([np.average(middles, weights=counts)])
    logs = np.log(middles)
    mean = np.average(logs, weights=counts)
    spread = max(0.1, math.sqrt(np.average((logs - mean) ** 2, weights=counts)))
    return np.array([mean, math.log(spread)] if kind == "lognormal" else [-math.log(spread), mean])


def _covariance(
    loss: Callable[[Vector], float], at: Vector
) -> tuple[tuple[float, ...], ...] | None:
    """The inverse of the curvature of a loss, by central differences; None where it has none."""
    import numpy as np

    steps = np.eye(len(at)) * STEP
    curvature = [
        [loss(at + a + b) - loss(at + a - b) - loss(at - a + b) + loss(at - a - b) for b in steps]
        for a in steps
    ]
    information = np.array(curvature) / (4 * STEP**2)
    if (
        not np.isfinite(information).all()
        or np.linalg.eigvalsh(information).min() < 1 / FARTHEST**2
    ):
        return None
    return tuple(map(tuple, np.linalg.inv(information).tolist()))
