"""A rig's log held against what its counters should show: on which day is which count outside?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from petsim._version import __version__
from petsim.advice.expecting.counting import ends_of_days
from petsim.advice.expecting.expect import Usual, usual
from petsim.errors import ArgumentError
from petsim.life.counters import Counter
from petsim.life.log.entries import Action, Check, LoggedLife, Look
from petsim.life.simulate import CaretakerSource, ModelSource, load_together
from petsim.spec import defaults
from petsim.spec.model import Model
from petsim.spec.quantities import DAY
from petsim.spec.regime import Hands
from petsim.spec.shown import Shown
from petsim.spec.taken_over import TakenOver


class Outside(NamedTuple):
    """A count of a log that is outside its band, on a day of the pet's clock, 1 for the first."""

    day: int
    counter: Counter
    logged: int
    median: float
    low: int
    high: int


@dataclass(frozen=True, eq=False)
class HeldLog(Shown):
    """A life of a log, held against what its counters should show.

    source: of the log. model: the pet. regime: the name of who looked after it. days: those that
    were held. left_out: those during which lines are lost. unseen: what the log does not
    tell. outside: the counts that are outside, by day. confidence: the chance with which a quiet
    life has none.
    """

    source: str
    model: Model
    regime: str
    days: tuple[int, ...]
    left_out: tuple[int, ...]
    unseen: tuple[Counter, ...]
    outside: tuple[Outside, ...]
    confidence: float

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain data, as `petsim expect --against --json` prints it."""
        return {
            "petsim": __version__,
            "log": self.source,
            "model": self.model.id,
            "regime": self.regime,
            "confidence": self.confidence,
            "days": [*self.days],
            "left_out": [*self.left_out],
            "unseen": [counter._asdict() for counter in self.unseen],
            "outside": [
                {**each._asdict(), "counter": each.counter._asdict()} for each in self.outside
            ],
        }

    def __repr__(self) -> str:
        return f"<log of {self.model.id} against {self.regime}: {len(self.outside)} counts outside>"


def hold_log(
    log: LoggedLife,
    model: ModelSource,
    regime: CaretakerSource,
    *,
    lives: int | None = None,
    seed: int = 0,
    confidence: float = 0.95,
    check_limit: float = defaults.CHECK_LIMIT,
    progress: bool = False,
) -> HeldLog:
    """Hold a life of a rig's log against what its counters should show, on the days it covers.

    The lives that say so begin at the clock time and on the weekday at which the log begins.

    Args:
        log: one of `petsim.read_log`; it begins with the pet's birth, unless the model is a pet as
            it was when the log begins.
        model, regime, lives, seed, confidence, check_limit, progress: as for `petsim.expect`.

    Raises:
        SpecError, PolicyError, ArgumentError: as for `petsim.expect`; the log covers no midnight,
            or does not begin as the lives do.
    """
    pet, [caretaker] = load_together(model, [regime])
    if log.is_born == isinstance(pet, TakenOver):
        begins, expected = (
            ("with birth", "expected a model")
            if log.is_born
            else ("after birth", "expected the pet as it was then, with --pet")
        )
        raise ArgumentError(f"{log.source}: the life begins {begins}; {expected}")
    days = sum(end <= log.until for end in ends_of_days(log.begins, _days_of(log)))
    if not days:
        raise ArgumentError(f"{log.source}: the life covers no midnight; expected a day to its end")
    quiet = usual(
        pet.model_copy(update={"begins": log.begins}),
        caretaker,
        days,
        lives=lives,
        seed=seed,
        confidence=confidence,
        check_limit=check_limit,
        progress=progress,
    )
    ends = ends_of_days(log.begins, len(quiet.low))
    lost = [log.is_lost(start, end) for start, end in zip([0, *ends], ends, strict=False)]
    counts = counts_of(log, quiet.counters, caretaker.regime.hands, ends)
    counts[lost] = np.nan
    outside = (counts < quiet.low) | (counts > quiet.high)
    return HeldLog(
        source=log.source,
        model=pet,
        regime=caretaker.name,
        days=tuple(day + 1 for day, is_lost in enumerate(lost) if not is_lost),
        left_out=tuple(day + 1 for day, is_lost in enumerate(lost) if is_lost),
        unseen=tuple(each for each in quiet.counters if not _is_told(log, each)),
        outside=tuple(_outside(quiet, counts, day, place) for day, place in np.argwhere(outside)),
        confidence=confidence,
    )


def _days_of(log: LoggedLife) -> int:
    """Return the number of the day in which a log ends."""
    return int(log.begins.clock + log.until) // DAY + 1


def _is_told(log: LoggedLife, counter: Counter) -> bool:
    """Whether a log tells of a count: of looks at what the rig can see, and of all else."""
    return counter.of != "zero" or counter.name in log.signals


def counts_of(
    log: LoggedLife, counters: tuple[Counter, ...], hands: Hands, ends: Sequence[int]
) -> NDArray[np.float64]:
    """Return the counts of a log by day and counter; nan of what it does not tell.

    Args:
        log: of a life.
        counters: what is counted.
        hands: of the rig, for the presses of opening a check and of what was not finished.
        ends: the seconds at which the days end.
    """
    counts = np.zeros((len(ends), len(counters)))
    edges = np.array(ends, dtype=float)

    def add(counter: Counter, t: float, by: int = 1) -> None:
        day = int(np.searchsorted(edges, t, side="right"))
        if day < len(ends) and counter in counters:
            counts[day, counters.index(counter)] += by

    for entry in log.entries:
        if isinstance(entry, Check):
            add(Counter("checks"), entry.t)
            add(Counter("presses"), entry.t, hands.opening.presses)
        elif isinstance(entry, Action):
            add(Counter("action", entry.action), entry.began)
            is_known = entry.outcome != "unfinished"
            presses = entry.presses if is_known else hands.of(entry.action).presses
            add(Counter("presses"), entry.began, presses)
        elif isinstance(entry, Look):
            for signal, value in entry.saw.items():
                if value == 0 and not isinstance(value, bool):
                    add(Counter("zero", signal), entry.t)
    untold = [not _is_told(log, each) for each in counters]
    counts[:, untold] = np.nan
    return counts


def _outside(quiet: Usual, counts: NDArray[np.float64], day: int, place: int) -> Outside:
    return Outside(
        int(day) + 1,
        quiet.counters[place],
        int(counts[day, place]),
        float(quiet.median[day, place]),
        int(quiet.low[day, place]),
        int(quiet.high[day, place]),
    )
