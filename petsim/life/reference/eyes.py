"""What a look shows: the truth, but for the errors of the eyes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from petsim.life import draws
from petsim.life.luck import Luck
from petsim.life.policy import Clock
from petsim.life.reference.errors import Thresholds
from petsim.life.reference.light import Light
from petsim.life.reference.pet import Pet
from petsim.life.reference.tally import Tally
from petsim.life.reference.timers import Seconds
from petsim.spec.clocks import Window
from petsim.spec.eyes import Eyes, EyesWindow, Looks, Spells
from petsim.spec.model import SIGNALS

See = Callable[[], Any]


Steps = dict[str, int]
"""The units that a trial uses up, of each kind of error that is named."""


@dataclass(frozen=True)
class ErrorSteps:
    """The units that a trial of each kind of error uses up: usually, and where it is otherwise.

    windows: in clock windows of the eyes, of which the first that holds counts. spells: in spells
    of bad light, while the clock window `during` holds if there is one.
    """

    usual: Steps
    windows: tuple[tuple[Window, Steps], ...]
    spells: Steps
    during: Window | None

    def at(self, error: str, clock: Clock, *, in_spell: bool) -> int:
        """The units that a trial of an error uses up at this clock time."""
        if in_spell and error in self.spells and (not self.during or clock.within(self.during)):
            return self.spells[error]
        usual = self.usual.get(error, 0)
        for window, steps in self.windows:
            if clock.within(window):
                return steps.get(error, usual)
        return usual

    def ever(self, error: str) -> bool:
        """Whether that error can happen at all."""
        named = (self.usual, self.spells, *(steps for _, steps in self.windows))
        return any(steps.get(error) for steps in named)


def error_steps(eyes: Eyes, needs: Iterable[str]) -> ErrorSteps:
    """The steps of a regime's eyes, with the looks of one observation already voted on.

    Rates of spells are those of a whole observation, so there is no vote on them.
    """
    spells = eyes.spells
    return ErrorSteps(
        usual=_steps(eyes, needs, eyes.looks),
        windows=tuple((w.during, _steps(w, needs, eyes.looks)) for w in eyes.windows),
        spells=_steps(spells, needs, Looks()) if spells else {},
        during=spells.during if spells else None,
    )


def _steps(at: Eyes | EyesWindow | Spells, needs: Iterable[str], looks: Looks) -> Steps:
    return {
        error: draws.error_step(_voted(error, rate, looks))
        for error, rate in _rates(at, needs)
        if rate is not None
    }


def _rates(
    at: Eyes | EyesWindow | Spells, needs: Iterable[str]
) -> Iterator[tuple[str, float | None]]:
    """Every kind of error with its rate; None where it is not named."""
    for signal in SIGNALS:
        errs = getattr(at, signal)
        yield f"overlooks {signal}", errs.overlooks
        yield f"imagines {signal}", errs.imagines
    for need in needs:
        yield f"misreads {need}", at.levels[need].misreads if need in at.levels else None


def _voted(error: str, rate: float, looks: Looks) -> float:
    """The rate of an error in an observation of several looks, given that in one."""
    if error.startswith("overlooks"):
        return draws.effective_overlooks(rate, looks.of, looks.agree)
    if error.startswith("imagines"):
        return draws.effective_imagines(rate, looks.of, looks.agree)
    return draws.effective_misreads(rate, looks.of)


class Sight:
    """An observation of the pet as it is now: each reading of a signal is a look at it.

    truths: what each signal truly is; looks: what it is taken for.
    """

    def __init__(self, truths: Mapping[str, See], looks: Mapping[str, See]) -> None:
        self._truths = truths
        self._looks = looks

    def __getitem__(self, signal: str) -> Any:
        return self._looks[signal]()

    def truth(self, signal: str) -> Any:
        """What a signal truly is."""
        return self._truths[signal]()


class NotedSight:
    """One observation of a traced life, in which each reading of a signal is written down.

    step: of the routine, from 1; 0 of a Python policy.
    """

    def __init__(self, sight: Sight, step: int, env: Seconds, tally: Tally) -> None:
        self._sight = sight
        self._step = step
        self._number = tally.observation()
        self._env = env
        self._tally = tally

    def __getitem__(self, signal: str) -> Any:
        seen, truth = self._sight[signal], self._sight.truth(signal)
        self._tally.sight(self._env.now, self._step, self._number, signal, truth, seen)
        return seen


def sight_of(pet: Pet, steps: ErrorSteps, light: Light, errors: Thresholds, luck: Luck) -> Sight:
    """How a caretaker sees a pet."""
    truths: dict[str, See] = {
        "stage": lambda: pet.form.stage,
        "form": lambda: pet.form_name,
        "weight": lambda: pet.weight,
        "discipline": lambda: pet.discipline,
        "clock": lambda: pet.clock,
        "waste": lambda: pet.pile,
        "ill": lambda: pet.ill,
        "asleep": lambda: pet.asleep,
        "lights": lambda: pet.lights,
        "calling": lambda: pet.calling,
        **{need: _level(need, pet) for need in pet.levels},
    }

    def step(error: str) -> int:
        return steps.at(error, pet.clock, in_spell=light.is_bad)

    looks = dict(truths)
    for signal in SIGNALS:
        if steps.ever(f"overlooks {signal}") or steps.ever(f"imagines {signal}"):
            looks[signal] = _fallible(signal, truths[signal], step, errors)
    for need in pet.levels:
        if steps.ever(f"misreads {need}"):
            looks[need] = _misreadable(need, pet, step, errors, luck)
    return Sight(truths, looks)


def _level(need: str, pet: Pet) -> See:
    return lambda: pet.levels[need]


def _fallible(signal: str, truth: See, step: Callable[[str], int], errors: Thresholds) -> See:
    """A signal that is there or not: overlooked if it is, imagined if it is not."""
    overlooks, imagines = f"overlooks {signal}", f"imagines {signal}"
    missed, invented = errors[overlooks], errors[imagines]

    def see() -> Any:
        there = truth()
        wrong = missed.errs(step(overlooks)) if there else invented.errs(step(imagines))
        # of the same type as the truth: waste overlooked is 0, imagined 1
        return type(there)(not there) if wrong else there

    return see


def _misreadable(
    need: str, pet: Pet, step: Callable[[str], int], errors: Thresholds, luck: Luck
) -> See:
    """A level: one off when misread, up or down alike, but never below 0 or above full."""
    misreads = f"misreads {need}"
    misread, side, full = errors[misreads], luck[f"misread side {need}"], pet.full(need)

    def see() -> int:
        level = pet.levels[need]
        errs = misread.errs(step(misreads))
        if not errs and not misread.is_withheld:
            return level
        # drawn of one that is withheld too, so that each later one keeps its side
        off = min(full, level + 1) if side.next() < 0.5 else max(0, level - 1)
        return off if errs else level

    return see
