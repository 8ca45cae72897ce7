"""The files that a fit leads to, with what was told of each value, and what is said of them."""

from __future__ import annotations

import shlex
from collections.abc import Iterator
from pathlib import Path
from textwrap import wrap
from typing import Literal

from petsim._version import __version__
from petsim.errors import legible
from petsim.evidence.fit import Fit
from petsim.evidence.written import fitted_model, fitted_regime
from petsim.spec.parts import as_yaml
from petsim.view import fitted
from petsim.view.estimates import in_words
from petsim.view.tables import table

WIDTH = 98
"""Characters of a line of a remark."""


def model_file(fit: Fit) -> str:
    """Return the text of the file of a fitted model, with what the logs told of it."""
    return f"{_remarks(fit, 'model')}{as_yaml(fitted_model(fit))}"


def regime_file(fit: Fit) -> str:
    """Return the text of the file of the rig as it was fitted, with what the logs told of it."""
    return f"{_remarks(fit, 'regime')}{as_yaml(fitted_regime(fit))}"


def _remarks(fit: Fit, file: Literal["model", "regime"]) -> str:
    lines = [line for remark in _said(fit, file) for line in remark.split("\n")]
    return "".join(f"# {legible(line)}".rstrip() + "\n" for line in lines)


def _said(fit: Fit, file: Literal["model", "regime"]) -> Iterator[str]:
    """What the head of a file says: what it was fitted to, what that told, and what it did not."""
    guess = fit.model.id if file == "model" else fit.regime.id
    yield _filled(
        f"Fitted by petsim {__version__} to {fitted.evidence(fit)}, logged in "
        f"{', '.join(fit.sources)}. The guess was {guess}."
    )
    told = [each for each in fit.estimates if each.file == file and each.estimate is not None]
    if told:
        yield "Estimated from the logs, with 95 % intervals:"
        rows = [
            (
                fitted.key_of(each),
                str(in_words(each)),
                "weak" if each.verdict == "weak" else "",
            )
            for each in told
        ]
        yield table(("", "", ""), rows, "  ")
    untold = sum(each.file == file and each.estimate is None for each in fit.estimates)
    yield _filled(
        f"All else is as guessed, {untold} parameters of it as the logs can't tell them; petsim "
        "fit says why, and what to record."
    )


def _filled(text: str) -> str:
    return "\n".join(wrap(text, WIDTH, break_on_hyphens=False))


def summary(model: Path | None, regime: Path | None) -> str:
    """Return that files are written, and what can be asked of them next."""
    lines = [f"{path}: written" for path in (model, regime) if path is not None]
    if model is not None:
        rig = f"{shlex.quote(str(regime))} " if regime is not None else "REGIME... "
        lines.append(f"try: petsim compare {rig}--model {shlex.quote(str(model))}")
    return "\n".join(lines)
