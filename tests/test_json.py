"""What commands print with `--json` is what their schemas say, field by field."""

import json
import math
import re
import shlex
import sqlite3
from contextlib import closing

import pandas as pd
import pytest
from jsonschema import Draft202012Validator

import petsim
from petsim.cli import BAD_INPUT, FAILED, INTERRUPTED, main
from petsim.cli.app import program
from petsim.spec.choices import DATA
from petsim.study import indices
from petsim.theory import intervals, suite
from petsim.view import data, verification
from petsim.view.data import data_schema

SCHEMAS = {command: data_schema(command) for command in DATA}

POLICY = """\
class {name}:
    regime = {{"petsim": "regime 1", "name": "R", "checks": {{"every": "1 h", "first": "0 s"}}}}

    def check(self, look):
        {body}
"""
ROCK = """\
petsim: model 1
name: Pebble
outcome stage: grown
aim: rock
needs: {a need: {full: 1}}
care: {lift: {raises: {a need: 1}}}
stages: {young: {}, grown: {}}
forms:
  grain: {stage: young, lasts: 1 h, grows into: rock}
  rock: {stage: grown, lasts: 1 day}
"""
ROCKY = """\
petsim: regime 1
name: Rocky
checks: {every: 10 min, first: 0 s}
routine: [{do: lift}]
"""
QUICK = "--model lamplet-quick --lives 2"
SHORT = f"{QUICK} --days 0.2"
UNKNOWNS = (
    "--vary checks.every=2min..30min --vary 'stages.infant.illness.base=1 per day..3 per day'"
)


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """An empty directory to work in, but for a pet that can't die, its regime and two policies."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "rock.yaml").write_text(ROCK)
    (tmp_path / "rocky.yaml").write_text(ROCKY)
    # what it raises is no text that can be written as it is, or printed
    for name, body in (("Idle", "return []"), ("Odd", r'raise ValueError("no\nidea \udc80")')):
        (tmp_path / f"{name.lower()}.py").write_text(POLICY.format(name=name, body=body))
    return tmp_path


@pytest.fixture
def printed(capsys):
    """Run a command with --json: its exit code, and what it printed."""

    def run(line, *more):
        try:
            main([*shlex.split(line), *more, "--json"])
            code = 0
        except SystemExit as end:
            code = end.code or 0
        return code, capsys.readouterr().out

    return run


def refuse(constant):
    # NaN and Infinity are Python's own and none of JSON (RFC 8259)
    raise AssertionError(constant)


def complaints(command, value):
    """What a schema has against a value."""
    errors = Draft202012Validator(SCHEMAS[command]).iter_errors(value)
    return [f"{error.json_path}: {error.message[:200]}" for error in errors]


def as_the_schema_says(command, out):
    """The data of a text, which the schema of the command accepts."""
    value = json.loads(out, parse_constant=refuse)
    assert complaints(command, value) == []
    return value


# What commands print

CASES = [
    f"compare hourly {QUICK}",
    f"compare hourly hands-off camera-rig {QUICK} --until death",
    f"compare camera-rig {QUICK} --days 0.01 --aim ember",
    f"compare camera-rig hourly {QUICK} --aim beacon,lantern",
    f"compare camera-rig hourly {QUICK} --aim beacon=1,lantern=0.5",
    f"sweep hourly {QUICK} --vary passes=1..2/1 --aim beacon=1,lantern=0.5 --out a",
    "compare hourly hands-off --model lamplet-quick --lives 1",
    f"compare hourly staged {QUICK} --days 0.5 --why",
    "compare hourly --model lamplet-quick --lives 1 --why",
    "compare ten-minute ten-minute-quiet-night --model lamplet-quick --precision 20% --seed 7",
    "compare hands-off --model lamplet-quick --lives 1000 --precision 1%",
    "compare ./rocky.yaml hands-off --model ./rock.yaml --lives 2",
    f"compare ten-minute ./idle.py:Idle {SHORT}",
    "run camera-rig --model lamplet-quick --life 3",
    "run hands-off --model lamplet-quick --until death",
    "run hourly --model plain-clock --days 1",
    "run ./rocky.yaml --model ./rock.yaml --seed 18446744073709551615",
    "run hourly --model lamplet-quick --outcome ember",
    "run ./idle.py:Idle --model lamplet-quick --days 0.2",
    f"sweep hourly {QUICK} --vary passes=1..2/1 --out a",
    f"sweep hourly hands-off {QUICK} --vary checks.every=10min,20min --keep lives --out a",
    f"sweep hourly {QUICK} --until death --vary eyes.waste.overlooks=0,5% --out a",
    f"sweep hourly {SHORT} --vary checks.every=1min..64min --sample latin --points 3 --out a",
    f"sweep hourly {SHORT} --vary checks.every=1min..64min --sample sobol --points 2 --out a",
    f"sweep ./idle.py:Idle hourly {SHORT} --vary passes=1,2 --out a",
    f"sensitivity hourly {QUICK} {UNKNOWNS} --points 4 --out a",
    f"sensitivity hourly {QUICK} {UNKNOWNS} --points 4 --method sobol --out a",
    f"sensitivity hands-off {SHORT} {UNKNOWNS} --points 4 --method sobol --out a",
    "explain hourly --model lamplet-quick --days 1 --aim ember --lives 100",
    "explain camera-rig --model lamplet-quick --model lamplet --weight 3 --weight 1 --lives 100",
    "explain hourly --model lamplet-quick --life 1",
    f"expect hourly {QUICK} --confidence 20%",
    f"expect hourly camera-rig {QUICK} --confidence 20% --days 1",
    f"expect camera-rig {QUICK} --day 1",
    "tolerance camera-rig --model lamplet-quick --lives 20 --precision 100%",
    "tolerance ./rocky.yaml --model ./rock.yaml --model ./rock.yaml --lives 2 --at-least 99%",
    "trials 0/4",
    "trials 4/4 74%",
    "trials 3/5 1",
    f"trials 3/5 hourly {QUICK}",
    "trials --tell 20% 60% --rigs 2",
    "trials --tell 50% 50.1% --days 3.5",
    f"trials --tell 90% hourly {QUICK}",
    "check hourly hands-off",
    f"choose hourly {QUICK}00 --at-least 1% --vary checks.every=20min,40min -o better",
    f"choose hourly {QUICK}00 --weight 2 --days 0.2 --cheapest checks --steps",
    "choose hourly --model lamplet-quick --model lamplet-quick --weight 1 --weight 3 --lives 100 "
    "--at-least 1% --on estimate --vary checks.every=10min..60min --sample latin --points 3",
]


@pytest.mark.parametrize("line", CASES)
def test_what_is_printed_is_what_the_schema_says(line, printed, folder):
    code, out = printed(line)
    command, *_ = line.split()
    assert code == 0
    value = as_the_schema_says(command, out)
    # and neither a field more nor one less
    assert complaints(command, value | {"another": 1})
    optional = {"sensitivity", "miss_reasons"}
    for name in value.keys() - optional:
        assert complaints(command, {key: value[key] for key in value if key != name}), name


@pytest.mark.parametrize(
    "line",
    [
        f"sweep ./odd.py:Odd hourly {SHORT} --vary passes=1,2 --out a",
        f"sensitivity ./odd.py:Odd {SHORT} {UNKNOWNS} --points 2 --out a",
    ],
)
def test_cells_that_failed_are_what_the_schema_says(line, printed, folder):
    code, out = printed(line)
    value = as_the_schema_says(line.split()[0], out)
    assert code == FAILED
    failed = [cell for cell in value["cells"] if cell["failed"] is not None]
    assert failed and all(cell["odds"] is None for cell in failed)
    assert "sensitivity" not in value


@pytest.mark.parametrize(
    ("command", "line"),
    [
        ("sweep", f"sweep hourly {SHORT} --vary passes=1,2,3 --out a"),
        ("sensitivity", f"sensitivity hourly {SHORT} {UNKNOWNS} --points 2 --out a"),
    ],
)
def test_what_is_unfinished_is_what_the_schema_says(command, line, printed, folder, monkeypatch):
    printed(line)
    with closing(sqlite3.connect("a.sweep")) as base, base:
        base.execute("UPDATE chunks SET lives = 0 WHERE cell = 1")
    # as it is left by Ctrl-C
    monkeypatch.setattr(petsim, command, lambda *_, **__: petsim.open_sweep("a"))
    code, out = printed(line)
    value = as_the_schema_says(command, out)
    assert code == INTERRUPTED
    assert [cell["lives"] for cell in value["cells"][:3]] == [2, 0, 2]
    assert value["cells"][1]["odds"] is None and "sensitivity" not in value


def test_what_is_in_a_log_is_what_the_schema_says(printed, folder):
    petsim.simulate("lamplet-quick", "camera-rig", days=2).log().write("a.jsonl")
    log = folder / "a.jsonl"
    log.write_text(log.read_text() + "{")
    code, out = printed("check a.jsonl")
    [file] = as_the_schema_says("check", out)["files"]
    assert (code, len(file["log"]["lives"]), len(file["log"]["cuts"])) == (0, 1, 1)
    log.write_text(log.read_text() + "\n{}\n")
    code, out = printed("check a.jsonl")
    [file] = as_the_schema_says("check", out)["files"]
    assert (code, file["log"], len(file["problems"])) == (BAD_INPUT, None, 2)


def test_an_index_that_nobody_knows_is_null(printed, folder, monkeypatch):
    def unknown(kind, points, paths, odds):
        names = ["alone", "alone_low", "alone_high", "in_all", "in_all_low", "in_all_high"]
        return pd.DataFrame(math.nan, index=pd.Index(paths, name="path"), columns=names)

    # as of odds that are the same in all cells
    monkeypatch.setattr(indices, "indices", unknown)
    code, out = printed(f"sensitivity hourly {SHORT} {UNKNOWNS} --points 2 --method sobol --out a")
    value = as_the_schema_says("sensitivity", out)
    assert (code, {*value["sensitivity"]["checks.every"].values()}) == (0, {None})


def test_a_sweep_of_a_study_and_a_life_of_it_are_what_the_schemas_say(printed, folder):
    study = "petsim: study 1\nname: A\nmodel: rock.yaml\nregimes: [rocky.yaml]\nlives: 2\n"
    (folder / "study.yaml").write_text(f"{study}vary: {{passes: [1, 2]}}\n")
    code, out = printed("sweep study.yaml")
    assert (code, as_the_schema_says("sweep", out)["vary"]) == (0, {"passes": ["1", "2"]})
    code, out = printed("run --from study --cell 1 --life 1")
    assert (code, as_the_schema_says("run", out)["life"]) == (0, 1)


@pytest.mark.parametrize("engine", [[], ["--engine", "reference"]])
def test_figures_of_checks_are_what_the_schema_says(engine, printed, monkeypatch):
    of_intervals = [check for check in suite.checks() if check in vars(intervals).values()]
    # those that live no lives, and one that does
    quick = [*of_intervals[:4], *suite.checks()[:1]]
    monkeypatch.setattr(suite, "checks", lambda: quick)
    code, out = printed("verify", *engine)
    rows = as_the_schema_says("verify", out)
    assert code == 0
    assert {row["check"] for row in rows} == {check.name for check in quick}
    assert len({row["engine"] for row in rows}) == (1 if engine else 2)


def test_a_figure_that_is_no_number_is_null():
    verdict = intervals.Verdict("one: share", 0.5, math.nan, 0.1)
    [check, *_] = suite.checks()
    rows = verification.as_rows(suite.Outcome(check, {"compiled": [verdict]}))
    rows = as_the_schema_says("verify", json.dumps(rows))
    assert (rows[0]["got"], rows[0]["holds"]) == (None, False)


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("compare hourli", BAD_INPUT),
        ("compare hourly --days 0", BAD_INPUT),
        ("run hourly --only care", BAD_INPUT),
        (f"run hands-off {QUICK} --outcome beacon", FAILED),
        ("sweep hourly --vary passes=none --out a", BAD_INPUT),
        ("sensitivity hourly --vary passes=1..2 --out a", BAD_INPUT),
        ("trials 5/3", BAD_INPUT),
        ("fit nothing.jsonl --model lamplet", BAD_INPUT),
        ("verify --engine other", BAD_INPUT),
    ],
)
def test_what_is_refused_prints_no_data(line, code, printed, folder):
    assert printed(line) == (code, "")


# The schemas


def test_each_command_that_prints_data_has_a_schema():
    with_data = [
        name
        for name, command in program.commands.items()
        if any("--json" in parameter.opts for parameter in command.params)
    ]
    assert [*DATA] == with_data == [*data.PRINTED]


def parts(schema, place="$"):
    """All schemas within a schema, by their places."""
    yield place, schema
    for key in ("properties", "patternProperties"):
        for name, inner in schema.get(key, {}).items():
            yield from parts(inner, f"{place}.{name}")
    for key in ("items", "additionalProperties"):
        if isinstance(schema.get(key), dict):
            yield from parts(schema[key], f"{place}[{key}]")
    for key in ("prefixItems", "anyOf"):
        for number, inner in enumerate(schema.get(key, ())):
            yield from parts(inner, f"{place}[{key}][{number}]")


def types_of(schema):
    """The types that a schema allows, of one of which a value may be."""
    types = schema.get("type")
    return types if isinstance(types, list) else [types]


@pytest.mark.parametrize("command", DATA)
def test_a_schema_describes_every_field_and_is_closed(command):
    schema = SCHEMAS[command]
    Draft202012Validator.check_schema(schema)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert command in schema["title"]
    all_parts = dict(parts(schema))
    assert len(all_parts) > 8
    for place, part in all_parts.items():
        choices = part.get("anyOf", [part])
        types = {kind for choice in choices for kind in types_of(choice)}
        is_null_or_choice = re.search(r"\[anyOf\]\[\d+\]$", place)
        assert part.get("description") or is_null_or_choice, place
        if types & {"number", "integer"} and not is_null_or_choice:
            assert re.search(r" \([^()]+\)(; null .+)?$", part["description"]), place
        if part.get("type") == "object":
            assert part["additionalProperties"] is False or part["additionalProperties"], place
        if part.get("type") == "array":
            assert part.get("items") or part["items"] is False, place


def test_a_new_figure_is_in_the_schema_by_its_entry(monkeypatch):
    from petsim.study import measures

    new = measures.daily("unfair", "unfair reprimands a day")
    monkeypatch.setattr(measures, "MEASURES", (*measures.MEASURES, new))
    result = petsim.compare("lamplet-quick", ["camera-rig"], lives=2).as_dict()
    assert complaints("compare", result)
    [regime] = [data_schema("compare")["properties"]["regimes"]["items"]]
    assert regime["properties"]["unfair_per_day"] == {
        "description": "Work: unfair reprimands a day, mean over lives (count a day)",
        "type": "number",
    }
    assert not [*Draft202012Validator(data_schema("compare")).iter_errors(result)]
