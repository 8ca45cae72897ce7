"""What all pictures share: the style, axes to draw on, and numbers and names as they write them.

`layout` finishes a picture, `files` writes it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import wraps
from pathlib import Path
from typing import ParamSpec

import numpy as np
from matplotlib import pyplot as plt
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from petsim.study.stats import Interval

STYLE = Path(__file__).parents[1] / "petsim.mplstyle"
GREY = "#555555"
SHADE = "#e4e4e4"
WIDTH, HEIGHT = 6.0, 3.7
LINE = 0.235
"""Inches that a line of text takes."""
MARKERS = ("o", "s", "^", "D", "v", "P", "X")
DASHES = ("-", (0, (5, 1.5)), (0, (1.5, 1.5)), (0, (6, 1.5, 1.5, 1.5)))

P = ParamSpec("P")


def styled(draw: Callable[P, Axes]) -> Callable[P, Axes]:
    """Have a picture drawn in the style of all, without touching anyone else's."""

    @wraps(draw)
    def drawn(*args: P.args, **kwargs: P.kwargs) -> Axes:
        # loads the backend; a notebook's turns on the showing of pictures, which must outlast us
        plt.draw_if_interactive()  # type: ignore[no-untyped-call]
        with plt.style.context(STYLE):
            return draw(*args, **kwargs)

    return drawn


def figure_of(ax: Axes) -> Figure:
    """The whole picture that axes are part of."""
    figure = ax.figure.figure
    assert isinstance(figure, Figure)
    return figure


def axes(ax: Axes | None, height: float = HEIGHT) -> Axes:
    """The axes that are given or, without any, those of a new picture; height in inches."""
    return plt.subplots(figsize=(WIDTH, height))[1] if ax is None else ax


def labelled_height(labels: int) -> float:
    """The height, in inches, of a picture with a number of labels beside it."""
    return max(HEIGHT, 1.9 + LINE * labels)


def short(name: str, most: int = 18) -> str:
    """A name, cut in its middle if it has more than `most` characters."""
    if len(name) <= most:
        return name
    head = most // 2
    return f"{name[:head]}…{name[len(name) - (most - head - 1) :]}"


def whiskers(intervals: Sequence[Interval], by: float = 1) -> NDArray[np.float64]:
    """How far intervals reach below (first row) and above (second row) their estimates, times `by`.

    An end that is not known is at the estimate.
    """
    reach = [(i.estimate - i.low, i.high - i.estimate) for i in intervals]
    lengths: NDArray[np.float64] = np.nan_to_num(np.array(reach).T.reshape(2, -1))
    return by * np.maximum(lengths, 0)
