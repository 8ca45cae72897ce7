"""The units people write: what each text means, and which are refused."""

import csv
import json
import math
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from dateutil.rrule import DAILY, MINUTELY, TH, TU, WEEKLY, rrule
from hypothesis import given
from hypothesis import strategies as st

from petsim.errors import MisfitError
from petsim.spec.clocks import Begins, Window, begins, clock, clock_text, sleep_window, window
from petsim.spec.laws import Distribution, distribution
from petsim.spec.quantities import (
    DAY,
    LARGEST,
    LONGEST,
    Bound,
    Names,
    chance,
    chance_text,
    change,
    comparison,
    count,
    duration,
    duration_text,
    name,
    names,
    rate,
    yes_or_no,
)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("1 s", 1),
        ("90 sec", 90),
        ("1 second", 1),
        ("5 seconds", 5),
        ("10 min", 600),
        ("10min", 600),
        ("1 minute", 60),
        ("2 minutes", 120),
        ("1 h", 3600),
        ("1.5 h", 5400),
        ("0.1 h", 360),
        ("1 hour", 3600),
        ("3 hours", 10800),
        ("1 h 30 min", 5400),
        ("2 days 1 h 5 s", 2 * DAY + 3605),
        ("1 day", DAY),
        ("2 weeks", 14 * DAY),
        ("1 week 1 day", 8 * DAY),
        (f"{LONGEST} s", LONGEST),
    ],
)
def test_duration(text: str, seconds: int) -> None:
    assert duration(text) == seconds


@pytest.mark.parametrize("seconds, text", [(0, "0 s"), (59, "59 s"), (90.5, "90.5 s")])
def test_few_seconds_and_parts_of_one_are_written_in_seconds(seconds: float, text: str) -> None:
    assert duration_text(seconds) == text


@pytest.mark.parametrize(
    "text",
    ["", "20", "20 mins", "min", "22:30", "1.5 s", "0 s", "-5 min", "+5 min", "1 h30 min x",
     "1e3 s",
     "5 min 1 h", "1 h 1 h", "1 month", "1 year", "٥ min", "5\u00a0min", "5  min", " 5 min",
     "5 min\n",
     "inf s", "nan s", ".5 h", "5. h", "1_000 s", "0x10 s", f"{LONGEST + 1} s", "5 MIN"],
)  # fmt: skip
def test_no_duration(text: str) -> None:
    with pytest.raises(MisfitError):
        duration(text)


def suite() -> list[tuple[str, bool, str]]:
    """The JSON Schema Test Suite's strings for RFC 3339 durations; the file names its source."""
    path = Path(__file__).parent / "data" / "durations_rfc3339.csv"
    lines = [line for line in path.read_text(encoding="utf-8").splitlines() if line[:1] != "#"]
    rows = csv.DictReader(lines)
    return [(json.loads(row["text_json"]), row["valid"] == "true", row["why"]) for row in rows]


def refused_by_us(text: str) -> bool:
    """Years and months are valid there but have no fixed length; the huge one is beyond 2^53 s."""
    date = text.partition("T")[0]
    return "Y" in date or "M" in date or len(text) > 20


@pytest.mark.parametrize(("text", "valid", "why"), suite())
def test_iso_8601_durations_are_those_of_rfc_3339(text: str, valid: bool, why: str) -> None:
    if valid and not refused_by_us(text):
        assert duration(text, least=0) >= 0
    else:
        with pytest.raises(MisfitError):
            duration(text, least=0)


def test_the_suite_has_strings_of_every_sort() -> None:
    accepted = [text for text, valid, _ in suite() if valid and not refused_by_us(text)]
    assert len(accepted) == 12
    assert sum(valid for _, valid, _ in suite()) == 21


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("P4DT12H30M5S", 390605), ("PT36H", 129600), ("P1DT12H", 129600), ("P2W", 1209600)],
)
def test_iso_8601_duration_in_seconds(text: str, seconds: int) -> None:
    """4 days, 12 h, 30 min and 5 s are 4 * 86400 + 45005 s; the others by the same arithmetic."""
    assert duration(text) == seconds


@given(st.integers(1, LONGEST))
def test_duration_is_written_as_it_is_read(seconds: int) -> None:
    assert duration(duration_text(seconds)) == seconds


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(1, "1 s"), (5400, "90 min"), (57600, "16 h"), (4 * DAY, "4 days"), (360000, "100 h"),
     (DAY, "1 day"), (90061, "1 day 1 h 1 min 1 s"), (59.5, "59.5 s")],
)  # fmt: skip
def test_duration_is_written_in_the_unit_that_suits(seconds: float, text: str) -> None:
    assert duration_text(seconds) == text


@pytest.mark.parametrize(
    ("text", "kind", "parameters"),
    [
        ("5 min", "fixed", (300.0,)),
        ("fixed 5 min", "fixed", (300.0,)),
        ("uniform 0 s to 10 min", "uniform", (0.0, 600.0)),
        ("triangular 14 min to 40 min around 24 min", "triangular", (840.0, 1440.0, 2400.0)),
        ("exponential 1 h 30 min", "exponential", (5400.0,)),
        ("exponential 0.5 s", "exponential", (0.5,)),
        ("weibull shape 1.5 scale 3 h", "weibull", (1.5, 10800.0)),
        ("lognormal median PT40M sigma 1.0", "lognormal", (2400.0, 1.0)),
    ],
)
def test_distribution(text: str, kind: str, parameters: tuple[float, ...]) -> None:
    found = distribution(text)
    assert found == Distribution(kind, parameters)
    assert distribution(str(found)) == found


@pytest.mark.parametrize(
    "text",
    ["uniform 1 h to 1 h", "uniform 2 h to 1 h", "uniform 1 to 2 h", "uniform 1 h", "uniform",
     "fixed",
     "triangular 1 h to 1 h around 1 h", "triangular 1 h to 3 h around 4 h", "exponential 0 s",
     "exponential -1 h", "weibull shape 0 scale 1 h", "weibull shape 1 h scale 1 h",
     "normal 1 h to 2 h",
     "weibull shape 1e3 scale 1 h", "lognormal median 1 h sigma 0", "lognormal median 1 h sigma 51",
     "Uniform 1 h to 2 h", "uniform  1 h to 2 h", "fixed 0 s", "lognormal median 1 h sigma nan"],
)  # fmt: skip
def test_no_distribution(text: str) -> None:
    with pytest.raises(MisfitError):
        distribution(text)


@pytest.mark.parametrize(
    ("text", "bounds"),
    [
        ("0.4 s", (1, 1)),
        ("2.5 s", (3, 3)),
        ("uniform 0 s to 10.4 s", (1, 10)),
        ("triangular 1.5 s to 9.5 s around 2 s", (2, 10)),
        ("exponential 1 h", (1, None)),
        ("weibull shape 2 scale 1 h", (1, None)),
        ("lognormal median 1 h sigma 1", (1, None)),
    ],
)
def test_bounds_are_those_of_the_rounded_samples(text: str, bounds: tuple[int, int | None]) -> None:
    assert distribution(text).bounds() == bounds


@pytest.mark.parametrize("text", ["weibull shape 0.01 scale 9007199254740992 s",
                                  "lognormal median 9007199254740992 s sigma 50"])  # fmt: skip
def test_no_sample_of_the_widest_distributions_overflows(text: str) -> None:
    """The extreme uniforms of a 52-bit generator are 2^-53 and 1 - 2^-53."""
    kind, (first, second) = distribution(text).kind, distribution(text).parameters
    exponential = -math.log1p(-(1 - 2**-53))
    largest = (
        second * exponential ** (1 / first) if kind == "weibull" else first * math.exp(second * 8.3)
    )
    assert math.isfinite(largest)


@pytest.mark.parametrize(
    ("text", "value"),
    [("2%", 0.02), ("2 %", 0.02), ("0.02", 0.02), ("6%", 0.06), ("0%", 0), ("100%", 1), ("1", 1),
     ("0", 0), ("12.5%", 0.125), ("0.1%", 0.001)],
)  # fmt: skip
def test_chance(text: str, value: float) -> None:
    assert chance(text) == value


@pytest.mark.parametrize("text", ["", "%", "-1%", "101%", "1.01", "70", "1e-3", ".5", "nan", "inf",
                                  "٥%",
                                  "1/2", "5%%", "5  %"])  # fmt: skip
def test_no_chance(text: str) -> None:
    with pytest.raises(MisfitError):
        chance(text)


@given(st.floats(0, 1))
def test_chance_is_written_as_it_is_read(value: float) -> None:
    assert chance(chance_text(value)) == value


def test_rate() -> None:
    assert rate("0.35 per day") == 0.35
    for text in ("0.35", "-1 per day", "1 per hour", "1  per day", "86401 per day", "1 per days"):
        with pytest.raises(MisfitError):
            rate(text)


@pytest.mark.parametrize(
    ("text", "second"),
    [("09:00", 32400), ("9:30", 34200), ("22:30:15", 81015), ("00:00", 0), ("23:59:59", DAY - 1)],
)
def test_clock(text: str, second: int) -> None:
    assert clock(text) == second
    assert clock(clock_text(second)) == second


@pytest.mark.parametrize("text", ["24:00", "9", "9:3", "9:60", "9:30:60", "-1:00", "1350", "٠٩:٠٠"])
def test_no_clock(text: str) -> None:
    with pytest.raises(MisfitError):
        clock(text)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("07:00 to 08:30", Window(25200, 30600)),
        ("22:30 to 07:00", Window(81000, 25200)),
        ("00:00 to 24:00", Window(0, DAY)),
        ("22:00 to 00:00", Window(79200, 0)),
        ("07:00 to 08:30 on Mon-Fri", Window(25200, 30600, frozenset(range(5)))),
        ("07:00 to 08:30 on weekdays", Window(25200, 30600, frozenset(range(5)))),
        ("07:00 to 08:30 on weekends", Window(25200, 30600, frozenset({5, 6}))),
        ("07:00 to 08:30 on Mon Tue", Window(25200, 30600, frozenset({0, 1}))),
        ("07:00 to 08:30 on Sat-Mon", Window(25200, 30600, frozenset({5, 6, 0}))),
        ("07:00 to 08:30 on Monday wed", Window(25200, 30600, frozenset({0, 2}))),
        ("07:00 to 08:30 on Mon-Sun", Window(25200, 30600, frozenset(range(7)))),
    ],
)
def test_window(text: str, expected: Window) -> None:
    assert window(text) == expected
    assert window(str(expected)) == expected


@pytest.mark.parametrize("text", ["07:00", "07:00-08:00", "07:00 to 07:00", "24:00 to 07:00",
                                  "7 to 8",
                                  "07:00 to 08:00 on", "07:00 to 08:00 on Mo", "07:00 to 25:00",
                                  "07:00 to 08:00 on Mon,Tue",
                                  "07:00 to 08:00 on MON"])  # fmt: skip
def test_no_window(text: str) -> None:
    with pytest.raises(MisfitError):
        window(text)


def test_sleep_window_names_no_weekdays() -> None:
    assert sleep_window("21:00 to 07:00") == window("21:00 to 07:00")
    with pytest.raises(MisfitError):
        sleep_window("21:00 to 07:00 on Mon")


def test_window_holds_from_its_first_second_to_the_one_before_its_last() -> None:
    day = window("07:00 to 08:30")
    assert [day.holds(clock, 0) for clock in (25199, 25200, 30599, 30600)] == [
        False,
        True,
        True,
        False,
    ]
    night = window("22:30 to 07:00")
    assert [night.holds(clock, 0) for clock in (80999, 81000, 0, 25199, 25200)] == [
        False, True, True, True, False
    ]  # fmt: skip
    assert all(window("00:00 to 24:00").holds(clock, 6) for clock in (0, DAY - 1))
    assert not window("22:00 to 00:00").holds(0, 0)


def test_weekday_of_a_window_past_midnight_is_that_of_its_opening() -> None:
    friday_night = window("22:30 to 07:00 on Fri")
    assert friday_night.holds(81000, 4)
    assert friday_night.holds(0, 5)
    assert not friday_night.holds(0, 4)
    sunday_night = window("22:30 to 07:00 on Sun")
    assert sunday_night.holds(0, 0)


def grid(start: datetime, every: timedelta, count: int, holding: Window | None) -> list[datetime]:
    """The first times of a plain grid of checks that a window lets through."""
    found: list[datetime] = []
    time = start
    while len(found) < count:
        clock = time.hour * 3600 + time.minute * 60
        if holding is None or holding.holds(clock, time.weekday()):
            found.append(time)
        time += every
    return found


TUESDAY = datetime(1997, 9, 2, 9, tzinfo=UTC)


def test_grids_of_rfc_5545() -> None:
    """Examples of RFC 5545, section 3.8.5.3 (quoted from memory), reproduced by python-dateutil."""
    minutes = timedelta(minutes=1)
    every_90 = grid(TUESDAY, 90 * minutes, 4, None)
    assert [f"{time:%H:%M}" for time in every_90] == ["09:00", "10:30", "12:00", "13:30"]
    assert every_90 == list(rrule(MINUTELY, interval=90, count=4, dtstart=TUESDAY))

    by_hour = grid(TUESDAY, 20 * minutes, 50, window("09:00 to 17:00"))
    assert f"{by_hour[23]:%d %H:%M}" == "02 16:40"
    assert f"{by_hour[24]:%d %H:%M}" == "03 09:00"
    twenties = rrule(
        DAILY, byhour=list(range(9, 17)), byminute=[0, 20, 40], count=50, dtstart=TUESDAY
    )
    assert by_hour == list(twenties)

    weekly = grid(TUESDAY, timedelta(days=1), 10, window("09:00 to 09:01 on Tue Thu"))
    assert [f"{time.month}-{time.day}" for time in weekly] == [
        "9-2", "9-4", "9-9", "9-11", "9-16", "9-18", "9-23", "9-25", "9-30", "10-2"
    ]  # fmt: skip
    assert weekly == list(rrule(WEEKLY, byweekday=(TU, TH), count=10, dtstart=TUESDAY))


def test_begins() -> None:
    assert begins("09:00") == Begins(0, 32400)
    assert begins("Friday 18:30") == Begins(4, 66600)
    assert begins("fri 18:30") == begins(str(Begins(4, 66600)))
    for text in ("Friday", "18:30 Friday", "24:00", "Freitag 18:30", ""):
        with pytest.raises(MisfitError):
            begins(text)


@pytest.mark.parametrize(
    ("text", "holding"),
    [("at least 3", {3, 4}), ("at most 3", {2, 3}), ("below 3", {2}), ("above 3", {4}),
     ("exactly 3", {3}), ("3", {3})],
)  # fmt: skip
def test_comparison(text: str, holding: set[int]) -> None:
    found = comparison(text)
    assert {value for value in (2, 3, 4) if found.holds(value)} == holding
    assert comparison(str(found)) == found


@pytest.mark.parametrize("text", ["", "below", "below 0", "under 3", ">= 3", "at least -1", "3.5",
                                  "at least  3", f"above {LARGEST}", f"{LARGEST + 1}"])  # fmt: skip
def test_no_comparison(text: str) -> None:
    with pytest.raises(MisfitError):
        comparison(text)


@given(st.sampled_from(("at least", "at most", "below", "above", "exactly")), st.integers(0, 12))
def test_comparison_is_possible_if_some_number_satisfies_it(op: str, number: int) -> None:
    found = Bound(op, number)
    assert found.possible(8) == any(found.holds(value) for value in range(9))


def test_names() -> None:
    assert names("infant") == Names(("infant",))
    assert names(["infant", "adult"]).holds("adult")
    assert not names(["infant", "adult"]).holds("elder")
    assert names("not infant") == Names(("infant",), negated=True)
    assert names("not infant").holds("adult")
    for found in (names("infant"), names(["infant", "adult"]), names("not infant")):
        assert names(found.written()) == found
    for value in ("", [], ["not infant"], [["infant"]], {}, None):
        with pytest.raises(MisfitError):
            names(value)


def test_name() -> None:
    for text in ("hunger", "lights_off", "old friend", "Ærø-2", "on", "a"):
        assert name(text) == text
    for text in ("", "1st", "_x", "a ", " a", "a.b", "a:b", "not a", "a\nb", "-"):
        with pytest.raises(MisfitError):
            name(text)


def test_count_and_change() -> None:
    assert count("010") == 10
    assert (change("+1"), change("-1"), change("2")) == (1, -1, 2)
    for text in ("", "1.0", "1e3", "0x1", "1_0", "-1", "٣", f"{LARGEST + 1}", "9" * 99):
        with pytest.raises(MisfitError):
            count(text)
    for text in ("", "++1", "1.5", f"-{LARGEST + 1}"):
        with pytest.raises(MisfitError):
            change(text)


def test_yes_or_no() -> None:
    assert [yes_or_no(text) for text in ("yes", "true", "no", "false")] == [
        True,
        True,
        False,
        False,
    ]
    for text in ("Yes", "y", "1", "on", ""):
        with pytest.raises(MisfitError):
            yes_or_no(text)
