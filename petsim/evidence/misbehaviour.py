"""The chain of misbehaviour: how often the pet misbehaves, as its calls and its discipline show.

Misbehaviour is never seen. A pet that calls though nothing is empty misbehaves; discipline rises by
a step with each that is reprimanded, and falls with each that is not. A log with neither says
nothing of it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import product

import numpy as np
from numpy.typing import NDArray

from petsim.evidence.estimate import Estimate, refused
from petsim.evidence.kernels.levels import NO_LAW
from petsim.evidence.kernels.misbehaviour import (
    COUNTS,
    MOST,
    READ,
    SLEEP,
    forward_misbehaviour,
)
from petsim.evidence.levels import Lived, landing
from petsim.evidence.means import mean_of, scaled
from petsim.evidence.places import places_of, value_at
from petsim.evidence.posterior import Parameter, Posterior, posterior_of
from petsim.evidence.rates import ErrorRates, emission_at, error_rates, rates_of_emissions
from petsim.evidence.tape import NO_PREDICTIONS, Chain, Reading, Tape, of_outcomes, tape_of
from petsim.evidence.timeline import FormSpan
from petsim.evidence.waits import shape_like, steps_to_end, weibull
from petsim.life.log.entries import LoggedLife, Look
from petsim.life.policy import Clock
from petsim.spec.laws import Distribution
from petsim.spec.model import MOST_DISCIPLINE, Misbehaviour, Model
from petsim.spec.regime import Regime

Matrix = NDArray[np.float64]
STEPS_OF_AN_INTERVAL = 4
"""Steps of a grid there are at least between two checks, and in the time a misbehaviour lasts."""
FEWEST_LAPSES = 10
"""Times that discipline must be seen to fall before a log tells how long a misbehaviour lasts."""
ALL = (1 << COUNTS) - 1
"""The bits of all pairs of counts."""
LEAST_SURE = 2
"""The level from which a need that was seen is not empty, misread by one or not."""
CALLS = "look at `calling` in every check, or at `discipline`"
LAPSES = "leave some afternoons without reprimands, with `discipline` read"


@dataclass(frozen=True)
class MisbehaviourChain:
    """Misbehaviour, in the lives of a log.

    laws: each that is in the file, with its path. law_of: of each form, the number of its own.
    step: seconds of a step of its grid. acts: actions that reprimand. chance: that one lands.
    errors: of calling, overlooked and imagined; none if no look was at it. tapes: of each life.
    n_lapses: how often discipline was seen to fall.
    """

    model: Model
    laws: tuple[tuple[str, Misbehaviour], ...]
    law_of: dict[str, int]
    step: float
    acts: tuple[str, ...]
    chance: Parameter
    errors: tuple[ErrorRates, ...]
    tapes: tuple[Tape, ...] = ()
    n_lapses: int = 0
    name: str = "misbehaviour"

    @property
    def knows_window(self) -> bool:
        """Whether misbehaviours were seen to run out often enough to tell how long one lasts."""
        return self.n_lapses >= FEWEST_LAPSES

    @property
    def parameters(self) -> list[Parameter]:
        """The mean of each wait, their shape, the mean window, the errors, what lands."""
        means = [
            Parameter(f"{path}.every", "model", "mean", "mean", mean_of(law.every), record=CALLS)
            for path, law in self.laws
        ]
        path, first = self.laws[0]
        shape = Parameter(
            f"{path}.every", "model", "shape", "shape", shape_like(first.every), record=CALLS
        )
        window = Parameter(
            f"{path}.window", "model", "mean", "mean", mean_of(first.window), record=LAPSES
        )
        of_eyes = [p for errors in self.errors for p in errors.fitted]
        return [*means, shape, *([window] if self.knows_window else []), *of_eyes, self.chance]

    def fit(self) -> tuple[MisbehaviourChain, Posterior]:
        """Return the chain and its posterior."""
        return self, posterior_of(self.likelihood, self.parameters)

    def estimates(self, posterior: Posterior) -> list[Estimate]:
        """What its posterior tells of each parameter; the one shape for each law that has it."""
        rows = []
        for each in posterior.estimates():
            paths = (
                [f"{path}.every" for path, _ in self.laws] if each.of == "shape" else [each.path]
            )
            if each.path.endswith(".window"):
                paths = [f"{path}.window" for path, _ in self.laws]
            rows += [replace(each, path=path) for path in paths]
        if self.knows_window:
            return rows
        return [
            *rows,
            *(
                refused(
                    f"{path}.window",
                    "model",
                    "mean",
                    guess=mean_of(law.window),
                    why="hardly any was seen to run out",
                    record=LAPSES,
                )
                for path, law in self.laws
            ),
        ]

    def likelihood(self, values: Sequence[float]) -> float:
        """Return the log-likelihood of all lives under parameters on the natural scale."""
        tables = self._tables(values)
        of_looks = sum(
            float(forward_misbehaviour(*tape.operations, *tables, NO_PREDICTIONS))
            for tape in self.tapes
        )
        return of_looks + of_outcomes(self.tapes, tables[-1:])

    def predictions(self, values: Sequence[float]) -> list[Matrix]:
        """Return of each life what was expected at each look, as the forward pass notes it."""
        tables = self._tables(values)
        return [
            tape.predictions(partial(forward_misbehaviour, *tape.operations, *tables))
            for tape in self.tapes
        ]

    def _tables(self, values: Sequence[float]) -> tuple[float, Matrix, Matrix, Matrix, float]:
        rest = iter(values)
        means = [next(rest) for _ in self.laws]
        shape = next(rest)
        first = self.laws[0][1].window
        window = next(rest) if self.knows_window else mean_of(first)
        rates = np.array(rates_of_emissions(self.errors, rest))
        every = _rows([weibull(mean, shape) for mean in means], self.step)
        windows = _rows(
            [scaled(law.window, window / mean_of(first)) for _, law in self.laws], self.step
        )
        return self.step, every, windows, rates, next(rest)

    def over(
        self, lives: Sequence[LoggedLife], spans: Sequence[Sequence[FormSpan]]
    ) -> MisbehaviourChain:
        """Return the chain with the tapes of lives."""
        tapes, n_lapses = [], 0
        for life, forms in zip(lives, spans, strict=True):
            reader = _Reader(self, life)
            chain = Chain(
                law=lambda form: self.law_of.get(form, NO_LAW),
                step=lambda law: self.step,
                read=reader,
                acts=dict.fromkeys(self.acts, 0),
                on_sleep=SLEEP,
            )
            tapes.append(tape_of(life, self.model, forms, chain))
            n_lapses += reader.n_lapses
        return replace(self, tapes=tuple(tapes), n_lapses=n_lapses)


class _Reader:
    """Reads the looks of one life: calls while no need is empty, and changes of discipline.

    Over lost lines nothing is known of either: what was last seen before is forgotten.

    n_lapses: how often discipline fell.
    """

    def __init__(self, chain: MisbehaviourChain, life: LoggedLife) -> None:
        self.n_lapses = 0
        self._chain = chain
        self._life = life
        self._last = 0.0
        self._levels: dict[str, int] = {}
        self._discipline: int | None = None
        self._forgets_discipline = False

    def __call__(self, look: Look, clock: Clock) -> Iterator[Reading]:
        """What a look says of misbehaviour."""
        model = self._chain.model
        if self._life.is_lost(self._last, look.t):
            self._levels, self._forgets_discipline = {}, True
        self._last = look.t
        for need in model.needs:
            if need in look.saw:
                self._levels[need] = int(look.saw[need])
        form = str(look.saw.get("form", ""))
        if form not in self._chain.law_of:
            return
        is_clear = all(self._levels.get(need, 0) >= LEAST_SURE for need in model.needs)
        if "calling" in look.saw and self._chain.errors and is_clear:
            yield Reading(emission_at(self._chain.errors, clock), int(look.saw["calling"]))
        if "discipline" in look.saw:
            now = int(look.saw["discipline"])
            if self._forgets_discipline:
                yield Reading(0, ALL, READ)
            elif self._discipline is not None:
                self.n_lapses += now < self._discipline
                yield Reading(0, agreeing(self._discipline, now, model), READ)
            self._discipline, self._forgets_discipline = now, False


def agreeing(before: int, after: int, model: Model) -> int:
    """Return the pairs of counts that lead from one reading of discipline to the next, as bits.

    The counts are of misbehaviours that were reprimanded, each of which adds a step, and of those
    that ran out, each of which costs. All pairs, if none leads there or as many as are kept apart.
    """
    rises, falls = model.discipline.step, model.discipline.lapse_costs
    bits = 0
    for reprimanded, lapsed in product(range(MOST + 1), repeat=2):
        up_first = max(0, min(MOST_DISCIPLINE, before + reprimanded * rises) - lapsed * falls)
        down_first = min(MOST_DISCIPLINE, max(0, before - lapsed * falls) + reprimanded * rises)
        if after in (up_first, down_first):
            bits |= 1 << (reprimanded * (MOST + 1) + lapsed)
    return bits or ALL


def misbehaviour_chain(
    model: Model, regime: Regime, lived: Lived, signals: frozenset[str]
) -> MisbehaviourChain | None:
    """Return the chain of misbehaviour by the guess; None if the log says nothing of it.

    signals: those that were looked at.
    """
    is_read = "discipline" in signals and model.discipline.step > 0
    if "calling" not in signals and not is_read:
        return None
    laws: dict[str, Misbehaviour] = {}
    law_of: dict[str, int] = {}
    for place, forms in places_of(model, "misbehaviour", lived.forms).items():
        law_of |= dict.fromkeys(forms, len(laws))
        laws[f"{place}.misbehaviour"] = value_at(model.forms[forms[0]], "misbehaviour")
    reprimands = [a for a, care in model.care.items() if care.reprimands and a in lived.actions]
    if not laws:
        return None
    kinds = ("overlooks", "imagines") if "calling" in signals else ()
    errors = tuple(error_rates(regime, "calling", kind) for kind in kinds)
    shortest = min(mean_of(law.window) for law in laws.values())
    return MisbehaviourChain(
        model,
        tuple(laws.items()),
        law_of,
        min(lived.interval / STEPS_OF_AN_INTERVAL, shortest / STEPS_OF_AN_INTERVAL),
        tuple(reprimands),
        landing(model, regime, reprimands[0]) if reprimands else _nothing_lands(),
        errors,
    )


def _nothing_lands() -> Parameter:
    return Parameter("", "regime", "chance", "works", 0.5)


def _rows(laws: Sequence[Distribution], step: float) -> Matrix:
    """The chance of each law to end in a step, by age: a row each, of one length."""
    rows = [steps_to_end(law, step) for law in laws]
    length = max(map(len, rows))
    return np.array([np.concatenate([row, np.full(length - len(row), row[-1])]) for row in rows])
