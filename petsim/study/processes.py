"""Processes of this machine that live lives, for code that may never come back or end its process.

Each is a Python of its own, not a copy of this one, so that it can be begun from any thread and in
any process, and holds nothing of this one open. A thread hands it one call after another and waits;
another looks whether a policy is over its time. A process that is gone is replaced.
"""

from __future__ import annotations

import os
import pickle
import signal
import subprocess
import sys
import tempfile
from collections.abc import Callable
from concurrent.futures import BrokenExecutor, Executor, Future, ThreadPoolExecutor
from contextlib import suppress
from functools import partial
from mmap import mmap
from pathlib import Path
from threading import Event, Lock, Thread, local
from time import monotonic
from typing import Any, ParamSpec, TypeVar

from petsim.errors import ArgumentError, PolicyError
from petsim.life.watch import LENGTH, LOOK, Page

P = ParamSpec("P")
T = TypeVar("T")

_BEGIN = (
    "import os, pickle, sys; calls = os.fdopen(os.dup(0), 'rb'); sys.path[:] = pickle.load(calls); "
    "from petsim.study.worker import main; main(calls)"
)
ROOM = "expected enough memory, and room for temporary files"
GONE = f"a process that lived lives is gone ({{}}); {ROOM}"
MOMENT = 0.3
"""Seconds that a Ctrl-C which ended a worker is given to reach this process too."""


def processors() -> int:
    """Processors this process may use, where the system tells; else all there are."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


class WorkerGoneError(BrokenExecutor):
    """A process is gone, though it was at no policy, or can't be begun."""


class Processes(Executor):
    """Processes of this machine, each begun when it is first needed.

    What is called in one that ends is called once more in another, as it need not have been to
    blame; of a policy that then ends that one too, and of one that does not come back in time, the
    call raises PolicyError.

    Args:
        workers: how many.
        check_limit: the seconds that a policy may take for a check, or to be loaded.
    """

    def __init__(self, workers: int, check_limit: float) -> None:
        self._limit = check_limit
        self._threads = ThreadPoolExecutor(workers, initializer=_hold_interrupts)
        self._of_thread = local()
        self._workers: set[_Worker] = set()
        self._lock, self._closed = Lock(), Event()
        Thread(target=self._watch, daemon=True).start()

    def submit(self, work: Callable[P, T], /, *args: P.args, **named: P.kwargs) -> Future[T]:
        """Have a process call a function, which with its arguments and result can be pickled."""
        assert not named
        return self._threads.submit(self._call, pickle.dumps((work, args)))

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """End all processes, whatever they are at."""
        with self._lock:
            self._closed.set()
            for worker in self._workers:
                worker.kill()
        self._threads.shutdown(wait, cancel_futures=cancel_futures)
        for worker in [*self._workers]:
            worker.end(self._limit)

    def _call(self, call: bytes) -> Any:
        for is_last in (False, True):
            worker = self._worker()
            try:
                is_result, result = pickle.loads(worker.call(call))
            except (EOFError, OSError, pickle.UnpicklingError):
                error = self._gone(worker)
                if isinstance(error, KeyboardInterrupt):
                    self._closed.wait(MOMENT)  # it reaches this process by itself, as a rule
                    raise error from None
                if is_last or worker.is_overdue or self._closed.is_set():
                    raise error from None
            else:
                if is_result:
                    return result
                raise result
        raise AssertionError

    def _worker(self) -> _Worker:
        """The process of this thread."""
        worker: _Worker | None = getattr(self._of_thread, "worker", None)
        if worker is None:
            with self._lock:
                if self._closed.is_set():
                    raise WorkerGoneError("ended here")
                try:
                    worker = _Worker()
                except OSError as error:
                    raise WorkerGoneError(f"none can be started: {error.strerror}") from error
                self._workers.add(worker)
            self._of_thread.worker = worker
        return worker

    def _gone(self, worker: _Worker) -> BaseException:
        """Why a process is gone, as an error; the next call gets another."""
        with self._lock:
            self._workers.discard(worker)
        self._of_thread.worker = None
        return worker.end(self._limit)

    def _watch(self) -> None:
        pause, looked = min(LOOK, self._limit), monotonic()
        while not self._closed.wait(pause):
            with self._lock:
                looked, before = monotonic(), looked
                late = looked - before - pause
                for worker in self._workers:
                    # all was stopped, as by Ctrl-Z, and policies may go on a moment after this
                    if late > LOOK:
                        worker.excuse(late)
                    worker.end_if_over(self._limit)


class _Worker:
    """A process, which does one call at a time."""

    def __init__(self) -> None:
        self.is_overdue = False
        self._is_busy = False
        self._begun = False
        handle, name = tempfile.mkstemp(prefix="petsim-")
        self._file = Path(name)
        try:
            # whoever writes to memory of a file that a full disk has no room for is ended
            self._file.write_bytes(bytes(LENGTH))
            self._page = Page(mmap(handle, LENGTH))
            self._process = subprocess.Popen(
                [sys.executable, "-c", _BEGIN], stdin=subprocess.PIPE, stdout=subprocess.PIPE
            )
        except BaseException:
            with suppress(OSError):
                self._file.unlink()
            raise
        finally:
            os.close(handle)

    def call(self, call: bytes) -> bytes:
        """The pickled answer to a pickled call; raises EOFError or OSError if it is gone."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        if not self._begun:
            self._send(sys.path)
            self._send((str(self._file), os.getpid()))
            pickle.load(self._process.stdout)
            self._begun = True
        self._page.clear()
        self._is_busy = True
        # what can be imported may have changed meanwhile
        self._send((sys.path, call))
        answer: bytes = pickle.load(self._process.stdout)
        self._is_busy = False
        return answer

    def _send(self, what: Any) -> None:
        assert self._process.stdin is not None
        pickle.dump(what, self._process.stdin)
        self._process.stdin.flush()

    def excuse(self, seconds: float) -> None:
        """Have some seconds not count for a policy in it, as all was held up."""
        self._page.excuse(seconds)

    def end_if_over(self, limit: float) -> None:
        """End it if a policy in it did not come back in time."""
        if self._is_busy and self._page.left(limit) < 0:
            self.is_overdue = True
            self.kill()

    def kill(self) -> None:
        """End it, whatever it is at."""
        self._process.kill()

    def end(self, limit: float) -> BaseException:
        """See that it is ended, and return why as an error."""
        self.kill()
        code = self._process.wait()
        for pipe in (self._process.stdin, self._process.stdout):
            # what was not sent yet can't be sent any more
            with suppress(OSError):
                pipe.close()  # type: ignore[union-attr]
        self._file.unlink(missing_ok=True)
        return self._reason(code, limit)

    def _reason(self, code: int, limit: float) -> BaseException:
        """Why it has ended with that code, as an error."""
        if self.is_overdue:
            return self._page.overdue(limit)
        if code == -signal.SIGINT:
            return KeyboardInterrupt()
        how = f"exit code {code}" if code >= 0 else _signal_name(-code)
        if self._page.is_empty:
            return WorkerGoneError(how)
        return PolicyError(f"{self._page.place()}: ended its process, twice ({how})")


def _signal_name(number: int) -> str:
    try:
        return signal.Signals(number).name
    except ValueError:
        return f"signal {number}"


def _hold_interrupts() -> None:
    """Have Ctrl-C pass by this thread, and what it begins, until that lets it come."""
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})


def call_apart(check_limit: float, work: Callable[..., T], *args: Any, **named: Any) -> T:
    """Call a function that runs a policy in a process of its own, and return what it returns.

    Args:
        check_limit: the seconds that a policy may take for a check, or to be loaded.
        work: the function, which with its arguments and result can be pickled.

    Raises:
        PolicyError: the policy ended its process, or did not come back in time.
        ArgumentError: the process is gone for another reason; and whatever the function raises.
    """
    with Processes(1, check_limit) as processes:
        try:
            return processes.submit(partial(work, **named), *args).result()
        except BrokenExecutor as error:
            raise ArgumentError(GONE.format(error)) from error
