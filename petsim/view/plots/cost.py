"""What more work buys in odds of the aim, of regimes or of the cells of a sweep."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import singledispatch
from textwrap import wrap
from typing import Any, NamedTuple

import numpy as np
from matplotlib import pyplot as plt
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle
from matplotlib.ticker import MaxNLocator

from petsim.errors import ArgumentError, ensure_known
from petsim.spec.variation import is_choice
from petsim.study.aims import Aim
from petsim.study.compare import Comparison
from petsim.study.frontier import Candidate, Frontier, Verdict
from petsim.study.measures import Measure, measures_of_work
from petsim.study.results import Sweep
from petsim.study.stats import Interval
from petsim.view import aims
from petsim.view.plots.colours import AIM, AIM_MARKER, BEST
from petsim.view.plots.layout import Label, finish
from petsim.view.plots.panels import write_above
from petsim.view.plots.scales import about, percent_limits, varied
from petsim.view.plots.sheet import (
    GREY,
    HEIGHT,
    LINE,
    WIDTH,
    axes,
    labelled_height,
    short,
    styled,
    whiskers,
)
from petsim.view.sweep import interval_of, named_value, values_of_cell
from petsim.view.tables import counted

MOST_LABELS = 6
MOST_PANELS = 6
"""Settings of what is not chosen that have a panel each; of more settings, the first do."""
PANEL = 2.3
"""Inches that a further panel takes at least."""
HEAD = 20
"""Points that the setting above a panel takes."""
WIDEST = 20
"""Characters of a line of a label."""
LOOKS: dict[Verdict, dict[str, Any]] = {
    Verdict.WORTH: {"color": AIM, "marker": AIM_MARKER, "zorder": 3},
    Verdict.OPEN: {"color": AIM, "marker": AIM_MARKER, "markerfacecolor": "white", "zorder": 2.5},
    Verdict.BEATEN: {"color": GREY, "marker": "s", "markerfacecolor": "white", "zorder": 2},
}


class Bought(NamedTuple):
    """The odds under a regime, or in a cell of a sweep, and the work they take."""

    name: str
    work: Interval
    odds: Interval
    candidate: Candidate


@dataclass(frozen=True)
class Market:
    """All that is drawn: what is bought, by the setting of what is not chosen, which may be empty.

    about: the sentence on its lives. note: one on the settings, or empty.
    """

    settings: Mapping[str, Sequence[Bought]]
    aim: Aim
    about: str
    note: str = ""

    @property
    def bought(self) -> list[Bought]:
        """All of it."""
        return [one for part in self.settings.values() for one in part]

    @property
    def compares(self) -> bool:
        """Whether some setting has anything to choose from."""
        return any(len(part) > 1 for part in self.settings.values())


@styled
def cost(
    result: Comparison | Sweep, ax: Axes | None = None, *, work: str = "presses_per_day"
) -> Axes:
    """Odds of the aim against presses a day, each regime or cell a point with 95 % intervals.

    A line leads through those that are shown, on the same luck, to have better odds than all that
    take less work. What can't be told apart from the likeliest is shaded as one group. Of a sweep
    only what a maker chooses is compared: each setting of the rest, such as a rate of error, has a
    panel.

    Args:
        result: a comparison or a sweep.
        ax: what to draw on, if there is one panel.
        work: what is counted instead of presses: the name of another figure of the table
            "Work", such as `quiet_presses_per_day`.

    Raises:
        ArgumentError: there is no such figure; several panels have no room on the axes; or of a
            sweep, nothing is simulated yet.
    """
    known = measures_of_work()
    ensure_known("work", work, known)
    measure = known[work]
    market = _market(result, measure)
    several = market.compares and len(market.settings) > 1
    if several and ax is not None:
        raise ArgumentError("ax: several settings have a panel each; expected one")
    parts = [*market.settings.items()][:MOST_PANELS] if several else [("", market.bought)]
    frontiers = [Frontier([one.candidate for one in part], market.aim) for _, part in parts]
    labels = [_labels(*each, market) for each in zip(parts, frontiers, strict=True)]
    panels, head = _panels(ax, labels), HEAD * several
    for panel, (_, part), each in zip(panels, parts, frontiers, strict=True):
        _draw_points(panel, part, each if market.compares else None)
    _write_around(panels, parts, measure, market)
    if market.compares:
        for panel, (_, part), frontier in zip(panels, parts, frontiers, strict=True):
            _shade(panel, part, frontier)
    named = [
        label._replace(panel=p) for p, own in zip(panels, labels, strict=True) for label in own
    ]
    noun = measure.label.replace(" a day", "")
    small = f"{market.about} {_small_print(market, noun)}"
    question = f"What do more {noun} buy in {market.aim.figure}?"
    return finish(panels[0], question, small, named, panels, head)


def _labels(part: tuple[str, Sequence[Bought]], frontier: Frontier, market: Market) -> list[Label]:
    """The names of all if they are few; else of those on the line and of the cheapest best."""
    bought = part[1]
    if len(bought) <= MOST_LABELS:
        places = [*range(len(bought))]
    else:
        places = frontier.line[-MOST_LABELS:] if market.compares else []
        if places and frontier.best[0] not in places:
            places = [*places[1 - MOST_LABELS :], frontier.best[0]]
    return [
        Label(bought[p].work.estimate, 100 * bought[p].odds.estimate, _wrapped(bought[p].name))
        for p in places
    ]


def _wrapped(name: str) -> str:
    """A name in lines, broken between its parts, at blanks and at hyphens, never inside."""
    if len(name) <= WIDEST:
        return name
    parts = re.split("(?<=,) ", name)
    return "\n".join(line for part in parts for line in wrap(part, WIDEST))


def _panels(ax: Axes | None, labels: Sequence[Sequence[Label]]) -> list[Axes]:
    """The axes of each setting, one below the other, as high as their labels ask for."""
    lines = [sum(label.text.count("\n") + 1.3 for label in own) for own in labels]
    if len(labels) == 1:
        return [axes(ax, labelled_height(round(lines[0])))]
    heights = [max(PANEL, 1 + LINE * each) for each in lines]
    size = (WIDTH, max(HEIGHT, 1.4 + sum(heights)))
    return [*plt.subplots(len(labels), figsize=size, height_ratios=heights)[1]]


def _draw_points(ax: Axes, bought: Sequence[Bought], frontier: Frontier | None) -> None:
    """Draw a point for each with its intervals, the line, and the group of the best."""
    for place, one in enumerate(bought):
        verdict = Verdict.OPEN if frontier is None else frontier.verdicts[place]
        ax.errorbar(
            [one.work.estimate],
            [100 * one.odds.estimate],
            xerr=whiskers([one.work]),
            yerr=whiskers([one.odds], 100),
            linestyle="",
            **LOOKS[verdict],
        )
    if frontier is None:
        return
    ax.plot(
        [bought[place].work.estimate for place in frontier.line],
        [100 * bought[place].odds.estimate for place in frontier.line],
        drawstyle="steps-post",
        color=AIM,
        linestyle=":",
        gid="frontier",
    )


def _shade(ax: Axes, bought: Sequence[Bought], frontier: Frontier) -> None:
    """Shade what can't be told apart from the likeliest, if that is more than one."""
    group = [bought[place] for place in frontier.best]
    if len(group) < 2:
        return
    works = [one.work.estimate for one in group]
    odds = [100 * one.odds.estimate for one in group]
    (low, high), (bottom, top) = ax.get_xlim(), ax.get_ylim()
    across, up = 0.025 * (high - low), 0.03 * (top - bottom)
    corner = (min(works) - across, min(odds) - up)
    size = (max(works) - min(works) + 2 * across, max(odds) - min(odds) + 2 * up)
    patch = Rectangle(corner, *size, color=BEST, linewidth=0, zorder=0.6, gid="best")
    ax.add_patch(patch)


def _write_around(
    panels: Sequence[Axes],
    parts: Sequence[tuple[str, Sequence[Bought]]],
    measure: Measure,
    market: Market,
) -> None:
    """Scale all panels alike, and write their axes and settings."""
    odds, limits = [one.odds for _, part in parts for one in part], _limits(parts)
    for panel, (setting, _) in zip(panels, parts, strict=True):
        panel.set_xlim(limits)
        panel.xaxis.set_major_locator(MaxNLocator(5))
        percent_limits(panel, odds)
        panel.set_ylabel(aims.upright(market.aim))
        if setting:
            write_above(panel, short(setting, 46), fontweight="bold", gid="setting")
    panels[-1].set_xlabel(f"{measure.label} (mean)")


def _limits(parts: Sequence[tuple[str, Sequence[Bought]]]) -> tuple[float, float]:
    """Where the axis of work begins and ends, with a margin around all intervals."""
    works = [one.work for _, part in parts for one in part]
    # of a single life the ends are unknown
    low, high = np.nanmin(works), np.nanmax(works)
    margin = 0.08 * ((high - low) or high or 1)
    return float(low - margin), float(high + margin if high else 1)


def _small_print(market: Market, noun: str) -> str:
    said = aims.words(market.aim)
    whisker = f"Whiskers: 95 %, {said.by} and Student's."
    if not market.compares:
        return f"{whisker} {market.note}".strip()
    return (
        f"{whisker} On the line: {said.more} than all with fewer {noun}. Squares: {said.less} than "
        f"something with no more {noun}. Open circles: neither is shown. Shaded: not told apart "
        f"from the {said.best}. By paired 95 % intervals on the same luck. {market.note}"
    ).strip()


@singledispatch
def _market(result: Comparison | Sweep, work: Measure) -> Market:
    raise TypeError(f"{type(result).__name__}: expected a comparison or a sweep")


@_market.register
def _(result: Comparison, work: Measure) -> Market:
    bought = []
    for batch in result.batches:
        effort = work.of(batch.values)
        candidate = Candidate(effort.estimate, {0: result.aim.values(batch)})
        bought.append(Bought(batch.regime, effort, result.aim.of(batch), candidate))
    first = result.batches[0]
    each = "" if len(bought) == 1 else " under each regime"
    about = f"{counted(len(first))}{each}, {first.model.id}, seed {first.seed}."
    return Market({"": bought}, result.aim, about)


@_market.register
def _(result: Sweep, work: Measure) -> Market:
    odds, means = result.odds(), result.means(work.name)
    chosen = [path for path in varied(result) if is_choice(path)]
    rest = [path for path in varied(result) if not is_choice(path)]
    settings: dict[str, list[Bought]] = {}
    for cell in map(int, odds.index):
        values, effort = values_of_cell(result, odds, cell), interval_of(means, cell)
        own = settings.setdefault(_setting(values, rest), [])
        name = _setting(values, chosen or ["regime"])
        candidate = Candidate(effort.estimate, result.values(cell))
        own.append(Bought(name, effort, interval_of(odds, cell), candidate))
    market = Market(settings, result.design.aim, about(result, odds))
    return replace(market, note=_note(market, rest))


def _setting(values: Mapping[str, str], paths: Sequence[str]) -> str:
    """The values of some paths, each after as much of its path as tells it apart."""
    return ", ".join(named_value(path, values[path], paths) for path in paths)


def _note(market: Market, rest: Sequence[str]) -> str:
    """What is said of what is not chosen."""
    if not rest:
        return ""
    names = " and ".join(rest)
    are = "is" if len(rest) == 1 else "are"
    if not market.compares:
        return f"Nothing is compared, as {names} {are} not chosen and no two points share a value."
    number = len(market.settings)
    first = f", the first {MOST_PANELS} of {number}" if number > MOST_PANELS else ""
    return f"A panel for each {names}{first}, which {are} not chosen."
