"""Pictures by the command line: a part of a life, how a model grows, trials of real pets."""

import json
from pathlib import Path

import pytest

from petsim.cli import BAD_INPUT

MODEL = "lamplet-quick"
QUICK = ("--model", MODEL)


@pytest.fixture(autouse=True)
def _in_an_empty_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)


@pytest.fixture
def refusal(told):
    """Run a command that is to be refused: what it complained of."""

    def run(*arguments):
        code, out, err = told(*arguments)
        assert (code, out) == (BAD_INPUT, "")
        return err.rstrip("\n")

    return run


@pytest.mark.parametrize("zoom", ["1", "1..1"])
def test_a_day_of_a_life_is_drawn(told, zoom):
    shown = ("plot", "hourly", *QUICK, "--life", "2", "--zoom", zoom, "-o", "a.svg")
    assert told(*shown) == (0, "a.svg: written\n", "")
    assert "from day 1," in Path("a.svg").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--life", "2", "--zoom", "88"), "zoom: 88; life 2 has day"),
        (("--zoom", "2"), "--zoom: is of the timeline of a life; expected --life with it"),
        (("--life", "2", "--kind", "hours", "--zoom", "2"), "--zoom: is of the timeline of a life"),
        (("--life", "2", "--zoom", "2-3"), "'2-3'; expected a day of life such as 2, or the first"),
    ],
)
def test_a_part_that_can_not_be_shown_is_refused(refusal, options, said):
    assert said in refusal("plot", "hourly", *QUICK, *options, "-o", "a.svg")
    assert not Path("a.svg").exists()


def test_a_model_is_drawn_by_its_name_or_its_file(told):
    assert told("plot", MODEL, "-o", "tree.svg") == (0, "tree.svg: written\n", "")
    assert told("new", "model", "mine")[0] == 0
    assert told("plot", "mine.yaml", "--kind", "growth", "-o", "own.svg") == (
        *(0, "own.svg: written\n", ""),
    )
    assert "take?" in Path("tree.svg").read_text(encoding="utf-8")


def test_growth_and_what_is_known_are_drawn_of_regimes(told):
    for kind in ("growth", "convergence"):
        shown = ("plot", "hourly", *QUICK, "--lives", "20", "--kind", kind, "-o", "a.svg")
        assert told(*shown) == (0, "a.svg: written\n", "")
        assert "20 lives, lamplet-quick" in Path("a.svg").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((MODEL, "hourly"), f"{MODEL}: is a model, which is drawn by itself; expected it alone"),
        ((MODEL, "--life", "3"), "--life: is of regimes; expected no such option with a model"),
        ((MODEL, "--lives", "3"), "--lives: is of regimes; expected no such option with a model"),
        ((MODEL, "--kind", "odds"), "kind: 'odds'; expected 'growth'"),
    ],
)
def test_what_does_not_go_with_a_model_is_refused(refusal, arguments, said):
    assert refusal("plot", *arguments, "-o", "a.svg") == said


def test_trials_are_drawn_beside_what_is_printed(told):
    plain = told("trials", "3/5", "74%")
    code, out, err = told("trials", "3/5", "74%", "--plot", "a.svg")
    assert (code, out) == plain[:2]
    assert err == "a.svg: written\n"
    assert "yours: 3" in Path("a.svg").read_text(encoding="utf-8")
    code, out, err = told("trials", "--tell", "95%", "40%", "--json", "--plot", "b.svg")
    assert (code, err) == (0, "b.svg: written\n")
    assert json.loads(out)["one_routine"]["pets"] > 0
    assert "one routine:" in Path("b.svg").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("3/5", "--plot", "a.svg"), "--plot: shows K/N beside odds; expected a regime, or odds"),
        (("3/5", "74%", "--plot", "a.gif"), "a.gif: expected a name that ends in .svg, .png or"),
        (("3/5", "74%", "--plot", "no/a.svg"), "no/a.svg: can't be written"),
    ],
)
def test_trials_that_can_not_be_drawn_are_refused_at_once(refusal, arguments, said):
    assert refusal("trials", *arguments).startswith(said)
