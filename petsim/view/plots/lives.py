"""How lives go: when misses happen, and which form the pet has when."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from petsim.life.kinds import Kind
from petsim.life.record import Life
from petsim.life.simulation import ArgumentError
from petsim.spec.quantities import DAY
from petsim.study.batch import Batch
from petsim.study.stats import wilson
from petsim.view.plots.sheet import (
    HEIGHT,
    LINE,
    axes,
    finish,
    labelled_height,
    look,
    number_of,
    per_cent,
    short,
    styled,
)
from petsim.view.text import decimals

HOUR = 3_600
MOMENTS = 400
"""Evenly spaced times at which shares of forms are counted, beside quantiles of their changes."""
CENTILES = np.linspace(0, 1, 201)
NEVER = np.iinfo(np.int64).max
DEAD = "dead"

Moments = NDArray[np.int64]


@styled
def misses_by_hour(lives: Sequence[Life], ax: Axes | None = None) -> Axes:
    """When care misses happen: a square for each hour of the day and day of life.

    Its area is the mean number of misses there, over the lives that were followed into that hour.
    An hour that none was followed into is crossed out.

    Args:
        lives: of one model under one caretaker, such as
            `[petsim.simulate(model, regime, life=number) for number in range(100)]`.

    Raises:
        ArgumentError: there is none.
    """
    if not lives:
        raise ArgumentError("lives: none; expected one or more")
    first = lives[0]
    rates = miss_rates(lives)
    days = len(rates)
    ax = axes(ax, labelled_height(days))
    day, hour = np.nonzero(rates > 0)
    most = np.nanmax(rates)
    area = 150 * rates[day, hour] / (most or 1)
    colour = look(1)["color"]
    ax.scatter(hour + 0.5, day + 1, s=area, marker="s", color=colour, edgecolor="black", lw=0.6)
    day, hour = np.nonzero(np.isnan(rates))
    ax.scatter(hour + 0.5, day + 1, s=16, marker="x", color="#aaaaaa", linewidth=1)
    ax.set_xlim(0, 24)
    ax.set_xticks(range(0, 25, 3))
    ax.set_ylim(days + 0.6, 0.4)
    ax.set_yticks(range(1, days + 1, 1 + days // 15))
    ax.set_xlabel("time of day (hours)")
    ax.set_ylabel("day of life")
    if most:
        worst = np.unravel_index(np.nanargmax(rates), rates.shape)
        largest = f"Largest square: {most:.2g} misses a life, day {worst[0] + 1}, {worst[1]:02}:00."
    else:
        largest = "There were none."
    small = (
        f"{number_of(len(lives))}, {first.model.id}, seed {first.seed}. Area: mean care misses a "
        f"life in that hour. {largest} Crosses: no life got there."
    )
    return finish(ax, f"When do care misses happen under {short(first.regime, 30)}?", small)


def miss_rates(lives: Sequence[Life]) -> NDArray[np.float64]:
    """Mean care misses by day of life and hour of day; nan for hours that no life got to."""
    begins = lives[0].model.begins.clock
    # the last second of a life is part of it
    ends = np.array([begins + life.summary["end_s"] + 1 for life in lives])
    days = int(ends.max() - 1) // DAY + 1
    hours = np.arange(24 * days)
    followed = ((ends[:, None] > HOUR * hours) & (begins < HOUR * (hours + 1))).sum(axis=0)
    missed = np.zeros(24 * days)
    for life in lives:
        for entry in life.log:
            if entry.event == Kind.MISS:
                missed[(begins + entry.t) // HOUR] += 1
    with np.errstate(invalid="ignore"):
        rates: NDArray[np.float64] = (missed / followed).reshape(days, 24)
    return rates


@styled
def forms_over_time(batch: Batch, ax: Axes | None = None) -> Axes:
    """Share of lives in each form over time, a row for each form, with 95 % Wilson bands.

    A life that is followed no further keeps its last form; one that died is dead from then on.
    """
    spans = spans_of_forms(batch)
    changes = np.concatenate([np.concatenate(span) for span in spans.values()])
    # beyond the last outcome, so that its form is seen to stay
    last = int(batch.values["end_s"].max()) * (1.1 if batch.span.to_outcome else 1)
    times = np.union1d(
        np.linspace(0, last, MOMENTS), np.quantile(changes[changes <= last], CENTILES)
    )
    ax = axes(ax, max(HEIGHT, 1.8 + 1.6 * LINE * len(spans)))
    for row, (entered, left) in enumerate(spans.values()):
        counts = [
            int(np.searchsorted(entered, t, "right") - np.searchsorted(left, t, "right"))
            for t in times
        ]
        shares = np.array([wilson(count, len(batch)) for count in counts])
        estimate, low, high = row + 0.4 - 0.8 * shares.T
        colour = look(row)["color"]
        ax.fill_between(times / DAY, row + 0.4, estimate, color=colour, alpha=0.3, linewidth=0)
        ax.fill_between(times / DAY, low, high, color=colour, alpha=0.6, linewidth=0)
        ax.plot(times / DAY, estimate, color="black", linewidth=0.9)
        text = _when(*np.quantile(entered, (0.05, 0.95)))
        ax.text(1.02, row, text, transform=ax.get_yaxis_transform(), va="center")
    names = [_named(form, len(entered), len(batch)) for form, (entered, _) in spans.items()]
    ax.set_yticks(range(len(spans)), names)
    ax.tick_params(axis="y", length=0)
    ax.set_ylim(len(spans) - 0.5, -0.5)
    ax.grid(visible=False, axis="y")
    ax.set_xlabel("time since birth (days)")
    small = (
        f"{number_of(len(batch))}, {batch.model.id}, seed {batch.seed}. Height: share of lives, "
        "a row's height at 100 %; dark: Wilson's 95 % interval. Left: share ever in it, if not "
        "all. Right: when it begins, the middle 90 % of lives. "
        f"Followed to {batch.span}; the last form stays."
    )
    return finish(ax, f"Which form does the pet have when, under {short(batch.regime, 30)}?", small)


def spans_of_forms(batch: Batch) -> dict[str, tuple[Moments, Moments]]:
    """The seconds at which lives entered and left each form that one had, sorted; and death."""
    forms = list(batch.model.forms)
    entered = np.array([batch.values[f"entered_s.{form}"] for form in forms])
    died = batch.values["died"] != 0
    ends = np.where(died, batch.values["end_s"], NEVER)
    later = np.where(entered < 0, NEVER, entered)
    found = {}
    for form, own in zip(forms, entered, strict=True):
        after = np.where(later > own, later, NEVER).min(axis=0)
        left = np.minimum(after, ends)
        if (own >= 0).any():
            found[form] = (np.sort(own[own >= 0]), np.sort(left[own >= 0]))
    if died.any():
        found[DEAD] = (np.sort(ends[died]), np.full(int(died.sum()), NEVER))
    return found


def _named(form: str, taken: int, lives: int) -> str:
    """A form and, if not all lives take it, how many do."""
    name = short(form, 14)
    return name if taken == lives else f"{name} {per_cent(wilson(taken, lives))}"


def _when(low: float, high: float) -> str:
    """A span of time in a unit that fits."""
    if high == 0:
        return "at birth"
    for unit, seconds in (("days", DAY), ("h", HOUR), ("min", 60)):
        if high >= 1.5 * seconds:
            if high - low < 0.01 * seconds:
                return f"{high / seconds:.3g} {unit}"
            digits = min(2, decimals((high - low) / seconds))
            return f"{low / seconds:.{digits}f} to {high / seconds:.{digits}f} {unit}"
    return f"{high:.0f} s"
