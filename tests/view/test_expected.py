"""What is said and drawn of what to expect. All figures are made up."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import petsim
from petsim.advice.expecting.against import HeldLog, Outside
from petsim.advice.expecting.day import ExpectedDay, FormOfDay, Growing
from petsim.advice.expecting.expect import Expected, Quiet
from petsim.errors import ArgumentError
from petsim.life.caretaker import Caretaker
from petsim.life.counters import Counter
from petsim.spec.library import load_model, load_regime
from petsim.study.stats import Interval
from petsim.view import plots
from petsim.view.notebook import notebook

COUNTERS = (Counter("checks"), Counter("action", "feed"), Counter("zero", "hunger"))


def quiet(regime: str, more: int = 0, alive: float = 1.0) -> Quiet:
    counts = np.zeros((20, 2, 3)) + np.array([[90, 40, 0], [144, 30 + more, 0]])
    counts[round(20 * alive) :, 1] = np.nan
    low, high = np.array([[90, 20, 0], [144, 10, 0]]), np.array([[90, 60, 0], [144, 50, 4]])
    together, alone = Interval(0.955, 0.946, 0.963), Interval(0.27, 0.25, 0.29)
    caretaker = Caretaker(regime, load_regime("camera-rig"))
    return Quiet(caretaker, COUNTERS, counts, low, high, together, alone)


def made_up(*regimes: Quiet) -> Expected:
    return Expected(load_model("lamplet"), 0, 20, 0.95, regimes)


ONE = made_up(quiet("a-rig"))
TWO = made_up(quiet("a-rig"), quiet("b-rig", more=12))
DAY = ExpectedDay(
    model="lamplet",
    regime="a-rig",
    seed=0,
    lives=20,
    day=3,
    weekday=2,
    alive=0.9,
    hours=(7, 8),
    counters=COUNTERS,
    counts=np.array([[5.5, 2.26, 0.0], [5.75, 3.0, 0.04]]),
    suppressed=np.array([[0.5, 0, 0, 0], [0.25, 0, 0, 0]]),
    growths=(Growing("flicker", "glow", 0.97, Interval(9145, 2464, 16174)),),
    forms=(FormOfDay("flicker", 1.0, ("glow", "shimmer", "gutter")), FormOfDay("glow", 0.004, ())),
)
HELD = HeldLog(
    source="a.jsonl",
    model=load_model("lamplet"),
    regime="a-rig",
    days=(1, 3),
    left_out=(2,),
    unseen=(Counter("zero", "mood"),),
    outside=(Outside(3, COUNTERS[0], 20, 143, 70, 144), Outside(3, COUNTERS[1], 200, 57, 13, 109)),
    confidence=0.95,
)


def test_the_answer_is_said_first_then_the_bands_then_what_a_count_outside_means() -> None:
    assert str(ONE) == (
        "In 2 quiet days under a-rig, all counters stay within these bands on all days in\n"
        "95 % of lives.\n"
        "\n"
        "Median of each day, and its band\n"
        "              checks  feed           hunger read 0\n"
        "  day 1, Mon   90     40 (20 to 60)  0\n"
        "  day 2, Tue  144     30 (10 to 50)  0 (0 to 4)\n"
        "\n"
        "Too few checks: the power was out, or the rig hung, for longer than it should.\n"
        "\n"
        "Too many of feed: levels are read too low, or presses do not land. Too few:\n"
        "levels are read too high, or checks are missing.\n"
        "\n"
        "Too many looks that read 0 of hunger: care comes too late, or a level is read as\n"
        "empty.\n"
        "\n"
        "Day 1 is from 09:00 to midnight. Counts of a day are of the pets that live\n"
        "through it, whatever they became.\n"
        "\n"
        "The bands of a-rig are made from 20 lives of seed 0; of 20 fresh ones 95.5 %\n"
        "(94.6 to 96.3) stayed within all of them. With a band of 95 % for each count by\n"
        "itself, 27.0 % (25.0 to 29.0) would."
    )


def test_a_table_that_is_too_wide_goes_on_below() -> None:
    many = tuple(Counter("zero", f"a long need {k}") for k in range(6))
    wide = np.full((2, 6), 12)
    counts = np.full((20, 2, 6), 12.0)
    text = str(made_up(replace(quiet("a-rig"), counters=many, counts=counts, low=wide, high=wide)))
    heads = [line.split("  ") for line in text.splitlines() if "long need" in line]
    first, second, *_ = [[*filter(None, line)] for line in heads]
    assert first + second == [str(each) for each in many]
    assert max(map(len, text.splitlines())) <= 80
    assert text.count("\n  day 2, Tue  12 ") == 2


def test_several_regimes_are_side_by_side_with_how_they_differ() -> None:
    text = str(TWO)
    assert text.startswith(
        "In 2 quiet days under a-rig and b-rig, each by itself, all counters stay within\n"
        "these bands on all days in 95 % of lives.\n"
    )
    assert (
        "feed\n"
        "              a-rig          b-rig          b-rig has more by\n"
        "  day 1, Mon  40 (20 to 60)  40 (20 to 60)    0\n"
        "  day 2, Tue  30 (10 to 50)  42 (10 to 50)  +12\n"
    ) in text
    assert "Differences are medians over the same lives under both" in text


def test_what_only_some_regimes_count_is_said() -> None:
    other = replace(quiet("b-rig"), counters=(*COUNTERS[:2], Counter("action", "play")))
    text = str(made_up(quiet("a-rig"), other))
    assert "Counted under a-rig, but not under all: hunger read 0." in text
    assert "Counted under b-rig, but not under all: play." in text
    assert "\nplay\n" not in text


def test_a_life_that_not_all_live_through_is_told_of_those_that_do() -> None:
    text = str(made_up(quiet("a-rig", alive=0.6)))
    assert "60 % of lives live through day 2." in text
    assert "live through day 2." not in str(ONE)


def test_a_day_is_told_by_hour_with_growth_and_what_comes_next() -> None:
    assert str(DAY) == (
        "On day 3, a Wednesday, a-rig carries out 11.2 checks on average; not carried\n"
        "out: power out 0.8.\n"
        "\n"
        "Means by hour\n"
        "         checks  power out  feed  hunger read 0\n"
        "  07:00  5.5     0.5        2.3   0\n"
        "  08:00  5.8     0.2        3.0   0.0\n"
        "\n"
        "Growth\n"
        "  growth           of lives  when (95 % of them)\n"
        "  flicker to glow  97 %      02:32 (00:41 to 04:29)\n"
        "\n"
        "What the camera must tell apart\n"
        "  from             what may come next\n"
        "  flicker (100 %)  glow, shimmer or gutter\n"
        "\n"
        "From 20 lives of seed 0, of which 90 % begin the day; shares are of these, and\n"
        "means of those that live through the hour."
    )


def test_a_log_is_held_with_the_day_and_the_count_that_is_outside() -> None:
    assert str(HELD) == (
        "Of 2 days of a.jsonl, 2 counts are outside the bands of lamplet under a-rig.\n"
        "\n"
        "Counts outside\n"
        "  day  counter  the log has    median and band\n"
        "  3    checks    20, too few   143 (70 to 144)\n"
        "  3    feed     200, too many   57 (13 to 109)\n"
        "\n"
        "Too few checks: the power was out, or the rig hung, for longer than it should.\n"
        "\n"
        "Too many of feed: levels are read too low, or presses do not land. Too few:\n"
        "levels are read too high, or checks are missing.\n"
        "\n"
        "If nothing is wrong, a life has no count outside in 95 % of cases.\n"
        "\n"
        "Left out, as lines are lost: day 2.\n"
        "\n"
        "Not compared, as the log does not have them: mood read 0."
    )


def test_a_log_without_a_count_outside_is_said_to_be_within() -> None:
    within = replace(HELD, outside=(), left_out=(), unseen=())
    assert str(within) == (
        "All counts of 2 days of a.jsonl are within the bands of lamplet under a-rig.\n"
        "\n"
        "If nothing is wrong, a life has no count outside in 95 % of cases."
    )


def test_all_checks_carried_out_are_said_to_be() -> None:
    none = replace(DAY, suppressed=np.zeros((2, 4)))
    assert "a-rig carries out 11.2 checks on average, and none is\nleft out." in str(none)


@pytest.mark.parametrize("result", [ONE, TWO, DAY, HELD])
def test_a_notebook_shows_the_same(result) -> None:
    page, text = notebook(result), str(result)
    assert page.startswith(f"<p><strong>{text[:40]}")
    assert "<table" in page


# Pictures


def test_each_counter_has_a_panel_with_its_band_and_median_by_day() -> None:
    figure = ONE.plot().figure
    heads = [panel.get_title() or panel.get_title("left") for panel in figure.axes]
    assert heads == ["checks", "feed", "hunger read 0"]
    feed = figure.axes[1]
    bars = [(bar.get_y(), bar.get_y() + bar.get_height()) for bar in feed.patches]
    assert bars == [(20, 60), (10, 50)]
    [median] = [line for line in feed.lines if line.get_gid() == "median a-rig"]
    assert median.get_ydata().tolist() == [40, 30]
    assert [*median.get_xdata()] == pytest.approx([1, 2])


def test_regimes_are_told_apart_by_place_and_marker() -> None:
    feed = TWO.plot(counter="feed")
    first, second = feed.lines
    assert first.get_marker() != second.get_marker()
    assert (first.get_xdata() < second.get_xdata()).all()
    small = " ".join(text.get_text() for text in feed.texts if text.get_gid() == "small print")
    assert "from the left: a-rig, b-rig." in small.replace("\n", " ")


def test_what_can_not_be_drawn_is_refused() -> None:
    with pytest.raises(ArgumentError, match=r"^counter: 'fed'; expected one of checks, feed, hun"):
        plots.bands(ONE, "fed")
    five = made_up(*(quiet(f"rig {k}") for k in range(5)))
    with pytest.raises(ArgumentError, match=r"^regimes: 5; expected at most 4 in a picture$"):
        petsim.plot(five)
