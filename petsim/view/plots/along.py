"""Odds, and their differences, in the cells of a grid along a parameter.

One parameter is the axis, a second one has panels side by side, a third one lines within a panel,
from pale to dark. What varies beyond these is kept to a value each, which the picture says.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from matplotlib.axes import Axes

from petsim.errors import ArgumentError
from petsim.study.aims import Aim
from petsim.study.results import Sweep
from petsim.study.stats import Interval
from petsim.view import aims
from petsim.view.plots import facets, panels, verdicts
from petsim.view.plots.colours import shades
from petsim.view.plots.facets import Facets, Fixed
from petsim.view.plots.layout import finish
from petsim.view.plots.line_names import name_lines, names_of, widen
from petsim.view.plots.scales import (
    Scale,
    about,
    common_words,
    ensure_grid,
    height_below,
    percent_limits,
    put_ticks,
    scale_of,
    unlike,
    varied,
)
from petsim.view.plots.sheet import HEIGHT, MARKERS, axes, short, styled, whiskers
from petsim.view.plots.verdicts import Line
from petsim.view.sweep import interval_of, named_value, values_of_cell

if TYPE_CHECKING:
    import pandas as pd

MOST_PANELS, MOST_TEXTS = 6, 12
"""Panels of numbers, of which the others are between, and of texts."""
MOST_LINES = 5
LONGEST_LINE = 8
"""Characters of a line's name beyond which what they name had better have panels."""


class Curves(NamedTuple):
    """What is drawn of a grid.

    facets: which parameter is where. lines: those of each panel, by its value, by the value that
    each is of; the values are empty texts where no parameter has panels or lines. frame: the cells
    of these. left_out: sentences on what is not drawn.
    """

    facets: Facets
    lines: dict[str, dict[str, Line]]
    frame: pd.DataFrame
    left_out: str

    @property
    def is_banded(self) -> bool:
        """Whether intervals are bands, as places along the axis have an order and distances."""
        scale = self.facets.scale("x")
        return scale.continuous and len(scale.places) > 1


@styled
def odds_along(
    sweep: Sweep,
    x: str | None = None,
    ax: Axes | None = None,
    *,
    panels: str | None = None,
    fix: Fixed | None = None,
    at_least: float | None = None,
) -> Axes:
    """Odds of the aim along one parameter of a sweep, with the place where they cross a level.

    A second parameter has panels side by side; a third one has lines, from pale to dark; others
    are kept to the values at which odds differ most. Of many panels or lines some are drawn, evenly
    spread. Bands are Wilson's 95 % intervals; whiskers, where values have no order or there is only
    one. Where the odds cross the level is interpolated, with the interval that the ends of the band
    give: see `petsim.study.thresholds`.

    Args:
        sweep: a grid.
        x: path of the parameter along the axis, or "regime"; by default the first that is a number.
        ax: axes for a single panel; without it the picture has as many as it needs.
        panels: path of the parameter that has panels, or "regime"; by default the one that moves
            the odds most of those left.
        fix: values that parameters are kept to, by path, such as {"checks.every": "10 min"}.
        at_least: the level, a share above 0; by default 0.8, or half of the best odds if these are
            below.

    Raises:
        ArgumentError: the sweep is a sample, nothing is simulated yet, or there is no such
            parameter or value.
    """
    ensure_grid(sweep)
    curves = _curves(sweep, sweep.odds(), x, panels, fix, alone=ax is not None)
    level = verdicts.level_of([*curves.frame["estimate"]], at_least)
    return _draw(sweep, curves, ax, level, _question(sweep, curves, level))


def has_few_panels(sweep: Sweep) -> bool:
    """Whether a grid of two parameters has a panel for each value of the second."""
    paths = varied(sweep)
    if len(paths) != 2:
        return True
    x = facets.along_which(sweep, {}, None)
    [other] = [path for path in paths if path != x]
    scale = scale_of(sweep, other)
    return len(scale.texts) <= (MOST_PANELS if scale.continuous else MOST_TEXTS)


@styled
def differences_along(
    sweep: Sweep,
    baseline: int | None = None,
    ax: Axes | None = None,
    *,
    x: str | None = None,
    panels: str | None = None,
    fix: Fixed | None = None,
) -> Axes:
    """Differences of odds from those of one cell, on the same lives, laid out as `odds_along`.

    Filled where a difference is shown, hollow where its interval has 0 in it.

    Args:
        sweep: a grid.
        baseline: the number of the cell; by default the first with lives.
        ax, x, panels, fix: as for `odds_along`.

    Raises:
        ArgumentError: as for `odds_along`, or there is no such cell.
    """
    ensure_grid(sweep)
    differences = sweep.differences(baseline)
    curves = _curves(sweep, differences, x, panels, fix, alone=ax is not None)
    first = values_of_cell(sweep, differences, int(differences["baseline"].iloc[0]))
    paths = varied(sweep) or ["regime"]
    where = facets.where({path: first[path] for path in paths}, paths)
    question = aims.differ(sweep.design.aim, where)
    return _draw(sweep, curves, ax, None, question, are_differences=True)


def _curves(
    sweep: Sweep,
    frame: pd.DataFrame,
    x: str | None,
    panels: str | None,
    fix: Fixed | None,
    *,
    alone: bool,
) -> Curves:
    """What is drawn of a frame of cells; alone: in a single panel."""
    if alone and panels is not None:
        raise ArgumentError("panels: take a picture of their own; expected them without ax")
    x = x or facets.along_which(sweep, {"panels": panels}, fix)
    rest: dict[str, str | None] = {"lines": None} if alone else {"panels": panels, "lines": None}
    chosen = facets.facets_of(sweep, frame, {"x": x} | rest, fix)
    if panels is None and len(chosen.places) == 3 and _longest(chosen, "lines") > LONGEST_LINE:
        swapped = {"x": x, "panels": chosen.places["lines"], "lines": chosen.places["panels"]}
        if _longest(chosen, "panels") <= LONGEST_LINE:
            chosen = facets.facets_of(sweep, frame, swapped, fix)
    shown = {"panels": chosen.values("panels", MOST_PANELS, MOST_TEXTS)}
    shown["lines"] = chosen.values("lines", MOST_LINES)
    lines = {
        panel: _beside(
            {line: _line(chosen, frame, panel, line) for line in shown["lines"] or [""]},
            chosen.scale("x"),
        )
        for panel in shown["panels"] or [""]
    }
    cells = chosen.cells
    for place, values in shown.items():
        if values:
            cells = cells[cells[chosen.places[place]].isin(values)]
    left_out = facets.thinning(chosen, shown) + facets.keeping(chosen, varied(sweep))
    return Curves(chosen, lines, frame.loc[cells.index], left_out)


def _longest(chosen: Facets, place: str) -> int:
    return max(map(len, unlike(chosen.scale(place).texts)))


def _line(chosen: Facets, frame: pd.DataFrame, panel: str, line: str) -> Line:
    """The intervals along the axis, in order, of the cells with the values of a panel and line."""
    cells, scale = chosen.cells, chosen.scale("x")
    for place, value in (("panels", panel), ("lines", line)):
        if place in chosen.places:
            cells = cells[cells[chosen.places[place]] == value]
    texts = cells[scale.path]
    return sorted(
        (
            (scale.places[scale.texts.index(text)], interval_of(frame, cell))
            for cell, text in zip(map(int, cells.index), texts, strict=True)
        ),
        key=lambda point: point[0],
    )


def _beside(lines: dict[str, Line], scale: Scale) -> dict[str, Line]:
    """Lines of values without an order, whose points are side by side, not over each other."""
    if scale.continuous:
        return lines
    apart = min(0.8 / len(lines), 0.08 * len(scale.places))
    first = -apart * (len(lines) - 1) / 2
    return {
        name: [(place + first + number * apart, interval) for place, interval in line]
        for number, (name, line) in enumerate(lines.items())
    }


def _question(sweep: Sweep, curves: Curves, level: float | None) -> str:
    """What the picture says, if that is one thing; else what it answers."""
    aim, scale = sweep.design.aim, curves.facets.scale("x")
    if level is None:
        return f"No life {aims.became(aim)} at any {scale.path}"
    every = [line for lines in curves.lines.values() for line in lines.values()]
    if not scale.continuous or len(scale.places) == 1:
        return f"How {aims.words(aim).do} the {aim.figure} change with {scale.path}?"
    if len(every) > 1:
        return _farthest(curves, level, aim, varied(sweep)) or (
            f"Where along {scale.path} {aims.words(aim).are} the {aim.figure} above "
            f"{verdicts.per_cent(level)}?"
        )
    where = verdicts.verdict(every[0], scale, level)
    of = "whatever the" if where == "everywhere" else "at any" if where == "nowhere" else "of"
    stated = {"everywhere": "", "nowhere": ""}.get(where, f" {where}")
    denied = " not" if where == "nowhere" else ""
    above = f"{denied} above {verdicts.per_cent(level)}{stated} {of} {scale.path}"
    return f"{aims.title(aim)} {aims.words(aim).are}{above}"


def _farthest(curves: Curves, level: float, aim: Aim, paths: Sequence[str]) -> str:
    """Which line stays above a level farthest, if each does so from its first place on or never."""
    scale, ends = curves.facets.scale("x"), {}
    said = f"{aims.title(aim)} {aims.words(aim).are}"
    for panel, lines in curves.lines.items():
        for name, line in lines.items():
            end = verdicts.reach(line, scale, level)
            if end is not None:
                ends[panel, name] = end
            elif verdicts.verdict(line, scale, level) != "nowhere":
                return ""
    if not ends:
        return f"{said} nowhere above {verdicts.per_cent(level)}"
    best = max(ends, key=lambda key: ends[key].at)
    named = zip(("panels", "lines"), best, strict=True)
    values = {path: value for place, value in named if (path := curves.facets.places.get(place))}
    is_alone = [end.at for end in ends.values()].count(ends[best].at) == 1
    return (
        f"{said} above {verdicts.per_cent(level)} up to "
        f"{verdicts.crossing(ends[best], scale.unit)} of {scale.path} at best"
        f"{f',{facets.where(values, paths)}' if is_alone else ''}"
    )


def _draw(
    sweep: Sweep,
    curves: Curves,
    ax: Axes | None,
    level: float | None,
    question: str,
    *,
    are_differences: bool = False,
) -> Axes:
    """Draw all panels and write what belongs to them."""
    upright = (
        "difference\n(percentage points)" if are_differences else aims.upright(sweep.design.aim)
    )
    columns, drawn_on = _places(curves, ax, level, varied(sweep))
    room = 50 if columns == 1 else panels.room_of(columns)
    percent_limits(drawn_on[0], [i for _, i in _points(curves)])
    for panel, lines in zip(drawn_on, curves.lines.values(), strict=True):
        _draw_lines(panel, curves, lines, are_differences=are_differences)
        put_ticks(panel, panel.xaxis, curves.facets.scale("x"), room)
        if are_differences:
            panel.axhline(0, color="black", linewidth=1.2, gid="no difference")
        elif level is not None and curves.is_banded:
            panel.axhline(100 * level, color="black", linewidth=1, linestyle=":", gid="level")
    names = names_of(curves.lines)
    widen(drawn_on, curves.lines, names, curves.facets.scale("x"), columns)
    small = _small_print(sweep, curves, level, are_differences=are_differences)
    label = curves.facets.scale("x").label
    if len(drawn_on) == 1:
        drawn_on[0].set(xlabel=label, ylabel=upright)
        finish(drawn_on[0], question, small)
    else:
        panels.put_labels(drawn_on, columns, label)
        panels.finish_panels(drawn_on, question, small, upright)
    name_lines(drawn_on, curves.lines, names)
    return drawn_on[0]


def _points(curves: Curves) -> list[tuple[float, Interval]]:
    return [point for lines in curves.lines.values() for line in lines.values() for point in line]


def _places(
    curves: Curves, ax: Axes | None, level: float | None, paths: Sequence[str]
) -> tuple[int, list[Axes]]:
    """How many panels stand side by side, and all of them with their heads."""
    scale = curves.facets.scale("x")
    if len(curves.lines) == 1:
        return 1, [axes(ax, HEIGHT + height_below(scale))]
    heads = _heads(curves, level, paths)
    words = [word for head, _ in heads for word in head.split()]
    longest = max(*map(len, words), max(len(head) for head, _ in heads) // 2)
    names = max(map(len, unlike([*next(iter(curves.lines.values()))])))
    columns = panels.columns_of(len(heads), max(longest, 2 * names))
    if not scale.continuous:
        columns = min(columns, panels.columns_for(len(scale.texts)))
    lines = panels.lines_of(heads, columns)
    below = height_below(scale, panels.room_of(columns))
    drawn_on = panels.side_by_side(len(heads), columns, lines=lines, below=below)
    panels.put_heads(drawn_on, heads, columns)
    return columns, drawn_on


def _heads(curves: Curves, level: float | None, paths: Sequence[str]) -> list[tuple[str, str]]:
    """The head of each panel and, of a single line in it, where that is above the level."""
    path, scale = curves.facets.places["panels"], curves.facets.scale("x")
    heads, texts = [], unlike([*curves.lines])
    for text, lines in zip(texts, curves.lines.values(), strict=True):
        head = named_value(path, short(text, 30 if path == "regime" else 24), paths)
        heads.append((head, verdicts.verdict_on_all([*lines.values()], scale, level)))
    return heads


def _draw_lines(
    ax: Axes, curves: Curves, lines: Mapping[str, Line], *, are_differences: bool
) -> None:
    """Draw the lines of a panel in per cent, the first the palest."""
    number = len(lines)
    for place, (name, colour) in enumerate(zip(lines, shades(number), strict=True)):
        line = lines[name]
        if not line:
            continue
        places, intervals = [p for p, _ in line], [i for _, i in line]
        middle = [100 * i.estimate for i in intervals]
        style: dict[str, Any] = {
            "color": colour,
            "marker": MARKERS[place % len(MARKERS)],
            "label": name or "all",
        }
        if curves.is_banded:
            low, high = ([100 * i[end] for i in intervals] for end in (1, 2))
            ax.fill_between(places, low, high, color=colour, alpha=0.2, linewidth=0)
            ax.plot(places, middle, **style)
        else:
            reach = whiskers(intervals, 100)
            ax.errorbar(places, middle, yerr=reach, capsize=3, linestyle="", **style)
        if are_differences:
            hollow = [not (i.low > 0 or i.high < 0) for i in intervals]
            ax.plot(
                np.array(places)[hollow],
                np.array(middle)[hollow],
                linestyle="",
                marker=style["marker"],
                color=colour,
                markerfacecolor="white",
                gid="none shown",
                zorder=3,
            )


def _small_print(
    sweep: Sweep, curves: Curves, level: float | None, *, are_differences: bool
) -> str:
    """The small print: what was simulated, what is not drawn, what marks mean, methods last."""
    marks, aim = "Bands" if curves.is_banded else "Whiskers", sweep.design.aim
    parts = [about(sweep, curves.frame), curves.left_out.strip()]
    if len(curves.lines) > 1:
        parts.append(f"Panels: {_with_common(curves.facets, 'panels')}.")
    if "lines" in curves.facets.places:
        together = " Lines within each other's bands are named together." * any(
            "," in name for name in names_of(curves.lines).values()
        )
        parts.append(f"Lines, from pale to dark: {_with_common(curves.facets, 'lines')}.{together}")
    if are_differences:
        parts.append("The same luck in all. Filled: a difference is shown; hollow: none is.")
        by = "Newcombe's" if aim.is_share else aims.words(aim).by
        parts.append(f"{marks}: {by} paired 95 % intervals.")
    else:
        if level is not None and curves.is_banded:
            parts.append(f"Dotted: {verdicts.per_cent(level)}{_why(curves, level)}.")
        parts.append(f"{marks}: {aims.words(aim).by} 95 % intervals.")
    return " ".join(filter(None, parts))


def _with_common(chosen: Facets, place: str) -> str:
    """The parameter of a place, with the words that all of its values begin with."""
    common, _ = common_words(chosen.scale(place).texts)
    return f"{chosen.places[place]} ({common})" if common else chosen.places[place]


def _why(curves: Curves, level: float) -> str:
    """That a level is half of the best odds, where it is."""
    best = curves.frame["estimate"].max()
    is_half = best < verdicts.USUAL and abs(best / 2 - level) < 0.006
    return ", half of the best" if is_half else ""
