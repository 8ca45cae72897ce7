"""Odds, and their differences, in the cells of a sweep along one parameter, as lines."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

from matplotlib.axes import Axes

from petsim.errors import ArgumentError, ensure_known
from petsim.study.results import Sweep
from petsim.study.stats import Interval
from petsim.view.plots.layout import Label, finish
from petsim.view.plots.scales import (
    about,
    ensure_grid,
    height_of,
    name_of_cell,
    percent_limits,
    put_ticks,
    scale_of,
    varied,
)
from petsim.view.plots.sheet import axes, look, short, styled, whiskers
from petsim.view.sweep import brief, interval_of, intervals_of, values_of_cell

if TYPE_CHECKING:
    import pandas as pd

MOST_LINES = 12
WIDEST = 20
"""Characters of a line of a label."""

Lines = dict[str, list[tuple[float, Interval]]]
"""Places along the axis and intervals, in order, by the name of the line."""


@styled
def odds_along(sweep: Sweep, along: str | None = None, ax: Axes | None = None) -> Axes:
    """Odds of the aim along one parameter of a sweep, a line for each combination of the others.

    Wilson's 95 % intervals are bands; whiskers, where values have no order or there is only one.

    Args:
        sweep: a grid.
        along: path of the parameter, or "regime"; by default the first that varies, is a number
            and does not make too many lines.

    Raises:
        ArgumentError: the sweep is a sample, nothing is lived yet, there is no such parameter, or
            there are more lines than can be told apart.
    """
    ensure_grid(sweep)
    odds = sweep.odds()
    along = _chosen(sweep, along)
    lines = _lines(sweep, odds, along)
    ax = axes(ax, _height(sweep, lines, along))
    labels = _draw_lines(ax, sweep, lines, along)
    percent_limits(ax, intervals_of(odds))
    ax.set_ylabel(f"odds of {sweep.design.aim}\n(% of lives)")
    question = f"How do the odds of {sweep.design.aim} change with {along}?"
    small = f"{about(sweep, odds)} {_marks(sweep, along)}: Wilson's 95 % intervals."
    return finish(ax, question, small + _per_line(sweep, along), labels)


def differences_along(sweep: Sweep, baseline: int | None, ax: Axes | None) -> Axes:
    """Draw the differences of odds from those of one cell, in the same way as `odds_along`.

    Raises:
        ArgumentError: as for `odds_along`, or there is no such cell.
    """
    ensure_grid(sweep)
    differences = sweep.differences(baseline)
    along = _chosen(sweep, None)
    lines = _lines(sweep, differences, along)
    ax = axes(ax, _height(sweep, lines, along))
    labels = _draw_lines(ax, sweep, lines, along)
    ax.axhline(0, color="black", linewidth=1.2, gid="no difference")
    ax.set_ylabel("difference\n(percentage points)")
    first = name_of_cell(sweep, differences, int(differences["baseline"].iloc[0]), 30)
    question = f"Do the odds of {sweep.design.aim} differ from those at {first}?"
    small = (
        f"{about(sweep, differences)} The same luck in all. "
        f"{_marks(sweep, along)}: Newcombe's paired 95 % intervals."
    )
    return finish(ax, question, small + _per_line(sweep, along), labels)


def _chosen(sweep: Sweep, along: str | None) -> str:
    """The parameter to draw along: the one asked for, else as `odds_along` chooses it."""
    paths = [axis.path for axis in sweep.design.axes]
    if along is not None:
        ensure_known("along", along, [*paths, "regime"])
        return along
    candidates = varied(sweep) or [*paths, "regime"]
    numbers = [path for path in candidates if scale_of(sweep, path).continuous] or candidates[:1]
    few = (path for path in numbers if _number_of_lines(sweep, path) <= MOST_LINES)
    return next(few, numbers[0])


def _number_of_lines(sweep: Sweep, along: str) -> int:
    return math.prod(len(scale_of(sweep, path).texts) for path in _others(sweep, along))


def _others(sweep: Sweep, along: str) -> list[str]:
    """The paths of what varies beside the parameter drawn along."""
    return [path for path in varied(sweep) if path != along]


def _per_line(sweep: Sweep, along: str) -> str:
    """What each line is of, as a sentence of the small print."""
    others = _others(sweep, along)
    return f" A line for each {' and '.join(others)}." if others else ""


def _marks(sweep: Sweep, along: str) -> str:
    """The word for what intervals are drawn as."""
    scale = scale_of(sweep, along)
    return "Bands" if scale.continuous and len(scale.places) > 1 else "Whiskers"


def _lines(sweep: Sweep, frame: pd.DataFrame, along: str) -> Lines:
    """The intervals of a frame of cells along a parameter, by the name of their line."""
    scale, others = scale_of(sweep, along), _others(sweep, along)
    names = {path: brief(path, varied(sweep)) for path in others}
    lines: Lines = {}
    for cell in map(int, frame.index):
        values = values_of_cell(sweep, frame, cell)
        place = scale.places[scale.texts.index(values[along])]
        line = lines.setdefault(_name(values, names), [])
        line.append((place, interval_of(frame, cell)))
    if len(lines) > MOST_LINES:
        raise ArgumentError(
            f"along {along}: makes {len(lines)} lines, one for each {' and '.join(others)}; "
            f"expected at most {MOST_LINES}"
        )
    return {name: sorted(line, key=lambda point: point[0]) for name, line in lines.items()}


def _name(values: Mapping[str, str], names: Mapping[str, str]) -> str:
    """The name of a line: its values, each after its parameter but for the regime's."""
    named = [
        values[path] if path == "regime" else f"{name} {values[path]}"
        for path, name in names.items()
    ]
    beside = ", ".join(named)
    return beside if len(beside) <= WIDEST else ",\n".join(short(name, WIDEST) for name in named)


def _height(sweep: Sweep, lines: Lines, along: str) -> float:
    """The height, in inches, of a picture of lines that are named beside it."""
    return height_of(scale_of(sweep, along), sum(1 + name.count("\n") for name in lines))


def _draw_lines(ax: Axes, sweep: Sweep, lines: Lines, along: str) -> list[Label]:
    """Draw lines in per cent, and return a label for each at its last point."""
    scale, marks = scale_of(sweep, along), _marks(sweep, along)
    labels = []
    for number, (name, line) in enumerate(lines.items()):
        style, places, intervals = look(number), [p for p, _ in line], [i for _, i in line]
        middle = [100 * i.estimate for i in intervals]
        if marks == "Bands":
            low, high = ([100 * i[end] for i in intervals] for end in (1, 2))
            ax.fill_between(places, low, high, color=style["color"], alpha=0.18, linewidth=0)
            ax.plot(places, middle, label=name, **style)
        else:
            apart = min(0.8 / len(lines), 0.02 * len(scale.places))
            beside = apart * (number - (len(lines) - 1) / 2)
            moved = [place + beside for place in places]
            reach = whiskers(intervals, 100)
            ax.errorbar(moved, middle, yerr=reach, capsize=3, **style | {"linestyle": ""})
        if name:
            labels.append(Label(places[-1], middle[-1], name, style))
    put_ticks(ax, ax.xaxis, scale)
    ax.set_xlabel(scale.label)
    return labels
