"""The file of a rig's log: what is written is read back, and what is wrong with one is told."""

import json
import os
import time
from dataclasses import replace
from datetime import datetime, timedelta, timezone

import pytest

import petsim
from petsim.errors import ArgumentError, SpecError
from petsim.life.log import reader
from petsim.life.log.entries import Action, Check, Look, Run
from petsim.life.log.reader import Gap, Jump, read
from petsim.life.log.writer import text_of
from petsim.spec.clocks import Begins
from petsim.spec.library import shipped
from tests.drawn import in_rigs, in_worlds
from tests.life.worlds import alone, pet, regime

HEADER = {"event": "header", "petsim": "log 1", "pet": "mine", "signals": ["hunger", "form"]}
START = {"event": "start"}
CET = timezone(timedelta(hours=1))
NOON = datetime(2026, 3, 2, 12, tzinfo=CET)
"""On a Monday."""


def file(*said, step=1.0, **each):
    """A log of these lines, one a second."""
    return "".join(
        json.dumps({"n": n, "at": (NOON + timedelta(seconds=step * n)).isoformat(), "up": step * n,
                    "boot": 1} | each | line) + "\n"
        for n, line in enumerate(said)
    )  # fmt: skip


def at(**later):
    return (NOON + timedelta(**later)).isoformat()


@pytest.fixture
def path(tmp_path, monkeypatch):
    """The name of a file that is not there, in the folder where everything happens."""
    monkeypatch.chdir(tmp_path)
    return tmp_path / "log.jsonl"


def found(path, content):
    """What is read of a log."""
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return read("log.jsonl")


def refusal(path, content):
    """The lines of the message that refuses a log."""
    with pytest.raises(SpecError) as refused:
        found(path, content)
    assert str(refused.value).isprintable() or len(refused.value.lines) > 1
    return [*refused.value.lines]


def told(*said, **more):
    """Lines after a header and a start."""
    return file(HEADER, START, *said, **more)


# Round trips


def the_same_again(life, path):
    log = life.log()
    path.unlink(missing_ok=True)
    log.write(path)
    again = petsim.read_log(path)
    # of an action that was begun before the log there is no line
    whole = replace(log, source=str(path), lost=())
    assert again == ((whole,) if log.runs else ())


@pytest.mark.parametrize("name", shipped("regimes"))
def test_log_of_a_shipped_regime_is_read_as_it_was_written(name, path):
    model = petsim.load_regime(name).model or "lamplet"
    the_same_again(petsim.simulate(model, name, seed=3, days=1.5), path)


@in_worlds(80)
def test_log_of_a_world_is_read_as_it_was_written(world, path):
    life = petsim.simulate(
        world.model, world.regime, seed=world.seed, life=world.life, **world.span
    )
    the_same_again(life, path)


@in_rigs(80)
def test_log_of_a_rig_is_read_as_it_was_written(world, path):
    life = petsim.simulate(
        world.model, world.regime, seed=world.seed, life=world.life, **world.span
    )
    the_same_again(life, path)


def test_simulated_log_is_dated_from_the_first_week_of_2001(path):
    life = alone(pet(begins="Friday 08:15"), regime({"look": ["mood"]}, first="10 s", every=99),
                 until=70)  # fmt: skip
    head = '"at":"2001-01-05T08:15:%s.000+00:00","up":%d,"boot":1,"event":'
    assert text_of(replace(life.log(), source="a life")).splitlines() == [
        '{"n":0,' + head % ("00", 0) + '"header","petsim":"log 1","pet":"a-pet",'
        '"regime":"a-regime","signals":["mood","form","stage"]}',
        '{"n":1,' + head % ("00", 0) + '"start","cause":"power"}',
        '{"n":2,' + head % ("00", 0) + '"note","text":"simulated, on nominal dates: a life"}',
        '{"n":3,' + head % ("00", 0) + '"birth"}',
        '{"n":4,' + head % (10, 10) + '"check","check":1}',
        '{"n":5,' + head % (10, 10) + '"look","check":1,"step":1,"saw":{"mood":5,"form":"sprig",'
        '"stage":"young"}}',
        '{"n":6,"at":"2001-01-05T08:16:10.000+00:00","up":70,"boot":1,"event":"end",'
        '"cause":"left"}',
        '{"n":7,"at":"2001-01-05T08:16:10.000+00:00","up":70,"boot":1,"event":"stop"}',
    ]  # fmt: skip


def test_log_of_a_rig_without_a_regime_is_read_as_it_was_written(path):
    log = replace(petsim.simulate("lamplet", "hourly", days=0.1).log(), regime="")
    log.write(path)
    assert petsim.read_log(path) == (replace(log, source=str(path)),)


def test_log_is_never_written_over_a_file(path):
    log = petsim.simulate("lamplet", "hourly", days=0.01).log()
    path.write_text("mine")
    with pytest.raises(ArgumentError, match=r"log\.jsonl: is there already; expected a new file$"):
        log.write(path)
    assert path.read_text() == "mine"


# What lines mean


def test_a_log_as_a_rig_writes_it(path):
    content = """\
{"n":0,"at":"2026-03-02T09:00:03.120+01:00","up":12.418,"boot":1,"event":"header","petsim":"log 1",\
"pet":"mypet","regime":"camera-rig.yaml","regime sha256":"ab","signals":["hunger","mood","asleep",\
"form"],"pet clock":"2026-03-02T09:00:01.5+01:00"}
{"n":1,"at":"2026-03-02T09:00:03.722+01:00","up":13.02,"boot":1,"event":"start","cause":"power"}
{"n":2,"at":"2026-03-02T09:00:04.120+01:00","up":13.418,"boot":1,"event":"birth"}
{"n":3,"at":"2026-03-02T09:01:30.702+01:00","up":100.0,"boot":1,"event":"check","check":1,"by":"grid"}
{"n":4,"at":"2026-03-02T09:01:39.802+01:00","up":109.1,"boot":1,"event":"look","check":1,"step":2,\
"saw":{"asleep":false,"hunger":4,"form":"glint"},"unreadable":["mood"]}
{"n":5,"at":"2026-03-02T09:01:39.902+01:00","up":109.2,"boot":1,"event":"pressing","check":1,\
"action":"feed"}
{"n":6,"at":"2026-03-02T09:01:47.902+01:00","up":117.2,"boot":1,"event":"action","check":1,\
"action":"feed","began":109.2,"presses":3,"outcome":"unknown"}
{"n":7,"at":"2026-03-02T09:02:00.000+01:00","up":129.298,"boot":1,"event":"status","check":1,\
"weight":12,"age":0}
{"n":8,"at":"2026-03-02T09:02:01.000+01:00","up":130.298,"boot":1,"event":"skipped","by":"call"}
"""
    [life] = found(path, content).lives
    # the pet's clock is 1.62 s behind the rig's
    assert (life.begins, life.is_born) == (Begins(0, 9 * 3600 + 2), True)
    assert (life.pet, life.regime, life.signals) == (
        "mypet", "camera-rig.yaml", ("hunger", "mood", "asleep", "form"),
    )  # fmt: skip
    saw = {"asleep": False, "hunger": 4, "form": "glint"}
    assert life.entries == (
        Check(86.582, 1),
        Look(95.682, 1, 2, saw, ("mood",)),
        Action(103.782, 1, "feed", 95.782, 3),
        Look(115.88, 1, 0, {"weight": 12, "age": 0}),
    )
    assert (life.skipped, life.end, life.until) == ((116.88,), None, 116.88)
    assert life.runs == (Run(0, 116.88, is_clean=False),)


def test_life_that_was_not_born_in_its_log_begins_with_its_first_line(path):
    [life] = found(path, told({"event": "check", "check": 7})).lives
    assert (life.is_born, life.entries) == (False, (Check(2, 7),))
    assert life.begins == Begins(0, 12 * 3600)


def test_log_may_have_several_lives(path):
    look = {"event": "look", "saw": {"hunger": 1}}
    died, birth = {"event": "end", "cause": "died"}, {"event": "birth"}
    log = found(path, told(birth, {"event": "check", "check": 1}, look, died, look, birth, look))
    first, second = log.lives
    assert (first.is_born, first.end, first.until) == (True, "died", 3)
    assert first.runs == (Run(0, 3, is_clean=True),)
    assert (second.is_born, second.end, second.entries) == (
        True,
        None,
        (Look(1, 0, 0, {"hunger": 1}),),
    )
    assert second.runs == (Run(0, 1, is_clean=False),)
    assert log.outside == 1


def test_birth_ends_the_life_before_it(path):
    birth, look = {"event": "birth"}, {"event": "look", "saw": {"hunger": 1}}
    first, second = found(path, told(look, birth, look)).lives
    assert (first.is_born, first.end, first.until) == (False, None, 2)
    assert (second.is_born, len(second.entries)) == (True, 1)


@pytest.mark.parametrize(
    ("name", "content", "is_one"),
    [
        ("any.jsonl", "no log at all", True),
        ("log.txt", file(HEADER).replace(" ", ""), True),
        ("log.txt", file(HEADER), True),
        ("other.txt", '{"petsim": "truth 1"}\n', False),
    ],
)
def test_a_log_is_known_by_its_name_or_how_it_begins(name, content, is_one, path):
    path.with_name(name).write_text(content, "utf-8")
    assert reader.is_log(path.with_name(name)) is is_one
    assert not reader.is_log(path.with_name("missing.txt"))


def test_header_alone_tells_of_no_life(path):
    assert found(path, told()).lives == ()


def test_action_that_has_its_first_press_only_is_unfinished(path):
    pressing = {"event": "pressing", "action": "feed", "check": 1}
    other = {"event": "action", "action": "clean", "began": 3, "presses": 1, "outcome": "refused"}
    [life] = found(path, told({"event": "check", "check": 1}, pressing, other)).lives
    assert life.entries[1:] == (
        Action(3, 1, "feed", 3, 0, "unfinished"),
        Action(4, 0, "clean", 3, 1, "refused"),
    )


def test_names_are_in_one_spelling(path):
    header = HEADER | {"signals": ["lu\u0308cke"]}
    [life] = found(path, file(header, START, {"event": "look", "saw": {"lu\u0308cke": 2}})).lives
    assert life.entries[0].saw == {"l\u00fccke": 2}
    assert life.signals == ("l\u00fccke",)


# Clocks


def test_wall_clock_that_jumps_changes_no_time(path):
    looks = [{"event": "look", "saw": {"hunger": 1}}] * 2
    jumped = {"event": "look", "saw": {"hunger": 2}, "at": at(hours=1)}
    log = found(path, told(*looks, jumped))
    assert log.jumps == (Jump(5, 3596.0),)
    [life] = log.lives
    assert [look.t for look in life.entries] == [2, 3, 4]
    # a rig that learns the time late had the wrong one before
    assert life.begins == Begins(0, 13 * 3600 - 4)


def test_wall_clock_that_is_set_by_two_seconds_is_no_jump(path):
    log = found(path, told({"event": "look", "saw": {"hunger": 1}, "at": at(seconds=4)}))
    assert log.jumps == ()


def test_time_from_one_boot_to_the_next_is_that_of_the_wall_clock(path):
    restart = {"event": "start", "boot": 2, "up": 5, "at": at(minutes=10)}
    look = {"event": "look", "boot": 2, "up": 65, "at": at(minutes=11), "saw": {"hunger": 1}}
    [life] = found(path, told({"event": "check", "check": 1}, restart, look)).lives
    assert [entry.t for entry in life.entries] == [2, 660]
    assert life.runs == (Run(1, 2, is_clean=False), Run(600, 660, is_clean=False))


def test_wall_clock_that_goes_back_from_one_boot_to_the_next_stands_still(path):
    restart = {"event": "start", "boot": 2, "up": 5, "at": at(minutes=-10)}
    look = {"event": "look", "boot": 2, "up": 65, "at": at(minutes=-9), "saw": {"hunger": 1}}
    log = found(path, told({"event": "check", "check": 1}, restart, look))
    assert [entry.t for entry in log.lives[0].entries] == [2, 62]
    assert log.jumps == (Jump(4, -602.0),)


def test_offset_of_local_time_that_changes_moves_nothing(path):
    later = {"event": "look", "saw": {"hunger": 1}, "at": "2026-03-02T13:00:02+02:00"}
    log = found(path, told(later))
    assert (log.jumps, log.lives[0].entries[0].t) == ((), 2)
    assert log.lives[0].begins == Begins(0, 12 * 3600)


@pytest.mark.parametrize(
    ("clock", "begins"),
    [("2026-03-02T11:30:02+01:00", Begins(0, 41_400)), ("2026-03-01T23:59:59Z", Begins(6, 86_397))],
)
def test_pet_clock_says_when_a_life_begins(clock, begins, path):
    reading = {"event": "pet clock", "pet clock": clock}
    assert found(path, told(reading, {"event": "check", "check": 1})).lives[0].begins == begins


def test_pet_clock_that_drifts_is_told(path):
    readings = [
        {"event": "pet clock", "pet clock": at(seconds=second)} for second in (-60, -59, -53, -52)
    ]
    log = found(path, told(*readings, {"event": "check", "check": 1}))
    assert log.drifts == (Jump(5, 5.0),)
    assert log.lives[0].begins == Begins(0, 12 * 3600 - 62)


# What is lost


@pytest.mark.parametrize("cut", ['{"n":2,"at":"20', "{", "\0\0\0", "\0" * 9000, '{"n": 2,\xff'])
def test_last_line_without_an_end_was_cut_off(cut, path):
    log = found(path, told().encode() + cut.encode("latin-1"))
    assert (log.lines, log.cuts, log.gaps) == (2, (3,), ())


@pytest.mark.parametrize("cut", ['{"n":2,"at":"20', "", "\0" * 9000])
@pytest.mark.parametrize("n", [2, 3])
def test_line_before_a_start_that_cannot_be_read_was_cut_off(cut, n, path):
    # whoever goes on may have counted the line that was cut off
    log = found(path, told() + cut + "\n" + file(START, boot=2).replace('"n": 0', f'"n": {n}'))
    assert (log.lines, log.cuts, log.gaps) == (3, (3,), ())


def test_whole_line_without_an_end_counts(path):
    log = found(path, told({"event": "check", "check": 1}).removesuffix("\n"))
    assert (log.cuts, len(log.lives[0].entries)) == ((), 1)


def test_lines_that_are_missing_are_counted_and_their_time_is_lost(path):
    look = {"event": "look", "saw": {"hunger": 1}}
    log = found(path, told(look, look | {"n": 7}, look | {"n": 8}))
    assert log.gaps == (Gap(4, 4),)
    assert log.lives[0].lost == ((2, 3),)


# What is wrong


LOOK = {"event": "look", "saw": {"hunger": 1}}
ACTION = {"event": "action", "action": "feed", "began": 1, "presses": 1}


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ({}, "1: event: missing; expected what the line tells, such as 'look'"),
        ({"event": 3}, "event: found 3; expected the name of an event, such as 'look'"),
        ({"event": "lok"}, "event: found the unknown event 'lok'; did you mean 'look'?"),
        ({"event": "look"}, "1: saw: missing; expected it in a line of 'look'"),
        (LOOK | {"chek": 1}, "chek: found the unknown key 'chek'; did you mean 'check'?"),
        (LOOK | {"c\ud800": 1}, "1: 'c\\ud800': found the unknown key 'c\\ud800'; expected one "
         "of 'n', 'at', 'up', 'boot', 'saw', 'check', 'step', 'unreadable', 'event'"),
        (LOOK | {"boot": True}, "boot: found true; expected a whole number, 0 or more"),
        (LOOK | {"boot": 0}, "boot: found 0; expected at least 1"),
        (LOOK | {"boot": 10**400}, f"boot: found 1{400 * '0'}; expected a whole number, 0 or more"),
        (LOOK | {"up": -1}, "up: found -1; expected seconds, 0 or more"),
        (LOOK | {"up": "3"}, "up: found '3'; expected seconds, 0 or more"),
        (LOOK | {"up": 0.5}, "up: found 0.5; expected at least 1, as in the line before, or "
         "another boot"),
        (LOOK | {"n": 1}, "n: found 1; expected 2, as the last was 1"),
        (LOOK | {"at": "2026-03-02 12:00"}, "at: found '2026-03-02 12:00'; expected a time with "
         "its offset from UTC, as in RFC 3339, such as 2026-03-02T09:00:03.120+01:00"),
        (LOOK | {"at": "2026-02-30T12:00:00Z"}, "at: found '2026-02-30T12:00:00Z'; expected a time "
         "with its offset from UTC, as in RFC 3339, such as 2026-03-02T09:00:03.120+01:00"),
        (LOOK | {"at": "1970-01-01T00:00:00Z"}, "at: found '1970-01-01T00:00:00Z'; expected a year "
         "from 2000 to 2099"),
        (LOOK | {"saw": [1]}, 'saw: found a list; expected signals with what was seen, such as '
         '{"hunger": 3}'),
        (LOOK | {"saw": {"hungry": 1}}, "saw: found the signal 'hungry', which the header does not "
         "list; did you mean 'hunger'?"),
        (LOOK | {"saw": {"hunger": True}}, "saw.hunger: found true; expected a whole number, 0 to "
         "1000"),
        (LOOK | {"saw": {"hunger": 1001}}, "saw.hunger: found 1001; expected a whole number, 0 to "
         "1000"),
        (LOOK | {"saw": {"ill": 1}}, "saw.ill: found 1; expected true or false"),
        (LOOK | {"saw": {"form": ""}}, "saw.form: found an empty text; expected a name: a letter "
         "first, then letters, digits, spaces, _ or -"),
        (LOOK | {"saw": {"\x1b[2J": 1}}, "saw.'\\x1b[2J': found '\\x1b[2J'; expected a name: a "
         "letter first, then letters, digits, spaces, _ or -"),
        (LOOK | {"saw": {"form": "\ud800"}}, "saw.form: found '\\ud800'; expected a name: a letter "
         "first, then letters, digits, spaces, _ or -"),
        (LOOK | {"unreadable": ["mood"]}, "saw: found the signal 'mood', which the header does not "
         "list; expected one of 'hunger', 'form'"),
        (LOOK | {"unreadable": "mood"}, "unreadable: found 'mood'; expected a list of signals, "
         'such as ["hunger", "waste"]'),
        (LOOK | {"unreadable": ["form", "form"]}, "unreadable[1]: found 'form'; expected each "
         "signal once"),
        (ACTION | {"outcome": "failed"}, "outcome: found 'failed'; expected one of 'took', "
         "'refused', 'lost', 'unknown'"),
        (ACTION | {"outcome": "unfinished"}, "outcome: found 'unfinished'; expected one of 'took', "
         "'refused', 'lost', 'unknown'"),
        (ACTION | {"began": 9}, "began: found 9; expected at most the 2 of `up`"),
        (ACTION | {"action": None}, "action: found null; expected a name, as text"),
        ({"event": "status"}, "1: found none; expected 'weight', 'discipline' or 'age'"),
        ({"event": "status", "discipline": 101}, "discipline: found 101; expected a whole number, "
         "0 to 100"),
        ({"event": "end", "cause": "dead"}, "cause: found 'dead'; did you mean 'died'?"),
        ({"event": "note", "text": "a\nb"}, "text: found 'a\\nb'; expected a text in one line, "
         "without control characters"),
        ({"event": "note", "text": 501 * "a"}, f"text: found '{59 * 'a'}…'; expected at most 500 "
         "characters"),
        ({"event": "check", "check": 0}, "check: found 0; expected a whole number, 1 or more"),
        ({"event": "check", "check": 1, "by": "me"}, "by: found 'me'; expected one of 'grid', "
         "'call'"),
        (HEADER | {"petsim": "log 2"}, "petsim: found 'log 2'; did you mean 'log 1'?"),
        (HEADER | {"signals": ["clock"]}, "signals[0]: found 'clock'; expected signals of the pet, "
         "as the time is what `at` says"),
        (HEADER | {"pet": " "}, "pet: found ' '; expected a text in one line, without control "
         "characters"),
    ],
)  # fmt: skip
def test_line_that_is_wrong_is_told_with_its_field(line, message, path):
    content = told(line)
    [told_as] = refusal(path, content)
    place, _, rest = told_as.partition(": ")
    if message.startswith("1: "):
        assert told_as == f"log.jsonl:3:{message}"
    else:
        key = message.partition(":")[0].partition(".")[0].partition("[")[0]
        column = content.splitlines()[2].find(f'"{key}"') + 1
        assert (place, rest) == (f"log.jsonl:3:{column}", message)


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("", "found an empty line"),
        ("[1]", "found a list"),
        ('"look"', "found 'look'"),
        ("NaN", "found NaN, which is no number of JSON"),
        ('{"n":-Infinity}', "found -Infinity, which is no number of JSON"),
        ('{"n":1e999}', "found '1e999', which is no number of JSON"),
        ("[" * 4000, "found no such JSON"),
        ("1" * 4000, "found a line"),
        ("x" * 4096, "found a line of more than 4,096 bytes"),
        ("{'n':2}", '2: found "\'", which is no JSON there'),
        ('{"n":2', "7: found the end of the line, which is no JSON there"),
        (b"\xff", "found the byte 0xff, which is no UTF-8"),
        (b'{"\xed\xa0\x80":1}', "3: found the byte 0xed, which is no UTF-8"),
    ],
)
def test_line_that_cannot_be_read_is_told_with_its_column(content, message, path):
    if content == "1" * 4000:
        message = f"found {content}"
    column, colon, rest = message.partition(": ")
    expected = f"log.jsonl:3:{column if colon else 1}: {rest or message}; "
    content = content.encode() if isinstance(content, str) else content
    after = file(HEADER, START, LOOK, {"event": "alive"}).splitlines(keepends=True)[3].encode()
    whole = told().encode() + content + b"\n" + after
    assert refusal(path, whole) == [f"{expected}expected a line of a log, a JSON object"]


def test_key_that_is_there_twice_is_refused(path):
    twice = told(LOOK).replace('"up": 2.0', '"up": 2.0, "up": 3.0')
    [message] = refusal(path, twice)
    assert message.endswith(": up: found the key again; expected it once")


def test_checks_count_on_in_a_life(path):
    birth, check = {"event": "birth"}, {"event": "check", "check": 3}
    lines = told(birth, check, check, LOOK | {"check": 2}, birth, check | {"check": 1})
    place = "log.jsonl:{}:{}: check: found {}; expected at least {}"
    assert [line.partition(": ")[2] for line in refusal(path, lines)] == [
        "check: found 3; expected at least 4", "check: found 2; expected at least 3",
    ], place  # fmt: skip


def test_all_that_is_wrong_is_told_at_once_and_of_very_much_the_first(path):
    message = refusal(path, told(*[{"event": "lok"}] * 70))
    assert len(message) == 51
    assert message[0].startswith("log.jsonl:3:")
    assert message[-1] == "20 more problems"


def test_log_that_is_wrong_throughout_is_not_read_to_its_end(path):
    began = time.process_time()
    message = refusal(path, told() + "{}\n" * 1_000_000)
    assert message[-1] == "950 more problems"
    assert time.process_time() - began < 2


def test_log_begins_with_its_header(path):
    assert refusal(path, file(START)) == [
        "log.jsonl:1:67: event: found 'start'; expected the 'header' of a log as its first line"
    ]
    # and what follows is not told of, as it may be no log at all
    assert refusal(path, "{}\n" * 9) == [
        "log.jsonl:1:1: event: missing; expected what the line tells, such as 'look'"
    ]
    [message] = refusal(path, file({**HEADER, "petsim": "log 2"}, {}, {}))
    assert message.endswith(": petsim: found 'log 2'; did you mean 'log 1'?")
    assert refusal(path, "") == ["log.jsonl:1:1: found nothing; expected the header of a log first"]
    assert refusal(path, '{"n":0,') == [
        "log.jsonl:1:1: found no whole line; expected the header of a log first"
    ]


def test_what_is_no_file_is_refused(path, monkeypatch):
    def message(name):
        with pytest.raises(SpecError) as refused:
            read(name)
        return str(refused.value)

    assert message("log.jsonl") == "log.jsonl: no such file; expected a log"
    assert message(".") == ".: found a directory; expected a log"
    assert message("\0") == "\\x00: cannot be read: embedded null byte; expected a log"
    os.mkfifo("pipe")
    assert message("pipe") == "pipe: found a pipe; expected a log"
    path.write_text(told())
    monkeypatch.setattr(reader, "LARGEST_LOG", 100)
    size = path.stat().st_size
    assert message("log.jsonl") == f"log.jsonl: found {size} bytes; expected at most 100"
