"""The commands that give a result again, with its files as they were asked for."""

from __future__ import annotations

import shlex
from collections.abc import Iterable, Iterator, Mapping, Sequence
from operator import itemgetter
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from petsim.life.caretaker import Caretaker
from petsim.life.record import Life
from petsim.spec import defaults
from petsim.spec.document import plain_number
from petsim.spec.library import load
from petsim.spec.model import UNDECIDED, Model
from petsim.spec.names import Shelf, shipped
from petsim.spec.parts import as_yaml
from petsim.spec.pet import FORMAT as PET_FORMAT
from petsim.spec.quantities import DAY
from petsim.spec.taken_over import TakenOver
from petsim.spec.variation import Axis
from petsim.study.aims import Aim
from petsim.study.batch import Batch
from petsim.study.design import SweptRegime, sample_options, value_text

if TYPE_CHECKING:  # whoever asks for one answer need not wait for all the others
    from petsim.advice.choosing.choice import Choice
    from petsim.advice.expecting.expect import Expected
    from petsim.advice.explaining.explanation import Explanation
    from petsim.advice.limits.tolerance import Tolerances
    from petsim.advice.one_life.explain_life import LifeExplained
    from petsim.evidence.fit import Fit
    from petsim.study.compare import Comparison
    from petsim.study.results import Sweep

_LEFT_OUT = {"model": defaults.MODEL, "seed": defaults.SEED}
"""Options that need not be written, having these values."""


def compare(result: Comparison) -> str:
    """The command of a comparison."""
    first = result.batches[0]
    options = {
        **_pet(result.model),
        "lives": len(result),
        "seed": first.seed,
        "aim": result.aim.text,
        **_followed(first.span.until, first.span.days),
    }
    return _command("compare", [_regime(batch.caretaker) for batch in result.batches], options)


def sweep(result: Sweep) -> str:
    """The command of a sweep."""
    design = result.design
    options = {
        _option_of(design.model): _file(design.model, "models"),
        "lives": design.lives,
        "seed": design.seed,
        "aim": design.aim.text,
        **_followed(design.until, design.days),
        **sample_options(design.sample),
        **({"keep": "lives"} if design.keep else {}),
        "out": result.path.stem,
    }
    name = "sensitivity" if result.is_sensitivity else "sweep"
    return _command(name, [*map(_swept_regime, design.regimes), *_varied(design.axes)], options)


def report(life: Life) -> str:
    """The command of the report of a life."""
    options = {
        **_pet(life.model),
        "seed": life.seed,
        "life": life.number,
        **_length(life),
        "out": f"life-{life.number}.html",
    }
    return _command("report", [_regime(life.caretaker)], options)


def fit(found: Fit, *, odds: bool = False) -> str:
    """The command of a fit and its report, with what it leaves in doubt of the odds or without."""
    options = {
        "model": found.model.asked_by or found.model.id,
        "regime": found.regime.asked_by or found.regime.id,
        "report": "fit.html",
    }
    return _command("fit", [*found.sources, *(["--odds"] if odds else [])], options)


def explain(found: Explanation) -> str:
    """The command of an explanation and its page."""
    options = _guesses([(each.model, each.weight) for each in found.models])
    options += {
        "aim": found.aim.text,
        "seed": found.seed,
        "lives": found.lives["regime"],
        "precision": f"{plain_number(100 * found.precision)}%",
        **_followed(found.span.until, found.span.days),
        "report": "explain.html",
    }.items()
    return _command("explain", [_regime(found.caretaker)], options)


def explain_life(why: LifeExplained) -> str:
    """The command that explains a life and its page."""
    life = why.life
    options = {
        **_pet(life.model),
        "aim": why.aim,
        "seed": life.seed,
        **({"life": life.number} if why.chosen is None else {"lives": why.chosen.lives}),
        **_length(life),
        "report": "explain.html",
    }
    chosen = [] if why.chosen is None else [f"--{why.chosen.what}"]
    return _command("explain", [_regime(life.caretaker), *chosen], options)


def expect(result: Expected) -> str:
    """The command of what to expect, and its page."""
    options = {
        **_pet(result.model),
        "lives": result.lives,
        "seed": result.seed,
        "confidence": plain_number(result.confidence),
        "days": result.days,
        "report": "expect.html",
    }
    return _command("expect", [_regime(quiet.caretaker) for quiet in result.regimes], options)


def tolerance(found: Tolerances) -> str:
    """The command of tolerances and their page."""
    options = _guesses([*zip(found.models, found.weights, strict=True)])
    options += {
        "at-least": f"{plain_number(100 * found.at_least)}%",
        "aim": found.aim.text,
        "seed": found.seed,
        "lives": found.lives,
        "precision": f"{plain_number(100 * found.precision)}%",
        **_followed(found.span.until, found.span.days),
        "report": "tolerance.html",
    }.items()
    return _command("tolerance", [_regime(found.caretaker)], options)


def choose(found: Choice) -> str:
    """The command of a choice and its page."""
    asked, space = found.evaluator, found.space
    options = _guesses([*zip(asked.models, asked.weights, strict=True)])
    options += {
        "at-least": None if found.at_least is None else plain_number(found.at_least),
        "cheapest": str(found.cost),
        "on": found.on.value,
        "sample": space.sample,
        "points": space.points,
        "aim": asked.aim.text,
        "seed": asked.seed,
        "lives": found.lives,
        **_followed(asked.span.until, asked.span.days),
        "report": "choose.html",
    }.items()
    given = [(name, value) for name, value in options if value is not None]
    steps = ["--steps"] if found.rounds else []
    return _command("choose", [_regime(asked.caretaker), *steps, *_varied(space.axes)], given)


def _guesses(weighted: Sequence[tuple[Model, float]]) -> list[tuple[str, object]]:
    """The options that say which models there are, and how much each of several is believed."""
    options: list[tuple[str, object]] = []
    for model, weight in weighted:
        options += _pet(model).items()
        if len(weighted) > 1:
            options.append(("weight", plain_number(weight)))
    return options


def run(batches: Sequence[Batch], aim: Aim) -> str | None:
    """The command that shows a life which missed the aim, of the likeliest kind, if any did.

    None too if no command can name its files, as they came from Python.
    """
    missed = [
        (lives, batch, outcome)
        for batch in batches
        for outcome, lives in batch.counts.items()
        if lives and outcome not in (*aim.forms, UNDECIDED)
    ]
    if not missed:
        return None
    _, batch, outcome = max(missed, key=itemgetter(0))
    if batch.caretaker.asked_by is None or batch.model.asked_by is None:
        return None
    number = int(np.argmax(batch.which("outcome", outcome)))
    options = {
        **_pet(batch.model),
        "seed": batch.seed,
        **_followed(batch.span.until, batch.span.days),
        "outcome": outcome,
        **({"lives": len(batch)} if number >= defaults.LIVES[batch.engine] else {}),
    }
    needed = {key: value for key, value in options.items() if _LEFT_OUT.get(key) != value}
    return _command("run", [_regime(batch.caretaker)], needed)


def _pet(model: Model) -> dict[str, object]:
    """The option that says whose lives they are: a model, or a pet that is taken over."""
    option = "pet" if isinstance(model, TakenOver) else "model"
    return {option: model.asked_by or model.id}


def _option_of(file: tuple[str, str]) -> str:
    _, text = file
    return "pet" if text.startswith(f"petsim: {PET_FORMAT}\n") else "model"


def _regime(caretaker: Caretaker) -> str:
    return caretaker.asked_by or caretaker.name


def _file(file: tuple[str, str], shelf: Shelf) -> str:
    """The name of a file of a sweep: if it says what a shipped one does, that one's."""
    path, text = file
    name = Path(path).stem
    return name if name in shipped(shelf) and as_yaml(load(name)) == text else path


def _swept_regime(regime: SweptRegime) -> str:
    """A regime of a sweep; of a policy, the file without the folder, which it does not keep."""
    if regime.policy is None:
        return _file(regime.file, "regimes")
    return regime.name.replace(":", ".py:")


def _followed(until: str | None, days: float | None) -> dict[str, object]:
    if days is not None:
        return {"days": plain_number(days)}
    return {} if until is None else {"until": until}


def _length(life: Life) -> dict[str, object]:
    if life.horizon is not None:
        return _followed(None, life.horizon / DAY)
    return {} if life.until_outcome else _followed("death", None)


def _varied(axes: Iterable[Axis]) -> Iterator[str]:
    for axis in axes:
        values = axis.as_data()
        text = values if isinstance(values, str) else ",".join(map(value_text, values))
        yield from ("--vary", f"{axis.path}={text}")


def _command(
    name: str, first: Sequence[str], options: Mapping[str, object] | Sequence[tuple[str, object]]
) -> str:
    pairs = options.items() if isinstance(options, Mapping) else options
    written = [word for key, value in pairs for word in (f"--{key}", f"{value}")]
    return shlex.join(["petsim", name, *first, *written])
