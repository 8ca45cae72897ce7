"""`petsim explain`: what it takes, refuses, prints and writes."""

import json

import pytest

from petsim.cli import BAD_INPUT, INTERRUPTED
from petsim.spec.parts import lines_of
from tests.advice.toys import keeper, lamp

TWO = {"oil": 0.6, "wick": 0.2}


@pytest.fixture
def asked(tmp_path, monkeypatch, told):
    """Run the command in a folder that has the lamp and its keeper; exit code, output, errors."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "lamp.yaml").write_text(lines_of(lamp(TWO)))
    (tmp_path / "keeper.yaml").write_text(lines_of(keeper(TWO)))
    return lambda *more: told("explain", "./keeper.yaml", "--lives", "100", *more)


def test_text_answers_first(asked):
    code, out, _ = asked("--model", "./lamp.yaml")
    assert code == 0
    assert out.startswith("keeper leads to bright in ")
    assert "What each imperfection of keeper costs" in out
    assert max(map(len, out.splitlines())) <= 80


def test_page_and_picture_are_written_beside_data(asked, tmp_path):
    page, picture = tmp_path / "why.html", tmp_path / "why.svg"
    code, out, aside = asked(
        "--model",
        "./lamp.yaml",
        "--precision",
        "2%",
        "--json",
        "--report",
        str(page),
        "--plot",
        str(picture),
    )
    assert code == 0
    assert json.loads(out)["aim"] == "bright"
    assert f"{page}: written" in aside
    text = page.read_text()
    assert "Why does keeper miss bright?" in text
    again = "petsim explain ./keeper.yaml --model ./lamp.yaml --aim bright --seed 0 --lives 100"
    assert f"{again} --precision 2% --report explain.html" in text
    assert picture.read_text().startswith("<?xml")


def test_weights_are_one_for_each_model(asked):
    code, out, error = asked("--model", "./lamp.yaml", "--weight", "1", "--weight", "2")
    assert (code, out) == (BAD_INPUT, "")
    assert error == "--weight: given 2 times; expected one for each --model, 1\n"
    code, _, error = asked("--model", "./lamp.yaml", "--weight", "-1")
    assert code == BAD_INPUT
    assert "expected a number from 0 on, such as 3" in error


def test_a_pet_is_of_one_model(asked):
    code, _, error = asked(*("--model", "./lamp.yaml") * 2, "--pet", "now.yaml")
    assert code == BAD_INPUT
    assert error == "--pet: is of one model; expected one --model with it, or none\n"


def test_files_of_another_kind_are_refused_before_any_life(asked):
    code, out, error = asked("--model", "./lamp.yaml", "--plot", "why.txt")
    assert (code, out) == (BAD_INPUT, "")
    assert "expected" in error


def test_an_interrupt_gives_what_is_known(asked, monkeypatch, caplog):
    def stop(*args):
        raise KeyboardInterrupt

    monkeypatch.setattr("petsim.advice.explaining.explain.shares_of_block", stop)
    code, out, _ = asked("--model", "./lamp.yaml", "--json")
    assert code == INTERRUPTED
    assert json.loads(out)["interrupted"] is True
    assert caplog.messages == ["petsim: interrupted; this is what is known so far"]


def test_one_life_has_a_page_and_a_picture_too(asked, tmp_path):
    files = ("--report", str(tmp_path / "why.html"), "--plot", str(tmp_path / "why.svg"))
    code, out, aside = asked("--model", "./lamp.yaml", "--worst", "--lives", "20", "--json", *files)
    assert code == 0
    again = (
        f"petsim explain ./keeper.yaml --worst --model ./lamp.yaml --aim {json.loads(out)['aim']}"
    )
    assert (
        f"{again} --seed 0 --lives 20 --report explain.html" in (tmp_path / "why.html").read_text()
    )
    assert (tmp_path / "why.svg").read_text().startswith("<?xml")
    assert aside.count(": written") == 2
