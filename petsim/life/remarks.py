"""What a regime leaves undone or says in vain: allowed, but worth a remark."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray

from petsim.errors import listed
from petsim.life.kinds import ILLNESS, WASTE
from petsim.spec.clocks import Begins, Window
from petsim.spec.eyes import Spells
from petsim.spec.laws import Distribution
from petsim.spec.model import SIGNALS, CareAction, Model
from petsim.spec.quantities import DAY, WEEK, duration_text
from petsim.spec.regime import Checks, Hands, Regime

FORTNIGHT = 2 * WEEK


def never_checked(regime: Regime) -> bool:
    """Say whether a regime has steps, and neither a check nor a call ever has them done."""
    checks = regime.checks
    in_windows = (every for _, every in checks.interval_windows)
    intervals = (checks.every, *in_windows, *checks.by_stage.values())
    comes = any(intervals) or checks.at or regime.listens is not None
    return any(step.do for step in regime.routine) and not comes


def remarks(regime: Regime) -> Iterator[str]:
    """Yield what a regime says to no effect or hardly means, whatever the model."""
    yield from _clock_times_to_no_effect(regime.checks)
    yield from _given_up(regime.checks)
    if regime.checks.forgets == 1:
        yield "every check at set times is forgotten, as `forgets` is 100%; one in a hundred is 1%"
    yield from _slips_to_no_effect(regime.hands)
    if regime.eyes.spells is not None and not _names_a_rate(regime.eyes.spells):
        yield "spells of bad light change nothing, as they name no rate of error"


def remarks_with_a_model(regime: Regime, model: Model) -> Iterator[str]:
    """Yield the windows in which no check comes, and what befalls a pet that no step is for."""
    yield from _unvisited(model, regime.checks)
    yield from _undone(model, {step.do for step in regime.routine if step.do})


def _clock_times_to_no_effect(checks: Checks) -> Iterator[str]:
    """The clock times that a window of `never` hides, and the windows without a clock time."""
    hidden = np.zeros(WEEK, dtype=bool)
    for during, _ in checks.interval_windows if checks.at else ():
        hidden |= seconds_within(during)
    due = np.zeros(WEEK, dtype=bool)
    for time in checks.at:
        seconds = time.seconds_of_week()
        due[seconds] = ~hidden[seconds]
        if hidden[seconds].all():
            yield f"the check at {time} never comes, as every window over it says never"
    for during, _ in checks.forgetful_windows if checks.at else ():
        if not (due & seconds_within(during)).any():
            yield f"`forgets` during {during} changes nothing, as no check at a clock time is then"


def _given_up(checks: Checks) -> Iterator[str]:
    """That checks usually come later than the next one is due."""
    if checks.late is None:
        return
    usual = checks.late.quantile(0.5)
    so = f"most checks are given up: half of them come {_at_least(checks.late)} late, and"
    if checks.at and np.mean(np.array(checks.gaps) < usual) > 0.5:
        yield f"{so} the next is mostly due before that"
    intervals = dict.fromkeys([checks.every, *(every for _, every in checks.interval_windows)])
    for every in intervals:
        if every is not None and every < usual:
            yield f"{so} the next is due after {duration_text(every)}"


def _at_least(law: Distribution) -> str:
    return f"{duration_text(max(1, round(law.quantile(0.5))))} or more"


def _slips_to_no_effect(hands: Hands) -> Iterator[str]:
    for action, hand in hands.actions.items():
        if any(hand.into.values()) and not hand.slips:
            yield f"`into` of {action} changes nothing, as {action} never slips"


def _names_a_rate(spells: Spells) -> bool:
    changes = [getattr(spells, signal) for signal in SIGNALS]
    rates = (rate for change in changes for rate in (change.overlooks, change.imagines))
    return bool(spells.levels) or any(rate is not None for rate in rates)


def _unvisited(model: Model, checks: Checks) -> Iterator[str]:
    """The windows that the grid passes by, as far as it is not left to chance."""
    if checks.first == "random" or checks.at:
        return
    taken = np.zeros(WEEK, dtype=bool)
    for during, every in dict.fromkeys(checks.interval_windows):
        within = seconds_within(during)
        if every is not None:
            checked = within & _seconds_checked(model.begins, checks.first, every)
            passed_by = f"no check comes during {during}, as"
            if not checked.any():
                interval = duration_text(every)
                yield f"{passed_by} every {interval} from `first` on never falls in it"
            elif not (checked & ~taken).any():
                yield f"{passed_by} an earlier window is in force then"
        taken |= within


def seconds_within(window: Window) -> NDArray[np.bool_]:
    """For each second of a week, from Monday 0:00 on, whether it lies in a clock window."""
    within = np.zeros(WEEK, dtype=bool)
    length = (window.end - window.start - 1) % DAY + 1
    for weekday in range(7) if window.weekdays is None else window.weekdays:
        opens = weekday * DAY + window.start
        within[np.arange(opens, opens + length) % WEEK] = True
    return within


def _seconds_checked(begins: Begins, first: int, every: int) -> NDArray[np.bool_]:
    """For each second of a week, whether a check at an interval comes at it within a fortnight."""
    checked = np.zeros(WEEK, dtype=bool)
    birth = begins.weekday * DAY + begins.clock
    checked[(birth + np.arange(first, first + FORTNIGHT, every)) % WEEK] = True
    return checked


def _undone(model: Model, done: set[str]) -> Iterator[str]:
    """What befalls the pet, and no step is for."""
    for trouble, fatal, helps in _troubles(model):
        if helps and not done & set(helps):
            end = ", which can be fatal" if fatal else ""
            yield f"nothing is done about {trouble}{end}; {listed(helps, ' or ')} would help"


def _troubles(model: Model) -> Iterator[tuple[str, bool, list[str]]]:
    """What befalls a pet in some form: its name, whether it can be fatal, and what helps."""
    forms = [form for form in model.forms.values() if not form.dormant]

    def that(helps: Callable[[CareAction], bool]) -> list[str]:
        return [action for action, effects in model.care.items() if helps(effects)]

    for need in model.needs:
        if any(need in form.drops for form in forms):
            fatal = any(form.fatal_after.get(need) is not None for form in forms)
            yield need, fatal, [a for a, effects in model.care.items() if need in effects.raises]
    if any(form.waste for form in forms):
        yield WASTE, False, that(lambda effects: effects.cleans)
    ills = [form.illness for form in forms if form.illness]
    if any(ill.base or ill.per_waste or ill.per_excess for ill in ills):
        fatal = any(ill.fatal_after is not None for ill in ills)
        yield ILLNESS, fatal, that(lambda effects: effects.doses)
    if any(form.sleeps and form.lights_grace is not None for form in forms):
        yield "lights in its sleep", False, that(lambda effects: effects.lights == "off")
    if model.discipline.step and any(form.misbehaviour for form in forms):
        yield "misbehaviour", False, that(lambda effects: effects.reprimands)
