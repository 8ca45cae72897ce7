"""The fields of the table that the regime gives: checks, windows, the routine, eyes and power."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import numpy as np

from petsim.life import draws
from petsim.life.compiled.constants import LEAST, MOST, MOST_SEEN, NONE, SIGHTS, SWITCHES
from petsim.life.compiled.lists import Lists, bounds, by_field, named, or_never
from petsim.life.compiled.lower_pet import NOTHING
from petsim.spec.clocks import Window
from petsim.spec.eyes import Eyes, EyesWindow, Spells
from petsim.spec.model import SIGNALS, Model
from petsim.spec.quantities import Bound
from petsim.spec.regime import Regime, Step, When

MOST_STEPS = 62
"""The conditions of a longer routine are not tested for all its steps at once."""


@dataclass
class CaretakerLowering:
    """Lowers a regime; what of its entries refer to by place is collected on the way."""

    model: Model
    regime: Regime
    lists: Lists
    watched: tuple[str, ...] | None = None
    tests: list[tuple[int, int, int]] = field(default_factory=list)
    clocks: list[Window] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.needs = list(self.model.needs)
        self.level_sights = range(len(SIGHTS), len(SIGHTS) + len(self.needs))
        self.error_steps = self._error_steps()
        self.eyes_err = any(map(any, self.error_steps))
        # without errors a look leaves no trace
        self.places = tuple(
            place for place, step in enumerate(self.regime.routine) if step.do or self.eyes_err
        )
        self.steps = [self.regime.routine[place] for place in self.places]

    def checks(self) -> dict[str, Any]:
        """Return when checks come, what opening one takes, and how power and light fail."""
        regime = self.regime
        listens, outages, opening = regime.listens, regime.outages, regime.hands.opening
        spells = regime.eyes.spells
        return {
            **self._grid(),
            **self._forgetting(),
            "listens": listens is not None,
            "hears": listens.hears if listens else 0.0,
            "reacts_in": self.lists.law(listens.reacts_in if listens else None),
            "up": self.lists.law(outages.up if outages else None),
            "down": self.lists.law(outages.down if outages else None),
            "clear": self.lists.law(spells.clear if spells else None),
            "spell_lasts": self.lists.law(spells.lasts if spells else None),
            "opening_takes": opening.takes,
            "opening_presses": opening.presses,
            "first_quiet": self.lists.add(regime.quiet_hours),
            "n_quiet": len(regime.quiet_hours),
        }

    def _grid(self) -> dict[str, Any]:
        """Return when checks are due, and how late they come."""
        checks = self.regime.checks
        drawn = checks.first == "random" and not checks.at
        return {
            "first": NONE if drawn else 0 if checks.at else checks.first,
            "default_every": or_never(checks.every),
            "n_times": len(checks.seconds_due),
            "time_of_week": checks.seconds_due,
            "is_regular": not checks.interval_windows and not checks.at,
            "comes_late": checks.jitter is not None or checks.late is not None,
            "jitter": checks.jitter or 0,
            "lateness": self.lists.law(checks.late, least=0),
            "first_check_window": self.lists.add(during for during, _ in checks.interval_windows),
            "n_check_windows": len(checks.interval_windows),
            "window_every": [or_never(every) for _, every in checks.interval_windows],
        }

    def _forgetting(self) -> dict[str, Any]:
        """Return how checks are forgotten, and in which windows otherwise."""
        checks = self.regime.checks
        windows = checks.forgetful_windows
        chances = [checks.forgets, *(chance for _, chance in windows)]
        return {
            "first_forget_window": self.lists.add(during for during, _ in windows),
            "n_forget_windows": len(windows),
            "forget_step": [draws.error_step(chance) for chance in chances],
        }

    def late_checks(self) -> int:
        """Return how many checks can be due and yet to come.

        One of each interval, as jitter is below them all, and those that come a second later, as
        the one before took their second.
        """
        return 2 + 2 * len(self.regime.checks.interval_windows)

    # The routine

    def routine(self) -> dict[str, Any]:
        """Return the steps and what their conditions test."""
        whens, watched = [step.when for step in self.steps if step.when], self.watched or ()
        steps = by_field([self._step(step) for step in (*self.steps, Step(do=NOTHING))])
        first_watched = len(self.tests)
        self.tests += ((self._sight(name), int(LEAST), int(MOST)) for name in watched)
        return {
            **steps,
            "passes": self.regime.passes,
            "n_steps": len(self.steps),
            "looks_at_weight": any(when.weight for when in whens),
            "looks_at_discipline": any(when.discipline for when in whens),
            "heeds_calls": any(steps["looks_for_calls"]) or "calling" in watched,
            "is_stepped": self.watched is not None,
            "first_watched": first_watched,
            "n_watched": len(watched),
            **self._at_once(steps),
            **named(("test_of", "test_least", "test_most"), self.tests),
            **named(("test_overlooks", "test_imagines"), [*map(self._errors_of, self.tests)]),
            "first_clock": self.lists.add(self.clocks),
            "n_clocks": len(self.clocks),
            "sight_of_clock": self.level_sights.stop,
        }

    def _step(self, step: Step) -> dict[str, Any]:
        when, first_test = step.when or When.model_construct(), len(self.tests)
        self.tests += self._tests(when)
        first_look = len(self.tests)
        self.tests += self._looks(step.look)
        return {
            "do": [*self.model.care, NOTHING].index(step.do or NOTHING),
            "times": 0 if step.look else step.repeat,
            "has_when": step.when is not None,
            "looks_for_calls": when.calling is not None or "calling" in step.look,
            "first_test": first_test,
            "n_tests": first_look - first_test,
            "first_look": first_look,
            "n_looks": len(self.tests) - first_look,
            "of_form": [
                (when.stage is None or when.stage.holds(form.stage))
                and (when.form is None or when.form.holds(name))
                for name, form in self.model.forms.items()
            ],
        }

    def _tests(self, when: When) -> Iterator[tuple[int, int, int]]:
        """Yield the place of what is looked at, and the bounds of what must be seen there."""
        for place, name in enumerate(SIGHTS):
            wanted = getattr(when, name)
            if isinstance(wanted, Bound):
                yield place, *bounds(wanted)
            elif wanted is not None:
                yes = int(wanted in (True, "on"))
                yield place, yes, yes
        for need, comparison in when.levels.items():
            yield self.level_sights[self.needs.index(need)], *bounds(comparison)
        if when.clock is not None:
            yield self.level_sights.stop + len(self.clocks), 1, 1
            self.clocks.append(when.clock)

    def _looks(self, names: Iterable[str]) -> Iterator[tuple[int, int, int]]:
        """Yield tests that always hold of the signals of these names that the eyes can mistake."""
        for name in names:
            if name in self.needs or name in SIGNALS:
                yield self._sight(name), int(LEAST), int(MOST)

    def _sight(self, name: str) -> int:
        """Return the place of a signal in what is seen."""
        known = name in self.needs
        return self.level_sights[self.needs.index(name)] if known else SIGHTS.index(name)

    def _at_once(self, steps: dict[str, list[Any]]) -> dict[str, Any]:
        """Return the conditions of all steps at once: sets of steps, a bit for each.

        The form with the signals lets some steps through, and so does each number of the waste, the
        weight, the discipline, a level or a clock window; what all let through is done. One more
        bit, for the end of the routine, passes everywhere. Eyes that err look step by step instead,
        as each look counts; so do long routines, and those that compare with large numbers. Code
        outside that chooses the steps needs none of this.
        """
        routine = self.steps
        large = any(MOST_SEEN <= bound < MOST for test in self.tests for bound in test[1:])
        is_stepped = self.watched is not None
        at_once = not (self.eyes_err or is_stepped or large or len(routine) > MOST_STEPS)
        n = len(routine) if at_once else 0
        places = [*map(SIGHTS.index, ("waste", "weight", "discipline")), *self.level_sights]
        places += (self.level_sights.stop + clock for clock in range(len(self.clocks)))
        numbers, signals = np.arange(MOST_SEEN + 1), np.arange(2 ** len(SWITCHES))
        by_number = np.full((len(places), len(numbers)), -1)
        by_signals = np.full((len(self.model.forms), len(signals)), 2 ** (n + 1) - 1)
        for step in range(n):
            bit, first = 1 << step, steps["first_test"][step]
            by_signals[np.logical_not(steps["of_form"][step])] &= ~bit
            for place, least, most in self.tests[first : first + steps["n_tests"][step]]:
                if place in places:
                    by_number[places.index(place), (numbers < least) | (numbers > most)] &= ~bit
                else:
                    shown = signals >> SWITCHES.index(SIGHTS[place]) & 1
                    by_signals[:, (shown < least) | (shown > most)] &= ~bit
        return {
            "looks_at_once": at_once,
            "steps_with_when": sum(1 << step for step in range(n) if routine[step].when) | 1 << n,
            "steps_by_signals": by_signals,
            "steps_by_number": by_number,
        }

    # Eyes

    def eyes(self) -> dict[str, Any]:
        """Return how the eyes err, and in which windows otherwise."""
        windows, spells = self.regime.eyes.windows, self.regime.eyes.spells
        during = spells.during if spells else None
        return {
            "first_eyes_window": self.lists.add(window.during for window in windows),
            "n_eyes_windows": len(windows),
            "first_spells_window": self.lists.add([during] if during else []),
            "n_spells_windows": int(during is not None),
            "error_step": self.error_steps,
        }

    def _errors_of(self, test: tuple[int, int, int]) -> tuple[int, int]:
        """Return the errors that a test may make where something is and where nothing is."""
        place = test[0]
        if place < len(SIGNALS):
            return place, len(SIGNALS) + place
        first = 2 * len(SIGNALS)
        if place in self.level_sights:
            misreads = first + self.level_sights.index(place)
            return misreads, misreads
        # weight, discipline and clock are always seen as they are
        none = len(self.error_steps) - 1
        return none, none

    def _error_steps(self) -> list[list[int]]:
        """Return what a trial of each error uses up: usually and in each window of the eyes.

        If there are spells, what it uses up in each of these in a spell follows. The eyes' errors
        come first, then those whose steps are elsewhere, of the hands and of forgetting; the last
        error is one that never happens.
        """
        eyes = self.regime.eyes
        n, agree = eyes.looks.of, eyes.looks.agree
        steps = []
        for rate, vote in (("overlooks", draws.effective_overlooks),
                           ("imagines", draws.effective_imagines)):  # fmt: skip
            for signal in SIGNALS:
                rates = [getattr(getattr(part, signal), rate) for part in self._parts_of_eyes()]
                steps.append(self._in_each_setting(rates, partial(vote, of=n, agree=agree)))
        for need in self.needs:
            parts = [part.levels.get(need) for part in self._parts_of_eyes()]
            rates = [eye.misreads if eye else None for eye in parts]
            steps.append(self._in_each_setting(rates, partial(draws.effective_misreads, of=n)))
        none = [0] * len(steps[0])
        return [*steps, *([none] * (len(self.model.care) + 1)), none]

    def _parts_of_eyes(self) -> Iterator[Eyes | EyesWindow | Spells]:
        """Yield the parts of a file that say how the eyes err: usually, in windows, in spells."""
        eyes = self.regime.eyes
        yield eyes
        yield from eyes.windows
        if eyes.spells:
            yield eyes.spells

    def _in_each_setting(
        self, rates: Sequence[float | None], vote: Callable[[float], float]
    ) -> list[int]:
        """Return the steps of an error with these rates, one of each part of the eyes.

        Args:
            rates: None where a part does not name it.
            vote: what the looks of an observation make of a rate, but for that of spells, in which
                all of them share the light.
        """
        n = 1 + len(self.regime.eyes.windows)
        by_clock, in_spells = rates[:n], rates[n:]
        usual = by_clock[0] or 0.0
        steps = [draws.error_step(vote(usual if rate is None else rate)) for rate in by_clock]
        for rate in in_spells:
            steps += steps if rate is None else [draws.error_step(rate)] * n
        return steps
