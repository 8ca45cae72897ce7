"""Fair shares against games whose Shapley values are known."""

from math import comb

import numpy as np
import pytest

from petsim.advice.explaining.shares import FEW, intervals_of_shares, shares_of_block

CHANCES = (0.3, 0.02, 0.1, 0.0, 0.2, 0.05, 0.01)
"""The chance of each part to spoil a life, each by luck of its own."""


def independent(chances):
    """A game in which each part that is on spoils a life with its own chance."""

    def worths(sets, numbers):
        luck = np.random.default_rng((5, numbers.start)).random((len(numbers), len(chances)))
        spoilt = luck < np.array(chances)
        return np.array([~spoilt[:, sorted(on)].any(axis=1) for on in sets], float)[..., None]

    return worths


def shapley(chances):
    """The shares of such a game: what a part loses, over all subsets of others, by definition.

    A part's mean over subsets of a size is an elementary symmetric polynomial of the others'
    chances to leave a life unspoilt, over how many such subsets there are.
    """
    shares = []
    for part, chance in enumerate(chances):
        others = [1 - c for n, c in enumerate(chances) if n != part]
        by_size = np.poly1d([1.0])
        for kept in others:
            by_size *= np.poly1d([kept, 1.0])
        sums = by_size.coeffs[::-1]
        means = [total / comb(len(others), size) for size, total in enumerate(sums)]
        shares.append(chance * sum(means) / len(chances))
    return np.array(shares)


def test_a_share_is_the_mean_over_all_orders():
    # the glove game of textbooks: a left glove is worth something only with one of two right ones
    # (Shapley values 2/3, 1/6, 1/6; Osborne and Rubinstein, "A Course in Game Theory", from memory)
    def worths(sets, numbers):
        pairs = [0 in on and bool({1, 2} & on) for on in sets]
        return -np.tile(np.array(pairs, float)[:, None, None], (1, len(numbers), 1))

    shares = shares_of_block(worths, 3, range(10), np.random.default_rng(0))
    assert shares[:, 0] == pytest.approx([2 / 3, 1 / 6, 1 / 6], abs=1e-12)


def test_known_shares_of_independent_parts():
    # two parts: each loses its chance alone, or what is left of it after the other
    a, b = 0.3, 0.1
    expected = [a / 2 + a * (1 - b) / 2, b / 2 + b * (1 - a) / 2]
    assert shapley((a, b)) == pytest.approx(expected, abs=1e-12)
    assert shapley(CHANCES).sum() == pytest.approx(1 - np.prod(1 - np.array(CHANCES)), abs=1e-12)


@pytest.mark.parametrize("parts", [1, 2, FEW, FEW + 1, len(CHANCES)])
def test_shares_sum_to_the_fall_of_each_block(parts):
    worths = independent(CHANCES[:parts])
    everything, nothing = frozenset(range(parts)), frozenset()
    for block in range(5):
        numbers = range(50 * block, 50 * block + 50)
        shares = shares_of_block(worths, parts, numbers, np.random.default_rng(block))
        off, on = worths([nothing, everything], numbers).mean(axis=(1, 2))
        assert shares.sum() == pytest.approx(off - on, abs=1e-12)


def test_what_does_nothing_costs_exactly_nothing():
    for parts in (4, len(CHANCES)):
        shares = shares_of_block(
            independent(CHANCES[:parts]), parts, range(200), np.random.default_rng(1)
        )
        assert shares[CHANCES.index(0.0), 0] == 0


def test_each_size_of_subset_weighs_as_it_should():
    # a game of size alone: all shares are alike, whatever the worth by size is
    by_size = np.array([1, 0.9, 0.5, 0.4, 0.4, 0.1])

    def worths(sets, numbers):
        sizes = by_size[[len(on) for on in sets]]
        return np.tile(sizes[:, None, None], (1, len(numbers), 1))

    for parts in (4, 5):
        shares = shares_of_block(worths, parts, range(3), np.random.default_rng(3))
        fall = by_size[0] - by_size[parts]
        assert shares.mean() == pytest.approx(fall / parts, abs=1e-12)
        if parts <= FEW:
            assert shares[:, 0] == pytest.approx([fall / parts] * parts, abs=1e-12)


def estimated(worths, parts, blocks, size, lives, seed):
    numbers = [range(n * size, n * size + size) for n in range(blocks)]
    shares = [
        shares_of_block(worths, parts, own, np.random.default_rng((seed, n)))
        for n, own in enumerate(numbers)
    ]
    off, on = worths([frozenset(), frozenset(range(parts))], range(lives))[:, :, 0]
    return intervals_of_shares(np.array(shares)[:, :, 0], off - on)


def test_shares_are_right_and_sum_to_the_fall_of_all_lives():
    # lives of a block and those of all are the same ones here
    luck = np.random.default_rng(11).random((20_000, len(CHANCES))) < np.array(CHANCES)

    def worths(sets, numbers):
        spoilt = luck[numbers.start : numbers.stop]
        return np.array([~spoilt[:, sorted(on)].any(axis=1) for on in sets], float)[..., None]

    found = estimated(worths, len(CHANCES), 40, 100, 20_000, 2)
    fall = luck.any(axis=1).mean()
    assert sum(share.estimate for share in found) == pytest.approx(fall, abs=1e-12)
    for share, true in zip(found, shapley(CHANCES), strict=True):
        standard_error = (share.high - share.low) / 4
        assert abs(share.estimate - true) <= 4.5 * standard_error + 1e-12


def test_more_lives_without_orders_narrow_the_intervals():
    rng = np.random.default_rng(4)
    falls = rng.random(50) * 0.2
    shares = np.stack([0.8 * falls, 0.2 * falls], axis=1) + 0.0
    few = intervals_of_shares(shares, rng.random(100) < 0.1)
    many = intervals_of_shares(shares, rng.random(10_000) < 0.1)
    assert all(m.high - m.low < f.high - f.low for f, m in zip(few, many, strict=True))


def test_all_alike_has_no_width():
    shares = np.tile([0.1, 0.0], (5, 1))
    [first, second] = intervals_of_shares(shares, np.full(100, 0.1))
    assert first == pytest.approx((0.1, 0.1, 0.1))
    assert second == (0, 0, 0)
