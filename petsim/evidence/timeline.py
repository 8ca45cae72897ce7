"""When the pet of a log had which form, as far as its looks tell."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from petsim.errors import LogError, choice, listed, quote
from petsim.life.log.entries import Action, LoggedLife, Look
from petsim.life.policy import clock_at
from petsim.spec.growth import reachable, successors
from petsim.spec.model import Model

Bracket = tuple[float, float]
"""Two seconds of a life, in order, between which something happened."""


class FormSpan(NamedTuple):
    """A form that the pet had, and when it grew into it and out of it.

    since: the last look that showed the form before, and the first that showed this one; (0, 0) for
    a form of birth. In a log that begins later it is for the first form the first look twice, and
    the growth was before it. until: likewise of growing out of it, None if it still had it when it
    was last seen.
    """

    form: str
    since: Bracket
    until: Bracket | None

    def is_sure_at(self, t: float) -> bool:
        """Whether the pet had it at a second, and was not just growing into it or out of it."""
        return self.since[1] <= t and (self.until is None or t <= self.until[0])


Spans = Sequence[FormSpan]
"""The forms of a life in their order."""


def form_spans(life: LoggedLife, model: Model) -> list[FormSpan]:
    """Return the forms of a logged life in their order, each with when it began and ended.

    A form that was too brief to be seen is there, with the two looks around it as both of its
    brackets, if the model leaves no doubt which it was; where several may have been, none is.

    Raises:
        LogError: the log is not of such a pet: a form was seen, or an action pressed, that the
            model lacks, or a form that can't come of the one before it.
    """
    _ensure_known_actions(life, model)
    spans: list[FormSpan] = []
    last_seen = 0.0
    if life.is_born:
        spans.append(FormSpan(model.root, (0.0, 0.0), None))
    for t, form in forms_seen(life):
        if form not in model.forms:
            found = f"found the unknown form {quote(form)}"
            raise LogError(f"{_place(life, t)}: {found}; {choice(form, model.forms)}")
        if not spans:
            spans.append(FormSpan(form, (t, t), None))
        elif form != spans[-1].form:
            spans[-1:] = _grown(life, model, spans[-1], (last_seen, t), form)
        last_seen = t
    return spans


def form_at(spans: Sequence[FormSpan], t: float) -> str | None:
    """Return the form that the pet had at a second, None while it may have been growing."""
    return next((span.form for span in spans if span.is_sure_at(t)), None)


def forms_seen(life: LoggedLife) -> Iterator[tuple[float, str]]:
    """Yield the second of each look that shows a form, and the form."""
    for entry in life.entries:
        if isinstance(entry, Look) and "form" in entry.saw:
            yield entry.t, str(entry.saw["form"])


def _ensure_known_actions(life: LoggedLife, model: Model) -> None:
    """Refuse an action that the model lacks: nobody knows what it does.

    Raises:
        LogError: there is one.
    """
    for entry in life.entries:
        if isinstance(entry, Action) and entry.action not in model.care:
            found = f"found the unknown action {quote(entry.action)}"
            raise LogError(f"{_place(life, entry.t)}: {found}; {choice(entry.action, model.care)}")


def _grown(
    life: LoggedLife, model: Model, before: FormSpan, bracket: Bracket, form: str
) -> list[FormSpan]:
    """The span before a growth, now ended, those too brief to be seen, and the new one.

    Raises:
        LogError: the one can't come of the other.
    """
    if form not in reachable(model)[before.form]:
        known = successors(model)[before.form]
        expected = listed([quote(name) for name in known], " or ") or "none, as it grows no more"
        found = f"found the form {quote(form)} after {quote(before.form)}"
        raise LogError(f"{_place(life, bracket[1])}: {found}; by the model expected {expected}")
    unseen = _between(model, before.form, form)
    return [
        before._replace(until=bracket),
        *(FormSpan(name, bracket, bracket) for name in unseen),
        FormSpan(form, bracket, None),
    ]


def _between(model: Model, form: str, grown: str) -> Sequence[str]:
    """The forms that must have been between two: none if there is no need, or a choice of them."""
    nexts, reached = successors(model), reachable(model)
    between: list[str] = []
    while grown not in nexts[form]:
        [form, *others] = [name for name in nexts[form] if grown in reached[name]]
        if others:
            return ()
        between.append(form)
    return between


def _place(life: LoggedLife, t: float) -> str:
    """Where in a log a second is, in words."""
    return f"{life.source}: {clock_at(int(t), life.begins)}"
