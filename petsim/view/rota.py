"""A rota as a calendar that people's programs take: iCalendar, RFC 5545.

Times are floating, so that they are those of whatever clock is on the wall. Nothing in it depends
on when or where it is made.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime, time, timedelta
from uuid import NAMESPACE_OID, uuid5

from icalendar import Alarm, Calendar, Event

from petsim._version import __version__
from petsim.advice.expecting.rota import Due
from petsim.spec.regime import Regime
from petsim.view import care

WEEKDAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")


def calendar(regime: Regime, pet: str, first: date, due: Sequence[Due]) -> str:
    """Return a calendar with an event for each clock time of a rota, repeated on its days.

    Args:
        regime: whose rota it is, for what is to be done.
        pet: what the pet is called.
        first: the date of day 0.
        due: the clock times and their days.
    """
    made = Calendar()
    made.add("prodid", f"-//petsim {__version__}//rota//EN")
    made.add("version", "2.0")
    made.add("x-wr-calname", f"{pet}: {regime.name}")
    for each in due:
        for event in _events(regime, pet, first, each):
            made.add_component(event)
    text: str = made.to_ical().decode()
    return text


def _events(regime: Regime, pet: str, first: date, due: Due) -> Iterator[Event]:
    if due.weekdays is None:
        yield from (_event(regime, pet, first, due.second, day) for day in due.days)
        return
    event = _event(regime, pet, first, due.second, due.days[0])
    if len(due.days) > 1:
        daily = len(due.weekdays) == 7
        by_day = {} if daily else {"byday": [WEEKDAYS[day] for day in due.weekdays]}
        often = "DAILY" if daily else "WEEKLY"
        event.add("rrule", {"freq": often, "count": len(due.days), **by_day})
    yield event


def _event(regime: Regime, pet: str, first: date, second: int, day: int) -> Event:
    at = datetime.combine(first + timedelta(days=day), time()) + timedelta(seconds=second)
    event = Event()
    event.add("uid", str(uuid5(NAMESPACE_OID, f"petsim {regime.id} {pet} {first} {at}")))
    event.add("dtstamp", datetime.combine(first, time(), UTC))
    event.add("dtstart", at)
    event.add("summary", summary(regime, pet))
    event.add("description", "\n".join(_steps(regime)))
    event.add("transp", "TRANSPARENT")
    event.add_component(_alarm(regime, pet))
    return event


def _alarm(regime: Regime, pet: str) -> Alarm:
    """Return a reminder at the time itself."""
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("trigger", timedelta(0))
    alarm.add("description", summary(regime, pet))
    return alarm


def summary(regime: Regime, pet: str) -> str:
    """Return what a check is for, in a few words."""
    done = [*dict.fromkeys(each.do for each in regime.routine if each.do)]
    return f"Look after {pet}: {', '.join(done)} as needed" if done else f"Look at {pet}"


def _steps(regime: Regime) -> Iterator[str]:
    for number, part in enumerate(regime.routine, 1):
        yield f"{number}. {care.step(part)}"
