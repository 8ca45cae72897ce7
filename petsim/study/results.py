"""What a sweep found, read from its file, which may still be written to."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Sequence
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from petsim.errors import ArgumentError, choice, ensure_known
from petsim.life.drawn import Drawn
from petsim.life.record import columns, words
from petsim.spec.names import sweep_path
from petsim.study.aims import Aim, aim_at
from petsim.study.measures import measures
from petsim.study.paired import Values, common
from petsim.study.stats import Interval, as_data, mean_interval_of_sums
from petsim.study.store import DamageError, Figures
from petsim.study.stored_sweep import StoredSweep, consistent
from petsim.study.writing import path_named, write_csv, written_whole

if TYPE_CHECKING:
    import pandas as pd


class Sweep(StoredSweep, Drawn):
    """A sweep on disk. Every table is read anew, so one that is still running shows what there is.

    For tables that agree with each other, read them within `with sweep.snapshot():`.

    Each row of a table has the cell's regime and parameters: times in seconds, chances as shares
    from 0 to 1, other numbers as they are; what is no number as text.

    Args:
        path: of its file.

    Raises:
        ArgumentError: there is none, or it is no sweep.
    """

    @property
    @consistent
    def cells(self) -> pd.DataFrame:
        """The cells.

        A frame with a row for each cell (the index, int): its `regime` (text), its parameters, its
        `lives` (int) so far, and in `failed` (text) why it failed, empty if it did not.
        """
        import pandas as pd

        lives, failed = self.lives_by_cell, self.failed
        names = [self.design.regime_of(cell) for cell in self._cells]
        table = pd.DataFrame({"regime": names}, index=pd.RangeIndex(len(names), name="cell"))
        for axis in self.design.axes:
            forms = [self.design.parameters(cell)[axis.path] for cell in self._cells]
            numbers = [number for _, number in forms]
            texts = [text for text, _ in forms]
            table[axis.path] = texts if None in numbers else numbers
        table["lives"] = [lives[cell] for cell in table.index]
        table["failed"] = [failed.get(cell, "") for cell in table.index]
        return table

    @consistent
    def odds(self, outcome: str | None = None) -> pd.DataFrame:
        """Return the odds of an outcome in each cell in which something was lived.

        Args:
            outcome: by default the aim, of which it is the expected worth if that is aimed for.

        Returns:
            A frame with a row for each cell (the index, int): its `regime` and parameters, its
            `lives` (int) so far, the `outcome` (text), and `estimate`, `low` and `high` (float,
            0..1), with the 95 % interval: Wilson's of odds.

        Raises:
            ArgumentError: there is no such outcome.
        """
        wanted = self._wanted(outcome)
        rows = {cell: wanted.of_counts(n) for cell, n in self.counts.items()}
        return self._joined(rows, outcome=wanted.name)

    @property
    def counts(self) -> dict[int, Counter[str]]:
        """How many lives had each outcome, by the cells in which something was simulated."""
        counted: dict[int, Counter[str]] = {}
        with self.snapshot() as store:
            for chunk in store.chunks:
                counted.setdefault(chunk.cell, Counter()).update(chunk.counts)
        return counted

    def _wanted(self, outcome: str | None) -> Aim:
        """What is asked for, the aim by default."""
        if outcome is None:
            return self.design.aim
        known = words(self.model(0))["outcome"]
        with self.snapshot() as store:
            seen = {each for chunk in store.chunks for each in chunk.counts}
        if outcome not in (*known, *seen):
            raise ArgumentError(f"outcome: {outcome!r}; {choice(outcome, known)}")
        return aim_at(outcome)

    @consistent
    def differences(self, baseline: int | None = None, outcome: str | None = None) -> pd.DataFrame:
        """Return the odds less those of a baseline cell, on the same lives.

        Args:
            baseline: the number of the cell; by default the first in which something was lived.
            outcome: by default the aim.

        Returns:
            A frame as that of `odds`, with the number of the `baseline` (int) besides. `estimate`,
            `low` and `high` (float, -1..1) are the difference of the shares, or of the worths,
            with the 95 % interval: Newcombe's of shares.

        Raises:
            ArgumentError: there is no such cell or outcome, or nothing was lived in the cell.
        """
        wanted = self._wanted(outcome)
        lived = [*self.lives_by_cell]
        if baseline is None:
            self.ensure_begun()
            baseline = lived[0]
        base = self._values(baseline, wanted)
        rows = {}
        for cell in lived:
            ours, theirs = common(self._values(cell, wanted), base)
            if len(ours):  # else lives of theirs are damaged
                rows[cell] = wanted.difference(ours, theirs)
        return self._joined(rows, outcome=wanted.name, baseline=baseline)

    def values(self, cell: int) -> Values:
        """What each life of a cell is worth by the aim, by the number of a chunk's first life.

        Args:
            cell: its number.

        Raises:
            ArgumentError: there is no such cell, or nothing was lived in it.
        """
        return self._values(cell, self.design.aim)

    def _values(self, cell: int, wanted: Aim) -> Values:
        worths = wanted.by_outcome(self._outcomes(cell))
        with self.snapshot() as store:
            outcomes = store.outcomes(cell)
        if not outcomes:
            raise ArgumentError(f"cell {cell}: nothing was lived in it yet; expected another cell")
        return {first: worths[numbers] for first, numbers in outcomes.items()}

    def _outcomes(self, cell: int) -> tuple[str, ...]:
        """The outcomes of a cell's model, which is read once for all cells that have it."""
        model = self._job(cell).model_values
        if model not in self._outcomes_of:
            self._outcomes_of[model] = words(self.model(cell))["outcome"]
        return self._outcomes_of[model]

    @cached_property
    def _outcomes_of(self) -> dict[str, tuple[str, ...]]:
        return {}

    @consistent
    def means(self, *names: str) -> pd.DataFrame:
        """Return means over the lives of each cell, and shares of them.

        Args:
            names: of columns of the table of lives, as `petsim.columns` lists them, or of figures,
                as the data of a comparison have them, with dots for what is nested there:
                `presses_per_day`, `misses_per_life.waste`, `odds.beacon`. By default all figures.

        Returns:
            A frame with a row for each cell (the index, int) and name, name by name: its `regime`
            and parameters, its `lives` (int) so far, the name as `column` (text), its `unit`
            (text), and `estimate`, `low` and `high` (float, in that unit), with Student's 95 %
            interval for a mean and Wilson's for a share. A column that is -1 in some lives is
            averaged over the others; a cell without any has no row.

        Raises:
            ArgumentError: nothing was lived yet, or one of these is not summed.
        """
        import pandas as pd

        self.ensure_begun()
        model = self.model(0)
        known = {measure.name: measure for measure in measures(model)}
        units = {column.name: column.unit for column in columns(model)}
        units |= {name: measure.unit for name, measure in known.items()}
        sums = self._sums(names or tuple(known))
        frames = []
        for name in names or (name for name in known if name in sums):
            if name not in sums:
                raise ArgumentError(f"column: {name!r} is not summed; see petsim.columns")
            interval = known[name].of_sums if name in known else mean_interval_of_sums
            rows = {cell: interval(*own) for cell, own in sums[name].items() if own[0]}
            frames.append(self._joined(rows, column=name, unit=units.get(name, "")))
        return pd.concat(frames)

    @consistent
    def summary(self) -> pd.DataFrame:
        """Return all figures of each cell in a row: shares of outcomes, misses, presses and so on.

        Returns:
            A frame with a row for each cell in which something was simulated (the index, int): its
            `regime`, parameters and `lives` (int), and for each figure of `means`, under its name,
            the estimate (float, in its unit), and under the name with `_low` and `_high` its 95 %
            interval.

        Raises:
            ArgumentError: nothing was simulated yet.
        """
        figures = self.means()
        cells = self.cells.drop(columns="failed")
        table = cells[cells["lives"] > 0]
        for name, rows in figures.groupby("column", sort=False):
            named = {"estimate": str(name), "low": f"{name}_low", "high": f"{name}_high"}
            table = table.join(rows[[*named]].rename(columns=named))
        return table

    def _sums(self, names: Sequence[str]) -> dict[str, dict[int, Figures]]:
        """Lives, total and squares by the name of what is summed and by cell."""
        parts: dict[str, dict[int, list[Figures]]] = {name: {} for name in names}
        with self.snapshot() as store:
            for cell, sums in store.sums():
                for name in parts.keys() & sums.keys():
                    parts[name].setdefault(cell, []).append(sums[name])
        return {
            name: {cell: _added(figures) for cell, figures in cells.items()}
            for name, cells in parts.items()
            if cells
        }

    @consistent
    def sensitivity(self) -> pd.DataFrame:
        """Return how much each axis moves the odds of the aim; for a sweep of `petsim.sensitivity`.

        Returns:
            A frame with a row for each axis (the index, its path); all columns are float. By
            Morris, as shares of lives, for going through the whole range: `effect`, the change on
            average (-1..1); `size`, its size whichever way it goes, with the ends `low` and `high`
            of its 95 % interval; `spread`, how much that differs with the other unknowns. By Sobol,
            as shares of the variance of the odds: `alone`, due to the axis by itself, and `in_all`,
            with its interactions too, each with the ends of its 95 % interval, such as `alone_low`.

        Raises:
            ArgumentError: the sweep is not one of these, or not finished.
        """
        from petsim.study.indices import indices

        if not self.is_sensitivity:
            raise ArgumentError(f"{self.path}: expected a sweep made by petsim sensitivity")
        if not self.tells_which_matters:
            raise ArgumentError(f"{self.path}: is not finished, or a cell failed")
        paths = [axis.path for axis in self.design.axes]
        assert self.design.sample is not None
        return indices(*self.design.sample, paths, self.odds()["estimate"].to_numpy())

    @consistent
    def export(self, path: str | Path, what: str = "odds") -> int:
        """Write a table to a file, `.csv` or `.parquet` (which needs pyarrow): its rows.

        Args:
            path: of the file; or one that ends in `.sweep`, to copy the whole sweep, at any time,
                to a file that is not there yet.
            what: "odds", "summary", "differences", "means", "cells" or "lives".

        Raises:
            ArgumentError: it is another kind of file or table, or can't be written.
        """
        tables: dict[str, Callable[[], pd.DataFrame]] = {
            "odds": self.odds,
            "summary": self.summary,
            "differences": self.differences,
            "means": self.means,
            "cells": lambda: self.cells,
            "lives": self.lives,
        }
        ensure_known("what", what, tables)
        path = path_named(path, ".csv", ".parquet", ".sweep")
        if path.suffix == ".sweep":
            return self._copied(path)
        table = tables[what]()
        table = table if what == "lives" else table.reset_index()
        try:
            with written_whole(path) as draft:
                if path.suffix == ".csv":
                    write_csv(table, draft)
                else:
                    table.to_parquet(draft, index=False)
        except ImportError:
            raise ArgumentError(f"{path}: needs pip install 'petsim[parquet]'") from None
        return len(table)

    def _copied(self, path: Path) -> int:
        """Copy the sweep to another file, and return how many lives that has."""
        if path.exists():
            raise ArgumentError(f"{path}: is there already; expected the name of a new file")
        with written_whole(path) as draft, self.snapshot() as store:
            store.copy(draft)
        return sum(Sweep(path).lives_by_cell.values())

    @consistent
    def lives(self, cell: int | None = None) -> pd.DataFrame:
        """Return every life's row, of one cell or of all, if the sweep kept them.

        Returns:
            A frame with a row for each life: its cell's `regime`, parameters and number (`cell`,
            int), and the columns that `petsim.columns(model)` lists with their units.

        Raises:
            ArgumentError: it did not.
        """
        import pandas as pd

        if not self.design.keep:
            raise ArgumentError(f"{self.path}: kept no lives; sweep with --keep lives")
        numbers = list(self.cells.index) if cell is None else [cell]
        tables = {number: self._rows(number) for number in numbers}
        joined = pd.concat(tables, names=["cell"]).reset_index("cell")
        about = self.cells.drop(columns=["lives", "failed"])
        return about.merge(joined, left_index=True, right_on="cell").reset_index(drop=True)

    def _rows(self, cell: int) -> pd.DataFrame:
        import pandas as pd

        model = self.model(cell)
        names = [column.name for column in columns(model)]
        with self.snapshot() as store:
            values = store.rows(cell)
        try:
            table = pd.DataFrame(values.reshape(-1, len(names)), columns=names)
            for name, known in words(model).items():
                table[name] = pd.Categorical.from_codes(table[name], pd.Index(known))
        except ValueError as error:
            why = f"the rows of cell {cell} are none of its model"
            raise DamageError(f"{self.path}: is damaged: {why}") from error
        return table

    def _joined(self, rows: dict[int, Interval], **labels: Any) -> pd.DataFrame:
        """Intervals by cell, beside the cells' regimes and parameters."""
        import pandas as pd

        intervals = pd.DataFrame.from_dict(rows, orient="index", columns=Interval._fields)
        cells = self.cells.drop(columns="failed")
        return cells.assign(**labels).join(intervals, how="inner")

    @consistent
    def as_dict(self) -> dict[str, Any]:
        """What was found as plain data, as `petsim sweep --json` prints it."""
        odds, failed = self.odds(), self.failed
        intervals = odds[[*Interval._fields]].to_dict(orient="index")
        lives = self.lives_by_cell
        cells = [
            {
                "cell": cell.number,
                "regime": self.design.regime_of(cell),
                "parameters": self.parameters(cell.number),
                "lives": lives[cell.number],
                "odds": intervals.get(cell.number),
                "failed": failed.get(cell.number),
            }
            for cell in self._cells
        ]
        facts = {"file": str(self.path), **self.provenance, "cells": cells}
        if self.tells_which_matters:
            rows = self.sensitivity().to_dict(orient="index")
            facts["sensitivity"] = {path: as_data(row) for path, row in rows.items()}
        return facts

    def __repr__(self) -> str:
        cells = self.cells
        lived, wanted = int(cells["lives"].sum()), len(cells) * self.design.lives
        return f"<sweep {self.path}: {len(cells)} cells, {lived} of {wanted} lives>"


def _added(figures: Sequence[Figures]) -> Figures:
    """The figures of all lives together, whatever the order they come in."""
    lives, totals, squares = zip(*figures, strict=True)
    return sum(lives), math.fsum(totals), math.fsum(squares)


def open_sweep(name: str | Path) -> Sweep:
    """A sweep by its name or path.

    Raises:
        ArgumentError: there is none, or it is no sweep.
    """
    return Sweep(sweep_path(name))
