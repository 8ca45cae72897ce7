"""Chains that are fitted in the light that there was: each look by the chance that it was bad."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from petsim.evidence.illness import IllnessChain
from petsim.evidence.levels import LevelChain
from petsim.evidence.light import (
    LightChain,
    LitLooks,
    Pooled,
    Wakeful,
    bad_light,
    fit_light,
)
from petsim.evidence.misbehaviour import MisbehaviourChain
from petsim.evidence.posterior import Posterior
from petsim.evidence.rates import UNKNOWN, spell_rate
from petsim.evidence.sights import spells_matter
from petsim.evidence.tape import Tape, is_asleep
from petsim.evidence.timeline import FormSpan
from petsim.life.log.entries import LoggedLife, Look
from petsim.life.policy import clock_at
from petsim.spec.eyes import Spells
from petsim.spec.model import Model
from petsim.spec.regime import Regime

HiddenChain = LevelChain | IllnessChain | MisbehaviourChain
Fitted = tuple[HiddenChain, Posterior]
SeenBy = dict[str, list[LitLooks]]
"""The looks of chains, by their names, of each life."""
ROUNDS = 2
"""How often chains are fitted, each time in the light that all looks then show."""
LEAST_BAD = 3.0
"""Times the usual rate of an error that it is taken to be in bad light, if the guess says less."""
LEAST_CHANCE = 1e-9
"""The chance of a look below which it says no more of the light."""
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
        seen: SeenBy = {}
        light = fit_light(room.light(seen))
        for _ in range(ROUNDS):
            fitted = [fit(room.shaded(chain, seen, light)) for chain in chains]
            seen = room.looks(fitted)
            light = fit_light(room.light(seen))
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

    def light(self, seen: SeenBy) -> LightChain:
        """Return the chain of the light, for the looks of some chains."""
        others = [tuple(looks[number] for looks in seen.values()) for number in self._numbers]
        return LightChain(self.spells, self.imagines, self.wakeful, tuple(others))

    def looks(self, fitted: Sequence[Fitted]) -> SeenBy:
        """Return how likely each look was in either light, by chain and life."""
        return {
            chain.name: [
                self._lit(number, tape, rows)
                for number, (tape, rows) in enumerate(
                    zip(chain.tapes, chain.predictions(posterior.natural()), strict=True)
                )
            ]
            for chain, posterior in fitted
            if errs_in_spells(chain)
        }

    def _lit(self, number: int, tape: Tape, rows: NDArray[np.float64]) -> LitLooks:
        """How likely looks of a life were in either light, where spells matter."""
        times = tape.look_times
        which = self._matter(number, times)
        chances = np.maximum(rows[which], LEAST_CHANCE)
        return LitLooks(times[which], chances[:, 3], chances[:, 4])

    def shaded(self, chain: HiddenChain, seen: SeenBy, light: Posterior) -> HiddenChain:
        """Return a chain with the chance of bad light at each look, by the looks of all others."""
        if not errs_in_spells(chain):
            return chain
        clear, lasts, *rates = light.natural()
        others = [looks for name, looks in seen.items() if name != chain.name]
        tapes = []
        for number, tape in enumerate(chain.tapes):
            asleep = [self.wakeful[number].looks(*rates)] if rates else []
            pooled = Pooled.of([*asleep, *(looks[number] for looks in others)])
            times = tape.look_times
            dark = bad_light(pooled, times, clear, lasts)
            tapes.append(_with_light(tape, np.where(self._matter(number, times), dark, 0.0)))
        return replace(chain, tapes=tuple(tapes))

    @property
    def _numbers(self) -> range:
        return range(len(self.lives))

    def _matter(self, number: int, times: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Whether a spell would change a look of a life, at each of some seconds."""
        begins = self.lives[number].begins
        return np.array([spells_matter(self.spells, clock_at(int(t), begins)) for t in times], bool)


def errs_in_spells(chain: HiddenChain) -> bool:
    """Whether a spell of bad light changes how a chain is seen."""
    return any(errors.spell for errors in chain.errors)


def _with_light(tape: Tape, dark: NDArray[np.float64]) -> Tape:
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
            and spells_matter(spells, clock_at(int(entry.t), life.begins))
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
