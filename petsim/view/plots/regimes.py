"""Regimes side by side: what the pet becomes, what is missed, what it costs, how they differ."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import singledispatch
from typing import NamedTuple

from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from petsim.errors import ArgumentError, ensure_known
from petsim.study.batch import Batch
from petsim.study.compare import Comparison
from petsim.study.measures import MISSES, ODDS, Measure, measures, measures_of_work, table_rows
from petsim.study.results import Sweep
from petsim.study.stats import Interval, wilson
from petsim.view.numbers import mean, points
from petsim.view.plots.along import differences_along
from petsim.view.plots.forest import Row, forest, height_of
from petsim.view.plots.layout import Label, finish
from petsim.view.plots.scales import about, name_of_cell, percent_limits, varied
from petsim.view.plots.sheet import (
    GREY,
    axes,
    labelled_height,
    look,
    per_cent,
    short,
    styled,
    whiskers,
)
from petsim.view.sweep import interval_of
from petsim.view.tables import counted

MOST_LABELS = 12
LABEL = 22
"""Characters of a label."""


@styled
def odds(result: Comparison | Batch, ax: Axes | None = None) -> Axes:
    """Odds of each final form under each regime, with 95 % Wilson intervals.

    Of several regimes, forms that no life took under any are named in the small print.
    """
    batches = result.batches if isinstance(result, Comparison) else (result,)
    aim = result.aim if isinstance(result, Comparison) else result.model.aim
    groups, none = _odds_by_outcome(batches, aim)
    under, nothing = "", ""
    if len(batches) == 1:
        under = f" under {short(batches[0].regime, 30)}"
        groups = ungrouped(groups)
    elif none:
        nothing = f" None became {', '.join(none)}: {per_cent(wilson(0, len(batches[0])))} each."
    ax = axes(ax, height_of(groups))
    if is_tall(groups):
        side_by_side(ax, groups, by=100, whole=100)
        ax.set_xlabel("share of lives, each from 0 (%)")
    else:
        forest(ax, groups, by=100, bars=False)
        ax.set_xlim(-2, 102)
        ax.set_xticks([0, 25, 50, 75, 100])
        ax.set_xlabel("share of lives (%)")
    small = f"{_about(batches)}. Whiskers: Wilson's 95 % intervals.{nothing}"
    return finish(ax, f"What does the pet become{under}?", small)


def _odds_by_outcome(
    batches: tuple[Batch, ...], aim: str
) -> tuple[dict[str, list[Row]], list[str]]:
    """The odds under each regime of each outcome, the aim first; and the forms no life took."""
    odds = [row for row in table_rows(batches, aim) if row[0].table == ODDS]
    groups, none = {}, []
    for measure, intervals in sorted(odds, key=lambda row: row[0].path[-1] != aim):
        outcome = measure.path[-1]
        if len(batches) > 1 and outcome != aim and not any(x.estimate for x in intervals):
            none.append(outcome)
        else:
            groups[measure.label] = _rows(batches, intervals, per_cent)
    return groups, none


def _rows(
    batches: Sequence[Batch], intervals: Sequence[Interval], text: Callable[[Interval], str]
) -> list[Row]:
    """A row for each regime, with its interval in words."""
    return [
        Row(batch.regime, interval, text(interval))
        for batch, interval in zip(batches, intervals, strict=True)
    ]


@styled
def misses(result: Comparison, ax: Axes | None = None) -> Axes:
    """Care misses a life under each regime, in all, by cause and by stage, with 95 % t intervals.

    Causes and stages without a miss under any regime are named in the small print.
    """
    groups, none = _misses_by_group(result.batches)
    under = ""
    if len(result.batches) == 1:
        under = f" under {short(result.batches[0].regime, 30)}"
        groups = ungrouped(groups)
    ax = axes(ax, height_of(groups))
    if is_tall(groups):
        side_by_side(ax, groups, by=1)
        ax.set_xlabel("care misses, each from 0 (mean a life)")
    else:
        forest(ax, groups, by=1, bars=True)
        ax.set_xlim(left=0)
        if not any(row.interval.estimate for rows in groups.values() for row in rows):
            ax.set_xlim(0, 1)
        ax.set_xlabel("care misses (mean a life)")
    nothing = f" None: {', '.join(none)}." if none else ""
    intervals = "Whiskers: Student's 95 % intervals."
    if len(result) == 1:
        intervals = "No intervals: those of means take two lives."
    small = f"{_about(result.batches)}. {intervals}{nothing}"
    return finish(ax, f"What is missed, and at which stage{under}?", small)


def _misses_by_group(batches: tuple[Batch, ...]) -> tuple[dict[str, list[Row]], list[str]]:
    """The misses under each regime, in all and of what was missed; and what never was."""
    total, *parts = (m for m in measures(batches[0].model) if m.table == MISSES)
    groups, none = {total.label: _misses_of(total, batches)}, []
    for measure in parts:
        rows = _misses_of(measure, batches)
        if any(row.interval.estimate for row in rows):
            groups[measure.label] = rows
        else:
            none.append(measure.label)
    return groups, none


def _misses_of(measure: Measure, batches: Sequence[Batch]) -> list[Row]:
    intervals = [measure.of(batch.values) for batch in batches]
    return _rows(batches, intervals, lambda x: mean(x).replace(" in every life", ""))


def _about(batches: tuple[Batch, ...]) -> str:
    first = batches[0]
    each = "" if len(batches) == 1 else " under each regime"
    return f"{counted(len(first))}{each}, {first.model.id}, seed {first.seed}"


class Bought(NamedTuple):
    """The odds under a regime, or in a cell of a sweep, and the work they take."""

    name: str
    work: Interval
    odds: Interval


@styled
def cost(
    result: Comparison | Sweep, ax: Axes | None = None, *, work: str = "presses_per_day"
) -> Axes:
    """Odds of the aim against presses a day, each regime or cell a point with 95 % intervals.

    A line leads through the frontier: those that nothing beats at fewer presses. These are filled
    and named, and so are the others if all are few.

    Args:
        result: a comparison or a sweep.
        ax: what to draw on.
        work: what is counted instead of presses: the name of another figure of the table
            "Work", such as `quiet_presses_per_day`.

    Raises:
        ArgumentError: there is no such figure; or of a sweep, nothing was lived yet.
    """
    known = measures_of_work()
    ensure_known("work", work, known)
    measure = known[work]
    bought, aim, small = _bought(result, measure)
    best = frontier(bought)
    named = range(len(bought)) if len(bought) <= MOST_LABELS else best[-MOST_LABELS:]
    ax = axes(ax, labelled_height(len(named)))
    _points(ax, bought, best)
    labels = [
        Label(one.work.estimate, 100 * one.odds.estimate, one.name)
        for one in (bought[place] for place in named)
    ]
    ax.set_xlabel(f"{measure.label} (mean)")
    ax.set_ylabel(f"odds of {aim}\n(% of lives)")
    ax.margins(x=0.08)
    ax.xaxis.set_major_locator(MaxNLocator(5))
    if not any(one.work.estimate for one in bought):
        ax.set_xlim(-0.08, 1)
    percent_limits(ax, [one.odds for one in bought])
    noun = measure.label.replace(" a day", "")
    small += f" Filled, on the dotted line: nothing reaches as much with fewer {noun}."
    if len(named) < len(best):
        small += f" Named: the {MOST_LABELS} of these that reach most."
    return finish(ax, f"What do more {noun} buy in odds of {aim}?", small, labels)


def _points(ax: Axes, bought: Sequence[Bought], best: Sequence[int]) -> None:
    """Draw a point for each with its intervals, and a dotted line through the best."""
    colour = look(0)["color"]
    for place, one in enumerate(bought):
        is_best = place in best
        ax.errorbar(
            [one.work.estimate],
            [100 * one.odds.estimate],
            xerr=whiskers([one.work]),
            yerr=whiskers([one.odds], 100),
            color=colour if is_best else GREY,
            marker="o" if is_best else "s",
            markerfacecolor=colour if is_best else "white",
            linestyle="",
            zorder=3 if is_best else 2,
        )
    ax.plot(
        [bought[place].work.estimate for place in best],
        [100 * bought[place].odds.estimate for place in best],
        drawstyle="steps-post",
        color=colour,
        linestyle=":",
        gid="frontier",
    )


def frontier(bought: Sequence[Bought]) -> list[int]:
    """Return the places of those that nothing beats with as little work, the least work first."""
    best: list[int] = []
    for place in sorted(
        range(len(bought)), key=lambda p: (bought[p].work.estimate, -bought[p].odds.estimate)
    ):
        if not best or bought[place].odds.estimate > bought[best[-1]].odds.estimate:
            best.append(place)
    return best


@singledispatch
def _bought(result: Comparison | Sweep, work: Measure) -> tuple[list[Bought], str, str]:
    raise TypeError(f"{type(result).__name__}: expected a comparison or a sweep")


@_bought.register
def _(result: Comparison, work: Measure) -> tuple[list[Bought], str, str]:
    bought = [
        Bought(short(batch.regime, LABEL), work.of(batch.values), batch.share(result.aim))
        for batch in result.batches
    ]
    small = f"{_about(result.batches)}. Whiskers: 95 %, Wilson's and Student's."
    return bought, result.aim, small


@_bought.register
def _(result: Sweep, work: Measure) -> tuple[list[Bought], str, str]:
    odds, means = result.odds(), result.means(work.name)
    bought = [
        Bought(
            name_of_cell(result, odds, cell, LABEL),
            interval_of(means, cell),
            interval_of(odds, cell),
        )
        for cell in map(int, odds.index)
    ]
    named = " and ".join(varied(result)) or "regime"
    small = f"{about(result, odds)} Named by {named}. Whiskers: 95 %, Wilson's, Student's."
    return bought, result.design.aim, small


@styled
def differences(
    result: Comparison | Sweep, baseline: int | None = None, ax: Axes | None = None
) -> Axes:
    """How the odds of the aim differ on the same lives, in percentage points, 95 % intervals.

    Of a comparison each later regime from the first; of a sweep each cell from a baseline cell.

    Args:
        result: a comparison of two regimes or more, or a sweep.
        baseline: of a sweep, the number of the cell; by default the first with lives.

    Raises:
        ArgumentError: the comparison is of one regime; or of a sweep as for `odds_along`, or it
            has no such cell.
    """
    if isinstance(result, Sweep):
        return differences_along(result, baseline, ax)
    if not result.differences:
        raise ArgumentError("differences: of one regime; expected a comparison of two or more")
    rows = [Row(d.of, d.interval, points(d.interval)) for d in result.differences]
    first, groups = result.batches[0].regime, {"": rows}
    ax = axes(ax, height_of(groups))
    forest(ax, groups, by=100, bars=False)
    ax.axvline(0, color="black", linewidth=1.2, gid="no difference")
    ax.set_xlabel("difference (percentage points)")
    small = f"{_about(result.batches)}, the same luck. Whiskers: Newcombe's paired 95 % intervals."
    question = f"Do the odds of {result.aim} differ from those under {short(first, 30)}?"
    return finish(ax, question, small)
