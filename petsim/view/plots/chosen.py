"""What was chosen among many ways to look after a pet: the cost of each against its odds."""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import wrap
from typing import Any

from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from petsim.advice.choosing.choice import Choice
from petsim.advice.choosing.racing import Standing
from petsim.view import chosen as text
from petsim.view.plots.colours import AIM, AIM_MARKER
from petsim.view.plots.layout import Label, finish
from petsim.view.plots.scales import percent_limits
from petsim.view.plots.sheet import GREY, axes, styled, whiskers
from petsim.view.tables import counted

WIDEST = 20
"""Characters of a line of a label."""
LOOKS: dict[str, dict[str, Any]] = {
    "falls short": {"color": GREY, "marker": "x", "zorder": 2},
    "costs more": {"color": GREY, "marker": "s", "markerfacecolor": "white", "zorder": 2.2},
    "open": {"color": AIM, "marker": AIM_MARKER, "markerfacecolor": "white", "zorder": 2.5},
}

MEANINGS = {
    "falls short": "Crosses: surely fall short.",
    "costs more": "Squares: surely cost more.",
    "open": "Open circles: in question.",
}


@styled
def chosen(found: Choice, ax: Axes | None = None) -> Axes:
    """Odds of the aim against the cost, each candidate a point, what was chosen a filled one.

    Candidates are drawn by the lives of the search, with 95 % intervals where they were not dropped
    early; what was chosen by fresh lives. A line is at the odds asked for.
    """
    ax = axes(ax)
    others = [n for n in range(len(found.candidates)) if n != found.reference]
    for word, look in LOOKS.items():
        _draw(ax, found, [n for n in others if _standing(found, n) == word], word, look)
    label = _draw_reference(ax, found)
    if found.at_least is not None:
        ax.axhline(100 * found.at_least, color="black", linewidth=1.2, linestyle="--", gid="asked")
    odds = [found.candidates[n].odds for n in (*others, found.reference)]
    percent_limits(ax, odds)
    ax.xaxis.set_major_locator(MaxNLocator(5))
    ax.set_xlabel(f"{found.cost.label} (mean)")
    ax.set_ylabel(f"{found.evaluator.aim.figure}\n({found.evaluator.aim.unit})")
    return finish(ax, text.question(found), _small(found), [label])


def _standing(found: Choice, number: int) -> str:
    if found.candidates[number].standing in (Standing.SHORT, Standing.DEARER):
        return found.candidates[number].standing.value
    return "open"


def _draw(ax: Axes, found: Choice, numbers: Sequence[int], gid: str, look: dict[str, Any]) -> None:
    """Draw candidates of one standing, with whiskers if they are still open."""
    if not numbers:
        return
    odds = [found.candidates[n].odds for n in numbers]
    costs = [found.candidates[n].cost for n in numbers]
    ax.errorbar(
        [cost.estimate for cost in costs],
        [100 * each.estimate for each in odds],
        yerr=whiskers(odds, 100) if gid == "open" else None,
        linestyle="",
        gid=gid,
        **look,
    )


def _draw_reference(ax: Axes, found: Choice) -> Label:
    """Draw what was chosen, or else the best, and return its name."""
    last = found.tries[-1] if found.tries else found.candidates[found.reference]
    x, y = last.cost.estimate, 100 * last.odds.estimate
    face = AIM if found.chosen else "white"
    ax.errorbar(
        [x],
        [y],
        yerr=whiskers([last.odds], 100),
        linestyle="",
        color=AIM,
        marker="D",
        markersize=8,
        markerfacecolor=face,
        zorder=3,
        gid="chosen" if found.chosen else "best",
    )
    words = text.name(found, found.reference).split(", ")
    return Label(x, y, "\n".join(line for word in words for line in wrap(word, WIDEST)))


def _small(found: Choice) -> str:
    number = len(found.candidates)
    model, seed = found.evaluator.models[0].id, found.evaluator.seed
    diamond = "Diamond: chosen" if found.chosen else "Open diamond: the best; none was chosen"
    fresh = f", by {counted(found.lives)} of its own" if found.tries else ""
    there = {_standing(found, n) for n in range(number) if n != found.reference}
    meant = "".join(f" {MEANINGS[word]}" for word in LOOKS if word in there)
    asked = " Dashed: the odds asked for." if found.at_least is not None else ""
    return (
        f"{counted(number, 'candidate')}, {model}, seed {seed}. {diamond}{fresh}.{meant}{asked} "
        "Whiskers: 95 %."
    )
