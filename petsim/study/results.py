"""What a sweep found, read from its file, which may still be written to."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from functools import cached_property, wraps
from pathlib import Path
from threading import get_ident
from typing import TYPE_CHECKING, Any, Concatenate, ParamSpec, TypeVar

import numpy as np

from petsim.errors import ArgumentError, choice, ensure_known
from petsim.life.caretaker import Caretaker
from petsim.life.drawn import Drawn
from petsim.life.record import columns, words
from petsim.spec.model import Model
from petsim.spec.names import sweep_path
from petsim.study.design import METHODS, Cell, Design
from petsim.study.job import CellJob
from petsim.study.measures import measures
from petsim.study.stats import Interval, as_data, mean_interval_of_sums, newcombe_paired, wilson
from petsim.study.store import Store
from petsim.study.writing import path_named, write_csv, written_whole

if TYPE_CHECKING:
    import pandas as pd

P = ParamSpec("P")
T = TypeVar("T")


def _consistent(read: Callable[Concatenate[Sweep, P], T]) -> Callable[Concatenate[Sweep, P], T]:
    """A method that reads all it needs from one state of the file."""

    @wraps(read)
    def consistently(self: Sweep, /, *args: P.args, **named: P.kwargs) -> T:
        with self.snapshot():
            return read(self, *args, **named)

    return consistently


class Sweep(Drawn):
    """A sweep on disk. Every table is read anew, so one that is still running shows what there is.

    For tables that agree with each other, read them within `with sweep.snapshot():`.

    Each row of a table has the cell's regime and parameters: times in seconds, chances as shares
    from 0 to 1, other numbers as they are; what is no number as text.

    Args:
        path: of its file.

    Raises:
        ArgumentError: there is none, or it is no sweep.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._stores: dict[int, Store] = {}  # of the threads that are reading, by their numbers
        with self.snapshot() as store:
            self.provenance = store.about()
        design = self.provenance.pop("design")
        self.design = Design.from_dict(design, self.provenance.pop("policies"))
        self.provenance |= design

    @contextmanager
    def snapshot(self) -> Iterator[Store]:
        """Read all that is read within from one state of the file, which is opened once."""
        own = get_ident()
        if own in self._stores:
            yield self._stores[own]
            return
        with closing(Store(self.path, writable=False)) as store, store.snapshot():
            self._stores[own] = store
            try:
                yield store
            finally:
                del self._stores[own]

    def query(self, sql: str, *values: Any) -> list[tuple[Any, ...]]:
        """The rows of an SQL query of its file."""
        with self.snapshot() as store:
            return store.read(sql, *values)

    @property
    @_consistent
    def cells(self) -> pd.DataFrame:
        """The cells: regime, parameters, lives so far, and why it failed if it did."""
        import pandas as pd

        rows = self.query(
            "SELECT cells.cell, regime, COALESCE(SUM(lives), 0), COALESCE(reason, '') "
            "FROM cells LEFT JOIN chunks USING (cell) GROUP BY cells.cell ORDER BY cells.cell"
        )
        table = pd.DataFrame(rows, columns=["cell", "regime", "lives", "failed"]).set_index("cell")
        rows = self.query("SELECT cell, path, text, number FROM parameters")
        parameters = pd.DataFrame(rows, columns=["cell", "path", "text", "number"])
        for place, axis in enumerate(self.design.axes):
            own = parameters[parameters["path"] == axis.path].set_index("cell")
            values = own["text"] if own["number"].isna().any() else own["number"].astype(float)
            table.insert(1 + place, axis.path, values)
        return table

    def parameters(self, cell: int) -> dict[str, str]:
        """The parameters of a cell as text, by path, in the order in which they were given."""
        texts = dict(self.query("SELECT path, text FROM parameters WHERE cell = ?", cell))
        return {axis.path: texts[axis.path] for axis in self.design.axes if axis.path in texts}

    @property
    def finished(self) -> bool:
        """Whether all lives of all cells have been lived, but for cells that failed."""
        return not self.query(
            "SELECT 1 FROM cells LEFT JOIN chunks USING (cell) WHERE reason IS NULL "
            "GROUP BY cells.cell HAVING COALESCE(SUM(lives), 0) <> ? LIMIT 1",
            self.design.lives,
        )

    @property
    def failed(self) -> dict[int, str]:
        """The cells that failed, and why."""
        return dict(self.query("SELECT cell, reason FROM cells WHERE reason IS NOT NULL"))

    def ensure_begun(self) -> None:
        """See that there is something to tell of it.

        Raises:
            ArgumentError: nothing was lived in it yet.
        """
        if not self.query("SELECT 1 FROM chunks LIMIT 1"):
            raise ArgumentError(f"{self.path}: nothing was lived in it yet")

    @_consistent
    def odds(self, outcome: str | None = None) -> pd.DataFrame:
        """Return the odds of an outcome in each cell in which something was lived.

        Args:
            outcome: by default the aim.

        Returns:
            A frame with a row for each cell (the index, int): its `regime` and parameters, its
            `lives` (int) so far, the `outcome` (text), and `estimate`, `low` and `high` (float,
            shares 0..1), with Wilson's 95 % interval.

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

    @_consistent
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
            self.ensure_begun()
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
        model = self._job(cell).model_values
        if model not in self._outcomes_of:
            self._outcomes_of[model] = words(self.model(cell))["outcome"]
        return self._outcomes_of[model]

    @cached_property
    def _outcomes_of(self) -> dict[str, tuple[str, ...]]:
        return {}

    @_consistent
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

    def _sums(self, names: Sequence[str]) -> dict[str, dict[int, tuple[int, float, float]]]:
        """Lives, total and squares by the name of what is summed and by cell."""
        places = ", ".join("?" * len(names))
        sums: dict[str, dict[int, tuple[int, float, float]]] = {}
        for name, cell, *own in self.query(
            f"SELECT column, cell, lives, total, squares FROM totals WHERE column IN ({places})",
            *names,
        ):
            lives, total, squares = own
            sums.setdefault(name, {})[cell] = (lives, total, squares)
        return sums

    @property
    def is_sensitivity(self) -> bool:
        """Whether its cells were chosen to show which unknown matters."""
        return self.design.sample is not None and self.design.sample[0] in METHODS

    @property
    @_consistent
    def tells_which_matters(self) -> bool:
        """Whether they were, and all were lived, so that `sensitivity` has an answer."""
        return self.is_sensitivity and self.finished and not self.failed

    @_consistent
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

    @_consistent
    def export(self, path: str | Path, what: str = "odds") -> int:
        """Write a table to a file, `.csv` or `.parquet` (which needs pyarrow): its rows.

        Args:
            path: of the file.
            what: "odds", "differences", "means", "cells" or "lives".

        Raises:
            ArgumentError: it is another kind of file or table, or can't be written.
        """
        tables: dict[str, Callable[[], pd.DataFrame]] = {
            "odds": self.odds,
            "differences": self.differences,
            "means": self.means,
            "cells": lambda: self.cells,
            "lives": self.lives,
        }
        ensure_known("what", what, tables)
        path = path_named(path, ".csv", ".parquet")
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

    @_consistent
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
        return self._job(cell).read_model()

    def caretaker(self, cell: int) -> Caretaker:
        """Who looks after the pet in a cell; of a Python policy, this runs its code."""
        job = self._job(cell)
        return job.caretaker(job.read_model())

    def _job(self, cell: int) -> CellJob:
        return self.design.job(self._cell(cell), "reference")

    @cached_property
    def _cells(self) -> list[Cell]:
        return list(self.design.cells())

    def _cell(self, number: int) -> Cell:
        if number not in range(len(self._cells)):
            raise ArgumentError(f"cell: {number!r}; expected 0 to {len(self._cells) - 1}")
        return self._cells[number]

    def _joined(self, rows: dict[int, Interval], **labels: Any) -> pd.DataFrame:
        """Intervals by cell, beside the cells' regimes and parameters."""
        import pandas as pd

        intervals = pd.DataFrame.from_dict(rows, orient="index", columns=Interval._fields)
        cells = self.cells.drop(columns="failed")
        return cells.assign(**labels).join(intervals, how="inner")

    @_consistent
    def as_dict(self) -> dict[str, Any]:
        """What was found as plain data, as `petsim sweep --json` prints it."""
        odds, failed = self.odds(), self.failed
        intervals = odds[[*Interval._fields]].to_dict(orient="index")
        parameters: dict[int, dict[str, str]] = {}
        for cell, path, text in self.query("SELECT cell, path, text FROM parameters"):
            parameters.setdefault(cell, {})[path] = text
        cells = [
            {
                "cell": cell,
                "regime": regime,
                "parameters": parameters.get(cell, {}),
                "lives": lives,
                "odds": intervals.get(cell),
                "failed": failed.get(cell),
            }
            for cell, regime, lives in self.query(
                "SELECT cells.cell, regime, COALESCE(SUM(lives), 0) FROM cells "
                "LEFT JOIN chunks USING (cell) GROUP BY cells.cell ORDER BY cells.cell"
            )
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


def open_sweep(name: str | Path) -> Sweep:
    """A sweep by its name or path.

    Raises:
        ArgumentError: there is none, or it is no sweep.
    """
    return Sweep(sweep_path(name))
