"""Questions on common luck: the lives of a batch, none lived twice, over weighted models."""

from __future__ import annotations

import numpy as np
import pytest
from pandas.testing import assert_frame_equal

from petsim import (
    ArgumentError,
    Evaluator,
    PolicyError,
    SpecError,
    batch,
    compare,
    load_model,
    load_regime,
)
from petsim.study.runner import Runner

MODEL = "lamplet-quick"
CHANGES = {"checks.every": "20 min", "care.play.works": "40%"}

POLICY = """
class Cleaner:
    regime = {"petsim": "regime 1", "name": "Cleaner", "checks": {"every": "20 min"}}

    def check(self, look):
        if look()["waste"]:
            yield "clean"
"""


def changed_by_hand(every="20 min", works="40%"):
    model = load_model(MODEL).model_dump(by_alias=True)
    model["care"]["play"]["works"] = works
    regime = load_regime("hourly").model_dump(by_alias=True)
    regime["checks"]["every"] = every
    return model, regime


@pytest.fixture
def lived(monkeypatch):
    """The numbers of the lives that are handed out, in order."""
    numbers, submit = [], Runner._submit

    def counted(self, chunk):
        numbers.extend(chunk.numbers)
        return submit(self, chunk)

    monkeypatch.setattr(Runner, "_submit", counted)
    return numbers


# The lives


@pytest.mark.parametrize("span", [{}, {"until": "death"}, {"days": 1.5}])
def test_lives_are_those_of_a_batch_of_the_changed_files(span):
    evaluator = Evaluator(MODEL, "hourly", seed=7, **span)
    [made] = evaluator.evaluate(CHANGES, 300).batches
    expected = batch(*changed_by_hand(), lives=300, seed=7, **span)
    assert_frame_equal(made.lives, expected.lives)
    assert (made.seed, made.span, made.engine) == (7, expected.span, "compiled")
    assert made.caretaker.regime.checks.every == 1200
    [same] = evaluator.evaluate(lives=300).batches
    assert_frame_equal(same.lives, batch(MODEL, "hourly", lives=300, seed=7, **span).lives)


def test_files_may_be_given_whole():
    evaluator = Evaluator(MODEL, "hourly")
    model, regime = changed_by_hand()
    expected = batch(model, regime, lives=100)
    for changes, whole in (
        ({}, {"models": model, "regime": load_regime(regime)}),
        ({"checks.every": "20 min"}, {"models": [load_model(model)]}),
        ({"care.play.works": "40%"}, {"regime": regime}),
    ):
        [made] = evaluator.evaluate(changes, 100, **whole).batches
        assert_frame_equal(made.lives, expected.lives)


@pytest.mark.parametrize("workers", [1, 2])
def test_a_policy_of_a_file_keeps_its_mind_under_a_changed_regime(workers, tmp_path):
    file = tmp_path / "cleaner.py"
    file.write_text(POLICY)
    evaluator = Evaluator(MODEL, f"{file}:Cleaner", workers=workers, days=0.5)
    slow, usual = evaluator.evaluate({"checks.every": "2 h"}, 50), evaluator.evaluate(lives=50)
    file.write_text(POLICY.replace("20 min", "2 h"))
    for made, every in ((slow, 7_200), (usual, 1_200)):
        assert made.batches[0].caretaker.regime.checks.every == every
    expected = batch(MODEL, f"{file}:Cleaner", lives=50, days=0.5)
    assert_frame_equal(slow.batches[0].lives, expected.lives)
    assert slow.batches[0].lives["checks"].mean() < usual.batches[0].lives["checks"].mean()


# Reuse


def test_no_life_is_lived_twice_and_more_lives_take_only_the_missing_ones(lived):
    evaluator = Evaluator(MODEL, "hourly")
    first = evaluator.evaluate(CHANGES, 300)
    assert sorted(lived) == [*range(300)]
    lived.clear()
    again = evaluator.evaluate(dict(reversed(CHANGES.items())), 300)
    # another spelling of the same content, and the content itself
    spelt = evaluator.evaluate({"checks.every": "1200 s", "care.play.works": "40 %"}, 300)
    model, regime = changed_by_hand()
    whole = evaluator.evaluate(lives=300, models=model, regime=regime)
    fewer = evaluator.evaluate(CHANGES, 70)
    assert lived == []
    for other in (again, spelt, whole):
        assert_frame_equal(other.batches[0].lives, first.batches[0].lives)
    assert_frame_equal(fewer.batches[0].lives, first.batches[0].lives.head(70))
    more = evaluator.evaluate(CHANGES, 900)
    assert sorted(lived) == [*range(300, 900)]
    assert_frame_equal(more.batches[0].lives, batch(model, regime, lives=900).lives)


def test_what_says_something_else_is_lived(lived):
    evaluator = Evaluator(MODEL, "hourly")
    evaluator.evaluate(CHANGES, 10)
    for changes in (CHANGES | {"checks.every": "21 min"}, CHANGES | {"care.play.works": "41%"}):
        lived.clear()
        evaluator.evaluate(changes, 10)
        assert lived == [*range(10)]


def test_classes_that_are_called_alike_are_not_the_same(lived):
    def feeder(below):
        class Feeder:
            regime = "hourly"

            def check(self, look):
                return ["feed"] if look()["hunger"] < below else []

        return Feeder

    one, other = feeder(3), feeder(1)
    evaluator = Evaluator(MODEL, one, days=1)
    fed = [evaluator.evaluate(lives=5, regime=policy).batches[0] for policy in (one, other, one)]
    assert lived == [*range(5), *range(5)]
    assert_frame_equal(fed[0].lives, fed[2].lives)
    assert fed[0].lives["done.feed"].sum() > fed[1].lives["done.feed"].sum()


def test_models_that_are_alike_are_lived_once(lived):
    made = Evaluator([MODEL, "lamplet", MODEL], "hourly").evaluate(lives=10)
    assert sorted(lived) == sorted([*range(10), *range(10)])
    assert [b.model.id for b in made.batches] == [MODEL, "lamplet", MODEL]
    assert made.batches[0].lives.equals(made.batches[2].lives)


def test_what_was_asked_for_longest_ago_is_forgotten_first(lived):
    evaluator = Evaluator(MODEL, "hourly", keep=250)
    minutes = {n: {"checks.every": f"{n} min"} for n in (20, 30, 40)}
    for n in (20, 30, 20, 40):  # the last of which is one too many
        evaluator.evaluate(minutes[n], 100)
    lived.clear()
    evaluator.evaluate(minutes[20], 100)
    assert lived == []
    evaluator.evaluate(minutes[30], 100)
    assert sorted(lived) == [*range(100)]


# Odds


def test_odds_of_one_model_are_its_share_and_differences_those_of_a_comparison():
    evaluator = Evaluator(MODEL, "hourly", seed=3)
    slow, quick = evaluator.evaluate(lives=400), evaluator.evaluate(regime="ten-minute", lives=700)
    odds, share = slow.odds("ember"), slow.batches[0].share("ember")
    assert odds.sampling == pytest.approx(share, abs=1e-12)
    assert (odds.low, odds.high) == pytest.approx(share[1:], abs=1e-9)
    assert odds.spread == 0
    [expected] = compare(MODEL, ["ten-minute", "hourly"], lives=400, seed=3).differences[0:1]
    difference = quick.difference(slow)
    less = -np.array(expected.interval)[[0, 2, 1]]
    assert difference.sampling == pytest.approx(less, abs=1e-12)
    assert (difference.low, difference.high) == pytest.approx(less[1:], abs=1e-9)
    assert slow.difference(slow).estimate == 0


def test_odds_over_models_are_weighted_and_their_doubt_is_told_apart():
    # one guess at the pet under which the aim is likely, and one under which it is not
    models = [changed_by_hand(works=works)[0] for works in ("90%", "2%")]
    evaluator = Evaluator(models, "ten-minute", weights=[3, 2])
    made = evaluator.evaluate(lives=500)
    likely, unlikely = made.shares()
    assert made.weights == (0.6, 0.4)
    odds = made.odds()
    assert odds.estimate == pytest.approx(0.6 * likely.estimate + 0.4 * unlikely.estimate)
    apart = likely.estimate - unlikely.estimate
    assert apart > 0.1
    assert odds.spread == pytest.approx(apart * (0.6 * 0.4) ** 0.5)
    # which model is true matters more than the luck of 500 lives
    assert odds.low < unlikely.estimate < odds.sampling.low
    assert odds.sampling.high < likely.estimate < odds.high
    alone = Evaluator(models, "ten-minute", weights=[1, 0]).evaluate(lives=500).odds()
    assert (alone.estimate, alone.spread) == (likely.estimate, 0)
    assert alone[1:3] == pytest.approx(likely[1:], abs=1e-9)


# Errors


def test_a_value_that_does_not_fit_is_named_with_its_path():
    evaluator = Evaluator(MODEL, "hourly")
    for changes, message in (
        ({"checks.every": "soon"},
         "checks.every: found 'soon'; expected a time with its unit, such as 20 min or "
         "1 h 30 min, or never (hourly.yaml:6:17)"),
        ({"care.play.works": "120%", "checks.every": "5 min"},
         "care.play.works: found '120%'; expected a chance from 0% to 100%, such as 70% or 0.7 "
         "(lamplet-quick.yaml:19:48)"),
        ({"passes.more": "2"},
         "passes.more: found '1'; expected a path that ends above 'more' (hourly.yaml:14:1)"),
    ):  # fmt: skip
        with pytest.raises(SpecError) as caught:
            evaluator.evaluate(changes, 1)
        assert str(caught.value) == f"changes: {message}"


@pytest.mark.parametrize(
    ("use", "message"),
    [
        (lambda e: e.evaluate({"check.every": "5 min"}),
         "changes check.every: found the unknown key 'check'; did you mean 'checks'?"),
        (lambda e: e.evaluate({"care.pley.works": "50%"}),
         "changes care.pley.works: found the unknown action 'pley'; did you mean 'play'?"),
        (lambda e: e.evaluate({".": "50%"}), "changes .: found '.'; expected a path such as"),
        (lambda e: e.evaluate({"checks.every": {1.5: 2}}), "changes checks.every: found the key"),
        (lambda e: e.evaluate(lives=0), "lives: 0; expected at least 1"),
        (lambda e: e.evaluate(models=[MODEL] * 2), "models: 2; expected 1"),
        (lambda e: e.evaluate(lives=1).odds("becon"), "outcome: 'becon'; did you mean 'beacon'?"),
        (lambda e: e.evaluate(lives=1).difference(Evaluator(MODEL, "hourly", seed=1).evaluate()),
         "other: of other luck; expected one of the same evaluator"),
        (lambda _: Evaluator([], "hourly"), "models: []; expected a model, or a list of one or"),
        (lambda _: Evaluator(MODEL, "hourly", weights=[1, 2]),
         "weights: 2; expected 1, as there are models"),
        (lambda _: Evaluator(MODEL, "hourly", weights=[-1]), "weights: [-1]; expected numbers"),
        (lambda _: Evaluator(MODEL, "hourly", weights=[0]), "weights: [0]; expected numbers"),
        (lambda _: Evaluator(MODEL, "hourly", aim="glow"), "aim: 'glow', no form of the outcome"),
        (lambda _: Evaluator(MODEL, "hourly", keep=0), "keep: 0; expected at least 1"),
        (lambda _: Evaluator(MODEL, "hourly", workers=0), "workers: 0; expected at least 1"),
        (lambda _: Evaluator(MODEL, "hourly", engine="fast").evaluate(), "engine: 'fast'"),
    ],
)  # fmt: skip
def test_an_argument_out_of_its_range_is_named(use, message):
    with pytest.raises(ArgumentError) as caught:
        use(Evaluator(MODEL, "hourly"))
    assert str(caught.value).startswith(message)


def test_what_a_policy_does_wrong_is_told():
    class Odd:
        def check(self, look):
            return ["feet"]

    with pytest.raises(PolicyError, match="asked for 'feet'"):
        Evaluator(MODEL, Odd).evaluate(lives=3)


def test_several_changes_are_lived_together(lived):
    evaluator, changes = Evaluator(MODEL, "hourly", seed=7), [{}, CHANGES, {}]
    together = evaluator.evaluate_each(changes, 50)
    # the two that are alike once
    assert len(lived) == 100
    for changed, answer in zip(changes, together, strict=True):
        [made], [alone] = (
            answer.batches,
            Evaluator(MODEL, "hourly", seed=7).evaluate(changed, 50).batches,
        )
        assert_frame_equal(made.lives, alone.lives)
    assert evaluator.evaluate_each([], 50) == []
    # and of more lives only those that are missing
    lived.clear()
    evaluator.evaluate_each(changes, 60)
    assert sorted(lived) == sorted([*range(50, 60)] * 2)
