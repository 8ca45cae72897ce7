"""What an explanation of odds says: what each imperfection of a regime costs, and what is left."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

from petsim._version import __version__
from petsim.life.caretaker import Caretaker
from petsim.life.drawn import Drawn
from petsim.life.simulate import Span
from petsim.spec.model import Model
from petsim.study.aims import Aim
from petsim.study.stats import Interval, as_data

UNKNOWN = Interval(math.nan, math.nan, math.nan)
"""What an interrupt left no time for."""
NOTHING = Interval(0.0, 0.0, 0.0)
"""What something costs that is not there."""


@dataclass(frozen=True)
class Part:
    """What one imperfection costs, in shares of 1.

    what: what people call it. path: where the regime has it. is_there: whether the regime has it,
    and does anything by it. off: the odds with it alone switched off. on: the odds with it alone
    left on. gain: off less the odds of the regime, on common luck. share: its fair share of the
    fall. by_model: this under each model.
    """

    what: str
    path: str
    is_there: bool
    off: Interval
    on: Interval
    gain: Interval
    share: Interval
    by_model: tuple[float, ...]

    def as_dict(self) -> dict[str, Any]:
        """It as plain data."""
        intervals = {name: getattr(self, name) for name in ("off", "on", "gain", "share")}
        return {
            "what": self.what,
            "path": self.path,
            "is_there": self.is_there,
            **{name: as_data(interval._asdict()) for name, interval in intervals.items()},
            "share_by_model": [None if math.isnan(share) else share for share in self.by_model],
        }


class UnderModel(NamedTuple):
    """A model, how much it is believed, and what the odds are under it."""

    model: Model
    weight: float
    odds: float
    ideal: float

    def as_dict(self) -> dict[str, Any]:
        """It as plain data."""
        return {**self._asdict(), "model": self.model.id}


@dataclass(frozen=True)
class Explanation(Drawn):
    """Why the odds of the aim are below those of the routine carried out flawlessly every minute.

    odds, ideal: of the regime, and of its routine done flawlessly. fall: ideal less odds, on common
    luck. parts: of each imperfection, dearest first; those that are not there cost exactly 0. eyes:
    the odds without any error of the eyes in clear light, less the odds. example: the odds of a
    caretaker who sees all. beyond: these less ideal. models: whose lives were lived. lives: of the
    regime, and of fewer in the rest: alone with one imperfection, ordered for the shares.
    precision: the half-width of the shares that was wanted.
    """

    aim: Aim
    caretaker: Caretaker
    odds: Interval
    ideal: Interval
    fall: Interval
    parts: tuple[Part, ...]
    eyes: Interval
    example: Interval
    beyond: Interval
    models: tuple[UnderModel, ...]
    lives: Mapping[str, int]
    precision: float
    seed: int
    span: Span
    interrupted: bool = False

    def __repr__(self) -> str:
        odds, ideal = self.odds.estimate, self.ideal.estimate
        return f"<explanation: {self.aim} under {self.regime}, {odds:.1%} instead of {ideal:.1%}>"

    @property
    def regime(self) -> str:
        """What the user calls the regime or policy."""
        return self.caretaker.name

    @property
    def there(self) -> tuple[Part, ...]:
        """The parts that there are, dearest first."""
        return tuple(part for part in self.parts if part.is_there)

    @property
    def dear(self) -> tuple[Part, ...]:
        """The parts that surely cost something, dearest first."""
        return tuple(part for part in self.parts if part.share.low > 0)

    def as_dict(self) -> dict[str, Any]:
        """It as plain data."""
        return {
            "petsim": __version__,
            "aim": self.aim.text,
            "regime": self.regime,
            "models": [each.as_dict() for each in self.models],
            "odds": self.odds._asdict(),
            "ideal": self.ideal._asdict(),
            "fall": self.fall._asdict(),
            "parts": [part.as_dict() for part in self.parts],
            "eyes": as_data(self.eyes._asdict()),
            "routine": {
                "what": "the routine itself",
                "example": as_data(self.example._asdict()),
                "beyond": as_data(self.beyond._asdict()),
            },
            "lives": dict(self.lives),
            "precision": self.precision,
            "seed": self.seed,
            "until": str(self.span),
            "interrupted": self.interrupted,
        }
