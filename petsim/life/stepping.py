"""Lives that are stepped from Python: each stops in every check, for the next action to be chosen.

When checks come, how eyes and hands err, and when the power fails is as the regime says. Only the
actions of a check are chosen by the code that steps the lives, instead of by the routine. So a
policy can be tried on thousands of lives at once, or trained.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from petsim.errors import ArgumentError, ensure_known
from petsim.life.compiled.constants import SIGHTS
from petsim.life.compiled.kernel import live_all
from petsim.life.compiled.lists import or_never
from petsim.life.compiled.lower import lower_files
from petsim.life.compiled.states import States
from petsim.life.record import columns, summary_of
from petsim.life.simulate import CaretakerSource, ModelSource, Span, load_together
from petsim.life.taking_over import Starts
from petsim.spec.arguments import count_of, word_of
from petsim.spec.model import Model
from petsim.spec.regime import Regime, Step

if TYPE_CHECKING:
    import pandas as pd

END = "end"
"""What is chosen to end a check."""


class Steps:
    """Lives of one pet, each of which waits in a check until its next action is chosen.

    The eyes look at all signals each time a life begins to wait: when a check has begun, and after
    each action. So a life is the same as under a Python policy that looks at these signals, in
    their order, before each action and before it ends a check.

    Attributes:
        actions: what can be chosen: the model's care actions, in order, then "end", which ends the
            check.
        seen: by signal what the eyes saw of it, int64 of shape (lives,): levels, the waste, the
            weight and the discipline as numbers, all else as 1 or 0.

    Args:
        model: a model or a pet as it is now, by name, path or content.
        regime: a regime likewise, whose routine is not followed.
        lives: how many, numbered from 0.
        seed: the seed of the luck, 0 to 2**64 - 1.
        until: follow each to its "outcome" (the default) or to "death".
        days: or for this number of days.
        signals: what the eyes look at, needs among them; if left out, everything but stage, form
            and clock.

    Raises:
        SpecError: a file is wrong, or the regime does not go with the model.
        ArgumentError: an argument is out of its range, or the regime is a Python policy.
    """

    def __init__(
        self,
        model: ModelSource,
        regime: CaretakerSource,
        *,
        lives: int = 1,
        seed: int = 0,
        until: str | None = None,
        days: float | None = None,
        signals: Sequence[str] | None = None,
    ) -> None:
        pet, [caretaker] = load_together(model, [regime])
        if caretaker.make is not None:
            raise ArgumentError(f"{caretaker.name}: is a Python policy; expected a regime")
        known = (*SIGHTS, *pet.needs)
        self._signals = known if signals is None else tuple(signals)
        for signal in self._signals:
            ensure_known("signals", signal, known)
        self._model, span = pet, Span(until, days)
        self._lowered = lower_files(
            pet,
            _step_by_step(pet, caretaker.regime),
            until_outcome=span.to_outcome,
            watched=self._signals,
        )
        self.actions = (*pet.care, END)
        self._states = self._begun(count_of("lives", lives), word_of("seed", seed), span)
        self._rows = np.empty((lives, len(columns(pet))), dtype=np.int64)
        live_all(self._lowered.table, self._states, self._rows)

    def _begun(self, lives: int, seed: int, span: Span) -> NDArray[Any]:
        """Return a state for each life, before its first second."""
        states = np.zeros(lives, dtype=self._lowered.state).view(np.recarray)
        states["seed"], states["life"] = seed, np.arange(lives)
        states["stop_at"] = or_never(span.horizon)
        starts = Starts(self._model)
        if starts.differ:
            form = States(self._model, self._lowered)
            for number, state in enumerate(states):
                start = starts.of(seed, number)
                assert start is not None
                form.write(start, state)
        return states

    @property
    def waits(self) -> NDArray[np.bool_]:
        """Whether each life waits for an action; one that does not is over."""
        return np.array(self._states["waits"] == 1)

    @property
    def t(self) -> NDArray[np.int64]:
        """The second of each life."""
        return np.array(self._states["now"], dtype=np.int64)

    @property
    def form(self) -> NDArray[np.str_]:
        """The form of each pet."""
        forms: NDArray[np.str_] = np.array(list(self._model.forms))
        return np.take(forms, self._states["form"])

    @property
    def seen(self) -> dict[str, NDArray[np.int64]]:
        """What the eyes saw of each signal in each life, when it last began to wait."""
        seen = self._states["seen"]
        return {name: np.array(seen[:, k]) for k, name in enumerate(self._signals)}

    def act(self, action: str | Sequence[str] | NDArray[Any]) -> None:
        """Carry out an action in each life that waits, and go on until all wait again or are over.

        Args:
            action: one for all lives, or one for each; by name, or by place in `actions`. Those of
                lives that are over do nothing.

        Raises:
            ArgumentError: there is no such action, or the number of actions is not that of lives.
        """
        places = self._places(action)
        waits = self.waits
        self._states["chosen"][waits] = 1 + places[waits]
        live_all(self._lowered.table, self._states, self._rows)

    def _places(self, action: str | Sequence[str] | NDArray[Any]) -> NDArray[np.int64]:
        """Return the place in `actions` of what is chosen in each life."""
        chosen = np.asarray(action)
        if chosen.ndim > 1 or (chosen.ndim == 1 and len(chosen) != len(self._states)):
            expected = f"expected one, or one for each of {len(self._states)} lives"
            raise ArgumentError(f"action: an array of shape {chosen.shape}; {expected}")
        if chosen.dtype.kind in "iu":
            outside = chosen[(chosen < 0) | (chosen >= len(self.actions))]
            if outside.size:
                expected = f"expected a place from 0 to {len(self.actions) - 1}"
                raise ArgumentError(f"action: {outside.flat[0]}; {expected}")
            return np.broadcast_to(chosen, len(self._states)).astype(np.int64)
        names, place_of = np.unique(chosen, return_inverse=True)
        for name in names.tolist():
            ensure_known("action", name, self.actions)
        places = np.array([self.actions.index(name) for name in names.tolist()])
        return np.broadcast_to(places[place_of.reshape(chosen.shape)], len(self._states))

    @property
    def lives(self) -> pd.DataFrame:
        """The table of the lives that are over, a row each, as `petsim.batch` has it."""
        import pandas as pd

        rows = [summary_of(self._model, row) for row in self._rows[~self.waits].tolist()]
        names = [column.name for column in columns(self._model)]
        types = {column.name: column.dtype for column in columns(self._model)}
        return pd.DataFrame(rows, columns=names).astype(types)


def _step_by_step(model: Model, regime: Regime) -> Regime:
    """Return the regime with a step for each action, in the model's order, in place of its routine.

    It makes one pass, as the code that steps a check ends it.
    """
    return regime.model_copy(
        update={"routine": tuple(Step(do=action) for action in model.care), "passes": 1}
    )
