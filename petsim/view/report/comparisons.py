"""The page of a comparison."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from petsim._version import __version__
from petsim.study.aims import Aim
from petsim.study.compare import Comparison
from petsim.study.measures import DEATHS, MISSES, ODDS, WORK, WORTH
from petsim.view import (
    comparison,
    hours,
    reasons,
    repeat,
)
from petsim.view.report.parts import (
    PageTable,
    Planned,
    Report,
    assumed_of,
    drawn,
)
from petsim.view.tables import counted

MOST_NAMES = 4
"""Regimes that a question names."""


def of_comparison(result: Comparison) -> Report:
    """The report of a comparison."""
    regimes = [batch.regime for batch in result.batches]
    few = len(regimes) <= MOST_NAMES
    under = " or ".join(regimes) if few else f"each of {len(regimes)} regimes"
    return Report(
        question=question(result.model.id, result.aim, under),
        answer=comparison.gist(result),
        sections=drawn(_questions(result)),
        provenance={
            "simulated": comparison.head(result),
            "intervals": comparison.methods(result),
            "petsim": __version__,
        },
        command=repeat.compare(result),
        assumed=assumed_of(result.model),
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
