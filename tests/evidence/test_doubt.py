"""The odds with the doubt in them, of a fit that was made up: no log is needed."""

import numpy as np
import pytest

import petsim
from petsim.evidence.doubt import doubt
from petsim.evidence.estimate import Estimate, refused
from petsim.evidence.fit import Fit
from petsim.evidence.written import fitted_model, with_estimates


def told(path, file, of, estimate, low, high, guess):
    return Estimate(path, file, of, estimate, low, high, "well", guess)


@pytest.fixture(scope="module")
def fit():
    estimates = (
        told("stages.adolescent.drops.hunger", "model", "mean", 900.0, 800.0, 1012.5, 720.0),
        told("eyes.hunger.misreads", "regime", "chance", 0.05, 0.03, 0.08, 0.06),
        told("care.clean.weight", "model", "value", 0.0, 0.0, 0.0, 0.0),
        refused("outages.up", "regime", "mean", guess=108_000.0),
        refused("stages.juvenile.grace.hunger", "model", "value", guess=1200.0),
        refused("forms.flicker.grows into", "model", "value"),
    )
    return Fit(petsim.load_model("lamplet"), petsim.load_regime("camera-rig"), (), estimates, ())


@pytest.fixture(scope="module")
def doubted(fit):
    return doubt(fit, lives=60, draws=12, draws_of_parts=6, seed=1)


def test_the_odds_at_the_estimates_are_those_of_the_fitted_files(fit, doubted):
    regime = (
        petsim.load_regime("camera-rig").source().with_value(("eyes", "hunger", "misreads"), "5%")
    )
    alone = petsim.batch(fitted_model(fit), regime.data, lives=60, seed=1).share("beacon")
    assert doubted.chance == alone
    assert (doubted.aim.name, doubted.regime, doubted.lives, doubted.draws) == (
        "beacon",
        "camera-rig",
        60,
        12,
    )


def test_only_groups_that_the_fit_has_are_parts(doubted):
    assert {part.group for part in doubted.parts} == {
        "needs and waste",
        "eyes and hands",
        "outages",
        "when misses are due",
    }
    widths = [part.width for part in doubted.parts]
    assert widths == sorted(widths, reverse=True)


def test_not_knowing_the_power_is_worth_more_than_a_narrow_interval(doubted):
    width = {part.group: part.width for part in doubted.parts}
    assert width["outages"] > width["eyes and hands"]


def test_the_same_seed_draws_the_same(fit, doubted):
    assert doubt(fit, lives=60, draws=12, draws_of_parts=6, seed=1) == doubted


def test_another_regime_is_carried_out_by_the_same_rig(fit):
    asked = doubt(fit, "ten-minute", lives=60, draws=6, draws_of_parts=3)
    assert asked.regime == "ten-minute"
    # by itself it has neither eyes that err nor power that fails
    assert (
        asked.chance.estimate
        < petsim.batch("lamplet", "ten-minute", lives=60).share("beacon").estimate
    )
    assert {part.group for part in asked.parts} >= {"outages", "eyes and hands"}


def test_a_value_that_is_as_guessed_is_not_written(fit):
    assert fitted_model(fit).source().at("care", "clean") == fit.model.source().at("care", "clean")


def test_a_law_whose_shape_no_log_tells_keeps_that_of_the_guess(fit):
    path = "stages.juvenile.drops.hunger"
    mean = told(path, "model", "mean", 1500.0, 1400.0, 1600.0, 1320.0)
    shape = refused(path, "model", "shape", guess=5.5)
    law = with_estimates(fit.model.source(), [mean, shape]).stages["juvenile"].drops["hunger"]
    assert law.kind == "triangular"
    assert np.mean(law.parameters) == pytest.approx(1500.0, abs=2.0)
    exponential = with_estimates(fit.model.source(), [mean]).stages["juvenile"].drops["hunger"]
    assert (exponential.kind, exponential.parameters) == ("exponential", (1500.0,))
