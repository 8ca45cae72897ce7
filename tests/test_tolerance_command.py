"""`petsim tolerance`: what it takes, refuses, prints and writes."""

import json

import pytest

from petsim.advice.limits.tolerance import Search
from petsim.cli import BAD_INPUT, INTERRUPTED
from petsim.study.evaluate import Evaluator
from tests.advice.pebbles import FEED, PET, once

CARE = once("hands: {feed: {slips: 5%}}", routine=(FEED,))


@pytest.fixture
def asked(tmp_path, monkeypatch, told):
    """Run the command in a folder that has the pebble and its keeper; exit code, output, errors."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "pebble.yaml").write_text(PET)
    (tmp_path / "keeper.yaml").write_text(CARE)
    few = ("--lives", "300", "--precision", "100%")
    return lambda *more: told("tolerance", "./keeper.yaml", *few, *more)


def test_text_answers_first(asked):
    code, out, _ = asked("--model", "./pebble.yaml")
    assert code == 0
    assert out.startswith("keeper leads to rock in ")
    assert "The limit of each, for rock in 90 % of lives" in out
    assert max(map(len, out.splitlines())) <= 80


def test_page_and_picture_are_written_beside_data(asked, tmp_path):
    page, picture = tmp_path / "limits.html", tmp_path / "limits.svg"
    code, out, aside = asked(
        *("--model", "./pebble.yaml", "--at-least", "80%", "--json"),
        *("--report", str(page), "--plot", str(picture)),
    )
    assert code == 0
    assert (json.loads(out)["aim"], json.loads(out)["at_least"]) == ("rock", 0.8)
    assert f"{page}: written" in aside
    text = page.read_text()
    assert "How good must keeper be for rock in 80 % of lives?" in text
    assert "petsim tolerance ./keeper.yaml --model ./pebble.yaml --at-least 80%" in text
    assert picture.read_text().startswith("<?xml")


def test_several_models_are_told_apart(asked, tmp_path):
    clumsy = PET.replace("feed: {raises: {hunger: 1}}", "feed: {raises: {hunger: 1}, works: 80%}")
    assert clumsy != PET
    (tmp_path / "clumsy.yaml").write_text(clumsy)
    models = ("--model", "./pebble.yaml", "--weight", "3", "--model", "./clumsy.yaml")
    code, out, _ = asked(*models, "--weight", "1", "--at-least", "80%")
    assert code == 0
    assert "over 2 models by their weights" in " ".join(out.split())
    assert "% under clumsy" in " ".join(out.split())


def test_a_pet_as_it_is_now_is_taken_over(asked, tmp_path):
    now = "petsim: pet 1\nmodel: pebble.yaml\nat: 09:10\nform: grain\nfor: 10 min\n"
    now += "levels: {hunger: 1}\nmisses in form: 0\n"
    (tmp_path / "now.yaml").write_text(now)
    code, out, error = asked("--pet", "now.yaml", "--json")
    assert (code, error) == (0, "")
    assert json.loads(out)["models"] == [{"model": "now", "weight": 1.0}]


@pytest.mark.parametrize(
    ("more", "message"),
    [
        (("--at-least", "120%"), "expected a chance from 0% to 100%"),
        (("--at-least", "0"), "at_least: 0.0; expected a number above 0 and below 1"),
        (("--precision", "0"), "precision: 0.0; expected a number above 0"),
        (("--lives", "0"), "expected a whole number from 1 up"),
        (("--aim", "rok"), "did you mean 'rock'?"),
        (("--plot", "limits.txt"), "expected"),
        (("--weight", "1", "--weight", "2"), "--weight: given 2 times; expected one for each"),
    ],
)
def test_what_does_not_fit_is_refused_before_any_life(more, message, asked, monkeypatch):
    monkeypatch.setattr(Evaluator, "_lived", None)
    code, out, error = asked("--model", "./pebble.yaml", *more)
    assert (code, out) == (BAD_INPUT, "")
    assert message in error
    assert "Traceback" not in error


def test_an_interrupt_gives_what_is_known(asked, monkeypatch, caplog):
    tolerance, things = Search.tolerance, []

    def interrupted(self, thing):
        things.append(thing)
        if len(things) == 3:
            raise KeyboardInterrupt
        return tolerance(self, thing)

    monkeypatch.setattr(Search, "tolerance", interrupted)
    code, out, _ = asked("--model", "./pebble.yaml")
    assert code == INTERRUPTED
    assert "Interrupted after 2 of " in out
    [message] = caplog.messages
    assert message.startswith("petsim: interrupted after 2 of ")
    assert message.endswith(" limits; this is what is known")
