"""Pictures of lives have all of their log, at its time; of hours and forms, what was counted."""

from __future__ import annotations

import re
from collections import Counter
from itertools import combinations, pairwise

import matplotlib as mpl

mpl.use("Agg")

import numpy as np
import pytest
from matplotlib import pyplot as plt
from matplotlib.collections import EventCollection, LineCollection, QuadMesh
from matplotlib.colors import to_hex
from matplotlib.patches import Rectangle, StepPatch
from matplotlib.text import Text

import petsim
from petsim.errors import ArgumentError
from petsim.spec.quantities import DAY
from petsim.study.hours import hours_of
from petsim.view import diary, plots
from petsim.view.outcome import headline
from petsim.view.plots import lives as of_lives
from petsim.view.plots.colours import AIM, HATCHES, MISS, of_outcomes
from tests.life import worlds
from tests.view.looked_at import faults
from tests.view.test_plots import question, small_print, with_gid

REGIMES = ["ten-minute", "thirty-minute", "camera-rig"]


@pytest.fixture(scope="module")
def rig_life():
    """The first with some care misses, and some checks skipped as the power was out."""
    lives = (petsim.simulate("lamplet", "camera-rig", life=number) for number in range(100))
    return next(
        life for life in lives if life.summary["misses"] > 3 and life.summary["checks_skipped"] > 9
    )


@pytest.fixture(scope="module")
def dead_life():
    return petsim.simulate("lamplet", "hands-off")


@pytest.fixture(scope="module")
def long_life():
    return petsim.simulate("lamplet", "thirty-minute", until="death")


@pytest.fixture(scope="module")
def missed_life():
    """One with a care miss every 40 s of 50 min, more than can be numbered one by one."""
    stage = worlds.fields(grace={"hunger": "20 s"}, again_after={"hunger": "40 s"})
    return worlds.live(worlds.pet(stage, needs=worlds.needs(hunger_starts=0)), until=3_000)


@pytest.fixture(scope="module")
def three():
    return petsim.compare("lamplet", REGIMES, lives=40, workers=1)


# One life


def ticks(ax, gid: str) -> int:
    """How many ticks there are, or how many counts of each hour stand for."""
    found = [e for e in with_gid(ax, gid) if isinstance(e, LineCollection | EventCollection)]
    return sum(len(lines.get_segments()) for lines in found) + round(sum(counts(ax, gid)))


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


def row_of(ax, text: str) -> float:
    """Where the row is whose text begins so."""
    [y] = [
        tick
        for tick, label in zip(ax.get_yticks(), ax.get_yticklabels(), strict=True)
        if label.get_text().startswith(text)
    ]
    return y


def test_a_timeline_has_all_of_its_log(rig_life, dead_life, missed_life) -> None:
    for life in (rig_life, dead_life, missed_life):
        ax = plots.timeline(life)
        kinds = Counter(entry.event for entry in life.entries)
        assert ticks(ax, "checks") == kinds["check"] == life.summary["checks"]
        assert ticks(ax, "checks skipped") == life.summary["checks_skipped"]
        tried = {e.event for e in life.entries if e.what in life.model.care} - {"done"}
        in_vain = sum(kinds[kind] for kind in tried)
        drawn = {"done": kinds["done"], "in vain": in_vain}
        for fate, number in drawn.items():
            each = [f"{action} {fate}" for action in life.model.care]
            assert sum(ticks(ax, gid) for gid in ("actions " + fate, *each)) == number
        bands = [a.get_gid() for a in ax.get_children() if str(a.get_gid()).startswith("form ")]
        grown = [e.what for e in life.entries if e.event in {"birth", "growth"}]
        assert bands[: len(grown)] == [f"form {form}" for form in grown]


def test_care_misses_are_marked_on_top_and_in_the_rows_of_their_causes(rig_life, dead_life) -> None:
    named = {"illness": "ill", "lights": "lights left on", "waste": "waste"}
    for life in (rig_life, dead_life):
        ax = plots.timeline(life)
        missed = [(e.t / DAY, e.what) for e in life.entries if e.event == "miss"]
        assert len(missed) > 3
        [marks] = [c for c in with_gid(ax, "care misses") if isinstance(c, LineCollection)]
        assert [segment[0][0] for segment in marks.get_segments()] == [t for t, _ in missed]
        assert to_hex(marks.get_color()[0]) == MISS
        for cause in life.model.causes:
            own = [t for t, what in missed if what == cause]
            rows = with_gid(ax, f"misses of {cause}")
            assert [list(row.get_xdata()) for row in rows] == ([own] if own else [])
            for row in rows:
                assert set(row.get_ydata()) == {row_of(ax, named.get(cause, cause))}


def numbers_of(ax) -> list[tuple[int, int]]:
    """The first and the last of the care misses that each number stands for."""
    texts = [text for text in with_gid(ax, "numbers") if isinstance(text, Text)]
    parts = [text.get_text().split("\N{EN DASH}") for text in texts]
    return [(int(part[0]), int(part[-1])) for part in parts]


def test_every_miss_has_its_number_once_and_numbers_stand_apart(
    rig_life, dead_life, missed_life, long_life
) -> None:
    for life in (rig_life, dead_life, missed_life, long_life):
        ax = plots.timeline(life)
        runs = numbers_of(ax)
        told = [number for first, last in runs for number in range(first, last + 1)]
        assert told == [*range(1, life.summary["misses"] + 1)]
        boxes = [Text.get_window_extent(text) for text in with_gid(ax, "numbers")]
        for one, other in pairwise(boxes):
            assert one.x1 < other.x0
        assert all(ax.bbox.x0 - 1 <= box.x0 and box.x1 <= ax.bbox.x1 + 1 for box in boxes)
        # a line leads from each number to each of its marks
        assert len(with_gid(ax, "leader")) == len(told)
    assert len(numbers_of(plots.timeline(missed_life))) < missed_life.summary["misses"]


def test_what_is_to_blame_stands_above_what_is_not(rig_life) -> None:
    ax = plots.timeline(rig_life)
    labels = [label.get_text() for label in ax.get_yticklabels()]
    assert labels[:4] == ["form", "care misses", "bad light", "power out"]
    assert [re.sub(r" \(.*", "", label) for label in labels[-2:]] == ["checks", "actions"]
    levels = [labels.index(label) for label in labels if label.startswith(("hunger", "mood"))]
    assert labels.index("calls") > max(levels)
    assert list(ax.get_yticks()) == sorted(ax.get_yticks())


def test_the_title_is_what_became_of_it(rig_life, dead_life) -> None:
    for life in (rig_life, dead_life):
        assert question(plots.timeline(life)) == headline(life)
    small = small_print(plots.timeline(rig_life))
    assert small.startswith("1 life, lamplet under camera-rig, seed 0: spark, ")
    assert f"Red: {rig_life.summary['misses']} care misses, numbered" in small
    assert "Hatched: power out." in small
    assert "Hatched" not in small_print(plots.timeline(dead_life))


def test_a_life_without_misses_says_so() -> None:
    ax = plots.timeline(worlds.live(worlds.pet(), until=100))
    assert "care misses: none" in [label.get_text() for label in ax.get_yticklabels()]
    assert not numbers_of(ax)
    assert "Red" not in small_print(ax)


def test_checks_that_would_run_together_are_counted_hour_by_hour(rig_life) -> None:
    ax, day = plots.timeline(rig_life), plots.timeline(rig_life, zoom=3)
    expected = Counter(e.t // 3600 for e in rig_life.entries if e.event == "check")
    drawn = counts(ax, "checks")
    np.testing.assert_allclose(drawn, [expected[hour] for hour in range(len(drawn))], atol=1e-9)
    assert sum(counts(ax, "checks skipped")) == pytest.approx(rig_life.summary["checks_skipped"])
    assert rig_life.summary["checks_skipped"] > 0
    assert not counts(day, "checks")
    assert ticks(day, "checks") == rig_life.summary["checks"]


def drawn_levels(ax, need: str, full: int) -> list[tuple[int, int]]:
    """The levels that are drawn of a need, or of waste, and from which second on."""
    [line] = with_gid(ax, f"level of {need}")
    t, y = np.round(line.get_xdata() * DAY).astype(int), line.get_ydata()
    levels = np.round((row_of(ax, f"{need} (0 to ") + 0.4 - y) * full / 0.8).astype(int)
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


def test_outages_are_hatched_from_when_to_when_the_power_was_out(rig_life) -> None:
    ax = plots.timeline(rig_life)
    begins, ends = (
        [e.t for e in rig_life.entries if e.event == kind]
        for kind in ("outage begins", "outage ends")
    )
    ends += [rig_life.summary["end_s"]] * (len(begins) - len(ends))
    assert drawn_bars(ax, "power out") == list(zip(begins, ends, strict=True))
    [bars] = with_gid(ax, "power out")
    assert bars.get_hatch()


@pytest.fixture(scope="module")
def dim_life():
    """One with spells of bad light, an outage over some of them, and checks that are forgotten."""
    caretaker = worlds.regime(
        {"when": {"hunger": "below 2"}, "do": "feed"},
        eyes={"spells": {"clear": "2 h", "lasts": "50 min", "hunger": {"misreads": "50%"}}},
        outages={"up": "5 h", "down": "4 h"},
    )
    caretaker["checks"] = {"every": "20 min", "first": "0 s", "forgets": "40%"}
    return worlds.live(worlds.pet(), caretaker, until=12 * 3600)


def test_bad_light_is_dotted_from_when_to_when_there_was_any(dim_life) -> None:
    ax = plots.timeline(dim_life)
    begins, ends = (
        [e.t for e in dim_life.entries if e.event == kind]
        for kind in ("spell begins", "spell ends")
    )
    ends += [dim_life.summary["end_s"]] * (len(begins) - len(ends))
    assert drawn_bars(ax, "bad light") == list(zip(begins, ends, strict=True))
    assert (
        sum(to - since for since, to in drawn_bars(ax, "bad light")) == dim_life.summary["spells_s"]
    )
    [light], [outages] = with_gid(ax, "bad light"), with_gid(ax, "power out")
    assert light.get_hatch() != outages.get_hatch()
    # above the outages, which reach as far up: to where the marks of the care misses begin
    assert row_of(ax, "bad light") < row_of(ax, "power out")
    tops = {path.get_extents().y0 for bars in (light, outages) for path in bars.get_paths()}
    assert len(tops) == 1
    assert min(tops) < row_of(ax, "bad light") - 0.5
    assert "Dotted: bad light. Hatched: power out. " in small_print(ax)
    assert "Light: skipped or forgotten, or in vain" in small_print(ax)


def test_forgotten_checks_are_drawn_with_the_skipped_ones(dim_life) -> None:
    summary = dim_life.summary
    assert summary["checks_forgotten"] > 0
    not_done = summary["checks_skipped"] + summary["checks_forgotten"]
    assert ticks(plots.timeline(dim_life), "checks skipped") == not_done


def scolded(stage: dict, t: int, until: int, *, costs: int = 0, **effects):
    """The timeline of a life with an unfair scold in second t that has other effects besides."""
    model = worlds.pet(
        stage,
        needs=worlds.needs(mood_starts=1),
        care=worlds.care(scold={"reprimands": "yes", **effects}),
        discipline={"unfair costs": {"mood": costs}},
    )
    life = worlds.live(model, worlds.acting((t, "scold")), until=until)
    assert [entry.t for entry in life.entries if entry.event == "unfair"] == [t]
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


# A part of a life


def test_each_attempt_is_seen_in_a_part_those_of_a_check_one_above_the_other(rig_life) -> None:
    # day 3 is from 00:00 to 24:00; it is born at 09:00 of day 1
    begins, ends = (3 - 1) * DAY - 9 * 3600, 3 * DAY - 9 * 3600
    ax = plots.timeline(rig_life, zoom=3)
    assert ax.get_xlim() == (begins / DAY, ends / DAY)
    for action in rig_life.model.care:
        own = [e for e in rig_life.entries if e.what == action and begins <= e.t < ends]
        done = sum(e.event == "done" for e in own)
        assert ticks(ax, f"{action} done") == pytest.approx(done, abs=1)
        assert ticks(ax, f"{action} in vain") == pytest.approx(len(own) - done, abs=1)
    for action in ("feed", "play"):
        marks = [c for fate in ("done", "in vain") for c in with_gid(ax, f"{action} {fate}")]
        spans = [
            (segment[0][0], *sorted(segment[:, 1])) for c in marks for segment in c.get_segments()
        ]
        for (t, low, high), (other, its_low, its_high) in combinations(spans, 2):
            assert t != other or high <= its_low or its_high <= low, "no mark hides another"


def test_several_days_are_those_between_their_first_and_last(rig_life) -> None:
    ax = plots.timeline(rig_life, zoom=(2, 3))
    assert ax.get_xlim() == ((DAY - 9 * 3600) / DAY, (3 * DAY - 9 * 3600) / DAY)
    assert [label.get_text().split("\n")[0] for label in ax.get_xticklabels()] == ["2", "3"]
    first, last = plots.timeline(rig_life, zoom=1), plots.timeline(rig_life, zoom=7)
    assert first.get_xlim()[0] == 0
    assert last.get_xlim()[1] == rig_life.summary["end_s"] / DAY
    seen = [t for t, _ in [(e.t / DAY, e) for e in rig_life.entries if e.event == "miss"]]
    low, high = ax.get_xlim()
    numbers = [n for n, t in enumerate(seen, 1) if low <= t <= high]
    assert [n for a, b in numbers_of(ax) for n in range(a, b + 1)] == numbers


@pytest.mark.parametrize("zoom", [0, 8, (3, 2), (6, 9), -1])
def test_days_that_a_life_does_not_have_are_refused(rig_life, zoom) -> None:
    named = zoom if isinstance(zoom, int) else f"{zoom[0]}..{zoom[1]}"
    with pytest.raises(ArgumentError) as refused:
        plots.timeline(rig_life, zoom)
    assert str(refused.value) == (
        f"zoom: {named}; life {rig_life.number} has days 1 to 7; expected one of these, or some, "
        "such as 6..7"
    )
    assert not plt.get_fignums()


def test_the_only_day_of_a_short_life_is_said() -> None:
    life = worlds.live(worlds.pet(), until=100)
    with pytest.raises(ArgumentError, match="life 0 has day 1 only; expected that"):
        plots.timeline(life, zoom=2)


def test_a_part_of_a_timeline_tells_the_pets_own_clock(rig_life) -> None:
    ax = plots.timeline(rig_life, zoom=3)
    times = [label.get_text() for label in ax.get_xticklabels()]
    assert times == ["00:00", "06:00", "12:00", "18:00", "00:00"]
    # it is born at 09:00
    np.testing.assert_allclose(24 * np.array(ax.get_xticks()) + 9, [48, 54, 60, 66, 72])
    assert ax.get_xlabel() == "clock time (hours), from day 3, Wednesday"


def test_an_entry_of_the_diary_is_found_under_its_day(rig_life, long_life) -> None:
    for life in (rig_life, long_life):
        ax = plots.timeline(life)
        headings = {heading for heading, _, _ in diary.days(life)}
        labels = ax.get_xticklabels()
        assert 4 <= len(labels) <= 8
        for x, label in zip(ax.get_xticks(), labels, strict=True):
            number, weekday = label.get_text().split("\n")
            assert any(h.startswith(f"Day {number}, {weekday}") for h in headings)
            assert life.clock(round(x * DAY)).day == int(number)
        midnights = [life.clock(round(x * DAY)) for x in ax.get_xticks(minor=True)]
        assert {clock.second for clock in midnights} == {0}
        last = life.clock(life.summary["end_s"]).day
        assert [clock.day for clock in midnights] == [*range(2, last + 1)]
        assert ax.get_xlabel() == "day of life (ticks: 00:00; born 09:00)"


# Hours


def mesh_of(ax) -> list[QuadMesh]:
    return [artist for artist in with_gid(ax, "misses") if isinstance(artist, QuadMesh)]


def test_hours_are_as_dark_as_their_misses(three) -> None:
    hours = three.batches[1].miss_hours()
    ax = plots.misses_by_hour(three.batches[1])
    [mesh] = mesh_of(ax)
    expected = np.where(hours.rates > 0, hours.rates, np.nan)
    np.testing.assert_allclose(mesh.get_array().filled(np.nan), expected)
    assert mesh.get_clim() == (0, np.nanmax(hours.rates))
    corners = mesh.get_coordinates()
    np.testing.assert_allclose(corners[0, :, 0], range(25))
    np.testing.assert_allclose(corners[:, 0, 1], np.arange(len(hours.rates) + 1) - 0.5)
    nobody = [(box.get_y() + 0.5, box.get_x()) for box in with_gid(ax, "nobody")]
    assert nobody == [(day, hour) for day, hour in np.argwhere(np.isnan(hours.rates))]
    day, hour = np.argwhere(hours.rates == np.nanmax(hours.rates))[0]
    assert f"Darkest, day {day + 1}, {hour:02}:00: {np.nanmax(hours.rates):.2f}" in small_print(ax)


def test_the_scale_of_hours_is_numbered_and_says_its_unit(three, rig_life) -> None:
    for result, label in (
        (three, "care misses a life and hour"),
        (rig_life, "care misses in the hour"),
    ):
        _, bar = plots.misses_by_hour(result).figure.axes
        assert bar.get_ylabel().replace("\n", " ") == label
        assert len(bar.get_yticks()) >= 2


def test_darker_is_more(three) -> None:
    [mesh] = mesh_of(plots.misses_by_hour(three.batches[1]))
    colours = mesh.get_cmap()(np.linspace(0, 1, 20))[:, :3]
    # relative luminance as of ITU-R BT.709
    linear = np.where(colours <= 0.04045, colours / 12.92, ((colours + 0.055) / 1.055) ** 2.4)
    assert (np.diff(linear @ [0.2126, 0.7152, 0.0722]) < 0).all()


def test_the_title_tells_the_hours_with_half_of_the_misses(three, missed_life) -> None:
    half = three.batches[1].miss_hours().half_by_hour
    said = f"come from {half.first:02}:00 to {half.last + 1:02}:00"
    title = question(plots.misses_by_hour(three.batches[1]))
    assert title == f"Half of the care misses under thirty-minute {said}"
    one = question(plots.misses_by_hour(missed_life))
    assert one == "Half of the care misses of life 0 under a-regime come from 00:00 to 01:00"
    none = plots.misses_by_hour(worlds.live(worlds.pet(), until=100))
    assert question(none).startswith("No care misses under ")
    assert len(none.figure.axes) == 1


def test_hours_of_one_life_are_counted(dead_life, rig_life) -> None:
    [mesh] = mesh_of(plots.misses_by_hour(dead_life))
    expected = Counter(divmod(9 + e.t // 3600, 24) for e in dead_life.entries if e.event == "miss")
    drawn = mesh.get_array().filled(0)
    assert {place: drawn[place] for place in np.ndindex(drawn.shape) if drawn[place]} == expected
    assert small_print(plots.misses_by_hour(rig_life)).startswith(
        f"Life {rig_life.number}, lamplet, seed 0."
    )


def test_hours_of_regimes_are_below_each_other_at_one_scale(three) -> None:
    ax, found = plots.misses_by_hour(three), three.miss_hours()
    heads = [text for text in ax.texts if text.get_text() in REGIMES]
    assert [head.get_text() for head in heads] == REGIMES
    meshes = mesh_of(ax)
    assert len({mesh.get_clim() for mesh in meshes}) == 1
    for head, mesh, hours in zip(heads, meshes, found, strict=True):
        expected = np.where(hours.rates > 0, hours.rates, np.nan)
        np.testing.assert_allclose(mesh.get_array().filled(np.nan), expected)
        assert head.get_position()[1] < mesh.get_coordinates()[0, 0, 1]
    worst = max(found, key=lambda hours: np.nanmax(hours.rates))
    day, hour = worst.worst
    assert question(ax) == (
        f"Most care misses: {hour:02}:00 to {hour + 1:02}:00 on day {day + 1}, under {worst.regime}"
    )
    assert "40 lives under each regime, lamplet" in small_print(ax)


def test_hours_of_some_lives_say_of_how_many(monkeypatch) -> None:
    monkeypatch.setattr("petsim.study.batch.LOGGED", {"compiled": 3, "reference": 3})
    ax = plots.plot(petsim.batch("lamplet", "hourly", lives=5, workers=1), "hours")
    assert small_print(ax).startswith("3 lives, the first of 5, lamplet, seed 0.")


def test_lives_one_by_one_have_hours_too(rig_life) -> None:
    [mesh] = mesh_of(plots.misses_by_hour([rig_life]))
    rates = hours_of([rig_life]).rates
    np.testing.assert_allclose(mesh.get_array().filled(0), np.nan_to_num(rates))


# Forms


@pytest.fixture(scope="module")
def to_death():
    return petsim.batch("lamplet", "thirty-minute", lives=100, until="death", workers=1)


@pytest.fixture(scope="module")
def starved():
    return petsim.batch("lamplet", "hands-off", lives=60, workers=1)


def test_forms_over_time_are_counted(to_death, starved) -> None:
    for batch in (to_death, starved):
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


def test_forms_are_rows_of_shares(three) -> None:
    batch = three.batches[2]
    ax = plots.forms_over_time(batch)
    for row, (line, (entered, left)) in enumerate(
        zip(ax.lines, of_lives.spans_of_forms(batch).values(), strict=True)
    ):
        times = np.round(line.get_xdata() * DAY, 3)
        counts = (entered[:, None] <= times).sum(axis=0) - (left[:, None] <= times).sum(axis=0)
        drawn = (row + 0.4 - line.get_ydata()) / 0.8
        np.testing.assert_allclose(drawn, counts / len(batch), atol=1e-9)


def test_forms_have_the_colours_of_outcomes(three, starved) -> None:
    batch = three.batches[2]
    ax = plots.forms_over_time(batch)
    names = [label.get_text().split()[0] for label in ax.get_yticklabels()]
    fills = {
        name: to_hex(ax.collections[2 * row].get_facecolor()[0]) for row, name in enumerate(names)
    }
    looks = of_outcomes(batch.model, batch.model.aim)
    assert fills[batch.model.aim] == AIM.lower()
    reached = [form for form in batch.model.outcome_forms if form in fills]
    assert all(fills[form] == to_hex(looks[form].colour) for form in reached)
    before = {fill for name, fill in fills.items() if name not in reached}
    assert len(before) == 1
    assert not before & {to_hex(look.colour) for look in looks.values()}
    dead = plots.forms_over_time(starved).collections[-2]
    assert dead.get_hatch() in HATCHES


def test_the_title_of_forms_is_how_many_reach_the_aim_and_when(three, starved) -> None:
    title = question(plots.forms_over_time(three.batches[0]))
    assert re.fullmatch(r"Under ten-minute .* become \w+, after .* days", title)
    assert question(plots.forms_over_time(starved)) == (
        f"Under hands-off none of 60 lives becomes {starved.model.aim}"
    )


# All of them


def test_nothing_written_overlaps_in_hard_cases(missed_life, long_life, rig_life, to_death) -> None:
    for ax in (
        plots.timeline(missed_life),
        plots.timeline(long_life),
        plots.timeline(rig_life, zoom=(2, 4)),
        plots.misses_by_hour(missed_life),
        plots.forms_over_time(to_death),
    ):
        assert faults(ax.figure) == []
