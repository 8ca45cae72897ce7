"""What logs tell of a pet and a rig, beside what was guessed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import TYPE_CHECKING

from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, NullLocator

from petsim.errors import ArgumentError, ensure_known
from petsim.evidence.estimate import Estimate
from petsim.study.stats import Interval
from petsim.view import fitted as words
from petsim.view.estimates import in_words, named
from petsim.view.plots.forest import Groups, Row, forest, height_of
from petsim.view.plots.layout import finish
from petsim.view.plots.panels import finish_panels
from petsim.view.plots.sheet import axes, figure_of, styled

if TYPE_CHECKING:
    from petsim.evidence.fit import Fit

QUESTIONS = {
    "pace": "How far is what was seen from the guess?",
    "chances": "How often do eyes err, hands slip and care work?",
}
FACTORS = (0.1, 0.2, 0.5, 1, 2, 5, 10)
"""Factors that are written along the axis, as far as it goes."""
LEAST_REACH = 1.6
"""The factor to which the axis of factors goes at least, to either side."""


@styled
def fitted(found: Fit, part: str | None = None, ax: Axes | None = None) -> Axes:
    """Each mean and rate that is told as a factor of its guess; below, each chance in per cent.

    Whiskers are 95 % intervals; what is weak is hollow. Of a chance the guess is an upright stroke.

    Args:
        found: as `petsim.fit` returns.
        part: `pace` for the means and rates alone, or `chances`.
        ax: what to draw on, the first of both parts that there is; by default a picture of its own.

    Raises:
        ArgumentError: there is no such part, or neither a mean, a rate nor a chance is told.
    """
    told = [each for each in found.estimates if each.estimate is not None]
    parts = {
        "pace": _groups([each for each in told if each.of in ("mean", "rate") and each.guess]),
        "chances": _groups([each for each in told if each.of == "chance"]),
    }
    parts = {name: groups for name, groups in parts.items() if groups}
    if not parts:
        raise ArgumentError("fit: tells no mean, rate or chance; expected one that does")
    if part is not None:
        ensure_known("part", part, parts)
        parts = {part: parts[part]}
    panels = _panels([*parts.values()]) if ax is None else [ax]
    for panel, (name, groups) in zip(panels, parts.items(), strict=False):
        _draw(panel, name, groups)
    small = (
        f"{words.evidence(found)} of {found.model.id}. Whiskers: 95 % intervals. Hollow: weak. "
        "Upright: the guess. Values kept as guessed are left out."
    )
    if len(panels) == 1:
        return finish(panels[0], QUESTIONS[part or "pace"], small)
    return finish_panels(panels, QUESTIONS["pace"], small)


def _draw(ax: Axes, part: str, groups: Groups) -> None:
    if part == "pace":
        forest(ax, groups, by=1)
        _scale_factors(ax, groups)
    else:
        forest(ax, groups, by=100)
        ax.set_xlim(-3, 103)
        ax.set_xlabel("chance (%)")


def _panels(parts: Sequence[Groups]) -> list[Axes]:
    heights = [height_of(groups) - 0.9 for groups in parts]
    first = axes(None, sum(heights) + 0.9)
    if len(parts) == 1:
        return [first]
    figure = figure_of(first)
    first.remove()
    return [*figure.subplots(len(parts), height_ratios=heights)]


def _groups(estimates: Sequence[Estimate]) -> Groups:
    """Rows by what they are of; a mean or a rate as a factor of its guess."""
    groups: dict[str, list[Row]] = defaultdict(list)
    for each in estimates:
        assert each.estimate is not None
        assert each.low is not None
        assert each.high is not None
        is_chance, what = each.of == "chance", named(each.path)
        by = 1.0 if is_chance or not each.guess else 1 / each.guess
        interval = Interval(by * each.estimate, by * each.low, by * each.high)
        row = Row(what.of, interval, in_words(each).estimate, filled=each.verdict == "well")
        groups[what.what].append(row._replace(beside=each.guess if is_chance else None))
    return groups


def _scale_factors(ax: Axes, groups: Groups) -> None:
    """Make the axis one of factors, with a line where the guess is."""
    intervals = [row.interval for rows in groups.values() for row in rows]
    least = min(1 / LEAST_REACH, *(each.low for each in intervals)) / 1.1
    most = 1.1 * max(LEAST_REACH, *(each.high for each in intervals))
    ax.set_xscale("log")
    ax.set_xlim(least, most)
    ax.set_xticks([factor for factor in FACTORS if least <= factor <= most])
    ax.xaxis.set_major_formatter(FuncFormatter(lambda x, _: f"{x:g}"))
    ax.xaxis.set_minor_locator(NullLocator())
    ax.axvline(1, color="black", linewidth=1.2, gid="guess")
    ax.set_xlabel("times the guess")
