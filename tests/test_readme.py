"""What the README shows is what happens.

After a change that is meant, `python -m tests.test_readme` writes the outputs anew.
"""

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

import petsim
from petsim.spec.choices import DATA
from petsim.spec.library import load_model, load_regime
from petsim.spec.study import load_study
from petsim.study.design import design_of
from petsim.study.stats import wilson
from petsim.theory.lab import Lab
from petsim.theory.suite import SCALES, checks
from petsim.theory.verdicts import Outcome
from petsim.view import verification
from tests.bench.coverage import EXPECTED, LIVES, one_holds

README = Path(__file__).parents[1] / "README.md"
TEXT = README.read_text(encoding="utf-8")
CONSOLE = re.compile(r"(<!-- output -->\n```console\n\$ petsim ([^\n]+)\n)(.*?)(```\n)", re.DOTALL)
COMMANDS = [match[2] for match in CONSOLE.finditer(TEXT)]


def block(after: str) -> str:
    """The code block that follows a text of the README."""
    match = re.search(re.escape(after) + r".*?```\w*\n(.*?)```", TEXT, re.DOTALL)
    assert match is not None
    return match[1]


def printed(command: str, folder: Path) -> str:
    """What a petsim command prints in a folder with the README's policy."""
    policy = folder / "attentive.py"
    policy.write_text(block("<!-- file: attentive.py -->"), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "petsim", *shlex.split(command)],
        cwd=folder,
        env=os.environ | {"COLUMNS": "80"},
        capture_output=True,
        encoding="utf-8",
        check=True,
    )
    assert done.stderr == ""
    return done.stdout


def test_readme_shows_outputs():
    assert len(COMMANDS) >= 3


@pytest.mark.parametrize("command", COMMANDS)
def test_output_is_as_shown(command, tmp_path):
    shown = next(match[3] for match in CONSOLE.finditer(TEXT) if match[2] == command)
    assert printed(command, tmp_path) == shown


PART = re.compile(r"(<!-- part of the output of verify -->\n```console\n)(.*?)(```\n)", re.DOTALL)


def one_check(name: str, folder: Path) -> str:
    """What `petsim verify` prints of one check."""
    [wanted] = [check for check in checks() if check.name == name]
    labs = {engine: Lab(folder, engine, scale) for engine, scale in SCALES.items()}
    found = {engine: [*wanted.verdicts(lab)] for engine, lab in labs.items()}
    return verification.check(Outcome(wanted, found)) + "\n"


def test_part_of_verify_is_as_shown(tmp_path):
    [(_, shown, _)] = PART.findall(TEXT)
    assert shown == one_check(shown.splitlines()[0].lower(), tmp_path)


def test_wilsons_interval_holds_as_often_as_shown():
    _, table = TEXT.split("<!-- how often Wilson's interval holds -->\n")
    expected, _, shares = (re.findall(r"[\d.]+", line) for line in table.splitlines()[:3])
    assert [float(x) for x in expected] == [*EXPECTED]
    held = [one_holds(wilson, LIVES, x / LIVES) for x in EXPECTED]
    assert shares == [f"{100 * chance:.1f}" for chance in held]


def test_table_of_data_names_each_command_and_its_schema():
    section = TEXT.split("## Data for other programs")[1].split("\n## ")[0]
    assert re.findall(r"^\| `petsim (\w+)` \|.* `petsim schema (\w+)` \|$", section, re.M) == [
        (command, command) for command in DATA
    ]


def test_first_command_asks_what_is_shown_first():
    assert block("<!-- first command -->").rstrip().endswith(f"petsim {COMMANDS[0]}")


def test_policy_passes_its_check(tmp_path):
    printed("check ./attentive.py:Attentive", tmp_path)


def test_regime_loads(tmp_path):
    path = tmp_path / "mine.yaml"
    path.write_text(block("A regime is a page long at most:"), encoding="utf-8")
    assert load_regime(path, load_model("lamplet")).passes == 1


def test_study_is_one(tmp_path):
    path = tmp_path / "study.yaml"
    path.write_text(block("<!-- file: study.yaml -->"), encoding="utf-8")
    study = load_study(path)
    design = design_of(study.model, study.regimes, study.vary, lives=study.lives)
    design.validate()
    assert len(list(design.cells())) == 36


def test_python_example_runs():
    exec(block("## From Python"), {})


def test_python_example_of_many_questions_runs(capsys):
    exec(block("Many questions are asked of an `Evaluator`"), {"petsim": petsim})
    printed = capsys.readouterr().out.splitlines()
    assert len(printed) == 9
    assert printed[0].startswith("every 10 min, 0% misread: ")


def test_links_lead_somewhere():
    for link in re.findall(r"\]\(([^)#]+)[^)]*\)", TEXT):
        assert (README.parent / link).exists(), link


def write_outputs(folder: Path) -> None:
    """Put what the commands print now into the README."""
    text = CONSOLE.sub(lambda match: match[1] + printed(match[2], folder) + match[4], TEXT)
    name = PART.search(text)[2].splitlines()[0].lower()
    text = PART.sub(lambda match: match[1] + one_check(name, folder) + match[3], text)
    README.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    import tempfile

    with tempfile.TemporaryDirectory() as scratch:
        write_outputs(Path(scratch))
