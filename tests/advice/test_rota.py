"""Rotas, against the checks of simulated lives; their calendars, against RFC 5545."""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta

import pytest
from dateutil.rrule import rrulestr

import petsim
from petsim.advice.expecting.rota import rota
from petsim.errors import ArgumentError
from petsim.life.kinds import EventKind
from petsim.spec.library import load_regime
from petsim.spec.quantities import DAY
from petsim.view.rota import calendar

FIRST, NINE = date(2027, 1, 4), 9 * 3600
"""A Monday, and the clock at which a lamplet's life begins."""
DAYS = 10


def text_of(name: str, first: date = FIRST) -> str:
    regime = load_regime(name)
    return calendar(regime, "Lamplet", first, rota(regime, first, DAYS, NINE))


def unfolded(text: str) -> list[str]:
    """The content lines of a calendar: a line break and a space are nothing (RFC 5545, 3.1)."""
    return text.replace("\r\n ", "").split("\r\n")[:-1]


def events(text: str) -> list[dict[str, str]]:
    """The properties of each event by name, without those of its alarm."""
    found: list[dict[str, str]] = []
    for line in unfolded(re.sub(r"BEGIN:VALARM.*?END:VALARM\r\n", "", text, flags=re.S)):
        name, _, value = line.partition(":")
        if line == "BEGIN:VEVENT":
            found.append({})
        elif found and line not in ("END:VEVENT", "END:VCALENDAR"):
            found[-1][name] = value
    return found


def moments(text: str) -> list[datetime]:
    """When the events of a calendar are, as dateutil reads their rules."""
    times: list[datetime] = []
    for event in events(text):
        start = datetime.strptime(event["DTSTART"], "%Y%m%dT%H%M%S")
        times += rrulestr(event["RRULE"], dtstart=start) if "RRULE" in event else [start]
    return sorted(times)


@pytest.mark.parametrize("name", ["office-rota", "office-rota-gap", "hourly", "school-day"])
def test_events_are_when_checks_are_due(name: str) -> None:
    # a life in which nobody is late or forgets has its checks when they are due
    care = load_regime(name)
    punctual = {"late": None, "jitter": None, "forgets": 0.0}
    first = {} if care.checks.at else {"first": 0}
    windows = tuple(w.model_copy(update={"forgets": None}) for w in care.checks.windows)
    checks = care.checks.model_copy(update={**punctual, **first, "windows": windows})
    quick = {"hands": type(care.hands)(), "listens": None, "outages": None, "checks": checks}
    life = petsim.simulate("lamplet", care.model_copy(update=quick), days=DAYS - NINE / DAY)
    assert not life.summary["died"]
    birth = datetime.combine(FIRST, datetime.min.time()) + timedelta(seconds=NINE)
    due = [birth + timedelta(seconds=e.t) for e in life.entries if e.event == EventKind.CHECK]
    assert moments(text_of(name)) == due
    assert len(due) > 8 * DAYS


def test_weekdays_are_those_of_the_dates() -> None:
    # 12:10, 12:50 and 13:30 are for weekends alone, wherever the calendar begins
    for first in (FIRST, date(2027, 1, 7)):
        noon = {at for at in moments(text_of("office-rota-gap", first)) if 12 <= at.hour < 14}
        assert {at.weekday() for at in noon} == {5, 6}
    [rule] = {e["RRULE"] for e in events(text_of("office-rota-gap")) if "T1210" in e["DTSTART"]}
    assert rule == "FREQ=WEEKLY;COUNT=2;BYDAY=SA,SU"


def test_an_interval_that_no_rule_says_has_an_event_for_each_check() -> None:
    care = load_regime("hourly")
    odd = care.model_copy(update={"checks": care.checks.model_copy(update={"every": 10 * 3600})})
    due = rota(odd, FIRST, DAYS, 0)
    text = calendar(odd, "Lamplet", FIRST, due)
    assert [at.hour for at in moments(text)[:6]] == [0, 10, 20, 6, 16, 2]
    assert len(moments(text)) == 24


# RFC 5545, from memory; the numbers are those of its sections


@pytest.fixture(params=["office-rota", "office-rota-gap", "hourly"])
def text(request) -> str:
    return text_of(request.param)


def test_lines_end_as_they_must_and_are_folded(text) -> None:
    # 3.1: lines are delimited by CRLF and should not be longer than 75 octets without it
    assert text.endswith("\r\n") and not re.search(r"(?<!\r)\n|\r(?!\n)", text)
    assert max(len(line.encode()) for line in text.split("\r\n")) <= 75


def test_a_calendar_and_its_events_have_what_is_required(text) -> None:
    # 3.6: PRODID and VERSION once; 3.6.1: UID and DTSTAMP, and here DTSTART, once in each event
    lines = unfolded(text)
    assert lines[0] == "BEGIN:VCALENDAR" and lines[-1] == "END:VCALENDAR"
    assert lines.count("VERSION:2.0") == 1
    assert sum(line.startswith("PRODID:") for line in lines) == 1
    for event in events(text):
        assert event.keys() >= {"UID", "DTSTAMP", "DTSTART", "SUMMARY"}
        # 3.8.7.2: DTSTAMP is in UTC; 3.3.5, form 1: a floating time has no Z and no TZID
        assert re.fullmatch(r"\d{8}T\d{6}Z", event["DTSTAMP"])
        assert re.fullmatch(r"\d{8}T\d{6}", event["DTSTART"])
        # 3.3.10: COUNT and UNTIL are not both there
        assert "UNTIL" not in event.get("RRULE", "")


def test_each_event_has_an_identifier_of_its_own(text) -> None:
    # 3.8.4.7: UID is globally unique
    uids = [event["UID"] for event in events(text)]
    assert len(uids) == len({*uids}) > 20
    assert not {*uids} & {event["UID"] for event in events(text_of("hourly", date(2027, 2, 1)))}


def test_an_alarm_has_what_it_needs(text) -> None:
    # 3.6.6: a display alarm has ACTION, DESCRIPTION and TRIGGER
    alarms = re.findall(r"BEGIN:VALARM(.*?)END:VALARM", text.replace("\r\n ", ""), re.S)
    assert len(alarms) == len(events(text))
    for alarm in alarms:
        assert {"ACTION:DISPLAY", "TRIGGER:P0D"} <= {*alarm.split("\r\n")}
        assert "\r\nDESCRIPTION:Look after Lamplet" in alarm


def test_text_with_marks_of_the_format_is_escaped_and_read_back() -> None:
    # 3.3.11: backslash, semicolon, comma and newline are escaped
    regime = load_regime("office-rota")
    due = rota(regime, FIRST, 1, NINE)
    [event, *_] = events(calendar(regime, "A; b, c\\d", FIRST, due))
    assert event["SUMMARY"].startswith(r"Look after A\; b\, c\\d: lights_off\, dose")
    assert r"\n2. if it looks ill: dose\, and again" in event["DESCRIPTION"]


def test_it_is_the_same_whenever_it_is_made() -> None:
    assert text_of("office-rota") == text_of("office-rota")
    assert "DTSTAMP:20270104T000000Z" in unfolded(text_of("office-rota"))


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("ten-minute", r"^ten-minute: 144 checks on a day, with checks 10 min apart; expected at"),
        ("hands-off", r"^hands-off: no check is due by the clock on these days; expected clock"),
        ("staged", r"^staged: its intervals go by stage; expected clock times or one interval"),
    ],
)
def test_what_no_calendar_can_say_is_refused(name, said) -> None:
    with pytest.raises(ArgumentError, match=said):
        text_of(name)
