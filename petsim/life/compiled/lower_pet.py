"""The fields of the table that the model gives: needs, forms, growth and care actions."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from petsim.life import draws
from petsim.life.compiled.constants import (
    ALL_CAUSES,
    DISCIPLINE,
    IN_FORM,
    IN_LIFE,
    MOST,
    NONE,
    WEIGHT,
)
from petsim.life.compiled.lists import Lists, bounds, by_field, named, or_never
from petsim.life.record import words
from petsim.spec.clocks import Window
from petsim.spec.model import (
    NEGLECT,
    OLD_AGE,
    UNDECIDED,
    UNTREATED,
    CareAction,
    Conditions,
    Form,
    Model,
)
from petsim.spec.quantities import DAY, WEEK
from petsim.spec.regime import Checks, Hand, Hands

NOTHING = "-"
"""The name of the action and of the step that end those lists, so that there always is one."""


@dataclass
class PetLowering:
    """Lowers a model; what of its entries refer to by place is collected on the way."""

    model: Model
    lists: Lists
    turns: list[tuple[int, bool]] = field(default_factory=list)
    doses: list[tuple[int, float]] = field(default_factory=list)
    rules: list[tuple[int, int, int]] = field(default_factory=list)
    conditions: list[tuple[int, int, int, int]] = field(default_factory=list)
    raises: list[tuple[int, int]] = field(default_factory=list)
    wrong: list[tuple[int, float]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.needs = list(self.model.needs)
        self.forms = list(self.model.forms)

    def pet(self) -> dict[str, Any]:
        """Return its needs, and what does not change from form to form."""
        model, deaths = self.model, self.model.deaths
        needs, discipline = model.needs.values(), model.discipline
        return {
            "n_needs": len(self.needs),
            "n_causes": len(model.causes),
            "begins": model.begins.weekday * DAY + model.begins.clock,
            "full": [need.full for need in needs],
            "starts": [need.starts for need in needs],
            "death": [NONE if need.death is None else deaths.index(need.death) for need in needs],
            "untreated": deaths.index(UNTREATED),
            "neglect": deaths.index(NEGLECT),
            "old_age": deaths.index(OLD_AGE),
            "first_death": self._outcome(deaths[0]),
            "undecided": self._outcome(UNDECIDED),
            "fatal_misses": or_never(model.fatal_misses),
            "weight_starts": model.weight.starts,
            "discipline_starts": discipline.starts,
            "discipline_step": discipline.step,
            "lapse_costs": discipline.lapse_costs,
            "n_unfair": len(discipline.unfair_costs),
            "unfair_need": [self.needs.index(need) for need in discipline.unfair_costs],
            "unfair_cost": list(discipline.unfair_costs.values()),
        }

    def growth(self, checks: Checks) -> dict[str, Any]:
        """Return the forms with what their stages say, and under which conditions they grow."""
        forms = [self._form(name, form, checks) for name, form in self.model.forms.items()]
        return {
            "root": self.forms.index(self.model.root),
            "n_forms": len(self.forms),
            **by_field(forms),
            **named(("turn_at", "turn_asleep"), self.turns),
            **named(("dose_number", "dose_chance"), self.doses),
            **named(("rule_form", "first_condition", "n_conditions"), self.rules),
            **named(("compared", "cause", "least", "most"), self.conditions),
        }

    def _form(self, name: str, form: Form, checks: Checks) -> dict[str, Any]:
        first_rule, misbehaviour = len(self.rules), form.misbehaviour
        for rule in form.grows_into:
            self.rules.append((self.forms.index(rule.form), *self._conditions(rule.conditions)))
        return {
            "dormant": form.dormant,
            "decides": self._outcome(name) if form.stage == self.model.outcome_stage else NONE,
            "weight_min": form.weight_min,
            "lasts": self.lists.law(form.lasts),
            "drops": [self.lists.law(form.drops.get(need)) for need in self.needs],
            "grace": [or_never(form.grace.get(need)) for need in self.needs],
            "again_after": [or_never(form.again_after.get(need)) for need in self.needs],
            "fatal_after": [or_never(form.fatal_after.get(need)) for need in self.needs],
            **self._waste(form),
            **self._illness(form),
            **self._sleep(form),
            "misbehaves_every": self.lists.law(misbehaviour.every if misbehaviour else None),
            "misbehaves_for": self.lists.law(misbehaviour.window if misbehaviour else None),
            "first_rule": first_rule,
            "n_rules": len(self.rules) - first_rule,
            # clock times come again after a week
            "every": WEEK if checks.at else or_never(checks.by_stage.get(form.stage, checks.every)),
        }

    def _waste(self, form: Form) -> dict[str, Any]:
        waste = form.waste
        return {
            "waste_every": self.lists.law(waste.every if waste else None),
            "pile_max": waste.pile_max if waste else 0,
            "waste_grace": or_never(waste.grace if waste else None),
            "waste_again": or_never(waste.again_after if waste else None),
        }

    def _illness(self, form: Form) -> dict[str, Any]:
        illness, first = form.illness, len(self.doses)
        heavy = illness.heavy_above if illness else None
        self.doses += illness.doses.items() if illness else ()
        return {
            "can_fall_ill": illness is not None,
            "ill_base": illness.base if illness else 0.0,
            "ill_per_waste": illness.per_waste if illness else 0.0,
            "ill_per_excess": illness.per_excess if illness else 0.0,
            "heavy_above": MOST if heavy is None else heavy,
            "first_dose": first,
            "n_doses": len(self.doses) - first,
            "ill_grace": or_never(illness.grace if illness else None),
            "ill_fatal": or_never(illness.fatal_after if illness else None),
        }

    def _sleep(self, form: Form) -> dict[str, Any]:
        first = len(self.turns)
        self.turns += _turns(form.sleeps)
        return {
            "first_turn": first,
            "n_turns": len(self.turns) - first,
            "lights_grace": or_never(form.lights_grace),
        }

    def _outcome(self, word: str) -> int:
        return words(self.model)["outcome"].index(word)

    def _conditions(self, wanted: Conditions) -> tuple[int, int]:
        """Add the conditions of a rule; return the place of the first, and how many there are."""
        first, causes = len(self.conditions), list(self.model.causes)
        for kind, misses in ((IN_FORM, wanted.misses_in_form), (IN_LIFE, wanted.misses_in_life)):
            for cause, comparison in misses.items():
                number = int(ALL_CAUSES) if cause == "all" else causes.index(cause)
                self.conditions.append((int(kind), number, *bounds(comparison)))
        for kind, compared in ((DISCIPLINE, wanted.discipline), (WEIGHT, wanted.weight)):
            if compared is not None:
                self.conditions.append((int(kind), int(NONE), *bounds(compared)))
        return first, len(self.conditions) - first

    def care(self, hands: Hands) -> dict[str, Any]:
        """Return the actions: what each does, and what the caretaker's hands make of it."""
        care = {**self.model.care, NOTHING: CareAction()}
        actions = [
            self._action(action) | self._hand(hands.of(name)) for name, action in care.items()
        ]
        return (
            by_field(actions)
            | named(("raised_need", "raised_by"), self.raises)
            | named(("wrong", "wrong_chance"), self.wrong)
        )

    def _action(self, action: CareAction) -> dict[str, Any]:
        first_raise = len(self.raises)
        self.raises += [(self.needs.index(need), by) for need, by in action.raises.items()]
        return {
            "first_raise": first_raise,
            "n_raises": len(action.raises),
            "gains": action.weight,
            "cleans": action.cleans,
            "doses": action.doses,
            "lights": NONE if action.lights is None else int(action.lights == "on"),
            "reprimands": action.reprimands,
            "works": action.works,
            "refused_asleep": "asleep" in action.refused_when,
            "refused_misbehaving": "misbehaving" in action.refused_when,
            "refused_full": "full" in action.refused_when,
        }

    def _hand(self, hand: Hand) -> dict[str, Any]:
        first_wrong, actions = len(self.wrong), list(self.model.care)
        self.wrong += [(actions.index(other), chance) for other, chance in hand.into.items()]
        return {
            "takes": hand.takes,
            "presses": hand.presses,
            "slip_step": draws.error_step(hand.slips),
            "first_wrong": first_wrong,
            "n_wrong": len(hand.into),
        }


def _turns(sleeps: Iterable[Window]) -> list[tuple[int, bool]]:
    """Return the seconds of the day at which sleep begins (True) or ends, in order.

    A form that always or never sleeps has one turn, at midnight.
    """
    windows = list(sleeps)
    edges = sorted({edge % DAY for w in windows for edge in (w.start, w.end)} | {0})
    asleep = [any(w.holds(edge, 0) for w in windows) for edge in edges]
    turns = [
        (edge, now)
        for edge, now, before in zip(edges, asleep, [asleep[-1], *asleep], strict=False)
        if now != before
    ]
    return turns or [(0, asleep[0])]
