"""Fits that are made up, so that what is said of them costs no fit."""

import numpy as np

import petsim
from petsim.evidence.estimate import Estimate, refused
from petsim.evidence.fit import ChainFit, Fit
from petsim.evidence.goodness import Goodness, Part
from petsim.evidence.posterior import Posterior
from petsim.spec.quantities import DAY
from tests.evidence.logs import log
from tests.evidence.test_fit import WORLDS

LAMPLET, RIG = WORLDS / "lamplet.yaml", WORLDS / "camera-rig.yaml"
TWICE = "look at the waste twice in each check"
LIVES = "more lives"
HIDDEN, WORD = "care misses are never seen", "the maker's word"


def told(path, of, low, estimate, high, verdict="well", **how):
    """A parameter that is told; of the rig, if its path begins as one of its own does."""
    file = "regime" if path.split(".")[0] in ("eyes", "hands", "outages") else "model"
    return Estimate(path, file, of, estimate, low, high, verdict, **how)


def untold(path, of="value", why=HIDDEN, record=WORD, file="model"):
    return refused(path, file, of, why=why, record=record)


def chain(name, p, *parts, impossible=(), converged=True):
    """A chain that predicts as these parts say: what, number of looks, seen, expected, z."""
    posterior = Posterior((), np.zeros(0), np.zeros((0, 0)), -100.0, converged)
    goodness = Goodness(tuple(Part(*part) for part in parts), 1.0, len(parts), p)
    return ChainFit(name, posterior, goodness, tuple(impossible), 900)


def fit_of(*estimates, chains=(), days=(6,)):
    """A fit of the worlds of the tests of evidence, to lives of some days each."""
    model = petsim.load_model(LAMPLET)
    lives = tuple(log(until=each * DAY) for each in days)
    return Fit(model, petsim.load_regime(RIG, model), lives, estimates, tuple(chains))


ESTIMATES = (
    told("stages.infant.drops.hunger", "mean", 283, 495, 868, "weak", guess=480, record=LIVES),
    told("stages.juvenile.drops.hunger", "mean", 1228, 1296, 1367, guess=1560),
    told("stages.juvenile.drops.hunger", "shape", 4.28, 6.21, 9.00, guess=5.56),
    told("stages.juvenile.sleeps[0].from", "value", 75300, 75600, 75840, guess=75600),
    told("care.play.works", "chance", 0.633, 0.691, 0.743, guess=0.7),
    told("needs.hunger.starts", "value", 3, 3, 3, guess=2),
    told("stages.infant.illness.base", "rate", 0.062, 0.259, 1.08, "weak", guess=0.1, record=TWICE),
    told("eyes.hunger.misreads", "chance", 0.047, 0.067, 0.094, guess=0.06),
    told("outages.up", "mean", 40000, 86400 * 2, 400000, "weak", guess=108000, record=LIVES),
    untold("eyes.waste.overlooks", "chance", "the same from 0.3 % to 36 %", TWICE, "regime"),
    untold(
        *("eyes.windows[0].waste.overlooks", "chance", "the same from 0.2 % to 56 %"),
        *(TWICE, "regime"),
    ),
    *(untold(f"stages.{stage}.grace.{need}") for stage in ("infant", "juvenile")
      for need in ("hunger", "mood")),
    untold("stages.juvenile.lights grace"),
    untold("stages.juvenile.waste.every", "mean", "about 3 of them were lived", LIVES),
)  # fmt: skip
CHAINS = (
    chain("hunger", 0.4, ("glint", 10, 4.5, 4.53, -0.1), ("12:00 to 15:00", 108, 5.06, 5.08, -0.3)),
    chain(
        *("mood", 0.0031, ("18:00 to 21:00", 105, 4.6, 4.4, 3.6)),
        impossible=[(0, 100.0), (0, 90000.0)],
        converged=False,
    ),
    chain("illness", 0.00001, ("glint", 234, 0.017, 0.06, -4.2)),
)


def usual():
    """A fit with something of everything."""
    return fit_of(*ESTIMATES, chains=CHAINS)
