"""A result as one page: HTML without network or script, for a phone, a screen or paper."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from importlib.resources import files
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Any

from markupsafe import Markup, escape

from petsim._version import __version__
from petsim.advice.choosing.choice import Choice
from petsim.advice.expecting.expect import Expected
from petsim.advice.explaining.explanation import Explanation
from petsim.advice.limits.tolerance import Tolerances
from petsim.advice.one_life.explain_life import LifeExplained
from petsim.errors import ArgumentError, legible
from petsim.evidence.doubt import Doubt
from petsim.evidence.fit import Fit
from petsim.life.record import Life
from petsim.spec.model import Model
from petsim.study.aims import Aim
from petsim.study.compare import Comparison
from petsim.study.measures import DEATHS, MISSES, ODDS, WORK, WORTH
from petsim.study.results import Sweep
from petsim.study.writing import written_whole
from petsim.view import (
    aims,
    chosen,
    comparison,
    diary,
    doubted,
    expected,
    explained,
    fitted,
    hours,
    html,
    life_explained,
    outcome,
    reasons,
    repeat,
    tolerances,
)
from petsim.view import sweep as cells
from petsim.view.answers import Answer, AnswerTable
from petsim.view.assumed import assumed
from petsim.view.tables import counted, unbroken

if TYPE_CHECKING:
    from petsim.view.plots.files import Picture

ASSUMED = (
    "The model's numbers are taken for the pet's; the intervals say nothing of that. Trust "
    "differences before odds, and odds before times to the hour.",
    "Errors of eyes and hands, outages and the pet's own chance are independent of each other, but "
    "that eyes err together in a spell of bad light.",
    "A routine does not change in the course of a life, and misbehaviour is never seen.",
    "Every simplification, what it would change and how one would notice is in petsim's manuals "
    "of models and regimes.",
)


MOST_NAMES = 4
"""Regimes that a question names."""
ACROSS = 4
"""Columns of a block of a table, beside what its rows are about."""

LETTER = r"DejaVu[\w-]+"
"""The name of a letter's outline."""


@dataclass(frozen=True)
class PageTable:
    """A table: its caption, its head and its rows, each begun by what it is about.

    prose: whether its cells are sentences, which may be broken, and not figures.
    """

    caption: str
    head: Sequence[str]
    rows: Sequence[Sequence[str]]
    prose: bool = False

    @property
    def blocks(self) -> list[tuple[Sequence[str], list[Sequence[str]]]]:
        """The head and rows of its parts, each with `ACROSS` columns at most."""
        number = -(-(len(self.head) - 1) // ACROSS)
        across = -(-(len(self.head) - 1) // number)
        parts = [
            range(1 + across * n, min(1 + across * (n + 1), len(self.head))) for n in range(number)
        ]
        return [
            (
                [self.head[0], *(self.head[c] for c in part)],
                [[row[0], *(row[c] for c in part)] for row in self.rows],
            )
            for part in parts
        ]


@dataclass(frozen=True)
class Section:
    """A part of a page: a question of the reader's, and the pictures and tables that answer it.

    left_out: of what can't be drawn or shown of this result, a sentence why.
    """

    question: str
    pictures: Sequence[Picture]
    tables: Sequence[PageTable]
    left_out: Sequence[str] = ()


@dataclass(frozen=True)
class Report:
    """What a page says, from the question and its answer to how to repeat it."""

    question: str
    answer: str
    sections: Sequence[Section]
    provenance: Mapping[str, str]
    command: str
    assumed: Sequence[str] = ASSUMED

    @property
    def pictures(self) -> list[Picture]:
        """The pictures of all sections."""
        return [picture for section in self.sections for picture in section.pictures]

    @property
    def tables(self) -> list[PageTable]:
        """The tables of all sections."""
        return [table for section in self.sections for table in section.tables]

    @property
    def left_out(self) -> list[str]:
        """Why pictures are missing, of all sections."""
        return [sentence for section in self.sections for sentence in section.left_out]


@dataclass(frozen=True)
class Planned:
    """A section before its pictures are drawn: its question, what draws them, and its tables.

    remark: a sentence on what it leaves out, if it does.
    """

    question: str
    draw: Sequence[Callable[[], Any]]
    tables: Sequence[PageTable] = ()
    remark: str = ""


def of(
    result: Comparison
    | Sweep
    | Life
    | Fit
    | Explanation
    | LifeExplained
    | Choice
    | Tolerances
    | Expected,
) -> Report:
    """The report of a result."""
    match result:
        case Expected():
            report = of_expected(result)
        case Choice():
            report = of_choice(result)
        case Explanation():
            report = of_explanation(result)
        case LifeExplained():
            report = of_life_explained(result)
        case Tolerances():
            report = of_tolerances(result)
        case Comparison():
            report = of_comparison(result)
        case Fit():
            report = of_fit(result)
        case Sweep():
            with result.snapshot():
                report = of_sweep(result)
        case _:
            report = of_life(result)
    return report


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
        sections=[*zip(report.sections, _inlined(report.sections), strict=True)],
        assumed=report.assumed,
        cell=_cell,
        style=Markup(_beside_this("report.css")),
    )


def _assumed(model: Model) -> tuple[str, ...]:
    """What is assumed of lives of a model, or of the pet that they take over."""
    return (*ASSUMED, *filter(None, [assumed(model)]))


def _cell(words: str) -> Markup:
    """A figure of a table, which may be broken only before its interval."""
    return html.text(unbroken(words))


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


def _inlined(sections: Iterable[Section]) -> Iterator[list[Markup]]:
    """The SVG files of the pictures of sections as parts of a page.

    Their names become the page's own, but for those of letters, whose outlines the page has once.
    The alternative text of each is its message, and where its figures are.
    """
    letters: set[str] = set()
    number = 0
    for section in sections:
        inlined = []
        for picture in section.pictures:
            svg = picture.svg[picture.svg.index("<svg") :]
            svg = re.sub(rf'(\bid="|url\(#|href="#)(?!{LETTER})', rf"\g<1>picture{number}-", svg)
            svg = re.sub(rf'<path id="({LETTER})[^>]*/>\s*', _unless_in(letters), svg)
            # parts that are alike bear one name, which a page has once
            svg = re.sub(r' id="([^"]*)"', _unless_in(set()), svg)
            label = escape(legible(_alternative(picture, section), "\n"))
            inlined.append(Markup(svg.replace("<svg", f'<svg role="img" aria-label="{label}"', 1)))
            number += 1
        yield inlined


def _alternative(picture: Picture, section: Section) -> str:
    """The alternative text of a picture: its message, and the table that has its figures."""
    if not section.tables:
        return f"{picture.title}: {picture.words}"
    return f"{picture.title} (the figures are in the table \u201c{section.tables[0].caption}\u201d)"


def _unless_in(known: set[str]) -> Callable[[re.Match[str]], str]:
    """A replacement that keeps the first match of each first group, and drops the later ones."""

    def kept(match: re.Match[str]) -> str:
        first = match[1] not in known
        known.add(match[1])
        return match[0] if first else ""

    return kept


def of_comparison(result: Comparison) -> Report:
    """The report of a comparison."""
    regimes = [batch.regime for batch in result.batches]
    few = len(regimes) <= MOST_NAMES
    under = " or ".join(regimes) if few else f"each of {len(regimes)} regimes"
    return Report(
        question=question(result.model.id, result.aim, under),
        answer=comparison.gist(result),
        sections=_drawn(_questions(result)),
        provenance={
            "simulated": comparison.head(result),
            "intervals": comparison.methods(result),
            "petsim": __version__,
        },
        command=repeat.compare(result),
        assumed=_assumed(result.model),
    )


def question(pet: str, aim: Aim, under: str) -> str:
    """Return what is asked of a pet under some care."""
    if aim.is_share:
        return f"How likely is {pet} to become {aim} under {under}?"
    return f"What is a life of {pet} worth under {under}?"


def _questions(result: Comparison) -> Iterator[Planned]:
    """The sections on a comparison: the odds, why, what goes wrong, and what it costs."""
    from petsim.view import plots

    regimes = [batch.regime for batch in result.batches]
    tables = {
        title: _by_regime(title, regimes, columns)
        for title, columns in comparison.sections(result).items()
    }
    odds, misses, deaths, work = (tables.pop(title) for title in (ODDS, MISSES, DEATHS, WORK))
    worth = [] if result.aim.is_share else [tables.pop(WORTH)]
    compared = []
    if result.differences:
        title = comparison.differences_title(result)
        compared = [PageTable(title, comparison.DIFFERENCE, comparison.differences(result))]
    draw: list[Callable[[], Any]] = [lambda: plots.odds(result)]
    draw += [lambda: plots.differences(result)] if compared else []
    yield Planned("What does the pet become?", draw, [*worth, odds, *compared, deaths])
    yield Planned(
        f"What keeps lives from becoming {result.aim.main}?",
        [lambda: plots.funnel(result)],
        [*tables.values()],
        comparison.left_out(result),
    )
    yield Planned("What is missed, and when in life?", [lambda: plots.misses(result)], [misses])
    traced = result.miss_reasons()
    why = _by_regime(reasons.title(traced), regimes, reasons.columns(traced))
    yield Planned("Why is it missed?", [lambda: plots.whys(result)], [why])
    timed = result.miss_hours()
    title = f"When care misses happen, in the first {counted(len(timed[0]))}"
    by_hour = _by_regime(title, regimes, [*map(hours.hours, timed)])
    yield Planned("At which hours is it missed?", [lambda: plots.misses_by_hour(result)], [by_hour])
    cost = [lambda: plots.cost(result)] if compared else []
    yield Planned("What does it cost?", cost, [work])
    first = result.batches[0]
    when = f"Which form does it have when, under {first.regime}?"
    yield Planned(when, [lambda: plots.forms_over_time(first)])


def _by_regime(
    title: str, regimes: Sequence[str], columns: Sequence[Mapping[str, str]]
) -> PageTable:
    """A table with a row for each of the first regimes; of a single one, a row for each figure."""
    if len(columns) == 1:
        return PageTable(title, ("", regimes[0]), [*columns[0].items()])
    named = zip(regimes, columns, strict=False)
    left_out = len(regimes) - len(columns)
    more = f", under the first {len(columns)} of {len(regimes)} regimes" if left_out else ""
    rows = [(regime, *column.values()) for regime, column in named]
    return PageTable(f"{title}{more}", ("", *columns[0]), rows)


def of_sweep(sweep: Sweep) -> Report:
    """The report of a sweep.

    Raises:
        ArgumentError: nothing is simulated in it yet.
    """
    sweep.ensure_begun()
    design = sweep.design
    varied = ", ".join(axis.path for axis in design.axes) or "nothing"
    regimes = ", ".join(regime.name for regime in design.regimes)
    provenance = sweep.provenance
    matters = sweep.tells_which_matters
    return Report(
        question=f"How {aims.words(design.aim).do} the {design.aim.figure} change with {varied}?",
        answer=cells.effects(sweep).gist if matters else cells.gist(sweep),
        sections=_drawn(_questions_on(sweep)),
        provenance={
            "file": sweep.path.name,
            "model": provenance["model"][0],
            "regimes": regimes,
            "lives in a cell": str(design.lives),
            "seed": str(design.seed),
            "simulated": "; ".join(each.span for each in sweep.sessions),
            "petsim": provenance["petsim"],
        },
        command=repeat.sweep(sweep),
    )


def _questions_on(sweep: Sweep) -> Iterator[Planned]:
    """The sections on a sweep: which unknown matters, or where the odds are best, and the cost."""
    from petsim.view import plots

    aim, by_cell = sweep.design.aim, _cells(sweep)
    said, figure = aims.words(aim), "odds" if aim.is_share else aim.figure
    if sweep.tells_which_matters:
        effects = cells.effects(sweep)
        caption = f"{effects.caption} {effects.warning}".strip()
        table = PageTable(caption, effects.head, effects.rows)
        yield Planned("Which unknown matters?", [lambda: plots.unknowns(sweep)], [table])
        yield Planned(f"What {said.are} the {figure} in each cell?", [], [by_cell])
        return
    where = f"Where {said.are} the {aim.figure} {'best' if aim.is_share else said.best}?"
    if sweep.design.sample is not None:
        yield Planned(where, [lambda: plots.scatter(sweep)], [by_cell])
    else:
        draw: list[Callable[[], Any]] = [lambda: plots.plot(sweep)] if sweep.design.axes else []
        yield Planned(where, draw, [by_cell])
        if len(sweep.cells) > 1:
            they = f"How {said.do} {'they' if aim.is_share else 'it'} differ"
            against = f"{they} from the first cell, on equal luck?"
            yield Planned(against, [lambda: plots.plot(sweep, "differences")])
    yield Planned(f"What {said.do} the {figure} cost?", [lambda: plots.cost(sweep)])


def _cells(sweep: Sweep) -> PageTable:
    """The cells of a sweep, with the order they are in, and where the others are."""
    table = cells.cell_table(sweep)
    elsewhere = "; petsim export has all" if table.is_cut else ""
    order = f"{table.order}{elsewhere}. " if table.order else ""
    return PageTable(f"{order}{cells.head(sweep)}", table.head, table.rows)


def of_life(life: Life) -> Report:
    """The report of one life."""
    return Report(
        question=f"What became of life {life.number} of {life.model.id} under {life.regime}?",
        answer=f"{outcome.headline(life)}.",
        sections=_drawn(_questions_of(life)),
        provenance={
            "model": life.model.id,
            "regime": life.regime,
            "seed": str(life.seed),
            "petsim": __version__,
        },
        command=repeat.report(life),
        assumed=_assumed(life.model),
    )


def _questions_of(life: Life) -> Iterator[Planned]:
    """The sections on one life: what happened, and when care was missed if it was."""
    from petsim.view import plots

    rows = [
        (day.heading, f"{time}  {'; '.join(lines)}")
        for day in diary.days(life, ["misses", "growth"])
        for time, lines in day.entries
    ]
    entries = PageTable("Growth and care misses", ("day", "what happened"), rows, prose=True)
    yield Planned("What happened, day by day?", [lambda: plots.timeline(life)], [entries])
    if life.summary["misses"]:
        yield Planned("At which hours was care missed?", [lambda: plots.misses_by_hour(life)])


FIT_ASSUMED = (
    "The forms, needs, actions and effects of the guess are taken for the pet's; the intervals say "
    "nothing of that.",
    "Waits of needs, waste and misbehaviour are exponential or Weibull, whatever the guess has.",
    "What is pressed depends on what was seen alone, and never on what was hidden.",
)


def of_fit(found: Fit, doubt: Doubt | None = None) -> Report:
    """The report of what logs tell of a pet and a rig, and what they leave in doubt of the odds."""
    return Report(
        question=f"What do the logs tell of {found.model.id}?",
        answer=fitted.gist(found),
        sections=_drawn([*_questions_of_fit(found), *_questions_of_doubt(doubt)]),
        provenance={
            "logs": ", ".join(found.sources),
            "covered": fitted.evidence(found),
            "guess": f"{found.model.id}, looked after by {found.regime.id}",
            "petsim": __version__,
        },
        command=repeat.fit(found, odds=doubt is not None),
        assumed=(fitted.priors(), *FIT_ASSUMED),
    )


def _as_page(table: AnswerTable) -> PageTable:
    """A table of an answer, the details of each row in one cell."""
    rows = [
        tuple(cell if isinstance(cell, str) else "; ".join(cell) for cell in row)
        for row in table.cells
    ]
    return PageTable(table.title, table.heads, rows, prose=bool(table.details))


def of_choice(found: Choice) -> Report:
    """The report of the cheapest way to look after a pet."""
    from petsim.view import plots

    answer, asked = chosen.answer(found), found.evaluator
    best, *others = [_as_page(table) for table in answer.tables]
    return _answered(
        answer,
        [Planned("Which cost least?", [lambda: plots.chosen(found)], [best]), *_by_model(others)],
        repeat.choose(found),
        model=", ".join(model.id for model in asked.models),
        regime=asked.regime,
        lives=f"up to {found.lives}, followed to {asked.span}",
        seed=f"{asked.seed}",
    )


def of_tolerances(found: Tolerances) -> Report:
    """The report of how good each thing must be."""
    from petsim.view import plots

    answer = replace(tolerances.answer(found), notes=tolerances.notes(found))
    limits, in_vain = ([_as_page(table)] if table.rows else [] for table in answer.tables)
    remark = " ".join(tolerances.without_limits(found))
    helps = PageTable(
        tolerances.helps_title(found), ("for", "what"), tolerances.helps(found), prose=True
    )
    return _answered(
        answer,
        [
            Planned("How far may each thing go?", [lambda: plots.room(found)], limits),
            Planned("What would not do alone?", [], in_vain, remark),
            Planned("What would help?", [], [helps] if helps.rows else []),
        ],
        repeat.tolerance(found),
        model=", ".join(model.id for model in found.models),
        regime=found.regime,
        lives=f"{found.lives} at one value at most, followed to {found.span}",
        seed=f"{found.seed}",
    )


def of_explanation(found: Explanation) -> Report:
    """The report of why the odds fall."""
    from petsim.view import plots

    answer, question = explained.answer(found), "What does each imperfection cost?"
    costs, *others = [_as_page(table) for table in answer.tables]
    return _answered(
        answer,
        [Planned(question, [lambda: plots.costs(found)], [costs]), *_by_model(others)],
        repeat.explain(found),
        model=", ".join(each.model.id for each in found.models),
        regime=found.regime,
        lives=f"{found.lives['regime']}, followed to {found.span}",
        seed=f"{found.seed}",
    )


def of_life_explained(why: LifeExplained) -> Report:
    """The report of why one life went wrong."""
    from petsim.view import plots

    answer = life_explained.answer(why)
    failed, *savers = ([_as_page(table)] if table.rows else [] for table in answer.tables)
    life = why.life
    sections = [
        Planned("What led to it, and when?", [lambda: plots.chain(why)], failed),
        Planned("What would have saved it?", [], [*chain.from_iterable(savers)]),
        Planned("What else happened in its life?", [lambda: plots.timeline(life)]),
    ]
    return _answered(
        answer,
        sections if why.has_failed else sections[-1:],
        repeat.explain_life(why),
        model=life.model.id,
        regime=life.regime,
        life=str(life.number),
        seed=str(life.seed),
    )


def of_expected(result: Expected) -> Report:
    """The report of what the counters should show."""
    from petsim.view import plots

    answer = expected.by_day(result)
    tables = [_as_page(table) for table in answer.tables]
    return _answered(
        answer,
        [Planned("Within which bands is each count?", [lambda: plots.bands(result)], tables)],
        repeat.expect(result),
        model=result.model.id,
        regimes=", ".join(quiet.regime for quiet in result.regimes),
        lives=f"{result.lives}, and as many fresh ones",
        seed=f"{result.seed}",
    )


def _by_model(tables: Sequence[PageTable]) -> list[Planned]:
    """The section on several models, if there are tables of them."""
    return [Planned("Does the answer survive the other guess?", [], tables)] if tables else []


def _answered(
    answer: Answer, sections: Iterable[Planned], command: str, **provenance: str
) -> Report:
    """The report of an answer."""
    return Report(
        question=answer.question,
        answer=answer.gist,
        sections=_drawn(sections),
        provenance={**provenance, "petsim": __version__},
        command=command,
        assumed=(*answer.notes, *ASSUMED),
    )


def _questions_of_fit(found: Fit) -> Iterator[Planned]:
    """The sections on a fit: what is told, what is not, and how well it predicts."""
    from petsim.view import plots

    told = [PageTable(each.title, fitted.ROW, each.rows) for each in fitted.told(found)]
    # one by one, as both together would leave most of a printed page empty
    draw = [lambda: plots.fitted(found, "pace"), lambda: plots.fitted(found, "chances")]
    yield Planned("What is told, and how surely?", draw, told)
    yield Planned("How long do the pet's waits last?", [lambda: plots.laws(found)])
    weak = PageTable(fitted.WEAK, ("weak", "what to record"), fitted.remedies(found), True)
    yield Planned("What is weak?", [], [weak] if weak.rows else [])
    rows = [each.row for each in fitted.untold(found)]
    untold = PageTable(fitted.UNTOLD, ("as guessed", "why"), rows, True)
    yield Planned("What can't be told?", [], [untold] if untold.rows else [])
    chains = PageTable(fitted.GOODNESS, ("chain", "verdict"), fitted.predictions(found), True)
    yield Planned("How well does the fit predict?", [], [chains], fitted.oddities(found))
    yield Planned("What was seen, and what was expected?", [lambda: plots.predicted(found)])


def _questions_of_doubt(doubt: Doubt | None) -> Iterator[Planned]:
    """The section on what the logs leave in doubt of the odds, if that was asked for."""
    if doubt is None:
        return
    table = PageTable("What the odds depend on", doubted.HEAD, doubted.rows(doubt))
    remark = " ".join((doubted.gist(doubt), *doubted.notes(doubt)))
    yield Planned(f"How far may the {doubt.aim.figure} be off?", [], [table], remark)


def _drawn(planned: Iterable[Planned]) -> list[Section]:
    """Sections with their pictures, each described by what is written in it.

    Instead of a picture that can't be drawn there is a sentence why; a section without a picture, a
    table or a sentence is left out. Where a terminal can, a line says what is drawn.
    """
    from tqdm import tqdm

    from petsim.view import plots

    sections = []
    for section in tqdm(planned, desc="pictures", unit="", leave=False, disable=None):
        pictures, left_out = [], [section.remark] if section.remark else []
        for draw in section.draw:
            try:
                pictures.append(plots.as_svg(draw()))
            except ArgumentError as error:
                left_out.append(f"No picture here: {error}.")
        if pictures or section.tables or left_out:
            sections.append(Section(section.question, pictures, section.tables, left_out))
    return sections
