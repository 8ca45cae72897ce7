"""Numbers that stand for things in the table and the state, and the names of what is numbered.

They are NumPy's, as numba compiles a rule anew for every Python int that it is called with.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from petsim.life.kinds import EventKind
from petsim.spec.laws import FAMILIES
from petsim.spec.model import SIGNALS

NEVER: Any = np.int64(2**62)
"""A second that does not come: later than any that does."""
NONE: Any = np.int64(-1)
"""No law, window, need or action."""
LEAST, MOST = -NEVER, NEVER
"""The bounds of a comparison that every number satisfies."""
THRESHOLD: Any = np.int64(len(FAMILIES))
"""The law of an error's thresholds, after the families of distributions in their order."""
IN_FORM, IN_LIFE, DISCIPLINE, WEIGHT = map(np.int64, range(4))
"""What a condition of growth compares: misses in the form or in life, discipline, weight."""
ALL_CAUSES: Any = np.int64(-1)
"""The cause of a condition that compares the misses of all causes together."""
MOST_SEEN: Any = np.int64(63)
"""From this number on, all are alike to conditions that are tested for all steps at once."""

SIGHTS = (*SIGNALS, "weight", "discipline")
"""What a condition of a step can look at, in this order; levels follow, then clock windows."""
SWITCHES = SIGNALS[1:]
"""The signals that are on or off, in the order of their bits in `steps_by_signals`."""
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
    "clear times",
    "spell times",
    "late",
)
"""Sources of chance that every life has; those of needs, actions and errors follow them."""

LOG_ROOM = 4096
"""Entries of the event log that a state has room for; a longer log is fetched in parts."""
ACTS_ROOM = 32
"""Actions of one check that a state can remember."""
AHEAD = 8
"""Words of a source that are computed together."""

KINDS = tuple(EventKind)
"""Kinds of the log's entries, by number."""
NO_VALUE: Any = np.int64(-(2**62))
"""The value of a log entry that has none."""


def numbered(names: Sequence[Any]) -> tuple[Any, ...]:
    """Return the numbers that stand for names in their order."""
    return tuple(map(np.int64, range(len(names))))


def source(name: str) -> Any:
    """Return the number of a source of chance that every life has."""
    return np.int64(SOURCES.index(name))


(BIRTH, GROWTH, TAKEN_OVER, ASLEEP, AWAKE, DROP, WASTE, ILL, WELL, MISBEHAVES, LAPSE, MISS, DEATH,
 OUTAGE_BEGINS, OUTAGE_ENDS, SPELL_BEGINS, SPELL_ENDS, CHECK, CHECK_SKIPPED, CHECK_FORGOTTEN,
 SLIPPED, REFUSED, WASTED, LOST, UNFAIR, DONE) = numbered(KINDS)  # fmt: skip
