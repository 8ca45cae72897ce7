"""What is made of the text of files, by the standards for it: YAML, durations, weekly rules."""

from __future__ import annotations

import json
from collections.abc import Iterator

import numpy as np

from petsim.errors import SpecError
from petsim.spec.quantities import DAY
from petsim.theory.lab import Lab, times
from petsim.theory.verdicts import Verdict, check, exact
from petsim.theory.worlds import NO_CARE, ONE_NEED, every, pet, regime, wasting

# Durations

READ = [
    ("P4DT12H30M5S", 4 * DAY + 12 * 3600 + 30 * 60 + 5),
    ("PT36H", 36 * 3600),
    ("P1DT12H", 36 * 3600),
    ("P2W", 14 * DAY),
    ("PT1M", 60),
    ("PT1M2S", 62),
    ("P01D", DAY),
]
REFUSED = (
    *("4DT12H30M5S", "P", "PT", "P1", "PT1D", "P2S", "P1D2H", "P2D1Y", "P1D2T3H", "P1e2D"),
    *(" P1D", "P1D ", "P1D\n", "-P1D", "P-1D", "PT0.5S", "PT0,5S", "PT1H2S", "P1WT1H"),
    *("P\u09e8D", "P1YT", "P0Y1W"),
)
NO_FIXED_LENGTH = ("P4Y", "P1M", "P1Y2M3DT4H5M6S", "P1M2D")


@check(
    "ISO 8601 in the grammar of RFC 3339, appendix A; strings of the JSON Schema Test Suite, "
    "draft2020-12, optional/format/duration.json"
)
def durations_as_written(lab: Lab) -> Iterator[Verdict]:
    """What a life makes of a duration in its file, and what is refused.

    Years and months, which the grammar has, are refused: they have no fixed length.
    """
    for text, seconds in READ:
        events = lab.events(wasting(json.dumps(text)), NO_CARE, seconds=seconds + 1)
        yield exact(f"seconds of: {text}", times(events, "waste")[0], seconds)
    for text in (*REFUSED, *NO_FIXED_LENGTH):
        quoted = json.dumps(text)
        yield exact(f"whether refused: {quoted}", _is_refused(lab, wasting(quoted)), 1)


def _is_refused(lab: Lab, model: str, caretaker: str = NO_CARE) -> bool:
    try:
        lab.events(model, caretaker, seconds=1)
    except SpecError:
        return True
    return False


# YAML

CLOCKS = [
    # text, minutes into the day
    ("09:00", 540),
    ("9:30", 570),
    ("10:00", 600),
    ("0:30", 30),
    ("22:30:00", 1350),
]


@check(
    "YAML 1.2.2, sect. 10.3.2 (from memory), has no numbers to base 60; YAML 1.1 (yaml.org/type) "
    "reads 9:30 as 570 and 09:00 as text"
)
def clock_times_in_yaml(lab: Lab) -> Iterator[Verdict]:
    """A clock time means the same with and without quotes, or a nought before it."""
    for text, minutes in CLOCKS:
        for written in (text, f"'{text}'"):
            asleep = pet("sleeps: [00:00 to 01:00]", more=(f"begins: {written}",))
            events = lab.events(asleep, NO_CARE, seconds=2 * DAY)
            falls = times(events, "asleep")
            # It may be born asleep, at 0.
            what = f"seconds to midnight of a life that begins: {written}"
            yield exact(what, falls[falls > 0][0], DAY - 60 * minutes)
    evening = pet("sleeps: [22:30 to 24:00]", more=("begins: 22:00",))
    events, case = lab.events(evening, NO_CARE, seconds=DAY), "begins 22:00, sleeps 22:30 to 24:00"
    yield exact(f"{case}: s to its sleep", times(events, "asleep")[0], 1800)
    yield exact(f"{case}: s to its waking", times(events, "awake")[0], 7200)
    yield exact("begins 600: refused", _is_refused(lab, pet(more=("begins: 600",))), 1)


@check("YAML 1.2.2, sect. 10.3.2 (from memory): on, off, yes and no are text; YAML 1.1: booleans")
def words_in_yaml(lab: Lab) -> Iterator[Verdict]:
    """A need called `on`, an action `no` and one `off`, and lights that are `on` or `off`."""
    model = pet(
        "drops: {on: 100 s}",
        "sleeps: [10:00 to 11:00]",
        needs=("on: {full: 1}",),
        care=("no: {raises: {on: 1}}", "off: {lights: off}"),
    )
    caretaker = regime(
        every(250),
        routine=("{when: {on: 0}, do: no}", "{when: {lights: on, asleep: yes}, do: off}"),
    )
    events = lab.events(model, caretaker, seconds=2 * 3600 + 1)
    # Asleep from 3,600 s on, it drops no more; before, it does before each check but the first.
    # The first check asleep is at 3,750 s.
    raised, off = times(events, "done", "no"), times(events, "done", "off")
    yield exact("action no raises need on: times", len(raised), 3600 // 250)
    yield exact("action off while lights are on: times", len(off), 1)
    yield exact("action off while lights are on: first at, s", off[0], 3750)


@check("YAML 1.2.2, sect. 3.2.1.1 (from memory): the keys of a mapping are unique")
def keys_given_twice(lab: Lab) -> Iterator[Verdict]:
    """Refused in either file, at any depth; once each, they are read."""
    for grace, refused in (("hunger: 1 min", 0), ("hunger: 1 min, hunger: 2 min", 1)):
        model = pet("drops: {hunger: 1 h}", f"grace: {{{grace}}}", needs=[ONE_NEED])
        yield exact(f"grace {{{grace}}}: refused", _is_refused(lab, model), refused)
    for lines, refused in ((("quiet hours: []",), 0), (("quiet hours: []",) * 2, 1)):
        caretaker = regime(*lines, routine=())
        case = f"quiet hours given {len(lines)} time{'s' if refused else ''}"
        yield exact(f"{case}: refused", _is_refused(lab, pet(), caretaker), refused)


# Weekly rules

TUESDAY = pet(more=("begins: Tuesday 09:00",))
GRIDS = [
    # checks of a life from 1997-09-02 09:00, a Tuesday; their times from its midnight in minutes
    (
        "every 90 min, four times",
        "checks: {every: 90 min, first: 0 s}",
        [540 + 90 * k for k in range(4)],
    ),
    (
        "every 20 min from 9:00 to 16:40 every day",
        "checks: {every: never, first: 0 s, windows: [{during: 09:00 to 17:00, every: 20 min}]}",
        [
            1440 * day + 60 * hour + m
            for day in range(3)
            for hour in range(9, 17)
            for m in (0, 20, 40)
        ],
    ),
    (
        "weekly on Tuesday and Thursday for five weeks",
        "checks: {every: never, first: 0 s, "
        "windows: [{during: 09:00 to 09:01 on Tue Thu, every: 1 day}]}",
        # 2, 4, 9, 11, 16, 18, 23, 25 and 30 September and 2 October.
        [1440 * (day - 2) + 540 for day in (2, 4, 9, 11, 16, 18, 23, 25, 30, 32)],
    ),
]


@check("examples of RFC 5545, sect. 3.8.5.3 (quoted; reproduced by python-dateutil)")
def checks_by_the_week(lab: Lab) -> Iterator[Verdict]:
    """The checks of a life against recurrences of the calendar standard."""
    for case, checks, minutes in GRIDS:
        due = 60 * (np.array(minutes) - minutes[0])
        events = lab.events(TUESDAY, regime(checks, routine=()), seconds=int(due[-1]) + 1)
        looks = times(events, "check")
        yield exact(f"{case}: checks", len(looks), len(due))
        yield exact(f"{case}: checks at another time", len(np.setxor1d(looks, due)), 0)
