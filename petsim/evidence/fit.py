"""A model fitted to logs: every chain and every count, and what they say of the files.

The routine needs no model: what was pressed depends on what was seen before, so the likelihood of a
log is that of its looks, given what was pressed. The hidden chains are independent of each other
given form, sleep and light, so each is fitted by itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from statistics import median
from typing import Any, TypeAlias

import numpy as np

from petsim._version import __version__
from petsim.errors import ArgumentError, LogError, listed, quote
from petsim.evidence.books import books_estimates
from petsim.evidence.estimate import Estimate, refused
from petsim.evidence.goodness import Goodness, goodness_of
from petsim.evidence.growth_times import lasts_estimates
from petsim.evidence.illness import illness_chain
from petsim.evidence.levels import Lived, need_chain, waste_chain
from petsim.evidence.means import mean_of
from petsim.evidence.misbehaviour import CALLS, MisbehaviourChain, misbehaviour_chain
from petsim.evidence.places import places_of, value_at
from petsim.evidence.posterior import Posterior
from petsim.evidence.power import outage_estimates
from petsim.evidence.shade import HiddenChain, fit_in_light
from petsim.evidence.silent import silent_parameters
from petsim.evidence.sleep import sleep_estimates
from petsim.evidence.sleep_eyes import sleep_eyes_estimates
from petsim.evidence.starts import starts_estimates
from petsim.evidence.timeline import FormSpan, form_spans
from petsim.life.caretaker import RegimeSource
from petsim.life.drawn import Drawn
from petsim.life.log.entries import Action, Check, LoggedLife, Look
from petsim.life.log.reader import read_log
from petsim.life.log.simulated import logged
from petsim.life.record import Life
from petsim.life.simulate import ModelSource
from petsim.spec.library import load_model, load_regime
from petsim.spec.model import Model
from petsim.spec.quantities import DAY
from petsim.spec.regime import Regime

Log: TypeAlias = str | Path | LoggedLife | Life
IMPOSSIBLE = 1e-12
"""The chance below which a look can't be, by the model."""
MOST_IMPOSSIBLE = 0.01
"""The share of such looks above which a log is not one of this pet."""
MOST_MISREAD = 0.35
"""The rate of misreadings above which a need's readings say too little of it."""


@dataclass(frozen=True)
class ChainFit:
    """A chain as it was fitted.

    name: of the need, or waste, illness, misbehaviour or light. posterior: of its parameters.
    goodness: how well it predicts; None for light. impossible: the looks that can't be, each by the
    number of the life and its second. looks: how many there are.
    """

    name: str
    posterior: Posterior
    goodness: Goodness | None = None
    impossible: tuple[tuple[int, float], ...] = ()
    looks: int = 0

    def as_dict(self) -> dict[str, Any]:
        """It as plain data."""
        goodness = self.goodness
        return {
            "chain": self.name,
            "looks": self.looks,
            "impossible": len(self.impossible),
            "converged": self.posterior.converged,
            "log_likelihood": self.posterior.log_likelihood,
            "p": None if goodness is None else goodness.p,
            "parts": [] if goodness is None else [asdict(part) for part in goodness.parts],
        }


@dataclass(frozen=True)
class Fit(Drawn):
    """What logs say of a pet and a rig.

    model, regime: the guess. lives: of the logs. estimates: of each parameter that a log may tell.
    chains: how each hidden chain was fitted.
    """

    model: Model
    regime: Regime
    lives: tuple[LoggedLife, ...]
    estimates: tuple[Estimate, ...]
    chains: tuple[ChainFit, ...]

    @property
    def days(self) -> float:
        """How long the lives were logged, all together."""
        return sum(life.until for life in self.lives) / DAY

    @property
    def sources(self) -> list[str]:
        """The files of the logs, or what else these were."""
        return list(dict.fromkeys(life.source for life in self.lives))

    def __repr__(self) -> str:
        return f"<fit: {self.model.id} under {self.regime.id}, {self.days:.1f} days logged>"

    def as_dict(self) -> dict[str, Any]:
        """Everything of it as plain data, as `petsim fit --json` prints it."""
        return {
            "petsim": __version__,
            "model": self.model.id,
            "regime": self.regime.id,
            "logs": self.sources,
            "lives": len(self.lives),
            "days": self.days,
            "parameters": [estimate.as_dict() for estimate in self.estimates],
            "chains": [chain.as_dict() for chain in self.chains],
        }


def fit(
    logs: Log | Sequence[Log],
    model: ModelSource,
    regime: RegimeSource | None = None,
    *,
    progress: bool = False,
) -> Fit:
    """Fit a model to logs of its pet.

    Args:
        logs: a log, or several, each the path of a file, what `read_log` returned of one life, or
            a simulated life.
        model: the guess: a model, its name, its path or its content. Its forms, needs and actions
            are taken as they are.
        regime: the guess of the rig's eyes, hands and power, likewise. The one that the logs name,
            if it is left out.
        progress: whether a terminal shows how far it is, and the time left.

    Returns:
        The fit: an estimate of each parameter that a log may tell, with its interval, or why it
        can't be told and what to record instead.

    Raises:
        SpecError: a file can't be read.
        LogError: a log can't be one of this model, or has too little in it to be fitted.
        ArgumentError: no regime is given, and the logs name none that can be found.
    """
    several = [logs] if isinstance(logs, str | Path | LoggedLife | Life) else list(logs)
    lives = [life for log in several for life in _lives_of(log)]
    loaded = load_model(model)
    named = _named_regime(lives) if regime is None else regime
    return fit_logs(lives, loaded, load_regime(named, loaded), progress=progress)


def _lives_of(log: Log) -> Sequence[LoggedLife]:
    if isinstance(log, Life):
        return [logged(log)]
    return [log] if isinstance(log, LoggedLife) else read_log(log)


def _named_regime(lives: Sequence[LoggedLife]) -> str:
    """The regime that logs name, if they name one, and only one."""
    names = list(dict.fromkeys(life.regime for life in lives if life.regime))
    if len(names) != 1:
        found = (
            f"the logs name {listed(list(map(quote, names)))}" if names else "the logs name none"
        )
        raise ArgumentError(f"regime: {found}; expected the one of the rig's eyes and hands")
    return names[0]


def fit_logs(
    lives: Sequence[LoggedLife], model: Model, regime: Regime, *, progress: bool = False
) -> Fit:
    """Return what logs say of a pet and a rig; see `fit`."""
    _refuse_silence(lives)
    spans = [form_spans(life, model) for life in lives]
    counted = [
        *books_estimates(lives, spans, model),
        *starts_estimates(lives, spans, model, regime),
    ]
    chains = _chains(lives, spans, _corrected(model, counted), regime)
    fitted, light = fit_in_light(chains, lives, spans, model, regime, progress=progress)
    fits = [_reported(chain, posterior, lives) for chain, posterior in fitted]
    if light is not None:
        fits.append(ChainFit("light", light))
    _refuse_impossible(fits, lives)
    of_chains = [
        *(each for chain, posterior in fitted for each in chain.estimates(posterior)),
        *(light.estimates() if light is not None else []),
    ]
    _refuse_blindness(of_chains)
    told = {estimate.path for estimate in of_chains}
    counted += [
        *sleep_estimates(lives, spans, model, regime),
        *sleep_eyes_estimates(lives, spans, model, regime),
        *lasts_estimates(lives, spans, model),
        *outage_estimates(lives, regime),
        *_unseen_misbehaviour(chains, model, spans),
        *silent_parameters(model, spans),
    ]
    counted = [estimate for estimate in counted if estimate.path not in told]
    return Fit(model, regime, tuple(lives), (*of_chains, *counted), tuple(fits))


def _corrected(model: Model, counted: Sequence[Estimate]) -> Model:
    """The model with the steps of discipline as the log's readings show them."""
    told = {each.path: each.estimate for each in counted if each.estimate is not None}
    paths = {"step": "discipline.step", "lapse_costs": "discipline.lapse costs"}
    known = {name: round(told[path]) for name, path in paths.items() if path in told}
    return model.model_copy(update={"discipline": model.discipline.model_copy(update=known)})


def _chains(
    lives: Sequence[LoggedLife],
    spans: Sequence[Sequence[FormSpan]],
    model: Model,
    regime: Regime,
) -> list[HiddenChain]:
    """All chains of which the lives show anything, with their tapes."""
    lived = _lived(lives, spans, regime)
    signals = frozenset(name for look in _looks(lives) for name in look.saw)
    chains: list[HiddenChain] = [
        need_chain(need, model, regime, lived).over(lives, spans, model)
        for need in model.needs
        if need in signals
    ]
    if "waste" in signals and places_of(model, "waste"):
        chains.append(waste_chain(model, regime, lived).over(lives, spans, model))
    illness = illness_chain(model, regime, lived)
    if illness is not None and "ill" in signals:
        chains.append(illness.over(lives, spans, regime))
    misbehaviour = misbehaviour_chain(model, regime, lived, signals)
    if misbehaviour is not None:
        chains.append(misbehaviour.over(lives, spans))
    return [chain for chain in chains if chain.parameters]


def _looks(lives: Sequence[LoggedLife]) -> list[Look]:
    return [entry for life in lives for entry in life.entries if isinstance(entry, Look)]


def _lived(
    lives: Sequence[LoggedLife], spans: Sequence[Sequence[FormSpan]], regime: Regime
) -> Lived:
    entries = [entry for life in lives for entry in life.entries]
    checks = [[entry.t for entry in life.entries if isinstance(entry, Check)] for life in lives]
    gaps = [float(gap) for times in checks for gap in np.diff(times)]
    # as seconds of a check come late and early, its interval is taken to the half minute
    interval = regime.checks.every or max(30.0, round(median(gaps) / 30.0) * 30.0)
    return Lived(
        frozenset(span.form for life in spans for span in life),
        frozenset(entry.action for entry in entries if isinstance(entry, Action)),
        float(interval),
    )


def _reported(chain: HiddenChain, posterior: Posterior, lives: Sequence[LoggedLife]) -> ChainFit:
    """How a chain was fitted, and how well it predicts."""
    rows = chain.predictions(posterior.natural())
    impossible = [
        (number, tape.looks[place][1])
        for number, (tape, of_life) in enumerate(zip(chain.tapes, rows, strict=True))
        for place in np.flatnonzero(of_life[:, 0] < IMPOSSIBLE)
    ]
    return ChainFit(
        chain.name,
        posterior,
        goodness_of(lives, chain.tapes, rows),
        tuple(impossible),
        sum(map(len, rows)),
    )


def _unseen_misbehaviour(
    chains: Sequence[HiddenChain], model: Model, spans: Sequence[Sequence[FormSpan]]
) -> list[Estimate]:
    """Misbehaviour where no chain of it could be made, as nothing that shows it was looked at."""
    if any(isinstance(chain, MisbehaviourChain) for chain in chains):
        return []
    forms = {span.form for life in spans for span in life}
    return [
        refused(
            f"{place}.misbehaviour.{wait}",
            "model",
            "mean",
            guess=mean_of(value_at(model.forms[own[0]], f"misbehaviour.{wait}")),
            why="neither `calling` nor `discipline` was looked at",
            record=CALLS,
        )
        for place, own in places_of(model, "misbehaviour", forms).items()
        for wait in ("every", "window")
    ]


# Logs that are refused as a whole


def _refuse_silence(lives: Sequence[LoggedLife]) -> None:
    if not lives:
        raise LogError("no life in the log; expected at least one, from `birth` or a first look on")
    for life in lives:
        looks = [entry for entry in life.entries if isinstance(entry, Look)]
        acts = sum(isinstance(entry, Action) for entry in life.entries)
        days = life.until / DAY
        if not any(set(look.saw) - {"form", "stage"} for look in looks):
            raise LogError(
                f"{life.source}: found {acts} actions and no look at anything in {days:.1f} days; "
                "expected the looks too, also those that led to nothing"
            )


def _refuse_impossible(fits: Sequence[ChainFit], lives: Sequence[LoggedLife]) -> None:
    for fit in fits:
        if len(fit.impossible) <= MOST_IMPOSSIBLE * fit.looks:
            continue
        number, t = fit.impossible[0]
        raise LogError(
            f"{lives[number].source}: found {len(fit.impossible)} of {fit.looks} looks at "
            f"{fit.name} that can't be by the model, the first after {t:.0f} s; expected at most "
            f"{MOST_IMPOSSIBLE:.0%}: is it the model of this pet?"
        )


def _refuse_blindness(estimates: Sequence[Estimate]) -> None:
    for each in estimates:
        is_usual = each.path.startswith("eyes.") and each.path.endswith(".misreads")
        if is_usual and each.path.count(".") == 2 and (each.estimate or 0.0) > MOST_MISREAD:
            raise LogError(
                f"{each.path}: found {each.estimate:.0%}; expected at most {MOST_MISREAD:.0%}, "
                "as eyes that err more say too little of a need for its law to be told"
            )
