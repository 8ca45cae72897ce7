"""What the counters of a rig should show, in words and tables: by day, by hour, against a log."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from petsim.advice.expecting.against import HeldLog
from petsim.advice.expecting.day import SUPPRESSED, ExpectedDay
from petsim.advice.expecting.expect import Expected, Quiet
from petsim.life.counters import Counter
from petsim.spec.clocks import WEEKDAYS, clock_text
from petsim.spec.model import Model
from petsim.study.aims import either
from petsim.view.answers import Answer, AnswerTable
from petsim.view.numbers import rounded
from petsim.view.tables import Row, counted

TITLE = "Median of each day, and its band"
HOURS = "Means by hour"
GROWTH = ("growth", "of lives", "when (95 % of them)")
TELL = ("from", "what may come next")
OUTSIDE = ("day", "counter", "the log has", "median and band")
REASONS = {
    "outage": "power out",
    "busy": "busy or overtaken",
    "forgotten": "forgotten",
    "window": "in a window without checks",
}
"""What keeps a check from being carried out, in words."""
WIDTH, SPACE = 78, 2
"""Characters that a table may be wide, and those between columns."""


# By day


def by_day(result: Expected) -> Answer:
    """Return what the counters should show by day."""
    names = " and ".join(quiet.regime for quiet in result.regimes)
    return Answer(
        question=f"What should the counters show under {names}?",
        gist=gist(result),
        tables=[*(_bands(result) if len(result.regimes) == 1 else _side_by_side(result))],
        notes=[*_notes(result)],
    )


def gist(result: Expected) -> str:
    """Return how likely a quiet life stays within the bands, in a sentence."""
    names = " and ".join(quiet.regime for quiet in result.regimes)
    time = "a quiet week" if result.days == 7 else f"{counted(result.days, 'quiet day')}"
    each = "" if len(result.regimes) == 1 else ", each by itself"
    return (
        f"In {time} under {names}{each}, all counters stay within these bands on all days in "
        f"{100 * result.confidence:g} % of lives."
    )


def _bands(result: Expected) -> Iterator[AnswerTable]:
    """Yield the bands of one regime, a row for each day."""
    [quiet] = result.regimes
    rows = [
        (_day(result, day), *(cell(quiet, day, place) for place in range(len(quiet.counters))))
        for day in range(result.days)
    ]
    yield from _in_parts(TITLE, ("", *map(str, quiet.counters)), rows)


def _in_parts(title: str, head: Row, rows: Sequence[Row]) -> Iterator[AnswerTable]:
    """Yield a table in parts that fit a terminal of the usual width, one below the other."""
    columns = [*zip(head, *rows, strict=True)]
    widths = [SPACE + max(map(len, column)) for column in columns]
    first = 1
    while first < len(columns):
        room, last = WIDTH - widths[0] - widths[first], first + 1
        while last < len(columns) and widths[last] <= room:
            room, last = room - widths[last], last + 1
        _, *part = zip(*[columns[0], *columns[first:last]], strict=True)
        yield AnswerTable(title, (columns[0][0], *(c[0] for c in columns[first:last])), part)
        first = last


def cell(quiet: Quiet, day: int, place: int) -> str:
    """Return the median of a count, and its band if that is no single number."""
    low, high = quiet.low[day, place], quiet.high[day, place]
    return _banded(quiet.median[day, place], low, high)


def _banded(median: float, low: float, high: float) -> str:
    return f"{median:.0f}" if low == high else f"{median:.0f} ({low:.0f} to {high:.0f})"


def _day(result: Expected, day: int) -> str:
    """The name of a day, from 0, with its weekday."""
    weekday = WEEKDAYS[(result.model.begins.weekday + day) % 7]
    return f"day {day + 1}, {weekday[:3]}"


def _side_by_side(result: Expected) -> Iterator[AnswerTable]:
    """Yield a table for each counter that all regimes have, with how these differ."""
    others = result.regimes[1:]
    head = ("", *(q.regime for q in result.regimes), *(f"{q.regime} has more by" for q in others))
    for counter in shared(result):
        places = [quiet.counters.index(counter) for quiet in result.regimes]
        more = [result.difference(counter, number) for number, _ in enumerate(others, 1)]
        rows = [
            (
                _day(result, day),
                *(cell(q, day, at) for q, at in zip(result.regimes, places, strict=True)),
                *(f"{by[day]:+.0f}" if round(by[day]) else "0" for by in more),
            )
            for day in range(result.days)
        ]
        yield AnswerTable(str(counter), head, rows)


def shared(result: Expected) -> list[Counter]:
    """Return the counters that all regimes have."""
    first, *others = result.regimes
    return [each for each in first.counters if all(each in quiet.counters for quiet in others)]


def _notes(result: Expected) -> Iterator[str]:
    """Yield what counts outside may mean, what a day is, and how sure the bands are."""
    if len(result.regimes) == 1:
        yield from _meanings(result.model, result.regimes[0].counters)
    else:
        yield (
            "Differences are medians over the same lives under both, of those that live through "
            "the day."
        )
        yield from _not_shared(result)
    yield _days(result)
    yield from (_how_sure(result, quiet) for quiet in result.regimes)


def _how_sure(result: Expected, quiet: Quiet) -> str:
    """How many fresh lives stay within the bands of a regime, and why the bands are so wide."""
    own = f"{100 * result.confidence:g} %"
    return (
        f"The bands of {quiet.regime} are made from {counted(result.lives)} of seed {result.seed}; "
        f"of {result.lives} fresh ones {rounded(quiet.together, 1)} stayed within all of them. "
        f"With a band of {own} for each count by itself, {rounded(quiet.alone, 1)} would."
    )


def _not_shared(result: Expected) -> Iterator[str]:
    known = shared(result)
    for quiet in result.regimes:
        own = [str(each) for each in quiet.counters if each not in known]
        if own:
            yield f"Counted under {quiet.regime}, but not under all: {', '.join(own)}."


def _days(result: Expected) -> str:
    """What a day is, and for how many lives the last one is told."""
    begins = clock_text(result.model.begins.clock)
    first = f"Day 1 is from {begins} to midnight. " if result.model.begins.clock else ""
    alive = min(float(quiet.alive[-1]) for quiet in result.regimes)
    lived = "" if alive == 1 else f" {100 * alive:.0f} % of lives live through day {result.days}."
    return (
        f"{first}Counts of a day are of the pets that live through it, whatever they became.{lived}"
    )


def _meanings(model: Model, counters: Sequence[Counter]) -> Iterator[str]:
    """Yield what it may mean that some counters are outside their bands, a sentence or two each."""
    done = dict.fromkeys(each.name for each in counters if each.of == "action")
    filling = [name for name in done if model.care[name].raises]
    seeing = [name for name in done if not (model.care[name].raises or model.care[name].reprimands)]
    empty = [*dict.fromkeys(each.name for each in counters if each.of == "zero")]
    if Counter("checks") in counters:
        yield "Too few checks: the power was out, or the rig hung, for longer than it should."
    if filling:
        yield (
            f"Too many of {either(filling)}: levels are read too low, or presses do not land. Too "
            "few: levels are read too high, or checks are missing."
        )
    if seeing:
        yield (
            f"Too many of {either(seeing)}: the camera sees a reason where there is none, or "
            "presses do not land. Too few: it overlooks one, or checks are missing."
        )
    if empty:
        yield (
            f"Too many looks that read 0 of {either(empty)}: care comes too late, or a level is "
            "read as empty."
        )


# By hour


def by_hour(result: ExpectedDay) -> Answer:
    """Return what a rig does on a day by hour, and what the pet may become."""
    return Answer(
        question=f"What should the counters show on day {result.day} under {result.regime}?",
        gist=_day_gist(result),
        tables=[
            *_in_parts(HOURS, ("", *_hour(result, 0)), [*_hours(result)]),
            AnswerTable("Growth", GROWTH, _growths(result)),
            AnswerTable("What the camera must tell apart", TELL, _told_apart(result)),
        ],
        notes=[*_day_notes(result)],
    )


def _day_gist(result: ExpectedDay) -> str:
    """Return how many checks are carried out on a day, and what keeps the others from it."""
    when = f"day {result.day}, a {WEEKDAYS[result.weekday]},"
    done = sum(result.counts[:, result.counters.index(Counter("checks"))])
    lacking = zip(SUPPRESSED, result.suppressed.sum(axis=0), strict=True)
    kept = [f"{REASONS[why]} {mean:.1f}" for why, mean in lacking if mean >= 0.05]
    others = f"; not carried out: {', '.join(kept)}" if kept else ", and none is left out"
    return f"On {when} {result.regime} carries out {done:.1f} checks on average{others}."


def _hours(result: ExpectedDay) -> Iterator[Row]:
    for place, hour in enumerate(result.hours):
        yield (f"{hour:02}:00", *_hour(result, place).values())


def _hour(result: ExpectedDay, hour: int) -> dict[str, str]:
    """The cells of an hour: checks, what keeps others away, and all other counters."""
    checks, *others = range(len(result.counters))
    lacking = [k for k in range(len(SUPPRESSED)) if result.suppressed[:, k].any()]
    return {
        "checks": _mean(result.counts[hour, checks]),
        **{REASONS[SUPPRESSED[k]]: _mean(result.suppressed[hour, k]) for k in lacking},
        **{str(result.counters[k]): _mean(result.counts[hour, k]) for k in others},
    }


def _mean(mean: float) -> str:
    return f"{mean:.1f}" if mean else "0"


def _growths(result: ExpectedDay) -> list[Row]:
    """Return the growths of a day, how likely each is, and when it comes, under GROWTH."""
    return [
        (
            f"{each.before} to {each.after}",
            _percent(each.share),
            f"{_time(each.time.estimate)} ({_time(each.time.low)} to {_time(each.time.high)})",
        )
        for each in result.growths
    ]


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %" if share >= 0.01 else f"{100 * share:.1f} %"


def _time(second: float) -> str:
    """A clock time to the minute."""
    return f"{int(second) // 3600:02}:{int(second) % 3600 // 60:02}"


def _told_apart(result: ExpectedDay) -> list[Row]:
    """Return what may come next of each form of a day that is followed by one, under TELL."""
    return [
        (f"{each.form} ({_percent(each.share)})", either(each.next))
        for each in result.forms
        if each.next
    ]


def _day_notes(result: ExpectedDay) -> Iterator[str]:
    """Yield what shares are of, and how many lives it is from."""
    yield (
        f"From {counted(result.lives)} of seed {result.seed}, of which "
        f"{100 * result.alive:.0f} % begin the day; shares are of these, and means of those that "
        "live through the hour."
    )


# Against a log


def against(result: HeldLog) -> Answer:
    """Return which counts of a log are outside their bands."""
    return Answer(
        question=f"Do the counts of {result.source} lie within the bands of {result.regime}?",
        gist=_held_gist(result),
        tables=[AnswerTable("Counts outside", OUTSIDE, _outside(result))],
        notes=[*_held_notes(result)],
    )


def _held_gist(result: HeldLog) -> str:
    """Return whether all counts of a log are within their bands, in a sentence."""
    days = f"{counted(len(result.days), 'day')}"
    n = len(result.outside)
    if not n:
        return (
            f"All counts of {days} of {result.source} are within the bands of {result.model.id} "
            f"under {result.regime}."
        )
    are = "is" if n == 1 else "are"
    return (
        f"Of {days} of {result.source}, {counted(n, 'count')} {are} outside the bands of "
        f"{result.model.id} under {result.regime}."
    )


def _outside(result: HeldLog) -> list[Row]:
    """Return the counts of a log that are outside, under OUTSIDE."""
    return [
        (
            str(each.day),
            str(each.counter),
            f"{each.logged}, too {'many' if each.logged > each.high else 'few'}",
            _banded(each.median, each.low, each.high),
        )
        for each in result.outside
    ]


def _held_notes(result: HeldLog) -> Iterator[str]:
    """Yield how seldom a quiet life has a count outside, and what was not held."""
    yield from _meanings(result.model, [each.counter for each in result.outside])
    yield (
        f"If nothing is wrong, a life has no count outside in {100 * result.confidence:g} % of "
        "cases."
    )
    if result.left_out:
        yield f"Left out, as lines are lost: {_of_days(result.left_out)}."
    if result.unseen:
        names = ", ".join(map(str, result.unseen))
        yield f"Not compared, as the log does not have them: {names}."


def _of_days(days: Sequence[int]) -> str:
    return f"day{'s' if len(days) > 1 else ''} {', '.join(map(str, days))}"
