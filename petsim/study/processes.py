"""Processes of this machine that live lives, and end at Ctrl-C as they should."""

from __future__ import annotations

import signal
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import contextmanager
from threading import current_thread, main_thread
from types import FrameType
from typing import ParamSpec, TypeVar

P = ParamSpec("P")
T = TypeVar("T")


class Processes(ProcessPoolExecutor):
    """Processes of this machine that end without a word at Ctrl-C, even in an endless policy.

    But never while they hand over what they did: of half a message the rest would be waited for
    in vain.

    Args:
        workers: how many.
    """

    def __init__(self, workers: int) -> None:
        super().__init__(workers, initializer=_begin)

    def submit(self, work: Callable[P, T], /, *args: P.args, **named: P.kwargs) -> Future[T]:
        """Have a process call a function."""
        # a process may begin here, which must know what to do at one, and be known to the others
        with _interrupts(held=True), _interrupts_after():
            return super().submit(_end_at_interrupt, work, *args, **named)


def _begin() -> None:
    # in the background of a script there is no Ctrl-C, for the parent nor here
    if signal.getsignal(signal.SIGINT) is not signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.SIG_DFL)


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
