"""Chance in the compiled engine: the streams' generator, and what becomes of its numbers.

The generator is written out here, as NumPy's can't be called from compiled code. What a uniform
number becomes is the code of `draws` and `laws` itself, compiled.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cache
from types import FunctionType
from typing import Any

import numpy as np

from petsim.life import draws, streams
from petsim.life.compiled.compiling import compiled, inlined
from petsim.life.compiled.constants import AHEAD, THRESHOLD
from petsim.life.compiled.intrinsics import bits_of, double_of, lowest_bit, product
from petsim.spec import laws

# The functions of other modules, and those they call, compiled


@cache
def _shared(function: Any) -> Any:
    """Compile a function of another module, with all functions that it calls by their names."""
    names = function.__globals__
    called = {
        name: _shared(names[name])
        for name in function.__code__.co_names
        if isinstance(names.get(name), FunctionType)
    }
    return compiled(FunctionType(function.__code__, names | called, function.__name__))


unit_exponential = _shared(laws.unit_exponential)
_open_uniform = _shared(streams.open_uniforms)
_error_threshold = _shared(draws.error_threshold)
_nearest_second = _shared(laws.nearest_second)


def _quantile_of_families() -> Callable[..., float]:
    """Compile the quantile functions of all families into one, which is given a family's number."""
    quantiles = _quantile_of_none
    for number, family in enumerate(laws.FAMILIES.values()):
        arity = len(family.parameters)
        quantiles = _with(np.int64(number), _shared(family.quantile), arity, quantiles)
    return quantiles


@compiled
def _quantile_of_none(family: int, u: float, parameters: Any) -> float:
    return 0.0


def _with(number: Any, quantile: Any, arity: int, others: Any) -> Callable[..., float]:
    """Compile the quantile function of a family and those of others into one."""

    @compiled
    def quantiles(family: int, u: float, parameters: Any) -> float:
        if family == number:
            return quantile(u, *parameters[:arity])
        return others(family, u, parameters)

    return quantiles


_quantile = _quantile_of_families()
_EXPONENTIAL = np.int64(list(laws.FAMILIES).index("exponential"))

# Streams

# Multipliers and key steps of Philox4x64, as published (streams names the source).
_M0, _M1 = np.uint64(0xD2E7470EE14C6C93), np.uint64(0xCA5A826395121157)
_W0, _W1 = np.uint64(0x9E3779B97F4A7C15), np.uint64(0xBB67AE8584CAA73B)
_ROUNDS = 10


@compiled
def fill(state: Any, source: int, number: Any, block: int) -> None:
    """Compute the words of a source's stream from a block on.

    Args:
        source: its place in the state.
        number: its number in the generator's counter.
        block: the number of the first block, of four words each.
    """
    word = state.word[source]
    for first in range(0, AHEAD, 4):
        c0, c1, c2, c3 = np.uint64(block + first // 4), number, state.life, np.uint64(0)
        k0, k1 = state.seed, np.uint64(0)
        for _ in range(_ROUNDS):
            (high0, low0), (high1, low1) = product(_M0, c0), product(_M1, c2)
            c0, c1, c2, c3 = high1 ^ c1 ^ k0, low1, high0 ^ c3 ^ k1, low0
            k0, k1 = k0 + _W0, k1 + _W1
        word[first], word[first + 1], word[first + 2], word[first + 3] = c0, c1, c2, c3


@compiled
def draw(table: Any, state: Any, source: int) -> float:
    """Return the next uniform of a source."""
    k = state.drawn[source]
    fill_if_used_up(table, state, source)
    state.drawn[source] = k + 1
    return _open_uniform(state.word[source, k % AHEAD])


@inlined
def fill_if_used_up(table: Any, state: Any, source: int) -> None:
    """Compute the words of the next draws, unless there are some left."""
    k = state.drawn[source]
    if k % AHEAD == 0:
        fill(state, source, table.source[source], k // 4)


@inlined
def comes_true(table: Any, state: Any, source: int, chance: float) -> bool:
    """Whether the next uniform of a source is below a chance.

    Of a chance of 1 it always is. It is then counted and not computed, as idle checks are counted
    too without being gone through.
    """
    if chance == 1.0:
        state.drawn[source] += 1
        return True
    return draw(table, state, source) < chance


@inlined
def whole_share(u: float, n: int) -> int:
    """The whole number from 0 to n - 1 that u falls to."""
    return math.floor(u * n)


# Laws: durations in whole seconds, and the thresholds of errors in their units
#
# They are worked out for all words of a source that were computed together, as the arithmetic of
# one need not wait for that of another.

_LN2, _ROOT_OF_HALF = math.log(2.0), np.float64(math.sqrt(0.5)).view(np.int64)
MARGIN = 2.0**-46
"""Far more than `near_exponential` is ever off, as a share of its value."""


@inlined
def sample(table: Any, state: Any, law: int, source: int) -> int:
    """Return what a law makes of the next uniform of a source, such as a duration."""
    k = state.drawn[source]
    if k % AHEAD == 0 or state.law_ahead[source] != law:
        work_out(table, state, law, source)
    state.drawn[source] = k + 1
    return state.ahead[source, k % AHEAD]


@compiled
def work_out(table: Any, state: Any, law: int, source: int) -> None:
    """Work out what a law makes of all words that a source's next one was computed with."""
    fill_if_used_up(table, state, source)
    state.law_ahead[source] = law
    is_time = table.law[law] == _EXPONENTIAL
    unsure = np.int64(2**AHEAD - 1)
    if is_time or table.law[law] == THRESHOLD:
        # a time is rounded to the nearest second, a threshold rounded down
        unsure = multiply(
            state, source, table.parameter[law, 0], 0.5 * is_time, table.law_least[law]
        )
    while unsure:
        place = np.uint32(lowest_bit(unsure))
        state.ahead[source, place] = quantile(table, law, _open_uniform(state.word[source, place]))
        unsure &= unsure - 1


@compiled
def quantile(table: Any, law: int, u: float) -> int:
    """Return the quantile at u of a law, in whole seconds or error units."""
    if table.law[law] == THRESHOLD:
        return _error_threshold(u)
    row = table.parameter[law]
    # a tuple of MOST_PARAMETERS, as numba can only take a part of fixed length of a tuple
    seconds = _nearest_second(_quantile(table.law[law], u, (row[0], row[1], row[2])))
    return max(table.law_least[law], seconds)


@inlined
def multiply(state: Any, source: int, by: float, start: float, least: int) -> Any:
    """Work out exponential laws by a series that is almost exact, and say where it won't do.

    The logarithm that `laws` takes is slow, and its last bits matter only where the time is next to
    a bound between two whole numbers.

    Args:
        by: the mean.
        start: what is added before rounding down.
        least: the least result.

    Returns:
        A bit for each word whose result is so near to a bound that it may be wrong.
    """
    unsure = np.int64(0)
    for place in range(AHEAD):
        x = start + by * near_exponential(_open_uniform(state.word[source, place]))
        whole = math.floor(x)
        unsure |= np.int64(abs(x - whole - 0.5) > 0.5 - x * MARGIN) << place
        state.ahead[source, place] = max(least, whole)
    return unsure


@inlined
def near_exponential(u: float) -> float:
    """Return the quantile at u of the exponential distribution with mean 1, off by a few last bits.

    1 - u is a power of 2 times a number z near 1, whose logarithm is 2 artanh((z - 1) / (z + 1)).
    """
    bits = bits_of(1.0 - u)
    power = (bits - _ROOT_OF_HALF) >> 52
    z = double_of(bits - (power << 52))
    r = (z - 1.0) / (z + 1.0)
    q = r * r
    p = q * q
    even = 1.0 + p * (1 / 5 + p * (1 / 9 + p * (1 / 13 + p * (1 / 17 + p * (1 / 21)))))
    odd = 1 / 3 + p * (1 / 7 + p * (1 / 11 + p * (1 / 15 + p * (1 / 19))))
    series = even + q * odd
    return -(power * _LN2 + 2.0 * r * series)


# Errors
#
# An error's trials use up its threshold; the trial that uses it up errs, and a new threshold is
# drawn.


@inlined
def errs(table: Any, state: Any, error: int, step: int) -> bool:
    """Whether a trial of an error errs that uses up a step of its threshold; a step of 0 never."""
    if step == 0:
        return False
    left = state.error_left[error]
    if left < step:
        return errs_or_begins(table, state, error, step)
    state.error_left[error] = left - step
    return False


@compiled
def errs_or_begins(table: Any, state: Any, error: int, step: int) -> bool:
    """Whether a trial errs of which too little of the threshold is left, or none was drawn yet."""
    state.is_idle = 0
    was_drawn = state.error_left[error] >= 0
    source = np.int64(table.of_errors + error)
    state.error_left[error] = sample(table, state, table.threshold, source)
    if was_drawn:
        return True
    if state.error_left[error] >= step:
        state.error_left[error] -= step
        return False
    state.error_left[error] = sample(table, state, table.threshold, source)
    return True
