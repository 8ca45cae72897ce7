"""Chance in the compiled engine: the streams' generator, and draws from it.

The generator is written out here, as numpy's can't be called from compiled code; what a uniform
becomes is the code of `draws` itself, compiled.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from types import FunctionType
from typing import Any

import numpy as np

from petsim.life import draws, streams
from petsim.life.compiled.compiling import compiled, inlined
from petsim.life.compiled.words import bits_of, double_of, lowest_bit, product
from petsim.life.tables import LAWS, SOURCES
from petsim.spec import laws, normal


def numbered(names: Sequence[Any]) -> tuple[Any, ...]:
    """The numbers that stand for names in the tables.

    They are numpy's, as the compiler would make a rule anew for each plain number that it is
    called with.
    """
    return tuple(map(np.int64, range(len(names))))


def source(name: str) -> Any:
    """The number of a source of chance that every life has."""
    return np.int64(SOURCES.index(name))


FIXED, UNIFORM, TRIANGULAR, EXPONENTIAL, WEIBULL, LOGNORMAL, THRESHOLD = numbered(LAWS)


def _shared(function: Any, *calls: Any) -> Any:
    """Compile a function of another module, with the compiled ones in place of those it calls."""
    its_names = function.__globals__ | {call.__name__: call for call in calls}
    return compiled(FunctionType(function.__code__, its_names, function.__name__))


_open_uniform = _shared(streams.open_uniforms)
unit_exponential = _shared(laws.unit_exponential)
_error_threshold = _shared(draws.error_threshold, unit_exponential)
_whole_seconds = _shared(draws.whole_seconds)
_uniform = _shared(laws.uniform)
_triangular = _shared(laws.triangular)
_exponential = _shared(laws.exponential, unit_exponential)
_weibull = _shared(laws.weibull, unit_exponential)
_normal_quantile = _shared(normal.normal_quantile, _shared(normal._polynomial))
_lognormal = _shared(laws.lognormal, _normal_quantile)

# Multipliers and key steps of Philox4x64, as published (streams names the source).
_M0, _M1 = np.uint64(0xD2E7470EE14C6C93), np.uint64(0xCA5A826395121157)
_W0, _W1 = np.uint64(0x9E3779B97F4A7C15), np.uint64(0xBB67AE8584CAA73B)
_ROUNDS = 10

_LN2, _ROOT_OF_HALF = math.log(2.0), np.float64(math.sqrt(0.5)).view(np.int64)
MARGIN = 2.0**-46
"""Far more than near quantiles are ever off, as a share of themselves."""


@compiled
def fill(s: Any, source: int, number: Any, block: int) -> None:
    """Compute two blocks of four words of a source's stream at once; number is the source's."""
    zero, one = np.uint64(0), np.uint64(1)
    a0, a1, a2, a3 = np.uint64(block), number, s.life, zero
    b0, b1, b2, b3 = np.uint64(block) + one, number, s.life, zero
    k0, k1 = s.seed, zero
    for _ in range(_ROUNDS):
        (high0, low0), (high1, low1) = product(_M0, a0), product(_M1, a2)
        a0, a1, a2, a3 = high1 ^ a1 ^ k0, low1, high0 ^ a3 ^ k1, low0
        (high0, low0), (high1, low1) = product(_M0, b0), product(_M1, b2)
        b0, b1, b2, b3 = high1 ^ b1 ^ k0, low1, high0 ^ b3 ^ k1, low0
        k0, k1 = k0 + _W0, k1 + _W1
    word = s.word[source]
    word[0], word[1], word[2], word[3] = a0, a1, a2, a3
    word[4], word[5], word[6], word[7] = b0, b1, b2, b3


@compiled
def draw(w: Any, s: Any, source: int) -> float:
    """The next uniform of a source; its numbers are met one by one."""
    k = s.drawn[source]
    if k & 7 == 0:
        fill(s, source, w.source[source], k >> 2)
    s.drawn[source] = k + 1
    return _open_uniform(s.word[source, k & 7])


@inlined
def comes_true(w: Any, s: Any, source: int, chance: float) -> bool:
    """Whether the next uniform of a source is below a chance; of a sure one it is but counted."""
    if chance == 1.0:
        s.drawn[source] += 1
        return True
    return draw(w, s, source) < chance


@inlined
def sample(w: Any, s: Any, law: int, source: int) -> int:
    """What a law makes of the next uniform of a source, such as a duration in whole seconds.

    Eight are worked out at once, as the arithmetic of one need not wait for another's.
    """
    k = s.drawn[source]
    if k & 7 == 0 or s.law_ahead[source] != law:
        work_out(w, s, law, source)
    s.drawn[source] = k + 1
    return s.ahead[source, k & 7]


@compiled
def work_out(w: Any, s: Any, law: int, source: int) -> None:
    """What a law makes of the eight uniforms that a source's next is one of."""
    k = s.drawn[source]
    if k & 7 == 0:
        fill(s, source, w.source[source], k >> 2)
    s.law_ahead[source] = law
    unsure, lasts = np.int64(0xFF), w.law[law] == EXPONENTIAL
    if lasts or w.law[law] == THRESHOLD:
        # seconds are rounded to the nearest and one at least, units of error down
        unsure = multiply(s, source, w.law_a[law], 0.5 * lasts, np.int64(lasts))
    while unsure:
        place = np.uint32(lowest_bit(unsure))
        s.ahead[source, place] = quantile(w, law, _open_uniform(s.word[source, place]))
        unsure &= unsure - 1


@inlined
def multiply(s: Any, source: int, by: float, start: float, least: int) -> Any:
    """Multiply unit exponentials, from a start, and round down to not less than the least.

    log1p, which `draws` takes, is slow, and only matters next to a whole number: returned is a bit
    for each that is so near to one that a quantile near the exact one does not say on which side it
    is.
    """
    unsure = np.int64(0)
    for place in range(8):
        x = start + by * near_exponential(_open_uniform(s.word[source, place]))
        whole = math.floor(x)
        unsure |= np.int64(abs(x - whole - 0.5) > 0.5 - x * MARGIN) << place
        s.ahead[source, place] = max(least, whole)
    return unsure


@inlined
def near_exponential(u: float) -> float:
    """The quantile at u of the exponential distribution with mean 1, but for its last few bits.

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


@compiled
def quantile(w: Any, law: int, u: float) -> int:
    """The quantile at u of a law, in whole seconds; or of an error's thresholds."""
    a, kind = w.law_a[law], w.law[law]
    if kind == THRESHOLD:
        return _error_threshold(u)
    if kind == FIXED:
        x = a
    elif kind == UNIFORM:
        x = _uniform(u, a, w.law_b[law])
    elif kind == TRIANGULAR:
        x = _triangular(u, a, w.law_b[law], w.law_c[law])
    elif kind == EXPONENTIAL:
        x = _exponential(u, a)
    elif kind == WEIBULL:
        x = _weibull(u, a, w.law_b[law])
    else:
        x = _lognormal(u, a, w.law_b[law])
    return _whole_seconds(x)


# Errors


@inlined
def errs(w: Any, s: Any, error: int, step: int) -> bool:
    """One trial of an error that uses up so much of its threshold; none if it uses up nothing."""
    if step == 0:
        return False
    left = s.error_left[error]
    if left < step:
        return uses_up(w, s, error, step)
    s.error_left[error] = left - step
    return False


@compiled
def uses_up(w: Any, s: Any, error: int, step: int) -> bool:
    """A trial that uses up the threshold, unless that was not drawn yet and is larger."""
    s.alike = 0
    undrawn = s.error_left[error] < 0
    source = np.int64(w.of_errors + error)
    s.error_left[error] = sample(w, s, w.threshold, source)
    if not undrawn:
        return True
    if s.error_left[error] >= step:
        s.error_left[error] -= step
        return False
    s.error_left[error] = sample(w, s, w.threshold, source)
    return True


@inlined
def whole_share(u: float, n: int) -> int:
    """The whole number from 0 to n - 1 that u falls to."""
    return math.floor(u * n)
