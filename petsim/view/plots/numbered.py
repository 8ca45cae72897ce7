"""Numbers above marks along an axis: beside each other, and where there is no room told as one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.text import Text
from numpy.typing import NDArray

from petsim.view.plots.layout import spread
from petsim.view.plots.sheet import figure_of

FARTHEST = 12
"""Points that a number stands from the middle of the marks it is of, at most."""
APART = 4
"""Points between two numbers."""


class Numbered(NamedTuple):
    """Marks in a row that share a text: "3", or "4-6" of several; where they and it are, in pixels.

    places: the numbers' places in their list.
    """

    places: list[int]
    text: str
    at: float


def number_marks(
    ax: Axes, numbers: Sequence[int], x: Sequence[float], y: tuple[float, float], colour: str
) -> None:
    """Write the numbers of marks above them, each with a thin line to its mark.

    Call it when the picture is laid out, as it asks how wide texts and axes are.

    Args:
        ax: what to draw on.
        numbers: in order, one or more.
        x: where their marks are, in data coordinates.
        y: of the numbers' middle and of the upper end of the marks.
        colour: of numbers and lines.
    """
    pixels = ax.transData.transform([(each, 0) for each in x])[:, 0]
    middle, top = y
    to_data = ax.transData.inverted()
    for run in _runs(ax, numbers, pixels):
        at = float(to_data.transform((run.at, 0))[0])
        text = ax.text(at, middle, run.text, ha="center", va="center", color=colour)
        text.set(gid="numbers", in_layout=False)
        low = to_data.transform(text.get_window_extent())[0, 1]
        for place in run.places:
            ends = ([at, x[place]], [low, top])
            ax.plot(*ends, color=colour, linewidth=0.7, scalex=False, scaley=False, gid="leader")


def _runs(ax: Axes, numbers: Sequence[int], pixels: NDArray[np.float64]) -> list[Numbered]:
    """Numbers that stand apart: the nearest are put together until all have room."""
    point = figure_of(ax).dpi / 72
    probe = ax.text(0, 0, "")
    runs = [[place] for place in range(len(numbers))]
    while True:
        texts = [_named(numbers[run[0]], numbers[run[-1]]) for run in runs]
        sizes = [_width(probe, text) + APART * point for text in texts]
        wanted = [float(np.mean(pixels[run])) for run in runs]
        # of those at one place the later is to stand at the right
        later = [at + 1e-6 * place for place, at in enumerate(wanted)]
        at = spread(later, sizes, ax.bbox.x0, ax.bbox.x1)
        farthest = max(abs(a - b) for a, b in zip(at, wanted, strict=True))
        if len(runs) == 1 or farthest <= FARTHEST * point:
            break
        nearest = int(np.diff(wanted).argmin())
        runs[nearest : nearest + 2] = [runs[nearest] + runs[nearest + 1]]
    probe.remove()
    return [Numbered(*each) for each in zip(runs, texts, at, strict=True)]


def _named(first: int, last: int) -> str:
    return str(first) if first == last else f"{first}\N{EN DASH}{last}"


def _width(probe: Text, text: str) -> float:
    probe.set_text(text)
    return float(probe.get_window_extent().width)
