"""When care misses happen, in words."""

from __future__ import annotations

from petsim.study.hours import Hours
from petsim.view.numbers import mean, ratio
from petsim.view.tables import Column, counted

LABELS = ("half of them, by time of day", "half of them, by day of life", "worst hour")


def title(times: Hours) -> str:
    """Return what the hours are of."""
    return (
        f"When care misses happen in {counted(len(times))} of {times.model} under {times.regime}, "
        f"seed {times.seed}"
    )


def hours(times: Hours) -> Column:
    """Return the shortest times with half of the misses of a regime, and the worst hour."""
    if not times.misses.any():
        return dict.fromkeys(LABELS, "no misses")
    by_hour, by_day, (day, hour) = times.half_by_hour, times.half_by_day, times.worst
    days = f"days {by_day.first + 1} to {by_day.last + 1}"
    if by_day.first == by_day.last:
        days = f"day {by_day.first + 1}"
    cells = (
        f"{by_hour.first:02}:00 to {by_hour.last + 1:02}:00: {ratio(by_hour.share)}",
        f"{days}: {ratio(by_day.share)}",
        f"day {day + 1}, {hour:02}:00: {misses_in(times, day, hour)}",
    )
    return dict(zip(LABELS, cells, strict=True))


def misses_in(times: Hours, day: int, hour: int) -> str:
    """Return the misses in an hour of a day: their mean a life or, of a single life, their number.

    Args:
        times: of one life or more.
        day: from 0.
        hour: 0 to 23.
    """
    if len(times) > 1:
        return f"{mean(times.mean(day, hour))} a life"
    return counted(int(times.misses[0, day, hour]), "care miss")
