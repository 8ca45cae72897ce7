"""All checks, by field, and running them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

from petsim.life.simulate import why_not_compiled
from petsim.theory import (
    bad_light,
    best_intervals,
    caretaker,
    durations,
    fixed_drops,
    growth_odds,
    hazards,
    inspection,
    interference,
    intervals,
    jitter,
    overlooking,
    randomness,
    reading,
    rota,
    voting,
)
from petsim.theory.lab import Lab
from petsim.theory.verdicts import Outcome, TheoryCheck

FIELDS = (
    inspection,
    fixed_drops,
    overlooking,
    jitter,
    best_intervals,
    growth_odds,
    hazards,
    durations,
    randomness,
    reading,
    caretaker,
    rota,
    voting,
    bad_light,
    interference,
    intervals,
)
SCALES = {"compiled": 1.0, "reference": 0.05}
"""The lives of each engine for a check, as a share of those of the short form on the compiled."""
LONG = 100
"""How many times as many lives the long form lives."""


def checks() -> list[TheoryCheck]:
    """All checks, in the order of the fields and of their modules."""
    return [
        member
        for field in FIELDS
        for member in vars(field).values()
        if isinstance(member, TheoryCheck)
    ]


def verify(engine: str | None = None, *, long: bool = False) -> Iterator[Outcome]:
    """Run all checks, one after another, on one engine or on all that there are here."""
    factor, engines = LONG if long else 1, [engine] if engine else _engines()
    with TemporaryDirectory(prefix="petsim-") as folder:
        labs = {name: Lab(Path(folder), name, SCALES[name] * factor) for name in engines}
        for check in checks():
            yield Outcome(check, {name: [*check.verdicts(lab)] for name, lab in labs.items()})


def _engines() -> list[str]:
    return [name for name in SCALES if name != "compiled" or why_not_compiled() is None]
