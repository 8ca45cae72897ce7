"""The door for those who ask many questions: changes in, batches of lives on common luck out.

A search, an explanation or a fit asks what the odds are under one change after another. An
`Evaluator` lives the same lives for each, none of them twice, under one model or under several
that are each believed as much as their weight says.
"""

from __future__ import annotations

import math
from collections import OrderedDict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from petsim.errors import ArgumentError, ensure_known
from petsim.life.caretaker import Caretaker, load_caretaker
from petsim.life.record import columns, words
from petsim.life.simulate import CaretakerSource, ModelSource, Span, choose_engine
from petsim.spec import defaults
from petsim.spec.arguments import count_of, is_number, word_of
from petsim.spec.library import load_model
from petsim.spec.model import Model
from petsim.spec.shown import Shown
from petsim.study.aims import Aim, AimSource, aim_at, read_aim
from petsim.study.batch import Batch, Table
from petsim.study.memory import ensure_room
from petsim.study.runner import Rows, Runner, chunks_of, workers_of
from petsim.study.stats import Interval
from petsim.study.variants import Content, Files, Variant, read_changes
from petsim.study.weighted import WeightedInterval, weighted_interval

LIVES_KEPT = 200_000
"""Lives kept for reuse, of about half a kilobyte each."""
CHANGES_KEPT = 100
"""Changes whose files are kept as they were read."""


class Evaluator(Shown):
    """Simulates the same lives under one change of a model or a regime after another.

    Lives are kept: of the same content none is simulated twice, and if more are asked for, only
    those that are missing are simulated.

    Args:
        models: a model as for `batch`, or a list of several: guesses, or draws of a fit.
        regime: as for `batch`: what is changed.
        weights: how much each model is believed, as numbers from 0 on; by default all alike.
        seed, until, days, engine, workers, check_limit: as for `batch`.
        aim: the form whose odds are asked for; several of which each counts; or what each of some
            is worth, if it is their expected worth that is asked for. By default the first model's.
        keep: how many lives to keep for reuse, at half a kilobyte each; those not asked for
            longest go first.

    Raises:
        SpecError, PolicyError: as for `batch`.
        ArgumentError: as for `batch`; there is no model, there are not as many weights as models,
            or they are no numbers from 0 on; the aim is none of each model's outcome stage.
    """

    def __init__(
        self,
        models: ModelSource | Sequence[ModelSource],
        regime: CaretakerSource,
        *,
        weights: Sequence[float] | None = None,
        seed: int = 0,
        until: str | None = None,
        days: float | None = None,
        aim: AimSource | None = None,
        engine: str = "auto",
        workers: int | None = None,
        check_limit: float = defaults.CHECK_LIMIT,
        keep: int = LIVES_KEPT,
    ) -> None:
        self.models = _models(models)
        self.weights = _shares(weights, len(self.models))
        self.seed, self.span = word_of("seed", seed), Span(until, days)
        self.aim = read_aim(self.models[0], aim)
        for model in self.models[1:]:
            read_aim(model, self.aim.worths)
        self._engine, self._workers = engine, workers_of(workers)
        self._check_limit = check_limit
        self._files = Files(self.models, load_caretaker(regime, self.models[0]))
        self._known = _Known(count_of("keep", keep))
        self._changed = lru_cache(maxsize=CHANGES_KEPT)(self._files.changed)

    def evaluate(
        self,
        changes: Mapping[str, Any] | None = None,
        lives: int = defaults.CELL_LIVES,
        *,
        regime: CaretakerSource | None = None,
        models: ModelSource | Sequence[ModelSource] | None = None,
    ) -> Evaluation:
        """Simulate the lives under changed files.

        Args:
            changes: the path of each quantity that is changed, in the regime or in every model,
                and its value as a file has it, such as {"checks.every": "20 min"}.
            lives: how many, numbered from 0.
            regime: another regime or policy instead of the one that the evaluator was made with.
            models: other models instead, as many.

        Raises:
            SpecError: a value does not fit where its path leads; the message names both.
            ArgumentError: a path leads nowhere; lives is below 1; there are more or fewer models.
            PolicyError: a policy did what a caretaker can't.
        """
        lives = count_of("lives", lives)
        if regime is None and models is None:
            variants = self._changed(read_changes(changes or {}, self.models))
        else:
            others = self.models if models is None else _models(models)
            if len(others) != len(self.models):
                raise ArgumentError(f"models: {len(others)}; expected {len(self.models)}")
            caretaker = self._files.caretaker if regime is None else load_caretaker(regime, None)
            variants = Files(others, caretaker).changed(read_changes(changes or {}, others))
        return Evaluation(self._lived(variants, lives), self.weights, self.aim)

    def evaluate_each(
        self, changes: Iterable[Mapping[str, Any]], lives: int = defaults.CELL_LIVES
    ) -> list[Evaluation]:
        """Simulate the lives under each of several changes, which are handed out together.

        So all processors have work where the lives of one change are few.

        Args:
            changes: as `evaluate` takes them, one after another.
            lives: how many under each, numbered from 0.

        Raises:
            SpecError, ArgumentError, PolicyError: as for `evaluate`.
        """
        lives = count_of("lives", lives)
        each = [self._changed(read_changes(changed, self.models)) for changed in changes]
        batches = iter(self._lived([variant for variants in each for variant in variants], lives))
        return [
            Evaluation(tuple(islice(batches, len(variants))), self.weights, self.aim)
            for variants in each
        ]

    def worths(self, caretakers: Sequence[Caretaker], numbers: range) -> NDArray[np.float64]:
        """What the aim is worth in lives with these numbers, which need not begin with 0.

        They are simulated anew each time, under all caretakers at once.

        Args:
            caretakers: of each of whom lives are wanted.
            numbers: of the lives.

        Returns:
            What each life is worth by the aim, of shape (caretakers, models, lives).
        """
        pairs = [(model, caretaker) for caretaker in caretakers for model in self.models]
        engines = [choose_engine(*pair, self.span, self._engine) for pair in pairs]
        worths = np.empty((len(pairs), len(numbers)))
        with Runner(self._workers, lives=worths.size, check_limit=self._check_limit) as runner:
            chunks = chunks_of(engines, self.seed, [numbers] * len(pairs), self._workers)
            for chunk, rows in runner.results(chunks):
                model, _ = pairs[chunk.key]
                first = chunk.numbers.start - numbers.start
                worths[chunk.key, first : first + len(chunk.numbers)] = self._worths(model, rows())
        return worths.reshape(len(caretakers), len(self.models), len(numbers))

    def _worths(self, model: Model, rows: Rows) -> NDArray[np.float64]:
        column = [column.name for column in columns(model)].index("outcome")
        by_outcome = self.aim.by_outcome(words(model)["outcome"])
        worths: NDArray[np.float64] = by_outcome[rows[:, column]]
        return worths

    @property
    def caretaker(self) -> Caretaker:
        """Who looks after the pet where nothing is changed."""
        return self._files.caretaker

    @property
    def regime(self) -> str:
        """What the user calls the regime or policy that it was made with."""
        return self._files.caretaker.name

    def __repr__(self) -> str:
        models = ", ".join(model.id for model in self.models)
        return f"<evaluator of {models} under {self.regime}: aim {self.aim}, seed {self.seed}>"

    def _lived(self, variants: Sequence[Variant], lives: int) -> tuple[Batch, ...]:
        """The batch of each variant, of which only the lives that are not known are lived."""
        by_content = {variant.content: variant for variant in variants}
        batches = {c: batch for c in by_content if (batch := self._known.get(c)) is not None}
        missing = [c for c in by_content if c not in batches or len(batches[c]) < lives]
        if missing:
            tables = self._filled([by_content[c] for c in missing], batches, lives)
            batches |= {c: table.batch(lives) for c, table in zip(missing, tables, strict=True)}
        for content, batch in batches.items():
            self._known.keep(content, batch)
        return tuple(variant.batch(batches[variant.content], lives) for variant in variants)

    def _filled(
        self, variants: Sequence[Variant], known: Mapping[Content, Batch], lives: int
    ) -> list[Table]:
        """The table of each variant, with the lives that are known and those that were missing."""
        engines = [
            choose_engine(variant.model, variant.caretaker, self.span, self._engine)
            for variant in variants
        ]
        ensure_room([variant.model for variant in variants], lives)
        tables = [
            Table(v.model, engine, self.span, self.seed, lives, known.get(v.content))
            for v, engine in zip(variants, engines, strict=True)
        ]
        numbers = [range(table.filled, lives) for table in tables]
        with Runner(
            self._workers, lives=sum(map(len, numbers)), check_limit=self._check_limit
        ) as runner:
            chunks = chunks_of(engines, self.seed, numbers, self._workers)
            for chunk, rows in runner.results(chunks):
                tables[chunk.key].write(chunk.numbers, rows())
        return tables


@dataclass(frozen=True, eq=False)
class Evaluation(Shown):
    """The same lives under each of several weighted models.

    batches: one of each model. weights: how much each is believed; they sum to 1. aim: what is
    hoped for, whose odds or expected worth are asked for.
    """

    batches: tuple[Batch, ...]
    weights: tuple[float, ...]
    aim: Aim

    def __len__(self) -> int:
        return len(self.batches[0])

    def values(self, outcome: str | None = None) -> NDArray[np.float64]:
        """What each life is worth by the aim, or 1 with an outcome, of shape (models, lives).

        Raises:
            ArgumentError: a model has no such outcome.
        """
        asked = self._asked(outcome)
        return np.array([asked.values(batch) for batch in self.batches])

    def shares(self, outcome: str | None = None) -> tuple[Interval, ...]:
        """Odds of the aim or of an outcome, or the expected worth, under each model.

        They have 95 % intervals: Wilson's of odds, `Aim.combined` of a worth.

        Raises:
            ArgumentError: a model has no such outcome.
        """
        asked = self._asked(outcome)
        return tuple(asked.interval(asked.values(batch)) for batch in self.batches)

    def odds(self, outcome: str | None = None) -> WeightedInterval:
        """Odds of the aim or of an outcome, or the expected worth, over all models.

        Of a single model they are those of `shares`, which says what is raised.
        """
        weights = np.array(self.weights)
        sampling = self._asked(outcome).combined(self.values(outcome), weights)
        return weighted_interval(self.shares(outcome), sampling, weights)

    def difference(self, other: Evaluation, outcome: str | None = None) -> WeightedInterval:
        """These odds, or this worth, less those of another evaluation, over the lives of both.

        Under each model the lives have the same luck in both. Of a single model it is Newcombe's
        interval of a paired difference, as `petsim.compare` has it.

        Raises:
            ArgumentError: as for `shares`; the other is of another seed, length, weights or aim.
        """
        asked, own, others = self._asked(outcome), self.values(outcome), other.values(outcome)
        if self._luck() != other._luck():
            raise ArgumentError("other: of other luck; expected one of the same evaluator")
        if outcome is None and self.aim != other.aim:
            raise ArgumentError(f"other: of the aim {other.aim}; expected one of {self.aim}")
        lives, weights = min(len(self), len(other)), np.array(self.weights)
        ours, theirs = own[:, :lives], others[:, :lives]
        one_less_the_other = np.array([1.0, -1.0])
        pairs = [
            asked.combined(np.array(pair), one_less_the_other)
            for pair in zip(ours, theirs, strict=True)
        ]
        both, factors = np.concatenate([ours, theirs]), np.concatenate([weights, -weights])
        return weighted_interval(pairs, asked.combined(both, factors), weights)

    def _asked(self, outcome: str | None) -> Aim:
        """The aim, or that of an outcome that all models have."""
        if outcome is None:
            return self.aim
        for batch in self.batches:
            ensure_known("outcome", outcome, words(batch.model)["outcome"])
        return aim_at(outcome)

    def _luck(self) -> tuple[Any, ...]:
        first = self.batches[0]
        return first.seed, first.span, self.weights

    def __repr__(self) -> str:
        odds, models = self.odds(), ", ".join(batch.model.id for batch in self.batches)
        return (
            f"<{len(self)} lives of {models} under {self.batches[0].regime}: "
            f"{self.aim} {odds.estimate:.1%} ({odds.low:.1%} to {odds.high:.1%})>"
        )


class _Known:
    """The batches used last, by their content, up to a number of lives in all."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._batches = OrderedDict[Content, Batch]()

    def get(self, content: Content) -> Batch | None:
        """The batch kept for a content, if there is one."""
        return self._batches.get(content)

    def keep(self, content: Content, batch: Batch) -> None:
        """Keep a batch, rather than those that were kept before."""
        self._batches[content] = batch
        self._batches.move_to_end(content)
        while sum(map(len, self._batches.values())) > self._most and self._batches:
            self._batches.popitem(last=False)


def _models(models: ModelSource | Sequence[ModelSource]) -> tuple[Model, ...]:
    if isinstance(models, Model | str | Path | Mapping):
        models = [models]
    if not isinstance(models, Sequence) or not models:
        raise ArgumentError(f"models: {models!r}; expected a model, or a list of one or more")
    return tuple(load_model(model) for model in models)


def _shares(weights: Sequence[float] | None, models: int) -> tuple[float, ...]:
    """Weights that sum to 1."""
    given = [1.0] * models if weights is None else list(weights)
    if len(given) != models:
        raise ArgumentError(f"weights: {len(given)}; expected {models}, as there are models")
    if not all(is_number(w) and 0 <= w < math.inf for w in given) or not sum(given):
        raise ArgumentError(f"weights: {given!r}; expected numbers from 0 on, not all 0")
    return tuple(weight / sum(given) for weight in given)
