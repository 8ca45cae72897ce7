"""Whatever a name or another's error has in it, it is shown and does nothing."""

import csv
import io
import logging
from xml.etree import ElementTree

import pandas as pd
import pytest

import petsim
from petsim.errors import ArgumentError, PolicyError, Problem, SpecError, legible
from petsim.spec.parts import as_yaml
from petsim.spec.reading import read_text
from petsim.study.writing import write_csv
from petsim.view import plots
from petsim.view.report import of, page

MODEL = "lamplet-quick"
NASTY = "$x_1$ <script>alert('1')</script> \"{0}\" %s =1+1"


def renamed(shipped, folder, stem, **more):
    """A shipped file under another name, and with other values for some of its keys."""
    load = petsim.load_model if shipped == MODEL else petsim.load_regime
    file = folder / f"{stem}.yaml"
    file.write_text(as_yaml(load(load(shipped).source().data | more)))
    return file


# Terminals


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("plain, é日😀 \\n", "plain, é日😀 \\n"),
        ("\x1b[31m\x07\r\n\t\x7f", r"\x1b[31m\x07\r\n\t\x7f"),
        # C1, with the one that begins a sequence as ESC [ does
        ("\x80\x85\x9b31m\x9f\xa0", "\\x80\\x85\\x9b31m\\x9f\xa0"),
        # Unicode's Bidi_Control (PropList.txt, from memory), and what ends a line or a paragraph
        ("\u061c\u200e\u200f\u202a", r"\u061c\u200e\u200f\u202a"),
        ("\u202e\u2066\u2069", r"\u202e\u2066\u2069"),
        ("\u2028\u2029\ufeff", r"\u2028\u2029\ufeff"),
        # half a character: a byte of a file's name that is none
        ("a\udcff", r"a\udcff"),
        # what joins and parts letters in some scripts
        ("\u200c\u200d", "\u200c\u200d"),
    ],
)  # fmt: skip
def test_what_a_terminal_would_obey_is_written_out(text, shown):
    assert legible(text) == shown
    assert legible(f"{text}\n", "\n") == f"{legible(text, chr(10))}\n"


@pytest.mark.parametrize(
    "error",
    [
        ArgumentError("a\nb\x1b: c"),
        PolicyError("a\nb\x1b: c"),
        SpecError([Problem("a\nb\x1b", None, None, "", "c", "d")]),
    ],
)
def test_an_error_is_a_line_whatever_it_names(error):
    assert str(error).startswith(r"a\nb\x1b: c")
    assert len(str(error).splitlines()) == 1


@pytest.mark.parametrize("name", ["a\nb", "\x1b[2Ja", "a\rb", "a\u202eb", "\x9b31ma"])
def test_names_of_files_do_nothing_to_a_terminal(name, told, tmp_path):
    shown = legible(name)
    regime = str(renamed("hourly", tmp_path, name))
    for arguments in (
        ["check", regime],
        ["show", regime],
        ["run", regime, "--model", MODEL, "--days", "1"],
        ["check", str(tmp_path / f"{name}2.yaml")],
        ["check", str(tmp_path / f"{name}.py:Keeper")],
        ["compare", name, "--lives", "1"],
        ["new", "regime", str(tmp_path / f"{name}.new.yaml")],
        ["new", "regime", regime],
        ["plot", regime, "-o", str(tmp_path / f"{name}.gif")],
        ["export", name, "x.csv"],
        ["compare", "hourly", f"--{name}"],
        [name],
    ):
        _, out, err = told(*arguments)
        assert shown in out + err, arguments
        assert out + err == legible(out + err, "\n"), arguments


def test_what_a_policy_raises_does_nothing_to_a_terminal(told, tmp_path):
    policy = tmp_path / "policy.py"
    policy.write_text(
        "class Keeper:\n    def check(self, look):\n"
        "        raise ValueError('\\x1b[2J gone\\nError: all is well')\n        yield 'feed'\n"
    )
    for command in (["check"], ["run", "--model", MODEL]):
        code, out, err = told(command[0], f"{policy}:Keeper", *command[1:])
        assert (code, out) == (2, "")
        assert r"ValueError: \x1b[2J gone\nError: all is well" in err
        assert err == legible(err, "\n")
    policy.write_text("raise ValueError('\\x1b]0;x\\x07\\r')\n")
    _, _, err = told("check", str(policy))
    assert r"found what can't be run: ValueError: \x1b]0;x\x07\r" in err


def test_text_of_a_file_is_shown_so_that_it_loads_back(told, tmp_path):
    about = "turns \u202e and \x85 and\nanother line"
    file = renamed("hourly", tmp_path, "mine", about=about)
    _, out, _ = told("show", str(file))
    assert out == legible(out, "\n")
    assert read_text(out, "it").data["about"] == about


def test_a_notice_of_a_reason_does_nothing_to_a_terminal(caplog):
    from petsim.life import simulate

    with caplog.at_level(logging.WARNING):
        simulate._log_slowness("numba can't be imported (\x1b[31m\n)")
    assert caplog.messages == [
        r"petsim: slow without the compiled engine: numba can't be imported (\x1b[31m\n)"
    ]


# Spreadsheets


def test_cells_that_a_spreadsheet_would_run_have_an_apostrophe():
    # OWASP, "CSV Injection", from memory: a cell that begins with = + - @, a tab or a carriage
    # return may be taken for a formula; an apostrophe before it is the usual defence
    texts = [
        "=1+1",
        "+a",
        "-cmd",
        "@SUM(A1)",
        "\t=1",
        "\r=1",
        "'=1",
        "plain",
        "a\nb",
        "-5",
        "+2.5",
        "-1%",
    ]
    safe = [
        "'=1+1",
        "'+a",
        "'-cmd",
        "'@SUM(A1)",
        r"\t=1",
        r"\r=1",
        "'=1",
        "plain",
        r"a\nb",
        "-5",
        "+2.5",
        "-1%",
    ]
    table = pd.DataFrame(
        {"=text": texts, "word": pd.Categorical(texts), "n": -1, "x": -0.5, "yes": True}
    )
    table.loc[0, "n"] = -7
    out = io.StringIO()
    write_csv(table, out)
    head, *rows = csv.reader(io.StringIO(out.getvalue(), newline=""))
    assert head == ["'=text", "word", "n", "x", "yes"]
    assert [row[0] for row in rows] == [row[1] for row in rows] == safe
    assert [row[2:] for row in rows] == [["-7", "-0.5", "True"]] + 11 * [["-1", "-0.5", "True"]]
    assert list(table["=text"]) == texts


def test_a_sweep_is_exported_so_that_no_spreadsheet_runs_it(tmp_path):
    regime = renamed("hourly", tmp_path, "=1+1")
    out = tmp_path / "a"
    sweep = petsim.sweep(MODEL, [str(regime)], {"passes": "1"}, out=out, lives=2, days=1)
    sweep.export(tmp_path / "a.csv")
    with (tmp_path / "a.csv").open(newline="") as file:
        cells = {cell for row in csv.reader(file) for cell in row}
    assert "'=1+1" in cells
    assert "=1+1" not in cells


# Pages and pictures


@pytest.fixture(scope="module")
def nasty(tmp_path_factory):
    """A comparison of a regime whose names are bad."""
    folder = tmp_path_factory.mktemp("nasty")
    regime = renamed("hourly", folder, NASTY.replace("/", ""), name=NASTY)
    model = renamed(MODEL, folder, f"_{NASTY.replace('/', '')}", name=NASTY)
    return petsim.compare(str(model), [str(regime), "thirty-minute"], lives=4, days=1)


def test_a_page_shows_names_and_runs_none(nasty):
    html = page(of(nasty))
    assert "<script" not in html
    assert "&lt;script&gt;alert(" in html
    assert html == legible(html, "\n")


def test_a_picture_shows_a_name_as_it_is(nasty, tmp_path):
    file = tmp_path / "x.svg"
    plots.save(plots.odds(nasty), file)
    texts = [text for element in ElementTree.parse(file).iter() for text in [element.text or ""]]
    assert any(text.strip().startswith("$x_1$ ") for text in texts)
    assert not any("script" in element.tag for element in ElementTree.parse(file).iter())
