"""The reference engine: one life on SimPy, written to be read beside the rules of a life.

`pet` (with `illness`) is what the model says and `care` what its actions do. `host` is the world
that the caretaker works in, `eyes` what it sees there and `light` how well it can; the caretaker
itself is `petsim.life.caretaker`. `timers` is the order of one second, `phases` are states that
take turns, `luck` is the chance, and `tally` keeps count.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from petsim.life.caretaker import Caretaker
from petsim.life.record import Life, row_of
from petsim.life.reference.eyes import error_steps, sight_of
from petsim.life.reference.host import SimulatedHost
from petsim.life.reference.light import Light
from petsim.life.reference.luck import Luck
from petsim.life.reference.pet import Pet
from petsim.life.reference.tally import Tally, blank_row
from petsim.life.reference.timers import Seconds
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

    def lives(self, seed: int, numbers: range) -> NDArray[np.int64]:
        """Live lives with these numbers: their rows, each word by its number in `words`."""
        rows = [
            row_of(self._model, self.live(seed, number, traced=False).summary) for number in numbers
        ]
        return np.array(rows, dtype=np.int64)

    def live(self, seed: int, number: int, *, traced: bool) -> Life:
        """Live one life, wholly determined by the files, the seed and its number.

        Raises:
            PolicyError: a Python policy did what a caretaker can't.
        """
        env, luck = Seconds(), Luck(seed, number)
        tally = Tally(self._blank | {"life": number}, traced=traced)
        over = env.event()
        pet = Pet(
            self._model, env, luck, tally, until_outcome=self._until_outcome, ends=over.succeed
        )
        policy = self.caretaker.policy(self._model, number, lambda: pet.clock)
        regime = self.caretaker.regime
        light = Light(regime.eyes.spells, env, luck, tally)
        sight = sight_of(pet, self._steps, light, luck, tally)
        host = SimulatedHost(self._model, regime, policy, sight, pet, env, luck, tally)
        pet.be_born(host.hear, host.grow)
        end = math.inf if self._horizon is None else self._horizon
        while not over.triggered and env.peek() < end:
            env.step()
        host.cut_off()
        return Life(
            model=self._model,
            caretaker=self.caretaker,
            seed=seed,
            number=number,
            until_outcome=self._until_outcome,
            horizon=self._horizon,
            summary=tally.close(env.now if over.triggered else int(end)),
            log=tuple(tally.log),
            sights=tuple(tally.sights),
            draws=luck.drawn(),
        )
