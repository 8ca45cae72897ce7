"""What a notebook shows of files and results: the answer first, then tables, the aim in bold."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import singledispatch
from typing import Any

from markupsafe import Markup

from petsim.advice.choosing.choice import Choice
from petsim.advice.expecting.against import HeldLog
from petsim.advice.expecting.day import ExpectedDay
from petsim.advice.expecting.expect import Expected
from petsim.advice.explaining.explanation import Explanation
from petsim.advice.limits.tolerance import Tolerances
from petsim.advice.one_life.explain_life import LifeExplained
from petsim.evidence.doubt import Doubt
from petsim.evidence.fit import Fit
from petsim.life.log.entries import LoggedLife
from petsim.life.record import Life
from petsim.spec.model import Model
from petsim.spec.pet import Pet
from petsim.spec.regime import Regime
from petsim.spec.study import Study
from petsim.study.batch import Batch
from petsim.study.compare import Comparison
from petsim.study.evaluate import Evaluation, Evaluator
from petsim.study.hours import Hours
from petsim.study.measures import AIM_MARK, DEATHS, MISSES, WORK
from petsim.study.plan import SweepPlan
from petsim.study.reasons import MissReasons
from petsim.study.results import Sweep
from petsim.study.trials import TrialPlan, Trials
from petsim.theory.verdicts import Outcome
from petsim.view import (
    aims,
    answers,
    care,
    chosen,
    comparison,
    diary,
    doubted,
    evaluation,
    expected,
    explained,
    fitted,
    hours,
    html,
    life_explained,
    log_text,
    outcome,
    pet,
    real_pets,
    reasons,
    show,
    sweep,
    sweep_text,
    tolerances,
    verification,
)
from petsim.view.printed import alone
from petsim.view.tables import Column

SIDE_BY_SIDE = 3
"""Regimes that are columns of a table; of more, each is a row."""
FOLDED = (MISSES, DEATHS, WORK)
"""The tables of a comparison that are shown on demand."""


def notebook(result: Any) -> str:
    """Return the HTML of a file or a result."""
    return str(_html(result))


@singledispatch
def _html(result: Any) -> Markup:
    raise NotImplementedError(type(result))


_html.register(Model, pet.model)
_html.register(Regime, care.regime)


@_html.register
def _(file: Pet | Study) -> Markup:
    return Markup("<pre>{}</pre>").format(html.text(show.show(file)))


@_html.register
def _(result: Comparison) -> Markup:
    sections = comparison.sections(result)
    folded = [_section(result, title, sections[title]) for title in FOLDED if title in sections]
    shown = [_section(result, *each) for each in sections.items() if each[0] not in FOLDED]
    paired = html.table(
        comparison.differences_title(result), comparison.DIFFERENCE, comparison.differences(result)
    )
    precision = result.precision
    unmet = precision is not None and not precision.reached
    return html.joined(
        html.answer(comparison.gist(result)),
        html.paragraph(comparison.too_few(result, precision) if unmet and precision else ""),
        *shown,
        paired if result.differences else Markup(),
        html.folded("Care misses, deaths and work", *folded),
        html.paragraph(f"{comparison.head(result)} {comparison.methods(result)}"),
    )


def _section(result: Comparison, title: str, columns: Sequence[Column]) -> Markup:
    """A table with a column for each of a few regimes, or with a row for each of many."""
    regimes = [batch.regime for batch in result.batches]
    labels = [*columns[0]]
    if len(regimes) <= SIDE_BY_SIDE:
        rows = [(label, *(column[label] for column in columns)) for label in labels]
        return html.table(title, ("", *regimes), rows)
    rows = [(regimes[place], *columns[place].values()) for place in result.by_odds]
    said = aims.words(result.aim).best
    first = f"{said} {result.aim if result.aim.is_share else result.aim.figure} first"
    return html.table(f"{title}; {first}", ("regime", *labels), rows)


@_html.register
def _(batch: Batch) -> Markup:
    return _html(alone(batch))


@_html.register
def _(life: Life) -> Markup:
    return html.joined(
        html.answer(f"{outcome.headline(life)}."),
        html.listing(_facts(life)),
        html.table("Growth and care misses", ("day", "time", "what happened"), [*_entries(life)]),
    )


@_html.register
def _(why: LifeExplained) -> Markup:
    return answers.markup(life_explained.answer(why))


def _facts(life: Life) -> Iterator[str]:
    summary, model = life.summary, life.model
    causes = [(c, summary[f"misses.{c}"]) for c in model.causes if summary[f"misses.{c}"]]
    ages = sorted((summary[f"entered_s.{form}"], form) for form in model.forms)
    forms = [f"{f} {AIM_MARK}" if f == model.aim else f for entered, f in ages if entered >= 0]
    yield f"forms: {', '.join(forms)}"
    yield f"care misses: {', '.join(f'{n} of {cause}' for cause, n in causes) or 'none'}"
    yield f"presses: {summary['presses']}, of them {summary['quiet_presses']} in quiet hours"
    forgotten = summary["checks_forgotten"]
    besides = (
        f"{summary['checks_skipped']} skipped{f' and {forgotten} forgotten' * (forgotten > 0)}"
    )
    yield f"checks: {summary['checks']}, besides {besides}"
    if summary["spells_s"]:
        yield f"bad light: {summary['spells_s'] / summary['end_s']:.0%} of the time"
    yield f"at the end: {'dead, ' + summary['died'] if summary['died'] else 'alive'}"


def _entries(life: Life) -> Iterator[tuple[str, str, list[str]]]:
    """The rows of growth and care misses: the day where it begins, the time, what happened."""
    for day in diary.days(life, ["misses", "growth"]):
        for number, (time, lines) in enumerate(day.entries):
            yield ("" if number else day.heading), time, lines


@_html.register
def _(swept: Sweep) -> Markup:
    with swept.snapshot():
        if swept.tells_which_matters:
            effects = sweep.effects(swept)
            return html.joined(
                html.answer(effects.gist),
                html.paragraph(effects.warning),
                html.table(effects.caption, effects.head, effects.rows),
            )
        failed = [f"cell {cell} failed: {reason}" for cell, reason in swept.failed.items()]
        if not swept.lives_by_cell:
            nothing = f"{repr(swept).strip('<>')}; nothing is simulated yet"
            return html.joined(html.answer(nothing), html.listing(failed))
        return html.joined(html.answer(sweep.gist(swept)), html.listing(failed), _cells(swept))


def _cells(swept: Sweep) -> Markup:
    """The table of cells, with the order they are in."""
    cells = sweep.cell_table(swept)
    caption = f"{cells.order}. {sweep.head(swept)}" if cells.order else sweep.head(swept)
    return html.table(caption, cells.head, cells.rows)


@_html.register
def _(found: Fit) -> Markup:
    return html.joined(
        html.answer(fitted.gist(found)),
        *(html.table(each.title, fitted.ROW, each.rows) for each in fitted.told(found)),
        html.folded(fitted.WEAK, html.listing(map(": ".join, fitted.remedies(found)))),
        html.folded(
            fitted.UNTOLD, html.listing(": ".join(each.row) for each in fitted.untold(found))
        ),
        html.folded(fitted.GOODNESS, html.listing(map(": ".join, fitted.predictions(found)))),
        html.paragraph(fitted.oddities(found)),
        html.paragraph(fitted.priors()),
    )


@_html.register
def _(doubt: Doubt) -> Markup:
    return html.joined(
        html.answer(doubted.gist(doubt)),
        html.table("What the odds depend on", doubted.HEAD, doubted.rows(doubt)),
        *map(html.paragraph, doubted.notes(doubt)),
    )


@_html.register
def _(explanation: Explanation) -> Markup:
    return answers.markup(explained.answer(explanation))


@_html.register
def _(result: Expected) -> Markup:
    return answers.markup(expected.by_day(result))


@_html.register
def _(result: ExpectedDay) -> Markup:
    return answers.markup(expected.by_hour(result))


@_html.register
def _(result: HeldLog) -> Markup:
    return answers.markup(expected.against(result))


@_html.register
def _(found: Tolerances) -> Markup:
    return answers.markup(tolerances.answer(found))


@_html.register
def _(life: LoggedLife) -> Markup:
    first, *others = log_text.life(life).splitlines()
    return html.joined(html.answer(first), html.listing(line.strip() for line in others))


@_html.register
def _(real: Trials) -> Markup:
    first, *others = real_pets.verdicts(real)
    return html.joined(html.answer(first), *map(html.paragraph, others))


@_html.register
def _(trial_plan: TrialPlan) -> Markup:
    return html.joined(
        html.answer(real_pets.plan_gist(trial_plan)),
        html.table(
            real_pets.plan_title(trial_plan), real_pets.DESIGNS, real_pets.designs(trial_plan)
        ),
        *map(html.paragraph, real_pets.plan_notes(trial_plan)),
    )


@_html.register
def _(beforehand: SweepPlan) -> Markup:
    first, *others = sweep_text.plan(beforehand, 10_000).splitlines()
    return html.joined(html.answer(first), html.listing(line.strip() for line in others))


@_html.register
def _(choice: Choice) -> Markup:
    return answers.markup(chosen.answer(choice))


@_html.register
def _(answer: Evaluation) -> Markup:
    several = len(answer.batches) > 1
    return html.joined(
        html.answer(evaluation.gist(answer)),
        html.table("Under each model", evaluation.head(answer), evaluation.rows(answer))
        if several
        else Markup(),
    )


@_html.register
def _(evaluator: Evaluator) -> Markup:
    return html.paragraph(evaluation.questions(evaluator))


@_html.register
def _(times: Hours) -> Markup:
    return html.table(hours.title(times), ("", "misses"), [*hours.hours(times).items()])


@_html.register
def _(traced: MissReasons) -> Markup:
    rows = [*reasons.columns([traced])[0].items()]
    return html.joined(
        html.table(
            f"{reasons.title([traced])}, under {traced.regime}", ("", "misses a life"), rows
        ),
        html.paragraph(reasons.FIRST),
    )


@_html.register
def _(checked: Outcome) -> Markup:
    return html.joined(
        html.answer(repr(checked).strip("<>")),
        html.paragraph(f"Source: {checked.check.source}"),
        *(html.table(case, head, rows) for case, head, rows in verification.cases(checked)),
    )
