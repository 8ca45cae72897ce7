"""The plain model and petsim tell the same story: two programs that share no line of code.

Both live the same number of lives, on fixed seeds. A share or a mean of the one may differ from
that of the other by 4.5 standard errors of the difference: for normal estimates, a chance of 7 in a
million a comparison.
"""

from collections.abc import Sequence
from math import sqrt
from typing import NamedTuple

import numpy as np
import pandas as pd
import pytest

import petsim
from tests.bench.plain_model import ADULT, FORMS, MINUTE, Lamplet, live

LIVES = 150
ERRORS = 4.5
ADULT_FORMS = [form for form, (stage, _) in FORMS.items() if stage is ADULT]


class Pair(NamedTuple):
    """The same regime in the plain model and in petsim."""

    plain: list[Lamplet]
    ours: pd.DataFrame


@pytest.fixture(
    scope="module",
    params=[
        ("ten-minute", 10, "outcome"),
        ("thirty-minute", 30, "outcome"),
        ("hourly", 60, "outcome"),
        ("ten-minute", 10, "death"),
    ],
    ids=lambda param: f"{param[0]} to {param[2]}",
)
def pair(request: pytest.FixtureRequest) -> Pair:
    regime, minutes, until = request.param
    return Pair(
        [live(seed, minutes * MINUTE, until) for seed in range(LIVES)],
        petsim.batch("lamplet", regime, lives=LIVES, seed=1, until=until, workers=1).lives,
    )


def agree(plain: Sequence[float], ours: Sequence[float]) -> None:
    a, b = np.asarray(plain, float), np.asarray(ours, float)
    error = sqrt(a.var(ddof=1) / len(a) + b.var(ddof=1) / len(b))
    assert abs(a.mean() - b.mean()) <= ERRORS * error


@pytest.mark.parametrize("column", ["outcome", "died"])
def test_outcomes_and_deaths_have_the_same_odds(pair: Pair, column: str) -> None:
    plain = pd.Series([getattr(life, column) for life in pair.plain])
    counts = pd.DataFrame({"plain": plain.value_counts(), "ours": pair.ours[column].value_counts()})
    counts = counts.fillna(0)
    pooled = counts.sum(axis=1) / (2 * LIVES)
    error = (pooled * (1 - pooled) * 2 / LIVES) ** 0.5
    difference = (counts["plain"] - counts["ours"]).abs() / LIVES
    assert (difference <= ERRORS * error).all(), counts


def test_lives_are_as_long(pair: Pair) -> None:
    agree([life.env.now for life in pair.plain], pair.ours["end_s"])


@pytest.mark.parametrize("cause", ["hunger", "mood", "waste", "illness", "lights"])
def test_as_many_misses_of_each_cause(pair: Pair, cause: str) -> None:
    column = f"misses.{cause}"
    agree([life.counts[column] for life in pair.plain], pair.ours[column])


def test_as_many_lapses(pair: Pair) -> None:
    agree([life.counts["lapses"] for life in pair.plain], pair.ours["lapses"])


@pytest.mark.parametrize("action", ["feed", "play", "clean", "dose", "lights_off"])
def test_as_many_actions_that_change_something(pair: Pair, action: str) -> None:
    done, wasted, lost = (pair.ours[f"{fate}.{action}"] for fate in ("done", "wasted", "lost"))
    agree([life.counts[action] for life in pair.plain], done - wasted - lost)


def test_as_many_games_lost(pair: Pair) -> None:
    agree([life.counts["lost"] for life in pair.plain], pair.ours["lost.play"])


def test_as_many_fair_reprimands(pair: Pair) -> None:
    fair = pair.ours["done.reprimand"] - pair.ours["wasted.reprimand"] - pair.ours["unfair"]
    agree([life.counts["reprimand"] for life in pair.plain], fair)


@pytest.mark.parametrize(
    ("seen", "at"), [("discipline", "discipline_at"), ("adult_weight", "weight_at")]
)
def test_as_disciplined_and_as_heavy_on_growing_up(pair: Pair, seen: str, at: str) -> None:
    grown = pair.ours[pair.ours["outcome"].isin(ADULT_FORMS)]
    agree(
        [getattr(life, seen) for life in pair.plain if life.outcome in ADULT_FORMS],
        [life[f"{at}.{life['outcome']}"] for _, life in grown.iterrows()],
    )
