"""One life under way, which can begin, be left at any second, and go on."""

from __future__ import annotations

from collections.abc import Collection

from petsim.errors import PolicyError
from petsim.life.caretaker import Caretaker
from petsim.life.luck import Luck
from petsim.life.mishaps import Key, Mishaps
from petsim.life.record import Row
from petsim.life.reference.errors import Thresholds
from petsim.life.reference.eyes import ErrorSteps, sight_of
from petsim.life.reference.host import SimulatedHost
from petsim.life.reference.light import Light
from petsim.life.reference.pet import Pet
from petsim.life.reference.tally import Tally
from petsim.life.reference.timers import Seconds
from petsim.life.state import NOT_COUNTED, State
from petsim.spec.model import Model


class LifeUnderWay:
    """One life, with all that belongs to it.

    Args:
        model: the pet.
        caretaker: who looks after it.
        steps: how its eyes err.
        row: the life's row before anything is counted.
        start: the state that it goes on from, or in which a pet is taken over; None for birth.
        luck: of this life.
        until_outcome: whether it ends at the growth that decides its outcome.
        traced: whether its log is written.
        withheld: the mishaps that do not happen.

    Raises:
        PolicyError: a Python policy was to go on in the middle of a check.
    """

    def __init__(
        self,
        model: Model,
        caretaker: Caretaker,
        steps: ErrorSteps,
        row: Row,
        start: State | None,
        luck: Luck,
        *,
        until_outcome: bool,
        traced: bool,
        withheld: Collection[Key] = (),
    ) -> None:
        if start is not None and start.act is not None and caretaker.make is not None:
            raise PolicyError(
                f"{caretaker.name}: a check of a Python policy is under way, which no state holds; "
                "expected a state between checks"
            )
        counts = {} if start is None else {**start.counts, "outcome": start.outcome}
        self._env = env = Seconds(0 if start is None else start.t)
        self.tally = Tally(row | counts, traced=traced)
        self.luck = luck
        self._over = env.event()
        self.mishaps = Mishaps(lambda: env.now, withheld)
        self._errors = Thresholds(luck, self.mishaps, {} if start is None else start.error_units)
        self._pet = pet = Pet(
            model, env, luck, self.tally, until_outcome=until_outcome, ends=self._over.succeed
        )
        regime, number = caretaker.regime, row["life"]
        policy = caretaker.policy(model, number, lambda: pet.clock)
        spells = regime.eyes.spells
        self._light = Light(spells, env, luck, self.mishaps, self.tally, start)
        sight = sight_of(pet, steps, self._light, self._errors, luck)
        self._host = SimulatedHost(
            model,
            regime,
            policy,
            sight,
            pet,
            env,
            luck,
            self._errors,
            self.mishaps,
            self.tally,
            start,
        )
        if start is None:
            pet.be_born(self._host.hear, self._host.grow)
        elif start.t == 0:
            pet.be_taken_over(start, self._host.hear, self._host.grow)
        else:
            pet.go_on(start, self._host.hear, self._host.grow)
            self._host.go_on(start)

    def live(self, end: float) -> int:
        """Live on until the life is over, or to a second, before anything due then; return when."""
        env = self._env
        while not self._over.triggered and env.peek() < end:
            env.step()
        return env.now if self._over.triggered else int(end)

    def end(self, t: int) -> Row:
        """End the life at second t: return its finished row."""
        self._host.cut_off()
        return self.tally.close(t)

    @property
    def is_over(self) -> bool:
        """Whether the life has ended by itself."""
        return bool(self._over.triggered)

    def state(self, t: int) -> State:
        """Return its state at second t, up to which it was lived."""
        counts, seed, number = self.tally.counts(t), self.luck.seed, self.luck.life
        pet, host = self._pet.state(t), self._host.state()
        fields = {
            "seed": seed,
            "life": number,
            "t": t,
            **pet,
            **host,
            "due": pet["due"] | host["due"] | self._light.due,
            "in_spell": self._light.is_bad,
            "outcome": counts["outcome"],
            "counts": {name: n for name, n in counts.items() if name not in NOT_COUNTED},
            "drawn": self.luck.drawn(),
            "error_units": self._errors.left(),
        }
        return State.model_validate(fields)
