"""Designs of sweeps: which cells come of what varies, and what is said of cells that can't be."""

import json
import re
import shutil
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import qmc

import petsim
from petsim import SpecError
from petsim.errors import ArgumentError
from petsim.spec.parts import as_yaml
from petsim.study.design import Design, design_of, stored_cells
from petsim.study.indices import sampled
from petsim.study.store import checksum_of_cells
from petsim.study.stored_design import stored_design

MODEL = "lamplet-quick"
CASES = Path(__file__).parents[1] / "cases" / "valid"
EVERY = {"checks.every": "5 min..15 min/5 min"}
POLICY = """
class Often:
    regime = {
        "petsim": "regime 1",
        "name": "Often",
        "checks": {"every": "10 min", "first": "random"},
    }

    def check(self, look):
        return ["feed"]
"""


def design(vary, regimes=("ten-minute",), model=MODEL, **options):
    return design_of(model, regimes, vary, **options)


def points(vary, **options):
    return [cell.values for cell in design(vary, **options).cells()]


def refused(vary, **options):
    with pytest.raises(ArgumentError) as caught:
        design(vary, **options)
    return str(caught.value)


def wrong(vary, **options):
    with pytest.raises(SpecError) as caught:
        design(vary, **options).validate()
    return str(caught.value).splitlines()


@pytest.fixture
def regime(tmp_path):
    """A regime of one's own, and its file."""
    path = tmp_path / "mine.yaml"
    shutil.copy(Path(__file__).parents[2] / "regimes" / "ten-minute.yaml", path)
    return path


# Cells


def test_a_grid_goes_through_regimes_first_and_the_last_axis_fastest():
    made = design({"checks.every": "5 min, 10 min", "passes": "1,2,3"}, ["hourly", "ten-minute"])
    cells = list(made.cells())
    assert [cell.number for cell in cells] == list(range(12))
    assert [cell.regime for cell in cells] == [0] * 6 + [1] * 6
    assert [cell.values for cell in cells[:6]] == [
        (every, passes) for every in ("5 min", "10 min") for passes in "123"
    ]
    assert [cell.values for cell in cells[6:]] == [cell.values for cell in cells[:6]]
    assert made.name(cells[7]) == "ten-minute, checks.every 5 min, passes 2"


def test_without_anything_varied_there_is_a_cell_for_each_regime():
    assert [cell.regime for cell in design({}, ["hourly", "ten-minute"]).cells()] == [0, 1]


CHANCES = {"eyes.ill.overlooks": "0%..100%", "eyes.waste.overlooks": "0%..100%"}


def shares(vary, **options):
    return np.array([[float(x.rstrip("%")) / 100 for x in row] for row in points(vary, **options)])


@pytest.mark.parametrize(("sample", "n"), [("latin", 10), ("latin", 7), ("sobol", 16)])
def test_points_of_a_sample_fill_each_stratum_of_each_range_once(sample, n):
    found = shares(CHANCES, sample=sample, points=n)
    # a Latin hypercube has one point in each of n strata (McKay, Beckman and Conover 1979), and so
    # has each axis of 2^m points of a Sobol sequence (Sobol 1967; both from memory)
    for column in found.T:
        assert sorted(np.floor(column * n)) == list(range(n))


@pytest.mark.parametrize(("sample", "n"), [("latin", 32), ("sobol", 32)])
def test_points_of_a_sample_are_more_even_than_chance(sample, n):
    chance = [qmc.discrepancy(np.random.default_rng(seed).random((n, 2))) for seed in range(20)]
    assert qmc.discrepancy(shares(CHANCES, sample=sample, points=n)) < min(chance)


def test_points_of_a_sample_are_those_of_the_library():
    # Source: scipy.stats.qmc, to the six digits that a value is written with
    found = shares(CHANCES, sample="sobol", points=8)
    assert found == pytest.approx(qmc.Sobol(2, seed=0).random(8), abs=1e-5)
    found = shares(CHANCES, sample="latin", points=9)
    assert found == pytest.approx(qmc.LatinHypercube(2, seed=0).random(9), abs=1e-5)


def test_a_sample_is_the_same_every_time_and_under_each_regime():
    first, again = (points(CHANCES, sample="latin", points=5) for _ in range(2))
    both = points(CHANCES, regimes=["hourly", "ten-minute"], sample="latin", points=5)
    assert first == again and both == first + first


def test_a_sample_chooses_evenly_from_a_list():
    found = points({"passes": "1,2,3,4"}, sample="sobol", points=8)
    assert sorted(found) == sorted([(x,) for x in "1234"] * 2)


WHOLE = {
    "passes": "1..4",
    "routine[4].repeat": "2..5",
    "discipline.step": "6..9",
    "routine[4].when.hunger": "below {2..5}",
}


@pytest.mark.parametrize(("sample", "n"), [("sobol", 16), ("latin", 16)])
def test_a_sample_takes_whole_numbers_where_the_file_does(sample, n):
    made = design(WHOLE, ["ten-minute"], sample=sample, points=n)
    made.validate()
    for place, text in enumerate(WHOLE.values()):
        _, before, low, high = re.fullmatch(r"((.*)\{)?(\d)\.\.(\d)\}?", text).groups()
        found = [cell.values[place] for cell in made.cells()]
        each = [f"{before or ''}{x}" for x in range(int(low), int(high) + 1)]
        assert sorted(found) == sorted(each * 4)


def test_a_sample_takes_fractions_where_the_file_does():
    assert shares({"eyes.ill.overlooks": "0..1"}, sample="sobol", points=4) * 100 == pytest.approx(
        qmc.Sobol(1, seed=0).random(4), abs=1e-5
    )
    law = {"stages.infant.drops.hunger": "weibull shape {1..3} scale 10 min"}
    assert any("." in value for [value] in points(law, sample="sobol", points=4))


def test_whole_numbers_of_a_sample_are_the_same_in_its_file(tmp_path):
    vary = {"passes": "1..4", "checks.every": "10 min..20 min"}
    options = {"sample": "latin", "points": 5, "lives": 1}
    found = petsim.sweep(MODEL, ["ten-minute"], vary, out=tmp_path / "a", **options)
    cells = list(design(vary, ["ten-minute"], **options).cells())
    assert list(petsim.open_sweep(found.path).design.cells()) == cells
    assert [str(int(x)) for x in found.cells["passes"]] == [cell.values[0] for cell in cells]
    for cell in cells:
        assert str(found.caretaker(cell.number).regime.passes) == cell.values[0]


def test_a_fraction_at_the_end_of_a_range_of_whole_numbers_is_refused():
    said = wrong({"passes": "1.5..4"}, sample="sobol", points=2)
    assert "expected a whole number, 1 or more" in said[0]


# Where a path leads


def test_a_path_leads_into_the_model_or_the_regime():
    made = design({"stages.infant.illness.base": "7 per day", "routine[4].repeat": "3"})
    [cell] = made.cells()
    job = made.job(cell, "reference")
    assert job.model_values == '[[["stages", "infant", "illness", "base"], "7 per day"]]'
    assert job.regime_values == '[[["routine", 4, "repeat"], "3"]]'


@pytest.mark.parametrize(
    ("path", "value", "told"),
    [
        ("checks.every", "7 min", "every: 7 min"),
        ("hands.play.slips", "7%", "slips: 7%"),
        ("quiet hours[0]", "21:00 to 08:00", "21:00 to 08:00"),
    ],
)
def test_a_value_takes_the_place_of_one_or_is_added(path, value, told, tmp_path):
    found = petsim.sweep(MODEL, ["ten-minute"], {path: [value]}, out=tmp_path / "a", lives=1)
    assert told in as_yaml(found.caretaker(0).regime)
    assert told not in as_yaml(petsim.load_regime("ten-minute"))


@pytest.mark.parametrize(
    ("path", "values"),
    [
        ("checks.at", [["07:15"], ["07:15", "19:00"], []]),
        ("checks.at[0]", ["07:15", "08:15 on weekdays"]),
        ("checks.late", ["exponential 5 min", "exponential 10 min"]),
        ("checks.forgets", ["0%", "10%", "20%"]),
        ("checks.windows[0].forgets", ["0%", "10%"]),
        ("eyes.spells.lasts", ["exponential 10 min", "exponential 20 min"]),
        ("eyes.spells.waste.overlooks", ["50%", "90%"]),
        ("eyes.spells.hunger.misreads", ["0.5"]),
        ("hands.feed.into.play", ["0%", "40%"]),
        ("routine[0].look", [["calling"], ["calling", "mood"]]),
        ("routine[1].when.discipline", ["below 50", "below 100"]),
    ],
)
def test_what_rigs_and_people_add_has_paths(path, values):
    made = design({path: values}, [CASES / "rig-and-people.regime.yaml"], CASES / "mote.model.yaml")
    made.validate()
    assert [value for cell in made.cells() for value in cell.values] == values


@pytest.mark.parametrize(
    ("path", "value", "told"),
    [
        ("checks.forget", "20%", "found the unknown key 'forget'; did you mean 'forgets'?"),
        ("eyes.spells.last", "9 min", "found the unknown key 'last'; did you mean 'lasts'?"),
        ("checks.at[9]", "07:15", "found no [9]; expected [0] to [3]"),
        ("checks.every", "9 min", "found '9 min'; expected no `every` beside clock times in `at`"),
        ("hands.feed.into.feed", "9%", "found the action itself; expected other actions"),
    ],
)
def test_a_path_that_does_not_fit_what_rigs_and_people_add_is_told(path, value, told):
    regimes, model = [CASES / "rig-and-people.regime.yaml"], CASES / "mote.model.yaml"
    [problem] = wrong({path: value}, regimes=regimes, model=model)
    assert problem.startswith(f"vary: {path}: {told} (in cell 0, ")


def test_values_change_the_regime_of_a_policy(tmp_path):
    path = tmp_path / "policy.py"
    path.write_text(POLICY)
    vary = {"checks.every": "5 min, 20 min"}
    found = petsim.sweep(MODEL, [f"{path}:Often"], vary, out=tmp_path / "a", lives=20, workers=1)
    checks = found.means("checks_per_day")["estimate"]
    # one look in every 5 minutes of a day, and in every 20
    assert checks.tolist() == pytest.approx([288, 72], rel=0.05)


# Errors


def test_a_path_that_leads_nowhere_has_a_near_miss():
    assert refused({"cheks.every": "1 min"}) == (
        "vary cheks.every: found the unknown key 'cheks'; did you mean 'checks.every'?"
    )
    for shared in ("name", "about", "petsim"):
        assert f"found the unknown key '{shared}'" in refused({shared: "x"})


@pytest.mark.parametrize(
    ("vary", "options", "said"),
    [
        ({"passes": "1.."}, {}, "vary passes: found '1..'; expected a range such as "
         "2 min..60 min/2 min, 1 min..64 min*2 or 5%..20%"),
        ({"passes": 3.5j}, {}, "vary passes: found a Python object of type complex; "
         "expected text, a number, yes or no, a list or a mapping"),
        ({"checks.every": "1 min..5 min"}, {}, "vary checks.every: found a range without a step; "
         "expected one, such as 1 min..5 min/1 min, or a sample"),
        (EVERY, {"sample": "latin"}, "sample and points: expected both or neither"),
        (EVERY, {"points": 5}, "sample and points: expected both or neither"),
        (EVERY, {"sample": "latine", "points": 5}, "sample: 'latine'; did you mean 'latin'?"),
        (EVERY, {"sample": "latin", "points": "5"}, "points: '5'; expected a whole number"),
        (EVERY, {"sample": "latin", "points": 2.5}, "points: 2.5; expected a whole number"),
        (EVERY, {"sample": "latin", "points": 0},
         "points: 0; expected 1 to 100000"),
        ({}, {"sample": "latin", "points": 5}, "vary: 0 given; expected at least 1"),
        (EVERY, {"sample": "morris", "points": 5}, "vary: 1 given; expected at least 2"),
        (EVERY | CHANCES, {"sample": "morris", "points": 1}, "points: 1; expected 2 to 100000"),
        (EVERY | CHANCES, {"sample": "saltelli", "points": 6},
         "points: 6; expected a power of 2, as they are even then"),
        (EVERY, {"sample": "sobol", "points": 5},
         "points: 5; expected a power of 2, as they are even then"),
        ({"passes": "1..400/1", "routine[0].repeat": "1..400/1"}, {},
         "vary: makes 160000 cells; expected at most 100000"),
        (EVERY, {"sample": "latin", "points": 60_000, "regimes": ["hourly", "ten-minute"]},
         "vary: makes 120000 cells; expected at most 100000"),
        (EVERY | CHANCES, {"sample": "morris", "points": 30_000},
         "vary: makes 120000 cells; expected at most 100000"),
        (EVERY | CHANCES, {"sample": "saltelli", "points": 2**15},
         "vary: makes 163840 cells; expected at most 100000"),
    ],
)  # fmt: skip
def test_an_argument_out_of_its_range_is_named(vary, options, said):
    assert refused(vary, **options) == said


@pytest.mark.parametrize(("method", "points"), [("morris", 5), ("saltelli", 8)])
def test_cells_of_a_method_are_counted_as_it_makes_them(method, points, monkeypatch):
    made = len(sampled(method, points, 3))
    monkeypatch.setattr("petsim.study.design.MOST_VALUES", made)
    assert len(list(design(EVERY | CHANCES, sample=method, points=points).cells())) == made
    monkeypatch.setattr("petsim.study.design.MOST_VALUES", made - 1)
    assert refused(EVERY | CHANCES, sample=method, points=points) == (
        f"vary: makes {made} cells; expected at most {made - 1}"
    )


def test_a_value_that_does_not_fit_is_told_with_cell_file_and_line(regime):
    assert wrong({"checks.every": "5 min, 0 min", "passes": "2"}, regimes=[str(regime)]) == [
        "vary: checks.every: found '0 min'; expected at least 1 s, or never "
        f"(in cell 1, mine, checks.every 0 min, passes 2; {regime}:6:17)"
    ]


def test_each_problem_is_told_once_with_its_first_cell(regime):
    found = wrong({"passes": "1,0,-1", "checks.evry": "1 min, 2 min"}, regimes=[str(regime)])
    assert found == [
        "vary: checks.evry: found the unknown key 'evry'; did you mean 'every'? "
        f"(in cell 0, mine, passes 1, checks.evry 1 min; {regime}:6:1)",
        "vary: passes: found '0'; expected at least 1 "
        f"(in cell 2, mine, passes 0, checks.evry 1 min; {regime}:14:9)",
        "vary: passes: found '-1'; expected a whole number, 1 or more "
        f"(in cell 4, mine, passes -1, checks.evry 1 min; {regime}:14:9)",
    ]


@pytest.mark.parametrize(
    ("path", "place", "said"),
    [
        ("routine[30].repeat", "7:1", "found no [30]; expected [0] to [5]"),
        ("checks.every.x", "6:10", "found '10 min'; expected a path that ends above 'x'"),
        ("checks[0]", "6:1", "found a mapping; expected a list"),
        ("listens[0]", "3:1", "found nothing; expected a list"),
        (
            "routine.3.repeat",
            "7:1",
            "found '3'; expected the place of an entry in brackets, such as [0]",
        ),
    ],
)
def test_a_path_that_the_file_does_not_have_is_told(path, place, said, regime):
    assert wrong({path: "2"}, regimes=[str(regime)]) == [
        f"vary: {path}: {said} (in cell 0, mine, {path} 2; {regime}:{place})"
    ]


@pytest.mark.parametrize(
    ("path", "value", "meant"),
    [
        ("checks.every", "10", "10 min"),
        ("checks.every", "10-30min", "10 min..30 min/10 min"),
        ("eyes.ill.overlooks", "5", "5%"),
        ("stages.infant.illness.base", "2", "2 per day"),
    ],
)
def test_the_value_that_lacks_a_unit_or_is_no_range_is_told_with_what_is_meant(path, value, meant):
    [said] = wrong({path: value})
    head, _, where = said.partition(" (in cell 0, ten-minute, ")
    assert head == f"vary: {path}: found {value!r}; did you mean {meant}?"
    assert where.startswith(f"{path} {value}; ")
    design({path: meant}).validate()


@pytest.mark.parametrize("value", ["often", "-3", "500%"])
def test_of_a_value_that_means_nothing_it_is_said_what_is_expected(value):
    [said] = wrong({"checks.every": value})
    assert "; expected " in said


def test_a_model_that_a_value_spoils_is_told():
    found = wrong({"stages.infant.illness.base": "1 per day, often"})
    assert found == [
        "vary: stages.infant.illness.base: found 'often'; expected a rate, such as 0.2 per day "
        "(in cell 1, ten-minute, stages.infant.illness.base often; "
        f"{petsim.load_model(MODEL).source().file}:35:13)"
    ]


def test_all_cells_are_seen_to_before_the_first_life(tmp_path, regime):
    with pytest.raises(SpecError, match="in cell 2"):
        petsim.sweep(MODEL, [str(regime)], {"passes": "1,2,0"}, out=tmp_path / "a", lives=1)
    with pytest.raises(SpecError, match="in cell 2"):
        petsim.sweep(MODEL, [str(regime)], {"passes": "1,2,0"}, out=tmp_path / "a", lives=1)


def test_only_some_problems_are_told():
    found = wrong({"checks.every": [f"{n} % of a day" for n in range(50)]})
    assert [line.split("found ")[1].split(";")[0] for line in found] == [
        f"'{n} % of a day'" for n in range(10)
    ]


# What a design is


def read(made: Design) -> Design:
    """The design as its file would have it."""
    about = {"design": json.loads(json.dumps(made.as_dict())), "policies": [None], "chunk": 100}
    about["cells"] = checksum_of_cells(stored_cells(made))
    return stored_design(Path("a.sweep"), about)


def test_a_design_says_all_of_itself():
    made = design(EVERY | CHANCES, ["hourly"], sample="latin", points=4, seed=3, days=2.5)
    assert read(made).as_dict() == made.as_dict()
    assert list(read(made).cells()) == list(made.cells())


def test_a_range_in_several_units_is_kept():
    made = design({"checks.every": "10 s..250 s"}, sample="latin", points=4)
    assert made.as_dict()["vary"] == {"checks.every": "10 s..4 min 10 s"}
    again = read(made)
    assert list(again.cells()) == list(made.cells())


def test_a_file_that_was_moved_makes_the_same_design(regime, tmp_path):
    before = design(EVERY, [str(regime)]).as_dict()
    moved = tmp_path / "elsewhere" / regime.name
    moved.parent.mkdir()
    regime.rename(moved)
    assert design(EVERY, [str(moved)]).as_dict() == before


def test_another_file_value_or_number_makes_another_design(regime):
    def said(vary=EVERY, **options):
        return design(vary, [str(regime)], **options).as_dict()

    first = said()
    assert said() == first
    others = [
        said({"checks.every": "5 min..20 min/5 min"}),
        said({"checks.every": "5 min, 15 min, 10 min"}),
        said(EVERY | {"passes": "1"}),
        said(seed=1),
        said(lives=7),
        said(days=2),
        said(until="death"),
        said(aim="ember"),
        said(keep=True),
        said(sample="latin", points=3),
        said(model="lamplet"),
    ]
    regime.write_text(regime.read_text().replace("passes: 1", "passes: 2"))
    others.append(said())
    assert all(other != first for other in others)
    regime.write_text(regime.read_text().replace("passes: 2", "# a remark\npasses: 1"))
    assert said() == first


def test_code_of_a_policy_makes_another_design(tmp_path):
    path = tmp_path / "policy.py"
    path.write_text(POLICY)
    first = design(EVERY, [f"{path}:Often"]).as_dict()
    assert design(EVERY, [f"{path}:Often"]).as_dict() == first
    path.write_text(POLICY.replace("feed", "play"))
    assert design(EVERY, [f"{path}:Often"]).as_dict() != first
