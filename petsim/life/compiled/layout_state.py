"""The state of one life at one second, with its streams of chance, its counts and its event log."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from petsim.life.compiled.constants import ACTS_ROOM, AHEAD, LOG_ROOM
from petsim.life.compiled.structured import (
    CHANGE,
    COUNT,
    FLAG,
    NUMBER,
    PLACE,
    REAL,
    SECONDS,
    WORD,
    each,
    overlaid,
    structured_type,
)

SIGHT = (
    *each((),
        ("pile", COUNT, "the waste of the pile"),
        ("ill", FLAG, "the pet is ill"),
        ("asleep", FLAG, "it sleeps"),
        ("lights", FLAG, "the lights are on"),
        ("calling", FLAG, "it calls; only up to date where a condition is about to look at it"),
        ("weight", COUNT, "its weight"),
        ("discipline", COUNT, "its discipline"),
    ),
    *each(("needs",), ("level", COUNT, "the level of a need")),
    *each(("clocks",), ("_clock", FLAG, "whether a clock window holds; by `sight_of_clock` only")),
)  # fmt: skip
"""The fields of the state that a condition of a step can look at, in the order of SIGHTS. Together
they are an array too, `sight`, in which `test_of` is a place."""

STATE = (
    # whose life it is, and where its log is wanted from
    *each((),
        ("seed", WORD, "the seed of the batch"),
        ("life", WORD, "the number of the life"),
        ("traced", FLAG, "its log is written, and what a rig counts is counted"),
        ("log_from", COUNT, "the number of the first entry that is wanted"),
        ("n_log", COUNT, "entries so far"),
    ),
    *each((LOG_ROOM, 4), ("log", CHANGE, "entries: second, kind, what it is about, value")),
    # time
    *each((),
        ("now", SECONDS, "the second of life"),
        ("over", FLAG, "the life is over"),
        ("stop_at", SECONDS, "the second at which it is left, before anything due in it"),
        ("goes_on", FLAG, "it was left at this second, and goes on"),
        ("rest_at", SECONDS, "no slot but drops, waste, illness and grid is due before"),
    ),
    *each(("slots",),
        ("due", SECONDS, "when it falls due; NEVER if it does not"),
        ("left", SECONDS, "the awake time left until then, while the pet sleeps; else NEVER"),
    ),
    # the pet
    *each((),
        ("form", PLACE, "the form"),
        ("misbehaving", FLAG, "it misbehaves"),
        ("doses_left", COUNT, "doses that its illness still takes"),
        ("threshold", REAL, "the risk at which it falls ill, in units of an exponential"),
        ("risk", REAL, "the risk so far"),
        ("rate", REAL, "the risk of a second"),
        ("rated_at", SECONDS, "the second up to which the risk is added up"),
        ("ill_since", SECONDS, "when the illness began"),
        ("asleep_since", SECONDS, "when sleep began"),
        ("misses_before_form", COUNT, "misses before it took the form"),
        ("misses_brought", COUNT, "misses before second 0, of a pet that was taken over"),
    ),
    *each(("needs",), ("level_since", SECONDS, "since when the need is at its level")),
    *each(("causes",),
        ("misses_before", COUNT, "misses of the cause before it took the form"),
        ("brought", COUNT, "misses of the cause before second 0"),
    ),
    *each(("columns",), ("row", CHANGE, "the life's row of the table of lives")),
    # clock windows, which hold as here until the next edge
    *each((),
        ("edge_at", SECONDS, "the next second at which a window may begin or cease to hold"),
        ("in_quiet", FLAG, "these are quiet hours"),
        ("eyes_window", PLACE, "the setting of the eyes in clear light: 0 as usual, else 1 + the "
                               "window"),
        ("spells_count", FLAG, "a spell changes how the eyes err"),
        ("check_window", NUMBER, "the window whose interval is in force"),
        ("forget_window", PLACE, "0 if checks are forgotten as usual, else 1 + the window"),
    ),
    # when checks come
    *each((),
        ("first", SECONDS, "the second of the first check"),
        ("every", SECONDS, "the interval in force when the grid's slot was last set"),
        ("grid_is_sure", FLAG, "a check is due when the grid's slot is, not only an edge"),
        ("late_at", NUMBER, "when the check comes that was due last; NONE if there was none"),
        ("late_first", COUNT, "the place of the next late check to come, going round"),
        ("n_late", COUNT, "checks that are due and yet to come"),
        ("counted_at", NUMBER, "the second in which a check last came; NONE if there was none"),
        ("power", FLAG, "the power is on"),
        ("in_spell", FLAG, "the light is bad"),
        ("spell_since", SECONDS, "when that began"),
        ("eyes_setting", PLACE, "the setting of the eyes, in the order of `error_step`"),
    ),
    *each(("late checks",), ("late", SECONDS, "when a late check comes")),
    # the check that goes on
    *each((),
        ("began", SECONDS, "when it began"),
        ("by_grid", FLAG, "it came on the grid"),
        ("busy", FLAG, "something in it takes time"),
        ("cut", FLAG, "an outage has cut it off"),
        ("pass_number", COUNT, "the pass, from 0"),
        ("step", PLACE, "the step"),
        ("repeats", COUNT, "how often it was done in this pass"),
        ("acted", FLAG, "a step with a condition was done in this pass"),
        ("landing", NUMBER, "the action that lands when the step's has taken its time; NONE if "
                            "that slips and no other does"),
        ("waits", FLAG, "it waits until the next step is chosen"),
        ("chosen", COUNT, "1 + the step that is chosen, after the last one its end; 0 if none is"),
        ("looks_at_once", FLAG, "as in the table, but for a traced life, whose looks are counted"),
        ("is_idle", FLAG, "it has changed nothing so far but counts, thresholds and draws"),
        ("n_acts", COUNT, "actions in it, if it is idle"),
        ("grid_check_ended", FLAG, "a check on the grid has just ended"),
    ),
    *each((ACTS_ROOM,),
        ("act", NUMBER, "an action in it"),
        ("act_kind", NUMBER, "what came of it, a kind of entry of the log"),
    ),
    *each(("watched",), ("seen", NUMBER, "what the eyes saw of a signal when it began to wait")),
    # what a rig would count, of a traced life
    *each(("actions",), ("begun", COUNT, "times that the action was begun")),
    *each(("needs",), ("zeros", COUNT, "looks that read 0 of the need")),
    # an idle check, and what it met: the next go the same way as long as they meet the same
    *each((),
        ("idle_edge", SECONDS, "`edge_at` then; NONE if no check is remembered"),
        ("idle_form", NUMBER, "the form"),
        ("idle_pile", COUNT, "the pile"),
        ("idle_weight", COUNT, "the weight"),
        ("idle_switches", COUNT, "all that is so or not"),
        ("idle_discipline", COUNT, "the discipline"),
        ("idle_heeds_weight", FLAG, "it goes the same way at this weight only"),
        ("idle_lasts", SECONDS, "how long it took"),
        ("idle_n_acts", COUNT, "actions in it"),
    ),
    *each(("needs",), ("idle_level", COUNT, "the level")),
    *each(("errors",), ("idle_uses", COUNT, "error units that it used up")),
    *each((ACTS_ROOM,),
        ("idle_act", NUMBER, "an action in it"),
        ("idle_act_kind", NUMBER, "what came of it"),
    ),
    # errors and draws
    *each(("errors",),
        ("error_left", NUMBER, "what is left of the error's threshold; below 0 if none is drawn"),
        ("error_before", NUMBER, "the same before the check that goes on"),
    ),
    *each(("sources",),
        ("drawn", COUNT, "numbers drawn from the source"),
        ("law_ahead", NUMBER, "the law that `ahead` was worked out for"),
    ),
    *each(("sources", AHEAD),
        ("word", WORD, "words of the generator: those of the block of the next draw"),
        ("ahead", COUNT, "what a law makes of them"),
    ),
)  # fmt: skip
"""The other fields of the state."""


def state_type(rooms: Mapping[str, int]) -> np.dtype[Any]:
    """Return the type of a life's state."""
    return overlaid("sight", structured_type(SIGHT, rooms), structured_type(STATE, rooms))
