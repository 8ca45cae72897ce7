"""Heat maps of grids, and scatters of samples."""

from __future__ import annotations

import matplotlib as mpl

mpl.use("Agg")

import numpy as np
import pytest
from matplotlib import pyplot as plt
from matplotlib.collections import LineCollection, QuadMesh
from matplotlib.colors import to_hex, to_rgb

from petsim.errors import ArgumentError
from petsim.study.stats import mean_interval
from petsim.view import plots
from petsim.view.plots import colours
from tests.view.looked_at import assert_fits_a_phone, question, small_print
from tests.view.made_up import Sweeps


@pytest.fixture(scope="module")
def sweeps(tmp_path_factory) -> Sweeps:
    return Sweeps(tmp_path_factory.mktemp("made-up"))


PICTURES = {
    "two": lambda s: plots.heat_map(s.two),
    "three": lambda s: plots.heat_map(s.three),
    "five": lambda s: plots.heat_map(s.five),
    "regimes": lambda s: plots.heat_map(s.regimes),
    "ten regimes": lambda s: plots.heat_map(s.ten_regimes),
    "ten regimes upwards": lambda s: plots.heat_map(s.ten_regimes, "checks.every", "regime"),
    "laws": lambda s: plots.heat_map(s.laws),
    "laws across": lambda s: plots.heat_map(
        s.laws, "stages.juvenile.drops.mood", "checks.every", panels="eyes.lights.overlooks"
    ),
    "8 by 6": lambda s: plots.heat_map(s.fine),
    "20 by 20": lambda s: plots.heat_map(s.very_fine),
    "64 cells": lambda s: plots.heat_map(s.many_cells),
    "doublings": lambda s: plots.heat_map(s.doublings),
    "a wide range": lambda s: plots.heat_map(s.wide),
    "all 0": lambda s: plots.heat_map(s.hopeless),
    "begun": lambda s: plots.heat_map(s.begun),
    "points": lambda s: plots.scatter(s.points),
    "mixed points": lambda s: plots.scatter(s.mixed_points),
    "few points": lambda s: plots.scatter(s.few_points),
    "points by one": lambda s: plots.scatter(s.points, x="checks.every"),
}


@pytest.mark.parametrize("name", PICTURES)
def test_can_be_read_on_a_phone_and_nothing_overlaps(sweeps, name) -> None:
    ax = PICTURES[name](sweeps)
    assert_fits_a_phone(ax)
    assert "95 % intervals" in small_print(ax)


def mesh_of(ax) -> QuadMesh:
    [mesh] = [each for each in ax.collections if isinstance(each, QuadMesh)]
    return mesh


def numbers(ax) -> dict[tuple[int, int], str]:
    """What is written on the cells, by column and row."""
    odds = [text for text in ax.texts if text.get_gid() == "odds"]
    return {tuple(int(x) for x in text.get_position()): text.get_text() for text in odds}


def borders(ax) -> set[tuple[tuple[float, float], ...]]:
    lines = [each for each in ax.collections if isinstance(each, LineCollection)]
    return {tuple(map(tuple, side)) for line in lines for side in line.get_segments()}


def test_cells_have_their_odds(sweeps) -> None:
    ax, odds = plots.heat_map(sweeps.two), sweeps.two.odds()
    table = odds.pivot(index="eyes.lights.overlooks", columns="checks.every", values="estimate")
    mesh = mesh_of(ax)
    np.testing.assert_allclose(mesh.get_array(), 100 * table.to_numpy())
    assert mesh.get_clim() == (0, 100)
    assert numbers(ax) == {
        (column, row): f"{100 * table.iloc[row, column]:.0f}"
        for row in range(3)
        for column in range(7)
    }
    assert [t.get_text() for t in ax.get_xticklabels()] == [
        "10",
        "15",
        "20",
        "25",
        "30",
        "35",
        "40",
    ]
    assert [t.get_text() for t in ax.get_yticklabels()] == ["0", "20", "40"]


@pytest.mark.parametrize("name", ["two", "8 by 6", "doublings"])
def test_the_line_parts_cells_above_from_those_below_and_crosses_no_number(sweeps, name) -> None:
    ax = PICTURES[name](sweeps)
    above = np.asarray(mesh_of(ax).get_array()) >= 80
    sides = borders(ax)
    assert sides
    for (x0, y0), (x1, y1) in sides:
        assert {x1 - x0, y1 - y0} == {0, 1}, "one side of one cell"
        assert all(float(end).is_integer() for end in (x0, y0, x1, y1))
    beside = (
        {  # of each pair of neighbours, the side between
            ((x + 1, y), (x + 1, y + 1)) for y, x in np.argwhere(above[:, 1:] != above[:, :-1])
        }
        | {((x, y + 1), (x + 1, y + 1)) for y, x in np.argwhere(above[1:] != above[:-1])}
    )
    assert sides == beside
    assert "The line goes around cells above 80 %." in small_print(ax)


def test_the_title_counts_the_cells_above_and_names_the_best(sweeps) -> None:
    odds = sweeps.two.odds()
    above = (odds["estimate"] >= 0.8).sum()
    assert question(plots.heat_map(sweeps.two)) == (
        f"Odds of beacon are above 80 % in {above} of 21 cells, best with every 10 min and "
        "overlooks 0"
    )
    above = (odds["estimate"] >= 0.5).sum()
    assert f"above 50 % in {above} of 21 cells" in question(
        plots.heat_map(sweeps.two, at_least=0.5)
    )
    assert question(plots.heat_map(sweeps.hopeless)) == "No life became beacon in any cell"


def test_the_scale_is_numbered(sweeps) -> None:
    *_, bar = plots.heat_map(sweeps.two).figure.axes
    assert [label.get_text() for label in bar.get_yticklabels()] == ["0", "25", "50", "75", "100"]


def test_numbers_are_dropped_where_there_is_no_room_and_that_is_said(sweeps) -> None:
    ax = plots.heat_map(sweeps.very_fine)
    assert not numbers(ax)
    assert "Too many cells to write the odds on them." in small_print(ax)
    ax = plots.heat_map(sweeps.fine)
    assert len(numbers(ax)) == 48
    assert "Too many" not in small_print(ax)


def test_a_third_parameter_has_panels_below_each_other(sweeps) -> None:
    ax, odds = plots.heat_map(sweeps.three), sweeps.three.odds()
    *panels, _ = ax.figure.axes
    assert panels[0] is ax
    named = [t.get_text() for p in panels for t in p.texts if t.get_gid() == "head"]
    assert named == ["overlooks 0", "overlooks 20%", "overlooks 40%"]
    for panel, share in zip(panels, (0, 0.2, 0.4), strict=True):
        own = odds[odds["eyes.lights.overlooks"] == share]
        table = own.pivot(index="outages.up", columns="checks.every", values="estimate")
        np.testing.assert_allclose(mesh_of(panel).get_array(), 100 * table.to_numpy())
    assert len({round(panel.get_position().x0, 6) for panel in panels}) == 1
    # laws of one kind by their numbers, in the unit in which people write them
    assert ax.get_ylabel().replace("\n", " ") == "outages.up (exponential, hours)"
    assert [label.get_text() for label in ax.get_yticklabels()] == ["12", "30", "90"]


def test_of_many_panels_some_are_shown_and_that_is_said(sweeps) -> None:
    ax = plots.heat_map(sweeps.fine, "checks.every", "regime", panels="eyes.lights.overlooks")
    assert len(ax.figure.axes) == 6 + 1
    assert "6 of 8 values of eyes.lights.overlooks." in small_print(ax)


def test_what_has_no_place_is_kept_to_a_value(sweeps) -> None:
    ax = plots.heat_map(sweeps.five, "checks.every", "outages.up", fix={"checks.first": "2 min"})
    assert "Only with first 2 min and " in small_print(ax)
    assert "where the odds differ most" in small_print(ax)
    figure, given = plt.subplots(layout="constrained")
    assert plots.heat_map(sweeps.three, ax=given) is given
    assert "Only with overlooks 0, where the odds differ most." in small_print(given)
    assert len(figure.axes) == 2, "and the scale"


def test_values_stand_in_the_order_of_their_size_at_even_distances(sweeps) -> None:
    ax = plots.heat_map(sweeps.doublings)
    assert [t.get_text() for t in ax.get_xticklabels()] == ["1", "2", "4", "8", "16", "32", "64"]
    assert [*ax.get_xticks()] == [x + 0.5 for x in range(7)]
    assert ax.get_xlabel() == "checks.every (minutes)"
    table = sweeps.doublings.odds().pivot(
        index="eyes.lights.overlooks", columns="checks.every", values="estimate"
    )
    np.testing.assert_allclose(mesh_of(ax).get_array(), 100 * table.to_numpy())


def test_cells_without_a_life_are_hatched(sweeps) -> None:
    ax = plots.heat_map(sweeps.begun)
    assert len(numbers(ax)) == 5
    assert np.ma.getmaskarray(mesh_of(ax).get_array()).sum() == 16
    assert ax.patch.get_hatch()
    assert "Hatched: nothing yet." in small_print(ax)
    assert "Hatched" not in small_print(plots.heat_map(sweeps.two))


def test_no_gaps_are_seen_between_cells(sweeps) -> None:
    # places are rounded in a page; edges of their own colour reach over what is left between cells
    ax = plots.heat_map(sweeps.two)
    ax.figure.draw_without_rendering()
    mesh = mesh_of(ax)
    np.testing.assert_array_equal(mesh.get_edgecolor(), mesh.get_facecolor())
    # wider than twice the hundredth of a point that a side may be off
    assert mesh.get_linewidth()[0] > 0.02


def lightness(rgb) -> np.ndarray:
    """L* of CIE 1976, from memory, of colours 0..1."""
    luminance = colours.luminance(rgb)
    return 116 * np.cbrt(luminance) - 16


def test_the_scale_gets_darker_evenly() -> None:
    falls = -np.diff(lightness(colours.ODDS(np.linspace(0, 1, 21))[:, :3]))
    assert (falls > 0).all()
    assert falls.max() < 2.5 * falls.min()


def test_numbers_stand_out_from_their_cells() -> None:
    # 1.4.3 of WCAG 2.1 asks for 4.5 of small texts, 3 of large ones, as these are on a wide screen
    for value in np.linspace(0, 1, 101):
        cell = to_hex(colours.ODDS(value))
        ink, own = (float(colours.luminance(to_rgb(c))) for c in (colours.ink_on(cell), cell))
        assert (max(ink, own) + 0.05) / (min(ink, own) + 0.05) >= 4, value


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ({"x": "checks"}, "x: 'checks'; did you mean 'checks.every'"),
        ({"x": "checks.every", "y": "checks.every"}, "x and y: checks.every is both"),
        ({"fix": {"checks.every": "10 min"}}, "over two parameters; there is eyes.lights"),
        ({"baseline": 3}, "baseline: is not of heat-map, which takes x, y, panels, fix, at_least"),
    ],
)
def test_says_what_would_be_right(sweeps, how, said) -> None:
    with pytest.raises(ArgumentError, match=said):
        sweeps.two.plot("heat-map", **how)
    assert not plt.get_fignums()


# Which picture comes by itself


@pytest.mark.parametrize(
    ("name", "how", "begins"),
    [
        ("one", {}, "Odds of beacon are above 80 % up to"),
        ("two", {}, "Odds of beacon are above 80 % up to"),
        ("many_cells", {}, "Odds of beacon are above 80 % up to"),
        ("fine", {}, "Odds of beacon are above 80 % in 1"),
        ("two", {"y": "checks.every"}, "Odds of beacon are above 80 % in 3 of 21 cells"),
        ("two", {"baseline": 4}, "Do the odds of beacon differ"),
        ("points", {}, "checks.every moves the odds of beacon most, of 3 parameters"),
    ],
)
def test_a_sweep_chooses_its_picture(sweeps, name, how, begins) -> None:
    assert question(getattr(sweeps, name).plot(**how)).startswith(begins)


# Samples


def test_points_and_local_means_are_those_of_the_sample(sweeps) -> None:
    ax, odds = plots.scatter(sweeps.points), sweeps.points.odds()
    [cells] = [each for each in ax.collections if each.get_gid() == "cells"]
    expected = np.column_stack([odds["checks.every"] / 60, 100 * odds["estimate"]])
    np.testing.assert_allclose(cells.get_offsets(), expected)
    ordered = odds.sort_values("checks.every")
    groups = [ordered.iloc[first : first + 12] for first in range(0, 60, 12)]
    [smooth] = [line for line in ax.lines if line.get_gid() == "smooth"]
    np.testing.assert_allclose(
        smooth.get_xdata(), [group["checks.every"].mean() / 60 for group in groups]
    )
    means = [mean_interval(group["estimate"]) for group in groups]
    np.testing.assert_allclose(smooth.get_ydata(), [100 * mean.estimate for mean in means])
    assert question(ax).endswith(
        f"from {100 * min(m.estimate for m in means):.0f} to "
        f"{100 * max(m.estimate for m in means):.0f} %"
    )


def test_the_parameter_that_moves_the_odds_most_comes_first(sweeps) -> None:
    ax = plots.scatter(sweeps.mixed_points)
    labels = [panel.get_xlabel().replace("\n", " ") for panel in ax.figure.axes]
    assert labels[0] == "checks.every (minutes)"
    assert {*labels[1:]} >= {"checks.first", "passes", "regime"}
    by_text = ax.figure.axes[labels.index("checks.first")]
    assert [t.get_text() for t in by_text.get_xticklabels()] == ["random", "2 min"]


def test_nothing_is_claimed_where_nothing_is_shown(sweeps) -> None:
    ax = plots.scatter(sweeps.few_points)
    assert question(ax) == "No parameter is seen to move the odds of beacon"
    with pytest.raises(ArgumentError, match=r"x: 'checks\.evry'; did you mean 'checks\.every'"):
        plots.scatter(sweeps.few_points, x="checks.evry")


def test_a_sample_is_no_grid(sweeps) -> None:
    for draw in (plots.odds_along, plots.heat_map, plots.differences):
        with pytest.raises(ArgumentError, match="; draw scatter, or sweep a grid"):
            draw(sweeps.few_points)
