"""Lives of candidates with known odds and costs, made by a random number generator alone."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from petsim.advice.choosing.racing import MOST_TRIED, On, Sample, confirm, in_order, race


class Toys:
    """Candidates whose lives reach the aim with known odds, all by the same luck.

    odds, costs: of each candidate. spread: the standard deviation of what a life costs, part of
    which all candidates share.
    """

    def __init__(self, odds: Sequence[float], costs: Sequence[float], seed: int, spread: float = 1):
        self.odds, self.costs, self.spread = odds, costs, spread
        self.seed = seed
        self.lived = 0

    def look(self, candidates: Sequence[int], lives: int) -> list[Sample]:
        self.lived += lives * len(candidates)
        return [self._sample(candidate, lives) for candidate in candidates]

    def _sample(self, candidate: int, lives: int) -> Sample:
        common = np.random.default_rng([self.seed, 0]).random((lives, 2))
        own = np.random.default_rng([self.seed, 1, candidate]).random((lives, 2))
        # every other life has luck of its own, so that candidates are alike and not the same
        luck = np.where(np.arange(lives)[:, None] % 2 == 0, common, own)
        costs = self.costs[candidate] + self.spread * luck[:, 1]
        return Sample(luck[:, 0] < self.odds[candidate], costs)


TARGET, LIVES = 0.9, 500
JUST_SHORT = 0.8999


def chosen_falls_short(seed: int, on: On = On.BOUND) -> bool:
    """Whether a search ends with a candidate whose odds are below the target.

    Forty candidates are just short of it, so that some seem to reach it in the search; one that
    costs more than all of them does reach it.
    """
    odds, costs = [JUST_SHORT] * 40 + [0.99], [*range(40), 50]
    ran = race(Toys(odds, costs, 2 * seed).look, len(odds), TARGET, LIVES)
    return _falls_short(odds, costs, 2 * seed + 1, in_order(ran.samples, TARGET, on), on)


def one_of_eight_falls_short(seed: int) -> bool:
    """Whether any of as many as can be tried, all just short of the target, is confirmed."""
    odds, costs = [JUST_SHORT] * MOST_TRIED, [1] * MOST_TRIED
    return _falls_short(odds, costs, seed, [*range(MOST_TRIED)], On.BOUND)


def _falls_short(
    odds: Sequence[float], costs: Sequence[float], seed: int, order: Sequence[int], on: On
) -> bool:
    tries = confirm(Toys(odds, costs, seed).look, order, TARGET, on, LIVES)
    return any(each.holds and odds[each.candidate] < TARGET for each in tries)
