"""One day of a rig, hour by hour: which checks it carries out, what it does, and what may grow."""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter as Tally
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from petsim._version import __version__
from petsim.advice.expecting.counting import Events, followed_between, room_of
from petsim.errors import ArgumentError
from petsim.life.counters import Counter, counters_of, counters_under
from petsim.life.kinds import EventKind
from petsim.life.policy import clock_at
from petsim.life.schedule import Schedule
from petsim.life.simulate import CaretakerSource, ModelSource, Span, choose_engine, load_together
from petsim.spec import defaults
from petsim.spec.arguments import count_of, word_of
from petsim.spec.clocks import Begins
from petsim.spec.growth import successors
from petsim.spec.model import Model
from petsim.spec.quantities import DAY
from petsim.spec.regime import Checks
from petsim.spec.shown import Shown
from petsim.study.memory import ensure_fit
from petsim.study.stats import Interval

HOUR = 3_600
SUPPRESSED = ("outage", "busy", "forgotten", "window")
"""Why a check is not carried out: the power is out; another goes on, or the next has overtaken it;
nobody thinks of it; it would be due in a clock window without checks."""
FORMS = (EventKind.BIRTH, EventKind.TAKEN_OVER, EventKind.GROWTH)
KEPT = (
    *FORMS,
    EventKind.DEATH,
    EventKind.OUTAGE_BEGINS,
    EventKind.OUTAGE_ENDS,
    EventKind.CHECK_SKIPPED,
    EventKind.CHECK_FORGOTTEN,
)


class Growing(NamedTuple):
    """A growth on that day: of the lives of the day, the share, and when, in seconds of the day.

    time: its median, with the ends of 95 % of the lives in which it comes.
    """

    before: str
    after: str
    share: float
    time: Interval


class FormOfDay(NamedTuple):
    """A form that the pet may have on that day: the share of lives, and what may come next."""

    form: str
    share: float
    next: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class ExpectedDay(Shown):
    """What a rig does on a day, hour by hour, and what the pet may become.

    model, regime: their names. day: its number, 1 for that of birth. weekday: Monday is 0. alive:
    the share of lives that begin it. hours: those of the day that are lived. counters: what is
    counted. counts: means by hour and counter, over the lives that live through the hour.
    suppressed: means by hour, of the checks that are not carried out, in the order of SUPPRESSED.
    growths: those on that day, by time. forms: that a pet may have then.
    """

    model: str
    regime: str
    seed: int
    lives: int
    day: int
    weekday: int
    alive: float
    hours: tuple[int, ...]
    counters: tuple[Counter, ...]
    counts: NDArray[np.float64]
    suppressed: NDArray[np.float64]
    growths: tuple[Growing, ...]
    forms: tuple[FormOfDay, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain data, as `petsim expect --day --json` prints it."""
        return {
            "petsim": __version__,
            "model": self.model,
            "regime": self.regime,
            "seed": self.seed,
            "lives": self.lives,
            "day": self.day,
            "weekday": self.weekday,
            "alive": self.alive,
            "hours": [
                {
                    "hour": hour,
                    "suppressed": dict(zip(SUPPRESSED, map(float, kept), strict=True)),
                    "counters": [
                        {**counter._asdict(), "mean": float(mean)}
                        for counter, mean in zip(self.counters, means, strict=True)
                    ],
                }
                for hour, kept, means in zip(self.hours, self.suppressed, self.counts, strict=True)
            ],
            "growths": [
                {
                    "before": growth.before,
                    "after": growth.after,
                    "share": growth.share,
                    "median_s": growth.time.estimate,
                    "low_s": growth.time.low,
                    "high_s": growth.time.high,
                }
                for growth in self.growths
            ],
            "forms": [{**form._asdict(), "next": [*form.next]} for form in self.forms],
        }

    def __repr__(self) -> str:
        return (
            f"<expected of {self.model} under {self.regime} on day {self.day}, {self.lives} lives>"
        )


def expect_day(
    model: ModelSource,
    regime: CaretakerSource,
    day: int,
    *,
    lives: int | None = None,
    seed: int = 0,
    check_limit: float = defaults.CHECK_LIMIT,
    progress: bool = False,
) -> ExpectedDay:
    """Return what a rig does on a day, hour by hour, and what the pet may become.

    Args:
        model, regime, seed, check_limit, progress: as for `petsim.expect`.
        day: of the pet's clock, 1 for that of birth.
        lives: over which means and shares are taken; by default 2000, or 100 of the reference
            engine.

    Raises:
        SpecError, PolicyError: as for `petsim.batch`.
        ArgumentError: an argument is out of its range, or no life lives to that day.
    """
    pet, [caretaker] = load_together(model, [regime])
    seed, day = word_of("seed", seed), count_of("day", day)
    midnight, end = ((day + more) * DAY - pet.begins.clock for more in (-1, 0))
    begins = max(midnight, 0)
    engine = choose_engine(pet, caretaker, Span(days=end / DAY), "auto")
    lives = count_of("lives", defaults.EXPECTED_LIVES[engine.name] if lives is None else lives)
    hours = [second for second in range(midnight, end, HOUR) if second + HOUR > begins]
    ends = [second + HOUR for second in hours]
    ensure_fit(lives, room_of(pet, len(ends) + 1))
    counted, logs = followed_between(
        *(pet, engine, seed, range(lives), [*([begins] if begins else []), *ends], KEPT),
        check_limit=check_limit,
        progress=progress,
    )
    counted = counted[:, -len(ends) :]
    through = ~np.isnan(counted[:, :, 0])
    days = [_day(events, begins, ends) for events in logs]
    alive = [each for each in days if each is not None]
    last = int(through.any(axis=0).sum())
    if not last:
        raise ArgumentError(f"day: {day}; expected one that a life of {lives} lives to")
    counters, known = counters_under(pet, caretaker), counters_of(pet)
    suppressed = [np.zeros((len(ends), 3)) if d is None else d.suppressed for d in days]
    means = np.mean(np.array(suppressed)[:, :last], axis=0, where=through[:, :last, None])
    never = [_in_windows(caretaker.regime.checks, pet.begins, hour) for hour in hours[:last]]
    return ExpectedDay(
        model=pet.id,
        regime=caretaker.name,
        seed=seed,
        lives=lives,
        day=day,
        weekday=clock_at(begins, pet.begins).weekday,
        alive=len(alive) / lives,
        hours=tuple((pet.begins.clock + hour) % DAY // HOUR for hour in hours[:last]),
        counters=counters,
        counts=np.nanmean(counted[:, :last, [known.index(each) for each in counters]], axis=0),
        suppressed=np.column_stack([means, never]),
        growths=_growths(alive, pet.begins),
        forms=_forms(alive, pet),
    )


class _Day(NamedTuple):
    """A day of one life.

    forms: at its beginning, and those that it became. times: when it became these. suppressed:
    checks by hour, for the first three reasons of SUPPRESSED.
    """

    forms: tuple[str, ...]
    times: tuple[int, ...]
    suppressed: NDArray[np.int64]


def _day(events: Events, begins: int, ends: Sequence[int]) -> _Day | None:
    """Return the day of a life, from a second to the end of the last hour; None if it died before.

    ends: those of the hours.
    """
    if any(event.event == EventKind.DEATH and event.t < begins for event in events):
        return None
    taken = [event for event in events if event.event in FORMS]
    earlier = [event.what for event in taken if event.t <= begins]
    later = [event for event in taken if event.t > begins]
    return _Day(
        (earlier[-1], *(event.what for event in later)),
        tuple(event.t for event in later),
        _suppressed(events, begins, ends),
    )


def _suppressed(events: Events, begins: int, ends: Sequence[int]) -> NDArray[np.int64]:
    power, counts = True, np.zeros((len(ends), 3), dtype=np.int64)
    for event in events:
        if event.event in (EventKind.OUTAGE_BEGINS, EventKind.OUTAGE_ENDS):
            power = event.event == EventKind.OUTAGE_ENDS
        elif event.t >= begins and event.event in (
            EventKind.CHECK_SKIPPED,
            EventKind.CHECK_FORGOTTEN,
        ):
            why = 2 if event.event == EventKind.CHECK_FORGOTTEN else int(power)
            counts[bisect_right(ends, event.t), why] += 1
    return counts


def _in_windows(checks: Checks, begins: Begins, hour: int) -> float:
    """Return how many checks would be due in an hour, from a second on, but for windows of never.

    Intervals that go by the stage are left out.
    """
    schedule = Schedule(checks, 0, begins)
    without = range(max(hour, 0), hour + HOUR)
    if checks.at:
        anew = checks.model_copy(update={"windows": ()})
        due = Schedule(anew, 0, begins)
        return sum(due.is_due(t, "") and schedule.is_in_a_never(t) for t in without)
    if checks.every is None:
        return 0.0
    return sum(map(schedule.is_in_a_never, without)) / checks.every


def _growths(days: Sequence[_Day], begins: Begins) -> tuple[Growing, ...]:
    """Return the growths on a day, the earliest first."""
    times: dict[tuple[str, str], list[int]] = {}
    for day in days:
        for pair, t in zip(pairwise(day.forms), day.times, strict=True):
            times.setdefault(pair, []).append(clock_at(t, begins).second)
    growths = []
    for (before, after), seconds in times.items():
        low, middle, high = np.quantile(seconds, (0.025, 0.5, 0.975), method="closest_observation")
        time = Interval(float(middle), float(low), float(high))
        growths.append(Growing(before, after, len(seconds) / len(days), time))
    return tuple(sorted(growths, key=lambda growth: (growth.time.estimate, -growth.share)))


def _forms(days: Sequence[_Day], model: Model) -> tuple[FormOfDay, ...]:
    """Return the forms that a pet may have on a day, in the model's order, and what comes next."""
    had = Tally(form for day in days for form in dict.fromkeys(day.forms))
    nexts = successors(model)
    return tuple(
        FormOfDay(form, had[form] / len(days), nexts[form]) for form in model.forms if had[form]
    )
