"""Pictures along a parameter: what stands where, in which words, and that it can be read."""

from __future__ import annotations

import math
import re

import matplotlib as mpl

mpl.use("Agg")

import numpy as np
import pytest
from matplotlib import pyplot as plt
from matplotlib.collections import FillBetweenPolyCollection
from matplotlib.colors import to_rgb

from petsim.errors import ArgumentError
from petsim.view import plots
from petsim.view.plots import colours, scales, verdicts
from petsim.view.plots.scales import unlike
from tests.view.looked_at import assert_fits_a_phone, heads, plain, question, small_print
from tests.view.made_up import Sweeps


@pytest.fixture(scope="module")
def sweeps(tmp_path_factory) -> Sweeps:
    return Sweeps(tmp_path_factory.mktemp("made-up"))


def bands(ax) -> list[np.ndarray]:
    """The places, low and high ends of the bands of a panel."""
    found = []
    for band in ax.collections:
        if isinstance(band, FillBetweenPolyCollection):
            corners = band.get_paths()[0].vertices
            places = sorted({*corners[:, 0]})
            ends = [sorted({*corners[corners[:, 0] == place, 1]}) for place in places]
            found.append(np.array([[p, e[0], e[-1]] for p, e in zip(places, ends, strict=True)]))
    return found


def lines(ax) -> list:
    return [line for line in ax.lines if len(line.get_xdata()) > 1 and not line.get_gid()]


PICTURES = {
    "one": lambda s: plots.odds_along(s.one),
    "two": lambda s: plots.odds_along(s.two),
    "three": lambda s: plots.odds_along(s.three),
    "five": lambda s: plots.odds_along(s.five),
    "regimes": lambda s: plots.odds_along(s.regimes),
    "ten regimes": lambda s: plots.odds_along(s.ten_regimes),
    "along ten regimes": lambda s: plots.odds_along(s.ten_regimes, "regime"),
    "only regimes": lambda s: plots.odds_along(s.only_regimes),
    "laws": lambda s: plots.odds_along(s.laws),
    "along laws": lambda s: plots.odds_along(s.laws, "stages.juvenile.drops.mood"),
    "many values": lambda s: plots.odds_along(s.fine),
    "doublings": lambda s: plots.odds_along(s.doublings),
    "a wide range": lambda s: plots.odds_along(s.wide),
    "all 0": lambda s: plots.odds_along(s.hopeless),
    "one value": lambda s: plots.odds_along(s.one_value),
    "running": lambda s: plots.odds_along(s.running),
    "differences": lambda s: plots.differences(s.two),
    "differences of three": lambda s: plots.differences(s.three, 13),
    "differences of one value": lambda s: plots.differences(s.one_value),
}


@pytest.mark.parametrize("name", PICTURES)
def test_can_be_read_on_a_phone_and_nothing_overlaps(sweeps, name) -> None:
    ax = PICTURES[name](sweeps)
    assert_fits_a_phone(ax)
    assert "95 % intervals" in small_print(ax)


# What stands where


def test_a_single_parameter_is_a_line_with_its_band(sweeps) -> None:
    ax, odds = plots.odds_along(sweeps.one), sweeps.one.odds()
    [line], [band] = lines(ax), bands(ax)
    np.testing.assert_allclose(line.get_xdata(), odds["checks.every"] / 60)
    np.testing.assert_allclose(line.get_ydata(), 100 * odds["estimate"])
    np.testing.assert_allclose(band[:, 1], 100 * odds["low"], atol=1e-9)
    np.testing.assert_allclose(band[:, 2], 100 * odds["high"])
    assert line.get_color() == colours.AIM
    assert ax.get_xlabel() == "checks.every (minutes)"
    assert plain(ax.get_ylabel()) == "odds of beacon (% of lives)"


def test_a_second_parameter_has_panels_that_share_the_axes(sweeps) -> None:
    ax, odds = plots.odds_along(sweeps.two), sweeps.two.odds()
    assert [head for head, _ in heads(ax)] == ["overlooks 0", "overlooks 20%", "overlooks 40%"]
    assert "Panels: eyes.lights.overlooks." in small_print(ax)
    for panel, value in zip(ax.figure.axes, (0, 0.2, 0.4), strict=True):
        own = odds[odds["eyes.lights.overlooks"] == value]
        np.testing.assert_allclose(lines(panel)[0].get_ydata(), 100 * own["estimate"])
        assert (panel.get_xlim(), panel.get_ylim()) == (ax.get_xlim(), ax.get_ylim())


def test_a_third_parameter_has_lines_from_pale_to_dark_named_where_they_separate(sweeps) -> None:
    ax, odds = plots.odds_along(sweeps.three), sweeps.three.odds()
    panels = ax.figure.axes
    # power moves the odds more than lights overlooked, so it has the panels
    assert [head for head, _ in heads(ax)] == ["up 12 h", "up 30 h", "up 90 h"]
    assert "Panels: outages.up (exponential)." in small_print(ax)
    assert "Lines, from pale to dark: eyes.lights.overlooks." in small_print(ax)
    drawn = lines(panels[0])
    light = [float(colours.luminance(to_rgb(line.get_color()))) for line in drawn]
    assert light == sorted(light, reverse=True) and len({*light}) == 3
    assert len({line.get_marker() for line in drawn}) == 3
    for panel, up in zip(panels, ("12 h", "30 h", "90 h"), strict=True):
        for line, value in zip(lines(panel), (0, 0.2, 0.4), strict=True):
            own = odds[
                (odds["outages.up"] == f"exponential {up}")
                & (odds["eyes.lights.overlooks"] == value)
            ]
            np.testing.assert_allclose(line.get_ydata(), 100 * own["estimate"])
    named = [[t for t in panel.texts if t.get_gid() == "name of a line"] for panel in panels]
    # at their left ends in the last panel they are farthest apart
    assert [len(each) for each in named] == [0, 0, 3]
    for text, line in zip(named[2], lines(panels[2]), strict=True):
        assert text.xy == (line.get_xdata()[0], line.get_ydata()[0])
        assert text.get_ha() == "right"
    assert [text.get_text() for text in named[2]] == ["0", "20%", "40%"]


def test_lines_that_cannot_be_told_apart_are_named_once(sweeps) -> None:
    ax = plots.odds_along(sweeps.alike)
    named = [t.get_text() for p in ax.figure.axes for t in p.texts if t.get_gid() is not None]
    assert [name for name in named if "%" in name and "up" not in name] == ["0, 1%", "40%"]
    assert "Lines within each other's bands are named together." in small_print(ax)
    assert "named together" not in small_print(plots.odds_along(sweeps.three))


def test_what_has_no_place_is_kept_where_the_odds_differ_most(sweeps) -> None:
    ax = plots.odds_along(sweeps.five)
    # by hand: most are reached where nothing slips, and at 2 min
    assert "Only with overlooks 0 and slips 0, where the odds differ most." in small_print(ax)
    assert [head for head, _ in heads(ax)] == ["up 12 h", "up 90 h"]
    every = sweeps.five.odds()
    shown = every[(every["hands.feed.slips"] == 0) & (every["eyes.lights.overlooks"] == 0)]
    assert f"in each of {len(shown)} cells" in small_print(ax)


def test_what_is_asked_for_is_where_it_is_asked_for(sweeps) -> None:
    fix = {"checks.every": "10min", "hands.feed.slips": "10%"}
    ax = plots.odds_along(sweeps.five, "outages.up", panels="checks.first", fix=fix)
    assert plain(ax.figure.axes[-1].get_xlabel()) == "outages.up (exponential, hours)"
    assert [head for head, _ in heads(ax)] == ["first random", "first 2 min"]
    assert "Only with every 10 min and slips 10%." in small_print(ax)
    same = sweeps.five.plot("along", x="outages.up", panels="checks.first", fix=fix)
    assert small_print(same) == small_print(ax)


def test_of_many_numbers_some_have_panels_and_that_is_said(sweeps) -> None:
    ax = plots.odds_along(sweeps.fine)
    assert len(ax.figure.axes) == 6
    said = [head.removeprefix("overlooks ") for head, _ in heads(ax)]
    assert (said[0], said[-1]) == ("0%", "35%")
    assert "6 of 8 values of eyes.lights.overlooks." in small_print(ax)
    assert "in each of 36 cells" in small_print(ax)


def test_given_axes_have_lines_instead_of_panels(sweeps) -> None:
    _, (ax, other) = plt.subplots(1, 2, figsize=(14, 8), layout="constrained")
    before = dict(mpl.rcParams)
    assert plots.odds_along(sweeps.two, ax=ax) is ax
    assert len(lines(ax)) == 3 and not other.has_data()
    assert [text.get_text() for text in ax.texts if text.get_gid() == "name of a line"] == [
        "0",
        "20%",
        "40%",
    ]
    assert dict(mpl.rcParams) == before
    with pytest.raises(ArgumentError, match="panels: take a picture of their own"):
        plots.odds_along(sweeps.two, ax=ax, panels="eyes.lights.overlooks")


def test_what_has_no_order_is_joined_by_no_line(sweeps) -> None:
    ax = plots.odds_along(sweeps.laws, "stages.juvenile.drops.mood", fix={"checks.every": "10 min"})
    assert not bands(ax)
    drawn = [c[0] for c in ax.containers]
    assert {line.get_linestyle() for line in drawn} == {"None"}
    assert question(ax) == "How do the odds of beacon change with stages.juvenile.drops.mood?"


def test_names_of_lines_stand_beside_whiskers_side_by_side(sweeps) -> None:
    ax = plots.odds_along(sweeps.regimes, "regime")
    [first, *_] = [t for p in ax.figure.axes for t in p.texts if t.get_gid() == "name of a line"]
    panel = first.axes
    ends = {container[0].get_xdata()[-1] for container in panel.containers}
    assert first.xy[0] in ends


# The threshold in words


@pytest.mark.parametrize(
    ("at_least", "said"),
    [
        (None, "Odds of beacon are above 80 % up to {} of checks.every"),
        (0.5, "Odds of beacon are above 50 % up to {} of checks.every"),
        (0.999, "Odds of beacon are not above 99.9 % at any checks.every"),
    ],
)
def test_a_line_crosses_its_level(sweeps, at_least, said) -> None:
    odds = sweeps.one.odds()
    minutes = odds["checks.every"] / 60
    at, low, high = (
        np.interp(-100 * (at_least or 0.8), -100 * odds[name], minutes)
        for name in ("estimate", "low", "high")
    )
    # as far as one digit of half the interval
    digits = 0 if high - low > 2 else 1
    expected = said.format(
        " ".join((f"{at:.{digits}f} min", f"({low:.{digits}f} to {high:.{digits}f})"))
    )
    assert question(plots.odds_along(sweeps.one, at_least=at_least)) == expected


def test_a_line_above_everywhere_says_so(sweeps) -> None:
    ax = plots.odds_along(sweeps.one, at_least=0.001)
    assert question(ax) == "Odds of beacon are above 0.1 % whatever the checks.every"


def test_of_several_lines_the_farthest_is_named_and_each_panel_has_its_own(sweeps) -> None:
    ax = plots.odds_along(sweeps.two)
    (_, first), *others = heads(ax)
    assert first.startswith("up to 2") and first.endswith(")")
    assert [below for _, below in others] == ["nowhere", "nowhere"]
    where = first.removeprefix("up to ")
    assert question(ax) == (
        f"Odds of beacon are above 80 % up to {where} of checks.every at best, with overlooks 0"
    )
    ax = plots.odds_along(sweeps.three)
    below = [said for _, said in heads(ax)]
    assert below[:2] == ["nowhere", "nowhere"]
    assert below[2].endswith(" at best")
    assert "with up exponential 90 h and overlooks 0" in question(ax)


def test_the_level_is_half_of_the_best_where_all_are_low(sweeps) -> None:
    ax = plots.odds_along(sweeps.two, fix={"eyes.lights.overlooks": "40%"})
    best = sweeps.two.odds().query("`eyes.lights.overlooks` == 0.4")["estimate"].max()
    level = f"{100 * round(best / 2, 2):.3g} %"
    assert f"above {level} up to" in question(ax)
    assert f"Dotted: {level}, half of the best." in small_print(ax)
    [line] = [line for line in ax.lines if line.get_gid() == "level"]
    assert line.get_ydata()[0] == pytest.approx(100 * round(best / 2, 2))


def test_no_odds_have_no_level(sweeps) -> None:
    ax = plots.odds_along(sweeps.hopeless)
    assert question(ax) == "No life became beacon at any checks.every"
    assert not [line for line in ax.lines if line.get_gid() == "level"]


@pytest.mark.parametrize("at_least", [0, -0.1, 1.1])
def test_a_level_is_a_share(sweeps, at_least) -> None:
    with pytest.raises(ArgumentError, match=rf"at_least: {at_least}; expected a share above 0"):
        plots.odds_along(sweeps.one, at_least=at_least)


def test_of_a_log_scale_lines_are_straight_on_paper(sweeps) -> None:
    odds = sweeps.doublings.odds().query("`eyes.lights.overlooks` == 0").sort_values("checks.every")
    line = [
        (x / 60, verdicts.Interval(*row))
        for x, *row in odds[["checks.every", "estimate", "low", "high"]].to_numpy()
    ]
    scale = scales.scale_of(sweeps.doublings, "checks.every")
    expected = np.exp(np.interp(-0.8, -odds["estimate"], np.log(odds["checks.every"] / 60)))
    assert verdicts.reach(line, scale, 0.8).at == pytest.approx(expected)


@pytest.mark.parametrize(
    ("crossing", "unit", "said"),
    [
        ((21.7, 19.8, 23.6), "minutes", "22 min (20 to 24)"),
        ((21.74, 21.31, 22.12), "minutes", "21.7 min (21.3 to 22.1)"),
        ((21.7, math.nan, 23.6), "minutes", "22 min (24 or less)"),
        ((21.7, 19.8, math.nan), "minutes", "22 min (20 or more)"),
        ((21.7, math.nan, math.nan), "minutes", "22 min"),
        ((0.15, 0.12, 0.16), "hours", "9 min (7 to 10)"),
        ((12.3, 9.9, 14.1), "%", "12 % (10 to 14)"),
        ((3.2, 2.9, 3.4), "", "3.2 (2.9 to 3.4)"),
    ],
)
def test_a_crossing_in_words(crossing, unit, said) -> None:
    assert plain(verdicts.crossing(verdicts.Crossing(*crossing), unit)) == said


@pytest.mark.parametrize(
    ("estimates", "said"),
    [
        # by hand, on straight lines: 1/8 of the way from 0.9 to 0.1, 7/8 of that from 0.1 to 0.9
        ([0.9, 0.9, 0.1], "up to 21.2 min"),
        ([0.1, 0.9, 0.9], "from 18.8 min"),
        ([0.1, 0.9, 0.1], "from 18.8 min to 21.2 min"),
        ([0.9, 0.1, 0.9], "up to 11.2 min and from 28.8 min"),
        ([0.9, 0.9, 0.9], "everywhere"),
        ([0.1, 0.1, 0.1], "nowhere"),
    ],
)
def test_stretches_in_words(sweeps, estimates, said) -> None:
    scale = scales.scale_of(sweeps.three, "checks.every")
    line = [(p, verdicts.Interval(x, x, x)) for p, x in zip((10, 20, 30), estimates, strict=True)]
    told = plain(verdicts.verdict(line, scale, 0.8))
    assert re.sub(r" \([^)]*\)", "", told) == said


def test_words_that_all_values_begin_with_are_left_out() -> None:
    assert unlike(["exponential 12 h", "exponential 30 h"]) == ["12 h", "30 h"]
    assert unlike(["0", "20%"]) == ["0", "20%"]
    assert unlike(["uniform 1 h to 2 h", "exponential 1 h"]) == [
        "uniform 1 h to 2 h",
        "exponential 1 h",
    ]


# Differences


def test_differences_are_filled_where_shown_and_hollow_where_not(sweeps) -> None:
    ax = plots.differences(sweeps.two, 3)
    table = sweeps.two.differences(3)
    for panel, value in zip(ax.figure.axes, (0, 0.2, 0.4), strict=True):
        own = table[table["eyes.lights.overlooks"] == value]
        np.testing.assert_allclose(lines(panel)[0].get_ydata(), 100 * own["estimate"])
        not_shown = own[(own["low"] <= 0) & (own["high"] >= 0)]
        hollow = [line for line in panel.lines if line.get_gid() == "none shown"]
        found = [*hollow[0].get_ydata()] if hollow else []
        np.testing.assert_allclose(found, 100 * not_shown["estimate"])
        assert all(line.get_markerfacecolor() == "white" for line in hollow)
    assert question(ax) == (
        "Do the odds of beacon differ from those with every 15 min and overlooks 0?"
    )
    assert "Filled: a difference is shown; hollow: none is." in small_print(ax)
    assert small_print(sweeps.two.plot(baseline=3)) == small_print(ax)


# A sweep that is not finished


def test_an_unfinished_sweep_says_so_in_every_picture(sweeps) -> None:
    # of 21 cells of 400 lives, 25 chunks of 20
    said = "Not finished: 20 to 40 of 400 lives a cell so far."
    for kind in ("along", "heat-map", "differences", "scatter"):
        assert small_print(sweeps.running.plot(kind)).startswith(said), kind
    assert "Not finished: 5 of 21 cells, 20 of 400 lives a cell so far." in small_print(
        sweeps.begun.plot("along")
    )
    assert "Not finished" not in small_print(sweeps.two.plot())


# What can't be drawn


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ({"x": "checks.evry"}, "x: 'checks.evry'; did you mean 'checks.every'"),
        ({"panels": "power"}, "panels: 'power'; expected one of 'regime', 'checks.every'"),
        ({"fix": {"checks.evry": "3 min"}}, "fix: 'checks.evry'; did you mean 'checks.every'"),
        (
            {"fix": {"checks.every": "12 min"}},
            "fix checks.every: '12 min'; expected one of 10 min, 20 min, 30 min",
        ),
        ({"fix": {"regime": "camera"}}, "fix regime: 'camera'; did you mean 'camera-rig'"),
        (
            {"x": "outages.up", "panels": "outages.up"},
            "x and panels: outages.up is both; expected two of them",
        ),
        (
            {"x": "outages.up", "fix": {"outages.up": "exponential 12h"}},
            "fix and x: outages.up is both",
        ),
        ({"y": "outages.up"}, "y: is not of along, which takes x, panels, fix, at_least"),
    ],
)
def test_says_what_would_be_right(sweeps, how, said) -> None:
    with pytest.raises(ArgumentError, match=said):
        sweeps.three.plot("along", **how)
    assert not plt.get_fignums()
