"""A life at one second, flat, so that it can be kept, read, and lived on by either engine.

A state of second t holds all that has happened before t; what falls due in second t has not. Lived
on from there with the numbers that its sources of chance have not drawn yet, a life goes on as it
would have. It says nothing of the model, the regime and the length of the life, which whoever lives
it on gives again.
"""

from __future__ import annotations

from typing import Final, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from petsim.errors import ArgumentError
from petsim.life.kinds import ILLNESS, LIGHTS, WASTE

VERSION: Final = 1
"""Of the fields below; a state of another version is refused."""


ALL = "all"
"""The key of misses of all causes together, also of those of no known cause."""
NOT_COUNTED = ("life", "outcome", "end_s", "died", "cut_off")
"""The columns of the table of lives that a state says otherwise, or that the end decides."""


def deadline_of(cause: str) -> str:
    """Return the name under which a state tells when the next miss for a cause is due."""
    return f"{cause} deadline" if cause in (WASTE, ILLNESS, LIGHTS) else f"deadline {cause}"


class _Flat(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class ActUnderWay(_Flat):
    """What a caretaker is doing that takes time."""

    ends: int = Field(description="the second at which it is over")
    lands: str = Field(description="the action that lands then; empty if none does")
    has_slipped: bool = Field(description="whether what was meant has slipped")
    is_cut: bool = Field(description="whether the check ends with it, as the power failed")
    number: int = Field(description="the number of the pass through the routine, from 0")
    step: int = Field(description="the place in the routine of the step at hand, from 0")
    times: int = Field(description="how often that step was done in this pass")
    has_acted: bool = Field(description="whether a step with a condition was done in this pass")


class State(_Flat):
    """A life at second t. All times are in whole seconds; a second is one of the life, from 0."""

    version: Literal[1] = VERSION
    seed: int = Field(description="the seed of the batch")
    life: int = Field(description="the number of the life")
    t: int = Field(description="the second; what falls due in it has not happened yet", ge=0)
    form: str = Field(description="the pet's form")
    levels: dict[str, int] = Field(description="the level of each need")
    pile: int = Field(description="how much waste lies there")
    weight: int = Field(description="the pet's weight")
    discipline: int = Field(description="its discipline, 0 to 100")
    asleep: bool = Field(description="whether it sleeps")
    lights: bool = Field(description="whether the lights are on")
    misbehaving: bool = Field(description="whether a misbehaviour is under way")
    ill: bool = Field(description="whether it is ill")
    doses_left: int = Field(description="the doses that cure its illness; 0 if it is well")
    illness_threshold: float = Field(
        description="the risk at which it falls ill, in units of an exponential with mean 1"
    )
    illness_risk: float = Field(description="the risk run up to `illness_rated`, in such units")
    illness_rated: int = Field(
        description="the second up to which the risk is added up; t while none is run"
    )
    misses_in_form: dict[str, int] = Field(
        description="the care misses since it took its form, by cause, and `all`"
    )
    misses_in_life: dict[str, int] = Field(
        description="the care misses that its rules count, by cause, and `all`"
    )
    due: dict[str, int] = Field(
        description="the second at which each thing falls due that will; but for `left`"
    )
    left: dict[str, int] = Field(
        description="the awake seconds left of what stands still while the pet sleeps"
    )
    first_check: int | None = Field(
        description="the second from which checks of the grid fall due; none before second 0"
    )
    answer: int | None = Field(description="the second of the check that answers a call, if any")
    late: list[int] = Field(
        description="the seconds in which checks come that fell due before, in order"
    )
    last_late: int = Field(description="the second of the last such check; -1 if none was late")
    power: bool = Field(description="whether it is on")
    in_spell: bool = Field(description="whether a spell of bad light is under way")
    act: ActUnderWay | None = Field(
        description="what the caretaker is doing that takes time, if anything"
    )
    outcome: str = Field(description="the outcome; undecided until it is known")
    counts: dict[str, int] = Field(
        description="what was counted so far, by column of the table of lives"
    )
    drawn: dict[str, int] = Field(description="how many numbers each source of chance has drawn")
    error_units: dict[str, int] = Field(
        description="what is left of each error's threshold, in 2**-40 of an exponential"
    )

    def as_text(self) -> str:
        """Return it as JSON, from which `read_state` makes an equal one."""
        return self.model_dump_json(indent=1)


def read_state(text: str) -> State:
    """Return the state of a text that `State.as_text` made.

    Raises:
        ArgumentError: it is no such text, or of another version.
    """
    try:
        return State.model_validate_json(text)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        place = ".".join(map(str, first["loc"])) or "text"
        expected = f"expected what State.as_text returned, version {VERSION}"
        raise ArgumentError(f"state: {place}: {first['msg']}; {expected}") from None
