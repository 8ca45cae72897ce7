"""Ctrl-C and the signal to terminate, wherever in the command they come."""

from __future__ import annotations

import signal
import sys
import time
from _thread import interrupt_main, start_new_thread
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from threading import main_thread
from types import FrameType
from typing import Any

PATIENCE = 10.0
"""Seconds after which an import is broken off."""
MOMENT = 0.05
"""Seconds after which Ctrl-C is tried again."""
ENDING = (signal.SIGINT, signal.SIGTERM)
"""The signals that end a command."""


@contextmanager
def interrupts_kept(
    is_for_the_user: Callable[[Exception], bool], came: list[int]
) -> Iterator[None]:
    """Ctrl-C once more, a moment later, where it would be lost or would break something.

    It is lost in a destructor, of which other packages have many: Python tells of it but goes on.
    An import that it breaks off ends in any error, or in a crash, when it is of compiled code.
    Other compiled code makes an error of its own of it, which here is Ctrl-C again. The signal to
    terminate is handled alike, so that nothing is left half-written by either.

    Args:
        is_for_the_user: tells an error that petsim makes from such a one.
        came: the numbers of the signals that came are added to it.
    """
    tell, before = sys.unraisablehook, {number: signal.getsignal(number) for number in ENDING}
    patience = PATIENCE

    def lost(what: Any) -> None:
        if issubclass(what.exc_type, KeyboardInterrupt):
            start_new_thread(
                _interrupt_later, (signal.Signals(came[-1]) if came else signal.SIGINT,)
            )
        else:
            tell(what)

    def interrupt(number: int, frame: FrameType | None) -> None:
        nonlocal patience
        if patience > 0 and _is_importing(frame):
            patience -= MOMENT
            start_new_thread(_interrupt_later, (signal.Signals(number),))
        else:
            came.append(number)
            raise _Interrupt

    sys.unraisablehook = lost
    for number in ENDING:
        if before[number] is not signal.SIG_IGN:
            signal.signal(number, interrupt)
    try:
        yield
    except Exception as error:
        if came and not is_for_the_user(error):
            raise _Interrupt from error
        raise
    finally:
        for number in ENDING:
            signal.signal(number, before[number])
        sys.unraisablehook = tell


class _Interrupt(KeyboardInterrupt):
    """Ctrl-C.

    Of a plain KeyboardInterrupt that goes through `exec`, as in a named tuple, Python ends as if
    nobody had caught it.
    """


def _interrupt_later(number: signal.Signals) -> None:
    time.sleep(MOMENT)
    main = main_thread().ident
    if not hasattr(signal, "pthread_kill") or main is None:
        interrupt_main(number)
    elif callable(signal.getsignal(number)):
        signal.pthread_kill(main, number)  # which also wakes it, if it waits for something


def _is_importing(frame: FrameType | None) -> bool:
    while frame is not None:
        if frame.f_code.co_name == "_find_and_load":  # of importlib
            return True
        frame = frame.f_back
    return False
