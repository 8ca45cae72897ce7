"""How far checks may be apart, late, forgotten, and calls unheard."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from petsim.advice.explaining.imperfections import EVERY, REACTION, with_checks
from petsim.advice.limits.quantity import (
    EXPONENTIAL,
    HARDEST,
    OUTAGE,
    Quantity,
    Unit,
    exponential,
    group_of,
    replaced,
)
from petsim.evidence.means import mean_of, with_mean
from petsim.spec.quantities import DAY
from petsim.spec.regime import Regime

SELDOM = DAY
"""The longest interval of checks that is tried."""


def of_checks(regime: Regime) -> Iterator[Quantity]:
    """Yield how often checks may be forgotten, how late they may be, and how far apart."""
    if regime.checks.at or intervals(regime):
        yield from _of_forgetting(regime)
        yield from _of_lateness(regime)
    if intervals(regime):
        yield _of_intervals(regime)


def _of_forgetting(regime: Regime) -> Iterator[Quantity]:
    checks = regime.checks
    chances = [checks.forgets, *(chance for _, chance in checks.forgetful_windows)]

    def at(changed: Regime, value: float, *, alike: bool) -> Regime:
        def greater(chance: float) -> float:
            return value if alike else min(1.0, value * chance)

        windows = tuple(
            window
            if window.forgets is None
            else window.model_copy(update={"forgets": greater(window.forgets)})
            for window in changed.checks.windows
        )
        return with_checks(changed, forgets=greater(checks.forgets), windows=windows)

    yield group_of("forgotten checks", "checks.forgets", "forgetting", chances, at)


def _of_lateness(regime: Regime) -> Iterator[Quantity]:
    checks, gap = regime.checks, regime.checks.shortest_gap
    if checks.jitter is not None and gap is not None:

        def most_late(changed: Regime, seconds: float) -> Regime:
            return with_checks(changed, jitter=round(seconds) or None)

        yield Quantity(
            *("the greatest lateness of checks", "checks.jitter", "lateness", "s"),
            *(float(checks.jitter), 0.0, float(gap - 1), most_late),
        )
    elif not checks.by_stage and gap is not None:
        law = checks.late or exponential(1.0)
        today = mean_of(law) if checks.late else 0.0

        def late(changed: Regime, mean: float) -> Regime:
            return with_checks(changed, late=with_mean(law, mean) if mean else None)

        yield Quantity(
            *("the lateness of checks", "checks.late", "lateness", "s"),
            *(today, 0.0, max(float(gap), HARDEST * today), late),
            assumed="" if checks.late else EXPONENTIAL,
        )


def intervals(regime: Regime) -> list[int]:
    """All intervals of checks that there are, in seconds."""
    checks = regime.checks
    windows = (every for _, every in checks.interval_windows)
    return [every for every in (checks.every, *checks.by_stage.values(), *windows) if every]


def _of_intervals(regime: Regime) -> Quantity:
    """The interval of checks, or the factor by which several are longer."""
    seconds, checks = intervals(regime), regime.checks
    alike = len({*seconds}) == 1
    today = float(seconds[0]) if alike else 1.0
    least = max(EVERY, (checks.jitter or 0) + 1)
    best, worst = (today * end / min(seconds) for end in (least, SELDOM))

    def at(changed: Regime, value: float) -> Regime:
        def longer(every: Any) -> Any:
            return round(every * value / today) if isinstance(every, int) else every

        now = changed.checks
        windows = tuple(
            window.model_copy(update={"every": longer(window.every)}) for window in now.windows
        )
        by_stage = {stage: longer(every) for stage, every in now.by_stage.items()}
        return with_checks(changed, every=longer(now.every), by_stage=by_stage, windows=windows)

    what = "the interval of checks" if alike else "the intervals of checks"
    unit: Unit = "s" if alike else "factor"
    return Quantity(
        *(what, "checks.every", "interval", unit),
        *(today, min(today, best), max(today, worst), at),
        together=False,
    )


def of_calls(regime: Regime) -> Iterator[Quantity]:
    """Yield how often calls may go unheard, and how long it may take to answer one."""
    listens = regime.listens
    if listens is None:
        return
    mean = mean_of(listens.reacts_in)

    def deaf(changed: Regime, chance: float) -> Regime:
        return replaced(changed, ("listens", "hears"), 1 - chance)

    def slow(changed: Regime, seconds: float) -> Regime:
        return replaced(changed, ("listens", "reacts_in"), with_mean(listens.reacts_in, seconds))

    yield Quantity(
        *("calls not heard", "listens.hears", "hearing", "chance"),
        *(1 - listens.hears, 0.0, 1.0, deaf),
    )
    at_once = min(mean, mean_of(REACTION))
    yield Quantity(
        *("the time to answer a call", "listens.reacts in", "reaction", "s"),
        *(mean, at_once, max(mean * HARDEST, OUTAGE), slow),
    )
