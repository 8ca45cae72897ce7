"""All that a caretaker may do better or worse."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import reduce

from petsim.advice.limits.of_checks import intervals, of_calls, of_checks
from petsim.advice.limits.of_eyes import of_eyes, of_light
from petsim.advice.limits.of_hands import of_hands, of_power
from petsim.advice.limits.quantity import HARDEST, Quantity
from petsim.life.caretaker import Caretaker
from petsim.spec.model import Model
from petsim.spec.regime import Regime


def quantities(caretaker: Caretaker, model: Model) -> tuple[Quantity, ...]:
    """Return all that a caretaker of a model may do better or worse, all together first.

    Left out is what nothing that is done depends on, and what a regime says nothing of that would
    let it be guessed: bad light, hearing, and the intervals of checks at clock times. There is
    nothing of a caretaker who never looks in.
    """
    regime = caretaker.regime
    if not (regime.checks.at or intervals(regime) or regime.listens):
        return ()
    each = (
        *of_power(regime),
        *of_checks(regime),
        *of_calls(regime),
        *of_hands(caretaker, model),
        *of_light(caretaker),
        *of_eyes(caretaker, model),
    )
    return (*_all_together(each), *each)


def _all_together(each: Sequence[Quantity]) -> Iterator[Quantity]:
    errors = [quantity for quantity in each if quantity.together and quantity.today]

    def at(regime: Regime, factor: float) -> Regime:
        return reduce(lambda changed, q: q.at(changed, _scaled(q, factor)), errors, regime)

    if errors:
        yield Quantity("all errors together", "", "all", "factor", 1.0, 0.0, HARDEST, at)


def _scaled(quantity: Quantity, factor: float) -> float:
    """The value of a quantity that is a factor of today's, within its ends."""
    return min(quantity.worst, max(quantity.best, factor * quantity.today))
