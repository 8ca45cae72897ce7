"""Odds in the cells of a sweep over two parameters, as heat maps, a panel for each regime."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib import pyplot as plt
from matplotlib import rcParams
from matplotlib.axes import Axes
from matplotlib.collections import QuadMesh
from numpy.typing import NDArray

from petsim.errors import ArgumentError, ensure_known
from petsim.study.results import Sweep
from petsim.view.plots.layout import finish
from petsim.view.plots.scales import (
    Scale,
    about,
    ensure_grid,
    height_of,
    put_ticks,
    scale_of,
    varied,
)
from petsim.view.plots.sheet import HEIGHT, WIDTH, figure_of, short, styled
from petsim.view.sweep import interval_of, intervals_of, values_of_cell

if TYPE_CHECKING:
    import pandas as pd

MOST_NUMBERS = 60
"""Cells on which the number is written, too, where there is room."""
MOST_PANELS = 6
"""Regimes that have a panel each; of more, the first."""
PANEL = 2.85
"""Inches that each further panel takes."""
HEAD = 20
"""Points that the name of a panel takes."""
BAR = 20
"""The height of the scale beside a panel, in widths of the scale."""
CONTOURS = {50.0: "dotted", 80.0: "dashed", 95.0: "solid"}
LEAST_POINTS = 3
"""Points of a contour that is drawn: one across a single square is a stick that shows no course."""
PALE, DARK = "#fafafa", "#111111"
"""What is written on cells, whose colours are the same on a dark page."""
CONTOUR_LINES: tuple[dict[str, Any], ...] = (
    {"color": PALE, "linewidth": 3.6, "linestyle": "solid"},
    {"color": DARK, "linewidth": 1.8},
)
"""How a contour is drawn: dark, on a pale line that sets it off from dark cells."""


@styled
def heat_map(
    sweep: Sweep,
    x: str | None = None,
    y: str | None = None,
    regime: str | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Odds of the aim over two parameters of a sweep, with contours at 50, 80 and 95 %.

    Each of several regimes has a panel, one below the other, if they are neither x nor y. Contours
    are drawn where both parameters are numbers; a cell without a life stays white.

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
    ensure_grid(sweep)
    odds = sweep.odds()
    across, up = (scale_of(sweep, path) for path in _two(sweep, x, y, regime))
    parts = _parts(sweep, odds, regime, across, up)
    if ax is not None and len(parts) > 1:
        raise ArgumentError("ax: several regimes have a panel each; expected one regime")
    panels = [ax] if ax is not None else _panels(len(parts), across)
    levels: set[float] = set()
    for panel, part in zip(panels, parts.values(), strict=True):
        levels |= _draw_map(panel, _grid(sweep, part, across, up), across, up)
    if len(parts) > 1:
        _write_heads(panels, [*parts])
    _draw_bar(panels, levels, f"odds of {sweep.design.aim}\n(% of lives)")
    under = "" if regime is None else f" under {short(regime, 30)}"
    question = f"Where are the odds of {sweep.design.aim} good{under}?"
    small = _small_print(sweep, [*parts.values()], levels)
    head = HEAD if len(parts) > 1 else 0
    return finish(panels[0], question, small, panels=panels, head=head)


def _parts(
    sweep: Sweep, odds: pd.DataFrame, regime: str | None, across: Scale, up: Scale
) -> dict[str, pd.DataFrame]:
    """The odds of each panel by its regime, or all of them if a regime is no panel."""
    if "regime" in (across.path, up.path):
        return {"": odds}
    names = [candidate.name for candidate in sweep.design.regimes]
    if regime is not None:
        ensure_known("regime", regime, names)
    shown = names[:MOST_PANELS] if regime is None else [regime]
    parts = {name: odds[odds["regime"] == name] for name in shown}
    if all(part.empty for part in parts.values()):
        raise ArgumentError(f"nothing was lived under {' or '.join(shown)} yet")
    return parts


def _panels(number: int, across: Scale) -> list[Axes]:
    """The axes of a new picture, one below the other."""
    higher = PANEL + height_of(across) - HEIGHT
    size = (WIDTH, height_of(across) + (number - 1) * higher)
    return [*plt.subplots(number, figsize=size, squeeze=False)[1][:, 0]]


def _draw_map(ax: Axes, grid: NDArray[np.float64], across: Scale, up: Scale) -> set[float]:
    """Draw a panel and return the levels of its contours."""
    mesh = ax.pcolormesh(across.edges, up.edges, grid, vmin=0, vmax=100)
    # else there would be seams between cells
    mesh.set(edgecolor="face", linewidth=0.6)
    numbered = across.roomy and up.roomy and grid.size <= MOST_NUMBERS
    levels = _draw_contours(ax, grid, across, up, named=not numbered)
    if numbered:
        _write_numbers(ax, mesh, grid, across, up)
    put_ticks(ax, ax.xaxis, across)
    put_ticks(ax, ax.yaxis, up)
    ax.grid(visible=False)
    ax.set_xlabel(across.label)
    ax.set_ylabel(up.label)
    return levels


def _draw_bar(panels: Sequence[Axes], levels: Collection[float], label: str) -> None:
    """Draw the scale of all panels beside them, with the contours that they have."""
    mesh = next(each for each in panels[0].collections if isinstance(each, QuadMesh))
    bar = figure_of(panels[0]).colorbar(
        mesh, ax=panels, ticks=[0, *CONTOURS], aspect=BAR * len(panels)
    )
    bar.set_label(label)
    for level in levels:
        for line in CONTOUR_LINES:
            bar.ax.axhline(level, **{"linestyle": CONTOURS[level]} | line)


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


def _small_print(sweep: Sweep, parts: Sequence[pd.DataFrame], levels: Collection[float]) -> str:
    """The small print of a heat map."""
    import pandas as pd

    shown = pd.concat(parts)
    regimes = len(sweep.design.regimes)
    first = f" The first {len(parts)} of {regimes} regimes." if 1 < len(parts) < regimes else ""
    listed = ", ".join(f"{level:.0f}" for level in sorted(levels))
    lines = f" Lines, as on the scale: {listed} %." if levels else ""
    widest = max((i.high - i.low) / 2 for i in intervals_of(shown))
    return (
        f"{about(sweep, shown)}{first}{lines} "
        f"Wilson's 95 % intervals: ± {100 * widest:.2g} points at most."
    )


def _two(sweep: Sweep, x: str | None, y: str | None, regime: str | None) -> tuple[str, str]:
    """The two parameters to draw over: those given, then others that vary."""
    paths = ["regime", *(axis.path for axis in sweep.design.axes)]
    for name, path in (("x", x), ("y", y)):
        if path is not None:
            ensure_known(name, path, paths)
    fixed = {x, y, None if regime is None else "regime"}
    free, missing = [path for path in varied(sweep) if path not in fixed], (x, y).count(None)
    if len(free) > missing and "regime" in free:
        free.remove("regime")  # each has a panel
    candidates = iter(free)
    first, second = (next(candidates, None) if path is None else path for path in (x, y))
    if first is None or second is None or first == second:
        raise ArgumentError(f"x and y: expected two that vary; there are {_listed(varied(sweep))}")
    if len(free) > missing:
        raise ArgumentError(
            f"x and y: {_listed(free[missing:])} varies too; expected two that vary, beside the "
            "regimes"
        )
    return first, second


def _listed(paths: Sequence[str]) -> str:
    return ", ".join(paths) or "none"


def _grid(sweep: Sweep, odds: pd.DataFrame, across: Scale, up: Scale) -> NDArray[np.float64]:
    """Odds in per cent, a row for each value upwards; nan where nothing was lived."""
    grid = np.full((len(up.texts), len(across.texts)), np.nan)
    for cell in map(int, odds.index):
        values = values_of_cell(sweep, odds, cell)
        column, row = (scale.texts.index(values[scale.path]) for scale in (across, up))
        grid[row, column] = 100 * interval_of(odds, cell).estimate
    return grid


def _draw_contours(
    ax: Axes, grid: NDArray[np.float64], across: Scale, up: Scale, *, named: bool
) -> set[float]:
    """Draw the contours that the odds cross, and return their levels.

    named: whether the level is written on the line, if there is only one.
    """
    plane = across.continuous and up.continuous and min(grid.shape) > 1 and np.isfinite(grid).any()
    crossed = [c for c in CONTOURS if plane and np.nanmin(grid) < c < np.nanmax(grid)]
    levels = set()
    for level in crossed:
        contours = [
            ax.contour(
                across.places,
                up.places,
                np.ma.masked_invalid(grid),
                levels=[level],
                colors=line["color"],
                linewidths=line["linewidth"],
                linestyles=line.get("linestyle", CONTOURS[level]),
            )
            for line in CONTOUR_LINES
        ]
        if max(map(len, contours[0].allsegs[0]), default=0) < LEAST_POINTS:
            for contour in contours:
                contour.remove()
            continue
        levels.add(level)
        if named and len(crossed) == 1:  # names of lines side by side would overlap
            ax.clabel(contours[-1], fmt="%.0f %%", fontsize=rcParams["font.size"])
    return levels


def _write_numbers(
    ax: Axes, mesh: QuadMesh, grid: NDArray[np.float64], across: Scale, up: Scale
) -> None:
    """Write the odds on each cell, in per cent."""
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
