"""Errors of eyes, hands and memory, each of a source of its own."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial

from petsim.life import draws
from petsim.life.luck import Luck
from petsim.life.mishaps import Mishaps
from petsim.life.streams import Stream


class Errors:
    """Errors of one source, as a threshold that trials use up.

    A trial of probability p uses up -log(1 - p) of a unit-exponential threshold, in whole multiples
    of 2**-40, and errs when the threshold is used up; so a run of errorless trials costs one sum.

    left: what is left of the threshold; None before it is drawn. is_withheld: whether the last
    trial would have erred, but for an error that is withheld.
    """

    def __init__(self, stream: Stream, happens: Callable[[], bool], left: int | None) -> None:
        self._stream = stream
        self._happens = happens
        self.left = left
        self.is_withheld = False

    def errs(self, step: int) -> bool:
        """Whether a trial errs that uses up `step` units; one of 0 units never does."""
        self.is_withheld = False
        if step == 0:
            return False
        if self.left is None:
            self.left = draws.error_threshold(self._stream.next())
        self.left -= step
        if self.left >= 0:
            return False
        self.left = draws.error_threshold(self._stream.next())
        self.is_withheld = not self._happens()
        return not self.is_withheld


class Thresholds(dict[str, Errors]):
    """The errors of one life by source, each made when it is first used.

    before: what was left of thresholds, if a life goes on.
    """

    def __init__(self, luck: Luck, mishaps: Mishaps, before: Mapping[str, int]) -> None:
        self._luck = luck
        self._mishaps = mishaps
        self._before = before

    def __missing__(self, source: str) -> Errors:
        happens = partial(self._mishaps.happens, source)
        errors = self[source] = Errors(self._luck[source], happens, self._before.get(source))
        return errors

    def left(self) -> dict[str, int]:
        """What is left of each threshold that was drawn."""
        used = {source: errors.left for source, errors in self.items() if errors.left is not None}
        return {**self._before, **used}
