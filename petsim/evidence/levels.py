"""Chains of levels: a need that drops and is fed, a pile of waste that grows and is cleaned.

Which laws a chain has, how it is seen and what moves it is read once from the guess; `likelihood`
then takes the parameters alone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from petsim.evidence.estimate import Estimate, refused
from petsim.evidence.kernels.levels import NO_LAW, PASS, forward
from petsim.evidence.means import mean_of
from petsim.evidence.places import places_of, value_at
from petsim.evidence.posterior import Parameter, Posterior, Target, maximise
from petsim.evidence.rates import (
    ErrorRates,
    emission_at,
    error_rates,
    rates_of_emissions,
)
from petsim.evidence.tape import NO_PREDICTIONS, Chain, Reading, Tape, of_outcomes, tape_of
from petsim.evidence.timeline import FormSpan
from petsim.evidence.waits import grid_step, gridded_weibull, shape_like
from petsim.life.log.entries import LoggedLife, Look
from petsim.life.policy import Clock
from petsim.spec.laws import Distribution
from petsim.spec.model import CareAction, Model
from petsim.spec.regime import Regime

Family = Literal["exponential", "weibull"]
Matrix = NDArray[np.float64]
AIC_GAIN = 6.0
"""What a shape has to gain by Akaike's criterion, on one grid, to be believed."""
FEWEST_DROPS = 5
"""Waits below which nothing is told of their law."""
FEW_WAITS, FEWEST_WAITS = 8, 30
"""Waits that a Weibull law takes: where the guess is not exponential either, and where it is, as an
infancy of 11 waits would claim anything."""


@dataclass(frozen=True)
class WaitLaw:
    """The law of a wait that several forms share.

    path: where the file has it. guess: that of the file. step: the seconds of a step of its grid.
    family: which law is fitted. is_gridded: whether an exponential one is kept on the grid too,
    so that it can be held against a Weibull law.
    """

    path: str
    guess: Distribution
    step: float
    family: Family = "exponential"
    is_gridded: bool = False

    @property
    def parameters(self) -> list[Parameter]:
        """Its mean, and its shape if it has one."""
        mean = Parameter(self.path, "model", "mean", "mean", mean_of(self.guess))
        if self.family == "exponential":
            return [mean]
        return [mean, Parameter(self.path, "model", "shape", "shape", shape_like(self.guess))]


@dataclass(frozen=True)
class Move:
    """What an action does to the level.

    action: its name. moves: from each level to which, in an order in which none is moved twice.
    chance: the parameter of the chance that it lands and works, or that chance if it is not fitted.
    is_slip: whether it does so only if it slips, and another is pressed.
    """

    action: str
    moves: tuple[tuple[int, int], ...]
    chance: Parameter | float
    is_slip: bool = False


@dataclass(frozen=True)
class LevelChain:
    """A need, or the pile of waste, of the lives of a log.

    name: of the need, or "waste". levels: how many there are. rises: whether a drop adds. laws: of
    its waits. law_of: of each form, the number of its law. errors: the rates at which it is
    misseen. emission: the chance of each value at each level, by the rates that hold. moves: what
    actions do. starts: the level at birth. refuses: the parameter of the chance that the pet
    refuses in a check, None if it never does. tapes: of each life.
    """

    name: str
    levels: int
    rises: bool
    laws: tuple[WaitLaw, ...]
    law_of: Mapping[str, int]
    errors: tuple[ErrorRates, ...]
    emission: Callable[[Sequence[float]], Matrix]
    moves: tuple[Move, ...]
    starts: int
    refuses: Parameter | None
    tapes: tuple[Tape, ...] = ()

    # Parameters

    @property
    def parameters(self) -> list[Parameter]:
        """All its parameters, in the order in which `likelihood` takes their values."""
        return [
            *(p for law in self.laws for p in law.parameters),
            *(p for errors in self.errors for p in errors.fitted),
            *(move.chance for move in self.moves if isinstance(move.chance, Parameter)),
            *([self.refuses] if self.refuses is not None else []),
        ]

    def with_family(self, place: int, family: Family, *, is_gridded: bool = False) -> LevelChain:
        """Return the chain with one of its laws of another family."""
        laws = list(self.laws)
        laws[place] = replace(laws[place], family=family, is_gridded=is_gridded)
        return replace(self, laws=tuple(laws))

    # Likelihood

    def likelihood(self, values: Sequence[float]) -> float:
        """Return the log-likelihood of all lives under parameters on the natural scale."""
        tables = self.tables(values)
        of_looks = sum(
            float(forward(*tape.operations, *tables, NO_PREDICTIONS)) for tape in self.tapes
        )
        *_, moves, _ = tables
        return of_looks + of_outcomes(self.tapes, moves[:, 0, 2])

    def predictions(self, values: Sequence[float]) -> list[Matrix]:
        """Return of each life what was expected at each look, as the forward pass notes it."""
        tables = self.tables(values)
        return [
            tape.predictions(partial(forward, *tape.operations, *tables)) for tape in self.tapes
        ]

    def tables(self, values: Sequence[float]) -> tuple[Any, ...]:
        """What the forward pass takes besides a tape."""
        rest = iter(values)
        start = np.zeros(self.levels)
        start[self.starts] = 1.0
        laws = self._law_tables(rest)
        rates = rates_of_emissions(self.errors, rest)
        emissions = np.array([self.emission(of_emission) for of_emission in rates])
        moves = self._move_table(rest)
        refuses = next(rest) if self.refuses is not None else 0.0
        return start, self.rises, *laws, emissions, moves, refuses

    def _law_tables(self, rest: Any) -> tuple[Matrix, Matrix, NDArray[np.int64], Matrix]:
        n = max(1, len(self.laws))
        rates, steps, longest = np.zeros(n), np.zeros(n), np.zeros(n, np.int64)
        waits = {}
        for place, law in enumerate(self.laws):
            mean = next(rest)
            shape = next(rest) if law.family == "weibull" else 1.0
            if law.family == "exponential" and not law.is_gridded:
                rates[place] = 1.0 / mean
                continue
            wait = gridded_weibull(mean, shape, law.step)
            steps[place], longest[place], waits[place] = law.step, wait.longest, wait.law
        table = np.zeros((n, int(longest.max()) + 2))
        for place, chances in waits.items():
            table[place, : len(chances)] = chances
        return rates, steps, longest, table

    def _move_table(self, rest: Any) -> Matrix:
        rows = max((len(move.moves) for move in self.moves), default=0) + 1
        table = np.full((max(1, len(self.moves)), rows, 3), -1.0)
        for place, move in enumerate(self.moves):
            chance = next(rest) if isinstance(move.chance, Parameter) else move.chance
            for row, (source, to) in enumerate(move.moves):
                table[place, row] = source, to, chance
        return table

    # Fit

    def fit(self) -> tuple[LevelChain, Posterior]:
        """Return the chain with the family of each law chosen, and its posterior.

        A wait is exponential unless a Weibull law gains by Akaike's criterion. The two are held
        against each other on one grid, the law by itself with all else as it is.
        """
        chain = self
        target = Target(chain.likelihood, tuple(chain.parameters))
        values, _ = target.search(target.guess)
        for place, (law, waits) in enumerate(zip(self.laws, self._waits(), strict=True)):
            least = FEWEST_WAITS if law.guess.kind == "exponential" else FEW_WAITS
            shaped = _shaped(chain, place, values) if waits >= least else None
            if shaped is not None:
                chain, values = shaped
        return chain, maximise(Target(chain.likelihood, tuple(chain.parameters)), values)

    def _waits(self) -> list[float]:
        """Of each law, the waits that the lives are expected to have shown."""
        awake = np.zeros(len(self.laws))
        for tape in self.tapes:
            old = tape.firsts[tape.kinds == PASS]
            amounts = tape.amounts[tape.kinds == PASS]
            np.add.at(awake, old[old != NO_LAW], amounts[old != NO_LAW])
        return [float(x) / mean_of(law.guess) for x, law in zip(awake, self.laws, strict=True)]

    def estimates(self, posterior: Posterior) -> list[Estimate]:
        """What its posterior tells of each parameter."""
        few = {
            law.path: waits
            for law, waits in zip(self.laws, self._waits(), strict=True)
            if waits < FEWEST_DROPS
        }
        return [
            refused(
                each.path,
                each.file,
                each.of,
                guess=each.guess,
                why=f"about {few[each.path]:.0f} of them were lived",
                record="more lives",
            )
            if each.path in few
            else each
            for each in posterior.estimates()
        ]

    # Tapes

    def over(
        self, lives: Sequence[LoggedLife], spans: Sequence[Sequence[FormSpan]], model: Model
    ) -> LevelChain:
        """Return the chain with the tapes of lives."""

        def read(look: Look, clock: Clock) -> Iterator[Reading]:
            if self.name in look.saw:
                seen = min(int(look.saw[self.name]), self.levels - 1)
                yield Reading(emission_at(self.errors, clock), seen)

        chain = Chain(
            law=lambda form: self.law_of.get(form, NO_LAW),
            step=lambda law: self.laws[law].step,
            read=read,
            acts={move.action: number for number, move in enumerate(self.moves)},
            slips=frozenset(move.action for move in self.moves if move.is_slip),
        )
        pairs = zip(lives, spans, strict=True)
        return replace(
            self, tapes=tuple(tape_of(life, model, forms, chain) for life, forms in pairs)
        )


class Lived(NamedTuple):
    """What there is of the lives of a log that their chains depend on.

    forms: those that were seen. actions: those that were pressed. interval: the seconds from one
    check to the next, of which the grids of the chains are parts.
    """

    forms: frozenset[str]
    actions: frozenset[str]
    interval: float


def need_chain(need: str, model: Model, regime: Regime, lived: Lived) -> LevelChain:
    """Return the chain of a need by the guess, for what was lived."""
    full = model.needs[need].full
    laws, law_of = _laws(model, f"drops.{need}", lived)
    errors = error_rates(regime, need, "misreads")
    return LevelChain(
        name=need,
        levels=full + 1,
        rises=False,
        laws=laws,
        law_of=law_of,
        errors=(errors,),
        emission=lambda rates: misreading(full, rates[0]),
        moves=tuple(_moves_of_need(need, model, regime, lived.actions)),
        starts=model.needs[need].starts,
        refuses=Parameter("", "model", "chance", "refuses", 0.004),
    )


def waste_chain(model: Model, regime: Regime, lived: Lived) -> LevelChain:
    """Return the chain of the pile of waste by the guess; see `need_chain`."""
    most = max((form.waste.pile_max for form in model.forms.values() if form.waste), default=1)
    laws, law_of = _laws(model, "waste.every", lived)
    twice = "look at the waste twice in each check: overlooked, it is like waste that came later"
    kinds = ("overlooks", "imagines")
    errors = tuple(error_rates(regime, "waste", kind, twice) for kind in kinds)
    return LevelChain(
        name="waste",
        levels=most + 1,
        rises=True,
        laws=laws,
        law_of=law_of,
        errors=errors,
        emission=lambda rates: overlooking(most, *rates),
        moves=tuple(_moves_of_waste(most, model, regime, lived.actions)),
        starts=0,
        refuses=None,
    )


def _laws(model: Model, part: str, lived: Lived) -> tuple[tuple[WaitLaw, ...], dict[str, int]]:
    """The laws of a wait, each once where the file has it, and of each form the number of its own.

    part: where a stage has it, such as `waste.every`.
    """
    laws: list[WaitLaw] = []
    law_of: dict[str, int] = {}
    for place, forms in places_of(model, part, lived.forms).items():
        law_of |= dict.fromkeys(forms, len(laws))
        law = value_at(model.forms[forms[0]], part)
        laws.append(WaitLaw(f"{place}.{part}", law, grid_step(mean_of(law), lived.interval)))
    return tuple(laws), law_of


def landing(model: Model, regime: Regime, action: str) -> Parameter:
    """Return the parameter of the chance that an action lands and works.

    Only the product of the two shows. A game that can be lost takes the blame; else it is slips.
    """
    works, slips = model.care[action].works, regime.hands.of(action).slips
    record = "whether the screen shows that it was refused, or the game lost"
    if works < 1.0:
        return Parameter(
            f"care.{action}.works",
            "model",
            "chance",
            "works",
            works * (1.0 - slips),
            written=lambda both: min(1.0, both / (1.0 - slips)),
            record=record,
        )
    return Parameter(
        f"hands.{action}.slips",
        "regime",
        "chance",
        "works",
        1.0 - slips,
        written=lambda both: 1.0 - both,
        record=record,
    )


def _moves_of_need(need: str, model: Model, regime: Regime, actions: frozenset[str]) -> list[Move]:
    """What actions do to a need: those that raise it, an unfair reprimand, and wrong presses."""
    full, moves = model.needs[need].full, []
    for action, care in pressed(model, actions):
        if need in care.raises:
            moves.append(
                Move(action, _raised(full, care.raises[need]), landing(model, regime, action))
            )
            continue
        costs = model.discipline.unfair_costs.get(need, 0)
        sure = care.works * (1.0 - regime.hands.of(action).slips)
        if care.reprimands and costs:
            # nearly every blind reprimand is unfair
            lowered = tuple((level, max(0, level - costs)) for level in range(1, full + 1))
            moves.append(Move(action, lowered, sure))
        wrong = pressed_instead(action, regime, lambda other: need in model.care[other].raises)
        if wrong is not None:
            other, chance = wrong
            raised = _raised(full, model.care[other].raises[need])
            moves.append(Move(action, raised, chance * model.care[other].works, is_slip=True))
    return moves


def _moves_of_waste(most: int, model: Model, regime: Regime, actions: frozenset[str]) -> list[Move]:
    """What actions do to the pile: those that clean, and wrong presses."""
    cleared = tuple((pile, 0) for pile in range(1, most + 1))
    moves = []
    for action, care in pressed(model, actions):
        if care.cleans:
            moves.append(Move(action, cleared, landing(model, regime, action)))
            continue
        wrong = pressed_instead(action, regime, lambda other: model.care[other].cleans)
        if wrong is not None:
            moves.append(Move(action, cleared, wrong[1], is_slip=True))
    return moves


def pressed(model: Model, actions: frozenset[str]) -> list[tuple[str, CareAction]]:
    """Return the actions that were pressed, in the order of the model, with what they do."""
    return [(action, care) for action, care in model.care.items() if action in actions]


def pressed_instead(
    action: str, regime: Regime, matters: Callable[[str], bool]
) -> tuple[str, float] | None:
    """Return the likeliest action that matters which a slip may press instead, with its chance.

    The chance is that of the guess: what landed is hidden, and too rare to be told.
    """
    hand = regime.hands.of(action)
    chances = {other: hand.slips * p for other, p in hand.into.items() if matters(other)}
    return max(chances.items(), key=lambda item: item[1]) if chances else None


def _raised(full: int, by: int) -> tuple[tuple[int, int], ...]:
    """Raise each level, from the highest down, so that none is raised twice."""
    return tuple((level, min(full, level + by)) for level in reversed(range(full)))


# Emissions


def misreading(full: int, rate: float) -> Matrix:
    """Return the chance of each reading at each level: one off, at the ends off inwards only."""
    table = np.eye(full + 1) * (1.0 - rate)
    for level in range(full + 1):
        table[level, min(full, level + 1)] += rate / 2
        table[level, max(0, level - 1)] += rate / 2
    return table


def overlooking(most: int, overlooks: float, imagines: float) -> Matrix:
    """Return the chance of each pile seen at each pile: none if overlooked, 1 if imagined."""
    table = np.eye(most + 1) * (1.0 - overlooks)
    table[:, 0] += overlooks
    table[0, :] = 0.0
    table[0, 0], table[0, 1] = 1.0 - imagines, imagines
    return table


# Choice of the family


def _shaped(chain: LevelChain, place: int, values: Matrix) -> tuple[LevelChain, Matrix] | None:
    """A chain with one law of the Weibull family, and its values; None if it gains too little."""
    at = sum(len(law.parameters) for law in chain.laws[:place])
    shaped = chain.with_family(place, "weibull")
    plain = chain.with_family(place, "exponential", is_gridded=True)
    of_shaped = Target(shaped.likelihood, tuple(shaped.parameters))
    of_plain = Target(plain.likelihood, tuple(plain.parameters))
    start = np.insert(values, at + 1, np.log(shape_like(chain.laws[place].guess)))
    with_shape, _ = of_shaped.search(start, [at, at + 1])
    without, _ = of_plain.search(values, [at])
    gain = 2.0 * (
        shaped.likelihood(of_shaped.natural(with_shape))
        - plain.likelihood(of_plain.natural(without))
    )
    return (shaped, with_shape) if gain - 2.0 > AIC_GAIN else None
