"""The command that fits a model to logs; the fit itself is made up where that is enough."""

import json
from functools import partial

import click
import pytest
from jsonschema import Draft202012Validator

import petsim
from petsim.cli import output
from petsim.life.log.simulated import logged
from petsim.view import fitted, written_fit
from petsim.view.data import data_schema
from tests.view.made_up_fits import LAMPLET, RIG, usual

FIT = ("fit", "a.jsonl", "--model", "lamplet")


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """An empty folder to work in, as wide as the texts of the tests."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    return tmp_path


@pytest.fixture
def asked(monkeypatch):
    """What fits were asked for; the made-up one is what is found."""
    calls = []

    def fit(*arguments, **how):
        calls.append((arguments, how))
        return usual()

    monkeypatch.setattr(petsim, "fit", fit)
    return calls


def files(folder):
    return sorted(path.name for path in folder.iterdir())


def test_fit_says_what_it_finds_and_writes_nothing_else(told, folder, asked):
    assert told(*FIT) == (0, f"{fitted.fit(usual(), 80)}\n", "")
    assert asked == [((("a.jsonl",), "lamplet", None), {"progress": True})]
    assert files(folder) == []


def test_fit_takes_several_logs_and_a_regime(told, folder, asked):
    told("fit", "a.jsonl", "b.jsonl", "--model", "lamplet", "--regime", "camera-rig")
    assert asked == [((("a.jsonl", "b.jsonl"), "lamplet", "camera-rig"), {"progress": True})]


def test_fit_writes_the_pet_and_the_rig(told, folder, asked):
    code, printed, aside = told(*FIT, "-o", "mypet", "--rig", "my rig.yaml")
    assert (code, printed) == (0, f"{fitted.fit(usual(), 80)}\n")
    assert aside.splitlines() == [
        "mypet.yaml: written",
        "my rig.yaml: written",
        "try: petsim compare 'my rig.yaml' --model mypet.yaml",
    ]
    assert files(folder) == ["my rig.yaml", "mypet.yaml"]
    assert (folder / "mypet.yaml").read_text("utf-8") == written_fit.model_file(usual())
    assert (folder / "my rig.yaml").read_text("utf-8") == written_fit.regime_file(usual())


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("-o", "a"), ["a.yaml: written", "try: petsim compare REGIME... --model a.yaml"]),
        (("--rig", "a"), ["a.yaml: written"]),
        (("--report", "a.html"), ["a.html: written"]),
        (("--plot", "a.svg", "--kind", "predicted"), ["a.svg: written"]),
    ],
)
def test_fit_writes_each_file_that_is_asked_for(told, folder, asked, options, said):
    code, _, aside = told(*FIT, *options)
    assert (code, aside.splitlines()) == (0, said)
    [name] = files(folder)
    assert f"{name}: written" == said[0]


def test_the_picture_is_the_one_that_is_asked_for(told, folder, asked):
    told(*FIT, "--plot", "a.svg", "--kind", "predicted")
    assert "Does the fit predict what is seen?" in (folder / "a.svg").read_text("utf-8")
    told(*FIT, "--plot", "b.svg")
    assert "How far is what was seen from the guess?" in (folder / "b.svg").read_text("utf-8")


def test_the_page_has_what_the_text_says(told, folder, asked):
    told(*FIT, "--report", "a.html")
    page = (folder / "a.html").read_text("utf-8")
    assert "<h1>What do the logs tell of lamplet?</h1>" in page
    assert "grace of 4 parts" in page


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (("-o", "there"), "there.yaml: is there already; expected a new file"),
        (("--rig", "there"), "there.yaml: is there already; expected a new file"),
        (("-o", "a", "--rig", "a.yaml"), "--rig: a.yaml is named twice; expected another file"),
        (("-o", "no/a"), "no/a.yaml: can't be written: No such file or directory"),
        (("--report", "a.txt"), "a.txt: expected a name that ends in .html or .htm"),
        (("--report", "no/a.html"), "no/a.html: can't be written: No such file or directory"),
        (("--plot", "a.gif"), "a.gif: expected a name that ends in .svg, .png or .pdf"),
        (("--kind", "laws"), "--kind: is of a picture; expected --plot with it"),
    ],
)
def test_files_that_cannot_be_written_are_told_before_anything_is_fitted(
    told, folder, asked, options, message
):
    (folder / "there.yaml").write_text("mine")
    assert told(*FIT, *options) == (2, "", f"{message}\n")
    assert asked == []
    assert files(folder) == ["there.yaml"]
    assert (folder / "there.yaml").read_text() == "mine"


def test_a_file_that_came_meanwhile_is_left(told, folder, monkeypatch):
    def fit(*_, **__):
        (folder / "a.yaml").write_text("theirs")
        return usual()

    monkeypatch.setattr(petsim, "fit", fit)
    code, printed, complaint = told(*FIT, "-o", "a")
    assert (code, printed) == (2, "")
    assert complaint == "a.yaml: is there already; expected a new file\n"
    assert (folder / "a.yaml").read_text() == "theirs"


# What can't be fitted


LOGS = {
    "nameless.jsonl": {"regime": ""},
    "one.jsonl": {"regime": "one"},
    "two.jsonl": {"regime": "two"},
    "silent.jsonl": {"entries": ()},
}


def write_log(folder, name, **of_log):
    """Write the log of an hour of a life, but for what is said of it."""
    life = logged(petsim.simulate(LAMPLET, RIG, days=1 / 24))
    log = petsim.LoggedLife(**{**vars(life), **of_log})
    log.write(folder / name)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("nothing.jsonl",), "nothing.jsonl: no such file; expected a log"),
        (("text.jsonl",), "text.jsonl:1:1: found 'n', which is no JSON there; expected a line of a "
         "log, a JSON object"),
        (("nameless.jsonl",), "regime: the logs name none; expected the one of the rig's eyes and "
         "hands"),
        (("one.jsonl", "two.jsonl"), "regime: the logs name 'one', 'two'; expected the one of the "
         "rig's eyes and hands"),
        (("nameless.jsonl", "--regime", "camera-rgi"), "'camera-rgi': found the unknown regime "
         "'camera-rgi'; did you mean 'camera-rig'? (a path to a file works too, such as "
         "./camera-rgi.yaml)"),
        (("silent.jsonl", "--regime", str(RIG)), "silent.jsonl: found 0 actions and no look at "
         "anything in 0.0 days; expected the looks too, also those that led to nothing"),
    ],
)  # fmt: skip
def test_logs_that_cannot_be_fitted_are_told(told, folder, arguments, message):
    (folder / "text.jsonl").write_text("no log\n")
    for name, of_log in LOGS.items():
        if name in arguments:
            write_log(folder, name, **of_log)
    code, printed, complaint = told("fit", *arguments, "--model", str(LAMPLET))
    assert (code, printed) == (2, "")
    assert complaint.endswith(f"{message}\n")
    assert "Traceback" not in complaint


def test_a_model_and_a_log_must_be_named(told, folder):
    for arguments, missing in (
        (("fit", "a.jsonl"), "Missing option '--model'."),
        (("fit", "--model", "lamplet"), "Missing argument 'LOG...'."),
    ):
        code, _, complaint = told(*arguments)
        assert (code, complaint.splitlines()[-1]) == (2, f"Error: {missing}")


# Data, colours, and a fit as it is


def test_data_are_what_the_schema_says_and_nothing_else_is_printed(told, folder, asked):
    code, printed, aside = told(*FIT, "--json", "-o", "a")
    data = json.loads(printed)
    assert (code, data) == (0, usual().as_dict())
    assert aside.startswith("a.yaml: written\n")
    schema = data_schema("fit")
    assert [*Draft202012Validator(schema).iter_errors(data)] == []
    for name in data:
        without = {key: value for key, value in data.items() if key != name}
        assert [*Draft202012Validator(schema).iter_errors(without)], name
    [infant, *_] = data["parameters"]
    assert infant == {
        "path": "stages.infant.drops.hunger",
        "file": "model",
        "of": "mean",
        "estimate": 495,
        "low": 283,
        "high": 868,
        "verdict": "weak",
        "record": "more lives",
        "why": "",
        "guess": 480,
    }


def test_how_well_each_is_told_is_in_colour(told, folder, asked, monkeypatch):
    monkeypatch.setattr(output, "colour", lambda: True)
    _, printed, _ = told(*FIT)
    answer, _, rest = fitted.fit(usual(), 80).partition("\n\n")
    assert printed.startswith(click.style(answer, bold=True))
    style = partial(click.style, fg="green")
    assert f"20.5 to 22.8 min     {style('well')}\n" in printed
    assert f"4.7 to 14.5 min     {click.style('weak', fg='yellow')}\n" in printed
    assert f"mood: {click.style('predicted badly', fg='red')} (p = 0.0031)" in printed
    assert click.unstyle(printed) == f"{answer}\n\n{rest}\n"


def test_a_log_is_fitted_and_a_pipe_sees_no_progress(told, folder):
    model, regime = petsim.load_model(LAMPLET), petsim.load_regime(RIG, petsim.load_model(LAMPLET))
    life = petsim.simulate(model, regime, seed=11, days=2)
    life.log().write("a.jsonl")
    code, printed, aside = told(
        *("fit", "a.jsonl", "--model", str(LAMPLET), "--regime", str(RIG), "--json")
    )
    assert (code, aside) == (0, "")
    data = json.loads(printed)
    assert [*Draft202012Validator(data_schema("fit")).iter_errors(data)] == []
    assert (data["logs"], data["lives"]) == (["a.jsonl"], 1)
    assert {each["verdict"] for each in data["parameters"]} == {"well", "weak", "refused"}
    assert {each["chain"] for each in data["chains"]} == {"hunger", "mood", "waste", "illness"}
