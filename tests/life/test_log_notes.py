"""A table of notes becomes a log, or what is wrong with it is told by row and column."""

import pytest

import petsim
from petsim.errors import SpecError
from petsim.life.log import notes as module
from petsim.life.log.entries import Action, Check, Look, Run
from petsim.life.log.notes import Columns, notes
from petsim.spec.clocks import Begins

LAMPLET = petsim.load_model("lamplet")
HEAD = "time,hunger,waste,ill,lights,form,weight,discipline,pressed\n"
FIRST = "2026-03-02 09:05,3,1,no,on,glint,12,0,feed\n"


@pytest.fixture
def table(tmp_path, monkeypatch):
    """What becomes of a table of notes, in the folder where everything happens."""
    monkeypatch.chdir(tmp_path)

    def become(content, columns=None, *, is_born=False):
        data = content if isinstance(content, bytes) else content.encode()
        (tmp_path / "notes.csv").write_bytes(data)
        return notes("notes.csv", LAMPLET, columns or Columns(), is_born=is_born)

    return become


@pytest.fixture
def lives(table, tmp_path):
    """The lives of the log that a table of notes becomes."""

    def read(content, columns=None, **how):
        (tmp_path / "a.jsonl").write_text(table(content, columns, **how).text)
        return petsim.read_log("a.jsonl")

    return read


@pytest.fixture
def refusal(table):
    """The lines of the message that refuses a table."""

    def refuse(content, columns=None):
        with pytest.raises(SpecError) as refused:
            table(content, columns)
        return [*refused.value.lines]

    return refuse


def test_rows_are_checks_with_what_was_seen_and_pressed(lives):
    rows = ['2026-03-02 09:05:30,?,,YES,Off,,,,"clean, feed+feed"\n', ",,,,,,,,\n",
            "2026-03-02T10:00,4,0,0,1,glint,,,\n"]  # fmt: skip
    [life] = lives(HEAD + FIRST + "".join(rows))
    assert (life.begins, life.is_born, life.end, life.pet) == (
        Begins(0, 9 * 3600 + 300), False, None, "lamplet",
    )  # fmt: skip
    assert life.signals == ("hunger", "waste", "ill", "lights", "form", "weight", "discipline")
    first = {"hunger": 3, "waste": 1, "ill": False, "lights": True, "form": "glint", "weight": 12,
             "discipline": 0}  # fmt: skip
    assert life.entries == (
        Check(0, 1),
        Look(0, 1, 0, first),
        Action(0, 1, "feed", 0, 1),
        Check(30, 2),
        Look(30, 2, 0, {"ill": True, "lights": False}, ("hunger",)),
        Action(30, 2, "clean", 30, 1),
        Action(30, 2, "feed", 30, 1),
        Action(30, 2, "feed", 30, 1),
        Check(3300, 3),
        Look(3300, 3, 0, {"hunger": 4, "waste": 0, "ill": False, "lights": True, "form": "glint"}),
    )
    assert life.runs == (Run(0, 3300, is_clean=True),)


def test_rows_of_one_time_are_one_check(lives):
    again = FIRST.replace(",3,", ",4,")
    [life] = lives(HEAD + FIRST + again, is_born=True)
    assert life.is_born
    kinds = [type(entry).__name__ for entry in life.entries]
    assert kinds == ["Check", "Look", "Action", "Look", "Action"]


def test_columns_are_those_that_the_user_names(lives):
    content = "\ufeffwhen;food;what\n2026-03-02 09:05;2;feed\n"
    [life] = lives(content, Columns("when", "what", {"hunger": "food"}))
    assert life.entries[1:] == (Look(0, 1, 0, {"hunger": 2}), Action(0, 1, "feed", 0, 1))


def test_row_in_which_nothing_was_seen_is_no_look(lives):
    [life] = lives("time\thunger\tpressed\n2026-03-02 09:05\t\tfeed\n")
    assert life.entries == (Check(0, 1), Action(0, 1, "feed", 0, 1))


def test_other_columns_are_left_out_and_what_they_may_mean_is_told(table):
    found = table("time,hunger,moood,who\n2026-03-02 09:05,2,3,me\n")
    assert found.left_out == {"moood": "mood", "who": None}
    assert found.checks == 1


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ("2 March,3", "1: time: found '2 March'; expected a date and a time, such as "
         "2026-03-02 09:05"),
        (",3", "1: time: found nothing; expected a date and a time, such as 2026-03-02 09:05"),
        ("2026-02-30 09:05,3", "1: time: found '2026-02-30 09:05'; expected a date and a time, "
         "such as 2026-03-02 09:05"),
        ("1026-03-02 09:05,3", "1: time: found '1026-03-02 09:05'; expected a year from 2000 to "
         "2099"),
        ("2026-03-02 09:04,3", "1: time: found '2026-03-02 09:04'; expected no earlier time than "
         "2026-03-02 09:05:00"),
        ("2026-03-02 09:06,7", "2: hunger: found '7'; expected a whole number, 0 to 6"),
        ("2026-03-02 09:06,-1", "2: hunger: found '-1'; expected a whole number, 0 to 6"),
        ("2026-03-02 09:06,,99999999999", "3: waste: found '99999999999'; expected a whole number, "
         "0 or more"),
        ("2026-03-02 09:06,,,maybe", "4: ill: found 'maybe'; expected yes or no"),
        ("2026-03-02 09:06,,,,out", "5: lights: found 'out'; expected on or off"),
        ("2026-03-02 09:06,,,,,glnt", "6: form: found 'glnt'; did you mean 'glint'?"),
        ("2026-03-02 09:06,,,,,,,101", "8: discipline: found '101'; expected a whole number, 0 to "
         "100"),
        ('2026-03-02 09:06,,,,,,,,"feed, clen"', "9: pressed: found 'clen'; did you mean 'clean'?"),
        ("2026-03-02 09:06,,,,,,,,feed clean", "9: pressed: found 'feed clean'; expected a "
         "semicolon between actions: 'feed; clean'"),
        ('2026-03-02 09:06,"3', "1: cannot be read as CSV (unexpected end of data); expected CSV"),
    ],
)  # fmt: skip
def test_cell_that_is_wrong_is_told_with_its_row_and_column(row, message, refusal):
    assert refusal(HEAD + FIRST + row + "\n") == [f"notes.csv:3:{message}"]


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("", "notes.csv:1:1: found no column 'time'; expected none, as there are none"),
        ("tme,hunger\n", "notes.csv:1:1: found no column 'time'; did you mean 'tme'?"),
        ("time,hunger,hunger\n", "notes.csv:1:3: hunger: found the column again; expected it once"),
        ("time,who\n", "notes.csv:1:1: found no column of what was seen; expected one of a signal, "
         "such as 'hunger'"),
        ("time,hunger\n", "notes.csv:1:1: found no row; expected one row or more below the names"),
        (b"time,hunger\n\xff", "notes.csv:2:1: found the byte 0xff; expected text in UTF-8"),
    ],
)  # fmt: skip
def test_table_that_is_wrong_is_told(content, message, refusal):
    assert refusal(content) == [message]


def test_column_that_the_user_names_has_to_be_there(refusal):
    assert refusal(HEAD + FIRST, Columns(seen={"mood": "fun"})) == [
        "notes.csv:1:1: found no column 'fun'; expected one of 'time', 'hunger', 'waste', 'ill', "
        "'lights', 'form', 'weight', 'discipline', 'pressed'"
    ]


def test_all_that_is_wrong_is_told_and_of_very_much_the_first(refusal):
    message = refusal(HEAD + FIRST + "x,9\n" * 40)
    assert message[:2] == [
        "notes.csv:3:1: time: found 'x'; expected a date and a time, such as 2026-03-02 09:05",
        "notes.csv:3:2: hunger: found '9'; expected a whole number, 0 to 6",
    ]
    assert (len(message), message[-1]) == (51, "30 more problems")


def test_table_that_cannot_be_read_is_refused(tmp_path, refusal, monkeypatch):
    def message(name):
        with pytest.raises(SpecError) as refused:
            notes(name, LAMPLET, Columns(), is_born=False)
        return str(refused.value)

    monkeypatch.chdir(tmp_path)
    assert message("no.csv") == "no.csv: no such file; expected a table, as CSV"
    assert message(".") == ".: found a directory; expected a table, as CSV"
    assert message("\0") == "\\x00: cannot be read: embedded null byte; expected a table, as CSV"
    monkeypatch.setattr(module, "LARGEST_TABLE", 100)
    assert refusal(HEAD + FIRST) == ["notes.csv: found more than 100 bytes; expected fewer"]
