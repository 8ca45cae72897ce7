"""A pet that a simulated life left, as a file, and what is said of it once that is written."""

from __future__ import annotations

import shlex
from pathlib import Path

from petsim._version import __version__
from petsim.errors import legible
from petsim.life.pet_left import PetLeft
from petsim.life.record import Life
from petsim.spec.parts import as_yaml


def file(left: PetLeft, life: Life) -> str:
    """Return the text of the file of a pet as a life had it at its end, with where it is from."""
    whose = f"life {life.number} of seed {life.seed} under {legible(life.regime)}"
    remarks = [f"The pet of {whose}, simulated by petsim {__version__},", f"on {_when(life)}."]
    if left.lost:
        remarks += ["No pet file can hold:", *(f"  {lost}" for lost in left.lost)]
    return "\n".join((*(f"# {line}" for line in remarks), as_yaml(left.pet)))


def summary(left: PetLeft, path: Path) -> str:
    """Return that the file of a pet is written, and what no such file can hold of the pet."""
    trial = f"petsim show {shlex.quote(str(path))}"
    written = f"{path}: written, the pet as of {left.pet.at}; try: {trial}"
    lost = [f"  no pet file can hold {what}" for what in left.lost]
    return "\n".join((written, *lost))


def _when(life: Life) -> str:
    assert life.horizon is not None
    return str(life.clock(life.horizon))
