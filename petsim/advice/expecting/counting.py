"""What a rig counts from one second of many lives to the next."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from petsim.advice.expecting.bands import Counts
from petsim.life.caretaker import is_sendable
from petsim.life.counters import counters_of
from petsim.life.kinds import EventKind
from petsim.life.record import Event
from petsim.spec.clocks import Begins
from petsim.spec.model import Model
from petsim.spec.quantities import DAY
from petsim.study.processes import call_apart, processors
from petsim.study.runner import Engine

if TYPE_CHECKING:
    from petsim.life.compiled import CompiledEngine
    from petsim.life.reference import ReferenceEngine

    CountingEngine = ReferenceEngine | CompiledEngine

T = TypeVar("T")
Events = tuple[Event, ...]
Followed = tuple[NDArray[np.int64], Events]
"""What was counted of a life so far at some seconds, and entries of its log."""
COPIES = 4
"""Copies of the counts that are in memory at once."""


def ends_of_days(begins: Begins, days: int) -> range:
    """Return the seconds of the first midnights of a life that begins at a clock time."""
    return range(DAY - begins.clock, days * DAY + 1 - begins.clock, DAY)


def room_of(model: Model, times: int) -> int:
    """Return the bytes of memory that the counts of a life at a number of times take."""
    return COPIES * 8 * times * len(counters_of(model))


def followed_between(
    model: Model,
    engine: CountingEngine,
    seed: int,
    numbers: range,
    seconds: Sequence[int],
    kept: Collection[EventKind] = (),
    *,
    check_limit: float,
    progress: bool = False,
) -> tuple[Counts, list[Events]]:
    """Count what a rig counts from each of some seconds to the next, from second 0 to the first.

    Args:
        model: the pet.
        engine: lives it, up to the last of the seconds.
        seed, numbers: those of the lives.
        seconds: in order, each after second 0 but perhaps the first.
        kept: the kinds of entries of each life's log that are wanted besides.
        check_limit: as for `petsim.simulate`.
        progress: whether a terminal shows how many lives are lived, and the time left.

    Returns:
        The counts by life, time and counter, as `counters_of` lists them, nan where the life was
        over before the end of the time; and the entries of each life.

    Raises:
        PolicyError, ArgumentError: as for `petsim.batch`.
    """
    so_far, logs = apart(check_limit, _followed, engine, seed, numbers, seconds, kept, progress)
    known = np.where(so_far < 0, np.nan, so_far)
    birth = np.zeros((len(numbers), 1, len(counters_of(model))))
    return np.diff(known, axis=1, prepend=birth), logs


def apart(check_limit: float, work: Callable[..., T], engine: Engine, *args: Any) -> T:
    """Return what work with an engine returns, done in a process of its own for a Python policy.

    Args:
        check_limit: as for `petsim.simulate`.
        work: called with the engine and the other arguments, all of which can be pickled.
    """
    if engine.caretaker.make is not None and is_sendable(engine.caretaker):
        return call_apart(check_limit, work, engine, *args)
    return work(engine, *args)


def _followed(
    engine: CountingEngine,
    seed: int,
    numbers: range,
    seconds: Sequence[int],
    kept: Collection[EventKind],
    progress: bool,
) -> tuple[NDArray[np.int64], list[Events]]:
    from tqdm import tqdm

    def of(number: int) -> Followed:
        return engine.followed(seed, number, seconds, kept)

    shown = None if progress else True  # none in a pipe
    with tqdm(total=len(numbers), unit=" lives", leave=False, disable=shown) as bar:
        counts, logs = [], []
        for own, log in _in_order(engine, of, numbers):
            counts.append(own)
            logs.append(log)
            bar.update()
    return np.array(counts), logs


def _in_order(
    engine: CountingEngine, of: Callable[[int], Followed], numbers: range
) -> Iterator[Followed]:
    """Yield what comes of each life, in order; compiled code runs in threads."""
    if engine.name != "compiled":
        yield from map(of, numbers)
        return
    with ThreadPoolExecutor(processors()) as pool:
        yield from pool.map(of, numbers)
