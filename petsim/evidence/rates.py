"""The rates at which eyes err, as parameters: usually, in each clock window, and in bad light."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

from petsim.evidence.posterior import Parameter
from petsim.life import draws
from petsim.life.policy import Clock
from petsim.spec.clocks import Window
from petsim.spec.model import SIGNALS
from petsim.spec.regime import Regime

UNKNOWN = 0.05
"""The rate of an error of which the regime says none, or 0: what the prior has for it."""


@dataclass(frozen=True)
class ErrorRates:
    """The rates of one kind of error, such as `misreads` of hunger.

    parameters: those of single looks, as the regime's file has them: the usual one first. windows:
    the clock windows of the eyes, each with its place among the parameters. of, agree: looks of an
    observation, and how many must agree. signal, error: its names in the file.
    spell: the rate of an observation in bad light; None if that changes nothing.
    """

    signal: str
    error: str
    parameters: tuple[Parameter, ...]
    windows: tuple[tuple[Window, int], ...]
    of: int
    agree: int
    spell: Parameter | None = None

    @property
    def fitted(self) -> tuple[Parameter, ...]:
        """All its parameters, that of bad light last."""
        return (*self.parameters, self.spell) if self.spell is not None else self.parameters

    def place(self, clock: Clock) -> int:
        """The place among the parameters of the rate that holds at a clock time."""
        return next((place for window, place in self.windows if clock.within(window)), 0)

    def effective(self, rate: float) -> float:
        """The rate of an observation, whose looks are voted on, by that of a look."""
        if self.error == "misreads":
            return draws.effective_misreads(rate, self.of)
        voted = draws.effective_overlooks if self.error == "overlooks" else draws.effective_imagines
        return voted(rate, self.of, self.agree)


def error_rates(regime: Regime, signal: str, error: str, record: str = "") -> ErrorRates:
    """Return the rates of an error of the eyes of a regime, as parameters.

    A window of the eyes that does not name the error keeps its usual rate.

    Args:
        regime: the guess.
        signal: such as `waste`, or a need.
        error: `overlooks`, `imagines` or `misreads`.
        record: what would tell more of them.
    """
    eyes = regime.eyes
    parameters = [_parameter(f"eyes.{signal}.{error}", _rate(eyes, signal, error), record)]
    windows: list[tuple[Window, int]] = []
    for index, window in enumerate(eyes.windows):
        rate = _rate(window, signal, error)
        place = 0
        if rate is not None:
            place = len(parameters)
            path = f"eyes.windows[{index}].{signal}.{error}"
            parameters.append(_parameter(path, rate, record))
        windows.append((window.during, place))
    in_spell = spell_rate(regime, signal, error)
    path = f"eyes.spells.{signal}.{error}"
    return ErrorRates(
        signal,
        error,
        tuple(parameters),
        tuple(windows),
        eyes.looks.of,
        eyes.looks.agree,
        None if in_spell is None else _parameter(path, in_spell, record, "dark"),
    )


def emissions_of(errors: Sequence[ErrorRates]) -> tuple[tuple[int, ...], ...]:
    """Return of each emission of a signal the places of the rates that hold, of each error one."""
    return tuple(product(*(range(len(each.parameters)) for each in errors)))


def emission_at(errors: Sequence[ErrorRates], clock: Clock) -> int:
    """Return the number of the emission of `emissions_of` that holds at a clock time."""
    number = 0
    for each in errors:
        number = number * len(each.parameters) + each.place(clock)
    return number


def rates_of_emissions(
    errors: Sequence[ErrorRates], values: Iterator[float]
) -> list[tuple[float, ...]]:
    """Return of each emission of `emissions_of` its rates, and last those of bad light.

    values: of the fitted parameters, of which those of these errors are taken.
    """
    usual, bad = [], []
    for each in errors:
        rates = [each.effective(next(values)) for _ in each.parameters]
        usual.append(rates)
        # those of bad light are of a whole observation
        bad.append(next(values) if each.spell is not None else rates[0])
    clear = [
        tuple(rates[place] for rates, place in zip(usual, places, strict=True))
        for places in emissions_of(errors)
    ]
    return [*clear, tuple(bad)]


def spell_rate(regime: Regime, signal: str, error: str) -> float | None:
    """Return the rate of an error in a spell of bad light; None if a spell does not change it."""
    spells = regime.eyes.spells
    return None if spells is None else _rate(spells, signal, error)


def _rate(part: Any, signal: str, error: str) -> float | None:
    if signal in SIGNALS:
        rate: float | None = getattr(getattr(part, signal), error)
        return rate
    return part.levels[signal].misreads if signal in part.levels else None


def _parameter(path: str, rate: float | None, record: str, prior: str = "error") -> Parameter:
    return Parameter(path, "regime", "chance", prior, rate or UNKNOWN, record=record)
