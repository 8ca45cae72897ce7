"""Uniform random numbers, each one a pure function of where it is used.

The generator is Philox4x64-10, a counter-based one, as ``numpy.random.Philox`` computes it.
Source: Salmon, Moraes, Dror and Shaw, "Parallel random numbers: as easy as 1, 2, 3", SC'11.

Every life has one stream per source of chance (a source is named in plain text, such as
``drops hunger``). Draw k of a source in life i under seed s is word k % 4 of the block with key
``(s, 0)`` and counter ``(k // 4, source_id(source), i, 0)``, words least significant first. So
lives run in any order, any life can be replayed alone, and two regimes on one seed meet the same
luck.
"""

from functools import lru_cache
from hashlib import blake2b

import numpy as np
from numpy.random import Philox
from numpy.typing import NDArray

from petsim.spec.arguments import word_of

_WORD = 64
_FIRST_BATCH, _LARGEST_BATCH = 16, 256


def block(counter: tuple[int, int, int, int], key: tuple[int, int]) -> tuple[int, int, int, int]:
    """Return the four 64-bit words of Philox4x64-10 at a counter.

    Args:
        counter: four 64-bit words, least significant first.
        key: two 64-bit words, least significant first.
    """
    first, second, third, fourth = _generator(counter, key).random_raw(4).tolist()
    return first, second, third, fourth


@lru_cache(maxsize=4096)
def source_id(name: str) -> int:
    """Return the 64-bit number of a source: the BLAKE2b hash of its name, low byte first."""
    return int.from_bytes(blake2b(name.encode(), digest_size=_WORD // 8).digest(), "little")


def open_uniforms(words: NDArray[np.uint64]) -> NDArray[np.float64]:
    """Return the uniform that each 64-bit word stands for, strictly between 0 and 1.

    The 52 high bits are used: a 53rd would let the highest word round to 1.
    """
    return ((words >> np.uint64(12)) + np.float64(0.5)) * np.float64(2.0**-52)


def uniform(seed: int, source: str, life: int, k: int) -> float:
    """Return draw k of a source in a life: a number strictly between 0 and 1.

    Args:
        seed: the seed of the batch, 0 to 2**64 - 1.
        source: the name of the source of chance.
        life: the number of the life, 0 to 2**64 - 1.
        k: the number of the draw within its source, from 0.

    Raises:
        ValueError: a number is not whole or out of its range.
    """
    draw = word_of("draw", k)
    counter = (draw // 4, source_id(source), word_of("life", life), 0)
    words = _generator(counter, (word_of("seed", seed), 0)).random_raw(4)
    return float(open_uniforms(words)[draw % 4])


class Stream:
    """The draws of one source in one life, in order.

    Args:
        seed: the seed of the batch, 0 to 2**64 - 1.
        source: the name of the source of chance.
        life: the number of the life, 0 to 2**64 - 1.
        drawn: the number of draws that were used before.

    Raises:
        ValueError: the seed or the life is not a whole number in its range.
    """

    __slots__ = ("_counter", "_fetched", "_generator", "_key", "_waiting")

    def __init__(self, seed: int, source: str, life: int, drawn: int = 0) -> None:
        self._key = (word_of("seed", seed), 0)
        block, place = divmod(drawn, 4)
        self._counter = (block, source_id(source), word_of("life", life), 0)
        self._generator: Philox | None = None
        self._waiting: list[float] = []
        self._fetched = 4 * block
        for _ in range(place):
            self.next()

    @property
    def drawn(self) -> int:
        """The number of draws used so far, which is the number of the next draw."""
        return self._fetched - len(self._waiting)

    def next(self) -> float:
        """Return the next draw: a number strictly between 0 and 1."""
        if not self._waiting:
            self._fetch()
        return self._waiting.pop()

    def _fetch(self) -> None:
        # Most streams of a life are short and many are never used, so a generator is made at the
        # first draw and the batches grow.
        if self._generator is None:
            self._generator = _generator(self._counter, self._key)
        batch = min(max(_FIRST_BATCH, self._fetched), _LARGEST_BATCH)
        self._waiting = open_uniforms(self._generator.random_raw(batch))[::-1].tolist()
        self._fetched += batch


def _generator(counter: tuple[int, int, int, int], key: tuple[int, int]) -> Philox:
    # The library adds one to the counter before each block, hence the step back.
    before = (_join(counter) - 1) % 2 ** (4 * _WORD)
    return Philox(counter=before, key=_join(key))


def _join(words: tuple[int, ...]) -> int:
    return sum(word << (_WORD * place) for place, word in enumerate(words))
