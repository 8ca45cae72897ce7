"""What a look shows: the truth, but for the errors of the eyes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from petsim.life import draws
from petsim.life.luck import Luck
from petsim.life.policy import Clock
from petsim.life.reference.pet import Pet
from petsim.life.reference.tally import Tally
from petsim.life.streams import Stream
from petsim.spec.eyes import Eyes, EyesWindow, Looks
from petsim.spec.model import SIGNALS
from petsim.spec.quantities import Window

See = Callable[[], Any]


class Errors:
    """Errors of one source, as a threshold that trials use up.

    A trial of probability p uses up -log(1 - p) of a unit-exponential threshold, in whole multiples
    of 2**-40, and errs when the threshold is used up; so a run of errorless trials costs one sum.
    """

    def __init__(self, stream: Stream) -> None:
        self._stream = stream
        self._left: int | None = None

    def errs(self, step: int) -> bool:
        """Whether a trial errs that uses up `step` units; one of 0 units never does."""
        if step == 0:
            return False
        if self._left is None:
            self._left = draws.error_threshold(self._stream.next())
        self._left -= step
        if self._left >= 0:
            return False
        self._left = draws.error_threshold(self._stream.next())
        return True


@dataclass(frozen=True)
class ErrorSteps:
    """The units that a trial of each kind of error uses up, usually and in windows of the eyes."""

    windows: tuple[Window, ...]
    usual: dict[str, int]
    special: tuple[dict[str, int], ...]

    def at(self, error: str, clock: Clock) -> int:
        """The units that a trial of an error uses up at this clock time."""
        for window, steps in zip(self.windows, self.special, strict=True):
            if clock.within(window):
                return steps[error]
        return self.usual[error]

    def ever(self, error: str) -> bool:
        """Whether that error can happen at all."""
        return any(steps[error] for steps in (self.usual, *self.special))


def error_steps(eyes: Eyes, needs: Iterable[str]) -> ErrorSteps:
    """The steps of a regime's eyes, with the looks of one observation already voted on."""
    usual = {error: _step(error, rate or 0.0, eyes.looks) for error, rate in _rates(eyes, needs)}
    special = tuple(
        usual
        | {
            error: _step(error, rate, eyes.looks)
            for error, rate in _rates(window, needs)
            if rate is not None
        }
        for window in eyes.windows
    )
    return ErrorSteps(tuple(window.during for window in eyes.windows), usual, special)


def _rates(at: Eyes | EyesWindow, needs: Iterable[str]) -> Iterator[tuple[str, float | None]]:
    """Every kind of error with its rate; None where it is not named."""
    for signal in SIGNALS:
        errs = getattr(at, signal)
        yield f"overlooks {signal}", None if errs is None else errs.overlooks
        yield f"imagines {signal}", None if errs is None else errs.imagines
    for need in needs:
        yield f"misreads {need}", at.levels[need].misreads if need in at.levels else None


def _step(error: str, rate: float, looks: Looks) -> int:
    if error.startswith("overlooks"):
        rate = draws.effective_overlooks(rate, looks.of, looks.agree)
    elif error.startswith("imagines"):
        rate = draws.effective_imagines(rate, looks.of, looks.agree)
    else:
        rate = draws.effective_misreads(rate, looks.of)
    return draws.error_step(rate)


class Sight:
    """An observation of the pet as it is now: each reading of a signal is a look at it."""

    def __init__(self, signals: dict[str, See]) -> None:
        self._signals = signals

    def __getitem__(self, signal: str) -> Any:
        return self._signals[signal]()


def sight_of(pet: Pet, steps: ErrorSteps, luck: Luck, tally: Tally) -> Sight:
    """How a caretaker sees a pet; what is seen is written down in a traced life."""
    truths: dict[str, See] = {
        "stage": lambda: pet.form.stage,
        "form": lambda: pet.form_name,
        "weight": lambda: pet.weight,
        "clock": lambda: pet.clock,
        "waste": lambda: pet.pile,
        "ill": lambda: pet.ill,
        "asleep": lambda: pet.asleep,
        "lights": lambda: pet.lights,
        "calling": lambda: pet.calling,
        **{need: _level(need, pet) for need in pet.levels},
    }
    looks = truths | {
        signal: _fallible(signal, truths[signal], pet, steps, luck) for signal in SIGNALS
    }
    looks |= {need: _misreadable(need, truths[need], pet, steps, luck) for need in pet.levels}
    if tally.traced:
        looks = {
            signal: _written_down(signal, truths[signal], look, pet, tally)
            for signal, look in looks.items()
        }
    return Sight(looks)


def _written_down(signal: str, truth: See, look: See, pet: Pet, tally: Tally) -> See:
    def see() -> Any:
        seen = look()
        tally.sight(pet.clock.t, signal, truth(), seen)
        return seen

    return see


def _level(need: str, pet: Pet) -> See:
    return lambda: pet.levels[need]


def _fallible(signal: str, truth: See, pet: Pet, steps: ErrorSteps, luck: Luck) -> See:
    """A signal that is there or not: overlooked if it is, imagined if it is not."""
    overlooks, imagines = f"overlooks {signal}", f"imagines {signal}"
    if not (steps.ever(overlooks) or steps.ever(imagines)):
        return truth
    missed, invented = Errors(luck[overlooks]), Errors(luck[imagines])

    def see() -> Any:
        there, clock = truth(), pet.clock
        if there:
            wrong = missed.errs(steps.at(overlooks, clock))
        else:
            wrong = invented.errs(steps.at(imagines, clock))
        # of the same type as the truth: waste overlooked is 0, imagined 1
        return type(there)(not there) if wrong else there

    return see


def _misreadable(need: str, truth: See, pet: Pet, steps: ErrorSteps, luck: Luck) -> See:
    """A level: one off when misread, up or down alike, but never below 0 or above full."""
    misreads = f"misreads {need}"
    if not steps.ever(misreads):
        return truth
    errors, side, full = Errors(luck[misreads]), luck[f"misread side {need}"], pet.full(need)

    def see() -> int:
        level, clock = pet.levels[need], pet.clock
        if not errors.errs(steps.at(misreads, clock)):
            return level
        return min(full, level + 1) if side.next() < 0.5 else max(0, level - 1)

    return see
