"""Handing lives out to processors, and collecting what came of them in order.

Whoever lives many lives does it through a `Runner`: a batch, a search, a sweep, on the processors
of this machine or on those of any executor. Compiled code runs in threads, as it needs no
interpreter; Python runs in processes.
"""

from __future__ import annotations

import logging
import os
import pickle
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import BrokenExecutor, Executor, ThreadPoolExecutor
from contextlib import ExitStack, nullcontext
from functools import lru_cache, partial
from heapq import merge
from itertools import chain, islice
from types import TracebackType
from typing import Generic, Literal, NamedTuple, Protocol, Self, TypeVar

import numpy as np
from numpy.typing import NDArray

from petsim.errors import ArgumentError, PolicyError
from petsim.life.caretaker import Caretaker
from petsim.life.check import ensure_alike
from petsim.life.reference import ReferenceEngine
from petsim.life.watch import limit_of, limited
from petsim.spec import defaults
from petsim.spec.arguments import count_of
from petsim.study.processes import GONE, Processes, processors

AHEAD = 100
"""Chunks that are handed to an executor ahead of those that have come back."""
MOST_WORKERS = 60
"""Processors that may be asked for, or four times those there are: each may take a process."""

Place = Literal["threads", "processes", "here"]
Rows = NDArray[np.int64]
"""Rows of the table of lives: shape (lives, columns), each word by its number."""
T = TypeVar("T")
T_co = TypeVar("T_co", covariant=True)


class Job(Protocol[T_co]):
    """Lives of one model under one caretaker, to be lived by whoever is handed them."""

    @property
    def place(self) -> Place:
        """Where they are lived if there is no executor.

        In "threads" if by compiled code; in "processes" if by Python, to which the job is sent
        pickled; "here", by whoever waits for them, if they can't be sent, or are few and of no
        Python policy.
        """

    @property
    def has_policy(self) -> bool:
        """Whether a Python policy looks after the pet, which may do anything to its process."""

    def live(self, numbers: range) -> T_co:
        """Live the lives with these numbers."""


class Chunk(NamedTuple, Generic[T]):
    """Lives of a job that are lived together and come back as one result.

    key: what the caller knows the job by.
    """

    key: int
    job: Job[T]
    numbers: range


class Runner:
    """Hands out chunks of lives and gives back the result of each, in their order.

    It is used as a context, which answers what may go wrong anywhere within it: at Ctrl-C it says
    what is kept and leaves the context, if anything is; a worker process that has died becomes an
    error for the user. The lives do not depend on who lives them.

    Args:
        workers: how many processors of this machine to use.
        executor: what lives the lives instead, any executor of `concurrent.futures`.
        lives: how many there are in all, for a bar with the time left. progress: whether to show
            it where a terminal can.
        interrupted: says at Ctrl-C what is kept, in one line; without it, or where it returns
            None, KeyboardInterrupt is raised.
        check_limit: the seconds that a Python policy may take for a check.
        gone: says what has become of the lives if a process is gone.

    Raises:
        ArgumentError: a process that lived lives is gone.
    """

    def __init__(
        self,
        workers: int,
        executor: Executor | None = None,
        *,
        lives: int,
        progress: bool = False,
        interrupted: Callable[[], str | None] = lambda: None,
        check_limit: float = defaults.CHECK_LIMIT,
        gone: Callable[[BrokenExecutor], str] = GONE.format,
    ) -> None:
        from tqdm import tqdm

        self.interrupted = False
        self._workers, self._executor = workers, executor
        self._check_limit = limit_of(check_limit)
        # few at a time, so that an error or Ctrl-C waits for no more than these
        self._ahead = 2 * workers if executor is None else AHEAD
        self._pools: dict[Place, Executor] = {}
        self._open = ExitStack()
        self._say_interrupted, self._say_gone = interrupted, gone
        shown = None if progress else True  # none in a pipe
        self._bar = tqdm(total=lives, unit=" lives", leave=False, disable=shown)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> bool:
        with self._open, self._bar:
            if isinstance(error, BrokenExecutor):
                raise ArgumentError(self._say_gone(error)) from error
            if isinstance(error, KeyboardInterrupt) and (line := self._say_interrupted()):
                logging.getLogger("petsim").warning("petsim: %s", line)
                self.interrupted = True
            return self.interrupted

    def expect(self, lives: int) -> None:
        """Set how many lives there are to live, where that is only known now, for the time left."""
        self._bar.total = lives

    def results(self, chunks: Iterable[Chunk[T]]) -> Iterator[tuple[Chunk[T], Callable[[], T]]]:
        """Each chunk with what waits for its result, and raises what went wrong in living it."""
        remaining, pending = iter(chunks), deque[tuple[Chunk[T], Callable[[], T]]]()
        while True:
            more = islice(remaining, self._ahead - len(pending))
            pending.extend((chunk, self._submit(chunk)) for chunk in more)
            if not pending:
                return
            chunk, result = pending.popleft()
            yield chunk, result
            self._bar.update(len(chunk.numbers))

    def _submit(self, chunk: Chunk[T]) -> Callable[[], T]:
        """Have someone live a chunk, and return how to wait for the result."""
        _, job, numbers = chunk
        if self._executor is not None and job.has_policy:
            return self._executor.submit(_live_apart, self._check_limit, job, numbers).result
        if self._executor is not None:
            return self._executor.submit(_live, job, numbers).result
        if job.place == "here":
            return partial(self._live_here, job, numbers)
        return self._pool(job.place).submit(_live, job, numbers).result

    def _live_here(self, job: Job[T], numbers: range) -> T:
        with limited(self._check_limit) if job.has_policy else nullcontext():
            return job.live(numbers)

    def _pool(self, place: Place) -> Executor:
        if place not in self._pools:
            self._pools[place] = (
                Processes(self._workers, self._check_limit)
                if place == "processes"
                else ThreadPoolExecutor(self._workers)
            )
            self._open.callback(self._pools[place].shutdown, cancel_futures=True)
        return self._pools[place]


def _live(job: Job[T], numbers: range) -> T:
    return job.live(numbers)


def _live_apart(check_limit: float, job: Job[T], numbers: range) -> T:
    """Live lives under a policy beside the process of an executor, which it may not end."""
    return _beside(check_limit).submit(_live, job, numbers).result()


_BESIDE: dict[tuple[int, float], Processes] = {}


def _beside(check_limit: float) -> Processes:
    """The processes beside this one, which live for as long as it does."""
    key = os.getpid(), check_limit
    if key not in _BESIDE:
        made = Processes(processors(), check_limit)
        if _BESIDE.setdefault(key, made) is not made:  # another thread has been faster
            made.shutdown()
    return _BESIDE[key]


def workers_of(wanted: int | None) -> int:
    """The workers that are wanted or, by default, one for each processor.

    Raises:
        ArgumentError: they are no whole number from 1 on, or too many.
    """
    if wanted is None:
        return processors()
    workers = count_of("workers", wanted)
    most = max(MOST_WORKERS, 4 * processors())
    if workers > most:
        raise ArgumentError(f"workers: {workers}; expected at most {most}")
    return workers


class Engine(Protocol):
    """What lives lives: the reference engine or the compiled one.

    name: what the user calls it. caretaker: who looks after the pet. chunk: how many lives are
    handed out at a time: enough that handing them out costs nothing, and few enough that all
    processors end together and progress shows.
    """

    name: str
    caretaker: Caretaker
    chunk: int

    def lives(self, seed: int, numbers: range) -> Rows:
        """The rows of lives with these numbers."""


class EngineJob(NamedTuple):
    """Lives of an engine of this process."""

    engine: Engine
    seed: int
    place: Place

    @property
    def has_policy(self) -> bool:
        """Whether a Python policy looks after the pet."""
        return self.engine.caretaker.make is not None

    def live(self, numbers: range) -> Rows:
        """The rows of these lives."""
        return rows_of(self.engine, self.seed, numbers)


class PickledJob(NamedTuple):
    """Lives of an engine as it is sent to other processes."""

    engine: bytes
    seed: int
    has_policy: bool
    place: Place = "processes"

    def live(self, numbers: range) -> Rows:
        """The rows of these lives."""
        return rows_of(_unpickled(self.engine), self.seed, numbers)


@lru_cache(maxsize=64)
def _unpickled(engine: bytes) -> Engine:
    unpickled: Engine = pickle.loads(engine)
    return unpickled


def rows_of(engine: Engine, seed: int, numbers: range) -> Rows:
    """The rows of lives; under a Python policy life 0 is lived twice more, and has to be the same.

    Raises:
        PolicyError: the policy did what a caretaker can't, or life 0 came out otherwise.
    """
    if engine.caretaker.make is None or 0 not in numbers:
        return engine.lives(seed, numbers)
    assert isinstance(engine, ReferenceEngine)
    before = engine.live(seed, 0, traced=True)
    rows = engine.lives(seed, numbers)
    ensure_alike(before, engine.live(seed, 0, traced=True))
    return rows


def chunks_of(
    engines: Sequence[Engine], seed: int, numbers: Sequence[range], workers: int
) -> Iterator[Chunk[Rows]]:
    """The lives with these numbers of each engine, whose chunks take turns; keys are their places.

    So that at an interrupt as many have been lived under each.
    """
    jobs = _jobs(engines, seed, numbers, workers)

    def own_chunks(key: int) -> Iterator[Chunk[Rows]]:
        own, size = numbers[key], engines[key].chunk
        for first in range(0, len(own), size):
            yield Chunk(key, jobs[key], own[first : first + size])

    turns = merge(*map(own_chunks, range(len(engines))), key=lambda c: (c.numbers.start, c.key))
    chunks = [*islice(turns, 2)]
    if len(chunks) == 1 and not chunks[0].job.has_policy:
        # no other could be lived meanwhile, and to begin a thread takes longer than some lives
        [only] = chunks
        return iter([only._replace(job=EngineJob(engines[only.key], seed, "here"))])
    return chain(chunks, turns)


def _jobs(
    engines: Sequence[Engine], seed: int, numbers: Sequence[range], workers: int
) -> list[Job[Rows]]:
    """The job of each engine: of interpreted ones in other processes if that is worth it.

    Python policies always are, if they can be sent, for what they may do to their process.
    """
    jobs = [
        EngineJob(engine, seed, "here" if isinstance(engine, ReferenceEngine) else "threads")
        for engine in engines
    ]
    worth_sending = workers > 1 and any(
        job.place == "here" and len(own) > job.engine.chunk
        for job, own in zip(jobs, numbers, strict=True)
    )
    return [
        _sent(job) if job.has_policy or (worth_sending and job.place == "here") else job
        for job in jobs
    ]


def _sent(job: EngineJob) -> Job[Rows]:
    """A job as other processes can have it; or as it is, if it can't be sent."""
    try:
        return PickledJob(pickle.dumps(job.engine), job.seed, job.has_policy)
    except PolicyError as error:
        logging.getLogger("petsim").warning("petsim: slow on one processor: %s", error)
        return job
