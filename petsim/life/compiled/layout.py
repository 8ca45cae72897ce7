"""What the compiled engine computes with: the table of a world, what falls due and what is counted.

The table is all that a life depends on, as numbers: the model, the regime, and how long lives are
followed. Each of its fields is declared here once: its name, the kind of its numbers (kinds are
explained in `structured`), their meaning, and what its dimensions run over. So are those of the
state of a life, in `layout_state`. `lower` fills the table; the kernel reads it and changes the
state.

Each dimension has room for more than most files need, so that one compiled kernel serves them all.
Files that need more get four times the room of everything, or sixteen times, and so on, and a
kernel that is compiled for that size.
"""

from __future__ import annotations

from typing import NamedTuple

from petsim.life.compiled.constants import MOST_SEEN, SWITCHES
from petsim.life.compiled.structured import (
    BITS,
    CHANGE,
    COUNT,
    FLAG,
    NUMBER,
    PLACE,
    REAL,
    SECONDS,
    WORD,
    each,
)
from petsim.spec.laws import MOST_PARAMETERS

ROOMS = {
    **dict.fromkeys(("needs", "unfair costs"), 8),
    **dict.fromkeys(("forms", "eyes settings"), 16),
    "watched": 16,
    "late checks": 32,
    **dict.fromkeys(("causes", "turns", "dose numbers", "rules", "conditions"), 64),
    **dict.fromkeys(("actions", "raises", "wrong presses", "steps", "tests", "numbers seen"), 64),
    **dict.fromkeys(("windows", "edges", "check windows", "clocks", "laws", "errors", "slots"), 64),
    "sources": 192,
    "columns": 512,
    "clock times": 1024,
}
"""What a dimension can run over, and the room it usually has."""


class Slot(NamedTuple):
    """Something that can fall due; of those of needs each need has one, from the first on."""

    name: str
    meaning: str
    of_needs: bool = False


SLOTS = (
    Slot("growth", "the form has lasted its time"),
    Slot("sleep_edge", "the clock time at which sleep begins or ends"),
    Slot("drop", "a need's level drops", of_needs=True),
    Slot("waste", "waste appears"),
    Slot("illness", "the pet falls ill"),
    Slot("lapse", "a misbehaviour has run out"),
    Slot("misbehaves", "a misbehaviour begins"),
    Slot("deadline", "a need was at 0 for too long", of_needs=True),
    Slot("waste_deadline", "waste lay for too long"),
    Slot("illness_deadline", "an illness went on for too long"),
    Slot("lights_deadline", "the lights were on in sleep for too long"),
    Slot("fatal", "a need was at 0 for long enough to kill", of_needs=True),
    Slot("untreated", "an illness went on for long enough to kill"),
    Slot("neglect", "there were misses enough to kill"),
    Slot("old_age", "the last form is over"),
    Slot("power", "an outage begins or ends"),
    Slot("spell", "a spell of bad light begins or ends"),
    Slot("under_way", "what a check does has taken its time"),
    Slot("heard", "the caretaker comes for a call that was heard"),
    Slot("late", "the caretaker comes late"),
    Slot("grid", "a check on the grid, or an edge of a window at which to look for the next"),
)
"""What can fall due, in the order in which that of one second is handled. Its due time is kept in
the slot of the same place."""


def slots(needs: int) -> dict[str, int]:
    """The place of each slot, or of the first of those of needs, for this many needs."""
    places, place = {}, 0
    for slot in SLOTS:
        places[slot.name] = place
        place += needs if slot.of_needs else 1
    return places


ROW = {
    "life": ("life", "the number of the life"),
    "outcome": ("outcome", "the outcome, by its number"),
    "end": ("end_s", "the length of the life"),
    "died": ("died", "1 + the cause of death; 0 if alive"),
    "misses": ("misses", "misses in all"),
    "misses_of": ("misses.", "misses of the first cause; those of the others follow"),
    "misses_in": ("misses_in.", "misses in the first form; those in the others follow"),
    "misses_at": ("misses_at.", "misses in the first hour of the day; those in the others follow"),
    "lapses": ("lapses", "lapses"),
    "unfair": ("unfair", "unfair reprimands"),
    "done": ("done.", "of the first action: done, wasted, lost, slipped; the others' follow"),
    "cut_off": ("cut_off", "actions that the end of the life cut off"),
    "presses": ("presses", "presses"),
    "quiet_presses": ("quiet_presses", "presses in quiet hours"),
    "checks": ("checks", "checks done"),
    "skipped": ("checks_skipped", "checks skipped"),
    "forgotten": ("checks_forgotten", "checks forgotten"),
    "entered": ("entered_s.", "of the first form: when taken, weight, discipline; the others'"),
    "ill": ("ill_s", "seconds ill"),
    "asleep": ("asleep_s", "seconds asleep"),
    "spells": ("spells_s", "seconds in spells of bad light"),
}
"""Counts of a life: the field `in_...` of the table with the place of each in the life's row, the
first column of the table of lives whose name is or begins so, and what is counted."""

TABLE = (
    *each((),
        ("until_outcome", FLAG, "a life ends at the growth that decides its outcome"),
        ("begins", SECONDS, "the second of the week, from Monday 0:00, at which a life begins"),
    ),
    # what falls due, and what is counted
    *each((), *((f"at_{slot.name}", NUMBER, f"slot: {slot.meaning}") for slot in SLOTS)),
    *each((), *((f"in_{name}", PLACE, f"place in a row: {row[1]}") for name, row in ROW.items())),
    *each(("needs",), ("in_level", PLACE, "place in a row: seconds with the need at 0, 1, ...")),
    *each((), ("n_slots", COUNT, "slots"), ("n_columns", COUNT, "places of a row")),
    # needs, and causes of misses and of death
    *each((),
        ("n_needs", COUNT, "needs"),
        ("n_causes", COUNT, "causes of misses: the needs, then waste, illness and lights"),
        ("untreated", NUMBER, "cause of death: an untreated illness"),
        ("neglect", NUMBER, "cause of death: too many misses"),
        ("old_age", NUMBER, "cause of death: old age"),
        ("first_death", NUMBER, "outcome: death of the first cause; those of the others follow"),
        ("undecided", NUMBER, "outcome: none yet"),
        ("fatal_misses", SECONDS, "this many misses kill; NEVER if none do"),
    ),
    *each(("needs",),
        ("full", COUNT, "the highest level"),
        ("starts", COUNT, "the level at birth"),
        ("death", NUMBER, "the cause of death of a pet that was at 0 for too long"),
    ),
    # weight and discipline
    *each((),
        ("weight_starts", COUNT, "the weight at birth"),
        ("discipline_starts", COUNT, "the discipline at birth"),
        ("discipline_step", COUNT, "the discipline that a reprimand adds"),
        ("lapse_costs", COUNT, "the discipline that a lapse costs"),
        ("n_unfair", COUNT, "needs that an unfair reprimand lowers"),
    ),
    *each(("unfair costs",),
        ("unfair_need", NUMBER, "a need that an unfair reprimand lowers"),
        ("unfair_cost", COUNT, "the levels it lowers it by"),
    ),
    # forms, with what their stages say
    *each((), ("root", NUMBER, "the form that a life begins as"), ("n_forms", COUNT, "forms")),
    *each(("forms",),
        ("dormant", FLAG, "the form needs nothing and refuses all care"),
        ("decides", NUMBER, "the outcome that taking the form decides"),
        ("weight_min", COUNT, "the least weight"),
        ("lasts", NUMBER, "law of how long it lasts"),
        ("waste_every", NUMBER, "law of the awake time from waste to waste"),
        ("pile_max", COUNT, "the largest pile"),
        ("waste_grace", SECONDS, "awake time from the first waste to a miss"),
        ("waste_again", SECONDS, "awake time from such a miss to the next"),
        ("can_fall_ill", FLAG, "the stage names an illness rate"),
        ("ill_base", REAL, "illnesses per day"),
        ("ill_per_waste", REAL, "illnesses per day more, for each waste of the pile"),
        ("ill_per_excess", REAL, "illnesses per day more, for each unit of excess weight"),
        ("heavy_above", COUNT, "the weight above which there is excess weight"),
        ("first_dose", PLACE, "the first of its numbers of doses"),
        ("n_doses", COUNT, "how many numbers of doses an illness can take"),
        ("ill_grace", SECONDS, "time from falling ill to a miss"),
        ("ill_fatal", SECONDS, "time from falling ill to death"),
        ("first_turn", PLACE, "the first turn of its day"),
        ("n_turns", COUNT, "turns of its day between sleep and waking"),
        ("lights_grace", SECONDS, "time from falling asleep with the lights on to a miss"),
        ("misbehaves_every", NUMBER, "law of the awake time to a misbehaviour"),
        ("misbehaves_for", NUMBER, "law of how long one lasts"),
        ("first_rule", PLACE, "the first of its rules of growth"),
        ("n_rules", COUNT, "its rules of growth"),
        ("every", SECONDS, "the interval of checks where no window names another"),
    ),
    *each(("forms", "needs"),
        ("drops", NUMBER, "law of the awake time from drop to drop"),
        ("grace", SECONDS, "awake time at 0 to a miss"),
        ("again_after", SECONDS, "awake time from such a miss to the next"),
        ("fatal_after", SECONDS, "awake time at 0 to death"),
    ),
    *each(("turns",),
        ("turn_at", SECONDS, "the second of the day"),
        ("turn_asleep", FLAG, "sleep begins then; else it ends"),
    ),
    *each(("dose numbers",),
        ("dose_number", COUNT, "a number of doses that cure"),
        ("dose_chance", REAL, "the chance that an illness takes it"),
    ),
    *each(("rules",),
        ("rule_form", NUMBER, "the form it leads to"),
        ("first_condition", PLACE, "the first of its conditions"),
        ("n_conditions", COUNT, "its conditions, all of which have to hold"),
    ),
    *each(("conditions",),
        ("compared", NUMBER, "what is compared: IN_FORM, IN_LIFE, DISCIPLINE or WEIGHT"),
        ("cause", NUMBER, "the cause whose misses are compared, or ALL_CAUSES"),
        ("least", CHANGE, "the least number that satisfies it"),
        ("most", CHANGE, "the greatest"),
    ),
    # the laws of durations, and of the thresholds of errors
    *each(("laws",),
        ("law", NUMBER, "the family of distributions, or THRESHOLD"),
        ("law_least", COUNT, "the least that it gives: 1 of a duration, 0 of others"),
    ),
    *each(("laws", MOST_PARAMETERS),
        ("parameter", REAL, "the family's parameters; of THRESHOLD, the units of an exponential"),
    ),
    *each((), ("threshold", NUMBER, "the law of the thresholds of errors")),
    # care actions, and what the caretaker's hands make of them
    *each(("actions",),
        ("first_raise", PLACE, "the first of the needs it raises"),
        ("n_raises", PLACE, "needs it raises"),
        ("gains", CHANGE, "the weight it adds"),
        ("cleans", FLAG, "it clears the pile"),
        ("doses", FLAG, "it gives a dose"),
        ("lights", NUMBER, "the lights after it: 1 on, 0 off, NONE as they were"),
        ("reprimands", FLAG, "it is a reprimand"),
        ("works", REAL, "the chance that it works"),
        ("refused_asleep", FLAG, "a sleeping pet refuses it"),
        ("refused_misbehaving", FLAG, "a misbehaving pet refuses it"),
        ("refused_full", FLAG, "a pet refuses it whose needs that it raises are all full"),
        ("takes", SECONDS, "how long it takes"),
        ("presses", COUNT, "presses it costs"),
        ("slip_step", COUNT, "error units that a trial of its slipping uses up"),
        ("first_wrong", PLACE, "the first of the actions that may land instead if it slips"),
        ("n_wrong", COUNT, "actions that may land instead"),
    ),
    *each(("raises",),
        ("raised_need", PLACE, "a need that is raised"),
        ("raised_by", COUNT, "the levels it is raised by"),
    ),
    *each(("wrong presses",),
        ("wrong", NUMBER, "an action that may land instead of one that slips"),
        ("wrong_chance", REAL, "the chance that it does"),
    ),
    # when checks come
    *each((),
        ("first", NUMBER, "the second of the first check; NONE if it is drawn"),
        ("default_every", SECONDS, "the interval that it is drawn from"),
        ("n_times", COUNT, "clock times in a week; 0 if checks come at an interval"),
        ("is_regular", FLAG, "one interval always is that to the next check"),
        ("comes_late", FLAG, "a check that is due comes late, by jitter or by a law"),
        ("jitter", COUNT, "the most seconds that it is late by, if there is no law of that"),
        ("lateness", NUMBER, "law of how late it is; NONE for jitter"),
        ("n_check_windows", COUNT, "windows with an interval of their own"),
        ("first_check_window", PLACE, "the first of them"),
        ("n_forget_windows", COUNT, "windows with a chance of their own to forget a check"),
        ("first_forget_window", PLACE, "the first of them"),
        ("listens", FLAG, "calls can be heard"),
        ("hears", REAL, "the chance that one is"),
        ("reacts_in", NUMBER, "law of the time from hearing it to the check"),
        ("up", NUMBER, "law of how long the power lasts"),
        ("down", NUMBER, "law of how long it is out"),
        ("clear", NUMBER, "law of how long the light is clear; NONE for ever"),
        ("spell_lasts", NUMBER, "law of how long a spell of bad light lasts"),
        ("opening_takes", SECONDS, "how long opening a check takes"),
        ("opening_presses", COUNT, "presses that opening a check costs"),
    ),
    *each(("check windows",),
        ("window_every", SECONDS, "the interval in the window"),
        ("forget_step", COUNT, "error units that a trial of forgetting a check uses up, usually "
                               "and in each window"),
    ),
    *each(("clock times",),
        ("time_of_week", SECONDS, "a second of the week at which a check is due, from Monday 0:00"),
    ),
    # clock windows
    *each(("windows",),
        ("window_from", SECONDS, "the second of the day at which it opens"),
        ("window_to", SECONDS, "the second of the day at which it closes"),
        ("window_days", BITS, "the weekdays on which it opens"),
    ),
    *each(("edges",), ("edge", SECONDS, "a second of the day at which a window opens or closes")),
    *each((),
        ("n_edges", COUNT, "such seconds, in order"),
        ("first_quiet", PLACE, "the first window of the quiet hours"),
        ("n_quiet", COUNT, "windows of the quiet hours"),
        ("first_eyes_window", PLACE, "the first window in which the eyes err otherwise"),
        ("n_eyes_windows", COUNT, "windows in which the eyes err otherwise"),
        ("first_spells_window", PLACE, "the window outside which spells change nothing"),
        ("n_spells_windows", COUNT, "1 if there is such a window, else 0"),
        ("first_clock", PLACE, "the first window that a condition of a step names"),
        ("n_clocks", COUNT, "windows that conditions of steps name"),
        ("sight_of_clock", PLACE, "the place of the first of them in what is seen"),
    ),
    # the routine
    *each((),
        ("passes", COUNT, "the most passes of a check"),
        ("n_steps", COUNT, "steps"),
        ("looks_at_weight", FLAG, "a condition names the weight"),
        ("looks_at_discipline", FLAG, "a condition names the discipline"),
        ("looks_at_once", FLAG, "conditions are tested for all steps at once"),
        ("heeds_calls", FLAG, "a condition names calls"),
        ("steps_with_when", BITS, "the steps with a condition, and the routine's end"),
        ("is_stepped", FLAG, "code outside chooses the next step; there is a step for each action"),
        ("first_watched", PLACE, "the first of the tests whose signals that code sees"),
        ("n_watched", COUNT, "the signals that it sees"),
    ),
    *each(("steps",),
        ("do", PLACE, "the action"),
        ("times", COUNT, "how often it is done at most; 0 if it only looks"),
        ("has_when", FLAG, "it has a condition"),
        ("looks_for_calls", FLAG, "it looks for calls"),
        ("first_test", PLACE, "the first of the tests that its condition consists of"),
        ("n_tests", PLACE, "the tests that its condition consists of"),
        ("first_look", PLACE, "the first of what it looks at if it only looks, among the tests"),
        ("n_looks", PLACE, "what it looks at if it only looks"),
    ),
    *each(("steps", "forms"), ("of_form", FLAG, "the step's condition allows the form")),
    *each(("tests",),
        ("test_of", PLACE, "what is looked at, a place in what is seen"),
        ("test_least", CHANGE, "the least number that satisfies it"),
        ("test_most", CHANGE, "the greatest"),
        ("test_overlooks", PLACE, "the error that may be made where something is"),
        ("test_imagines", PLACE, "the error that may be made where nothing is"),
    ),
    *each(("forms", 2 ** len(SWITCHES)),
        ("steps_by_signals", BITS, "the steps that the form and the signals let through"),
    ),
    *each(("numbers seen", int(MOST_SEEN) + 1),
        ("steps_by_number", BITS, "the steps that a number of the waste, the weight, the "
                                  "discipline, each level and each clock window lets through"),
    ),
    # errors of the eyes and the hands, and the sources of chance
    *each((),
        ("n_errors", COUNT, "errors that are followed; 0 if none can ever happen"),
        ("first_slip", PLACE, "the error of the first action's slipping; the others' follow"),
        ("forgets", PLACE, "the error of forgetting a check"),
        ("n_sources", COUNT, "sources of chance"),
        ("of_drops", PLACE, "the source of the first need's drops; the others' follow"),
        ("of_sides", PLACE, "the source of the side to which the first level is misread"),
        ("of_works", PLACE, "the source of whether the first action works"),
        ("of_instead", PLACE, "the source of what lands instead of the first action"),
        ("of_errors", PLACE, "the source of the first error's thresholds"),
    ),
    *each(("errors", "eyes settings"),
        ("error_step", COUNT, "error units that a trial uses up, usually and in each window, then "
                              "the same in spells"),
    ),
    *each(("sources",), ("source", WORD, "the number of the source in the generator's counter")),
)  # fmt: skip
"""The fields of the table. Where the files have a list, its entries follow each other in fields of
one dimension: those of form 2, say, are the third of each field that runs over forms."""
