"""How bad the eyes of a rig may be, and the light that they see by."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial
from typing import Any

from petsim.advice.explaining.imperfections import SIGNALS, decides
from petsim.advice.limits.quantity import Kind, Quantity, chance_of, replaced
from petsim.evidence.means import mean_of, with_mean
from petsim.life.caretaker import Caretaker
from petsim.spec.eyes import LevelEye, SignalChange, SignalEye, Spells
from petsim.spec.model import Model
from petsim.spec.quantities import DAY
from petsim.spec.regime import Regime

ERRS: dict[str, str] = {"overlooks": "overlooking", "imagines": "imagining"}
"""The errors in seeing a signal, and what people call them."""


def of_eyes(caretaker: Caretaker, model: Model) -> Iterator[Quantity]:
    """Yield how often eyes may err in what decides anything, at all times or in a clock window."""
    eyes = caretaker.regime.eyes
    for signal in SIGNALS:
        if decides(caretaker, signal):
            yield from _of_signal(getattr(eyes, signal), ("eyes", signal), "")
    for need in model.needs:
        # an even number of readings has no middle one, so that levels can't be misread
        if decides(caretaker, need) and eyes.looks.of % 2:
            eye = eyes.levels.get(need, _misreading(0.0))
            yield _of_level(need, eye, ("eyes", need), "")
    for index, window in enumerate(eyes.windows):
        way = ("eyes", "windows", index)
        yield from _of_changed_rates(caretaker, window, way, f" from {window.during}")


def of_light(caretaker: Caretaker) -> Iterator[Quantity]:
    """Yield how often and how long the light may be bad, and how often eyes may err in it."""
    spells = caretaker.regime.eyes.spells
    if spells is None:
        return
    clear, lasts = mean_of(spells.clear), mean_of(spells.lasts)
    often = DAY / clear

    def coming(regime: Regime, a_day: float) -> Regime:
        return replaced(regime, ("eyes", "spells"), _coming(spells, a_day))

    def lasting(regime: Regime, mean: float) -> Regime:
        shorter = spells.model_copy(update={"lasts": with_mean(spells.lasts, mean)})
        return replaced(regime, ("eyes", "spells"), shorter if mean else None)

    yield Quantity(
        *("bad light", "eyes.spells.clear", "bad light", "per day"),
        *(often, 0.0, max(often, DAY / lasts), coming),
        half=DAY / lasts,
    )
    yield Quantity(
        *("the length of bad light", "eyes.spells.lasts", "bad light", "s"),
        *(lasts, 0.0, max(lasts, clear), lasting),
        together=False,
        half=clear,
    )
    way = ("eyes", "spells")
    yield from _of_changed_rates(caretaker, spells, way, " in bad light")


def _coming(spells: Spells, a_day: float) -> Spells | None:
    if not a_day:
        return None
    return spells.model_copy(update={"clear": with_mean(spells.clear, DAY / a_day)})


def _of_changed_rates(
    caretaker: Caretaker, part: Any, way: tuple[str | int, ...], when: str
) -> Iterator[Quantity]:
    """The rates that a window or spells name."""
    for signal in SIGNALS:
        if decides(caretaker, signal):
            yield from _of_signal(getattr(part, signal), (*way, signal), when)
    for need, eye in part.levels.items():
        if decides(caretaker, need):
            yield _of_level(need, eye, (*way, need), when)


def _of_signal(
    eye: SignalEye | SignalChange, way: tuple[str | int, ...], when: str
) -> Iterator[Quantity]:
    for error, erring in ERRS.items():
        rate = getattr(eye, error)
        if rate is not None:
            what = f"{erring} {SIGNALS[str(way[-1])]}{when}"
            at = partial(_with_chance, (*way, error))
            yield chance_of(what, (*way, error), _kind(way), rate, at)


def _of_level(need: str, eye: LevelEye, way: tuple[str | int, ...], when: str) -> Quantity:
    def at(regime: Regime, chance: float) -> Regime:
        return replaced(regime, way, _misreading(chance))

    return chance_of(f"misreading {need}{when}", (*way, "misreads"), _kind(way), eye.misreads, at)


def _misreading(chance: float) -> LevelEye:
    # as it is no text of a file, it is not read
    return LevelEye.model_construct(misreads=chance)


def _kind(way: Sequence[str | int]) -> Kind:
    return "bad light" if "spells" in way else "eyes"


def _with_chance(way: Sequence[str | int], regime: Regime, chance: float) -> Regime:
    return replaced(regime, way, chance)
