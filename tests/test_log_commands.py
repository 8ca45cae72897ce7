"""Commands that write logs, say what is in them, and make them of notes."""

import json

import pytest

import petsim
from petsim.spec.library import load_model
from tests.life.worlds import pet, regime

LAMPLET = ("--model", "lamplet", "--days", "0.5")


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """An empty folder to work in."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def files(folder):
    return sorted(path.name for path in folder.iterdir())


def test_run_writes_what_a_rig_would_have_logged(told, folder):
    code, printed, aside = told("run", "camera-rig", "--life", "3", *LAMPLET, "--log", "pet")
    assert (code, aside) == (
        0,
        "pet.jsonl: written, what a rig would have logged, on nominal dates\n",
    )
    assert printed.startswith("Life 3 has no outcome yet")
    [life] = petsim.read_log("pet.jsonl")
    lived = petsim.simulate("lamplet", "camera-rig", life=3, days=0.5)
    assert life.entries == lived.log().entries
    assert files(folder) == ["pet.jsonl"]


def test_run_writes_the_truth_to_another_file_if_it_is_asked_for(told, folder):
    code, _, aside = told(
        *("run", "camera-rig", "--life", "3", *LAMPLET, "--log", "a.jsonl", "--truth", "b.jsonl")
    )
    assert (code, aside.splitlines()[1]) == (0, "b.jsonl: written, what truly was")
    header, *lines = [json.loads(line) for line in (folder / "b.jsonl").read_text().splitlines()]
    lived = petsim.simulate("lamplet", "camera-rig", life=3, days=0.5)
    assert header == {
        "petsim": "truth 1", "model": "lamplet", "regime": "camera-rig", "seed": 0, "life": 3,
    }  # fmt: skip
    seen = [(line["t"], name, line["is"][name], saw) for line in lines if line["event"] == "look"
            for name, saw in line["saw"].items()]  # fmt: skip
    assert seen == [(s.t, s.signal, s.truth, s.seen) for s in lived.sights]
    events = [line for line in lines if line["event"] != "look"]
    assert events == [event._asdict() for event in lived.entries]
    assert [line["t"] for line in lines] == sorted(line["t"] for line in lines)
    # and nothing of it is in the log
    assert not {"drop", "slipped", "miss"} & {
        json.loads(line)["event"] for line in (folder / "a.jsonl").read_text().splitlines()
    }


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (("--log", "there.jsonl"), "there.jsonl: is there already; expected a new file"),
        (("--log", "a", "--truth", "there"), "there.jsonl: is there already; expected a new file"),
        (("--log", "no/a"), "no/a.jsonl: can't be written: No such file or directory"),
        (("--truth", "a"), "--truth: is beside a log; expected --log with another file"),
        (("--log", "a", "--truth", "a"), "--truth: is beside a log; expected --log with another "
         "file"),
        (("--log", ""), "Invalid value for '--log': ''; expected the name of a new file"),
    ],
)  # fmt: skip
def test_log_that_cannot_be_written_is_told(told, folder, options, message):
    (folder / "there.jsonl").write_text("mine")
    code, printed, complaint = told("run", "hourly", *LAMPLET, *options)
    assert (code, printed) == (2, "")
    assert complaint.endswith(f"{message}\n")
    assert files(folder) == ["there.jsonl"]
    assert (folder / "there.jsonl").read_text() == "mine"


LINES = [
    {"n": 0, "event": "header", "petsim": "log 1", "pet": "mine", "regime": "mine.yaml",
     "signals": ["hunger", "waste", "form"]},
    {"n": 1, "event": "start"},
    {"n": 2, "event": "birth"},
    {"n": 3, "event": "check", "check": 1},
    {"n": 4, "event": "look", "check": 1, "saw": {"hunger": 3, "form": "chip"},
     "unreadable": ["waste"]},
    {"n": 5, "event": "pressing", "check": 1, "action": "feed"},
    {"n": 6, "event": "action", "check": 1, "action": "feed", "began": 5, "presses": 2},
    {"n": 9, "event": "skipped"},
    {"n": 10, "event": "look", "saw": {"hunger": 4}, "at": "2026-03-02T11:00:00Z"},
    {"n": 11, "event": "pet clock", "pet clock": "2026-03-02T11:00:00Z",
     "at": "2026-03-02T11:00:01Z"},
    {"n": 12, "event": "pet clock", "pet clock": "2026-03-02T11:00:30Z",
     "at": "2026-03-02T11:00:02Z"},
    {"n": 13, "event": "start", "boot": 2, "at": "2026-03-02T12:00:00Z"},
    {"n": 14, "event": "pressing", "action": "feed", "boot": 2, "at": "2026-03-02T12:00:01Z"},
    {"n": 15, "event": "end", "cause": "died", "boot": 2, "at": "2026-03-02T12:00:02Z"},
    {"n": 16, "event": "look", "saw": {}, "boot": 2, "at": "2026-03-02T12:00:03Z"},
]  # fmt: skip
SAYS = """\
a.jsonl: ok, a log of 1 life
  life 1: mine under mine.yaml, born Monday 10:59:53, 0.0 days, it died
    1 check, 1 skipped
    2 looks: hunger 2, form 1
    could not be made out: waste 1
    2 actions: feed 2, 1 unfinished
    the rig was up for 0.0 days; 1 outage, the longest 59 min 58 s
  line 16: was cut off, and does not count
  line 8: 2 lines missing before it
  line 9: the wall clock jumped by +3592 s, which no time here does
  line 11: the pet's clock has moved by +29 s
  1 entry between an end and the next birth: of no life
  what it can't say:
    waste is never looked at: how often it comes stays a guess
    ill is never looked at: illness stays a guess
    asleep is never looked at: when the pet sleeps stays a guess
    lights is never looked at: whether they are on is not known
    calling is never looked at: misbehaviour stays a guess
    weight is never looked at: what it does to illness and growth stays a guess
    discipline is never looked at: what changes it stays a guess
    fewer than 5 drops of hunger were seen as chip: its waits stay a guess
    1 power cut in all: how often they come is known roughly
"""


def eventful(folder):
    """A log in which much has happened."""
    lines = [
        {"at": f"2026-03-02T10:00:{n:02}Z", "up": n, "boot": 1} | line
        for n, line in enumerate(LINES)
    ]
    content = "".join(json.dumps(line) + "\n" for line in lines)
    (folder / "a.jsonl").write_text(content + '{"n":17,"at')


def test_check_and_show_say_what_is_in_a_log_and_what_it_cannot_say(told, folder):
    eventful(folder)
    for command in ("check", "show"):
        assert told(command, "a.jsonl") == (0, SAYS, "")


def test_check_prints_what_is_in_a_log_as_data(told, folder):
    eventful(folder)
    code, printed, _ = told("check", "a.jsonl", "hourly", "--json")
    regime, log = json.loads(printed)["files"]
    assert (code, regime["kind"], regime["log"]) == (0, "regime", None)
    [life] = log["log"].pop("lives")
    assert log["log"].pop("blind_spots")[-1] == (
        "1 power cut in all: how often they come is known roughly"
    )
    assert log["log"] == {
        "lines": 15, "cuts": [16], "gaps": [{"line": 8, "lost": 2}],
        "jumps": [{"line": 9, "by_s": 3592.0}], "drifts": [{"line": 11, "by_s": 29.0}],
        "outside": 1,
    }  # fmt: skip
    assert (life["seen"], life["actions"], life["outages_s"]) == (
        {"hunger": 2, "form": 1}, {"feed": 2}, [3598.0],
    )  # fmt: skip


def test_check_says_what_is_wrong_with_a_log(told, folder):
    (folder / "a.jsonl").write_text('{"n":0,"event":"start"}\n')
    code, printed, complaint = told("check", "a.jsonl")
    assert (code, printed) == (2, "")
    assert complaint.splitlines() == [
        f"a.jsonl:1:1: {key}: missing; expected it in a line of 'start'"
        for key in ("at", "up", "boot")
    ]
    code, printed, _ = told("check", "a.jsonl", "--json")
    [log] = json.loads(printed)["files"]
    assert (code, log["kind"], log["log"], len(log["problems"])) == (2, "log", None, 3)


def test_log_may_have_any_name(told, folder):
    petsim.simulate("lamplet", "hourly", days=0.1).log().write("a.log")
    code, printed, _ = told("check", "a.log")
    assert (code, printed.splitlines()[0]) == (0, "a.log: ok, a log of 1 life")


def test_log_of_more_needs_than_a_line_holds_is_refused(folder):
    model = pet(needs={f"need {n} {40 * 'x'}": {"full": 4} for n in range(99)}, care={"idle": {}})
    look = [*load_model(model).needs]
    log = petsim.simulate(model, regime({"look": look}, every=60), days=0.01).log()
    message = "log of a-pet: found a longer 'header'; expected at most 4,096 bytes"
    with pytest.raises(petsim.ArgumentError, match=f"^{message}$"):
        log.write("a.jsonl")
    assert files(folder) == []


# Notes

NOTES = """\
when,hunger,pile,moood,who,pressed
2026-03-02 09:05,3,1,2,me,"clean, feed"
2026-03-02 10:00,4,0,3,you,
"""


def test_import_makes_notes_a_log(told, folder):
    (folder / "notes.csv").write_text(NOTES)
    code, printed, aside = told(
        *("import", "notes.csv", "-o", "pet", "--time", "when", "--seen", "waste=pile", "--born")
    )
    assert (code, printed, aside) == (
        0,
        "pet.jsonl: written, a log of 2 checks; try: petsim check pet.jsonl\n",
        "column 'moood': left out; did you mean 'mood'?\ncolumn 'who': left out\n",
    )
    [life] = petsim.read_log("pet.jsonl")
    assert (life.is_born, len(life.entries)) == (True, 6)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (("-o", "a"), "notes.csv:1:1: found no column 'time'; expected one of 'when', 'hunger', "
         "'pile', 'moood', 'who', 'pressed'"),
        (("-o", "there", "--time", "when"), "there.jsonl: is there already; expected a new file"),
        (("-o", "no/a", "--time", "when"), "no/a.jsonl: can't be written: No such file or "
         "directory"),
        (("-o", "a", "--seen", "wast=pile"), "--seen: 'wast'; did you mean 'waste'?"),
        (("-o", "a", "--seen", "waste"), "Invalid value for '--seen': 'waste'; expected "
         "SIGNAL=COLUMN, such as hunger=food"),
        (("-o", "a", "--model", "lamplt"), "'lamplt': found the unknown model 'lamplt'; did you "
         "mean 'lamplet'? (a path to a file works too, such as ./lamplt.yaml)"),
    ],
)  # fmt: skip
def test_notes_that_cannot_be_imported_are_told(told, folder, options, message):
    (folder / "notes.csv").write_text(NOTES)
    (folder / "there.jsonl").write_text("mine")
    code, printed, complaint = told("import", "notes.csv", *options)
    assert (code, printed) == (2, "")
    assert complaint.endswith(f"{message}\n")
    assert files(folder) == ["notes.csv", "there.jsonl"]
    assert (folder / "there.jsonl").read_text() == "mine"
