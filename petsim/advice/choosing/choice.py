"""What came of a search for the cheapest care: the one chosen, and what is known of the others."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

from petsim._version import __version__
from petsim.advice.choosing.costs import Cost
from petsim.advice.choosing.racing import (
    On,
    Standing,
)
from petsim.advice.choosing.space import Candidate, Space
from petsim.life.drawn import Drawn
from petsim.spec.regime import Regime
from petsim.study.evaluate import Evaluation, Evaluator
from petsim.study.stats import Interval, as_data


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
