"""The command line: what each command prints, and what it says of what it cannot do."""

import csv
import errno
import io
import json
import os
import random
import re
import shlex
import signal
import sqlite3
import subprocess
import sys
import time
from concurrent.futures import Future
from contextlib import closing
from dataclasses import replace
from threading import Thread

import click
import numpy as np
import pytest

import petsim
from petsim.cli import BAD_INPUT, FAILED, INTERRUPTED, inputs, main
from petsim.cli.interrupts import _interrupt_later, interrupts_kept
from petsim.spec.choices import DATA
from petsim.spec.library import load, shipped
from petsim.spec.parts import as_yaml
from petsim.spec.schema import json_schema
from petsim.spec.study import load_study
from petsim.study.processes import processors
from petsim.theory import suite
from petsim.theory.verdicts import TheoryCheck, Verdict
from petsim.view import comparison as view
from petsim.view import diary, real_pets, repeat, show, sweep_text
from petsim.view.data import data_schema
from tests.terminal import PETSIM, on_terminal

MODEL = "lamplet-quick"
QUICK = ("--model", MODEL)


@pytest.fixture
def refusal(told):
    """Run a command that is to be refused: what it complained of."""

    def run(*arguments):
        code, out, err = told(*arguments)
        assert (code, out) == (BAD_INPUT, "")
        assert "Traceback" not in err
        return err

    return run


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """An empty directory to work in."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def strict(printed):
    """What a JSON text holds; Python's own NaN and Infinity are none of JSON (RFC 8259)."""

    def refuse(constant):
        raise AssertionError(constant)

    return json.loads(printed, parse_constant=refuse)


# What commands print


@pytest.mark.parametrize("columns", [40, 200])
def test_compare_prints_the_comparison_as_wide_as_the_terminal(columns, told, monkeypatch):
    monkeypatch.setenv("COLUMNS", str(columns))
    result = petsim.compare(MODEL, ["ten-minute", "hourly"], lives=5, seed=3, aim="ember", days=1)
    given = ("--lives", "5", "--seed", "3", "--aim", "ember", "--days", "1")
    code, out, err = told("compare", "ten-minute", "hourly", *QUICK, *given)
    hint = view.closer(result, columns)
    assert (code, out, err) == (0, f"{view.comparison(result, columns)}\n\n{hint}\n", "")


def test_compare_json_holds_these_keys_and_what_python_is_told(told):
    given = ("--lives", "10", "--seed", "2", "--until", "death", "--json")
    code, out, err = told("compare", "hourly", "hands-off", *QUICK, *given)
    data = strict(out)
    assert (code, err) == (0, "")
    assert list(data) == [
        *("petsim", "model", "seed", "lives", "until", "precision", "aim", "regimes"),
        "differences",
    ]
    [difference] = data["differences"]
    assert list(difference) == [
        *("of", "against", "aim", "estimate", "low", "high", "p_value", "pairing_gain")
    ]
    python = petsim.compare(MODEL, ["hourly", "hands-off"], lives=10, seed=2, until="death")
    assert data == python.as_dict()


@pytest.mark.parametrize("aim", ["beacon,lantern", "beacon=1,lantern=50%"])
def test_several_forms_and_worths_are_told_in_text_and_as_json(aim, told, monkeypatch):
    monkeypatch.setenv("COLUMNS", "200")
    result = petsim.compare(MODEL, ["ten-minute", "hourly"], lives=5, seed=3, aim=aim)
    given = ("ten-minute", "hourly", *QUICK, "--lives", "5", "--seed", "3", "--aim", aim)
    hint = view.closer(result, 200)
    assert told("compare", *given) == (0, f"{view.comparison(result, 200)}\n\n{hint}\n", "")
    code, out, err = told("compare", *given, "--json")
    assert (code, strict(out), err) == (0, result.as_dict(), "")
    assert result.as_dict()["regimes"][0]["expected_worth"]["estimate"] > 0


def test_an_aim_that_can_not_be_read_is_told(refusal):
    for aim, expected in (
        ("beacon,lanten", "no form of the outcome stage 'adult'; did you mean 'lantern'?"),
        ("beacon=2", "'beacon' is worth '2'; expected a number from 0 to 1"),
        ("beacon,beacon", "'beacon' is named twice; expected each form once"),
    ):
        assert expected in refusal("compare", "hourly", *QUICK, "--lives", "1", "--aim", aim)
    given = ("3/5", "hourly", *QUICK, "--lives", "1", "--aim", "beacon=1,lantern=0.5")
    assert "real pets are held against odds" in refusal("trials", *given)


OWN_PET = """
petsim: regime 1
name: Own pet
model: {}
checks: {{every: 30 min}}
routine:
  - {{when: {{hunger: at most 2}}, do: feed}}
"""


def test_the_model_is_the_one_of_the_command_line_else_of_the_regime_else_the_default(
    told, refusal, folder
):
    (folder / "quick.yaml").write_text(OWN_PET.format("lamplet-quick"), encoding="utf-8")
    (folder / "plain.yaml").write_text(OWN_PET.format("plain-clock"), encoding="utf-8")
    (folder / "own.py").write_text(
        "class Own:\n    regime = 'quick.yaml'\n    def check(self, look): return []\n"
    )

    def model(*given):
        _, out, _ = told("compare", *given, "--lives", "1", "--days", "1", "--json")
        return strict(out)["model"]

    assert model("hourly") == "lamplet"
    assert model("quick.yaml", "hourly") == "lamplet-quick"
    assert model("own.py:Own") == "lamplet-quick"
    assert model("quick.yaml", "plain.yaml", "--model", "lamplet-tender") == "lamplet-tender"
    assert refusal("compare", "quick.yaml", "plain.yaml").startswith(
        "model: missing, as quick.yaml"
    )
    for command in (["run", "quick.yaml"], ["sweep", "quick.yaml", "--out", "a", "--lives", "1"]):
        assert told(*command, "--days", "1")[0] == 0
    assert petsim.open_sweep("a").provenance["model"][0] == "lamplet-quick.yaml"
    assert "under quick" in told("run", "quick.yaml", "--days", "1")[1]
    assert told("check", "quick.yaml")[1].startswith(
        "quick.yaml: ok, a regime that goes with lamplet-quick"
    )


def test_check_tells_of_a_model_that_is_not_there(told, folder):
    (folder / "lost.yaml").write_text(OWN_PET.format("./lost-pet.yaml"), encoding="utf-8")
    code, out, err = told("check", "lost.yaml")
    assert (code, out) == (BAD_INPUT, "")
    assert err.startswith("lost.yaml:4:8: model: found no file './lost-pet.yaml'; expected")


def test_compare_lives_as_many_as_a_precision_takes(told):
    code, out, _ = told("compare", "camera-rig", *QUICK, "--precision", "1.5%", "--json")
    data = strict(out)
    assert code == 0
    python = petsim.compare(MODEL, ["camera-rig"], precision=0.015)
    assert data == python.as_dict()
    assert data["precision"]["reached"] and data["precision"]["half_width"] <= 0.015


@pytest.mark.parametrize(
    ("path", "kind", "name", "near"),
    [
        ("stages.adolesent.drops", "stage", "adolesent", "stages.adolescent.drops"),
        ("needs.hungr.full", "need", "hungr", "needs.hunger.full"),
        ("care.fed.works", "action", "fed", "care.feed.works"),
        ("forms.beacn.lasts", "form", "beacn", "forms.beacon.lasts"),
    ],
)
def test_what_the_model_lacks_cant_vary(path, kind, name, near, refusal, folder):
    said = refusal("sweep", "hourly", *QUICK, "--vary", f"{path}=1", "--out", "typo")
    assert said == f"vary {path}: {UNKNOWN} {kind} {name!r}; did you mean {near!r}?\n"
    assert not [*folder.iterdir()]


def test_what_a_study_says_is_not_said_again(refusal, folder):
    (folder / "study.yaml").write_text("petsim: study 1\nname: A\nregimes: [hourly]\n")
    said = refusal("sweep", "study.yaml", "--lives", "7")
    assert said == "--lives: is for study.yaml to say; expected it changed there\n"


def test_a_life_is_of_a_regime_not_of_a_sweep(refusal, folder):
    petsim.sweep(MODEL, ["hourly"], {}, out="night1", lives=2)
    said = refusal("plot", "night1", "--life", "1", "-o", "a.svg")
    assert said == "--life: is of a regime; of a sweep, see petsim run --from\n"


# Pictures and reports


@pytest.fixture
def night(folder):
    """A sweep's file, night1."""
    vary = {"checks.every": ["10 min", "30 min"], "eyes.lights.overlooks": ["0", "20%"]}
    return petsim.sweep(MODEL, ["hourly"], vary, out="night1", lives=5)


@pytest.mark.parametrize(
    ("given", "file"),
    [
        (("night1",), "one.svg"),
        (("night1", "--kind", "heat-map"), "one.png"),
        (("night1", "--x", "eyes.lights.overlooks", "--fix", "checks.every=10min"), "one.svg"),
        (("night1", "--x", "checks.every", "--y", "eyes.lights.overlooks"), "one.svg"),
        (("night1", "--panels", "eyes.lights.overlooks", "--at-least", "5%"), "one.svg"),
        (("night1", "--baseline", "2"), "one.svg"),
        (("hourly", "hands-off", *QUICK, "--lives", "5", "--kind", "misses"), "one.pdf"),
        (("hourly", *QUICK, "--lives", "5", "--kind", "forms"), "one.svg"),
        (("hourly", *QUICK, "--lives", "5", "--kind", "hours"), "one.svg"),
        (("hourly", "camera-rig", *QUICK, "--lives", "5", "--kind", "hours"), "one.svg"),
        (("hourly", *QUICK, "--life", "3"), "one.svg"),
        (("hourly", *QUICK, "--life", "3", "--kind", "hours"), "one.svg"),
    ],
)
def test_plot_writes_a_picture(given, file, told, night, folder):
    assert told("plot", *given, "-o", file) == (0, f"{file}: written\n", "")
    begins = {"one.svg": b"<?xml", "one.png": b"\x89PNG", "one.pdf": b"%PDF"}[file]
    assert (folder / file).read_bytes().startswith(begins)
    assert sorted(path.name for path in folder.iterdir()) == ["night1.sweep", file]


def test_a_picture_that_fails_leaves_the_one_that_was_there(refusal, night, folder, monkeypatch):
    def full(ax, path):
        path.write_text("half")
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    (folder / "one.svg").write_text("old")
    monkeypatch.setattr("petsim.view.plots.save", full)
    why = "one.svg: can't be written: No space left on device\n"
    assert refusal("plot", "night1", "-o", "one.svg") == why
    assert (folder / "one.svg").read_text() == "old"
    assert sorted(path.name for path in folder.iterdir()) == ["night1.sweep", "one.svg"]


@pytest.mark.parametrize(
    "given",
    [("night1",), ("hourly", *QUICK, "--lives", "5"), ("hourly", *QUICK, "--life", "3")],
)
def test_report_writes_a_page(given, told, night, folder):
    assert told("report", *given, "-o", "r.html") == (0, "r.html: written\n", "")
    assert (folder / "r.html").read_text(encoding="utf-8").startswith("<!doctype html>")
    assert sorted(path.name for path in folder.iterdir()) == ["night1.sweep", "r.html"]


@pytest.mark.parametrize(
    ("given", "message"),
    [
        (("plot", "night1", "-o", "one.gif"),
         "one.gif: expected a name that ends in .svg, .png or .pdf"),
        (("plot", "night1", "--kind", "heat", "-o", "a.svg"),
         "kind: 'heat'; did you mean 'heat-map'?"),
        (("plot", "hourly", *QUICK, "--lives", "2", "--kind", "along", "-o", "a.svg"),
         "kind: 'along'; expected one of 'odds', 'funnel', 'misses', 'whys', 'differences', "
         "'cost', 'forms', 'hours', 'growth', 'convergence'"),
        (("plot", "night1", "--x", "checks.evry", "-o", "a.svg"),
         "x: 'checks.evry'; did you mean 'checks.every'?"),
        (("plot", "night1", "--fix", "checks.every=12min", "-o", "a.svg"),
         "fix checks.every: '12min'; expected one of 10 min, 30 min"),
        (("plot", "night1", *("--fix", "regime=hourly") * 2, "-o", "a.svg"),
         "--fix: regime is given twice; expected one value"),
        (("plot", "night1", "--baseline", "9", "-o", "a.svg"), "cell: 9; expected 0 to 3"),
        (("plot", "night1", "--kind", "cost", "--y", "checks.every", "-o", "a.svg"),
         "y: is not of cost, which takes work"),
        (("plot", "hourly", *QUICK, "--at-least", "50%", "-o", "a.svg"),
         "--at-least: is for a sweep; expected the name of one with it"),
        (("plot", "a", "b", "--life", "1", "-o", "a.svg"),
         "--life: of a or of b? expected one regime"),
        (("plot", "nigth1", "-o", "e.png"),
         "'nigth1': found no such regime or sweep; did you mean the sweep 'night1'?"),
        (("report", "hourly", "./night2.sweep", "-o", "n.html"),
         "'./night2.sweep': found no such regime or sweep; did you mean the sweep 'night1'?"),
        (("plot", "nigth1", "--life", "1", "-o", "e.png"),
         "'nigth1': found no such regime or sweep; did you mean the sweep 'night1'?"),
        (("plot", "night1", "hourly", "-o", "e.png"),
         "night1: is a sweep, which is drawn by itself; expected it alone"),
        (("report", "hourly", "night1.sweep", "-o", "n.html"),
         "night1.sweep: is a sweep, which is drawn by itself; expected it alone"),
        (("report", "nothing", "-o", "x.pdf"),
         "x.pdf: expected a name that ends in .html or .htm"),
        (("report", "nothing", "-o", "x"), "x: expected a name that ends in .html or .htm"),
        (("report", "night1", "-o", "no/r.html"),
         "no/r.html: can't be written: No such file or directory"),
        (("plot", "night1", "-o", "no/r.svg"),
         "no/r.svg: can't be written: No such file or directory"),
        # which is told before anything is read, let alone lived
        (("plot", "nothing", "-o", "no/r.svg"),
         "no/r.svg: can't be written: No such file or directory"),
    ],
)  # fmt: skip
def test_a_picture_or_page_that_cant_be_is_told(given, message, refusal, night):
    assert refusal(*given) == message + "\n"


def test_a_sweep_is_looked_for_in_the_folder_that_was_named(refusal, night, folder):
    (folder / "nights").mkdir()
    night.path.rename(folder / "nights" / "night1.sweep")
    said = refusal("plot", "nights/nigth1", "-o", "e.png")
    assert said.endswith("; did you mean the sweep 'nights/night1'?\n")
    assert "sweep" not in refusal("plot", "nigth1", "-o", "e.png")


def test_sweeps_named_like_regimes_are_in_no_regimes_way(told, refusal, night, folder):
    regime = "petsim: regime 1\nname: Rota\nchecks: {every: 1 h}\nroutine: []\n"
    for name in ("hourly", "hourli-2", "rota.yaml", "night"):
        (folder / f"{name}.sweep").write_bytes(night.path.read_bytes())
    for name in ("rota.yaml", "night"):
        (folder / name).write_text(regime, encoding="utf-8")
    given = ("hourly", "rota.yaml", "./night", *QUICK, "--lives", "2")
    assert told("plot", *given, "-o", "e.svg") == (0, "e.svg: written\n", "")
    assert "did you mean 'hourly'?" in refusal("plot", "hourlyy", "hands-off", "-o", "e.svg")


# Real pets


@pytest.mark.parametrize("columns", [40, 200])
def test_trials_prints_what_real_pets_say(columns, told, monkeypatch):
    monkeypatch.setenv("COLUMNS", str(columns))
    real = petsim.trials(3, 5, "hourly", model=MODEL, lives=50, seed=3, aim="ember")
    given = ("--lives", "50", "--seed", "3", "--aim", "ember")
    code, out, err = told("trials", "3/5", "hourly", *QUICK, *given)
    assert (code, out, err) == (0, real_pets.trials(real, columns) + "\n", "")


def test_trials_takes_odds_in_per_cent_or_as_a_number(told):
    real = petsim.trials(0, 4, 0.74)
    for odds in ("74%", "0.74"):
        code, out, err = told("trials", "0/4", odds, "--json")
        assert (code, strict(out), err) == (0, real.as_dict(), "")


def test_trials_tells_how_many_it_takes(told):
    plan = petsim.tell_apart(0.74, "hourly", model=MODEL, lives=50, rigs=2)
    given = ("--tell", "74%", "hourly", *QUICK, "--lives", "50", "--rigs", "2")
    assert told("trials", *given) == (0, real_pets.plan(plan, 80) + "\n", "")
    code, out, _ = told("trials", *given, "--days", "3", "--json")
    assert (code, strict(out)["days"]) == (0, 3)


# Sweeps

STUDY = """\
petsim: study 1
name: How often
model: lamplet-quick
regimes: [hourly, mine.yaml]
vary: {checks.every: "10 min, 20 min"}
lives: 6
seed: 3
"""
VARY = ("--vary", "checks.every=10 min, 20 min", "--vary", "passes=1..2/1")


def swept(out, **options):
    vary = {"checks.every": ["10 min", "20 min"], "passes": "1,2"}
    return petsim.sweep(MODEL, ["hourly"], vary, out=out, **({"lives": 6} | options))


@pytest.fixture
def a_sweep(folder):
    return swept("a", seed=2, days=0.5, keep=True)


@pytest.mark.parametrize("columns", [40, 200])
def test_sweep_prints_what_it_found(columns, told, folder, monkeypatch):
    monkeypatch.setenv("COLUMNS", str(columns))
    given = ("--lives", "6", "--seed", "3", "--aim", "ember", "--days", "1", "--keep", "lives")
    code, out, err = told("sweep", "hourly", *QUICK, *VARY, *given, "--out", "a")
    # the same call in Python finds the file finished, and that it is of the same sweep
    found = swept("a", seed=3, aim="ember", days=1, keep=True)
    assert (code, out, err) == (0, sweep_text.sweep(found, columns) + "\n", "")
    assert [path.name for path in folder.iterdir()] == ["a.sweep"]


def test_sweep_json_is_what_python_is_told(told, folder):
    code, out, err = told("sweep", "hourly", *QUICK, *VARY, "--lives", "6", "--out", "a", "--json")
    assert (code, strict(out), err) == (0, swept("a").as_dict(), "")


def test_sweep_can_be_quiet(told, folder):
    given = ("sweep", "hourly", *QUICK, *VARY, "--lives", "6", "--out", "a", "--quiet")
    assert told(*given) == (0, "", "")
    assert swept("a").finished


def test_sweep_takes_points_of_a_sample(told, folder):
    given = ("--vary", "checks.every=log 1min..64min", "--sample", "latin", "--points", "5")
    code, out, _ = told(
        *("sweep", "hourly", *QUICK, *given, "--lives", "2", "--out", "a", "--json")
    )
    data = strict(out)
    assert (code, len(data["cells"]), data["sample"]) == (0, 5, ["latin", 5])


def test_sweep_with_cells_that_failed_says_so_by_its_exit_code(told, folder):
    (folder / "odd.py").write_text(POLICY.format(body='raise ValueError("no idea")'))
    given = ("sweep", "./odd.py:Odd", "hourly", *QUICK, "--lives", "2", "--days", "0.2")
    code, out, err = told(*given, "--out", "a")
    assert (code, err) == (FAILED, "")
    assert "cell 0 failed: odd:Odd: life 0, day 1 09:00:00: raised ValueError: no idea" in out


def test_sweep_stops_at_the_first_failure_if_it_is_to(told, folder):
    (folder / "odd.py").write_text(POLICY.format(body='raise ValueError("no idea")'))
    given = ("sweep", "./odd.py:Odd", *QUICK, "--lives", "2", "--days", "0.2", "--out", "a")
    code, out, err = told(*given, "--fail-fast")
    assert (code, out) == (BAD_INPUT, "")
    assert err.startswith("odd:Odd: life 0, day 1 09:00:00: raised ValueError: no idea")


def test_sweep_plan_says_what_it_would_take_and_writes_nothing(told, folder):
    code, out, err = told("sweep", "hourly", *QUICK, *VARY, "--out", "a", "--plan")
    assert (code, err) == (0, "")
    head, first, second, *last = out.splitlines()
    assert head == "4 cells of 1000 lives each: 4000 in all, of which 0 are done."
    assert (first, second) == ("  checks.every: 10 min, 20 min", "  passes: 1, 2")
    assert " to go: 800 lives simulated just now took " in " ".join(last)
    assert not list(folder.iterdir())


def test_sweep_plan_counts_what_is_done(told, a_sweep):
    given = ("--lives", "6", "--seed", "2", "--days", "0.5", "--keep", "lives", "--out", "a")
    vary = ("--vary", "checks.every=10 min, 20 min", "--vary", "passes=1,2")
    code, out, _ = told("sweep", "hourly", *QUICK, *vary, *given, "--plan")
    assert (code, out.splitlines()[0]) == (
        0,
        "4 cells of 6 lives each: 24 in all, of which 24 are done.",
    )


def test_sweep_does_a_study_and_keeps_the_results_beside_it(told, folder, monkeypatch):
    (folder / "kept").mkdir()
    (folder / "kept" / "often.yaml").write_text(STUDY)
    (folder / "kept" / "mine.yaml").write_text(as_yaml(load("ten-minute")))
    code, out, err = told("sweep", "kept/often.yaml")
    found = petsim.open_sweep("kept/often")
    assert (code, out, err) == (0, sweep_text.sweep(found, 80) + "\n", "")
    assert list(found.cells["regime"]) == ["hourly", "hourly", "mine", "mine"]
    assert (found.design.lives, found.design.seed, found.design.aim.name) == (6, 3, "beacon")
    assert told("sweep", "kept/often.yaml", "--out", "elsewhere", "--quiet") == (0, "", "")
    elsewhere = petsim.open_sweep("elsewhere")
    assert elsewhere.odds().equals(found.odds())


@pytest.mark.parametrize("method", ["morris", "sobol"])
def test_sensitivity_prints_which_unknown_matters(method, told, folder):
    vary = {"checks.every": "2min..30min", "stages.infant.illness.base": "1 per day..3 per day"}
    flags = [flag for path, values in vary.items() for flag in ("--vary", f"{path}={values}")]
    given = ("--method", method, "--points", "4", "--lives", "10", "--out", "a")
    code, out, err = told("sensitivity", "hourly", *QUICK, *flags, *given)
    options = {"method": method, "points": 4, "lives": 10, "out": "a"}
    found = petsim.sensitivity(MODEL, "hourly", vary, **options)
    assert (code, out, err) == (0, sweep_text.sensitivity(found, 80) + "\n", "")
    code, out, _ = told("sensitivity", "hourly", *QUICK, *flags, *given, "--json")
    assert (code, strict(out)) == (0, found.as_dict())


@pytest.mark.parametrize("what", ["odds", "differences", "cells", "lives"])
def test_export_writes_a_table(what, told, folder, a_sweep):
    rows = 24 if what == "lives" else 4
    code, out, err = told("export", "a", f"{what}.csv", "--what", what)
    assert (code, out, err) == (0, f"{what}.csv: {rows} rows of {what}\n", "")
    with (folder / f"{what}.csv").open() as file:
        table = list(csv.DictReader(file))
    assert len(table) == rows
    assert [float(row["checks.every"]) for row in table[:: rows // 4]] == [600, 600, 1200, 1200]
    if what == "odds":
        estimates = a_sweep.odds()["estimate"]
        assert [float(row["estimate"]) for row in table] == list(estimates)


def test_export_writes_odds_unless_told(told, folder, a_sweep):
    assert told("export", "a.sweep", "a.csv") == (0, "a.csv: 4 rows of odds\n", "")


def test_export_writes_the_means_of_all_figures(told, folder, a_sweep):
    rows = len(a_sweep.means())
    out = f"means.csv: {rows} rows of means\n"
    assert told("export", "a", "means.csv", "--what", "means") == (0, out, "")
    with (folder / "means.csv").open() as file:
        figures = {row["column"] for row in csv.DictReader(file)}
    assert "quiet_presses_per_day" in figures
    assert rows == 4 * len(figures)


@pytest.mark.parametrize("cell", [0, 3])
def test_run_prints_a_life_of_a_sweep(cell, told, a_sweep):
    code, out, err = told("run", "--from", "a", "--cell", str(cell), "--life", "5")
    model, caretaker = a_sweep.model(cell), a_sweep.caretaker(cell)
    life = petsim.simulate(model, caretaker, seed=2, life=5, days=0.5)
    assert (code, out.splitlines(), err) == (0, list(diary.diary(life)), "")
    # which is that whose row the sweep kept
    kept = a_sweep.lives(cell).iloc[5]
    assert kept["presses"] == life.as_dict()["summary"]["presses"]


IDLE = 'class Idle:\n    regime = "hourly"\n    def check(self, look):\n        return []\n'


@pytest.mark.parametrize(
    ("caretaker", "outcome"),
    [("camera-rig", "lantern"), ("camera-rig", "ember"), ("./idle.py:Idle", "starved")],
)
def test_run_finds_the_first_life_with_an_outcome(caretaker, outcome, told, folder):
    (folder / "idle.py").write_text(IDLE, encoding="utf-8")
    # which by the table of lives is that one
    lives = petsim.batch(MODEL, caretaker, lives=200, seed=4).lives
    number = int(lives.index[lives["outcome"] == outcome][0])
    code, out, err = told("run", caretaker, *QUICK, "--seed", "4", "--outcome", outcome)
    first, *rest = out.splitlines()
    life = petsim.simulate(MODEL, caretaker, seed=4, life=number)
    assert (code, rest, err) == (0, list(diary.diary(life)), "")
    looked = "1 life" if number == 0 else f"{number + 1} lives"
    assert first == f"{outcome}: life {number} is the first, of {looked} looked at"


def test_run_finds_it_in_no_more_lives_than_it_may_look_at(told):
    given = ("run", "camera-rig", *QUICK, "--seed", "4", "--outcome", "ember", "--json")
    code, out, err = told(*given)
    number = strict(out)["life"]
    assert (code, strict(out)["summary"]["outcome"]) == (0, "ember")
    assert err == f"ember: life {number} is the first, of {number + 1} lives looked at\n"
    assert told(*given, "--lives", str(number + 1))[:2] == (0, out)
    code, out, err = told(*given, "--lives", str(number))
    assert (code, out) == (FAILED, "")
    # the rule of three, exactly: 1 - 0.05 ** (1 / n)
    bound = float(re.search(r"at most ([\d.]+) %", err)[1])
    assert bound == pytest.approx(100 * (1 - 0.05 ** (1 / number)), rel=0.02)
    assert err == (
        f"ember: none of {number} lives; its odds are at most {bound:g} %, the exact one-sided "
        "95 % bound. To look at more: --lives\n"
    )


def test_run_finds_a_life_of_a_sweep(told, a_sweep):
    outcomes = a_sweep.lives(3)["outcome"]
    last = str(outcomes.iloc[-1])
    code, out, _ = told("run", "--from", "a", "--cell", "3", "--outcome", last, "--json")
    assert (code, strict(out)["life"]) == (0, int(np.flatnonzero(outcomes == last)[0]))
    # it looks at as many as were lived there, or as many as it is told to
    code, _, err = told("run", "--from", "a", "--cell", "3", "--outcome", "old age")
    assert (code, err.split(";")[0]) == (FAILED, f"old age: none of {len(outcomes)} lives")
    _, _, err = told("run", "--from", "a", "--outcome", "old age", "--lives", "9")
    assert err.startswith("old age: none of 9 lives")


def test_compare_ends_with_a_command_that_shows_a_life_that_missed_the_aim(told, folder):
    pet = as_yaml(load(MODEL)).replace("\nname: ", "\nname: My ")
    (folder / "my pet.yaml").write_text(pet, encoding="utf-8")
    given = ("--model", "./my pet.yaml", "--seed", "5")
    code, out, _ = told("compare", "ten-minute", "hourly", *given, "--lives", "30")
    hint, command = out.splitlines()[-2:]
    counts = petsim.batch("./my pet.yaml", "hourly", lives=30, seed=5).counts
    likeliest = max(counts.keys() - {"beacon"}, key=counts.get)
    assert (code, hint) == (0, "To see what went wrong in one:")
    assert command == f"  petsim run hourly --model './my pet.yaml' --seed 5 --outcome {likeliest}"
    code, out, err = told(*shlex.split(command)[1:])
    assert (code, err) == (0, "") and f"outcome: {likeliest}" in out


def test_compare_of_lives_that_all_reached_the_aim_hints_at_none(told):
    result = petsim.compare(MODEL, ["ten-minute"], lives=5)
    assert result.batches[0].counts["beacon"] == 5
    _, out, _ = told("compare", "ten-minute", *QUICK, "--lives", "5")
    assert out == view.comparison(result) + "\n"
    # nor where it is not decided yet
    result = petsim.compare(MODEL, ["hourly"], lives=5, days=0.1)
    assert result.batches[0].counts["undecided"] == 5
    assert view.closer(result) is None


# Checks against theory


def false_check(lab):
    yield Verdict("one: P(miss)", 0.5, 0.25 if lab.number(100) == 5 else 0.5, 0.1)


@pytest.mark.parametrize(
    ("given", "code", "engines"),
    [
        ((), FAILED, ["compiled", "reference"]),
        (("--engine", "reference"), FAILED, ["reference"]),
        (("--engine", "compiled"), 0, ["compiled"]),
        (("--long",), 0, ["compiled", "reference"]),
    ],
)
def test_verify_runs_all_checks_and_exits_with_what_came_of_them(
    given, code, engines, told, monkeypatch
):
    # the reference engine lives a twentieth as many lives: 5 of 100
    monkeypatch.setattr(suite, "checks", lambda: [TheoryCheck("false", "nowhere", false_check)])
    done, out, err = told("verify", *given, "--json")
    rows = strict(out)
    assert (done, err, [row["engine"] for row in rows]) == (code, "", engines)
    assert [row["got"] for row in rows] == [
        0.25 if engine == "reference" and code else 0.5 for engine in engines
    ]
    figures = "False\n  Source: nowhere\n  one\n"
    done, out, _ = told("verify", *given)
    assert (done, "FAIL" in out, figures in out) == (code, bool(code), bool(code))
    assert out.startswith(f"{'FAILS' if code else 'holds'}  false  1 figures\n")
    done, out, _ = told("verify", *given, "--figures")
    assert (done, "FAIL" in out) == (code, bool(code))
    assert out.startswith(figures)


def test_compare_json_of_one_life_says_null_for_what_is_not_known(told):
    code, out, _ = told("compare", "hourly", *QUICK, "--lives", "1", "--json")
    [regime] = strict(out)["regimes"]
    assert code == 0
    assert regime["intervals"]["presses_per_day"] == {
        "estimate": regime["presses_per_day"],
        "low": None,
        "high": None,
    }


def a_life(**options):
    return petsim.simulate(MODEL, "hourly", seed=1, life=2, days=0.2, **options)


LIFE = ("run", "hourly", *QUICK, "--seed", "1", "--life", "2", "--days", "0.2")


@pytest.mark.parametrize("only", [[], ["misses"], ["growth", "needs"], ["care", "misses", "care"]])
def test_run_prints_the_diary_or_what_is_wanted_of_it(only, told):
    flags = [flag for name in only for flag in ("--only", name)]
    code, out, err = told(*LIFE, *flags)
    assert (code, err) == (0, "")
    assert out.splitlines() == list(diary.diary(a_life(), only))


@pytest.mark.parametrize("columns", [40, 60])
def test_run_wraps_the_diary_on_a_terminal_alone(columns, told):
    in_a_pipe = told(*LIFE)[1].splitlines()
    assert max(map(len, in_a_pipe)) > columns
    code, printed = on_terminal(*LIFE, columns=columns)
    lines = click.unstyle(printed).splitlines()
    assert code == 0
    assert max(map(len, lines)) <= columns
    assert lines == list(diary.wrapped(in_a_pipe, columns))


def test_care_misses_are_red_on_a_terminal_alone(told):
    _, printed = on_terminal(*LIFE)
    red = re.findall("\x1b\\[31m(.*?)\x1b\\[0m", printed)
    misses = a_life().summary["misses"]
    assert [text for text in red if text != "!"] == [f"CARE MISS {n}" for n in range(1, misses + 1)]
    assert red.count("!") >= 1
    plain = told(*LIFE)[1]
    assert "\x1b" not in plain
    assert on_terminal(*LIFE, NO_COLOR="1")[1] == click.unstyle(printed)


def test_the_answer_and_the_aim_are_bold_on_a_terminal_alone(told):
    given = ("compare", "hourly", *QUICK, "--lives", "3")
    _, printed = on_terminal(*given)
    plain = told(*given)[1]
    after_progress = printed[printed.index("\x1b[1m") :]
    assert click.unstyle(after_progress).split() == plain.split()
    bold = re.findall("\x1b\\[1m(.*?)\x1b\\[0m", after_progress, re.DOTALL)
    [answer, aim] = bold
    assert answer.splitlines() == plain.split("\n\n")[0].splitlines()
    assert aim.startswith("  beacon (the aim)")
    assert "\x1b" not in plain + on_terminal(*given, NO_COLOR="1")[1]


def test_run_json_is_the_life(told):
    code, out, err = told(*LIFE, "--json")
    assert (code, strict(out), err) == (0, a_life().as_dict(), "")


def test_run_csv_is_the_event_log(told):
    code, out, err = told(*LIFE, "--csv")
    head, *rows = csv.reader(io.StringIO(out))
    assert (code, head, err) == (0, ["t", "event", "what", "value"], "")
    assert rows == [
        [str(e.t), e.event, e.what or "", "" if e.value is None else str(e.value)]
        for e in a_life().entries
    ]


@pytest.mark.parametrize("name", ["plain-clock", "camera-rig"])
def test_show_prints_a_model_or_a_regime(name, told):
    assert told("show", name) == (0, show.show(load(name)) + "\n", "")


def test_show_prints_a_study_that_loads_as_the_same(told, folder):
    (folder / "often.yaml").write_text(STUDY)
    (folder / "mine.yaml").write_text(as_yaml(load("ten-minute")))
    code, out, err = told("show", "often.yaml")
    assert (code, err) == (0, "")
    assert out.startswith("# The study often, defaults filled in; ")
    assert "keep: sums\n" in out
    (folder / "again.yaml").write_text(out)
    assert load_study(folder / "again.yaml") == load_study(folder / "often.yaml")


def test_show_prints_the_regime_that_a_policy_works_with(told, folder):
    (folder / "idle.py").write_text(IDLE)
    code, out, err = told("show", "./idle.py:Idle")
    assert (code, err) == (0, "")
    head, _, regime = out.partition("none or no.\n")
    assert head == (
        "# The policy idle:Idle. Its checks, eyes, hands and power are those of hourly,\n"
        "# defaults filled in; a key that is not here is "
    )
    (folder / "regime.yaml").write_text(regime)
    assert load("regime.yaml") == load("hourly").model_copy(update={"routine": ()})


def test_show_prints_what_a_sweep_is(told, a_sweep):
    code, out, err = told("show", "a")
    [(began, ended, _)] = a_sweep.sessions
    assert (code, err) == (0, "")
    assert out == (
        f"""\
{sweep_text.sweep(a_sweep, 80)}

The sweep a.sweep, by petsim {petsim.__version__}
  model         lamplet-quick
  regimes       hourly
  checks.every  10 min, 20 min
  passes        1, 2
  cells         4, every combination
  lives         6 in each cell, seed 2, each followed for 0.5 days
  aim           beacon
  keeps         every life's row
  simulated     24 of 24 lives
  session       {began} to {ended}

To go on with it, or to extend it with more --lives, values or regimes:
  {repeat.sweep(a_sweep)}
"""
    )


def test_show_of_a_sweep_in_which_nothing_is_simulated_says_so(told, folder, monkeypatch):
    def interrupted(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr("petsim.study.sweep._write", interrupted)
    petsim.sweep(MODEL, ["hourly"], {}, out="b", lives=2)
    out = told("show", "b")[1]
    assert out.startswith("Nothing is simulated yet in b.sweep.\n\nThe sweep b.sweep, by petsim")
    assert "  simulated  0 of 2 lives\n" in out


def test_the_answer_of_a_sweep_is_bold_on_a_terminal_alone(told, a_sweep):
    for given in (("show", "a"), ("show", "hourly")):
        _, printed = on_terminal(*given)
        plain = told(*given)[1]
        assert click.unstyle(printed) == plain
        bold = re.findall("\x1b\\[1m(.*?)\x1b\\[0m", printed, re.DOTALL)
        assert bold == (plain.split("\n\n")[:1] if given[1] == "a" else [])
        assert "\x1b" not in plain


def test_show_of_a_sweep_is_as_wide_as_the_terminal_and_says_what_failed(told, folder, monkeypatch):
    monkeypatch.setenv("COLUMNS", "50")
    (folder / "odd.py").write_text(POLICY.format(body='raise ValueError("no idea")'))
    vary = {"passes": "1..3", "checks.every": "5min..20min"}
    options = {"out": "b", "lives": 2, "sample": "latin", "points": 2, "until": "death"}
    petsim.sweep(MODEL, ["./odd.py:Odd", "hourly"], vary, **options)
    code, out, _ = told("show", "b.sweep")
    body, _, _ = out.partition("\n\nTo go on")
    assert code == 0
    assert max(map(len, body.splitlines())) <= 50
    flat = " ".join(body.split())
    assert "regimes odd:Odd, hourly" in flat
    assert "cells 4, by 2 points of latin" in flat
    assert "of latin lives 2 in each cell, seed 0, each followed to its death" in flat
    assert "simulated 4 of 8 lives" in flat
    assert "failed cell 0: odd:Odd: life 0, day 1 " in flat
    assert "failed cell 1: odd:Odd: life 0, day 1 " in flat


def test_check_prints_a_line_for_each_file_that_is_right(told):
    assert told("check", "plain-clock", "lamplet", "hourly") == (
        0,
        "plain-clock: ok, a model\nlamplet: ok, a model\n"
        "hourly: ok, a regime that goes with plain-clock, lamplet\n",
        "",
    )


def test_check_notes_what_a_regime_leaves_undone_and_is_well_all_the_same(told):
    code, out, err = told("check", "hourly", "call-listener")
    assert (code, err) == (0, "")
    assert out.splitlines() == [
        "hourly: ok, a regime that goes with lamplet",
        "call-listener: ok, a regime that goes with lamplet",
        "  note: nothing is done about lights in its sleep; lights_off would help",
    ]


def test_check_tells_right_from_wrong_on_two_channels(told):
    code, out, err = told("check", "hourly", "./none.yaml", "hourli")
    assert (code, out) == (BAD_INPUT, "hourly: ok, a regime that goes with lamplet\n")
    assert err.splitlines() == [
        "./none.yaml: no such file; expected a YAML file",
        "'hourli': found the unknown model or regime 'hourli'; did you mean 'hourly'? "
        "(a path to a file works too, such as ./hourli.yaml)",
    ]


def test_check_looks_at_every_cell_of_a_study(told, folder):
    (folder / "mine.yaml").write_text("petsim: regime 1\nname: Mine\nchecks: {every: 1 h}\n")
    (folder / "good.yaml").write_text(STUDY)
    (folder / "odd.yaml").write_text(STUDY.replace("10 min, 20 min", "20 min, 0 s"))
    (folder / "lost.yaml").write_text(STUDY.replace("hourly", "hourli"))
    (folder / "wide.yaml").write_text(STUDY.replace("10 min, 20 min", "10 min..20 min"))
    code, out, err = told("check", "good.yaml", "odd.yaml", "lost.yaml", "wide.yaml")
    assert code == BAD_INPUT
    assert out == "good.yaml: ok, a study that goes with lamplet-quick\n"
    odd, lost, wide = err.splitlines()[0], *err.splitlines()[-2:]
    assert "checks.every: found '0 s'" in odd
    assert "in cell 1, hourly, checks.every 0 s" in odd
    assert lost.startswith("lost.yaml: 'hourli': found the unknown regime")
    assert wide.startswith("wide.yaml: vary checks.every: found a range without a step")


def test_check_says_how_much_of_a_sweep_is_lived_and_what_failed(told, folder, a_sweep):
    (folder / "odd.py").write_text(POLICY.format(body='raise ValueError("no idea")'))
    petsim.sweep(MODEL, ["./odd.py:Odd", "hourly"], {}, out="b", lives=2, days=0.2)
    code, out, err = told("check", "a", "b.sweep", "hourly")
    assert (code, err) == (0, "")
    assert out.splitlines() == [
        "hourly: ok, a regime that goes with lamplet",
        "a: ok, a sweep",
        "  note: 24 of 24 lives have been lived, in 4 cells",
        "b.sweep: ok, a sweep",
        "  note: 2 of 4 lives have been lived, in 2 cells",
        "  note: cell 0 failed: odd:Odd: life 0, day 1 09:00:00: raised ValueError: no idea "
        "(line 6)",
    ]


def test_check_of_what_is_no_sweep_is_bad_input_and_of_a_damaged_one_a_failure(
    told, folder, a_sweep
):
    (folder / "junk.sweep").write_text("junk")
    (folder / "empty.sweep").write_bytes(b"")
    with closing(sqlite3.connect("other.sweep")) as base:
        base.execute("CREATE TABLE other (x)")
    whole = a_sweep.path.read_bytes()
    (folder / "cut.sweep").write_bytes(whole[: len(whole) // 2])
    for name, change in (
        ("torn", "UPDATE chunks SET lives = 5 WHERE cell = 2"),
        ("lost", "UPDATE about SET value = '{}' WHERE key = 'design'"),
    ):
        (folder / f"{name}.sweep").write_bytes(whole)
        with closing(sqlite3.connect(f"{name}.sweep")) as base, base:
            base.execute(change)
    for name, code, message in (
        ("none", BAD_INPUT, "is not there; expected the file of a sweep"),
        ("junk", BAD_INPUT, "is another kind of file; expected the file of a sweep"),
        ("empty", BAD_INPUT, "is empty; expected the file of a sweep"),
        ("other", BAD_INPUT, "is another database; expected the file of a sweep"),
        (
            "cut",
            FAILED,
            "is damaged; give the petsim sweep command that made it again, which keeps what is "
            "whole and lives the rest",
        ),
        ("torn", FAILED, "is damaged: the lives of cell 2 from 0 on"),
        ("lost", FAILED, "is damaged: its design is not what was written"),
    ):
        file = f"{name}.sweep"
        assert told("check", file)[:2] == (code, "")
        assert told("check", file)[2].splitlines()[-1] == f"{file}: {message}"
    # a file that is wrong weighs more than one that is damaged
    assert told("check", "torn.sweep", "hourli")[0] == BAD_INPUT


@pytest.mark.parametrize("seed", range(20))
def test_check_of_a_sweep_with_random_damage_never_breaks_off(seed, told, folder, a_sweep):
    content, chance = bytearray(a_sweep.path.read_bytes()), random.Random(seed)
    for _ in range(1 + seed):
        content[chance.randrange(len(content))] = chance.randrange(256)
    (folder / "a.sweep").write_bytes(content)
    code, out, err = told("check", "a.sweep")
    assert (code == 0) == (err == "") == out.startswith("a.sweep: ok, a sweep\n")


def test_show_and_check_say_which_sweep_may_have_been_meant(refusal, folder):
    (folder / "night1.sweep").write_bytes(b"")
    for command in ("show", "check"):
        assert "; did you mean 'night1'?" in refusal(command, "nigth1")


@pytest.mark.parametrize("command", ["plot a -o a.png", "report a -o a.html", "run --from a"])
def test_an_option_that_says_again_what_a_sweep_is_is_refused_also_with_the_usual_value(
    command, refusal, a_sweep
):
    # else seed 2 would be taken where seed 0 was written
    said = refusal(*command.split(), "--seed", "0")
    assert said == "--seed: is as in the sweep; expected no such option with it\n"


def test_check_says_which_study_names_a_file_that_is_not_there(told, folder):
    (folder / "study.yaml").write_text("petsim: study 1\nname: A\nregimes: [hourli]\n")
    (folder / "bad.yaml").write_text("petsim: regime 1\nname: B\npasses: 0\n")
    (folder / "other.yaml").write_text("petsim: study 1\nname: A\nregimes: [bad.yaml]\n")
    code, out, err = told("check", "study.yaml", "other.yaml")
    assert (code, out) == (BAD_INPUT, "")
    assert err.splitlines() == [
        f"study.yaml: 'hourli': {UNKNOWN} regime 'hourli'; did you mean 'hourly'? "
        "(a path to a file works too, such as ./hourli.yaml)",
        "bad.yaml:3:9: passes: found '0'; expected at least 1",
    ]


def test_check_without_a_model_that_can_be_read(told, folder):
    (folder / "pet.yaml").write_text("petsim: model 1\nname: Some\n")
    code, out, err = told("check", "hourly", "./pet.yaml")
    assert code == BAD_INPUT
    assert out == "hourly: ok, a regime by itself, as no model could be read\n"
    assert all(line.startswith("./pet.yaml:") for line in err.splitlines())


def test_list_names_all_that_is_shipped_with_what_it_says_of_itself(told):
    code, out, err = told("list")
    models, regimes = out.split("\n\n")
    assert (code, err) == (0, "")
    for shelf, printed in (("models", models), ("regimes", regimes)):
        title, *lines = printed.splitlines()
        assert title == shelf.capitalize()
        about = dict(re.split(" {2,}", line.strip(), maxsplit=1) for line in lines)
        assert about == {name: load(name).about for name in shipped(shelf)}


@pytest.mark.parametrize("kind", ["model", "regime"])
def test_schema_is_printed_as_json(kind, told):
    code, out, err = told("schema", kind)
    assert (code, strict(out), err) == (0, json_schema(kind), "")


@pytest.mark.parametrize("command", DATA)
def test_schema_of_what_a_command_prints_is_printed_as_json(command, told):
    code, out, err = told("schema", command)
    assert (code, strict(out), err) == (0, data_schema(command), "")


@pytest.mark.parametrize("kind", ["model", "regime", "pet"])
@pytest.mark.parametrize(
    ("name", "path"),
    [("mine", "mine.yaml"), ("a.b", "a.b.yaml"), ("mine.yml", "mine.yml"), ("x.yaml", "x.yaml"),
     ("my pet", "my pet.yaml")],
)  # fmt: skip
def test_new_writes_a_file_that_passes_its_check(kind, name, path, told, folder):
    said = f"{path}: written, a {kind} to start from; try: petsim check {shlex.quote(path)}\n"
    assert told("new", kind, name) == (0, said, "")
    code, out, err = told("check", path)
    assert (code, err) == (0, "")
    assert out.startswith(f"{path}: ok, a {kind}")
    assert [file.name for file in folder.iterdir()] == [path]


def test_a_new_pet_is_of_the_model_that_is_named(told, folder):
    (folder / "pets").mkdir()
    assert told("new", "model", "mine")[0] == 0
    assert told("new", "pet", "pets/now", "--model", "./mine.yaml")[0] == 0
    assert "\nmodel: ../mine.yaml " in (folder / "pets" / "now.yaml").read_text(encoding="utf-8")
    assert told("check", "pets/now.yaml") == (
        *(0, "pets/now.yaml: ok, a pet that goes with mine\n", ""),
    )


def test_only_a_new_pet_has_a_model(told, folder):
    for kind in ("model", "regime"):
        assert told("new", kind, "mine", "--model", "lamplet") == (
            *(2, "", f"--model: is for a pet; expected no such option with a {kind}\n"),
        )
    assert [*folder.iterdir()] == []


def test_a_pet_is_checked_and_shown_with_what_is_assumed(told, folder):
    (folder / "now.yaml").write_text(
        "petsim: pet 1\nmodel: lamplet\nat: Wed 21:10\nform: beacon\nfor: 9 h\n"
        "levels: {hunger: 3, mood: 0 to 2}\nweight: 50\nmisses in form: {mood: 1}\n",
        encoding="utf-8",
    )
    assert told("check", "now.yaml") == (0, "now.yaml: ok, a pet that goes with lamplet\n", "")
    assert told("show", "now.yaml") == (
        0,
        """\
# The pet now, in the middle of its life.
petsim: pet 1
model: lamplet
at: Wednesday 21:10
form: beacon
for: 9 h
levels: {hunger: 3, mood: 0 to 2}
weight: 50
misses in form: {mood: 1}

# Left out of the file, and so assumed:
#   waste             0              as none is said
#   discipline        0              as at birth
#   ill               no             as it is not said
#   empty for.mood    0 s            as if it had just reached 0
#   since last.waste  0 s            as at a growth, which is exact only for exponential waits
#   misses in life    those in form  as none before are said
""",
        "",
    )


def test_what_is_wrong_with_a_pet_is_told_all_at_once(told, folder):
    (folder / "now.yaml").write_text(
        "petsim: pet 1\nmodel: lamplet\nat: Wed 21:10\nform: beacon\nfor: 9 days\n"
        "levels: {hunger: 3, mood: 7}\nlights: off\nmisses in form: 1\n",
        encoding="utf-8",
    )
    assert told("check", "now.yaml") == (
        2,
        "",
        "now.yaml:5:6: for: found '9 days'; expected less, as beacon lasts at most 7 days\n"
        "now.yaml:6:27: levels.mood: found '7'; expected at most 6, which is full\n"
        "now.yaml:7:9: lights: found 'off'; expected on, as beacon is awake at Wednesday "
        "21:10\n",
    )


def test_a_pet_is_no_regime(told, folder):
    assert told("new", "pet", "now")[0] == 0
    assert told("compare", "./now.yaml")[2] == (
        "./now.yaml:4:9: petsim: found 'pet 1'; expected 'regime 1', as this is to be read as a "
        "regime\n"
    )


def test_version(told):
    assert told("--version") == (0, f"petsim {petsim.__version__}\n", "")


@pytest.mark.parametrize(
    "command", [[], ["compare"], ["run"], ["show"], ["check"], ["list"], ["new"], ["schema"]]
)
def test_help_says_how_a_command_is_used(command, told):
    code, out, err = told(*command, "--help")
    assert (code, err) == (0, "")
    assert out.startswith(f"Usage: {' '.join(['petsim', *command])} ")


# What they say of bad input

UNKNOWN = "found the unknown"
PATH_TOO = "(a path to a file works too, such as ./{}.yaml)"


@pytest.mark.parametrize(
    ("command", "message"),
    [
        ("compare hourli", f"'hourli': {UNKNOWN} regime 'hourli'; did you mean 'hourly'? "
         + PATH_TOO.format("hourli")),
        ("run hourli", f"'hourli': {UNKNOWN} regime 'hourli'; did you mean 'hourly'? "
         + PATH_TOO.format("hourli")),
        ("run hourly --model lamplett", f"'lamplett': {UNKNOWN} model 'lamplett'; "
         "did you mean 'lamplet'? " + PATH_TOO.format("lamplett")),
        ("compare hourly ./none.yaml", "./none.yaml: no such file; expected a YAML file"),
        ("show ./none.yaml", "./none.yaml: no such file; expected a YAML file"),
        ("show ./folder", "./folder: found a directory; expected a YAML file"),
        ("run ./folder", "./folder: found a directory; expected a YAML file"),
        ("show ./bytes.yaml", "./bytes.yaml:1:1: found the byte 0xff; expected text in UTF-8"),
        ("compare hourly hourly",
         "regimes: hourly, hourly; expected one or more, each of a name of its own"),
        ("compare hourly --aim becon",
         "aim: 'becon', no form of the outcome stage 'adult'; did you mean 'beacon'?"),
        ("compare hourly --days 1e300", "days: 1e+300; expected from one second to 2^53 s"),
        ("run hourly --days 0.000001", "days: 1e-06; expected from one second to 2^53 s"),
        ("run", "run: expected either a regime, or --from a sweep with --cell"),
        ("run hourly --from a", "run: expected either a regime, or --from a sweep with --cell"),
        ("run hourly --cell 0", "--cell: is for a sweep; expected --from with it"),
        ("run --from a --seed 1", "--seed: is as in the sweep; expected no such option with it"),
        ("run --from a --until death",
         "--until: is as in the sweep; expected no such option with it"),
        ("plot hourly --life 1 --lives 5 -o a.png",
         "--lives: is of a comparison; expected it without --life"),
        ("run hourly --outcome candel", "outcome: 'candel'; did you mean 'candle'?"),
        ("run hourly --lives 5",
         "--lives: is how many to look at for an --outcome; expected both"),
        ("run --from a", "a.sweep: is not there; expected the file of a sweep"),
        ("sweep nosuch.yaml", "nosuch.yaml: no such file; expected a YAML file"),
        ("sweep hourly", "--out: missing; expected the name of the file for the results"),
        ("sensitivity hourly", "--out: missing; expected the name of the file for the results"),
        ("sweep hourly --out a --vary passes=1 --vary passes=2",
         "--vary: passes is given twice; expected all its values in one"),
        ("sweep hourly --out a --vary pases=1",
         "vary pases: found the unknown key 'pases'; did you mean 'passes'?"),
        ("sweep hourly --out a --vary passes=1..3",
         "vary passes: found a range without a step; expected one, such as "
         "1..3/1, or a sample"),
        ("sweep hourly --out a --vary lives=5",
         "--vary: lives is of no file; did you mean --lives 5?"),
        ("sweep hourly --out a --vary checks/every=5min",
         "vary checks/every: found the unknown key 'checks/every'; did you mean 'checks.every'?"),
        ("sweep hourly --out a --vary checks.every=10min...30min",
         "vary checks.every: found '10min...30min'; did you mean 10 min..30 min/10 min, or for a "
         "sample 10 min..30 min?"),
        ("sweep hourly --out a --points 3", "sample and points: expected both or neither"),
        ("sensitivity hourly --out a --vary passes=1,2",
         "vary: 1 given; expected at least 2"),
        ("sweep study.yaml --vary passes=1",
         "study.yaml: is a study, which says itself what varies under which"),
        ("sweep study.yaml hourly",
         "study.yaml: is a study, which says itself what varies under which"),
        ("sweep study.yaml", "study.yaml:3:10: regimes: found 'hourly'; "
         "expected a list, such as [first, second]"),
        ("sensitivity study.yaml --out a --vary passes=1,2 --vary checks.every=1min,2min",
         "study.yaml:1:9: petsim: found 'study 1'; "
         "expected 'regime 1', as this is to be read as a regime"),
        ("export a a.csv", "a.sweep: is not there; expected the file of a sweep"),
        ("new model bytes.yaml", "bytes.yaml: is there already; expected a new file"),
        ("new regime bytes", "bytes.yaml: is there already; expected a new file"),
        ("new model nowhere/mine",
         f"nowhere/mine.yaml: can't be written: {os.strerror(errno.ENOENT)}"),
        ("new model bytes.yaml/mine",
         f"bytes.yaml/mine.yaml: can't be written: {os.strerror(errno.ENOTDIR)}"),
    ],
)  # fmt: skip
def test_bad_input_is_told_in_one_line(command, message, refusal, folder):
    (folder / "folder").mkdir()
    (folder / "study.yaml").write_text("petsim: study 1\nname: One\nregimes: hourly\n")
    (folder / "bytes.yaml").write_bytes(b"\xff\xfe")
    assert refusal(*command.split()) == message + "\n"
    assert (folder / "bytes.yaml").read_bytes() == b"\xff\xfe"


@pytest.mark.parametrize(
    ("command", "message"),
    [
        ("run --from a --cell 4", "cell: 4; expected 0 to 3"),
        ("run --from aa", "aa.sweep: is not there; did you mean 'a'?"),
        ("export ./aa b.csv", "aa.sweep: is not there; did you mean 'a'?"),
        ("export a a.xlsx", "a.xlsx: expected a name that ends in .csv, .parquet or .sweep"),
        ("export b b.csv --what lives", "b.sweep: kept no lives; sweep with --keep lives"),
    ],
)
def test_what_a_sweep_does_not_have_is_told(command, message, refusal, folder, a_sweep):
    swept("b")
    assert refusal(*command.split()) == message + "\n"
    assert sorted(path.name for path in folder.iterdir()) == ["a.sweep", "b.sweep"]


def wrong_usage(command, message):
    """What is said of a wrong command line, by the command that it is wrong for."""
    usage = USAGE.get(command, "[OPTIONS] REGIME...")
    called = f"petsim {command}".strip()
    return f"Usage: {called} {usage}\nTry '{called} --help' for help.\nError: {message}\n"


USAGE = {
    "": "[OPTIONS] COMMAND [ARGS]...",
    "run": "[OPTIONS] [REGIME]",
    "sweep": "[OPTIONS] REGIME|STUDY...",
    "sensitivity": "[OPTIONS] REGIME",
    "trials": "[OPTIONS] [K/N] [ODDS|REGIME]",
    "verify": "[OPTIONS]",
    "new": "[OPTIONS] {model|regime|pet} NAME",
    "help": "[OPTIONS] [TOPIC|COMMAND]",
}
WHOLE_FROM_1 = "expected a whole number from 1 up"
WHOLE_FROM_0 = "expected a whole number from 0 up"
ABOVE_0 = "expected a number of days above 0"
ENTRIES = "'misses', 'growth', 'care', 'needs', 'illness', 'discipline', 'sleep', 'power', 'light'"


@pytest.mark.parametrize(
    ("command", "option", "value", "message"),
    [
        *(("compare", "--lives", value, f"{value!r}; {WHOLE_FROM_1}")
          for value in ("0", "-3", "1e3", "2.5", "ten", "", "²", str(2**64))),
        *(("compare", "--seed", value, f"{value!r}; {WHOLE_FROM_0}")
          for value in ("-1", "x", str(2**64), "9" * 5000)),
        *(("compare", "--precision", value, f"{value!r}; expected a share such as 1%, below 50%")
          for value in ("0", "0%", "1", "50%", "-1%", "1 point", "")),
        *(("trials", "--rigs", value, f"{value!r}; {WHOLE_FROM_1}") for value in ("0", "two")),
        ("run", "--life", "-1", f"'-1'; {WHOLE_FROM_0}"),
        ("run", "--cell", "-1", f"'-1'; {WHOLE_FROM_0}"),
        ("sweep", "--vary", "checks.every:10min",
         "'checks.every:10min'; expected PATH=VALUES; did you mean checks.every=10min?"),
        ("sweep", "--vary", "checks.every 10min",
         "'checks.every 10min'; expected PATH=VALUES; did you mean checks.every=10min?"),
        *(("sweep", "--vary", value,
           f"{value!r}; expected PATH=VALUES, such as checks.every=10min,20min")
          for value in ("", "passes", "passes=", "=1")),
        ("sweep", "--points", "0", f"'0'; {WHOLE_FROM_1}"),
        ("sensitivity", "--points", "1", "'1'; expected a whole number from 2 up"),
        *(("run", "--days", value, f"{value!r}; {ABOVE_0}")
          for value in ("0", "-1", "nan", "inf", "two", "")),
        ("run", "--only", "mises", "'mises'; did you mean 'misses'?"),
        ("run", "--only", "zzz", f"'zzz'; expected one of {ENTRIES}"),
    ],
)  # fmt: skip
def test_value_of_an_option_that_is_wrong_is_told(command, option, value, message, refusal):
    given = "3/5" if command == "trials" else "hourly"
    assert refusal(command, given, f"{option}={value}") == wrong_usage(
        command, f"Invalid value for '{option}': {message}"
    )


@pytest.mark.parametrize(
    ("line", "command", "message"),
    [
        ("compar hourly", "", "No such command 'compar'. Did you mean 'compare'?"),
        ("zzz", "", "No such command 'zzz'."),
        ("new regim a", "new", "Invalid value for '{model|regime|pet}': 'regim'; did you mean "
         "'regime'?"),
        ("compare hourly --until deth", "compare",
         "Invalid value for '--until': 'deth'; did you mean 'death'?"),
        ("compare hourly --engine x", "compare",
         "Invalid value for '--engine': 'x'; expected one of 'auto', 'reference', 'compiled'"),
        ("compare hourly --lifes=3", "compare",
         "No such option '--lifes'. Did you mean '--lives'?"),
        ("run hourly daily", "run", "Got unexpected extra argument (daily)"),
        ("verify --zzz", "verify", "No such option '--zzz'."),
        ("help modles", "help", "Invalid value for 'TOPIC': 'modles'; did you mean 'models'?"),
        ("help zzz", "help",
         "Invalid value for 'TOPIC': 'zzz'; expected one of 'models', 'regimes', 'log', "
         "'fitting', 'deciding', …"),
    ],
)  # fmt: skip
def test_a_misspelt_word_of_a_command_is_told_by_that_command(line, command, message, refusal):
    assert refusal(*line.split()) == wrong_usage(command, message)


@pytest.mark.parametrize("option", ["lives 5", "model plain-clock", "seed 1", "days 2"])
@pytest.mark.parametrize("command", ["plot a -o a.png", "report a -o a.html"])
def test_what_a_sweep_is_cant_be_said_again(command, option, refusal, folder, a_sweep):
    name = option.split()[0]
    said = refusal(*command.split(), *f"--{option}".split())
    assert said == f"--{name}: is as in the sweep; expected no such option with it\n"


NO_NAME = "expected the name of a sweep, such as night1"
LONG = "x" * 300


@pytest.mark.parametrize(
    ("command", "message"),
    [
        *((f"plot {name} -o a.png", f"{name}: {UNKNOWN} regime {name}; expected one of 'call-")
          for name in ("''", "'.'")),
        ("report hourly '' -o a.html", f"'': {UNKNOWN} regime ''; expected one of 'call-"),
        ("plot hourly -o ''", "'': expected a name that ends in .svg, .png or .pdf"),
        ("report hourly -o ''", "'': expected a name that ends in .html or .htm"),
        ("plot hourly --lives 2 -o a.png --kind ''", "kind: ''; expected one of 'odds', "),
        ("compare ''", f"'': {UNKNOWN} regime ''; expected one of 'call-"),
        ("show ''", f"'': {UNKNOWN} model or regime ''; expected one of 'call-"),
        ("run hourly --model ''", f"'': {UNKNOWN} model ''; expected one of 'lamplet', "),
        ("run hourly --outcome ''", "outcome: ''; expected one of 'beacon', "),
        ("run --from ''", f"'': {NO_NAME}"),
        ("export '' a.csv", f"'': {NO_NAME}"),
        ("export a ''", "'': expected a name that ends in .csv, .parquet or .sweep"),
        *((f"sweep hourly --out {name}", f"{name}: {NO_NAME}")
          for name in ("''", "'.'", "'..'", "'/'")),
        (f"run {LONG}", f"'{'x' * 59}…': {UNKNOWN} regime '{'x' * 59}…'; expected one of"),
        (f"plot {LONG} -o a.png", f"'{'x' * 59}…': {UNKNOWN} regime "),
        (f"run {LONG}.py:A", f"{LONG}.py: no such file; expected a Python file"),
        (f"sweep {LONG}.yaml", f"{LONG}.yaml: no such file; expected a YAML file"),
        (f"sweep hourly --out {LONG} --lives 2", f"{LONG}.sweep: "),
        (f"export a {LONG}.csv", f"{LONG}.csv: can't be written: "),
        (f"report hourly --lives 2 -o {LONG}.html", f"{LONG}.html: can't be written: "),
    ],
)  # fmt: skip
def test_names_that_no_file_can_have_are_told(command, message, refusal, folder, a_sweep):
    said = refusal(*shlex.split(command))
    assert said.startswith(message) and said.count("\n") == 1
    assert [path.name for path in folder.iterdir()] == ["a.sweep"]


@pytest.mark.parametrize("value", ["", " "])
@pytest.mark.parametrize(
    ("option", "message"),
    [
        ("--on", "expected an address such as tcp://host:8786"),
        ("--vary", "expected PATH=VALUES, such as checks.every=10min,20min"),
    ],
)
def test_nothing_is_no_value_of_an_option(option, message, value, refusal):
    assert refusal("sweep", "hourly", "--out", "a", option, value) == wrong_usage(
        "sweep", f"Invalid value for '{option}': {value!r}; {message}"
    )


@pytest.mark.parametrize("text", ["3", "3/", "/5", "3:5", "3.0/5", "three/five", ""])
def test_trials_are_two_numbers(text, refusal):
    message = f"Invalid value for '[K/N]': {text!r}; expected two numbers such as 3/5"
    assert refusal("trials", text) == wrong_usage("trials", message)


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ("", "trials: expected either K/N, such as 3/5, or --tell with two odds"),
        ("3/5 --rigs 2", "trials: --days and --rigs say how long --tell takes; expected it"),
        ("3/5 --days 7", "trials: --days and --rigs say how long --tell takes; expected it"),
        ("3/5 --tell 1% 2%", "trials: expected either K/N, such as 3/5, or --tell with two odds"),
        ("6/5", "trials: 6 of 5 pets; expected 0 or more of at least 1"),
        ("--tell 5% 5%", "odds: both 0.05; expected two that differ"),
        ("3/5 hourli", f"'hourli': {UNKNOWN} regime 'hourli'; did you mean 'hourly'? "
         "(a path to a file works too, such as ./hourli.yaml)"),
    ],
)  # fmt: skip
def test_trials_that_make_no_sense_are_told(given, message, refusal):
    assert refusal("trials", *given.split()) == message + "\n"


@pytest.mark.parametrize("text", ["80", "1.5", "120%", "-1"])
def test_odds_are_a_share(text, refusal):
    said = f"{text!r}; expected a chance from 0% to 100%, such as 70% or 0.7"
    assert refusal("trials", "3/5", "--", text) == wrong_usage(
        "trials", f"Invalid value for '[ODDS|REGIME]': {said}"
    )


@pytest.mark.parametrize("name", ["", " ", ".", "..", "/"])
def test_new_file_has_a_name(name, refusal, folder):
    message = f"Invalid value for 'NAME': {name!r}; expected the name of a new file"
    assert refusal("new", "model", name) == wrong_usage("new", message)
    assert not list(folder.iterdir())


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ("--until death --days 1", "'--days': not allowed with --until"),
        ("--days 1 --until outcome", "'--until': not allowed with --days"),
        ("--life 0 --outcome candle", "'--outcome': not allowed with --life"),
        ("--json --csv", "'--csv': not allowed with --json"),
        ("--only care --json", "'--json': not allowed with --only"),
    ],
)
def test_options_that_contradict_each_other_are_told(options, message, refusal):
    assert refusal("run", "hourly", *options.split()) == wrong_usage(
        "run", f"Invalid value for {message}"
    )


@pytest.mark.parametrize(
    ("arguments", "missing"),
    [
        (["compare"], "argument 'REGIME...'"),
        (["sweep"], "argument 'REGIME|STUDY...'"),
        (["new"], "argument '{model|regime|pet}'"),
        (["new", "model"], "argument 'NAME'"),
        (["plot", "hourly"], "option '-o' / '--out'"),
    ],
)
def test_argument_that_is_missing_is_named(arguments, missing, refusal):
    assert refusal(*arguments).splitlines()[-1] == f"Error: Missing {missing}."


def test_a_command_is_needed(refusal):
    assert refusal() == wrong_usage("", "Missing command.")


# Policies that misbehave; what each is told is tested in tests/life/test_policies.py

POLICY = """
class Odd:
    regime = {{"petsim": "regime 1", "name": "R", "checks": {{"every": "1 h", "first": "0 s"}}}}

    def check(self, look):
        {body}
"""
TWO_HOURS_IN = """if look()["clock"].hour > 10:
            raise KeyError("lost")
        return []"""


@pytest.mark.parametrize(
    ("body", "when", "message"),
    [
        ('raise ValueError("no idea")', "09:00:00", "raised ValueError: no idea (odd.py, line 6)"),
        (TWO_HOURS_IN, "11:00:00", "raised KeyError: 'lost' (odd.py, line 7)"),
        ("return 7", "09:00:00",
         "check returned 7; yield the names of actions, or return a list of them"),
        ("yield 'feet'", "09:00:00",
         "asked for 'feet', which lamplet-quick does not know; did you mean 'feed'? (its actions: "
         "feed, treat, play, clean, dose, lights_off, lights_on, reprimand)"),
        ("while True: yield 'dose'", "09:00:00",
         "never stops: more than 1000 actions in one check"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("command", [("run",), ("compare", "--lives", "50")], ids=lambda c: c[0])
def test_policy_that_misbehaves_is_told_with_life_and_time(
    command, body, when, message, refusal, folder
):
    (folder / "odd.py").write_text(POLICY.format(body=body))
    said = refusal(*command, *QUICK, "--days", "0.2", "./odd.py:Odd")
    assert said == f"odd:Odd: life 0, day 1 {when}: {message}\n"


@pytest.mark.parametrize(
    ("source", "message"),
    [
        ("none.py:Odd", "none.py: no such file; expected a Python file, FILE.py:CLASS"),
        ("odd.py:Od", "odd.py: Od: found the unknown policy 'Od'; did you mean 'Odd'?"),
        ("half.py:Odd", "half.py:1:10: found what is not Python: expected ':'; "
         "expected a file that Python can run"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("command", ["run", "compare", "check"])
def test_policy_that_cannot_be_loaded_is_told(command, source, message, refusal, folder):
    (folder / "odd.py").write_text(POLICY.format(body="yield 'feed'"))
    (folder / "half.py").write_text("class Odd\n")
    assert refusal(command, source) == message + "\n"


def test_fault_of_petsim_itself_is_not_taken_for_the_users(monkeypatch):
    def broken():
        raise ValueError("a fault of ours")

    monkeypatch.setattr(show, "listing", broken)
    with pytest.raises(ValueError, match="a fault of ours"):
        main(["list"])


# As a process


def process(*arguments, **environment):
    """What a process of its own did that was given these arguments."""
    return subprocess.run(
        [*PETSIM, *arguments],
        env=os.environ | environment,
        capture_output=True,
        encoding="utf-8",
        check=False,
    )


def test_process_exits_with_what_became_of_it():
    done = process("compare", "hourly", *QUICK, "--lives", "50", "--days", "0.1")
    assert (done.returncode, done.stderr) == (0, "")
    done = process("compare", "hourli")
    assert (done.returncode, done.stdout) == (BAD_INPUT, "")
    assert done.stderr.startswith("'hourli': ")


def test_what_ascii_cannot_show_is_written_out():
    given = ("compare", "hourly", *QUICK, "--lives", "5", "--days", "0.1")
    done = process(*given, PYTHONIOENCODING="ascii")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.isascii()
    assert done.stdout.replace(r"\xb1", "±") == process(*given, PYTHONIOENCODING="utf-8").stdout


@pytest.mark.parametrize(
    "arguments",
    [["list"], ["run", "ten-minute", "--days", "2"], [*LIFE, "--json"], [*LIFE, "--csv"]],
    ids=["short", "long", "json", "csv"],
)
def test_reader_that_has_seen_enough_is_no_error(arguments):
    reader, writer = os.pipe()
    os.close(reader)
    done = subprocess.run(
        [*PETSIM, *arguments],
        # with a buffer, as is usual: what is left in it is written at the end
        env=os.environ | {"PYTHONUNBUFFERED": ""},
        stdout=writer,
        stderr=subprocess.PIPE,
        check=False,
    )
    os.close(writer)
    assert (done.returncode, done.stderr) == (0, b"")


BUSY = """
import os
from pathlib import Path

class Busy:
    def check(self, look):
        Path({begun!r}, str(os.getpid())).touch()
        {then}
        return []
"""


def wait_until(holds, patience=30.0):
    end = time.monotonic() + patience
    while not holds():
        assert time.monotonic() < end
        time.sleep(0.02)


def is_over(group):
    """Whether no process of the group is left."""
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return True
    return False


@pytest.mark.skipif(os.name != "posix", reason="process groups are of POSIX")
@pytest.mark.parametrize(
    ("case", "then", "interrupt"),
    [
        ("all, in an endless policy", "while True: pass", os.killpg),
        ("all, as a terminal does", "pass", os.killpg),
        ("the first alone", "pass", os.kill),
    ],
)
def test_interrupt_ends_it_in_one_line_with_all_its_workers(case, then, interrupt, tmp_path):
    begun, policy = tmp_path / "begun", tmp_path / "busy.py"
    begun.mkdir()
    policy.write_text(BUSY.format(begun=str(begun), then=then))
    given = ["compare", f"{policy}:Busy", *QUICK, "--days", "0.1", "--lives", "100000"]
    with subprocess.Popen(
        [*PETSIM, *given],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
    ) as running:
        try:
            wait_until(lambda: len(list(begun.iterdir())) == processors())
            interrupt(running.pid, signal.SIGINT)
            out, err = running.communicate(timeout=30)
            assert running.returncode == INTERRUPTED
            done = re.fullmatch(
                rb"petsim: interrupted(?: after (\d+) of 100000 lives; this is what they say)?\n",
                err,
            )
            assert done and (done[1] is None or "endless" not in case)
            # of the chunks that were done, the answer
            assert out.startswith(b"Of %s lives under " % done[1] if done[1] else b"")
            assert bool(out) == bool(done[1])
            wait_until(lambda: is_over(running.pid))
        finally:
            if not is_over(running.pid):
                os.killpg(running.pid, signal.SIGKILL)


DESTROYED = """
import signal


class Destroyed:
    def __del__(self):
        signal.raise_signal(signal.SIGINT)


class Busy:
    def check(self, look):
        Destroyed()
        while True:
            pass
"""


def test_interrupt_that_comes_in_a_destructor_ends_it_too(tmp_path):
    # Python does not raise what is raised there: "Data model", object.__del__, of its reference
    policy = tmp_path / "busy.py"
    policy.write_text(DESTROYED)
    given = ["run", f"{policy}:Busy", *QUICK, "--days", "0.1"]
    ended = subprocess.run(
        [*PETSIM, *given], check=False, capture_output=True, text=True, timeout=30
    )
    assert (ended.returncode, ended.stderr) == (INTERRUPTED, "petsim: interrupted\n")


WHILE_IMPORTING = """
import runpy, signal, sys


class Interrupting:
    def find_spec(name, path=None, target=None):
        if name == {wanted!r}:
            signal.raise_signal(signal.SIGINT)


sys.meta_path.insert(0, Interrupting)
sys.argv[1:] = {given!r}
runpy.run_module("petsim", run_name="__main__", alter_sys=True)
"""


@pytest.mark.parametrize(
    ("wanted", "said"),
    [("petsim.cli", ""), ("petsim.study.compare", "petsim: interrupted\n")],
    ids=["before anything is done", "within the command"],
)
def test_interrupt_while_it_begins_leaves_no_traceback(wanted, said):
    code = WHILE_IMPORTING.format(wanted=wanted, given=["compare", "hourly"])
    ended = subprocess.run(
        [sys.executable, "-c", code], check=False, capture_output=True, text=True, timeout=30
    )
    assert (ended.returncode, ended.stdout, ended.stderr) == (INTERRUPTED, "", said)


HALF_DONE = """
import signal

try:
    signal.raise_signal(signal.SIGINT)
except KeyboardInterrupt as error:  # as the import of compiled code ends
    raise ImportError("initialization failed") from error
"""
IMPATIENT = "from petsim.cli import interrupts, main; interrupts.PATIENCE = 0; main()"


@pytest.mark.parametrize(
    ("imported", "command"),
    [
        (HALF_DONE, PETSIM),
        ("import signal\nsignal.raise_signal(signal.SIGINT)\nwhile True: pass", None),
    ],
    ids=["that fails by it", "without an end"],
)
def test_interrupt_ends_an_import(imported, command, tmp_path):
    (tmp_path / "imported.py").write_text(imported)
    policy = tmp_path / "odd.py"
    policy.write_text(
        "import imported\n\n\nclass Odd:\n    def check(self, look):\n        while True: pass\n"
    )
    ended = subprocess.run(
        [*(command or [sys.executable, "-c", IMPATIENT]), "run", f"{policy}:Odd", *QUICK],
        env=os.environ | {"PYTHONPATH": os.pathsep.join([str(tmp_path), *sys.path])},
        check=False,
        capture_output=True,
        text=True,
        timeout=30,
    )
    assert (ended.returncode, ended.stderr) == (INTERRUPTED, "petsim: interrupted\n")


@pytest.mark.skipif(os.name != "posix", reason="elsewhere a wait is not interrupted")
def test_interrupt_that_is_put_off_ends_a_wait_for_a_result():
    began = time.monotonic()
    with interrupts_kept(lambda error: True, []), pytest.raises(KeyboardInterrupt):
        Thread(target=_interrupt_later, args=(signal.SIGINT,)).start()
        Future().result(5)
    assert time.monotonic() - began < 4


MADE_AN_ERROR = """
import signal
from petsim import cli
from petsim.study import compare


def interrupted(*arguments, **named):
    try:
        signal.raise_signal(signal.SIGINT)
    except KeyboardInterrupt:  # as pydantic does
        raise RuntimeError("Error calling function `str`") from None


compare.compare = interrupted
cli.main()
"""


def test_interrupt_that_other_code_makes_an_error_of_is_one():
    given = [sys.executable, "-c", MADE_AN_ERROR, "compare", "hourly"]
    ended = subprocess.run(given, check=False, capture_output=True, text=True, timeout=30)
    assert (ended.returncode, ended.stderr) == (INTERRUPTED, "petsim: interrupted\n")


ODDLY_PLACED = {
    "in code from text": (
        "exec('import signal; signal.raise_signal(signal.SIGINT)')",
        "petsim: interrupted\n",
    ),
    "when all is over": (
        "import atexit, signal; atexit.register(signal.raise_signal, signal.SIGINT)",
        "",
    ),
}


AT_THE_VERY_END = """
import os, signal, sys


class Kept:
    def __del__(self, kill=os.kill, itself=os.getpid(), interrupt=signal.SIGINT):
        kill(itself, interrupt)


sys.kept = Kept()


class Odd:
    def check(self, look):
        return []
"""


def test_interrupt_when_python_is_cleared_away_comes_too_late(tmp_path):
    policy = tmp_path / "odd.py"
    policy.write_text(AT_THE_VERY_END)
    given = ["run", f"{policy}:Odd", *QUICK, "--days", "0.1"]
    ended = subprocess.run(
        [*PETSIM, *given], check=False, capture_output=True, text=True, timeout=60
    )
    assert (ended.returncode, ended.stderr) == (0, "")
    assert ended.stdout.endswith("followed to here; outcome: undecided\n")


@pytest.mark.parametrize("place", ODDLY_PLACED)
def test_interrupt_anywhere_has_its_code_and_one_line_at_most(place, tmp_path):
    line, said = ODDLY_PLACED[place]
    policy = tmp_path / "odd.py"
    policy.write_text(f"{line}\n\n\nclass Odd:\n    def check(self, look):\n        return []\n")
    given = ["run", f"{policy}:Odd", *QUICK, "--days", "0.1"]
    ended = subprocess.run(
        [*PETSIM, *given], check=False, capture_output=True, text=True, timeout=30
    )
    assert (ended.returncode, ended.stderr) == (INTERRUPTED, said)


@pytest.mark.parametrize("command", [("plot", "-o", "a.svg"), ("report", "-o", "a.html")])
def test_what_is_drawn_of_an_interrupted_comparison_exits_as_the_comparison(
    command, monkeypatch, folder, told
):
    result = petsim.compare("lamplet-quick", ["hourly"], lives=3)
    cut = replace(result, batches=(replace(result.batches[0], interrupted=True),))
    for shown, code in ((result, 0), (cut, INTERRUPTED)):
        monkeypatch.setattr(inputs, "shown", lambda *_, shown=shown: shown)
        assert told(*command, "hourly") == (code, f"{command[-1]}: written\n", "")
