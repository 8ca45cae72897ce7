"""The reference engine: one life on SimPy, written to be read beside the rules of a life.

`pet` (with `illness`) is what the model says and `care` what its actions do. `host` is the world
that the caretaker works in, `eyes` what it sees there and `light` how well it can; the caretaker
itself is `petsim.life.caretaker`. `timers` is the order of one second, `phases` are states that
take turns, `luck` is the chance, and `tally` keeps count.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence

import numpy as np
from numpy.typing import NDArray

from petsim.life.caretaker import Caretaker
from petsim.life.counters import counted
from petsim.life.kinds import EventKind
from petsim.life.luck import Luck
from petsim.life.mishaps import Key
from petsim.life.record import Event, Life, blank_row, row_of
from petsim.life.reference.eyes import error_steps
from petsim.life.reference.under_way import LifeUnderWay
from petsim.life.state import State
from petsim.life.taking_over import Starts
from petsim.spec.model import Model


class ReferenceEngine:
    """Lives any number of lives of one model under one caretaker.

    Args:
        model: the pet.
        caretaker: who looks after it.
        until_outcome: whether a life ends at the growth that decides its outcome.
        horizon: the second at which a life is left, before anything due then; None for never.
    """

    name = "reference"
    chunk = 20

    def __init__(
        self, model: Model, caretaker: Caretaker, *, until_outcome: bool, horizon: int | None
    ) -> None:
        self._model = model
        self.caretaker = caretaker
        self._until_outcome = until_outcome
        self._horizon = horizon
        self._steps = error_steps(caretaker.regime.eyes, model.needs)
        self._blank = blank_row(model)
        self._starts = Starts(model)

    def lives(self, seed: int, numbers: range) -> NDArray[np.int64]:
        """Live lives with these numbers: their rows, each word by its number in `words`."""
        rows = [
            row_of(self._model, self.live(seed, number, traced=False).summary) for number in numbers
        ]
        return np.array(rows, dtype=np.int64)

    def live(
        self,
        seed: int,
        number: int,
        *,
        traced: bool,
        start: State | None = None,
        withheld: Collection[Key] = (),
    ) -> Life:
        """Live one life, wholly determined by the files, the seed, its number and what is withheld.

        From a start on, its log begins there. Mishaps that are withheld do not happen.

        Raises:
            PolicyError: a Python policy did what a caretaker can't.
        """
        start = start or self._starts.of(seed, number)
        life = self._under_way(seed, number, start, traced=traced, withheld=withheld)
        end = life.live(math.inf if self._horizon is None else self._horizon)
        return Life(
            model=self._model,
            caretaker=self.caretaker,
            seed=seed,
            number=number,
            until_outcome=self._until_outcome,
            horizon=self._horizon,
            start=start,
            summary=life.end(end),
            entries=tuple(life.tally.log),
            sights=tuple(life.tally.sights),
            begun=tuple(life.tally.begun),
            draws=life.luck.drawn(),
            mishaps=tuple(life.mishaps.happened),
        )

    def state_at(self, seed: int, number: int, t: int, start: State | None = None) -> State | None:
        """Return the state of a life at second t; None if it is over by then."""
        start = start or self._starts.of(seed, number)
        life = self._under_way(seed, number, start, traced=False)
        life.live(t if self._horizon is None else min(t, self._horizon))
        is_over = life.is_over or (self._horizon is not None and t > self._horizon)
        return None if is_over else life.state(t)

    def followed(
        self, seed: int, number: int, seconds: Sequence[int], kept: Collection[EventKind] = ()
    ) -> tuple[NDArray[np.int64], tuple[Event, ...]]:
        """Count what a rig would have counted of a life before some seconds.

        Args:
            seed, number: those of the life.
            seconds: in order.
            kept: the kinds of entries of its log that are wanted besides.

        Returns:
            The counts so far, by second and by counter of the model, as `counters_of` lists them,
            -1 where the life was over; and the entries up to the last second.
        """
        life = self.live(seed, number, traced=True)
        return counted(life, seconds), tuple(e for e in life.entries if e.event in kept)

    def _under_way(
        self,
        seed: int,
        number: int,
        start: State | None,
        *,
        traced: bool,
        withheld: Collection[Key] = (),
    ) -> LifeUnderWay:
        return LifeUnderWay(
            self._model,
            self.caretaker,
            self._steps,
            self._blank | {"life": number},
            start,
            Luck(seed, number, None if start is None else start.drawn),
            until_outcome=self._until_outcome,
            traced=traced,
            withheld=withheld,
        )
