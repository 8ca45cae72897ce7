"""A pet taken over in the middle of its life: its state at second 0, as one life has it.

A pet file may say of a number or a time only in which range it lies; each life draws its own. Here
the ranges are drawn, what is not said is filled in, and how long something has lasted becomes how
long it still takes. Both engines start from that.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from petsim.spec.model import Form, Illness, Model
from petsim.spec.parts import OF_ALL
from petsim.spec.pet import Pet, seconds_asleep, waits
from petsim.spec.ranges import Range

_NOW = "now"
"""The first word of the sources that ranges are drawn from."""
Said = Mapping[tuple[str, str], int]
"""The numbers and times that a pet file says, drawn: by field and the key in it, if it has keys."""


@dataclass(frozen=True)
class PetNow:
    """The state of a pet at second 0 of a life, which takes it over there.

    Second 0 is at the clock time and weekday `at` of its file. All times are whole seconds, by the
    clock or in awake time, of which none passes while it sleeps; what is `..._due` falls due when
    that much of it has passed after second 0, and is at least 1, or None where it never does. All
    mappings by need have every need of the model, in its order; those by cause every cause.

    It is not misbehaving, and has used up nothing of the risk of its next illness. What is the same
    in all lives is not here: its clock and its form, which its file says, and whether that form is
    its outcome at once, which `growth.has_outcome` says.

    Args:
        form_age: the clock time that it has been in its form. How long it stays is what is left of
            a wait of that age under the form's `lasts`, for draw 0 of `growth`.
        levels: of each need.
        misses_due: of each need, in awake time, the next miss for being at 0. None where it is not
            at 0, and in a dormant form, at whose end a need at 0 reaches 0 anew.
        deaths_due: of each need likewise, in awake time, the death it ends in.
        pile: of waste.
        waste_miss_due: in awake time, the next miss for the pile.
        weight: not below the form's `weight min`.
        discipline: 0 to 100.
        ill: whether it is ill. Ill or not, draw 0 of `illness` is the first threshold; a cure draws
            the next, so that of a pet that is ill the first is never used.
        doses: the doses that still cure it; 0 if it is well, and if they are to be drawn as for a
            new illness of this form (draw 0 of `doses`; one dose where it names no illness).
        illness_miss_due: by the clock, the miss for the illness.
        illness_death_due: by the clock, the death of it.
        asleep: whether it sleeps.
        lights_on: whether the lights are on, as they are whenever it is awake.
        lights_miss_due: by the clock, the second in which lights that are on are a miss, in this
            sleep, whether they are on now or not.
        drop_ages: of each need, the awake time that the wait for its next drop has lasted. What is
            left of it is drawn for draw 0 of its source; an age of 0 is a wait drawn anew. It is
            0, and means nothing, where the need does not drop in this form.
        waste_age: likewise of the wait for the next waste.
        misbehaviour_age: likewise of the wait for the next misbehaviour.
        misses_in_form: by cause, care misses since it took its form.
        all_misses_in_form: of all causes, those without a cause among them.
        misses_in_life: by cause, care misses since its birth.
        all_misses_in_life: of all causes likewise; below the model's `fatal misses`.
    """

    form_age: int
    levels: Mapping[str, int]
    misses_due: Mapping[str, int | None]
    deaths_due: Mapping[str, int | None]
    pile: int
    waste_miss_due: int | None
    weight: int
    discipline: int
    ill: bool
    doses: int
    illness_miss_due: int | None
    illness_death_due: int | None
    asleep: bool
    lights_on: bool
    lights_miss_due: int | None
    drop_ages: Mapping[str, int]
    waste_age: int
    misbehaviour_age: int
    misses_in_form: Mapping[str, int]
    all_misses_in_form: int
    misses_in_life: Mapping[str, int]
    all_misses_in_life: int

    @property
    def wait_ages(self) -> dict[str, int]:
        """The awake time that each wait has lasted, by its key under `since last`."""
        return {**self.drop_ages, "waste": self.waste_age, "misbehaviour": self.misbehaviour_age}


def pet_now(pet: Pet, model: Model, draw: Callable[[str], float]) -> PetNow:
    """Return the state in which a life takes over a pet.

    Args:
        pet: as its file says it, which was checked against the model.
        model: the pet's.
        draw: returns draw 0 of a source of the life, strictly between 0 and 1, for its name: `now`,
            the field, and the key in it if it has keys, such as `now levels hunger`. It is asked
            once for each range, in the order of the fields, and for nothing that is known.
    """
    form, said = model.forms[pet.form], _drawn(pet, draw)
    age, ages = said["for", ""], _ages(model, form, said)
    levels = {need: said["levels", need] for need in model.needs}
    empty = {need: said.get(("empty for", need), 0) for need in levels if levels[need] == 0}
    empty_for = {} if form.dormant else empty
    pile, asleep_for = said.get(("waste", ""), 0), _asleep_for(pet, form, age)
    illness = (form.illness if pet.ill else None, said.get(("ill for", ""), 0))
    in_form, all_in_form = _misses_in_form(model, said)
    in_life, all_in_life = _misses_in_life(said, in_form, all_in_form)
    return PetNow(
        form_age=age,
        levels=levels,
        misses_due={need: _need_miss(form, need, empty_for.get(need)) for need in levels},
        deaths_due={
            need: _left(form.fatal_after.get(need), empty_for.get(need)) for need in levels
        },
        pile=pile,
        waste_miss_due=_waste_miss(form, said.get(("waste for", ""), 0)) if pile else None,
        weight=max(form.weight_min, said.get(("weight", ""), model.weight.starts)),
        discipline=said.get(("discipline", ""), model.discipline.starts),
        ill=bool(pet.ill),
        doses=said.get(("doses", ""), 0),
        illness_miss_due=_illness_miss(*illness),
        illness_death_due=_illness_death(*illness),
        asleep=asleep_for is not None,
        lights_on=pet.lights != "off",
        lights_miss_due=next_miss(form.lights_grace, None, asleep_for),
        drop_ages={need: ages.get(need, 0) for need in levels},
        waste_age=ages.get("waste", 0),
        misbehaviour_age=ages.get("misbehaviour", 0),
        misses_in_form=in_form,
        all_misses_in_form=all_in_form,
        misses_in_life=in_life,
        all_misses_in_life=all_in_life,
    )


def next_miss(grace: int | None, again_after: int | None, lasted: int | None) -> int | None:
    """Return the seconds to the next miss for something that has lasted for a while.

    Misses fall `grace`, and then `grace` and a multiple of `again_after`, after its beginning. One
    that would fall now, or before, has fallen already.

    Args:
        grace: None if there is no such miss.
        again_after: None if there is one at most.
        lasted: the seconds for which it has lasted, 0 or more; None if there is no such thing now.

    Returns:
        At least 1, or None if none is to come.
    """
    if grace is None or lasted is None:
        return None
    if lasted < grace:
        return grace - lasted
    if again_after is None:
        return None
    return again_after - (lasted - grace) % again_after


def _left(fatal_after: int | None, lasted: int | None) -> int | None:
    """Return the seconds to a death; that none was due before now, the checks of files ensure."""
    return None if fatal_after is None or lasted is None else fatal_after - lasted


def _drawn(pet: Pet, draw: Callable[[str], float]) -> Said:
    """Return what a pet file says, each range drawn.

    Misses without a cause are under no key, though their field may have keys.
    """
    return {
        (field, key): ends.low if ends.is_known else ends.draw(draw(_source(field, key)))
        for field, key, ends in _ranges(pet)
    }


def _source(field: str, key: str) -> str:
    return " ".join(filter(None, (_NOW, field, key)))


def of_a_range(source: str) -> bool:
    """Whether a source of chance is that of a range of a pet file."""
    return source.startswith(f"{_NOW} ")


def _ranges(pet: Pet) -> Iterator[tuple[str, str, Range]]:
    """Yield each field that a pet file says, and each key in one, with the range of its value."""
    for attribute, field in type(pet).model_fields.items():
        said = getattr(pet, attribute)
        by_key = said if isinstance(said, dict) else {"": said}
        for key, ends in by_key.items():
            if isinstance(ends, Range):
                yield str(field.alias), "" if key == OF_ALL else key, ends


def _asleep_for(pet: Pet, form: Form, age: int) -> int | None:
    """Return for how long it has slept in this form; None if it is awake."""
    seconds = seconds_asleep(form.sleeps, pet.at.clock)
    return None if seconds is None else min(seconds, age)


def _need_miss(form: Form, need: str, lasted: int | None) -> int | None:
    return next_miss(form.grace.get(need), form.again_after.get(need), lasted)


def _waste_miss(form: Form, lasted: int) -> int | None:
    if form.waste is None:
        return None
    return next_miss(form.waste.grace, form.waste.again_after, lasted)


def _illness_miss(rules: Illness | None, lasted: int) -> int | None:
    return None if rules is None else next_miss(rules.grace, None, lasted)


def _illness_death(rules: Illness | None, lasted: int) -> int | None:
    return None if rules is None else _left(rules.fatal_after, lasted)


def _ages(model: Model, form: Form, said: Said) -> dict[str, int]:
    """Return how old each wait of the form is: not older than the form, as it drew them anew."""
    age = said["for", ""]
    return {key: min(age, said.get(("since last", key), 0)) for key in waits(model, form)}


def _misses_in_form(model: Model, said: Said) -> tuple[dict[str, int], int]:
    """Return the misses of each cause, and of all, those without a cause among them."""
    by_cause = {cause: said.get(("misses in form", cause), 0) for cause in model.causes}
    return by_cause, sum(by_cause.values()) + said.get(("misses in form", ""), 0)


def _misses_in_life(
    said: Said, in_form: Mapping[str, int], all_in_form: int
) -> tuple[dict[str, int], int]:
    """Return the misses of each cause, and of all; none of them is below those in form."""
    by_cause = {
        cause: max(number, said.get(("misses in life", cause), 0))
        for cause, number in in_form.items()
    }
    of_all = said.get(("misses in life", ""), sum(by_cause.values()))
    return by_cause, max(of_all, all_in_form)
