"""The cheapest way to look after a pet that still reaches the odds that are asked for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from petsim.advice.choosing.choice import Choice
from petsim.advice.choosing.costs import read_cost
from petsim.advice.choosing.racing import (
    FIRST,
    On,
    lives_for,
)
from petsim.advice.choosing.search import Search
from petsim.advice.choosing.space import Space
from petsim.errors import ArgumentError, ensure_known
from petsim.life.simulate import CaretakerSource, ModelSource
from petsim.spec import defaults
from petsim.spec.arguments import count_of, is_number
from petsim.study.aims import AimSource
from petsim.study.evaluate import Evaluator

PRECISION = 0.01
"""The half-width to which the odds of what matters are found out, if nothing else is asked."""
SEEDS = 2**64


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
        search = Search(evaluator, fresh, space, cost, target, On(on), most, bar)
        try:
            search.run(points or defaults.SAMPLED_CANDIDATES, steps=steps)
        except KeyboardInterrupt:
            if not search.looked_at:
                raise
            search.interrupted = True
    return search.choice()


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
