"""Maximum a posteriori estimates of a chain's parameters, and how sure they are.

Parameters are on a free scale: logarithms of means, shapes and rates, logits of chances. Priors
there are normal and weak; they are named in `PRIORS` and printed with a fit.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from petsim.evidence.estimate import Z95, Estimate, Of, text_of, verdict_of

Vector = NDArray[np.float64]
PRIORS: dict[str, tuple[float | None, float]] = {
    "mean": (None, 1.5),
    "shape": (math.log(2.0), 1.0),
    "rate": (None, 1.5),
    "error": (-3.0, 1.5),
    "dark": (0.0, 1.5),
    "works": (None, 2.0),
    "refuses": (-5.5, 2.0),
}
"""Mean and standard deviation of each prior on the free scale; a mean of None is the guess."""
SPAN = 6.0
"""How far from the guess a parameter is looked for, on the free scale."""
LEAST_SHAPE, MOST_SHAPE = 0.2, 50.0
"""Shapes that are looked for: above the most a wait is fixed, for all that a log can tell."""
GRADIENT_STEP, HESSIAN_STEP = 1e-3, 0.02
MORE_LIVES = "more lives"
"""What would tell more of a parameter of which nothing better is known."""
_SUREST = 0.97
"""The greatest chance to work of which a search begins: of a sure one there is no logit."""


@dataclass(frozen=True)
class Parameter:
    """A parameter of a chain.

    path, file, of: as in an `Estimate`. prior: a key of `PRIORS`. guess: on the natural scale that
    the chain works with. written: what the file says of a value on that scale: itself, or for slips
    the chance not to land. record: what would tell more of it.
    """

    path: str
    file: Literal["model", "regime"]
    of: Of
    prior: str
    guess: float
    written: Callable[[float], float] = float
    record: str = ""

    @property
    def is_chance(self) -> bool:
        """Whether it is a chance, whose free scale is the logit."""
        return self.prior in ("error", "dark", "works", "refuses")

    def free(self, value: float) -> float:
        """Return a value on the free scale."""
        if not self.is_chance:
            return math.log(value)
        value = min(max(value, 1 - _SUREST if self.prior == "works" else 1e-3), _SUREST)
        return math.log(value / (1.0 - value))

    def natural(self, free: float) -> float:
        """Return a value of the free scale on the natural one."""
        return 1.0 / (1.0 + math.exp(-free)) if self.is_chance else math.exp(free)

    @property
    def bounds(self) -> tuple[float, float]:
        """The least and the greatest value that is looked for, on the free scale."""
        if self.of == "shape":
            return math.log(LEAST_SHAPE), math.log(MOST_SHAPE)
        return self.free(self.guess) - SPAN, self.free(self.guess) + SPAN

    @property
    def centre(self) -> float:
        """The mean of the prior."""
        mean = PRIORS[self.prior][0]
        return self.free(self.guess) if mean is None else mean

    @property
    def spread(self) -> float:
        """The standard deviation of the prior."""
        return PRIORS[self.prior][1]


@dataclass(frozen=True)
class Posterior:
    """Where the posterior of a chain's parameters is highest, and the normal law that is like it.

    values: on the free scale. covariance: of the free scale. log_likelihood: there, without the
    priors. converged: whether the search ended at a maximum.
    """

    parameters: tuple[Parameter, ...]
    values: Vector
    covariance: NDArray[np.float64]
    log_likelihood: float
    converged: bool

    def natural(self) -> list[float]:
        """The values on the natural scale."""
        return [p.natural(x) for p, x in zip(self.parameters, self.values, strict=True)]

    def estimates(self) -> list[Estimate]:
        """Each parameter with its 95 % interval (Wald's, on the free scale) and its verdict."""
        deviations = np.sqrt(np.diag(self.covariance))
        rows = zip(self.parameters, self.values, deviations, strict=True)
        return [_estimate(p, float(x), float(sd)) for p, x, sd in rows if p.path]


def _estimate(p: Parameter, x: float, sd: float) -> Estimate:
    low, high = sorted((p.written(p.natural(x - Z95 * sd)), p.written(p.natural(x + Z95 * sd))))
    shrink, ends = sd / p.spread, f"{text_of(p.of, low)} to {text_of(p.of, high)}"
    verdict = verdict_of(shrink, p.of, low, high)
    told = verdict != "refused"
    return Estimate(
        p.path,
        p.file,
        p.of,
        p.written(p.natural(x)) if told else None,
        low if told else None,
        high if told else None,
        verdict,
        guess=p.written(p.guess),
        record="" if verdict == "well" else p.record or MORE_LIVES,
        why="" if told else f"it would look much the same from {ends}",
        shrink=shrink,
    )


@dataclass(frozen=True)
class Target:
    """What is maximised: a log-likelihood with the priors, on the free scale.

    log_likelihood: that of values on the natural scale. parameters: in the order of those values.
    """

    log_likelihood: Callable[[Sequence[float]], float]
    parameters: tuple[Parameter, ...]

    @property
    def guess(self) -> Vector:
        """The guess, on the free scale."""
        return np.array([p.free(p.guess) for p in self.parameters])

    def natural(self, free: Vector) -> list[float]:
        """Return values of the free scale on the natural one."""
        return [p.natural(float(x)) for p, x in zip(self.parameters, free, strict=True)]

    def loss(self, free: Vector) -> float:
        """Return minus the logarithm of the posterior, but for a constant."""
        centres = np.array([p.centre for p in self.parameters])
        spreads = np.array([p.spread for p in self.parameters])
        prior = 0.5 * float((((free - centres) / spreads) ** 2).sum())
        return prior - self.log_likelihood(self.natural(free))

    def search(self, start: Vector, free: Sequence[int] | None = None) -> tuple[Vector, bool]:
        """Return where the posterior is highest, and whether the search ended there.

        Args:
            start: where to begin.
            free: the places of the parameters that are searched; the others stay. All, if left out.
        """
        from scipy.optimize import minimize

        places = list(range(len(start)) if free is None else free)
        units = self._units(start, places)
        ends = (np.array(self.parameters[place].bounds) - start[place] for place in places)
        bounds = [tuple(end / unit) for end, unit in zip(ends, units, strict=True)]

        def at(some: Vector) -> Vector:
            values = start.copy()
            values[places] += units * some
            return values

        # the first takes half the likelihoods, but may end beside a maximum and then says so
        for method, options in (
            ("SLSQP", {"eps": GRADIENT_STEP, "ftol": 1e-5, "maxiter": 100}),
            ("L-BFGS-B", {"eps": GRADIENT_STEP, "ftol": 2e-8, "maxiter": 200}),
        ):
            result: Any = minimize(  # type: ignore[call-overload]
                lambda some: self.loss(at(some)),
                np.zeros(len(places)),
                method=method,
                bounds=bounds,
                options=options,
            )
            if result.success:
                break
        return at(result.x), bool(result.success)

    def _units(self, at: Vector, places: Sequence[int]) -> Vector:
        """How far each parameter can be off, by the curvature along it: about alike likely.

        In these units the target is about as steep in one direction as in another, so a search
        takes fewer steps.
        """
        middle, units = self.loss(at), []
        for place in places:
            step = np.zeros(len(at))
            step[place] = HESSIAN_STEP
            curvature = (self.loss(at + step) - 2 * middle + self.loss(at - step)) / HESSIAN_STEP**2
            spread = self.parameters[place].spread
            units.append(min(spread, 1.0 / math.sqrt(max(curvature, 1.0 / spread**2))))
        return np.array(units)


def maximise(target: Target, start: Vector) -> Posterior:
    """Return the posterior of parameters: its maximum, and the curvature there.

    start: where to begin, on the free scale.
    """
    values, converged = target.search(start)
    spreads = np.array([p.spread for p in target.parameters])
    return Posterior(
        target.parameters,
        values,
        _inverse(hessian(target.loss, values), spreads),
        target.log_likelihood(target.natural(values)),
        converged,
    )


def posterior_of(
    log_likelihood: Callable[[Sequence[float]], float], parameters: Sequence[Parameter]
) -> Posterior:
    """Return the posterior of parameters, looked for from the guess; see `Target`."""
    target = Target(log_likelihood, tuple(parameters))
    return maximise(target, target.guess)


def hessian(function: Callable[[Vector], float], at: Vector) -> NDArray[np.float64]:
    """Return the second derivatives of a function of the free scale, by central differences."""
    n, h = len(at), HESSIAN_STEP
    middle, unit = function(at), np.eye(n) * h
    ups = [function(at + unit[i]) for i in range(n)]
    downs = [function(at - unit[i]) for i in range(n)]
    matrix = np.zeros((n, n))
    for i in range(n):
        matrix[i, i] = (ups[i] - 2 * middle + downs[i]) / h**2
        for j in range(i):
            # of four corners two do, with the values on the axes
            both = function(at + unit[i] + unit[j]) + function(at - unit[i] - unit[j])
            mixed = both - ups[i] - ups[j] - downs[i] - downs[j] + 2 * middle
            matrix[i, j] = matrix[j, i] = mixed / (2 * h**2)
    return matrix


def _inverse(curvature: NDArray[np.float64], spreads: Vector) -> NDArray[np.float64]:
    """The covariance; in directions without a maximum, that of the prior."""
    roots, axes = np.linalg.eigh(curvature)
    least = 1.0 / (spreads.max() ** 2)
    inverse: NDArray[np.float64] = (axes / np.maximum(roots, least)) @ axes.T
    return inverse
