"""Looks at a signal of a log that a fit can use: those of a sure form, in a sure light."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from petsim.evidence.rates import spell_rate
from petsim.evidence.timeline import Spans, form_at
from petsim.life.log.entries import LoggedLife, Look
from petsim.life.policy import Clock, clock_at
from petsim.spec.eyes import Spells
from petsim.spec.regime import Regime


class Sight(NamedTuple):
    """A look at a yes/no signal: its second and clock time, the pet's form, and what it saw."""

    t: float
    clock: Clock
    form: str
    seen: bool


def sights_of(life: LoggedLife, spans: Spans, signal: str, regime: Regime) -> Iterator[Sight]:
    """Yield the looks of a life at a yes/no signal, but for those between which the pet grew.

    Those are left out, too, that come when the light may be bad, if that changes what they show: a
    log does not say when it was.

    spans: the forms of the life.
    """
    for entry in life.entries:
        if not isinstance(entry, Look) or signal not in entry.saw:
            continue
        clock, form = clock_at(int(entry.t), life.begins), form_at(spans, entry.t)
        if form is not None and not is_bad_light(regime, signal, clock):
            yield Sight(entry.t, clock, form, bool(entry.saw[signal]))


def is_bad_light(regime: Regime, signal: str, clock: Clock) -> bool:
    """Whether a spell of bad light may have changed how a signal was seen at a clock time."""
    spells = regime.eyes.spells
    if spells is None:
        return False
    rates = [spell_rate(regime, signal, error) for error in ("overlooks", "imagines")]
    if rates == [None, None]:
        return False
    return spells_matter(spells, clock)


def spells_matter(spells: Spells, clock: Clock) -> bool:
    """Whether spells of bad light change anything at a clock time."""
    return spells.during is None or clock.within(spells.during)


def all_sights(
    lives: Sequence[LoggedLife], spans: Sequence[Spans], signal: str, regime: Regime
) -> list[Sight]:
    """Return the looks of `sights_of` of all lives."""
    pairs = zip(lives, spans, strict=True)
    return [sight for life, forms in pairs for sight in sights_of(life, forms, signal, regime)]
