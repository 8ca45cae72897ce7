"""The data that `--json` prints, as JSON Schema: every field, what it means and its unit.

What depends on a model is taken from the lists that the data themselves are made from: the measures
of a comparison, and the columns of a life. The tests hold what each command prints against it.
"""

from __future__ import annotations

from collections.abc import Callable

from petsim.spec.schema import DIALECT
from petsim.view.data.choices import choice
from petsim.view.data.comparisons import comparison
from petsim.view.data.expectations import expect
from petsim.view.data.explanations import explained
from petsim.view.data.files import findings
from petsim.view.data.fits import fit
from petsim.view.data.limits import tolerances
from petsim.view.data.lives import life
from petsim.view.data.parts import Schema
from petsim.view.data.real_pets import trials
from petsim.view.data.sweeps import sensitivity, sweep
from petsim.view.data.verdicts import verdicts


def data_schema(command: str) -> Schema:
    """Return the JSON Schema (draft 2020-12) of what a command prints with `--json`.

    Args:
        command: the name of one that has the option.
    """
    title = f"What petsim {command} prints with --json"
    return {"$schema": DIALECT, "title": title, **PRINTED[command]()}


PRINTED: dict[str, Callable[[], Schema]] = {
    "compare": comparison,
    "run": life,
    "sweep": sweep,
    "sensitivity": sensitivity,
    "explain": explained,
    "choose": choice,
    "tolerance": tolerances,
    "expect": expect,
    "trials": trials,
    "fit": fit,
    "check": findings,
    "verify": verdicts,
}
"""What makes the schema of each command that has `--json`."""
