"""Sweeps as text."""

import math
import re
from collections import Counter
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import petsim
from petsim.study.design import design_of
from petsim.study.plan import SweepPlan
from petsim.study.results import Sweep
from petsim.study.sensitivity import sensitivity
from petsim.study.stats import Interval, wilson
from petsim.study.sweep import sweep
from petsim.view import sweep as says
from petsim.view import sweep_text as view
from petsim.view.numbers import mean, points, ratio, share
from tests.study.test_compare import newcombe

MODEL = "lamplet-quick"
POLICY = """
class Halting:
    regime = {"petsim": "regime 1", "name": "Halting", "checks": {"every": "1 h", "first": "0 s"}}

    def check(self, look):
        if look()["clock"].hour > 10:
            raise ValueError("no idea")
        return []
"""


def unwrapped(text):
    return " ".join(text.split())


@pytest.fixture
def swept(tmp_path):
    """A sweep in a file of its own."""

    def run(vary, regimes=("ten-minute",), **options):
        options = {"lives": 20, "workers": 1} | options
        return sweep(MODEL, regimes, vary, out=tmp_path / "a", **options)

    return run


# Plans


def a_plan(vary, **fields):
    design = design_of(MODEL, ["hourly"], vary, lives=500)
    told = {"cells": 30, "done": 400, "workers": 2, "tried": 1200, "milliseconds": 0.0123}
    return SweepPlan(design, **(told | fields))


def test_a_plan_says_what_a_sweep_takes():
    made = a_plan({"checks.every": "2 min..60 min/2 min", "passes": "1,2"})
    assert view.plan(made, 200).splitlines() == [
        "30 cells of 500 lives each: 15000 in all, of which 400 are done.",
        "  checks.every: 2 min, 4 min, 6 min, ... 1 h (30 values)",
        "  passes: 1, 2",
        "About a second to go: 1200 lives simulated just now took 0.012 ms each, and there are "
        "2 processors.",
    ]


def test_a_plan_of_a_sample_says_the_range():
    made = a_plan({"checks.every": "2 min, 4 min"})
    design = design_of(MODEL, ["hourly"], {"checks.every": "2 min..1 h"}, sample="latin", points=4)
    assert "  checks.every: 2 min..1 h\n" in view.plan(replace(made, design=design), 200)


@pytest.mark.parametrize(
    ("milliseconds", "workers", "said"),
    [
        (0.01, 1, "a second"),
        (1, 1, "15 s"),
        (1, 2, "8 s"),
        (10, 1, "150 s"),
        (37.2, 1, "9 min"),
        (123.4, 1, "30 min"),
        (12345, 1, "50 h"),
    ],
)
def test_a_plan_says_the_time_to_two_digits(milliseconds, workers, said):
    made = a_plan({}, milliseconds=milliseconds, workers=workers)
    assert f"About {said} to go:" in view.plan(made, 200)


def test_a_plan_is_as_wide_as_asked_and_counts_one_as_one():
    made = a_plan({}, cells=1, done=0, workers=1, tried=1)
    told = view.plan(made, 40)
    assert max(map(len, told.splitlines())) <= 40
    assert "1 cell of 500 lives each" in unwrapped(told)
    assert "1 life simulated just now" in unwrapped(told) and "there are 1 processor." in unwrapped(
        told
    )


# Tables


def test_a_sweep_says_its_answer_then_its_cells_then_how_it_knows(swept):
    found = swept({"checks.every": "5 min, 30 min", "passes": "1"}, ["ten-minute", "hourly"])
    gist, table, notes, head = view.sweep(found, 140).split("\n\n")
    assert unwrapped(gist) == says.gist(found)
    assert notes == "every is checks.every."
    assert unwrapped(head) == (
        f"{found.path}: 4 cells, 80 of 80 lives. All intervals are of 95 %: Wilson's for shares, "
        "Student's for means, Newcombe's for differences on the same lives."
    )
    title, *rows = table.splitlines()
    assert re.split(" {2,}", title) == [
        *("cell", "regime", "every", "passes", "odds of beacon", "presses a day"),
        *("in quiet hours", "points from cell 0", "otherwise mostly"),
    ]
    odds, differences, summary = found.odds(), found.differences(), found.summary()
    for cell, row in enumerate(rows):
        regime, every = ("ten-minute", "hourly")[cell // 2], ("5 min", "30 min")[cell % 2]
        own = share(says.interval_of(odds, cell))
        apart = points(says.interval_of(differences, cell)) if cell else ""
        costs = [
            mean(Interval(*summary.loc[cell, [name, f"{name}_low", f"{name}_high"]]))
            for name in ("presses_per_day", "quiet_presses_per_day")
        ]
        others = found.counts[cell] - Counter(beacon=found.counts[cell]["beacon"])
        (outcome, n), *_ = others.most_common() or [("", 0)]
        other = f"{outcome} {ratio(wilson(n, 20))}" if n else ""
        expected = f"{cell} {regime} {every} 1 {own} {' '.join(costs)} {apart} {other}"
        assert unwrapped(row) == unwrapped(expected)


def test_under_one_regime_it_is_not_repeated(swept):
    found = swept({"passes": "1,2"})
    table = view.sweep(found, 100).split("\n\n")[1]
    assert "ten-minute" not in table and table.startswith("cell  passes  odds")


LONG = {"checks.every": "10 min", "eyes.lights.overlooks": "0", "eyes.ill.overlooks": "0%"}


def test_a_table_keeps_to_its_width_and_says_what_it_leaves_out(swept):
    found = swept(LONG, ["ten-minute", "hourly", "thirty-minute"])
    left_out = []
    for width in range(160, 29, -2):
        text = view.sweep(found, width)
        words = {word for line in text.splitlines() for word in [line] if len(line) > width}
        # but for a word that is longer than a line
        assert all(" " not in line.strip() for line in words), (width, words)
        [said] = re.findall(rf"No room in {width} columns for: ([^.]*)\.", unwrapped(text)) or [""]
        if said not in left_out:
            left_out.append(said)
    columns = [
        *("presses a day", "presses a day in quiet hours", "difference from cell 0, points"),
        "otherwise mostly",
    ]
    assert left_out == ["", *(", ".join(columns[kept:]) for kept in (3, 2, 1, 0))]


@pytest.mark.parametrize("width", [60, 80, 120])
def test_ends_of_paths_are_heads_that_tell_them_apart(width, swept):
    _, table, notes, _ = view.sweep(swept(LONG), width).split("\n\n")
    heads = ["cell", "every", "lights.overlooks", "ill.overlooks"]
    if width > 60:
        assert re.split(" {2,}", table.splitlines()[0])[:4] == heads
    assert unwrapped(notes).startswith(
        "every is checks.every, lights.overlooks is eyes.lights.overlooks, ill.overlooks is "
        "eyes.ill.overlooks."
    )


def test_cells_that_have_no_room_in_a_line_have_lines_of_their_own(swept):
    found = swept(LONG, ["ten-minute", "hourly"])
    _, table, *_ = view.sweep(found, 44).split("\n\n")
    odds = [share(says.interval_of(found.odds(), cell)) for cell in (0, 1)]
    assert table.splitlines() == [
        f"cell 0: {odds[0]}",
        "  ten-minute, every 10 min, lights.overlooks",
        "  0, ill.overlooks 0%",
        f"cell 1: {odds[1]}",
        "  hourly, every 10 min, lights.overlooks 0,",
        "  ill.overlooks 0%",
    ]


def cells_of(table):
    return [int(line.split()[0]) for line in table.splitlines()[1:]]


def likeliest(found, most=None):
    estimates = found.odds()["estimate"].to_dict()
    return sorted(estimates, key=lambda cell: (-estimates[cell], cell))[:most]


def test_of_many_cells_the_best_are_told_with_their_numbers(swept):
    found = swept({"checks.every": "2 min..88 min/2 min"}, lives=5)
    _, table, notes, _ = view.sweep(found, 100).split("\n\n")
    assert unwrapped(notes) == (
        "40 of 44 cells shown, the likeliest first; petsim export "
        f"{found.path.with_suffix('')} all.csv --what summary has all. every is checks.every. "
        "No room in 100 columns for: otherwise mostly."
    )
    assert cells_of(table) == likeliest(found, 40)
    # still the difference from the first cell, wherever that comes
    first = next(row.split() for row in table.splitlines()[1:] if row.split()[0] == "0")
    assert not any(word.startswith(("+", "-")) for word in first)


@pytest.mark.parametrize(("cells", "is_sorted"), [(20, False), (21, True)])
def test_of_few_cells_all_are_told_in_order_of_more_the_likeliest_first(cells, is_sorted, swept):
    every = [f"{minutes} min" for minutes in range(5 * cells, 0, -5)]
    found = swept({"checks.every": every}, lives=2)
    _, table, notes, _ = view.sweep(found).split("\n\n")
    assert cells_of(table) == (likeliest(found) if is_sorted else [*range(cells)])
    assert notes.startswith("The likeliest cell comes first.") == is_sorted
    assert likeliest(found) != [*range(cells)]


def test_what_a_sweep_found_is_shown_before_what_it_is(swept):
    found = swept({"passes": "1,2"})
    assert view.shown(found, 80) == f"{view.sweep(found, 80)}\n\n{view.described(found, 80)}"


def test_cells_that_failed_are_told_below(swept, tmp_path):
    (tmp_path / "odd.py").write_text(POLICY)
    found = swept({"passes": "1,2"}, ["ten-minute", f"{tmp_path / 'odd.py'}:Halting"])
    _, table, head, failed = view.sweep(found, 200).split("\n\n")
    assert "4 cells, 40 of 80 lives." in unwrapped(head)
    assert [line.split()[0] for line in table.splitlines()[1:]] == ["0", "1"]
    assert failed.splitlines() == [f"cell {cell} failed: {found.failed[cell]}" for cell in (2, 3)]
    assert "odd:Halting: life 0, day 1 11:00:00: raised ValueError: no idea" in failed


def test_a_sweep_whose_cells_all_failed_has_no_table(swept, tmp_path):
    (tmp_path / "odd.py").write_text(POLICY)
    found = swept({}, [f"{tmp_path / 'odd.py'}:Halting"])
    head, failed = view.sweep(found, 200).split("\n\n")
    assert "1 cell, 0 of 20 lives." in unwrapped(head)
    assert failed.startswith("cell 0 failed: ")


# Sensitivity

DEAD = "stages.elder.illness.base"
VARY = {DEAD: "1 per day..9 per day", "checks.every": "2 min..30 min"}


def test_morris_effects_are_told_in_points_the_largest_first(tmp_path):
    vary = VARY | {"checks.every": "2 min..20 min"}
    found = sensitivity(MODEL, "ten-minute", vary, out=tmp_path / "a", points=4, lives=40)
    gist, table, head = view.sensitivity(found, 100).split("\n\n")
    assert unwrapped(head).endswith("(odds of beacon, 12 cells, Morris's method).")
    titles, first, last = table.splitlines()
    assert re.split(" {2,}", titles.strip()) == ["how much", "on average", "interaction"]
    row = found.sensitivity().loc["checks.every"]
    name, size, _, half, mean, spread = first.split()
    assert name == "checks.every"
    assert float(size) == pytest.approx(100 * row["size"], abs=0.5)
    assert float(half) == pytest.approx(50 * (row["high"] - row["low"]), abs=0.5)
    assert float(mean) == pytest.approx(100 * row["effect"], abs=0.051) and mean[0] == "-"
    assert float(spread) == pytest.approx(100 * row["spread"], abs=0.051)
    assert last.split() == [DEAD, "none", "seen"]
    assert unwrapped(gist) == (
        "Of 2 unknowns, checks.every matters most: over its range it moves the odds of beacon by "
        f"{size} ± {half} percentage points."
    )


def told(monkeypatch, tmp_path, method, **indices):
    """What is told of two unknowns with these indices, the second of which has none."""
    found = sensitivity(
        MODEL, "ten-minute", VARY, out=tmp_path / "a", points=2, lives=2, method=method, days=0.1
    )
    paths = pd.Index(["checks.every", DEAD], name="path")
    frame = pd.DataFrame({name: [x, 0.0] for name, x in indices.items()}, index=paths)
    monkeypatch.setattr(Sweep, "sensitivity", lambda _: frame)
    return view.effects(found)


def test_an_effect_beyond_what_odds_can_move_is_about_all(monkeypatch, tmp_path):
    values = {"effect": -1.195, "size": 1.195, "low": 0.8, "high": 1.6, "spread": 0.3}
    effects = told(monkeypatch, tmp_path, "morris", **values)
    assert effects.rows[0] == ("checks.every", "about 100", "-100.0", "30.0")
    assert effects.intervals[0] == [(1, 0.8, 1)]
    assert effects.warning.startswith("About 100: steps of two thirds of a range")
    values |= {"effect": -0.5, "size": 0.5, "low": 0.5 - 1e-17, "high": 0.5 + 2e-16}
    effects = told(monkeypatch, tmp_path, "morris", **values)
    assert effects.rows[0][:3] == ("checks.every", "50.0 ± 0.0", "-50.0")
    assert effects.warning == ""


@pytest.mark.parametrize(
    ("low", "share", "high", "text", "interval"),
    [
        (0.2, 0.4, 0.6, "40 (20 to 60)", (0.4, 0.2, 0.6)),
        (0.70, 1.07, 1.44, "100 (70 to 100)", (1, 0.7, 1)),
        (-0.03, -0.01, 0.01, "0.00 (0.00 to 1.00)", (0, 0, 0.01)),
        (-0.3, 0.1, 0.5, "10 (0 to 50)", (0.1, 0, 0.5)),
        # all that there is, more than there is, less than nothing
        (-0.1, 0.5, 1.1, "not known yet", None),
        (1.1, 1.3, 1.5, "not known yet", None),
        (-0.5, -0.3, -0.1, "not known yet", None),
    ],
)
def test_a_share_of_the_variance_is_one_that_can_be(
    low, share, high, text, interval, monkeypatch, tmp_path
):
    own = {f"{name}{end}": x for name in ("alone", "in_all")
           for end, x in (("", share), ("_low", low), ("_high", high))}  # fmt: skip
    effects = told(monkeypatch, tmp_path, "sobol", **own)
    [row] = [row for row in effects.rows if row[0] == "checks.every"]
    assert row[1:] == (text, text)
    drawn = effects.intervals[effects.rows.index(row)]
    if interval is None:
        assert np.isnan(drawn).all()
    else:
        np.testing.assert_allclose(drawn, [interval] * 2)


def test_unknowns_that_move_nothing_are_told_as_none_seen(tmp_path):
    vary = {DEAD: VARY[DEAD], "stages.elder.illness.per waste": "1 per day..2 per day"}
    found = sensitivity(MODEL, "ten-minute", vary, out=tmp_path / "a", points=2, lives=5)
    assert says.effects(found).gist == "None of 2 unknowns was seen to move the odds of beacon."


def test_sobol_indices_are_told_in_per_cent_the_largest_first(tmp_path):
    options = {"method": "sobol", "points": 8, "lives": 40}
    found = sensitivity(MODEL, "ten-minute", VARY, out=tmp_path / "a", **options)
    gist, warning, table, head = view.sensitivity(found, 100).split("\n\n")
    assert unwrapped(head).endswith("(odds of beacon, 32 cells, Sobol indices).")
    widest = half_width(found.sensitivity())
    assert widest > 0.5
    assert unwrapped(warning) == (
        f"TOO FEW POINTS: 8 leave shares open by up to {100 * widest:.0f} points either way; four "
        "times as many halve that (--points)."
    )
    titles, first, last = table.splitlines()
    assert re.split(" {2,}", titles.strip()) == ["alone", "with interactions"]
    assert re.split(" {2,}", first.strip())[:2] == ["checks.every", "not known yet"]
    assert re.split(" {2,}", last.strip()) == [DEAD, "0.0 (0.0 to 0.0)", "0.0 (0.0 to 0.0)"]
    assert unwrapped(gist) == ("Which of 2 unknowns matters most is not known yet: too few points.")


def half_width(indices):
    ends = [(indices[f"{name}_low"], indices[f"{name}_high"]) for name in ("alone", "in_all")]
    return max(float((high - low).max()) / 2 for low, high in ends)


@pytest.mark.parametrize(
    ("figure", "half", "told"),
    [
        (0.654, 0.08, "65.4 (57.4 to 73.4)"),
        (0.95, 0.15, "95 (80 to 100)"),
        (1.04, 0.12, "100.0 (92.0 to 100.0)"),
        (-0.03, 0.05, "0.0 (0.0 to 2.0)"),
        (0.7, 0.5, "not known yet"),
        (0.4, math.nan, "not known yet"),
    ],
)
def test_a_share_of_the_variance_is_never_below_0_nor_over_100(
    figure, half, told, tmp_path, monkeypatch
):
    options = {"method": "sobol", "points": 2, "lives": 1}
    found = sensitivity(MODEL, "ten-minute", VARY, out=tmp_path / "a", **options)
    row = {"alone": figure, "alone_low": figure - half, "alone_high": figure + half}
    row |= {key.replace("alone", "in_all"): value for key, value in row.items()}
    least = dict.fromkeys(row, -1.0) | {f"{key}_high": -0.99 for key in ("alone", "in_all")}
    indices = pd.DataFrame([least, row], index=[DEAD, "checks.every"])
    monkeypatch.setattr(petsim.Sweep, "sensitivity", lambda _: indices)
    [first, _] = says.effects(found).rows
    assert first == ("checks.every", told, told)


# The verdict


def where(found, cell):
    """A cell and its odds, as the verdict names them."""
    said = ", ".join(f"{path} {value}" for path, value in found.parameters(cell).items())
    row = found.odds().loc[cell]
    odds = share(Interval(row["estimate"], row["low"], row["high"]))
    return f"under {row['regime']}{f' with {said}' if said else ''}: {odds}"


def test_the_verdict_says_which_cells_are_as_good_and_as_bad(swept):
    found = swept({"checks.every": "8 min..11 min/1 min,12 h", "passes": "1,2,3"}, keep=True)
    reached = [list(found.lives(cell)["outcome"] == "beacon") for cell in found.cells.index]
    odds = [sum(lives) / len(lives) for lives in reached]
    best = odds.index(max(odds))
    equal = odds.count(odds[best]) - 1
    apart = [newcombe(lives, reached[best])[1:] for lives in reached]
    alike = sum(low <= 0 <= high for low, high in apart) - 1 - equal
    assert equal > 1 and alike > 1 and odds[-3:] == [0, 0, 0]
    assert says.gist(found) == (
        f"Of 15 cells, beacon was likeliest {where(found, best)}, and just as likely in {equal} "
        f"other cells; no difference shown in {alike} more; least likely "
        f"{where(found, len(odds) - 1)}, and just as unlikely in 2 other cells."
    )


def test_the_verdict_of_an_unfinished_sweep_says_how_far_it_is_first(swept, monkeypatch):
    found = swept({"passes": "1,2,3"})
    monkeypatch.setattr(says, "so_far", lambda _: "Not finished: 3 of 4 cells so far.")
    assert says.gist(found).startswith(
        "Not finished: 3 of 4 cells so far. Of 3 cells, beacon was likeliest"
    )


def test_parameters_are_told_in_the_order_in_which_they_were_given(swept):
    found = swept({"passes": "1", "checks.every": "8 min"})
    assert says.gist(found).startswith(
        "Odds of beacon under ten-minute with passes 1, checks.every"
    )


@pytest.mark.parametrize(
    ("vary", "said"),
    [
        (
            {"passes": "1,2,3"},
            "Of 3 cells, beacon was likeliest {}, and just as likely in 2 other cells.",
        ),
        ({}, "Odds of beacon {}."),
    ],
)
def test_the_verdict_names_no_worst_cell_where_none_is_shown_to_be_worse(vary, said, swept):
    found = swept(vary)
    assert says.gist(found) == said.format(where(found, 0))
