"""Why one life went wrong, as a picture: what led to it, and what alone would have saved it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from matplotlib import rcParams
from matplotlib.axes import Axes

from petsim.advice.one_life.chain import MISBEHAVIOUR, Link, one_too_many
from petsim.advice.one_life.explain_life import LifeExplained, Otherwise
from petsim.spec.quantities import DAY
from petsim.view import life_explained as words
from petsim.view.plots.colours import AIM, MISS
from petsim.view.plots.sheet import LINE, axes, styled
from petsim.view.plots.timeline import (
    CHECKS,
    MISSES,
    MISSES_HIGH,
    Part,
    Row,
    drawn,
    in_places,
    marks_in_words,
    of_days,
    rows_of_care,
    rows_of_levels,
    whose,
)
from petsim.view.plots.trace import BARS, MISBEHAVES, TO_BLAME, Trace
from petsim.view.tables import counted

SAVERS = "savers"
"""The key of the row of what alone would have saved a life."""
BESIDE = 0.04
"""Of what led to it, how much more of the life is shown before and after."""
APART = 0.015
"""Of what is shown, what two marks of one row stand apart at least."""
HEAD = 20
"""Points above the axes for what ended the hope."""
TITLE, SMALL = 42, 56
"""Letters of a line above and below, about."""
BESIDE_ROWS = 1.6
"""Inches that the rest of a picture takes."""
MOST_NUDGES = 2
"""Changes of a quantity that the small print tells."""


@styled
def chain(why: LifeExplained, ax: Axes | None = None) -> Axes:
    """What a life failed by and what led to it, up to where its aim went out of reach.

    Each thing that it failed by is numbered and marked in its row, below which a line runs from
    when it was due. Another row has what went wrong that alone cost it the aim. Of a life that did
    not fail it is the timeline.

    Args:
        why: one, as `petsim.explain_life` returns.
        ax: what to draw on; by default a picture of its own.
    """
    if not why.has_failed:
        return of_days(why.life, words.message(why), ax=ax)
    life, trace = why.life, Trace(why.life)
    trace.misses = [(link.t, _row_of(link)) for link in why.links]
    shown = _shown(why)
    rows = in_places(_rows(why, trace, shown))
    title = words.message(why)
    small = f"{whose(life, trace)} {_small(why)}{marks_in_words(life, trace, rows)}"
    ax = axes(ax, _height(rows, title, small))
    _draw_dues(ax, rows, why.links)
    _draw_savers(ax, rows, _savers(why), APART * (shown[1] - shown[0]))
    _draw_end(ax, why)
    return drawn(ax, rows, life, trace, shown, title, small, HEAD)


def _height(rows: Sequence[Row], title: str, small: str) -> float:
    """The height, in inches, that rows take with what is written above and below them."""
    lines = len(title) / TITLE + len(small) / SMALL
    return BESIDE_ROWS + LINE * (len(rows) + MISSES_HIGH + lines)


def _row_of(link: Link) -> str:
    """The key of the row of what a link is of."""
    return MISBEHAVES if link.cause == MISBEHAVIOUR else link.cause


def _end(why: LifeExplained) -> int:
    """The second at which the aim went out of reach, or the pet died."""
    return int(why.life.summary["end_s"]) if why.turn is None else why.turn.t


def _shown(why: LifeExplained) -> Part:
    """From when to when a life is shown: what led to its failure, and a little around."""
    life, end = why.life, _end(why)
    began = [link.before for link in why.links]
    began += [each.candidate.mishap.t for each in _savers(why)]
    begins = min(
        began, default=0 if why.turn is None else life.summary[f"entered_s.{why.turn.form}"]
    )
    beside = BESIDE * (end - begins)
    return max(0, begins - beside), min(life.summary["end_s"], end + beside)


def _savers(why: LifeExplained) -> Sequence[Otherwise]:
    """What alone cost a life the aim; else what came nearest to saving it, if anything did."""
    if why.withheld or why.nearer is None:
        return why.withheld
    return (why.nearer,)


def _rows(why: LifeExplained, trace: Trace, shown: Part) -> dict[str, str]:
    """The rows from above: forms, what it failed by, what is to blame, its causes, and care."""
    there = [key for key in TO_BLAME if any(_overlaps(part, shown) for part in trace.bars[key])]
    causes = {cause for _, cause in trace.misses}
    levels = rows_of_levels(why.life, trace)
    of_levels = {key: text for key, text in levels.items() if key in causes or not causes}
    bars = {key: text for key, (text, _) in BARS.items() if key in causes and key not in there}
    pressed = {f"do {attempt.action}" for link in why.links for attempt in link.attempts}
    care = rows_of_care(why.life, trace, shown)
    return (
        {"form": "form", MISSES: "failed by" if why.links else "failed by: no miss"}
        | {key: BARS[key][0] for key in there}
        | ({SAVERS: "cost it the aim" if why.withheld else "came nearest"} if _savers(why) else {})
        | of_levels
        | bars
        | {key: text for key, text in care.items() if key == CHECKS or key in pressed}
    )


def _overlaps(part: Part, shown: Part) -> bool:
    return part[0] < shown[1] and part[1] > shown[0]


def _draw_dues(ax: Axes, rows: Sequence[Row], links: Iterable[Link]) -> None:
    """Draw a line below the row of each link, from when it was due to when it was too late."""
    below = {row.key: row.y + 0.5 for row in rows}
    for link in links:
        missed = None if link.miss is None else link.miss.trouble.missed
        since = link.since if missed is None else missed
        y = below[_row_of(link)]
        ax.hlines(y, since / DAY, link.t / DAY, colors=MISS, linewidth=1.5, gid="due")


def _draw_savers(ax: Axes, rows: Sequence[Row], savers: Sequence[Otherwise], apart: float) -> None:
    """Draw what alone cost the aim: a tick where it began, and a line as long as it lasted.

    apart: seconds between two things that stand side by side, at least.
    """
    for y in (row.y for row in rows if row.key == SAVERS):
        lanes = _lanes([(x.candidate.mishap.t, x.candidate.seconds + apart) for x in savers])
        high = 0.8 / (1 + max(lanes))
        for lane, saver in zip(lanes, savers, strict=True):
            t, top = saver.candidate.mishap.t / DAY, y - 0.4 + high * lane
            low, ends = top + 0.8 * high, t + saver.candidate.seconds / DAY
            ax.vlines(t, top, low, colors=AIM, linewidth=2.5, gid=SAVERS)
            ax.hlines((top + low) / 2, t, ends, colors=AIM, linewidth=1.8, gid=f"{SAVERS} last")


def _lanes(times: Sequence[Part]) -> list[int]:
    """The first lane of each of some times, each its begin and its length, that is free then."""
    free: list[float] = []
    lanes = dict.fromkeys(times, 0)
    for begins, length in sorted(lanes):
        lane = next((n for n, until in enumerate(free) if until < begins), len(free))
        free[lane : lane + 1] = [begins + length]
        lanes[begins, length] = lane
    return [lanes[each] for each in times]


def _draw_end(ax: Axes, why: LifeExplained) -> None:
    """Draw where the aim went out of reach, said above."""
    at = _end(why) / DAY
    ended = f"died ({why.life.summary['died']})" if why.turn is None else f"{why.aim} out of reach"
    ax.axvline(at, color="black", linewidth=2, gid="end")
    ax.annotate(
        f"{ended} \N{BLACK DOWN-POINTING SMALL TRIANGLE}",
        xy=(at, 1),
        xycoords=ax.get_xaxis_transform(),
        xytext=(rcParams["font.size"] / 2.6, 2),
        textcoords="offset points",
        ha="right",
        va="bottom",
        gid="end",
    )


def _small(why: LifeExplained) -> str:
    """What the marks of failures are, and what else would have saved the life."""
    red = (
        "Red: what it failed by, numbered, and again in its row, with a line from when it was due. "
    )
    blue = (
        f"Blue: what went wrong, and alone cost it {why.aim}. "
        if why.withheld
        else "Blue: the mishap without which it would have come nearest. "
    )
    last = one_too_many(why.links, why.turn)
    many = "" if last is None else f"Number {1 + why.links.index(last)} was one too many. "
    return f"{red * bool(why.links)}{many}{blue * bool(_savers(why))}{_otherwise(why)}"


def _otherwise(why: LifeExplained) -> str:
    """The smallest changes of a quantity by which it would have reached the aim."""
    told = [words.nudge_in_words(nudge) for nudge in why.nudges]
    if not told:
        return ""
    first, left = told[:MOST_NUDGES], len(told) - MOST_NUDGES
    more = f", or with {counted(left, 'other change')}" * (left > 0)
    return f"It would also have become {why.aim} with {', or with '.join(first)}{more}. "
