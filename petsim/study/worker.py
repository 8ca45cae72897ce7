"""What a worker process does: it calls one function after another, and hands over what they return.

It is handed pickled calls by its standard input and answers by what was its standard output. What
policies print goes to standard error, also what they print below Python. It ends, whatever it is
at, when whoever began it is gone.
"""

from __future__ import annotations

import contextlib
import gc
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
    answers = _own_answers()
    parent: int
    page, parent, threshold = pickle.load(calls)
    gc.set_threshold(*threshold)  # as in the parent
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
        _answer(answers, _result_of(call))


def _own_answers() -> BinaryIO:
    """Where answers go to, with both out of the way of what a policy reads and prints."""
    answers = os.fdopen(os.dup(1), "wb")
    nothing = os.open(os.devnull, os.O_RDONLY)
    os.dup2(nothing, 0)
    os.close(nothing)
    os.dup2(2, 1)
    sys.stdout.reconfigure(line_buffering=True)  # type: ignore[union-attr]
    return answers


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
