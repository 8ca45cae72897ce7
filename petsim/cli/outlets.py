"""Standard output and error that are closed, full, or read by nobody any more."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any


class OutputError(Exception):
    """Standard output takes no more; its cause is the system's error."""


class _Outlet:
    """A text stream, but for what becomes of its errors.

    Args:
        stream: to write to.
        is_needed: whether an error is raised, as an OutputError to be told from those of files, or
            passed over: what can't be said on standard error can be said nowhere.
    """

    def __init__(self, stream: Any, *, is_needed: bool) -> None:
        self._stream, self._is_needed = stream, is_needed

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)

    def write(self, text: str) -> int:
        with self._errors():
            self._stream.write(text)
        return len(text)

    def flush(self) -> None:
        with self._errors():
            self._stream.flush()

    @contextmanager
    def _errors(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            if self._is_needed:
                raise OutputError(error.strerror) from error


def open_what_is_closed() -> None:
    """Open the null device in place of standard input, output or error, if they are closed.

    Else the next file would be opened under their number, and what is printed, by whomever, would
    be written into it.
    """
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            null = open(os.devnull, mode, encoding="utf-8")  # noqa: PTH123, SIM115 (stays open)
            os.set_inheritable(null.fileno(), True)
            setattr(sys, name, null)


@contextmanager
def outlets() -> Iterator[None]:
    """Print to standard output and error as long as they take anything, and leave no rest.

    Raises:
        OutputError: standard output takes no more.
    """
    streams = sys.stdout, sys.stderr
    # what a terminal can't show is written out, not a reason to stop
    sys.stdout.reconfigure(errors="backslashreplace")  # type: ignore[union-attr]
    sys.stdout = _Outlet(streams[0], is_needed=True)
    sys.stderr = _Outlet(streams[1], is_needed=False)
    try:
        yield
    finally:
        sys.stdout, sys.stderr = streams
        for stream in streams:
            try:
                stream.flush()
            except OSError:
                # keep Python from trying it again at exit
                with suppress(OSError):
                    os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
