"""What a sweep says: how much of it there is, its cells as rows, and which unknown matters."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from petsim.errors import legible
from petsim.study.results import Sweep
from petsim.study.stats import Interval, wilson
from petsim.view import aims
from petsim.view.numbers import decimals, mean, points, ratio, share
from petsim.view.progress import so_far
from petsim.view.tables import Row, counted

if TYPE_CHECKING:
    import pandas as pd

NONE_SEEN, NEAR_ALL, NOT_KNOWN = "none seen", "about 100", "not known yet"
MOST_IN_ORDER = 20
"""Cells that are listed in the order of the design; more begin with the likeliest."""
MOST_ROWS = 40
"""Cells that are listed; of more cells, only the likeliest."""
COSTS = {
    "presses_per_day": ("presses a day", "presses a day"),
    "quiet_presses_per_day": ("presses a day in quiet hours", "in quiet hours"),
}
"""Figures of a cell beside its odds, with what they are called, and where there is little room."""
OTHERWISE = "otherwise mostly"
"""What the likeliest of the other outcomes is called."""


def head(swept: Sweep) -> str:
    """Return how many lives were simulated, and the methods of the intervals."""
    cells, file = swept.cells, legible(str(swept.path))
    lived = f"{int(cells['lives'].sum())} of {len(cells) * swept.design.lives} lives."
    counts = f"{file}: {counted(len(cells), 'cell')}, {lived} {so_far(swept)}".rstrip()
    aim, paired = swept.design.aim, "Newcombe's for differences on the same lives."
    if not aim.is_share:
        paired = f"Zou's for worths and for differences on the same lives. {aims.worths(aim)}"
    return f"{counts} All intervals are of 95 %: Wilson's for shares, Student's for means, {paired}"


class CellTable(NamedTuple):
    """Cells of a sweep, a row each.

    head: of all columns, each parameter by its whole path. short: the same in few words. rows: as
    many cells as head. needed: how many of the columns come first and are never left out. cells:
    how many there are, of which some may have no row. is_sorted: whether the best come first, not
    in the order of the design. best: what the best cell is called, such as the likeliest.
    """

    head: Row
    short: Row
    rows: list[Row]
    needed: int
    cells: int
    is_sorted: bool
    best: str

    @property
    def is_cut(self) -> bool:
        """Whether some cells have no row."""
        return len(self.rows) < self.cells

    @property
    def order(self) -> str:
        """How many cells have a row if not all, and that the likeliest come first if they do."""
        if self.is_cut:
            return f"{len(self.rows)} of {self.cells} cells, {self.best} first"
        return f"The {self.best} cell comes first" if self.is_sorted else ""


def cell_table(swept: Sweep) -> CellTable:
    """Return the cells in which something was simulated; of many, the likeliest."""
    odds = swept.odds()
    regime = ["regime"] if len(swept.design.regimes) > 1 else []
    paths = [axis.path for axis in swept.design.axes]
    titles, ends = [*regime, *paths], [*regime, *(brief(path, paths) for path in paths)]
    head, short = (("cell", *each, swept.design.aim.figure) for each in (titles, ends))
    best = aims.words(swept.design.aim).best
    if odds.empty:
        return CellTable(head, short, [], len(head), 0, False, best)
    first, is_sorted = int(odds.index[0]), len(odds) > MOST_IN_ORDER
    in_order = odds.sort_values("estimate", ascending=False, kind="stable") if is_sorted else odds
    differences, costs, others = swept.differences(first), _costs(swept), _others(swept)
    rows = []
    for cell in map(int, in_order.index[:MOST_ROWS]):
        values = values_of_cell(swept, odds, cell)
        rows.append(
            (
                str(cell),
                *(values[title] for title in titles),
                share(interval_of(odds, cell)),
                *(_of_cell(costs[name], cell) for name in COSTS),
                "" if cell == first else points(interval_of(differences, cell)),
                others.get(cell, ""),
            )
        )
    costs_in_full, costs_in_short = zip(*COSTS.values(), strict=True)
    return CellTable(
        (*head, *costs_in_full, f"difference from cell {first}, points", OTHERWISE),
        (*short, *costs_in_short, f"points from cell {first}", OTHERWISE),
        rows,
        len(head),
        len(odds),
        is_sorted,
        best,
    )


def _costs(swept: Sweep) -> dict[str, pd.DataFrame]:
    means = swept.means(*COSTS)
    return {name: means[means["column"] == name] for name in COSTS}


def _of_cell(frame: pd.DataFrame, cell: int) -> str:
    return mean(interval_of(frame, cell)) if cell in frame.index else ""


def _others(swept: Sweep) -> dict[int, str]:
    """The likeliest outcome of each cell but for those aimed for, with its share."""
    likeliest, aimed = {}, swept.design.aim.forms
    for cell, counts in swept.counts.items():
        others = {outcome: n for outcome, n in counts.items() if outcome not in aimed}
        if others:
            outcome = max(others, key=others.__getitem__)
            likeliest[cell] = f"{outcome} {ratio(wilson(others[outcome], counts.total()))}"
    return likeliest


def gist(swept: Sweep) -> str:
    """What a sweep says of the aim, in a sentence: the best cell, those as good, the worst.

    Before it, of one that is not finished, how far it is.
    """
    return " ".join(filter(None, (so_far(swept), _verdict(swept))))


def _verdict(swept: Sweep) -> str:
    odds = swept.odds().sort_values("estimate", ascending=False, kind="stable")
    (best, *others), estimates = map(int, odds.index), odds["estimate"]
    aim, said = swept.design.aim, aims.words(swept.design.aim)
    highest = f"{_where(swept, best)}: {share(interval_of(odds, best))}{aims.of_full(aim)}"
    if not others:
        return f"{aims.title(aim)} {highest}."
    what = aim.name if aim.is_share else f"the {aim.figure}"
    sentence = f"Of {len(odds)} cells, {what} was {said.best} {highest}"
    differences = swept.differences(best).loc[others]
    alike = (differences["low"] <= 0) & (differences["high"] >= 0)
    equal = estimates[others] == estimates[best]
    as_good, unclear = int(equal.sum()), int((alike & ~equal).sum())
    if as_good:
        sentence += f", and {said.as_good} in {counted(as_good, 'other cell')}"
    if unclear:
        sentence += f"; no difference shown in {unclear} more"
    worst = next((cell for cell in reversed(others) if not alike[cell]), None)
    if worst is None:
        return f"{sentence}."
    sentence += f"; {said.worst} {_where(swept, worst)}: {share(interval_of(odds, worst))}"
    as_bad = int((estimates[others] == estimates[worst]).sum()) - 1
    if as_bad:
        sentence += f", and {said.as_bad} in {counted(as_bad, 'other cell')}"
    return f"{sentence}."


def _where(swept: Sweep, cell: int) -> str:
    """The regime and the values of a cell, in words."""
    regime = str(swept.cells.at[cell, "regime"])
    values = ", ".join(f"{path} {value}" for path, value in swept.parameters(cell).items())
    return f"under {regime}{f' with {values}' if values else ''}"


def brief(path: str, among: Sequence[str]) -> str:
    """The last steps of a path, as few as tell it apart from others."""
    steps = path.split(".")
    for first in reversed(range(len(steps))):
        name = ".".join(steps[first:])
        if not any(f".{other}".endswith(f".{name}") for other in among if other != path):
            return name
    return path


def named_value(path: str, value: str, among: Sequence[str]) -> str:
    """A value after the last steps of its path, few as tell that apart; a regime by itself."""
    return value if path == "regime" else f"{brief(path, among)} {value}"


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
    """Return which unknown matters, the one that matters most first."""
    indices, method = swept.sensitivity(), swept.design.sample
    aim = swept.design.aim
    of, odds = f"{aim.figure}, {counted(len(swept.cells), 'cell')}", f"the {aim.figure}"
    figure = "odds" if aim.is_share else aim.figure
    by_morris = "size" in indices
    if by_morris:
        caption = (
            f"What an unknown does to the {figure}, scaled to its whole range, in percentage "
            "points: how much, either way, with its 95 % interval; on average, with its sign; and "
            "its interaction, by how much that differs with the other unknowns "
            f"({of}, Morris's method)."
        )
        head: Row = ("", "how much", "on average", "interaction")
        ranked = indices.sort_values("size", ascending=False)
        rows = [(path, *_effect(ranked.loc[path])) for path in map(str, ranked.index)]
        gist = _most(rows, odds, "over its range it moves {} by {} percentage points")
        intervals = [[_bounded(*row)] for row in ranked[["size", "low", "high"]].to_numpy()]
    else:
        caption = (
            f"Share of the variance of the {figure} that is due to each unknown, alone and "
            "together with its interactions with the others, in per cent, with 95 % intervals "
            f"({of}, Sobol indices)."
        )
        head = ("", "alone", "with interactions")
        ranked = indices.sort_values("in_all", ascending=False)
        intervals = [_shares(ranked.loc[path]) for path in map(str, ranked.index)]
        rows = [
            (path, *map(_share, own)) for path, own in zip(ranked.index, intervals, strict=True)
        ]
        gist = _most(rows, odds, "alone it has {1} per cent of the variance of {0}")
    warning = ""
    if by_morris and any(row[1] == NEAR_ALL for row in rows):
        moved = "odds can move, as they move" if aim.is_share else "it can move, as it moves"
        warning = (
            "About 100: steps of two thirds of a range, scaled to all of it, came to more than "
            f"{moved} in a part of the range."
        )
    if method is not None and not by_morris and _widest(indices) > WIDE:
        warning = (
            f"TOO FEW POINTS: {method[1]} leave shares open by up to "
            f"{min(100, round(100 * _widest(indices)))} points either way; four times as many "
            "halve that (--points)."
        )
    return Effects(caption, head, rows, warning, gist, intervals, by_morris)


def _most(rows: Sequence[Row], odds: str, effect: str) -> str:
    """A sentence on the unknown that matters most, the first of the rows.

    effect: what it says of the odds and of the first figure.
    """
    first, size, *_ = rows[0]
    if size == NOT_KNOWN:
        return f"Which of {len(rows)} unknowns matters most is not known yet: too few points."
    if size == NONE_SEEN:
        return f"None of {len(rows)} unknowns was seen to move {odds}."
    return f"Of {len(rows)} unknowns, {first} matters most: {effect.format(odds, size)}."


ROUNDING = 1e-9
WIDE = 0.2
"""Half the width of an interval from which on a share of the variance says little."""
TOO_WIDE = 0.5
"""Half the width of an interval, of shares or of odds, from which on a figure says nothing."""


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
    if not half < TOO_WIDE:
        return (NOT_KNOWN, "", "")
    size = NEAR_ALL if row["size"] > 1 else _hundredths(row["size"], half)
    return (size, f"{100 * min(1, max(-1, row['effect'])):+.1f}", f"{100 * row['spread']:.1f}")


def _bounded(estimate: float, low: float, high: float) -> Interval:
    """An interval as far as it lies from 0 to 1; nan if it is so wide that it says nothing."""
    if not high - low < 2 * TOO_WIDE:
        return Interval(*[math.nan] * 3)
    return Interval(*(min(1.0, max(0.0, float(x))) for x in (estimate, low, high)))


def _shares(row: Any) -> list[Interval]:
    """The shares of the variance of an unknown, alone and with its interactions.

    Too few points can leave intervals that no share lies in; then nothing is known.
    """
    shares = []
    for name in ("alone", "in_all"):
        estimate, low, high = (float(row[f"{name}{end}"]) for end in ("", "_low", "_high"))
        can_be = high >= 0 and low <= 1
        shares.append(_bounded(estimate, low, high if can_be else math.inf))
    return shares


def _share(interval: Interval) -> str:
    """A share of the variance in per cent with its interval."""
    if math.isnan(interval.estimate):
        return NOT_KNOWN
    half = (interval.high - interval.low) / 2
    digits = decimals(100 * half) if half > ROUNDING else 1
    value, low, high = (f"{100 * x:.{digits}f}" for x in interval)
    return f"{value} ({low} to {high})"


def _hundredths(value: float, half: float) -> str:
    # what differs by rounding only is equal
    digits = decimals(100 * half) if half > ROUNDING else 1
    return f"{100 * value:.{digits}f} ± {100 * half:.{digits}f}"
