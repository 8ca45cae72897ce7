"""What is to be cheapest: sums of figures and columns, by their names."""

from __future__ import annotations

import pytest

from petsim import ArgumentError, batch, compare, load_model
from petsim.advice.choosing.costs import read_cost

MODEL = load_model("lamplet-quick")


@pytest.fixture(scope="module")
def lived():
    return batch(MODEL, "hourly", lives=50)


def costs(text, *lived, weights=(1.0,)):
    models = [each.model for each in lived]
    return read_cost(text, models).values([each.values for each in lived], weights)


def test_a_figure_is_what_a_comparison_has(lived):
    regime = compare(MODEL, ["hourly"], lives=50).as_dict()["regimes"][0]
    for name in ("presses", "checks", "presses_per_day", "checks_per_day"):
        figure = regime[f"{name.removesuffix('_per_day')}_per_day"]
        assert costs(name, lived).mean() == pytest.approx(figure)
    quiet = regime["quiet_presses_per_day"]
    assert costs("quiet presses", lived).mean() == pytest.approx(quiet)
    assert costs("misses_per_life.hunger", lived).mean() == pytest.approx(
        regime["misses_per_life"]["hunger"]
    )


def test_a_sum_adds_columns_times_their_factors(lived):
    checks, hungry = costs("checks", lived), lived.values["level_s.hunger.0"]
    for text in ("checks + 0.01*level_s.hunger.0", "checks+.01 * level_s.hunger.0"):
        assert costs(text, lived) == pytest.approx(checks + 0.01 * hungry)
    assert costs("2*checks + 3*checks", lived) == pytest.approx(5 * checks)


def test_over_models_it_is_their_weighted_mean(lived):
    other = batch(MODEL, "ten-minute", lives=50)
    mean = 0.25 * costs("checks", lived) + 0.75 * costs("checks", other)
    assert costs("checks", lived, other, weights=(0.25, 0.75)) == pytest.approx(mean)


@pytest.mark.parametrize(
    ("text", "label"),
    [
        ("presses", "presses a day"),
        ("quiet presses", "presses a day in quiet hours"),
        ("ill_s", "ill_s (s a life)"),
        ("odds.ember", "odds.ember"),
        ("2*checks", "2*checks_per_day"),
        ("checks + .5*ill_s", "checks_per_day + 0.5*ill_s"),
    ],
)
def test_it_says_what_it_counts(text, label):
    cost = read_cost(text, [MODEL])
    assert cost.label == label
    assert cost.is_counted == label.startswith("presses")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "cheapest: ''; expected a sum of names, such as presses or checks + 0.01*level"),
        ("checks +", "cheapest: ''; expected a sum of names"),
        ("2*", "cheapest: '2*'; expected a sum of names"),
        ("two*checks", "cheapest: 'two*checks'; expected a sum of names"),
        ("0*checks", "cheapest: '0*checks'; expected a factor above 0"),
        ("check", "cheapest: 'check'; did you mean 'checks'?"),
        ("level_s.hungr.0", "cheapest: 'level_s.hungr.0'; did you mean 'level_s.hunger.0'?"),
        ("outcome", "cheapest: 'outcome'; "),
        ("entered_s.glow", "cheapest: 'entered_s.glow'; "),
    ],
)
def test_another_text_is_refused(text, message):
    with pytest.raises(ArgumentError) as refused:
        read_cost(text, [MODEL])
    assert str(refused.value).startswith(message)
