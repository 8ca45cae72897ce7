"""Care misses of regimes side by side: what was missed, at which stage, and why."""

from __future__ import annotations

import math
from collections.abc import Sequence

from matplotlib.axes import Axes

from petsim.study.batch import Batch
from petsim.study.compare import Comparison
from petsim.study.measures import MISSES, Measure, measures
from petsim.study.reasons import ORDER, MissReasons
from petsim.study.stats import Interval
from petsim.view.plots import regime_rows, shaded
from petsim.view.plots.layout import finish
from petsim.view.plots.shaded import Column
from petsim.view.plots.sheet import short, styled
from petsim.view.reasons import FIRST
from petsim.view.tables import counted

SHADE = "The darker, the more."


@styled
def misses(result: Comparison, ax: Axes | None = None) -> Axes:
    """Care misses a life under each regime, in all, by cause and by stage, as a shaded table.

    Causes and stages without a miss under any regime are named in the small print.
    """
    batches = regime_rows.likeliest_first(result)
    total, *parts = (m for m in measures(result.model) if m.table == MISSES)
    columns = [Column(total.label, _means(total, batches))]
    none, family = [], total.path[0]
    for measure in parts:
        means = _means(measure, batches)
        if any(x.estimate > 0 for x in means):
            begins = len(columns) == 1 or measure.path[0] != family
            columns.append(Column(measure.label.removeprefix("cause "), means, begins))
            family = measure.path[0]
        else:
            none.append(measure.label.removeprefix("cause "))
    columns, others = shaded.most_of(columns)
    ax, halves = shaded.draw(ax, [batch.regime for batch in batches], columns)
    about = f"{regime_rows.about(batches, result.aim)} {SHADE}"
    small = f"{about} {_intervals(halves, columns[0].intervals[0])}"
    small += f" None: {', '.join(none)}." if none else ""
    small += f" Not shown, as they are the fewest: {', '.join(others)}." if others else ""
    under = _under(batches[0].regime) if len(batches) == 1 else ""
    ax.set_xlabel("care misses (mean a life)", loc="left")
    finish(ax, f"What is missed{under}, and at which stage?", small)
    regime_rows.set_height(ax)
    return ax


def _means(measure: Measure, batches: Sequence[Batch]) -> list[Interval]:
    return [
        measure.of(batch.values) if measure.reached(batch) else shaded.NOT_REACHED
        for batch in batches
    ]


def _intervals(halves: bool, total: Interval) -> str:
    """What is said of the intervals of all."""
    if math.isnan(total.high):
        return "No intervals: those of means take two lives."
    return "±: Student's 95 % intervals." if halves else "Digits: as Student's 95 % intervals let."


def _under(regime: str) -> str:
    return f" under {short(regime, 30)}"


@styled
def whys(result: Comparison | Batch, ax: Axes | None = None) -> Axes:
    """Why care misses happen, misses a life by their main reasons, as a shaded table.

    Of several regimes a row each, the likeliest first; of one, a row for each cause of a miss.
    Only the first lives are gone through, as each is lived again for it, and of many regimes the
    first few.
    """
    if isinstance(result, Batch):
        return _whys_of_one(result.miss_reasons(), len(result), ax)
    if len(result.batches) == 1:
        return _whys_of_one(result.miss_reasons()[0], len(result), ax)
    known = {each.regime: each for each in result.miss_reasons()}
    ranked = [batch.regime for batch in regime_rows.likeliest_first(result)]
    rows = [known[regime] for regime in ranked if regime in known]
    few = f"each of the first {len(rows)} regimes" if len(rows) < len(ranked) else "each regime"
    about = f"{_lives(rows[0], len(result))} under {few}, {_made_by(rows[0])}. Likeliest first."
    means = [[row.mean(reason) for reason in (None, *ORDER)] for row in rows]
    return _draw_whys(ax, "", [row.regime for row in rows], means, about)


def _whys_of_one(reasons: MissReasons, lives: int, ax: Axes | None) -> Axes:
    """Draw the reasons of one regime, a row for each cause that was missed, and one for all."""
    missed = [cause for cause in reasons.causes if reasons.mean(None, cause).estimate]
    means = [
        [reasons.mean(reason, cause) for reason in (None, *ORDER)] for cause in (None, *missed)
    ]
    about = f"{_lives(reasons, lives)}, {_made_by(reasons)}."
    return _draw_whys(ax, _under(reasons.regime), ["in all", *missed], means, about)


def _draw_whys(
    ax: Axes | None, under: str, names: Sequence[str], means: Sequence[list[Interval]], about: str
) -> Axes:
    """Draw means by row, in all and then by reason, without the reasons that none had."""
    total, *by_reason = zip(*means, strict=True)
    columns = [Column("in all", total)]
    for reason, own in zip(ORDER, by_reason, strict=True):
        if any(x.estimate for x in own):
            columns.append(Column(reason, own, begins=len(columns) == 1))
    ax, halves = shaded.draw(ax, names, columns)
    small = f"{about} {FIRST} {SHADE} {_intervals(halves, total[0])}"
    ax.set_xlabel("care misses (mean a life)", loc="left")
    finish(ax, f"Why do care misses happen{under}?", small)
    regime_rows.set_height(ax)
    return ax


def _lives(reasons: MissReasons, lives: int) -> str:
    first = "" if len(reasons) == lives else f"the first of {lives}, "
    return f"{counted(len(reasons))}, {first}".removesuffix(", ")


def _made_by(reasons: MissReasons) -> str:
    return f"{reasons.model}, seed {reasons.seed}"
