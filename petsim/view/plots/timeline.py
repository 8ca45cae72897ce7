"""One life as a picture: a row for each thing that happened, what is to blame first."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import chain
from typing import NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.text import Text
from numpy.typing import NDArray

from petsim.errors import ArgumentError
from petsim.life.kinds import WASTE
from petsim.life.record import Life
from petsim.spec.clocks import WEEKDAYS
from petsim.spec.quantities import DAY
from petsim.spec.taken_over import TakenOver
from petsim.study.hours import HOUR
from petsim.view.outcome import headline
from petsim.view.plots.colours import ASLEEP, BANDS, IN_VAIN, LEVEL, MISS, SURROUNDINGS
from petsim.view.plots.layout import finish
from petsim.view.plots.numbered import number_marks
from petsim.view.plots.sheet import GREY, HEIGHT, LINE, axes, short, styled
from petsim.view.plots.trace import BAD_LIGHT, BARS, POWER_OUT, TO_BLAME, Trace, Try
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
MOST_APART, LONGEST_APART = 300, 3 * DAY
"""The most checks, and the longest part of a life, of which each action has a row of its own; of
more there are counts an hour."""
HIGH = 0.7
"""Of a row, what ticks fill."""
MISSES_HIGH = 1.7
"""Rows that the care misses take: their numbers above, their marks below."""
MARKS_BEGIN = (1 + MISSES_HIGH) / 2 + 0.1
"""Where the marks of the care misses begin, in rows from above."""
MISSES, CHECKS, ACTIONS = "care misses", "checks", "actions"

Part = tuple[float, float]
"""From when to when, in seconds since birth."""
Zoom = int | tuple[int, int]
"""A day of life, or the first and the last of several, 1 for the day of birth."""


class Row(NamedTuple):
    """A row: what is in it, what is written beside it, and where its middle is."""

    key: str
    text: str
    y: float


@styled
def timeline(life: Life, zoom: Zoom | None = None, ax: Axes | None = None) -> Axes:
    """What happened in a life, and why it became what it became.

    Care misses are numbered in the row on top, above bad light and outages; below is what else is
    to blame, then the levels, then all else. Each miss is marked in the row of its cause, too.
    Checks and actions are counted hour by hour where they would run together; of a few days each
    is seen, a row for each action, those of one check one above the other.

    Args:
        life: one, as `petsim.simulate` returns.
        zoom: the day of life to show, or the first and last of several, as the diary counts them:
            1 is the day of birth. By default all of it.
        ax: what to draw on; by default a picture of its own.

    Raises:
        ArgumentError: the life has no such days.
    """
    return of_days(life, headline(life), zoom, ax)


def of_days(life: Life, title: str, zoom: Zoom | None = None, ax: Axes | None = None) -> Axes:
    """Draw all that happened in a life, or on some of its days, under a title."""
    trace, shown = Trace(life), _shown(life, zoom)
    rows = in_places(_rows(life, trace, shown))
    ax = axes(ax, max(HEIGHT, 2.1 + LINE * (len(rows) + MISSES_HIGH)))
    return drawn(ax, rows, life, trace, shown, title, _small(life, trace, rows))


def drawn(
    ax: Axes,
    rows: Sequence[Row],
    life: Life,
    trace: Trace,
    shown: Part,
    title: str,
    small: str,
    head: float = 0,
) -> Axes:
    """Draw rows of a life, its sleep and its time, and finish the picture.

    Args:
        ax: what to draw on.
        rows: the forms first, then the misses.
        life, trace: whose they are.
        shown: from when to when.
        title, small: the texts above and below.
        head: points above the axes that something else takes.
    """
    for row in rows:
        _draw(ax, row, life, trace, shown)
    for since, to in trace.asleep:
        ax.axvspan(since / DAY, to / DAY, color=ASLEEP, linewidth=0, zorder=0, gid="asleep")
    forms = _draw_forms(ax, trace, life.summary["end_s"])
    ax.set_yticks([row.y for row in rows], [short(row.text, 24) for row in rows])
    ax.tick_params(axis="y", length=0)
    ax.grid(visible=False)
    ax.set_ylim(rows[-1].y + 0.6, -0.5)
    ax.set_xlim(shown[0] / DAY, shown[1] / DAY)
    _tell_time(ax, life)
    finish(ax, title, small, head=head)
    _drop_what_does_not_fit(ax, forms)
    _number_misses(ax, rows, trace, shown)
    return ax


def _shown(life: Life, zoom: Zoom | None) -> Part:
    """From when to when a life is shown, in seconds since birth."""
    end = life.summary["end_s"]
    if zoom is None:
        return 0, end
    first, last = (zoom, zoom) if isinstance(zoom, int) else zoom
    days = life.clock(end).day
    if not 1 <= first <= last <= days:
        named = first if first == last else f"{first}..{last}"
        has = "day 1 only" if days == 1 else f"days 1 to {days}"
        expected = (
            "that" if days == 1 else f"one of these, or some, such as {max(1, days - 1)}..{days}"
        )
        raise ArgumentError(f"zoom: {named}; life {life.number} has {has}; expected {expected}")
    begins = life.model.begins.clock
    return max(0, (first - 1) * DAY - begins), min(end, last * DAY - begins)


def in_places(texts: Mapping[str, str]) -> list[Row]:
    """Return rows, by what is in them, from above: the forms, the misses, and the others."""
    high = (1 + MISSES_HIGH) / 2
    steps = [high, high, *[1.0] * (len(texts) - 3)][: len(texts) - 1]
    ys = [0.0, *np.cumsum(steps)]
    return [Row(key, text, y) for (key, text), y in zip(texts.items(), ys, strict=True)]


def _rows(life: Life, trace: Trace, shown: Part) -> dict[str, str]:
    """The rows from above: forms, what is to blame, levels, and the rest."""
    held = [key for key in BARS if trace.bars[key] or trace.missed(key)]
    bars = {key: BARS[key][0] for key in held}
    to_blame = {key: bars.pop(key) for key in TO_BLAME if key in bars}
    misses = {MISSES: MISSES if trace.misses else f"{MISSES}: none"}
    care = rows_of_care(life, trace, shown)
    return {"form": "form"} | misses | to_blame | rows_of_levels(life, trace) | bars | care


def rows_of_levels(life: Life, trace: Trace) -> dict[str, str]:
    """Return the rows of needs, and that of waste if there ever was any."""
    needs = {need: f"{need} (0 to {n.full})" for need, n in life.model.needs.items()}
    most = max(level for _, level in trace.levels[WASTE])
    return needs | ({WASTE: f"waste (0 to {most})"} if most else {})


def rows_of_care(life: Life, trace: Trace, shown: Part) -> dict[str, str]:
    """Return the rows of checks and actions: counts of all, or each action by itself."""
    tries = {action: trace.tries[action] for action in life.model.care if trace.tries[action]}
    if not are_apart(trace, shown):
        checks = an_hour([*trace.checks, *trace.skipped]).max()
        actions = an_hour([each.t for each in chain(*tries.values())])
        rows = {CHECKS: f"checks (0 to {checks}/h)"}
        return rows | ({ACTIONS: f"actions (0 to {actions.max()}/h)"} if tries else {})
    texts = {}
    for action, own in tries.items():
        most = max((1 + each.before for each in own if shown[0] <= each.t <= shown[1]), default=0)
        if most:
            texts[f"do {action}"] = action if most == 1 else f"{action} (1 to {most})"
    return {CHECKS: CHECKS} | texts


def are_apart(trace: Trace, shown: Part) -> bool:
    """Whether each check and action that is shown is seen, rather than counts an hour."""
    seen = sum(shown[0] <= t <= shown[1] for t in chain(trace.checks, trace.skipped))
    return seen <= MOST_APART and shown[1] - shown[0] <= LONGEST_APART


def an_hour(t: Sequence[int], hours: int = 1) -> NDArray[np.int64]:
    """Return how many of some times fall in each hour since birth, for as many hours at least."""
    return np.bincount(np.array(t, int) // HOUR, minlength=hours)


def _draw(ax: Axes, row: Row, life: Life, trace: Trace, shown: Part) -> None:
    """Draw a row."""
    if row.key in trace.levels:
        _draw_levels(ax, row, life, trace)
    elif row.key in BARS:
        _draw_bars(ax, row, trace)
    elif row.key == MISSES:
        _draw_misses(ax, row, trace)
    elif row.key == ACTIONS:
        tries = [*chain(*trace.tries.values())]
        done, vain = (
            [each.t for each in tries if each.done == is_done] for is_done in (True, False)
        )
        _draw_counts(ax, row.y, {"actions done": done, "actions in vain": vain})
    elif row.key == CHECKS and are_apart(trace, shown):
        width = _width_of_ticks(trace, shown)
        _draw_ticks(ax, row.y, trace.checks, CHECKS, (HIGH, width))
        _draw_ticks(ax, row.y + 0.2, trace.skipped, "checks skipped", (0.3, width))
    elif row.key == CHECKS:
        _draw_counts(ax, row.y, {CHECKS: trace.checks, "checks skipped": trace.skipped})
    elif row.key.startswith("do "):
        action = row.key.removeprefix("do ")
        tries = [each for each in trace.tries[action] if shown[0] <= each.t <= shown[1]]
        _draw_tries(ax, row.y, action, tries, _width_of_ticks(trace, shown))
    if missed := trace.missed(row.key):
        ax.plot(
            np.array(missed) / DAY,
            np.full(len(missed), row.y),
            "|",
            color=MISS,
            markersize=72 * LINE * 0.85,
            markeredgewidth=2,
            zorder=4,
            gid=f"misses of {row.key}",
        )


def _draw_levels(ax: Axes, row: Row, life: Life, trace: Trace) -> None:
    """Draw a need, or the pile of waste, as steps over its filled row."""
    t, levels = (np.array(column, float) for column in zip(*trace.levels[row.key], strict=True))
    needs = life.model.needs
    full = needs[row.key].full if row.key in needs else max(levels)
    t, levels = np.append(t, life.summary["end_s"]), np.append(levels, levels[-1])
    low = row.y + 0.4
    heights = low - 0.8 * levels / full
    ax.fill_between(t / DAY, low, heights, step="post", color=LEVEL, lw=0, alpha=0.6)
    gid = f"level of {row.key}"
    ax.step(t / DAY, heights, where="post", color="black", linewidth=0.5, gid=gid)


def _draw_bars(ax: Axes, row: Row, trace: Trace) -> None:
    """Draw when something held; outages and bad light up to the marks of the misses above."""
    bars = [(since / DAY, (to - since) / DAY) for since, to in trace.bars[row.key]]
    if row.key not in SURROUNDINGS:
        ax.broken_barh(bars, (row.y - 0.3, 0.6), color="black", linewidth=0.5, gid=row.key)
        return
    ax.broken_barh(
        bars,
        (MARKS_BEGIN, row.y + 0.4 - MARKS_BEGIN),
        facecolor="none",
        edgecolor=GREY,
        hatch=SURROUNDINGS[row.key],
        linewidth=0.8,
        zorder=1,
        gid=row.key,
    )


def _draw_misses(ax: Axes, row: Row, trace: Trace) -> None:
    """Draw a mark for each care miss, in the lower part of their row."""
    at = np.array([t for t, _ in trace.misses]) / DAY
    low = row.y + MISSES_HIGH / 2
    ax.vlines(at, low - 0.6, low - 0.05, colors=MISS, linewidths=1.8, zorder=3, gid=MISSES)


def _number_misses(ax: Axes, rows: Sequence[Row], trace: Trace, shown: Part) -> None:
    """Number the care misses that are shown above their marks."""
    seen = [(n, t) for n, (t, _) in enumerate(trace.misses, 1) if shown[0] <= t <= shown[1]]
    if seen:
        top = next(row.y for row in rows if row.key == MISSES) - MISSES_HIGH / 2
        numbers, times = zip(*seen, strict=True)
        number_marks(ax, numbers, [t / DAY for t in times], (top + 0.5, top + 1.1), MISS)


def _draw_counts(ax: Axes, y: float, times: dict[str, list[int]]) -> None:
    """Draw how many there were in each hour: those in vain on top of the others."""
    total = an_hour([*chain(*times.values())])
    counts = [an_hour(t, len(total)) for t in times.values()]
    heights = np.cumsum(counts, axis=0) * HIGH / total.max()
    low, hours = np.full(len(total), y + HIGH / 2), np.arange(len(total) + 1) * HOUR / DAY
    for gid, reached, colour in zip(times, heights, (GREY, IN_VAIN), strict=True):
        high = y + HIGH / 2 - reached
        ax.stairs(high, hours, baseline=low, fill=True, color=colour, gid=gid)
        low = high


def _width_of_ticks(trace: Trace, shown: Part) -> float:
    """Points that the tick of a check is wide, so that its neighbours can be told from it."""
    seen = sum(shown[0] <= t <= shown[1] for t in chain(trace.checks, trace.skipped))
    return float(np.clip(200 / max(seen, 1), 0.7, 2.5))


def _draw_ticks(ax: Axes, y: float, t: Sequence[int], gid: str, look: tuple[float, float]) -> None:
    """Draw ticks around y of a length, in rows, and a width, in points."""
    length, width = look
    at = np.array(t) / DAY
    ax.eventplot(at, lineoffsets=y, linelengths=length, linewidths=width, colors="black", gid=gid)


def _draw_tries(ax: Axes, y: float, action: str, tries: Sequence[Try], width: float) -> None:
    """Draw each attempt of an action, those of one check one above the other."""
    high = 0.8 / (1 + max(each.before for each in tries))
    for fate, is_done, colour in (("done", True, "black"), ("in vain", False, IN_VAIN)):
        own = [each for each in tries if each.done == is_done]
        at = [each.t / DAY for each in own]
        low = np.array([y + 0.4 - high * each.before for each in own])
        gid = f"{action} {fate}"
        ax.vlines(at, low - 0.8 * high, low, colors=colour, linewidths=width, gid=gid)


def _draw_forms(ax: Axes, trace: Trace, end: int) -> list[tuple[Text, float, float]]:
    """Draw the forms as bands in turn light and dark: their names, from when to when in days."""
    names = []
    ends = [t for t, _ in trace.forms[1:]] + [end]
    for place, ((since, form), to) in enumerate(zip(trace.forms, ends, strict=True)):
        ax.broken_barh(
            [(since / DAY, (to - since) / DAY)],
            (-0.45, 0.9),
            facecolor=BANDS[place % 2],
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
    begun = "taken over" if isinstance(life.model, TakenOver) else "born"
    ax.set_xlabel(f"day of life (ticks: 00:00; {begun} {_clock(life, 0)})")


def _day(life: Life, t: float) -> tuple[int, str]:
    """A day of the pet's own clock, and which of the week it is."""
    clock = life.clock(int(t))
    return clock.day, WEEKDAYS[clock.weekday]


def _clock(life: Life, t: int) -> str:
    clock = life.clock(t)
    return f"{clock.hour:02}:{clock.minute:02}"


def _small(life: Life, trace: Trace, rows: Sequence[Row]) -> str:
    misses = counted(life.summary["misses"], "care miss")
    marks = f"Red: {misses}, numbered, and again in the row of what they are of. " * bool(
        trace.misses
    )
    return f"{whose(life, trace)} {marks}{marks_in_words(life, trace, rows)}"


def whose(life: Life, trace: Trace) -> str:
    """Return which life it is, and which forms it had, in a sentence."""
    forms = ", ".join(form for _, form in trace.forms)
    under = f"{life.model.id} under {short(life.regime, 30)}"
    return f"1 life, {under}, seed {life.seed}: {forms}."


def marks_in_words(life: Life, trace: Trace, rows: Sequence[Row]) -> str:
    """Return what the marks but those of misses mean, in a few words each."""
    keys = {row.key for row in rows}
    spells = life.caretaker.regime.eyes.spells
    hours = f", of effect from {spells.during}" if spells and spells.during else ""
    light = f"Dotted: bad light{hours}. " * (BAD_LIGHT in keys)
    outages = "Hatched: power out. " * (POWER_OUT in keys)
    asleep = "Blue-grey: asleep. " * bool(trace.asleep)
    forgotten = " or forgotten" * (life.summary["checks_forgotten"] > 0)
    vain = f"Light: skipped{forgotten}, or in vain (slipped, refused, without effect, unfair)."
    return f"{light}{outages}{asleep}{vain}"
