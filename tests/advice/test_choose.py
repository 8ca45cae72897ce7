"""Choosing the cheapest care: what is chosen, what is said of the rest, and what is refused."""

from __future__ import annotations

import math
import sys

import numpy as np
import pytest
from scipy.special import lambertw

import petsim
from petsim import ArgumentError, SpecError, batch, choose, compare, load_regime
from petsim.advice.choosing.racing import Standing
from petsim.advice.choosing.search import Search
from petsim.theory.worlds import every, pet, regime

MODEL = "lamplet-quick"
VARY = {"checks.every": "10 min, 20 min", "routine[4].when.hunger": "below 2, below 6"}
QUICK = {"lives": 400}


@pytest.fixture(scope="module")
def choice():
    return choose(MODEL, "ten-minute", VARY, at_least=0.75, **QUICK)


# What is chosen


def test_the_cheapest_that_reaches_the_odds_is_chosen(choice):
    by_values = {tuple(c.candidate.texts.values()): c for c in choice.candidates}
    assert choice.candidates[choice.chosen.number] is by_values["10 min", "below 2"]
    # what checks more rarely is cheaper, and falls short
    assert by_values["20 min", "below 2"].standing is Standing.SHORT
    assert by_values["20 min", "below 2"].more.high < 0
    assert by_values["10 min", "below 6"].standing is Standing.DEARER
    assert (choice.as_cheap, choice.cheaper) == ([], [])


def test_it_is_confirmed_on_the_lives_of_the_next_seed(choice):
    of_its_own = batch(MODEL, choice.regime, lives=400, seed=1)
    [tried] = choice.tries
    assert (choice.fresh_seed, tried.holds, tried.level) == (1, True, 0.95)
    assert tried.odds.estimate == of_its_own.share("beacon").estimate
    figures = compare(MODEL, [choice.regime], lives=400, seed=1).as_dict()["regimes"][0]
    assert tried.cost.estimate == pytest.approx(figures["presses_per_day"])
    assert tried.odds.low >= 0.75


def test_a_candidate_is_what_its_lives_say(choice):
    dearer = choice.candidates[1]
    assert dearer.candidate.texts == {
        "checks.every": "10 min",
        "routine[4].when.hunger": "below 6",
    }
    lived = batch(MODEL, "ten-minute", lives=dearer.lives)
    assert dearer.odds.estimate == lived.share("beacon").estimate
    days = lived.values["end_s"] / 86_400
    assert dearer.cost.estimate == pytest.approx((lived.values["presses"] / days).mean())
    assert dearer.more.estimate == pytest.approx(
        dearer.cost.estimate - choice.candidates[0].cost.estimate
    )


def test_neither_workers_nor_the_order_of_what_varies_matter(choice):
    turned = {path: VARY[path] for path in reversed(VARY)}
    again = choose(MODEL, "ten-minute", turned, at_least=0.75, workers=1, **QUICK)
    assert again.chosen.as_dict() | {"candidate": 0} == choice.chosen.as_dict()
    same = choose(MODEL, "ten-minute", VARY, at_least=0.75, workers=1, **QUICK)
    assert same.as_dict() == choice.as_dict()


def test_without_odds_to_reach_the_cheapest_of_all_is_chosen():
    found = choose(MODEL, "ten-minute", VARY, lives=200)
    assert found.candidates[found.chosen.number].candidate.texts["checks.every"] == "20 min"
    assert found.at_least is None


def test_if_none_reaches_the_odds_the_best_is_told():
    vary = {"checks.every": "10 min, 20 min, 40 min"}
    found = choose(MODEL, "ten-minute", vary, at_least=0.99, **QUICK)
    assert found.chosen is found.regime is None
    [best] = found.tries
    assert found.candidates[best.number].candidate.texts == {"checks.every": "10 min"}
    assert best.odds.estimate == batch(MODEL, "ten-minute", lives=400, seed=1).share("beacon")[0]
    assert best.odds.high < 0.99
    assert str(found).startswith("None reaches 99 % beacon. Best: every 10 min: ")


def test_the_estimate_may_reach_what_the_bound_does_not():
    how = {"vary": {"checks.every": "10 min, 40 min"}, "lives": 200}
    # just below what it is on the fresh lives, which here are those of seed 1 alike
    share = batch(MODEL, "ten-minute", lives=200, seed=1).share("beacon").estimate
    asked = {"at_least": min(share, batch(MODEL, "ten-minute", lives=200).share("beacon")[0])}
    assert choose(MODEL, "ten-minute", **how, **asked).chosen is None
    assert choose(MODEL, "ten-minute", **how, **asked, on="estimate").chosen is not None


@pytest.mark.parametrize(("mean", "cost"), [(3600, 600), (900, 360)])
def test_checks_are_put_where_theory_puts_them(mean, cost, tmp_path):
    """A check costs as much as `cost` seconds empty: 1 - (1 + y) e^-y = cost / mean, T = y mean.

    By renewal and reward, of a need that is filled and empties again and again; Ross, Stochastic
    Processes, sect. 3.6 (from memory). Where a single emptying is paid for the interval is that of
    Barlow, Hunter and Proschan (1963), e^y - y - 1 = cost / mean; `petsim.theory.best_intervals`
    has both.
    """
    best = -mean * (1 + lambertw((cost / mean - 1) / math.e, -1).real)
    days, values = 4, [round(best * 1.5**power) for power in range(-3, 4)]
    model, care = tmp_path / "pebble.yaml", tmp_path / "rocky.yaml"
    model.write_text(pet(f"drops: {{hunger: exponential {mean} s}}"))
    care.write_text(regime(every(600)))
    found = choose(
        model,
        care,
        {"checks.every": [f"{value} s" for value in values]},
        # checks are counted a day, seconds a life
        cheapest=f"checks + {1 / cost / days:.12f}*level_s.hunger.0",
        days=days,
        lives=2000,
    )
    [every_s] = found.candidates[found.chosen.number].candidate.texts.values()
    assert every_s == f"{values[3]} s"
    others = [each for each in found.candidates if each is not found.candidates[found.reference]]
    assert {each.standing for each in others} == {Standing.DEARER}


# Several models


def test_of_several_models_the_weighted_odds_are_held_against_what_is_asked():
    likely, unlikely = (
        petsim.load_model(MODEL).model_dump(by_alias=True) | {"name": name} for name in "ab"
    )
    unlikely["care"]["reprimand"]["works"] = "30%"
    how = {"vary": {"checks.every": "10 min, 20 min"}, "at_least": 0.7, **QUICK}
    found = choose([likely, unlikely], "ten-minute", weights=[9, 1], **how)
    shares = [each.estimate for each in found.tries[-1].evaluation.shares()]
    assert found.tries[-1].odds.estimate == pytest.approx(0.9 * shares[0] + 0.1 * shares[1])
    assert [each["model"] for each in found.chosen.as_dict()["by_model"]] == ["a", "b"]
    assert choose([likely, unlikely], "ten-minute", weights=[1, 9], **how).chosen is None


# Too many to look at all


def test_of_many_only_a_sample_is_looked_at():
    vary = {
        "checks.every": "10 min..69 min/1 min",
        "routine[4].when.hunger": [f"below {n}" for n in range(1, 7)],
        "passes": "1, 2",
    }
    found = choose(MODEL, "ten-minute", vary, cheapest="checks", days=0.1, lives=100)
    assert (found.space.number_of_cells, found.space.sample) == (720, "latin")
    assert 200 < len(found.candidates) <= 256
    said = " ".join(str(found).split())
    assert (
        f"Looked at {len(found.candidates)} of 720 combinations, a Latin sample; what was not"
        in said
    )


def test_points_may_be_looked_at_where_it_seems_promising():
    pytest.importorskip("optuna")
    vary = {"checks.every": "2 min..120 min", "passes": "1, 2, 3, 4"}
    how = {"sample": "tpe", "points": 60, "cheapest": "checks + 0.01*level_s.hunger.0"}
    one, other = (choose(MODEL, "hourly", vary, lives=100, **how) for _ in range(2))
    assert one.as_dict() == other.as_dict()
    even = choose(MODEL, "hourly", vary, lives=100, **{**how, "sample": "latin"})
    costs = [np.array([c.cost.estimate for c in each.candidates]) for each in (one, even)]
    assert len(one.candidates) <= 60
    # the half that costs least is cheaper than that of an even sample, as it is looked for
    assert np.median(costs[0]) < np.median(costs[1])


def test_without_optuna_that_is_refused(monkeypatch):
    monkeypatch.setitem(sys.modules, "optuna", None)
    with pytest.raises(ArgumentError, match=r"tpe needs Optuna; .*petsim\[search\].*latin"):
        choose(MODEL, "hourly", {"checks.every": "10 min..60 min"}, sample="tpe")


# The routine


def test_steps_lead_to_a_cheaper_routine_that_still_reaches_the_odds():
    found = choose(MODEL, "ten-minute", at_least=0.7, steps=True, **QUICK)
    as_it_was = found.candidates[0]
    assert as_it_was.candidate.changes == {}
    assert found.chosen.cost.high < as_it_was.cost.low
    assert found.chosen.odds.low >= 0.7
    assert found.rounds > 1
    # and none that was met is shown to cost less and to reach them
    assert not [c for c in found.candidates if c.more.high < 0 and c.odds.low >= 0.7]
    assert len({c.candidate.key for c in found.candidates}) == len(found.candidates)
    assert "Cheapest found with at least 70 % beacon: " in str(found)


def test_steps_go_on_from_the_best_of_what_varies():
    vary = {"checks.every": "10 min, 11 min, 12 min"}
    found = choose(MODEL, "ten-minute", vary, at_least=0.7, steps=True, lives=200)
    chosen = found.candidates[found.chosen.number].candidate
    assert chosen.words
    assert chosen.texts.keys() == vary.keys()


# Ctrl-C


def test_interrupted_it_tells_what_is_known(monkeypatch):
    look = Search._look

    def interrupted(self, numbers, lives):
        if lives > 100:
            raise KeyboardInterrupt
        return look(self, numbers, lives)

    monkeypatch.setattr(Search, "_look", interrupted)
    found = choose(MODEL, "ten-minute", VARY, at_least=0.75, **QUICK)
    assert (found.interrupted, found.chosen, found.tries) == (True, None, ())
    assert str(found).startswith("Interrupted. Cheapest with at least 75 % beacon so far: every ")
    assert found.as_dict()["interrupted"]


def test_interrupted_before_anything_is_known_it_ends(monkeypatch):
    def interrupted(self, numbers, lives):
        raise KeyboardInterrupt

    monkeypatch.setattr(Search, "_look", interrupted)
    with pytest.raises(KeyboardInterrupt):
        choose(MODEL, "ten-minute", VARY, **QUICK)


# What is refused


@pytest.mark.parametrize(
    ("how", "message"),
    [
        ({"vary": {}}, "vary: nothing varies; expected a path with its values, or steps"),
        ({"at_least": 95}, "at_least: 95; expected odds above 0 and below 1, such as 0.95"),
        ({"at_least": 1}, "at_least: 1; expected odds above 0 and below 1, such as 0.95"),
        ({"on": "bounds"}, "on: 'bounds'; did you mean 'bound'?"),
        ({"cheapest": "press"}, "cheapest: 'press'; did you mean 'presses'?"),
        ({"lives": 99}, "lives: 99; expected at least 100"),
        ({"lives": 0}, "lives: 0; expected at least 1"),
        ({"precision": 1}, "precision: 1; expected a half-width between 0 and 0.5, such as 0.01"),
        ({"precision": 0.1, "lives": 200}, "precision: says how many lives; expected either"),
        ({"sample": "morris"}, "sample: 'morris'; expected one of 'latin', 'sobol', 'tpe'"),
        ({"points": 8}, "points: are of a sample; expected sample with it"),
        ({"vary": {}, "steps": True, "sample": "latin"}, "sample: is of what varies; expected"),
        (
            {"vary": {"chekcs.every": "1 h"}},
            "vary chekcs.every: found the unknown key",
        ),
        ({"vary": {"checks.every": "1 h..2 h"}}, "vary checks.every: found a range without a"),
        ({"steps": True}, r"vary routine[4].when.hunger: is for steps to change"),
    ],
)
def test_what_makes_no_sense_is_refused(how, message):
    with pytest.raises(ArgumentError) as refused:
        choose(MODEL, "ten-minute", **{"vary": VARY, **how})
    assert str(refused.value).startswith(message)


def test_a_value_that_does_not_fit_is_told_with_its_cell():
    with pytest.raises(SpecError, match=r"vary: checks.every: .*0 min"):
        choose(MODEL, "ten-minute", {"checks.every": "0 min, 10 min"})


def test_a_python_policy_has_no_steps(tmp_path):
    class Idle:
        regime = load_regime("ten-minute").model_dump(by_alias=True)

        def check(self, look):
            return []

    with pytest.raises(ArgumentError, match="is a Python policy, which has none"):
        choose(MODEL, Idle, steps=True)
