"""Chains that are fitted in the light that there was: each look by the chance that it was bad."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from petsim.evidence.illness import IllnessChain
from petsim.evidence.levels import LevelChain
from petsim.evidence.light import (
    LightChain,
    Looks,
    Pooled,
    Wakeful,
    bad_light,
    fit_light,
)
from petsim.evidence.misbehaviour import MisbehaviourChain
from petsim.evidence.posterior import Posterior
from petsim.evidence.rates import UNKNOWN, spell_rate
from petsim.evidence.tape import Tape, is_asleep
from petsim.evidence.timeline import FormSpan
from petsim.life.log.entries import LoggedLife, Look
from petsim.life.policy import clock_at
from petsim.spec.eyes import Spells
from petsim.spec.model import Model
from petsim.spec.regime import Regime

HiddenChain = LevelChain | IllnessChain | MisbehaviourChain
Fitted = tuple[HiddenChain, Posterior]
ROUNDS = 2
"""How often chains are fitted, each time in the light that all looks then show."""
LEAST_BAD = 3.0
"""Times the usual rate of an error that it is taken to be in bad light, if the guess says less."""
MARGIN = 1800.0
"""Seconds from the edge of a sleep within which it is not sure that the pet is awake."""


def fit_in_light(
    chains: Sequence[HiddenChain],
    lives: Sequence[LoggedLife],
    spans: Sequence[Sequence[FormSpan]],
    model: Model,
    regime: Regime,
    *,
    progress: bool = False,
) -> tuple[list[Fitted], Posterior | None]:
    """Return all chains with their posteriors, and that of the light if it can be bad.

    The light is first told by looks at sleep alone, then by those of all chains as well, each in
    turn. A look counts as one in bad light by the chance of it.

    progress: whether a terminal shows how many chains are fitted, and the time left.
    """
    from tqdm import tqdm

    spells = regime.eyes.spells
    rounds = 1 if spells is None else ROUNDS
    shown = None if progress else True  # none in a pipe
    with tqdm(total=rounds * len(chains), unit=" chains", leave=False, disable=shown) as bar:

        def fit(chain: HiddenChain) -> Fitted:
            fitted = chain.fit()
            bar.update()
            return fitted

        if spells is None:
            return [fit(chain) for chain in chains], None
        wakeful = tuple(_wakeful(lives, spans, model, regime))
        room = _Room(spells, tuple(lives), wakeful, _usual(regime))
        fitted: list[Fitted] = []
        light = fit_light(room.light([]))
        for _ in range(ROUNDS):
            fitted = [fit(room.shaded(chain, fitted, light)) for chain in chains]
            light = fit_light(room.light(room.looks(fitted)))
        return fitted, light


def _usual(regime: Regime) -> tuple[float, float] | None:
    """The rates of imagining sleep, usual and in a spell, None if a spell does not change it."""
    bad = spell_rate(regime, "asleep", "imagines")
    usual = regime.eyes.asleep.imagines or UNKNOWN
    # of two alike, nothing would say which is that of bad light
    return None if bad is None else (usual, max(bad, LEAST_BAD * usual))


@dataclass(frozen=True)
class _Room:
    """The light in which lives were lived.

    wakeful: of each life, looks at sleep while it surely was awake. imagines: the guess's rates of
    imagining sleep in either light.
    """

    spells: Spells
    lives: tuple[LoggedLife, ...]
    wakeful: tuple[Wakeful, ...]
    imagines: tuple[float, float] | None

    def light(self, looks: Sequence[Sequence[Looks]]) -> LightChain:
        """Return the chain of the light, for looks of each life."""
        others = tuple(map(tuple, looks)) or tuple(() for _ in self.lives)
        return LightChain(self.spells, self.imagines, self.wakeful, others)

    def looks(self, fitted: Sequence[Fitted], but: str | None = None) -> list[list[Looks]]:
        """Return of each life how likely each look was in either light, of all chains but one."""
        of_lives: list[list[Looks]] = [[] for _ in self.lives]
        for chain, posterior in fitted:
            if chain.name == but or not any(errors.spell for errors in chain.errors):
                continue
            rows = chain.predictions(posterior.natural())
            for number, (tape, of_life) in enumerate(zip(chain.tapes, rows, strict=True)):
                times = np.array([t for _, t, _ in tape.looks])
                matters = np.array([self._matters(number, t) for t in times], bool)
                floor = np.maximum(of_life, 1e-9)
                of_lives[number].append(Looks(times[matters], floor[matters, 3], floor[matters, 4]))
        return of_lives

    def shaded(self, chain: HiddenChain, fitted: Sequence[Fitted], light: Posterior) -> HiddenChain:
        """Return a chain with the chance of bad light at each look, by the looks of all others."""
        if not any(errors.spell for errors in chain.errors):
            return chain
        clear, lasts, *rates = light.natural()
        others = self.looks(fitted, but=chain.name)
        tapes = []
        for number, tape in enumerate(chain.tapes):
            asleep = [self.wakeful[number].looks(*rates)] if rates else []
            pooled = Pooled.of([*asleep, *others[number]])
            times = np.array([t for _, t, _ in tape.looks])
            chances = bad_light(pooled, times, clear, lasts)
            dark = [
                chance if self._matters(number, t) else 0.0
                for chance, t in zip(chances, times, strict=True)
            ]
            tapes.append(_with_light(tape, dark))
        return replace(chain, tapes=tuple(tapes))

    def _matters(self, number: int, t: float) -> bool:
        """Whether a spell would change a look of a life at a second."""
        during = self.spells.during
        return during is None or clock_at(int(t), self.lives[number].begins).within(during)


def _with_light(tape: Tape, dark: Sequence[float]) -> Tape:
    amounts = tape.amounts.copy()
    amounts[[place for place, _, _ in tape.looks]] = dark
    return replace(tape, amounts=amounts)


def _wakeful(
    lives: Sequence[LoggedLife],
    spans: Sequence[Sequence[FormSpan]],
    model: Model,
    regime: Regime,
) -> Iterator[Wakeful]:
    """Of each life, the looks at sleep while it surely was awake, where spells matter."""
    spells = regime.eyes.spells
    assert spells is not None
    for life, forms in zip(lives, spans, strict=True):
        rows = [
            (entry.t, bool(entry.saw["asleep"]))
            for entry in life.entries
            if isinstance(entry, Look)
            and "asleep" in entry.saw
            and _is_awake(life, forms, model, entry.t)
            and (not spells.during or clock_at(int(entry.t), life.begins).within(spells.during))
        ]
        yield Wakeful(np.array([t for t, _ in rows]), np.array([seen for _, seen in rows], bool))


def _is_awake(life: LoggedLife, spans: Sequence[FormSpan], model: Model, t: float) -> bool:
    """Whether a pet surely is awake at a second: in all forms that it may have, for a while."""
    near = [
        span.form
        for span in spans
        if span.since[0] <= t and (span.until is None or t <= span.until[1])
    ]
    moments = (max(0.0, t - MARGIN), t, t + MARGIN)
    return not any(is_asleep(model.forms[form], life, at) for form in near for at in moments)
