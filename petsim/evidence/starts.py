"""The levels of needs at birth, and how full needs and piles of waste are, from what was seen.

How full they can be no log tells that never showed it: the most that was seen is a lower bound. It
counts if it was seen twice, as one look may be a misreading.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from petsim.evidence.estimate import Estimate, refused, verdict_of
from petsim.evidence.places import places_of, value_at
from petsim.evidence.timeline import Spans, form_at
from petsim.life import draws
from petsim.life.log.entries import Action, LoggedLife, Look
from petsim.life.policy import Clock, clock_at
from petsim.spec.model import Model
from petsim.spec.regime import Regime

SURE = 0.95
"""The chance that nothing dropped yet above which the first look shows the level at birth."""
LEAST_ERROR = 1e-3
"""The chance that is left to a misreading which the regime says eyes never make."""
RECORD = "look at it before the first care, best while the pet is in its egg"
OFF_THE_SCREEN = "read it off the screen"


class Reading(NamedTuple):
    """A level that was read, and the chance that it is a misreading."""

    level: int
    misread: float


def starts_estimates(
    lives: Sequence[LoggedLife], spans: Sequence[Spans], model: Model, regime: Regime
) -> list[Estimate]:
    """Return what logs tell of the level of each need at birth, and of the most there can be.

    Looks count in which the level is still that of birth: those of a dormant pet, or the first, if
    by the guess hardly anything can have dropped by then and no care came before.

    spans: the forms of each life.
    """
    pairs = [*zip(lives, spans, strict=True)]
    estimates: list[Estimate] = []
    for need in model.needs:
        readings = [
            each for life, forms in pairs for each in _at_birth(life, forms, need, model, regime)
        ]
        estimates += [_starts(need, model, readings), _full(need, model, lives)]
    return [*estimates, *_most_piles(pairs, model)]


# Levels at birth


def _at_birth(
    life: LoggedLife, spans: Spans, need: str, model: Model, regime: Regime
) -> Iterator[Reading]:
    """The readings of a need while it is as it was at birth."""
    if not life.is_born:
        return
    root = model.forms[model.root]
    law = root.drops.get(need)
    for entry in life.entries:
        if not root.dormant and life.is_lost(0.0, entry.t):
            return
        if isinstance(entry, Action):
            if not root.dormant and need in model.care[entry.action].raises:
                return
        elif isinstance(entry, Look) and need in entry.saw:
            if form_at(spans, entry.t) != model.root:
                return
            if law is not None and law.survival(entry.t) < SURE:
                return
            clock = clock_at(int(entry.t), life.begins)
            yield Reading(int(entry.saw[need]), misreads_at(clock, need, regime))


def misreads_at(clock: Clock, need: str, regime: Regime) -> float:
    """Return the chance by a regime that a level is misread at a clock time.

    Where the light may be bad it is that of bad light, if that is more: a log does not say when it
    was.
    """
    eyes = regime.eyes
    window = next((each for each in eyes.windows if clock.within(each.during)), None)
    levels = window.levels if window and need in window.levels else eyes.levels
    rate = draws.effective_misreads(levels[need].misreads, eyes.looks.of) if need in levels else 0.0
    spells = eyes.spells
    if spells and need in spells.levels and (not spells.during or clock.within(spells.during)):
        rate = max(rate, spells.levels[need].misreads)
    return max(rate, LEAST_ERROR)


def _starts(need: str, model: Model, readings: Sequence[Reading]) -> Estimate:
    """The level at birth that makes the readings likeliest, all levels being as likely before."""
    path, guess, full = f"needs.{need}.starts", model.needs[need].starts, model.needs[need].full
    if not readings:
        why = f"no look at {need} came before its level can have changed"
        return refused(path, "model", "value", guess=guess, record=RECORD, why=why, n=0)
    levels = np.arange(full + 1)
    chances = [[_chance(level, full, each) for each in readings] for level in range(full + 1)]
    logs = np.log(chances).sum(axis=1)
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    estimate, (low, high) = int(weights.argmax()), _ends(weights)
    middle = float((weights * levels).sum())
    deviation = float((weights * (levels - middle) ** 2).sum()) ** 0.5
    shrink = deviation / float(levels.std())
    verdict = verdict_of(shrink, "value", low, high)
    record = "" if verdict == "well" else RECORD
    if verdict == "refused":
        why = f"it may be from {low} to {high} by what was read"
        return refused(path, "model", "value", guess=guess, record=record, why=why, n=len(readings))
    return Estimate(
        path,
        "model",
        "value",
        estimate,
        low,
        high,
        verdict,
        guess,
        record,
        "",
        len(readings),
        shrink,
    )


def _chance(level: int, full: int, reading: Reading) -> float:
    """The chance to read a level so: one too high or too low, right if that is no level."""
    off, misread = abs(reading.level - level), reading.misread
    if off == 0:
        return 1 - misread / 2 if level in (0, full) else 1 - misread
    return misread / 2 if off == 1 else LEAST_ERROR**2


def _ends(weights: NDArray[np.float64]) -> tuple[int, int]:
    """The ends of the likeliest levels that have 95 % of the weight."""
    order = np.argsort(-weights, kind="stable")
    kept = order[: int(np.searchsorted(np.cumsum(weights[order]), 0.95)) + 1]
    return int(kept.min()), int(kept.max())


# The most there can be


def _full(need: str, model: Model, lives: Sequence[LoggedLife]) -> Estimate:
    seen = Counter(
        int(entry.saw[need])
        for life in lives
        for entry in life.entries
        if isinstance(entry, Look) and need in entry.saw
    )
    full = model.needs[need].full
    return _bound(f"needs.{need}.full", full, full, seen)


def _most_piles(pairs: Sequence[tuple[LoggedLife, Spans]], model: Model) -> Iterator[Estimate]:
    """How large a pile can be in each stage that was lived; one of a stage before may be larger."""
    seen: dict[str, Counter[int]] = {}
    for life, spans in pairs:
        for span in spans:
            seen.setdefault(span.form, Counter())
        for entry in life.entries:
            form = form_at(spans, entry.t)
            if isinstance(entry, Look) and "waste" in entry.saw and form:
                seen[form][int(entry.saw["waste"])] += 1
    largest = max((value_at(model.forms[form], "waste.pile_max") or 0 for form in seen), default=0)
    for place, forms in places_of(model, "waste.pile_max").items():
        lived = [form for form in forms if form in seen]
        if lived:
            counts = sum((seen[form] for form in lived), Counter[int]())
            guess = value_at(model.forms[lived[0]], "waste.pile_max")
            yield _bound(f"{place}.waste.pile max", guess, largest, counts)


def _bound(path: str, guess: int, most: int, seen: Counter[int]) -> Estimate:
    """The refusal of a limit, with the most that was seen, and whether that is more than can be."""
    twice = [value for value, times in seen.items() if times > 1]
    top = max(twice, default=None)
    if top is None:
        why = "none was seen twice"
    elif top > most:
        why = f"{top} was seen {seen[top]} times, so the guess is too low"
    else:
        why = f"the most seen is {top}, {seen[top]} times; it is that or more"
    n = sum(seen.values())
    return refused(path, "model", "value", guess=guess, record=OFF_THE_SCREEN, why=why, n=n)
