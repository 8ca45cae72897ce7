"""Numbers and tables as text: aligned, few digits, the uncertainty beside each estimate."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence

from petsim.study.batch import Batch
from petsim.study.compare import (
    Comparison,
    Difference,
    deaths,
    misses_by_cause,
    misses_by_stage,
    per_day,
)
from petsim.study.stats import Interval, wilson

Row = tuple[str, ...]


def table(head: Row, rows: Sequence[Row], indent: str = "") -> str:
    """Rows under a head, the first column to the left, the others aligned to it."""
    widths = [max(len(row[i]) for row in (head, *rows)) for i in range(len(head))]
    lines = ("  ".join(cell.ljust(w) for cell, w in zip(row, widths, strict=True)) for row in (head, *rows))
    return "\n".join((indent + line).rstrip() for line in lines)


def share(interval: Interval, n: int) -> str:
    """A share as percent with its interval; one that never happened by its upper bound."""
    if interval.estimate == 0:
        return f"0 of {n} (at most {_percent(interval.high, interval.high)} %)"
    half = (interval.high - interval.low) / 2
    value, low, high = (_percent(x, half) for x in interval)
    return f"{value} % ({low} to {high})"


def mean(interval: Interval) -> str:
    """A mean with the half-width of its interval."""
    half = interval.high - interval.estimate
    if math.isnan(half):
        return f"{interval.estimate:.3g} (one life: spread unknown)"
    if half == 0:
        return f"{interval.estimate:.4g}"
    digits = _decimals(half)
    return f"{interval.estimate:.{digits}f} ± {half:.{digits}f}"


def _percent(x: float, uncertainty: float) -> str:
    return f"{100 * x:.{_decimals(100 * uncertainty)}f}"


def _decimals(uncertainty: float) -> int:
    """Decimals that show two digits of the uncertainty, or none at all."""
    if uncertainty <= 0:
        return 1
    return min(6, max(0, 1 - math.floor(math.log10(uncertainty))))


def comparison(result: Comparison, width: int = 80) -> str:
    """A whole comparison: the odds, what went wrong, what it cost, and what that says."""
    return "\n".join(_comparison(result, width))


def _comparison(result: Comparison, width: int) -> Iterator[str]:
    first = result.batches[0]
    n = len(first)
    yield (
        f"{result.model.id}: {n} {_lives(n)} under each regime, seed {first.seed}, "
        f"followed to {_span(first)}."
    )
    yield "Intervals are 95 %: Wilson's for shares, Student's for means."
    yield ""
    outcomes = list(dict.fromkeys(outcome for b in result.batches for outcome in b.counts))
    yield from _section(
        "Odds of each outcome",
        {o + (" (the aim)" if o == result.aim else ""): _share_of(o) for o in outcomes},
        result.batches,
        width,
    )
    yield from _section(
        "Care misses a life",
        {"in all": lambda b: mean(misses_by_cause(b)["total"])}
        | {f"cause {c}": _mean_of(misses_by_cause, c) for c in result.model.causes}
        | {f"as {s}": _mean_of(misses_by_stage, s) for s in _stages_lived(result)},
        result.batches,
        width,
    )
    yield from _section("Deaths", _deaths(result), result.batches, width)
    yield from _section(
        "A day of life costs",
        {
            "presses": lambda b: mean(per_day(b, "presses")),
            "in quiet hours": lambda b: mean(per_day(b, "quiet_presses")),
            "checks": lambda b: mean(per_day(b, "checks")),
            "checks skipped": lambda b: mean(per_day(b, "checks_skipped")),
        },
        result.batches,
        width,
    )
    if result.differences:
        yield f"Difference from {first.regime} on the same lives, {result.aim}"
        yield table(
            ("", "points"), [(d.of, points(d.interval)) for d in result.differences], "  "
        )
        yield ""
    yield verdict(result)


Cell = Callable[[Batch], str]


def _section(
    title: str, rows: dict[str, Cell], batches: Sequence[Batch], width: int
) -> Iterator[str]:
    """A table with one column a regime, in as many parts as the width asks for."""
    columns = [(b.regime, *(cell(b) for cell in rows.values())) for b in batches]
    labels = ("", *rows)
    room = width - 2 - max(map(len, labels))
    while columns:
        taken = 1
        while taken < len(columns) and sum(2 + _width(c) for c in columns[: taken + 1]) <= room:
            taken += 1
        head, *body = zip(labels, *columns[:taken], strict=True)
        yield title
        yield table(head, body, "  ")
        yield ""
        columns = columns[taken:]


def _width(column: Row) -> int:
    return max(map(len, column))


def _share_of(outcome: str) -> Cell:
    return lambda b: share(b.share(outcome), len(b))


def _mean_of(found: Callable[[Batch], dict[str, Interval]], key: str) -> Cell:
    return lambda b: mean(found(b)[key])


def _stages_lived(result: Comparison) -> list[str]:
    """The stages some life of the comparison was lived in, as far as lives were followed."""
    forms = result.model.forms
    lived = {
        forms[f].stage
        for b in result.batches
        for f in forms
        if not forms[f].dormant and ((b.lives[f"entered_s.{f}"] >= 0) & (b.lives[f"entered_s.{f}"] < b.lives["end_s"])).any()
    }
    return [stage for stage in result.model.stages if stage in lived]


def _deaths(result: Comparison) -> dict[str, Cell]:
    counted = [deaths(b) for b in result.batches]
    happened = [c for c in result.model.deaths if any(d[c] for d in counted)]
    rows: dict[str, Cell] = {c: _death_of(c) for c in happened}
    return {"in all": lambda b: _shared(sum(deaths(b).values()), len(b))} | rows


def _death_of(cause: str) -> Cell:
    return lambda b: _shared(deaths(b)[cause], len(b))


def _shared(x: int, n: int) -> str:
    return share(wilson(x, n), n)


def points(interval: Interval) -> str:
    """A difference of shares in percentage points with its interval."""
    half = 100 * (interval.high - interval.low) / 2
    digits = _decimals(half)
    value, low, high = (f"{100 * x:+.{digits}f}" for x in interval)
    return f"{value} ({low} to {high})"


def verdict(result: Comparison) -> str:
    """What the numbers say, in words, and no more."""
    first = result.batches[0]
    odds = first.share(result.aim)
    said = f"Under {first.regime} {result.aim} came of {share(odds, len(first))} of lives"
    return "; ".join((said, *(_said(d) for d in result.differences))) + "."


def _said(difference: Difference) -> str:
    if not difference.shown:
        return f"no difference shown under {difference.of}"
    low, high = sorted(abs(100 * x) for x in difference.interval[1:])
    digits = _decimals((high - low) / 2)
    direction = "likelier" if difference.interval.low > 0 else "less likely"
    return (
        f"under {difference.of} it was {low:.{digits}f} to {high:.{digits}f} points {direction}"
    )


def _lives(n: int) -> str:
    return "life" if n == 1 else "lives"


def _span(batch: Batch) -> str:
    return {"outcome": "their outcome", "death": "their death"}.get(
        str(batch.span), f"day {batch.span}"
    )
