"""What comes of a care action when it lands."""

from __future__ import annotations

from petsim.life.kinds import EventKind
from petsim.life.luck import Luck
from petsim.life.reference.pet import Pet
from petsim.life.reference.tally import Tally
from petsim.spec.model import CareAction, Model


class Care:
    """The care actions of a model, for the pet of one life."""

    def __init__(self, model: Model, pet: Pet, luck: Luck, tally: Tally) -> None:
        self._model = model
        self._pet = pet
        self._luck = luck
        self._tally = tally

    def land(self, name: str) -> None:
        """An action reaches the pet: it is refused, is lost, or has its effects."""
        pet, tally, action = self._pet, self._tally, self._model.care[name]
        was_ill = pet.ill
        kind = self._kind(name, action)
        tally.count(f"done.{name}")
        if kind in (EventKind.REFUSED, EventKind.WASTED):
            tally.count(f"wasted.{name}")
        elif kind is EventKind.LOST:
            tally.count(f"lost.{name}")
        tally.note(pet.clock.t, kind, name)
        if was_ill and not pet.ill:
            tally.note(pet.clock.t, EventKind.WELL)

    def _kind(self, name: str, action: CareAction) -> EventKind:
        """Work an action; return what the log says of it."""
        if self._is_refused(action):
            return EventKind.REFUSED
        if self._luck[f"works {name}"].next() >= action.works:
            return EventKind.LOST
        changed = self._has_effects(action)
        if action.reprimands and not self._pet.reprimand():
            return EventKind.UNFAIR
        return EventKind.DONE if changed or action.reprimands else EventKind.WASTED

    def _is_refused(self, action: CareAction) -> bool:
        pet, when = self._pet, action.refused_when
        return (
            pet.form.dormant
            or (pet.asleep and "asleep" in when)
            or (pet.misbehaving and "misbehaving" in when)
            or ("full" in when and self._is_full_for(action))
        )

    def _is_full_for(self, action: CareAction) -> bool:
        levels, needs = self._pet.levels, self._model.needs
        return bool(action.raises) and all(
            levels[need] == needs[need].full for need in action.raises
        )

    def _has_effects(self, action: CareAction) -> bool:
        """Work all effects but the reprimand, in order; return whether anything changed."""
        pet, changed = self._pet, False
        for need, by in action.raises.items():
            changed |= pet.raise_need(need, by)
        if action.weight:
            changed |= pet.gain(action.weight)
        if action.cleans:
            changed |= pet.clean()
        if action.doses:
            changed |= pet.treat()
        if action.lights is not None:
            changed |= pet.turn_lights(action.lights)
        return changed
