"""What was seen first in each check, against what a fit lets expect."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from matplotlib import pyplot as plt
from matplotlib import rcParams
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from petsim.errors import ArgumentError, ensure_known
from petsim.evidence.estimate import Z95
from petsim.view import fitted as words
from petsim.view.plots.colours import MISS
from petsim.view.plots.layout import finish
from petsim.view.plots.panels import finish_panels
from petsim.view.plots.sheet import GREY, LINE, WIDTH, axes, short, styled

if TYPE_CHECKING:
    from petsim.evidence.fit import ChainFit, Fit
    from petsim.evidence.goodness import Part

FAR = 2.0
"""Standard deviations beyond which a difference is told."""
COLUMNS = 2
AROUND, ABOVE = 2.0, 1.1
"""Inches that title and small print take, and those around the rows of a panel."""
NAME = 18


@styled
def predicted(found: Fit, chain: str | None = None, ax: Axes | None = None) -> Axes:
    """What each check saw first, on average, and what was expected of it by all looks before.

    There is a panel for each chain, with a row for each form and for hours of the day. A dot is
    what was seen, a stroke what was expected, with the 95 % interval in which the dot should be.

    Args:
        found: as `petsim.fit` returns.
        chain: the only one to draw: a need, or waste, illness or misbehaviour.
        ax: what to draw on, for the first chain; by default a picture of its own.

    Raises:
        ArgumentError: there is no such chain, or none of which enough was seen.
    """
    chains = {each.name: each for each in found.chains if each.goodness and each.goodness.parts}
    if not chains:
        raise ArgumentError("fit: too little was seen to tell how well it predicts")
    if chain is not None:
        ensure_known("chain", chain, chains)
    shown = [chains[chain]] if chain is not None else [*chains.values()]
    rows = _rows(shown)
    small = (
        f"{words.evidence(found)} of {found.model.id}: first look of each check. Dot: seen; stroke "
        f"and whiskers: expected, and where 95 % of such means are.{_far(shown)}"
    )
    question = "Does the fit predict what is seen?"
    if len(shown) == 1 or ax is not None:
        panel = axes(ax, AROUND + ABOVE + LINE * len(rows))
        _draw(panel, shown[0], rows)
        _label_rows(panel, rows)
        return finish(panel, question, small)
    panels = _panels(len(shown), len(rows))
    for panel, each in zip(panels, shown, strict=True):
        _draw(panel, each, rows)
        panel.set_title(each.name, fontsize=rcParams["font.size"])
    _label_rows(panels[0], rows)
    return finish_panels(panels, question, small)


def _rows(chains: Sequence[ChainFit]) -> list[str]:
    """All forms, and then all hours in order, of which any chain has a part."""
    names = dict.fromkeys(part.what for each in chains for part in _parts(each))
    return sorted(names, key=lambda name: (_is_hours(name), name if _is_hours(name) else ""))


def _parts(chain: ChainFit) -> tuple[Part, ...]:
    return chain.goodness.parts if chain.goodness else ()


def _is_hours(what: str) -> bool:
    return ":" in what


def _panels(number: int, rows: int) -> list[Axes]:
    """Panels side by side, which share their rows."""
    down = math.ceil(number / COLUMNS)
    size = (WIDTH, AROUND + down * (ABOVE + LINE * rows))
    _, grid = plt.subplots(down, COLUMNS, figsize=size, squeeze=False, sharey=True)
    flat = [*grid.flat]
    for spare in flat[number:]:
        spare.remove()
    return flat[:number]


def _draw(ax: Axes, chain: ChainFit, rows: Sequence[str]) -> None:
    """Draw what was seen and expected, a row for each part."""
    by = 100 if words.is_share(chain.name) else 1
    for part in _parts(chain):
        y, is_far = rows.index(part.what), abs(part.z) > FAR
        expected, reach = by * part.expected, by * Z95 * words.standard_error(part)
        # nothing that is seen is below 0
        ends = [[min(reach, expected)], [reach]]
        ax.errorbar([expected], [y], xerr=ends, fmt="|", color=GREY, markersize=14, capsize=3)
        ax.plot(
            [by * part.seen],
            [y],
            marker="D" if is_far else "o",
            color=MISS if is_far else "black",
            gid=f"seen {part.what}",
        )
    if forms := sum(not _is_hours(row) for row in rows):
        ax.axhline(forms - 0.5, color=GREY, linewidth=0.8)
    ax.grid(visible=False, axis="y")
    ax.xaxis.set_major_locator(MaxNLocator(3))
    ax.set_xlabel({"waste": "pile"}.get(chain.name, "looks (%)" if by == 100 else "level"))
    ax.set_ylim(len(rows) - 0.5, -0.5)


def _label_rows(ax: Axes, rows: Sequence[str]) -> None:
    ax.set_yticks(range(len(rows)), [short(row, NAME) for row in rows])


def _far(chains: Sequence[ChainFit]) -> str:
    """A sentence on what was seen far from what was expected."""
    far = [
        f"{each.name} {words.when(part)}, {'more' if part.z > 0 else 'less'} than expected "
        f"(z = {part.z:+.1f})"
        for each in chains
        for part in _parts(each)
        if abs(part.z) > FAR
    ]
    return f" Diamonds: {'; '.join(far)}." if far else ""
