"""A caretaker who sees all and is always there, as an example of how well one can look after a pet.

No camera and no rota is like it. It shows how far the odds of a routine, carried out flawlessly,
are from those of another one; there may be better ones still.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any

from petsim.life.caretaker import Caretaker
from petsim.spec.library import load_regime
from petsim.spec.model import CareAction, Model
from petsim.spec.regime import Hands

NAME = "all-seeing"


def all_seeing(model: Model, hands: Hands) -> Caretaker:
    """Return a caretaker who checks every minute, and is there a second after each call.

    It reprimands whenever the pet calls though no need is empty, which is misbehaviour, and fills
    each need as soon as nothing of an action is wasted.

    Args:
        model: the pet, whose actions it does.
        hands: how long acts take, and what they cost; none of them slips.
    """
    content = {
        "petsim": "regime 1",
        "name": NAME,
        "checks": {"every": "1 min", "first": "0 s"},
        "listens": {"hears": "100%", "reacts in": "1 s"},
        "routine": [*_steps(model)],
        "passes": 2,
    }
    regime = load_regime(content, model)
    sure = {a: hand.model_copy(update={"slips": 0.0}) for a, hand in hands.actions.items()}
    return Caretaker(NAME, regime.model_copy(update={"hands": hands.model_copy(update=sure)}))


def _steps(model: Model) -> Iterator[Mapping[str, Any]]:
    care = model.care
    calls = {"calling": "yes", **dict.fromkeys(model.needs, "at least 1")}
    yield from _by(care, lambda action: action.reprimands, calls)
    dark = {"asleep": "yes", "lights": "on"}
    yield from _by(care, lambda action: action.lights == "off", dark)
    yield from _by(care, lambda action: action.doses, {"ill": "yes"}, repeat="until met")
    waste = {"waste": "at least 1"}
    yield from _by(care, lambda action: action.cleans, waste, repeat="until met")
    for need in model.needs:
        raising = {name: action for name, action in care.items() if need in action.raises}
        if raising:
            lightest = min(raising, key=lambda name: raising[name].weight)
            low = max(0, model.needs[need].full - raising[lightest].raises[need])
            when = {"asleep": "no", need: f"at most {low}"}
            yield {"when": when, "do": lightest, "repeat": "until met"}


def _by(
    care: Mapping[str, CareAction],
    is_meant: Callable[[CareAction], bool],
    when: Mapping[str, str],
    **how: str,
) -> Iterator[Mapping[str, Any]]:
    """A step with the first action that is meant, if there is one."""
    for name in [name for name, action in care.items() if is_meant(action)][:1]:
        yield {"when": when, "do": name, **how}
