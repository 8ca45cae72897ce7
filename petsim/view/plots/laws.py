"""The laws of waits that were fitted, beside those of the guess."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from petsim.errors import ArgumentError, ensure_known
from petsim.evidence.estimate import Estimate
from petsim.evidence.means import mean_of
from petsim.evidence.written import fitted_model
from petsim.spec.laws import Distribution, distribution
from petsim.spec.variation import path_steps
from petsim.view import fitted as words
from petsim.view.estimates import in_words, unit_of
from petsim.view.plots.layout import finish
from petsim.view.plots.panels import (
    columns_of,
    finish_panels,
    lines_of,
    put_heads,
    side_by_side,
)
from petsim.view.plots.sheet import DASHES, GREY, SHADE, axes, styled

if TYPE_CHECKING:
    from petsim.evidence.fit import Fit

POINTS = 200
LASTS = 0.995
"""The share of waits that a picture shows the end of."""


class Wait(NamedTuple):
    """A wait of the pet: how it is told, and its law in the guess and as it was fitted."""

    told: Estimate
    guess: Distribution
    law: Distribution

    @property
    def head(self) -> str:
        """What it is of: `hunger, infant`, `waste, juvenile`."""
        _, place, *rest = map(str, path_steps(self.told.path))
        return f"{rest[-1] if rest[0] == 'drops' else rest[0]}, {place}"


@styled
def laws(found: Fit, wait: str | None = None, ax: Axes | None = None) -> Axes:
    """How long waits last: the chance that one lasts longer, as fitted and as guessed.

    There is a panel for each wait of a need, of waste or of misbehaviour whose mean is told. The
    band is what the 95 % interval of the mean leaves open. No data are drawn: a log has looks, and
    neither the beginning nor the end of any wait.

    Args:
        found: as `petsim.fit` returns.
        wait: the path of the only one to draw, such as `stages.infant.drops.hunger`.
        ax: what to draw on, for the first wait; by default a picture of its own.

    Raises:
        ArgumentError: there is no such wait, or none is told.
    """
    waits = _waits(found)
    if not waits:
        raise ArgumentError("fit: tells of no wait how long it lasts; expected one that does")
    if wait is not None:
        ensure_known("wait", wait, waits)
    shown = [waits[wait]] if wait is not None else [*waits.values()][: None if ax is None else 1]
    small = (
        f"{words.evidence(found)} of {found.model.id}. Head: the mean. Solid: fitted; band: the "
        "95 % interval of the mean; dashed: the guess. No data are drawn, as a log has looks and "
        "no waits."
    )
    question, upright = "How long do the pet's waits last?", "waits that last longer (%)"
    if len(shown) == 1:
        panel = axes(ax)
        _draw(panel, shown[0])
        panel.set_ylabel(upright)
        return finish(panel, f"How long does a wait of {shown[0].head} last?", small)
    heads = [(each.head, _says(each)) for each in shown]
    columns = columns_of(len(shown), max(len(word) for head in heads for word in head[0].split()))
    panels = side_by_side(len(shown), columns, lines=lines_of(heads, columns), one_scale=False)
    for panel, each in zip(panels, shown, strict=True):
        _draw(panel, each)
    put_heads(panels, heads, columns)
    return finish_panels(panels, question, small, upright)


def _waits(found: Fit) -> dict[str, Wait]:
    """The waits whose means are told, by their paths."""
    guess, fitted = found.model.source(), fitted_model(found).source()
    waits = {}
    for each in found.estimates:
        steps = path_steps(each.path)
        is_wait = "drops" in steps or steps[-1] == "every"
        if is_wait and each.of == "mean" and each.estimate is not None:
            laws = (distribution(str(document.at(*steps))) for document in (guess, fitted))
            waits[each.path] = Wait(each, *laws)
    return waits


def _says(wait: Wait) -> str:
    weak = ", weak" if wait.told.verdict == "weak" else ""
    return f"{in_words(wait.told).estimate}{weak}"


def _draw(ax: Axes, wait: Wait) -> None:
    """Draw how likely a wait is to last longer, by both laws."""
    told, unit = wait.told, unit_of(wait.told)
    assert told.low is not None
    assert told.high is not None
    last = max(law.quantile(LASTS) for law in (wait.guess, wait.law))
    times = np.linspace(0, last, POINTS)
    fitted = 100 * np.array([wait.law.survival(t) for t in times])
    mean = mean_of(wait.law)
    # the law of another mean and the same shape is this one, drawn out
    ends = [np.interp(times, times * end / mean, fitted) for end in (told.low, told.high)]
    ax.fill_between(unit.by * times, *ends, color=SHADE, linewidth=0, gid="interval")
    ax.plot(unit.by * times, fitted, color="black", gid="fitted")
    guess = 100 * np.array([wait.guess.survival(t) for t in times])
    ax.plot(unit.by * times, guess, color=GREY, linestyle=DASHES[1], gid="guess")
    ax.set_xlim(0, unit.by * last)
    ax.set_ylim(0, 103)
    ax.xaxis.set_major_locator(MaxNLocator(3, steps=[1, 2, 5, 10]))
    ax.set_xlabel(unit.name.strip())
