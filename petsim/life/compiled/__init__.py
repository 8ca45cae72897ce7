"""The compiled engine: the same lives as the reference engine's, many thousand a second.

`lower` turns the files into a table, whose fields `layout` declares, as it does those of a life's
state. The rules are functions of `table` and `state`: `chance` draws, `calls` says when checks
come, `pet` and `care` are the pet's half of the rules, `checks` the caretaker's, `idle` passes over
checks of which nothing comes, and `kernel` is the loop over what falls due. README.md in this
folder tells how it works and what to mind.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from petsim.life.caretaker import Caretaker
from petsim.life.compiled.constants import KINDS, LOG_ROOM, NO_VALUE, NONE
from petsim.life.compiled.kernel import live_all
from petsim.life.compiled.lists import or_never
from petsim.life.compiled.lower import lower_files
from petsim.life.compiled.states import States
from petsim.life.kinds import ACTION_KINDS, EventKind
from petsim.life.record import Event, Life, columns, summary_of
from petsim.life.state import State
from petsim.life.taking_over import Starts
from petsim.spec.arguments import word_of
from petsim.spec.model import Model


class CompiledEngine:
    """Lives any number of lives of one model under one regime.

    Args:
        model: the pet.
        caretaker: who looks after it, without a Python policy.
        until_outcome: whether a life ends at the growth that decides its outcome.
        horizon: the second at which a life is left, before anything due then; None for never.
    """

    name = "compiled"
    chunk = 250

    def __init__(
        self, model: Model, caretaker: Caretaker, *, until_outcome: bool, horizon: int | None
    ) -> None:
        self._model = model
        self.caretaker = caretaker
        self._ends: dict[str, Any] = {"until_outcome": until_outcome, "horizon": horizon}
        self._stop_at = or_never(horizon)
        self._lowered = lower_files(model, caretaker.regime, until_outcome=until_outcome)
        self._states = States(model, self._lowered)
        self._starts = Starts(model)
        self._columns = columns(model)
        self._kinds, self._names = _words_of_log(model)

    def lives(self, seed: int, numbers: range) -> NDArray[np.int64]:
        """Live lives with these numbers: their rows, each word by its number in `words`."""
        rows = np.empty((len(numbers), len(self._columns)), dtype=np.int64)
        state = self._state(seed, numbers.start)
        if not self._starts.differ:
            live_all(self._lowered.table, state, rows)
            return rows
        for place, number in enumerate(numbers):
            self._set_to(state, seed, number, self._starts.of(seed, number))
            live_all(self._lowered.table, state, rows[place : place + 1])
        return rows

    def live(
        self,
        seed: int,
        number: int,
        *,
        traced: bool,
        kept: Collection[EventKind] = KINDS,
        start: State | None = None,
    ) -> Life:
        """Live one life, with its event log if traced, as far as its entries are of kinds to keep.

        To put entries in words takes longer than the life. From a start on, the log begins there.
        """
        state, log, read = self._state(seed, number), list[Event](), 0
        state["traced"], start = traced, start or self._starts.of(seed, number)
        rows = np.empty((1, len(self._columns)), dtype=np.int64)
        while True:
            self._set_to(state, seed, number, start)
            live_all(self._lowered.table, state, rows)
            part = state["log"][0][: min(LOG_ROOM, int(state["n_log"][0]) - read)]
            read += len(part)
            log += self._events_of(part, kept)
            if read == state["n_log"][0]:
                break
            state["log_from"] = read
        drawn = zip(self._lowered.sources, state["drawn"][0].tolist(), strict=False)
        return Life(
            model=self._model,
            caretaker=self.caretaker,
            seed=seed,
            number=number,
            **self._ends,
            start=start,
            # a number above 2**63 - 1 does not fit its column
            summary=summary_of(self._model, rows[0].tolist()) | {"life": number},
            entries=tuple(log),
            sights=(),
            begun=(),
            draws={source: k for source, k in drawn if k},
        )

    def state_at(self, seed: int, number: int, t: int, start: State | None = None) -> State | None:
        """Return the state of a life at second t; None if it is over by then."""
        state = self._state(seed, number)
        self._set_to(state, seed, number, start or self._starts.of(seed, number))
        state["stop_at"] = min(t, self._stop_at)
        live_all(self._lowered.table, state, np.empty((1, len(self._columns)), dtype=np.int64))
        state["life"] = word_of("life", number)
        return None if state["over"][0] or state["now"][0] < t else self._states.read(state[0])

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
        care, needs = len(self._model.care), len(self._model.needs)
        counts = np.full((len(seconds), 2 + care + needs), -1, dtype=np.int64)
        rows = np.empty((1, len(self._columns)), dtype=np.int64)
        table, state = self._lowered.table, self._state(seed, number)
        checks, presses = int(table["in_checks"][0]), int(table["in_presses"][0])
        state["traced"], log = True, list[NDArray[np.int64]]()
        self._set_to(state, seed, number, self._starts.of(seed, number))
        # looked up once, as to look up a field takes longer than to live an hour
        stop_at, now, goes_on, life = (state[k] for k in ("stop_at", "now", "goes_on", "life"))
        begun, zeros = state["begun"][0, :care], state["zeros"][0, :needs]
        n_log, entries = state["n_log"], state["log"][0]
        for place, second in enumerate(seconds):
            stop_at[0] = min(second, self._stop_at)
            live_all(table, state, rows)
            if kept and n_log[0] > LOG_ROOM:
                # the log has no room for all that happened between two of the seconds
                whole = self.live(seed, number, traced=True, kept=kept).entries
                return self.followed(seed, number, seconds)[0], whole
            if kept:
                log.append(entries[: n_log[0]].copy())
            if now[0] < second:
                break
            counts[place, :2] = rows[0, checks], rows[0, presses]
            counts[place, 2 : 2 + care], counts[place, 2 + care :] = begun, zeros
            goes_on[0], life[0] = True, word_of("life", number)
        return counts, tuple(self._events_of(np.concatenate(log), kept)) if log else ()

    def _state(self, seed: int, number: int) -> NDArray[Any]:
        state = np.zeros(1, dtype=self._lowered.state).view(np.recarray)
        state["seed"], state["life"] = word_of("seed", seed), word_of("life", number)
        state["stop_at"] = self._stop_at
        return state

    def _set_to(self, state: NDArray[Any], seed: int, number: int, start: State | None) -> None:
        """Let a life begin with its birth, or with a start."""
        state["seed"], state["life"] = word_of("seed", seed), word_of("life", number)
        if start is not None:
            self._states.write(start, state[0])

    def _events_of(
        self, entries: NDArray[np.int64], kept: Collection[EventKind]
    ) -> Iterable[Event]:
        """Entries of some kinds, in words."""
        return self._events(entries[np.isin(entries[:, 1], [*map(KINDS.index, kept)])])

    def _events(self, entries: NDArray[np.int64]) -> Iterable[Event]:
        """Entries of a state's log, of shape (entries, 4), in words."""
        t, kind, what, value = entries.T
        values = value.astype(object)
        values[value == NO_VALUE] = None
        about = self._names[kind, np.where(what == NONE, -1, what)]
        return map(Event, t.tolist(), self._kinds[kind], about, values)


def _words_of_log(model: Model) -> tuple[NDArray[np.object_], NDArray[np.object_]]:
    """The word for each kind of entry of the log, and the names of what it can be about.

    The names of a kind are a row, which ends in the word for an entry that is about nothing.
    """
    names: dict[EventKind, tuple[str, ...]] = {
        EventKind.BIRTH: tuple(model.forms),
        EventKind.GROWTH: tuple(model.forms),
        EventKind.TAKEN_OVER: tuple(model.forms),
        EventKind.DROP: tuple(model.needs),
        EventKind.MISS: model.causes,
        EventKind.DEATH: model.deaths,
        **dict.fromkeys(ACTION_KINDS, tuple(model.care)),
    }
    rows = np.full((len(KINDS), 1 + max(map(len, names.values()))), "", dtype=object)
    for row, kind in zip(rows, KINDS, strict=True):
        row[: len(names.get(kind, ()))] = names.get(kind, ())
    return np.array([kind.value for kind in KINDS], dtype=object), rows
