"""Where a model's file has a value of its forms."""

from __future__ import annotations

from petsim.spec.model import Model


def places_of(model: Model, attribute: str) -> dict[str, list[str]]:
    """Return where the file has a value of forms, such as `stages.juvenile`, and of which forms.

    A form whose value is not that of its stage has one of its own, at `forms.` and its name.
    """
    places: dict[str, list[str]] = {}
    for name, form in model.forms.items():
        stage = model.stages[form.stage]
        is_shared = getattr(form, attribute) == getattr(stage, attribute)
        places.setdefault(f"stages.{form.stage}" if is_shared else f"forms.{name}", []).append(name)
    return places
