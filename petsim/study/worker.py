"""What a worker process does: it calls one function after another, and hands over what they return.

It is handed pickled calls by its standard input and answers by what was its standard output. What
policies print goes to standard error, also what they print below Python. It ends, whatever it is
at, when whoever began it is gone.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from mmap import mmap
from pathlib import Path
from queue import SimpleQueue
from threading import Thread
from typing import Any, BinaryIO

from petsim.errors import PetsimError
from petsim.life import watch
from petsim.life.supervised import error_text

PARENT_DEATH_SIGNAL = 1
"""PR_SET_PDEATHSIG of Linux, prctl(2)."""


def main(calls: BinaryIO) -> None:
    """Do what is handed over by a file, which was standard input, until that ends."""
    answers, own = _own_answers(), os.getpid()
    _keep_from_children(calls, answers)
    parent: int
    page, parent = pickle.load(calls)
    _end_with(parent)
    with Path(page).open("r+b") as file:
        watch.page.share(mmap(file.fileno(), watch.LENGTH))
    with contextlib.suppress(OSError):  # where a file that is open can't be removed
        Path(page).unlink()
    if signal.getsignal(signal.SIGINT) is not signal.SIG_IGN:
        # in the background of a script there is no Ctrl-C, for the parent nor here
        signal.signal(signal.SIGINT, signal.SIG_DFL)
    sys.unraisablehook = _tell_ignored
    import petsim.study.job  # noqa: F401  # before the time of the first policy begins

    waiting = SimpleQueue[tuple[list[str], bytes]]()
    Thread(target=_receive, args=(calls, waiting), daemon=True).start()
    _answer(answers, b"")
    while True:
        sys.path[:], call = waiting.get()
        answer = _result_of(call)
        if os.getpid() != own:  # a copy that the policy made of its process, and let come back
            os._exit(0)
        _answer(answers, answer)


def _own_answers() -> BinaryIO:
    """Where answers go to, with both out of the way of what a policy reads and prints."""
    answers = os.fdopen(os.dup(1), "wb")
    nothing = os.open(os.devnull, os.O_RDONLY)
    os.dup2(nothing, 0)
    os.close(nothing)
    os.dup2(2, 1)
    sys.stdout.reconfigure(line_buffering=True)  # type: ignore[union-attr]
    return answers


def _keep_from_children(*pipes: BinaryIO) -> None:
    """Close pipes in each copy that a policy makes of its process.

    Whoever reads the answers would wait for as long as a copy holds them open, though the process
    itself is gone.
    """
    if hasattr(os, "register_at_fork"):
        for pipe in pipes:
            # not by way of its buffer, which a thread may hold that the copy does not have
            os.register_at_fork(after_in_child=pipe.raw.close)  # type: ignore[attr-defined]


def _end_with(parent: int) -> None:
    """Have the system end this process when its parent ends, where it can."""
    if sys.platform == "linux":
        import ctypes

        ctypes.CDLL(None).prctl(PARENT_DEATH_SIGNAL, signal.SIGKILL)
        if os.getppid() != parent:
            os._exit(0)


def _receive(calls: BinaryIO, waiting: SimpleQueue[tuple[list[str], bytes]]) -> None:
    """Receive calls; their end is that of the parent, and so of this process, whatever it is at."""
    try:
        while True:
            waiting.put(pickle.load(calls))
    except BaseException:
        os._exit(0)


def _result_of(call: bytes) -> bytes:
    """What a call returned, or raised, pickled."""
    try:
        with _interruptible():
            function, arguments = pickle.loads(call)
            result: tuple[bool, Any] = (True, function(*arguments))
        return pickle.dumps(result)
    except PetsimError as error:
        return pickle.dumps((False, error))
    except BaseException as error:
        return pickle.dumps((False, RuntimeError(error_text(error))))


@contextmanager
def _interruptible() -> Iterator[None]:
    """Let Ctrl-C end this process for a while, where the system can hold it back otherwise."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _answer(answers: BinaryIO, answer: bytes) -> None:
    pickle.dump(answer, answers)
    answers.flush()


def _tell_ignored(what: Any) -> None:
    """Say in one line what a destructor raised, which Python ignores."""
    with contextlib.suppress(BaseException):
        print(f"petsim: ignored in a destructor: {error_text(what.exc_value)}", file=sys.stderr)
