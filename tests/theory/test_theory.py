"""Every check of `petsim verify` on both engines; `--long` lives 100 times as many lives."""

import pytest

from petsim.theory.lab import Lab
from petsim.theory.suite import LONG, SCALES, checks


@pytest.mark.parametrize("check", checks(), ids=lambda check: check.name.replace(" ", "_"))
@pytest.mark.parametrize("engine", SCALES)
def test_theory_holds(pytestconfig, tmp_path, check, engine):
    scale = SCALES[engine] * (LONG if pytestconfig.getoption("--long") else 1)
    verdicts = list(check.verdicts(Lab(tmp_path, engine, scale)))
    assert verdicts
    assert [str(verdict) for verdict in verdicts if not verdict.holds] == []
