"""How lives go: when misses happen, and which form the pet has when."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import QuadMesh
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from petsim.life.record import Life
from petsim.spec.quantities import DAY
from petsim.study.batch import Batch
from petsim.study.compare import Comparison
from petsim.study.hours import HOUR, Hours, hours_of
from petsim.study.stats import wilson
from petsim.view.hours import misses_in
from petsim.view.numbers import decimals, per_cent
from petsim.view.plots.colours import IN_VAIN, LEVEL, MISSES, Look, of_outcomes
from petsim.view.plots.layout import finish
from petsim.view.plots.sheet import (
    HEIGHT,
    LINE,
    SHADE,
    axes,
    figure_of,
    short,
    styled,
)
from petsim.view.tables import counted

TALLEST = 6.5
"""Inches that days of life fill at most."""
SHORTEST = 3.2
"""Inches of a picture of a day or two."""
HEAD = 1.2 * LINE
"""Inches of the name above the days of a regime."""
BAR = 25
"""How many times as high as wide the scale beside a heat map is."""
MOMENTS = 400
"""Evenly spaced times at which shares of forms are counted, besides quantiles of the changes."""
CENTILES = np.linspace(0, 1, 201)
NEVER = np.iinfo(np.int64).max
DEAD = "dead"
NOBODY_HATCH = "///"

Moments = NDArray[np.int64]


@styled
def misses_by_hour(
    result: Comparison | Batch | Life | Sequence[Life], ax: Axes | None = None
) -> Axes:
    """When care misses happen: a heat map by hour of the day and day of life, regime by regime.

    The darker an hour, the more misses a life had in it on average, over the lives that were
    followed into it; of a single life, their number. All regimes are on one scale. An hour without
    any miss is left blank; one that no life was followed into is hatched.

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
    ax.grid(visible=False)
    ax.set_xlabel("time of day (hours)")
    ax.set_ylabel("day of life")
    small = f"{lives}. {_largest(regimes)} Blank: none. Hatched: no life got there."
    return finish(ax, _when_most(result, regimes), small)


def _draw_days(ax: Axes, regimes: Sequence[Hours], head: float, step: int) -> None:
    """Draw regime below regime, a row a day, and the scale of all beside them.

    head: the height of the name above each regime, in rows; 0 for no names. step: days from one
    that is numbered to the next.
    """
    most = max(float(np.nanmax(hours.rates)) for hours in regimes)
    ticks: dict[float, str] = {}
    top = 0.0
    for hours in regimes:
        if head:
            name, middle = short(hours.regime, 28), top + head / 2 - 0.5
            ax.text(0, middle, name, va="center", fontweight="bold", in_layout=False)
        top += head
        mesh = _draw_hours(ax, hours, top, most)
        ticks |= {top + day: str(day + 1) for day in range(0, len(hours.rates), step)}
        top += len(hours.rates)
    ax.set_ylim(top - 0.4, -0.6)
    ax.set_yticks([*ticks], [*ticks.values()])
    if most:
        whole = MaxNLocator(nbins=5, integer=len(regimes[0]) == 1)
        bar = figure_of(ax).colorbar(mesh, ax=ax, ticks=whole, aspect=BAR)
        one_life = len(regimes[0]) == 1
        bar.set_label("care misses\nin the hour" if one_life else "care misses\na life and hour")


def _when_most(result: Comparison | Batch | Life | Sequence[Life], regimes: Sequence[Hours]) -> str:
    """When most misses happen, as the title says it."""
    if not any(hours.misses.any() for hours in regimes):
        under = f"under {short(regimes[0].regime, 30)}" if len(regimes) == 1 else "at any time"
        return f"No care misses {under}"
    if len(regimes) > 1:
        worst = max(regimes, key=lambda hours: float(np.nanmax(hours.rates)))
        day, hour = worst.worst
        under = short(worst.regime, 30)
        return f"Most care misses: {hour:02}:00 to {hour + 1:02}:00 on day {day + 1}, under {under}"
    half = regimes[0].half_by_hour
    whose = f"of life {result.number}" if isinstance(result, Life) else ""
    when = f"{half.first:02}:00 to {half.last + 1:02}:00"
    under = short(regimes[0].regime, 30)
    return f"Half of the care misses {whose} under {under} come from {when}".replace("  ", " ")


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


def _draw_hours(ax: Axes, hours: Hours, top: float, most: float) -> QuadMesh:
    """Draw the hours of a regime, of which the first day is in row `top`.

    most: the misses in an hour that is darkest.
    """
    day, hour = np.nonzero(np.isnan(hours.rates))
    # hatched, as in grey it would pass for a few misses
    ax.barh(
        top + day,
        1,
        1,
        hour,
        facecolor=SHADE,
        edgecolor=IN_VAIN,
        hatch=NOBODY_HATCH,
        linewidth=0,
        gid="nobody",
    )
    rates = np.ma.masked_where(~(hours.rates > 0), hours.rates)
    edges = top - 0.5 + np.arange(len(rates) + 1)
    mesh = ax.pcolormesh(
        np.arange(25), edges, rates, cmap=MISSES, vmin=0, vmax=most or 1, edgecolors="face"
    )
    mesh.set(linewidth=0.1, gid="misses")
    return mesh


def _largest(regimes: Sequence[Hours]) -> str:
    """How many misses there are in the darkest hour."""
    hours = max(regimes, key=lambda hours: float(np.nanmax(hours.rates)))
    day, hour = hours.worst
    if not hours.rates[day, hour]:
        return "There were none."
    under = f", {short(hours.regime)}" if len(regimes) > 1 else ""
    return f"Darkest, day {day + 1}, {hour:02}:00{under}: {misses_in(hours, day, hour)}."


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
    looks = of_outcomes(batch.model, batch.aim.main)
    looks[DEAD] = looks[batch.model.deaths[0]]
    for row, (form, span) in enumerate(spans.items()):
        _draw_shares(ax, row, form, times, _shares(span, times, len(batch)), looks)
        ax.text(1.02, row, _begins(span), transform=ax.get_yaxis_transform(), va="center")
    names = [_named(form, len(entered), len(batch)) for form, (entered, _) in spans.items()]
    ax.set_yticks(range(len(spans)), names)
    ax.tick_params(axis="y", length=0)
    ax.set_ylim(len(spans) - 0.5, -0.5)
    ax.grid(visible=False, axis="y")
    ax.set_xlabel("time since birth (days)")
    small = (
        f"{counted(len(batch))}, {batch.model.id}, seed {batch.seed}. Height: share of lives, "
        "a row's height at 100 %; deeper: Wilson's 95 % interval. Left: share ever in it, if not "
        "all. Right: when it begins, the middle 90 % of lives. Blue: the aim. "
        f"Followed to {batch.span}; the last form stays."
    )
    return finish(ax, _when_aimed(batch, spans), small)


def _shares(span: tuple[Moments, Moments], times: Moments, lives: int) -> NDArray[np.float64]:
    """The share of lives in a form at some times, with its interval: a row for each of three."""
    entered, left = (np.searchsorted(each, times, "right") for each in span)
    return np.array([wilson(int(count), lives) for count in entered - left]).T


def _draw_shares(
    ax: Axes,
    row: int,
    form: str,
    times: Moments,
    shares: NDArray[np.float64],
    looks: Mapping[str, Look],
) -> None:
    """Draw the share of lives in a form over time, in a row of its own, and its interval."""
    estimate, low, high = row + 0.4 - 0.8 * shares
    colour, hatch, _ = looks.get(form, Look(LEVEL, "", ""))
    days, bottom = times / DAY, row + 0.4
    ax.fill_between(days, bottom, estimate, color=colour, hatch=hatch, alpha=0.6, linewidth=0)
    ax.fill_between(days, low, high, color=colour, alpha=0.6, linewidth=0)
    ax.plot(days, estimate, color="black", linewidth=0.9)


def _when_aimed(batch: Batch, spans: Mapping[str, tuple[Moments, Moments]]) -> str:
    """Which share of lives becomes the aim, and when, as the title says it."""
    aim, under = batch.aim.main, short(batch.regime, 30)
    if aim not in spans:
        return f"Under {under} none of {counted(len(batch))} becomes {aim}"
    share = per_cent(wilson(len(spans[aim][0]), len(batch)))
    return f"Under {under} {share} become {aim}, after {_begins(spans[aim])}"


def _begins(span: tuple[Moments, Moments]) -> str:
    """When the middle 90 % of lives take a form."""
    return _when(*np.quantile(span[0], (0.05, 0.95)))


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
