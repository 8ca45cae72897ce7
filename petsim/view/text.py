"""Numbers and tables as text: aligned, few digits, the uncertainty beside each estimate."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from textwrap import fill

from petsim.spec.model import UNDECIDED
from petsim.spec.quantities import DAY
from petsim.study.batch import Batch
from petsim.study.compare import (
    Comparison,
    Difference,
    deaths,
    early_deaths,
    misses_by_cause,
    misses_by_stage,
    per_day,
)
from petsim.study.hours import Hours
from petsim.study.precision import Precision
from petsim.study.requirements import requirements
from petsim.study.search import Search
from petsim.study.stats import Interval, mean_interval, wilson
from petsim.view import repeat

Row = tuple[str, ...]
Column = dict[str, str]

ODDS = "Odds of each outcome, share of lives"
"""The title of the table of odds."""
NOBODY = "no life got there"
HOURS = ("half of them, by time of day", "half of them, by day of life", "worst hour")


def table(head: Row, rows: Sequence[Row], indent: str = "") -> str:
    """Rows under a head (left out if empty); numbers line up at the decimal point."""
    lines = list(zip(*(_aligned(column) for column in zip(*rows, strict=True)), strict=True))
    if any(head):
        lines.insert(0, head)
    widths = [max(map(len, column)) for column in zip(*lines, strict=True)]
    padded = (map(str.ljust, line, widths) for line in lines)
    return "\n".join((indent + "  ".join(line)).rstrip() for line in padded)


def _aligned(cells: Sequence[str]) -> list[str]:
    """Cells shifted so that the units of the numbers they begin with stand in one column."""
    numbers = [re.match(r"[+-]?\d+", cell) for cell in cells]
    room = max((number.end() for number in numbers if number), default=0)
    return [
        " " * (room - number.end() if number else 0) + cell
        for number, cell in zip(numbers, cells, strict=True)
    ]


def paragraph(text: str, width: int) -> str:
    """Lines no longer than the width, none of which begins with the sign of a per cent."""
    kept = text.replace(" %", "\N{NO-BREAK SPACE}%")
    return fill(kept, width).replace("\N{NO-BREAK SPACE}", " ")


def share(interval: Interval) -> str:
    """A share in per cent with its interval; of none or all with a bound."""
    half = (interval.high - interval.low) / 2
    value, low, high = (_percent(x, half) for x in interval)
    if interval.estimate == 0:
        return f"0 % (at most {_percent(interval.high, interval.high)})"
    if interval.estimate == 1:
        return f"100 % (at least {_percent(interval.low, 1 - interval.low)})"
    return f"{value} % ({low} to {high})"


def bar(x: float) -> str:
    """A share as a bar, a `#` for each tenth; a `.` if it rounds to none but is not 0."""
    return "#" * math.floor(10 * x + 0.5) or ("." if x > 0 else "")


def mean(interval: Interval) -> str:
    """A mean over lives with the half-width of its interval, if the lives differ."""
    half = interval.high - interval.estimate
    if math.isnan(half):
        return f"{_four_digits(interval.estimate)} (one life)"
    if half == 0:
        return f"{_four_digits(interval.estimate)} in every life"
    digits = decimals(half)
    return f"{interval.estimate:.{digits}f} ± {half:.{digits}f}"


def points(interval: Interval) -> str:
    """A difference of shares in percentage points with its interval."""
    digits = decimals(100 * (interval.high - interval.low) / 2)
    value, low, high = (f"{100 * x:+.{digits}f}" for x in interval)
    return f"{value} ({low} to {high})"


def _percent(x: float, uncertainty: float) -> str:
    return f"{100 * x:.{decimals(100 * uncertainty)}f}"


def decimals(uncertainty: float) -> int:
    """Decimals that show two digits of an uncertainty above 0."""
    rounded = float(f"{uncertainty:.1e}")
    return max(0, 1 - math.floor(math.log10(rounded)))


def _four_digits(x: float) -> str:
    return f"{x:.4g}" if abs(x) < 9999.5 else f"{x:.0f}"


def comparison(result: Comparison, width: int = 80) -> str:
    """A whole comparison: the odds, what went wrong, what it cost, and, in one line, the gist.

    width: columns there are; regimes that do not fit side by side follow below. Where there is
    room beside them, the odds are drawn as bars too.
    """
    parts = [paragraph(head(result), width)]
    regimes = [batch.regime for batch in result.batches]
    for title, columns in sections(result).items():
        bars = _bars(result) if title == ODDS else None
        parts += _section(title, regimes, columns, width, bars)
    if result.differences:
        parts.append(f"{differences_title(result)}\n{table(DIFFERENCE, differences(result), '  ')}")
    if result.precision is not None and not result.precision.reached:
        parts.append(paragraph(_too_few(result, result.precision), width))
    return "\n\n".join((*parts, paragraph(verdict(result), width)))


def sections(result: Comparison) -> dict[str, list[Column]]:
    """The tables of a comparison by their titles, each as one column a regime."""
    batches, stages = result.batches, _stages_lived(result)
    happened = [c for c in result.model.deaths if any(deaths(batch)[c] for batch in batches)]
    return {
        ODDS: _odds(result),
        **_what_it_takes(result),
        "Care misses a life": [_misses(batch, stages) for batch in batches],
        "Deaths, share of lives": [_deaths(batch, happened) for batch in batches],
        "Work": [_work(batch) for batch in batches],
    }


def _what_it_takes(result: Comparison) -> dict[str, list[Column]]:
    """What the aim takes and how many lives had it, if it takes anything."""
    found = [requirements(batch, result.aim) for batch in result.batches]
    if not any(requirement.what for requirement in found[0]):
        return {}
    forms = {requirement.form for requirement in found[0]}
    before = forms.pop() if len(forms) == 1 else None

    def row(form: str, what: str) -> str:
        if not what:
            return f"became {form}"
        return what if form == before else f"as {form}: {what}"

    title = f"What {result.aim} takes, share of lives, then of those that outgrew "
    columns = [{row(f, what): share(met) if met else NOBODY for f, what, met in c} for c in found]
    return {title + (before or "the form before"): columns}


def hours(found: Hours) -> Column:
    """When care misses happen, the shortest times of day and days of life with half of them."""
    if not found.misses.any():
        return dict.fromkeys(HOURS, "no misses")
    by_hour, by_day, (day, hour) = found.half_by_hour, found.half_by_day, found.worst
    days = f"days {by_day.first + 1} to {by_day.last + 1}"
    if by_day.first == by_day.last:
        days = f"day {by_day.first + 1}"
    cells = (
        f"{by_hour.first:02}:00 to {by_hour.last + 1:02}:00: {_about(by_hour.share)}",
        f"{days}: {_about(by_day.share)}",
        f"day {day + 1}, {hour:02}:00: {missed_in(found, day, hour)}",
    )
    return dict(zip(HOURS, cells, strict=True))


def missed_in(found: Hours, day: int, hour: int) -> str:
    """The misses in an hour of a day, from 0: their mean a life or, of a single life, how many."""
    if len(found) > 1:
        return f"{mean(found.mean(day, hour))} a life"
    return counted(int(found.misses[0, day, hour]), "care miss")


def _about(ratio: Interval) -> str:
    """A share of misses in per cent with the half-width of its interval, if that is known."""
    half = 100 * (ratio.high - ratio.estimate)
    if not half > 0:
        return f"{100 * ratio.estimate:.0f} %"
    digits = decimals(half)
    return f"{100 * ratio.estimate:.{digits}f} ± {half:.{digits}f} %"


def differences_title(result: Comparison) -> str:
    """What the differences are of."""
    first = result.batches[0].regime
    return f"Odds of {result.aim}, difference from {first} on the same lives"


def differences(result: Comparison) -> list[Row]:
    """The paired differences, a row each under the head DIFFERENCE."""
    return [_difference(difference) for difference in result.differences]


def head(result: Comparison) -> str:
    """What was lived, and how its intervals are made."""
    first = result.batches[0]
    methods = "Wilson's for shares, Student's for means" + (
        ", Newcombe's for paired differences, with McNemar's exact test"
        if result.differences
        else ""
    )
    return (
        f"{result.model.id}: {counted(len(first))} under each regime{_as_many(result.precision)}, "
        f"seed {first.seed}, followed to {_end(first)}, {_engines(result)}. "
        f"Each interval is of 95 %: {methods}."
    )


def _as_many(precision: Precision | None) -> str:
    if precision is None or not precision.reached:
        return ""
    return f", as many as it took for {half_width(precision.wanted)}"


def _too_few(result: Comparison, precision: Precision) -> str:
    """What a precision that was not reached came to, and what it would take."""
    of = "the widest difference" if result.differences else f"the odds of {result.aim}"
    needed = len(result) * (precision.half_width / precision.wanted) ** 2
    return (
        f"NOT AS PRECISE AS WANTED: {len(result)} lives, the most allowed, leave {of} open by "
        f"{half_width(precision.half_width)}; {half_width(precision.wanted)} would take about "
        f"{float(f'{needed:.2g}'):.0f} (--lives allows more)."
    )


def half_width(x: float) -> str:
    """Half the width of an interval of shares."""
    return f"± {100 * x:.2g} percentage points"


DIFFERENCE = ("", "percentage points", "p-value", "pairing gains")


def _difference(difference: Difference) -> Row:
    p, gain = difference.p_value, difference.pairing_gain
    if math.isnan(gain):
        gained = "every life differs" if difference.interval.estimate else "no life differs"
    else:
        gained = f"{gain:.1f} times the lives"
    said = "< 0.0001" if p < 0.0001 else f"{p:.2g}" if p < 0.1 else f"{p:.2f}"
    return (difference.of, points(difference.interval), said, gained)


def _engines(result: Comparison) -> str:
    """What lived them, in words."""
    used = list(dict.fromkeys(batch.engine for batch in result.batches))
    return f"on the {' and the '.join(used)} engine{'s' if len(used) > 1 else ''}"


def _section(
    title: str,
    regimes: Sequence[str],
    columns: Sequence[Column],
    width: int,
    bars: Sequence[Row] | None = None,
) -> Iterator[str]:
    """A table with one column a regime, in as many parts as the width asks for.

    bars: for each regime those beside its cells, drawn if the parts stay as they are without.
    """
    labels = list(columns[0])
    room = width - 2 - max(map(len, labels))
    cells = [_aligned(list(column.values())) for column in columns]
    parts = _parts(regimes, cells, room)
    if bars is not None:
        barred = _parts(regimes, list(map(_beside, cells, bars)), room)
        as_before = list(map(len, barred)) == list(map(len, parts))
        if as_before and all(_width(part) <= room for part in barred):
            parts = barred
    for part in parts:
        head, *body = zip(("", *labels), *part, strict=True)
        yield f"{title}\n{table(head, body, '  ')}"


def _beside(cells: Sequence[str], bars: Sequence[str]) -> list[str]:
    """Cells with a bar to the right of each, all from one place on."""
    room = max(map(len, cells))
    return [f"{cell:{room}}  {bar}".rstrip() for cell, bar in zip(cells, bars, strict=True)]


def _parts(regimes: Sequence[str], cells: Sequence[Sequence[str]], room: int) -> list[list[Row]]:
    """Columns under their regimes, as many side by side as there is room for."""
    parts: list[list[Row]] = []
    for column in ((regime, *below) for regime, below in zip(regimes, cells, strict=True)):
        if parts and _width([*parts[-1], column]) <= room:
            parts[-1].append(column)
        else:
            parts.append([column])
    return parts


def _width(columns: Sequence[Row]) -> int:
    return sum(2 + max(map(len, column)) for column in columns)


def _odds(result: Comparison) -> list[Column]:
    labels = {o: f"{o} (the aim)" if o == result.aim else o for o in _outcomes(result)}
    return [
        {label: share(batch.share(outcome)) for outcome, label in labels.items()}
        for batch in result.batches
    ]


def _bars(result: Comparison) -> list[Row]:
    """For each regime the odds of each outcome as bars."""
    return [
        tuple(bar(batch.share(outcome).estimate) for outcome in _outcomes(result))
        for batch in result.batches
    ]


def _outcomes(result: Comparison) -> list[str]:
    """The outcomes of some life, in the order of the model."""
    known = (*result.model.forms, *result.model.deaths, UNDECIDED)
    return [o for o in known if any(o in batch.counts for batch in result.batches)]


def _misses(batch: Batch, stages: Sequence[str]) -> Column:
    by_cause, by_stage, lived = misses_by_cause(batch), misses_by_stage(batch), _lived(batch)
    return {
        "in all": mean(by_cause["total"]),
        **{f"cause {cause}": mean(by_cause[cause]) for cause in batch.model.causes},
        **{f"as {s}": mean(by_stage[s]) if s in lived else NOBODY for s in stages},
    }


def _stages_lived(result: Comparison) -> list[str]:
    """The stages that some life of the comparison was followed in."""
    lived = set().union(*map(_lived, result.batches))
    return [stage for stage in result.model.stages if stage in lived]


def _lived(batch: Batch) -> set[str]:
    """The stages, but for dormant ones, that some life of the batch was followed in."""

    def followed(form: str) -> bool:
        entered = batch.values[f"entered_s.{form}"]
        return bool(((entered >= 0) & (entered < batch.values["end_s"])).any())

    forms = batch.model.forms
    return {forms[form].stage for form in forms if not forms[form].dormant and followed(form)}


def _deaths(batch: Batch, causes: Sequence[str]) -> Column:
    """Those before the outcome; all, where lives are followed beyond it; and some causes."""
    died, n = deaths(batch), len(batch)
    column = {"before the outcome": share(early_deaths(batch))}
    if not batch.span.to_outcome:
        column["in all"] = share(wilson(sum(died.values()), n))
    return column | {f"cause {cause}": share(wilson(died[cause], n)) for cause in causes}


def _work(batch: Batch) -> Column:
    return {
        "presses a day": mean(per_day(batch, "presses")),
        "presses a day in quiet hours": mean(per_day(batch, "quiet_presses")),
        "checks a day": mean(per_day(batch, "checks")),
        "checks skipped a day": mean(per_day(batch, "checks_skipped")),
        "days followed": mean(mean_interval(batch.values["end_s"] / DAY)),
    }


def searched(found: Search) -> str:
    """What a search for a life found, or what it says that it found none."""
    of = counted(found.lives)
    if found.number is not None:
        return f"{found.outcome}: life {found.number} is the first, of {of} looked at"
    bound = _percent(found.bound, found.bound)
    return (
        f"{found.outcome}: none of {of}; its odds are at most {bound} %, the exact one-sided 95 % "
        "bound. To look at more: --lives"
    )


def closer(result: Comparison, width: int = 80) -> str | None:
    """How to look closer at a life that missed the aim, if one did; the command is not broken."""
    command = repeat.run(result.batches, result.aim)
    if command is None:
        return None
    said = "To see what went wrong in one:"
    line = f"{said} {command}"
    return line if len(line) <= width else f"{said}\n  {command}"


def verdict(result: Comparison) -> str:
    """What the numbers say of the aim, in words, and no more."""
    first = result.batches[0]
    by = "" if first.span.horizon is None else f" by {_end(first)}"
    became = f"{share(first.share(result.aim))} became {result.aim}{by}"
    said = [f"Of {counted(len(first))} under {first.regime}, {became}"]
    for phrase, differences in _by_phrase(result.differences).items():
        said.append(f"{phrase} under {', '.join(map(_named, differences))}")
    return "; ".join(said) + "."


def _by_phrase(differences: Sequence[Difference]) -> dict[str, list[Difference]]:
    found: dict[str, list[Difference]] = {}
    for difference in differences:
        if not difference.shown:
            phrase = "no difference shown"
        elif difference.interval.low > 0:
            phrase = f"{difference.aim} was likelier"
        else:
            phrase = f"{difference.aim} was less likely"
        found.setdefault(phrase, []).append(difference)
    return found


def _named(difference: Difference) -> str:
    """The regime, and by how much it differs if it does."""
    if not difference.shown:
        return difference.of
    low, high = sorted(abs(100 * x) for x in difference.interval[1:])
    digits = decimals((high - low) / 2)
    return f"{difference.of} (by {low:.{digits}f} to {high:.{digits}f} percentage points)"


def counted(n: int, what: str = "life") -> str:
    """So many of something."""
    plural = {"life": "lives", "care miss": "care misses"}.get(what, f"{what}s")
    return f"1 {what}" if n == 1 else f"{n} {plural}"


def _end(batch: Batch) -> str:
    """How far lives were followed, in words."""
    if batch.span.horizon is not None:
        return f"the end of {batch.span}"
    return f"{'its' if len(batch) == 1 else 'their'} {batch.span}"
