"""Sweeps as text: the plan of one, what it found, what it is, and which unknown matters."""

from __future__ import annotations

import math
import shlex
from collections.abc import Iterator, Sequence
from pathlib import Path
from textwrap import fill

from petsim.errors import legible
from petsim.spec.document import plain_number
from petsim.spec.quantities import duration_text
from petsim.study.design import values_text
from petsim.study.plan import SweepPlan
from petsim.study.results import Sweep
from petsim.view import repeat
from petsim.view.sweep import CellTable, cell_table, effects, gist, head
from petsim.view.tables import Row, counted, paragraph, table


def plan(estimate: SweepPlan, width: int = 80) -> str:
    """What a sweep would do, and the time that it would take."""
    size = (
        f"{counted(estimate.cells, 'cell')} of {counted(estimate.design.lives, 'life')} each: "
        f"{estimate.cells * estimate.design.lives} in all, of which {estimate.done} are done."
    )
    axes = [
        paragraph(f"  {axis.path}: {values_text(axis.as_data())}", width)
        for axis in estimate.design.axes
    ]
    time = (
        f"About {_time(estimate.seconds)} to go: {counted(estimate.tried, 'life')} simulated just "
        f"now took {estimate.milliseconds:.2g} ms each, and there are "
        f"{counted(estimate.workers, 'processor')}."
    )
    return "\n".join((paragraph(size, width), *axes, paragraph(time, width)))


def shown(swept: Sweep, width: int = 80) -> str:
    """Return what a sweep found, if anything is simulated in it, and below that what it is."""
    if swept.tells_which_matters:
        answer = sensitivity(swept, width)
    elif swept.lives_by_cell or swept.failed:
        answer = sweep(swept, width)
    else:
        answer = paragraph(f"Nothing is simulated yet in {legible(str(swept.path))}.", width)
    return f"{answer}\n\n{described(swept, width)}"


def sweep(swept: Sweep, width: int = 80) -> str:
    """Return what a sweep says in a sentence, its cells as a table, and how to read that."""
    cells = cell_table(swept)
    failed = "\n".join(
        paragraph(f"cell {cell} failed: {reason}", width) for cell, reason in swept.failed.items()
    )
    parts = [paragraph(head(swept), width), failed]
    if cells.rows:
        text, left_out = fitted(cells, width)
        notes = (paragraph(note, width) for note in _notes(swept, cells, left_out, width))
        parts = [paragraph(gist(swept), width), text, "\n".join(notes), *parts]
    return "\n\n".join(filter(None, parts))


def _notes(swept: Sweep, cells: CellTable, left_out: Sequence[str], width: int) -> Iterator[str]:
    """Yield what the table leaves out, how it is sorted, and what its heads stand for."""
    if cells.is_cut:
        name = legible(shlex.quote(str(swept.path.with_suffix(""))))
        yield (
            f"{len(cells.rows)} of {cells.cells} cells shown, the {cells.best} first; petsim "
            f"export {name} all.csv --what summary has all."
        )
    elif cells.order:
        yield f"{cells.order}."
    if key := key_of(cells):
        yield f"{key}."
    if left_out:
        yield f"No room in {width} columns for: {', '.join(left_out)}."


def fitted(cells: CellTable, width: int) -> tuple[str, list[str]]:
    """Return a table no wider than a width, and the heads of the columns that are left out.

    The last columns are left out first. Where not even those that are needed have room, each cell
    has lines of its own.
    """
    head = cells.short
    for kept in range(len(head), cells.needed - 1, -1):
        text = table(head[:kept], [row[:kept] for row in cells.rows])
        if max(map(len, text.splitlines())) <= width:
            return text, [*cells.head[kept:]]
    text = "\n".join(_lines(head[: cells.needed], row, width) for row in cells.rows)
    return text, [*cells.head[cells.needed :]]


def _lines(head: Row, row: Row, width: int) -> str:
    """A cell in lines of its own: its number and odds, and below what varies."""
    cell, *values, odds = row[: len(head)]
    named = [
        value if name == "regime" else f"{name} {value}"
        for name, value in zip(head[1:-1], values, strict=True)
    ]
    below = fill(
        ", ".join(named),
        width,
        initial_indent="  ",
        subsequent_indent="  ",
        break_on_hyphens=False,
    )
    return f"cell {cell}: {odds}\n{below}".rstrip()


def key_of(cells: CellTable) -> str:
    """Say which paths the short heads of a table stand for; nothing if all are whole."""
    pairs = zip(cells.short[: cells.needed], cells.head, strict=False)
    return ", ".join(f"{short} is {path}" for short, path in pairs if short != path)


def described(swept: Sweep, width: int = 80) -> str:
    """Return what a sweep is, how much of it was simulated and when, and its command."""
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
        *((axis.path, values_text(axis.as_data())) for axis in design.axes),
        ("cells", f"{len(cells)}, {chosen}"),
        ("lives", f"{design.lives} in each cell, seed {design.seed}, {followed}"),
        ("aim", design.aim.text),
        ("keeps", "every life's row" if design.keep else "sums and outcomes"),
        ("simulated", f"{lived} of {len(cells) * design.lives} lives"),
        *(("session", each.span) for each in swept.sessions),
        *(("failed", f"cell {cell}: {reason}") for cell, reason in swept.failed.items()),
    ]
    head = f"The sweep {legible(str(swept.path))}, by petsim {swept.provenance['petsim']}"
    again = "To go on with it, or to extend it with more --lives, values or regimes:"
    return "\n".join((head, _described(rows, width), "", again, f"  {repeat.sweep(swept)}"))


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


def sensitivity(swept: Sweep, width: int = 80) -> str:
    """Return which unknown matters, the one that matters most first, and what the figures mean."""
    results = effects(swept)
    caption, warning, gist = (
        paragraph(text, width) for text in (results.caption, results.warning, results.gist)
    )
    rows = table(results.head, results.rows, "  ")
    return "\n\n".join(filter(None, (gist, warning, rows, caption)))


def _time(seconds: float) -> str:
    """A time to two digits, in whole seconds or minutes."""
    if seconds < 1:
        return "a second"
    rounded = float(f"{seconds:.2g}")
    unit = 60 if rounded >= 600 else 1
    return duration_text(float(unit * math.ceil(rounded / unit)))
