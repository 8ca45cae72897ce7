"""How a caretaker's eyes err: what a regime file says of it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

from pydantic import ConfigDict, Field

from petsim.errors import MisfitError
from petsim.spec.fields import Chance, ClockWindow, Law, count_type
from petsim.spec.parts import Part

MOST_LOOKS = 99


class SignalEye(Part):
    """How a yes/no signal, or the pile of waste, is misjudged."""

    overlooks: Chance = Field(default=0.0, description="the chance to miss what is there")
    imagines: Chance = Field(default=0.0, description="the chance to see what is not there")


class LevelEye(Part):
    """How the level of a need is misread."""

    misreads: Chance = Field(description="the chance to read a level one off")


class _ByNeed(Part):
    """A part in which any key that has no meaning of its own is a need."""

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, LevelEye] = Field(init=False)

    @property
    def levels(self) -> dict[str, LevelEye]:
        """The errors in reading needs."""
        return self.__pydantic_extra__


class SignalChange(Part):
    """Other rates for a signal; None keeps the usual one."""

    overlooks: Chance | None = Field(
        default=None, description="the chance not to see what is there"
    )
    imagines: Chance | None = Field(default=None, description="the chance to see what is not there")


class EyesWindow(_ByNeed):
    """Other rates of error while a clock window holds; any other key is a need."""

    during: ClockWindow = Field(description="the clock window, such as 12:00 to 14:00")
    waste: SignalChange = Field(default=SignalChange(), description="errors in seeing waste")
    ill: SignalChange = Field(default=SignalChange(), description="errors in seeing illness")
    asleep: SignalChange = Field(default=SignalChange(), description="errors in seeing sleep")
    lights: SignalChange = Field(default=SignalChange(), description="errors in seeing the lights")
    calling: SignalChange = Field(default=SignalChange(), description="errors in seeing a call")


class Spells(_ByNeed):
    """Times of bad light, in which the eyes err otherwise; any other key is a need.

    Clear times and spells alternate, beginning with a clear time, whatever the power. The rates are
    those of a whole observation, however many looks it takes, as all its looks share the light.
    """

    clear: Law = Field(description="the time to the next spell, a distribution")
    lasts: Law = Field(description="the time a spell lasts, a distribution")
    during: ClockWindow | None = Field(
        default=None, description="the clock window outside which spells change nothing"
    )
    waste: SignalChange = Field(default=SignalChange(), description="errors in seeing waste")
    ill: SignalChange = Field(default=SignalChange(), description="errors in seeing illness")
    asleep: SignalChange = Field(default=SignalChange(), description="errors in seeing sleep")
    lights: SignalChange = Field(default=SignalChange(), description="errors in seeing the lights")
    calling: SignalChange = Field(default=SignalChange(), description="errors in seeing a call")


class Looks(Part):
    """How many looks make an observation, and how many must agree on a yes/no signal."""

    of: Annotated[int, count_type(1, MOST_LOOKS)] = Field(
        default=1, description="the number of looks of an observation"
    )
    agree: Annotated[int, count_type(1, MOST_LOOKS)] = Field(
        default=1, description="how many of them must show a signal for it to be believed"
    )

    def misfits(self) -> Iterator[MisfitError]:
        """Refuse more that agree than look."""
        if self.agree > self.of:
            yield MisfitError(f"expected at most {self.of}, the number of looks", at=("agree",))


class Eyes(_ByNeed):
    """How observations err; any other key is a need."""

    waste: SignalEye = Field(default=SignalEye(), description="errors in seeing waste")
    ill: SignalEye = Field(default=SignalEye(), description="errors in seeing illness")
    asleep: SignalEye = Field(default=SignalEye(), description="errors in seeing sleep")
    lights: SignalEye = Field(default=SignalEye(), description="errors in seeing the lights")
    calling: SignalEye = Field(default=SignalEye(), description="errors in seeing a call")
    windows: tuple[EyesWindow, ...] = Field(
        default=(), description="other rates in clock windows; the first that holds counts"
    )
    looks: Looks = Field(default=Looks(), description="how many looks make an observation")
    spells: Spells | None = Field(
        default=None, description="times of bad light, with rates of their own. Never without"
    )

    def misfits(self) -> Iterator[MisfitError]:
        """Refuse a median of an even number of readings."""
        levels = [self.levels, *(window.levels for window in self.windows)]
        misread = any(eye.misreads > 0 for part in levels for eye in part.values())
        if misread and self.looks.of % 2 == 0:
            expected = "expected an odd number, as levels are misread and the middle look counts"
            yield MisfitError(expected, at=("looks", "of"))
