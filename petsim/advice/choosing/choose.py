"""The cheapest way to look after a pet that still reaches the odds that are asked for.

Many candidates race on the same lives; the cheapest that is left is confirmed on lives of the next
seed, which no candidate was chosen by.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from petsim._version import __version__
from petsim.advice.choosing.costs import Cost, read_cost
from petsim.advice.choosing.promising import Seen, Shares, look_where_promising
from petsim.advice.choosing.racing import (
    ERROR,
    FIRST,
    On,
    Race,
    Sample,
    Standing,
    Try,
    confirm,
    difference_of_costs,
    difference_of_worths,
    in_order,
    lives_for,
    race,
    worth_interval,
)
from petsim.advice.choosing.space import Candidate, Space
from petsim.errors import ArgumentError, ensure_known
from petsim.life.drawn import Drawn
from petsim.life.simulate import CaretakerSource, ModelSource
from petsim.spec import defaults
from petsim.spec.arguments import count_of, is_number
from petsim.spec.choices import PROMISING
from petsim.spec.regime import Regime
from petsim.study.aims import AimSource
from petsim.study.evaluate import Evaluation, Evaluator
from petsim.study.stats import Interval, as_data, mean_interval

PRECISION = 0.01
"""The half-width to which the odds of what matters are found out, if nothing else is asked."""
TOGETHER = 16
"""Candidates whose lives are handed out together."""
SEEDS = 2**64


@dataclass(frozen=True)
class Contender:
    """What is known of a candidate: what it is worth and costs by its lives, and where it stands.

    candidate: what it is. odds: of the aim, or its worth, and cost: the mean of a life, both with
    their 95 % intervals. lives: how many it has lived. more: by how much it costs more than the one
    was chosen, or than the best, over the lives of both, and gained: by how much its odds are
    better. standing: where the race left it.
    """

    candidate: Candidate
    odds: Interval
    cost: Interval
    lives: int
    more: Interval
    gained: Interval
    standing: Standing

    def as_dict(self) -> dict[str, Any]:
        """It as plain data."""
        return {
            "values": self.candidate.texts,
            "steps": [*self.candidate.words],
            "odds": self.odds._asdict(),
            "cost": as_data(self.cost._asdict()),
            "more": as_data(self.more._asdict()),
            "gained": as_data(self.gained._asdict()),
            "lives": self.lives,
            "standing": self.standing.value,
        }


@dataclass(frozen=True)
class Confirmed:
    """What fresh lives say of a candidate.

    odds: of the aim, over all models, with an interval of a level. cost: with its 95 % interval.
    holds: whether the odds are what was asked for. evaluation: the lives.
    """

    number: int
    odds: Interval
    level: float
    cost: Interval
    holds: bool
    evaluation: Evaluation

    @property
    def regime(self) -> Regime:
        """The regime as it is with what was chosen."""
        return self.evaluation.batches[0].caretaker.regime

    def as_dict(self) -> dict[str, Any]:
        """It as plain data."""
        odds = zip(self.evaluation.batches, self.evaluation.shares(), strict=True)
        return {
            "candidate": self.number,
            "odds": self.odds._asdict(),
            "level": self.level,
            "cost": as_data(self.cost._asdict()),
            "holds": self.holds,
            "by_model": [{"model": b.model.id, **share._asdict()} for b, share in odds],
        }


@dataclass(frozen=True, eq=False)
class Choice(Drawn):
    """The cheapest of many candidates, as fresh lives confirm it, and what is known of the others.

    evaluator: the models, the regime, the aim and the seed. cost: what is to be cheap. at_least,
    on: the odds to reach, if any, and by what. space: all that could be chosen. candidates: those
    that were looked at. tries: those that were tried on fresh lives, in order; if none holds, the
    best of all comes last. reference: the number of what the others are compared with, which was
    chosen, or else is the best. lives: the most of each in the search, and how many are fresh.
    rounds: how often the steps around the best were tried. interrupted: whether the search is not
    at its end.
    """

    evaluator: Evaluator
    cost: Cost
    at_least: float | None
    on: On
    space: Space
    candidates: tuple[Contender, ...]
    tries: tuple[Confirmed, ...]
    reference: int
    lives: int
    fresh_seed: int
    rounds: int
    interrupted: bool

    @property
    def chosen(self) -> Confirmed | None:
        """What was chosen; None if nothing is shown to reach what was asked for."""
        return next((each for each in self.tries if each.holds), None)

    @property
    def regime(self) -> Regime | None:
        """The regime that was chosen, if one was."""
        return self.chosen.regime if self.chosen else None

    @cached_property
    def ranking(self) -> list[int]:
        """The numbers of all: the reference, the others by their cost, what falls short at last."""

        def by(number: int) -> tuple[bool, bool, float]:
            of = self.candidates[number]
            short = of.standing is Standing.SHORT
            return number != self.reference, short, -of.odds.estimate if short else of.more.estimate

        return sorted(range(len(self.candidates)), key=by)

    @cached_property
    def alike(self) -> list[int]:
        """Those of which every life came out as under what was chosen."""
        return [n for n in self._others if self._is_alike(n)]

    @cached_property
    def as_cheap(self) -> list[int]:
        """Those that may cost as little as what was chosen, and may reach the odds asked for."""
        return [
            n
            for n in self._others
            if self._more(n).low <= 0 <= self._more(n).high and not self._is_alike(n)
        ]

    @cached_property
    def cheaper(self) -> list[int]:
        """Those that are cheaper, and may reach the odds asked for, as is not shown."""
        return [n for n in self._others if self._more(n).high < 0]

    @property
    def _others(self) -> list[int]:
        at_least = 0.0 if self.at_least is None else self.at_least
        return [
            n
            for n in self.ranking
            if n != self.reference and self.candidates[n].odds.high >= at_least
        ]

    def _is_alike(self, number: int) -> bool:
        return self._more(number) == self.candidates[number].gained == (0, 0, 0)

    def _more(self, number: int) -> Interval:
        return self.candidates[number].more

    @property
    def lives_in_all(self) -> int:
        """How many lives were simulated, those of each model, in the search and afterwards."""
        searched = sum(each.lives for each in self.candidates)
        return (searched + self.lives * len(self.tries)) * len(self.evaluator.models)

    def __repr__(self) -> str:
        found = "none chosen" if self.chosen is None else f"chosen {self.chosen.number}"
        return (
            f"<choice of {len(self.candidates)} candidates under {self.evaluator.regime}: {found}>"
        )

    def as_dict(self) -> dict[str, Any]:
        """It as plain data."""
        weighted = zip(self.evaluator.models, self.evaluator.weights, strict=True)
        return {
            "petsim": __version__,
            "models": [{"model": model.id, "weight": weight} for model, weight in weighted],
            "regime": self.evaluator.regime,
            "aim": self.evaluator.aim.text,
            "at_least": self.at_least,
            "on": self.on.value,
            "cheapest": str(self.cost),
            "seed": self.evaluator.seed,
            "fresh_seed": self.fresh_seed,
            "until": str(self.evaluator.span),
            "lives": self.lives,
            "lives_in_all": self.lives_in_all,
            "cells": self.space.number_of_cells,
            "sample": self.space.sample,
            "rounds": self.rounds,
            "interrupted": self.interrupted,
            "chosen": self.chosen.number if self.chosen else None,
            "tries": [each.as_dict() for each in self.tries],
            "alike": self.alike,
            "as_cheap": self.as_cheap,
            "cheaper": self.cheaper,
            "candidates": [each.as_dict() for each in self.candidates],
        }


def choose(
    model: ModelSource | Sequence[ModelSource],
    regime: CaretakerSource,
    vary: Mapping[str, Any] | None = None,
    *,
    at_least: float | None = None,
    cheapest: str = "presses",
    on: str = "bound",
    steps: bool = False,
    sample: str | None = None,
    points: int | None = None,
    weights: Sequence[float] | None = None,
    aim: AimSource | None = None,
    precision: float | None = None,
    lives: int | None = None,
    seed: int = 0,
    until: str | None = None,
    days: float | None = None,
    workers: int | None = None,
    check_limit: float = defaults.CHECK_LIMIT,
    progress: bool = False,
) -> Choice:
    """Find the cheapest way to look after a pet that still reaches the odds asked for.

    Args:
        model: a model as for `batch`, or a list of several guesses at the pet.
        regime: as for `batch`: what is changed.
        vary: what varies, as for `sweep`; may be left out with `steps`.
        at_least: the odds to reach, as a share; without them, simply the cheapest is found.
        cheapest: what is to be cheap: a figure such as "presses" or "checks" a day, a column of the
            table of lives, or a sum such as "checks + 0.01*level_s.hunger.0".
        on: what has to reach the odds: "bound", the lower end of their interval, or "estimate".
        steps: whether to search the routine, too: each step in or out, neighbours swapped, each
            threshold one up or down, each edge of a clock window half an hour earlier or later,
            until nothing helps.
        sample, points: look at this number of points only: "latin" or "sobol", which are even, or
            "tpe", where it seems promising, which needs Optuna. Of more than 500 cells, by default
            256 points of a Latin sample are looked at.
        weights: how much each model is believed; by default all alike.
        aim: as for an `Evaluator`; by default the first model's.
        precision: the half-width to which odds near those asked for are known in the end, by
            default 0.01; or instead
        lives: the most lives of each candidate, at least 100, and how many confirm the choice.
        seed: of the lives of the search; those that confirm it have the next one.
        until, days, workers, check_limit: as for `batch`.
        progress: whether a terminal shows how many lives are simulated, and the time left.

    Interrupted, it returns what is known by then.

    Raises:
        SpecError, PolicyError: as for `sweep`.
        ArgumentError: as for `sweep` and `Evaluator`; an argument is out of its range; both
            precision and lives are given; steps are of a Python policy.
    """
    from tqdm import tqdm

    target = _target(at_least)
    ensure_known("on", on, [each.value for each in On])
    most = _lives(precision, lives, 0.5 if target is None else target)
    how: dict[str, Any] = {
        "weights": weights,
        "until": until,
        "days": days,
        "aim": aim,
        "workers": workers,
        "check_limit": check_limit,
    }
    evaluator = Evaluator(model, regime, seed=seed, **how)
    fresh = Evaluator(evaluator.models, regime, seed=(evaluator.seed + 1) % SEEDS, **how)
    space = Space(evaluator.models, regime, vary or {}, steps=steps, sample=sample, points=points)
    cost = read_cost(cheapest, evaluator.models)
    shown = None if progress else True  # none in a pipe
    with tqdm(unit=" lives", leave=False, disable=shown) as bar:
        search = _Search(evaluator, fresh, space, cost, target, On(on), most, bar)
        try:
            search.run(points or defaults.SAMPLED_CANDIDATES, steps=steps)
        except KeyboardInterrupt:
            if not search.looked_at:
                raise
            search.interrupted = True
    return search.choice()


class _Search:
    """Candidates, what is known of each by now, and how more is found out."""

    def __init__(
        self,
        evaluator: Evaluator,
        fresh: Evaluator,
        space: Space,
        cost: Cost,
        target: float | None,
        on: On,
        lives: int,
        bar: Any,
    ) -> None:
        self.evaluator, self.fresh, self.space, self.cost = evaluator, fresh, space, cost
        self.target, self.on, self.lives, self.bar = target, on, lives, bar
        self.candidates: list[Candidate] = []
        self.samples: list[Sample | None] = []
        self.standings: list[Standing] = []
        self.tries: list[Confirmed] = []
        self.rounds, self.interrupted = 0, False
        self._numbers: dict[str, int] = {}

    def run(self, points: int, *, steps: bool) -> None:
        """Look for the cheapest, and confirm it."""
        if self.space.sample == PROMISING:
            look_where_promising(len(self.space.axes), points, self._see)
        else:
            self._numbered(self.space.candidates())
        self._race([*range(len(self.candidates))])
        if steps:
            self._walk(self._leader([*range(len(self.candidates))]))
        self._confirm()

    # What is known

    @property
    def looked_at(self) -> list[int]:
        """The numbers of the candidates of which some lives are known."""
        return [n for n, sample in enumerate(self.samples) if sample is not None]

    def _numbered(self, candidates: Iterable[Candidate]) -> list[int]:
        """The number of each candidate, which is a new one if it was never met."""
        numbers = []
        for candidate in candidates:
            number = self._numbers.setdefault(candidate.key, len(self.candidates))
            if number == len(self.candidates):
                self.candidates.append(candidate)
                self.samples.append(None)
                self.standings.append(Standing.IN)
            numbers.append(number)
        return numbers

    def _of(self, number: int) -> Sample:
        sample = self.samples[number]
        assert sample is not None
        return sample

    def _reaches(self, number: int) -> bool:
        return bool(in_order([self._of(number)], self.target, self.on))

    def _leader(self, numbers: Sequence[int]) -> int:
        """The cheapest whose lives so far reach the target; if none does, the one worth most."""
        known = [self._of(number) for number in numbers]
        order = in_order(known, self.target, self.on)
        return numbers[order[0]] if order else max(numbers, key=self._promise)

    def _promise(self, number: int) -> tuple[int, float, float]:
        """What is compared if nothing reaches the target: after the most lives, the worth."""
        sample = self._of(number)
        return len(sample), sample.worth, -sample.cost

    # Living lives

    def _look(self, numbers: Sequence[int], lives: int) -> list[Sample]:
        """So many lives of the search of each candidate."""
        for some in _groups(numbers, TOGETHER):
            before = sum(len(sample) for n in some if (sample := self.samples[n]) is not None)
            evaluations = self.evaluator.evaluate_each(
                (self.candidates[n].changes for n in some), lives
            )
            for number, evaluation in zip(some, evaluations, strict=True):
                self.samples[number] = self._sample(evaluation)
            self.bar.update(max(0, lives * len(some) - before))
        return [self._of(number) for number in numbers]

    def _sample(self, evaluation: Evaluation) -> Sample:
        weights = evaluation.weights
        worths = np.array(weights) @ evaluation.values()
        return Sample(worths, self.cost.values([b.values for b in evaluation.batches], weights))

    def _see(self, points: Sequence[Shares]) -> list[Seen]:
        """What a few lives say of points of what varies."""
        numbers = self._numbered(self.space.at(shares) for shares in points)
        target = 0.0 if self.target is None else self.target
        return [Seen(each.cost, target - each.worth) for each in self._look(numbers, FIRST)]

    def _race(self, numbers: Sequence[int]) -> None:
        """Have candidates race for the least cost or, if all fall short, for the most worth."""

        def look(places: Sequence[int], lives: int) -> list[Sample]:
            return self._look([numbers[place] for place in places], lives)

        def look_at_worth(places: Sequence[int], lives: int) -> list[Sample]:
            return [Sample(each.worths, -each.worths) for each in look(places, lives)]

        def seen(race: Race, lives: int) -> None:
            for number, standing in zip(numbers, race.standings, strict=True):
                self.standings[number] = standing
            foresee(race, lives)

        def foresee(race: Race, lives: int) -> None:
            """Set how many lives there are at most from now on, for the time left."""
            still = race.standings.count(Standing.IN)
            self.bar.total = self.bar.n + still * (self.lives - lives // 2) if lives else None

        self.bar.total = self.bar.n + len(numbers) * FIRST
        ran = race(look, len(numbers), self.target, self.lives, seen)
        if all(standing is Standing.SHORT for standing in ran.standings):
            race(look_at_worth, len(numbers), None, self.lives, foresee)

    def _walk(self, best: int) -> None:
        """Go on from the best to what is next to it and better, until nothing is."""
        while True:
            self.rounds += 1
            near = self._numbered(self.space.next_to(self.candidates[best]))
            unknown = [number for number in dict.fromkeys(near) if self.samples[number] is None]
            if not unknown:
                return
            self._race([best, *unknown])
            leader = self._leader([best, *unknown])
            if leader == best or not self._is_better(leader, best):
                return
            best = leader

    def _is_better(self, one: int, other: int) -> bool:
        """Whether one is shown to cost less or, where the other falls short, to be worth more."""
        if self._reaches(other):
            return difference_of_costs(self._of(one), self._of(other)).high < 0
        gained = difference_of_worths(self._of(one), self._of(other))
        return self._reaches(one) or gained.low > 0

    def _confirm(self) -> None:
        """Try the cheapest on fresh lives, one after another, and the best if none holds."""
        evaluations: dict[int, Evaluation] = {}

        def look(numbers: Sequence[int], lives: int) -> list[Sample]:
            self.bar.total = self.bar.n + lives * len(numbers)
            for number in numbers:
                evaluations[number] = self.fresh.evaluate(self.candidates[number].changes, lives)
            self.bar.update(lives * len(numbers))
            return [self._sample(evaluations[number]) for number in numbers]

        order = in_order([*map(self._of, range(len(self.samples)))], self.target, self.on)
        for each in confirm(look, order, self.target, self.on, self.lives):
            self.tries.append(self._confirmed(each, evaluations[each.candidate]))
            most = max(len(self._of(number)) for number in self.looked_at)
            self._look([each.candidate], most)  # as all others are held against it
        if not any(each.holds for each in self.tries):
            best = max(self.looked_at, key=self._promise)
            self.tries = [each for each in self.tries if each.number != best]
            [sample] = look([best], self.lives)
            last = Try(best, worth_interval(sample.worths), 1 - ERROR, holds=False)
            self.tries.append(self._confirmed(last, evaluations[best]))

    def _confirmed(self, tried: Try, evaluation: Evaluation) -> Confirmed:
        number, odds, level, holds = tried
        cost = mean_interval(self._sample(evaluation).costs)
        return Confirmed(number, odds, level, cost, holds, evaluation)

    # What came of it

    def choice(self) -> Choice:
        """What is known by now."""
        looked_at = self.looked_at
        reference = self.tries[-1].number if self.tries else self._leader(looked_at)
        places = {number: place for place, number in enumerate(looked_at)}
        return Choice(
            self.evaluator,
            self.cost,
            self.target,
            self.on,
            self.space,
            tuple(self._known(number, reference) for number in looked_at),
            tuple(replace(each, number=places[each.number]) for each in self.tries),
            places[reference],
            self.lives,
            self.fresh.seed,
            self.rounds,
            self.interrupted,
        )

    def _known(self, number: int, reference: int) -> Contender:
        sample = self._of(number)
        return Contender(
            self.candidates[number],
            worth_interval(sample.worths),
            mean_interval(sample.costs),
            len(sample),
            difference_of_costs(sample, self._of(reference)),
            difference_of_worths(sample, self._of(reference)),
            self.standings[number],
        )


def _groups(numbers: Sequence[int], size: int) -> Iterable[Sequence[int]]:
    return (numbers[first : first + size] for first in range(0, len(numbers), size))


def _target(at_least: float | None) -> float | None:
    if at_least is None:
        return None
    if not is_number(at_least) or not 0 < at_least < 1:
        raise ArgumentError(
            f"at_least: {at_least!r}; expected odds above 0 and below 1, such as 0.95"
        )
    return float(at_least)


def _lives(precision: float | None, lives: int | None, share: float) -> int:
    """The most lives of each candidate, as they are asked for or as a precision takes them."""
    if lives is not None:
        if precision is not None:
            raise ArgumentError("precision: says how many lives; expected either of them")
        if count_of("lives", lives) < FIRST:
            raise ArgumentError(f"lives: {lives}; expected at least {FIRST}")
        return int(lives)
    wanted = PRECISION if precision is None else precision
    if not is_number(wanted) or not 0 < wanted < 0.5:
        raise ArgumentError(
            f"precision: {wanted!r}; expected a half-width between 0 and 0.5, such as 0.01"
        )
    return lives_for(wanted, share)
