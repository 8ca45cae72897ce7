"""One life's timeline, row by row, with each care miss on the row of its cause."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from itertools import chain, groupby

import numpy as np
from matplotlib.axes import Axes
from matplotlib.text import Text
from numpy.typing import NDArray

from petsim.errors import ArgumentError
from petsim.life.history import CheckDone, CheckSkipped, History, State, replay
from petsim.life.kinds import ACTION_KINDS, ILLNESS, LIGHTS, WASTE, EventKind
from petsim.life.record import Life
from petsim.spec.quantities import DAY, WEEKDAYS
from petsim.study.hours import HOUR
from petsim.view.plots.layout import finish
from petsim.view.plots.sheet import BANDS, GREY, HEIGHT, LINE, SHADE, axes, look, short, styled
from petsim.view.tables import counted

CLOCK_STEPS = (300, 900, 1_800, HOUR, 2 * HOUR, 3 * HOUR, 6 * HOUR)
"""Seconds between ticks of clock time."""
MOST_CLOCK = 36 * HOUR
"""The longest part of a life whose ticks tell clock time."""
MOST_CLOCK_TICKS = 6
MOST_DAYS = 8
"""Days of a life that are named."""
LEAST_DAY = 0.4
"""Of a day, what is seen at least if it is named."""
MOST_APART = 150
"""Ticks of a row that can be told apart."""
HIGH = 0.7
"""Of a row, what ticks fill."""
CALLS, MISBEHAVES, POWER_OUT = "calls", "misbehaves", "power out"
BARS: dict[str, tuple[str, Callable[[State], bool]]] = {
    ILLNESS: ("ill", lambda state: state.ill),
    LIGHTS: ("lights left on", lambda state: state.asleep and state.lights),
    MISBEHAVES: (MISBEHAVES, lambda state: state.misbehaving),
    CALLS: (CALLS, lambda state: state.calling),
    POWER_OUT: (POWER_OUT, lambda state: not state.power),
}
"""What is drawn as bars: what is written beside each row, and in which states there is a bar."""


Part = tuple[float, float]
"""From when to when, in seconds since birth."""


class Trace:
    """What is drawn of a life, all times in seconds.

    levels: of each need, and of waste, the times at which it changed, and to what. bars: from
    when to when each of `BARS` held. asleep: when it slept. forms: when it took each, and which.
    misses: by cause. checks, skipped: when they came. done, vain: by action, when it had its
    effect, or had none.
    """

    def __init__(self, life: Life) -> None:
        history = replay(life)
        self.levels = {need: _steps(history, _level_of(need)) for need in life.model.needs}
        self.levels[WASTE] = _steps(history, lambda state: state.pile)
        self.bars = {name: history.stretches(holds) for name, (_, holds) in BARS.items()}
        self.asleep = history.stretches(lambda state: state.asleep)
        grown = (EventKind.BIRTH, EventKind.GROWTH)
        self.forms = [(entry.t, entry.what) for entry in life.log if entry.event in grown]
        self.misses = _times(life, EventKind.MISS)
        self.checks = [check.t for check in history.checks if isinstance(check, CheckDone)]
        self.skipped = [check.t for check in history.checks if isinstance(check, CheckSkipped)]
        self.done = _times(life, EventKind.DONE)
        self.vain = _times(life, *(kind for kind in ACTION_KINDS if kind != EventKind.DONE))


def _times(life: Life, *kinds: EventKind) -> dict[str, list[int]]:
    """When entries of the log of some kinds came, by what they are about."""
    times: dict[str, list[int]] = defaultdict(list)
    for entry in life.log:
        if entry.event in kinds:
            times[entry.what].append(entry.t)
    return times


def _level_of(need: str) -> Callable[[State], int]:
    return lambda state: state.levels[need]


def _steps(history: History, level: Callable[[State], int]) -> list[tuple[int, int]]:
    """When a level changed, and to what, from birth on."""
    return [(next(run).t, value) for value, run in groupby(history.states, key=level)]


@styled
def timeline(life: Life, days: tuple[float, float] | None = None, ax: Axes | None = None) -> Axes:
    """What happened in a life, one row for each thing, with each care miss marked on its cause.

    Args:
        life: one, as `petsim.simulate` returns.
        days: the part of it to show, from and to, in days since birth; by default all of it.

    Raises:
        ArgumentError: that is no part of it.
    """
    trace, end = Trace(life), life.summary["end_s"]
    first, last = (0.0, end / DAY) if days is None else days
    if not 0 <= first < last or first * DAY >= end:
        raise ArgumentError(f"days: {days}; expected a part of 0 to {end / DAY:.4g}")
    shown = (first * DAY, min(last * DAY, end))
    names = _rows(life, trace, shown)
    ax = axes(ax, max(HEIGHT, 1.7 + LINE * len(names)))
    for place, own in enumerate(names):
        _draw(ax, place, own, life, trace, shown)
    for since, to in trace.asleep:
        ax.axvspan(since / DAY, to / DAY, color=SHADE, zorder=0, gid="asleep")
    forms = _draw_forms(ax, trace, end)
    ax.set_yticks(range(len(names)), [short(text, 24) for text in names.values()])
    ax.tick_params(axis="y", length=0)
    ax.grid(visible=False)
    ax.set_ylim(len(names) - 0.4, -0.5)
    ax.set_xlim(shown[0] / DAY, shown[1] / DAY)
    _tell_time(ax, life)
    finish(ax, f"What happened in life {life.number} under {short(life.regime, 30)}?", _small(life))
    _drop_what_does_not_fit(ax, forms)
    return ax


def _rows(life: Life, trace: Trace, shown: Part) -> dict[str, str]:
    """What has a row, and what is written beside it."""

    def ticks(name: str, t: Sequence[int]) -> str:
        counts = an_hour(t, shown)
        return name if counts is None else f"{name} (0 to {counts.max()}/h)"

    needs = {need: f"{need} (0 to {n.full})" for need, n in life.model.needs.items()}
    most = max(level for _, level in trace.levels[WASTE])
    bars = {key: text for key, (text, _) in BARS.items() if trace.bars[key] or trace.misses[key]}
    waste = {WASTE: f"waste (0 to {most})"} if most else {}
    checks = {"checks": ticks("checks", trace.checks + trace.skipped)}
    tried = {action: trace.done[action] + trace.vain[action] for action in life.model.care}
    actions = {f"do {action}": ticks(action, t) for action, t in tried.items() if t}
    return {"form": "form"} | needs | waste | bars | checks | actions


def an_hour(t: Sequence[int], shown: Part) -> NDArray[np.int64] | None:
    """How many fall in each hour since birth; None if those shown can be told apart."""
    if sum(shown[0] <= each <= shown[1] for each in t) <= MOST_APART:
        return None
    return np.bincount(np.array(t) // HOUR)


def _draw(ax: Axes, place: int, own: str, life: Life, trace: Trace, shown: Part) -> None:
    """Draw a row."""
    if own in trace.levels:
        t, levels = (
            np.array(column, dtype=float) for column in zip(*trace.levels[own], strict=True)
        )
        full = life.model.needs[own].full if own in life.model.needs else max(levels)
        t, levels = np.append(t, life.summary["end_s"]), np.append(levels, levels[-1])
        heights = place + 0.4 - 0.8 * levels / full
        colour = look(0)["color"]
        ax.fill_between(t / DAY, place + 0.4, heights, step="post", color=colour, lw=0, alpha=0.55)
        ax.step(t / DAY, heights, where="post", color=colour, linewidth=0.7, gid=f"level of {own}")
    elif own in trace.bars:
        bars = [(since / DAY, (to - since) / DAY) for since, to in trace.bars[own]]
        ax.broken_barh(bars, (place - 0.3, 0.6), color="black", linewidth=0.5, gid=own)
    elif own == "checks":
        _draw_tries(ax, place, {own: trace.checks, "checks skipped": trace.skipped}, shown)
    elif own.startswith("do "):
        action = own.removeprefix("do ")
        done, vain = trace.done[action], trace.vain[action]
        _draw_tries(ax, place, {f"{action} done": done, f"{action} in vain": vain}, shown)
    if missed := trace.misses[own]:
        ax.plot(
            np.array(missed) / DAY,
            np.full(len(missed), place),
            "X",
            color=look(1)["color"],
            markersize=9,
            markeredgecolor="black",
            zorder=4,
            gid=f"misses of {own}",
        )


def _draw_tries(ax: Axes, place: int, times: dict[str, list[int]], shown: Part) -> None:
    """Draw what was done and, lower, what was in vain: a tick each or, of many, counts an hour."""
    total = an_hour([*chain(*times.values())], shown)
    if total is None:
        for (gid, t), (y, length) in zip(times.items(), ((0.0, HIGH), (0.2, 0.3)), strict=True):
            _draw_ticks(ax, place + y, t, gid, length)
        return
    counts = [np.bincount(np.array(t, int) // HOUR, minlength=len(total)) for t in times.values()]
    heights = np.cumsum(counts, axis=0) * HIGH / total.max()
    low, hours = np.full(len(total), place + HIGH / 2), np.arange(len(total) + 1) * HOUR / DAY
    for gid, reached, colour in zip(times, heights, (GREY, look(3)["color"]), strict=True):
        high = place + HIGH / 2 - reached
        ax.stairs(high, hours, baseline=low, fill=True, color=colour, gid=gid)
        low = high


def _draw_ticks(ax: Axes, y: float, t: Sequence[int], gid: str, length: float) -> None:
    ax.eventplot(
        np.array(t) / DAY,
        lineoffsets=y,
        linelengths=length,
        linewidths=0.8,
        colors="black",
        gid=gid,
    )


def _draw_forms(ax: Axes, trace: Trace, end: int) -> list[tuple[Text, float, float]]:
    """Draw the forms as bands in turn light and dark: their names, from when to when in days."""
    names = []
    ends = [t for t, _ in trace.forms[1:]] + [end]
    for place, ((since, form), to) in enumerate(zip(trace.forms, ends, strict=True)):
        shade = BANDS[place % 2]
        ax.broken_barh(
            [(since / DAY, (to - since) / DAY)],
            (-0.45, 0.9),
            facecolor=shade,
            edgecolor="black",
            linewidth=0.8,
            gid=f"form {form}",
        )
        if since:
            ax.axvline(since / DAY, color="black", linestyle=":", linewidth=1, zorder=1)
        text = ax.text(since / DAY, 0, form, ha="center", va="center", clip_on=True)
        text.set_in_layout(False)
        names.append((text, since / DAY, to / DAY))
    return names


def _drop_what_does_not_fit(ax: Axes, forms: Iterable[tuple[Text, float, float]]) -> None:
    """Centre names in what is seen of their bands; those that are wider are not written."""
    low, high = ax.get_xlim()
    for text, since, to in forms:
        left, right = max(since, low), min(to, high)
        text.set_x((left + right) / 2)
        room = (right - left) / (high - low) * ax.bbox.width
        if text.get_window_extent().width + 4 > room:
            text.remove()


def _tell_time(ax: Axes, life: Life) -> None:
    """Have the ticks tell days or, of a part, times of the pet's own clock, as the diary does."""
    low, high = (DAY * x for x in ax.get_xlim())
    if high - low > MOST_CLOCK:
        _tell_days(ax, life, low, high)
        return
    begins = life.model.begins.clock
    step = next(s for s in CLOCK_STEPS if (high - low) / s <= MOST_CLOCK_TICKS)
    first = -((-low - begins) // step) * step - begins
    ticks = [t for t in np.arange(first, high + 1, step) if low <= t <= high]
    ax.set_xticks([t / DAY for t in ticks], [_clock(life, int(t)) for t in ticks])
    day, weekday = _day(life, low)
    ax.set_xlabel(f"clock time (hours), from day {day}, {weekday}")


def _tell_days(ax: Axes, life: Life, low: float, high: float) -> None:
    """Name days of the pet's own clock in their middle, between ticks at midnight."""
    midnights = np.arange(-life.model.begins.clock, high, DAY)
    since, to = np.maximum(midnights, low), np.minimum(midnights + DAY, high)
    middles = ((since + to) / 2)[to - since >= LEAST_DAY * DAY]
    middles = middles[:: -(-len(middles) // MOST_DAYS)]
    days = [_day(life, t) for t in middles]
    names = [f"{day}\n{weekday[:3]}" for day, weekday in days]
    ax.set_xticks(middles / DAY, names)
    ax.set_xticks(midnights[midnights >= low] / DAY, minor=True)
    ax.tick_params(axis="x", which="major", length=0)
    ax.tick_params(axis="x", which="minor", length=6)
    ax.set_xlabel(f"day of life (ticks: 00:00; born {_clock(life, 0)})")


def _day(life: Life, t: float) -> tuple[int, str]:
    """A day of the pet's own clock, and which of the week it is."""
    clock = life.clock(int(t))
    return clock.day, WEEKDAYS[clock.weekday]


def _clock(life: Life, t: int) -> str:
    clock = life.clock(t)
    return f"{clock.hour:02}:{clock.minute:02}"


def _small(life: Life) -> str:
    summary, end = life.summary, life.summary["end_s"] / DAY
    fate = f", when it died ({summary['died']})" if summary["died"] else ""
    forms = sorted((summary[f"entered_s.{f}"], f) for f in life.model.forms)
    named = ", ".join(form for t, form in forms if t >= 0)
    misses = counted(summary["misses"], "care miss")
    return (
        f"1 life, {life.model.id}, seed {life.seed}: {named}. Followed to {end:.3g} days{fate}. "
        f"Crosses: {misses}. Grey: asleep. Low ticks or purple: skipped, or in vain (slipped, "
        "refused, without effect, unfair)."
    )
