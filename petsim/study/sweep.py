"""Sweeps: the same lives under many variations of a model and its regimes, kept on disk."""

from __future__ import annotations

import json
import logging
import shlex
import sys
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import (
    BrokenExecutor,
    Executor,
    Future,
    ThreadPoolExecutor,
)
from contextlib import ExitStack, closing
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from petsim.errors import ArgumentError, PolicyError, choice
from petsim.life.caretaker import Caretaker
from petsim.life.simulate import (
    CaretakerSource,
    ModelSource,
    Span,
    load_together,
    why_not_compiled,
)
from petsim.life.streams import whole_word
from petsim.spec import defaults
from petsim.spec.arguments import count_of
from petsim.spec.choices import ENGINES
from petsim.spec.document import is_file
from petsim.spec.names import sweep_path
from petsim.spec.variation import as_read, number_of
from petsim.study.batch import progress_bar
from petsim.study.compare import aim_of, see_that_names_differ
from petsim.study.design import Cell, Design, design_of, said_of
from petsim.study.job import Job, Part, live
from petsim.study.plan import SweepPlan, plan
from petsim.study.processes import Processes
from petsim.study.results import Sweep
from petsim.study.store import Store, StoredCell
from petsim.study.work import processors

if TYPE_CHECKING:
    from tqdm import tqdm

CHUNK = {"compiled": 1_000, "reference": 100}
"""Lives that are written at a time: some tenths of a second's, or some seconds' worth."""
AHEAD = 100
"""Chunks that are handed to a cluster ahead of those that have come back."""

Submit = Callable[[Job, range], "Future[Part]"]


class Chunk(NamedTuple):
    """Lives of a cell that are lived and written together."""

    cell: Cell
    numbers: range


@dataclass(frozen=True)
class Work:
    """A sweep to do: what it is, where it goes, and what lives its cells."""

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
    workers: int | None = None,
    executor: Executor | None = None,
    fail_fast: bool = False,
    progress: bool = False,
    **options: Any,
) -> Sweep:
    """Live the same lives in every cell of a grid, and keep what comes of it in a file.

    The same call goes on where an interrupted one stopped, and opens what is finished.

    Args:
        model: as for `batch`. regimes: one or more, each as for `batch`.
        vary: what varies: the path of a quantity of the regime or of the model, and its values, as
            a list or as text such as "2 min..60 min/2 min".
        out: the name of the file, to which `.sweep` is added.
        options: lives in each cell (1000); instead of the whole grid, sample ("latin" or "sobol")
            and points; keep, whether to keep every life's row; seed, until, days, aim and engine as
            for `compare`.
        workers: processors to use; by default all that there are.
        executor: or what else lives the lives: any executor of `concurrent.futures`.
        fail_fast: whether to stop at the first cell that fails.
        progress: show a bar with the time left, where a terminal can.

    Interrupted, it says so and returns what is done.

    Raises:
        SpecError: a file is wrong, or becomes wrong by a value, in a cell that is named.
        ArgumentError: an argument is out of its range; the file is that of another sweep, and says
            which field differs; it can't be written.
        PolicyError: fail_fast, and a policy did what a caretaker can't.
    """
    workers, work = _workers(workers), work_of(model, regimes, vary, out=out, **options)
    with closing(Store(work.path, writable=True)) as store:
        _begin(store, work)
        todo = _todo(store, work.design)
        if todo:
            number = sum(len(chunk.numbers) for chunk in todo)
            with (
                store.session(shlex.join(sys.argv)),
                progress_bar(number, shown=progress) as bar,
                ExitStack() as stack,
            ):
                submit, ahead = _submitter(stack, work.design, executor, workers)
                try:
                    _run(store, work, todo, submit, ahead, bar, fail_fast=fail_fast)
                except KeyboardInterrupt:
                    warning = "petsim: interrupted; what is done is in %s, and the same goes on"
                    logging.getLogger("petsim").warning(warning, work.path)
                except BrokenExecutor as error:
                    raise ArgumentError(
                        f"{work.path}: a process that lived lives is gone ({error}); what is done "
                        "is kept, and the same goes on"
                    ) from error
    return Sweep(work.path)


def planned(
    model: ModelSource,
    regimes: Sequence[CaretakerSource],
    vary: Mapping[str, Any],
    *,
    out: str | Path,
    workers: int | None = None,
    **options: Any,
) -> SweepPlan:
    """What `sweep` would do with the same arguments, and about how long it would take."""
    workers, work = _workers(workers), work_of(model, regimes, vary, out=out, **options)
    work.design.validate()
    cells, done = list(work.design.cells()), 0
    if is_file(work.path):
        with closing(Store(work.path, writable=False)) as store:
            if not store.empty:
                _hold_together(store, work.design)
                left = sum(len(chunk.numbers) for chunk in _todo(store, work.design))
                done = len(cells) * work.design.lives - left
    return plan(work.design, cells, done, work.engine, workers)


def work_of(
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
    aim: str | None = None,
    keep: bool = False,
    engine: str = "auto",
) -> Work:
    """Work out what a sweep is, by the arguments of `sweep`.

    Raises:
        SpecError: a file is wrong. ArgumentError: an argument is out of its range.
    """
    span, (pet, caretakers) = Span(until, days), load_together(model, regimes)
    see_that_names_differ(caretakers)
    design = design_of(
        *(pet, caretakers, vary),
        sample=sample,
        points=points,
        lives=count_of("lives", lives),
        seed=whole_word("seed", seed),
        span=span,
        aim=aim_of(pet, aim),
        keep=keep,
    )
    return Work(design, sweep_path(out), _declarative(engine, caretakers))


def _workers(wanted: int | None) -> int:
    """So many workers as are wanted, or as there are processors."""
    return processors() if wanted is None else count_of("workers", wanted)


def _declarative(wanted: str, caretakers: Sequence[Caretaker]) -> str:
    """What lives the cells without a Python policy."""
    if wanted not in ENGINES:
        raise ArgumentError(f"engine: {wanted!r}; {choice(wanted, ENGINES)}")
    policies = [caretaker.name for caretaker in caretakers if caretaker.make is not None]
    if wanted == "compiled" and policies:
        raise ArgumentError(
            f"engine: 'compiled', but {policies[0]} is a Python policy; "
            "expected 'auto' or 'reference'"
        )
    if wanted == "auto":
        return "reference" if why_not_compiled() else "compiled"
    return wanted


def _begin(store: Store, work: Work) -> None:
    """Write what the sweep is into a new file; hold it against what an old one says.

    Raises:
        SpecError: a cell is wrong. ArgumentError: the file is that of another sweep.
    """
    design = work.design
    if store.empty:
        design.validate()
        chunk = min(CHUNK[work.engine(cell)] for cell in design.cells())
        policies = [regime.policy and regime.policy[0] for regime in design.regimes]
        about = {"design": design.as_dict(), "policies": policies, "chunk": chunk}
        store.begin(about, map(partial(_stored, design), design.cells()))
    _hold_together(store, design)


def _hold_together(store: Store, design: Design) -> None:
    # as JSON has it, without tuples
    now = json.loads(json.dumps(design.as_dict()))
    differing = _differing(store.about()["design"], now)
    if differing is not None:
        raise ArgumentError(
            f"{store.path}: is a sweep of another {differing}; expected what it was started with, "
            "or another name to write to"
        )


def _differing(known: dict[str, Any], now: dict[str, Any]) -> str | None:
    """The first field that differs, with both values if they are short."""
    for field in now | known:
        one, other = known.get(field), now.get(field)
        if isinstance(one, dict) and isinstance(other, dict):
            inside = _differing(one, other)
            if inside is not None:
                return f"{field} {inside}"
            if [*one] != [*other]:  # which cell is which depends on it
                return f"order of {field}, {', '.join(one)} and not {', '.join(other)}"
        elif field == "regimes" and one != other:
            return _differing_regime(one, other)
        elif not _alike(one, other):
            values = " and not ".join(json.dumps(x, ensure_ascii=False) for x in (one, other))
            return f"{field}, {values}" if len(values) < 100 else field
    return None


def _alike(one: Any, other: Any) -> bool:
    """Whether two fields are the same, or lists of the same values written otherwise."""
    if isinstance(one, list) and isinstance(other, list):
        return [*map(as_read, one)] == [*map(as_read, other)]
    return bool(one == other)


def _differing_regime(known: Any, now: Any) -> str:
    """Which of the regimes is another, and what of it: their names, its file or its policy."""
    names, others = ([name for name, _, _ in regimes] for regimes in (known, now))
    if names != others:
        return f"choice of regimes, {', '.join(names)} and not {', '.join(others)}"
    return next(
        f"{what} {one[0]}"
        for what, part in (("regime", 1), ("policy of", 2))
        for one, other in zip(known, now, strict=True)
        if one[part] != other[part]
    )


def _stored(design: Design, cell: Cell) -> StoredCell:
    parameters = {
        axis.path: (said_of(value), number_of(value))
        for axis, value in zip(design.axes, cell.values, strict=True)
    }
    return StoredCell(cell.number, design.regimes[cell.regime].name, parameters)


def _todo(store: Store, design: Design) -> list[Chunk]:
    """The chunks that are missing, of cells that have not failed, in order."""
    done, failed, size = store.done(), store.failed(), store.about()["chunk"]
    return [
        Chunk(cell, range(first, min(first + size, design.lives)))
        for cell in design.cells()
        if cell.number not in failed
        for first in range(0, design.lives, size)
        if (cell.number, first) not in done
    ]


def _submitter(
    stack: ExitStack, design: Design, executor: Executor | None, workers: int
) -> tuple[Submit, int]:
    """What has a chunk lived elsewhere, and how many chunks to be ahead with.

    Here, compiled code runs in threads, as it needs no interpreter; Python in processes.
    """
    pools: dict[str, Executor] = {}

    def pool(engine: str) -> Executor:
        if executor is not None:
            return executor
        if engine not in pools:
            made = ThreadPoolExecutor(workers) if engine == "compiled" else Processes(workers)
            pools[engine] = made
            stack.callback(made.shutdown, cancel_futures=True)
        return pools[engine]

    def submit(job: Job, numbers: range) -> Future[Part]:
        return pool(job.engine).submit(live, job, design.seed, numbers, keep=design.keep)

    return submit, AHEAD if executor is not None else 2 * workers


def _run(
    store: Store,
    work: Work,
    todo: Sequence[Chunk],
    submit: Submit,
    ahead: int,
    bar: tqdm[Any],
    *,
    fail_fast: bool,
) -> None:
    """Have all chunks lived, and write each when it is, in order."""
    failed: set[int] = set()
    chunks, pending = iter(todo), deque[tuple[Chunk, Future[Part]]]()
    while True:
        for chunk in chunks:
            if chunk.cell.number not in failed:
                job = work.design.job(chunk.cell, work.engine(chunk.cell))
                pending.append((chunk, submit(job, chunk.numbers)))
            if len(pending) == ahead:
                break
        if not pending:
            return
        chunk, future = pending.popleft()
        # what was ahead when its cell failed depends on the workers, and is not kept
        if chunk.cell.number not in failed:
            try:
                store.add(chunk.cell.number, future.result())
            except PolicyError as error:
                store.fail(chunk.cell.number, str(error))
                failed.add(chunk.cell.number)
                if fail_fast:
                    raise
        bar.update(len(chunk.numbers))
