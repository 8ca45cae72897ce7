"""The command that chooses: what it prints and writes, how it ends, and what it refuses."""

from __future__ import annotations

import json
import shlex

import pandas as pd
import pytest

import petsim
from petsim.advice.choosing.search import Search
from petsim.cli import BAD_INPUT, FAILED, INTERRUPTED
from petsim.view import repeat

MODEL = ("--model", "lamplet-quick")
ASKED = ("choose", "ten-minute", "--lives", "200", "--at-least", "75%")
VARY = ("--vary", "checks.every=10min,20min", "--vary", "routine[4].when.hunger=below 2,below 6")


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_answer_comes_first(told):
    code, out, _ = told(*ASKED, *MODEL, *VARY)
    answer, table, *notes = out.split("\n\n")
    assert code == 0
    assert " ".join(answer.split()).startswith(
        "Cheapest with at least 75 % beacon: every 10min, hunger below 2: "
    )
    assert " fresh lives." in " ".join(answer.split())
    title, head, first, *_ = table.splitlines()
    assert title == "All of them, on the same luck; cost: presses a day"
    assert head.split() == ["every", "hunger", "odds", "cost", "difference", "lives"]
    assert first.startswith("  10min  below 2  ")
    said = " ".join(" ".join(notes).split())
    assert "Looked at all 4 combinations." in said
    assert "the lower end of an interval of 95 % has to reach 75 % there" in said


def test_what_is_chosen_is_written_and_lives_the_same_lives(told, folder):
    code, out, aside = told(*ASKED, *MODEL, *VARY, "-o", "better")
    assert code == 0
    assert aside == (
        "better.yaml: written; try: petsim compare better.yaml --model lamplet-quick --lives 200 "
        "--seed 1\n"
    )
    text = (folder / "better.yaml").read_text()
    assert text.startswith("# Made of ten-minute by petsim ")
    data = petsim.load_regime("ten-minute").model_dump(by_alias=True)
    data["routine"][4]["when"]["hunger"] = "below 2"
    lived = [petsim.batch("lamplet-quick", each, lives=50) for each in ("better.yaml", data)]
    pd.testing.assert_frame_equal(lived[0].lives, lived[1].lives)
    code, out, aside = told(*ASKED, *MODEL, *VARY, "-o", "better")
    assert (code, out) == (BAD_INPUT, "")
    assert "better.yaml: is there already; expected a new file" in aside


def test_what_steps_lead_to_is_written(told, folder):
    code, _, _ = told(*ASKED[:4], "--at-least", "60%", *MODEL, "--steps", "-o", "better")
    assert code == 0
    asked = petsim.choose("lamplet-quick", "ten-minute", at_least=0.6, steps=True, lives=200)
    assert petsim.load_regime("better.yaml").routine == asked.regime.routine
    assert asked.regime.routine != petsim.load_regime("ten-minute").routine


def test_if_nothing_is_chosen_nothing_is_written(told, folder):
    code, out, aside = told(*ASKED[:4], "--at-least", "99%", *MODEL, *VARY, "-o", "better")
    assert (code, aside) == (FAILED, "better.yaml: not written, as nothing was chosen\n")
    assert out.startswith("None reaches 99 % beacon. Best: ")
    assert not (folder / "better.yaml").exists()


def test_several_models_are_told_one_by_one(told):
    models = ("--model", "lamplet-quick", "--weight", "3", "--model", "lamplet", "--weight", "1")
    code, out, _ = told(*ASKED, *models, *VARY)
    assert code == 0
    [table] = [part for part in out.split("\n\n") if "on fresh lives of each model" in part]
    _, _, first, second = table.splitlines()
    assert first.split()[:3] == ["lamplet-quick", "75", "%"]
    assert second.split()[:3] == ["lamplet", "25", "%"]


def test_interrupted_it_says_so_and_ends_with_its_code(told, monkeypatch):
    look = Search._look

    def interrupted(self, numbers, lives):
        if lives > 100:
            raise KeyboardInterrupt
        return look(self, numbers, lives)

    monkeypatch.setattr(Search, "_look", interrupted)
    code, out, _ = told(*ASKED, *MODEL, *VARY)
    assert code == INTERRUPTED
    assert out.startswith("Interrupted. Cheapest with at least 75 % beacon so far: ")
    code, out, _ = told(*ASKED, *MODEL, *VARY, "--json")
    assert code == INTERRUPTED
    assert json.loads(out)["interrupted"]


def test_a_page_and_a_picture_are_written(told, folder):
    code, _, aside = told(*ASKED, *MODEL, *VARY, "--report", "c.html", "--plot", "c.svg")
    assert code == 0
    assert aside.splitlines() == ["c.html: written", "c.svg: written"]
    page = (folder / "c.html").read_text()
    assert "Which costs least with at least 75 % beacon?" in page
    assert "petsim choose ten-minute --vary" in page


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ((), "vary: nothing varies; expected a path with its values, or steps"),
        (("--vary", "seed=1,2"), "--vary: seed is of no file; did you mean --seed 1,2?"),
        ((*VARY, "--cheapest", "pressing"), "cheapest: 'pressing'; did you mean 'presses'?"),
        ((*VARY, "--at-least", "95x"), "--at-least"),
        ((*VARY, "--precision", "1%"), "not allowed with --lives"),
        ((*VARY, "--weight", "1", "--weight", "2"), "--weight: given 2 times; expected one for"),
        ((*VARY, "--on", "estimat"), "did you mean 'estimate'?"),
        (("--vary", "checks.evry=1h"), "vary: checks.evry: found the unknown key 'evry'; did you"),
        (
            ("--vary", "care.play.works=40%,60%", "-o", "better"),
            "--out: writes a regime, but care.play.works is of the model",
        ),
        ((*VARY, "-o", "nowhere/better"), "nowhere/better.yaml: can't be written: No such file"),
        ((*VARY, "--plot", "c.gif"), "c.gif"),
    ],
)
def test_what_makes_no_sense_is_refused_at_once(options, message, told, folder):
    code, out, aside = told("choose", "ten-minute", "--lives", "200", *MODEL, *options)
    assert (code, out) == (BAD_INPUT, "")
    assert message in " ".join(aside.split())
    assert not [*folder.iterdir()]


def test_a_policy_is_written_to_no_regime(told, folder):
    code, _, aside = told("choose", "./idle.py:Idle", *VARY, "-o", "better")
    assert code == BAD_INPUT
    assert "--out: writes a regime, but ./idle.py:Idle is a Python policy" in aside


@pytest.mark.parametrize(
    "how",
    [
        {"vary": {"checks.every": "10 min, 20 min"}, "at_least": 0.75},
        {
            "vary": {"checks.every": "10 min..20 min"},
            "sample": "latin",
            "points": 3,
            "cheapest": "checks + 0.01*ill_s",
        },
        {"steps": True, "at_least": 0.8, "seed": 3, "days": 0.2, "on": "estimate"},
    ],
)
def test_the_command_of_a_page_gives_the_same_again(how, told, folder):
    found = petsim.choose("lamplet-quick", "ten-minute", lives=100, **how)
    program, *line = shlex.split(repeat.choose(found))
    assert program == "petsim"
    _, out, _ = told(*line, "--json")
    assert json.loads(out) == found.as_dict()
