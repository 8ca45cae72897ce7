"""How well odds are known after how many lives: the running estimate and its interval."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, NullLocator
from numpy.typing import NDArray

from petsim.study.aims import Aim
from petsim.study.batch import Batch
from petsim.study.compare import Comparison
from petsim.study.stats import Interval
from petsim.view import aims
from petsim.view.numbers import per_cent, percent
from petsim.view.plots.colours import AIM, AIM_MARKER
from petsim.view.plots.layout import Label, finish
from petsim.view.plots.scales import percent_limits
from petsim.view.plots.sheet import DASHES, axes, labelled_height, short, styled
from petsim.view.tables import counted

MOMENTS = 200
"""Numbers of lives at which the odds are worked out, evenly spaced on the log scale."""
MOST_BANDS = 6
"""Regimes beyond which only the first are drawn, as bands would hide each other."""


@styled
def convergence(result: Batch | Comparison, ax: Axes | None = None) -> Axes:
    """Odds of the aim after 1, 2, 3 ... lives, with their 95 % Wilson intervals.

    At each power of ten, and at the end, half the width of the interval is written. As lives are
    numbered, these are the odds that were known while they were simulated.

    Args:
        result: a batch, or a comparison, of which the first few regimes are drawn.
        ax: what to draw on; by default a picture of its own.
    """
    batches = result.batches if isinstance(result, Comparison) else (result,)
    drawn = batches[:MOST_BANDS]
    ax = axes(ax, labelled_height(2 * len(drawn) + 5))
    labels, shown = [], list[Interval]()
    for place, batch in enumerate(drawn):
        numbers, intervals = running(batch, result.aim)
        shown += intervals
        _draw_odds(ax, numbers, intervals, DASHES[place % len(DASHES)], batch.regime)
        if len(batches) == 1:
            _write_widths(ax, numbers, intervals)
        else:
            name = f"{short(batch.regime)}\n{known(intervals[-1])}"
            labels.append(Label(float(numbers[-1]), 100 * intervals[-1].estimate, name))
    ax.set_xscale("log")
    ax.xaxis.set_minor_locator(NullLocator())
    ax.xaxis.set_major_formatter(FuncFormatter(lambda x, _: f"{x:.0f}"))
    ax.set_xlim(_first(len(result)), max(len(result), 2))
    percent_limits(ax, shown)
    ax.set_xlabel("lives simulated (log scale)")
    ax.set_ylabel(aims.upright(result.aim))
    return finish(ax, _title(result), _small(batches, result.aim), labels)


def _first(lives: int) -> int:
    """The number of lives that the axis begins with: not those that say next to nothing."""
    return 10 if lives >= 100 else 1


def _draw_odds(
    ax: Axes,
    numbers: NDArray[np.int64],
    intervals: Sequence[Interval],
    dashes: Any,
    regime: str,
) -> None:
    """Draw the odds after some numbers of lives as a line in its band, with a mark at its end."""
    estimate, low, high = 100 * np.array(intervals).T
    ax.fill_between(numbers, low, high, color=AIM, alpha=0.15, linewidth=0)
    ax.plot(numbers, estimate, color=AIM, linestyle=dashes, gid=f"odds under {regime}")
    ax.plot(numbers[-1], estimate[-1], AIM_MARKER, color=AIM, clip_on=False)


def running(batch: Batch, aim: Aim) -> tuple[NDArray[np.int64], list[Interval]]:
    """Return some numbers of lives, up to all, and the odds of the aim in the first so many."""
    values = aim.values(batch)
    evenly = np.geomspace(_first(len(batch)), len(batch), MOMENTS)
    numbers = np.unique(evenly.round().astype(np.int64))
    return numbers, [aim.interval(values[:n]) for n in numbers]


def known(interval: Interval) -> str:
    """Return odds in per cent with half the width of their interval, or their bound: "95 % ± 1"."""
    if interval.estimate in (0, 1):
        return per_cent(interval)
    return f"{percent(interval.estimate, _half(interval))} % {_plus_minus(interval)}"


def _half(interval: Interval) -> float:
    return (interval.high - interval.low) / 2


def _plus_minus(interval: Interval) -> str:
    """Half the width of an interval in percentage points."""
    return f"\N{PLUS-MINUS SIGN} {percent(_half(interval), _half(interval))}"


def _write_widths(ax: Axes, numbers: NDArray[np.int64], intervals: Sequence[Interval]) -> None:
    """Write half the width of the interval after 100, 1000 ... lives, where the axis is empty."""
    below = intervals[-1].estimate > 0.5
    for power in range(2, math.ceil(math.log10(numbers[-1]))):
        interval = intervals[int(np.searchsorted(numbers, 10**power))]
        ax.annotate(
            _plus_minus(interval),
            (10**power, 100 * (interval.low if below else interval.high)),
            xytext=(0, -4 if below else 4),
            textcoords="offset points",
            ha="center",
            va="top" if below else "bottom",
            gid="half-width",
        )


def _title(result: Batch | Comparison) -> str:
    """What is known at the end."""
    lives, aim = counted(len(result)), result.aim
    if isinstance(result, Batch) or len(result.batches) == 1:
        batch = result if isinstance(result, Batch) else result.batches[0]
        odds = known(aim.of(batch))
        return f"{aims.title(aim)} under {short(batch.regime, 30)}: {odds} after {lives}"
    widest = max((aim.of(batch) for batch in result.batches), key=_half)
    points = f"{_plus_minus(widest)} percentage points"
    return f"{aims.title(aim)} {aims.words(aim).are} known to {points} or better after {lives}"


def _small(batches: tuple[Batch, ...], aim: Aim) -> str:
    first, what = batches[0], "odds" if aim.is_share else aim.figure
    by = aims.words(aim).by
    each = " under each regime" if len(batches) > 1 else ""
    shown = f" The first {MOST_BANDS} of {len(batches)} regimes." * (len(batches) > MOST_BANDS)
    cut = " Interrupted: fewer lives than were asked for." * first.interrupted
    return (
        f"{counted(len(first))}{each}, {first.model.id}, seed {first.seed}.{shown}{cut} Line: "
        f"{what} in the lives so far; band: {by} 95 % interval; \N{PLUS-MINUS SIGN}: half its "
        "width in percentage points."
    )
