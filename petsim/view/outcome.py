"""What became of a life and why, in one sentence: the answer that its picture and page begin with.

"Life 3 became lantern, not beacon: 6 misses in glow, at most 4 allowed; 5 of them with the power
out": which rule of growth failed, at which threshold, by which misses, and what most came of.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from petsim.life.causes import Miss, Reason, fatal_troubles, main_reason, misses
from petsim.life.history import History, replay
from petsim.life.kinds import ILLNESS, EventKind
from petsim.life.record import Life
from petsim.life.turning import Demand, Turning, arrival, counted_by, turning
from petsim.spec.document import plain_number
from petsim.spec.model import NEGLECT, UNDECIDED, Model
from petsim.spec.quantities import DAY
from petsim.view.show import elapsed
from petsim.view.tables import counted

REASONS = {
    Reason.NO_CHECK: "with no check in time",
    Reason.FORGOTTEN: "as checks were forgotten",
    Reason.POWER_OUT: "with the power out",
    Reason.BUSY: "as the caretaker was busy or too slow",
    Reason.MISPERCEIVED: "overlooked or misread",
    Reason.SLIPPED: "as presses slipped",
    Reason.REFUSED: "as care was refused or in vain",
    Reason.ASLEEP: "as checks found it asleep",
    Reason.ROUTINE: "left alone by the routine",
}
"""What misses came of, in the words that follow their number."""


def headline(life: Life, aim: str | None = None) -> str:
    """Return what became of a life, and why it reached or missed the aim; without a full stop.

    Args:
        life: one with its log, as `petsim.simulate` returns.
        aim: the form aimed for; by default the model's.
    """
    history, outcome, aim = replay(life), life.summary["outcome"], aim or life.model.aim
    turn, name = turning(history, aim), f"Life {life.number}"
    why = "" if turn is None else _why(history, turn)
    if outcome == UNDECIDED:
        still = f"can't become {aim}: {why}" if why else f"can still become {aim}"
        form = history.states[-1].form
        return f"{name} has no outcome yet: after {_days(life)} it is {form}, which {still}"
    if outcome not in life.model.outcome_forms:
        before = f"; {aim} was out of reach by then: {why}" if why else ""
        return f"{name} died ({outcome}) before it could become {aim}: {_death(history)}{before}"
    if outcome == aim:
        kept = "; ".join(_held_against(demand, form) for form, demand in arrival(history, aim))
        return f"{name} became {aim}, the aim{kept and f': {kept}'}{_later(history)}"
    worth = life.model.worth.get(outcome, 0.0)
    found = f"{outcome} (worth {plain_number(worth)})" if worth else outcome
    return f"{name} became {found}, not {aim}{why and f': {why}'}{_later(history)}"


def reasons(missed: Sequence[Miss], model: Model) -> str:
    """Return what most of one or more misses came of: "5 of them with the power out"."""
    causes = Counter(main_reason(miss, model) for miss in missed)
    [(most, number)] = causes.most_common(1)
    if number < len(missed):
        return f"{number} of them {REASONS[most]}"
    who = {1: "", 2: "both "}.get(number, "all of them ")
    return who + REASONS[most]


def _why(history: History, turn: Turning) -> str:
    """By which conditions the aim went out of reach."""
    is_last = turn.became in (history.life.summary["outcome"], history.states[-1].form)
    if turn.missed is None:
        held = " and ".join(_held_against(demand, turn.form) for demand in turn.demands)
        return f"it grew into {turn.became} by an earlier rule, with {held}"
    head = "" if is_last else f"it grew into {turn.became}, not {turn.missed}, with "
    first, *others = turn.demands
    more = (f"; and {_held_against(demand, turn.form)}" for demand in others)
    return head + _failed(history, turn, first) + "".join(more)


def _failed(history: History, turn: Turning, demand: Demand) -> str:
    """A condition that did not hold, and what the number was made of."""
    text = _held_against(demand, turn.form)
    if demand.quantity.startswith("misses"):
        misses_counted = counted_by(history, turn, demand)
        is_too_many = misses_counted and demand.is_exceeded
        return f"{text}; {reasons(misses_counted, history.life.model)}" if is_too_many else text
    if demand.quantity == "discipline" and not demand.is_exceeded:
        log = history.life.entries[: turn.place]
        unmet = sum(entry.event == EventKind.LAPSE for entry in log)
        return f"{text}; {counted(unmet, 'misbehaviour')} unreprimanded" if unmet else text
    return text


def _held_against(demand: Demand, form: str) -> str:
    """A number and the bound it was held against: "6 misses in glow, at most 4 allowed"."""
    number, bound = demand.number, demand.bound
    limit = f"{bound} {'allowed' if bound.op in ('at most', 'below') else 'needed'}"
    if not demand.quantity.startswith("misses"):
        return f"{demand.quantity} {number}, {limit}"
    of_cause = "" if demand.cause == "all" else f" of {demand.cause}"
    where = form if demand.quantity == "misses_in_form" else "life"
    return f"{number} {'miss' if number == 1 else 'misses'}{of_cause} in {where}, {limit}"


def _death(history: History) -> str:
    """As which form and when a life ended, and what of."""
    life, last = history.life, history.states[-1]
    death, head = life.summary["died"], f"as {last.form} after {_days(life)}"
    if death == NEGLECT:
        missed = list(misses(history))
        return f"{head}, with {counted(len(missed), 'care miss')}; {reasons(missed, life.model)}"
    causes = [
        f"{'ill' if cause == ILLNESS else f'{cause} at 0'} for {elapsed(last.t - trouble.since)}"
        for cause, trouble in fatal_troubles(life.model, history.states[-2], death).items()
    ]
    return f"{head}, {' and '.join(causes)}" if causes else head


def _later(history: History) -> str:
    """The death of a life that was followed beyond its outcome, if it died."""
    life = history.life
    return f"; it died ({life.summary['died']}) after {_days(life)}" if life.summary["died"] else ""


def _days(life: Life) -> str:
    return f"{life.summary['end_s'] / DAY:.3g} days"
