"""Logs that are held against what counters should show, of simulated rigs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import petsim
from petsim.advice.expecting.against import counts_of
from petsim.advice.expecting.counting import ends_of_days
from petsim.advice.expecting.expect import usual
from petsim.errors import ArgumentError
from petsim.life.compiled import CompiledEngine
from petsim.life.counters import Counter, counters_of
from petsim.life.log.entries import Action, LoggedLife
from petsim.life.simulate import load_together
from petsim.spec.clocks import Begins
from petsim.spec.library import load_model, load_regime
from petsim.spec.quantities import DAY

LIVES = 300


@pytest.fixture(scope="module")
def log() -> LoggedLife:
    return petsim.simulate("lamplet", "camera-rig", days=3, seed=5).log()


def held(log: LoggedLife, regime: str = "camera-rig") -> petsim.HeldLog:
    return petsim.hold_log(log, "lamplet", regime, lives=LIVES)


def test_a_quiet_life_has_no_count_outside_on_the_days_that_it_covers(log) -> None:
    result = held(log)
    # from 09:00 on for three days: up to the third midnight
    assert (result.days, result.outside, result.left_out) == ((1, 2, 3), (), ())


def test_most_quiet_lives_have_none() -> None:
    quiet = [
        not petsim.hold_log(
            petsim.simulate("lamplet", "camera-rig", days=2, seed=50 + k).log(),
            *("lamplet", "camera-rig"),
            lives=100,
        ).outside
        for k in range(10)
    ]
    # at least 95 in a hundred: that three of ten have one has a chance of 1 in 87
    assert sum(quiet) >= 8


def test_a_log_is_counted_as_the_life_is(log) -> None:
    known = petsim.expect("lamplet", "camera-rig", lives=LIVES, seed=5, days=3)
    [quiet] = known.regimes
    hands = load_regime("camera-rig").hands
    counts = counts_of(log, quiet.counters, hands, ends_of_days(log.begins, 3))
    assert counts.tolist() == quiet.counts[0].tolist()
    assert counts.sum() > 3000


def test_a_log_from_a_file_is_counted_alike(log, tmp_path) -> None:
    log.write(tmp_path / "a.jsonl")
    [read] = petsim.read_log(tmp_path / "a.jsonl")
    counters, hands = counters_of(load_model("lamplet")), load_regime("camera-rig").hands
    ends = ends_of_days(log.begins, 3)
    assert np.array_equal(
        counts_of(read, counters, hands, ends), counts_of(log, counters, hands, ends)
    )


def test_a_day_with_too_many_presses_is_named(log) -> None:
    noon = 1.5 * DAY
    more = [Action(noon + k, 0, "feed", noon + k, 3, "took") for k in range(300)]
    entries = sorted([*log.entries, *more], key=lambda entry: entry.t)
    result = held(replace(log, entries=tuple(entries)))
    assert {(each.day, str(each.counter)) for each in result.outside} == {
        (2, "feed"),
        (2, "presses"),
    }
    assert all(each.logged > each.high >= each.median for each in result.outside)


def test_a_rig_that_hung_has_too_few_checks(log) -> None:
    hung = tuple(entry for entry in log.entries if not DAY < entry.t < 1.6 * DAY)
    result = held(replace(log, entries=hung))
    assert ("checks", True) in {(str(e.counter), e.logged < e.low) for e in result.outside}
    assert {each.day for each in result.outside} == {2}


def test_days_with_lost_lines_and_what_is_not_seen_are_left_out(log) -> None:
    seen = tuple(signal for signal in log.signals if signal != "mood")
    result = held(replace(log, lost=((DAY, DAY + 60),), signals=seen))
    assert (result.days, result.left_out) == ((1, 3), (2,))
    assert result.unseen == (Counter("zero", "mood"),)


def test_the_lives_begin_when_the_log_does(log) -> None:
    # from 23:00 to midnight there are six checks, and from 09:00 on ninety
    result = held(replace(log, begins=Begins(2, 23 * 3600)))
    assert result.days == (1, 2, 3)
    assert (1, Counter("checks")) not in {(each.day, each.counter) for each in result.outside}


def test_a_log_from_the_middle_of_a_life_is_held_against_the_pet_as_it_was(log) -> None:
    with pytest.raises(ArgumentError, match=r"the life begins after birth; expected the pet as it"):
        held(replace(log, is_born=False))
    state = petsim.state_at("lamplet", "camera-rig", 100_000, seed=5)
    pet = petsim.pet_of(state, load_model("lamplet")).pet
    with pytest.raises(ArgumentError, match=r"the life begins with birth; expected a model$"):
        petsim.hold_log(log, pet, "camera-rig", lives=LIVES)
    rest = petsim.simulate(pet, "camera-rig", days=1.5).log()
    result = petsim.hold_log(replace(rest, is_born=False), pet, "camera-rig", lives=LIVES)
    assert result.days == (1, 2) and result.outside == ()


def test_a_log_without_a_whole_day_is_refused(log) -> None:
    with pytest.raises(ArgumentError, match=r"the life covers no midnight; expected a day to its"):
        held(replace(log, until=3600))


def test_a_log_is_held_against_as_many_lives_as_are_asked_for(log, monkeypatch) -> None:
    begun = []
    own = CompiledEngine.followed

    def followed(engine, seed, number, *more):
        begun.append(number)
        return own(engine, seed, number, *more)

    monkeypatch.setattr(CompiledEngine, "followed", followed)
    petsim.hold_log(log, "lamplet", "camera-rig", lives=50)
    assert sorted(begun) == [*range(50)]


def test_the_bands_are_those_that_are_shown(log) -> None:
    lasting = petsim.expect("lamplet", "camera-rig", lives=100, days=3)
    model = load_model("lamplet")
    [caretaker] = load_together(model, ["camera-rig"])[1]
    [shown] = lasting.regimes
    how = {"seed": 0, "confidence": 0.95, "check_limit": 60.0, "progress": False}
    found = usual(model, caretaker, 3, lives=100, **how)
    assert np.array_equal(found.low, shown.low) and np.array_equal(found.high, shown.high)
