"""Every family of distributions has all its parts, and another one is but another row."""

from __future__ import annotations

import json
import math
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from petsim.errors import MisfitError
from petsim.life import draws
from petsim.life.compiled import chance
from petsim.life.compiled.compiling import called_from_python
from petsim.life.streams import Stream, uniform
from petsim.spec import laws
from petsim.spec.laws import (
    FAMILIES,
    MOST_PARAMETERS,
    Distribution,
    Family,
    Parameter,
    distribution,
)
from tests.life import another_family
from tests.life.test_draws import CONTINUOUS, GRID

MANUAL = Path(__file__).parents[2] / "models" / "README.md"
each_family = pytest.mark.parametrize("family", FAMILIES.values(), ids=lambda family: family.name)


@called_from_python
def compiled_quantile(family, u, row):  # type: ignore[no-untyped-def]
    return chance._quantile(family, u, row)


def random(n: int) -> list[float]:
    stream = Stream(11, "test", 0)
    return [stream.next() for _ in range(n)]


@each_family
def test_text_is_read_and_written_back(family: Family) -> None:
    law = distribution(family.example)
    assert law == Distribution(family.name, family.read(family.example))
    assert len(law.parameters) == len(family.parameters)
    assert distribution(str(law)) == law


@each_family
def test_schema_accepts_its_text(family: Family) -> None:
    for text in (family.example, str(distribution(family.example))):
        assert re.fullmatch(laws.pattern(), text)
        assert re.fullmatch(family.pattern, text)
        assert not re.fullmatch(family.pattern, text + " more")


@each_family
def test_every_parameter_has_bounds(family: Family) -> None:
    for parameter in family.parameters:
        with pytest.raises(MisfitError):
            parameter.read("-1")
        if parameter.between is None and not parameter.may_be_zero:
            with pytest.raises(MisfitError, match="above zero"):
                parameter.read("0 s")


@each_family
def test_bounds_hold_its_samples(family: Family) -> None:
    law = distribution(family.example)
    least, most = law.bounds()
    samples = [draws.sample(law, u) for u in [*GRID, *random(1000)]]
    assert least <= min(samples)
    assert most is None or max(samples) <= most
    if most is not None and most > least:
        # and are not wider than they have to be
        assert min(samples) < least + (most - least) / 50
        assert max(samples) > most - (most - least) / 50


@each_family
def test_quantile_never_falls(family: Family) -> None:
    law = distribution(family.example)
    times = [law.quantile(u) for u in sorted([*GRID, *random(1000)])]
    assert times == sorted(times)


@each_family
def test_quantile_is_the_same_compiled(family: Family) -> None:
    law = distribution(family.example)
    row = (*law.parameters, math.nan, math.nan, math.nan)[:MOST_PARAMETERS]
    number = np.int64(list(FAMILIES).index(family.name))
    for u in [*GRID, *random(1000)]:
        assert compiled_quantile(number, u, row) == law.quantile(u)


def ages(law: Distribution) -> list[float]:
    """Ages of a wait, in whole seconds: young, in its prime, and as old as it may be."""
    seconds = [0, 1, *(round(law.quantile(u)) for u in (1e-3, 0.2, 0.5, 0.8, 0.999, 1 - 1e-9))]
    return [float(age) for age in seconds if law.can_last(age)]


@each_family
def test_what_is_left_of_a_new_wait_is_the_whole_of_it(family: Family) -> None:
    law = distribution(family.example)
    for u in [*GRID, *random(1000)]:
        assert law.residual(u, 0) == law.quantile(u)


@each_family
def test_what_is_left_is_the_same_compiled(family: Family) -> None:
    law = distribution(family.example)
    arity, shared = len(law.parameters), chance._shared(family.residual)

    @called_from_python
    def compiled_residual(u, age, row):  # type: ignore[no-untyped-def]
        return shared(u, age, *row[:arity])

    for age in ages(law):
        for u in [*GRID, *random(300)]:
            assert compiled_residual(u, age, law.parameters) == law.residual(u, age)


@each_family
def test_chance_to_last_is_1_at_first_and_never_rises(family: Family) -> None:
    law = distribution(family.example)
    chances = [law.survival(age) for age in (0, *sorted(ages(law)), 2**53)]
    assert chances[0] == 1.0
    assert chances == sorted(chances, reverse=True)
    assert not law.can_last(2**53)


@each_family
def test_a_wait_can_last_just_short_of_its_longest(family: Family) -> None:
    law = distribution(family.example)
    _, most = law.bounds()
    if most is not None:
        assert law.can_last(most - 1)
        assert not law.can_last(most)


@each_family
def test_quantile_is_checked_against_a_reference_library(family: Family) -> None:
    assert family.name in {law.kind for law, _ in CONTINUOUS} | {"fixed"}


@each_family
def test_manual_of_models_has_it_in_its_table(family: Family) -> None:
    rows = re.findall(r"^\| `([^`]+)`.*\|$", MANUAL.read_text(encoding="utf-8"), re.MULTILINE)
    assert [row for row in rows if re.fullmatch(family.pattern, row)]


def test_a_family_of_too_many_parameters_is_refused() -> None:
    parameters = tuple(Parameter(name) for name in "abcd")
    with pytest.raises(ValueError, match=r"^fourfold: more than 3 parameters$"):
        Family(
            "fourfold {a} {b} {c} {d}",
            "",
            parameters,
            laws.fixed,
            laws.fixed_residual,
            laws.fixed_survival,
        )


# Another one


@pytest.fixture(scope="module")
def lived() -> Any:
    """What a process makes of a family that was registered in it.

    Nothing is compiled in it, which would take long, and would have to be kept apart.
    """
    done = subprocess.run(
        [sys.executable, "-m", "tests.life.another_family"],
        env=os.environ | {"NUMBA_DISABLE_JIT": "1"},
        cwd=Path(__file__).parents[2],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_it_is_unknown_here() -> None:
    with pytest.raises(MisfitError, match="expected"):
        distribution(another_family.TEXT)


def test_another_row_is_read_written_and_in_the_schema(lived: Any) -> None:
    assert lived["written"] == another_family.TEXT
    assert lived["read again"] is True
    assert lived["schema"] is True


def test_another_row_bounds_growth(lived: Any) -> None:
    assert lived["left"] == [40, None]


def test_another_row_is_lived_by_both_engines(lived: Any) -> None:
    expected = [
        math.floor(40 - 20 * math.log1p(-uniform(3, "growth", life, 0)) + 0.5) for life in range(5)
    ]
    for summaries in lived["lives"]:
        assert [summary["entered_s.tree"] for summary in summaries] == expected
    assert lived["lives"][0] == lived["lives"][1]
