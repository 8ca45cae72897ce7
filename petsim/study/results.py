"""What a sweep found, read from its file, which may still be written to."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import closing
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from petsim.errors import ArgumentError, choice
from petsim.life.caretaker import Caretaker
from petsim.life.drawn import Drawn
from petsim.life.record import columns, words
from petsim.spec.model import Model
from petsim.spec.names import sweep_path
from petsim.study.design import METHODS, Cell, Design
from petsim.study.job import caretaker_of, changed_model, changed_regime
from petsim.study.stats import Interval, mean_interval_of_sums, newcombe_paired, wilson
from petsim.study.store import Store
from petsim.study.writing import path_named, written_whole

if TYPE_CHECKING:
    import pandas as pd


class Sweep(Drawn):
    """A sweep on disk. Every table is read anew, so one that is still running shows what there is.

    Each row of a table has the cell's regime and parameters: times in seconds, chances as shares
    from 0 to 1, other numbers as they are; what is no number as text.

    Args:
        path: of its file.

    Raises:
        ArgumentError: there is none, or it is no sweep.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.provenance = self._read(Store.about)
        said = self.provenance.pop("design")
        self.design = Design.from_dict(said, self.provenance.pop("policies"))
        self.provenance |= said

    def _read(self, get: Callable[[Store], Any]) -> Any:
        with closing(Store(self.path, writable=False)) as store:
            return get(store)

    def query(self, sql: str, *values: Any) -> list[tuple[Any, ...]]:
        """The rows of an SQL query of its file."""
        found: list[tuple[Any, ...]] = self._read(lambda store: store.read(sql, *values))
        return found

    @property
    def cells(self) -> pd.DataFrame:
        """The cells: regime, parameters, lives so far, and why it failed if it did."""
        import pandas as pd

        rows = self.query(
            "SELECT cells.cell, regime, COALESCE(SUM(lives), 0), COALESCE(reason, '') "
            "FROM cells LEFT JOIN chunks USING (cell) GROUP BY cells.cell ORDER BY cells.cell"
        )
        table = pd.DataFrame(rows, columns=["cell", "regime", "lives", "failed"]).set_index("cell")
        found = self.query("SELECT cell, path, text, number FROM parameters")
        parameters = pd.DataFrame(found, columns=["cell", "path", "text", "number"])
        for place, axis in enumerate(self.design.axes):
            own = parameters[parameters["path"] == axis.path].set_index("cell")
            values = own["text"] if own["number"].isna().any() else own["number"].astype(float)
            table.insert(1 + place, axis.path, values)
        return table

    def parameters(self, cell: int) -> dict[str, str]:
        """The parameters of a cell as text, by path, in the order in which they were given."""
        said = dict(self.query("SELECT path, text FROM parameters WHERE cell = ?", cell))
        return {axis.path: said[axis.path] for axis in self.design.axes if axis.path in said}

    @property
    def finished(self) -> bool:
        """Whether all lives of all cells have been lived, but for cells that failed."""
        cells = self.cells
        return bool(((cells["lives"] == self.design.lives) | (cells["failed"] != "")).all())

    @property
    def failed(self) -> dict[int, str]:
        """The cells that failed, and why."""
        return dict(self.query("SELECT cell, reason FROM cells WHERE reason IS NOT NULL"))

    def see_that_it_began(self) -> None:
        """See that there is something to tell of it.

        Raises:
            ArgumentError: nothing was lived in it yet.
        """
        if not self.query("SELECT 1 FROM chunks LIMIT 1"):
            raise ArgumentError(f"{self.path}: nothing was lived in it yet")

    def odds(self, outcome: str | None = None) -> pd.DataFrame:
        """Odds of an outcome, by default the aim, in each cell, with 95 % Wilson intervals.

        Raises:
            ArgumentError: there is no such outcome.
        """
        wanted = self._wanted(outcome)
        counted = dict(self.query("SELECT cell, lives FROM odds WHERE outcome = ?", wanted))
        lived = self.query("SELECT cell, SUM(lives) FROM chunks GROUP BY cell")
        rows = {cell: wilson(counted.get(cell, 0), n) for cell, n in lived}
        return self._joined(rows, outcome=wanted)

    def _wanted(self, outcome: str | None) -> str:
        """The outcome that is asked for, the aim by default."""
        if outcome is None:
            return self.design.aim
        known = words(self.model(0))["outcome"]
        seen = [seen for (seen,) in self.query("SELECT DISTINCT outcome FROM counts")]
        if outcome not in (*known, *seen):
            raise ArgumentError(f"outcome: {outcome!r}; {choice(outcome, known)}")
        return outcome

    def differences(self, baseline: int | None = None, outcome: str | None = None) -> pd.DataFrame:
        """Odds less those of a baseline cell, on the same lives, with Newcombe's 95 % intervals.

        Args:
            baseline: the number of the cell; by default the first in which something was lived.
            outcome: by default the aim.

        Raises:
            ArgumentError: there is no such cell or outcome, or nothing was lived in the cell.
        """
        wanted = self._wanted(outcome)
        lived = [cell for (cell,) in self.query("SELECT DISTINCT cell FROM chunks ORDER BY cell")]
        if baseline is None:
            self.see_that_it_began()
            baseline = lived[0]
        base = self._reached(baseline, wanted)
        rows = {}
        for cell in lived:
            own = self._reached(cell, wanted)
            both = sorted(own.keys() & base.keys())
            ours, theirs = (np.concatenate([x[first] for first in both]) for x in (own, base))
            table = (ours & theirs, ours & ~theirs, ~ours & theirs, ~ours & ~theirs)
            rows[cell] = newcombe_paired(*(int(part.sum()) for part in table))
        return self._joined(rows, outcome=wanted, baseline=baseline)

    def _reached(self, cell: int, outcome: str) -> dict[int, np.ndarray[Any, np.dtype[np.bool_]]]:
        """Whether each life of a cell had an outcome, chunk by chunk."""
        known = self._outcomes(cell)
        code = known.index(outcome) if outcome in known else -1
        chunks = self.query("SELECT first, outcomes FROM chunks WHERE cell = ?", cell)
        if not chunks:
            raise ArgumentError(f"cell {cell}: nothing was lived in it yet; expected another cell")
        return {first: np.frombuffer(held, dtype="<i2") == code for first, held in chunks}

    def _outcomes(self, cell: int) -> tuple[str, ...]:
        """The outcomes of a cell's model, which is read once for all cells that have it."""
        model = self.design.job(self._cell(cell), "reference").model_values
        if model not in self._outcomes_of:
            self._outcomes_of[model] = words(self.model(cell))["outcome"]
        return self._outcomes_of[model]

    @cached_property
    def _outcomes_of(self) -> dict[str, tuple[str, ...]]:
        return {}

    def means(self, *wanted: str) -> pd.DataFrame:
        """Means over lives of some columns, in each cell, with 95 % t intervals.

        Args:
            wanted: columns as `petsim.columns` has them, or `presses_per_day`,
                `quiet_presses_per_day`, `checks_per_day`, `checks_skipped_per_day`. Of a column
                that is -1 where there is nothing to tell, the lives that have something.

        Raises:
            ArgumentError: no column is given, or one that is not summed, or nothing was lived yet.
        """
        import pandas as pd

        if not wanted:
            raise ArgumentError("column: none; expected one or more, such as 'misses'")
        self.see_that_it_began()
        frames = []
        for column in wanted:
            found = self.query(
                "SELECT cell, lives, total, squares FROM totals WHERE column = ?", column
            )
            if not found:
                raise ArgumentError(f"column: {column!r} is not summed; see petsim.columns")
            rows = {cell: mean_interval_of_sums(*sums) for cell, *sums in found if sums[0]}
            frames.append(self._joined(rows, column=column))
        return pd.concat(frames)

    @property
    def is_sensitivity(self) -> bool:
        """Whether its cells were chosen to show which unknown matters."""
        return self.design.sample is not None and self.design.sample[0] in METHODS

    @property
    def tells_which_matters(self) -> bool:
        """Whether they were, and all were lived, so that `sensitivity` has an answer."""
        return self.is_sensitivity and self.finished and not self.failed

    def sensitivity(self) -> pd.DataFrame:
        """How much each axis moves the odds of the aim; for a sweep of `petsim.sensitivity`.

        One row an axis. By Morris: the mean effect of going through the whole range, its size
        whichever way it goes, with a 95 % interval, and how much it depends on the rest. By Sobol:
        the share of the variance of the odds that is due to the axis alone, and with all others.

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

    def export(self, path: str | Path, what: str = "odds") -> int:
        """Write a table to a file, `.csv` or `.parquet` (which needs pyarrow): its rows.

        Args:
            path: of the file.
            what: "odds", "differences", "cells" or "lives".

        Raises:
            ArgumentError: it is another kind of file or table, or can't be written.
        """
        tables: dict[str, Callable[[], pd.DataFrame]] = {
            "odds": self.odds,
            "differences": self.differences,
            "cells": lambda: self.cells,
            "lives": self.lives,
        }
        if what not in [*tables]:
            raise ArgumentError(f"what: {what!r}; {choice(what, tables)}")
        path = path_named(path, ".csv", ".parquet")
        table = tables[what]()
        table = table if what == "lives" else table.reset_index()
        write = table.to_csv if path.suffix == ".csv" else table.to_parquet
        try:
            with written_whole(path) as draft:
                write(draft, index=False)
        except ImportError:
            raise ArgumentError(f"{path}: needs pip install 'petsim[parquet]'") from None
        return len(table)

    def lives(self, cell: int | None = None) -> pd.DataFrame:
        """Every life's row, of one cell or of all, if the sweep kept them.

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
        held = self.query("SELECT rows FROM chunks WHERE cell = ? ORDER BY first", cell)
        values = np.frombuffer(b"".join(rows for (rows,) in held), dtype="<i8")
        table = pd.DataFrame(values.reshape(-1, len(names)), columns=names)
        for name, known in words(model).items():
            table[name] = pd.Categorical.from_codes(table[name], pd.Index(known))
        return table

    def model(self, cell: int) -> Model:
        """The model of a cell."""
        job = self.design.job(self._cell(cell), "reference")
        return changed_model(job.model, job.model_values)

    def caretaker(self, cell: int) -> Caretaker:
        """Who looks after the pet in a cell; of a Python policy, this runs its code."""
        job = self.design.job(self._cell(cell), "reference")
        regime = changed_regime(job.regime, job.regime_values, self.model(cell))
        return caretaker_of(job, regime)

    @cached_property
    def _cells(self) -> list[Cell]:
        return list(self.design.cells())

    def _cell(self, number: int) -> Cell:
        if number not in range(len(self._cells)):
            raise ArgumentError(f"cell: {number!r}; expected 0 to {len(self._cells) - 1}")
        return self._cells[number]

    def _joined(self, rows: dict[int, Interval], **said: Any) -> pd.DataFrame:
        """Intervals by cell, beside the cells' regimes and parameters."""
        import pandas as pd

        found = pd.DataFrame.from_dict(rows, orient="index", columns=Interval._fields)
        cells = self.cells.drop(columns="failed")
        return cells.assign(**said).join(found, how="inner")

    def as_dict(self) -> dict[str, Any]:
        """What was found as plain data, as `petsim sweep --json` prints it."""
        odds, failed = self.odds(), self.failed
        found = odds[[*Interval._fields]].to_dict(orient="index")
        parameters: dict[int, dict[str, str]] = {}
        for cell, path, text in self.query("SELECT cell, path, text FROM parameters"):
            parameters.setdefault(cell, {})[path] = text
        cells = [
            {
                "cell": cell,
                "regime": regime,
                "parameters": parameters.get(cell, {}),
                "lives": lives,
                "odds": found.get(cell),
                "failed": failed.get(cell),
            }
            for cell, regime, lives in self.query(
                "SELECT cells.cell, regime, COALESCE(SUM(lives), 0) FROM cells "
                "LEFT JOIN chunks USING (cell) GROUP BY cells.cell ORDER BY cells.cell"
            )
        ]
        told = {"file": str(self.path), **self.provenance, "cells": cells}
        if self.tells_which_matters:
            told["sensitivity"] = self.sensitivity().to_dict(orient="index")
        return told

    def __repr__(self) -> str:
        cells = self.cells
        lived, wanted = int(cells["lives"].sum()), len(cells) * self.design.lives
        return f"<sweep {self.path}: {len(cells)} cells, {lived} of {wanted} lives>"


def open_sweep(name: str | Path) -> Sweep:
    """A sweep by its name or path.

    Raises:
        ArgumentError: there is none, or it is no sweep.
    """
    return Sweep(sweep_path(name))
