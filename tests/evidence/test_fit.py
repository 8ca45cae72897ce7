"""A fit as a whole, to logs of simulated lives whose truth is known: invented, as all of it."""

import math
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import pytest

import petsim
from petsim.errors import ArgumentError, LogError
from petsim.evidence.estimate import verdict_of
from petsim.evidence.fit import fit_logs
from petsim.evidence.goodness import goodness_of
from petsim.evidence.levels import Lived, need_chain, waste_chain
from petsim.evidence.posterior import PRIORS, Parameter, Target, hessian, maximise
from petsim.evidence.timeline import form_spans
from petsim.evidence.written import fitted_model, fitted_regime
from petsim.life.log.entries import Action, Look
from petsim.life.log.simulated import logged
from petsim.spec.model_checks import read_model
from petsim.study.changes import changed

WORLDS = Path(__file__).parent / "worlds"
SEED = 11


@pytest.fixture(scope="module")
def world():
    model = petsim.load_model(WORLDS / "lamplet.yaml")
    return model, petsim.load_regime(WORLDS / "camera-rig.yaml", model)


@pytest.fixture(scope="module")
def log(world):
    return logged(petsim.simulate(*world, seed=SEED))


@pytest.fixture(scope="module")
def fitted(world, log):
    return fit_logs([log], *world)


@pytest.fixture(scope="module")
def short(world):
    """The log of two days, of which a fit takes less time."""
    return logged(petsim.simulate(*world, seed=SEED, days=2))


def told(fit, path, of="mean"):
    return next(each for each in fit.estimates if (each.path, each.of) == (path, of))


# What is told, and what is not


@pytest.mark.parametrize(
    ("path", "of", "truth"),
    [
        ("stages.juvenile.drops.hunger", "mean", 26 * 60),
        ("stages.juvenile.drops.mood", "mean", 24 * 60),
        ("stages.adolescent.drops.hunger", "mean", 14 * 60),
        ("stages.adolescent.drops.mood", "mean", 16 * 60),
        ("stages.adolescent.waste.every", "mean", 3 * 3600),
        ("eyes.hunger.misreads", "chance", 0.06),
        ("eyes.mood.misreads", "chance", 0.06),
        ("eyes.waste.imagines", "chance", 0.02),
        ("care.play.works", "chance", 0.7),
        ("eyes.asleep.overlooks", "chance", 0.05),
        ("forms.flicker.lasts", "mean", 40 * 3600),
    ],
)
def test_intervals_of_this_life_hold_the_truth(fitted, path, of, truth):
    estimate = told(fitted, path, of)
    assert estimate.verdict == "well"
    assert estimate.low <= truth <= estimate.high
    assert estimate.low < estimate.estimate < estimate.high


@pytest.mark.parametrize(
    ("path", "of"),
    [
        ("eyes.waste.overlooks", "chance"),
        ("eyes.ill.overlooks", "chance"),
        ("stages.adolescent.misbehaviour.every", "mean"),
        ("stages.juvenile.grace.hunger", "value"),
        ("stages.juvenile.waste.grace", "value"),
        ("stages.juvenile.lights grace", "value"),
        ("stages.juvenile.illness.per waste", "rate"),
        ("forms.flicker.grows into", "value"),
    ],
)
def test_what_a_log_can_not_tell_is_refused_with_what_to_record(fitted, path, of):
    estimate = told(fitted, path, of)
    assert estimate.verdict == "refused"
    assert estimate.estimate is estimate.low is estimate.high is None
    assert estimate.record
    assert estimate.why


def test_every_parameter_is_told_once(fitted):
    keys = [(each.path, each.of) for each in fitted.estimates]
    assert len(keys) == len(set(keys))


def test_the_family_of_a_law_is_chosen_by_the_log(fitted):
    shapes = {each.path for each in fitted.estimates if each.of == "shape" and each.estimate}
    # the truth is triangular; that of mood is exponential
    assert "stages.juvenile.drops.hunger" in shapes
    assert "stages.juvenile.drops.mood" not in shapes


def test_chains_predict_what_was_seen(fitted):
    for chain in fitted.chains:
        assert chain.posterior.converged
        assert chain.goodness.p > 0.001
        assert chain.impossible == ()


def test_the_fit_is_the_same_again(world, short):
    one, other = (fit_logs([short], *world) for _ in range(2))
    assert one.as_dict() == other.as_dict()


# Wrong guesses


def test_a_guess_that_is_far_off_changes_little(world, log, fitted):
    model, regime = world
    off = changed(
        model.source(),
        [
            (("stages", "adolescent", "drops", "hunger"), "exponential 40 min"),
            (("stages", "adolescent", "drops", "mood"), "exponential 6 min"),
        ],
    )
    again = fit_logs([log], read_model(off), regime)
    for need in ("hunger", "mood"):
        one, other = (told(fit, f"stages.adolescent.drops.{need}") for fit in (fitted, again))
        # the prior is wide: a guess off by three times moves the mean by less than a hundredth
        assert math.log(other.estimate / one.estimate) == pytest.approx(0.0, abs=0.01)


def test_a_nap_that_the_guess_lacks_is_seen_in_what_was_predicted(world):
    model, regime = world
    naps = [(("stages", "adolescent", "sleeps"), ["22:45 to 07:30", "11:00 to 17:00"])]
    napping = read_model(changed(model.source(), naps))
    log = logged(petsim.simulate(napping, regime, seed=SEED))
    good, bad = (hunger_is_predicted(log, guess, regime) for guess in (napping, model))
    # the law takes some of it upon itself, as waits that are now short and now long
    assert bad.p < 0.05 < good.p
    assert bad.largest.what in ("12:00 to 15:00", "15:00 to 18:00", "18:00 to 21:00")


def hunger_is_predicted(log, model, regime):
    spans = form_spans(log, model)
    lived = Lived(frozenset(span.form for span in spans), frozenset(model.care), 600.0)
    chain, posterior = need_chain("hunger", model, regime, lived).over([log], [spans], model).fit()
    return goodness_of([log], chain.tapes, chain.predictions(posterior.natural()))


# Files


def test_the_fitted_files_hold_what_was_told_and_leave_the_rest(world, fitted):
    model, regime = fitted_model(fitted), fitted_regime(fitted)
    mood = told(fitted, "stages.adolescent.drops.mood").estimate
    [mean] = model.stages["adolescent"].drops["mood"].parameters
    assert mean == pytest.approx(mood, rel=0.006)
    assert model.stages["juvenile"].drops["hunger"].kind == "weibull"
    assert regime.eyes.levels["mood"].misreads == pytest.approx(
        told(fitted, "eyes.mood.misreads", "chance").estimate, rel=0.006
    )
    assert regime.eyes.waste.overlooks == world[1].eyes.waste.overlooks
    assert model.stages["juvenile"].grace == world[0].stages["juvenile"].grace
    assert model.forms["flicker"].grows_into == world[0].forms["flicker"].grows_into
    assert petsim.simulate(model, regime, days=1).summary["end_s"] == 86_400


# Logs that are refused


def without(log, kind):
    return replace(log, entries=tuple(e for e in log.entries if not isinstance(e, kind)))


def test_a_log_without_looks_is_refused(world, log):
    acts = sum(isinstance(entry, Action) for entry in log.entries)
    with pytest.raises(LogError) as error:
        fit_logs([without(log, Look)], *world)
    days = f"{log.until / 86_400:.1f}"
    assert str(error.value).endswith(
        f": found {acts} actions and no look at anything in {days} days; "
        "expected the looks too, also those that led to nothing"
    )


def test_no_log_at_all_is_refused(world):
    with pytest.raises(LogError, match="no life in the log"):
        fit_logs([], *world)


def test_a_log_of_eyes_that_guess_is_refused(world, short):
    blind = [
        entry._replace(saw={**entry.saw, "mood": number % 6})
        if isinstance(entry, Look) and "mood" in entry.saw
        else entry
        for number, entry in enumerate(short.entries)
    ]
    with pytest.raises(LogError, match=r"eyes\.mood\.misreads|can't be by the model"):
        fit_logs([replace(short, entries=tuple(blind))], *world)


def test_a_regime_that_nobody_names_is_asked_for(world, log):
    with pytest.raises(ArgumentError, match="expected the one of the rig's eyes and hands"):
        petsim.fit(replace(log, regime=""), world[0])


# Posteriors


def test_a_posterior_is_that_of_a_binomial_worked_out_otherwise():
    # 30 of 300, with the prior N(-3, 1.5^2) on the logit: by a sum over a fine grid
    parameter = Parameter("eyes.ill.imagines", "regime", "chance", "error", 0.05)
    target = Target(lambda p: 30 * math.log(p[0]) + 270 * math.log1p(-p[0]), (parameter,))
    found = maximise(target, target.guess)
    mean, sd = PRIORS["error"]
    grid = [-6 + k * 1e-3 for k in range(8000)]
    weights = [math.exp(-target.loss([x]) + target.loss(found.values)) for x in grid]
    middle = sum(x * w for x, w in zip(grid, weights, strict=True)) / sum(weights)
    spread = sum((x - middle) ** 2 * w for x, w in zip(grid, weights, strict=True)) / sum(weights)
    assert (mean, sd) == (-3.0, 1.5)
    assert found.values[0] == pytest.approx(middle, abs=0.02)
    assert found.covariance[0, 0] == pytest.approx(spread, rel=0.03)


def test_hessian_of_a_quadratic_is_exact():
    def bowl(x):
        return 3 * x[0] ** 2 + 2 * x[0] * x[1] + 5 * x[1] ** 2 + x[0]

    assert hessian(bowl, np.array([0.3, -0.2])) == pytest.approx(np.array([[6, 2], [2, 10]]))


@pytest.mark.parametrize(
    ("shrink", "of", "low", "high", "verdict"),
    [
        (0.71, "mean", 1.0, 1.1, "refused"),
        (0.7, "mean", 1.0, 1.1, "weak"),
        (0.3, "mean", 1.0, 1.1, "well"),
        (0.2, "mean", 1.0, 2.3, "weak"),
        (0.2, "chance", 0.01, 0.05, "well"),
    ],
)
def test_verdicts(shrink, of, low, high, verdict):
    assert verdict_of(shrink, of, low, high) == verdict


def test_nothing_is_held_against_nothing():
    assert goodness_of([], [], []).p == 1.0


@pytest.mark.parametrize("make", [partial(need_chain, "hunger"), waste_chain])
def test_a_finer_grid_moves_no_mean_by_a_tenth_of_its_error(world, log, make):
    model, regime = world
    spans = form_spans(log, model)
    lived = Lived(frozenset(span.form for span in spans), frozenset(model.care), 600.0)
    chain, posterior = make(model, regime, lived).over([log], [spans], model).fit()
    fine = replace(chain, laws=tuple(replace(law, step=law.step / 2) for law in chain.laws))
    finer = maximise(Target(fine.likelihood, tuple(fine.parameters)), posterior.values)
    errors = np.sqrt(np.diag(posterior.covariance))
    moved = np.abs(finer.values - posterior.values) / errors
    means = [place for place, p in enumerate(chain.parameters) if p.of == "mean"]
    assert any(law.family == "weibull" for law in chain.laws)
    assert max(moved[means]) < 0.1
