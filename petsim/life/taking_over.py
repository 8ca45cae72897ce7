"""The state at second 0 of a life that takes over a pet as it is now.

The numbers that ranges of the pet's file are drawn by are not among its draws, as they are used up.
What the caretaker begins with is not in it: whoever lives on from second 0 draws the first check,
the power and the light, as at birth.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from petsim.life import draws
from petsim.life.luck import Luck
from petsim.life.pet_now import PetNow, of_a_range, pet_now
from petsim.life.record import blank_row
from petsim.life.state import ALL, NOT_COUNTED, State
from petsim.spec.laws import Distribution, unit_exponential, whole_seconds
from petsim.spec.model import UNDECIDED, UNTREATED, Form, Model
from petsim.spec.pet import waits
from petsim.spec.taken_over import TakenOver


class Starts:
    """The states at second 0 in which the lives of a model start, if it takes a pet over.

    Args:
        model: whose lives they are.
    """

    def __init__(self, model: Model) -> None:
        self._taking_over = TakingOver(model) if isinstance(model, TakenOver) else None

    @property
    def differ(self) -> bool:
        """Whether each life starts in a state of its own."""
        return self._taking_over is not None

    def of(self, seed: int, life: int) -> State | None:
        """Return the state in which a life starts; None if it begins with birth."""
        return None if self._taking_over is None else self._taking_over.state(seed, life)


class TakingOver:
    """Makes the states in which lives take over a pet.

    Args:
        model: the pet with its model.
    """

    def __init__(self, model: TakenOver) -> None:
        self._model, self._form = model, model.pet.form
        self._outcome = self._form if self._form in model.outcome_forms else UNDECIDED
        row = blank_row(model)
        self._blank = {name: n for name, n in row.items() if name not in NOT_COUNTED}

    def state(self, seed: int, life: int) -> State:
        """Return the state in which a life takes the pet over, before anything of second 0.

        Args:
            seed: of the batch.
            life: the number of the life.
        """
        luck, form = Luck(seed, life), self._model.forms[self._form]
        now = pet_now(self._model.pet, self._model, lambda source: luck[source].next())
        awake = dict(_due_awake(now, form, self._model, luck))
        # what is made here is right; to check it again would take longer than to make it
        return State.model_construct(
            seed=seed,
            life=life,
            t=0,
            form=self._form,
            levels=dict(now.levels),
            pile=now.pile,
            weight=now.weight,
            discipline=now.discipline,
            asleep=now.asleep,
            lights=now.lights_on,
            misbehaving=False,
            ill=now.ill,
            doses_left=_doses(now, form, luck) if now.ill else 0,
            illness_threshold=unit_exponential(luck["illness"].next()),
            illness_risk=0.0,
            illness_rated=0,
            misses_in_form={ALL: now.all_misses_in_form, **now.misses_in_form},
            misses_in_life={ALL: now.all_misses_in_life, **now.misses_in_life},
            due=dict(_due_by_the_clock(now, form, luck)) | ({} if now.asleep else awake),
            left=awake if now.asleep else {},
            first_check=None,
            answer=None,
            late=[],
            last_late=-1,
            power=True,
            in_spell=False,
            act=None,
            outcome=self._outcome,
            counts=self._counts(now),
            drawn={source: n for source, n in luck.drawn().items() if not of_a_range(source)},
            error_units={},
        )

    def _counts(self, now: PetNow) -> dict[str, int]:
        """Return the counts of a life in which nothing has happened but that it took its form."""
        return self._blank | {
            f"entered_s.{self._form}": 0,
            f"weight_at.{self._form}": now.weight,
            f"discipline_at.{self._form}": now.discipline,
        }


def _due_by_the_clock(now: PetNow, form: Form, luck: Luck) -> Iterator[tuple[str, int]]:
    """Yield what falls due whether the pet is awake or not, and when."""
    yield "growth", _rest(form.lasts, now.form_age, luck, "growth")
    deadlines = {
        "illness deadline": now.illness_miss_due,
        UNTREATED: now.illness_death_due,
        "lights deadline": now.lights_miss_due,
    }
    yield from _known(deadlines)


def _due_awake(now: PetNow, form: Form, model: TakenOver, luck: Luck) -> Iterator[tuple[str, int]]:
    """Yield what falls due in awake time, and in how much of it."""
    ages = now.wait_ages
    for key, law in waits(model, form).items():
        name, source = wait_names(key, model)
        yield name, _rest(law, ages[key], luck, source)
    yield from _known({f"deadline {need}": due for need, due in now.misses_due.items()})
    yield from _known({f"fatal {need}": due for need, due in now.deaths_due.items()})
    yield from _known({"waste deadline": now.waste_miss_due})


def wait_names(key: str, model: Model) -> tuple[str, str]:
    """Return what a state and the sources of chance call a wait, by its key under `since last`."""
    if key in model.needs:
        return f"drop {key}", f"drops {key}"
    return {"misbehaviour": "misbehaves"}.get(key, key), key


def _known(due: Mapping[str, int | None]) -> Iterator[tuple[str, int]]:
    return ((name, after) for name, after in due.items() if after is not None)


def _rest(law: Distribution, age: int, luck: Luck, source: str) -> int:
    """Return the whole seconds that are left of a wait that has lasted for an age."""
    return whole_seconds(law.residual(luck[source].next(), age))


def _doses(now: PetNow, form: Form, luck: Luck) -> int:
    """Return the doses that cure a pet that is ill."""
    if now.doses:
        return now.doses
    doses = {1: 1.0} if form.illness is None else form.illness.doses
    numbers, chances = zip(*doses.items(), strict=True)
    return int(numbers[draws.choose(chances, luck["doses"].next())])
