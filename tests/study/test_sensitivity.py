"""Which unknown matters: functions whose indices are known, and lives where one is dead."""

import warnings

import numpy as np
import pytest

from petsim.errors import ArgumentError
from petsim.study.indices import indices, sampled
from petsim.study.sensitivity import sensitivity
from petsim.study.sweep import sweep

MODEL = "lamplet-quick"
DEAD = "stages.elder.illness.base"
"""Of a stage after the outcome, where no life is followed to."""
VARY = {"checks.every": "2 min..30 min", DEAD: "1 per day..9 per day"}


def ishigami(shares, a=7.0, b=0.1):
    """sin x + a sin² y + b z⁴ sin x, over -pi to pi."""
    x, y, z = np.pi * (2 * np.array(shares).T - 1)
    return np.sin(x) + a * np.sin(y) ** 2 + b * z**4 * np.sin(x)


def test_sobol_indices_are_those_of_a_known_function():
    # Source: Ishigami and Homma (1990), "An importance quantification technique in uncertainty
    # analysis for computer models"; a = 7, b = 0.1; from memory, and from the closed form:
    a, b, pi = 7.0, 0.1, np.pi
    own = (1 / 2 + b * pi**4 / 5 + b**2 * pi**8 / 50, a**2 / 8, 0.0)
    shared = 8 * b**2 * pi**8 / 225
    variance = sum(own) + shared
    alone = [x / variance for x in own]
    in_all = [(own[0] + shared) / variance, own[1] / variance, shared / variance]
    assert alone == pytest.approx([0.3139, 0.4424, 0], abs=5e-5)
    assert in_all == pytest.approx([0.5576, 0.4424, 0.2437], abs=5e-5)

    points = 1024
    shares = sampled("saltelli", points, 3)
    assert len(shares) == points * 5
    found = indices("saltelli", points, ["x", "y", "z"], ishigami(shares))
    assert list(found.index) == ["x", "y", "z"]
    assert found["alone"].to_numpy() == pytest.approx(alone, abs=0.03)
    assert found["in_all"].to_numpy() == pytest.approx(in_all, abs=0.03)
    for name, true in (("alone", alone), ("in_all", in_all)):
        assert (found[f"{name}_low"] <= true).all() and (true <= found[f"{name}_high"]).all()


def test_morris_effects_of_a_plane_are_its_slopes():
    # Morris (1991): an elementary effect of a linear function is its coefficient, everywhere
    slopes = np.array([0.3, -0.2, 0.0, 0.05])
    shares = np.array(sampled("morris", 6, 4))
    assert len(shares) == 6 * 5
    found = indices("morris", 6, list("abcd"), 0.5 + shares @ slopes)
    assert found["effect"].to_numpy() == pytest.approx(slopes, abs=1e-12)
    assert found["size"].to_numpy() == pytest.approx(abs(slopes), abs=1e-12)
    assert found["spread"].to_numpy() == pytest.approx([0] * 4, abs=1e-12)
    for name in ("low", "high"):
        assert found[name].to_numpy() == pytest.approx(abs(slopes), abs=1e-12)


def test_morris_tells_what_depends_on_another():
    shares = np.array(sampled("morris", 40, 3))
    x, y, z = shares.T
    found = indices("morris", 40, ["x", "y", "z"], x * y + z / 2)
    # the effect of x is y, of which the levels are 0, 1/3, 2/3 and 1: about a half, now more,
    # now less; of four equally likely levels, by 0.37
    assert found.loc["x", "spread"] == pytest.approx(np.std([0, 1 / 3, 2 / 3, 1]), abs=0.06)
    assert found.loc["x", "effect"] == pytest.approx(0.5, abs=0.12)
    assert found.loc["z", "spread"] == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize("kind", ["morris", "saltelli"])
def test_points_are_in_the_cube_and_the_same_every_time(kind):
    shares = np.array(sampled(kind, 8, 3))
    assert shares.min() >= 0 and shares.max() <= 1
    assert (shares == np.array(sampled(kind, 8, 3))).all()


@pytest.mark.parametrize("kind", ["morris", "saltelli"])
def test_the_same_odds_have_the_same_intervals(kind):
    shares = sampled(kind, 8, 3)
    first, again = (indices(kind, 8, ["x", "y", "z"], ishigami(shares)) for _ in range(2))
    assert (first.to_numpy() == again.to_numpy()).all()


@pytest.mark.parametrize("kind", ["morris", "saltelli"])
def test_odds_that_never_vary_have_no_effect_and_no_warning(kind):
    shares = sampled(kind, 4, 2)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = indices(kind, 4, ["a", "b"], np.full(len(shares), 0.25))
    assert (found.to_numpy() == 0).all()


@pytest.mark.parametrize(
    ("method", "points", "cells", "size"), [("morris", 4, 12, "size"), ("sobol", 8, 32, "in_all")]
)
def test_what_no_life_comes_to_has_no_effect(method, points, cells, size, tmp_path):
    options = {"method": method, "points": points, "lives": 40, "workers": 1}
    found = sensitivity(MODEL, "ten-minute", VARY, out=tmp_path / "a", **options)
    effects = found.sensitivity()
    assert len(found.cells) == cells
    assert effects.loc["checks.every", size] > 0.3
    # the same lives, so not about 0 but 0
    assert (effects.loc[DEAD] == 0).all()
    if method == "morris":
        assert effects.loc["checks.every", "effect"] < 0


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"method": "moris"}, "method: 'moris'; did you mean 'morris'?"),
        ({"points": 1}, "points: 1; expected 2 to 100000"),
        ({"points": 2.5}, "points: 2.5; expected a whole number"),
        (
            {"method": "sobol", "points": 12},
            "points: 12; expected a power of 2, as they are even then",
        ),
        ({"vary": {"passes": "1,2"}}, "vary: 1 given; expected at least 2"),
    ],
)
def test_an_argument_out_of_its_range_is_named(options, said, tmp_path):
    with pytest.raises(ArgumentError) as caught:
        sensitivity(MODEL, "hourly", **({"vary": VARY, "out": tmp_path / "a"} | options))
    assert str(caught.value) == said
    assert not list(tmp_path.iterdir())


def test_a_sweep_of_another_kind_has_no_indices(tmp_path):
    found = sweep(MODEL, ["hourly"], {"passes": "1,2"}, out=tmp_path / "a", lives=1)
    with pytest.raises(ArgumentError) as caught:
        found.sensitivity()
    assert str(caught.value) == f"{found.path}: expected a sweep made by petsim sensitivity"
