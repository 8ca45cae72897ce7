"""Searching the lives of a seed for one to look at: the first with a certain outcome."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from petsim.errors import ensure_known
from petsim.life.record import columns, words
from petsim.life.simulate import CaretakerSource, ModelSource, Span, choose_engine, load_together
from petsim.spec import defaults
from petsim.spec.arguments import count_of, word_of
from petsim.study.processes import processors
from petsim.study.runner import Runner, chunks_of
from petsim.study.stats import none_in


class Search(NamedTuple):
    """What came of a search: the lives looked at, from life 0 on, and whether the last is one.

    number: of the first life with the outcome, None if none of them had it.
    """

    outcome: str
    lives: int
    number: int | None

    @property
    def bound(self) -> float:
        """How likely the outcome is at most if no life had it, the one-sided 95 % bound."""
        return none_in(self.lives)


def first_with(
    outcome: str,
    model: ModelSource,
    regime: CaretakerSource,
    *,
    lives: int | None = None,
    seed: int = 0,
    until: str | None = None,
    days: float | None = None,
    check_limit: float = defaults.CHECK_LIMIT,
    progress: bool = False,
) -> Search:
    """Search for the first life with an outcome.

    Args:
        outcome: a form of the outcome stage, a cause of death before it, or "undecided".
        model, regime, seed, until, days, check_limit, progress: as for `batch`.
        lives: how many to look at at most; by default as many as `compare` lives.

    Raises:
        SpecError, PolicyError, ArgumentError: as for `batch`; the model has no such outcome.
    """
    seed = word_of("seed", seed)
    span, (pet, [caretaker]) = Span(until, days), load_together(model, [regime])
    known = words(pet)["outcome"]
    ensure_known("outcome", outcome, known)
    engine = choose_engine(pet, caretaker, span, "auto")
    most = defaults.LIVES[engine.name] if lives is None else count_of("lives", lives)
    column = [each.name for each in columns(pet)].index("outcome")
    chunks = chunks_of([engine], seed, [range(most)], processors())
    with Runner(processors(), lives=most, check_limit=check_limit, progress=progress) as runner:
        for chunk, rows in runner.results(chunks):
            has_it = np.flatnonzero(rows()[:, column] == known.index(outcome))
            if len(has_it):
                number = chunk.numbers[int(has_it[0])]
                return Search(outcome, number + 1, number)
    return Search(outcome, most, None)
