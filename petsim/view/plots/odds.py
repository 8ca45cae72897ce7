"""What the pet becomes: under several regimes the likeliest first, or under one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from matplotlib import pyplot as plt
from matplotlib.axes import Axes

from petsim.study.aims import Aim
from petsim.study.batch import Batch
from petsim.study.compare import Comparison
from petsim.study.measures import AIM_MARK, ODDS, WORTH, table_rows
from petsim.study.stats import Interval
from petsim.view import aims
from petsim.view.numbers import per_cent
from petsim.view.plots import regime_rows
from petsim.view.plots.colours import AIM, AIM_MARKER, PALE, Look, of_outcomes
from petsim.view.plots.forest import Row, forest, height_of
from petsim.view.plots.layout import NARROWER, finish
from petsim.view.plots.sheet import axes, short, styled, whiskers

Part = tuple[float, float]
"""From where to where on a row, in points, shares from 0 to 1 are drawn."""

DOTS: Part = (6, 96)
BARS: Part = (228, 414)
NUMBER = 110
"""Where the odds of the aim are written."""
MOST_OF_HEAD = 34
"""Characters of what is written above the odds, which is left of the bars."""
HIGH = 0.96
"""The height of a bar, in lines."""
SWATCH = 12
"""The width of a colour in the key, in points."""
APART = 14
"""Points between two outcomes in the key."""


@styled
def odds(result: Comparison | Batch, ax: Axes | None = None) -> Axes:
    """What the pet becomes, and how often, with 95 % Wilson intervals.

    Of several regimes, the odds of the aim with their intervals, the likeliest first, and beside
    them a bar of all outcomes: the aim, the other forms in the model's order, deaths. An outcome
    whose name does not fit its part of some bar is in a key. Of one, the odds of each outcome.
    """
    batches = result.batches if isinstance(result, Comparison) else (result,)
    aim, said = result.aim, aims.words(result.aim)
    if isinstance(result, Batch) or len(batches) == 1:
        return _odds_of_one(batches[0], aim, ax)
    batches = tuple(regime_rows.likeliest_first(result))
    looks = of_outcomes(result.model, *aim.forms)
    ax, lines = regime_rows.begin(ax, [batch.regime for batch in batches], 1)
    unnamed: set[str] = set()
    for batch, y in zip(batches, lines, strict=True):
        _draw_odds(ax, aim.of(batch), y)
        unnamed |= _draw_bar(ax, batch, y, looks)
    _draw_ticks(ax, lines, aim)
    top = regime_rows.add_above(ax, 1.2)
    ax.text(0, top, short(aim.figure, MOST_OF_HEAD), va="center", fontweight="bold")
    ax.text(BARS[0], top, "what it became", va="center", fontweight="bold")
    _draw_key(ax, {outcome: look for outcome, look in looks.items() if outcome in unnamed})
    small = f"{regime_rows.about(batches, aim)} Whiskers: {said.by} 95 % intervals."
    question = f"How likely is {aim}, and what else does the pet become?"
    if not aim.is_share:
        small = f"{small} {aims.worths(aim)}"
        question = "What is a life worth, and what does the pet become?"
    finish(ax, question, small)
    regime_rows.set_height(ax)
    return ax


def _at(part: Part, share: float) -> float:
    """Where on a row a share stands."""
    return part[0] + share * (part[1] - part[0])


def _draw_odds(ax: Axes, interval: Interval, y: float) -> None:
    """Draw the odds of the aim on a line, and write them beside."""
    ax.errorbar(
        [_at(DOTS, interval.estimate)],
        [y],
        xerr=whiskers([interval], DOTS[1] - DOTS[0]),
        color=AIM,
        marker=AIM_MARKER,
        linestyle="",
        capsize=3,
    )
    ax.text(NUMBER, y, per_cent(interval), va="center", gid="odds")


def _draw_bar(ax: Axes, batch: Batch, y: float, looks: Mapping[str, Look]) -> set[str]:
    """Draw what became of a batch as a bar, and return the outcomes whose names did not fit it."""
    left, unnamed = BARS[0], set()
    for outcome, look in looks.items():
        width = (BARS[1] - BARS[0]) * batch.counts.get(outcome, 0) / len(batch)
        if not width:
            continue
        _fill(ax, look, (left, width), y, outcome)
        # the name of a hatched part stands clear of the lines
        clear: dict[str, Any] | None = (
            {"facecolor": look.colour, "linewidth": 0, "pad": 0} if look.hatch else None
        )
        label = ax.text(left + width / 2, y, outcome, ha="center", va="center_baseline", bbox=clear)
        label.set(color=look.ink, gid=f"in {outcome}")
        if regime_rows.width_of(ax, label) > NARROWER * (width - 4):
            label.remove()
            unnamed.add(outcome)
        left += width
    return unnamed


def _fill(ax: Axes, look: Look, across: Part, y: float, gid: str) -> None:
    """Draw a part of a bar; across: where it begins, and how wide it is."""
    bars = ax.barh(y, across[1], HIGH, across[0], color=look.colour, hatch=look.hatch)
    plt.setp(bars, edgecolor=PALE, linewidth=0.8, gid=gid)


def _draw_ticks(ax: Axes, lines: Sequence[float], aim: Aim) -> None:
    """Draw a scale of per cents below the dots and one below the bars."""
    of_worth = "" if aim.is_share else ", and of full worth"
    for share in (0, 0.5, 1):
        top, bottom = lines[0] - 0.6, lines[-1] + 0.5
        ax.vlines(_at(DOTS, share), top, bottom, color="#dddddd", linewidth=0.8, zorder=0.5)
    places = [_at(part, share) for part in (DOTS, BARS) for share in (0, 0.5, 1)]
    ax.set_xticks(places, 2 * ["0", "50", "100"])
    ax.tick_params(axis="x", length=3)
    ax.set_xlabel(f"share of lives{of_worth} (%)", loc="left")


def _draw_key(ax: Axes, looks: Mapping[str, Look]) -> None:
    """Draw the key of these outcomes above all else, in as many lines as it takes."""
    if not looks:
        return
    names = [ax.text(0, 0, name, va="center", gid=f"key of {name}") for name in looks]
    places = _flowed([SWATCH + 4 + regime_rows.width_of(ax, name) for name in names])
    top = regime_rows.add_above(ax, 1.4 + places[-1][1])
    for name, look, (x, line) in zip(names, looks.values(), places, strict=True):
        name.set_position((x + SWATCH + 4, top + line))
        _fill(ax, look, (x, SWATCH), top + line, f"swatch of {name.get_text()}")


def _flowed(widths: Sequence[float]) -> list[tuple[float, int]]:
    """Where things of these widths begin, and on which line, from left to right."""
    places: list[tuple[float, int]] = []
    x, line = 0.0, 0
    for width in widths:
        if x and x + width > NARROWER * regime_rows.WIDE:
            x, line = 0.0, line + 1
        places.append((x, line))
        x += width + APART
    return places


def _odds_of_one(batch: Batch, aim: Aim, ax: Axes | None) -> Axes:
    """Draw the odds of each outcome under one regime, one below the other, and those of the aim."""
    looks, rows = of_outcomes(batch.model, *aim.forms), []
    for measure, [interval] in table_rows([batch], aim):
        if measure.table in (WORTH, ODDS):
            is_aim = AIM_MARK in measure.label
            colour = AIM if is_aim else looks[measure.path[-1]].colour
            marker = AIM_MARKER if is_aim else "s"
            rows.append(Row(measure.label, interval, per_cent(interval), colour, marker))
    rows.sort(key=lambda row: row.marker != AIM_MARKER)
    ax = axes(ax, height_of({"": rows}))
    forest(ax, {"": rows}, by=100)
    ax.set_xlim(-2, 102)
    ax.set_xticks([0, 25, 50, 75, 100])
    of_worth = "" if aim.is_share else ", and of full worth"
    ax.set_xlabel(f"share of lives{of_worth} (%)")
    small = f"{regime_rows.about([batch], aim)} Whiskers: Wilson's 95 % intervals."
    if not aim.is_share:
        small = f"{small[:-1]}, Zou's for the worth. {aims.worths(aim)}"
    elif not aim.is_one_form:
        small = f"{small} The aim: {aim}."
    return finish(ax, f"What does the pet become under {short(batch.regime, 30)}?", small)
