"""A life's state in the compiled engine, from and to the flat one that both engines have."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from typing import Any

from petsim.life.compiled.constants import NEVER, NONE
from petsim.life.compiled.lower import Lowered, errors_of
from petsim.life.record import columns, words
from petsim.life.state import ALL, NOT_COUNTED, ActUnderWay, State
from petsim.spec.model import UNTREATED, Model

NAMES = {
    "growth": "growth",
    "sleep_edge": "sleep edge",
    "drop": "drop {need}",
    "waste": "waste",
    "illness": "illness",
    "lapse": "lapse",
    "misbehaves": "misbehaves",
    "deadline": "deadline {need}",
    "waste_deadline": "waste deadline",
    "illness_deadline": "illness deadline",
    "lights_deadline": "lights deadline",
    "fatal": "fatal {need}",
    "untreated": UNTREATED,
    "power": "power",
    "spell": "spell",
}
"""The slots of which a state tells when they fall due, with its names for them."""
PLAIN = ("pile", "weight", "discipline", "doses_left")
SWITCHES = ("asleep", "lights", "misbehaving", "ill", "power", "in_spell")


class States:
    """Turns states of the lives of one world from one form into the other."""

    def __init__(self, model: Model, lowered: Lowered) -> None:
        self._table, self._sources = lowered.table[0], lowered.sources
        self._steps = lowered.steps
        self._has_jitter = self._table["lateness"] == NONE
        self._needs, self._forms = list(model.needs), list(model.forms)
        self._causes, self._actions = list(model.causes), list(model.care)
        self._outcomes = words(model)["outcome"]
        self._errors = errors_of(model) if self._table["n_errors"] else ()
        self._columns = {
            column.name: place
            for place, column in enumerate(columns(model))
            if column.name not in NOT_COUNTED
        }
        self._slots = self._places()

    def _places(self) -> dict[str, int]:
        """The place of each slot, by the name that a state has for what falls due."""
        places: dict[str, int] = {}
        for slot, name in NAMES.items():
            first = self._at(slot)
            if "{need}" in name:
                named = (name.format(need=need) for need in self._needs)
                places |= {each: first + number for number, each in enumerate(named)}
            else:
                places[name] = first
        return places

    def read(self, record: Any) -> State:
        """Return the state of a life that was left at a second, from its record.

        record: a state of the kernel, whose row has been added up to that second.
        """
        due, left = (
            {
                name: int(record[of][slot])
                for name, slot in self._slots.items()
                if record[of][slot] != NEVER
            }
            for of in ("due", "left")
        )
        levels = record["level"][: len(self._needs)].tolist()
        in_life, before = self._misses(record)
        fields = {
            "seed": int(record["seed"]),
            "life": int(record["life"]),
            "t": int(record["now"]),
            "form": self._forms[record["form"]],
            "levels": dict(zip(self._needs, levels, strict=True)),
            **{name: int(record[name]) for name in PLAIN},
            **{name: bool(record[name]) for name in SWITCHES},
            "illness_threshold": float(record["threshold"]),
            "illness_risk": float(record["risk"]),
            "illness_rated": int(record["rated_at"] if record["rate"] > 0 else record["now"]),
            "misses_in_form": {cause: n - before[cause] for cause, n in in_life.items()},
            "misses_in_life": in_life,
            "due": due,
            "left": left,
            "first_check": int(record["first"]),
            "answer": _or_none(record["due"][self._at("heard")]),
            "late": self._late(record),
            "last_late": int(record["late_at"]) if self._has_jitter else -1,
            "act": self._act(record),
            "outcome": self._outcomes[record["row"][self._in("outcome")]],
            "counts": {name: int(record["row"][place]) for name, place in self._columns.items()},
            "drawn": _positive(self._sources, record["drawn"], 1),
            "error_units": _positive(self._errors, record["error_left"], 0),
        }
        return State.model_validate(fields)

    def _misses(self, record: Any) -> tuple[dict[str, int], dict[str, int]]:
        """Return the misses in life, and those before the form, by cause and in all."""
        row, first = record["row"], self._in("misses_of")
        in_life = {ALL: int(row[self._in("misses")] + record["misses_brought"])}
        before = {ALL: int(record["misses_before_form"])}
        for number, cause in enumerate(self._causes):
            in_life[cause] = int(row[first + number] + record["brought"][number])
            before[cause] = int(record["misses_before"][number])
        return in_life, before

    def _late(self, record: Any) -> list[int]:
        if not self._has_jitter:
            second = _or_none(record["due"][self._at("late")])
            return [] if second is None else [second]
        late, first = record["late"], int(record["late_first"])
        return [int(late[(first + place) % late.size]) for place in range(record["n_late"])]

    def _act(self, record: Any) -> ActUnderWay | None:
        if not record["busy"]:
            return None
        landing = int(record["landing"])
        return ActUnderWay(
            ends=int(record["due"][self._at("under_way")]),
            lands="" if landing == NONE else self._actions[landing],
            has_slipped=landing not in (NONE, self._table["do"][record["step"]]),
            is_cut=bool(record["cut"]),
            number=int(record["pass_number"]),
            # the opening of a check is before the first step, whichever that is
            step=self._steps[record["step"]] if record["repeats"] else 0,
            times=int(record["repeats"]),
            has_acted=bool(record["acted"]),
        )

    def write(self, state: State, record: Any) -> None:
        """Write a state into a record, from which the kernel then lives on."""
        n = len(self._needs)
        record["now"], record["goes_on"] = state.t, 1
        record["form"] = self._forms.index(state.form)
        record["level"][:n] = [state.levels[need] for need in self._needs]
        for name in (*PLAIN, *SWITCHES):
            record[name] = getattr(state, name)
        record["threshold"], record["risk"] = state.illness_threshold, state.illness_risk
        record["rated_at"] = state.illness_rated
        for since in ("level_since", "ill_since", "asleep_since", "spell_since"):
            record[since] = state.t
        for of, seconds in (("due", state.due), ("left", state.left)):
            record[of] = NEVER
            for name, second in seconds.items():
                record[of][self._slots[name]] = second
        self._write_misses(state, record)
        self._write_caretaker(state, record)
        record["row"][[*self._columns.values()]] = [state.counts[name] for name in self._columns]
        record["row"][self._in("outcome")] = self._outcomes.index(state.outcome)
        record["drawn"][: len(self._sources)] = [state.drawn.get(s, 0) for s in self._sources]
        record["error_left"][: len(self._errors)] = [
            state.error_units.get(error, -1) for error in self._errors
        ]

    def _write_misses(self, state: State, record: Any) -> None:
        in_life, in_form, counts = state.misses_in_life, state.misses_in_form, state.counts
        record["misses_brought"] = in_life[ALL] - counts["misses"]
        record["misses_before_form"] = in_life[ALL] - in_form[ALL]
        for number, cause in enumerate(self._causes):
            record["brought"][number] = in_life[cause] - counts[f"misses.{cause}"]
            record["misses_before"][number] = in_life[cause] - in_form[cause]

    def _write_caretaker(self, state: State, record: Any) -> None:
        record["first"] = state.first_check or 0
        record["late_at"] = max(state.last_late, *state.late, int(NONE))
        record["late_first"], record["n_late"] = 0, len(state.late)
        record["late"][: len(state.late)] = state.late
        record["due"][self._at("late")] = min(state.late, default=NEVER)
        if state.answer is not None:
            record["due"][self._at("heard")] = state.answer
        act = state.act
        record["busy"] = act is not None
        record["landing"] = NONE
        if act is None:
            return
        record["due"][self._at("under_way")] = act.ends
        record["landing"] = self._actions.index(act.lands) if act.lands else NONE
        record["cut"], record["pass_number"] = act.is_cut, act.number
        record["step"] = bisect_left(self._steps, act.step)
        record["repeats"], record["acted"] = act.times, act.has_acted

    def _at(self, slot: str) -> int:
        return int(self._table[f"at_{slot}"])

    def _in(self, column: str) -> int:
        return int(self._table[f"in_{column}"])


def _or_none(second: Any) -> int | None:
    return None if second == NEVER else int(second)


def _positive(names: Sequence[str], numbers: Any, least: int) -> dict[str, int]:
    """Return the numbers that are at least as large, by name."""
    pairs = zip(names, numbers.tolist(), strict=False)
    return {name: number for name, number in pairs if number >= least}
