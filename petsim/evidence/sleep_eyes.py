"""How often eyes err in seeing sleep and the lights, counted where the truth is sure.

The pet is asleep or awake for sure at times that are well away from where the edges of its sleep
may be: the looks next to those have settled where they are, and would be counted as right. The
lights are on while it is awake, whatever is pressed; off they are for sure only in a sleep in
which an action was seen to put them off.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from petsim.evidence.estimate import Estimate, refused
from petsim.evidence.places import places_of
from petsim.evidence.posterior import Target, maximise
from petsim.evidence.rates import ErrorRates, error_rates, spell_rate
from petsim.evidence.sights import Sight, all_sights, sights_of
from petsim.evidence.sleep import FARTHEST, Edge, edges
from petsim.evidence.timeline import Spans
from petsim.life.log.entries import Action, LoggedLife
from petsim.life.policy import clock_at
from petsim.spec.clocks import Window
from petsim.spec.model import Model
from petsim.spec.quantities import DAY
from petsim.spec.regime import Regime

RECORD = {
    ("asleep", "overlooks"): "look at `asleep` in each check, also at night",
    ("asleep", "imagines"): "look at `asleep` in each check",
    ("lights", "overlooks"): "look at `lights` in each check, also by day",
    (
        "lights",
        "imagines",
    ): "what the screen showed when the lights were put off, and a look after it",
}
"""What tells more of an error."""
EVERY_DAY = 0
"""A weekday, where windows hold on all of them."""
MARGIN = 1800
"""Seconds from where an edge of sleep may be within which a look is not counted."""
LEAST_CHANCE = 1e-12
"""What keeps a look that can't be from making everything impossible."""


class Nights(NamedTuple):
    """When a form sleeps, by a log: the likeliest windows, and where their edges may be.

    doubts: each the second of day at which it begins, and the seconds that it lasts.
    """

    windows: tuple[Window, ...]
    doubts: tuple[tuple[int, int], ...]

    def is_asleep(self, second: int) -> bool | None:
        """Whether it sleeps at a second of the day; None if that is not sure."""
        if any((second - start) % DAY < lasts for start, lasts in self.doubts):
            return None
        return any(window.holds(second, EVERY_DAY) for window in self.windows)


Sure = Iterator[tuple[Sight, bool]]
"""Looks whose truth is sure, with it."""


def sleep_eyes_estimates(
    lives: Sequence[LoggedLife], spans: Sequence[Spans], model: Model, regime: Regime
) -> list[Estimate]:
    """Return what logs tell of the errors of a regime's eyes in `asleep` and `lights`.

    Each rate is usual or of a clock window, as the regime has them. Of those of bad light nothing
    is told, as a log does not say when the light was bad, and looks in its hours are left out.

    spans: the forms of each life.
    """
    nights = _nights(all_sights(lives, spans, "asleep", regime), model, regime)
    sure: dict[str, list[tuple[Sight, bool]]] = {"asleep": [], "lights": []}
    for life, forms in zip(lives, spans, strict=True):
        sure["asleep"] += _asleep(sights_of(life, forms, "asleep", regime), nights)
        switched = _switched(life, model, regime)
        sights = sights_of(life, forms, "lights", regime)
        sure["lights"] += _lights(sights, nights, switched, life)
    estimates: list[Estimate] = []
    for (signal, error), record in RECORD.items():
        rates = error_rates(regime, signal, error, record)
        looks = [each for each in sure[signal] if each[1] == (error == "overlooks")]
        estimates += [*_told(rates, looks), *_of_spells(regime, signal, error)]
    return estimates


def _nights(sights: Sequence[Sight], model: Model, regime: Regime) -> dict[str, Nights]:
    """When each form sleeps, by looks at `asleep`."""
    nights: dict[str, Nights] = {}
    for forms in places_of(model, "sleeps").values():
        own = [sight for sight in sights if sight.form in forms]
        found = edges(model.forms[forms[0]].sleeps, own, regime)
        starts, ends = found[::2], found[1::2]
        windows = tuple(
            Window(start.estimate % DAY, end.estimate % DAY)
            for start, end in zip(starts, ends, strict=True)
        )
        nights |= dict.fromkeys(forms, Nights(windows, tuple(map(_doubt, found))))
    return nights


def _doubt(edge: Edge) -> tuple[int, int]:
    """Where an edge may be, or near it: also where the guess has it, and what no look rules out."""
    low, high = min(edge.low, edge.guess), max(edge.high, edge.guess)
    if not edge.is_told:
        low, high = edge.guess - FARTHEST, edge.guess + FARTHEST
    return (low - MARGIN) % DAY, high - low + 2 * MARGIN


def _asleep(sights: Iterable[Sight], nights: Mapping[str, Nights]) -> Sure:
    """The looks at `asleep` whose truth is sure."""
    for sight in sights:
        truth = nights[sight.form].is_asleep(sight.clock.second)
        if truth is not None:
            yield sight, truth


def _lights(
    sights: Iterable[Sight],
    nights: Mapping[str, Nights],
    switched: Sequence[Switched],
    life: LoggedLife,
) -> Sure:
    """The looks at `lights` whose truth is sure."""
    for sight in sights:
        own = nights[sight.form]
        is_asleep = own.is_asleep(sight.clock.second)
        if is_asleep is False:
            yield sight, True
        elif is_asleep and _are_off(sight, own, switched, life):
            yield sight, False


class Switched(NamedTuple):
    """An action that put the lights off for sure, or that may have put them on."""

    t: float
    second_of_day: int
    is_off: bool


def _switched(life: LoggedLife, model: Model, regime: Regime) -> list[Switched]:
    """The actions of a life after which the lights are off for sure, or may be on."""
    lights = {
        action: {model.care[name].lights for name in (action, *regime.hands.of(action).into)}
        for action in model.care
    }
    found: list[Switched] = []
    for entry in life.entries:
        if isinstance(entry, Action):
            is_off = entry.outcome == "took" and model.care[entry.action].lights == "off"
            if is_off or "on" in lights[entry.action]:
                second = clock_at(int(entry.t), life.begins).second
                found.append(Switched(entry.t, second, is_off))
    return found


def _are_off(sight: Sight, nights: Nights, switched: Sequence[Switched], life: LoggedLife) -> bool:
    """Whether the lights were put off in the sleep of a look, and can't be on again."""
    second = sight.clock.second
    fell_asleep = sight.t - min(
        (second - window.start) % DAY
        for window in nights.windows
        if window.holds(second, EVERY_DAY)
    )
    in_this_sleep = [each for each in switched if fell_asleep <= each.t <= sight.t]
    if not in_this_sleep:
        return False
    last = in_this_sleep[-1]
    if life.is_lost(last.t, sight.t):
        return False
    return last.is_off and nights.is_asleep(last.second_of_day) is True


def _told(rates: ErrorRates, looks: Sequence[tuple[Sight, bool]]) -> list[Estimate]:
    """The rates of an error, by the looks whose truth is sure that may have erred so."""
    counts = Counter((rates.place(sight.clock), sight.seen != truth) for sight, truth in looks)

    def log_likelihood(values: Sequence[float]) -> float:
        total = 0.0
        for (place, is_wrong), times in counts.items():
            wrong = rates.effective(values[place])
            total += times * math.log(max(wrong if is_wrong else 1 - wrong, LEAST_CHANCE))
        return total

    target = Target(log_likelihood, rates.parameters)
    estimates: list[Estimate] = []
    for place, estimate in enumerate(maximise(target, target.guess).estimates()):
        n = counts[place, True] + counts[place, False]
        why = estimate.why if n else "no look came when the truth is sure"
        estimates.append(replace(estimate, n=n, why=why))
    return estimates


def _of_spells(regime: Regime, signal: str, error: str) -> list[Estimate]:
    """The rate of an error in bad light, of which a log tells nothing."""
    rate = spell_rate(regime, signal, error)
    if rate is None:
        return []
    why = "a log does not say when the light was bad, so looks in those hours are left out"
    record = "when the light was bad"
    path = f"eyes.spells.{signal}.{error}"
    return [refused(path, "regime", "chance", guess=rate, record=record, why=why)]
