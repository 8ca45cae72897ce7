"""How often presses may slip or land elsewhere, and how bad the power may be."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial

from petsim.advice.limits.quantity import (
    OUTAGE,
    Quantity,
    chance_of,
    exponential,
    group_of,
    replaced,
)
from petsim.evidence.means import mean_of, with_mean
from petsim.life.caretaker import Caretaker
from petsim.spec.model import Model
from petsim.spec.quantities import DAY
from petsim.spec.regime import Hand, Outages, Regime

OF_AN_HOUR = "exponential, of an hour on average"


def of_hands(caretaker: Caretaker, model: Model) -> Iterator[Quantity]:
    """Yield how often presses may slip, of all and of each action, and how often land elsewhere."""
    hands = caretaker.regime.hands
    actions = [action for action in model.care if _is_done(caretaker, action)]
    slips = {action: hands.of(action).slips for action in actions}
    if actions:
        yield group_of(
            "slips of all presses", "hands.slips", "slips", [*slips.values()],
            partial(_slipping, slips),
        )  # fmt: skip
    if len(actions) > 1:
        for action in actions:
            way = ("hands", action, "slips")
            at = partial(_slipping_each, action)
            one = chance_of(f"slips of {action}", way, "slips", slips[action], at)
            yield replace(one, together=False)
    elsewhere = [hands.of(a).slips * sum(hands.of(a).into.values()) for a in actions]
    if any(elsewhere):
        nowhere = [hands.of(a).slips - chance for a, chance in zip(actions, elsewhere, strict=True)]
        worst = min((1 - n) / e for n, e in zip(nowhere, elsewhere, strict=True) if e)
        yield Quantity(
            *("presses that land elsewhere", "hands.into", "wrong presses", "factor"),
            *(1.0, 0.0, worst, partial(_landing_elsewhere, actions)),
            together=False,
        )


def _is_done(caretaker: Caretaker, action: str) -> bool:
    is_policy = caretaker.make is not None
    return is_policy or any(step.do == action for step in caretaker.regime.routine)


def _slipping(slips: dict[str, float], regime: Regime, value: float, *, alike: bool) -> Regime:
    for action, chance in slips.items():
        regime = _slipping_each(action, regime, value if alike else min(1.0, value * chance))
    return regime


def _slipping_each(action: str, regime: Regime, chance: float) -> Regime:
    hand = regime.hands.of(action).model_copy(update={"slips": chance})
    return replaced(regime, ("hands", action), hand)


def _landing_elsewhere(actions: Sequence[str], regime: Regime, factor: float) -> Regime:
    """Return a regime whose presses land elsewhere more often, and as often nowhere."""
    for action in actions:
        hand = _landing(regime.hands.of(action), factor)
        regime = replaced(regime, ("hands", action), hand)
    return regime


def _landing(hand: Hand, factor: float) -> Hand:
    elsewhere = sum(hand.into.values())
    slips = hand.slips * (1 - elsewhere + factor * elsewhere)
    if not slips:
        return hand.model_copy(update={"slips": 0.0, "into": {}})
    into = {other: factor * hand.slips * chance / slips for other, chance in hand.into.items()}
    return hand.model_copy(update={"slips": min(1.0, slips), "into": into})


def of_power(regime: Regime) -> Iterator[Quantity]:
    """Yield how often and for how long the power may be out."""
    assumed = "" if regime.outages else OF_AN_HOUR
    outages = regime.outages or Outages.model_construct(
        up=exponential(DAY), down=exponential(OUTAGE)
    )
    up, down = mean_of(outages.up), mean_of(outages.down)
    often = 0.0 if assumed else DAY / up

    def coming(regime: Regime, a_day: float) -> Regime:
        law = with_mean(outages.up, DAY / a_day) if a_day else None
        return _with_outages(regime, outages.model_copy(update={"up": law}) if law else None)

    def lasting(regime: Regime, mean: float) -> Regime:
        law = with_mean(outages.down, mean) if mean else None
        now = regime.outages or outages
        return _with_outages(regime, now.model_copy(update={"down": law}) if law else None)

    yield Quantity(
        *("outages", "outages.up", "outages", "per day"),
        *(often, 0.0, max(often, DAY / down), coming),
        assumed=assumed,
        half=DAY / down,
    )
    if not assumed:
        yield Quantity(
            *("the length of outages", "outages.down", "length of outages", "s"),
            *(down, 0.0, max(down, up), lasting),
            together=False,
            half=up,
        )


def _with_outages(regime: Regime, outages: Outages | None) -> Regime:
    return regime.model_copy(update={"outages": outages})
