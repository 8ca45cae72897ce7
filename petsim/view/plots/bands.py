"""The bands in which the counters of a rig should stay, day by day."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from matplotlib import pyplot as plt
from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator, MaxNLocator
from numpy.typing import NDArray

from petsim.advice.expecting.expect import Expected, Quiet
from petsim.errors import ArgumentError
from petsim.life.counters import Counter
from petsim.spec.clocks import clock_text
from petsim.view import expected
from petsim.view.plots.colours import shades
from petsim.view.plots.layout import finish
from petsim.view.plots.panels import AROUND, HIGH, finish_panels, put_heads
from petsim.view.plots.sheet import MARKERS, WIDTH, axes, short, styled

COLUMNS = 2
MOST = 4
"""Regimes side by side."""
APART = 0.8
"""Of the room of a day, what bands side by side take together."""
BAR = 0.75
"""The part of its room that a band is wide."""
NAME = 20


@styled
def bands(result: Expected, counter: str | None = None, ax: Axes | None = None) -> Axes:
    """The band and the median of each counter by day, a panel for each counter.

    Of several regimes the bands stand side by side, in their order, with a marker each.

    Args:
        result: as `petsim.expect` returns.
        counter: the only one to draw, by what the text calls it, such as "checks" or "feed".
        ax: what to draw on, for the first counter; by default a picture of its own.

    Raises:
        ArgumentError: there is no such counter under all regimes, or there are too many regimes.
    """
    if len(result.regimes) > MOST:
        raise ArgumentError(f"regimes: {len(result.regimes)}; expected at most {MOST} in a picture")
    known = {str(each): each for each in expected.shared(result)}
    if counter is not None and counter not in known:
        raise ArgumentError(f"counter: {counter!r}; expected one of {', '.join(known)}")
    shown = [*known.values()] if counter is None else [known[counter]]
    question, small = _question(result), _small_print(result)
    if len(shown) == 1 or ax is not None:
        panel = axes(ax)
        _draw(panel, result, shown[0])
        panel.set(xlabel="day", ylabel=f"{shown[0]} a day")
        return finish(panel, question, small)
    panels = _panels(len(shown))
    for panel, each in zip(panels, shown, strict=True):
        _draw(panel, result, each)
    put_heads(panels, [(str(each), "") for each in shown], COLUMNS)
    for panel in panels[-COLUMNS:]:
        panel.set_xlabel("day")
    return finish_panels(panels, question, small, "count of a day")


def _panels(number: int) -> list[Axes]:
    """Panels in two columns, each with heights of its own."""
    rows = math.ceil(number / COLUMNS)
    size = (WIDTH, AROUND + rows * HIGH)
    _, grid = plt.subplots(rows, COLUMNS, figsize=size, squeeze=False)
    flat = [*grid.flat]
    for spare in flat[number:]:
        spare.remove()
    return flat[:number]


def _draw(ax: Axes, result: Expected, counter: Counter) -> None:
    """Draw the bands of a counter, of one regime beside the other."""
    room = APART / len(result.regimes)
    colours = shades(len(result.regimes))
    for number, (quiet, colour) in enumerate(zip(result.regimes, colours, strict=True)):
        at = 1 + np.arange(result.days) - APART / 2 + room * (number + 0.5)
        _draw_bands(ax, quiet, quiet.counters.index(counter), at, room * BAR, colour, number)
    ax.set_xlim(0.5, result.days + 0.5)
    ax.xaxis.set_major_locator(FixedLocator([*range(1, result.days + 1)]) if result.days <= 10
                               else MaxNLocator(6, integer=True))  # fmt: skip
    ax.yaxis.set_major_locator(MaxNLocator(4, integer=True))
    ax.set_ylim(bottom=0)
    ax.grid(visible=False, axis="x")


def _draw_bands(
    ax: Axes,
    quiet: Quiet,
    place: int,
    at: NDArray[Any],
    wide: float,
    colour: str,
    number: int,
) -> None:
    low, high = quiet.low[:, place], quiet.high[:, place]
    bars = ax.bar(at, high - low, wide, low, color=colour, alpha=0.3, edgecolor=colour)
    plt.setp(bars, gid=f"band {quiet.regime}", linewidth=1.0)
    ax.plot(
        at,
        quiet.median[:, place],
        linestyle="none",
        marker=MARKERS[number],
        color=colour,
        gid=f"median {quiet.regime}",
        clip_on=False,
        zorder=3,
    )


def _question(result: Expected) -> str:
    names = " and ".join(short(quiet.regime, NAME) for quiet in result.regimes)
    time = "week" if result.days == 7 else "time"
    return f"What do the counters show in a quiet {time} under {names}?"


def _small_print(result: Expected) -> str:
    begins = result.model.begins.clock
    first = f" Day 1 is from {clock_text(begins)}." if begins else ""
    order = (
        ""
        if len(result.regimes) == 1
        else f" Of each day, from the left: {', '.join(q.regime for q in result.regimes)}."
    )
    return (
        f"Bar: band, marker: median. {100 * result.confidence:g} % of quiet lives stay within all "
        f"bars of all counters{', each regime by itself' if order else ''}.{order}{first} From "
        f"{result.lives} lives, and as many fresh ones to try them."
    )
