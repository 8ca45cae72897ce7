"""The luck of a life: the generator, what a uniform becomes, and two lives on the same luck.

The printed digits were computed apart from this project, from the closed forms of the sources.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from hashlib import blake2b
from typing import Any

import numpy as np
from numpy.random import Philox
from numpy.typing import NDArray

from petsim.life.streams import block, open_uniforms
from petsim.spec.laws import exponential, lognormal, weibull
from petsim.spec.library import load_model
from petsim.spec.normal import normal_quantile
from petsim.spec.parts import as_yaml
from petsim.study.aims import read_aim
from petsim.study.compare import Comparison
from petsim.study.stats import pairing_gain
from petsim.theory.closed_forms import first_empty, surely
from petsim.theory.lab import SEED, Lab, times
from petsim.theory.verdicts import Verdict, check, digits, exact, mean
from petsim.theory.worlds import FEED_WHEN_EMPTY, NO_CARE, every, hungry, regime, wasting

# The generator

TOP = 2**64 - 1
ZERO, ONES = (0, 0, 0, 0), (TOP, TOP, TOP, TOP)
PI = (0x243F6A8885A308D3, 0x13198A2E03707344, 0xA4093822299F31D0, 0x082EFA98EC4E6C89)
PI_KEY = (0x452821E638D01377, 0xBE5466CF34E90C6C)
BLOCKS = [
    # name, counter, key, words
    (
        "counter 0, key 0",
        ZERO,
        (0, 0),
        (0x16554D9ECA36314C, 0xDB20FE9D672D0FDC, 0xD7E772CEE186176B, 0x7E68B68AEC7BA23B),
    ),
    (
        "all ones",
        ONES,
        (TOP, TOP),
        (0x87B092C3013FE90B, 0x438C3C67BE8D0224, 0x9CC7D7C69CD777B6, 0xA09CAEBF594F0BA0),
    ),
    (
        "digits of pi",
        PI,
        PI_KEY,
        (0xA528F45403E61D95, 0x38C72DBD566E9788, 0xA5A1610E72FD18B5, 0x57BD43B5E52B7FE6),
    ),
]


@check(
    "Random123, tests/kat_vectors, philox4x64 in 10 rounds; Salmon, Moraes, Dror & Shaw, Parallel "
    "random numbers: as easy as 1, 2, 3, SC'11"
)
def published_words_of_the_generator(lab: Lab) -> Iterator[Verdict]:
    """All four words of each block, bit by bit."""
    for name, counter, key, words in BLOCKS:
        alike = sum(a == b for a, b in zip(block(counter, key), words, strict=True))
        yield exact(f"words as published: {name}", alike, 4)


@check("documentation of numpy.random.Philox; BLAKE2b: RFC 7693, as in Python's hashlib")
def lives_drawn_from_words_of_numpy(lab: Lab) -> Iterator[Verdict]:
    """Every wait of a life, as it follows from its seed, its number and the name of its source."""
    average, waits = 1_000, 500
    source = int.from_bytes(blake2b(b"waste", digest_size=8).digest(), "little")
    for seed, life in ((0, 0), (SEED, 41), (TOP, 2**63)):
        # The library adds one to the counter before each block.
        before = ((source << 64) + (life << 128)) - 1
        words = Philox(counter=before, key=seed).random_raw(waits)
        uniforms = [((word >> 12) + 0.5) / 2**52 for word in words.tolist()]
        due = np.cumsum([max(1, math.floor(-average * math.log1p(-u) + 0.5)) for u in uniforms])
        model, seconds = wasting(f"exponential {average} s"), int(due[-1]) + 1
        events = lab.events(model, NO_CARE, seconds=seconds, seed=seed, life=life)
        ends, case = times(events, "waste"), f"seed {seed}, life {life}"
        yield exact(f"{case}: waits", len(ends), waits)
        yield exact(f"{case}: ends of waits elsewhere", len(np.setxor1d(ends, due)), 0)


# What a uniform becomes


@check("Wichura (1988), Algorithm AS 241, Applied Statistics 37:477-484, its three test values")
def normal_quantiles(lab: Lab) -> Iterator[Verdict]:
    """To 16 digits."""
    for u, z in (
        (0.25, -0.6744897501960817),
        (0.001, -3.090232306167814),
        (1e-20, -9.262340089798408),
    ):
        yield digits(f"normal: quantile at {u}", normal_quantile(u), z, 1e-15 * abs(z))


U = (0.1, 0.5, 0.937)
QUANTILES: list[tuple[str, Callable[..., float], tuple[float, ...], tuple[float, ...]]] = [
    (
        "exponential, mean 3600 s",
        exponential,
        (3600,),
        (379.29785637, 2495.32985002, 9952.63398933),
    ),
    (
        "weibull 1.7, scale 3600 s",
        weibull,
        (1.7, 3600),
        (958.09183811, 2901.81966187, 6547.68997626),
    ),
    (
        "lognormal, median exp(8) s, sigma 0.5",
        lognormal,
        (math.exp(8), 0.5),
        (1570.61763211, 2980.95798704, 6406.27843579),
    ),
]


@check("closed form: the inverse of the distribution function")
def quantiles_of_durations(lab: Lab) -> Iterator[Verdict]:
    """The printed seconds, and the least and the greatest uniform that there is, through each."""
    ends = open_uniforms(np.array([0, TOP], dtype=np.uint64)).tolist()
    for name, quantile, parameters, printed in QUANTILES:
        for u, seconds in zip(U, printed, strict=True):
            yield digits(f"{name}: quantile at {u}", quantile(u, *parameters), seconds, 6e-9)
        finite = sum(math.isfinite(quantile(u, *parameters)) for u in ends)
        yield exact(f"{name}: finite at words 0 and 2^64 - 1", finite, 2)


# The same luck

CHECKS = 4_000
GRACES = [
    # mean, interval, graces: variance on the same luck and on other luck, how much is gained
    (3700, 2700, (900, 1500), 0.096519, 0.437089, 4.5285),
    (2400, 1500, (300, 800), None, None, None),
]


@check("closed form: variances of nested events, and of independent ones")
def misses_of_two_graces(lab: Lab) -> Iterator[Verdict]:
    """Drops are the same, so misses of the longer grace are among those of the shorter.

    Their difference in an interval is then one event, of chance d and variance d(1 - d).
    """
    for m, interval, graces, paired, independent, gain in GRACES:
        case = f"drops every {m} s, checks every {interval} s, {graces[0]} or {graces[1]} s allowed"
        if paired is not None and independent is not None and gain is not None:
            p, q = (-math.expm1(-(interval - grace) / m) for grace in graces)
            same, other = (p - q) * (1 - p + q), p * (1 - p) + q * (1 - q)
            yield digits(f"{case}: variance in theory", same, paired, 6e-7)
            yield digits(f"{case}: variance on other luck in theory", other, independent, 6e-7)
            # Of a thousand million intervals: missed under both graces, one, the other, neither.
            table = (round(1e9 * chance) for chance in (q, p - q, 0, 1 - p))
            yield digits(f"{case}: gain by pairing", pairing_gain(*table), gain, 6e-5)

        models, caretaker = [hungry(m, grace) for grace in graces], regime(every(interval))
        missed, drops_apart = [], 0
        for life in range(lab.number(10)):
            seconds = CHECKS * interval + 1
            logs = [lab.events(model, caretaker, seconds=seconds, life=life) for model in models]
            drops = [times(events, "drop") for events in logs]
            drops_apart += not np.array_equal(drops[0], drops[1])
            missed.append([_missed(times(events, "miss"), interval) for events in logs])
        shorter, longer = np.concatenate(missed, axis=1)
        yield exact(f"{case}: lives whose drops differ", drops_apart, 0)
        alone = int(np.count_nonzero(longer & ~shorter))
        yield exact(f"{case}: misses of the longer alone", alone, 0)

        law = np.cumsum(first_empty(m, interval))
        p, q = (float(law[interval - grace]) for grace in graces)
        nested = [1 - p + q, p - q, 0.0]
        apart = [p * q + (1 - p) * (1 - q), p * (1 - q), q * (1 - p)]
        for word, chances, difference in (
            ("variance", nested, _minus(shorter, longer)),
            ("variance on other luck", apart, _minus(*_apart(shorter, longer))),
        ):
            # The difference is 0, 1 or -1.
            steps = np.array([0, 1, -1]) - (chances[1] - chances[2])
            variance, fourth = (float(steps**power @ chances) for power in (2, 4))
            error = math.sqrt((fourth - variance**2) / len(difference))
            yield mean(f"{case}: {word}", difference.var(), variance, error)


def _missed(misses: NDArray[np.int64], interval: int) -> NDArray[np.bool_]:
    """Whether there was a miss in each interval of a life."""
    missed = np.zeros(CHECKS, dtype=bool)
    missed[(misses - 1) // interval] = True
    return missed


def _minus(first: NDArray[Any], second: NDArray[Any]) -> NDArray[np.int64]:
    return first.astype(np.int64) - second.astype(np.int64)


def _apart(first: NDArray[Any], second: NDArray[Any]) -> tuple[NDArray[Any], NDArray[Any]]:
    """Half of the first values and the other half of the second, which are on other luck."""
    half = len(first) // 2
    return first[:half], second[half : 2 * half]


WAITS = 4_000
MEANS = [
    # means: gain
    (2400, 3000, 41),
    (900, 3600, None),
]


@check("closed form: two multiples of one exponential, and of independent ones")
def waits_of_two_means(lab: Lab) -> Iterator[Verdict]:
    """Waits a E and b E of one E have a difference of variance (a - b)^2; of two, a^2 + b^2."""
    for short, long, gain in MEANS:
        case = f"waits of {short} and {long} s"
        same, other = (short - long) ** 2, short**2 + long**2
        if gain is not None:
            yield exact(f"{case}: gain in theory", other / same, gain)
        each = [[_waits(lab, m, life) for m in (short, long)] for life in range(lab.number(8))]
        first, second = np.concatenate(each, axis=1)
        # Exactly proportional, but for each being rounded to its second and being 1 at least.
        off = np.abs(long * first - short * second)
        wrong = int(np.count_nonzero(off > (long + short) / 2 + short))
        yield exact(f"{case}: waits out of proportion", wrong, 0)

        # The square of a centred exponential variable of mean 1 has variance 8; that of the
        # difference of two variables follows from their fourth cumulants, 6 m^4 each.
        error = same * math.sqrt(8 / len(first))
        yield mean(f"{case}: variance, s^2", _minus(first, second).var(), same, error)
        difference = _minus(*_apart(first, second))
        spread = math.sqrt(6 * (short**4 + long**4) + 2 * other**2)
        error = spread / math.sqrt(len(difference))
        yield mean(f"{case}: variance on other luck, s^2", difference.var(), other, error)


def _waits(lab: Lab, average: int, life: int) -> NDArray[np.int64]:
    """The waits of a life, without those that its end may cut off."""
    model = wasting(f"exponential {average} s")
    events = lab.events(model, NO_CARE, seconds=WAITS * average, life=life)
    return np.diff(times(events, "waste"), prepend=0)[: surely(WAITS)]


LINES = (
    "checks: {every: 6 min, first: random, jitter: 3 min}",
    "listens: {hears: 60%, reacts in: exponential 2 min}",
    "eyes: {waste: {overlooks: 8%, imagines: 3%}, hunger: {misreads: 6%}}",
    "hands: {feed: {takes: 8 s, slips: 5%}}",
    "outages: {up: exponential 5 h, down: lognormal median 10 min sigma 1.0}",
)
ROUTINE = (
    FEED_WHEN_EMPTY,
    "{when: {waste: at least 1}, do: clean}",
    "{when: {ill: yes}, do: dose}",
)


@check("no chance is left: draws are pure functions of seed, life, source and place")
def regimes_that_say_the_same(lab: Lab) -> Iterator[Verdict]:
    """The same regime twice, its lines in another order: every number of either is the other's."""
    model = load_model("lamplet-quick")
    lived = [
        lab.batch(as_yaml(model), regime(*lines, routine=ROUTINE), lives=200)
        for lines in (LINES, LINES[::-1])
    ]
    first, second = lived
    columns = [not np.array_equal(first.values[name], second.values[name]) for name in first.values]
    yield exact("a regime and itself: columns of the lives that differ", sum(columns), 0)
    presses = np.unique(first.values["presses"])
    yield exact("a regime and itself: whether all lives press alike", len(presses) == 1, 0)

    compared = Comparison(model, read_aim(model), (first, second))
    reported = [[*_numbers(figures)] for figures in compared.as_dict()["regimes"]]
    differ = sum(a != b for a, b in zip(*reported, strict=True))
    yield exact("a regime and itself: numbers reported that differ", differ, 0)
    [difference] = compared.differences
    yield exact("a regime and itself: difference", difference.interval.estimate, 0)
    yield exact("a regime and itself: lives told apart", sum(difference.table[1:3]), 0)


def _numbers(data: Any) -> Iterator[Any]:
    """All numbers of plain data, in order."""
    if isinstance(data, dict):
        for value in data.values():
            yield from _numbers(value)
    elif not isinstance(data, str):
        yield data
