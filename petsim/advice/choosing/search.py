"""The search for the cheapest care: what is known of each candidate by now, and what is lived next.

Many candidates race on the same lives; the cheapest that is left is confirmed on lives of the next
seed, which no candidate was chosen by.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from petsim.advice.choosing.choice import Choice, Confirmed, Contender
from petsim.advice.choosing.costs import Cost
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
    race,
    worth_interval,
)
from petsim.advice.choosing.space import Candidate, Space
from petsim.spec.choices import PROMISING
from petsim.study.evaluate import Evaluation, Evaluator
from petsim.study.stats import mean_interval

TOGETHER = 16
"""Candidates whose lives are handed out together."""


class Search:
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
