"""Sweeps as text: what is planned, what was found, and which unknown matters."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING, Any, NamedTuple

from petsim.spec.document import plain_number
from petsim.spec.quantities import duration_text
from petsim.study.plan import SweepPlan
from petsim.study.results import Sweep
from petsim.study.stats import Interval
from petsim.view import repeat
from petsim.view.text import Row, counted, decimals, paragraph, points, share, table

if TYPE_CHECKING:
    import pandas as pd

NONE_SEEN = "none seen"
MOST_ROWS = 40
"""Cells that are listed; of more, the best."""


def plan(made: SweepPlan, width: int = 80) -> str:
    """What a sweep would do, and about how long it would take."""
    said = (
        f"{counted(made.cells, 'cell')} of {counted(made.design.lives, 'life')} each: "
        f"{made.cells * made.design.lives} in all, of which {made.done} are done."
    )
    axes = [
        paragraph(f"  {axis.path}: {_values(axis.as_data())}", width) for axis in made.design.axes
    ]
    time = (
        f"About {_time(made.seconds)} to go: {counted(made.tried, 'life')} just lived took "
        f"{made.milliseconds:.2g} ms each, and there are {counted(made.workers, 'processor')}."
    )
    return "\n".join((paragraph(said, width), *axes, paragraph(time, width)))


def described(made: Sweep, width: int = 80) -> str:
    """What a sweep is, how much of it was lived and when, and the command that goes on with it."""
    design = made.design
    cells = made.cells
    chosen = "every combination"
    if design.sample is not None:
        chosen = f"by {design.sample[1]} points of {design.sample[0]}"
    followed = f"to {design.until or 'outcome'}"
    if design.days is not None:
        followed = f"for {plain_number(design.days)} days"
    lived = int(cells["lives"].sum())
    sessions = made.query("SELECT began, COALESCE(ended, 'now') FROM sessions ORDER BY began")
    rows = [
        ("model", Path(design.model[0]).stem),
        ("regimes", ", ".join(regime.name for regime in design.regimes)),
        *((axis.path, _values(axis.as_data())) for axis in design.axes),
        ("cells", f"{len(cells)}, {chosen}"),
        ("lives", f"{design.lives} in each, seed {design.seed}, followed {followed}"),
        ("aim", design.aim),
        ("keeps", "every life's row" if design.keep else "sums and outcomes"),
        ("lived", f"{lived} of {len(cells) * design.lives} lives"),
        *(("session", f"{began} to {ended}") for began, ended in sessions),
        *(("failed", f"cell {cell}: {reason}") for cell, reason in made.failed.items()),
    ]
    head = f"The sweep {made.path}, by petsim {made.provenance['petsim']}"
    again = f"To go on with it, or to see what came of it:\n  {repeat.sweep(made)}"
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


def sweep(found: Sweep, width: int = 80) -> str:
    """What a sweep found: the odds in each cell, the difference from the first, and its gist."""
    failed = "\n".join(f"cell {cell} failed: {reason}" for cell, reason in found.failed.items())
    parts = [paragraph(head(found), width)]
    titles, listed = rows(found)
    if listed:
        parts.append(table(titles, listed))
    if len(found.odds()) > len(listed):
        parts.append(
            f"The best {MOST_ROWS} of {len(found.odds())} cells; petsim export writes all."
        )
    if listed:
        parts.append(paragraph(gist(found), width))
    return "\n\n".join(filter(None, (*parts, failed)))


def head(found: Sweep) -> str:
    """How much of it was lived, and how its intervals are made."""
    cells = found.cells
    return (
        f"{found.path}: {counted(len(cells), 'cell')}, {int(cells['lives'].sum())} of "
        f"{len(cells) * found.design.lives} lives. Odds of {found.design.aim} with Wilson's 95 % "
        "interval, and their difference from the first cell's on the same lives, with Newcombe's."
    )


def rows(found: Sweep) -> tuple[Row, list[Row]]:
    """The cells in which something was lived, or the best of many: the head and a row each."""
    odds, cells = found.odds(), found.cells
    regime = ["regime"] if len(found.design.regimes) > 1 else []
    titles = [*regime, *(axis.path for axis in found.design.axes)]
    head = ("cell", *titles, "odds", "difference, points")
    if odds.empty:
        return head, []
    first, chosen = int(odds.index[0]), odds.index
    if len(odds) > MOST_ROWS:
        best = odds.sort_values("estimate", ascending=False, kind="stable")
        chosen = best.index[:MOST_ROWS]
    differences, listed = found.differences(first), []
    for cell in map(int, chosen):
        said = found.parameters(cell) | {"regime": str(cells.at[cell, "regime"])}
        apart = "" if cell == first else points(interval_of(differences, cell))
        own = share(interval_of(odds, cell))
        listed.append((str(cell), *(said[title] for title in titles), own, apart))
    return head, listed


def gist(found: Sweep) -> str:
    """What a sweep says of the aim, in a sentence: the best cell, those as good, the worst."""
    odds = found.odds().sort_values("estimate", ascending=False, kind="stable")
    (best, *others), estimates = map(int, odds.index), odds["estimate"]
    told = f"{_where(found, best)}: {share(interval_of(odds, best))}"
    if not others:
        return f"Odds of {found.design.aim} {told}."
    so_far = "" if found.finished else f" lived so far, of {len(found.cells)}"
    said = f"Of {len(odds)} cells{so_far}, {found.design.aim} was likeliest {told}"
    apart = found.differences(best).loc[others]
    alike = (apart["low"] <= 0) & (apart["high"] >= 0)
    equal = estimates[others] == estimates[best]
    as_good, unclear = int(equal.sum()), int((alike & ~equal).sum())
    if as_good:
        said += f", and just as likely in {counted(as_good, 'other cell')}"
    if unclear:
        said += f"; no difference shown in {unclear} more"
    worst = next((cell for cell in reversed(others) if not alike[cell]), None)
    if worst is None:
        return f"{said}."
    said += f"; least likely {_where(found, worst)}: {share(interval_of(odds, worst))}"
    as_bad = int((estimates[others] == estimates[worst]).sum()) - 1
    if as_bad:
        said += f", and just as unlikely in {counted(as_bad, 'other cell')}"
    return f"{said}."


def _where(found: Sweep, cell: int) -> str:
    regime = str(found.cells.at[cell, "regime"])
    values = ", ".join(f"{path} {value}" for path, value in found.parameters(cell).items())
    return f"under {regime}{f' with {values}' if values else ''}"


def interval_of(frame: pd.DataFrame, cell: int) -> Interval:
    """The interval in the row of a cell."""
    return Interval(*map(float, frame.loc[cell, [*Interval._fields]]))


def sensitivity(found: Sweep, width: int = 80) -> str:
    """Which unknown matters, the one that matters most first."""
    told = effects(found)
    parts = [paragraph(text, width) for text in (told.said, told.warning, told.gist)]
    parts.insert(1, table(told.head, told.rows, "  "))
    return "\n\n".join(filter(None, parts))


class Effects(NamedTuple):
    """Which unknown matters: what is told of each, the head and a row each, a warning, the gist.

    indices: the numbers of it, as `Sweep.sensitivity` has them.
    """

    said: str
    head: Row
    rows: list[Row]
    warning: str
    gist: str
    indices: pd.DataFrame


def effects(found: Sweep) -> Effects:
    """Which unknown matters, the one that matters most first."""
    indices, method = found.sensitivity(), found.design.sample
    of = f"{found.design.aim}, {counted(len(found.cells), 'cell')}"
    by_morris = method is not None and method[0] == "morris"
    if by_morris:
        said = (
            "What an unknown does to the odds, scaled to its whole range, in percentage points: "
            "how much, either way, with its 95 % interval; on average, with its sign; and how much "
            f"that depends on the other unknowns (odds of {of}, Morris's method)."
        )
        head: Row = ("", "how much", "on average", "depends by")
        ranked = indices.sort_values("size", ascending=False)
        rows = [(path, *_effect(ranked.loc[path])) for path in map(str, ranked.index)]
    else:
        said = (
            "Share of the variance of the odds that is due to each unknown, alone and together "
            f"with the others, in per cent, with 95 % intervals (odds of {of}, Sobol indices)."
        )
        head = ("", "alone", "with others")
        ranked = indices.sort_values("in_all", ascending=False)
        rows = [(path, *_indices(ranked.loc[path])) for path in map(str, ranked.index)]
    warning = ""
    if method is not None and not by_morris and _widest(indices) > WIDE:
        warning = (
            f"TOO FEW POINTS: {method[1]} leave shares open by up to ± "
            f"{100 * _widest(indices):.0f} per cent; four times as many halve that (--points)."
        )
    gist = _most(rows, f"the odds of {found.design.aim}", by_morris=by_morris)
    return Effects(said, head, rows, warning, gist, indices)


def _most(rows: Sequence[Row], odds: str, *, by_morris: bool) -> str:
    """Which unknown matters most, by the rows of all."""
    first, size, *_ = rows[0]
    if size == NONE_SEEN:
        return f"None of {len(rows)} unknowns was seen to move {odds}."
    by = f"Of {len(rows)} unknowns, {first} matters most"
    if by_morris:
        return f"{by}: over its range it moves {odds} by {size} percentage points."
    return f"{by}: alone it has {size} per cent of the variance of {odds}."


WIDE = 0.2
"""Half an interval of a share of the variance that says little."""


def _widest(indices: pd.DataFrame) -> float:
    return max(
        float(((indices[f"{name}_high"] - indices[f"{name}_low"]) / 2).max())
        for name in ("alone", "in_all")
    )


def _effect(row: Any) -> Row:
    if row["size"] == 0:
        return (NONE_SEEN, "", "")
    size = _hundredths(row["size"], (row["high"] - row["low"]) / 2)
    return (size, f"{100 * row['effect']:+.1f}", f"{100 * row['spread']:.1f}")


def _indices(row: Any) -> Row:
    return tuple(
        _hundredths(row[name], (row[f"{name}_high"] - row[f"{name}_low"]) / 2)
        for name in ("alone", "in_all")
    )


def _hundredths(value: float, half: float) -> str:
    digits = decimals(100 * half) if half > 0 else 1
    return f"{100 * value:.{digits}f} ± {100 * half:.{digits}f}"


def _values(values: Any) -> str:
    if isinstance(values, str):
        return values
    said = [str(value) for value in values]
    if len(said) <= 6:
        return ", ".join(said)
    return f"{', '.join(said[:3])}, ... {said[-1]} ({len(said)} values)"


def _time(seconds: float) -> str:
    """A time to two digits, in whole seconds or minutes."""
    if seconds < 1:
        return "a second"
    rounded = float(f"{seconds:.2g}")
    unit = 60 if rounded >= 600 else 1
    return duration_text(float(unit * math.ceil(rounded / unit)))
