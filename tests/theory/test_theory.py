"""Every check of `petsim verify` on both engines; `--long` lives 100 times as many lives."""

import json

import pytest

from petsim.theory.lab import Lab
from petsim.theory.suite import LONG, SCALES, checks

each_check = pytest.mark.parametrize(
    "check", checks(), ids=lambda check: check.name.replace(" ", "_")
)


@each_check
def test_theory_holds(pytestconfig, tmp_path, check):
    holds(check, "compiled", pytestconfig, tmp_path)


@each_check
def test_theory_holds_of_the_reference_engine(pytestconfig, tmp_path, check):
    holds(check, "reference", pytestconfig, tmp_path)


def holds(check, engine, pytestconfig, folder):
    scale = SCALES[engine] * (LONG if pytestconfig.getoption("--long") else 1)
    verdicts = list(check.verdicts(Lab(folder, engine, scale)))
    assert verdicts
    assert [str(verdict) for verdict in verdicts if not verdict.holds] == []
    # as `petsim verify --json` writes them, which fails on NumPy's numbers
    json.dumps([(v.expected, v.got, v.tolerance, v.holds) for v in verdicts])


class Bent(Lab):
    """A lab whose regimes look in a tenth less often than they say."""

    def batch(self, pet, regime, **options):
        for seconds in ("600", "900", "2700", "1800", "7200"):
            regime = regime.replace(f"every: {seconds} s", f"every: {int(seconds) * 11 // 10} s")
        return super().batch(pet, regime, **options)


@pytest.mark.parametrize("name", ["one level of a need", "eyes that overlook", "several levels"])
def test_checks_notice_what_is_otherwise(tmp_path, name):
    [check] = [check for check in checks() if check.name == name]
    assert not all(verdict.holds for verdict in check.verdicts(Bent(tmp_path, "compiled")))


def test_each_check_names_its_source_and_has_a_name_of_its_own():
    names = [check.name for check in checks()]
    assert len(names) == len(set(names)) > 50
    assert all(len(check.source) > 10 for check in checks())
