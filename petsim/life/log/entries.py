"""What a log says of one life: when the rig was up, and what it saw and did, in order.

Times are seconds on the pet's own clock from the life's second 0: its birth, or the first line of a
log that begins later. Whoever fits a model reads these; `lines` has the form in which a file holds
them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal, NamedTuple

from petsim.spec.clocks import Begins
from petsim.spec.quantities import DAY
from petsim.spec.shown import Shown

Value = int | bool | str
"""A level, pile, weight or discipline; whether a yes/no signal was seen; a form or stage."""
Outcome = Literal["took", "refused", "lost", "unknown", "unfinished"]
"""What became of an action: it had its effect; the pet refused it; its chance failed, as of a lost
game; the screen did not show; or the log has its first press only."""

ALIVE: Final = 60
"""The most seconds from one line of a rig to the next: it then says that it is alive."""


class Check(NamedTuple):
    """A check begins at second t; number: 1 for the first of the life."""

    t: float
    number: int


class Look(NamedTuple):
    """An observation: each signal that was read, and those that could not be made out.

    check: the number of the check it belongs to, 0 outside any. step: of the routine, from 1; 0 if
    unknown. saw: as read, errors of the eyes included.
    """

    t: float
    check: int
    step: int
    saw: Mapping[str, Value]
    unreadable: tuple[str, ...] = ()


class Action(NamedTuple):
    """An action that was pressed: it began, and at second t it landed or its time was over."""

    t: float
    check: int
    action: str
    began: float
    presses: int
    outcome: Outcome = "unknown"


Entry = Check | Look | Action


class Run(NamedTuple):
    """A time without a break in which the rig was up.

    since: the second it started. until: the second of its last line. is_clean: whether it was
    stopped on purpose; after a power cut or a crash it was up for a while yet, for less than a
    minute.
    """

    since: float
    until: float
    is_clean: bool


@dataclass(frozen=True)
class LoggedLife(Shown):
    """What a log says of one life, or of a part of one.

    source: the file, or what the user calls it. begins: the pet's clock at second 0. is_born:
    whether second 0 is its birth. until: the last second that the log covers. end: how it ended, if
    the log says so; "left" is that nobody looked after it any more. pet, regime: as the header
    names them. signals: that the rig can see, as the header says. lost: times from and to which
    lines are missing, so that what was pressed then is unknown. skipped:
    when a check was due that was not carried out, as the last one still went on.
    """

    source: str
    begins: Begins
    is_born: bool
    until: float
    end: Literal["died", "left"] | None
    entries: tuple[Entry, ...]
    runs: tuple[Run, ...]
    pet: str = ""
    regime: str = ""
    signals: tuple[str, ...] = ()
    lost: tuple[tuple[float, float], ...] = ()
    skipped: tuple[float, ...] = ()

    def __repr__(self) -> str:
        return f"<log of {self.pet}: {self.until / DAY:.1f} days, {len(self.entries)} entries>"

    def is_lost(self, since: float, until: float) -> bool:
        """Return whether lines are missing between two seconds: anything may have been done."""
        return any(start < until and since < end for start, end in self.lost)

    def write(self, path: str | Path) -> None:
        """Write a simulated life's log to a new file, which `petsim.read_log` reads.

        Raises:
            ArgumentError: it can't be written, or there is a file already.
        """
        from petsim.life.log.writer import write_whole

        write_whole(self, Path(path))
