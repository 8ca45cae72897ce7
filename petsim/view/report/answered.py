"""The pages of answers to what the maker asks."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import chain

from petsim._version import __version__
from petsim.advice.choosing.choice import Choice
from petsim.advice.expecting.expect import Expected
from petsim.advice.explaining.explanation import Explanation
from petsim.advice.limits.tolerance import Tolerances
from petsim.advice.one_life.explain_life import LifeExplained
from petsim.view import (
    chosen,
    expected,
    explained,
    life_explained,
    repeat,
    tolerances,
)
from petsim.view.answers import Answer, AnswerTable
from petsim.view.report.parts import (
    ASSUMED,
    PageTable,
    Planned,
    Report,
    drawn,
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
        sections=drawn(sections),
        provenance={**provenance, "petsim": __version__},
        command=command,
        assumed=(*answer.notes, *ASSUMED),
    )
