"""The design of a sweep as its file has it, which may be anybody's, and is believed in nothing."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from petsim.errors import ArgumentError, MisfitError, PetsimError
from petsim.life.simulate import Span
from petsim.spec.arguments import word_of
from petsim.spec.choices import SAMPLES
from petsim.spec.library import model_in
from petsim.spec.reading import read_text
from petsim.spec.variation import MOST_VALUES, Axis, ensure_few
from petsim.study.aims import read_aim
from petsim.study.design import METHODS, Design, SweptRegime, stored_cells
from petsim.study.store import DamageError, checksum_of_cells

File = tuple[str, str]
"""The name and the text of a file."""


class _Stored(BaseModel):
    """What `Design.as_dict` makes: kinds and bounds of its parts."""

    model_config = ConfigDict(extra="forbid", strict=True)

    petsim: str
    model: File
    regimes: list[tuple[str, File, str | None]] = Field(min_length=1)
    vary: dict[str, Any]
    sample: tuple[str, int] | None
    lives: int = Field(ge=1)
    seed: int
    until: str | None
    days: float | int | None
    aim: str
    keep: bool


_POLICIES = TypeAdapter(list[str | None])


def stored_design(path: Path, about: Mapping[str, Any]) -> Design:
    """Return the design that a sweep's file has.

    Args:
        path: of the file. about: what it says of itself.

    Raises:
        DamageError: it is none that `petsim.sweep` would write.
        ArgumentError: its points were chosen by other versions of packages.
    """
    try:
        design = _design(about)
    except (ValidationError, PetsimError, MisfitError, ValueError) as error:
        first = str(error).partition("\n")[0]
        raise DamageError(f"{path}: is damaged: its design can't be used: {first}") from error
    if design.sample is not None and checksum_of_cells(stored_cells(design)) != about["cells"]:
        raise ArgumentError(
            f"{path}: its points were chosen by other versions of scipy or SALib than those here; "
            "expected the versions that it was begun with"
        )
    return design


def _design(about: Mapping[str, Any]) -> Design:
    # as JSON, in which lists are tuples
    stored = _Stored.model_validate_json(json.dumps(about["design"]))
    policies = _POLICIES.validate_python(about["policies"])
    regimes = tuple(
        SweptRegime(name, file, _policy(pickled, identity))
        for (name, file, identity), pickled in zip(stored.regimes, policies, strict=True)
    )
    span, chunk = Span(stored.until, stored.days), about["chunk"]
    if not isinstance(chunk, int) or chunk < 1:
        raise ValueError(f"chunks of {chunk!r} lives")
    if stored.sample is not None and stored.sample[0] not in (*SAMPLES, *METHODS):
        raise ValueError(f"points chosen by {stored.sample[0]!r}")
    axes = tuple(Axis.read(path, values) for path, values in stored.vary.items())
    ensure_few(axes)
    design = Design(
        model=stored.model,
        regimes=regimes,
        axes=axes,
        sample=stored.sample,
        lives=stored.lives,
        seed=word_of("seed", stored.seed),
        until=span.until,
        days=span.days,
        aim=read_aim(model_in(read_text(stored.model[1], stored.model[0])), stored.aim),
        keep=stored.keep,
    )
    _ensure_lived(design)
    return design


def _policy(pickled: str | None, identity: str | None) -> tuple[str, str] | None:
    """A policy with what it was made from: what is called a plain regime has neither."""
    if (pickled is None) != (identity is None):
        raise ValueError("a policy without its source, or a source without its policy")
    return None if pickled is None or identity is None else (pickled, identity)


def _ensure_lived(design: Design) -> None:
    """Refuse a design of too many cells, or one whose first cell is wrong."""
    if design.number_of_cells > MOST_VALUES:
        raise ValueError(f"{design.number_of_cells} cells")
    job = design.job(next(design.cells()), "reference")
    model = job.read_model()
    job.read_regime(model)
