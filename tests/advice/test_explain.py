"""Why odds fall: costs against toys of which they are known, and what is said of them."""

import dataclasses
import re

import numpy as np
import pytest

import petsim
from petsim.advice.explaining import explain as explaining
from petsim.errors import ArgumentError
from petsim.study.evaluate import Evaluator
from petsim.study.stats import Interval
from petsim.view import explained
from tests.advice.toys import MISREADS, keeper, lamp, odds, shares

PLAIN = {
    "petsim": "regime 1",
    "name": "At hand",
    "checks": {"every": "1 min"},
    "routine": [{"when": {"oil": "below 1"}, "do": "fill_oil"}],
}
TWO = {"oil": 0.6, "wick": 0.2}


@pytest.fixture(scope="module")
def of_keeper():
    return petsim.explain(lamp(), keeper(), lives=2_000)


@pytest.fixture(scope="module")
def of_two():
    return petsim.explain(lamp(TWO), keeper(TWO), lives=1_000)


def by_path(explanation):
    return {part.path: part for part in explanation.parts}


def near(interval, true):
    # 95 % intervals are 1.96 standard errors to either side, and 4.5 are allowed
    reach = max(true - interval.low, interval.high - true) / 1.96
    assert abs(interval.estimate - true) <= 4.5 * reach


def test_costs_are_those_by_definition(of_keeper):
    parts, true = by_path(of_keeper), shares()
    for path, cost in true.items():
        share = parts[path].share
        half_width = (share.high - share.low) / 2
        assert abs(share.estimate - cost) <= 4.5 / 1.96 * half_width, path
    # the dearest is known well enough for that to say something
    oil = parts["eyes.oil"].share
    assert oil.high - oil.low < 0.02 < true["eyes.oil"] - 0.05


def test_costs_sum_to_the_whole_fall(of_keeper, of_two):
    for explanation in (of_keeper, of_two):
        total = sum(part.share.estimate for part in explanation.parts)
        assert total == pytest.approx(explanation.fall.estimate, abs=1e-12)
        apart = explanation.ideal.estimate - explanation.odds.estimate
        assert explanation.fall.estimate == pytest.approx(apart, abs=1e-12)


def test_odds_alone_off_and_alone_on_are_those_by_theory(of_keeper):
    parts = by_path(of_keeper)
    paths = {path for path, part in parts.items() if part.is_there}
    assert paths == {*(f"eyes.{need}" for need in MISREADS), "checks.every"}
    for path in paths:
        off, on = parts[path].off, parts[path].on
        for interval, true in ((off, odds(paths - {path})), (on, odds({path}))):
            half_width = max((interval.high - interval.low) / 2, 1.96 / 2_000)
            assert abs(interval.estimate - true) <= 4.5 / 1.96 * half_width, path
    # any of them alone costs next to nothing, as each needs the other
    assert parts["checks.every"].on.estimate > 0.999
    assert parts["eyes.oil"].on.estimate > 0.999


def test_odds_without_one_go_with_those_of_all_lives(of_keeper):
    for part in of_keeper.parts:
        expected = of_keeper.odds.estimate + part.gain.estimate
        assert part.off.estimate == pytest.approx(min(1, expected), abs=1e-12)


def test_what_is_not_there_costs_exactly_nothing(of_two):
    absent = [part for part in of_two.parts if not part.is_there]
    assert {"outages", "eyes.spells", "hands.slips"} <= {part.path for part in absent}
    for part in absent:
        assert part.share == part.gain == Interval(0.0, 0.0, 0.0)
        assert part.off == of_two.odds
        assert part.on == of_two.ideal


def test_flawless_care_has_nothing_to_explain():
    explanation = petsim.explain(lamp({"oil": 0}), PLAIN, lives=200)
    assert explanation.there == ()
    assert explanation.fall.estimate == 0
    assert explained.gist(explanation) == (
        "at-hand leads to bright in 100 % (at least 98.1) of lives, and is carried out flawlessly "
        "every minute: there is nothing to mend."
    )


def test_one_imperfection_costs_the_whole_fall():
    seldom = {**PLAIN, "checks": {"every": "25 min", "first": "5 min"}}
    explanation = petsim.explain(lamp({"oil": 0}), seldom, lives=200)
    [part] = explanation.there
    assert part.path == "checks.every"
    assert (part.share.estimate, part.off.estimate) == (1, 1)
    assert part.on.estimate == explanation.odds.estimate == 0


def test_same_seed_same_answer_whoever_lives_them():
    oil = {"oil": MISREADS["oil"]}
    one, two, reference = (
        petsim.explain(lamp(oil), keeper(oil), lives=100, seed=7, **how).as_dict()
        for how in ({"workers": 1}, {"workers": 2}, {"engine": "reference"})
    )
    assert one == two == reference


def test_several_models_are_put_together_by_their_weights():
    dull = lamp(TWO) | {"name": "Dull"}
    dull["stages"] = {
        **dull["stages"],
        "young": {**dull["stages"]["young"], "grace": {"oil": "10 min"}},
    }
    models = [lamp(TWO), dull]
    both = petsim.explain(models, keeper(TWO), weights=[3, 1], lives=400)
    alone = [petsim.explain(model, keeper(TWO), lives=400) for model in models]
    for part in both.there:
        own = [by_path(each)[part.path].share.estimate for each in alone]
        assert part.by_model == pytest.approx(own, abs=1e-12)
    weighted = 0.75 * alone[0].odds.estimate + 0.25 * alone[1].odds.estimate
    assert both.odds.estimate == pytest.approx(weighted)
    assert sum(p.share.estimate for p in both.parts) == pytest.approx(both.fall.estimate)
    assert [each.model.id for each in both.models] == ["lamp", "dull"]
    assert "Under each model" in str(both)
    assert "under dull" in both._repr_html_()


def test_worth_of_several_forms_is_explained():
    of_bright = petsim.explain(lamp(TWO), keeper(TWO), lives=300)
    half = petsim.explain(lamp(TWO), keeper(TWO), lives=300, aim={"bright": 1, "dim": 0.5})
    assert half.fall.estimate == pytest.approx(of_bright.fall.estimate / 2)
    assert str(half).startswith("keeper leads to an expected worth of ")


def test_all_seeing_is_not_worse_than_the_routine(of_keeper):
    assert of_keeper.beyond.estimate == pytest.approx(
        of_keeper.example.estimate - of_keeper.ideal.estimate
    )
    assert of_keeper.example.estimate > 0.999


def test_lives_and_precision_out_of_range_are_refused():
    with pytest.raises(ArgumentError, match=r"^lives: 99; expected at least 100$"):
        petsim.explain(lamp(TWO), keeper(TWO), lives=99)
    with pytest.raises(ArgumentError, match=r"^precision: 0; expected a half-width between 0 and"):
        petsim.explain(lamp(TWO), keeper(TWO), precision=0)


def test_more_precision_lives_more_orders():
    rough, fine = (petsim.explain(lamp(), keeper(), lives=2_000, precision=p) for p in (0.2, 0.001))
    assert rough.lives["ordered"] == 20 * 50
    assert fine.lives["ordered"] == 2_000
    widths = [max(p.share.high - p.share.low for p in each.parts) for each in (rough, fine)]
    assert widths[1] < widths[0]


@pytest.mark.parametrize("stage", ["alone", "orders"])
def test_an_interrupt_gives_what_is_known(stage, monkeypatch, caplog):
    def stop(*args, **kwargs):
        raise KeyboardInterrupt

    if stage == "alone":
        monkeypatch.setattr(explaining, "all_seeing", stop)
    else:
        monkeypatch.setattr(explaining, "shares_of_block", stop)
    explanation = petsim.explain(lamp(), keeper(), lives=200)
    assert explanation.interrupted
    assert "interrupted; this is what is known so far" in caplog.text
    assert np.isnan([part.share.estimate for part in explanation.there]).all()
    data = explanation.as_dict()
    assert data["parts"][0]["share"] == {"estimate": None, "low": None, "high": None}
    known = data["parts"][0]["off"]["estimate"] is not None
    assert known == (stage == "orders")
    assert "it is not known yet what each imperfection costs" in str(explanation)


def test_it_is_said_in_words(of_keeper):
    text = str(of_keeper)
    assert text.startswith("keeper leads to bright in ")
    first, table, *_ = text.split("\n\n")
    words = " ".join(first.split())
    assert "carried out flawlessly every minute" in words
    assert re.search(r"are due to (the interval of checks|misread oil), ", words)
    assert re.search(r", \d[^;]* to misread oil", words)
    assert "Better eyes alone would win" in words
    costs = [line for line in table.splitlines() if line.startswith("  ") and "(" in line]
    assert len(costs) == len(of_keeper.there)
    assert "<table>" in of_keeper._repr_html_()


def test_it_is_drawn(of_keeper):
    axes = of_keeper.plot()
    labels = [label.get_text() for label in axes.get_yticklabels()]
    assert labels == [explained.name(part) for part in of_keeper.there]
    assert "points" in axes.get_xlabel()


def test_nothing_to_draw_is_said():
    bare = petsim.explain(lamp({"oil": 0}), PLAIN, lives=100)
    with pytest.raises(ArgumentError, match="has no imperfection whose cost is known"):
        bare.plot()


def test_costs_said_to_few_digits():
    wide = Interval(0.1234, 0.05, 0.2)
    assert explained.points(wide) == "12 (5 to 20)"
    assert explained.points(Interval(-0.0001, -0.002, 0.001)) == "0.0 (-0.2 to 0.1)"
    assert dataclasses.is_dataclass(petsim.Explanation)


def test_data_have_the_aim_as_it_can_be_asked_for_again():
    how = {"lives": 100, "aim": {"bright": 1, "dim": 0.5}, "workers": 1}
    vary = {"checks.every": "5 min,10 min"}
    for found in (
        petsim.explain(lamp(TWO), keeper(TWO), **how),
        petsim.tolerance(lamp(TWO), keeper(TWO), **how),
        petsim.choose(lamp(TWO), keeper(TWO), vary, **how),
    ):
        assert found.as_dict()["aim"] == "bright=1,dim=0.5"


def test_lives_that_are_known_are_not_lived_again_in_orders(monkeypatch):
    known, asked = [], []
    evaluate, worths = Evaluator.evaluate, Evaluator.worths

    def evaluated(evaluator, *, lives, regime=None):
        known.append(((regime or evaluator.caretaker).regime, lives))
        return evaluate(evaluator, lives=lives, regime=regime)

    def lived(evaluator, caretakers, numbers):
        asked.extend((caretaker.regime, numbers.stop) for caretaker in caretakers)
        return worths(evaluator, caretakers, numbers)

    monkeypatch.setattr(Evaluator, "evaluate", evaluated)
    monkeypatch.setattr(Evaluator, "worths", lived)
    petsim.explain(lamp(), keeper(), lives=200)
    assert asked
    assert not any(a == b and end <= lives for a, end in asked for b, lives in known)
