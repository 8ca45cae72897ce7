"""Who looks after the pet: a regime with its routine, or with a Python policy in its place."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Self

from petsim.errors import PolicyError
from petsim.life.policy import Clock, Policy, Supervised
from petsim.life.policy_files import (
    CHECK,
    load_policy,
    names_a_policy,
    pickled_policy,
    unpickled_policy,
)
from petsim.life.routine import Routine
from petsim.spec import defaults
from petsim.spec.library import load_regime
from petsim.spec.model import Model
from petsim.spec.regime import Regime

RegimeSource = Regime | str | Path | Mapping[str, Any]


@dataclass(frozen=True)
class Caretaker:
    """A regime and the mind that acts in its checks.

    name: as the user gave it. regime: when checks come, eyes, hands, power; and the routine, used
    if there is no Python policy. make: makes the Python policy of one life. source: the
    `FILE.py:CLASS` it came from, if from a file.
    """

    name: str
    regime: Regime
    make: Callable[[], Policy] | None = None
    source: str | None = None

    @property
    def asked_by(self) -> str | None:
        """What it can be asked for by: a name, a path or `FILE.py:CLASS`; None if it can't be."""
        return self.regime.asked_by if self.make is None else self.source

    def policy(self, model: Model, life: int, clock: Callable[[], Clock]) -> Policy:
        """The mind for one life of a model; `clock` tells the time when something is amiss."""
        if self.make is None:
            return Routine(self.regime.routine, self.regime.passes)
        return Supervised(self.make, self.name, model, life, clock)

    def __deepcopy__(self, memo: dict[int, Any]) -> Self:
        # nothing of it changes; made anew, its policy would be of another class
        return self

    def __reduce__(self) -> tuple[Any, ...]:
        # from its file, messages can say where in it something is wrong
        if self.source is not None:
            return load_caretaker, (self.source, None)
        return _unpickled, (self.name, self.regime, self.pickled())

    def pickled(self) -> bytes | None:
        """What makes the Python policy, as another process or a file can have it; None if none.

        A class that can't be found by its name there, of a notebook, a function or a file of
        policies, is part of it.

        Raises:
            PolicyError: it uses something that can't be sent.
        """
        if self.make is None:
            return None
        return pickled_policy(self.name, self.make, by_value=self.source is not None)


def _unpickled(name: str, regime: Regime, policy: bytes | None) -> Caretaker:
    make = None if policy is None else unpickled_policy(name, policy)
    return Caretaker(name, regime, make)


def load_caretaker(
    source: Caretaker | RegimeSource | type[Policy], model: Model | None
) -> Caretaker:
    """The caretaker that a regime, its name or path, a policy class or `FILE.py:CLASS` stands for.

    Raises:
        SpecError: it can't be read, or doesn't go with the model, if there is one.
        PolicyError: it is an instance of a policy class, which could be of one life only, or
            another object.
    """
    if isinstance(source, Caretaker):
        caretaker = source
    elif isinstance(source, type):
        if not callable(getattr(source, "check", None)):
            raise PolicyError(f"{source.__name__}: found no check; {CHECK}")
        regime = load_regime(getattr(source, "regime", defaults.REGIME))
        caretaker = Caretaker(source.__name__, regime, source)
    elif isinstance(source, str) and names_a_policy(source):
        policy = load_policy(source)
        caretaker = Caretaker(policy.name, policy.regime, policy.make, policy.source)
    elif callable(getattr(source, "check", None)):
        name = type(source).__name__
        raise PolicyError(
            f"{name}: found an instance of the class; expected the class itself, {name} and not "
            f"{name}(...), as each life makes its own"
        )
    elif callable(source):
        raise PolicyError(
            f"{source!r}: found a Python object of type {type(source).__name__}; expected a "
            "regime, its name, its path or its content, or the class of a policy"
        )
    else:
        regime = load_regime(source, model)
        caretaker = Caretaker(regime.id, regime)
    load_regime(caretaker.regime, model)
    return caretaker
