"""What keeps a routine from being carried out flawlessly, each to be switched off and on.

A routine is carried out flawlessly if it is gone through every minute by somebody who sees rightly,
whose presses land, who forgets nothing and never fails. Acts take their time and cost their presses
then, too. Whatever of that a regime lacks is an imperfection of it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import partial

from petsim.life.caretaker import Caretaker
from petsim.spec.eyes import EyesWindow
from petsim.spec.laws import distribution
from petsim.spec.regime import MARGIN, Checks, CheckWindow, Hand, Regime

EVERY = 60
"""The interval of checks of a routine that is carried out flawlessly, in seconds."""
USUAL = "usual"
SIGNALS = {
    "waste": "waste",
    "ill": "illness",
    "asleep": "sleep",
    "lights": "lights",
    "calling": "calls",
}
"""What people call the signals that are there or not."""
REACTION = distribution("1 s")
"""The reaction of somebody who is at once where the pet calls."""


@dataclass(frozen=True)
class Imperfection:
    """One way in which a regime falls short of its routine carried out flawlessly.

    what: what people call it. path: where the regime has it. switched_off: returns a regime without
    it, all else as it is. matters: whether anything that is done can depend on it.
    """

    what: str
    path: str
    switched_off: Callable[[Regime], Regime]
    matters: bool = True

    def is_there(self, regime: Regime) -> bool:
        """Whether a regime has it, and by it may do something else."""
        return self.matters and self.switched_off(regime).content != regime.content


def imperfections(caretaker: Caretaker) -> tuple[Imperfection, ...]:
    """Return all imperfections that a caretaker could have, of its own signals and windows."""
    return (
        *_of_eyes(caretaker),
        Imperfection("bad light", "eyes.spells", _in_clear_light),
        Imperfection("slipped presses", "hands.slips", _without_slips),
        Imperfection("wrong presses", "hands.into", _without_wrong_presses),
        Imperfection("outages", "outages", _without_outages),
        Imperfection("forgotten checks", "checks.forgets", _without_forgetting),
        Imperfection("late checks", "checks.late", _in_time),
        Imperfection("calls not heard", "listens.hears", _hearing_all),
        Imperfection("slow answers", "listens.reacts in", _reacting_at_once),
        Imperfection("times without checks", "checks.windows", _without_nevers),
        Imperfection("the interval of checks", "checks.every", _every_minute),
    )


def without(caretaker: Caretaker, off: Iterable[Imperfection]) -> Caretaker:
    """Return a caretaker without some imperfections, whose policy stays as it is."""
    regime = caretaker.regime
    for imperfection in off:
        regime = imperfection.switched_off(regime)
    return caretaker.under(regime)


def _of_eyes(caretaker: Caretaker) -> Iterator[Imperfection]:
    eyes = caretaker.regime.eyes
    for signal, what in SIGNALS.items():
        off, matters = partial(_seeing, signal), decides(caretaker, signal)
        yield Imperfection(f"misjudged {what}", f"eyes.{signal}", off, matters)
    for need in eyes.levels:
        off, matters = partial(_reading, need), decides(caretaker, need)
        yield Imperfection(f"misread {need}", f"eyes.{need}", off, matters)
    for index, window in enumerate(eyes.windows):
        path, off = f"eyes.windows[{index}]", partial(_as_at_other_times, window)
        yield Imperfection(f"the eyes from {window.during}", path, off)


def decides(caretaker: Caretaker, signal: str) -> bool:
    """Whether anything that is done depends on what is seen of a signal."""
    if caretaker.make is not None:
        return True
    conditions = (step.when for step in caretaker.regime.routine if step.when is not None)
    return any(
        signal in when.levels or getattr(when, signal, None) is not None for when in conditions
    )


def _with_eyes(regime: Regime, **parts: object) -> Regime:
    return regime.model_copy(update={"eyes": regime.eyes.model_copy(update=parts)})


def with_checks(regime: Regime, **parts: object) -> Regime:
    """Return a regime with other values of fields of its checks."""
    return regime.model_copy(update={"checks": regime.checks.model_copy(update=parts)})


def _with_hands(regime: Regime, change: Callable[[Hand], Hand]) -> Regime:
    changed = {action: change(hand) for action, hand in regime.hands.actions.items()}
    return regime.model_copy(update={"hands": regime.hands.model_copy(update=changed)})


def _seeing(signal: str, regime: Regime) -> Regime:
    seen = getattr(regime.eyes, signal).model_copy(update={"overlooks": 0.0, "imagines": 0.0})
    return _with_eyes(regime, **{signal: seen})


def _reading(need: str, regime: Regime) -> Regime:
    read = regime.eyes.levels[need].model_copy(update={"misreads": 0.0})
    return _with_eyes(regime, **{need: read})


def _as_at_other_times(window: EyesWindow, regime: Regime) -> Regime:
    return _with_eyes(regime, windows=tuple(w for w in regime.eyes.windows if w is not window))


def _in_clear_light(regime: Regime) -> Regime:
    return _with_eyes(regime, spells=None)


def _without_slips(regime: Regime) -> Regime:
    """Return it with those slips alone that press something else."""

    def change(hand: Hand) -> Hand:
        elsewhere = sum(hand.into.values())
        into = {action: chance / elsewhere for action, chance in hand.into.items()}
        return hand.model_copy(update={"slips": hand.slips * elsewhere, "into": into})

    return _with_hands(regime, change)


def _without_wrong_presses(regime: Regime) -> Regime:
    """Return it with those slips alone after which nothing lands."""

    def change(hand: Hand) -> Hand:
        nothing = 1.0 - sum(hand.into.values())
        slips = hand.slips * nothing if nothing > MARGIN else 0.0
        return hand.model_copy(update={"slips": slips, "into": {}})

    return _with_hands(regime, change)


def _without_outages(regime: Regime) -> Regime:
    return regime.model_copy(update={"outages": None})


def _without_forgetting(regime: Regime) -> Regime:
    windows = tuple(
        window.model_copy(update={"forgets": None})
        for window in regime.checks.windows
        if window.every != USUAL
    )
    return with_checks(regime, forgets=0.0, windows=windows)


def _in_time(regime: Regime) -> Regime:
    return with_checks(regime, jitter=None, late=None)


def _hearing_all(regime: Regime) -> Regime:
    return _with_listening(regime, hears=1.0)


def _reacting_at_once(regime: Regime) -> Regime:
    return _with_listening(regime, reacts_in=REACTION)


def _with_listening(regime: Regime, **parts: object) -> Regime:
    if regime.listens is None:
        return regime
    return regime.model_copy(update={"listens": regime.listens.model_copy(update=parts)})


def _without_nevers(regime: Regime) -> Regime:
    checks = regime.checks
    by_stage = {stage: every for stage, every in checks.by_stage.items() if every is not None}
    windows = _windows_where(checks.windows, lambda every: every is not None)
    return with_checks(regime, by_stage=by_stage, windows=windows)


def _every_minute(regime: Regime) -> Regime:
    """Return it with checks each minute, except where it has none at certain times."""
    checks = regime.checks
    if not checks.at and not any(map(_is_seldom, _intervals(checks))):
        return regime
    return with_checks(
        regime,
        every=EVERY,
        at=(),
        first=0,
        by_stage={stage: every for stage, every in checks.by_stage.items() if every is None},
        windows=_windows_where(checks.windows, lambda every: every is None),
        **_lateness_of_any_interval(checks),
    )


def _intervals(checks: Checks) -> Iterator[int | None]:
    yield checks.every
    yield from (every for every in checks.by_stage.values() if every is not None)
    yield from (every for _, every in checks.interval_windows if every is not None)


def _is_seldom(every: int | None) -> bool:
    return every is None or every > EVERY


def _lateness_of_any_interval(checks: Checks) -> dict[str, object]:
    """Return lateness, without the rule that jitter is below the interval."""
    if checks.jitter is None or checks.jitter < EVERY:
        return {}
    return {"jitter": None, "late": distribution(f"uniform 0 s to {checks.jitter} s")}


def _windows_where(
    windows: Iterable[CheckWindow], keeps: Callable[[int | None], bool]
) -> tuple[CheckWindow, ...]:
    """Return windows, whose intervals hold only if they are to be kept; forgetting stays."""
    kept = []
    for window in windows:
        if isinstance(window.every, str) or keeps(window.every):
            kept.append(window)
        elif window.forgets is not None:
            kept.append(window.model_copy(update={"every": USUAL}))
    return tuple(kept)
