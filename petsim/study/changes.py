"""Changes of a model or a regime by path and value, as sweeps and evaluations make them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from petsim.errors import MisfitError, Problem, SpecError, choice, quote, unknown
from petsim.spec.choices import SpecKind
from petsim.spec.document import Data, Document, Fault, Steps
from petsim.spec.model import Model
from petsim.spec.paths import ensure_meant
from petsim.spec.regime import Regime
from petsim.spec.variation import path_steps


def changed(document: Document, changes: Iterable[tuple[Steps, Data]]) -> Document:
    """The document with other values at some places.

    Raises:
        SpecError: a way leads through a text, or to an entry that a list does not have.
    """
    for steps, value in changes:
        try:
            document = document.with_value(steps, value)
        except MisfitError as error:
            fault = Fault(steps, error.found, error.expected)
            raise SpecError([document.problem(fault)]) from None
    return document


def home_of(steps: Steps) -> SpecKind:
    """The file that a way leads into.

    Raises:
        MisfitError: its first key is of neither, or of both.
    """
    first = str(steps[0])
    if first not in _HOMES:
        raise MisfitError(choice(first, sorted(_HOMES)), f"found the unknown key {quote(first)}")
    return _HOMES[first]


def steps_into(path: str, model: Model, regimes: Sequence[Regime]) -> Steps:
    """Return the way of a path that leads into a model or a regime.

    Raises:
        MisfitError: it is no path, or leads into neither; with the path that may be meant.
    """
    try:
        steps = path_steps(path)
        ensure_leads(steps, model)
    except MisfitError as error:
        ensure_meant(path, [model, *regimes], error)
        raise
    return steps


def ensure_leads(steps: Steps, model: Model) -> None:
    """Refuse a way that leads into no file, or to a need, action, stage or form the model lacks.

    To set one of these would be to add it. What is hoped for can't be changed either: one question
    is asked of all.

    Raises:
        MisfitError: the way is such a one.
    """
    home_of(steps)
    if steps[0] in ("aim", "worth"):
        found = f"found {quote(str(steps[0]))}, which says what is asked and not how the pet lives"
        raise MisfitError("expected it with --aim, or aim= in Python", found)
    named: dict[str, tuple[str, Mapping[str, object]]] = {
        "needs": ("need", model.needs),
        "care": ("action", model.care),
        "stages": ("stage", model.stages),
        "forms": ("form", model.forms),
    }
    first, *rest = steps
    if first in named and rest:
        kind, known = named[str(first)]
        if rest[0] not in known:
            raise unknown(kind, str(rest[0]), known)


def blamed(problem: Problem, paths: Iterable[str], asker: str, *where: str) -> Problem:
    """A problem of a changed file as people see it, who have the file as it was.

    Args:
        problem: with its place in the file that was changed.
        paths: of the values that were set: what is wrong in one of them was not written in the
            file, but stands for what is, and is a problem of the asker.
        asker: what the paths were given as.
        where: what else says which change it was.
    """
    if any(is_within(problem.field, path) for path in paths):
        place = problem.file
        if problem.line is not None:
            place += f":{problem.line}:{problem.column}"
        expected = f"{problem.expected} ({'; '.join([*where, place])})"
        return Problem(asker, None, None, problem.field, problem.found, expected)
    if not where:
        return problem
    return replace(problem, expected=f"{problem.expected} ({'; '.join(where)})")


def is_within(field: str, path: str) -> bool:
    """Whether a field is that of a path, or part of it."""
    return field == path or field.startswith((f"{path}.", f"{path}["))


def _keys(file: type[Model] | type[Regime]) -> set[str]:
    return {str(field.alias) for field in file.model_fields.values()}


_HOMES: dict[str, SpecKind] = {
    **dict.fromkeys(_keys(Model) - _keys(Regime), "model"),
    **dict.fromkeys(_keys(Regime) - _keys(Model), "regime"),
}
"""The kind of file that a first key belongs to; a key of both kinds is of neither."""
