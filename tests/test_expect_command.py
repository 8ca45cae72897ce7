"""`petsim expect`: what it takes, refuses, prints and writes."""

import json
import re

import pytest

import petsim
from petsim.cli import BAD_INPUT

FEW = ("--lives", "40", "--days", "2")


@pytest.fixture
def printed(told):
    """Run a command that succeeds: what it printed."""

    def run(*arguments):
        code, out, _ = told(*arguments)
        assert code == 0
        return out

    return run


@pytest.fixture
def refused(told):
    """Run a command that is refused: what it complained of."""

    def run(*arguments):
        code, out, complaint = told(*arguments)
        assert (code, out) == (BAD_INPUT, "")
        return complaint

    return run


@pytest.fixture
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_it_says_what_the_counters_should_show(printed):
    text = printed("expect", "camera-rig", *FEW)
    assert text.startswith("In 2 quiet days under camera-rig, all counters stay within these bands")
    assert re.search(r"day 1, Mon +\d+ \(\d+ to \d+\)", text)
    assert text == printed("expect", "camera-rig", *FEW)
    assert text == f"{petsim.expect('lamplet', 'camera-rig', lives=40, days=2)}\n"


def test_regimes_are_shown_side_by_side(printed):
    text = printed("expect", "office-rota", "office-rota-gap", *FEW)
    assert "office-rota-gap has more by" in text


def test_a_day_is_shown_by_hour(printed):
    text = printed("expect", "office-rota-gap", "--day", "1", "--lives", "20")
    assert text.startswith("On day 1, a Monday, office-rota-gap carries out ")
    assert "in a window without checks 3.0" in text.replace("\n", " ")
    assert re.search(r"spark to glint +100 % +09:05 \(09:05 to 09:05\)", text)


def test_a_log_is_held_against_the_bands(printed, here):
    petsim.simulate("lamplet", "camera-rig", days=2, seed=5).log().write("a.jsonl")
    how = ("--against", "a.jsonl", "--lives", "100")
    assert printed("expect", "camera-rig", *how).startswith(
        "All counts of 2 days of a.jsonl are with"
    )
    text = printed("expect", "ten-minute", *how)
    assert re.match(r"Of 2 days of a.jsonl, \d+ counts are outside the bands of lamplet", text)
    assert "too many" in text


def test_a_rota_is_written_as_a_calendar(printed, here):
    how = ("--ics", "rota.ics", "--from", "2027-01-04", "--days", "7")
    assert printed("expect", "office-rota", *how) == (
        "rota.ics: written, 212 checks on 7 days from 2027-01-04\n"
    )
    written = (here / "rota.ics").read_bytes()
    assert written.startswith(b"BEGIN:VCALENDAR\r\n") and written.endswith(b"END:VCALENDAR\r\n")
    assert written.count(b"BEGIN:VEVENT") == 31
    (here / "rota.ics").unlink()
    printed("expect", "office-rota", *how)
    assert (here / "rota.ics").read_bytes() == written


def test_a_picture_and_a_page_are_written(printed, here):
    printed("expect", "camera-rig", *FEW, "--plot", "a.svg", "--report", "a.html")
    assert "camera-rig?" in (here / "a.svg").read_text()
    page = (here / "a.html").read_text()
    assert "What should the counters show under camera-rig?" in page
    assert re.search(r"petsim expect camera-rig .*--lives 40 .*--confidence 0.95 --days 2 ", page)


def test_a_pet_as_it_is_now_begins_with_the_rest_of_its_day(printed, here):
    printed("run", "camera-rig", "--until", "day 3 12:00", "--write-pet", "now.yaml")
    text = printed("expect", "camera-rig", "--pet", "now.yaml", *FEW)
    assert "day 1, Wed" in text and "Day 1 is from 12:00 to midnight." in text


def test_data_of_a_log_are_data(printed, here):
    petsim.simulate("lamplet", "camera-rig", days=2, seed=5).log().write("a.jsonl")
    how = ("--against", "a.jsonl", "--lives", "100", "--json")
    data = json.loads(printed("expect", "ten-minute", *how))
    assert data["days"] == [1, 2] and data["outside"]


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["--ics", "a.ics"], "--ics: needs the date of day 1; expected --ics and --from together"),
        (["--from", "2027-01-04"], "--ics: needs the date of day 1; expected --ics and --from tog"),
        (["--ics", "a.ics", "--from", "4 Jan"], "expected a date such as 2027-01-04"),
        (["--ics", "a.ics", "--from", "2027-01-04"], "camera-rig: 144 checks on a day, with check"),
        (["--day", "0"], "expected a whole number from 1 up"),
        (["--day", "2", "--days", "3"], "--day: not allowed with --days"),
        (["--ics", "a.ics", "--from", "2027-01-04", "--json"], "--ics: not allowed with --json"),
        (["--against", "none.jsonl", "--plot", "a.svg"], "--against: not allowed with --plot"),
        (["hourly", "--day", "2"], "--day: of camera-rig or of hourly? expected one regime"),
        (["--against", "none.jsonl"], "none.jsonl"),
        (["--lives", "10"], "lives: 10; expected at least 38 for bands of 95 %"),
        (["--confidence", "100%"], "expected a share above 0 and below 1"),
        (["--plot", "a.txt"], ".svg"),
    ],
)
def test_what_can_not_be_is_refused(more, said, refused, here):
    assert said in refused("expect", "camera-rig", *more)
    assert not [*here.iterdir()]


def test_a_calendar_that_is_there_already_is_left(refused, here):
    (here / "a.ics").write_text("mine")
    how = ("--ics", "a.ics", "--from", "2027-01-04")
    assert "a.ics: is there already; expected a new file" in refused("expect", "hourly", *how)
    assert (here / "a.ics").read_text() == "mine"
