"""What a shell is offered when it completes a command."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest

import petsim
from petsim.life.record import words
from petsim.spec.library import shipped
from petsim.view.choices import ENTRIES
from tests.terminal import PETSIM

PYTHON = Path(PETSIM[0])


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A folder with files of each kind."""
    place = tmp_path_factory.mktemp("here")
    for name in ("night1.sweep", "mine.yaml", "ours.yml", "keen.py", "notes.txt"):
        (place / name).write_text("")
    (place / "night1.sweep").unlink()
    vary, few = {"checks.every": "10 min, 20 min"}, {"lives": 1, "days": 0.01}
    petsim.sweep("lamplet", ["hourly"], vary, out=place / "night1", engine="reference", **few)
    return place


@pytest.fixture
def offered(folder, told, monkeypatch):
    """What is offered after some words for the last of them, each with its type."""

    def run(*given):
        monkeypatch.chdir(folder)
        monkeypatch.setenv("_PETSIM_COMPLETE", "bash_complete")
        monkeypatch.setenv("COMP_WORDS", " ".join(("petsim", *given)))
        monkeypatch.setenv("COMP_CWORD", str(len(given)))
        code, out, err = told()
        assert (code, err) == (0, "")
        return [tuple(line.split(",", 1)) for line in out.splitlines() if line]

    return run


def plain(*names):
    return [("plain", name) for name in names]


FORMS = petsim.load_model("lamplet").outcome_forms
MODELS, REGIMES = shipped("models"), shipped("regimes")


@pytest.mark.parametrize(
    ("given", "names"),
    [
        (("co",), ["compare"]),
        (("compare", "--li"), ["--lives"]),
        (("compare", "ten-minute-"), ["ten-minute-quiet-night"]),
        (("compare", ""), [*REGIMES, "keen.py", "mine.yaml", "ours.yml"]),
        (("compare", "hourly", "--model", ""), [*MODELS, "mine.yaml", "ours.yml"]),
        (("run", "m"), ["microphone", "mine.yaml"]),
        (("run", "--from", ""), ["night1"]),
        (("export", "n"), ["night1"]),
        (("plot", "n"), ["night1"]),
        (("report", "ca"), ["call-listener", "camera-rig"]),
        (("check", "night"), ["night1.sweep"]),
        (("show", "la"), ["lamplet", "lamplet-quick", "lamplet-tender"]),
        (("plot", "hourly", "--kind", "h"), ["hours", "heat-map"]),
        (("plot", "night1", "--x", ""), ["checks.every", "regime"]),
        (("plot", "night1", "--panels", "r"), ["regime"]),
        (("plot", "night1", "--fix", "c"), ["checks.every="]),
        (("plot", "hourly", "--y", ""), []),
        (("sweep", "hourly", "--engine", "re"), ["reference"]),
        (("run", "hourly", "--only", ""), [*ENTRIES]),
        (("new", ""), ["model", "regime", "pet"]),
        (("help", "re"), ["regimes", "report"]),
        (("run", "hourly", "--outcome", ""), words(petsim.load_model("lamplet"))["outcome"]),
        (("run", "hourly", "--model", "plain-clock", "--outcome", "ad"), ["adrift"]),
        (("compare", "hourly", "--model", "plain-clock", "--aim", ""), ["steady", "adrift"]),
        (("run", "hourly", "--model", "none", "--outcome", ""), []),
        (("choose", "hourly", "--aim", "beacon,la"), ["beacon,lantern"]),
        (("choose", "hourly", "--aim", "lantern,beacon,"),
         [f"lantern,beacon,{form}" for form in FORMS if form not in ("beacon", "lantern")]),
        (("choose", "hourly", "--aim", "none,"), [f"none,{form}" for form in FORMS]),
    ],
)  # fmt: skip
def test_words_that_can_follow_are_offered(given, names, offered):
    assert offered(*given) == plain(*names)


def test_the_path_of_a_file_is_left_to_the_shell(offered):
    assert offered("compare", "./mi") == [("file", "./mi")]


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_there_is_a_script_for_each_shell(shell):
    done = subprocess.run(
        PETSIM,
        env=os.environ | {"_PETSIM_COMPLETE": f"{shell}_source"},
        capture_output=True,
        encoding="utf-8",
        check=True,
    )
    assert f"_PETSIM_COMPLETE={shell}_complete" in done.stdout
    assert done.stderr == ""


@pytest.mark.parametrize(
    ("given", "rest"),
    [
        # bash splits a word at =, and takes what is offered for its last part
        (("choose", "hourly", "--aim", "beacon", "=", "1,la"), ["1,lantern"]),
        (("choose", "--aim", "beacon", "=", "1,lantern", "=", "0.5,can"), ["0.5,candle"]),
        (("plot", "night1", "--fix", "checks.every", "="), ["10 min", "20 min"]),
        (("plot", "night1", "--fix", "checks.every", "=", "2"), ["20 min"]),
        (("choose", "hourly", "--aim", "=", "bea"), ["beacon"]),
        (("run", "hourly", "--model", "=", "plain"), ["plain-clock"]),
    ],
)
def test_a_word_that_bash_has_split_is_completed(given, rest, offered):
    assert offered(*given) == plain(*rest)


@pytest.mark.skipif(shutil.which("bash") is None, reason="no bash here")
def test_bash_completes_by_its_script(tmp_path):
    (tmp_path / "petsim").write_text(f'#!/bin/sh\nexec "{PYTHON}" -m petsim "$@"\n')
    (tmp_path / "petsim").chmod(0o755)
    program = (
        'eval "$(_PETSIM_COMPLETE=bash_source petsim)"; COMP_WORDS=(petsim compare ho); '
        'COMP_CWORD=2; _petsim_completion petsim; echo "${COMPREPLY[@]}"; complete -p petsim'
    )
    done = subprocess.run(
        ["bash", "-c", program],
        env=os.environ | {"PATH": f"{tmp_path}{os.pathsep}{os.environ['PATH']}"},
        capture_output=True,
        encoding="utf-8",
        check=True,
    )
    reply, registered = done.stdout.splitlines()
    assert reply == "hourly"
    assert registered == "complete -o nosort -F _petsim_completion petsim"
    assert done.stderr == ""
