"""What the manual page of logs says is so."""

import re
from pathlib import Path

import pytest

import petsim
from petsim.life.log import lines
from petsim.life.log.notes import Columns, notes
from petsim.life.log.reader import read

PAGE = (Path(lines.__file__).parent / "README.md").read_text(encoding="utf-8")


def block(mark):
    """The code block below a mark of the page."""
    [code] = re.findall(rf"<!-- {mark} -->\n```\w+\n(.*?)```", PAGE, re.DOTALL)
    return code


def table(head):
    """The rows of the table with a first column of this name."""
    [rows] = re.findall(rf"^\| {head} \|.*\n\|[-|]+\n((?:\|.*\n)+)", PAGE, re.MULTILINE)
    return [[cell.strip() for cell in row.strip("|").split("|")] for row in rows.splitlines()]


def test_events_and_their_keys_are_all_on_the_page():
    told = {}
    for event, keys, _ in table("event"):
        told[event.strip("`")] = (
            {*re.findall(r"(?<!\[)`([\w ]+)`", keys)}, {*re.findall(r"\[`([\w ]+)`\]", keys)},
        )  # fmt: skip
    assert told == {name: ({*event.must}, {*event.may}) for name, event in lines.EVENTS.items()}


def test_keys_of_every_line_are_on_the_page():
    line = lines.read_line(1, block("log").splitlines()[-1].encode())
    assert line.event == "alive"
    assert [key.strip("`") for key, _ in table("key")] == ["n", "at", "up", "boot", "event"]


def test_log_on_the_page_is_read(tmp_path):
    (tmp_path / "a.jsonl").write_text(block("log"))
    log = read(tmp_path / "a.jsonl")
    assert (log.cuts, log.gaps, log.jumps, log.drifts) == ((), (), (), ())
    [life] = log.lives
    assert [type(entry).__name__ for entry in life.entries] == ["Check", "Look", "Action"]


def test_notes_on_the_page_become_a_log(tmp_path):
    (tmp_path / "notes.csv").write_text(block("notes"))
    model = petsim.load_model("lamplet")
    found = notes(tmp_path / "notes.csv", model, Columns(), is_born=False)
    assert (found.checks, found.left_out) == (3, {})


def test_code_on_the_page_runs(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    [code] = re.findall(r"```python\n(.*?)```", PAGE, re.DOTALL)
    exec(compile(code, "page", "exec"), {})
    [life] = petsim.read_log("pet.jsonl")
    assert (life.is_born, len(life.entries)) == (True, 2)


@pytest.mark.parametrize("number", ["4096", "2 s", "once a minute"])
def test_limits_on_the_page_are_those_of_the_code(number):
    from petsim.life.log import entries, reader

    assert number in PAGE
    assert (lines.LONGEST_LINE, reader.JUMP, entries.ALIVE) == (4096, 2, 60)
