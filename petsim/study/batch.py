"""Many lives of one model under one caretaker, over all processors, as one table."""

from __future__ import annotations

import os
import pickle
import signal
from collections import deque
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import cached_property
from html import escape
from itertools import islice
from typing import TYPE_CHECKING, Any, NamedTuple

import cloudpickle
import numpy as np
from numpy.typing import NDArray

from petsim.life.caretaker import Caretaker
from petsim.life.record import LABELS, columns
from petsim.life.reference import ReferenceEngine
from petsim.life.simulation import (
    ArgumentError,
    CaretakerSource,
    ModelSource,
    Span,
    engine,
    load_together,
)
from petsim.spec.model import UNDECIDED, Model
from petsim.study.stats import Interval, wilson

if TYPE_CHECKING:
    import pandas as pd
    from tqdm import tqdm

# Enough lives that handing them out costs nothing, few enough that all processors end together.
_CHUNK = 20


class Chunk(NamedTuple):
    """Rows of the table of lives: the columns of words by name, and all others in order."""

    labels: dict[str, list[str]]
    numbers: NDArray[np.int64]


@dataclass(frozen=True)
class Batch:
    """Lives 0 to n - 1 of a seed, one model under one caretaker, with what made them.

    lives: the table, one row a life; `petsim.columns(model)` says what each column holds.
    """

    model: Model
    regime: str
    seed: int
    span: Span
    lives: pd.DataFrame

    def __len__(self) -> int:
        return len(self.lives)

    @cached_property
    def counts(self) -> dict[str, int]:
        """Lives by outcome: every form of the outcome stage, then what else happened."""
        seen = self.lives["outcome"].value_counts().to_dict()
        forms = [
            f for f, form in self.model.forms.items() if form.stage == self.model.outcome_stage
        ]
        others = [cause for cause in (*self.model.deaths, UNDECIDED) if seen.get(cause)]
        return {outcome: int(seen.get(outcome, 0)) for outcome in (*forms, *others)}

    def odds(self) -> pd.DataFrame:
        """Share of each outcome with its 95 % Wilson interval: lives, estimate, low, high."""
        import pandas as pd

        rows = {
            outcome: {"lives": count, **wilson(count, len(self))._asdict()}
            for outcome, count in self.counts.items()
        }
        return pd.DataFrame.from_dict(rows, orient="index").rename_axis("outcome")

    def share(self, outcome: str) -> Interval:
        """Share of one outcome with its 95 % Wilson interval."""
        return wilson(int((self.lives["outcome"] == outcome).sum()), len(self))

    def __repr__(self) -> str:
        aim = self.share(self.model.aim)
        return (
            f"<{len(self)} lives of {self.model.id} under {self.regime}, seed {self.seed}, "
            f"followed to {self.span}: {self.model.aim} {aim.estimate:.1%} "
            f"({aim.low:.1%} to {aim.high:.1%})>"
        )

    def _repr_html_(self) -> str:
        return titled_table(repr(self), self.odds())


def titled_table(title: str, shares: pd.DataFrame) -> str:
    """A table of shares as HTML for notebooks, under the representation of what it belongs to."""
    table = shares.to_html(float_format="{:.1%}".format)
    return f"<p>{escape(title.strip('<>'))}</p>\n{table}"


def batch(
    model: ModelSource,
    regime: CaretakerSource,
    *,
    lives: int,
    seed: int = 0,
    until: str | None = None,
    days: float | None = None,
    workers: int | None = None,
    progress: bool = False,
) -> Batch:
    """Live many lives.

    Args:
        model: a model, its name, its path or its content as a mapping.
        regime: a regime in any of these ways, a policy class, or `FILE.py:CLASS`.
        lives: how many; they are numbered from 0, and a life does not depend on how many there are.
        seed: the seed of the luck, 0 to 2**64 - 1.
        until: follow each to its "outcome" (the default) or to "death".
        days: or for this number of days.
        workers: processes to use; by default as many as there are processors to use.
        progress: show a bar with the time left, where a terminal can.

    Raises:
        SpecError, PolicyError, ArgumentError: as for `simulate`; lives or workers is below 1.
    """
    span, (pet, [caretaker]) = Span(until, days), load_together(model, [regime])
    with bar(lives if progress else None) as shown:
        return lived(pet, caretaker, span, lives=lives, seed=seed, workers=workers, shown=shown)


def bar(lives: int | None) -> tqdm[Any]:
    """A progress bar over so many lives; None, or a pipe instead of a terminal, shows none."""
    from tqdm import tqdm

    return tqdm(total=lives, unit=" lives", leave=False, disable=None if lives else True)


def lived(
    model: Model,
    caretaker: Caretaker,
    span: Span,
    *,
    lives: int,
    seed: int,
    workers: int | None,
    shown: tqdm[Any],
) -> Batch:
    """The batch of a model and a caretaker that go together, reporting each chunk to a bar."""
    import pandas as pd

    if lives < 1:
        raise ArgumentError(f"lives: {lives}; expected at least 1")
    workers = _processors() if workers is None else workers
    if workers < 1:
        raise ArgumentError(f"workers: {workers}; expected at least 1")
    names = [column.name for column in columns(model)]
    numbers = np.empty((lives, len(names) - len(LABELS)), dtype=np.int64)
    labels: dict[str, list[str]] = {name: [] for name in LABELS}
    done = 0
    for chunk in _chunks(engine(model, caretaker, span), seed, lives, workers):
        numbers[done : done + len(chunk.numbers)] = chunk.numbers
        for name in LABELS:
            labels[name] += chunk.labels[name]
        done += len(chunk.numbers)
        shown.update(len(chunk.numbers))
    counted = [name for name in names if name not in LABELS]
    table = pd.DataFrame(numbers, columns=counted, copy=False)
    for name in LABELS:
        table.insert(names.index(name), name, pd.Series(labels[name], dtype="category"))
    return Batch(model, caretaker.name, seed, span, table)


def _processors() -> int:
    """Processors this process may use, where the system tells; else all there are."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _chunks(ready: ReferenceEngine, seed: int, lives: int, workers: int) -> Iterator[Chunk]:
    """The rows of all lives, in order."""
    starts = range(0, lives, _CHUNK)
    work = [(seed, range(start, min(start + _CHUNK, lives))) for start in starts]
    packed = _packed(ready) if workers > 1 and len(work) > 1 else None
    if packed is None:
        yield from (_lives(ready, *task) for task in work)
        return
    with ProcessPoolExecutor(min(workers, len(work)), None, _take, (packed,)) as pool:
        # Few tasks at a time, so that an error or Ctrl-C waits for no more than these.
        tasks = iter(work)
        pending = deque(pool.submit(_work, *task) for task in islice(tasks, 2 * workers))
        while pending:
            chunk = pending.popleft().result()
            pending.extend(pool.submit(_work, *task) for task in islice(tasks, 1))
            yield chunk


def _packed(ready: ReferenceEngine) -> bytes | None:
    """The engine as other processes can be sent it, if they can be.

    A policy's class may come from a notebook, where plain pickle would leave it behind.
    """
    try:
        packed: bytes = cloudpickle.dumps(ready)
    except (pickle.PicklingError, AttributeError, TypeError):
        return None
    return packed


_engine: ReferenceEngine | None = None


def _take(packed: bytes) -> None:
    global _engine  # noqa: PLW0603  a worker's only state, set once when it starts
    _engine = cloudpickle.loads(packed)
    # Ctrl-C is the parent's to answer; a worker ends without a word, even in an endless policy.
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def _work(seed: int, lives: range) -> Chunk:
    assert _engine is not None
    return _lives(_engine, seed, lives)


def _lives(ready: ReferenceEngine, seed: int, lives: range) -> Chunk:
    rows = [ready.live(seed, number, traced=False).summary for number in lives]
    labels = {name: [row.pop(name) for row in rows] for name in LABELS}
    return Chunk(labels, np.array([list(row.values()) for row in rows], dtype=np.int64))
