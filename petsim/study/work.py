"""Handing out lives to the machine's processors, and collecting them in order."""

from __future__ import annotations

import logging
import os
import pickle
from collections import deque
from collections.abc import Callable, Generator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from functools import partial
from itertools import islice
from typing import Any, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from petsim.errors import PolicyError
from petsim.life.caretaker import Caretaker
from petsim.life.reference import ReferenceEngine
from petsim.study.processes import Processes

Rows = NDArray[np.int64]
"""Rows of the table of lives: shape (lives, columns), each word by its number."""


class Engine(Protocol):
    """What lives lives: the reference engine or the compiled one.

    name: what the user calls it. caretaker: who looks after the pet. chunk: so many lives that
    handing them out costs nothing, and few enough that all processors end together and progress
    shows.
    """

    name: str
    caretaker: Caretaker
    chunk: int

    def lives(self, seed: int, numbers: range) -> Rows:
        """The rows of lives with these numbers."""


class Task(NamedTuple):
    """Lives to live: the place of their engine, and their numbers."""

    engine: int
    numbers: range


def processors() -> int:
    """Processors this process may use, where the system tells; else all there are."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def chunks(
    engines: Sequence[Engine], seed: int, lives: int, workers: int
) -> Generator[tuple[Task, Rows]]:
    """All lives of all engines, which take turns: each engine's chunks in order.

    Compiled code runs in threads, as it needs no interpreter; Python in processes.
    """
    tasks = iter(_tasks(engines, lives))
    with ExitStack() as stack:
        submit = _submitter(stack, engines, seed, lives, workers)
        # Few at a time, so that an error or Ctrl-C waits for no more than these.
        pending = deque((task, submit(task)) for task in islice(tasks, 2 * workers))
        while pending:
            task, result = pending.popleft()
            chunk = result()
            pending.extend((task, submit(task)) for task in islice(tasks, 1))
            yield task, chunk


def _tasks(engines: Sequence[Engine], lives: int) -> list[Task]:
    tasks = [
        Task(place, range(first, min(first + engine.chunk, lives)))
        for place, engine in enumerate(engines)
        for first in range(0, lives, engine.chunk)
    ]
    return sorted(tasks, key=lambda task: (task.numbers.start, task.engine))


def _submitter(
    stack: ExitStack, engines: Sequence[Engine], seed: int, lives: int, workers: int
) -> Callable[[Task], Callable[[], Rows]]:
    """What starts a task and returns how to wait for its chunk."""
    interpreted = [engine for engine in engines if isinstance(engine, ReferenceEngine)]
    threads = stack.enter_context(ThreadPoolExecutor(workers))
    worth_it = workers > 1 and any(lives > engine.chunk for engine in interpreted)
    packed = _packed(engines) if worth_it else None
    processes = packed and stack.enter_context(Processes(workers, partial(_take, packed)))

    def submit(task: Task) -> Callable[[], Rows]:
        used = engines[task.engine]
        if not isinstance(used, ReferenceEngine):
            return threads.submit(used.lives, seed, task.numbers).result
        if processes:
            return processes.submit(_work, seed, task).result
        return partial(used.lives, seed, task.numbers)

    return submit


def _packed(engines: Sequence[Engine]) -> bytes | None:
    """The interpreted engines as other processes can be sent them, if they can be."""
    sent = [engine if isinstance(engine, ReferenceEngine) else None for engine in engines]
    try:
        return pickle.dumps(sent)
    except PolicyError as error:
        logging.getLogger("petsim").warning("petsim: slow on one processor: %s", error)
        return None


_engines: list[Any] = []


def _take(packed: bytes) -> None:
    _engines[:] = pickle.loads(packed)


def _work(seed: int, task: Task) -> Rows:
    chunk: Rows = _engines[task.engine].lives(seed, task.numbers)
    return chunk
