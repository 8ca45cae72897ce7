"""Pictures say what the results say, in words that can be read and lines that can be told apart."""

from __future__ import annotations

import re
from collections import Counter
from functools import cache
from itertools import combinations, pairwise
from pathlib import Path

import matplotlib as mpl

mpl.use("Agg")

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib import pyplot as plt
from matplotlib.collections import EventCollection
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle, StepPatch
from matplotlib.text import Annotation, Text
from scipy.optimize import minimize

import petsim
from petsim.errors import ArgumentError
from petsim.spec.quantities import DAY
from petsim.study.hours import hours_of
from petsim.study.measures import MISSES, measures
from petsim.study.stats import Interval, wilson
from petsim.view import diary, plots
from petsim.view.plots import files, forest, layout, scales, sheet
from petsim.view.plots import lives as of_lives
from petsim.view.plots import regimes as of_regimes
from tests.life import worlds
from tests.study.figures import estimates

ROOT = Path(__file__).parents[2]
REGIMES = ["ten-minute", "thirty-minute", "camera-rig"]
VARY = {"checks.every": "10 min..60 min/10 min", "eyes.lights.overlooks": "0, 5%, 20%"}
# of 6 inches shown 360 px wide, 96 px an inch
SMALLEST = 8 / (360 / 96 / 6)


class Results:
    """What there is to draw, lived when it is first wanted."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def __getattr__(self, name: str):
        made = getattr(type(self), f"_{name}")(self)
        setattr(self, name, made)
        return made

    def _sweep_of(self, name, regimes, vary, lives=40, **options):
        out = self._folder / name
        return petsim.sweep("lamplet", regimes, vary, out=out, lives=lives, workers=1, **options)

    def _three(self):
        return petsim.compare("lamplet", REGIMES, lives=200, workers=1)

    def _one_regime(self):
        return petsim.compare("lamplet", ["ten-minute"], lives=50, workers=1)

    def _one_life(self):
        return petsim.compare("lamplet", ["ten-minute", "thirty-minute"], lives=1, workers=1)

    def _deaths(self):
        return petsim.compare("lamplet", ["hands-off", "hourly"], lives=60, workers=1)

    def _undecided(self):
        return petsim.compare("lamplet", ["ten-minute", "hands-off"], lives=50, days=4, workers=1)

    def _to_death(self):
        return petsim.batch("lamplet", "thirty-minute", lives=100, until="death", workers=1)

    def _twelve(self):
        return self._side_by_side(40)

    def _twelve_lives_alone(self):
        return self._side_by_side(1)

    def _side_by_side(self, lives):
        paths = [*self._long_names(range(5, 65, 5))]
        return petsim.compare("lamplet", paths, lives=lives, workers=1)

    def _long_names(self, every):
        text = (ROOT / "regimes" / "ten-minute.yaml").read_text(encoding="utf-8")
        assert "every: 10 min" in text
        for minutes in every:
            path = self._folder / f"every-{minutes}-minutes-under-a-name-that-is-rather-long.yaml"
            path.write_text(text.replace("every: 10 min", f"every: {minutes} min"), "utf-8")
            yield path

    def _grid(self):
        return self._sweep_of("grid", ["camera-rig"], VARY)

    def _hands_off(self):
        return petsim.compare("lamplet", ["hands-off"], lives=20, workers=1)

    def _hopeless(self):
        vary = {
            "checks.every": "90 min..240 min/30 min",
            "eyes.lights.overlooks": "0%..60%/10%",
        }
        return self._sweep_of("hopeless", ["hourly"], vary, lives=5)

    def _fine_grid(self):
        vary = {"checks.every": "4 min..24 min/2 min", "eyes.lights.overlooks": "0%..50%/10%"}
        return self._sweep_of("fine", ["camera-rig"], vary, lives=15)

    def _unknowns(self, method, vary):
        out = self._folder / method
        how = {"lives": 20, "points": 4, "method": method, "workers": 1}
        return petsim.sensitivity("lamplet", "ten-minute", vary, out=out, **how)

    def _morris(self):
        most = {"stages.adolescent.illness.base": "0.1 per day..0.3 per day"}
        elder = {"stages.elder.illness.base": "1 per day..2 per day"}  # beyond the outcome
        return self._unknowns("morris", {"checks.every": "5 min..1 h"} | most | elder)

    def _sobol(self):
        vary = {"eyes.lights.overlooks": "0..30%", "checks.every": "5 min..1 h"}
        return self._unknowns("sobol", vary)

    def _some_lives(self):
        return [petsim.simulate("lamplet", "thirty-minute", life=number) for number in range(12)]

    def _rig_life(self):
        return petsim.simulate("lamplet", "camera-rig", life=3)

    def _dead_life(self):
        return petsim.simulate("lamplet", "hands-off")

    def _long_life(self):
        return petsim.simulate("lamplet", "thirty-minute", until="death")

    def _short_life(self):
        return petsim.simulate("lamplet", "ten-minute", days=0.02)


PICTURES = {
    "odds": lambda r, **ax: plots.odds(r.three, **ax),
    "odds of a batch": lambda r, **ax: plots.odds(r.three.batches[0], **ax),
    "odds of one regime": lambda r, **ax: plots.odds(r.one_regime, **ax),
    "odds of one life": lambda r, **ax: plots.odds(r.one_life, **ax),
    "odds with deaths": lambda r, **ax: plots.odds(r.deaths, **ax),
    "odds, undecided": lambda r, **ax: plots.odds(r.undecided, **ax),
    "odds of twelve": lambda r, **ax: plots.odds(r.twelve, **ax),
    "misses": lambda r, **ax: plots.misses(r.three, **ax),
    "no misses": lambda r, **ax: plots.misses(r.one_regime, **ax),
    "misses of one life": lambda r, **ax: plots.misses(r.one_life, **ax),
    "misses of twelve": lambda r, **ax: plots.misses(r.twelve, **ax),
    "cost": lambda r, **ax: plots.cost(r.three, **ax),
    "cost of twelve": lambda r, **ax: plots.cost(r.twelve, **ax),
    "cost of one regime": lambda r, **ax: plots.cost(r.one_regime, **ax),
    "cost over a sweep": lambda r, **ax: plots.cost(r.grid, **ax),
    "cost over a fine sweep": lambda r, **ax: plots.cost(r.fine_grid, **ax),
    "differences": lambda r, **ax: plots.differences(r.three, **ax),
    "differences of twelve": lambda r, **ax: plots.differences(r.twelve, **ax),
    "unknowns by Morris": lambda r, **ax: plots.unknowns(r.morris, **ax),
    "unknowns by Sobol": lambda r, **ax: plots.unknowns(r.sobol, **ax),
    "cost, all 0": lambda r, **ax: plots.cost(r.hopeless, **ax),
    "cost without presses": lambda r, **ax: plots.cost(r.hands_off, **ax),
    "misses by hour": lambda r, **ax: plots.misses_by_hour(r.some_lives, **ax),
    "misses by hour of one life": lambda r, **ax: plots.misses_by_hour([r.dead_life], **ax),
    "no misses by hour": lambda r, **ax: plots.misses_by_hour([r.short_life], **ax),
    "misses by hour of three": lambda r, **ax: plots.misses_by_hour(r.three, **ax),
    "misses by hour of twelve": lambda r, **ax: plots.misses_by_hour(r.twelve, **ax),
    "misses by hour to death": lambda r, **ax: plots.misses_by_hour(r.deaths.batches[0], **ax),
    "forms": lambda r, **ax: plots.forms_over_time(r.three.batches[2], **ax),
    "forms to death": lambda r, **ax: plots.forms_over_time(r.to_death, **ax),
    "forms with deaths": lambda r, **ax: plots.forms_over_time(r.deaths.batches[0], **ax),
    "forms of one life": lambda r, **ax: plots.forms_over_time(r.one_life.batches[0], **ax),
    "timeline": lambda r, **ax: plots.timeline(r.rig_life, **ax),
    "timeline of a day": lambda r, **ax: plots.timeline(r.rig_life, (2, 3), **ax),
    "timeline of a death": lambda r, **ax: plots.timeline(r.dead_life, **ax),
    "timeline to death": lambda r, **ax: plots.timeline(r.long_life, **ax),
    "timeline, short": lambda r, **ax: plots.timeline(r.short_life, **ax),
}
ONE_EACH = (
    "odds",
    "misses",
    "cost",
    "differences",
    "misses by hour",
    "forms",
    "timeline of a day",
)


@pytest.fixture(scope="module")
def results(tmp_path_factory) -> Results:
    return Results(tmp_path_factory.mktemp("sweeps"))


@pytest.fixture(scope="module")
def picture(results):
    """Each picture, drawn once."""
    drawn = {}

    def get(name: str):
        if name not in drawn:
            drawn[name] = PICTURES[name](results)
            plt.close(drawn[name].figure)
        return drawn[name]

    return get


@pytest.fixture(autouse=True)
def _pictures_are_closed():
    yield
    plt.close("all")


def small_print_of(ax) -> str:
    """The small print, line by line."""
    [note] = [text for text in ax.figure.findobj(Text) if text.get_gid() == "small print"]
    return note.get_text()


def small_print(ax) -> str:
    return small_print_of(ax).replace("\n", " ").replace("\N{NO-BREAK SPACE}", " ")


def question(ax) -> str:
    return ax.get_title(loc="left").replace("\n", " ")


def with_gid(ax, gid: str) -> list:
    return [artist for artist in ax.get_children() if artist.get_gid() == gid]


@cache
def written(ax) -> list[tuple[str, object]]:
    """All that can be read, and where it stands, of a picture that no longer changes."""
    ax.figure.draw_without_rendering()
    found = []
    for one in ax.figure.axes:
        for axis in (one.xaxis, one.yaxis):
            low, high = sorted(axis.get_view_interval())
            ticks = zip(axis.get_majorticklocs(), axis.get_ticklabels(), strict=True)
            found += [label for place, label in ticks if low <= place <= high]
            found.append(axis.label)
        found += [*one.texts, one._left_title]
    shown = [text for text in found if text.get_visible() and text.get_text()]
    return [(text.get_text(), Text.get_window_extent(text)) for text in shown]


# What is written


@pytest.mark.parametrize("name", PICTURES)
def test_says_what_it_is_about(picture, name: str) -> None:
    ax = picture(name)
    assert question(ax).endswith("?")
    assert "life" in small_print(ax) or "lives" in small_print(ax)
    assert "seed 0" in small_print(ax)
    xlabel, ylabel = ax.get_xlabel(), ax.get_ylabel()
    assert (
        xlabel.endswith(")")
        or xlabel in {"regime", "checks.first", "stages.juvenile.drops.mood"}
        or "hours" in xlabel
    )
    rows = not ylabel
    assert rows or "(" in ylabel or ylabel.replace("\n", " ") == "day of life"
    assert not rows or all(label.get_text() for label in ax.get_yticklabels())


@pytest.mark.parametrize("name", PICTURES)
def test_nothing_written_overlaps_or_is_cut(picture, name: str) -> None:
    ax = picture(name)
    within = ax.figure.bbox
    texts = written(ax)
    for text, box in texts:
        room = (box.x0, box.y0, within.width - box.x1, within.height - box.y1)
        assert min(room) >= -1, f"{text!r} is cut off"
    for (text, box), (other, its) in combinations(texts, 2):
        wide = min(box.x1, its.x1) - max(box.x0, its.x0)
        high = min(box.y1, its.y1) - max(box.y0, its.y0)
        assert min(wide, high) <= 2, f"{text!r} overlaps {other!r}"


@pytest.mark.parametrize("name", PICTURES)
def test_all_the_width_is_used(picture, name: str) -> None:
    ax = picture(name)
    boxes = [box for _, box in written(ax)]
    right = max(*(box.x1 for box in boxes), *(one.bbox.x1 for one in ax.figure.axes))
    assert min(box.x0 for box in boxes) < 0.02 * ax.figure.bbox.width
    assert right > 0.95 * ax.figure.bbox.width


@pytest.mark.parametrize("name", PICTURES)
def test_question_and_small_print_begin_where_the_upright_axis_does(picture, name: str) -> None:
    ax = picture(name)
    begins = min(ax.yaxis.get_tightbbox().x0, ax.bbox.x0)
    boxes = {text: box.x0 for text, box in written(ax)}
    title, note = (boxes[text] for text in (ax.get_title(loc="left"), small_print_of(ax)))
    assert title == pytest.approx(begins, abs=3)
    assert note == pytest.approx(begins, abs=3)


@pytest.mark.parametrize("name", [*ONE_EACH, "timeline"])
def test_nothing_is_cut_at_the_resolution_of_a_file(results, name: str, tmp_path) -> None:
    plots.save(PICTURES[name](results), tmp_path / "picture.png")
    pixels = plt.imread(tmp_path / "picture.png")
    for edge in (pixels[0], pixels[-1], pixels[:, 0], pixels[:, -1]):
        assert (edge == 1).all()


@pytest.mark.parametrize("name", PICTURES)
def test_can_be_read_on_a_phone(picture, name: str) -> None:
    ax = picture(name)
    assert ax.figure.get_figwidth() == 6
    sizes = {text.get_fontsize() for text in ax.figure.findobj(Text) if text.get_text()}
    assert min(sizes) >= SMALLEST


@pytest.mark.parametrize(
    ("name", "intervals"),
    [
        ("odds", "Wilson's 95 % intervals"),
        ("misses", "Student's 95 % intervals"),
        ("cost", "95 %, Wilson's and Student's"),
        ("differences", "Newcombe's paired 95 % intervals"),
        ("forms", "deeper: Wilson's 95 % interval"),
        ("cost over a sweep", "Named by checks.every and eyes.lights.overlooks. Whiskers: 95 %"),
    ],
)
def test_says_which_intervals(picture, name: str, intervals: str) -> None:
    assert intervals in small_print(picture(name))


@pytest.mark.parametrize(
    ("name", "lives"),
    [
        ("odds", "200 lives under each regime"),
        ("odds of one life", "1 life under each regime"),
        ("odds of a batch", "200 lives, lamplet"),
        ("misses by hour", "12 lives, lamplet"),
        ("timeline", "1 life, lamplet"),
    ],
)
def test_says_how_many_lives(picture, name: str, lives: str) -> None:
    assert lives in small_print(picture(name))


# What is drawn


def drawn_intervals(ax, *, upright: bool = False) -> list[tuple[float, float, float]]:
    """Estimate, low and high of each whisker, in the order they were drawn."""
    found = []
    for container in ax.containers:
        if not hasattr(container, "has_xerr"):
            continue
        data, _, lines = container
        at = data.get_ydata() if upright else data.get_xdata()
        which = lines[-1].get_segments()
        ends = [segment[:, int(upright)] for segment in which]
        found += [(at[i], *ends[i]) for i in range(len(at))]
    return found


def test_odds_are_those_of_the_comparison(picture, results) -> None:
    table = 100 * results.three.odds()[["estimate", "low", "high"]]
    drawn = drawn_intervals(picture("odds"))
    reached = ["beacon", "lantern", "candle", "ember"]
    outcomes = [o for o in reached if any(b.counts[o] for b in results.three.batches)]
    expected = [table.loc[(regime, o)].to_list() for o in outcomes for regime in REGIMES]
    assert outcomes[:3] == ["beacon", "lantern", "candle"]
    np.testing.assert_allclose(drawn, expected, atol=1e-9)
    heads = [label.get_text() for label in picture("odds").get_yticklabels()]
    assert heads[:4] == ["beacon (the aim)", *REGIMES]


def test_a_form_that_no_life_took_has_its_upper_bound(picture, results) -> None:
    never = 100 * wilson(0, 200).high
    none = [o for o in ("ember", "smoulder") if not any(b.counts[o] for b in results.three.batches)]
    assert "smoulder" in none
    said = f"None became {', '.join(none)}: at most {never:.1f} % each."
    assert said in small_print(picture("odds"))
    ax = picture("odds of one regime")
    bound = 100 * wilson(0, 50).high
    texts = [text.get_text() for text in ax.texts]
    assert texts.count(f"at most {bound:.1f} %") == 4
    assert drawn_intervals(ax)[-1] == pytest.approx((0, 0, bound))


def test_deaths_and_the_undecided_are_among_the_odds(picture) -> None:
    def heads(name: str) -> list[str]:
        return [label.get_text() for label in picture(name).get_yticklabels()]

    assert {"starved", "untreated illness"} <= set(heads("odds with deaths"))
    assert "undecided" in heads("odds, undecided")


def misses_of(batch) -> dict[str, Interval]:
    """The mean care misses of a batch in all, by cause and by stage, by their labels."""
    means = estimates(batch)
    return {m.label: means[m.name] for m in measures(batch.model) if m.table == MISSES}


def test_misses_are_those_of_the_comparison(picture, results) -> None:
    ax, batches = picture("misses"), results.three.batches
    found = {batch.regime: misses_of(batch) for batch in batches}
    heads = [h for h in found["camera-rig"] if any(found[r][h].estimate for r in REGIMES)]
    expected = [found[regime][head] for head in heads for regime in REGIMES]
    np.testing.assert_allclose(drawn_intervals(ax), expected, atol=1e-9)
    assert [bar.get_width() for bar in ax.patches] == [i.estimate for i in expected]
    assert len({bar.get_hatch() for bar in ax.patches}) == 3
    for head in set(found["camera-rig"]) - set(heads):
        assert f" {head}" in small_print(ax)


def side_by_side(ax) -> dict[str, list[tuple[float, float, float]]]:
    """The intervals of each group that stands beside others, by its head."""
    heads = [label.get_text() for label in ax.get_xticklabels()]
    ends = [text for text in ax.texts if text.get_gid() is None]
    found = {}
    assert {end.get_text() for end in ends} == {"100"} or "%" not in ax.get_xlabel()
    for place, (head, end, container) in enumerate(zip(heads, ends, ax.containers, strict=True)):
        points, _, [bars] = container
        scale = float(end.get_text()) / (end.get_position()[0] - place)
        at = [points.get_xdata(), *np.array([b[:, 0] for b in bars.get_segments()]).T]
        found[head] = [tuple(row) for row in (np.array(at).T - place) * scale]
    return found


def test_many_regimes_stand_in_groups_side_by_side(picture, results) -> None:
    batches = results.twelve.batches
    odds = side_by_side(picture("odds of twelve"))
    outcomes = [o for o in batches[0].model.forms if any(b.counts.get(o) for b in batches)]
    assert [*odds] == [o if o != "beacon" else "beacon (the aim)" for o in outcomes]
    for outcome, drawn in zip(outcomes, odds.values(), strict=True):
        expected = [100 * np.array(batch.share(outcome)) for batch in batches]
        np.testing.assert_allclose(drawn, expected, atol=1e-9)
    misses = side_by_side(picture("misses of twelve"))
    found = [misses_of(batch) for batch in batches]
    assert [*misses][:2] == ["in all", "cause hunger"]
    for head, drawn in misses.items():
        np.testing.assert_allclose(drawn, [means[head] for means in found], atol=1e-9)
    for name in ("odds of twelve", "misses of twelve"):
        ax = picture(name)
        assert ax.figure.get_figheight() < 7
        assert len(ax.get_yticklabels()) == 12
        assert "each from 0" in ax.get_xlabel()


@pytest.mark.parametrize(
    ("x", "end"),
    [(0, 1), (0.0321, 0.04), (3.4, 3.4), (33.01, 34), (990.5, 1000)],
)
def test_a_scale_ends_at_few_digits_that_are_not_below(x: float, end: float) -> None:
    assert forest.rounded_up(x) == end


def test_many_regimes_of_a_single_life_stay_in_their_groups(results) -> None:
    ax = plots.misses(results.twelve_lives_alone)
    drawn = side_by_side(ax)
    batches = results.twelve_lives_alone.batches
    assert [d[0] for d in drawn["in all"]] == pytest.approx(
        [b.values["misses"][0] for b in batches]
    )
    for place, container in enumerate(ax.containers):
        assert max(container[0].get_xdata()) <= place + 0.84 + 1e-9


def test_no_misses_are_a_picture_too(picture) -> None:
    ax = picture("no misses")
    assert [bar.get_width() for bar in ax.patches] == [0]
    assert "None: cause hunger, cause mood" in small_print(ax)


def labels_beside(ax) -> list[Annotation]:
    return [text for text in ax.texts if isinstance(text, Annotation) and text.arrow_patch]


def crossings(leaders) -> int:
    """How many pairs of straight lines, each from a point to another, cross."""

    def side(a, b, c) -> float:
        return np.sign((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))

    return sum(
        side(a, b, c) * side(a, b, d) < 0 and side(c, d, a) * side(c, d, b) < 0
        for (a, b), (c, d) in combinations(leaders, 2)
    )


@pytest.mark.parametrize("name", [n for n in PICTURES if n.startswith("cost")])
def test_lines_to_labels_do_not_cross(picture, name: str) -> None:
    ax = picture(name)
    leaders = [
        (ax.transData.transform(text.xy), ax.transAxes.transform((1.03, text.xyann[1])))
        for text in labels_beside(ax)
    ]
    assert not crossings(leaders)


@given(
    st.lists(st.tuples(st.integers(0, 9), st.integers(0, 9)), min_size=1, max_size=8),
    st.lists(st.integers(-9, 19), min_size=8, max_size=8, unique=True),
)
def test_places_are_given_so_that_lines_do_not_cross(points, heights) -> None:
    slots = sorted(heights[: len(points)], reverse=True)
    order = layout.uncrossed(np.array(points), 10, slots)
    assert sorted(order) == [*range(len(points))]
    assert not crossings([(points[i], (10, slot)) for i, slot in zip(order, slots, strict=True)])


@pytest.mark.parametrize(
    ("places", "geometric"),
    [
        ([1, 2, 4], True),
        ([60, 90, 135, 203, 304], True),
        ([100, 101, 102], False),
        ([1, 2, 3], False),
        ([0, 1, 2, 4], False),
        ([1, 2], False),
        ([5], False),
    ],
)
def test_a_rangeis_geometric_if_its_ratios_are_alike(places, geometric) -> None:
    assert scales.is_geometric(places) == geometric


def test_a_parameter_is_told_by_as_few_steps_as_can_be() -> None:
    lights, waste = "eyes.lights.overlooks", "eyes.waste.overlooks"
    assert scales.brief(lights, [lights, "checks.every"]) == "overlooks"
    assert scales.brief(lights, [lights, waste]) == "lights.overlooks"
    assert scales.brief("routine[3].repeat", ["routine[3].repeat"]) == "repeat"
    assert scales.brief("routine[3].repeat", ["routine[3].repeat", "routine[4].repeat"]) == (
        "routine[3].repeat"
    )


def test_no_presses_are_not_fewer_than_none(picture) -> None:
    low, high = picture("cost without presses").get_xlim()
    assert (low, high) == (-0.08, 1)
    assert all(tick >= 0 for tick in picture("cost without presses").get_xticks() if low <= tick)


def test_means_of_one_life_have_no_intervals(picture) -> None:
    small = small_print(picture("misses of one life"))
    assert "Student" not in small
    assert "No intervals" in small


def test_cost_marks_what_nothing_beats(picture, results) -> None:
    for name in ("cost", "cost of twelve", "cost over a sweep"):
        ax = picture(name)
        points = [
            (container[0].get_xdata()[0], container[0].get_ydata()[0])
            for container in ax.containers
        ]
        filled = {
            point
            for point, container in zip(points, ax.containers, strict=True)
            if container[0].get_marker() == "o"
        }
        best = {
            (x, y)
            for x, y in points
            if not any((a <= x and b >= y) and (a, b) != (x, y) for a, b in points)
        }
        assert filled == best
        [line] = with_gid(ax, "frontier")
        assert list(zip(*line.get_data(), strict=True)) == sorted(best)
    presses = [estimates(batch)["presses_per_day"] for batch in results.three.batches]
    np.testing.assert_allclose(drawn_intervals_across(picture("cost")), presses)


@pytest.mark.parametrize("name", ["cost, all 0", "cost over a fine sweep"])
def test_filled_marks_are_not_covered_by_equal_ones(picture, name: str) -> None:
    ax = picture(name)
    marks = {container[0].get_marker(): set() for container in ax.containers}
    for points, _, whiskers in ax.containers:
        for part in (points, *whiskers):
            marks[points.get_marker()].add(part.get_zorder())
    assert min(marks["o"]) > max(marks["s"])


def test_says_which_of_the_best_are_named(results, monkeypatch) -> None:
    monkeypatch.setattr(of_regimes, "MOST_LABELS", 3)
    ax = plots.cost(results.fine_grid)
    assert len(labels_beside(ax)) == 3
    assert "Named: the 3 of these that reach most." in small_print(ax)


def drawn_intervals_across(ax) -> list[tuple[float, float, float]]:
    """Estimate, low and high along the level axis of points that have whiskers both ways."""
    return [(c[0].get_xdata()[0], *c[2][0].get_segments()[0][:, 0]) for c in ax.containers]


def test_differences_are_paired(picture, results) -> None:
    found = [100 * np.array(d.interval) for d in results.three.differences]
    np.testing.assert_allclose(drawn_intervals(picture("differences")), found)
    [zero] = with_gid(picture("differences"), "no difference")
    assert list(zero.get_xdata()) == [0, 0]


def test_unknowns_are_those_of_the_sensitivity_the_one_that_matters_most_first(
    picture, results
) -> None:
    found = results.morris.sensitivity().sort_values("size", ascending=False)
    ax = picture("unknowns by Morris")
    expected = 100 * found[["size", "low", "high"]].to_numpy()
    # an effect is scaled up, and can come to more than odds can move
    np.testing.assert_allclose(drawn_intervals(ax), expected.clip(0, 100))
    assert next(label.get_text() for label in ax.get_yticklabels()) == "checks.every"
    assert "none seen" in [text.get_text() for text in ax.texts]
    assert "percentage points" in ax.get_xlabel()

    found = results.sobol.sensitivity().sort_values("in_all", ascending=False)
    ax = picture("unknowns by Sobol")
    both = [[f"{name}{end}" for end in ("", "_low", "_high")] for name in ("alone", "in_all")]
    expected = [100 * found.loc[path, columns] for path in found.index for columns in both]
    drawn, expected = np.array(drawn_intervals(ax)), np.array(expected)
    # of a whole width nothing is known
    known = expected[:, 2] - expected[:, 1] < 100
    assert 0 < known.sum() < len(known)
    np.testing.assert_allclose(drawn[known], expected[known].clip(0, 100))
    assert np.isnan(drawn[~known, 0]).all()
    told = [text.get_text() for text in ax.texts].count("not known yet")
    assert told == (~known).sum()
    assert "%" in ax.get_xlabel()
    assert "TOO FEW POINTS" in small_print(ax)


def test_unknowns_are_what_is_drawn_of_a_sensitivity(results) -> None:
    assert question(results.morris.plot()) == "Which unknown moves the odds of beacon?"
    with pytest.raises(ArgumentError, match="expected a sweep made by petsim sensitivity"):
        plots.unknowns(results.grid)


def ticks(ax, gid: str) -> int:
    """How many ticks there are, or how many counts of each hour stand for."""
    found = [e for e in with_gid(ax, gid) if isinstance(e, EventCollection)]
    each = sum(len(collection.get_positions()) for collection in found)
    return each + round(sum(counts(ax, gid)))


def counts(ax, gid: str) -> list[float]:
    """The counts of each hour that are drawn; the largest there is of a row is beside it."""
    found = []
    for steps in with_gid(ax, gid):
        if isinstance(steps, StepPatch):
            values, _, low = steps.get_data()
            beside = " ".join(label.get_text() for label in ax.get_yticklabels())
            most = int(re.search(rf"{gid.split(maxsplit=1)[0]} \(0 to (\d+)/h\)", beside)[1])
            found += list(most * (low - values) / 0.7)
    return found


@pytest.mark.parametrize("name", ["rig_life", "dead_life", "short_life"])
def test_a_timeline_has_all_of_its_log(results, name: str) -> None:
    life = getattr(results, name)
    ax = plots.timeline(life)
    kinds = Counter(entry.event for entry in life.log)
    assert ticks(ax, "checks") == kinds["check"] == life.summary["checks"]
    assert ticks(ax, "checks skipped") == life.summary["checks_skipped"]
    for action in life.model.care:
        own = [entry.event for entry in life.log if entry.what == action]
        assert ticks(ax, f"{action} done") == own.count("done")
        assert ticks(ax, f"{action} in vain") == len(own) - own.count("done")
    rows = {label.get_text(): y for y, label in enumerate(ax.get_yticklabels())}
    named = {"illness": "ill", "lights": "lights left on", "waste": "waste"}
    for cause in life.model.causes:
        missed = [e.t / DAY for e in life.log if e.event == "miss" and e.what == cause]
        marks = with_gid(ax, f"misses of {cause}")
        assert [list(mark.get_xdata()) for mark in marks] == ([missed] if missed else [])
        row = [y for text, y in rows.items() if text.startswith(named.get(cause, cause))]
        assert all(set(mark.get_ydata()) == set(row) for mark in marks)
    assert f"{kinds['miss']} care misses" in small_print(ax)
    bands = [a.get_gid() for a in ax.get_children() if str(a.get_gid()).startswith("form ")]
    grown = [e.what for e in life.log if e.event in {"birth", "growth"}]
    assert bands[: len(grown)] == [f"form {form}" for form in grown]


def test_checks_that_would_run_together_are_counted_hour_by_hour(picture, results) -> None:
    life, ax = results.rig_life, picture("timeline")
    expected = Counter(e.t // 3600 for e in life.log if e.event == "check")
    drawn = counts(ax, "checks")
    np.testing.assert_allclose(drawn, [expected[hour] for hour in range(len(drawn))], atol=1e-9)
    assert 0 in expected.values() or len(expected) < len(drawn), "the power is out for a while"
    assert sum(counts(ax, "checks skipped")) == pytest.approx(life.summary["checks_skipped"])
    assert life.summary["checks_skipped"] > 0
    assert not counts(picture("timeline of a day"), "checks")
    assert ticks(picture("timeline of a day"), "checks") == life.summary["checks"]


def drawn_levels(ax, need: str, full: int) -> list[tuple[int, int]]:
    """The levels that are drawn of a need, or of waste, and from which second on."""
    [line] = with_gid(ax, f"level of {need}")
    t, y = np.round(line.get_xdata() * DAY).astype(int), line.get_ydata()
    bottom = next(
        place
        for place, label in enumerate(ax.get_yticklabels())
        if label.get_text().startswith(f"{need} (0 to ")
    )
    levels = np.round((bottom + 0.4 - y) * full / 0.8).astype(int)
    return list(zip(t.tolist(), levels.tolist(), strict=True))


def drawn_bars(ax, gid: str) -> list[tuple[int, int]]:
    """From when to when bars are drawn, in seconds."""
    ends = []
    for artist in with_gid(ax, gid):
        if isinstance(artist, Rectangle):
            ends.append((artist.get_x(), artist.get_x() + artist.get_width()))
        else:
            boxes = [path.get_extents() for path in artist.get_paths()]
            ends += [(box.x0, box.x1) for box in boxes]
    return [(round(since * DAY), round(to * DAY)) for since, to in ends]


@pytest.mark.parametrize("regime", [*REGIMES, "hands-off", "hourly"])
def test_a_timeline_agrees_with_the_summary(regime: str) -> None:
    life = petsim.simulate("lamplet", regime, life=1)
    ax = plots.timeline(life)
    for need, about in life.model.needs.items():
        spent = Counter()
        for (since, level), (to, _) in pairwise(drawn_levels(ax, need, about.full)):
            spent[level] += to - since
        for level in range(about.full + 1):
            assert spent[level] == life.summary[f"level_s.{need}.{level}"]
    for gid, column in (("asleep", "asleep_s"), ("illness", "ill_s")):
        assert sum(to - since for since, to in drawn_bars(ax, gid)) == life.summary[column]


def scolded(stage: dict, t: int, until: int, *, costs: int = 0, **effects):
    """The timeline of a life with an unfair scold in second t that has other effects besides."""
    model = worlds.pet(
        stage,
        needs=worlds.needs(mood_starts=1),
        care=worlds.care(scold={"reprimands": "yes", **effects}),
        discipline={"unfair costs": {"mood": costs}},
    )
    life = worlds.live(model, worlds.acting((t, "scold")), until=until)
    assert [entry.t for entry in life.log if entry.event == "unfair"] == [t]
    return plots.timeline(life)


def test_an_unfair_reprimand_that_cleans_leaves_no_waste_on_the_timeline() -> None:
    waste = {"every": "fixed 100 s", "pile max": 3, "grace": "10 min"}
    ax = scolded({"waste": waste}, t=150, until=170, cleans="yes")
    assert drawn_levels(ax, "waste", full=1) == [(0, 0), (100, 1), (150, 0), (170, 0)]


def test_an_unfair_reprimand_raises_before_it_lowers_on_the_timeline() -> None:
    ax = scolded({}, t=50, until=60, costs=1, raises={"mood": 3})
    assert drawn_levels(ax, "mood", full=5) == [(0, 1), (50, 3), (60, 3)]


def test_an_unfair_reprimand_that_puts_out_the_lights_leaves_none_on_the_timeline() -> None:
    sleep = {"sleeps": ["00:01 to 00:10"], "lights grace": "5 min"}
    ax = scolded(sleep, t=100, until=200, lights="off")
    assert drawn_bars(ax, "lights") == [(60, 100)]


def test_a_part_of_a_timeline_tells_the_pets_own_clock(picture) -> None:
    ax = picture("timeline of a day")
    assert ax.get_xlim() == (2, 3)
    assert [label.get_text() for label in ax.get_xticklabels()] == [
        "12:00",
        "18:00",
        "00:00",
        "06:00",
    ]
    # it is born at 09:00
    np.testing.assert_allclose(24 * np.array(ax.get_xticks()) + 9, [60, 66, 72, 78])


@pytest.mark.parametrize("name", ["rig_life", "long_life"])
def test_an_entry_of_the_diary_is_found_under_its_day(results, name: str) -> None:
    life = getattr(results, name)
    ax = plots.timeline(life)
    headings = {heading for heading, _, _ in diary.days(life)}
    assert len(headings) > 4
    labels = ax.get_xticklabels()
    assert 4 <= len(labels) <= 8
    for x, label in zip(ax.get_xticks(), labels, strict=True):
        number, weekday = label.get_text().split("\n")
        assert any(h.startswith(f"Day {number}, {weekday}") for h in headings)
        assert life.clock(round(x * DAY)).day == int(number)
    if name == "rig_life":
        # of the seventh day it sees seven hours, of the first fifteen
        named = [label.get_text().split("\n")[0] for label in labels]
        assert named == ["1", "2", "3", "4", "5", "6"]
        assert life.clock(life.summary["end_s"]).day == 7
    midnights = [life.clock(round(x * DAY)) for x in ax.get_xticks(minor=True)]
    assert {clock.second for clock in midnights} == {0}
    assert [clock.day for clock in midnights] == [
        *range(2, life.clock(life.summary["end_s"]).day + 1)
    ]
    assert ax.get_xlabel() == "day of life (ticks: 00:00; born 09:00)"
    part = plots.timeline(life, (2, 3))
    assert part.get_xlabel() == "clock time (hours), from day 3, Wednesday"


def test_misses_by_hour_are_boxes_of_their_area(results) -> None:
    lives = results.some_lives
    rates = hours_of(lives).rates
    ax = plots.misses_by_hour(lives)
    boxes = with_gid(ax, "misses")
    centres = [(b.get_y() + b.get_height() / 2, b.get_x() + b.get_width() / 2) for b in boxes]
    np.testing.assert_allclose(np.array(centres) - (0, 0.5), np.argwhere(rates > 0), atol=1e-9)
    areas = [box.get_width() * box.get_height() for box in boxes]
    np.testing.assert_allclose(areas, rates[rates > 0] / np.nanmax(rates))
    nobody = [(box.get_y() + 0.5, box.get_x()) for box in with_gid(ax, "nobody")]
    assert nobody == [(day, hour) for day, hour in np.argwhere(np.isnan(rates))]
    day, hour = np.argwhere(rates == np.nanmax(rates))[0]
    assert f"Largest, day {day + 1}, {hour:02}:00: {np.nanmax(rates):.2f} ±" in small_print(ax)


def test_hours_of_one_life_are_counted(picture, results) -> None:
    life = results.dead_life
    small = small_print(picture("misses by hour of one life"))
    counted = Counter(divmod(9 + e.t // 3600, 24) for e in life.log if e.event == "miss")
    most = max(counted.values())
    day, hour = min(place for place, count in counted.items() if count == most)
    what = "care miss" if most == 1 else "care misses"
    assert (
        f"Area: misses in that hour. Largest, day {day + 1}, {hour:02}:00: {most} {what}." in small
    )
    assert "mean" not in small
    third = small_print(plots.misses_by_hour(results.rig_life))
    assert third.startswith("Life 3, lamplet, seed 0.")
    alone = plots.plot(petsim.compare("lamplet", ["hands-off", "hourly"], lives=1), "hours")
    assert "1 life under each regime" in small_print(alone)
    assert "mean" not in small_print(alone)
    assert "mean misses" in small_print(picture("misses by hour"))


def test_hours_of_regimes_are_below_each_other_at_one_scale(picture, results) -> None:
    ax, found = picture("misses by hour of three"), results.three.miss_hours()
    heads = [text for text in ax.texts if text.get_text() in REGIMES]
    assert [head.get_text() for head in heads] == REGIMES
    areas, tops = [], [head.get_position()[1] + 1.1 for head in heads]
    for box in with_gid(ax, "misses"):
        middle = box.get_y() + box.get_height() / 2
        under = sum(top <= middle + 0.1 for top in tops) - 1
        areas.append((under, round(middle - tops[under]), box.get_width() * box.get_height()))
    most = max(np.nanmax(hours.rates) for hours in found)
    for place, hours in enumerate(found):
        own = [area for under, _, area in areas if under == place]
        np.testing.assert_allclose(own, hours.rates[hours.rates > 0] / most)
    assert "200 lives under each regime, lamplet" in small_print(ax)
    small = small_print(picture("misses by hour of twelve"))
    assert small.startswith("40 lives under each of the first 6, lamplet")


def test_hours_of_some_lives_say_of_how_many(monkeypatch) -> None:
    monkeypatch.setattr("petsim.study.batch.LOGGED", {"compiled": 3, "reference": 3})
    ax = plots.plot(petsim.batch("lamplet", "hourly", lives=5, workers=1), "hours")
    assert small_print(ax).startswith("3 lives, the first of 5, lamplet, seed 0.")


@pytest.mark.parametrize("name", ["to_death", "hands_off"])
def test_forms_over_time_are_counted(results, name: str) -> None:
    batch = results.to_death if name == "to_death" else results.deaths.batches[0]
    spans, lives = of_lives.spans_of_forms(batch), batch.lives
    for t in (0, 299, 300, DAY // 2, DAY, 3 * DAY, 6 * DAY, 12 * DAY, 30 * DAY):
        counted = Counter()
        for life in lives.to_dict("records"):
            entered = {life[f"entered_s.{f}"]: f for f in batch.model.forms}
            last = max(s for s in entered if 0 <= s <= t)
            counted["dead" if life["died"] and t >= life["end_s"] else entered[last]] += 1
        found = {form: int((a <= t).sum() - (b <= t).sum()) for form, (a, b) in spans.items()}
        assert found == {form: counted[form] for form in spans}
    assert "dead" in spans


def test_forms_are_rows_of_shares(picture, results) -> None:
    ax, batch = picture("forms"), results.three.batches[2]
    for row, (line, (entered, left)) in enumerate(
        zip(ax.lines, of_lives.spans_of_forms(batch).values(), strict=True)
    ):
        times = np.round(line.get_xdata() * DAY, 3)
        counts = (entered[:, None] <= times).sum(axis=0) - (left[:, None] <= times).sum(axis=0)
        drawn = (row + 0.4 - line.get_ydata()) / 0.8
        np.testing.assert_allclose(drawn, counts / len(batch), atol=1e-9)


# As methods of results


@pytest.mark.parametrize(
    ("result", "kinds"),
    [
        (lambda r: r.three, ["odds", "misses", "differences", "cost", "forms", "hours"]),
        (lambda r: r.three.batches[0], ["odds", "forms", "hours"]),
        (lambda r: r.grid, ["along", "heat-map", "differences", "cost"]),
        (lambda r: r.rig_life, ["timeline", "hours"]),
    ],
    ids=["comparison", "batch", "sweep", "life"],
)
def test_results_draw_themselves_as_the_function_does(results, result, kinds) -> None:
    drawn = result(results)
    for kind in [None, *kinds]:
        method, function = drawn.plot(kind), petsim.plot(drawn, kind)
        assert question(method) == question(function)
        assert small_print(method) == small_print(function)
        assert [type(one) for one in method.get_children()] == [
            type(one) for one in function.get_children()
        ]
    _, ax = plt.subplots()
    assert drawn.plot(ax=ax) is ax
    with pytest.raises(ArgumentError, match="kind: 'nothing'; expected one of"):
        drawn.plot("nothing")


def test_a_method_takes_what_its_picture_takes(results) -> None:
    assert results.rig_life.plot("timeline", days=(2, 3)).get_xlim() == (2, 3)
    across = results.grid.plot(x="eyes.lights.overlooks", ax=Figure().subplots())
    assert across.get_xlabel() == "eyes.lights.overlooks (%)"
    with pytest.raises(ArgumentError, match="x: is not of cost, which takes work"):
        results.grid.plot("cost", x="checks.every")


# How it is drawn


@pytest.mark.parametrize("name", ONE_EACH)
def test_draws_on_axes_given_and_changes_no_settings(results, name: str) -> None:
    before = dict(mpl.rcParams)
    _, (ax, other) = plt.subplots(1, 2, figsize=(14, 8), layout="constrained")
    assert PICTURES[name](results, ax=ax) is ax
    assert question(ax).endswith("?")
    assert not other.has_data()
    assert dict(mpl.rcParams) == before


@pytest.mark.parametrize("name", ONE_EACH)
def test_the_same_picture_is_the_same_bytes(results, name: str, tmp_path) -> None:
    before = dict(mpl.rcParams)
    files = [tmp_path / "one.svg", tmp_path / "two.svg"]
    for file in files:
        plots.save(PICTURES[name](results), file)
    one, two = (file.read_bytes() for file in files)
    assert one == two
    assert b"<text" in one
    assert b"<dc:date>" not in one
    assert dict(mpl.rcParams) == before


def test_colours_are_okabe_and_itos() -> None:
    # Okabe and Ito (2008), "Color Universal Design", in 0..255, from memory; its orange, sky blue
    # and yellow fade on white
    published = {
        "black": (0, 0, 0),
        "bluish green": (0, 158, 115),
        "blue": (0, 114, 178),
        "vermillion": (213, 94, 0),
        "reddish purple": (204, 121, 167),
    }
    with plt.style.context(sheet.STYLE):
        used = {to_hex(sheet.look(number)["color"]) for number in range(7)}
    assert len(used) == 5
    assert used == {"#{:02x}{:02x}{:02x}".format(*rgb) for rgb in published.values()}


def test_lines_can_be_told_apart_without_colour() -> None:
    looks = [sheet.look(number) for number in range(12)]
    assert len({(look["marker"], str(look["linestyle"])) for look in looks}) == 12


@given(
    st.lists(st.tuples(st.floats(0, 100), st.floats(1, 20)), min_size=1, max_size=6),
)
def test_labels_move_as_little_as_it_takes(things) -> None:
    wanted, sizes = map(np.array, zip(*things, strict=True))
    places = np.array(layout.spread(wanted.tolist(), sizes.tolist(), -1e4, 1e4))
    order = sorted(range(len(wanted)), key=lambda i: (wanted[i], -i))
    gaps = [(sizes[a] + sizes[b]) / 2 for a, b in pairwise(order)]
    if not gaps:
        assert places == wanted
        return
    assert (np.diff(places[order]) >= np.array(gaps) - 1e-9).all()
    clear = {
        "type": "ineq",
        "fun": lambda x: np.diff(x[order]) - gaps,
    }
    best = minimize(lambda x: ((x - wanted) ** 2).sum(), places, constraints=[clear])
    assert ((places - wanted) ** 2).sum() <= best.fun + 1e-4


def test_labels_stay_where_there_is_room() -> None:
    assert layout.spread([], [], 0, 10) == []
    assert layout.spread([10, 10, 10], [2, 2, 2], 0, 11) == [10, 8, 6]
    assert layout.spread([1, 50], [10, 10], 0, 100) == [5, 50]


def corners(path: str) -> list[tuple[float, float]]:
    """The points of a path of an SVG file that consists of straight lines."""
    found: list[tuple[float, float]] = []
    for command, x, y in re.findall(r"([MLHVz])\s*(-?[\d.]*)\s*(-?[\d.]*)", path):
        match command:
            case "H":
                found.append((float(x), found[-1][1]))
            case "V":
                found.append((found[-1][0], float(x)))
            case "M" | "L":
                found.append((float(x), float(y)))
    return found


def way(a, b, c) -> float:
    """How far a point is from the straight way between two others."""
    a, b, c = map(np.array, (a, b, c))
    along = np.clip((c - a) @ (b - a) / max((b - a) @ (b - a), 1e-12), 0, 1)
    return float(np.linalg.norm(a + along * (b - a) - c))


@given(st.lists(st.tuples(*[st.sampled_from([0, 1.5, 2.123456, 3, -7.25])] * 2), min_size=2))
def test_a_slim_path_goes_the_same_way(points) -> None:
    path = "M" + "L".join(f" {x:f} {y:f} \n" for x, y in points)
    slim = corners(re.search(' d="(.*?)"', files.slim(f'<path d="{path}"/>'))[1])
    assert len(slim) <= len(points)
    # each point is met in turn, by the same stretch as the one before or by a later one
    place = 0
    for point in points:
        while way(slim[place], slim[min(place + 1, len(slim) - 1)], point) > 0.01:
            place += 1
    assert way(slim[0], slim[0], points[0]) <= 0.01 >= way(slim[-1], slim[-1], points[-1])


def test_a_slim_picture_keeps_what_is_no_place() -> None:
    svg = (
        '<path d="M 0 0 \nL 1 0 \nL 2.003 0 \nL 2.003 5 \nz\nM 7 7 \nL 7 7 \nM 8 8 \n"/>'
        '<path d="M 1 2 \nQ 3.123456 4 5 6 \n"/>'
        '<use xlink:href="#a" transform="translate(63.623047 -0.001) scale(0.015625)"/>'
    )
    assert files.slim(svg) == (
        '<path d="M0 0H2V5zM7 7V7"/><path d="M 1 2 Q 3.12 4 5 6"/>'
        '<use href="#a" transform="translate(63.62 -0) scale(0.015625)"/>'
    )


def test_long_names_are_cut_in_the_middle() -> None:
    assert sheet.short("thirty-minute") == "thirty-minute"
    cut = sheet.short("every-10-minutes-under-a-name-that-is-rather-long")
    assert cut == "every-10-…her-long"
    assert len(cut) == 18


@pytest.mark.parametrize(
    ("names", "most", "said"),
    [
        (["10 min", "20%"], 22, "10 min, 20%"),
        (["thirty-minute", "random", "10 min"], 22, "thi…te, random, 10 min"),
        (["a-rather-long-regime", "0%"], 14, "a-rat…gime, 0%"),
        (["a" * 20] * 4, 10, "aa…aa, aa…aa, aa…aa, aa…aa"),
    ],
)
def test_the_longest_of_names_side_by_side_are_cut(names, most: int, said: str) -> None:
    assert sheet.short_of(names, most) == said


def test_the_frontier_takes_each_price_once() -> None:
    def bought(presses, odds):
        return of_regimes.Bought("", Interval(presses, 0, 0), Interval(odds, 0, 0))

    found = [bought(2, 0.5), bought(1, 0.5), bought(1, 0.4), bought(3, 0.7), bought(4, 0.6)]
    assert of_regimes.frontier(found) == [1, 3]


# What can't be drawn


@pytest.mark.parametrize(
    ("draw", "said"),
    [
        (lambda r: plots.differences(r.one_regime), "expected a comparison of two or more"),
        (lambda r: plots.misses_by_hour([]), "lives: none"),
        (lambda r: plots.timeline(r.rig_life, (3, 2)), r"days: \(3, 2\); expected a part of 0 to"),
        (lambda r: plots.timeline(r.rig_life, (9, 10)), "expected a part of 0 to"),
    ],
)
def test_says_what_it_can_not_draw(results, draw, said: str) -> None:
    with pytest.raises(ArgumentError, match=said):
        draw(results)
    assert not plt.get_fignums()
