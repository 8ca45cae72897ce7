"""Why care misses happen over many lives, against the misses that the batch itself counts."""

from __future__ import annotations

import numpy as np
import pytest

import petsim
from petsim.life.causes import main_reason, misses
from petsim.life.history import replay
from petsim.life.policy import Policy
from petsim.life.reference import ReferenceEngine
from petsim.study import batch as of_batch
from petsim.study.reasons import ORDER, MissReasons
from petsim.study.stats import mean_interval

MODEL = "lamplet-quick"


class Idle(Policy):
    """Never acts."""

    def check(self, look):
        yield from ()


@pytest.fixture(scope="module")
def batch() -> petsim.Batch:
    return petsim.batch(MODEL, "camera-rig", lives=60, workers=1)


def test_reasons_are_those_of_each_miss_and_add_up_to_all(batch) -> None:
    reasons = batch.miss_reasons(6)
    assert (reasons.model, reasons.regime, reasons.seed) == (MODEL, "camera-rig", 0)
    assert reasons.causes == batch.model.causes
    by_cause = reasons.misses.sum(axis=2)
    for place, cause in enumerate(reasons.causes):
        assert (by_cause[:, place] == batch.values[f"misses.{cause}"][:6]).all()
    assert reasons.misses.sum() > 0
    expected = np.zeros_like(reasons.misses)
    for number in range(6):
        life = petsim.simulate(MODEL, "camera-rig", life=number)
        for miss in misses(replay(life)):
            place = ORDER.index(main_reason(miss, life.model))
            expected[number, reasons.causes.index(miss.cause), place] += 1
    assert (reasons.misses == expected).all()


def test_means_add_up_and_have_t_intervals() -> None:
    counts = np.zeros((4, 2, len(ORDER)), dtype=np.int64)
    counts[:, 0, ORDER.index("power out")] = [3, 1, 0, 0]
    counts[:, 1, ORDER.index("slipped")] = [1, 1, 1, 2]
    reasons = MissReasons("a", "b", 0, ("hunger", "waste"), counts)
    assert reasons.mean() == mean_interval([4, 2, 1, 2])
    assert reasons.mean("power out") == mean_interval([3, 1, 0, 0])
    assert reasons.mean(None, "waste") == mean_interval([1, 1, 1, 2])
    assert reasons.mean("power out", "waste").estimate == 0
    assert reasons.first(2).mean() == mean_interval([4, 2])
    with pytest.raises(ValueError, match="lightning"):
        reasons.mean("lightning")


@pytest.fixture
def lived(monkeypatch) -> list[int]:
    """The numbers of the lives that the reference engine lives with their trace."""
    numbers: list[int] = []
    live = ReferenceEngine.live

    def counted(self, seed, number, *, traced):
        numbers.extend([number] if traced else [])
        return live(self, seed, number, traced=traced)

    monkeypatch.setattr(ReferenceEngine, "live", counted)
    return numbers


def test_only_lives_with_a_miss_are_lived_again_and_once(batch, lived) -> None:
    fresh = petsim.batch(MODEL, "camera-rig", lives=60, workers=1)
    reasons = fresh.miss_reasons(8)
    assert fresh.miss_reasons(8) is reasons
    assert len(reasons) == 8
    assert lived == [n for n in range(8) if batch.values["misses"][n]]
    assert len(lived) < 8


def test_hours_and_reasons_of_a_policy_are_of_the_same_lives(monkeypatch, lived) -> None:
    monkeypatch.setattr(of_batch, "LOGGED", {"compiled": 3, "reference": 3})
    monkeypatch.setattr(of_batch, "is_sendable", lambda _: False)
    result = petsim.batch(MODEL, Idle, lives=4, days=1, workers=1)
    lived.clear()
    hours, reasons = result.miss_hours(), result.miss_reasons()
    assert lived == [0, 1, 2]
    assert len(hours) == len(reasons) == 3
    assert hours.misses.sum() == reasons.misses.sum() == result.values["misses"][:3].sum() > 0


def test_a_comparison_shares_its_traced_lives_out(monkeypatch) -> None:
    asked = []

    def noted(self, lives):
        asked.append((self.regime, lives))
        counts = np.zeros((lives, 1, len(ORDER)), dtype=np.int64)
        return MissReasons("a", self.regime, 0, ("waste",), counts)

    monkeypatch.setattr(petsim.Batch, "miss_reasons", noted)
    regimes = ["ten-minute", "hourly", "hands-off", "staged", "thirty-minute", "school-day",
               "camera-rig"]  # fmt: skip
    for many, lives in ((1, 40), (2, 20), (7, 8)):
        asked.clear()
        result = petsim.compare(MODEL, regimes[:many], lives=2, days=0.1, workers=1)
        traced = result.miss_reasons()
        assert asked == [(regime, lives) for regime in regimes[: min(many, 6)]]
        assert [each.regime for each in traced] == regimes[: min(many, 6)]
