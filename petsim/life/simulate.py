"""One life: which engine lives it, under whom, and for how long."""

from __future__ import annotations

import logging
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from petsim.errors import ArgumentError, Problem, SpecError, ensure_known, legible
from petsim.life.caretaker import Caretaker, RegimeSource, load_caretaker
from petsim.life.policy import Policy
from petsim.life.record import Life, columns
from petsim.life.reference import ReferenceEngine
from petsim.life.state import NOT_COUNTED, State
from petsim.life.watch import limit_of, limited
from petsim.spec import defaults
from petsim.spec.arguments import is_number, word_of
from petsim.spec.choices import ENGINES, UNTIL
from petsim.spec.library import load_model
from petsim.spec.model import Model
from petsim.spec.pet import Pet
from petsim.spec.quantities import DAY, LONGEST
from petsim.spec.regime import Regime

if TYPE_CHECKING:
    from petsim.life.compiled import CompiledEngine

ModelSource = Model | Pet | str | Path | Mapping[str, Any]
CaretakerSource = Caretaker | RegimeSource | type[Policy]


@dataclass(frozen=True)
class Span:
    """How long lives are followed: to their outcome, to death, or for a number of days.

    Raises:
        ArgumentError: until is neither "outcome" nor "death", days is not a positive number, or
            both are given.
    """

    until: str | None = None
    days: float | None = None

    def __post_init__(self) -> None:
        if self.days is None:
            if self.until not in (None, *UNTIL):
                expected = " or ".join(map(repr, UNTIL))
                raise ArgumentError(f"until: {self.until!r}; expected {expected}")
            return
        if self.until is not None:
            raise ArgumentError("until and days: both given; expected one of them")
        if not is_number(self.days) or not 1 <= self.days * DAY <= LONGEST:
            raise ArgumentError(f"days: {self.days!r}; expected from one second to 2^53 s")

    @property
    def to_outcome(self) -> bool:
        """Whether a life ends when its outcome is decided."""
        return self.days is None and self.until != "death"

    @property
    def horizon(self) -> int | None:
        """The second at which every life is left, if there is one."""
        return None if self.days is None else round(self.days * DAY)

    def __str__(self) -> str:
        if self.days is not None:
            return f"{self.days:g} day" if self.days == 1 else f"{self.days:g} days"
        return "outcome" if self.to_outcome else "death"


def choose_engine(
    model: Model, caretaker: Caretaker, span: Span, wanted: str = "reference"
) -> ReferenceEngine | CompiledEngine:
    """The engine for lives of a model under a caretaker, as long as the span says.

    The compiled engine lives the same lives faster, if it can: Python policies it can't, and it
    needs numba and a folder to keep what it compiles.

    Raises:
        ArgumentError: wanted is none of `ENGINES`, or the compiled engine was, and can't.
    """
    ensure_known("engine", wanted, ENGINES)
    ends: dict[str, Any] = {"until_outcome": span.to_outcome, "horizon": span.horizon}
    if wanted != "reference":
        reason = _obstacle(caretaker)
        if reason is None:
            from petsim.life.compiled import CompiledEngine
            from petsim.life.compiled.structured import TooLargeError

            try:
                return CompiledEngine(model, caretaker, **ends)
            except TooLargeError:
                reason = f"{model.id} with {caretaker.name} is larger than it has room for"
                _log_slowness(reason)
        if wanted == "compiled":
            raise ArgumentError(f"engine: 'compiled', but {reason}; expected 'auto' or 'reference'")
    return ReferenceEngine(model, caretaker, **ends)


def _obstacle(caretaker: Caretaker) -> str | None:
    """Why the compiled engine can't live under a caretaker, if it can't."""
    if caretaker.make is not None:
        return f"{caretaker.name} is a Python policy"
    return why_not_compiled()


def why_not_compiled() -> str | None:
    """Why there is no compiled engine here, which is then also logged; None if there is one."""
    try:
        import petsim.life.compiled  # noqa: F401
    except ImportError as error:
        reason = f"numba can't be imported ({str(error).splitlines()[0]})"
    except RuntimeError:
        # numba's, where neither its folder beside the code nor the user's can be written to
        reason = "there is no folder that compiled code may be written to"
    else:
        return None
    _log_slowness(reason)
    return reason


def _log_slowness(reason: str) -> None:
    logging.getLogger("petsim").warning(
        "petsim: slow without the compiled engine: %s", legible(reason)
    )


def simulate(
    model: ModelSource,
    regime: CaretakerSource,
    *,
    seed: int = 0,
    life: int = 0,
    until: str | None = None,
    days: float | None = None,
    start: State | None = None,
    check_limit: float = defaults.CHECK_LIMIT,
) -> Life:
    """Simulate one life, with its event log.

    Args:
        model: a model, its name, its path or its content as a mapping.
        regime: a regime in any of these ways, a policy class, or `FILE.py:CLASS`.
        seed: the seed of the luck, 0 to 2**64 - 1.
        life: the number of the life, 0 to 2**64 - 1.
        until: follow it to its "outcome" (the default) or to "death".
        days: or for this number of days, from its second 0.
        start: the state that it goes on from, of `petsim.state_at`; its log begins there. Seed and
            life are those of the state.
        check_limit: the seconds of the computer's time that a Python policy may take for a check,
            or to be loaded. It lives in this process, so that it can be looked into: here this
            ends what runs in Python in the main thread, but not on Windows, and no compiled code
            that never comes back.

    Returns:
        The life: `.summary`, `.events`, `.looks`.

    Raises:
        SpecError: a file is wrong, or the regime does not go with the model.
        PolicyError: a Python policy did what a caretaker can't.
        ArgumentError: an argument is out of its range.
    """
    seed, life = word_of("seed", seed), word_of("life", life)
    span, limit = Span(until, days), limit_of(check_limit)
    with limited(limit):
        pet, [caretaker] = load_together(model, [regime])
        if start is not None:
            ensure_fits(start, pet)
            seed, life = start.seed, start.life
        return choose_engine(pet, caretaker, span).live(seed, life, traced=True, start=start)


def state_at(
    model: ModelSource,
    regime: CaretakerSource,
    t: int,
    *,
    seed: int = 0,
    life: int = 0,
    start: State | None = None,
) -> State:
    """Return the state of a life at a second, from which `simulate` goes on as it would have.

    Args:
        model: a model or a pet as it is now, by name, path or content.
        regime: a regime likewise; no Python policy, as what one remembers is in no state.
        t: the second of the life, 1 or more. What falls due in it has not happened yet.
        seed: the seed of the luck, 0 to 2**64 - 1.
        life: the number of the life, 0 to 2**64 - 1.
        start: a state of an earlier second of the life, to go on from.

    Raises:
        SpecError: a file is wrong, or the regime does not go with the model.
        ArgumentError: an argument is out of its range, or the life is over by then.
    """
    seed, life = word_of("seed", seed), word_of("life", life)
    if not is_number(t) or t != int(t) or not 1 <= t <= LONGEST:
        raise ArgumentError(f"t: {t!r}; expected a second of the life, a whole number from 1")
    pet, [caretaker] = load_together(model, [regime])
    if caretaker.make is not None:
        reason = "is a Python policy, and no state holds what one remembers"
        raise ArgumentError(f"{caretaker.name}: {reason}; expected a regime")
    if start is not None:
        ensure_fits(start, pet)
        seed, life = start.seed, start.life
    left = choose_engine(pet, caretaker, Span("death")).state_at(seed, life, int(t), start)
    if left is None:
        raise ArgumentError(f"t: {t}; expected a second before the life {life} is over")
    return left


def ensure_fits(state: State, model: Model) -> None:
    """Refuse a state that is none of a model's lives.

    Raises:
        ArgumentError: its form, needs or columns are others.
    """
    counted = {column.name for column in columns(model)} - {*NOT_COUNTED}
    same = (*state.levels,) == (*model.needs,) and state.form in model.forms
    if not same or state.counts.keys() != counted:
        expected = f"expected one of a life of {model.id}"
        raise ArgumentError(f"start: found a state of another model; {expected}")


def load_together(
    model: ModelSource, caretakers: Sequence[CaretakerSource]
) -> tuple[Model, list[Caretaker]]:
    """A model and who is to look after it.

    Raises:
        SpecError: with all that is wrong with any of them, and between them.
        ArgumentError: there is one caretaker where a list of them belongs.
        PolicyError: a policy is an instance and not the class.
    """
    if isinstance(caretakers, str):
        raise ArgumentError(f"regimes: {caretakers!r}; expected a list, such as [{caretakers!r}]")
    if isinstance(caretakers, Caretaker | Regime | Path | Mapping | type):
        raise ArgumentError("regimes: one that is in no list; expected a list of one or more")
    if not isinstance(caretakers, Iterable):
        raise ArgumentError(f"regimes: {caretakers!r}; expected a list of one or more")
    problems: list[Problem] = []
    pet, loaded, more = None, [], 0
    try:
        pet = load_model(model)
    except SpecError as error:
        problems, more = [*error.problems], error.more
    for caretaker in caretakers:
        try:
            loaded.append(load_caretaker(caretaker, pet))
        except SpecError as error:
            problems, more = [*problems, *error.problems], more + error.more
    if pet is None or problems:
        raise SpecError(list(dict.fromkeys(problems)), more)
    return pet, loaded
