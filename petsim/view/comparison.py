"""A comparison as text: the odds, what went wrong, what it cost, and the gist in a sentence."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import takewhile

from petsim.study.batch import Batch
from petsim.study.compare import Comparison, Difference
from petsim.study.measures import ODDS, WORTH, Estimator, Measure, table_rows
from petsim.study.precision import Precision
from petsim.study.requirements import untold
from petsim.study.stats import Interval
from petsim.view import aims, reasons, repeat
from petsim.view.assumed import assumed
from petsim.view.numbers import bar, distance, half_width, mean, p_value, per_cent, points, share
from petsim.view.tables import Column, Row, counted, paragraph, side_by_side, table, within

NOBODY = "no life got there"
MOST_IN_WORDS = 3
"""Regimes whose differences the answer says in words; of more there is a table."""
DIFFERENCE = ("", "percentage points", "p-value", "pairing gains")
"""The head of the table of differences."""


def comparison(result: Comparison, width: int = 80, *, why: bool = False) -> str:
    """Return a whole comparison: the answer, what was simulated, all measures, and the methods.

    Args:
        result: the comparison.
        width: characters of a line; regimes that do not fit side by side follow below. Where there
            is room beside them, the odds are drawn as bars too.
        why: whether to say why care misses happened, for which the first lives are simulated again.
    """
    parts = [paragraph(gist(result), width)]
    if result.precision is not None and not result.precision.reached:
        parts.append(paragraph(too_few(result, result.precision), width))
    parts += [paragraph(text, width) for text in (head(result), assumed(result.model)) if text]
    if len(result.batches) > MOST_IN_WORDS:
        ranked = f"{aims.title(result.aim)}, {aims.words(result.aim).best} first"
        parts.append(f"{ranked}\n{table((), list(_ranked(result)), '  ')}")
    regimes = [batch.regime for batch in result.batches]
    for title, columns in sections(result).items():
        bars = _bars(result) if title == ODDS else None
        parts += side_by_side(title, regimes, columns, width, bars)
    if why:
        traced = result.miss_reasons()
        columns, title = reasons.columns(traced), reasons.title(traced)
        parts += side_by_side(title, regimes[: len(traced)], columns, width)
        parts.append(paragraph(reasons.FIRST, width))
    if result.differences:
        title = paragraph(differences_title(result), width)
        parts.append(f"{title}\n{within(DIFFERENCE, differences(result), width)}")
    parts += [
        paragraph(sentence, width) for sentence in (left_out(result), methods(result)) if sentence
    ]
    return "\n\n".join(parts)


def left_out(result: Comparison) -> str:
    """Return which conditions of the aim no table can show; nothing if all are shown."""
    aim = result.aim.main
    conditions = untold(result.model, aim)
    if not conditions:
        return ""
    return (
        f"What {aim} takes is not all shown: not {' and '.join(conditions)}, as the summary of a "
        "life does not say how many there were then."
    )


def sections(result: Comparison) -> dict[str, list[Column]]:
    """Return the tables of a comparison by their titles, each with one column a regime."""
    tables: dict[str, list[Column]] = {}
    for measure, intervals in table_rows(result.batches, result.aim):
        columns = tables.setdefault(measure.table, [{} for _ in result.batches])
        for column, batch, interval in zip(columns, result.batches, intervals, strict=True):
            reached = measure.reached(batch)
            column[measure.label] = _cell(measure, interval) if reached else NOBODY
    return tables


def _cell(measure: Measure, interval: Interval) -> str:
    if math.isnan(interval.estimate):
        return NOBODY
    return mean(interval) if measure.estimator is Estimator.MEAN else share(interval)


def _ranked(result: Comparison) -> Iterator[Row]:
    """The odds of the aim, or the worth, under each regime, with a bar, the best first."""
    for place in result.by_odds:
        batch = result.batches[place]
        odds = result.aim.of(batch)
        yield batch.regime, share(odds), bar(odds.estimate)


def _bars(result: Comparison) -> list[Row]:
    """For each regime the odds of each outcome as bars."""
    # the odds come first, but for a worth, and no other measure need be estimated again
    all_rows = table_rows(result.batches, result.aim)
    rows = takewhile(lambda row: row[0].table in (WORTH, ODDS), all_rows)
    odds = [[bar(x.estimate) for x in own] for measure, own in rows if measure.table == ODDS]
    return list(zip(*odds, strict=True))


def differences_title(result: Comparison) -> str:
    """Return what the differences are of."""
    first = result.batches[0].regime
    return f"{aims.title(result.aim)}, difference from {first} on the same lives"


def differences(result: Comparison) -> list[Row]:
    """Return the paired differences, a row each under the head DIFFERENCE."""
    return [
        (each.of, points(each.interval), p_value(each.p_value), _gain(each))
        for each in result.differences
    ]


def _gain(difference: Difference) -> str:
    gain = difference.pairing_gain
    if math.isnan(gain):
        return "every life differs" if difference.interval.estimate else "no life differs"
    return f"{gain:.1f} times the lives"


def head(result: Comparison) -> str:
    """Return a sentence on what was simulated."""
    first = result.batches[0]
    each = " under each regime" if len(result.batches) > 1 else ""
    return (
        f"{result.model.id}: {counted(len(first))}{each}{_as_many(result.precision)}, "
        f"seed {first.seed}, followed to {_end(first)}, {_engines(result)}. "
        f"{aims.worths(result.aim)}"
    ).rstrip()


def methods(result: Comparison) -> str:
    """Return a sentence on how the intervals are made."""
    paired = ", Newcombe's for differences (p-values: McNemar's exact test)"
    of_worths = ""
    if not result.aim.is_share:
        of_worths, paired = ", Zou's for worths", " and differences (p-values: paired t test)"
    return (
        f"All intervals are of 95 %: Wilson's for shares, Student's for means{of_worths}"
        f"{paired if result.differences else ''}."
    )


def _as_many(precision: Precision | None) -> str:
    if precision is None or not precision.reached:
        return ""
    return f", as many as it took for {half_width(precision.wanted)}"


def _end(batch: Batch) -> str:
    """How far lives were followed, in words."""
    if batch.span.horizon is not None:
        return f"the end of {batch.span}"
    return f"{'its' if len(batch) == 1 else 'their'} {batch.span}"


def _engines(result: Comparison) -> str:
    """The engines that lived the lives, in words."""
    names = list(dict.fromkeys(batch.engine for batch in result.batches))
    return f"on the {' and the '.join(names)} engine{'s' if len(names) > 1 else ''}"


def too_few(result: Comparison, precision: Precision) -> str:
    """Return how precise the lives were where more were needed, and about how many would do."""
    widest = "the widest difference" if result.differences else f"the {result.aim.figure}"
    needed = len(result) * (precision.half_width / precision.wanted) ** 2
    return (
        f"NOT AS PRECISE AS WANTED: {len(result)} lives, the most allowed, leave {widest} open by "
        f"{half_width(precision.half_width)}; {half_width(precision.wanted)} would take about "
        f"{float(f'{needed:.2g}'):.0f} (--lives allows more)."
    )


def gist(result: Comparison) -> str:
    """Return what the numbers say of the aim, in a sentence, and no more than they say."""
    clauses = [_of_first(result)]
    many = len(result.batches) > MOST_IN_WORDS
    odds = {batch.regime: result.aim.of(batch) for batch in result.batches}
    for phrase, alike in _by_phrase(result.differences).items():
        named = ", ".join(_named(each, odds[each.of], brief=many) for each in alike)
        clauses.append(f"{phrase} under {named}")
    return "; ".join(clauses) + "."


def _of_first(result: Comparison) -> str:
    """The odds of the aim, or the worth, under the first regime, as the beginning of a sentence."""
    first, aim = result.batches[0], result.aim
    by_then = "" if first.span.horizon is None else f" by {_end(first)}"
    lives, said = f"{counted(len(first))} under {first.regime}", share(aim.of(first))
    if aim.is_share:
        return f"Of {lives}, {said} became {aim}{by_then}"
    return f"The {aim.figure} of {lives} was {said}{aims.of_full(aim)}{by_then}"


def _by_phrase(differences: Sequence[Difference]) -> dict[str, list[Difference]]:
    """The differences by what they show."""
    by_phrase: dict[str, list[Difference]] = {}
    for difference in differences:
        if not difference.shown:
            phrase = "no difference shown"
        else:
            aim = difference.aim
            said = aims.words(aim)
            change = said.more if difference.interval.low > 0 else said.less
            phrase = f"{aim if aim.is_share else 'it'} was {change}"
        by_phrase.setdefault(phrase, []).append(difference)
    return by_phrase


def _named(difference: Difference, odds: Interval, *, brief: bool) -> str:
    """The regime, its odds, and by how much they differ if they do, unless it is to be brief."""
    by = f", by {distance(*difference.interval[1:])}" if difference.shown and not brief else ""
    return f"{difference.of} ({per_cent(odds)}{by})"


def closer(result: Comparison, width: int = 80) -> str | None:
    """Return how to look closer at a life that missed the aim, or None if none did.

    Args:
        result: the comparison.
        width: characters of a line; the command is never broken, but may have a line of its own.
    """
    command = repeat.run(result.batches, result.aim)
    if command is None:
        return None
    why = "To see what went wrong in one:"
    line = f"{why} {command}"
    return line if len(line) <= width else f"{why}\n  {command}"
