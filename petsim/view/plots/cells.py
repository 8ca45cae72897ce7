"""The cells of a sweep: the odds along one parameter, and over two."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib import pyplot as plt
from matplotlib import rcParams
from matplotlib.axes import Axes
from matplotlib.collections import QuadMesh
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from petsim.errors import ArgumentError, choice
from petsim.study.results import Sweep
from petsim.study.stats import Interval
from petsim.view.plots.scales import (
    Scale,
    about,
    brief,
    height_of,
    name_of_cell,
    put_ticks,
    scale_of,
    varied,
)
from petsim.view.plots.sheet import (
    HEIGHT,
    WIDTH,
    Label,
    axes,
    figure_of,
    finish,
    look,
    short,
    styled,
    whiskers,
)
from petsim.view.sweep import interval_of

if TYPE_CHECKING:
    import pandas as pd

MOST_LINES = 12
WIDEST = 20
"""Characters of a line of a label."""
MOST_NUMBERS = 60
"""Cells of a heat map that are told as numbers too, where there is room."""
MOST_PANELS = 6
"""Regimes that have a panel each."""
PANEL = 2.85
"""Inches that each further panel takes."""
HEAD = 20
"""Points that the name of a panel takes."""
BAR = 20
"""Widths of the scale that its height is, beside each panel."""
CONTOURS = {50.0: "dotted", 80.0: "dashed", 95.0: "solid"}
LEAST_POINTS = 3
"""Of a contour that is drawn: one across a single square is a stick that shows no course."""
PALE, DARK = "#fafafa", "#111111"
"""What is written on cells, whose colours are the same on a dark page."""
UNDER: tuple[dict[str, Any], ...] = (
    {"color": PALE, "linewidth": 3.6, "linestyle": "solid"},
    {"color": DARK, "linewidth": 1.8},
)
"""Dark lines that can be told from dark cells, by a pale one under each."""


Lines = dict[str, list[tuple[float, Interval]]]


@styled
def odds_along(sweep: Sweep, along: str | None = None, ax: Axes | None = None) -> Axes:
    """Odds of the aim along one parameter of a sweep, a line for each value of all others.

    Bands are Wilson's 95 % intervals; whiskers, where values have no order or there is one.

    Args:
        sweep: a grid.
        along: path of the parameter, or "regime"; by default the first that varies, is a number
            and does not make too many lines.

    Raises:
        ArgumentError: the sweep is a sample, nothing is lived yet, there is no such parameter, or
            there are more lines than can be told apart.
    """
    _see_that_it_is_a_grid(sweep)
    odds = sweep.odds()
    along = _chosen(sweep, along)
    lines = _lines(sweep, odds, along)
    ax = axes(ax, _height(sweep, lines, along))
    labels = _draw_lines(ax, sweep, lines, along)
    percent_limits(ax, _intervals(odds))
    ax.set_ylabel(f"odds of {sweep.design.aim}\n(% of lives)")
    question = f"How do the odds of {sweep.design.aim} change with {along}?"
    small = f"{about(sweep, odds)} {_drawn(sweep, along)}: Wilson's 95 % intervals."
    return finish(ax, question, small + _per_line(sweep, along), labels)


def differences_along(sweep: Sweep, baseline: int | None, ax: Axes | None) -> Axes:
    """How the odds in each cell of a grid differ from those in one, as `odds_along` has the odds.

    Raises:
        ArgumentError: as for `odds_along`, or there is no such cell.
    """
    _see_that_it_is_a_grid(sweep)
    found = sweep.differences(baseline)
    along = _chosen(sweep, None)
    lines = _lines(sweep, found, along)
    ax = axes(ax, _height(sweep, lines, along))
    labels = _draw_lines(ax, sweep, lines, along)
    ax.axhline(0, color="black", linewidth=1.2, gid="no difference")
    ax.set_ylabel("difference\n(percentage points)")
    first = name_of_cell(sweep, found, int(found["baseline"].iloc[0]), 30)
    question = f"Do the odds of {sweep.design.aim} differ from those at {first}?"
    small = (
        f"{about(sweep, found)} The same luck in all. "
        f"{_drawn(sweep, along)}: Newcombe's paired 95 % intervals."
    )
    return finish(ax, question, small + _per_line(sweep, along), labels)


@styled
def heat_map(
    sweep: Sweep,
    x: str | None = None,
    y: str | None = None,
    regime: str | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Odds of the aim over two parameters of a sweep, with contours at 50, 80 and 95 %.

    Each of several regimes has a panel, one below the other, if they are neither x nor y. There are
    no contours over what is no number; a cell without a life stays white.

    Args:
        sweep: a grid.
        x, y: paths of the parameters, or "regime"; by default the two that vary.
        regime: the only one to show of several, if they are neither x nor y.
        ax: what to draw on, if there is one panel.

    Returns:
        The axes, or the highest of several.

    Raises:
        ArgumentError: the sweep is a sample, nothing is lived yet, or there are not two that vary.
    """
    _see_that_it_is_a_grid(sweep)
    odds = sweep.odds()
    across, up = (scale_of(sweep, path) for path in _two(sweep, x, y, regime))
    parts = _parts(sweep, odds, regime, across, up)
    if ax is not None and len(parts) > 1:
        raise ArgumentError("ax: several regimes have a panel each; expected one regime")
    panels = [ax] if ax is not None else _panels(len(parts), across)
    drawn: set[float] = set()
    for panel, part in zip(panels, parts.values(), strict=True):
        drawn |= _draw_map(panel, _grid(sweep, part, across, up), across, up)
    if len(parts) > 1:
        _write_heads(panels, [*parts])
    _draw_bar(panels, drawn, f"odds of {sweep.design.aim}\n(% of lives)")
    under = "" if regime is None else f" under {short(regime, 30)}"
    question = f"Where are the odds of {sweep.design.aim} good{under}?"
    small = _told_of(sweep, [*parts.values()], drawn)
    head = HEAD if len(parts) > 1 else 0
    return finish(panels[0], question, small, panels=panels, head=head)


def _parts(
    sweep: Sweep, odds: pd.DataFrame, regime: str | None, across: Scale, up: Scale
) -> dict[str, pd.DataFrame]:
    """The odds of each panel, by the regime of which they are."""
    if "regime" in (across.path, up.path):
        return {"": odds}
    names = [candidate.name for candidate in sweep.design.regimes]
    if regime is not None and regime not in names:
        raise ArgumentError(f"regime: {regime!r}; {choice(regime, names)}")
    shown = names[:MOST_PANELS] if regime is None else [regime]
    parts = {name: odds[odds["regime"] == name] for name in shown}
    if all(part.empty for part in parts.values()):
        raise ArgumentError(f"nothing was lived under {' or '.join(shown)} yet")
    return parts


def _panels(number: int, across: Scale) -> list[Axes]:
    """Axes of a new picture, one below the other."""
    higher = PANEL + height_of(across) - HEIGHT
    size = (WIDTH, height_of(across) + (number - 1) * higher)
    return [*plt.subplots(number, figsize=size, squeeze=False)[1][:, 0]]


def _draw_map(ax: Axes, grid: NDArray[np.float64], across: Scale, up: Scale) -> set[float]:
    """Draw a panel: which contours it has."""
    mesh = ax.pcolormesh(across.edges, up.edges, grid, vmin=0, vmax=100)
    # as there would be seams between cells
    mesh.set(edgecolor="face", linewidth=0.6)
    told = across.roomy and up.roomy and grid.size <= MOST_NUMBERS
    drawn = _draw_contours(ax, grid, across, up, named=not told)
    if told:
        _write_numbers(ax, mesh, grid, across, up)
    put_ticks(ax, ax.xaxis, across)
    put_ticks(ax, ax.yaxis, up)
    ax.grid(visible=False)
    ax.set_xlabel(across.label)
    ax.set_ylabel(up.label)
    return drawn


def _draw_bar(panels: Sequence[Axes], drawn: Collection[float], label: str) -> None:
    """Draw the scale of all panels beside them, with the contours that they have."""
    mesh = next(each for each in panels[0].collections if isinstance(each, QuadMesh))
    bar = figure_of(panels[0]).colorbar(
        mesh, ax=panels, ticks=[0, *CONTOURS], aspect=BAR * len(panels)
    )
    bar.set_label(label)
    for level in drawn:
        for own in UNDER:
            bar.ax.axhline(level, **{"linestyle": CONTOURS[level]} | own)


def _write_heads(panels: Sequence[Axes], names: Sequence[str]) -> None:
    for panel, name in zip(panels, names, strict=True):
        panel.annotate(
            short(name, 30),
            xy=(0, 1),
            xytext=(0, 5),
            xycoords="axes fraction",
            textcoords="offset points",
            fontweight="bold",
        )


def _told_of(sweep: Sweep, parts: Sequence[pd.DataFrame], drawn: Collection[float]) -> str:
    """The small print of a heat map."""
    import pandas as pd

    shown = pd.concat(parts)
    regimes = len(sweep.design.regimes)
    first = f" The first {len(parts)} of {regimes} regimes." if 1 < len(parts) < regimes else ""
    levels = ", ".join(f"{level:.0f}" for level in sorted(drawn))
    lines = f" Lines, as on the scale: {levels} %." if drawn else ""
    widest = max((i.high - i.low) / 2 for i in _intervals(shown))
    return (
        f"{about(sweep, shown)}{first}{lines} "
        f"Wilson's 95 % intervals: ± {100 * widest:.2g} points at most."
    )


def percent_limits(ax: Axes, intervals: Sequence[Interval]) -> None:
    """Have the upright axis show intervals from ten per cent to ten, a little beyond each end."""
    low = 10 * math.floor(10 * min(i.low for i in intervals))
    high = 10 * math.ceil(10 * max(i.high for i in intervals))
    ax.set_ylim(low - 0.03 * (high - low), high + 0.03 * (high - low))
    ax.yaxis.set_major_locator(MaxNLocator(5, integer=True, steps=[1, 2, 2.5, 5, 10]))


def _see_that_it_is_a_grid(sweep: Sweep) -> None:
    """Refuse a sample, and a grid in which nothing was lived yet."""
    if sweep.design.sample is not None:
        raise ArgumentError(
            f"{sweep.path}: is a sample, whose points lie on no line; draw cost, or sweep a grid"
        )
    sweep.ensure_begun()


def _intervals(found: pd.DataFrame) -> list[Interval]:
    return [interval_of(found, cell) for cell in found.index]


def _chosen(sweep: Sweep, along: str | None) -> str:
    """The parameter to draw along."""
    paths = [axis.path for axis in sweep.design.axes]
    if along is not None:
        if along not in (*paths, "regime"):
            raise ArgumentError(f"along: {along!r}; {choice(along, [*paths, 'regime'])}")
        return along
    candidates = varied(sweep) or [*paths, "regime"]
    numbers = [path for path in candidates if scale_of(sweep, path).continuous] or candidates[:1]
    few = (path for path in numbers if _number_of_lines(sweep, path) <= MOST_LINES)
    return next(few, numbers[0])


def _number_of_lines(sweep: Sweep, along: str) -> int:
    return math.prod(len(scale_of(sweep, path).texts) for path in _others(sweep, along))


def _two(sweep: Sweep, x: str | None, y: str | None, regime: str | None) -> tuple[str, str]:
    """The two parameters to draw over: those given, then others that vary."""
    known = ["regime", *(axis.path for axis in sweep.design.axes)]
    for name, path in (("x", x), ("y", y)):
        if path is not None and path not in known:
            raise ArgumentError(f"{name}: {path!r}; {choice(path, known)}")
    told = {x, y, None if regime is None else "regime"}
    left, wanted = [path for path in varied(sweep) if path not in told], (x, y).count(None)
    if len(left) > wanted and "regime" in left:
        left.remove("regime")  # each has a panel
    chosen = iter(left)
    first, second = (next(chosen, None) if path is None else path for path in (x, y))
    if first is None or second is None or first == second:
        raise ArgumentError(f"x and y: expected two that vary; there are {_names(varied(sweep))}")
    if len(left) > wanted:
        raise ArgumentError(
            f"x and y: {_names(left[wanted:])} varies too; expected two that vary, beside the "
            "regimes"
        )
    return first, second


def _names(paths: Sequence[str]) -> str:
    return ", ".join(paths) or "none"


def _others(sweep: Sweep, along: str) -> list[str]:
    return [path for path in varied(sweep) if path != along]


def _per_line(sweep: Sweep, along: str) -> str:
    others = _others(sweep, along)
    return f" A line for each {' and '.join(others)}." if others else ""


def _drawn(sweep: Sweep, along: str) -> str:
    scale = scale_of(sweep, along)
    return "Bands" if scale.continuous and len(scale.places) > 1 else "Whiskers"


def _lines(sweep: Sweep, found: pd.DataFrame, along: str) -> Lines:
    """What was found along a parameter, line by line, each in its order."""
    scale, others = scale_of(sweep, along), _others(sweep, along)
    names = {path: brief(path, varied(sweep)) for path in others}
    lines: Lines = {}
    for cell in map(int, found.index):
        said = sweep.parameters(cell) | {"regime": str(found.at[cell, "regime"])}
        name = _name(said, names)
        place = scale.places[scale.texts.index(said[along])]
        lines.setdefault(name, []).append((place, interval_of(found, cell)))
    if len(lines) > MOST_LINES:
        raise ArgumentError(
            f"along {along}: makes {len(lines)} lines, one for each {' and '.join(others)}; "
            f"expected at most {MOST_LINES}"
        )
    return {name: sorted(line, key=lambda point: point[0]) for name, line in lines.items()}


def _name(said: Mapping[str, str], names: Mapping[str, str]) -> str:
    """What values tell a line from others, each with its parameter but for the regime's name."""
    named = [said[p] if p == "regime" else f"{name} {said[p]}" for p, name in names.items()]
    beside = ", ".join(named)
    return beside if len(beside) <= WIDEST else ",\n".join(short(name, WIDEST) for name in named)


def _height(sweep: Sweep, lines: Lines, along: str) -> float:
    """Inches of a picture of lines, which are named beside it."""
    return height_of(scale_of(sweep, along), sum(1 + name.count("\n") for name in lines))


def _draw_lines(ax: Axes, sweep: Sweep, lines: Lines, along: str) -> list[Label]:
    """Draw lines in per cent, and label each at its last point."""
    scale, banded = scale_of(sweep, along), _drawn(sweep, along)
    labels = []
    for number, (name, line) in enumerate(lines.items()):
        own, places, intervals = look(number), [p for p, _ in line], [i for _, i in line]
        middle = [100 * i.estimate for i in intervals]
        if banded == "Bands":
            low, high = ([100 * i[end] for i in intervals] for end in (1, 2))
            ax.fill_between(places, low, high, color=own["color"], alpha=0.18, linewidth=0)
            ax.plot(places, middle, label=name, **own)
        else:
            apart = min(0.8 / len(lines), 0.02 * len(scale.places))
            beside = apart * (number - (len(lines) - 1) / 2)
            moved = [place + beside for place in places]
            reach = whiskers(intervals, 100)
            ax.errorbar(moved, middle, yerr=reach, capsize=3, **own | {"linestyle": ""})
        if name:
            labels.append(Label(places[-1], middle[-1], name, own))
    put_ticks(ax, ax.xaxis, scale)
    ax.set_xlabel(scale.label)
    return labels


def _grid(sweep: Sweep, odds: pd.DataFrame, across: Scale, up: Scale) -> NDArray[np.float64]:
    """Odds in per cent, a row for each value upwards; nan where nothing was lived."""
    grid = np.full((len(up.texts), len(across.texts)), np.nan)
    paths = {scale.path: scale for scale in (across, up)}
    for cell in map(int, odds.index):
        said = sweep.parameters(cell) | {"regime": str(odds.at[cell, "regime"])}
        column, row = (scale.texts.index(said[path]) for path, scale in paths.items())
        grid[row, column] = 100 * interval_of(odds, cell).estimate
    return grid


def _draw_contours(
    ax: Axes, grid: NDArray[np.float64], across: Scale, up: Scale, *, named: bool
) -> set[float]:
    """Draw those contours that the odds cross, named on the line or not: which these are."""
    plain = across.continuous and up.continuous and min(grid.shape) > 1 and np.isfinite(grid).any()
    crossed = [c for c in CONTOURS if plain and np.nanmin(grid) < c < np.nanmax(grid)]
    found = set()
    for level in crossed:
        drawn = [
            ax.contour(
                across.places,
                up.places,
                np.ma.masked_invalid(grid),
                levels=[level],
                colors=under["color"],
                linewidths=under["linewidth"],
                linestyles=under.get("linestyle", CONTOURS[level]),
            )
            for under in UNDER
        ]
        if max(map(len, drawn[0].allsegs[0]), default=0) < LEAST_POINTS:
            for contour in drawn:
                contour.remove()
            continue
        found.add(level)
        if named and len(crossed) == 1:  # names of lines side by side would overlap
            ax.clabel(drawn[-1], fmt="%.0f %%", fontsize=rcParams["font.size"])
    return found


def _write_numbers(
    ax: Axes, mesh: QuadMesh, grid: NDArray[np.float64], across: Scale, up: Scale
) -> None:
    for row, y in enumerate(up.places):
        for column, x in enumerate(across.places):
            value = grid[row, column]
            lived = not np.isnan(value)
            ax.text(
                x,
                y,
                f"{value:.0f}" if lived else "none",
                ha="center",
                va="center",
                color="black" if not lived else PALE if value < 50 else DARK,
                bbox={"pad": 1, "linewidth": 0, "color": mesh.to_rgba(value) if lived else "white"},
            )
