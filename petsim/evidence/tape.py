"""A log as a tape of operations, which the forward pass of a chain of levels reads.

The tape of a life is made once for a chain. Only the tables that the pass also reads (rates,
chances of errors) change with the parameters.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from petsim.evidence.kernels.levels import (
    ACT,
    CHECK_BEGINS,
    CHECK_ENDS,
    GROW,
    LOOK,
    LOST,
    MIDWAY,
    NO_LAW,
    PASS,
    SURE,
    SWITCH,
)
from petsim.evidence.timeline import FormSpan
from petsim.life.log.entries import Action, Check, LoggedLife, Look
from petsim.life.policy import Clock, clock_at
from petsim.spec.model import CareAction, Form, Model
from petsim.spec.quantities import DAY

OLD, NEW, REFUSABLE = 1, 2, 4
"""Bits of an act: phases in which it can't land; whether a pet that refuses does not take it."""
UNFINISHED = 0.5
"""The chance that an action of which the log has only the first press was done."""
PREDICTED = 5
"""What a forward pass notes of a look, if it is asked to: the chance of what was seen, the mean and
the variance that were expected, and that chance in clear and in bad light."""
LEAST_CHANCE = 1e-12
"""What is left to an outcome that the guess says can't be."""
NO_PREDICTIONS = np.zeros((0, PREDICTED))
"""For a forward pass that is not asked to."""
PIECES = 10
"""Times within the bracket of a growth at which it may have been, where waits are exponential."""


class Reading(NamedTuple):
    """What a look says of a chain: the emission that it is of, and the value that was seen.

    kind: the operation.
    """

    emission: int
    value: int
    kind: int = LOOK


@dataclass(frozen=True)
class Chain:
    """What a tape needs to know of a chain.

    law: of a form, its law's number; NO_LAW if nothing drops in it. step: of a law, the seconds of
    a step in which its waits may be kept. read: what a look at a clock time says of the chain, in
    the order of the looks of a life. acts: the number of each action that changes it. slips: those
    of them that change it only if they slip, and another is pressed. runs_asleep: whether its time
    runs on while the pet sleeps. on_sleep: the operation of falling asleep, if it has one; its
    second value are bits of the phases that do.
    """

    law: Callable[[str], int]
    step: Callable[[int], float]
    read: Callable[[Look, Clock], Iterable[Reading]]
    acts: dict[str, int]
    slips: frozenset[str] = frozenset()
    runs_asleep: bool = False
    on_sleep: int | None = None


@dataclass(frozen=True)
class Tape:
    """Operations of the forward pass, as `forward` takes them, and what they were made from.

    times: the second of each operation, of a PASS that of its end. looks: of each LOOK its place
    among the operations, its second and its form. shown: how often the screen showed of an action,
    by its number, that it took, and that it was lost.
    """

    kinds: NDArray[np.int64]
    amounts: NDArray[np.float64]
    firsts: NDArray[np.int64]
    seconds: NDArray[np.int64]
    times: NDArray[np.float64]
    looks: tuple[tuple[int, float, str], ...]
    shown: Mapping[tuple[int, bool], int] = field(default_factory=dict)

    @property
    def operations(self) -> tuple[Any, ...]:
        """The operations in the order in which a forward pass takes them."""
        return self.kinds, self.amounts, self.firsts, self.seconds

    @property
    def look_times(self) -> NDArray[np.float64]:
        """The second of each look."""
        return np.array([t for _, t, _ in self.looks])

    def predictions(self, run: Callable[[NDArray[np.float64]], Any]) -> NDArray[np.float64]:
        """Return what a forward pass notes of each look, a row each.

        run: runs the pass with a table to be filled in, a row for each operation.
        """
        predicted = np.zeros((len(self.kinds), PREDICTED))
        run(predicted)
        return predicted[[place for place, _, _ in self.looks]]


def of_outcomes(tapes: Sequence[Tape], chances: Sequence[float] | NDArray[np.float64]) -> float:
    """Return the log-likelihood of the outcomes that the screen showed.

    chances: of each action by its number, to land and work.
    """
    return sum(
        times * math.log(max(chances[act] if took else 1.0 - chances[act], LEAST_CHANCE))
        for tape in tapes
        for (act, took), times in tape.shown.items()
    )


class _Op(NamedTuple):
    t: float
    order: int
    kind: int
    amount: float = 0.0
    first: int = 0
    second: int = 0


class _Phase(NamedTuple):
    """Seconds in which one form, or within a bracket two, may be that of the pet."""

    since: float
    until: float
    old: str
    new: str | None


def tape_of(life: LoggedLife, model: Model, spans: Sequence[FormSpan], chain: Chain) -> Tape:
    """Return the tape of one life for a chain.

    Args:
        life: what the log says of it.
        model: the guess, for what a form and an action are.
        spans: its forms, of `form_spans`.
        chain: what the tape is for.
    """
    phases = list(_phases(life, spans))
    gaps = [_Op(until, -5, LOST) for _, until in life.lost]
    if not life.is_born:
        gaps.append(_Op(phases[0].since, -6, MIDWAY, 0.0, chain.law(phases[0].old)))
    points = [*gaps, *_growths(phases, chain), *_entries(life, model, phases, chain)]
    edges = [*_edges(life, model, phases, chain)]
    ops, looks = list[_Op](), list[tuple[int, float, str]]()
    at = phases[0].since
    for point in sorted([*points, *edges], key=lambda op: op[:2]):
        if point.t > at:
            ops += _passes(at, point.t, life, model, phases, chain)
            at = point.t
        if point.kind == LOOK:
            looks.append((len(ops), point.t, _phase_at(phases, point.t).old))
        if point.kind != PASS:
            ops.append(point)
    ops += _passes(at, life.until, life, model, phases, chain)
    return Tape(
        np.array([op.kind for op in ops], np.int64),
        np.array([op.amount for op in ops], np.float64),
        np.array([op.first for op in ops], np.int64),
        np.array([op.second for op in ops], np.int64),
        np.array([op.t for op in ops], np.float64),
        tuple(looks),
        _shown(life, chain),
    )


def _shown(life: LoggedLife, chain: Chain) -> Counter[tuple[int, bool]]:
    """How often the screen showed of each action that is meant to change the chain what came."""
    return Counter(
        (chain.acts[entry.action], entry.outcome == "took")
        for entry in life.entries
        if isinstance(entry, Action)
        and entry.outcome in ("took", "lost")
        and entry.action in chain.acts
        and entry.action not in chain.slips
    )


def _phases(life: LoggedLife, spans: Sequence[FormSpan]) -> Iterator[_Phase]:
    """The times alone in a form and those in the bracket of a growth, in turn."""
    seen = [span for span in spans if span.until is None or span.since != span.until]
    since = seen[0].since[1]
    for span, after in pairwise(seen):
        low, high = after.since
        yield _Phase(since, max(since, low), span.form, None)
        yield _Phase(max(since, low), high, span.form, after.form)
        since = high
    yield _Phase(since, life.until, seen[-1].form, None)


def _phase_until(phases: Sequence[_Phase], t: float) -> _Phase:
    """The phase of the time before a second."""
    inside = (phase for phase in phases if phase.since < t <= phase.until)
    return next(inside, phases[0] if t <= phases[0].since else phases[-1])


def _phase_at(phases: Sequence[_Phase], t: float) -> _Phase:
    """The phase of what is seen and done at a second.

    A bracket begins after that of its first second, and is over before that of its last: growth
    comes first in a second.
    """
    inside = (
        phase
        for phase in phases
        if (phase.since <= t <= phase.until if phase.new is None else phase.since < t < phase.until)
    )
    return next(inside, phases[-1])


def _growths(phases: Sequence[_Phase], chain: Chain) -> Iterator[_Op]:
    """The times within each bracket at which the growth may have been, alike likely."""
    for phase in phases:
        if phase.new is None:
            continue
        length, law = phase.until - phase.since, chain.law(phase.new)
        step = (chain.step(law) if law != NO_LAW else 0.0) or length / PIECES
        pieces = max(1, int(length / step)) if step > 0 else 1
        margin = (length - (pieces - 1) * step) / 2 if pieces > 1 else length / 2
        for piece in range(pieces):
            t = phase.since + margin + piece * step
            yield _Op(t, -2, GROW, 1.0 / (pieces - piece))
        yield _Op(phase.until, -1, SWITCH)


def _edges(life: LoggedLife, model: Model, phases: Sequence[_Phase], chain: Chain) -> Iterator[_Op]:
    """The times at which the pet falls asleep or wakes, and what falling asleep does."""
    for phase in phases:
        for form in filter(None, (phase.old, phase.new)):
            for t, wakes in _sleep_edges(model.forms[form], life, phase.since, phase.until):
                yield _Op(t, -4, PASS)
                if chain.on_sleep is not None and not wakes:
                    bit = OLD if form == phase.old else NEW
                    yield _Op(t, -3, chain.on_sleep, 0.0, 0, bit)


def _sleep_edges(
    form: Form, life: LoggedLife, since: float, until: float
) -> Iterator[tuple[float, bool]]:
    """The seconds at which a form would fall asleep, and wake (true), in order."""
    days = range(
        int((life.begins.clock + since) // DAY), int((life.begins.clock + until) // DAY) + 1
    )
    for window in form.sleeps:
        for edge, wakes in ((window.start, False), (window.end, True)):
            for day in days:
                t = float(day * DAY + edge - life.begins.clock)
                if since < t <= until and is_asleep(form, life, t) is not wakes:
                    yield t, wakes


def is_asleep(form: Form, life: LoggedLife, t: float) -> bool:
    """Whether a pet of a form sleeps at a second of a life, by its windows."""
    clock = clock_at(int(t), life.begins)
    return any(window.holds(clock.second, clock.weekday) for window in form.sleeps)


def _passes(
    since: float,
    until: float,
    life: LoggedLife,
    model: Model,
    phases: Sequence[_Phase],
    chain: Chain,
) -> Iterable[_Op]:
    """The passing of a time in which no one falls asleep, wakes or grows."""
    if until <= since:
        return []
    phase = _phase_until(phases, until)

    def running(form: str | None) -> int:
        if form is None:
            return NO_LAW
        stands = not chain.runs_asleep and is_asleep(model.forms[form], life, since)
        return NO_LAW if stands else chain.law(form)

    old, new = running(phase.old), running(phase.new)
    if old == new == NO_LAW:
        return []
    return [_Op(until, 0, PASS, until - since, old, new)]


def _entries(
    life: LoggedLife, model: Model, phases: Sequence[_Phase], chain: Chain
) -> Iterator[_Op]:
    """The looks and actions of a log, and where a check begins and ends to act."""
    refuses = {
        action
        for action in chain.acts
        if action in model.care and "misbehaving" in model.care[action].refused_when
    }
    last_acts = {
        entry.check: place
        for place, entry in enumerate(life.entries)
        if isinstance(entry, Action) and entry.action in refuses
    }
    open_check: int | None = None
    for place, entry in enumerate(life.entries):
        if isinstance(entry, Check):
            continue
        clock = clock_at(int(entry.t), life.begins)
        if isinstance(entry, Look):
            for reading in chain.read(entry, clock):
                yield _Op(entry.t, place, reading.kind, 0.0, reading.emission, reading.value)
        elif entry.action in chain.acts:
            if entry.action in refuses and open_check != entry.check:
                open_check = entry.check
                yield _Op(entry.t, place, CHECK_BEGINS)
            if _may_change(entry, chain):
                yield _act(entry, place, life, model, phases, chain, entry.action in refuses)
            if open_check is not None and last_acts.get(open_check) == place:
                open_check = None
                yield _Op(entry.t, place, CHECK_ENDS)


def _may_change(entry: Action, chain: Chain) -> bool:
    """Whether an action may have changed the chain, by what the screen showed of it."""
    if entry.outcome == "took":
        return entry.action not in chain.slips
    return entry.outcome not in ("refused", "lost")


def _act(
    entry: Action,
    place: int,
    life: LoggedLife,
    model: Model,
    phases: Sequence[_Phase],
    chain: Chain,
    is_refusable: bool,
) -> _Op:
    """An action that may have landed, with the phases in which it can't have."""
    phase = _phase_at(phases, entry.t)
    care = model.care[entry.action]
    is_sure = entry.outcome == "took"
    mask = SURE if is_sure else REFUSABLE if is_refusable else 0
    for bit, form in ((OLD, phase.old), (NEW, phase.new)):
        if form is not None and _is_refused(care, model.forms[form], life, entry.t):
            mask |= bit
    factor = UNFINISHED if entry.outcome == "unfinished" else 1.0
    return _Op(entry.t, place, ACT, factor, chain.acts[entry.action], mask)


def _is_refused(care: CareAction, form: Form, life: LoggedLife, t: float) -> bool:
    """Whether a pet of a form would refuse an action for sure."""
    return form.dormant or ("asleep" in care.refused_when and is_asleep(form, life, t))
