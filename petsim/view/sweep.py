"""Sweeps as text: the plan of one, the odds in its cells, and which unknown matters."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING, Any, NamedTuple

from petsim.errors import legible
from petsim.spec.document import plain_number
from petsim.spec.quantities import duration_text
from petsim.study.plan import SweepPlan
from petsim.study.results import Sweep
from petsim.study.stats import Interval
from petsim.view import repeat
from petsim.view.numbers import decimals, points, share
from petsim.view.progress import so_far
from petsim.view.tables import Row, counted, paragraph, table

if TYPE_CHECKING:
    import pandas as pd

NONE_SEEN, NEAR_ALL, NOT_KNOWN = "none seen", "about 100", "not known yet"
MOST_ROWS = 40
"""Cells that are listed; of more cells, only the best."""


def plan(estimate: SweepPlan, width: int = 80) -> str:
    """What a sweep would do, and the time that it would take."""
    size = (
        f"{counted(estimate.cells, 'cell')} of {counted(estimate.design.lives, 'life')} each: "
        f"{estimate.cells * estimate.design.lives} in all, of which {estimate.done} are done."
    )
    axes = [
        paragraph(f"  {axis.path}: {_values(axis.as_data())}", width)
        for axis in estimate.design.axes
    ]
    time = (
        f"About {_time(estimate.seconds)} to go: {counted(estimate.tried, 'life')} just lived took "
        f"{estimate.milliseconds:.2g} ms each, and there are "
        f"{counted(estimate.workers, 'processor')}."
    )
    return "\n".join((paragraph(size, width), *axes, paragraph(time, width)))


def described(swept: Sweep, width: int = 80) -> str:
    """What a sweep is, how much of it was lived and when, and the command that goes on with it."""
    design = swept.design
    cells = swept.cells
    chosen = "every combination"
    if design.sample is not None:
        chosen = f"by {design.sample[1]} points of {design.sample[0]}"
    followed = f"each followed to its {design.until or 'outcome'}"
    if design.days is not None:
        followed = f"each followed for {plain_number(design.days)} days"
    lived = int(cells["lives"].sum())
    rows = [
        ("model", Path(design.model[0]).stem),
        ("regimes", ", ".join(regime.name for regime in design.regimes)),
        *((axis.path, _values(axis.as_data())) for axis in design.axes),
        ("cells", f"{len(cells)}, {chosen}"),
        ("lives", f"{design.lives} in each cell, seed {design.seed}, {followed}"),
        ("aim", design.aim),
        ("keeps", "every life's row" if design.keep else "sums and outcomes"),
        ("lived", f"{lived} of {len(cells) * design.lives} lives"),
        *(("session", each.span) for each in swept.sessions),
        *(("failed", f"cell {cell}: {reason}") for cell, reason in swept.failed.items()),
    ]
    head = f"The sweep {legible(str(swept.path))}, by petsim {swept.provenance['petsim']}"
    again = f"To go on with it, or to see what came of it:\n  {repeat.sweep(swept)}"
    return "\n".join((head, _described(rows, width), "", again))


def _described(rows: Sequence[tuple[str, str]], width: int) -> str:
    """What is said of each thing beside its name, or below it if that is long."""
    broadest = max(len(name) for name, _ in rows)
    return "\n".join(
        fill(
            text,
            width,
            initial_indent=f"  {name:{broadest}}  ",
            subsequent_indent=" " * (broadest + 4),
            break_on_hyphens=False,
        )
        for name, text in rows
    )


def sweep(swept: Sweep, width: int = 80) -> str:
    """The odds in each cell of a sweep, their difference from the first, and the gist of it."""
    failed = "\n".join(f"cell {cell} failed: {reason}" for cell, reason in swept.failed.items())
    parts = [paragraph(head(swept), width)]
    titles, listed = rows(swept)
    lived = len(swept.odds())
    if listed:
        parts.append(table(titles, listed))
    if lived > len(listed):
        parts.append(f"The best {MOST_ROWS} of {lived} cells; petsim export writes all.")
    if listed:
        parts.append(paragraph(gist(swept), width))
    return "\n\n".join(filter(None, (*parts, failed)))


def head(swept: Sweep) -> str:
    """The number of lives lived so far, and the methods of the intervals."""
    cells, file = swept.cells, legible(str(swept.path))
    lived = f"{int(cells['lives'].sum())} of {len(cells) * swept.design.lives} lives."
    counts = f"{file}: {counted(len(cells), 'cell')}, {lived} {so_far(swept)}".rstrip()
    return (
        f"{counts} Odds of {swept.design.aim} with Wilson's 95 % interval, and their difference "
        "from the first cell's on the same lives, with Newcombe's."
    )


def rows(swept: Sweep) -> tuple[Row, list[Row]]:
    """The head of the table, and a row for each cell that was lived, or for the best of many."""
    odds, cells = swept.odds(), swept.cells
    regime = ["regime"] if len(swept.design.regimes) > 1 else []
    titles = [*regime, *(axis.path for axis in swept.design.axes)]
    head = ("cell", *titles, "odds", "difference, points")
    if odds.empty:
        return head, []
    first, chosen = int(odds.index[0]), odds.index
    if len(odds) > MOST_ROWS:
        best = odds.sort_values("estimate", ascending=False, kind="stable")
        chosen = best.index[:MOST_ROWS]
    differences, listed = swept.differences(first), []
    for cell in map(int, chosen):
        values = values_of_cell(swept, cells, cell)
        difference = "" if cell == first else points(interval_of(differences, cell))
        of_cell = share(interval_of(odds, cell))
        listed.append((str(cell), *(values[title] for title in titles), of_cell, difference))
    return head, listed


def gist(swept: Sweep) -> str:
    """What a sweep says of the aim, in a sentence: the best cell, those as good, the worst."""
    odds = swept.odds().sort_values("estimate", ascending=False, kind="stable")
    (best, *others), estimates = map(int, odds.index), odds["estimate"]
    likeliest = f"{_where(swept, best)}: {share(interval_of(odds, best))}"
    if not others:
        return f"Odds of {swept.design.aim} {likeliest}."
    so_far = "" if swept.finished else f" lived so far, of {len(swept.cells)}"
    sentence = f"Of {len(odds)} cells{so_far}, {swept.design.aim} was likeliest {likeliest}"
    differences = swept.differences(best).loc[others]
    alike = (differences["low"] <= 0) & (differences["high"] >= 0)
    equal = estimates[others] == estimates[best]
    as_good, unclear = int(equal.sum()), int((alike & ~equal).sum())
    if as_good:
        sentence += f", and just as likely in {counted(as_good, 'other cell')}"
    if unclear:
        sentence += f"; no difference shown in {unclear} more"
    worst = next((cell for cell in reversed(others) if not alike[cell]), None)
    if worst is None:
        return f"{sentence}."
    sentence += f"; least likely {_where(swept, worst)}: {share(interval_of(odds, worst))}"
    as_bad = int((estimates[others] == estimates[worst]).sum()) - 1
    if as_bad:
        sentence += f", and just as unlikely in {counted(as_bad, 'other cell')}"
    return f"{sentence}."


def _where(swept: Sweep, cell: int) -> str:
    """The regime and the values of a cell, in words."""
    regime = str(swept.cells.at[cell, "regime"])
    values = ", ".join(f"{path} {value}" for path, value in swept.parameters(cell).items())
    return f"under {regime}{f' with {values}' if values else ''}"


def values_of_cell(swept: Sweep, frame: pd.DataFrame, cell: int) -> dict[str, str]:
    """The values of a cell by the paths of parameters, with its regime under "regime".

    frame: with a row for each cell, in which its regime is.
    """
    return swept.parameters(cell) | {"regime": str(frame.at[cell, "regime"])}


def interval_of(frame: pd.DataFrame, cell: int) -> Interval:
    """The interval in the row of a cell."""
    return Interval(*map(float, frame.loc[cell, [*Interval._fields]]))


def intervals_of(frame: pd.DataFrame) -> list[Interval]:
    """The intervals of all cells of a frame, in its order."""
    return [interval_of(frame, cell) for cell in frame.index]


def sensitivity(swept: Sweep, width: int = 80) -> str:
    """Which unknown matters, the one that matters most first."""
    results = effects(swept)
    caption, warning, gist = (
        paragraph(text, width) for text in (results.caption, results.warning, results.gist)
    )
    rows = table(results.head, results.rows, "  ")
    return "\n\n".join(filter(None, (caption, rows, warning, gist)))


class Effects(NamedTuple):
    """Which unknown matters, as a table and in words.

    caption: what the figures mean. head, rows: the table. warning: against too few points, if there
    are, or effects beyond what odds can move. gist: a sentence. intervals: those of each row, as
    far as they can be true: effects and shares of 0 to 1; nan where nothing is known yet.
    by_morris: whether these are Morris's effects, and not Sobol indices.
    """

    caption: str
    head: Row
    rows: list[Row]
    warning: str
    gist: str
    intervals: list[list[Interval]]
    by_morris: bool


def effects(swept: Sweep) -> Effects:
    """Which unknown matters, the one that matters most first."""
    indices, method = swept.sensitivity(), swept.design.sample
    of = f"{swept.design.aim}, {counted(len(swept.cells), 'cell')}"
    by_morris = method is not None and method[0] == "morris"
    if by_morris:
        caption = (
            "What an unknown does to the odds, scaled to its whole range, in percentage points: "
            "how much, either way, with its 95 % interval; on average, with its sign; and how much "
            f"that depends on the other unknowns (odds of {of}, Morris's method)."
        )
        head: Row = ("", "how much", "on average", "depends by")
        ranked = indices.sort_values("size", ascending=False)
        rows = [(path, *_effect(ranked.loc[path])) for path in map(str, ranked.index)]
        intervals = [[_bounded(*row)] for row in ranked[["size", "low", "high"]].to_numpy()]
    else:
        caption = (
            "Share of the variance of the odds that is due to each unknown, alone and together "
            f"with the others, in per cent, with 95 % intervals (odds of {of}, Sobol indices)."
        )
        head = ("", "alone", "with others")
        ranked = indices.sort_values("in_all", ascending=False)
        intervals = [_shares(ranked.loc[path]) for path in map(str, ranked.index)]
        rows = [
            (path, *map(_share, own)) for path, own in zip(ranked.index, intervals, strict=True)
        ]
    warning = ""
    if by_morris and any(row[1] == NEAR_ALL for row in rows):
        warning = (
            "About 100: steps of two thirds of a range, scaled to all of it, came to more than "
            "odds can move, as they move in a part of the range."
        )
    if method is not None and not by_morris and _widest(indices) > WIDE:
        warning = (
            f"TOO FEW POINTS: {method[1]} leave shares open by up to ± "
            f"{100 * _widest(indices):.0f} per cent; four times as many halve that (--points)."
        )
    gist = _most(rows, f"the odds of {swept.design.aim}", by_morris=by_morris)
    return Effects(caption, head, rows, warning, gist, intervals, by_morris)


def _most(rows: Sequence[Row], odds: str, *, by_morris: bool) -> str:
    """A sentence on the unknown that matters most, the first of the rows."""
    first, size, *_ = rows[0]
    if size == NONE_SEEN:
        return f"None of {len(rows)} unknowns was seen to move {odds}."
    if size == NOT_KNOWN:
        return f"Which of {len(rows)} unknowns matters most to {odds} is not known yet."
    by = f"Of {len(rows)} unknowns, {first} matters most"
    if by_morris:
        return f"{by}: over its range it moves {odds} by {size} percentage points."
    return f"{by}: alone it has {size} per cent of the variance of {odds}."


ROUNDING = 1e-9
WIDE = 0.2
"""Half the width of an interval from which on a share of the variance says little."""


def _widest(indices: pd.DataFrame) -> float:
    """Half the width of the widest interval of a share of the variance."""
    return max(
        float(((indices[f"{name}_high"] - indices[f"{name}_low"]) / 2).max())
        for name in ("alone", "in_all")
    )


def _effect(row: Any) -> Row:
    if row["size"] == 0:
        return (NONE_SEEN, "", "")
    half = (row["high"] - row["low"]) / 2
    size = NEAR_ALL if row["size"] > 1 else _hundredths(row["size"], half)
    return (size, f"{100 * min(1, max(-1, row['effect'])):+.1f}", f"{100 * row['spread']:.1f}")


def _bounded(estimate: float, low: float, high: float) -> Interval:
    """An interval as far as it lies from 0 to 1."""
    return Interval(*(min(1.0, max(0.0, float(x))) for x in (estimate, low, high)))


def _shares(row: Any) -> list[Interval]:
    """The shares of the variance of an unknown, alone and with others.

    Too few points leave estimates that no share can have, or intervals of all that there is; then
    nothing is known.
    """
    shares = []
    for name in ("alone", "in_all"):
        estimate, low, high = (float(row[f"{name}{end}"]) for end in ("", "_low", "_high"))
        is_known = high - low < 1 and high >= 0 and low <= 1
        shares.append(_bounded(estimate, low, high) if is_known else Interval(*[math.nan] * 3))
    return shares


def _share(interval: Interval) -> str:
    """A share of the variance in per cent with its interval; of one at a bound the interval."""
    estimate, low, high = interval
    if math.isnan(estimate):
        return NOT_KNOWN
    if low == high or (low > 0 and high < 1):
        return _hundredths(estimate, (high - low) / 2)
    digits = decimals(100 * (high - low) / 2)
    return f"{100 * estimate:.{digits}f} ({100 * low:.{digits}f} to {100 * high:.{digits}f})"


def _hundredths(value: float, half: float) -> str:
    # what differs by rounding only is equal
    digits = decimals(100 * half) if half > ROUNDING else 1
    return f"{100 * value:.{digits}f} ± {100 * half:.{digits}f}"


def _values(values: Any) -> str:
    if isinstance(values, str):
        return values
    texts = [str(value) for value in values]
    if len(texts) <= 6:
        return ", ".join(texts)
    return f"{', '.join(texts[:3])}, ... {texts[-1]} ({len(texts)} values)"


def _time(seconds: float) -> str:
    """A time to two digits, in whole seconds or minutes."""
    if seconds < 1:
        return "a second"
    rounded = float(f"{seconds:.2g}")
    unit = 60 if rounded >= 600 else 1
    return duration_text(float(unit * math.ceil(rounded / unit)))
