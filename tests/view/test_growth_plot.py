"""Pictures of how a model grows, of how well odds are known, and of trials of real pets."""

from __future__ import annotations

import matplotlib as mpl

mpl.use("Agg")

import numpy as np
import pytest
from matplotlib import pyplot as plt
from matplotlib.colors import to_hex
from matplotlib.text import Text
from scipy.stats import binom

import petsim
from petsim.errors import ArgumentError
from petsim.spec.names import shipped
from petsim.study.growing import grown
from petsim.study.sample_size import fisher_power
from petsim.study.stats import wilson
from petsim.study.trials import TrialPlan, Trials
from petsim.view import plots
from petsim.view.numbers import share
from petsim.view.plots.colours import AIM, of_outcomes
from petsim.view.plots.convergence import known, running
from petsim.view.show import conditions_text
from tests.life import worlds
from tests.view.looked_at import faults
from tests.view.test_plots import SMALLEST, question, small_print, with_gid


@pytest.fixture(scope="module")
def three():
    regimes = ["ten-minute", "thirty-minute", "hourly"]
    return petsim.compare("lamplet", regimes, lives=200, workers=1)


def ensure_read(ax) -> None:
    """Nothing written overlaps or is cut, and all of it can be read on a phone."""
    assert faults(ax.figure) == []
    assert ax.figure.get_figwidth() == 6
    sizes = {text.get_fontsize() for text in ax.figure.findobj(Text) if text.get_text()}
    assert min(sizes) >= SMALLEST


# Growth


def bushy():
    """A model of many branches: rules by cause, one form of several, forms of long names."""
    stage = {"stage": "young", "lasts": "1 h"}
    adult = {"stage": "adult", "lasts": "1 h"}
    long_rule = {
        "misses in form": {"hunger": "at most 6", "mood": "below 4", "lights": "at most 2"},
        "misses in life": "at most 16",
        "discipline": "at least 40",
        "weight": "below 99",
    }
    forms = {
        "sprig": stage | {"grows into": [
            {"a-shoot-of-a-rather-long-name": {"misses in form": "at most 3"}},
            {"weed": {"misses in form": "at most 9"}},
            {"a-shoot-of-a-rather-long-name": {"discipline": "at least 50"}},
            {"moss": "otherwise"}]},
        "a-shoot-of-a-rather-long-name": stage | {"grows into": [
            {"oak": long_rule}, {"elm": {"misses in form": "at most 4"}}, {"fern": "otherwise"}]},
        "weed": stage | {"grows into": [{"moss": {"discipline": "below 9"}}, {"elm": "otherwise"}]},
        "moss": stage | {"grows into": [
            {"elm": {"misses in form": "at most 1"}}, {"fern": "otherwise"}]},
        "oak": adult | {"grows into": "log"},
        "elm": adult | {"grows into": "log"},
        "fern": adult,
        "log": {"stage": "old", "lasts": "1 h"},
    }  # fmt: skip
    model = worlds.pet(aim="oak") | {"forms": forms}
    return petsim.load_model(model | {"stages": model["stages"] | {"old": {}}})


def title_of(ax) -> str:
    return question(ax).replace("\N{NO-BREAK SPACE}", " ")


def texts_of(ax) -> str:
    return " ".join(text.get_text().replace("\n", " ") for text in ax.texts)


@pytest.mark.parametrize("model", [*shipped("models"), "bushy"])
def test_a_tree_can_be_read(model: str) -> None:
    ax = plots.growth(bushy() if model == "bushy" else petsim.load_model(model))
    ensure_read(ax)


@pytest.mark.parametrize("model", ["lamplet", "bushy"])
def test_a_tree_has_each_form_each_way_and_each_rule(model: str) -> None:
    model = bushy() if model == "bushy" else petsim.load_model(model)
    ax = plots.growth(model)
    for form, growing in model.forms.items():
        assert with_gid(ax, f"form {form}")
        for rule in growing.grows_into:
            if form not in model.outcome_forms:
                assert len(with_gid(ax, f"way {form} to {rule.form}")) == 1
            if len({rule.form for rule in growing.grows_into}) > 1:
                assert conditions_text(rule.conditions) in texts_of(ax)
    assert f"what does {model.aim} take?" in title_of(ax)


def test_rules_that_lead_to_one_form_are_told_together() -> None:
    assert "misses in form at most 3; or discipline at least 50" in texts_of(plots.growth(bushy()))


def test_the_aim_is_marked_and_outcomes_have_their_colours() -> None:
    model = petsim.load_model("lamplet")
    ax, looks = plots.growth(model), of_outcomes(model, model.aim)
    for form in model.outcome_forms:
        boxes = [to_hex(t.get_bbox_patch().get_facecolor()) for t in with_gid(ax, f"form {form}")]
        assert set(boxes) == {to_hex(looks[form].colour)}
    [aim] = with_gid(ax, f"form {model.aim}")
    assert to_hex(aim.get_bbox_patch().get_facecolor()) == AIM.lower()
    assert [text.get_text() for text in ax.texts].count("the aim") == 1


def test_ways_have_the_shares_of_lives_and_are_as_wide(three) -> None:
    batch = three.batches[1]
    ax = three.plot("growth")
    assert title_of(ax).startswith("Under ten-minute ")
    ax = plots.growth(three.model, batch)
    widths = {}
    for (before, after), lives in grown(batch).items():
        for line in with_gid(ax, f"way {before} to {after}"):
            widths[before, after] = line.get_linewidth()
            assert share(wilson(lives, len(batch))) in texts_of(ax)
    shares = {way: grown(batch)[way] / len(batch) for way in widths}
    slope = {round((w - 1.2) / shares[way], 6) for way, w in widths.items() if shares[way]}
    assert len(slope) == 1
    assert {w for way, w in widths.items() if not shares[way]} <= {1.2}
    assert "200 lives, lamplet, seed 0." in small_print(ax)
    assert "Wilson's 95 % interval" in small_print(ax)
    ensure_read(ax)


def test_a_line_of_many_forms_stays_on_the_picture() -> None:
    stage = {"stage": "young", "lasts": "1 h"}
    names = [f"shoot-{number}" for number in range(40)]
    forms = {a: stage | {"grows into": b} for a, b in zip(names, [*names[1:], "oak"], strict=True)}
    model = worlds.pet(aim="oak") | {"forms": forms | {"oak": stage | {"stage": "adult"}}}
    ensure_read(plots.growth(petsim.load_model(model)))


# How well odds are known


def test_running_odds_are_those_of_the_first_lives(three) -> None:
    batch, aim = three.batches[1], three.aim
    reached = batch.which("outcome", aim.main)
    numbers, intervals = running(batch, aim)
    assert numbers[0] == 10
    assert numbers[-1] == len(batch)
    for number, interval in zip(numbers, intervals, strict=True):
        assert interval == wilson(int(reached[:number].sum()), int(number))
    ax = plots.convergence(batch)
    [line] = with_gid(ax, "odds under thirty-minute")
    np.testing.assert_allclose(line.get_xdata(), numbers)
    np.testing.assert_allclose(line.get_ydata(), 100 * np.array(intervals)[:, 0])
    corners = ax.collections[0].get_paths()[0].vertices
    for number, (_, low, high) in zip(numbers, intervals, strict=True):
        ends = corners[np.isclose(corners[:, 0], number), 1]
        assert (min(ends), max(ends)) == pytest.approx((100 * low, 100 * high))


def test_the_title_is_what_is_known_at_the_end(three) -> None:
    batch = three.batches[1]
    said = known(batch.share(three.aim.main))
    assert "\N{PLUS-MINUS SIGN}" in said
    title = title_of(plots.convergence(batch))
    assert title == f"Odds of {three.aim} under thirty-minute: {said} after 200 lives"
    assert known(wilson(4763, 5000)) == "95.26 % \N{PLUS-MINUS SIGN} 0.59"
    assert known(wilson(0, 300)) == "at most 1.3 %"
    both = title_of(plots.convergence(three))
    assert both.startswith(f"Odds of {three.aim} are known to \N{PLUS-MINUS SIGN}")
    assert both.endswith("percentage points or better after 200 lives")


def test_half_the_width_is_written_at_powers_of_ten(three) -> None:
    batch = three.batches[1]
    ax = plots.convergence(batch)
    [half] = with_gid(ax, "half-width")
    interval = wilson(int(batch.which("outcome", three.aim.main)[:100].sum()), 100)
    assert half.xy[0] == 100
    wide = float(half.get_text().removeprefix("\N{PLUS-MINUS SIGN} "))
    assert wide == pytest.approx(50 * (interval.high - interval.low), rel=0.3)


def test_regimes_are_labelled_with_what_is_known_of_each(three) -> None:
    ax = plots.convergence(three)
    labels = {text.get_text() for text in ax.texts if getattr(text, "arrow_patch", None)}
    assert labels == {f"{b.regime}\n{known(b.share(three.aim.main))}" for b in three.batches}
    assert all(with_gid(ax, f"odds under {batch.regime}") for batch in three.batches)


def test_how_well_odds_are_known_can_be_read(three) -> None:
    ensure_read(plots.convergence(three))
    ensure_read(plots.convergence(three.batches[2]))
    ensure_read(plots.convergence(petsim.batch("lamplet", "hourly", lives=1, workers=1)))


# Trials of real pets


@pytest.mark.parametrize(
    ("reached", "pets", "odds"), [(3, 5, 0.74), (0, 30, 0.05), (120, 200, 0.74), (5, 5, 0.2)]
)
def test_bars_are_the_binomial_distribution_and_hatched_ones_the_p_value(reached, pets, odds):
    real = petsim.trials(reached, pets, odds)
    ax = real.plot()
    bars = {int(bar.get_gid().split()[0]): bar for bar in ax.patches if bar.get_gid()}
    for number, bar in bars.items():
        assert bar.get_height() == pytest.approx(100 * binom.pmf(number, pets, odds))
        assert bar.get_x() + bar.get_width() / 2 == pytest.approx(number)
    hatched = sum(bar.get_height() for bar in bars.values() if bar.get_hatch())
    # those too unlikely to be drawn are missing from it
    assert hatched == pytest.approx(100 * real.p_value, abs=0.5)
    [own] = [n for n, bar in bars.items() if to_hex(bar.get_facecolor()) == AIM.lower()]
    assert own == reached
    agree = "agrees" if real.compatible else "does not agree"
    assert title_of(ax).startswith(f"{reached} of {pets} {agree} with odds of ")
    assert not ax.containers[1:], "odds that are given have no doubt"
    ensure_read(ax)


def test_whiskers_are_the_doubt_of_simulated_odds() -> None:
    real = petsim.trials(3, 5, "thirty-minute", lives=200)
    batch = real.odds.simulated.batches[0]
    _, low, high = batch.share(real.odds.simulated.aim.main)
    over = np.linspace(low, high, 2001)
    for number, chance in enumerate(real.chances):
        by_odds = binom.pmf(number, 5, over)
        assert chance.low == pytest.approx(by_odds.min(), rel=1e-4)
        assert chance.high == pytest.approx(by_odds.max(), rel=1e-4)
    ax = real.plot()
    _, _, [bars] = ax.containers[1]
    ends = [segment[:, 1] for segment in bars.get_segments()]
    expected = [[100 * c.low, 100 * c.high] for c in real.chances]
    np.testing.assert_allclose(ends, expected, atol=1e-9)
    assert "200 lives, lamplet under thirty-minute, seed 0" in small_print(ax)
    ensure_read(ax)


def test_trials_beside_nothing_are_no_picture() -> None:
    with pytest.raises(ArgumentError, match="held against no odds; expected a regime, or odds"):
        Trials(3, 5).plot()
    assert not plt.get_fignums()


@pytest.mark.parametrize("odds", [(0.74, 0.3), (0.3, 0.74), (0.95, 0.6), (0.74, 0.72)])
def test_power_is_drawn_and_the_number_it_takes_is_marked(odds) -> None:
    plan = petsim.tell_apart(*odds)
    ax = plan.plot()
    for name, design, place in (
        ("one routine", plan.one, 0),
        ("two, of each", plan.two, 1),
    ):
        [line] = with_gid(ax, name)
        for pets, power in list(zip(line.get_xdata(), line.get_ydata(), strict=True))[::9]:
            assert power == pytest.approx(100 * plan.powers(int(pets))[place])
        marks = with_gid(ax, f"it takes, {name}")
        if design is None:
            assert not marks
            assert f"{name}:\nover 200" in {text.get_text() for text in ax.texts}
            continue
        [mark] = marks
        assert (mark.get_xdata()[0], mark.get_ydata()[0]) == (design.pets, 100 * design.power)
        assert f"{name}:\n{design.pets} pets" in {text.get_text() for text in ax.texts}
    ensure_read(ax)


def test_powers_are_those_of_the_designs() -> None:
    plan = TrialPlan(petsim.trials(0, 1, 0.74).odds, petsim.trials(0, 1, 0.3).odds, 7.0)
    assert plan.powers(plan.one.pets)[0] == plan.one.power
    assert plan.powers(plan.two.pets)[1] == plan.two.power == fisher_power(0.74, 0.3, plan.two.pets)
    # of one pet no number is unlikely enough under the first odds
    assert plan.powers(1)[0] == 0


def test_the_title_says_how_many_pets_it_takes() -> None:
    plan = petsim.tell_apart(0.74, 0.3)
    assert title_of(plan.plot()) == (
        f"Telling odds of 74 % from odds of 30 % takes {plan.one.pets} real pets of one routine, "
        f"{plan.two.pets} of each of two"
    )
    assert title_of(petsim.tell_apart(0.74, 0.72).plot()).endswith("takes over 200 real pets")
