"""A result as one page: HTML without network or script, for a phone, a screen or paper."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from importlib.resources import files
from pathlib import Path
from typing import Any

from markupsafe import Markup, escape

from petsim._version import __version__
from petsim.errors import ArgumentError, legible
from petsim.life.record import Life
from petsim.study.compare import Comparison
from petsim.study.results import Sweep
from petsim.study.writing import written_whole
from petsim.view import comparison, diary, hours, reasons, repeat
from petsim.view import sweep as cells
from petsim.view.tables import counted

ASSUMED = (
    "The model's numbers are taken for the pet's; the intervals say nothing of that. Trust "
    "differences before odds, and odds before times to the hour.",
    "Errors of eyes and hands, outages and the pet's own chance are independent of each other.",
    "A routine does not change in the course of a life, and misbehaviour is never seen.",
    "Every simplification, what it would change and how one would notice is in petsim's manuals "
    "of models and regimes.",
)


MOST_PICTURES = 3
"""Regimes that have a picture of their own."""
MOST_NAMES = 4
"""Regimes that a question names."""
COST = "What the odds cost in presses"

LETTER = r"DejaVu[\w-]+"
"""The name of a letter's outline."""

Drawing = tuple[str, Callable[[], Any]]
"""The title of a picture, and what draws it."""


@dataclass(frozen=True)
class Picture:
    """A picture with its title, and what it shows in words."""

    title: str
    words: str
    svg: str


@dataclass(frozen=True)
class PageTable:
    """A table: its caption, its head and its rows, each begun by what it is about.

    prose: whether its cells are sentences, which may be broken, and not figures.
    """

    caption: str
    head: Sequence[str]
    rows: Sequence[Sequence[str]]
    prose: bool = False


@dataclass(frozen=True)
class Report:
    """What a page says, from the question to how to repeat it.

    left_out: of each picture that can't be drawn of this result, a sentence why.
    """

    question: str
    answer: str
    pictures: Sequence[Picture]
    left_out: Sequence[str]
    tables: Sequence[PageTable]
    provenance: Mapping[str, str]
    command: str


def of(result: Comparison | Sweep | Life) -> Report:
    """The report of a result."""
    if isinstance(result, Comparison):
        return of_comparison(result)
    if isinstance(result, Sweep):
        with result.snapshot():
            return of_sweep(result)
    return of_life(result)


def page(report: Report) -> str:
    """The page of a report."""
    from jinja2 import Environment, StrictUndefined

    # what petsim itself makes is no text but markup
    environment = Environment(
        autoescape=True,
        finalize=_as_text,
        undefined=StrictUndefined,
        trim_blocks=True,
        keep_trailing_newline=True,
    )
    return environment.from_string(_beside_this("report.html.j2")).render(
        report=report,
        pictures=[*zip(report.pictures, _inlined(report.pictures), strict=True)],
        assumed=ASSUMED,
        style=Markup(_beside_this("report.css")),
    )


def _beside_this(name: str) -> str:
    return files("petsim.view").joinpath(name).read_text(encoding="utf-8")


def write(report: Report, path: Path) -> None:
    """Write a report's page, whole or not at all.

    Raises:
        ArgumentError: it can't be written.
    """
    with written_whole(path) as draft:
        draft.write_text(page(report), encoding="utf-8")


def _as_text(value: object) -> object:
    """What a page shows of a value: a text without characters that no page may have."""
    return value if isinstance(value, Markup) or value is None else legible(str(value), "\n")


def _inlined(pictures: Iterable[Picture]) -> Iterator[Markup]:
    """The SVG files of pictures as parts of a page.

    Their names become the page's own, but for those of letters, whose outlines the page has once.
    """
    letters: set[str] = set()
    for number, picture in enumerate(pictures):
        svg = picture.svg[picture.svg.index("<svg") :]
        svg = re.sub(rf'(\bid="|url\(#|href="#)(?!{LETTER})', rf"\g<1>picture{number}-", svg)
        svg = re.sub(rf'<path id="({LETTER})[^>]*/>\s*', _unless_in(letters), svg)
        # parts that are alike bear one name, which a page has once
        svg = re.sub(r' id="([^"]*)"', _unless_in(set()), svg)
        label = escape(legible(f"{picture.title}: {picture.words}", "\n"))
        yield Markup(svg.replace("<svg", f'<svg role="img" aria-label="{label}"', 1))


def _unless_in(known: set[str]) -> Callable[[re.Match[str]], str]:
    """A replacement that keeps the first match of each first group, and drops the later ones."""

    def kept(match: re.Match[str]) -> str:
        first = match[1] not in known
        known.add(match[1])
        return match[0] if first else ""

    return kept


def of_comparison(result: Comparison) -> Report:
    """The report of a comparison."""
    from petsim.view import plots

    regimes = [batch.regime for batch in result.batches]
    drawings: list[Drawing] = [
        ("Which form a pet takes under each regime", lambda: plots.odds(result)),
        ("How far lives get towards the aim", lambda: plots.funnel(result)),
        ("What goes wrong, by cause and by stage", lambda: plots.misses(result)),
        ("Why it goes wrong", lambda: plots.whys(result)),
        ("When care misses happen", lambda: plots.misses_by_hour(result)),
    ]
    if result.differences:
        drawings += [
            ("How much likelier the aim is, on equal luck", lambda: plots.differences(result)),
            (COST, lambda: plots.cost(result)),
        ]
    drawings += [
        (f"Which form it has when, under {batch.regime}", partial(plots.forms_over_time, batch))
        for batch in result.batches[:MOST_PICTURES]
    ]
    pictures, left_out = _drawn(drawings)
    timed = result.miss_hours()
    title = f"When care misses happen, in the first {counted(len(timed[0]))}"
    traced = result.miss_reasons()
    sections = comparison.sections(result) | {
        reasons.title(traced): reasons.columns(traced),
        title: [*map(hours.hours, timed)],
    }
    tables = [
        PageTable(title, ("", *regimes[: len(columns)]), _beside(columns))
        for title, columns in sections.items()
    ]
    if result.differences:
        title = comparison.differences_title(result)
        tables.append(PageTable(title, comparison.DIFFERENCE, comparison.differences(result)))
    few = len(regimes) <= MOST_NAMES
    under = " or ".join(regimes) if few else f"each of {len(regimes)} regimes"
    return Report(
        question=f"How likely is {result.model.id} to become {result.aim} under {under}?",
        answer=comparison.gist(result),
        pictures=pictures,
        left_out=left_out,
        tables=tables,
        provenance={"lived": comparison.head(result), "petsim": __version__},
        command=repeat.compare(result),
    )


def _beside(columns: Sequence[Mapping[str, str]]) -> list[tuple[str, ...]]:
    """Columns with the same labels as rows."""
    return [(label, *(column[label] for column in columns)) for label in columns[0]]


def of_sweep(sweep: Sweep) -> Report:
    """The report of a sweep.

    Raises:
        ArgumentError: nothing was lived in it yet.
    """
    sweep.ensure_begun()
    design, varied = sweep.design, [axis.path for axis in sweep.design.axes]
    regimes = [regime.name for regime in design.regimes]
    pictures, left_out = _drawn(_drawings_of(sweep))
    listed = cells.cell_table(sweep)
    tables = [PageTable(cells.head(sweep), listed.head, listed.rows)]
    if sweep.tells_which_matters:
        effects = cells.effects(sweep)
        caption = f"{effects.caption} {effects.warning}".strip()
        tables.insert(0, PageTable(caption, effects.head, effects.rows))
        answer = effects.gist
    else:
        answer = cells.gist(sweep)
    provenance = sweep.provenance
    about = ", ".join(varied) or "nothing"
    return Report(
        question=f"How do the odds of {design.aim} change with {about}?",
        answer=answer,
        pictures=pictures,
        left_out=left_out,
        tables=tables,
        provenance={
            "file": sweep.path.name,
            "model": provenance["model"][0],
            "regimes": ", ".join(regimes),
            "lives in a cell": str(design.lives),
            "seed": str(design.seed),
            "lived": "; ".join(each.span for each in sweep.sessions),
            "petsim": provenance["petsim"],
        },
        command=repeat.sweep(sweep),
    )


def _drawings_of(sweep: Sweep) -> list[Drawing]:
    """The pictures of a grid along its parameters, of a sensitivity, or of another sample."""
    from petsim.view import plots
    from petsim.view.plots import scales

    if sweep.tells_which_matters:
        return [("Which unknown matters", lambda: plots.unknowns(sweep))]
    cost: Drawing = (COST, lambda: plots.cost(sweep))
    if sweep.design.sample is not None:
        scatter = f"Odds of {sweep.design.aim} at all points, by each parameter"
        return [(scatter, lambda: plots.scatter(sweep)), cost]
    several = [path for path in scales.varied(sweep) if path != "regime"]
    along = f"Odds of {sweep.design.aim} along one parameter"
    both = f"Odds of {sweep.design.aim} by two parameters"
    return [
        *([(along, lambda: plots.odds_along(sweep))] if sweep.design.axes else []),
        *([(both, lambda: plots.heat_map(sweep))] if len(several) >= 2 else []),
        cost,
        ("Against the first cell, on equal luck", lambda: plots.differences(sweep)),
    ]


def of_life(life: Life) -> Report:
    """The report of one life."""
    from petsim.view import plots

    entries = diary.days(life, ["misses", "growth"])
    rows = [(day.heading, entry) for day in entries for entry in _joined(day.lines)]
    pictures, left_out = _drawn(
        [
            ("The whole life", lambda: plots.timeline(life)),
            ("When care misses happen", lambda: plots.misses_by_hour(life)),
        ]
    )
    return Report(
        question=f"What became of life {life.number} of {life.model.id} under {life.regime}?",
        answer=repr(life).strip("<>"),
        pictures=pictures,
        left_out=left_out,
        tables=[PageTable("Growth and care misses", ("day", "what happened"), rows, prose=True)],
        provenance={
            "model": life.model.id,
            "regime": life.regime,
            "seed": str(life.seed),
            "petsim": __version__,
        },
        command=repeat.report(life),
    )


def _joined(lines: Sequence[str]) -> list[str]:
    """The entries of a day, each with the lines that explain it."""
    entries: list[str] = []
    for line in lines:
        if entries and line.startswith(" " * 6):
            entries[-1] += f"; {line.strip()}"
        else:
            entries.append(line.strip())
    return entries


def _drawn(drawings: Iterable[Drawing]) -> tuple[list[Picture], list[str]]:
    """Pictures, each described by what is written in it; and why others can't be drawn."""
    from petsim.view import plots

    pictures, left_out = [], []
    for title, draw in drawings:
        try:
            svg, words = plots.as_svg(draw())
        except ArgumentError as error:
            left_out.append(f"No picture \u201c{title}\u201d: {error}.")
        else:
            pictures.append(Picture(title, words, svg))
    return pictures, left_out
