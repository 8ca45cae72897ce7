"""Fair shares of a fall: how much each of several parts costs, all costs summing to the whole.

With all parts off lives are worth one thing, with all on another. What a part costs depends on
which others are on already; its Shapley share is the mean over all orders in which they may be
switched on. Among four parts or fewer all subsets are cheaper than two orders, and then shares have
no error but that of the lives. Else each block of lives has a random order and its reverse, which
meets the subsets that the order leaves out (antithetic sampling).

Sources, from memory: Shapley (1953), "A value for n-person games", Contributions to the Theory of
Games II:307-317; Castro, Gómez and Tejada (2009), "Polynomial calculation of the Shapley value
based on sampling", Computers & Operations Research 36:1726-1730.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from petsim.study.stats import Interval

Parts = frozenset[int]
"""The parts that are on, by their places."""
Worths = Callable[[Sequence[Parts], range], NDArray[np.float64]]
"""What lives with these numbers are worth with each of these sets of parts on, under each of some
models: shape (sets, lives, models)."""
FEW = 4
"""The number of parts up to which all subsets are worked out."""


def shares_of_block(
    worths: Worths, parts: int, numbers: range, random: np.random.Generator
) -> NDArray[np.float64]:
    """Return the mean share of each part over a block of lives: shape (parts, models).

    A share is what is lost by switching the part on; all sum to all off less all on.

    Args:
        worths: what lives are worth.
        parts: how many there are.
        numbers: of the lives of the block.
        random: what orders are drawn from.
    """
    if parts <= FEW:
        return _over_all_subsets(worths, parts, numbers)
    order = random.permutation(parts).tolist()
    orders = (order, order[::-1])
    steps = [[*_growing(order)] for order in orders]
    known = _means(worths, sorted({on for step in steps for on in step}, key=sorted), numbers)
    shares = np.zeros((parts, len(known[frozenset()])))
    for order, step in zip(orders, steps, strict=True):
        shares[order] -= np.diff([known[on] for on in step], axis=0) / len(orders)
    return shares


def _growing(order: Sequence[int]) -> Iterator[Parts]:
    """The sets of parts that are on, from none to all."""
    return (frozenset(order[:count]) for count in range(len(order) + 1))


def _over_all_subsets(worths: Worths, parts: int, numbers: range) -> NDArray[np.float64]:
    subsets = [frozenset(on) for n in range(parts + 1) for on in combinations(range(parts), n)]
    known = _means(worths, subsets, numbers)
    shares = np.zeros((parts, len(known[frozenset()])))
    for on in subsets:
        for part in {*range(parts)} - on:
            orders = math.factorial(len(on)) * math.factorial(parts - len(on) - 1)
            shares[part] += (known[on] - known[on | {part}]) * orders / math.factorial(parts)
    return shares


def _means(
    worths: Worths, sets: Sequence[Parts], numbers: range
) -> dict[Parts, NDArray[np.float64]]:
    return dict(zip(sets, worths(sets, numbers).mean(axis=1), strict=True))


def intervals_of_shares(shares: NDArray[np.float64], falls: NDArray[np.float64]) -> list[Interval]:
    """Return the share of each part with its 95 % interval; they sum to the mean of all falls.

    More lives tell what all parts cost together than have orders of their own. A share is corrected
    by how far the fall of its blocks is from that of all lives, times its slope on it: the
    regression estimator of double sampling, Cochran (1977), "Sampling Techniques", chapter 12 (from
    memory). The interval is Student's, over blocks.

    Args:
        shares: of each block of lives, shape (blocks, parts), at least three blocks.
        falls: all off less all on in each life, those of the blocks and more.
    """
    from scipy.stats import t

    blocks = len(shares)
    fall = shares.sum(axis=1)
    centred = fall - fall.mean()
    spread = centred @ centred
    slopes = centred @ shares / spread if spread > 0 else np.zeros(shares.shape[1])
    estimates = shares.mean(axis=0) + slopes * (falls.mean() - fall.mean())
    rest = shares - shares.mean(axis=0) - np.outer(centred, slopes)
    own = (rest**2).sum(axis=0) / (blocks - 2) / blocks
    common = slopes**2 * falls.var(ddof=1) / len(falls)
    half = t.ppf(0.975, blocks - 2) * np.sqrt(own + common)
    return [
        Interval(estimate, estimate - off, estimate + off)
        for estimate, off in zip(estimates.tolist(), half.tolist(), strict=True)
    ]
