"""What the manual page on deciding shows is what happens.

Its figures are of the lives that commands take by default; here they take fewer, so that only what
is said of them in words is held against the page, but for one life, which is the same life.
"""

import itertools
import re
from pathlib import Path

import pytest

import petsim
from petsim.advice.explaining.imperfections import imperfections
from petsim.life.simulate import load_together
from petsim.view.manual import TOPICS
from tests.pages import broken_links, printed, shown_in

PAGE = TOPICS["deciding"] / "README.md"
TEXT = PAGE.read_text(encoding="utf-8")
README = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")
SHOWN = {shown.command: shown.output for shown in shown_in(TEXT)}
FEWER = {"explain": 200, "choose": 800, "tolerance": 200, "expect": 100}
"""Lives with which each command ends in seconds."""


def heads(output: str) -> set[str]:
    """The titles of tables: lines without a figure above a line that is indented."""
    lines = [re.sub(r"(?<=\S) +", " ", line) for line in output.splitlines()]
    pairs = itertools.pairwise(lines)
    return {one for one, other in pairs if other.startswith("  ") and re.fullmatch(r"[^\d]+", one)}


def test_page_shows_each_question():
    assert [command.split()[0] for command in SHOWN] == [
        *("explain", "explain", "choose", "tolerance", "expect")
    ]
    assert TEXT.count("```console") == len(SHOWN)


@pytest.mark.parametrize("command", SHOWN)
def test_outputs_are_as_shown(command, tmp_path):
    if "--life" in command:
        assert printed(command, tmp_path) == SHOWN[command]
        return
    fewer = f"{command} --lives {FEWER[command.split()[0]]}"
    found = printed(fewer, tmp_path)
    shown = heads(SHOWN[command])
    assert shown
    # what falls into a table depends on the figures, but one of the tables is always there
    assert shown & heads(found)


def test_imperfections_of_the_page_are_those_of_the_code():
    _, [rig] = load_together("lamplet", ["camera-rig"])
    section = TEXT.split("## Why the odds fall")[1].split("\n## ")[0]
    for each in imperfections(rig):
        words = each.what.removeprefix("the ").removeprefix("misread ").split()[-1]
        assert words in section or each.what.startswith("misread"), each.what


def test_python_example_runs(capsys):
    [example] = re.findall(r"```python\n(.*?)```", TEXT, re.DOTALL)
    exec(example, {"petsim": petsim})
    what, share, fall = re.fullmatch(r"(.+) (\S+) (\S+)\n", capsys.readouterr().out).groups()
    assert what == "outages"
    assert 0.1 < float(share) < float(fall) < 0.4


def test_figures_of_the_readme_are_those_of_the_page():
    [shown] = [each for each in shown_in(README) if each.command == "explain camera-rig"]
    of_page = SHOWN["explain camera-rig"].splitlines()
    for line in shown.output.splitlines():
        assert line == "…" or line in of_page


def test_battery_of_the_case_is_a_regime(tmp_path):
    [outages] = re.findall(r"`(outages: \{[^`]+)`", " ".join(TEXT.split()))
    rig = Path(__file__).parents[1] / "regimes" / "camera-rig.yaml"
    path = tmp_path / "battery-rig.yaml"
    path.write_text(re.sub(r"^outages: .+$", outages, rig.read_text(), flags=re.M))
    assert str(petsim.load_regime(path).outages.up) == "exponential 6 days"


def test_links_of_the_page_lead_somewhere():
    assert broken_links(PAGE) == []
