"""The list of reported figures, which everything that reports them reads."""

from __future__ import annotations

import json
import re

import numpy as np
import pandas as pd
import pytest
from matplotlib import pyplot as plt
from matplotlib.text import Text

import petsim
from petsim.study import measures
from petsim.study.aims import read_aim
from petsim.study.measures import Estimator, Measure
from petsim.view import comparison as view
from petsim.view import plots, report
from tests.study.figures import estimates

MODEL = "lamplet-quick"
REGIMES = ["hands-off", "camera-rig"]
VARY = {"checks.every": "10 min, 40 min"}


@pytest.fixture(scope="module")
def swept(tmp_path_factory):
    """A sweep of two regimes, in which some lives end in an early death."""
    out = tmp_path_factory.mktemp("swept") / "a"
    return petsim.sweep(MODEL, REGIMES, {}, out=out, lives=120, seed=3)


@pytest.fixture(scope="module")
def batches():
    return petsim.compare(MODEL, REGIMES, lives=120, seed=3).batches


# A new figure


def test_a_new_figure_is_one_entry(tmp_path, monkeypatch):
    new = measures.daily("unfair", "unfair reprimands a day")
    monkeypatch.setattr(measures, "MEASURES", (*measures.MEASURES, new))
    result = petsim.compare(MODEL, ["camera-rig"], lives=40)
    lives = result.batches[0].lives
    expected = (lives["unfair"] / (lives["end_s"] / 86_400)).mean()
    assert expected > 0

    [line] = re.findall(r"^  unfair reprimands a day +(\S+) ± \S+$", view.comparison(result), re.M)
    assert float(line) == pytest.approx(expected, rel=0.01)

    [regime] = result.as_dict()["regimes"]
    assert regime["unfair_per_day"] == pytest.approx(expected, rel=1e-12)
    ends = regime["intervals"]["unfair_per_day"]
    assert ends["low"] < regime["unfair_per_day"] == ends["estimate"] < ends["high"]

    page = re.sub(r"\s*\n\s*", "", report.page(report.of(result)))
    page = page.replace("\N{NO-BREAK SPACE}", " ")
    assert f'<th scope="row">unfair reprimands a day</th><td>{line} ±' in page

    sweep = petsim.sweep(MODEL, ["camera-rig"], VARY, out=tmp_path / "a", lives=40)
    means = sweep.means()
    rows = means[means["column"] == "unfair_per_day"]
    assert rows["estimate"].loc[0] == pytest.approx(expected, rel=1e-12)
    assert [*rows.index] == [0, 1]
    sweep.export(tmp_path / "means.csv", "means")
    written = pd.read_csv(tmp_path / "means.csv")
    assert (written["column"] == "unfair_per_day").sum() == 2

    ax = plots.cost(sweep, work="unfair_per_day")
    assert ax.get_xlabel() == "unfair reprimands a day (mean)"
    plt.close("all")


def test_without_its_entry_there_is_no_such_figure():
    result = petsim.compare(MODEL, ["camera-rig"], lives=2)
    data, page = json.dumps(result.as_dict()), report.page(report.of(result))
    for text in (view.comparison(result), data, page):
        assert "presses" in text
        assert "unfair" not in text


# The list


@pytest.mark.parametrize("aim", [None, "beacon", "beacon,lantern", "beacon,lantern=0.5"])
def test_each_figure_has_a_name_and_a_place_of_its_own(aim):
    model = petsim.load_model(MODEL)
    listed = list(measures.measures(model, aim and read_aim(model, aim)))
    assert len({m.name for m in listed}) == len(listed) > 20
    assert len({(m.table, m.label) for m in listed}) == len(listed)
    assert any(m.path[0] == "aim_takes" for m in listed) == (aim is not None)
    assert all(m.unit for m in listed)


def test_data_have_each_figure_at_its_path(batches):
    result = petsim.Comparison(batches[0].model, batches[0].aim, batches)
    for batch, data in zip(batches, result.as_dict()["regimes"], strict=True):
        for measure in measures.measures(batch.model, batch.aim):
            there, ends = data, data["intervals"]
            for key in measure.path:
                there = there.get(key) if isinstance(there, dict) else None
                ends = (ends or {}).get(key)
            interval = measure.of(batch.values)
            never = measure.rare and not interval.estimate
            if not measure.in_data or (never and measure.estimator is Estimator.SHARE):
                assert there is None
            elif measure.estimator is Estimator.MEAN:
                assert there == interval.estimate
                assert ends == interval._asdict()
            elif measure.estimator is Estimator.COUNT:
                assert there == round(interval.estimate * len(batch))
            else:
                assert there == interval._asdict()


# Sweeps


def test_means_of_a_sweep_are_the_estimates_of_batches_by_default_of_all_figures(swept, batches):
    means = swept.means()
    for cell, batch in enumerate(batches):
        rows = means.loc[cell]
        expected = estimates(batch)
        assert [*rows["column"]] == [*expected]
        drawn = rows[["estimate", "low", "high"]].to_numpy()
        np.testing.assert_allclose(drawn, [*expected.values()], rtol=1e-9, atol=1e-12)
    assert 0 < estimates(batches[0])["deaths.starved"].estimate < 1
    assert [*means.columns] == ["regime", "lives", "column", "unit", "estimate", "low", "high"]
    units = dict(zip(means["column"], means["unit"], strict=True))
    assert units["odds.beacon"] == units["early_deaths"] == "0..1"
    assert units["quiet_presses_per_day"] == "count a day"
    assert units["days_followed"] == "days"


def test_odds_of_a_sweep_are_among_its_means(swept):
    odds, means = swept.odds("lantern"), swept.means("odds.lantern")
    columns = ["estimate", "low", "high"]
    np.testing.assert_array_equal(odds[columns], means[columns])


def test_columns_of_the_table_of_lives_have_their_own_unit(swept):
    units = swept.means("end_s", "misses", "discipline_at.beacon").groupby("column")["unit"].first()
    assert units.to_dict() == {"end_s": "s", "misses": "count", "discipline_at.beacon": "0..100"}


def test_export_of_means_is_a_row_a_figure_and_cell(swept, tmp_path):
    rows = swept.export(tmp_path / "means.csv", "means")
    written = pd.read_csv(tmp_path / "means.csv")
    means = swept.means().reset_index(names="cell")
    assert rows == len(written) == len(means)
    assert [*written.columns] == [*means.columns]
    np.testing.assert_allclose(written["estimate"], means["estimate"])


@pytest.mark.parametrize(
    ("work", "label", "noun"),
    [
        ("presses_per_day", "presses a day", "presses"),
        ("quiet_presses_per_day", "presses a day in quiet hours", "presses in quiet hours"),
        ("checks_skipped_per_day", "checks skipped a day", "checks skipped"),
    ],
)
def test_cost_is_drawn_in_any_work(work, label, noun, swept, batches):
    for result in (swept, petsim.Comparison(batches[0].model, batches[0].aim, batches)):
        ax = plots.cost(result, work=work)
        points = [line[0].get_xdata()[0] for line in ax.containers]
        assert points == pytest.approx([estimates(batch)[work].estimate for batch in batches])
        assert ax.get_xlabel() == f"{label} (mean)"
        texts = [" ".join(text.get_text().split()) for text in ax.figure.findobj(Text)]
        assert f"What do more {noun} buy in odds of beacon?" in texts
        assert any(f"with fewer {noun}." in text for text in texts)
    plt.close("all")


# Estimates


def test_lives_that_are_not_counted_are_left_out():
    known = Measure(("x",), "x", "T", Estimator.SHARE, "0..1", lambda columns: columns["x"])
    interval = known.of({"x": np.array([1, 0, -1, 1, -1])})
    assert interval == known.of_sums(3, 2, 2) == petsim.study.stats.wilson(2, 3)
    assert np.isnan(known.of({"x": np.array([-1, -1])})).all()
