"""Models and a regime under one change after another, each with the content that tells it apart."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, NamedTuple

from petsim.errors import ArgumentError, MisfitError, SpecError, quote
from petsim.life.caretaker import Caretaker
from petsim.spec.document import Data, Document, Steps
from petsim.spec.library import check_together
from petsim.spec.model import Model
from petsim.spec.model_checks import read_model
from petsim.spec.regime_checks import read_regime
from petsim.spec.variation import path_steps, plain_value
from petsim.study.batch import Batch
from petsim.study.changes import blamed, changed, ensure_leads, home_of

Content = tuple[str, str, Any]
"""What a model, a regime and a policy say."""


class Change(NamedTuple):
    """A value in place of another, as a file has it, as JSON."""

    path: str
    steps: Steps
    value: str

    @property
    def in_document(self) -> tuple[Steps, Data]:
        """The way in the file, and the value there."""
        return self.steps, json.loads(self.value)


@dataclass(frozen=True, eq=False)
class Variant:
    """A model and a caretaker after changes.

    content: equal to that of another exactly if the same lives are lived.
    """

    model: Model
    caretaker: Caretaker
    content: Content

    def batch(self, known: Batch, lives: int) -> Batch:
        """The first lives of what was lived under this content, under these names."""
        values = {name: column[:lives] for name, column in known.values.items()}
        return replace(known, model=self.model, caretaker=self.caretaker, values=values)


@dataclass(frozen=True, eq=False)
class Files:
    """Models and a caretaker to be changed."""

    models: tuple[Model, ...]
    caretaker: Caretaker

    def __post_init__(self) -> None:
        for model in self.models:
            check_together(model, self.caretaker.regime)

    def changed(self, changes: tuple[Change, ...]) -> tuple[Variant, ...]:
        """Each model and the caretaker after changes.

        Raises:
            SpecError: a value does not fit.
        """
        homes: dict[str, list[Change]] = {"model": [], "regime": []}
        for change in changes:
            homes[home_of(change.steps)].append(change)
        try:
            models, contents = self.models, self._model_contents
            if homes["model"]:
                models = tuple(
                    read_model(changed(document, (c.in_document for c in homes["model"])))
                    for document in self._model_documents
                )
                contents = tuple(model.content for model in models)
            caretaker = self._caretaker(models, homes["regime"])
        except SpecError as error:
            paths = [change.path for change in changes]
            problems = [blamed(problem, paths, "changes") for problem in error.problems]
            raise SpecError([*dict.fromkeys(problems)], error.more) from None
        regime, make = caretaker.regime.content, caretaker.make
        return tuple(
            Variant(model, caretaker, (content, regime, make))
            for model, content in zip(models, contents, strict=True)
        )

    def _caretaker(self, models: Sequence[Model], changes: Sequence[Change]) -> Caretaker:
        """The caretaker after changes, whose regime is seen to go with every model."""
        caretaker = self.caretaker
        if changes:
            document = changed(self._regime_document, (change.in_document for change in changes))
            caretaker = replace(self._sendable, regime=read_regime(document, models[0]))
        for model in models:
            check_together(model, caretaker.regime)
        return caretaker

    @cached_property
    def _sendable(self) -> Caretaker:
        """The caretaker as one under another regime, made once: the same policy each time."""
        return self.caretaker.under(self.caretaker.regime)

    @cached_property
    def _model_documents(self) -> tuple[Document, ...]:
        return tuple(model.source() for model in self.models)

    @cached_property
    def _regime_document(self) -> Document:
        return self.caretaker.regime.source()

    @cached_property
    def _model_contents(self) -> tuple[str, ...]:
        return tuple(model.content for model in self.models)


def read_changes(changes: Mapping[str, Any], models: Sequence[Model]) -> tuple[Change, ...]:
    """Changes of these models and their regime.

    Raises:
        ArgumentError: a path leads nowhere, or a value is none that a file can have.
    """
    return tuple(_read_change(path, value, models) for path, value in changes.items())


def _read_change(path: str, value: Any, models: Sequence[Model]) -> Change:
    try:
        steps = path_steps(path)
        for model in models:
            ensure_leads(steps, model)
        return Change(path, steps, json.dumps(plain_value(value)))
    except MisfitError as error:
        raise ArgumentError(
            f"changes {path}: {error.found or f'found {quote(path)}'}; {error.expected}"
        ) from None
