"""How bad each thing may be: against odds in closed form, a sweep, and what else must hold."""

from __future__ import annotations

import math
import pickle
import re

import pytest
from scipy import stats

import petsim
from petsim import ArgumentError, Evaluator, SpecError, load_model, load_regime
from petsim.advice.limits.quantities import quantities
from petsim.advice.limits.roots import fall
from petsim.advice.limits.tolerance import Search, Tolerances, tolerance
from petsim.life.caretaker import load_caretaker
from petsim.spec.library import check_together
from petsim.spec.names import shipped
from petsim.spec.parts import as_yaml
from petsim.study.stats import Interval
from petsim.study.thresholds import stretches
from petsim.theory.worlds import regime
from tests.advice.pebbles import DEADLINE, EMPTY, FEED_ON_CALL, GRACE, LONG, files, once

LEVEL, LIVES = 0.9, 2_000
FIGURES = {"precision": 1e-3, "lives": LIVES}
"""So narrow that all lives are lived near a limit."""
ERROR = math.sqrt(LEVEL * (1 - LEVEL) / LIVES)
"""The standard error of odds at the level."""
Z = stats.norm.ppf(0.975)
HOUR = 3600.0


def on_at(t, up, down):
    """The chance that the power is on at a time, having been on at 0, both laws exponential.

    An alternating renewal process; Ross, Stochastic Processes, sect. 3.4 (from memory).
    """
    share = up / (up + down)
    return share + (1 - share) * math.exp(-(1 / up + 1 / down) * t)


REPEATED = "{when: {hunger: 0}, do: feed, repeat: 3}"
EARLY = EMPTY + 100
CASES = {
    # of r tries all slip with the chance s^r (geometric law)
    "hands.slips": (once(routine=(REPEATED,)), lambda s: 1 - s**3),
    "hands.slips of two": (
        once("hands: {feed: {slips: 90%}}", routine=(REPEATED.replace("3", "2"),)),
        lambda s: 1 - s**2,
    ),
    # k looks before the deadline all overlook a call with the chance b^k (the same law)
    "eyes.calling.overlooks": (
        regime(f"checks: {{every: 300 s, first: {EARLY} s}}", routine=(FEED_ON_CALL,)),
        lambda b: 1 - b**3,
    ),
    # a level of 0 is clamped, so that half the misreadings are right
    "eyes.hunger.misreads": (
        regime(f"checks: {{every: 300 s, first: {EARLY} s}}"),
        lambda e: 1 - (e / 2) ** 3,
    ),
    "checks.forgets": (once(), lambda f: 1 - f),
    "outages.up": (
        once("outages: {up: exponential 40 h, down: exponential 30 min}"),
        lambda a_day: on_at(1500, 24 * HOUR / a_day, 1800.0),
    ),
    "outages.up of none": (once(), lambda a_day: on_at(1500, 24 * HOUR / a_day, HOUR)),
    "outages.down": (
        once("outages: {up: exponential 3 h, down: exponential 2 h}"),
        lambda down: on_at(1500, 3 * HOUR, down),
    ),
    # late by under 300 s; a sample is rounded, so that it is by under 299.5 s
    "checks.late": (once(), lambda m: -math.expm1(-299.5 / m)),
    "checks.late of a law": (
        once(checks=", late: weibull shape 2 scale 50 s"),
        lambda m: -math.expm1(-((299.5 * math.gamma(1.5) / m) ** 2)),
    ),
    "listens.hears": (
        regime("listens: {hears: 50%, reacts in: 10 s}"),
        lambda deaf: 1 - deaf,
    ),
    "listens.reacts in": (
        regime("listens: {hears: 100%, reacts in: exponential 20 min}"),
        lambda m: -math.expm1(-(GRACE - 0.5) / m),
    ),
    # a grid of random phase: the first check from 1000 s on comes before the deadline
    "checks.every": (
        regime("checks: {every: 20 min, first: random}"),
        lambda every: min(1.0, GRACE / every),
    ),
}
"""What has a limit, a caretaker, and the odds as a function of it; names after `of` tell apart."""


def limit_of(path, files, *, at_least=LEVEL, seed=5, precision=1e-3, lives=LIVES, workers=None):
    """The limit of one thing alone, by default by all lives."""
    evaluator = Evaluator(*files, seed=seed, workers=workers)
    caretaker = evaluator.caretaker
    asked = {each.path: each for each in quantities(caretaker, evaluator.models[0])}
    search = Search(evaluator, caretaker.under(caretaker.regime), at_least, precision, lives)
    return search.tolerance(asked[path])


@pytest.mark.parametrize("name", CASES)
def test_a_limit_is_where_odds_in_closed_form_cross_the_level(name, tmp_path):
    caretaker, odds = CASES[name]
    each = limit_of(name.partition(" of ")[0], files(tmp_path, caretaker))
    assert odds(each.limit) == pytest.approx(LEVEL, abs=4.5 * ERROR)
    # the ends are where Wilson's interval of the odds has the level at an end; how many of the
    # lives change between them is a Poisson number, near enough
    between = 2 * Z * ERROR
    luck = math.sqrt(between / LIVES)
    assert odds(each.low) - odds(each.high) == pytest.approx(between, abs=4.5 * luck)
    assert (each.low < each.limit < each.high, each.holds) == (True, "up to a limit")
    if each.today:
        assert each.room == each.limit / each.today


def test_reference_digits_of_the_power_that_is_on():
    """Ross, Stochastic Processes, sect. 3.4; digits computed apart from this project."""
    assert on_at(1800, 86_400, 3_600) == pytest.approx(0.983761, abs=6e-7)
    assert on_at(7200, 43_200, 1_800) == pytest.approx(0.960620, abs=6e-7)


def test_all_errors_together_are_one_factor_of_each(tmp_path):
    caretaker = once(
        "eyes: {hunger: {misreads: 20%}}", "hands: {feed: {slips: 10%}}", checks=", forgets: 10%"
    )

    def odds(factor):
        # not forgotten, a level of 0 read rightly, and no slip, each by itself
        rights = ((1 - factor * x) for x in (0.1, 0.1, 0.1))
        return math.prod(rights)

    found = tolerance(*files(tmp_path, caretaker), at_least=LEVEL, seed=6, **FIGURES)
    together = found.together
    assert odds(together.limit) == pytest.approx(LEVEL, abs=4.5 * ERROR)
    assert odds(1) == pytest.approx(0.729)
    assert found.falls_short
    assert not found.is_near
    # each alone would leave the other two
    in_vain = {each.path: each for each in found.each if each.holds == "nowhere"}
    share = math.sqrt(0.81 * 0.19 / LIVES)
    for path in ("eyes.hunger.misreads", "hands.slips", "checks.forgets"):
        assert in_vain[path].end.estimate == pytest.approx(0.81, abs=4.5 * share)
        assert in_vain[path].room == 0


def test_the_interval_of_a_limit_holds_it_as_often_as_it_says(tmp_path):
    """Over other seeds, lived and not drawn: slips of the toy, of which the limit is 10 %."""
    model, caretaker = files(tmp_path, once())
    tries, held = 40, 0
    for seed in range(tries):
        evaluator = Evaluator(model, caretaker, seed=seed, workers=1)

        def curve(place, lives, evaluator=evaluator):
            slips = f"{100 * (2**place - 1) / 100:.6f}%"
            return Interval(*evaluator.evaluate({"hands.feed.slips": slips}, lives).odds()[:3])

        exact = math.log2(1 + 10)
        _, low, high = fall(curve, LEVEL, 0.0, 1.0, 6.0, precision=0.2, most=LIVES)
        held += low <= exact <= high
    # too few by luck in one of 100,000 such tests if each holds in 95 %
    assert held >= stats.binom.ppf(1e-5, tries, 0.95)


@pytest.mark.parametrize(
    ("path", "values"),
    [
        ("eyes.asleep.imagines", "26%..46%/4%"),
        ("checks.forgets", "1%..16%/3%"),
    ],
)
def test_a_limit_is_that_of_a_sweep(path, values, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    lives, level = 1_000, 0.7
    found = limit_of(path, ("lamplet-quick", "ten-minute"), at_least=level, seed=0, lives=lives)
    swept = petsim.sweep("lamplet-quick", ["ten-minute"], {path: values}, lives=lives, out="s")
    odds = [Interval(*row) for row in swept.odds()[["estimate", "low", "high"]].to_numpy()]
    first, _, step = (int(number) / 100 for number in re.findall(r"(\d+)%", values))
    places = [first + step * n for n in range(len(odds))]
    [stretch] = stretches(places, odds, level)
    # the same lives, but straight lines between values that are farther apart, so that the two
    # need only be within what luck leaves of either
    assert stretch.ends.low < found.limit < stretch.ends.high
    assert found.low < stretch.ends.at < found.high


# Quantities


@pytest.mark.parametrize("name", shipped("regimes"))
def test_what_a_regime_becomes_can_be_written_and_read_and_today_changes_nothing(name):
    model = load_model("lamplet")
    caretaker = load_caretaker(name, model)
    for quantity in quantities(caretaker, model):
        assert quantity.best <= quantity.today <= quantity.worst
        assert quantity.best < quantity.worst
        assert quantity.at(caretaker.regime, quantity.today) is caretaker.regime
        for value in (quantity.best, quantity.worst):
            changed = quantity.at(caretaker.regime, value)
            check_together(model, changed)
            again = load_regime(changed.source().data, model)
            assert as_yaml(again) == as_yaml(changed)
        for place in (0.0, 1.0, 4.2):
            assert quantity.place(quantity.value(place)) == pytest.approx(place)


def named(regime_text_or_name, model="lamplet"):
    loaded = load_model(model)
    caretaker = load_caretaker(regime_text_or_name, loaded)
    return {quantity.path: quantity for quantity in quantities(caretaker, loaded)}, caretaker


def test_quantities_change_what_they_are_named_after():
    by_path, caretaker = named("camera-rig")
    rig = caretaker.regime
    eyes = by_path["eyes.waste.overlooks"].at(rig, 0.25).eyes
    assert (eyes.waste.overlooks, eyes.waste.imagines, eyes.ill) == (0.25, 0.02, rig.eyes.ill)
    assert by_path["eyes.hunger.misreads"].at(rig, 0.3).eyes.levels["hunger"].misreads == 0.3
    spells = by_path["eyes.spells.ill.overlooks"].at(rig, 0.5).eyes.spells
    assert (spells.ill.overlooks, spells.waste.overlooks) == (0.5, 0.8)
    twice_a_day = by_path["eyes.spells.clear"].at(rig, 2.0).eyes.spells
    assert str(twice_a_day.clear) == "exponential 12 h"
    assert by_path["eyes.spells.clear"].at(rig, 0.0).eyes.spells is None
    all_slip = by_path["hands.slips"].at(rig, 0.2).hands
    assert {hand.slips for hand in all_slip.actions.values()} == {0.2}
    one = by_path["hands.feed.slips"].at(rig, 0.2).hands
    assert (one.of("feed").slips, one.of("play").slips) == (0.2, 0.03)
    assert one.of("feed").into == rig.hands.of("feed").into
    outages = by_path["outages.up"].at(rig, 2.0).outages
    assert str(outages.up) == "exponential 12 h"
    assert outages.down == rig.outages.down
    assert by_path["checks.every"].at(rig, 900.0).checks.every == 900


def test_presses_that_land_elsewhere_leave_as_many_that_land_nowhere():
    by_path, caretaker = named("camera-rig")
    before = caretaker.regime.hands.of("feed")
    for factor in (0.0, 0.5, 3.0):
        after = by_path["hands.into"].at(caretaker.regime, factor).hands.of("feed")
        nowhere = after.slips * (1 - sum(after.into.values()))
        assert nowhere == pytest.approx(before.slips * 0.6)
        assert after.slips - nowhere == pytest.approx(factor * before.slips * 0.4)


def test_chances_that_differ_grow_by_one_factor_and_up_to_one():
    by_path, caretaker = named("office-rota")
    forgets = by_path["checks.forgets"]
    assert (forgets.unit, forgets.today, forgets.worst) == ("factor", 1.0, 20.0)
    checks = forgets.at(caretaker.regime, 15.0).checks
    assert (checks.forgets, checks.windows[0].forgets) == (0.75, 1.0)
    by_path, caretaker = named("school-day")
    longer = by_path["checks.every"].at(caretaker.regime, 2.0).checks
    assert [window.every for window in longer.windows] == [1800, 1200, 3600, 2400, 3600, 1800]
    assert longer.every is None
    assert by_path["checks.jitter"].worst == 599


def test_what_nothing_depends_on_is_not_asked_about():
    by_path, _ = named("camera-rig")
    assert not any("calling" in path for path in by_path)
    assert "hands.treat.slips" not in by_path
    by_path, _ = named("office-rota")
    assert "eyes.calling.overlooks" in by_path
    assert "checks.every" not in by_path
    even = load_regime("ten-minute").model_dump(by_alias=True) | {"eyes": {"looks": {"of": 2}}}
    assert "eyes.hunger.misreads" not in named(even)[0]


# Results


@pytest.fixture(scope="module")
def short():
    """A rig of the quick pet that falls short, by few lives."""
    return tolerance("lamplet-quick", "camera-rig", at_least=0.93, lives=400, precision=0.5)


@pytest.fixture(scope="module")
def roomy():
    return tolerance("lamplet-quick", "camera-rig", at_least=0.3, lives=400, precision=0.5)


def test_those_with_the_least_room_come_first(short, roomy):
    for found in (short, roomy):
        holds = [each.holds for each in found.each]
        assert holds == sorted(holds, key=("up to a limit", "nowhere", "everywhere").index)
        rooms = [each.room for each in found.each if each.has_limit]
        distance = [abs(math.log(room)) for room in rooms]
        assert distance == sorted(distance)
        in_vain = [each.end.estimate for each in found.each if each.holds == "nowhere"]
        assert in_vain == sorted(in_vain, reverse=True)
    assert roomy.each[0].has_limit
    assert not roomy.falls_short


def test_the_same_for_any_number_of_workers_and_in_another_process(roomy):
    again = tolerance(
        "lamplet-quick", "camera-rig", at_least=0.3, lives=400, precision=0.5, workers=1
    )
    assert again.as_dict() == roomy.as_dict()
    assert pickle.loads(pickle.dumps(roomy)).as_dict() == roomy.as_dict()


def test_several_models_are_weighed_and_each_is_told_of(tmp_path):
    model, caretaker = files(tmp_path, once())
    # one under which all care works, and one under which feeding fails in one of ten
    clumsy = load_model(model).model_dump(by_alias=True)
    clumsy["care"]["feed"]["works"] = "90%"
    found = tolerance([model, clumsy], caretaker, weights=[3, 1], at_least=0.85, seed=7, **FIGURES)
    [each] = [each for each in found.each if each.path == "checks.forgets"]
    # (3/4 + 1/4 * 0.9) (1 - f) = 0.85
    assert each.limit == pytest.approx(1 - 0.85 / 0.975, abs=4.5 * math.sqrt(0.85 * 0.15 / LIVES))
    sure, unsure = each.under
    assert sure.estimate > 0.85 > unsure.estimate
    assert unsure.estimate / sure.estimate == pytest.approx(0.9, abs=0.03)
    # which of the two is true is part of the interval, so that it is wider than luck alone leaves
    luck = limit_of("checks.forgets", (model, caretaker), at_least=0.85, seed=7)
    assert each.high - each.low > 1.5 * (luck.high - luck.low)
    assert luck.under == ()


def test_a_policy_has_the_limits_of_the_routine_that_it_does_by_hand(tmp_path):
    file = tmp_path / "feeder.py"
    checks = f'{{"every": "{LONG} s", "first": "1500 s"}}'
    body = f'{{"petsim": "regime 1", "name": "Feeder", "checks": {checks}}}'
    file.write_text(
        f"class Feeder:\n    regime = {body}\n\n    def check(self, look):\n"
        '        return ["feed"] if look()["hunger"] == 0 else []\n'
    )
    model, caretaker = files(tmp_path, once())
    # each look at other values is lived in processes of its own, which take a second to begin
    few = {"at_least": 0.5, "precision": 2.0, "lives": 40, "seed": 8}
    by_policy = limit_of("checks.forgets", (model, f"{file}:Feeder"), workers=2, **few)
    by_routine = limit_of("checks.forgets", (model, caretaker), **few)
    assert by_policy == by_routine
    assert by_policy.has_limit


def test_an_interrupt_gives_what_is_known(monkeypatch, caplog):
    one, things = Search.tolerance, []

    def interrupted(self, thing):
        things.append(thing)
        if len(things) == 4:
            raise KeyboardInterrupt
        return one(self, thing)

    monkeypatch.setattr(Search, "tolerance", interrupted)
    found = tolerance("lamplet-quick", "camera-rig", at_least=0.3, lives=100, precision=1.0)
    assert found.interrupted
    assert {each.path for each in found.each} == {"outages.up", "outages.down"}
    assert found.together is not None
    told = f"interrupted after 3 of {found.asked} limits; this is what is known"
    assert told in caplog.text


def test_an_interrupt_before_anything_is_known_stays_one(monkeypatch):
    def interrupted(*args, **how):
        raise KeyboardInterrupt

    monkeypatch.setattr("petsim.advice.limits.tolerance.fall", interrupted)
    with pytest.raises(KeyboardInterrupt):
        tolerance("lamplet-quick", "camera-rig", lives=10)


@pytest.mark.parametrize(
    ("how", "message"),
    [
        ({"at_least": 1}, "at_least: 1; expected a number above 0 and below 1"),
        ({"at_least": "90%"}, "at_least: '90%'; expected a number above 0 and below 1"),
        ({"precision": 0}, "precision: 0; expected a number above 0"),
        ({"precision": math.nan}, "precision: nan; expected a number above 0"),
        ({"lives": 0}, "lives: 0; expected at least 1"),
        ({"weights": [1, 2]}, "weights: 2; expected 1, as there are models"),
        (
            {"aim": "embr"},
            "aim: 'embr', no form of the outcome stage 'adult'; did you mean 'ember'?",
        ),
    ],
)
def test_an_argument_out_of_its_range_is_named(how, message):
    with pytest.raises(ArgumentError) as caught:
        tolerance("lamplet-quick", "camera-rig", **how)
    assert str(caught.value).startswith(message)


def test_who_never_looks_in_can_do_nothing_worse():
    with pytest.raises(ArgumentError, match="hands-off: never looks in; expected checks"):
        tolerance("lamplet-quick", "hands-off")
    with pytest.raises(SpecError):
        tolerance("lamplet-quick", "camera-rg")


def test_it_is_public():
    assert petsim.tolerance is tolerance
    assert petsim.Tolerances is Tolerances
    assert DEADLINE == EMPTY + GRACE
