"""Weight and discipline, kept as in an account book: from readings, and what was pressed between.

Both are read from a status screen without error. So what an action does to them is told exactly by
how they change from one reading to the next, if nothing else was done between.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Literal, NamedTuple

from petsim.errors import listed
from petsim.evidence.estimate import Estimate, Verdict, refused
from petsim.evidence.places import places_of
from petsim.evidence.timeline import Spans, form_at
from petsim.life.log.entries import Action, LoggedLife, Look
from petsim.spec.model import MOST_DISCIPLINE, Model

FEWEST, AGREE = 3, 0.8
"""How many changes, and what share of them, must be the same for it to be believed."""
WORKS_AT_LEAST = 0.2
"""The share of presses that change something above which an action is taken to do so."""
MAY_HAVE_LANDED = ("took", "unknown")
Book = Literal["weight", "discipline"]
RECORD: dict[Book, str] = {
    "weight": "look at `weight` before and after each action",
    "discipline": "look at `discipline` in each check, and reprimand a pet that calls",
}
LEAST = "read `weight` while it is taken down until it goes no lower"
AT_BIRTH = "look at `{}` in the first check, before any care"


class Step(NamedTuple):
    """From one reading to the next in a form: both values, and what may have landed between."""

    form: str
    before: int
    after: int
    actions: tuple[str, ...]

    @property
    def change(self) -> int:
        """How much more it is after it."""
        return self.after - self.before


def books_estimates(
    lives: Sequence[LoggedLife], spans: Sequence[Spans], model: Model
) -> list[Estimate]:
    """Return what logs tell of the effects of actions on weight, and of discipline's rules.

    spans: the forms of each life.
    """
    pairs = [*zip(lives, spans, strict=True)]
    weights = [step for life, forms in pairs for step in _steps(life, forms, "weight")]
    disciplines = [step for life, forms in pairs for step in _steps(life, forms, "discipline")]
    return [
        _starts(pairs, model, "weight"),
        *_weight_effects(lives, model, weights),
        *_least_weights(spans, model, weights),
        _starts(pairs, model, "discipline"),
        _discipline_step(model, disciplines),
        _lapse_costs(model, disciplines),
    ]


def _steps(life: LoggedLife, spans: Spans, book: Book) -> Iterator[Step]:
    """The steps between readings of a life, but for those in which it is not sure what was done."""
    last: tuple[Look, str] | None = None
    actions: list[Action] = []
    for entry in life.entries:
        if isinstance(entry, Action):
            actions.append(entry)
        elif isinstance(entry, Look) and book in entry.saw:
            form = form_at(spans, entry.t)
            if last and form == last[1] and _is_known(life, last[0].t, entry.t, actions):
                landed = tuple(a.action for a in actions if a.outcome in MAY_HAVE_LANDED)
                yield Step(form, int(last[0].saw[book]), int(entry.saw[book]), landed)
            last, actions = (entry, form) if form else None, []


def _is_known(life: LoggedLife, since: float, until: float, actions: Sequence[Action]) -> bool:
    """Whether it is known what was pressed between two seconds."""
    is_sure = all(action.outcome != "unfinished" for action in actions)
    return is_sure and not life.is_lost(since, until)


# Weight


def _weight_effects(
    lives: Sequence[LoggedLife], model: Model, steps: Sequence[Step]
) -> Iterator[Estimate]:
    """What each action that was pressed does to weight."""
    entries = (entry for life in lives for entry in life.entries)
    pressed = {entry.action for entry in entries if isinstance(entry, Action)}
    for action in (name for name in model.care if name in pressed):
        changes = [step.change for step in steps if _shows(step, action, model)]
        path, guess = f"care.{action}.weight", model.care[action].weight
        yield _exact(path, guess, _effect(changes), changes, RECORD["weight"])


def _shows(step: Step, action: str, model: Model) -> bool:
    """Whether a step shows what an action does to weight.

    It must be the only one, or, if it changes weight by the guess, the only one that does. Weight
    that stops at the least shows no more than that.
    """
    least = model.forms[step.form].weight_min
    if step.actions.count(action) != 1 or (step.change < 0 and step.after <= least):
        return False
    others = [other for other in step.actions if other != action]
    if model.care[action].weight == 0:
        return not others
    return all(model.care[other].weight == 0 for other in others)


def _effect(changes: Sequence[int]) -> int | None:
    """The change that an action makes, None if that is not sure.

    When it is refused, lost or slips it makes none; so that it never makes one is believed only if
    hardly any press did.
    """
    moved = [change for change in changes if change]
    if len(changes) >= FEWEST and len(moved) < WORKS_AT_LEAST * len(changes):
        return 0
    return _agreed(moved)


def _agreed(changes: Sequence[int]) -> int | None:
    """The change that almost all are, None if there is none such or too few."""
    if not changes:
        return None
    [(change, times)] = Counter(changes).most_common(1)
    return change if times >= max(FEWEST, AGREE * len(changes)) else None


def _least_weights(
    spans: Sequence[Spans], model: Model, steps: Sequence[Step]
) -> Iterator[Estimate]:
    """The least weight of each stage that was lived: seen where weight stops before it has to."""
    lived = {span.form for forms in spans for span in forms}
    for place, forms in places_of(model, "weight_min").items():
        if not lived.intersection(forms):
            continue
        own = [step for step in steps if step.form in forms]
        stops = [step.after for step in own if _stops(step, model)]
        seen = [weight for step in own for weight in (step.before, step.after)]
        guess, path = model.forms[forms[0]].weight_min, f"{place}.weight min"
        if _agreed(stops) is not None:
            yield _exact(path, guess, _agreed(stops), stops, "")
        elif seen and min(seen) < guess:
            yield _value(path, guess, min(seen), (0, min(seen)), len(seen), LEAST)
        else:
            why = f"the least weight seen is {min(seen)}" if seen else "`weight` was not read"
            yield refused(path, "model", "value", guess=guess, why=why, record=LEAST, n=len(seen))


def _stops(step: Step, model: Model) -> bool:
    """Whether weight went down by less than the one action takes that was done."""
    if len(step.actions) != 1:
        return False
    return model.care[step.actions[0]].weight < step.change < 0


def _starts(pairs: Sequence[tuple[LoggedLife, Spans]], model: Model, book: Book) -> Estimate:
    """What it is at birth, by the first reading, if nothing can have changed it before."""
    root = model.forms[model.root]
    readings = [_at_birth(life, forms, model, book) for life, forms in pairs]
    first = [value for value in readings if value is not None]
    guess = getattr(model, book).starts
    path, n = f"{book}.starts", len(first)
    if len(set(first)) != 1:
        read = f"`{book}` was not read before it can have changed"
        why = f"the first readings differ: {_listed(first)}" if first else read
        record = AT_BIRTH.format(book)
        return refused(path, "model", "value", guess=guess, why=why, record=record, n=n)
    value = first[0]
    if book == "weight" and value == root.weight_min > 0:
        hidden = "nothing: it is raised to the least weight at birth, and shows no more then"
        return _value(path, guess, min(guess, value), (0, value), n, hidden)
    return _value(path, guess, value, (value, value), n)


def _at_birth(life: LoggedLife, spans: Spans, model: Model, book: Book) -> int | None:
    """The first reading of a life, if the pet had not grown and no care can have told by then."""
    if not life.is_born:
        return None
    is_dormant = model.forms[model.root].dormant
    for entry in life.entries:
        if isinstance(entry, Action) and not is_dormant:
            return None
        if not is_dormant and life.is_lost(0.0, entry.t):
            return None
        if isinstance(entry, Look) and book in entry.saw:
            return int(entry.saw[book]) if form_at(spans[:1], entry.t) else None
    return None


# Discipline


def _discipline_step(model: Model, steps: Sequence[Step]) -> Estimate:
    """What a reprimand of a misbehaving pet adds: it goes up by that, or not at all."""
    scolds = {action for action, care in model.care.items() if care.reprimands}
    rises = [
        step.change
        for step in steps
        if step.change > 0
        and step.after < MOST_DISCIPLINE
        and sum(action in scolds for action in step.actions) == 1
    ]
    guess = model.discipline.step
    return _exact("discipline.step", guess, _agreed(rises), rises, RECORD["discipline"])


def _lapse_costs(model: Model, steps: Sequence[Step]) -> Estimate:
    """What a misbehaviour takes away that nobody reprimands: nothing else lowers discipline."""
    falls = [-step.change for step in steps if step.change < 0 < step.after]
    guess = model.discipline.lapse_costs
    record = "look at `discipline` in each check, and leave a pet that calls for an afternoon"
    return _exact("discipline.lapse costs", guess, _agreed(falls), falls, record)


# As estimates


def _exact(path: str, guess: int, value: int | None, seen: Sequence[int], record: str) -> Estimate:
    """An estimate without doubt; a refusal if there is no value, of what was seen."""
    if value is not None:
        return _value(path, guess, value, (value, value), len(seen))
    why = f"the changes seen are {_listed(seen)}" if seen else "no reading shows a change"
    return refused(path, "model", "value", guess=guess, record=record, why=why, n=len(seen))


def _value(
    path: str, guess: int, value: int, ends: tuple[int, int], n: int, record: str = ""
) -> Estimate:
    """An estimate between ends; weak, with what to record, if they are not the same."""
    low, high = ends
    verdict: Verdict = "well" if low == high else "weak"
    return Estimate(path, "model", "value", value, low, high, verdict, guess, record, n=n)


def _listed(numbers: Sequence[int]) -> str:
    """Numbers in words, each with how often there is one."""
    return listed(
        [f"{number} ({times} times)" for number, times in sorted(Counter(numbers).items())]
    )
