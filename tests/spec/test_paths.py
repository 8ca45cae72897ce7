"""Paths that lead nowhere, and those that are meant by them."""

import pytest

from petsim.errors import MisfitError
from petsim.spec.model_checks import read_model
from petsim.spec.paths import ensure_meant
from petsim.spec.reading import read_text
from petsim.spec.regime_checks import read_regime
from tests.test_manuals import MINIMAL

REGIME = """
petsim: regime 1
name: Small
checks: {every: 1 h, windows: [{during: 23:00 to 06:00, every: never}]}
routine: [{do: feed}, {do: feed}]
eyes: {hunger: {misreads: 5%}, mood: {misreads: 5%}}
"""


@pytest.fixture(scope="module")
def files():
    model = read_model(read_text(MINIMAL["models"], "m"))
    return [model, read_regime(read_text(REGIME, "r"), model)]


def meant(path, files):
    with pytest.raises(MisfitError) as caught:
        ensure_meant(path, files, MisfitError("expected another", "found it"))
    assert caught.value.found == "found it"
    return caught.value.expected


@pytest.mark.parametrize(
    ("path", "right"),
    [
        ("checks/every", "checks.every"),
        ("Checks.Every", "checks.every"),
        ("check.every", "checks.every"),
        ("cheks.evry", "checks.every"),
        ("every", "checks.every"),
        ("regime.checks.every", "checks.every"),
        ("small/checks/every", "checks.every"),
        ("checks:every", "checks.every"),
        ("checks.windows.0.every", "checks.windows[0].every"),
        ("routine.1.do", "routine[1].do"),
        ("routine.1.doo", "routine[1].do"),
        ("hunger.full", "needs.hunger.full"),
        ("needs.hungr.full", "needs.hunger.full"),
        ("outcome_stage", "outcome stage"),
    ],
)
def test_a_path_that_is_meant_is_named_whole(path, right, files):
    assert meant(path, files) == f"did you mean '{right}'?"


def test_several_that_may_be_meant_are_all_named(files):
    assert meant("misreads", files) == (
        "did you mean 'eyes.hunger.misreads' or 'eyes.mood.misreads'?"
    )


@pytest.mark.parametrize("path", ["", "...", "nothing.like.it", "routine.7.do", "checks.every.x"])
def test_of_a_path_that_is_like_none_nothing_is_said(path, files):
    ensure_meant(path, files, MisfitError("expected another"))
