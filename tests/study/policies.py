"""Policies in a module that a worker process imports at once."""

from __future__ import annotations

import ctypes
import os
import time
from pathlib import Path

from petsim.life.watch import page
from petsim.spec.clocks import Begins
from petsim.spec.library import load_regime


class OnceTidy:
    """Cleans in the first check of its life only: what it remembers is of one life."""

    regime = "ten-minute"

    def __init__(self):
        self.checks = 0

    def check(self, look):
        self.checks += 1
        return ["clean"] if self.checks == 1 else []


def ends_once(path):
    """The number of the process, if it is not the first that calls this."""
    try:
        Path(path).touch(exist_ok=False)
    except FileExistsError:
        return os.getpid()
    os._exit(1)


def copies_and_ends(folder):
    """Leave a copy of the process behind, which the folder names."""
    copy = os.fork()
    if copy == 0:
        time.sleep(60)
        os._exit(0)
    Path(folder, str(copy)).touch()
    os._exit(3)


def checks_until(path):
    """Note one short check after another until a file is there."""
    page.begin("Short", 0, Begins(clock=0, weekday=0))
    while not Path(path).exists():
        page.check(0)
        time.sleep(0.01)


class Every20:
    regime = load_regime(
        {"petsim": "regime 1", "name": "Often", "checks": {"every": "20 min", "first": "0 s"}}
    )


class HangsInC(Every20):
    """Holds the interpreter, and no signal wakes it."""

    def check(self, look):
        libc = ctypes.PyDLL(None)
        while True:
            libc.sleep(1000)


class Ends(Every20):
    def check(self, look):
        os._exit(3)


class Crashes(Every20):
    def check(self, look):
        ctypes.string_at(0)


class Draws(Every20):
    """Takes chance from elsewhere."""

    def check(self, look):
        return ["clean"] * (os.urandom(1)[0] % 2)


class Prints(Every20):
    def check(self, look):
        print("by Python")
        os.write(1, b"by the system\n")
        return []
