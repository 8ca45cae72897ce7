"""Where a model's file has a value of its forms."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from petsim.spec.model import Model, Stage


def value_at(stage: Stage, name: str) -> Any:
    """Return a value of a stage or form by its name, None if it has none.

    The name is such as `waste.pile_max` or `drops.mood`. A form has the values of its stage with
    its own laid over them.
    """
    value: Any = stage
    for part in name.split("."):
        value = value.get(part) if isinstance(value, Mapping) else getattr(value, part, None)
    return value


def places_of(
    model: Model, name: str, among: Collection[str] | None = None
) -> dict[str, list[str]]:
    """Return where the file has a value of forms, such as `stages.juvenile`, and of which forms.

    A form whose value is not that of its stage has one of its own, at `forms.` and its name. Forms
    without it are left out, and all but those among some, if these are given.
    """
    places: dict[str, list[str]] = {}
    for form, part in model.forms.items():
        value = value_at(part, name)
        is_shared = value == value_at(model.stages[part.stage], name)
        if value is not None and (among is None or form in among):
            place = f"stages.{part.stage}" if is_shared else f"forms.{form}"
            places.setdefault(place, []).append(form)
    return places
