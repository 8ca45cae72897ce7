"""Pictures say what the results say, in words that can be read and lines that can be told apart."""

from __future__ import annotations

import re
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
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.text import Annotation, Text
from scipy.optimize import minimize

import petsim
from petsim.errors import ArgumentError
from petsim.view import plots
from petsim.view import sweep as says
from petsim.view.plots import files, layout, scales, sheet
from tests.advice.test_one_life import OUT, grove, rig
from tests.view.looked_at import faults

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

    def _explained(self):
        return petsim.explain_life(grove(), rig(outages=OUT))

    def _death_explained(self):
        return petsim.explain_life("lamplet", "hands-off")


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
    "funnel": lambda r, **ax: plots.funnel(r.three, **ax),
    "funnel of twelve": lambda r, **ax: plots.funnel(r.twelve, **ax),
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
    "timeline of a day": lambda r, **ax: plots.timeline(r.rig_life, 3, **ax),
    "timeline of a death": lambda r, **ax: plots.timeline(r.dead_life, **ax),
    "timeline to death": lambda r, **ax: plots.timeline(r.long_life, **ax),
    "timeline, short": lambda r, **ax: plots.timeline(r.short_life, **ax),
    "life explained": lambda r, **ax: plots.chain(r.explained, **ax),
    "death explained": lambda r, **ax: plots.chain(r.death_explained, **ax),
}
ONE_EACH = (
    "odds",
    "funnel",
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
    assert question(ax)
    assert "life" in small_print(ax) or "lives" in small_print(ax)
    assert "seed 0" in small_print(ax)
    xlabel, ylabel = lowest_label(ax), ax.get_ylabel()
    assert (
        xlabel.endswith(")")
        or xlabel in {"regime", "checks.first", "stages.juvenile.drops.mood"}
        or "hours" in xlabel
    )
    rows = not ylabel
    assert rows or "(" in ylabel or ylabel.replace("\n", " ") == "day of life"
    assert not rows or all(label.get_text() for label in ax.get_yticklabels())


def lowest_label(ax) -> str:
    """The label of the level axis, which the lowest of several panels has."""
    return next(filter(None, (panel.get_xlabel() for panel in ax.figure.axes)), "")


@pytest.mark.parametrize("name", PICTURES)
def test_nothing_written_overlaps_or_is_cut(picture, name: str) -> None:
    ensure_clear(picture(name))


def ensure_clear(ax) -> None:
    """Fail if anything written overlaps another or is cut."""
    assert faults(ax.figure) == []


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
    beside = ax.yaxis.get_tightbbox()
    begins = ax.bbox.x0 if beside is None else min(beside.x0, ax.bbox.x0)
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
        ("cost over a sweep", "95 %, Wilson's and Student's"),
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
        # a whisker of what is not known has no places
        ends = [segment[:, int(upright)] if len(segment) else (np.nan,) * 2 for segment in which]
        found += [(at[i], *ends[i]) for i in range(len(at))]
    return found


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
    assert says.brief(lights, [lights, "checks.every"]) == "overlooks"
    assert says.brief(lights, [lights, waste]) == "lights.overlooks"
    assert says.brief("routine[3].repeat", ["routine[3].repeat"]) == "repeat"
    assert says.brief("routine[3].repeat", ["routine[3].repeat", "routine[4].repeat"]) == (
        "routine[3].repeat"
    )


def test_no_presses_are_not_fewer_than_none(picture) -> None:
    low, high = picture("cost without presses").get_xlim()
    assert (low, high) == (-0.08, 1)
    assert all(tick >= 0 for tick in picture("cost without presses").get_xticks() if low <= tick)


def test_differences_are_paired(picture, results) -> None:
    ranked = sorted(results.three.differences, key=lambda d: -d.interval.estimate)
    found = [100 * np.array(d.interval) for d in ranked]
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
    # of a whole width nothing is known, nor of one in which no share lies
    low, high = expected[:, 1], expected[:, 2]
    known = (high - low < 100) & (low <= 100) & (high >= 0)
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


# As methods of results


@pytest.mark.parametrize(
    ("result", "kinds"),
    [
        (
            lambda r: r.three,
            ["odds", "funnel", "misses", "differences", "cost", "forms", "hours", "growth"],
        ),
        (
            lambda r: r.three.batches[0],
            ["odds", "funnel", "forms", "hours", "growth", "convergence"],
        ),
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
    assert results.rig_life.plot("timeline", zoom=2).get_xlim() == (15 / 24, 39 / 24)
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
    assert question(ax)
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
        used = {to_hex(one["color"]) for one in plt.rcParams["axes.prop_cycle"]}
    assert used == {"#{:02x}{:02x}{:02x}".format(*rgb) for rgb in published.values()}


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


# What can't be drawn


@pytest.mark.parametrize(
    ("draw", "said"),
    [
        (lambda r: plots.differences(r.one_regime), "expected a comparison of two or more"),
        (lambda r: plots.misses_by_hour([]), "lives: none"),
    ],
)
def test_says_what_it_can_not_draw(results, draw, said: str) -> None:
    with pytest.raises(ArgumentError, match=said):
        draw(results)
    assert not plt.get_fignums()
