"""When checks are due by the clock, on the days of a calendar, for people who carry them out."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

from petsim.errors import ArgumentError
from petsim.life.schedule import Schedule
from petsim.spec.arguments import count_of
from petsim.spec.clocks import Begins
from petsim.spec.quantities import DAY, duration_text
from petsim.spec.regime import Regime

MOST = 60
"""Checks of a day beyond which a calendar is of no use to people."""


class Due(NamedTuple):
    """A clock time at which a check is due: the second of the day, and on which days, from 0.

    weekdays: those on which it is, Monday 0, if it is on all of these from the first day on, so
    that one entry says it; None if it takes one for each day.
    """

    second: int
    days: tuple[int, ...]
    weekdays: tuple[int, ...] | None


def rota(regime: Regime, first: date, days: int, clock: int = 0) -> tuple[Due, ...]:
    """Return the clock times at which checks are due on some days, in order.

    What is due in a clock window without checks is left out. Intervals are counted from the
    beginning, or from the first check if the regime says when that is.

    Args:
        regime: with clock times or an interval.
        first: the date of the first day.
        days: how many there are.
        clock: the second of the first day at which they begin.

    Raises:
        ArgumentError: no check is due by the clock, one would depend on the pet's stage, or there
            are more of a day than people can carry out.
    """
    checks, days = regime.checks, count_of("days", days)
    if checks.by_stage:
        expected = "expected clock times or one interval, as a calendar knows no stages"
        raise ArgumentError(f"{regime.id}: its intervals go by stage; {expected}")
    start = 0 if checks.first == "random" else checks.first
    schedule = Schedule(checks, start, Begins(first.weekday(), clock))
    by_second: dict[int, list[int]] = {}
    t, end = 0, days * DAY - clock
    while (due := schedule.next_second(t, "")) is not None and due < end:
        if schedule.is_due(due, ""):
            day, second = divmod(clock + due, DAY)
            by_second.setdefault(second, []).append(day)
        t = due + 1
    if not by_second:
        raise ArgumentError(
            f"{regime.id}: no check is due by the clock on these days; expected clock times or an "
            "interval"
        )
    _ensure_bearable(regime, by_second)
    return tuple(
        Due(second, tuple(due_on), _weekdays(due_on, first.weekday(), days))
        for second, due_on in sorted(by_second.items())
    )


def _ensure_bearable(regime: Regime, by_second: dict[int, list[int]]) -> None:
    """Refuse more checks a day than a calendar is for."""
    of_day = [day for due_on in by_second.values() for day in due_on]
    most = max(map(of_day.count, set(of_day)))
    if most > MOST:
        every = regime.checks.shortest_gap
        how = "" if every is None else f", with checks {duration_text(every)} apart"
        raise ArgumentError(
            f"{regime.id}: {most} checks on a day{how}; expected at most {MOST}, as a calendar is "
            "for people"
        )


def _weekdays(days: Sequence[int], first_weekday: int, last: int) -> tuple[int, ...] | None:
    """Return the weekdays of some days if these are all such days from the first of them on."""
    weekdays = {(first_weekday + day) % 7 for day in days}
    all_such = [d for d in range(days[0], last) if (first_weekday + d) % 7 in weekdays]
    return tuple(sorted(weekdays)) if [*days] == all_such else None
