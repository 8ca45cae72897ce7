"""The count without a model of what is hidden: right where eyes see all, biased where they err."""

import math
from pathlib import Path

import pytest

from petsim import load_model, simulate
from petsim.life.log.entries import Look
from petsim.life.log.simulated import logged
from tests.evidence.logs import log
from tests.evidence.naive import naive_mean
from tests.life.worlds import fields, needs, pet, regime

WORLDS = Path(__file__).parent / "worlds"


def readings(*checks):
    """A log of checks ten minutes apart, each of the levels that its looks show, 10 s apart."""
    return log(
        *[
            Look(600 * number + 10 * place, number, 1, {"form": "sprig", "hunger": level})
            for number, levels in enumerate(checks, 1)
            for place, level in enumerate(levels)
        ]
    )


def test_it_counts_from_the_last_look_of_a_check_to_the_first_of_the_next():
    model = load_model(pet())
    mean, low, high = naive_mean(
        [readings([5, 5], [3, 4, 5], [5], [4])], "hunger", ["sprig"], model
    )
    # 5 to 3, 5 to 5, 5 to 4, in 590, 580 and 600 s
    assert mean == (590 + 580 + 600) / 3
    assert low < mean < high


def test_it_counts_the_time_awake():
    model = load_model(pet(fields(sleeps=["00:12 to 00:18"])))
    mean, *_ = naive_mean([readings([5], [4])], "hunger", ["sprig"], model)
    assert mean == 240


def test_it_is_right_where_eyes_see_all():
    model = load_model(pet(fields(drops={"hunger": "exponential 40 min"}), needs=needs(hunger=900)))
    care = regime({"look": ["hunger"]}, every=600)
    lives = [logged(simulate(model, care, life=number, days=9)) for number in range(3)]
    mean, low, high = naive_mean(lives, "hunger", ["sprig"], model)
    assert low < 2400 < high
    assert mean == pytest.approx(2400, rel=4.5 * math.sqrt(2400 / (27 * 86_400)))


def test_it_is_biased_by_misreadings_and_its_intervals_fail():
    """Six groups of five lives under erring eyes: too short, and that by more than it admits."""
    model, rig = WORLDS / "lamplet.yaml", WORLDS / "camera-rig.yaml"
    pet_file = load_model(model)
    forms = [name for name, form in pet_file.forms.items() if form.stage == "adolescent"]
    [truth] = pet_file.stages["adolescent"].drops["mood"].parameters
    errors, held, groups = [], 0, 6
    for group in range(groups):
        lives = [logged(simulate(model, rig, seed=40 + group, life=life)) for life in range(5)]
        mean, low, high = naive_mean(lives, "mood", forms, pet_file)
        errors.append(math.log(mean / truth))
        held += low <= truth <= high
    # a group's mean has a standard error of 3 %
    assert sum(errors) / groups < -4.5 * 0.03 / math.sqrt(groups)
    assert held < groups / 2
