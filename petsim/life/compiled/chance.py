"""Chance in the compiled engine: the streams' generator, and draws from it.

The generator is written out here, as numpy's can't be called from compiled code; what a uniform
becomes is the code of `draws` itself, compiled.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from hashlib import blake2b
from pathlib import Path
from types import FunctionType
from typing import Any

import numpy as np
from llvmlite import ir
from numba import config, njit, types
from numba.extending import intrinsic

from petsim.life import draws, streams
from petsim.life.tables import LAWS, SOURCES


def numbered(names: Sequence[Any]) -> tuple[Any, ...]:
    """The numbers that stand for names in the tables.

    They are numpy's, as the compiler would make a rule anew for each plain number that it is
    called with.
    """
    return tuple(map(np.int64, range(len(names))))


def source(name: str) -> Any:
    """The number of a source of chance that every life has."""
    return np.int64(SOURCES.index(name))


FIXED, UNIFORM, TRIANGULAR, EXPONENTIAL, WEIBULL, LOGNORMAL = numbered(LAWS)


def compiled(function: Any, **options: Any) -> Any:
    """Compile a rule. Doubles are left to IEEE 754: no contraction, no reordering."""
    return njit(function, error_model="numpy", nogil=True, **options)


def digest() -> int:
    """A number that stands for all code that the kernel is made of, and the constants in it."""
    package = Path(__file__).parents[2]
    files = sorted(file for part in ("life", "spec") for file in (package / part).rglob("*.py"))
    sources = b"".join(file.read_bytes() for file in files)
    return int.from_bytes(blake2b(sources, digest_size=7).digest(), "little")


def inlined(function: Callable[..., Any]) -> Any:
    """Compile a rule into those that call it: what is done often and in few places."""
    return compiled(function, forceinline=True)


def merged(function: Any) -> Any:
    """Compile a rule as part of the only one that calls it: what is large, so that it is optimised
    once instead of at each level of calls."""
    return compiled(function, inline="always")


def _shared(function: Any, *calls: Any) -> Any:
    """Compile a function of another module, with the compiled ones in place of those it calls."""
    its_names = function.__globals__ | {call.__name__: call for call in calls}
    return compiled(FunctionType(function.__code__, its_names, function.__name__))


_open_uniform = _shared(streams.open_uniforms)
unit_exponential = _shared(draws.unit_exponential)
error_threshold = _shared(draws.error_threshold, unit_exponential)
_whole_seconds = _shared(draws.whole_seconds)
_uniform = _shared(draws.uniform)
_triangular = _shared(draws.triangular)
_exponential = _shared(draws.exponential, unit_exponential)
_weibull = _shared(draws.weibull, unit_exponential)
_normal_quantile = _shared(draws.normal_quantile, _shared(draws._polynomial))
_lognormal = _shared(draws.lognormal, _normal_quantile)

# Multipliers and key steps of Philox4x64, as published (streams names the source).
_M0, _M1 = np.uint64(0xD2E7470EE14C6C93), np.uint64(0xCA5A826395121157)
_W0, _W1 = np.uint64(0x9E3779B97F4A7C15), np.uint64(0xBB67AE8584CAA73B)
_ROUNDS = 10


def _high_in_python(a: Any, b: Any) -> Any:
    return np.uint64((int(a) * int(b)) >> 64)


@intrinsic
def _high_compiled(context: Any, a: Any, b: Any) -> Any:
    def build(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        wide = ir.IntType(128)
        a, b = (builder.zext(argument, wide) for argument in arguments)
        product = builder.lshr(builder.mul(a, b), ir.Constant(wide, 64))
        return builder.trunc(product, ir.IntType(64))

    return types.uint64(types.uint64, types.uint64), build


_jit_is_off: bool = config.DISABLE_JIT  # type: ignore[attr-defined]
_high: Any = _high_in_python if _jit_is_off else _high_compiled


@compiled
def fill(s: Any, source: int, number: Any, block: int) -> None:
    """Compute a block of four words of a source's stream; number is the source's."""
    c0, c1, c2, c3 = np.uint64(block), number, s.life, np.uint64(0)
    k0, k1 = s.seed, np.uint64(0)
    for _ in range(_ROUNDS):
        high0, low0 = _high(_M0, c0), _M0 * c0
        high1, low1 = _high(_M1, c2), _M1 * c2
        c0, c1, c2, c3 = high1 ^ c1 ^ k0, low1, high0 ^ c3 ^ k1, low0
        k0, k1 = k0 + _W0, k1 + _W1
    s.word[source, 0] = c0
    s.word[source, 1] = c1
    s.word[source, 2] = c2
    s.word[source, 3] = c3


@inlined
def peek(w: Any, s: Any, source: int) -> float:
    """The next uniform of a source, which stays the next; its numbers are met one by one."""
    k = s.drawn[source]
    if k & 3 == 0:
        fill(s, source, w.source[source], k >> 2)
    return _open_uniform(s.word[source, k & 3])


@inlined
def draw(w: Any, s: Any, source: int) -> float:
    """The next uniform of a source."""
    u = peek(w, s, source)
    s.drawn[source] += 1
    return u


@inlined
def comes_true(w: Any, s: Any, source: int, chance: float) -> bool:
    """Whether the next uniform of a source is below a chance; of a sure one it is but counted."""
    if chance == 1.0:
        s.drawn[source] += 1
        return True
    return draw(w, s, source) < chance


@compiled
def sample(w: Any, s: Any, law: int, source: int) -> int:
    """A duration of a law, in whole seconds, from the next uniform of a source.

    It was worked out when the one before was taken, unless that was of another law, so that
    nothing that follows from it has to wait for the arithmetic.
    """
    if s.law_ahead[source] != law:
        s.ahead[source] = duration(w, law, peek(w, s, source))
        s.law_ahead[source] = law
    seconds = s.ahead[source]
    s.drawn[source] += 1
    s.ahead[source] = duration(w, law, peek(w, s, source))
    return seconds


@compiled
def duration(w: Any, law: int, u: float) -> int:
    """The quantile at u of a law, in whole seconds."""
    a, kind = w.law_a[law], w.law[law]
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
    s.error_left[error] = error_threshold(draw(w, s, w.of_errors + error))
    if not undrawn:
        return True
    if s.error_left[error] >= step:
        s.error_left[error] -= step
        return False
    s.error_left[error] = error_threshold(draw(w, s, w.of_errors + error))
    return True


@inlined
def whole_share(u: float, n: int) -> int:
    """The whole number from 0 to n - 1 that u falls to."""
    return math.floor(u * n)
