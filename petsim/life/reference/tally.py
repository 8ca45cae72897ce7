"""Keeping count of a life while it is lived: its row of the table, and its log if it is traced."""

from __future__ import annotations

from typing import Any

from petsim.life.kinds import EventKind
from petsim.life.record import Begun, Event, Row, Seen


class Tally:
    """Counts for one life, each under the name of its column; and the log of a traced one."""

    def __init__(self, row: Row, *, traced: bool) -> None:
        self.row = row
        self.traced = traced
        self.log: list[Event] = []
        self.sights: list[Seen] = []
        self.begun: list[Begun] = []
        self._observations = 0
        self._since: dict[str, int] = {}

    def note(self, t: int, kind: EventKind, what: str = "", value: int | None = None) -> None:
        """Write an event down, if this life is traced."""
        if self.traced:
            self.log.append(Event(t, kind.value, what, value))

    def observation(self) -> int:
        """Count an observation, and return its number."""
        self._observations += 1
        return self._observations

    def sight(self, t: int, step: int, look: int, signal: str, truth: Any, seen: Any) -> None:
        """Write down what a look showed."""
        self.sights.append(Seen(t, self.row["checks"], step, look, signal, truth, seen))

    def begin(self, t: int, action: str, presses: int, takes: int) -> None:
        """Write down that an action begins, if this life is traced."""
        if self.traced:
            place = len(self.sights)
            self.begun.append(Begun(t, self.row["checks"], action, presses, takes, place))

    def count(self, column: str, by: int = 1) -> None:
        """Add to a column."""
        self.row[column] += by

    def enter(self, column: str, t: int) -> None:
        """A state whose seconds that column counts begins at t."""
        self._since[column] = t

    def leave(self, column: str, t: int) -> None:
        """A state ends at t: its seconds are added."""
        self.row[column] += t - self._since.pop(column)

    def counts(self, t: int) -> Row:
        """What was counted before second t, of a life that goes on."""
        so_far = {column: self.row[column] + t - since for column, since in self._since.items()}
        return {**self.row, **so_far}

    def close(self, t: int) -> Row:
        """The finished row of a life that ended at t."""
        for column in list(self._since):
            self.leave(column, t)
        self.row["end_s"] = t
        return self.row
