"""The generator against published vectors, and what makes a draw a pure function of its place."""

import csv
import math
from hashlib import blake2b
from itertools import combinations, product
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.random import Philox
from scipy import stats

from petsim.life.streams import Stream, block, open_uniforms, source_id, uniform

TOP = 2**64 - 1
VECTORS = Path(__file__).parents[1] / "data" / "philox4x64_kat.csv"

words = st.integers(0, TOP)


def read_vectors():
    with VECTORS.open() as file:
        rows = csv.DictReader(line for line in file if not line.startswith("#"))
        return [
            tuple(
                tuple(int(word, 16) for word in row[column].split())
                for column in ("counter_hex", "key_hex", "expected_hex")
            )
            for row in rows
        ]


def philox_by_the_paper(counter, key):
    """Philox4x64-10 written from Salmon et al. (2011), section 3.3; constants as in its table."""
    (c0, c1, c2, c3), (k0, k1) = counter, key
    for _ in range(10):
        high0, low0 = divmod(0xD2E7470EE14C6C93 * c0, 2**64)
        high1, low1 = divmod(0xCA5A826395121157 * c2, 2**64)
        c0, c1, c2, c3 = high1 ^ c1 ^ k0, low1, high0 ^ c3 ^ k1, low0
        k0, k1 = (k0 + 0x9E3779B97F4A7C15) & TOP, (k1 + 0xBB67AE8584CAA73B) & TOP
    return c0, c1, c2, c3


def plain_uniform(word):
    return ((word >> 12) + 0.5) / 2**52


@pytest.mark.parametrize(("counter", "key", "expected"), read_vectors())
def test_block_gives_the_published_words(counter, key, expected):
    # Source: Random123, tests/kat_vectors (see the first line of the data file).
    assert block(counter, key) == expected
    assert philox_by_the_paper(counter, key) == expected


@given(st.tuples(words, words, words, words), st.tuples(words, words))
def test_block_is_philox_at_any_counter(counter, key):
    # Source: Salmon et al. (2011), by the independent function above.
    assert block(counter, key) == philox_by_the_paper(counter, key)


@pytest.mark.parametrize("zeros", range(5))
def test_block_at_a_counter_whose_predecessor_borrows(zeros):
    # The library counts up before each block: stepping back from 0 borrows from the next word.
    counter = (0,) * zeros + (5,) * (4 - zeros)
    assert block(counter, (3, 9)) == philox_by_the_paper(counter, (3, 9))


def test_block_and_the_library_count_alike():
    # Source: numpy documentation of Philox; its first doubles under counter 0, key 0.
    doubles = [(word >> 11) * 2.0**-53 for word in block((1, 0, 0, 0), (0, 0))]
    assert doubles == [
        0.011546754286331562,
        0.24154919656271812,
        0.11142585551493822,
        0.5644146216071337,
    ]
    assert doubles == np.random.Generator(Philox(counter=0, key=0)).random(4).tolist()


def test_library_carries_into_the_next_word():
    # Source: numpy documentation of Philox; counter 2**64 - 1 is followed by (0, 1, 0, 0).
    library = Philox(counter=TOP, key=3).random_raw(4).tolist()
    assert block((0, 1, 0, 0), (3, 0)) == tuple(library)


@pytest.mark.parametrize("seed", [0, 20260, TOP])
@pytest.mark.parametrize("life", [0, 41, TOP])
def test_stream_is_the_words_of_its_blocks_in_order(seed, life):
    source = source_id("drops hunger")
    stream = Stream(seed, "drops hunger", life)
    expected = [
        plain_uniform(word)
        for number in range(300)
        for word in philox_by_the_paper((number, source, life, 0), (seed, 0))
    ]
    assert [stream.next() for _ in expected] == expected


def test_uniform_and_stream_agree():
    stream = Stream(11, "waste", 3)
    for k in range(700):
        assert stream.drawn == k
        assert stream.next() == uniform(11, "waste", 3, k)


def test_uniform_far_along():
    k = TOP
    words = philox_by_the_paper((k // 4, source_id("growth"), 2, 0), (1, 0))
    assert uniform(1, "growth", 2, k) == plain_uniform(words[3])


def test_order_of_use_makes_no_difference():
    apart = {name: [uniform(5, name, 8, k) for k in range(50)] for name in ("waste", "doses")}
    first, second = Stream(5, "waste", 8), Stream(5, "doses", 8)
    together = [(first.next(), second.next()) for _ in range(50)]
    assert [pair[0] for pair in together] == apart["waste"]
    assert [pair[1] for pair in reversed(together)] == apart["doses"][::-1]


def test_seeds_sources_and_lives_give_different_draws():
    places = list(product((0, 1, TOP), ("waste", "doses", "drops mood"), (0, 1, TOP)))
    draws = [{Stream(*place).next(), uniform(*place, 1), uniform(*place, 2)} for place in places]
    assert all(one.isdisjoint(other) for one, other in combinations(draws, 2))


def test_source_id_is_a_hash_of_the_name():
    # Source: RFC 7693 (BLAKE2), by the standard library's hashlib.
    digest = blake2b("drops höhe".encode(), digest_size=8).digest()
    assert source_id("drops höhe") == sum(byte << (8 * i) for i, byte in enumerate(digest))


def test_extreme_words_stay_between_0_and_1():
    lowest, second, highest = open_uniforms(np.array([0, 2**12, TOP], dtype=np.uint64)).tolist()
    assert (lowest, second, highest) == (2.0**-53, 3 * 2.0**-53, 1 - 2.0**-53)
    assert 0 < lowest < highest < 1


@given(words)
def test_each_word_is_read_exactly(word):
    assert open_uniforms(np.array([word], dtype=np.uint64))[0] == plain_uniform(word)


@pytest.mark.parametrize("value", [-1, 2**64, 1.5, "7", None])
def test_numbers_out_of_range_are_refused(value):
    with pytest.raises(ValueError, match=r"^seed: .*; expected a whole number from 0 to 2"):
        Stream(value, "waste", 0)
    with pytest.raises(ValueError, match=r"^life: .*; expected a whole number from 0 to 2"):
        Stream(0, "waste", value)
    with pytest.raises(ValueError, match=r"^seed: "):
        uniform(value, "waste", 0, 0)
    with pytest.raises(ValueError, match=r"^life: "):
        uniform(0, "waste", value, 0)
    with pytest.raises(ValueError, match=r"^draw: "):
        uniform(0, "waste", 0, value)


def test_library_integers_are_accepted():
    assert Stream(np.int64(4), "waste", np.uint64(TOP)).next() == uniform(4, "waste", TOP, 0)


@pytest.mark.parametrize("along", ["draws", "lives", "seeds"])
def test_draws_are_uniform_along_every_axis(along):
    # Source: scipy.stats.kstest (Kolmogorov-Smirnov), refused where 4.5 standard errors would be.
    n = 50_000
    if along == "draws":
        stream = Stream(1, "waste", 0)
        draws = [stream.next() for _ in range(n)]
    elif along == "lives":
        draws = [Stream(1, "waste", life).next() for life in range(n)]
    else:
        draws = [Stream(seed, "waste", 0).next() for seed in range(n)]
    assert stats.kstest(draws, "uniform").pvalue > 2 * stats.norm.sf(4.5)


def test_neighbouring_streams_are_uncorrelated():
    # The correlation of n independent pairs has standard error 1 / sqrt(n); 4.5 of them allowed.
    n = 20_000
    lives = [
        Stream(1, "waste", 0),
        Stream(1, "waste", 1),
        Stream(1, "doses", 0),
        Stream(2, "waste", 0),
    ]
    draws = np.array([[stream.next() for _ in range(n)] for stream in lives])
    correlations = np.corrcoef(draws)[np.triu_indices(4, 1)]
    assert np.abs(correlations).max() < 4.5 / math.sqrt(n)
