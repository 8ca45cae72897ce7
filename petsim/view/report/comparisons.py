"""The page of a comparison."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

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
from petsim.view.beside import Helper, pictures
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


def of_comparison(result: Comparison, helper: Helper | None = None) -> Report:
    """The report of a comparison, of which a helper draws pictures if there is one."""
    regimes = [batch.regime for batch in result.batches]
    few = len(regimes) <= MOST_NAMES
    under = " or ".join(regimes) if few else f"each of {len(regimes)} regimes"
    return Report(
        question=question(result.model.id, result.aim, under),
        answer=comparison.gist(result),
        sections=drawn(_questions(result, helper)),
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


def _questions(result: Comparison, helper: Helper | None) -> Iterator[Planned]:
    """The sections on a comparison: the odds, why, what goes wrong, and what it costs.

    Pictures are begun before what takes time is found for others.
    """
    regimes = [batch.regime for batch in result.batches]
    several = ["differences", "cost"] if result.differences else []
    draw = pictures(result, ["odds", "funnel", "misses", *several, "forms"], helper)
    timed, traced = result.miss_hours(), result.miss_reasons()
    draw |= pictures(result, ["hours", "whys"], helper)
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
    differences = [draw["differences"]] if compared else []
    became = [*worth, odds, *compared, deaths]
    yield Planned("What does the pet become?", [draw["odds"], *differences], became)
    yield Planned(
        f"What keeps lives from becoming {result.aim.main}?",
        [draw["funnel"]],
        [*tables.values()],
        comparison.left_out(result),
    )
    yield Planned("What is missed, and when in life?", [draw["misses"]], [misses])
    why = _by_regime(reasons.title(traced), regimes, reasons.columns(traced))
    yield Planned("Why is it missed?", [draw["whys"]], [why])
    title = f"When care misses happen, in the first {counted(len(timed[0]))}"
    by_hour = _by_regime(title, regimes, [*map(hours.hours, timed)])
    yield Planned("At which hours is it missed?", [draw["hours"]], [by_hour])
    yield Planned("What does it cost?", [draw["cost"]] if compared else [], [work])
    when = f"Which form does it have when, under {regimes[0]}?"
    yield Planned(when, [draw["forms"]])


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
