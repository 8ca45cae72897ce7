"""A model and a regime as flat tables of numbers, for the compiled engine.

`lower` writes all that a life depends on into one numpy record: every list of the files becomes a
column of it, every name a place in a list, every "never" the number NEVER. The columns have more
room than most files need, so that one compiled kernel serves them all; files that need more get
larger tables, and the kernel is compiled for those once.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from petsim.life import draws
from petsim.life.record import columns, words
from petsim.life.streams import source_id
from petsim.spec.laws import Distribution
from petsim.spec.model import (
    NEGLECT,
    OLD_AGE,
    SIGNALS,
    UNDECIDED,
    UNTREATED,
    CareAction,
    Conditions,
    Form,
    Model,
)
from petsim.spec.quantities import DAY, Comparison, Window
from petsim.spec.regime import Eyes, Regime, Step, When

NEVER: Any = np.int64(2**62)
"""A second that does not come: later than any that does."""
NONE: Any = np.int64(-1)
"""No such law, window, need or action."""
LEAST: Any = np.int64(-(2**62))
MOST: Any = np.int64(2**62)
"""The bounds of a comparison that every number satisfies."""

THRESHOLD = "threshold"
LAWS = ("fixed", "uniform", "triangular", "exponential", "weibull", "lognormal", THRESHOLD)
"""What a uniform can become: durations of these distributions, and the thresholds of errors."""
IN_FORM, IN_LIFE, DISCIPLINE, WEIGHT = range(4)
"""What a condition of growth compares."""
ALL_CAUSES = -1
SIGHT = (*SIGNALS, "weight")
"""What a condition of a step can look at, in this order; levels follow, then clock windows."""

SWITCHES = SIGNALS[1:]
"""The signals that are on or off, in the order of their bits in the columns of `steps_at`."""

SOURCES = (
    "illness",
    "doses",
    "waste",
    "misbehaviour",
    "misbehaviour window",
    "growth",
    "first check",
    "jitter",
    "up times",
    "down times",
    "hears",
    "reaction",
)
"""Sources of chance that every life has; those of needs, signals and actions follow them."""

LOG_ROOM = 4096
"""Entries of the event log that a state has room for; a longer log is fetched in parts."""

_ROOM, _INNER_ROOM, _FACTOR = 64, 4, 4
"""Room of a column's outer and inner dimension at least, and the factor by which they grow."""
_LARGER_ROOM = {"of_form": 16, "row": 512, "lets": 64, "steps_at": 16}
"""Room of what is mostly longer than that."""
MOST_STEPS: Any = np.int64(62)
"""A routine of more steps has none of them seen at once."""
MOST_SEEN: Any = np.int64(63)
"""From this number on, all of something seen are alike to a routine seen at once."""
ACTS_ROOM = 32
"""Actions of a check that the next ones can be found to be like."""
_NOTHING = ""
"""Name of the action and of the step that end those columns, so that there always is one."""
_REAL = frozenset(
    (
        *("law_a", "law_b", "law_c", "dose_chance", "works", "hears"),
        *("ill_base", "ill_per_waste", "ill_per_excess"),
    )
)
"""Columns of doubles; all others but the next are of 64-bit integers."""
_PLACES = frozenset(
    ("do", "test_of", "test_overlooks", "test_imagines", "raised_need", "n_tests", "n_raises")
)
_OF_PLACES = ("in_", "of_", "first_")
"""Columns of places in lists, and what the names of others begin with: they are used all the time,
and unsigned, so that none can count from the end."""


class Slots(NamedTuple):
    """Places of what can fall due, in the order in which those of one second are handled.

    Of drop, deadline and fatal each need has one, from that place on.
    """

    growth: int
    sleep_edge: int
    drop: int
    waste: int
    illness: int
    lapse: int
    misbehaves: int
    deadline: int
    waste_deadline: int
    illness_deadline: int
    lights_deadline: int
    fatal: int
    untreated: int
    neglect: int
    old_age: int
    power: int
    under_way: int
    heard: int
    late: int
    grid: int

    @classmethod
    def of(cls, needs: int) -> Slots:
        """The places for so many needs."""
        places, place = [], 0
        for name in cls._fields:
            places.append(place)
            place += needs if name in ("drop", "deadline", "fatal") else 1
        return cls(*places)


@dataclass(frozen=True)
class Lowered:
    """A model and a regime as a table, and what its numbers stand for.

    table: a record array of one record. state: the type of a life's state, which has the same
    rooms. sources: of chance, in order.
    """

    table: NDArray[Any]
    state: np.dtype[Any]
    sources: tuple[str, ...]


def lower(model: Model, regime: Regime, *, until_outcome: bool, horizon: int | None) -> Lowered:
    """Lower a model and a regime that go together, and how long a life is followed."""
    lowering = _Lowering(model, regime)
    table = lowering.pet() | lowering.growth() | lowering.care() | lowering.caretaker()
    table |= lowering.lists() | lowering.row()
    table |= {"until_outcome": until_outcome, "horizon": _or_never(horizon)}
    return Lowered(_record(table), _state_type(lowering), lowering.sources)


@dataclass
class _Lowering:
    """What entries of columns refer to by its place: laws, windows, rules and the like."""

    model: Model
    regime: Regime
    laws: list[Distribution] = field(default_factory=list)
    windows: list[Window] = field(default_factory=list)
    turns: list[tuple[int, bool]] = field(default_factory=list)
    doses: list[tuple[int, float]] = field(default_factory=list)
    rules: list[tuple[int, int, int]] = field(default_factory=list)
    conditions: list[tuple[int, int, int, int]] = field(default_factory=list)
    raises: list[tuple[int, int]] = field(default_factory=list)
    tests: list[tuple[int, int, int]] = field(default_factory=list)
    clocks: list[Window] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.needs = list(self.model.needs)
        self.forms = list(self.model.forms)
        self.actions = list(self.model.care)
        self.errors = (
            *(f"overlooks {signal}" for signal in SIGNALS),
            *(f"imagines {signal}" for signal in SIGNALS),
            *(f"misreads {need}" for need in self.needs),
            *(f"slips {action}" for action in self.actions),
        )
        self.sources = (
            *SOURCES,
            *(f"drops {need}" for need in self.needs),
            *(f"misread side {need}" for need in self.needs),
            *(f"works {action}" for action in self.actions),
            *self.errors,
        )

    def pet(self) -> dict[str, Any]:
        """Its needs, and what does not change from form to form."""
        model, deaths, slots = self.model, self.model.deaths, Slots.of(len(self.needs))
        needs, discipline = model.needs.values(), model.discipline
        return {
            **{f"at_{name}": place for name, place in slots._asdict().items()},
            "n_slots": slots.grid + 1,
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
            "fatal_misses": _or_never(model.fatal_misses),
            "weight_starts": model.weight.starts,
            "discipline_starts": discipline.starts,
            "discipline_step": discipline.step,
            "lapse_costs": discipline.lapse_costs,
            "n_unfair": len(discipline.unfair_costs),
            "unfair_need": [self.needs.index(need) for need in discipline.unfair_costs],
            "unfair_cost": list(discipline.unfair_costs.values()),
        }

    def growth(self) -> dict[str, Any]:
        """The forms, with what their stages say of them."""
        found = _columns([self._form(name, form) for name, form in self.model.forms.items()])
        return {"root": self.forms.index(self.model.root), "n_forms": len(self.forms), **found}

    def _form(self, name: str, form: Form) -> dict[str, Any]:
        waste, illness, misbehaviour = form.waste, form.illness, form.misbehaviour
        checks = self.regime.checks
        first_rule, first_turn, first_dose = len(self.rules), len(self.turns), len(self.doses)
        for rule in form.grows_into:
            self.rules.append((self.forms.index(rule.form), *self._conditions(rule.conditions)))
        self.turns += _turns(form.sleeps)
        self.doses += illness.doses.items() if illness else ()
        heavy = illness.heavy_above if illness else None
        return {
            "dormant": form.dormant,
            "decides": self._outcome(name) if form.stage == self.model.outcome_stage else NONE,
            "weight_min": form.weight_min,
            "lasts": self._law(form.lasts),
            "drops": [self._law(form.drops.get(need)) for need in self.needs],
            "grace": [_or_never(form.grace.get(need)) for need in self.needs],
            "again_after": [_or_never(form.again_after.get(need)) for need in self.needs],
            "fatal_after": [_or_never(form.fatal_after.get(need)) for need in self.needs],
            "waste_every": self._law(waste.every if waste else None),
            "pile_max": waste.pile_max if waste else 0,
            "waste_grace": _or_never(waste.grace if waste else None),
            "waste_again": _or_never(waste.again_after if waste else None),
            "can_fall_ill": illness is not None,
            "ill_base": illness.base if illness else 0.0,
            "ill_per_waste": illness.per_waste if illness else 0.0,
            "ill_per_excess": illness.per_excess if illness else 0.0,
            "heavy_above": MOST if heavy is None else heavy,
            "first_dose": first_dose,
            "n_doses": len(self.doses) - first_dose,
            "ill_grace": _or_never(illness.grace if illness else None),
            "ill_fatal": _or_never(illness.fatal_after if illness else None),
            "first_turn": first_turn,
            "n_turns": len(self.turns) - first_turn,
            "lights_grace": _or_never(form.lights_grace),
            "misbehaves_every": self._law(misbehaviour.every if misbehaviour else None),
            "misbehaves_for": self._law(misbehaviour.window if misbehaviour else None),
            "first_rule": first_rule,
            "n_rules": len(self.rules) - first_rule,
            "every": _or_never(checks.by_stage.get(form.stage, checks.every)),
        }

    def _outcome(self, word: str) -> int:
        return words(self.model)["outcome"].index(word)

    def _conditions(self, wanted: Conditions) -> tuple[int, int]:
        """The place of the first of a rule's conditions, and how many there are."""
        first, causes = len(self.conditions), list(self.model.causes)
        for kind, misses in ((IN_FORM, wanted.misses_in_form), (IN_LIFE, wanted.misses_in_life)):
            for cause, comparison in misses.items():
                place = ALL_CAUSES if cause == "all" else causes.index(cause)
                self.conditions.append((kind, place, *_bounds(comparison)))
        for kind, compared in ((DISCIPLINE, wanted.discipline), (WEIGHT, wanted.weight)):
            if compared is not None:
                self.conditions.append((kind, NONE, *_bounds(compared)))
        return first, len(self.conditions) - first

    def care(self) -> dict[str, Any]:
        """The actions: what each does, and what the caretaker's hands make of it."""
        care = {**self.model.care, _NOTHING: CareAction()}
        found = [self._action(name, action) for name, action in care.items()]
        return _columns(found)

    def _action(self, name: str, action: CareAction) -> dict[str, Any]:
        hand, first_raise = self.regime.hands.of(name), len(self.raises)
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
            "takes": hand.takes,
            "presses": hand.presses,
            "slip_step": draws.error_step(hand.slips),
        }

    def caretaker(self) -> dict[str, Any]:
        """When checks come, what is done in one, how the eyes err and the power fails."""
        regime, checks, eyes = self.regime, self.regime.checks, self.regime.eyes
        listens, outages, opening = regime.listens, regime.outages, regime.hands.opening
        steps = _columns([self._step(step) for step in (*regime.routine, Step(do=_NOTHING))])
        return {
            "first": NONE if checks.first == "random" else checks.first,
            "default_every": _or_never(checks.every),
            "jitter": NONE if checks.jitter is None else checks.jitter,
            "first_check_window": self._all(window.during for window in checks.windows),
            "n_check_windows": len(checks.windows),
            "window_every": [_or_never(window.every) for window in checks.windows],
            "listens": listens is not None,
            "hears": listens.hears if listens else 0.0,
            "reacts_in": self._law(listens.reacts_in if listens else None),
            "up": self._law(outages.up if outages else None),
            "down": self._law(outages.down if outages else None),
            "opening_takes": opening.takes,
            "opening_presses": opening.presses,
            "first_quiet": self._all(regime.quiet_hours),
            "n_quiet": len(regime.quiet_hours),
            "first_eyes_window": self._all(window.during for window in eyes.windows),
            "n_eyes_windows": len(eyes.windows),
            "error_step": self._error_steps(eyes),
            **steps,
            "first_clock": self._all(self.clocks),
            "n_clocks": len(self.clocks),
            "passes": regime.passes,
            "n_steps": len(regime.routine),
            **self._at_once(steps),
            "looks_at_weight": any(step.when and step.when.weight for step in regime.routine),
        }

    def _step(self, step: Step) -> dict[str, Any]:
        when, first_test = step.when or When.model_construct(), len(self.tests)
        self.tests += self._tests(when)
        return {
            "do": [*self.actions, _NOTHING].index(step.do),
            "times": step.repeat,
            "has_when": step.when is not None,
            "looks_for_calls": when.calling is not None,
            "first_test": first_test,
            "n_tests": len(self.tests) - first_test,
            "of_form": [
                (when.stage is None or when.stage.holds(form.stage))
                and (when.form is None or when.form.holds(name))
                for name, form in self.model.forms.items()
            ],
        }

    def _at_once(self, steps: dict[str, list[Any]]) -> dict[str, Any]:
        """The conditions of all steps at once, as a bit for each, and one for the routine's end.

        Each thing that is seen lets some steps through; what all let through is done. Eyes that err
        look step by step instead, as they do in long routines and for large numbers.
        """
        routine = self.regime.routine
        large = any(MOST_SEEN <= bound < MOST for test in self.tests for bound in test[1:])
        at_once = not (self._eyes_err() or large or len(routine) > MOST_STEPS)
        n = len(routine) if at_once else 0
        places = [SIGHT.index("waste"), SIGHT.index("weight"), *self._places_of_levels()]
        places += map(self._place_of_clock, range(len(self.clocks)))
        lets = np.full((len(places), MOST_SEEN + 1), -1)
        numbers, ways = np.arange(MOST_SEEN + 1), np.arange(2 ** len(SWITCHES))
        steps_at = np.full((len(self.forms), len(ways)), 2 ** (n + 1) - 1)
        for step in range(n):
            bit, first = 1 << step, steps["first_test"][step]
            steps_at[np.logical_not(steps["of_form"][step])] &= ~bit
            for place, least, most in self.tests[first : first + steps["n_tests"][step]]:
                if place in places:
                    lets[places.index(place), (numbers < least) | (numbers > most)] &= ~bit
                else:
                    seen = ways >> SWITCHES.index(SIGHT[place]) & 1
                    steps_at[:, (seen < least) | (seen > most)] &= ~bit
        return {
            "sees_at_once": at_once,
            "heeds_calls": any(steps["looks_for_calls"]),
            "conditional": sum(1 << step for step in range(n) if routine[step].when) | 1 << n,
            "steps_at": steps_at,
            "lets": lets,
        }

    def _tests(self, when: When) -> Iterator[tuple[int, int, int]]:
        """What a step's conditions look at, and between what bounds that must be seen."""
        for place, name in enumerate(SIGHT):
            wanted = getattr(when, name)
            if isinstance(wanted, Comparison):
                yield place, *_bounds(wanted)
            elif wanted is not None:
                yes = int(wanted in (True, "on"))
                yield place, yes, yes
        for need, comparison in when.levels.items():
            yield self._places_of_levels()[self.needs.index(need)], *_bounds(comparison)
        if when.clock is not None:
            yield self._place_of_clock(len(self.clocks)), 1, 1
            self.clocks.append(when.clock)

    def _places_of_levels(self) -> range:
        """The places of levels in what is seen."""
        return range(len(SIGHT), len(SIGHT) + len(self.needs))

    def _place_of_clock(self, number: int) -> int:
        """The place of a clock window in what is seen, after the room that levels have."""
        return len(SIGHT) + _room(len(self.needs)) + number

    def _errors_of(self, test: tuple[int, int, int]) -> tuple[int, int]:
        """The errors that a test may make where something is and where nothing is."""
        place, levels = test[0], self._places_of_levels()
        if place < len(SIGNALS):
            return place, len(SIGNALS) + place
        never = 2 * len(SIGNALS) + len(levels)
        misreads = 2 * len(SIGNALS) + levels.index(place) if place in levels else never
        return misreads, misreads

    def _error_steps(self, eyes: Eyes) -> list[list[int]]:
        """What a trial of each error of the eyes uses up: usually, then in each of its windows.

        One more that never happens is that of what is always seen as it is.
        """
        n, agree = eyes.looks.of, eyes.looks.agree
        found = []
        for rates, vote in (("overlooks", draws.effective_overlooks),
                            ("imagines", draws.effective_imagines)):  # fmt: skip
            for signal in SIGNALS:
                usual = getattr(getattr(eyes, signal), rates)
                special = [getattr(getattr(window, signal), rates) for window in eyes.windows]
                chances = [usual, *(usual if rate is None else rate for rate in special)]
                found.append([draws.error_step(vote(chance, n, agree)) for chance in chances])
        for need in self.needs:
            usual = eyes.levels[need].misreads if need in eyes.levels else 0.0
            chances = [usual] + [
                window.levels[need].misreads if need in window.levels else usual
                for window in eyes.windows
            ]
            found.append([draws.error_step(draws.effective_misreads(p, n)) for p in chances])
        return [*found, [0] * (1 + len(eyes.windows))]

    def _errs_at_all(self) -> bool:
        """Whether any eye or hand can err."""
        slips = [self.regime.hands.of(action).slips for action in self.actions]
        return any(slips) or self._eyes_err()

    def _eyes_err(self) -> bool:
        """Whether the eyes can err."""
        return any(map(any, self._error_steps(self.regime.eyes)))

    def late_room(self) -> int:
        """How many checks can have come due and not come yet.

        One of each interval, as lateness is below them all; and what a second's push lets in.
        """
        return 2 + 2 * len(self.regime.checks.windows)

    def _law(self, law: Distribution | None) -> int:
        """The place of a law; the same law has one place."""
        if law is None:
            return int(NONE)
        if law not in self.laws:
            self.laws.append(law)
        return self.laws.index(law)

    def _all(self, windows: Iterable[Window]) -> int:
        """Add windows to the list; the place of the first."""
        first = len(self.windows)
        self.windows += windows
        return first

    def lists(self) -> dict[str, Any]:
        """What the entries of all other columns refer to; hence lowered last."""
        laws = [(*law.parameters, 0.0, 0.0, 0.0)[:3] for law in self.laws]
        laws.append((draws.ERROR_UNITS, 0.0, 0.0))
        edges = {edge % DAY for window in self.windows for edge in (window.start, window.end)}
        return {
            "law": [LAWS.index(kind) for kind in (*(law.kind for law in self.laws), THRESHOLD)],
            "threshold": len(self.laws),
            **_named(("law_a", "law_b", "law_c"), laws),
            **_named(("turn_at", "turn_asleep"), self.turns),
            **_named(("dose_number", "dose_chance"), self.doses),
            **_named(("rule_form", "first_condition", "n_conditions"), self.rules),
            **_named(("compared", "cause", "least", "most"), self.conditions),
            **_named(("raised_need", "raised_by"), self.raises),
            **_named(("test_of", "test_least", "test_most"), self.tests),
            **_named(("test_overlooks", "test_imagines"), [*map(self._errors_of, self.tests)]),
            "window_from": [window.start for window in self.windows],
            "window_to": [window.end for window in self.windows],
            "window_days": [_days(window) for window in self.windows],
            "n_edges": len(edges),
            "edge": sorted(edges),
            "source": [source_id(name) for name in self.sources],
            "n_sources": len(self.sources),
            "n_errors": len(self.errors),
            "errs_at_all": self._errs_at_all(),
            **{
                f"of_{name}": self.sources.index(first)
                for name, first in (
                    ("drops", f"drops {self.needs[0]}"),
                    ("sides", f"misread side {self.needs[0]}"),
                    ("errors", self.errors[0]),
                )
            },
            "of_works": self.sources.index(self.errors[0]) - len(self.actions),
            "first_slip": 2 * len(SIGNALS) + len(self.needs),
        }

    def row(self) -> dict[str, Any]:
        """The places of a life's counts in its row of the table of lives."""
        model = self.model
        names = [column.name for column in columns(model)]
        firsts = {
            "life": "life",
            "outcome": "outcome",
            "end": "end_s",
            "died": "died",
            "misses": "misses",
            "misses_of": f"misses.{self.needs[0]}",
            "misses_in": f"misses_in.{self.forms[0]}",
            "misses_at": "misses_at.00",
            "lapses": "lapses",
            "unfair": "unfair",
            "cut_off": "cut_off",
            "presses": "presses",
            "quiet_presses": "quiet_presses",
            "checks": "checks",
            "skipped": "checks_skipped",
            "entered": f"entered_s.{self.forms[0]}",
            "ill": "ill_s",
            "asleep": "asleep_s",
        }
        found = {f"in_{name}": names.index(column) for name, column in firsts.items()}
        levels = [names.index(f"level_s.{need}.0") for need in self.needs]
        return {
            **found,
            "in_done": found["in_unfair"] + 1,
            "in_level": levels,
            "n_columns": len(names),
        }


def _state_type(lowering: _Lowering) -> np.dtype[Any]:
    """The type of the state of one life under a caretaker, with all its streams and counts."""
    needs, errors, sources = len(lowering.needs), len(lowering.errors), len(lowering.sources)
    slots, causes = Slots.of(needs).grid + 1, len(lowering.model.causes)
    names = [column.name for column in columns(lowering.model)]
    whole = (
        # the pet
        *("now", "rest_at", "over", "misbehaving", "discipline", "doses_left", "rated_at"),
        "misses_before_form",
        *("ill_since", "asleep_since"),
        # the caretaker
        *("first", "power", "busy", "cut", "counted_at", "landing"),
        *("late_at", "late_first", "n_late", "pass_number", "repeats", "acted"),
        # what holds until the next edge of a window
        *("edge_at", "in_quiet", "check_window"),
        # how the last check went, for the next that go alike
        *("ring_due", "every", "by_grid", "began", "check_ended", "alike", "n_noted", "lasts"),
        "n_acts",
        *("met_edge", "met_form", "met_pile", "met_weight", "met_switches", "heeds_weight"),
        # the event log
        *("traced", "log_from", "n_log"),
    )
    sight = [
        *((name, np.int64) for name in ("pile", *SIGHT[1:])),
        ("level", np.int64, _room(needs)),
        ("clock", np.int64, _room(len(lowering.clocks))),
    ]
    rest = np.dtype(
        [
            *((name, np.int64) for name in whole),
            *((name, np.uint64) for name in ("seed", "life")),
            # as the columns of places
            *((name, np.uint32) for name in ("form", "step", "eyes_window")),
            *((name, np.float64) for name in ("threshold", "risk", "rate")),
            ("level_since", np.int64, _room(needs)),
            ("misses_before", np.int64, _room(causes)),
            ("due", np.int64, _room(slots)),
            ("left", np.int64, _room(slots)),
            ("late", np.int64, _room(lowering.late_room())),
            ("error_left", np.int64, _room(errors)),
            ("error_before", np.int64, _room(errors)),
            ("drawn", np.int64, _room(sources)),
            ("ahead", np.int64, (_room(sources), 8)),
            ("law_ahead", np.int64, _room(sources)),
            ("word", np.uint64, (_room(sources), 8)),
            ("row", np.int64, _room(len(names), _LARGER_ROOM["row"])),
            ("uses", np.int64, _room(errors)),
            ("met_level", np.int64, _room(needs)),
            ("noted", np.int64, ACTS_ROOM),
            ("noted_kind", np.int64, ACTS_ROOM),
            ("act", np.int64, ACTS_ROOM),
            ("act_kind", np.int64, ACTS_ROOM),
            ("log", np.int64, (LOG_ROOM, 4)),
        ],
        align=True,
    )
    return _overlaid("sight", np.dtype(sight), rest)


def _overlaid(name: str, first: np.dtype[Any], rest: np.dtype[Any]) -> np.dtype[Any]:
    """A record of two parts, the first of which, all 64-bit integers, is an array by a name too."""
    parts = ((first, 0), (rest, first.itemsize))
    fields = [
        (key, field[0], start + field[1])
        for part, start in parts
        for key, field in (part.fields or {}).items()
    ]
    whole = np.dtype((np.int64, first.itemsize // 8))
    names, formats, offsets = zip((name, whole, 0), *fields, strict=True)
    return np.dtype({"names": names, "formats": formats, "offsets": offsets}, align=True)


def _record(fields: dict[str, Any]) -> NDArray[Any]:
    """Fields as a record array of one record, every list in a column with room to spare."""
    values, types = {}, []
    for name, value in fields.items():
        values[name] = np.array(value, dtype=_kind(name))
        rooms = [
            _room(length, _LARGER_ROOM.get(name, _INNER_ROOM) if dimension else _ROOM)
            for dimension, length in enumerate(values[name].shape)
        ]
        types.append((name, _kind(name), tuple(rooms)))
    record = np.zeros(1, dtype=np.dtype(types, align=True))
    for name, value in values.items():
        where: tuple[Any, ...] = (0, *map(slice, value.shape))
        record[name][where] = value
    return record.view(np.recarray)


def _kind(column: str) -> type[np.generic]:
    if column in _PLACES or column.startswith(_OF_PLACES):
        return np.uint32
    return np.float64 if column in _REAL else np.uint64 if column == "source" else np.int64


def _room(length: int, least: int = _ROOM) -> int:
    room = least
    while room < length:
        room *= _FACTOR
    return room


def _columns(rows: list[dict[str, Any]]) -> dict[str, Any]:
    """Rows with the same keys, by key."""
    return {name: [row[name] for row in rows] for name in rows[0]}


def _named(names: tuple[str, ...], rows: list[tuple[Any, ...]]) -> dict[str, Any]:
    """Rows, by the names of their places."""
    return {name: [row[place] for row in rows] for place, name in enumerate(names)}


def _or_never(seconds: int | None) -> int:
    return NEVER if seconds is None else seconds


def _bounds(comparison: Comparison | None) -> tuple[int, int]:
    """The least and the greatest number that satisfy it; without one, all do."""
    if comparison is None:
        return LEAST, MOST
    number = comparison.number
    return {
        "at least": (number, MOST),
        "at most": (LEAST, number),
        "below": (LEAST, number - 1),
        "above": (number + 1, MOST),
        "exactly": (number, number),
    }[comparison.op]


def _days(window: Window) -> int:
    """The weekdays on which a window opens, as a bit each."""
    days = range(7) if window.weekdays is None else window.weekdays
    return sum(1 << day for day in days)


def _turns(sleeps: Iterable[Window]) -> list[tuple[int, bool]]:
    """The seconds of the day at which sleep begins (True) or ends; if it never does, midnight."""
    windows = list(sleeps)
    edges = sorted({edge % DAY for w in windows for edge in (w.start, w.end)} | {0})
    asleep = [any(w.holds(edge, 0) for w in windows) for edge in edges]
    found = [
        (edge, now)
        for edge, now, before in zip(edges, asleep, [asleep[-1], *asleep], strict=False)
        if now != before
    ]
    return found or [(0, asleep[0])]
