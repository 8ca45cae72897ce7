"""When care misses happen, against the log entry by entry and against what the batch counts."""

from dataclasses import replace

import numpy as np
import pytest

import petsim
from petsim.errors import ArgumentError
from petsim.life.policy import Policy
from petsim.life.record import Event
from petsim.study import batch as of_batch
from petsim.study.hours import Half, Hours, hours_of
from petsim.study.stats import mean_interval

MODEL = "lamplet-quick"


class Idle(Policy):
    """Never acts."""

    def check(self, look):
        yield from ()


@pytest.fixture(scope="module")
def lives():
    return [petsim.simulate(MODEL, "thirty-minute", life=number) for number in range(12)]


def counted(misses) -> Hours:
    """Hours of lives of which no more is known than their misses."""
    misses = np.array(misses)
    return Hours("a", "b", 0, np.ones(misses.shape, dtype=bool), misses)


def test_hours_are_those_of_the_log(lives):
    hours = hours_of(lives)
    assert (hours.model, hours.regime, hours.seed, len(hours)) == (MODEL, "thirty-minute", 0, 12)
    expected = np.zeros_like(hours.misses)
    for place, life in enumerate(lives):
        for entry in life.entries:
            if entry.event == "miss":
                clock = life.clock(entry.t)
                expected[place, clock.day - 1, clock.hour] += 1
    assert (hours.misses == expected).all()
    assert hours.misses.sum() == sum(life.summary["misses"] for life in lives) > 0
    begins = lives[0].model.begins.clock
    for place, life in enumerate(lives):
        end = begins + life.summary["end_s"]
        reached = [begins < 3600 * (h + 1) and 3600 * h <= end for h in range(hours.rates.size)]
        assert (hours.followed[place].ravel() == reached).all()
    followed = hours.followed.sum(axis=0)
    np.testing.assert_allclose(hours.rates[followed > 0] * followed[followed > 0],
                               hours.misses.sum(axis=0)[followed > 0])  # fmt: skip
    assert np.isnan(hours.rates[followed == 0]).all()
    day, hour = hours.worst
    assert hours.rates[day, hour] == np.nanmax(hours.rates)
    own = hours.misses[hours.followed[:, day, hour], day, hour]
    assert hours.mean(day, hour) == mean_interval(own)


@pytest.mark.parametrize("after", [3, 15])
def test_a_miss_in_the_last_second_of_a_life_counts(lives, after):
    # born at 09:00, it ends at noon or at midnight
    end = after * 3600
    summary = lives[0].summary | {"end_s": end}
    hours = hours_of(
        [replace(lives[0], summary=summary, entries=(Event(end, "miss", "waste", 1),))]
    )
    assert hours.rates.ravel()[9 + after] == 1
    assert np.nansum(hours.rates) == 1


@pytest.mark.parametrize(("caretaker", "first"), [("hourly", 40), (Idle, 3)])
def test_a_batch_has_those_of_its_first_lives(monkeypatch, caretaker, first):
    monkeypatch.setattr(of_batch, "LOGGED", {"compiled": 40, "reference": 3})
    batch = petsim.batch(MODEL, caretaker, lives=50, seed=5, until="death", workers=1)
    hours = batch.miss_hours()
    assert len(hours) == first
    told = batch.lives.head(first)
    assert hours.misses.sum(axis=(1, 2)).tolist() == told["misses"].tolist()
    by_hour = hours.misses.sum(axis=1)
    for hour in range(24):
        assert by_hour[:, hour].tolist() == told[f"misses_at.{hour:02}"].tolist()
    assert len(petsim.batch(MODEL, caretaker, lives=2, workers=1).miss_hours()) == 2


def test_a_comparison_has_those_of_its_first_regimes(monkeypatch):
    compared = petsim.compare(MODEL, ["hourly", "camera-rig", "hands-off"], lives=3, workers=1)
    monkeypatch.setattr("petsim.study.compare.MOST_TIMED", 2)
    assert [hours.regime for hours in compared.miss_hours()] == ["hourly", "camera-rig"]


def test_a_comparison_has_the_same_lives_under_all(monkeypatch):
    monkeypatch.setattr(of_batch, "LOGGED", {"compiled": 4, "reference": 2})
    compared = petsim.compare(MODEL, ["hourly", Idle], lives=5, workers=1)
    assert [len(batch.miss_hours()) for batch in compared.batches] == [4, 2]
    assert [len(hours) for hours in compared.miss_hours()] == [2, 2]
    assert (compared.miss_hours()[0].misses == compared.batches[0].miss_hours().misses[:2]).all()


def test_half_of_the_misses_is_the_shortest_run():
    misses = np.zeros((2, 4, 24), dtype=int)
    misses[0, 1, 23] = misses[1, 2, 0] = 3
    misses[0, 0, 12] = misses[1, 3, 12] = 2
    hours = counted(misses)
    assert hours.half_by_hour[:2] == (23, 0)
    assert hours.half_by_hour.share.estimate == 6 / 10
    assert hours.half_by_day == Half(1, 2, hours.half_by_hour.share)
    alone = counted(misses[:1])
    assert alone.half_by_hour[:2] == (23, 23)
    assert np.isnan(alone.half_by_hour.share.low)


def test_there_is_a_life():
    with pytest.raises(ArgumentError, match="lives: none"):
        hours_of([])


def test_without_misses_there_is_no_half_of_them():
    none = counted(np.zeros((2, 3, 24), dtype=int))
    for half in ("half_by_hour", "half_by_day"):
        with pytest.raises(
            ArgumentError, match=r"^misses: none in any life; expected one or more$"
        ):
            getattr(none, half)
