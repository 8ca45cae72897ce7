"""The chain of illness: how often the pet falls ill, how that is seen, and doses that land.

Only the base rate is fitted, by one factor for all stages that were lived. What waste and weight
add is the guess's, with the pile as it was last seen and the weight as it was read, or worked out
from what was pressed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from petsim.evidence.estimate import Estimate
from petsim.evidence.kernels.illness import forward_illness
from petsim.evidence.kernels.levels import PASS
from petsim.evidence.levels import Lived, landing, pressed, pressed_instead
from petsim.evidence.places import places_of
from petsim.evidence.posterior import Parameter, Posterior, posterior_of
from petsim.evidence.rates import ErrorRates, emission_at, error_rates, rates_of_emissions
from petsim.evidence.tape import NO_PREDICTIONS, Chain, Reading, Tape, of_outcomes, tape_of
from petsim.evidence.timeline import FormSpan
from petsim.life.log.entries import Action, LoggedLife, Look
from petsim.life.policy import Clock
from petsim.spec.model import Model
from petsim.spec.quantities import DAY
from petsim.spec.regime import Regime

Matrix = NDArray[np.float64]
TWICE = "look twice before the first dose: an imagined illness is dosed, and then seen well"


@dataclass(frozen=True)
class IllnessChain:
    """Illness, in the lives of a log.

    forms: those that were lived and can fall ill, in the order of the laws of its tapes. bases:
    the guess of each, a second. doses: of each, the chances of numbers of doses. errors: of
    overlooking and imagining. acts: each action that gives a dose, with the parameter of its chance
    to, or that chance itself where a slip of another action presses it.
    """

    model: Model
    forms: tuple[str, ...]
    bases: tuple[float, ...]
    doses: Matrix
    errors: tuple[ErrorRates, ...]
    acts: tuple[tuple[str, Parameter | float], ...]
    tapes: tuple[Tape, ...] = ()
    excess: tuple[Matrix, ...] = ()
    name: str = "illness"

    @property
    def parameters(self) -> list[Parameter]:
        """All its parameters, in the order in which `likelihood` takes their values."""
        path = f"{self._owners()[0]}.illness.base"
        return [
            Parameter(path, "model", "rate", "rate", 1.0, record=TWICE),
            *(p for errors in self.errors for p in errors.fitted),
            *(chance for _, chance in self.acts if isinstance(chance, Parameter)),
        ]

    def _owners(self) -> list[str]:
        """Where the file has the base rate of each form."""
        places = places_of(self.model, "illness.base")
        of_form = {form: place for place, forms in places.items() for form in forms}
        return [of_form[form] for form in self.forms]

    def fit(self) -> tuple[IllnessChain, Posterior]:
        """Return the chain and its posterior."""
        return self, posterior_of(self.likelihood, self.parameters)

    def likelihood(self, values: Sequence[float]) -> float:
        """Return the log-likelihood of all lives under parameters on the natural scale."""
        tables = self._tables(values)
        of_looks = sum(
            float(forward_illness(*tape.operations, excess, *tables, NO_PREDICTIONS))
            for tape, excess in zip(self.tapes, self.excess, strict=True)
        )
        return of_looks + of_outcomes(self.tapes, tables[-1])

    def predictions(self, values: Sequence[float]) -> list[Matrix]:
        """Return of each life what was expected at each look, as the forward pass notes it."""
        tables = self._tables(values)
        return [
            tape.predictions(partial(forward_illness, *tape.operations, excess, *tables))
            for tape, excess in zip(self.tapes, self.excess, strict=True)
        ]

    def _tables(self, values: Sequence[float]) -> tuple[Matrix, Matrix, Matrix, Matrix]:
        rest = iter(values)
        base = np.array(self.bases) * next(rest)
        rates = np.array(rates_of_emissions(self.errors, rest))
        chances = [next(rest) if isinstance(x, Parameter) else x for _, x in self.acts]
        return base, self.doses, rates, np.array(chances or [0.0])

    def over(
        self, lives: Sequence[LoggedLife], spans: Sequence[Sequence[FormSpan]], regime: Regime
    ) -> IllnessChain:
        """Return the chain with the tapes of lives."""

        def read(look: Look, clock: Clock) -> Iterator[Reading]:
            if "ill" in look.saw:
                yield Reading(emission_at(self.errors, clock), int(look.saw["ill"]))

        chain = Chain(
            law=lambda form: self.forms.index(form) if form in self.forms else -1,
            step=lambda law: 0.0,
            read=read,
            acts={action: number for number, (action, _) in enumerate(self.acts)},
            slips=frozenset(act for act, chance in self.acts if not isinstance(chance, Parameter)),
            runs_asleep=True,
        )
        tapes = [
            _one_phase(tape_of(life, self.model, forms, chain))
            for life, forms in zip(lives, spans, strict=True)
        ]
        excess = [
            self._excess(tape, life, forms, regime)
            for tape, life, forms in zip(tapes, lives, spans, strict=True)
        ]
        return replace(self, tapes=tuple(tapes), excess=tuple(excess))

    def _excess(
        self, tape: Tape, life: LoggedLife, spans: Sequence[FormSpan], regime: Regime
    ) -> Matrix:
        """What waste and weight add to the expected illnesses of each passing of time."""
        added = np.zeros(len(tape.kinds))
        passes = np.flatnonzero(tape.kinds == PASS)
        bodies = bodies_of(life, spans, self.model, regime, tape.times[passes].tolist())
        for op, (pile, weight) in zip(passes, bodies, strict=True):
            illness = self.model.forms[self.forms[tape.firsts[op]]].illness
            assert illness is not None
            over = weight - illness.heavy_above if illness.heavy_above is not None else 0.0
            rate = illness.per_waste * pile + illness.per_excess * max(0.0, over)
            added[op] = rate / DAY * tape.amounts[op]
        return added

    def estimates(self, posterior: Posterior) -> list[Estimate]:
        """Its parameters; the factor as the base rate of each stage that was lived, a day."""
        factor, *others = posterior.estimates()
        rows = []
        for path, base in dict(zip(self._owners(), self.bases, strict=True)).items():
            scaled = [
                None if x is None else x * base * DAY
                for x in (factor.estimate, factor.low, factor.high)
            ]
            rows.append(
                replace(
                    factor,
                    path=f"{path}.illness.base",
                    estimate=scaled[0],
                    low=scaled[1],
                    high=scaled[2],
                    guess=base * DAY,
                )
            )
        return [*rows, *others]


def illness_chain(model: Model, regime: Regime, lived: Lived) -> IllnessChain | None:
    """Return the chain of illness by the guess; None if no form that was lived can fall ill."""
    forms = tuple(
        name
        for name, form in model.forms.items()
        if name in lived.forms and form.illness is not None and form.illness.base > 0
    )
    if not forms:
        return None
    illnesses = [illness for name in forms if (illness := model.forms[name].illness) is not None]
    most = max(max(illness.doses) for illness in illnesses)
    doses = np.array([[each.doses.get(n, 0.0) for n in range(1, most + 1)] for each in illnesses])
    kinds = ("overlooks", "imagines")
    errors = tuple(error_rates(regime, "ill", kind, TWICE) for kind in kinds)
    return IllnessChain(
        model,
        forms,
        tuple(illness.base / DAY for illness in illnesses),
        doses,
        errors,
        tuple(_acts(model, regime, lived.actions)),
    )


def _acts(
    model: Model, regime: Regime, actions: frozenset[str]
) -> Iterator[tuple[str, Parameter | float]]:
    """The actions that were pressed and may give a dose, each with its chance to."""
    for action, care in pressed(model, actions):
        if care.doses:
            yield action, landing(model, regime, action)
            continue
        wrong = pressed_instead(action, regime, lambda other: model.care[other].doses)
        if wrong is not None:
            yield action, wrong[1]


def _one_phase(tape: Tape) -> Tape:
    """A tape without growth: within its bracket, the form before goes on to the middle.

    Falling ill takes no notice of growth but for its rate, so that is close enough.
    """
    firsts = tape.firsts.copy()
    passes = tape.kinds == PASS
    # of two phases the new one has a law only once growth may have been
    firsts[passes & (tape.seconds >= 0)] = tape.seconds[passes & (tape.seconds >= 0)]
    kept = (tape.kinds != PASS) | (firsts >= 0)
    places = np.cumsum(kept) - 1
    looks = tuple((int(places[place]), t, form) for place, t, form in tape.looks)
    return replace(
        tape,
        kinds=tape.kinds[kept],
        amounts=tape.amounts[kept],
        firsts=firsts[kept],
        seconds=tape.seconds[kept],
        times=tape.times[kept],
        looks=looks,
    )


def bodies_of(
    life: LoggedLife,
    spans: Sequence[FormSpan],
    model: Model,
    regime: Regime,
    times: Sequence[float],
) -> Iterator[tuple[int, float]]:
    """Yield the pile and the weight at each of some times, in order, as far as a log shows them.

    The pile is the one last seen. The weight is the one last read and, from there, what the guess
    expects of each action that was pressed.
    """
    entries = [entry for entry in life.entries if isinstance(entry, Look | Action)]
    pile, weight, at = 0, float(model.weight.starts), 0
    for t in times:
        while at < len(entries) and entries[at].t < t:
            entry = entries[at]
            at += 1
            if isinstance(entry, Look):
                pile = int(entry.saw.get("waste", pile))
                weight = float(entry.saw.get("weight", weight))
                continue
            care = model.care.get(entry.action)
            if care is not None and entry.outcome not in ("refused", "lost"):
                landed = care.works * (1.0 - regime.hands.of(entry.action).slips)
                weight += care.weight * (1.0 if entry.outcome == "took" else landed)
                pile = 0 if care.cleans else pile
        form = next((span.form for span in reversed(spans) if span.since[1] <= t), spans[0].form)
        weight = max(weight, float(model.forms[form].weight_min))
        yield pile, weight
