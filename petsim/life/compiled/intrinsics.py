"""Instructions of the machine on 64-bit words that Python has no operator for.

Each is there twice: compiled, and as plain Python for a kernel that is not compiled.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from llvmlite import ir
from numba import config, types
from numba.extending import intrinsic


def _product(a: Any, b: Any) -> tuple[Any, Any]:
    product = int(a) * int(b)
    return np.uint64(product >> 64), np.uint64(product & (2**64 - 1))


@intrinsic
def _product_compiled(context: Any, a: Any, b: Any) -> Any:
    words = types.UniTuple(types.uint64, 2)  # type: ignore[no-untyped-call]

    def build(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        wide, word = ir.IntType(128), ir.IntType(64)
        a, b = (builder.zext(argument, wide) for argument in arguments)
        product = builder.mul(a, b)
        high = builder.lshr(product, ir.Constant(wide, 64))
        halves = [builder.trunc(half, word) for half in (high, product)]
        return context.make_tuple(builder, words, halves)

    return words(types.uint64, types.uint64), build


def _lowest_bit(word: Any) -> Any:
    return np.int64((int(word) & -int(word)).bit_length() - 1)


@intrinsic
def _lowest_bit_compiled(context: Any, word: Any) -> Any:
    def build(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        return builder.cttz(arguments[0], ir.Constant(ir.IntType(1), 1))

    return types.int64(types.int64), build


def _bits_of(x: Any) -> Any:
    return np.float64(x).view(np.int64)


def _double_of(bits: Any) -> Any:
    return np.int64(bits).view(np.float64)


def _compiled_cast(from_type: Any, to_type: Any) -> Callable[..., Any]:
    """Return an intrinsic that takes the bits of one type for those of another."""

    @intrinsic
    def cast(context: Any, value: Any) -> Any:
        def build(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
            return builder.bitcast(arguments[0], context.get_value_type(to_type))

        return to_type(from_type), build

    return cast


_jit_is_off: bool = config.DISABLE_JIT  # type: ignore[attr-defined]

product: Callable[..., Any] = _product if _jit_is_off else _product_compiled
"""Return the upper and the lower half of the product of two unsigned words."""
lowest_bit: Callable[..., Any] = _lowest_bit if _jit_is_off else _lowest_bit_compiled
"""Return the place of the lowest bit of a word that is set; one has to be."""
bits_of: Callable[..., Any] = (
    _bits_of if _jit_is_off else _compiled_cast(types.float64, types.int64)
)
"""Return the bits of a double as a signed word."""
double_of: Callable[..., Any] = (
    _double_of if _jit_is_off else _compiled_cast(types.int64, types.float64)
)
"""Return the double that a signed word has the bits of."""
