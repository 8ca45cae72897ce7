"""How far lives get towards the aim, step by step."""

from __future__ import annotations

from itertools import pairwise

from matplotlib.axes import Axes

from petsim.errors import ArgumentError
from petsim.study.batch import Batch
from petsim.study.compare import Comparison
from petsim.study.measures import Measure
from petsim.study.measures import funnel as steps_to
from petsim.study.stats import Interval
from petsim.view.numbers import per_cent
from petsim.view.plots import regime_rows
from petsim.view.plots.colours import AIM
from petsim.view.plots.layout import finish, wrapped
from petsim.view.plots.sheet import SHADE, short, styled, whiskers

NUMBER = 57
"""Points that a share takes."""
HIGH = 0.8
"""The height of a bar, in lines."""
STEP = "#9a9a9a"
"""The colour of a step, which is no outcome."""
APART = 8
"""Points between two steps."""


@styled
def funnel(result: Comparison | Batch, ax: Axes | None = None) -> Axes:
    """Share of all lives that took each step to the aim and all before it, regime by regime.

    The steps are having come to the form before, each condition of its rule of growth that the
    summary of a life tells, and the aim, of several forms the worthiest. Whiskers are Wilson's 95 %
    intervals; the share at the step that loses most is bold.

    Raises:
        ArgumentError: no form grows into the aim.
    """
    aim = result.aim
    ranked = [result] if isinstance(result, Batch) else regime_rows.likeliest_first(result)
    steps = list(steps_to(result.model, aim))
    if len(steps) < 2:
        raise ArgumentError(f"funnel: nothing grows into {aim.main}; expected another aim")
    ax, lines = regime_rows.begin(ax, [batch.regime for batch in ranked], 1)
    for batch, y in zip(ranked, lines, strict=True):
        _draw_steps(ax, [step.of(batch.values) for step in steps], y)
    _write_heads(ax, steps)
    small = (
        f"{regime_rows.about(ranked, aim)} A share is of the lives that took a step and all before "
        "it. Whiskers: Wilson's 95 % intervals. Bold: the step that loses most."
    )
    under = f" under {short(ranked[0].regime, 30)}" if len(ranked) == 1 else ""
    ax.set_xlabel("share of all lives (%)", loc="left")
    finish(ax, f"At which step do lives miss {aim.main}{under}?", small)
    regime_rows.set_height(ax)
    return ax


def _draw_steps(ax: Axes, shares: list[Interval], y: float) -> None:
    """Draw the steps of a regime on a line: each share as a number and as a bar."""
    lost = [before.estimate - after.estimate for before, after in pairwise(shares)]
    lost = [1 - shares[0].estimate, *lost]
    wide = regime_rows.WIDE / len(shares)
    for place, share in enumerate(shares):
        left = place * wide
        is_worst = place == lost.index(max(lost)) and lost[place] > 0
        bold = "bold" if is_worst else "normal"
        ax.text(left, y, _written(share), va="center", fontweight=bold, gid="share")
        start, room = left + NUMBER, wide - NUMBER - APART
        ax.barh(y, room, HIGH, start, color=SHADE, gid="all lives")
        colour = AIM if place == len(shares) - 1 else STEP
        ax.barh(y, room * share.estimate, HIGH, start, color=colour, gid="taken")
        reach = whiskers([share], room)
        ax.errorbar(
            [start + room * share.estimate], [y], xerr=reach, color="black", capsize=2, linewidth=1
        )


def _written(share: Interval) -> str:
    """A share in per cent, without the bound that the whisker of none and of all has."""
    if share.estimate in (0, 1):
        return f"{100 * share.estimate:.0f} %"
    return per_cent(share)


def _write_heads(ax: Axes, steps: list[Measure]) -> None:
    """Write what each step is above it."""
    wide = regime_rows.WIDE / len(steps)
    heads = [step.label if place == 0 else f"and {step.label}" for place, step in enumerate(steps)]
    texts = [
        ax.text(place * wide, 0, head, va="top", gid="head") for place, head in enumerate(heads)
    ]
    for text, head in zip(texts, heads, strict=True):
        wrapped(text, head, (wide - APART) / regime_rows.WIDE * ax.bbox.width)
    lines = max(text.get_text().count("\n") + 1 for text in texts)
    top = regime_rows.add_above(ax, 1.05 * lines + 0.3) - 0.5
    for place, text in enumerate(texts):
        text.set_position((place * wide, top))
