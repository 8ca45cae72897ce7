"""Spells of bad light: one hidden state that all signals share.

Light is clear or bad, and stays so for a while, whatever the power. Each look in the hours in which
spells matter says how likely what it saw was in clear and in bad light. Of the looks of all signals
together a forward and a backward pass give the chance of bad light at each. For the chain of one
signal the looks at the others count only, else it would explain its own errors by the light that it
took them for.

Both times are taken for exponential. A law of spells that is narrower or wider changes what a look
says of the light a little, and the mean of the spells' times not by much.

Source: Rabiner (1989), "A tutorial on hidden Markov models", Proceedings of the IEEE 77:257-286,
for forward and backward passes; from memory.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from petsim.evidence.means import mean_of
from petsim.evidence.posterior import Parameter, Posterior, posterior_of
from petsim.spec.eyes import Spells

Vector = NDArray[np.float64]


@dataclass(frozen=True)
class LitLooks:
    """How looks of one life at one signal are in either light, in order.

    times: their seconds. clear, bad: how likely what was seen was in either light.
    """

    times: Vector
    clear: Vector
    bad: Vector

    @property
    def evidence(self) -> Vector:
        """The logarithm of how much likelier it was in bad light."""
        return np.log(self.bad) - np.log(self.clear)


@dataclass(frozen=True)
class Pooled:
    """The evidence of looks of one life, summed where they are of one second."""

    times: Vector
    evidence: Vector

    @classmethod
    def of(cls, looks: Sequence[LitLooks]) -> Pooled:
        """Return the evidence of several signals together."""
        times = np.concatenate([np.zeros(0), *(each.times for each in looks)])
        evidence = np.concatenate([np.zeros(0), *(each.evidence for each in looks)])
        seconds, places = np.unique(times, return_inverse=True)
        summed = np.zeros(len(seconds))
        np.add.at(summed, places, evidence)
        return cls(seconds, summed)


def bad_light(pooled: Pooled, times: Vector, clear: float, lasts: float) -> Vector:
    """Return the chance of bad light at some times, in order, of a life that began in clear light.

    Args:
        pooled: the evidence.
        times: the seconds that are asked for.
        clear, lasts: the mean times between spells and of one, in seconds.
    """
    # no evidence is asked for at the times themselves, so they may be among those of it
    all_times, places = np.unique(np.concatenate([pooled.times, times]), return_inverse=True)
    evidence = np.zeros(len(all_times))
    evidence[places[: len(pooled.times)]] = pooled.evidence
    before, after, _ = _passes(all_times, evidence, clear, lasts)
    odds = before * after
    both: Vector = odds[:, 1] / odds.sum(axis=1)
    return both[places[len(pooled.times) :]]


def log_likelihood(pooled: Pooled, clear: float, lasts: float) -> float:
    """Return the log-likelihood of the evidence, over that of clear light throughout."""
    return _passes(pooled.times, pooled.evidence, clear, lasts)[2]


def _passes(
    times: Vector, evidence: Vector, clear: float, lasts: float
) -> tuple[Vector, Vector, float]:
    """The forward and the backward pass, and the log-likelihood.

    Both passes have a row for each time: how likely clear and bad light are with what was seen up
    to it, and what was seen after it with either.
    """
    share = lasts / (clear + lasts)
    steps = np.diff(times, prepend=0.0)
    fading = np.exp(-steps * (1.0 / clear + 1.0 / lasts))
    into, out_of = (share * (1.0 - fading)).tolist(), ((1.0 - share) * (1.0 - fading)).tolist()
    likelier = np.exp(np.clip(evidence, -50.0, 50.0)).tolist()
    n, bad, total = len(times), 0.0, 0.0
    before = np.zeros((n, 2))
    for k in range(n):
        bad = bad * (1.0 - out_of[k]) + (1.0 - bad) * into[k]
        whole = bad * likelier[k] + 1.0 - bad
        bad = bad * likelier[k] / whole
        before[k] = 1.0 - bad, bad
        total += math.log(whole)
    after = np.ones((n, 2))
    if_clear = if_bad = 0.5
    for k in range(n - 1, 0, -1):
        after[k] = if_clear, if_bad
        dark = if_bad * likelier[k]
        if_clear, if_bad = (
            (1.0 - into[k]) * if_clear + into[k] * dark,
            (1.0 - out_of[k]) * dark + out_of[k] * if_clear,
        )
        whole = if_clear + if_bad
        if_clear, if_bad = if_clear / whole, if_bad / whole
    if n:
        after[0] = if_clear, if_bad
    return before, after, total


# What is known of sleep shows the light best


@dataclass(frozen=True)
class Wakeful:
    """Looks at `asleep` of one life while it surely was awake, in hours in which spells matter.

    times: their seconds. seen: whether it was taken to be asleep.
    """

    times: Vector
    seen: NDArray[np.bool_]

    def looks(self, clear: float, bad: float) -> LitLooks:
        """Return how likely they were, by the rates of imagining sleep in either light."""
        of_clear = np.where(self.seen, clear, 1.0 - clear)
        return LitLooks(self.times, of_clear, np.where(self.seen, bad, 1.0 - bad))


@dataclass(frozen=True)
class LightChain:
    """The light in the lives of a log.

    guess: the regime's spells. imagines: the usual rate of imagining sleep, and that in a spell;
    None if spells don't change it. wakeful: looks at sleep, of each life. others: looks at other
    signals, of each life.
    """

    guess: Spells
    imagines: tuple[float, float] | None
    wakeful: tuple[Wakeful, ...]
    others: tuple[tuple[LitLooks, ...], ...]

    @property
    def parameters(self) -> list[Parameter]:
        """The mean times between spells and of one, and the rates of imagining sleep."""
        clear = Parameter("eyes.spells.clear", "regime", "mean", "mean", mean_of(self.guess.clear))
        lasts = Parameter("eyes.spells.lasts", "regime", "mean", "mean", mean_of(self.guess.lasts))
        if self.imagines is None:
            return [clear, lasts]
        usual, bad = self.imagines
        return [
            clear,
            lasts,
            Parameter("eyes.asleep.imagines", "regime", "chance", "error", usual),
            Parameter("eyes.spells.asleep.imagines", "regime", "chance", "dark", bad),
        ]

    def likelihood(self, values: Sequence[float]) -> float:
        """Return the log-likelihood of all looks under parameters on the natural scale."""
        clear, lasts, *rates = values
        total = 0.0
        for wakeful, others in zip(self.wakeful, self.others, strict=True):
            asleep = [wakeful.looks(*rates)] if rates else []
            total += log_likelihood(Pooled.of([*asleep, *others]), clear, lasts)
            total += sum(float(np.log(each.clear).sum()) for each in asleep)
        return total


def fit_light(chain: LightChain) -> Posterior:
    """Return the posterior of the light's parameters."""
    return posterior_of(chain.likelihood, chain.parameters)
