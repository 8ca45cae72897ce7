"""How lives go: when misses happen, and which form the pet has when."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from petsim.life.record import Life
from petsim.spec.quantities import DAY
from petsim.study.batch import Batch
from petsim.study.compare import Comparison
from petsim.study.hours import HOUR, Hours, hours_of
from petsim.study.stats import wilson
from petsim.view.hours import misses_in
from petsim.view.numbers import decimals
from petsim.view.plots.layout import finish
from petsim.view.plots.sheet import HEIGHT, LINE, SHADE, axes, look, per_cent, short, styled
from petsim.view.tables import counted

TALLEST = 6.5
"""Inches that days of life fill at most."""
SHORTEST = 2.4
"""Inches of a picture of a day or two."""
HEAD = 1.2 * LINE
"""Inches of the name above the days of a regime."""
MOMENTS = 400
"""Evenly spaced times at which shares of forms are counted, besides quantiles of the changes."""
CENTILES = np.linspace(0, 1, 201)
NEVER = np.iinfo(np.int64).max
DEAD = "dead"

Moments = NDArray[np.int64]


@styled
def misses_by_hour(
    result: Comparison | Batch | Life | Sequence[Life], ax: Axes | None = None
) -> Axes:
    """When care misses happen: a box for each hour of the day and day of life, regime by regime.

    The area of a box is the mean number of misses in its hour, over the lives that were followed
    into it; of a single life, their number. An hour that no life was followed into is grey.

    Args:
        result: a comparison or a batch, whose `hours` are drawn; or lives of one model under one
            caretaker.
        ax: what to draw on; by default a picture of its own.

    Raises:
        ArgumentError: there is no life.
    """
    regimes, lives = _hours(result)
    several = len(regimes) > 1
    days, heads = sum(len(hours.rates) for hours in regimes), HEAD * len(regimes) * several
    row = min(LINE, (TALLEST - heads) / days)
    ax = axes(ax, max(SHORTEST, 1.9 + row * days + heads))
    _draw_days(ax, regimes, HEAD / row * several, math.ceil(LINE / row))
    ax.set_xlim(0, 24)
    ax.set_xticks(range(0, 25, 3))
    ax.grid(visible=False, axis="y")
    ax.set_xlabel("time of day (hours)")
    ax.set_ylabel("day of life")
    under = "" if several else f" under {short(regimes[0].regime, 30)}"
    one_life = len(regimes[0]) == 1
    meant = "misses in that hour" if one_life else "mean misses, over the lives that reached it"
    small = f"{lives}. Area: {meant}. {_largest(regimes)}"
    return finish(ax, f"When do care misses happen{under}?", f"{small} Grey: no life got there.")


def _draw_days(ax: Axes, regimes: Sequence[Hours], head: float, step: int) -> None:
    """Draw regime below regime, a row a day.

    head: the height of the name above each regime, in rows; 0 for no names. step: days from one
    that is numbered to the next.
    """
    most = max(float(np.nanmax(hours.rates)) for hours in regimes)
    ticks: dict[float, str] = {}
    top = 0.0
    for place, hours in enumerate(regimes):
        if head:
            name = short(hours.regime, 40)
            ax.text(0, top + head / 2 - 0.5, name, va="center", fontweight="bold")
        top += head
        _draw_hours(ax, hours, top, most, look(place)["color"])
        ticks |= {top + day: str(day + 1) for day in range(0, len(hours.rates), step)}
        top += len(hours.rates)
    ax.set_ylim(top - 0.4, -0.6)
    ax.set_yticks([*ticks], [*ticks.values()])


def _hours(result: Comparison | Batch | Life | Sequence[Life]) -> tuple[Sequence[Hours], str]:
    """The hours of a result, regime by regime, and which lives these are of, in words."""
    if isinstance(result, Batch | Comparison):
        hours = result.miss_hours()
        regimes = hours if isinstance(hours, tuple) else (hours,)
        first = "" if len(regimes[0]) == len(result) else f", the first of {len(result)}"
    else:
        regimes, first = (hours_of([result] if isinstance(result, Life) else result),), ""
    each = ""
    if isinstance(result, Comparison) and len(result.batches) > 1:
        all_drawn = len(regimes) == len(result.batches)
        each = " under each regime" if all_drawn else f" under each of the first {len(regimes)}"
    lives = f"Life {result.number}" if isinstance(result, Life) else counted(len(regimes[0]))
    return regimes, f"{lives}{each}{first}, {regimes[0].model}, seed {regimes[0].seed}"


def _draw_hours(ax: Axes, hours: Hours, top: float, most: float, colour: str) -> None:
    """Draw the boxes of a regime, of which the first day is in row `top`.

    most: the misses in an hour whose box is as large as can be.
    """
    day, hour = np.nonzero(np.isnan(hours.rates))
    # with edges, as there would be seams between them
    ax.barh(top + day, 1, 1, hour, color=SHADE, linewidth=0.6, gid="nobody")
    day, hour = np.nonzero(hours.rates > 0)
    side = np.sqrt(hours.rates[day, hour] / most)
    left = hour + (1 - side) / 2
    edge = "black"
    ax.barh(top + day, side, side, left, color=colour, edgecolor=edge, linewidth=0.6, gid="misses")


def _largest(regimes: Sequence[Hours]) -> str:
    """What the largest box stands for."""
    hours = max(regimes, key=lambda hours: float(np.nanmax(hours.rates)))
    day, hour = hours.worst
    if not hours.rates[day, hour]:
        return "There were none."
    under = f", {short(hours.regime)}" if len(regimes) > 1 else ""
    return f"Largest, day {day + 1}, {hour:02}:00{under}: {misses_in(hours, day, hour)}."


@styled
def forms_over_time(batch: Batch, ax: Axes | None = None) -> Axes:
    """Share of lives in each form over time, a row for each form, with 95 % Wilson bands.

    A life that is followed no further keeps its last form; one that died is dead from then on.

    Args:
        batch: the lives.
        ax: what to draw on; by default a picture of its own.
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
        f"{counted(len(batch))}, {batch.model.id}, seed {batch.seed}. Height: share of lives, "
        "a row's height at 100 %; deeper: Wilson's 95 % interval. Left: share ever in it, if not "
        "all. Right: when it begins, the middle 90 % of lives. "
        f"Followed to {batch.span}; the last form stays."
    )
    return finish(ax, f"Which form does the pet have when, under {short(batch.regime, 30)}?", small)


def spans_of_forms(batch: Batch) -> dict[str, tuple[Moments, Moments]]:
    """Return when lives entered and left each form, and death, which none leaves.

    Returns:
        For each form that a life had, and for DEAD if one died, two sorted arrays of as many
        seconds since birth as there are such lives; NEVER for those that did not leave.
    """
    forms = list(batch.model.forms)
    entered = np.array([batch.values[f"entered_s.{form}"] for form in forms])
    died = batch.values["died"] != 0
    ends = np.where(died, batch.values["end_s"], NEVER)
    later = np.where(entered < 0, NEVER, entered)
    spans = {}
    for form, own in zip(forms, entered, strict=True):
        after = np.where(later > own, later, NEVER).min(axis=0)
        left = np.minimum(after, ends)
        if (own >= 0).any():
            spans[form] = (np.sort(own[own >= 0]), np.sort(left[own >= 0]))
    if died.any():
        spans[DEAD] = (np.sort(ends[died]), np.full(int(died.sum()), NEVER))
    return spans


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
