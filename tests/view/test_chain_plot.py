"""The picture of one life explained has all that it failed by, and what would have saved it."""

from itertools import combinations

import matplotlib as mpl

mpl.use("Agg")

import numpy as np
import pytest

import petsim
from petsim.spec.quantities import DAY
from petsim.view import life_explained, report
from petsim.view.plots.chain import _lanes
from tests.advice.test_one_life import OUT, grove, rig, tries
from tests.view.looked_at import assert_fits_a_phone, question, small_print
from tests.view.test_plots import with_gid


@pytest.fixture(scope="module")
def saved():
    """Hungry at 480, with the power out from 500 to 650, and 520 is too late."""
    return petsim.explain_life(grove(), rig(outages=OUT))


@pytest.fixture(scope="module")
def slipped():
    """Two feeds slipped, of which one was allowed."""
    slips = rig(hands={"feed": {"slips": "10%"}})
    return petsim.explain_life(grove(most=1), slips, seed=tries("slips feed", 0.1, 3, 9))


def lines(ax, gid):
    """From when to when lines are, in whole seconds."""
    found = [part for each in with_gid(ax, gid) for part in each.get_segments()]
    return [tuple(np.rint(part[:, 0] * DAY).astype(int)) for part in found]


def test_what_led_to_it_is_marked_from_when_it_was_due(saved) -> None:
    ax = saved.plot()
    assert lines(ax, "care misses") == [(520, 520)]
    assert lines(ax, "due") == [(480, 520)]
    [end] = [line for line in with_gid(ax, "end") if hasattr(line, "get_xdata")]
    assert end.get_xdata()[0] * DAY == pytest.approx(saved.turn.t)
    assert "oak out of reach" in " ".join(text.get_text() for text in ax.texts)


def test_what_alone_cost_it_the_aim_has_a_row_of_its_own(saved) -> None:
    ax = saved.plot()
    assert lines(ax, "savers") == [(500, 500)]
    assert lines(ax, "savers last") == [(500, 650)]
    rows = [label.get_text() for label in ax.get_yticklabels()]
    assert rows == [
        "form",
        "failed by",
        "power out",
        "cost it the aim",
        "hunger (0 to 1)",
        "checks",
    ]


def test_the_title_is_the_message_and_the_small_print_what_else_would_do(saved, slipped) -> None:
    assert question(saved.plot()) == life_explained.message(saved)
    assert "it would have become oak" in question(saved.plot())
    ax = slipped.plot()
    assert "Number 2 was one too many." in small_print(ax)
    path = slipped.nudges[0].path
    assert f"It would also have become oak with {path} at " in small_print(ax)


def test_it_can_be_read_on_a_phone(saved) -> None:
    assert_fits_a_phone(saved.plot())


def test_no_mark_hides_another(slipped) -> None:
    ax = slipped.plot()
    marks = [*lines(ax, "care misses"), *lines(ax, "due")]
    assert len(set(marks)) == len(marks)
    [height] = {float(each.get_segments()[0][0, 1]) for each in with_gid(ax, "due")}
    # below its row and above the next one
    labels = [label.get_text() for label in ax.get_yticklabels()]
    row = ax.get_yticks()[labels.index("hunger (0 to 1)")]
    assert row + 0.4 < height < row + 0.6


def test_what_went_on_at_the_same_time_stands_side_by_side() -> None:
    times = [(0, 10), (5, 2), (11, 5), (6, 20), (0, 10)]
    lanes = _lanes(times)
    assert lanes[0] == lanes[4]
    for (one, other), (a, b) in zip(combinations(times, 2), combinations(lanes, 2), strict=True):
        overlap = one[0] <= other[0] + other[1] and other[0] <= one[0] + one[1]
        assert one == other or not overlap or a != b


def test_a_life_that_reached_its_aim_is_drawn_whole() -> None:
    why = petsim.explain_life(grove(most=3), rig(outages=OUT))
    ax = why.plot()
    assert question(ax) == life_explained.message(why)
    assert not with_gid(ax, "end")
    assert ax.get_xlim() == (0, pytest.approx(why.life.summary["end_s"] / DAY))


def test_a_death_is_where_it_ends() -> None:
    why = petsim.explain_life("lamplet", "hands-off")
    ax = why.plot()
    assert "died (starved)" in " ".join(text.get_text() for text in ax.texts)
    assert len(lines(ax, "care misses")) == len(why.links)


def test_a_page_has_the_picture_its_figures_and_the_command(saved) -> None:
    page = report.page(report.of(saved))
    assert "Why did life 0 of" in page
    assert "What led to it, and when?" in page
    assert "the figures are in the table \u201cWhat it failed by" in page
    assert "check at 00:08: skipped, the power was out" in page
    assert "petsim explain " in page
    assert "--life 0" in page


def test_a_page_of_a_life_that_reached_its_aim_asks_how() -> None:
    page = report.page(report.of(petsim.explain_life(grove(most=3), rig(outages=OUT))))
    assert "How did life 0 of" in page
    assert "What led to it" not in page
