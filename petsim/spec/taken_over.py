"""A model whose lives take over a pet as it is now, wherever else a model goes."""

from __future__ import annotations

from typing import Any

from pydantic import PrivateAttr, SerializationInfo, model_serializer

from petsim.spec.growth import has_outcome
from petsim.spec.model import Model
from petsim.spec.pet import Pet


class TakenOver(Model):
    """A model whose lives do not begin with birth, but with a pet as it is now.

    It is the model of the pet in all but this: its lives begin at the pet's clock time and weekday.
    As data it is the pet, with its model inside.
    """

    pet: Pet
    _model: Model = PrivateAttr()

    @classmethod
    def of(cls, pet: Pet, model: Model) -> TakenOver:
        """Return the model that takes over a pet, which was checked against its own model."""
        fields = {name: getattr(model, name) for name in Model.model_fields}
        taken_over = cls.model_construct(**fields | {"begins": pet.at}, pet=pet)
        taken_over._model = model
        taken_over._source = pet._source
        return taken_over

    @property
    def own_model(self) -> Model:
        """The model of the pet, whose lives begin with birth."""
        return self._model

    def misses_brought(self, form: str) -> int | None:
        """Return the care misses in a form that the pet has had before it is taken over.

        None if its file says only in which range they lie.
        """
        if form != self.pet.form:
            return 0
        misses = self.pet.misses_in_form.values()
        return sum(each.low for each in misses) if all(each.is_known for each in misses) else None

    @property
    def outcome_forms(self) -> list[str]:
        """The forms of the outcome stage, and that of a pet which can reach none of them."""
        forms, form = super().outcome_forms, self.pet.form
        is_beyond = form not in forms and has_outcome(self._model, form)
        return [*forms, form] if is_beyond else forms

    @property
    def id(self) -> str:
        """The name of the pet's file without its ending; without a file, the pet's name."""
        return self.pet.id

    @model_serializer(mode="plain")
    def _write_pet(self, info: SerializationInfo) -> dict[str, Any]:
        pet, model = (
            file.model_dump(by_alias=True, context=info.context) for file in (self.pet, self._model)
        )
        return {**pet, "model": model}

    def __repr__(self) -> str:
        return f"{repr(self.pet)[:-1]}, aim {self.aim}>"
