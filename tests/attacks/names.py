"""Names that a terminal, a spreadsheet, a browser or a picture might obey: all show them."""

from __future__ import annotations

import csv
import json
import sys
from collections.abc import Sequence
from contextlib import contextmanager
from html.parser import HTMLParser
from io import BytesIO, StringIO, TextIOWrapper
from pathlib import Path
from random import Random
from typing import Any
from xml.etree import ElementTree

import pandas as pd
import yaml

from petsim.cli import main
from petsim.errors import legible
from petsim.spec.names import folder as shelf_of
from petsim.study.writing import write_csv

PIECES = (
    "<script>alert(1)</script>", '"><svg onload=alert(1)>', "' onmouseover='x", "&amp;",
    "&#x1b;", "]]>", "<!--", "-->", "{{ 7 * 7 }}", "{% raw %}", "${x}", "$x_1^2$",
    "$\\frac{1}{0}$", "$", "%s", "%(a)d", "{}", "{0}", "\\n", "\\", "`id`", "$(id)",
    "=1+1", "+1", "-1", "@SUM(A1)", "=cmd|' /C'!A0", "_", "__", "#", ";", ",", "é",
    "e\u0301", "ß", "日本", "עברית", "😀", "a" * 70, " ", "  ", "~", "*", "?", "[x]", "!",
    "^",
)  # fmt: skip
"""What a name in a file may have."""
CONTROLS = (
    "\x1b[31m", "\x1b]0;x\x07", "\x1b[2J", "\r", "\n", "\t", "\b", "\x7f", "\x85",
    "\x9b31m", "\u202e", "\u2066", "\u200f", "\u061c", "\u2028", "\ufeff",
)  # fmt: skip
"""What a file's name may have besides."""
TAGS = {
    *("html", "head", "meta", "title", "style", "body", "main", "h1", "h2", "h3", "p", "section"),
    *(
        "div",
        "figure",
        "figcaption",
        "table",
        "thead",
        "tbody",
        "tr",
        "th",
        "td",
        "wbr",
        "ul",
        "li",
    ),
    *("dl", "dt", "dd", "pre", "code", "details", "summary", "header", "footer", "nav", "a", "ol"),
    *("svg", "g", "path", "defs", "use", "rect", "clippath", "metadata", "rdf:rdf", "cc:work"),
    *("dc:type", "dc:format", "dc:creator", "cc:agent", "dc:title", "pattern", "image", "span"),
    *("article", "caption", "br", "em", "strong", "text", "tspan", "circle", "line", "polygon"),
}
"""What a page is made of, as HTML's reader names it."""
LIVED = ("--days", "1", "--lives", "2")


def attack(random: Random, folder: Path) -> str | None:
    """Give files bad names, have all shown, and return which output obeys one, if any does."""
    model, regime = folder / "pet.yaml", folder / f"{_file_name(random)}.yaml"
    _rename(shelf_of("models") / "lamplet-quick.yaml", model, random)
    _rename(shelf_of("regimes") / "hourly.yaml", regime, random)
    named = [str(regime), "hourly", "--model", str(model), *LIVED]
    run = [str(regime), "--model", str(model), "--days", "1"]
    page, picture = folder / "page.html", folder / "picture.svg"
    for arguments, is_wrong in (
        (["show", str(model)], _nothing),
        (["show", str(regime)], _nothing),
        (["check", str(model), str(regime)], _nothing),
        (["compare", *named], _nothing),
        (["compare", *named, "--json"], _no_json),
        (["run", *run], _nothing),
        (["run", *run, "--csv"], _run_by_a_spreadsheet),
        (["report", *named, "-o", str(page)], lambda text: _no_page(page)),
        (["plot", *named, "-o", str(picture)], lambda text: _no_picture(picture)),
        (["compare", f"{_file_name(random)}", *named[2:]], _nothing),
    ):
        out, errors, code = _output(arguments)
        obeyed = [text for text in (out, errors) if text != legible(text, "\n")]
        wrong = f"prints {obeyed[0]!r}" if obeyed else is_wrong(out) if code == 0 else None
        if wrong is None and "Traceback" in errors:
            wrong = errors
        if wrong is not None:
            return f"petsim {arguments}: {wrong}"
    return _cells_of(random)


def _name(random: Random, pieces: Sequence[str]) -> str:
    return "".join(random.choices(pieces, k=random.randint(1, 4)))


def _file_name(random: Random) -> str:
    name = _name(random, [*PIECES, *CONTROLS, *CONTROLS]).replace("/", "")
    return f"{name.encode()[:200].decode(errors='ignore')}x"


def _rename(shipped: Path, path: Path, random: Random) -> None:
    """Write a shipped file that calls itself something else."""
    data = yaml.load(shipped.read_text(encoding="utf-8"), Loader=yaml.BaseLoader)
    data["name"] = f"{_name(random, PIECES)}x"
    data["about"] = _name(random, [*PIECES, *CONTROLS])
    path.write_text(yaml.dump(data, sort_keys=False, allow_unicode=False), encoding="utf-8")


def _output(arguments: list[str]) -> tuple[str, str, object]:
    """What a command prints, to both places, and the code with which it exits."""
    with _caught("stdout") as out, _caught("stderr") as errors:
        code: object = 0
        try:
            main(arguments)
        except SystemExit as end:
            code = end.code
    return out(), errors(), code


@contextmanager
def _caught(stream: str) -> Any:
    kept, caught = getattr(sys, stream), BytesIO()
    setattr(sys, stream, TextIOWrapper(caught, encoding="utf-8", write_through=True))
    try:
        yield lambda: caught.getvalue().decode()
    finally:
        # lets go of the bytes, which it would close otherwise
        getattr(sys, stream).detach()
        setattr(sys, stream, kept)


def _nothing(text: str) -> None:
    """Find nothing wrong with a text that people read."""


def _no_json(text: str) -> str | None:
    json.loads(text)
    return None


def _run_by_a_spreadsheet(text: str) -> str | None:
    cells = [cell for row in csv.reader(StringIO(text)) for cell in row]
    formulas = [
        c for c in cells if c.startswith(("=", "+", "-", "@", "\t", "\r")) and not _plain(c)
    ]
    return f"{formulas[0]!r} is run" if formulas else None


def _plain(cell: str) -> bool:
    """Whether a cell is a number."""
    try:
        float(cell.removesuffix("%"))
    except ValueError:
        return False
    return True


class _Page(HTMLParser):
    """Collects what in a page is none of what a page is made of."""

    def __init__(self) -> None:
        super().__init__()
        self.strangers: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in TAGS or any(name.startswith("on") for name, _ in attrs):
            self.strangers.append(f"<{tag} {attrs}>")


def _no_page(path: Path) -> str | None:
    page, text = _Page(), path.read_text(encoding="utf-8")
    page.feed(text)
    page.close()
    if text != legible(text, "\n"):
        return "the page has control characters"
    return f"the page has {page.strangers[0]}" if page.strangers else None


def _no_picture(path: Path) -> str | None:
    text = path.read_text(encoding="utf-8")
    tags = {element.tag.rpartition("}")[2] for element in ElementTree.fromstring(text).iter()}
    return "the picture has a script" if "script" in tags else None


def _cells_of(random: Random) -> str | None:
    """Write a table with bad names in it, and return what was wrong, if anything."""
    names = [_name(random, [*PIECES, *CONTROLS]) for _ in range(6)]
    table = pd.DataFrame({"plain": names, names[0]: pd.Categorical(names), "number": range(-3, 3)})
    out = StringIO()
    write_csv(table, out)
    rows = [*csv.reader(StringIO(out.getvalue(), newline=""))]
    for row, name in zip(rows[1:], names, strict=True):
        if row[0].removeprefix("'") != legible(name).removeprefix("'"):
            return f"{name!r} was written as {row[0]!r}"
    if [row[2] for row in rows[1:]] != [str(n) for n in range(-3, 3)]:
        return "numbers were written as texts"
    return _run_by_a_spreadsheet(out.getvalue())
