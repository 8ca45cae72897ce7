"""Many lives of one model under one caretaker, over all processors, as one table."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from petsim.errors import ensure_known
from petsim.life.caretaker import Caretaker, is_sendable
from petsim.life.drawn import Drawn
from petsim.life.kinds import EventKind
from petsim.life.record import Life, words
from petsim.life.reference import ReferenceEngine
from petsim.life.simulate import CaretakerSource, ModelSource, Span, choose_engine, load_together
from petsim.spec import defaults
from petsim.spec.arguments import count_of, word_of
from petsim.spec.model import Model
from petsim.study.aims import Aim, read_aim
from petsim.study.hours import Hours, hours_of
from petsim.study.measures import has_word
from petsim.study.memory import dtypes, ensure_room
from petsim.study.precision import LOOK, EnoughLives, Precision
from petsim.study.processes import ROOM, call_apart
from petsim.study.reasons import ORDER, MissReasons, counted_by_reason
from petsim.study.runner import Engine, Rows, Runner, chunks_of, workers_of
from petsim.study.stats import Interval, bonferroni, wilson

if TYPE_CHECKING:
    import pandas as pd

    from petsim.life.compiled import CompiledEngine


LOGGED = {"compiled": 250, "reference": 25}
"""Lives that are lived again for what only their logs say, a second or two's worth: by the compiled
engine for the hours of misses, and by the reference engine for their reasons."""


@dataclass(frozen=True, eq=False)
class Batch(Drawn):
    """Lives 0 to n - 1 of a seed, one model under one caretaker, with what made them.

    engine: the one that lived them, which makes no difference to them. values: the columns of the
    table of lives, in order, each word by its number. interrupted: whether there are fewer lives
    than were asked for. precision: what came of it, if one was asked for.
    """

    model: Model
    caretaker: Caretaker
    seed: int
    span: Span
    engine: str
    values: Mapping[str, NDArray[Any]]
    interrupted: bool = False
    precision: Precision | None = None

    def __len__(self) -> int:
        return len(self.values["outcome"])

    @property
    def regime(self) -> str:
        """What the user calls the caretaker."""
        return self.caretaker.name

    @cached_property
    def lives(self) -> pd.DataFrame:
        """The table, one row a life; `petsim.columns(model)` says what each column holds."""
        import pandas as pd

        named = {
            name: pd.Categorical.from_codes(self.values[name], pd.Index(known))
            for name, known in words(self.model).items()
        }
        return pd.DataFrame({**self.values, **named}, copy=False)

    @cached_property
    def aim(self) -> Aim:
        """What its model hopes for."""
        return read_aim(self.model)

    def which(self, column: str, *wanted: str) -> NDArray[np.bool_]:
        """Whether each life has one of these words in a column that holds words."""
        which: NDArray[np.bool_] = has_word(self.model, column, *wanted)(self.values)
        return which

    @cached_property
    def counts(self) -> dict[str, int]:
        """Lives by outcome: every form of the outcome stage, then what else happened."""
        forms = self.model.forms
        return {outcome: n for outcome, n in self._all_counts.items() if n or outcome in forms}

    @cached_property
    def _all_counts(self) -> dict[str, int]:
        """Lives by outcome, also those that can happen and did not."""
        known = words(self.model)["outcome"]
        return {outcome: int(self.which("outcome", outcome).sum()) for outcome in known}

    def miss_hours(self) -> Hours:
        """When the care misses of its first lives happen, which are lived again for it once."""
        return self._miss_hours

    @cached_property
    def _miss_hours(self) -> Hours:
        engine = self._engine("auto")
        if isinstance(engine, ReferenceEngine):
            return self._traced[0]
        numbers = range(min(len(self), LOGGED[engine.name]))
        kept = (EventKind.MISS,)
        return hours_of(engine.live(self.seed, n, traced=True, kept=kept) for n in numbers)

    def miss_reasons(self, lives: int = LOGGED["reference"]) -> MissReasons:
        """Why the care misses of its first lives happened, which are lived again for it once.

        Only the reference engine, which is slower than the other, notes what is seen.

        Args:
            lives: at most as many, up to the 25 that there are by default.
        """
        if lives not in self._reasons_of_first:
            self._reasons_of_first[lives] = (
                self._traced[1].first(lives)
                if isinstance(self._engine("auto"), ReferenceEngine)
                else self._reasons(self._counts_by_reason(lives))
            )
        return self._reasons_of_first[lives]

    @cached_property
    def _reasons_of_first(self) -> dict[int, MissReasons]:
        return {}

    def _counts_by_reason(self, lives: int) -> NDArray[np.int64]:
        """The misses of the first lives, of which those without a miss need not be lived."""
        missed = self.values["misses"][: min(lives, LOGGED["reference"])] > 0
        counts = np.zeros((len(missed), len(self.model.causes), len(ORDER)), dtype=np.int64)
        if missed.any():
            engine = self._engine("reference")
            counts[missed] = _logged(engine, self.seed, np.flatnonzero(missed).tolist())[1]
        return counts

    @cached_property
    def _traced(self) -> tuple[Hours, MissReasons]:
        """Hours and reasons of the first lives, where the reference engine lives all."""
        engine, numbers = self._engine("reference"), [*range(len(self))][: LOGGED["reference"]]
        if self.caretaker.make is None or not is_sendable(self.caretaker):
            hours, counts = _logged(engine, self.seed, numbers)
        else:
            limit = defaults.CHECK_LIMIT
            hours, counts = call_apart(limit, _logged, engine, self.seed, numbers)
        return hours, self._reasons(counts)

    def _reasons(self, counts: NDArray[np.int64]) -> MissReasons:
        return MissReasons(self.model.id, self.regime, self.seed, self.model.causes, counts)

    def _engine(self, wanted: str) -> ReferenceEngine | CompiledEngine:
        return choose_engine(self.model, self.caretaker, self.span, wanted)

    def odds(self, *, simultaneous: bool = False) -> pd.DataFrame:
        """Return the odds: the share of each outcome, with its 95 % interval.

        Args:
            simultaneous: whether the intervals hold for all outcomes of the model at once (Clopper
                and Pearson's, by Bonferroni), rather than each for itself (Wilson's).

        Returns:
            A frame with a row for each outcome (the index, text): each form of the outcome stage,
            and what else became of any life. Its columns are `lives` (int, those with the outcome),
            and `estimate`, `low` and `high` (float, shares 0..1).
        """
        import pandas as pd

        counts = self._all_counts
        intervals = (
            bonferroni([*counts.values()])
            if simultaneous
            else [wilson(count, len(self)) for count in counts.values()]
        )
        rows = {
            outcome: {"lives": count, **interval._asdict()}
            for (outcome, count), interval in zip(counts.items(), intervals, strict=True)
            if outcome in self.counts
        }
        return pd.DataFrame.from_dict(rows, orient="index").rename_axis("outcome")

    def share(self, outcome: str) -> Interval:
        """Share of one outcome with its 95 % Wilson interval.

        Raises:
            ArgumentError: the model has no such outcome.
        """
        known = words(self.model)["outcome"]
        ensure_known("outcome", outcome, known)
        return wilson(self.counts.get(outcome, 0), len(self))

    def __repr__(self) -> str:
        aim = self.aim.of(self)
        return (
            f"<{len(self)} lives of {self.model.id} under {self.regime}, seed {self.seed}, "
            f"followed to {self.span}: {self.aim} {aim.estimate:.1%} "
            f"({aim.low:.1%} to {aim.high:.1%})>"
        )


def _logged(
    engine: ReferenceEngine | CompiledEngine, seed: int, numbers: Sequence[int]
) -> tuple[Hours, NDArray[np.int64]]:
    """Hours and reasons of the misses of lives, each of which is lived and gone through once."""
    counts = []

    def lives() -> Iterator[Life]:
        for number in numbers:
            life = engine.live(seed, number, traced=True)
            counts.append(counted_by_reason(life))
            yield life

    return hours_of(lives()), np.array(counts)


def batch(
    model: ModelSource,
    regime: CaretakerSource,
    *,
    lives: int,
    precision: float | None = None,
    seed: int = 0,
    until: str | None = None,
    days: float | None = None,
    engine: str = "auto",
    workers: int | None = None,
    check_limit: float = defaults.CHECK_LIMIT,
    progress: bool = False,
) -> Batch:
    """Simulate many lives of a pet under one regime.

    Args:
        model: a model, its name, its path or its content as a mapping.
        regime: a regime in any of these ways, a policy class, or `FILE.py:CLASS`.
        lives: how many; they are numbered from 0, and a life does not depend on how many there are.
        precision: simulate only as many as it takes for the interval of the aim's odds to be this
            narrow: its half-width, such as 0.01 for one percentage point.
        seed: the seed of the luck, 0 to 2**64 - 1.
        until: follow each to its "outcome" (the default) or to "death".
        days: or for this number of days.
        engine: "reference", "compiled" or, by default, the faster if it can; the lives are the
            same.
        workers: processors to use; by default all that there are.
        check_limit: the seconds of the computer's time that a Python policy may take for a check,
            or to be loaded. It lives in processes of its own, so that whatever it does ends in an
            error; one that can't be sent there lives in this process, as in `simulate`.
        progress: show a bar with the time left, where a terminal can.

    Interrupted, it says so and returns what is done.

    Raises:
        SpecError, PolicyError, ArgumentError: as for `simulate`; lives or workers is below 1;
            precision is no half-width; the lives take more memory than there is; the engine is
            unknown or can't live these lives; a process that lived some is gone.
    """
    span, (pet, caretakers) = Span(until, days), load_together(model, [regime])
    enough = None if precision is None else EnoughLives(precision, _odds_of_the_aim)
    engines = [choose_engine(pet, caretaker, span, engine) for caretaker in caretakers]
    [only] = lived(
        *(pet, engines, span, lives, enough), seed=seed, workers=workers,
        check_limit=check_limit, progress=progress,
    )  # fmt: skip
    return only


def _odds_of_the_aim(batches: Sequence[Batch]) -> Sequence[Interval]:
    return [batch.aim.of(batch) for batch in batches]


def lived(
    model: Model,
    engines: Sequence[Engine],
    span: Span,
    lives: int,
    enough: EnoughLives | None = None,
    *,
    seed: int,
    workers: int | None,
    check_limit: float,
    progress: bool,
) -> tuple[Batch, ...]:
    """The batch of each engine, of the same lives: as many as given, or fewer if they are enough.

    The engines take turns, so that what is done after an interrupt is the same lives of all.
    """
    lives, workers, seed = count_of("lives", lives), workers_of(workers), word_of("seed", seed)
    ensure_room([model] * len(engines), lives)
    tables = [Table(model, engine, span, seed, lives) for engine in engines]
    look, is_enough = LOOK, False
    with Runner(
        workers,
        lives=lives * len(engines),
        progress=progress,
        interrupted=partial(_kept_of, tables, lives),
        check_limit=check_limit,
        gone=lambda error: (
            f"a process that lived lives is gone, after {_filled(tables)} of {lives} ({error}); "
            f"{ROOM}"
        ),
    ) as runner:
        for chunk, rows in runner.results(
            chunks_of(engines, seed, [range(lives)] * len(engines), workers)
        ):
            tables[chunk.key].write(chunk.numbers, rows())
            if enough is not None and _filled(tables) >= look:
                is_enough = enough.look(_batches(tables, look))
                if is_enough:
                    break
                runner.expect(min(lives, enough.needed(look)) * len(engines))
                look += LOOK
    if runner.interrupted:
        return _batches(tables, _filled(tables), interrupted=True)
    batches = _batches(tables, look if is_enough else lives)
    if enough is None:
        return batches
    precision = enough.precision(batches)
    return tuple(replace(batch, precision=precision) for batch in batches)


class Table:
    """The table of lives of one engine, while they are lived.

    known: the first of them, if they were lived before. filled: how many are, from the first on.
    """

    def __init__(
        self,
        model: Model,
        engine: Engine,
        span: Span,
        seed: int,
        lives: int,
        known: Batch | None = None,
    ) -> None:
        self._model, self._engine, self._span, self._seed = model, engine, span, seed
        types = dtypes(model)
        self._values = {name: np.empty(lives, dtype=dtype) for name, dtype in types.items()}
        self.filled = 0 if known is None else len(known)
        if known is not None:
            for name, values in self._values.items():
                values[: self.filled] = known.values[name]

    def write(self, numbers: range, rows: Rows) -> None:
        """Write the lives with these numbers, which follow those written before."""
        for values, column in zip(self._values.values(), rows.T, strict=True):
            values[numbers.start : numbers.stop] = column
        self.filled = numbers.stop

    def batch(self, lives: int, *, interrupted: bool = False) -> Batch:
        """The first lives, of this number."""
        return Batch(
            self._model,
            self._engine.caretaker,
            self._seed,
            self._span,
            self._engine.name,
            {name: values[:lives] for name, values in self._values.items()},
            interrupted,
        )


def _filled(tables: Sequence[Table]) -> int:
    """How many lives have been lived under all engines, from the first on."""
    return min(table.filled for table in tables)


def _batches(
    tables: Sequence[Table], lives: int, *, interrupted: bool = False
) -> tuple[Batch, ...]:
    return tuple(table.batch(lives, interrupted=interrupted) for table in tables)


def _kept_of(tables: Sequence[Table], lives: int) -> str | None:
    """What is said at Ctrl-C, if there is anything to keep."""
    filled = _filled(tables)
    return f"interrupted after {filled} of {lives} lives; this is what they say" if filled else None
