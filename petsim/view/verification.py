"""The checks of `petsim verify` as text and as plain data."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Any

from petsim.theory.verdicts import Outcome, Verdict
from petsim.view.numbers import decimals
from petsim.view.tables import Row, paragraph, table


def report(outcomes: Sequence[Outcome], seconds: float, width: int = 80) -> str:
    """All checks with their figures, and a summary."""
    return "\n\n".join((*(check(o, width) for o in outcomes), summary(outcomes, seconds, width)))


def brief(outcomes: Sequence[Outcome], seconds: float, width: int = 80) -> str:
    """A line for each check, the figures of those that fail, and a summary."""
    rows = [
        (
            "holds" if outcome.holds else "FAILS",
            outcome.check.name,
            f"{len(next(iter(outcome.verdicts.values())))} figures",
        )
        for outcome in outcomes
    ]
    failed = (check(outcome, width) for outcome in outcomes if not outcome.holds)
    return "\n\n".join((table(("", "", ""), rows), *failed, summary(outcomes, seconds, width)))


def check(outcome: Outcome, width: int = 80) -> str:
    """A check: its name, its source, and its figures, case by case."""
    source = paragraph(f"Source: {outcome.check.source}", width - 2)
    lines = [outcome.check.name.capitalize(), *(f"  {line}" for line in source.splitlines())]
    for case, head, rows in cases(outcome):
        lines += [f"  {case}"] if case else []
        lines.append(table(head, rows, "    "))
    return "\n".join(lines)


def cases(outcome: Outcome) -> Iterator[tuple[str, Row, list[Row]]]:
    """Yield each case of a check with the head and the rows of the table of its figures."""
    figures = list(zip(*outcome.verdicts.values(), strict=True))
    for case, same in groupby(figures, key=lambda row: row[0].case):
        yield case, *_figures(list(outcome.verdicts), list(same))


def _figures(engines: Sequence[str], rows: Sequence[Sequence[Verdict]]) -> tuple[Row, list[Row]]:
    """The table of the figures of a case: once, if they are the same on all engines."""
    if all(len(set(row)) == 1 for row in rows):
        engines, rows = ["got"], [row[:1] for row in rows]
    head = ("", "expected", *(name for engine in engines for name in (engine, "allowed")), "")
    return head, [_row(row) for row in rows]


def _row(verdicts: Sequence[Verdict]) -> Row:
    got = [
        cell for verdict in verdicts for cell in (_number(verdict, verdict.got), _allowed(verdict))
    ]
    holds = all(verdict.holds for verdict in verdicts)
    first = verdicts[0]
    return (first.figure, _number(first, first.expected), *got, "holds" if holds else "FAILS")


def _number(verdict: Verdict, x: float) -> str:
    """A figure, with as many decimals as the allowed difference has in two digits."""
    return f"{x:.{decimals(verdict.tolerance)}f}" if verdict.tolerance else f"{x:.10g}"


def _allowed(verdict: Verdict) -> str:
    tolerance = verdict.tolerance
    return f"± {tolerance:.{decimals(tolerance)}f}" if tolerance else "exactly"


def summary(outcomes: Sequence[Outcome], seconds: float, width: int = 80) -> str:
    """The number of figures that hold, and those that do not."""
    figures = [
        v for outcome in outcomes for verdicts in outcome.verdicts.values() for v in verdicts
    ]
    failed = [*_failures(outcomes)]
    names = [*outcomes[0].verdicts]
    engines = f"{' and '.join(names)} engine{'s' if len(names) > 1 else ''}"
    if not failed:
        count = f"All {len(figures)} figures of {len(outcomes)} checks hold"
    else:
        count = f"{len(failed)} of {len(figures)} figures of {len(outcomes)} checks FAIL"
    line = paragraph(f"{count}, on the {engines}, in {seconds:.0f} s.", width)
    return "\n".join((line, *failed))


def _failures(outcomes: Sequence[Outcome]) -> Iterator[str]:
    for outcome in outcomes:
        for engine, verdicts in outcome.verdicts.items():
            yield from (f"  {outcome.check.name}, {engine}: {v}" for v in verdicts if not v.holds)


def as_rows(outcome: Outcome) -> list[dict[str, Any]]:
    """A check as plain data, one row a figure and engine."""
    return [
        {
            "check": outcome.check.name,
            "source": outcome.check.source,
            "engine": engine,
            "what": verdict.what,
            "expected": verdict.expected,
            "got": verdict.got if math.isfinite(verdict.got) else None,
            "tolerance": verdict.tolerance,
            "holds": verdict.holds,
        }
        for engine, verdicts in outcome.verdicts.items()
        for verdict in verdicts
    ]
