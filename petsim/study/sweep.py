"""Sweeps: the same lives under many variations of a model and its regimes, kept on disk."""

from __future__ import annotations

import logging
import shlex
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from petsim.errors import ArgumentError, PolicyError, ensure_known
from petsim.life.simulate import (
    CaretakerSource,
    ModelSource,
    why_not_compiled,
)
from petsim.life.watch import limit_of
from petsim.spec import defaults
from petsim.spec.choices import ENGINES
from petsim.spec.document import is_file
from petsim.spec.names import sweep_path
from petsim.study.aims import AimSource
from petsim.study.design import Cell, Design, design_of, stored_cells
from petsim.study.extension import Places, ensure_extends, places_in
from petsim.study.plan import SweepPlan, plan
from petsim.study.results import Sweep
from petsim.study.runner import Chunk, Runner, workers_of
from petsim.study.store import DamageError, Store
from petsim.study.store_extend import extend
from petsim.study.store_rescue import rescue
from petsim.study.store_writer import StoreWriter
from petsim.study.stored_design import stored_design
from petsim.study.writing import alone_in

CHUNK = {"compiled": 1_000, "reference": 50}
"""Lives that are written at a time: a tenth of a second's, or two seconds' worth, so that a round
over 50 cells takes a minute at most."""


@dataclass(frozen=True)
class _Run:
    """A sweep to be done: its design, its file, and the engine of cells without a policy."""

    design: Design
    path: Path
    declarative: str

    def engine(self, cell: Cell) -> str:
        """The engine of a cell."""
        return self.design.engine(cell, self.declarative)


def sweep(
    model: ModelSource,
    regimes: Sequence[CaretakerSource],
    vary: Mapping[str, Any],
    *,
    out: str | Path,
    lives: int = defaults.CELL_LIVES,
    sample: str | None = None,
    points: int | None = None,
    seed: int = 0,
    until: str | None = None,
    days: float | None = None,
    aim: AimSource | None = None,
    keep: bool = False,
    engine: str = "auto",
    workers: int | None = None,
    executor: Executor | None = None,
    check_limit: float = defaults.CHECK_LIMIT,
    fail_fast: bool = False,
    progress: bool = False,
) -> Sweep:
    """Simulate the same lives in every cell of a grid, and keep what comes of it in a file.

    The same call goes on where an interrupted one stopped, and opens what is finished.

    Args:
        model: as for `batch`. regimes: one or more, each as for `batch`.
        vary: what varies: the path of a quantity of the regime or of the model, and its values, as
            a list or as text such as "2 min..60 min/2 min".
        out: the name of the file, to which `.sweep` is added.
        lives: how many in each cell, numbered from 0.
        sample: instead of the whole grid, points spread over it: "latin" or "sobol".
        points: how many of them; of "sobol", a power of 2.
        seed, until, days, aim, engine, check_limit: as for `compare`.
        keep: whether to keep every life's row, and not only counts and sums.
        workers: processors to use; by default all that there are.
        executor: or what else simulates the lives: any executor of `concurrent.futures`.
        fail_fast: whether to stop at the first cell that fails.
        progress: show a bar with the time left, where a terminal can.

    Interrupted, it says so and returns what is done.

    Raises:
        SpecError: a file is wrong, or becomes wrong by a value, in a cell that is named.
        ArgumentError: an argument is out of its range; the file is that of another sweep, and says
            which field differs; it can't be written; a process that lived lives is gone.
        PolicyError: fail_fast, and a policy did what a caretaker can't.
    """
    workers = workers_of(workers)
    design = design_of(
        *(model, regimes, vary), lives=lives, sample=sample, points=points, seed=seed,
        until=until, days=days, aim=aim, keep=keep, check_limit=limit_of(check_limit),
    )  # fmt: skip
    run = _Run(design, sweep_path(out), _declarative(engine, design))
    _live(run, workers, executor, check_limit, progress=progress, fail_fast=fail_fast)
    return Sweep(run.path)


def planned(
    model: ModelSource,
    regimes: Sequence[CaretakerSource],
    vary: Mapping[str, Any],
    *,
    out: str | Path,
    lives: int = defaults.CELL_LIVES,
    sample: str | None = None,
    points: int | None = None,
    seed: int = 0,
    until: str | None = None,
    days: float | None = None,
    aim: AimSource | None = None,
    keep: bool = False,
    engine: str = "auto",
    workers: int | None = None,
    check_limit: float = defaults.CHECK_LIMIT,
) -> SweepPlan:
    """What `sweep` would do with the same arguments, and about how long it would take.

    Raises:
        SpecError, ArgumentError: as for `sweep`.
    """
    workers = workers_of(workers)
    design = design_of(
        *(model, regimes, vary), lives=lives, sample=sample, points=points, seed=seed,
        until=until, days=days, aim=aim, keep=keep, check_limit=limit_of(check_limit),
    )  # fmt: skip
    run = _Run(design, sweep_path(out), _declarative(engine, design))
    design.validate()
    cells, done = list(design.cells()), 0
    if is_file(run.path):
        with closing(Store(run.path)) as store:
            if not store.empty:
                places_in(run.path, _known(store, design), design)
                done = len(cells) * design.lives - _left(store, design)
    return plan(design, cells, done, run.engine, workers, check_limit)


def _declarative(wanted: str, design: Design) -> str:
    """The engine for the cells without a Python policy."""
    ensure_known("engine", wanted, ENGINES)
    policies = [regime.name for regime in design.regimes if regime.policy is not None]
    if wanted == "compiled" and policies:
        raise ArgumentError(
            f"engine: 'compiled', but {policies[0]} is a Python policy; "
            "expected 'auto' or 'reference'"
        )
    if wanted == "auto":
        return "reference" if why_not_compiled() else "compiled"
    return wanted


def _opened(run: _Run) -> StoreWriter:
    """Return the file of a sweep, ready to be written to, without what is damaged in it.

    Raises:
        SpecError: a cell is wrong. ArgumentError: the file is that of another sweep.
    """
    while True:
        store = _undamaged(run)
        try:
            known = _known(store, run.design)
            places = places_in(run.path, known, run.design)
            if places is None:
                return store
            run.design.validate()
            about = _about(run) | {"chunk": store.about()["chunk"]}
            extend(store, about, stored_cells(run.design), places)
        except BaseException:
            store.close()
            raise
        store.close()
        _tell_of(run, known, places)


def _tell_of(run: _Run, known: Design, places: Places) -> None:
    """Say that a sweep goes on as a larger one."""
    before, now = (_size(design) for design in (known, run.design))
    moved = any(number != place for number, place in places.items())
    logging.getLogger("petsim").warning(
        "petsim: %s: is extended from %s to %s, and keeps all lives that it has%s",
        *(run.path, before, now, "; its cells have new numbers" if moved else ""),
    )


def _size(design: Design) -> str:
    cells = design.number_of_cells
    return f"{cells} cell{'' if cells == 1 else 's'} of {design.lives}"


def _undamaged(run: _Run) -> StoreWriter:
    """Return the file of a sweep, begun if it is new, without what is damaged in it."""
    try:
        store = StoreWriter(run.path)
        try:
            store.drop_damaged(stored_cells(_begin(store, run)))
        except BaseException:
            store.close()
            raise
    except DamageError as error:
        _rescue(run, error)
        return StoreWriter(run.path)
    return store


def _begin(store: StoreWriter, run: _Run) -> Design:
    """Write the design into a new file or compare it with an old one's; return the file's."""
    if store.empty:
        run.design.validate()
        store.begin(_about(run), stored_cells(run.design))
    return _known(store, run.design)


def _about(run: _Run) -> dict[str, Any]:
    design = run.design
    policies = [regime.policy and regime.policy[0] for regime in design.regimes]
    chunk = min(CHUNK[run.engine(cell)] for cell in design.cells())
    return {"design": design.as_dict(), "policies": policies, "chunk": chunk}


def _rescue(run: _Run, damage: DamageError) -> None:
    """Keep what is whole of a file that is damaged, and say so."""
    try:
        with closing(Store(run.path)) as store:
            about, design = store.about(), _known(store, run.design)
        is_known = True
    except DamageError:
        about, design, is_known = _about(run), run.design, False
    rescue(run.path, about, [*stored_cells(design)], is_known=is_known)
    logging.getLogger("petsim").warning(
        "petsim: %s; what was whole in it is kept, and the rest is lived again",
        str(damage).partition(";")[0],
    )


def _known(store: Store, design: Design) -> Design:
    """Return the design of a file; refuse one that is to have another which does not extend it."""
    about = store.about()
    known = stored_design(store.path, about)
    ensure_extends(store.path, about["design"]["petsim"], known, design)
    return known


def _missing(store: Store, design: Design) -> Iterator[tuple[Cell, range]]:
    """The lives that are missing of cells that have not failed, chunk by chunk, in rounds.

    The first chunk of every cell comes first, then the second of every cell, and so on: after one
    round there are rough odds everywhere, which every later round makes surer.
    """
    failed, size = store.failed(), store.about()["chunk"]
    done = {(chunk.cell, chunk.first): chunk.lives for chunk in store.chunks}
    cells = [cell for cell in design.cells() if cell.number not in failed]
    for first in range(0, design.lives, size):
        numbers = range(first, min(first + size, design.lives))
        for cell in cells:
            if done.get((cell.number, first), 0) < len(numbers):
                yield cell, numbers


def _left(store: Store, design: Design) -> int:
    """How many lives are to be lived of cells that have not failed, by what is a chunk."""
    failed, size = store.failed(), store.about()["chunk"]
    done = sum(
        chunk.lives
        for chunk in store.chunks
        if chunk.cell not in failed and chunk.lives == min(size, design.lives - chunk.first)
    )
    return (design.number_of_cells - len(failed)) * design.lives - done


def _live(
    run: _Run,
    workers: int,
    executor: Executor | None,
    check_limit: float,
    *,
    progress: bool,
    fail_fast: bool,
) -> None:
    """Have all missing lives lived, and write each chunk when it is."""
    path = run.path
    # a file that is replaced has none open who would take the log beside the new one for its own
    with alone_in(path.parent) as let_others_in, closing(_opened(run)) as store:
        left = _left(store, run.design)
        if not left:
            return
        with (
            _begun(store, let_others_in),
            Runner(
                workers,
                executor,
                lives=left,
                progress=progress,
                check_limit=check_limit,
                interrupted=lambda: f"interrupted; what is done is in {path}, and the same goes on",
                gone=lambda error: (
                    f"{path}: a process that lived lives is gone ({error}); what is done is kept, "
                    "and the same goes on"
                ),
            ) as runner,
        ):
            _write(store, run, _missing(store, run.design), runner, fail_fast=fail_fast)


@contextmanager
def _begun(store: StoreWriter, let_others_in: Callable[[], None]) -> Iterator[None]:
    """Keep when lives were lived; once that has begun, nobody replaces the file."""
    with store.session(shlex.join(sys.argv)):
        let_others_in()
        yield


def _write(
    store: StoreWriter,
    run: _Run,
    missing: Iterable[tuple[Cell, range]],
    runner: Runner,
    *,
    fail_fast: bool,
) -> None:
    """Write the lives that a runner lives, chunk by chunk in order."""
    failed: set[int] = set()
    chunks = (
        Chunk(cell.number, run.design.job(cell, run.engine(cell)), numbers)
        for cell, numbers in missing
        if cell.number not in failed
    )
    for chunk, result in runner.results(chunks):
        # what was ahead when its cell failed depends on the workers, and is not kept
        if chunk.key in failed:
            continue
        try:
            store.add(chunk.key, result())
        except PolicyError as error:
            store.fail(chunk.key, str(error))
            failed.add(chunk.key)
            if fail_fast:
                raise
