"""Finishing a picture: its question above, the small print below, labels at the right.

Texts are broken into lines that fit, and labels keep clear of each other, their lines uncrossed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import accumulate, pairwise
from textwrap import fill, wrap
from typing import Any, NamedTuple

import numpy as np
from matplotlib import rcParams
from matplotlib.axes import Axes
from matplotlib.text import Annotation, Text
from matplotlib.transforms import ScaledTranslation, Transform
from numpy.typing import NDArray

from petsim.view.plots.sheet import GREY, figure_of

LAYOUTS = 4
"""Times a picture is laid out at most: what is above and below makes the axes lower, which changes
the ticks and with them where the axes begin."""
SETTLED = 0.1
"""Pixels that texts may have moved by since a picture was laid out: too few to be seen."""
NARROWER = 0.98
"""The part of the room that texts fill: at another resolution letters are a little wider."""
BESIDE = 1.03
"""Where labels at the right begin, in widths of the axes."""
MARKED = 13
"""Points that the marker before a label takes."""


class Label(NamedTuple):
    """A text at the right, to which a thin line leads from a point of the data.

    look: that of the line it names, whose colour and marker the label has too, as several lines may
    end at one point. panel: the axes of the point, if there are several.
    """

    x: float
    y: float
    text: str
    look: Mapping[str, Any] | None = None
    panel: Axes | None = None


def finish(
    ax: Axes,
    question: str,
    small: str,
    labels: Sequence[Label] = (),
    panels: Sequence[Axes] = (),
    head: float = 0,
) -> Axes:
    """Write the question above, the small print below, and labels beside, clear of each other.

    Args:
        ax: the axes, or the highest of several.
        question, small: the texts above and below.
        labels: those at the right.
        panels: if there are several, all of them, the highest first.
        head: points above the axes that something else takes.
    """
    panels = panels or [ax]
    beside = [_beside(label.panel or ax, label) for label in labels]
    title = ax.set_title(question, pad=rcParams["axes.titlepad"] + head)
    note = _note_below(panels[-1], small)
    width = NARROWER * _width_without(ax, (title, note))
    wrapped(title, question, width)
    wrapped(note, small, width)
    _settle(panels, title, note)
    for panel in panels:
        own = [i for i, label in enumerate(labels) if (label.panel or ax) is panel]
        _keep_apart(panel, [labels[i] for i in own], [beside[i] for i in own])
    return ax


def _note_below(lowest: Axes, small: str) -> Annotation:
    """Put the small print below the lowest axes and their label."""
    return lowest.annotate(
        small,
        xy=(0, 0),
        xycoords=("axes fraction", lowest.xaxis.label),
        xytext=(0, -5),
        textcoords="offset points",
        va="top",
        color=GREY,
        gid="small print",
    )


def _width_without(ax: Axes, texts: Sequence[Text]) -> float:
    """Lay out a picture and return its width without some texts, in pixels."""
    for text in texts:
        text.set_visible(False)
    lay_out(ax)
    around = ax.get_tightbbox()
    assert around is not None
    # not from the left of all that is drawn, as slanting texts may reach farther
    width = around.x1 - ax.transAxes.transform((_left(ax), 0))[0]
    for text in texts:
        text.set_visible(True)
    return float(width)


def _settle(panels: Sequence[Axes], title: Text, note: Annotation) -> None:
    """Lay out until the texts begin where the labels of the axes do, and these fit their axes."""
    highest, lowest = panels[0], panels[-1]
    labels: list[str] = []
    for _ in range(LAYOUTS):
        left_before, labels_before = note.xy[0], labels
        title.set_x(_left(highest))
        note.xy = (_left(lowest), 0)
        for panel in panels:
            _break(panel.yaxis.label, panel.bbox.height)
        labels = [panel.get_ylabel() for panel in panels]
        moved = abs(note.xy[0] - left_before) * lowest.bbox.width
        if moved < SETTLED and labels == labels_before:
            break
        lay_out(highest)


def lay_out(ax: Axes) -> None:
    """Put all in its place, as drawing would."""
    figure = figure_of(ax)
    engine = figure.get_layout_engine()
    if engine is not None:
        engine.execute(figure)


def _left(ax: Axes) -> float:
    """Where the texts of the upright axis begin, in widths of the axes."""
    beside = ax.yaxis.get_tightbbox()
    edge = ax.bbox.x0 if beside is None else min(beside.x0, ax.bbox.x0)
    return float(ax.transAxes.inverted().transform((edge, 0))[0])


def wrapped(text: Text, words: str, width: float) -> None:
    """Write words in lines no wider than a number of pixels."""
    words = words.replace(" %", "\N{NO-BREAK SPACE}%")
    most = int(1.2 * len(words) * width / max(1, _width_of(text, words)))
    lines = [words]
    for columns in range(max(12, min(most, len(words))), 11, -1):
        lines = wrap(words, columns, break_long_words=columns == 12, break_on_hyphens=False)
        # line by line, as most attempts end at the first
        if all(_width_of(text, line) <= width for line in lines):
            break
    text.set_text("\n".join(lines))


def _width_of(text: Text, words: str) -> float:
    """Write other words in a text, and return its width in pixels."""
    text.set_text(words)
    return float(Text.get_window_extent(text).width)


def _break(label: Text, height: float) -> None:
    """Break an upright label at spaces and dots if it is longer than the height, in pixels."""
    words = label.get_text().replace(".", ". ")
    columns = len(words)
    while label.get_window_extent().height > height and columns > 8:
        columns -= 1
        label.set_text(fill(words, columns, break_long_words=False).replace(". ", "."))


def _beside(ax: Axes, label: Label) -> Annotation:
    """Put a label at the right, its line from its point to before its marker."""
    marked = MARKED if label.look else 0
    plain = ax.text(0, 0, label.text)
    width = 72 * plain.get_window_extent().width / figure_of(ax).dpi
    plain.remove()
    return ax.annotate(
        label.text,
        xy=(label.x, label.y),
        xytext=(BESIDE, 0.5),
        textcoords=_right_of(ax, marked),
        va="center",
        annotation_clip=False,
        # below marks, so that a line that passes one does not seem to end there
        zorder=1.5,
        arrowprops={
            "arrowstyle": "-",
            "color": label.look["color"] if label.look else GREY,
            "linewidth": 0.7,
            "shrinkA": 0 if marked else 1,
            "shrinkB": 4,
            "relpos": (-marked / 2 / width, 0.5),
        },
    )


def _keep_apart(ax: Axes, labels: Sequence[Label], beside: Sequence[Annotation]) -> None:
    """Move labels up and down, as little as it takes, so that no lines to them cross."""
    if not labels:
        return
    heights = [Text.get_window_extent(text).height for text in beside]
    points = ax.transData.transform([(label.x, label.y) for label in labels])
    wanted = sorted(points[:, 1], reverse=True)
    slots = spread(wanted, heights, ax.bbox.y0, ax.bbox.y1)
    order = uncrossed(points, ax.transAxes.transform((BESIDE, 0))[0], slots)
    places = spread(wanted, [heights[i] for i in order], ax.bbox.y0, ax.bbox.y1)
    for i, place in zip(order, places, strict=True):
        height = ax.transAxes.inverted().transform((0, place))[1]
        beside[i].set_position((BESIDE, height))
        _draw_mark(ax, labels[i], beside[i], height)


def _draw_mark(ax: Axes, label: Label, beside: Annotation, height: float) -> None:
    """Draw the marker of a line before its label."""
    if label.look:
        ax.scatter(
            BESIDE,
            height,
            rcParams["lines.markersize"] ** 2,
            linewidth=rcParams["lines.markeredgewidth"],
            transform=_right_of(ax, MARKED / 2),
            clip_on=False,
            zorder=2,
            gid=f"mark {label.text}",
            color=label.look["color"],
            marker=label.look["marker"],
        )


def _right_of(ax: Axes, points: float) -> Transform:
    """The coordinates of the axes, moved to the right by a number of points."""
    return ax.transAxes + ScaledTranslation(points / 72, 0, figure_of(ax).dpi_scale_trans)


def uncrossed(points: NDArray[np.float64], x: float, heights: Sequence[float]) -> list[int]:
    """Which point to join with each place, so that no lines cross.

    Seen from the highest place all points are below the line to the one that is seen highest, and
    so are all other places: no other line can cross it. Of points on one line of sight the nearest
    is taken, of those at one place the first.

    Args:
        points: a row of two coordinates for each.
        x: where the places are, right of all points.
        heights: those of the places, the highest first.

    Returns:
        The index of a point for each place.
    """
    waiting, joined = [*range(len(points))], []
    for height in heights:
        ahead = {i: (x - points[i][0], points[i][1] - height) for i in waiting}
        seen_highest = max(waiting, key=lambda i: (ahead[i][1] / ahead[i][0], -ahead[i][0]))
        waiting.remove(seen_highest)
        joined.append(seen_highest)
    return joined


def spread(wanted: Sequence[float], sizes: Sequence[float], low: float, high: float) -> list[float]:
    """The centres nearest to those wanted at which things of these sizes do not overlap.

    They are nearest by least squares, which is found by pooling neighbours that collide; and
    between low and high, where there is room for all. Of those wanted at one place, the first comes
    highest.
    """
    if not wanted:
        return []
    order = sorted(range(len(wanted)), key=lambda i: (wanted[i], -i))
    steps = [(sizes[a] + sizes[b]) / 2 for a, b in pairwise(order)]
    apart = list(accumulate(steps, initial=0.0))
    pools: list[list[float]] = []
    for i, room in zip(order, apart, strict=True):
        pools.append([wanted[i] - room])
        while len(pools) > 1 and np.mean(pools[-2]) > np.mean(pools[-1]):
            pools[-2:] = [pools[-2] + pools[-1]]
    starts = [float(np.mean(pool)) for pool in pools for _ in pool]
    lowest, highest = low + sizes[order[0]] / 2, high - sizes[order[-1]] / 2 - apart[-1]
    places = {
        i: max(lowest, min(start, highest)) + room
        for i, start, room in zip(order, starts, apart, strict=True)
    }
    return [places[i] for i in range(len(wanted))]
