"""When the pet falls asleep and wakes: the edges of `sleeps`, from looks at `asleep`.

Each edge is tried at every whole minute within three hours of the guess's, the others staying where
the guess has them, and each place weighed by how likely it makes what was seen, with the eyes'
errors as the regime has them. Looks at hours at which the light may be bad are left out, if that
would change what they show of sleep.

On a fixed grid of checks all looks of a life come at the same minutes, so an edge is never known
better than to their interval, however many nights there are.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from petsim.evidence.estimate import Estimate, refused, verdict_of
from petsim.evidence.places import places_of
from petsim.evidence.sights import Sight, all_sights
from petsim.evidence.timeline import Spans
from petsim.life import draws
from petsim.life.log.entries import LoggedLife
from petsim.life.policy import Clock
from petsim.spec.clocks import Window
from petsim.spec.model import Model
from petsim.spec.quantities import DAY
from petsim.spec.regime import Regime

Side = Literal["from", "to"]
FARTHEST = 3 * 3600
"""Seconds from the guess's edge within which an edge is looked for."""
MINUTE = 60
LEAST_ERROR = 1e-3
"""The chance that is left to an error which the regime says eyes never make."""
WIDE = 120
"""Seconds of doubt above which looks at other minutes would tell more."""
RECORD = "jitter, or looks each minute around bedtime for one evening"


@dataclass(frozen=True)
class Edge:
    """Where an edge of a window of sleep is, in seconds of day.

    place: of the window in the list. low, high: the ends of the 95 % set of its places; past
    midnight they are below 0 or above a day. shrink: the share of the doubt of the range that is
    left. is_told: whether the looks bound it at all.
    """

    place: int
    side: Side
    guess: int
    low: int
    high: int
    shrink: float
    is_told: bool

    @property
    def estimate(self) -> int:
        """The guess if it may be right, else the minute in the middle of where it may be."""
        if self.low <= self.guess <= self.high:
            return self.guess
        return self.low + (self.high - self.low) // 2 // MINUTE * MINUTE


def sleep_estimates(
    lives: Sequence[LoggedLife], spans: Sequence[Spans], model: Model, regime: Regime
) -> list[Estimate]:
    """Return what logs tell of both edges of each window of sleep in forms that were lived.

    Their paths are those of the window with `.from` or `.to` at the end, such as
    `stages.juvenile.sleeps[0].from`, which tells them apart; they are none for `--vary`, which
    takes a window as a whole. Their values are seconds of day, and may be past midnight where the
    guess's is near it. An edge that may be where the guess has it stays there.

    spans: the forms of each life.
    """
    lived = {span.form for forms in spans for span in forms}
    sights = all_sights(lives, spans, "asleep", regime)
    estimates: list[Estimate] = []
    for place, forms in places_of(model, "sleeps").items():
        if lived.intersection(forms):
            own = [sight for sight in sights if sight.form in forms]
            windows = model.forms[forms[0]].sleeps
            estimates += [_reported(place, edge, len(own)) for edge in edges(windows, own, regime)]
    return estimates


def edges(windows: Sequence[Window], sights: Sequence[Sight], regime: Regime) -> list[Edge]:
    """Return where both edges of each window of sleep are, by looks at `asleep`."""
    seen = _Seen(sights, regime)
    sides: tuple[Side, ...] = ("from", "to")
    return [_edge(windows, place, side, seen) for place in range(len(windows)) for side in sides]


class _Seen:
    """Looks at `asleep`, and the logarithm of the chance of each if the pet was asleep, and not."""

    def __init__(self, sights: Sequence[Sight], regime: Regime) -> None:
        self.seconds = np.array([sight.clock.second for sight in sights], dtype=np.int64)
        self._asleep = np.log([_chance(regime, "overlooks", s.clock, not s.seen) for s in sights])
        self._awake = np.log([_chance(regime, "imagines", s.clock, s.seen) for s in sights])

    def likelihood(self, windows: Sequence[Window]) -> float:
        """The log-likelihood of the looks, if the pet sleeps in these windows."""
        asleep = holds(windows, self.seconds)
        return float(np.where(asleep, self._asleep, self._awake).sum())


def _chance(
    regime: Regime, error: Literal["overlooks", "imagines"], clock: Clock, errs: bool
) -> float:
    """The chance that the eyes err so at a clock time, or that they don't."""
    eyes = regime.eyes
    rate: float = getattr(eyes.asleep, error)
    here = next((window.asleep for window in eyes.windows if clock.within(window.during)), None)
    if here is not None and getattr(here, error) is not None:
        rate = getattr(here, error)
    voted = draws.effective_overlooks if error == "overlooks" else draws.effective_imagines
    rate = min(max(voted(rate, eyes.looks.of, eyes.looks.agree), LEAST_ERROR), 1 - LEAST_ERROR)
    return rate if errs else 1 - rate


def holds(windows: Sequence[Window], seconds: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Return for seconds of day whether a pet that sleeps in windows is asleep."""
    asleep = np.zeros(len(seconds), dtype=bool)
    for window in windows:
        asleep |= (seconds - window.start) % DAY < _length_of(window)
    return asleep


def _length_of(window: Window) -> int:
    """Return how many seconds a window lasts."""
    return (window.end - window.start - 1) % DAY + 1


def _edge(windows: Sequence[Window], place: int, side: Side, seen: _Seen) -> Edge:
    """Where one edge of one window is, the others being where they are."""
    window = windows[place]
    guess = window.start if side == "from" else window.end
    shifts = range(-FARTHEST, FARTHEST + 1, MINUTE)
    tried = [(shift, _shifted(window, side, shift)) for shift in shifts]
    kept = [(shift, moved) for shift, moved in tried if moved is not None]
    chances = np.array(
        [seen.likelihood([*windows[:place], moved, *windows[place + 1 :]]) for _, moved in kept]
    )
    weights = np.exp(chances - chances.max())
    weights /= weights.sum()
    places = np.array([guess + shift for shift, _ in kept])
    [likely] = np.nonzero(_likeliest(weights))
    middle = float((weights * places).sum())
    deviation = math.sqrt(float((weights * (places - middle) ** 2).sum()))
    return Edge(
        place,
        side,
        guess,
        int(places[likely[0]]),
        int(places[likely[-1]]),
        deviation / float(places.std()),
        is_told=bool(likely[0] > 0 and likely[-1] < len(places) - 1),
    )


def _shifted(window: Window, side: Side, by: int) -> Window | None:
    """Return a window with an edge moved by some seconds, None if no night or no day is left."""
    length = _length_of(window) + (by if side == "to" else -by)
    if not 0 < length < DAY:
        return None
    start = (window.start + (by if side == "from" else 0)) % DAY
    return Window(start, (start + length) % DAY)


def _likeliest(weights: NDArray[np.float64]) -> NDArray[np.bool_]:
    """The smallest set that has 95 % of the weight, with all that is as likely as its least."""
    order = np.argsort(-weights, kind="stable")
    last = int(np.searchsorted(np.cumsum(weights[order]), 0.95))
    least: float = weights[order[min(last, len(order) - 1)]]
    return np.array(weights >= least * (1 - 1e-9))


def _reported(where: str, edge: Edge, looks: int) -> Estimate:
    path = f"{where}.sleeps[{edge.place}].{edge.side}"
    if not edge.is_told:
        unseen = "no look at `asleep` came when form and light were sure"
        why = "no look shows it within three hours of the guess" if looks else unseen
        record = RECORD if looks else "look at `asleep` in each check"
        return refused(path, "model", "value", guess=edge.guess, record=record, why=why, n=looks)
    verdict = verdict_of(edge.shrink, "value", edge.low, edge.high)
    return Estimate(
        path,
        "model",
        "value",
        edge.estimate,
        edge.low,
        edge.high,
        verdict,
        edge.guess,
        record=RECORD if edge.high - edge.low > WIDE else "",
        n=looks,
        shrink=edge.shrink,
    )
