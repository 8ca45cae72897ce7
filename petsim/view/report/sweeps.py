"""The page of a sweep."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from petsim.study.results import Sweep
from petsim.view import (
    aims,
    repeat,
)
from petsim.view import sweep as cells
from petsim.view.report.parts import (
    PageTable,
    Planned,
    Report,
    drawn,
)


def of_sweep(sweep: Sweep) -> Report:
    """The report of a sweep, as it is now.

    Raises:
        ArgumentError: nothing is simulated in it yet.
    """
    with sweep.snapshot():
        sweep.ensure_begun()
        return _of(sweep)


def _of(sweep: Sweep) -> Report:
    """The report of a sweep that does not change meanwhile."""
    design = sweep.design
    varied = ", ".join(axis.path for axis in design.axes) or "nothing"
    regimes = ", ".join(regime.name for regime in design.regimes)
    provenance = sweep.provenance
    matters = sweep.tells_which_matters
    return Report(
        question=f"How {aims.words(design.aim).do} the {design.aim.figure} change with {varied}?",
        answer=cells.effects(sweep).gist if matters else cells.gist(sweep),
        sections=drawn(_questions_on(sweep)),
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
