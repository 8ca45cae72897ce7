"""Odds in the cells of a grid over two parameters, as heat maps, a panel for a third one."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
from matplotlib import pyplot as plt
from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.collections import LineCollection, QuadMesh
from matplotlib.colors import to_hex
from numpy.typing import NDArray

from petsim.errors import ArgumentError
from petsim.study.results import Sweep
from petsim.view import aims
from petsim.view.plots import facets, verdicts
from petsim.view.plots.colours import DARK, ODDS, PALE, ink_on
from petsim.view.plots.facets import Facets, Fixed
from petsim.view.plots.layout import finish
from petsim.view.plots.panels import CHARACTER, broken, finish_panels, write_above
from petsim.view.plots.scales import (
    MOST_BESIDE,
    Scale,
    about,
    ensure_grid,
    height_below,
    put_ticks,
    thinned_ticks,
    varied,
)
from petsim.view.plots.sheet import LINE, WIDTH, figure_of, short, styled
from petsim.view.sweep import intervals_of, named_value, values_of_cell

if TYPE_CHECKING:
    import pandas as pd

MOST_PANELS = 6
MOST_ACROSS, MOST_UP = 11, 16
"""Cells side by side, and above each other, on which there is room for the odds."""
UPRIGHT = 40
"""Characters of texts below from which on they stand upright."""
LEAST_HIGH = 1.75
"""The least height of a panel, in inches."""
ROW = 0.27
"""Inches that a row of cells takes, with numbers."""
AROUND = 1.9
"""Inches that title, small print and the label below take."""
BAR = 20
"""The height of the scale beside a panel, in widths of the scale."""
BORDERS = ((PALE, 4.4), (DARK, 2.2))
"""Colours and widths of the line around the cells above a level: dark, on a pale one that sets it
off from dark cells."""


@styled
def heat_map(
    sweep: Sweep,
    x: str | None = None,
    y: str | None = None,
    ax: Axes | None = None,
    *,
    panels: str | None = None,
    fix: Fixed | None = None,
    at_least: float | None = None,
) -> Axes:
    """Odds of the aim over two parameters of a sweep, the darker, the likelier.

    Cells stand at even distances, in the order of their values. A line goes around those above a
    level, between cells and so through no number. A third parameter has a panel for each of its
    values, of many for some, evenly spread; others are kept to the values at which odds differ
    most. A cell in which nothing is simulated yet is hatched.

    Args:
        sweep: a grid.
        x, y: paths of the parameters, or "regime"; by default those that move the odds most,
            numbers first.
        ax: what to draw on: a single panel.
        panels: path of the parameter that has panels.
        fix, at_least: as for `odds_along`.

    Returns:
        The axes, or the highest of several.

    Raises:
        ArgumentError: the sweep is a sample, nothing is simulated yet, or there are not two
            parameters.
    """
    ensure_grid(sweep)
    odds = sweep.odds()
    if ax is not None and panels is not None:
        raise ArgumentError("panels: take a picture of their own; expected them without ax")
    places = {"x": x, "y": y} | ({} if ax is not None else {"panels": panels})
    chosen = _chosen(sweep, odds, places, fix)
    level = verdicts.level_of([*chosen.cells["estimate"]], at_least)
    shown = chosen.values("panels", MOST_PANELS)
    cells = [_cells(chosen, value) for value in shown or [""]]
    drawn_on = [ax] if ax is not None else _panels(len(cells), chosen)
    grids = [_grid(chosen, part) for part in cells]
    is_numbered = [
        _draw_map(panel, grid, chosen, level) for panel, grid in zip(drawn_on, grids, strict=True)
    ]
    drawn_on[-1].set_xlabel(_unlogged(chosen.scale("x")))
    _write_heads(drawn_on, chosen, shown, varied(sweep))
    _draw_bar(drawn_on, level, aims.upright(sweep.design.aim))
    drawn = odds.loc[[cell for part in cells for cell in part.index]]
    left_out = facets.thinning(chosen, {"panels": shown}) + facets.keeping(chosen, varied(sweep))
    small = _small_print(
        *(sweep, drawn, level, left_out),
        is_numbered=all(is_numbered),
        is_hatched=bool(np.isnan(grids).any()),
    )
    free = [path for path in varied(sweep) if path not in chosen.fixed]
    question = _question(sweep, drawn, level, free)
    if ax is not None:
        return finish(ax, question, small)
    return finish_panels(drawn_on, question, small)


def _chosen(
    sweep: Sweep, odds: pd.DataFrame, places: Mapping[str, str | None], fix: Fixed | None
) -> Facets:
    """What stands where, of which there must be two parameters."""
    chosen = facets.facets_of(sweep, odds, places, fix, numbers_first=2)
    if "y" not in chosen.places:
        there = [path for path in varied(sweep) if path not in (fix or {})]
        raise ArgumentError(
            f"heat map: over two parameters; there is {there[0] if there else 'none'}; "
            "expected another kind of picture"
        )
    are_free = places["x"] is None and places["y"] is None
    return _in_order(sweep, chosen) if are_free else chosen


def _in_order(sweep: Sweep, chosen: Facets) -> Facets:
    """The same with x and y as the sweep was given them."""
    paths = ["regime", *(axis.path for axis in sweep.design.axes)]
    first, second = sorted((chosen.places["x"], chosen.places["y"]), key=paths.index)
    return chosen._replace(places=chosen.places | {"x": first, "y": second})


def _cells(chosen: Facets, value: str) -> pd.DataFrame:
    """The cells of a panel."""
    if "panels" not in chosen.places:
        return chosen.cells
    return chosen.cells[chosen.cells[chosen.places["panels"]] == value]


def _panels(number: int, chosen: Facets) -> list[Axes]:
    """The axes of a new picture, one below the other."""
    across, up = chosen.scale("x"), chosen.scale("y")
    high = max(LEAST_HIGH, ROW * len(up.texts))
    below = height_below(across, UPRIGHT)
    size = (WIDTH, AROUND + number * (high + below) + (number - 1) * (2.4 * LINE))
    return [*plt.subplots(number, figsize=size, squeeze=False)[1][:, 0]]


def _grid(chosen: Facets, cells: pd.DataFrame) -> NDArray[np.float64]:
    """Odds in per cent, a row for each value upwards; nan where nothing is simulated."""
    across, up = chosen.scale("x"), chosen.scale("y")
    grid = np.full((len(up.texts), len(across.texts)), np.nan)
    for x, y, estimate in zip(cells[across.path], cells[up.path], cells["estimate"], strict=True):
        grid[up.texts.index(y), across.texts.index(x)] = 100 * estimate
    return grid


def _draw_map(ax: Axes, grid: NDArray[np.float64], chosen: Facets, level: float | None) -> bool:
    """Draw a panel, and return whether its cells have their numbers."""
    across, up = chosen.scale("x").texts, chosen.scale("y").texts
    mesh = ax.pcolormesh(np.ma.masked_invalid(grid), vmin=0, vmax=100, cmap=ODDS)
    # else there would be seams between cells
    mesh.set(edgecolor="face", linewidth=0.6)
    ax.patch.set(hatch="///", edgecolor="#bbbbbb")
    if level is not None:
        for colour, width in BORDERS:
            lines = LineCollection(
                [*_borders(grid >= 100 * level)], colors=colour, linewidths=width, gid="border"
            )
            lines.set_capstyle("projecting")
            ax.add_collection(lines)
    is_numbered = len(across) <= MOST_ACROSS and len(up) <= MOST_UP
    if is_numbered:
        _write_numbers(ax, grid)
    _put_even_ticks(ax, ax.xaxis, chosen.scale("x"), MOST_BESIDE)
    _put_even_ticks(ax, ax.yaxis, chosen.scale("y"), 8 * MOST_UP)
    ax.grid(visible=False)
    room = int(max(LEAST_HIGH, ROW * len(grid)) / CHARACTER)
    ax.set_ylabel(broken(_unlogged(chosen.scale("y")), room))
    return is_numbered


def _borders(above: NDArray[np.bool_]) -> Iterator[list[tuple[int, int]]]:
    """Yield the sides between cells above and cells not above, from corner to corner."""
    rows, columns = above.shape
    for row in range(rows):
        for column in range(columns):
            if column + 1 < columns and above[row, column] != above[row, column + 1]:
                yield [(column + 1, row), (column + 1, row + 1)]
            if row + 1 < rows and above[row, column] != above[row + 1, column]:
                yield [(column, row + 1), (column + 1, row + 1)]


def _write_numbers(ax: Axes, grid: NDArray[np.float64]) -> None:
    """Write the odds on each cell, in per cent."""
    for (row, column), value in np.ndenumerate(grid):
        if not np.isnan(value):
            ink = ink_on(to_hex(ODDS(value / 100)))
            middle = (column + 0.5, row + 0.48)
            ax.text(*middle, f"{value:.0f}", ha="center", va="center", color=ink, gid="odds")


def _put_even_ticks(ax: Axes, axis: Axis, scale: Scale, room: int) -> None:
    """Put a tick at the middle of each row or column of cells."""
    places = [place + 0.5 for place in range(len(scale.texts))]
    if scale.continuous:
        axis.set_ticks(places, labels=thinned_ticks(scale.ticks, room))
        return
    put_ticks(ax, axis, scale._replace(places=places), UPRIGHT)
    if axis is ax.xaxis:
        ax.set_xlim(0, len(places))


def _unlogged(scale: Scale) -> str:
    """The label of a scale whose values stand at even distances."""
    return scale.label.replace(", log scale", "").replace(" (log scale)", "")


def _draw_bar(panels: Sequence[Axes], level: float | None, label: str) -> None:
    """Draw the numbered scale of all panels beside them, with the level on it."""
    mesh = next(each for each in panels[0].collections if isinstance(each, QuadMesh))
    bar = figure_of(panels[0]).colorbar(
        mesh, ax=panels, ticks=range(0, 101, 25), aspect=BAR * len(panels)
    )
    bar.set_label(label)
    if level is not None:
        for colour, width in BORDERS:
            bar.ax.axhline(100 * level, color=colour, linewidth=width)


def _write_heads(
    panels: Sequence[Axes], chosen: Facets, values: Sequence[str], paths: Sequence[str]
) -> None:
    for panel, value in zip(panels, values, strict=False):
        path = chosen.places["panels"]
        name = short(named_value(path, value, paths), 36)
        write_above(panel, name, fontweight="bold", gid="head")


def _question(sweep: Sweep, odds: pd.DataFrame, level: float | None, free: Sequence[str]) -> str:
    """How many cells are above the level, and where the odds are best."""
    aim = sweep.design.aim
    if level is None:
        return f"No life {aims.became(aim)} in any cell"
    above = int((odds["estimate"] >= level).sum())
    best = int(odds.index[int(odds["estimate"].argmax())])
    values = values_of_cell(sweep, odds, best)
    named = facets.where({path: values[path] for path in free}, varied(sweep))
    several = (odds["estimate"] == odds["estimate"].max()).sum() > 1
    where = f"{'one of the best' if several else 'best'}{named}"
    return (
        f"{aims.title(aim)} {aims.words(aim).are} above {verdicts.per_cent(level)} in {above} of "
        f"{len(odds)} cells, {where}"
    )


def _small_print(
    sweep: Sweep,
    odds: pd.DataFrame,
    level: float | None,
    left_out: str,
    *,
    is_numbered: bool,
    is_hatched: bool,
) -> str:
    """The small print of a heat map."""
    line = f" The line goes around cells above {verdicts.per_cent(level)}." if level else ""
    hatched = " Hatched: nothing yet." if is_hatched else ""
    numbers = "" if is_numbered else " Too many cells to write the odds on them."
    widest = max((i.high - i.low) / 2 for i in intervals_of(odds))
    return (
        f"{about(sweep, odds)}{left_out}{line}{hatched}{numbers} "
        f"{aims.words(sweep.design.aim).by} 95 % intervals: ± {100 * widest:.2g} points at most."
    )
