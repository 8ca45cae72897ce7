"""Regimes one below the other, each under its name, so that names of any length have room."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from matplotlib.axes import Axes
from matplotlib.text import Text

from petsim.study.aims import Aim
from petsim.study.batch import Batch
from petsim.study.compare import Comparison
from petsim.view.aims import words
from petsim.view.plots.layout import lay_out
from petsim.view.plots.sheet import LINE, axes, figure_of, short
from petsim.view.tables import counted

WIDE = 420.0
"""The width of a row, in points where a picture has its usual size."""
MOST_OF_NAME = 46
"""Characters of a name that fill a row."""
GAP = 0.6
"""Lines between a regime and the next name."""
BELOW = 0.3
"""Lines below the last row."""


def likeliest_first(result: Comparison) -> list[Batch]:
    """Return the batches of a comparison by the odds of its aim, or by their worth."""
    return [result.batches[place] for place in result.by_odds]


def about(batches: Sequence[Batch], aim: Aim) -> str:
    """Say which lives a picture of batches is of, and in which order several stand."""
    first, best = batches[0], words(aim).best.capitalize()
    each, order = ("", "") if len(batches) == 1 else (" under each regime", f" {best} first.")
    return f"{counted(len(first))}{each}, {first.model.id}, seed {first.seed}.{order}"


def begin(ax: Axes | None, names: Iterable[str], lines: float) -> tuple[Axes, list[float]]:
    """Write the names of rows; return the axes, and where the first line below each name is.

    Along the axes places are in points, from 0 to `WIDE`; downwards they are in lines, from 0 at
    the first name.

    Args:
        ax: what to draw on; None for a picture of its own.
        names: of the rows.
        lines: that each takes below its name.
    """
    ax, places = axes(ax), []
    for place, name in enumerate(names):
        top = place * (1 + lines + GAP)
        ax.text(0, top, short(name, MOST_OF_NAME), va="center", gid="name")
        places.append(top + 1)
    ax.set_xlim(0, WIDE)
    ax.set_ylim(places[-1] + lines - 0.5 + BELOW, -0.5)
    ax.set_yticks([])
    ax.set_xticks([])
    ax.grid(visible=False)
    ax.spines[:].set_visible(False)
    lay_out(ax)
    return ax, places


def add_above(ax: Axes, lines: float) -> float:
    """Make room for lines above all that there is, and return where the first of them is."""
    bottom, top = ax.get_ylim()
    ax.set_ylim(bottom, top - lines)
    return top - lines + 0.5


def set_height(ax: Axes) -> None:
    """Give a picture of its own the height at which its lines are as high as lines of text."""
    figure = figure_of(ax)
    if len(figure.axes) > 1:
        return
    bottom, top = ax.get_ylim()
    lay_out(ax)
    missing = LINE * (bottom - top) - ax.bbox.height / figure.dpi
    figure.set_figheight(figure.get_figheight() + missing)
    lay_out(ax)


def width_of(ax: Axes, text: Text) -> float:
    """Return the width of a text, in points of a row."""
    pixels: float = Text.get_window_extent(text).width
    return WIDE * pixels / ax.bbox.width
