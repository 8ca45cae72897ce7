"""Handing out lives to the machine's processors, and collecting them in order."""

from __future__ import annotations

import logging
import os
import pickle
import signal
from collections import deque
from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from functools import partial
from itertools import islice
from threading import current_thread, main_thread
from types import FrameType
from typing import Any, NamedTuple, ParamSpec, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from petsim.life.caretaker import Caretaker
from petsim.life.policy import PolicyError
from petsim.life.reference import ReferenceEngine

P = ParamSpec("P")
T = TypeVar("T")

Chunk = NDArray[np.int64]
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

    def lives(self, seed: int, numbers: range) -> Chunk:
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
) -> Generator[tuple[Task, Chunk]]:
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
) -> Callable[[Task], Callable[[], Chunk]]:
    """What starts a task and returns how to wait for its chunk."""
    interpreted = [engine for engine in engines if isinstance(engine, ReferenceEngine)]
    threads = stack.enter_context(ThreadPoolExecutor(workers))
    worth_it = workers > 1 and any(lives > engine.chunk for engine in interpreted)
    packed = _packed(engines) if worth_it else None
    processes = packed and stack.enter_context(Processes(workers, partial(_take, packed)))

    def submit(task: Task) -> Callable[[], Chunk]:
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


class Processes(ProcessPoolExecutor):
    """Processes of this machine that end without a word at Ctrl-C, even in an endless policy.

    But never while they hand over what they did: of half a message the rest would be waited for
    in vain.

    Args:
        workers: how many.
        begin: what each of them does first, if anything.
    """

    def __init__(self, workers: int, begin: Callable[[], object] | None = None) -> None:
        super().__init__(workers, None, _begin, (begin,))

    def submit(self, work: Callable[P, T], /, *args: P.args, **named: P.kwargs) -> Future[T]:
        """Have a process call a function."""
        # a process may begin here, which must know what to do at one, and be known to the others
        with _interrupts(held=True), _interrupts_after():
            return super().submit(_end_at_interrupt, work, *args, **named)


def _begin(begin: Callable[[], object] | None) -> None:
    # in the background of a script there is no Ctrl-C, for the parent nor here
    if signal.getsignal(signal.SIGINT) is not signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.SIG_DFL)
    if begin is not None:
        begin()


def _end_at_interrupt(work: Callable[P, T], /, *args: P.args, **named: P.kwargs) -> T:
    with _interrupts(held=False):
        return work(*args, **named)


@contextmanager
def _interrupts_after() -> Iterator[None]:
    """Raise a Ctrl-C of the while only after it, whichever thread the system tells of it."""
    before = signal.getsignal(signal.SIGINT)
    if not callable(before) or current_thread() is not main_thread():
        yield
        return
    came: list[tuple[int, FrameType | None]] = []
    signal.signal(signal.SIGINT, lambda *what: came.append(what))
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
        if came:
            before(*came[0])


@contextmanager
def _interrupts(*, held: bool) -> Iterator[None]:
    """Let Ctrl-C wait, or come, for a while, where the system can."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    how = signal.SIG_BLOCK if held else signal.SIG_UNBLOCK
    before = signal.pthread_sigmask(how, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _work(seed: int, task: Task) -> Chunk:
    chunk: Chunk = _engines[task.engine].lives(seed, task.numbers)
    return chunk
