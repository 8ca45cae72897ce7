"""A terminal to try commands in."""

import os
import pty
import subprocess
import sys
import termios
from contextlib import suppress

PETSIM = [sys.executable, "-m", "petsim"]


def on_terminal(*arguments: str, columns: int = 80, **environment: str) -> tuple[int, str]:
    """Run a command on a terminal of its own: its exit code and what is to be read there."""
    terminal, end = pty.openpty()
    termios.tcsetwinsize(end, (24, columns))
    own = {name: value for name, value in os.environ.items() if name not in ("COLUMNS", "NO_COLOR")}
    with subprocess.Popen(
        [*PETSIM, *arguments], stdout=end, stderr=end, stdin=end, env=own | environment
    ) as running:
        os.close(end)
        printed = b""
        with suppress(OSError):  # how Linux says that the other end was closed
            while more := os.read(terminal, 4096):
                printed += more
        code = running.wait()
    os.close(terminal)
    return code, printed.decode().replace("\r\n", "\n")
