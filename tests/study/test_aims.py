"""What one aims for: one form, several, or what each is worth, and how it is estimated.

Wilson's intervals are checked against statsmodels; those of an expected worth against SciPy's t
intervals, which they must come close to as lives grow in number, and by simulation.
"""

from __future__ import annotations

import math
import shutil
import sqlite3
from contextlib import closing

import numpy as np
import pytest
from scipy.stats import t, ttest_rel
from statsmodels.stats.proportion import proportion_confint

from petsim import (
    ArgumentError,
    Comparison,
    Evaluator,
    batch,
    compare,
    load_model,
    open_sweep,
    sweep,
    trials,
)
from petsim.study.aims import Aim, read_aim
from petsim.study.frontier import Candidate, Frontier, Verdict
from petsim.study.stats import newcombe_paired, paired_t, wilson

MODEL = "lamplet"
WORTHS = {"beacon": 1, "lantern": 0.5}
Z = 1.959964


def aim(source=None):
    return read_aim(load_model(MODEL), source)


# What is given


def test_an_aim_is_the_models_or_as_given():
    assert aim() == aim("beacon") == aim({"beacon": 1}) == Aim("beacon", {"beacon": 1.0})
    assert aim("lantern").forms == ("lantern",)


def test_of_several_forms_each_counts_in_whatever_order_they_are_given():
    either = Aim("beacon or lantern", {"beacon": 1.0, "lantern": 1.0})
    for given in ("beacon,lantern", "lantern, beacon", ["lantern", "beacon"],
                  {"lantern": 1, "candle": 0, "beacon": 1.0}):  # fmt: skip
        assert aim(given) == either
    assert aim("candle,beacon,lantern").name == "beacon, lantern or candle"
    assert (either.is_share, either.figure, either.unit) == (
        True, "odds of beacon or lantern", "% of lives",
    )  # fmt: skip


def test_forms_may_be_worth_more_and_less():
    worth = aim({"lantern": 0.5, "beacon": 1, "candle": 0})
    assert worth == Aim("worth", {"beacon": 1.0, "lantern": 0.5})
    assert (worth.is_share, worth.figure, worth.unit) == (
        False, "expected worth", "% of full worth",
    )  # fmt: skip
    assert not aim({"lantern": 0.5}).is_share


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ("becon", "aim: 'becon', no form of the outcome stage 'adult'; did you mean 'beacon'?"),
        ("beacon,lanten", "aim: 'lanten', no form of the outcome stage 'adult'; did you mean 'lan"),
        ({"glow": 1}, "aim: 'glow', no form of the outcome stage 'adult'; expected one of"),
        ("beacon,", "aim: '', no form of the outcome stage 'adult'; expected one of 'beacon'"),
        ("beacon, beacon", "aim: 'beacon' is named twice; expected each form once"),
        ([], "aim: []; expected a form, several of them, or what each of some is worth"),
        (5, "aim: 5; expected a form, several of them, or what"),
        (["beacon", 1], "aim: ['beacon', 1]; expected a form, several"),
        ({"beacon": 2}, "aim: 'beacon' is worth 2; expected a number from 0 to 1"),
        ({"beacon": math.nan}, "aim: 'beacon' is worth nan; expected a number from 0 to 1"),
        ({"beacon": True}, "aim: 'beacon' is worth True; expected a number from 0 to 1"),
        ({"beacon": "1"}, "aim: 'beacon' is worth '1'; expected a number from 0 to 1"),
        ({"beacon": 0}, "aim: nothing is worth anything; expected a form worth more than 0"),
        ({}, "aim: {}; expected a form, several of them, or what each of some is worth"),
        ({5: 1}, "aim: {5: 1}; expected a form, several of them, or what each of some is worth"),
    ],
)  # fmt: skip
def test_what_is_no_aim_is_named(given, message):
    with pytest.raises(ArgumentError) as refused:
        aim(given)
    assert str(refused.value).startswith(message)


# Lives


def test_a_life_has_the_worth_of_what_becomes_of_it():
    lives = batch(MODEL, "camera-rig", lives=300, seed=2)
    outcomes = lives.lives["outcome"]
    expected = outcomes.astype(str).map(WORTHS).fillna(0.0)
    assert aim(WORTHS).values(lives).tolist() == expected.tolist()
    assert {0.0, 0.5, 1.0} <= {*expected}
    assert aim("lantern,beacon").values(lives).tolist() == [*map(float, expected > 0)]


# Intervals


def drawn(random, lives, *chances):
    """Lives worth 1, 0.5 or 0 with these chances."""
    return random.choice([1.0, 0.5, 0.0], size=lives, p=[*chances, 1 - sum(chances)])


@pytest.mark.parametrize(("x", "n"), [(0, 10), (3, 10), (10, 10), (271, 900)])
def test_odds_have_wilsons_interval(x, n):
    # Source: statsmodels, proportion_confint(method="wilson").
    interval = aim("beacon,lantern").interval(np.repeat([1.0, 0.0], [x, n - x]))
    assert interval == wilson(x, n)
    assert interval[1:] == pytest.approx(proportion_confint(x, n, method="wilson"), abs=1e-12)


@pytest.mark.parametrize("worth", [0.5, 0.3])
def test_what_one_form_is_worth_is_so_much_of_its_odds(worth):
    values = np.repeat([worth, 0.0], [7, 33])
    low, high = proportion_confint(7, 40, method="wilson")  # statsmodels, as above
    expected = [worth * 7 / 40, worth * low, worth * high]
    assert aim({"lantern": worth}).interval(values) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("lives", [1_000, 10_000, 100_000])
def test_a_worth_of_many_lives_has_the_interval_of_a_mean(lives):
    # Source: SciPy, t.interval. Wilson's ends are off from the normal ones by z**2 / n at most, of
    # which one sum of shares whose factors add up to 1 keeps no more.
    random, worth = np.random.default_rng(31), aim(WORTHS)
    ours, theirs = drawn(random, lives, 0.5, 0.3), drawn(random, lives, 0.4, 0.2)
    for interval, values, most in (
        (worth.interval(ours), ours, Z**2 / lives),
        (worth.difference(ours, theirs), ours - theirs, 2 * Z**2 / lives),
    ):
        error = values.std(ddof=1) / math.sqrt(lives)
        expected = t.interval(0.95, lives - 1, values.mean(), error)
        assert interval.estimate == pytest.approx(values.mean(), abs=1e-12)
        assert interval[1:] == pytest.approx(expected, abs=most)


@pytest.mark.parametrize(
    ("chances", "is_told"),
    [((0.5, 0.3), True), ((0.05, 0.1), True), ((0.98, 0.02), False), ((0.3, 0.7), False),
     ((0.016, 0.0), False), ((0.0, 0.016), False)],
)  # fmt: skip
def test_intervals_of_a_worth_hold_as_often_as_they_say(chances, is_told):
    # where some share is 0 or 1 they may hold more often, as the correlation can't be told
    random, worth, number, lives = np.random.default_rng(32), aim(WORTHS), 4_000, 200
    true, held = chances[0] + chances[1] / 2, 0
    for _ in range(number):
        interval = worth.interval(drawn(random, lives, *chances))
        held += interval.low <= true <= interval.high
    # 4.5 standard errors of a share of 95 %
    tolerance = 4.5 * math.sqrt(0.95 * 0.05 / number)
    assert held / number > 0.95 - tolerance
    assert held / number < 0.95 + tolerance or not is_told


def test_where_no_life_is_worth_anything_the_bound_is_that_of_the_worthiest_form():
    nothing, all_of_it = np.zeros(60), np.ones(60)
    assert aim(WORTHS).interval(nothing) == pytest.approx(wilson(0, 60), abs=1e-12)
    assert aim(WORTHS).interval(all_of_it) == pytest.approx(wilson(60, 60), abs=1e-12)


def test_intervals_of_a_difference_of_worths_hold_as_often_as_they_say():
    # common luck: one uniform a life says what it is worth under either care
    random, worth, number, lives = np.random.default_rng(33), aim(WORTHS), 4_000, 200
    ours, theirs, held = (0.5, 0.3), (0.35, 0.3), 0
    for _ in range(number):
        luck = random.random(lives)
        one, other = (
            np.where(luck < first, 1.0, np.where(luck < first + second, 0.5, 0.0))
            for first, second in (ours, theirs)
        )
        interval = worth.difference(one, other)
        held += interval.low <= 0.15 <= interval.high
    assert abs(held / number - 0.95) < 4.5 * math.sqrt(0.95 * 0.05 / number)


def test_an_interval_of_a_worth_never_leaves_the_worths_nor_is_it_nothing():
    worth = aim({"beacon": 0.8, "lantern": 0.5})
    for value, low, high in ((0.0, 0.0, 0.5), (0.5, 0.0, 0.8), (0.8, 0.5, 0.8)):
        interval = worth.interval(np.full(20, value))
        assert interval.estimate == pytest.approx(value)
        assert low - 1e-12 <= interval.low < interval.high <= high + 1e-12
    assert worth.interval(np.ones(1)).estimate == pytest.approx(0.8)


def test_a_difference_of_odds_has_newcombes_interval():
    ours, theirs = np.repeat([[1.0, 1, 0, 0], [1, 0, 1, 0]], [36, 12, 5, 7], axis=1)
    assert aim("beacon,lantern").difference(ours, theirs) == newcombe_paired(36, 12, 5, 7)


# Evaluators


@pytest.fixture(scope="module")
def evaluations():
    """Answers of evaluators by what is aimed for, of two models and one."""

    def evaluated(models, aim):
        evaluator = Evaluator(models, "camera-rig", seed=4, aim=aim, workers=1)
        return evaluator.evaluate(lives=400), evaluator.evaluate({"checks.every": "20 min"}, 300)

    sources = {"beacon": "beacon", "lantern": "lantern", "either": "beacon,lantern"}
    sources |= {"worth": WORTHS, "all": {"beacon": 1}}
    return {
        (name, count): evaluated([MODEL, "lamplet-tender"][:count], aim)
        for name, aim in sources.items()
        for count in (1, 2)
    }


@pytest.mark.parametrize("models", [1, 2])
def test_odds_of_one_of_two_are_the_sum_of_both(evaluations, models):
    one, other, either = (evaluations[x, models][0] for x in ("beacon", "lantern", "either"))
    total = one.odds().estimate + other.odds().estimate
    assert either.odds().estimate == pytest.approx(total, abs=1e-12)
    assert (either.values() == one.values() + other.values()).all()
    assert either.values().shape == (models, 400)


@pytest.mark.parametrize("models", [1, 2])
def test_a_form_alone_that_is_worth_1_is_the_aim_to_the_last_digit(evaluations, models):
    (plain, changed), (worth, changed_worth) = (evaluations[x, models] for x in ("beacon", "all"))
    assert (plain.odds(), plain.shares()) == (worth.odds(), worth.shares())
    assert changed.difference(plain) == changed_worth.difference(worth)
    assert (repr(plain), str(plain)) == (repr(worth), str(worth))


@pytest.mark.parametrize("models", [1, 2])
def test_an_expected_worth_is_what_each_form_adds(evaluations, models):
    made, changed = evaluations["worth", models]
    expected = made.odds("beacon").estimate + made.odds("lantern").estimate / 2
    odds, difference = made.odds(), changed.difference(made)
    assert odds.estimate == pytest.approx(expected, abs=1e-12)
    assert odds.low < odds.sampling.low + 1e-9 < odds.estimate < odds.high
    less = changed.values() - made.values()[:, :300]
    assert difference.estimate == pytest.approx(less.mean(), abs=1e-12)
    if models == 1:
        [share] = made.shares()
        assert odds[:3] == pytest.approx(share, abs=1e-9)
        both = changed.values()[0], made.values()[0, :300]
        assert difference[:3] == pytest.approx(made.aim.difference(*both), abs=1e-9)


def test_an_answer_says_what_was_asked(evaluations):
    for (name, models), words in {
        ("either", 1): "became beacon or lantern (95 % interval, seed 4).",
        ("worth", 1): "The expected worth of 400 lives of lamplet under camera-rig was ",
        ("worth", 2): "Over 2 models, the expected worth under camera-rig is ",
    }.items():
        answer = evaluations[name, models][0]
        assert words in " ".join(str(answer).split())
        assert f"{answer.aim} {answer.odds().estimate:.1%}" in repr(answer)
    assert " of full worth (95 % interval" in " ".join(str(evaluations["worth", 1][0]).split())
    assert "expected worth under it" in str(evaluations["worth", 2][0])
    evaluator = Evaluator(MODEL, "hourly", aim=WORTHS)
    assert "says what a life of lamplet is worth on average under hourly" in str(evaluator)


def test_answers_of_other_aims_have_no_difference(evaluations):
    made, other = evaluations["either", 1][0], evaluations["worth", 1][0]
    with pytest.raises(ArgumentError, match="other: of the aim worth; expected one of beacon or"):
        made.difference(other)
    assert made.difference(other, "ember").estimate == 0


def test_every_model_has_the_forms_aimed_for():
    with pytest.raises(ArgumentError, match="aim: 'candle', no form of the outcome stage"):
        Evaluator([MODEL, "lamplet-quick"], "hourly", aim="beacon,candle")


# Comparisons


@pytest.fixture(scope="module")
def lives():
    """Batches of the same lives under three regimes."""
    regimes = ["camera-rig", "ten-minute", "hourly"]
    return compare(MODEL, regimes, lives=400, seed=5, workers=1)


def compared(lives, source):
    return Comparison(lives.model, aim(source), lives.batches)


def test_a_comparison_tells_the_odds_of_one_of_two_beside_those_of_each(lives):
    told = compared(lives, "beacon,lantern").as_dict()
    assert told["aim"] == "beacon,lantern"
    for regime, made in zip(told["regimes"], lives.batches, strict=True):
        odds = regime["odds"]
        assert list(odds) == list(compared(lives, "beacon").as_dict()["regimes"][0]["odds"])
        both = made.counts["beacon"] + made.counts["lantern"]
        assert regime["expected_worth"] == wilson(both, 400)._asdict()
        total = odds["beacon"]["estimate"] + odds["lantern"]["estimate"]
        assert regime["expected_worth"]["estimate"] == pytest.approx(total, abs=1e-12)


def test_a_comparison_of_worths_has_the_paired_t_test(lives):
    # Source: SciPy, ttest_rel.
    result = compared(lives, WORTHS)
    first = result.aim.values(lives.batches[0])
    assert len({d.interval for d in result.differences}) == 2
    for difference, made in zip(result.differences, lives.batches[1:], strict=True):
        ours = result.aim.values(made)
        assert difference.interval == result.aim.difference(ours, first)
        assert difference.p_value == pytest.approx(ttest_rel(ours, first).pvalue, rel=1e-9)
        apart = np.var(ours) + np.var(first)
        assert difference.pairing_gain == pytest.approx(apart / np.var(ours - first))


def test_lives_that_are_all_alike_show_no_difference(lives):
    same = Comparison(lives.model, aim(WORTHS), (lives.batches[0], lives.batches[0]))
    [difference] = same.differences
    assert (difference.interval.estimate, difference.p_value) == (0, 1)
    assert math.isnan(difference.pairing_gain)
    assert not difference.shown
    assert paired_t(np.array([0.5])) == 1


@pytest.mark.parametrize("source", [{"beacon": 1}, ["beacon"], "beacon=100%"])
def test_a_comparison_of_one_form_is_the_same_however_it_is_given(lives, source):
    plain, other = compared(lives, "beacon"), compared(lives, source)
    assert other.as_dict() == plain.as_dict()
    assert str(other) == str(plain)
    assert "expected_worth" not in plain.as_dict()["regimes"][0]


def test_the_models_worth_wins_over_its_aim_and_what_is_given_over_both():
    data = load_model(MODEL).model_dump(by_alias=True)
    model = load_model(data | {"worth": {"lantern": "50%", "beacon": 1}})
    assert model.worth == {"lantern": 0.5, "beacon": 1.0}
    assert read_aim(model) == aim(WORTHS)
    assert read_aim(model, "lantern") == aim("lantern")
    result = compare(model, ["hourly"], lives=20, workers=1)
    assert result.aim == result.batches[0].aim == aim(WORTHS)
    assert "worth" in repr(result.batches[0])
    assert load_model(model.model_dump(by_alias=True)) == model
    # of a model that says what one form is worth, nothing is told but its odds
    alone = load_model(data | {"worth": {"beacon": 1}})
    assert read_aim(alone) == aim("beacon")


def test_of_equal_worth_the_models_aim_comes_first():
    data = load_model(MODEL).model_dump(by_alias=True) | {"aim": "lantern"}
    either = read_aim(load_model(data), "beacon,candle,lantern")
    assert (either.main, either.name) == ("lantern", "lantern, beacon or candle")
    assert read_aim(load_model(data), {"beacon": 1, "lantern": 0.9}).main == "beacon"


@pytest.mark.parametrize(
    "text",
    [
        "beacon",
        "beacon,lantern",
        "beacon=1,lantern=0.5",
        "lantern=0.25,candle=0.0000001",
        "beacon=0.3333333333333333",
    ],
)
def test_an_aim_as_text_is_read_as_it_was(text):
    assert aim(text).text == text
    assert aim(aim(text).worths) == aim(text)


def test_enough_lives_are_those_that_leave_a_worth_as_narrow_as_wanted():
    result = compare(MODEL, ["camera-rig"], precision=0.012, aim=WORTHS, workers=1)
    [made] = result.batches
    worth = result.aim.of(made)
    assert result.precision.reached
    assert (worth.high - worth.low) / 2 == result.precision.half_width <= 0.012


# Sweeps


@pytest.fixture(scope="module")
def sweeps(tmp_path_factory):
    folder, vary = tmp_path_factory.mktemp("sweeps"), {"checks.every": ["10 min", "30 min"]}
    sources = {"beacon": None, "lantern": "lantern", "either": "lantern,beacon", "worth": WORTHS}
    return {
        name: sweep(MODEL, ["ten-minute", "camera-rig"], vary, aim=source, lives=200, seed=6,
                    out=folder / name, workers=1)
        for name, source in sources.items()
    }  # fmt: skip


def test_a_sweep_keeps_its_aim_and_of_one_form_as_ever(sweeps):
    kept = {name: found.provenance["aim"] for name, found in sweeps.items()}
    assert kept == {
        "beacon": "beacon",
        "lantern": "lantern",
        "either": "beacon,lantern",
        "worth": "beacon=1,lantern=0.5",
    }
    for found in sweeps.values():
        again = open_sweep(found.path)
        assert again.design == found.design
        assert again.odds().equals(found.odds())


def test_odds_of_cells_add_up(sweeps):
    beacon, lantern, either, worth = (sweeps[name].odds() for name in sweeps)
    assert either["estimate"].to_numpy() == pytest.approx(beacon["estimate"] + lantern["estimate"])
    halved = beacon["estimate"] + lantern["estimate"] / 2
    assert worth["estimate"].to_numpy() == pytest.approx(halved)
    assert {*either["outcome"]} == {"beacon or lantern"}
    assert {*worth["outcome"]} == {"worth"}
    assert sweeps["worth"].odds("lantern").equals(sweeps["lantern"].odds())


def test_cells_have_the_odds_and_differences_of_a_comparison(sweeps):
    for name in ("either", "worth"):
        found = sweeps[name]
        odds, differences = found.odds(), found.differences()
        batches = [
            Evaluator(MODEL, regime, seed=6, workers=1).evaluate({"checks.every": every}, 200)
            for regime in ("ten-minute", "camera-rig")
            for every in ("10 min", "30 min")
        ]
        batches = [made.batches[0] for made in batches]
        values = [found.design.aim.values(made) for made in batches]
        for cell, (made, ours) in enumerate(zip(batches, values, strict=True)):
            ends = ["estimate", "low", "high"]
            assert tuple(odds.loc[cell, ends]) == found.design.aim.of(made)
            expected = found.design.aim.difference(ours, values[0])
            assert tuple(differences.loc[cell, ends]) == expected


def test_a_sweep_goes_on_only_with_the_same_aim(sweeps):
    path, vary = sweeps["either"].path, {"checks.every": ["10 min", "30 min"]}
    both = ["ten-minute", "camera-rig"]
    with pytest.raises(ArgumentError, match=r"--aim beacon,lantern"):
        sweep(MODEL, both, vary, aim=WORTHS, lives=200, seed=6, out=path, workers=1)
    again = sweep(
        MODEL, both, vary, aim="beacon,lantern", lives=200, seed=6, out=path, workers=1
    )  # fmt: skip
    assert again.odds().equals(sweeps["either"].odds())


def test_a_sweeps_file_with_an_aim_that_the_model_lacks_is_refused(sweeps, tmp_path):
    copy = tmp_path / "forged.sweep"
    shutil.copy(sweeps["worth"].path, copy)
    with closing(sqlite3.connect(copy)) as base, base:
        [kept] = base.execute("SELECT value FROM about WHERE key = 'design'").fetchone()
        forged = kept.replace("lantern=0.5", "lamp=0.5")
        assert forged != kept
        base.execute("UPDATE about SET value = ? WHERE key = 'design'", (forged,))
        base.execute("DELETE FROM about WHERE key = 'checksum'")
    with pytest.raises(ArgumentError, match=r"is damaged"):
        open_sweep(copy).odds()


def test_what_is_worth_its_work_goes_by_the_worth():
    # half of the second's lives are worth 0.5 where the first's are worth nothing
    less = {0: np.repeat([1.0, 0.0], 100)}
    more = {0: np.repeat([1.0, 0.5], 100)}
    both = [Candidate(1, less), Candidate(2, more)]
    assert Frontier(both, aim(WORTHS)).verdicts == [Verdict.WORTH, Verdict.WORTH]
    assert Frontier(both, aim(WORTHS)).odds == [0.5, 0.75]
    assert Frontier(both[::-1], aim(WORTHS)).best == [0]


# What can't be asked


def test_what_is_hoped_for_does_not_vary(tmp_path):
    for path in ("worth.beacon", "aim"):
        with pytest.raises(ArgumentError, match=r"says what is asked and not how the pet lives"):
            sweep(MODEL, ["hourly"], {path: ["1"]}, lives=1, out=tmp_path / "a")
        with pytest.raises(ArgumentError, match=r"expected it with --aim, or aim= in Python"):
            Evaluator(MODEL, "hourly").evaluate({path: "1"}, 1)


def test_real_pets_are_held_against_odds_not_against_a_worth():
    with pytest.raises(ArgumentError) as refused:
        trials(3, 5, "hourly", lives=1, aim=WORTHS)
    assert str(refused.value) == (
        "aim: beacon=1,lantern=0.5 is a worth, and real pets are held against odds; expected forms "
        "that all count alike, such as beacon,lantern"
    )
    real = trials(3, 5, "camera-rig", lives=200, aim="beacon,lantern", workers=1)
    either = Evaluator(MODEL, "camera-rig", aim="beacon,lantern").evaluate(lives=200)
    assert real.odds.value == either.odds().estimate
    assert real.odds.as_dict()["aim"] == "beacon,lantern"
