"""What a caretaker may do more or less well, each as a number that is worse the greater it is.

Of chances, it is the chance to err; of what comes again and again, how often it comes; of times,
their mean, in a law that keeps its family and shape; of several chances or times that differ, the
factor by which all of them are greater than today.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import partial, reduce
from typing import Any, Literal, TypeAlias

from petsim.advice.explaining.imperfections import EVERY, REACTION, SIGNALS, decides, with_checks
from petsim.evidence.means import mean_of, with_mean
from petsim.life.caretaker import Caretaker
from petsim.spec.eyes import LevelEye, SignalChange, SignalEye, Spells
from petsim.spec.laws import Distribution
from petsim.spec.model import Model
from petsim.spec.quantities import DAY
from petsim.spec.regime import Hand, Outages, Regime

Unit = Literal["chance", "per day", "s", "factor"]
Kind = Literal[
    "eyes",
    "bad light",
    "slips",
    "wrong presses",
    "outages",
    "length of outages",
    "forgetting",
    "lateness",
    "hearing",
    "reaction",
    "interval",
    "all",
]
Chances: TypeAlias = tuple[float, ...]

ERRS: dict[str, str] = {"overlooks": "overlooking", "imagines": "imagining"}
"""The errors in seeing a signal, and what people call them."""
FINE = 8
"""Parts of today's value below which places along a scale are even, not doublings."""
LEAST_CHANCE = 0.01
"""The same of a chance that is 0 today."""
COARSE = 64
"""Parts of the worst value below which they are, of what does not happen today but has no scale."""
HARDEST = 16.0
"""The factor to which all errors together are tried to grow, and times that have no other end."""
SELDOM = DAY
"""The longest interval of checks that is tried."""
OUTAGE = 3600.0
"""The mean length, in seconds, of the outages of a rig that has none today."""
OF_AN_HOUR = "exponential, of an hour on average"
EXPONENTIAL = "exponential"


@dataclass(frozen=True)
class Thing:
    """One thing that may be better or worse.

    what: what people call it. path: where a regime has it. kind: what it is about. unit: of its
    values: a chance as a share, how often as times a day, a time in seconds, or a factor of today's
    values. today, best, worst: its value, and those between which its limit is sought. assumed:
    what is assumed of it that the regime does not say; empty if nothing is. half: the value at
    which it takes half of the time, of what comes and goes; None of all else.
    """

    what: str
    path: str
    kind: Kind
    unit: Unit
    today: float
    best: float
    worst: float
    assumed: str = field(default="", kw_only=True)
    half: float | None = field(default=None, kw_only=True)


@dataclass(frozen=True)
class Quantity(Thing):
    """One thing that may be better or worse, and how a regime has another value of it.

    changed: returns a regime with another value. together: whether it is one of all errors
    together.
    """

    changed: Callable[[Regime, float], Regime]
    together: bool = True

    @property
    def step(self) -> float:
        """The value below which places are evenly spaced; each doubling counts alike above it."""
        if self.today:
            return self.today / FINE
        return LEAST_CHANCE if self.unit == "chance" else self.worst / COARSE

    def at(self, regime: Regime, value: float) -> Regime:
        """Return a regime with a value of it, the very same with today's."""
        return regime if value == self.today else self.changed(regime, value)

    def place(self, value: float) -> float:
        """Return where a value stands: at doublings, above the step."""
        return math.log2(1 + value / self.step)

    def value(self, place: float) -> float:
        """Return the value that stands at a place."""
        return self.step * (2**place - 1)


def quantities(caretaker: Caretaker, model: Model) -> tuple[Quantity, ...]:
    """Return all that a caretaker of a model may do better or worse, all together first.

    Left out is what nothing that is done depends on, and what a regime says nothing of that would
    let it be guessed: bad light, hearing, and the intervals of checks at clock times. There is
    nothing of a caretaker who never looks in.
    """
    regime = caretaker.regime
    if not (regime.checks.at or _intervals(regime) or regime.listens):
        return ()
    each = (
        *_of_power(regime),
        *_of_checks(regime),
        *_of_calls(regime),
        *_of_hands(caretaker, model),
        *_of_light(caretaker),
        *_of_eyes(caretaker, model),
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


# Parts of regimes


def _replaced(regime: Regime, way: Sequence[str | int], leaf: object) -> Regime:
    """A regime with another value at the end of a way of attributes and places."""
    replaced: Regime = _part_with(regime, way, leaf)
    return replaced


def _part_with(part: Any, way: Sequence[str | int], leaf: object) -> Any:
    first, *rest = way
    if isinstance(first, int):
        return (*part[:first], _part_with(part[first], rest, leaf), *part[first + 1 :])
    value = _part_with(getattr(part, first), rest, leaf) if rest else leaf
    return part.model_copy(update={first: value})


# Eyes


def _of_eyes(caretaker: Caretaker, model: Model) -> Iterator[Quantity]:
    eyes = caretaker.regime.eyes
    for signal in SIGNALS:
        if decides(caretaker, signal):
            yield from _of_signal(getattr(eyes, signal), ("eyes", signal), "")
    for need in model.needs:
        # an even number of readings has no middle one, so that levels can't be misread
        if decides(caretaker, need) and eyes.looks.of % 2:
            eye = eyes.levels.get(need, _misreading(0.0))
            yield _of_level(need, eye, ("eyes", need), "")
    for index, window in enumerate(eyes.windows):
        way = ("eyes", "windows", index)
        yield from _of_changed_rates(caretaker, window, way, f" from {window.during}")


def _of_light(caretaker: Caretaker) -> Iterator[Quantity]:
    spells = caretaker.regime.eyes.spells
    if spells is None:
        return
    clear, lasts = mean_of(spells.clear), mean_of(spells.lasts)
    often = DAY / clear

    def coming(regime: Regime, a_day: float) -> Regime:
        return _replaced(regime, ("eyes", "spells"), _coming(spells, a_day))

    def lasting(regime: Regime, mean: float) -> Regime:
        shorter = spells.model_copy(update={"lasts": with_mean(spells.lasts, mean)})
        return _replaced(regime, ("eyes", "spells"), shorter if mean else None)

    yield Quantity(
        *("bad light", "eyes.spells.clear", "bad light", "per day"),
        *(often, 0.0, max(often, DAY / lasts), coming),
        half=DAY / lasts,
    )
    yield Quantity(
        *("the length of bad light", "eyes.spells.lasts", "bad light", "s"),
        *(lasts, 0.0, max(lasts, clear), lasting),
        together=False,
        half=clear,
    )
    way = ("eyes", "spells")
    yield from _of_changed_rates(caretaker, spells, way, " in bad light")


def _coming(spells: Spells, a_day: float) -> Spells | None:
    if not a_day:
        return None
    return spells.model_copy(update={"clear": with_mean(spells.clear, DAY / a_day)})


def _of_changed_rates(
    caretaker: Caretaker, part: Any, way: tuple[str | int, ...], when: str
) -> Iterator[Quantity]:
    """The rates that a window or spells name."""
    for signal in SIGNALS:
        if decides(caretaker, signal):
            yield from _of_signal(getattr(part, signal), (*way, signal), when)
    for need, eye in part.levels.items():
        if decides(caretaker, need):
            yield _of_level(need, eye, (*way, need), when)


def _of_signal(
    eye: SignalEye | SignalChange, way: tuple[str | int, ...], when: str
) -> Iterator[Quantity]:
    for error, erring in ERRS.items():
        rate = getattr(eye, error)
        if rate is not None:
            what = f"{erring} {SIGNALS[str(way[-1])]}{when}"
            at = partial(_with_chance, (*way, error))
            yield _chance(what, (*way, error), "bad light" if _is_light(way) else "eyes", rate, at)


def _of_level(need: str, eye: LevelEye, way: tuple[str | int, ...], when: str) -> Quantity:
    def at(regime: Regime, chance: float) -> Regime:
        return _replaced(regime, way, _misreading(chance))

    kind: Kind = "bad light" if _is_light(way) else "eyes"
    return _chance(f"misreading {need}{when}", (*way, "misreads"), kind, eye.misreads, at)


def _misreading(chance: float) -> LevelEye:
    # as it is no text of a file, it is not read
    return LevelEye.model_construct(misreads=chance)


def _is_light(way: Sequence[str | int]) -> bool:
    return "spells" in way


def _chance(
    what: str,
    way: Sequence[str | int],
    kind: Kind,
    today: float,
    at: Callable[[Regime, float], Regime],
) -> Quantity:
    # in bad light it is the light that is to be better, and all together it comes less often
    together = kind != "bad light"
    return Quantity(what, _path(way), kind, "chance", today, 0.0, 1.0, at, together)


def _with_chance(way: Sequence[str | int], regime: Regime, chance: float) -> Regime:
    return _replaced(regime, way, chance)


def _path(way: Iterable[str | int]) -> str:
    parts = (f"[{step}]" if isinstance(step, int) else f".{step}" for step in way)
    return "".join(parts).removeprefix(".")


# Hands


def _of_hands(caretaker: Caretaker, model: Model) -> Iterator[Quantity]:
    hands = caretaker.regime.hands
    actions = [action for action in model.care if _is_done(caretaker, action)]
    slips = {action: hands.of(action).slips for action in actions}
    if actions:
        yield _of_group(
            "slips of all presses", "hands.slips", "slips", [*slips.values()],
            partial(_slipping, slips),
        )  # fmt: skip
    if len(actions) > 1:
        for action in actions:
            way = ("hands", action, "slips")
            at = partial(_slipping_each, action)
            one = _chance(f"slips of {action}", way, "slips", slips[action], at)
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


def _of_group(
    what: str, path: str, kind: Kind, today: Sequence[float], at: Callable[..., Regime]
) -> Quantity:
    """A chance if all are alike, else the factor by which all are greater.

    at: returns a regime with the chances as they were times a factor, or all of one value.
    """
    if len({*today}) == 1:
        one = partial(at, alike=True)
        return Quantity(what, path, kind, "chance", today[0], 0.0, 1.0, one)
    worst = 1 / min(chance for chance in today if chance)
    return Quantity(what, path, kind, "factor", 1.0, 0.0, worst, partial(at, alike=False))


def _slipping(slips: dict[str, float], regime: Regime, value: float, *, alike: bool) -> Regime:
    for action, chance in slips.items():
        regime = _slipping_each(action, regime, value if alike else min(1.0, value * chance))
    return regime


def _slipping_each(action: str, regime: Regime, chance: float) -> Regime:
    hand = regime.hands.of(action).model_copy(update={"slips": chance})
    return _replaced(regime, ("hands", action), hand)


def _landing_elsewhere(actions: Sequence[str], regime: Regime, factor: float) -> Regime:
    """Return a regime whose presses land elsewhere more often, and as often nowhere."""
    for action in actions:
        hand = _landing(regime.hands.of(action), factor)
        regime = _replaced(regime, ("hands", action), hand)
    return regime


def _landing(hand: Hand, factor: float) -> Hand:
    elsewhere = sum(hand.into.values())
    slips = hand.slips * (1 - elsewhere + factor * elsewhere)
    if not slips:
        return hand.model_copy(update={"slips": 0.0, "into": {}})
    into = {other: factor * hand.slips * chance / slips for other, chance in hand.into.items()}
    return hand.model_copy(update={"slips": min(1.0, slips), "into": into})


# Power


def _of_power(regime: Regime) -> Iterator[Quantity]:
    assumed = "" if regime.outages else OF_AN_HOUR
    outages = regime.outages or Outages.model_construct(
        up=_exponential(DAY), down=_exponential(OUTAGE)
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


def _exponential(mean: float) -> Distribution:
    return Distribution(EXPONENTIAL, (mean,))


# Checks


def _of_checks(regime: Regime) -> Iterator[Quantity]:
    if regime.checks.at or _intervals(regime):
        yield from _of_forgetting(regime)
        yield from _of_lateness(regime)
    if _intervals(regime):
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

    yield _of_group("forgotten checks", "checks.forgets", "forgetting", chances, at)


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
        law = checks.late or _exponential(1.0)
        today = mean_of(law) if checks.late else 0.0

        def late(changed: Regime, mean: float) -> Regime:
            return with_checks(changed, late=with_mean(law, mean) if mean else None)

        yield Quantity(
            *("the lateness of checks", "checks.late", "lateness", "s"),
            *(today, 0.0, max(float(gap), HARDEST * today), late),
            assumed="" if checks.late else EXPONENTIAL,
        )


def _intervals(regime: Regime) -> list[int]:
    """All intervals of checks that there are, in seconds."""
    checks = regime.checks
    windows = (every for _, every in checks.interval_windows)
    return [every for every in (checks.every, *checks.by_stage.values(), *windows) if every]


def _of_intervals(regime: Regime) -> Quantity:
    """The interval of checks, or the factor by which several are longer."""
    intervals, checks = _intervals(regime), regime.checks
    alike = len({*intervals}) == 1
    today = float(intervals[0]) if alike else 1.0
    least = max(EVERY, (checks.jitter or 0) + 1)
    best, worst = (today * seconds / min(intervals) for seconds in (least, SELDOM))

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


# Calls


def _of_calls(regime: Regime) -> Iterator[Quantity]:
    listens = regime.listens
    if listens is None:
        return
    mean = mean_of(listens.reacts_in)

    def deaf(changed: Regime, chance: float) -> Regime:
        return _replaced(changed, ("listens", "hears"), 1 - chance)

    def slow(changed: Regime, seconds: float) -> Regime:
        return _replaced(changed, ("listens", "reacts_in"), with_mean(listens.reacts_in, seconds))

    yield Quantity(
        *("calls not heard", "listens.hears", "hearing", "chance"),
        *(1 - listens.hears, 0.0, 1.0, deaf),
    )
    at_once = min(mean, mean_of(REACTION))
    yield Quantity(
        *("the time to answer a call", "listens.reacts in", "reaction", "s"),
        *(mean, at_once, max(mean * HARDEST, OUTAGE), slow),
    )
