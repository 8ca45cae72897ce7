"""The vocabulary of a life: the turns of one second in order, kinds of event, causes, signals."""

from __future__ import annotations

from enum import IntEnum, StrEnum
from typing import Final


class Turn(IntEnum):
    """The order in which events due in the same second are handled."""

    GROWTH = 1
    SLEEP = 2
    DROP = 3
    WASTE = 4
    ILLNESS = 5
    MISBEHAVIOUR = 6
    DEADLINE = 7
    DEATH = 8
    OUTAGE = 9
    CARETAKER = 10


class EventKind(StrEnum):
    """What an entry of the event log says happened."""

    BIRTH = "birth"
    GROWTH = "growth"
    TAKEN_OVER = "taken over"
    ASLEEP = "asleep"
    AWAKE = "awake"
    DROP = "drop"
    WASTE = "waste"
    ILL = "ill"
    WELL = "well"
    MISBEHAVES = "misbehaves"
    LAPSE = "lapse"
    MISS = "miss"
    DEATH = "death"
    OUTAGE_BEGINS = "outage begins"
    OUTAGE_ENDS = "outage ends"
    SPELL_BEGINS = "spell begins"
    SPELL_ENDS = "spell ends"
    CHECK = "check"
    CHECK_SKIPPED = "check skipped"
    CHECK_FORGOTTEN = "check forgotten"
    SLIPPED = "slipped"
    REFUSED = "refused"
    WASTED = "wasted"
    LOST = "lost"
    UNFAIR = "unfair"
    DONE = "done"


ACTION_KINDS: Final = (
    EventKind.SLIPPED,
    EventKind.REFUSED,
    EventKind.WASTED,
    EventKind.LOST,
    EventKind.UNFAIR,
    EventKind.DONE,
)

# Causes of a miss that every model has beside its needs, in the order of their deadlines.
WASTE: Final = "waste"
ILLNESS: Final = "illness"
LIGHTS: Final = "lights"

# Read without error.
PLAIN_SIGNALS: Final = ("stage", "form", "weight", "discipline", "clock")
