"""Help: what it says is what the code has; the manual; and how both look in a terminal."""

import inspect
import re
from pathlib import Path

import click
import pytest

import petsim
from petsim.cli import BAD_INPUT, main
from petsim.cli.app import program
from petsim.errors import ArgumentError
from petsim.spec import choices, defaults
from petsim.spec.library import write_starter
from petsim.spec.schema import json_schema
from petsim.spec.study import Sample, Study
from petsim.theory.suite import SCALES
from petsim.view.choices import ENTRIES, PICTURES
from petsim.view.manual import TOPICS, manual, wrapped
from petsim.view.plots.named import KINDS
from tests.terminal import on_terminal

ROOT = Path(__file__).parents[1]
MODEL = "lamplet-quick"
PLACES = {"log": "petsim/life/log", "fitting": "petsim/evidence", "deciding": "petsim/advice"}
"""The folders of the pages whose names are others."""


@pytest.fixture
def told(capsys):
    """What a command printed."""

    def run(*arguments):
        main(arguments)
        captured = capsys.readouterr()
        assert captured.err == ""
        return captured.out

    return run


@pytest.fixture
def helped(told, monkeypatch):
    """What help says of a command, on lines so long that none is broken."""
    monkeypatch.setenv("COLUMNS", "10000")
    monkeypatch.setitem(program.context_settings, "max_content_width", 10_000)
    return lambda *command: told(*command, "--help")


def commands_with(option):
    """The commands that have an option."""
    return [
        name
        for name, command in program.commands.items()
        if any(option in param.opts for param in command.params)
    ]


# What can be chosen


def refused_words(use):
    """The words that a message lists when it is given another."""
    with pytest.raises((ArgumentError, petsim.SpecError)) as refused:
        use("zzz")
    return tuple(re.findall(r"'([\w-]+)'", str(refused.value).partition("expected")[2]))


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    out = tmp_path_factory.mktemp("sweep") / "a"
    return petsim.sweep(MODEL, ["hourly"], {}, out=out, lives=2, keep=True)


def test_the_engines_to_choose_from_are_those_there_are():
    def use(engine):
        petsim.compare(MODEL, ["hourly"], lives=1, engine=engine)

    assert refused_words(use) == choices.ENGINES
    # theory is held against each
    assert {*choices.ENGINES} == {"auto", *SCALES}


def test_the_lengths_of_a_life_to_choose_from_are_those_there_are():
    def use(until):
        petsim.simulate(MODEL, "hourly", until=until)

    assert refused_words(use) == choices.UNTIL


def test_what_has_to_reach_the_odds_is_one_of_the_words_there_are():
    vary = {"checks.every": "1 h"}
    assert refused_words(lambda on: petsim.choose(MODEL, "hourly", vary, on=on)) == (
        choices.REACHED_BY
    )
    words = refused_words(lambda sample: petsim.choose(MODEL, "hourly", vary, sample=sample))
    assert words == choices.LOOKED_AT


def test_the_samples_to_choose_from_are_those_there_are(tmp_path):
    vary = {"checks.every": "10min..1h"}

    def use(sample):
        petsim.sweep(MODEL, ["hourly"], vary, out=tmp_path / "a", sample=sample, points=2)

    assert refused_words(use) == choices.SAMPLES


def test_the_methods_to_choose_from_are_those_there_are(tmp_path):
    vary = {"checks.every": "10min..1h", "passes": "1..3"}

    def use(method):
        petsim.sensitivity(MODEL, "hourly", vary, out=tmp_path / "a", method=method)

    assert tuple(choices.SAMPLE_OF) == refused_words(use)


def test_the_tables_to_choose_from_are_those_there_are(made, tmp_path):
    assert refused_words(lambda what: made.export(tmp_path / "a.csv", what)) == choices.TABLES


def test_the_pictures_to_choose_from_are_those_there_are():
    assert {result.lower(): (*kinds,) for result, kinds in KINDS.items()} == PICTURES


@pytest.mark.parametrize("kind", choices.STARTERS)
def test_there_is_a_starter_and_a_schema_of_each_kind(kind, tmp_path):
    write_starter(kind, tmp_path / "a.yaml")
    assert json_schema(kind)["properties"]["petsim"]


def test_a_study_can_say_what_the_command_line_can():
    for words, field in (
        (choices.UNTIL, Study.model_fields["until"]),
        (choices.KEEP, Study.model_fields["keep"]),
        (choices.SAMPLES, Sample.model_fields["method"]),
    ):
        expected = f"expected {' or '.join(words)}"
        assert expected in repr(field.metadata) or expected in repr(field.annotation)


@pytest.mark.parametrize(
    ("option", "words"),
    [
        ("--engine", choices.ENGINES),
        ("--until", choices.UNTIL),
        ("--keep", choices.KEEP),
        ("--sample", choices.SAMPLES),
        ("--method", choices.SAMPLE_OF),
        ("--what", choices.TABLES),
        ("--only", ENTRIES),
        ("kind", choices.STARTERS),
        ("of", (*choices.STARTERS, *choices.DATA)),
    ],
)
def test_help_lists_what_can_be_chosen(option, words, helped):
    commands = commands_with(option)
    assert commands
    for command in commands:
        listed = "|".join(words).removeprefix("auto|" if command == "verify" else "")
        listed += "|TIME" if (option, command) == ("--until", "run") else ""
        listed += "|tpe" if (option, command) == ("--sample", "choose") else ""
        before, after = ("{", "}") if option in ("kind", "of") else (f"{option} [", "]")
        assert f"{before}{listed}{after}" in helped(command)


def test_help_lists_the_pictures(helped):
    said = helped("plot")
    for result in ("comparison", "sweep", "life"):
        assert f": {', '.join(PICTURES[result])}" in said


# What is taken where nothing is said


REQUIRED = {
    "plot": ["hourly", "-o", "a.svg"],
    "report": ["hourly", "-o", "a.html"],
    "export": ["night1", "a.csv"],
    "new": ["model", "mine"],
    "schema": ["model"],
    "trials": [],
    "import": ["notes.csv", "-o", "a"],
    "fit": ["a.jsonl", "--model", "lamplet"],
    "list": [],
    "verify": [],
    "help": [],
}


def defaults_of(command):
    """What a command takes where its line says no more than it must."""
    given = REQUIRED.get(command, ["hourly"])
    return program.commands[command].make_context(command, [*given]).params


@pytest.mark.parametrize("command", program.commands)
def test_help_says_what_is_taken_where_nothing_is_said(command, helped):
    taken, lines = defaults_of(command), helped(command).replace("]\n   ", "]").splitlines()
    for option in program.commands[command].params:
        default = taken.get(option.name)
        is_optional = isinstance(option, click.Option) and not option.required
        if not is_optional or type(default) not in (int, str):
            continue
        [line] = [line for line in lines if f"  {option.opts[0]} " in line]
        assert line.endswith(f"[default: {default}]")


FUNCTIONS = {
    "compare": (petsim.compare,),
    "run": (petsim.simulate,),
    "sweep": (petsim.sweep,),
    "sensitivity": (petsim.sensitivity,),
    "plot": (petsim.compare,),
    "report": (petsim.compare,),
    "choose": (petsim.choose,),
    "trials": (petsim.trials, petsim.tell_apart),
    "fit": (petsim.fit,),
    "export": (petsim.Sweep.export,),
}
SAME_IN_PYTHON = {
    "compare": {"aim", "days", "engine", "lives", "precision", "seed", "until"},
    "run": {"days", "life", "seed", "until"},
    "sweep": {"aim", "days", "engine", "keep", "lives", "points", "sample", "seed", "until"},
    "sensitivity": {"aim", "days", "engine", "keep", "lives", "method", "points", "seed", "until"},
    "plot": {"days", "lives", "seed", "until"},
    "report": {"days", "lives", "seed", "until"},
    "choose": {
        *("aim", "at_least", "cheapest", "days", "lives", "on", "points", "precision", "sample"),
        *("seed", "steps", "until"),
    },
    "trials": {"aim", "days", "lives", "odds", "rigs", "seed"},
    "fit": {"regime"},
    "export": {"what"},
}


@pytest.mark.parametrize("command", FUNCTIONS)
def test_the_command_line_takes_what_python_takes(command):
    taken = defaults_of(command)
    if "keep" in taken:
        taken["keep"] = taken["keep"] == "lives"
    signatures = [inspect.signature(function).parameters for function in FUNCTIONS[command]]
    in_python = {
        name: parameter.default
        for parameters in reversed(signatures)
        for name, parameter in parameters.items()
        if parameter.default is not parameter.empty
    }
    shared = taken.keys() & in_python.keys()
    assert SAME_IN_PYTHON[command] <= shared
    for name in SAME_IN_PYTHON[command]:
        assert taken[name] == in_python[name], name


@pytest.mark.parametrize("command", ["compare", "run"])
def test_help_says_how_many_lives_are_lived(command, helped):
    said = f"{defaults.LIVES['compiled']}, or {defaults.LIVES['reference']} "
    assert f"[default: ({said}" in helped(command)


# The lists of commands and topics


def test_commands_are_listed_by_the_question_that_they_answer(helped):
    heads = re.findall(r"^(\w[\w ]*):\n", helped(), re.MULTILINE)
    assert heads == ["Options", "Ask", "Decide", "Your real pet", "Files and trust"]
    sections = dict(re.findall(r"^(\w[\w ]*):\n((?:  .*\n)+)", helped(), re.MULTILINE))
    listed = {head: re.findall(r"^  (\w+)", text, re.MULTILINE) for head, text in sections.items()}
    assert listed["Ask"] == [
        *("compare", "run", "sweep", "sensitivity", "plot", "report", "export")
    ]
    assert listed["Decide"] == ["explain", "choose", "tolerance", "expect"]
    assert listed["Your real pet"] == ["trials", "import", "fit"]
    assert listed["Files and trust"] == [
        *("show", "check", "new", "list", "schema", "verify", "help")
    ]


def test_help_alone_lists_topics_and_all_commands(told):
    said = told("help")
    assert said.startswith("Usage: petsim help [OPTIONS] [TOPIC|COMMAND]\n\nTopics:\n  models ")
    assert told("--help").endswith(said[said.index("Ask:") :])
    for topic in TOPICS:
        heading, *_ = manual(topic).splitlines()
        assert re.search(
            f"^  {topic} +{re.escape(heading.removeprefix('# '))}$", said, re.MULTILINE
        )


@pytest.mark.parametrize("topic", TOPICS)
def test_help_of_a_topic_is_the_page_beside_the_files(topic, told):
    folder = ROOT / PLACES.get(topic, topic)
    page = (folder / "README.md").read_text(encoding="utf-8").splitlines()
    kept = [line for line in page if not line.startswith("<!--")]
    assert told("help", topic).splitlines() == kept
    assert len(kept) < len(page)


@pytest.mark.parametrize("command", program.commands)
def test_help_of_a_command_is_its_help(command, told):
    assert told("help", command) == told(command, "--help")


# In a terminal

BOLD, RED = "\x1b[1m", "\x1b[31m"


def plain(text):
    return re.sub(r"\x1b\[\d*m", "", text)


def test_help_has_bold_headings_in_a_terminal_alone(told, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    code, coloured = on_terminal("--help")
    assert code == 0
    assert f"{BOLD}Your real pet\x1b[0m:" in coloured
    assert plain(coloured) == told("--help")
    assert on_terminal("--help", NO_COLOR="1") == (0, told("--help"))
    assert on_terminal("help")[1].count(BOLD) == 5


@pytest.mark.parametrize(
    ("command", "to_blame", "rest"),
    [
        (("compare", "hourli"), "'hourli': ", "found the unknown regime"),
        (("compare", "--lives", "0", "hourly"), "Error: ", "Invalid value for '--lives'"),
        (("check", "hourli"), "'hourli': ", "found the unknown model or regime"),
    ],
)
def test_errors_are_red_in_a_terminal_alone(command, to_blame, rest, capsys):
    code, coloured = on_terminal(*command)
    assert code == BAD_INPUT
    assert f"{RED}{to_blame}\x1b[0m{rest}" in coloured
    _, uncoloured = on_terminal(*command, NO_COLOR="1")
    assert uncoloured == plain(coloured)
    with pytest.raises(SystemExit):
        main(command)
    assert capsys.readouterr().err == plain(coloured)


@pytest.mark.parametrize("topic", TOPICS)
def test_the_manual_is_paged_in_a_terminal_with_headings_in_bold(topic, tmp_path):
    pager = tmp_path / "less"
    pager.write_text('#!/bin/sh\necho "paged with $LESS"\nexec cat\n')
    pager.chmod(0o755)
    own = {"PAGER": str(pager), "LESS": ""}
    blocks = [*wrapped(manual(topic), 60)]
    code, paged = on_terminal("help", topic, columns=60, **own)
    heads = [f"{BOLD}{block}\x1b[0m" if block[0] == "#" else block for block in blocks]
    assert (code, paged) == (0, "paged with -R\n" + "\n\n".join(heads) + "\n")
    assert len([block for block in blocks if block[0] == "#"]) > 5
    code, paged = on_terminal("help", topic, columns=60, NO_COLOR="1", **own)
    assert (code, paged) == (0, "paged with \n" + "\n\n".join(blocks) + "\n")


@pytest.mark.parametrize("topic", TOPICS)
@pytest.mark.parametrize("width", [40, 80])
def test_prose_of_the_manual_is_broken_anew_and_nothing_else_changed(topic, width):
    blocks = [*wrapped(manual(topic), width)]
    assert " ".join(blocks).split() == manual(topic).split()
    kept = [block for block in blocks if block.startswith(("#", "|", "```", "    "))]
    assert all(block in manual(topic) for block in kept)
    assert {block[0] for block in kept} >= {"#", "|", "`"}
    for block in blocks:
        for line in [] if block in kept else block.splitlines():
            # but for a link, which is not broken
            assert len(line) <= width or " " not in line.strip("- ")
