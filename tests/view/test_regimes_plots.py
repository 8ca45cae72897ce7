"""Pictures of regimes side by side: figures, order, colours, and room for many and long names.

Most results are made up: the lives of one small comparison, to which other outcomes are given.
"""

from __future__ import annotations

from dataclasses import replace

import matplotlib as mpl

mpl.use("Agg")

import numpy as np
import pytest
from matplotlib import pyplot as plt
from matplotlib.colors import to_hex, to_rgb
from matplotlib.text import Text

import petsim
from petsim.errors import ArgumentError
from petsim.life.record import words
from petsim.study.aims import read_aim
from petsim.study.frontier import Verdict
from petsim.study.measures import MISSES, measures
from petsim.study.reasons import ORDER, MissReasons
from petsim.study.stats import Interval, wilson
from petsim.view import plots
from petsim.view.numbers import per_cent, points
from petsim.view.plots import colours, shaded
from tests.view.groves import GROVE, KEEPER
from tests.view.test_plots import (
    SMALLEST,
    drawn_intervals,
    ensure_clear,
    question,
    small_print,
    with_gid,
)

MODEL = petsim.load_model(GROVE)
OUTCOMES = words(MODEL)["outcome"]
LONG = "looks-in-every-so-many-minutes-by-day-and-less-often-by-night"
LIVES = 80


@pytest.fixture(scope="module")
def lived() -> petsim.Batch:
    return petsim.batch(MODEL, KEEPER, lives=LIVES, workers=1)


def became(batch: petsim.Batch, name: str, **counts: int) -> petsim.Batch:
    """The lives of a batch under another name, of which so many took each outcome."""
    outcomes = [o for o, n in counts.items() for _ in range(n)]
    numbers = np.array([OUTCOMES.index(o.replace("_", " ")) for o in outcomes])
    assert len(numbers) == len(batch)
    caretaker = replace(batch.caretaker, name=name)
    return replace(batch, caretaker=caretaker, values={**batch.values, "outcome": numbers})


def compared(*batches: petsim.Batch) -> petsim.Comparison:
    return petsim.Comparison(MODEL, read_aim(MODEL, "cedar"), batches)


@pytest.fixture(scope="module")
def four(lived) -> petsim.Comparison:
    return compared(
        became(lived, "some", cedar=30, larch=40, hazel=10),
        became(lived, "none", nettle=50, starved=15, untreated_illness=15),
        became(lived, "all", cedar=80),
        became(lived, "most", cedar=70, hazel=9, undecided=1),
    )


def many(lived, number: int) -> petsim.Comparison:
    """Regimes of long names, with every kind of outcome."""
    batches = []
    for place in range(number):
        aim = (37 * place) % 60
        rest = {"larch": 3, "bramble": (60 - aim) // 2, "starved": 1, "untreated_illness": 2}
        rest["nettle"] = LIVES - aim - sum(rest.values())
        batches.append(became(lived, f"{place}-{LONG}", cedar=aim, **rest))
    return compared(*batches)


def texts(ax, gid: str) -> list[Text]:
    """The texts of a kind, from top to bottom."""
    found = [text for text in ax.texts if text.get_gid() == gid]
    return sorted(found, key=lambda text: text.get_position()[1])


def said(ax, gid: str) -> list[str]:
    return [text.get_text() for text in texts(ax, gid)]


def rectangles(ax, gid: str) -> list:
    return sorted(with_gid(ax, gid), key=lambda bar: bar.get_y())


PICTURES = {
    "odds": plots.odds,
    "funnel": plots.funnel,
    "misses": plots.misses,
    "differences": plots.differences,
    "cost": plots.cost,
}


@pytest.mark.parametrize("name", PICTURES)
@pytest.mark.parametrize("number", [2, 6, 12, 30])
def test_many_regimes_and_long_names_have_room(lived, name: str, number: int) -> None:
    ax = PICTURES[name](many(lived, number))
    ensure_clear(ax)
    assert ax.figure.get_figwidth() == 6
    assert min(text.get_fontsize() for text in ax.figure.findobj(Text)) >= SMALLEST
    names = said(ax, "name")
    if name != "cost":
        assert len(names) == number - (name == "differences")
        assert all(text.endswith("by-night") and "…" in text for text in names)


# Odds


def test_odds_are_written_and_drawn_the_likeliest_first(four) -> None:
    ax = plots.odds(four)
    assert said(ax, "name") == ["all", "most", "some", "none"]
    shares = [wilson(n, LIVES) for n in (80, 70, 30, 0)]
    assert said(ax, "odds") == [per_cent(share) for share in shares]
    assert said(ax, "odds")[-1] == f"at most {100 * shares[-1].high:.1f} %"
    scale = np.array(ax.get_xticks()[:3])
    assert [label.get_text() for label in ax.get_xticklabels()] == 2 * ["0", "50", "100"]
    drawn = [tuple((np.array(d) - scale[0]) / (scale[2] - scale[0])) for d in drawn_intervals(ax)]
    np.testing.assert_allclose(drawn, shares, atol=1e-9)
    assert ax.get_xlabel() == "share of lives (%)"
    assert "80 lives under each regime, grove, seed 0. Likeliest first." in small_print(ax)


def test_bars_are_all_that_the_pet_became_the_aim_at_the_left(four) -> None:
    ax = plots.odds(four)
    left, _, right = ax.get_xticks()[3:]
    ranked = sorted(four.batches, key=lambda batch: -batch.counts["cedar"])
    order = ["cedar", "larch", "hazel", "bramble", "nettle", "starved", "untreated illness"]
    assert [o for o in colours.of_outcomes(MODEL, "cedar") if o in order] == order
    ends = {}
    for outcome in [*order, "undecided"]:
        bars = rectangles(ax, outcome)
        own = [batch for batch in ranked if batch.counts.get(outcome)]
        assert len(bars) == len(own)
        for bar, batch in zip(bars, own, strict=True):
            begins = ends.get(batch.regime, left)
            assert bar.get_x() == pytest.approx(begins)
            width = (right - left) * batch.counts[outcome] / LIVES
            assert bar.get_width() == pytest.approx(width)
            ends[batch.regime] = begins + width
    assert all(end == pytest.approx(right) for end in ends.values())


@pytest.mark.parametrize("number", [4, 30])
def test_names_are_inside_their_bars_and_the_rest_in_a_key(four, lived, number: int) -> None:
    result = four if number == 4 else many(lived, number)
    ax = plots.odds(result)
    ax.figure.draw_without_rendering()
    keyed = {text.get_text() for text in ax.texts if str(text.get_gid()).startswith("key of ")}
    inside = 0
    for outcome, look in colours.of_outcomes(MODEL, "cedar").items():
        bars, names = rectangles(ax, outcome), texts(ax, f"in {outcome}")
        inside += len(names)
        assert (len(names) < len(bars)) == (outcome in keyed)
        for bar in bars:
            assert to_hex(bar.get_facecolor()) == look.colour.lower()
            assert (bar.get_hatch() or "") == look.hatch
        for text in names:
            box = Text.get_window_extent(text)
            around = [b.get_window_extent() for b in bars]
            assert any(b.x0 <= box.x0 and box.x1 <= b.x1 and b.y0 <= box.y0 + 4 for b in around)
    assert inside
    for name in keyed:
        [swatch] = rectangles(ax, f"swatch of {name}")
        looks = colours.of_outcomes(MODEL, "cedar")
        assert to_hex(swatch.get_facecolor()) == looks[name].colour.lower()


def test_odds_of_one_regime_have_the_same_colours(four) -> None:
    ax = plots.odds(compared(four.batches[1]))
    looks = colours.of_outcomes(MODEL, "cedar")
    names = [label.get_text() for label in ax.get_yticklabels()]
    assert names[0].startswith("cedar")
    assert {"starved", "untreated illness", "nettle"} <= {*names}
    marks = [container[0] for container in ax.containers]
    for name, mark in zip(names, marks, strict=True):
        outcome = next(o for o in looks if name.startswith(o))
        assert to_hex(mark.get_markerfacecolor()) == looks[outcome].colour.lower()
        assert mark.get_marker() == ("o" if outcome == "cedar" else "s")
    numbers = [text.get_text() for text in ax.texts if text.get_text().endswith("%")]
    assert numbers[0] == per_cent(wilson(0, LIVES))
    assert per_cent(wilson(50, LIVES)) in numbers
    assert "under none?" in question(ax)


# Colours


def test_outcomes_get_darker_from_good_to_bad_and_can_be_told_apart_in_grey() -> None:
    looks = colours.of_outcomes(MODEL, "cedar")
    assert looks["cedar"].colour == colours.AIM
    light = {outcome: float(colours.luminance(to_rgb(x.colour))) for outcome, x in looks.items()}
    ramp = [light[o] for o in ("larch", "hazel", "bramble", "nettle", *MODEL.deaths)]
    assert ramp == sorted(ramp, reverse=True)
    hatches = [looks[death].hatch for death in MODEL.deaths]
    assert all(hatches)
    assert len({*hatches}) == len(hatches)
    assert not any(looks[form].hatch for form in MODEL.outcome_forms)
    assert len({look.colour for look in looks.values()}) == len(looks)
    other = colours.of_outcomes(MODEL, "bramble")
    assert other["bramble"].colour == colours.AIM
    assert other["cedar"].colour == looks["larch"].colour


def test_what_is_written_on_a_colour_stands_out() -> None:
    # WCAG 2.1 asks for 4.5 to 1 of text; from memory
    shades = [to_hex(colours.MISSES(x)) for x in np.linspace(0, 1, 60)]
    looks = colours.of_outcomes(MODEL, "cedar").values()
    for colour, ink in [(c, colours.ink_on(c)) for c in shades] + [
        (x.colour, x.ink) for x in looks
    ]:
        pair = [float(colours.luminance(to_rgb(each))) + 0.05 for each in (colour, ink)]
        assert max(pair) / min(pair) >= 4.5


# Misses, and why


def test_misses_are_those_of_the_comparison_on_one_scale(four) -> None:
    values = dict(four.batches[0].values)
    more = {k: 3 * v if k.startswith("misses") else v for k, v in values.items()}
    result = compared(four.batches[0], replace(four.batches[2], values=more))
    ax = plots.misses(result)
    assert said(ax, "name") == ["some", "all"]
    known = {m.label: [m.of(b.values) for b in result.batches] for m in measures(MODEL)
             if m.table == MISSES}  # fmt: skip
    seen = [label for label, means in known.items() if any(x.estimate for x in means)]
    assert sorted(said(ax, "head")) == sorted(label.removeprefix("cause ") for label in seen)
    written = [shaded.written(x, 100)[0] for label in seen for x in known[label]]
    assert sorted(said(ax, "mean")) == sorted(written)
    none = [label.removeprefix("cause ") for label in known if label not in seen]
    assert f"None: {', '.join(none)}." in small_print(ax)
    cells = rectangles(ax, "cell")
    most = max(x.estimate for label in seen for x in known[label])
    expected = {to_hex(colours.MISSES(np.sqrt(x.estimate / most))) for label in seen
                for x in known[label] if x.estimate}  # fmt: skip
    assert {to_hex(cell.get_facecolor()) for cell in cells} == expected
    assert "±: Student's 95 % intervals." in small_print(ax)
    assert ax.get_xlabel() == "care misses (mean a life)"


@pytest.mark.parametrize(
    ("interval", "room", "text"),
    [
        ((25.38, 25.25, 25.51), 40, ("25.4", "±0.1")),
        ((0.527, 0.507, 0.547), 40, ("0.53", "±0.02")),
        ((4, 4, 4), 40, ("4", "")),
        ((0, 0, 0), 40, ("0", "")),
        ((0.0002, 0, 0.0004), 40, ("<.01", "")),
        ((33.2, 30.1, 36.3), 40, ("33", "±3")),
        ((33.27, 33.26, 33.28), 30, ("33.3", "")),
        ((33.27, 33.26, 33.28), 20, ("33", "")),
        ((2.5, np.nan, np.nan), 40, ("2.50", "")),
        ((np.nan, np.nan, np.nan), 40, ("–", "")),
    ],
)
def test_a_mean_is_written_to_a_digit_of_its_interval_if_there_is_room(interval, room, text):
    assert shaded.written(Interval(*interval), room) == text


def test_of_too_many_columns_the_fewest_are_named_and_not_shown() -> None:
    columns = [shaded.Column(str(n), [Interval(n, n, n)]) for n in range(20)]
    kept, others = shaded.most_of(columns)
    assert [column.head for column in kept] == [str(n) for n in range(4, 20)]
    assert others == ["0", "1", "2", "3"]


def test_means_of_one_life_have_no_intervals(lived) -> None:
    alone = replace(lived, values={name: column[:1] for name, column in lived.values.items()})
    ax = plots.misses(compared(alone))
    assert "No intervals: those of means take two lives." in small_print(ax)
    assert "Student" not in small_print(ax)
    assert not said(ax, "half")


def reasons(regime: str, **counts: int) -> MissReasons:
    """The misses of four lives, all alike, of waste for these reasons."""
    misses = np.zeros((4, 2, len(ORDER)), dtype=np.int64)
    for reason, n in counts.items():
        misses[:, 1, ORDER.index(reason.replace("_", " "))] = n
    return MissReasons("grove", regime, 0, ("hunger", "waste"), misses)


def test_whys_are_the_reasons_of_each_regime(four, monkeypatch) -> None:
    known = {
        "some": reasons("some", power_out=2, slipped=1),
        "all": reasons("all"),
        "none": reasons("none", no_check_in_time=30),
        "most": reasons("most", slipped=4),
    }
    monkeypatch.setattr(petsim.Batch, "miss_reasons", lambda self, *_: known[self.regime])
    ax = plots.whys(four)
    ensure_clear(ax)
    assert question(ax) == "Why do care misses happen?"
    assert said(ax, "name") == ["all", "most", "some", "none"]
    heads = {text.get_text().replace("\n", " ") for text in texts(ax, "head")}
    assert heads == {"in all", "no check in time", "power out", "slipped"}
    rows = {}
    for text in texts(ax, "mean"):
        rows.setdefault(round(text.get_position()[1], 3), []).append(text)
    written = [[t.get_text() for t in sorted(row, key=lambda t: t.get_position()[0])]
               for _, row in sorted(rows.items())]  # fmt: skip
    assert written == [["0", "0", "0", "0"], ["4", "0", "0", "4"], ["3", "0", "2", "1"],
                       ["30", "30", "0", "0"]]  # fmt: skip
    assert small_print(ax).startswith("4 lives, the first of 80 under each regime, grove")
    assert "what stopped the first check that could have put it right" in small_print(ax)


def test_whys_of_one_regime_are_by_what_was_missed(four, monkeypatch) -> None:
    own = reasons("some", power_out=2, slipped=1)
    monkeypatch.setattr(petsim.Batch, "miss_reasons", lambda *_: own)
    for result in (four.batches[0], compared(four.batches[0])):
        ax = plots.whys(result)
        ensure_clear(ax)
        assert question(ax) == "Why do care misses happen under some?"
        assert said(ax, "name") == ["in all", "waste"]
        assert sorted(said(ax, "mean")) == ["1", "1", "2", "2", "3", "3"]


# The way to the aim


def test_a_funnel_is_the_steps_of_the_comparison(four) -> None:
    ax = plots.funnel(four)
    steps = four.funnel()
    ranked = ["all", "most", "some", "none"]
    assert said(ax, "name") == ranked
    written = {}
    for text in texts(ax, "share"):
        written.setdefault(round(text.get_position()[1], 3), []).append(text.get_text())
    for regime, row in zip(ranked, [written[y] for y in sorted(written)], strict=True):
        shares = [Interval(*own) for own in steps.loc[regime].to_numpy()]
        expected = [f"{100 * x.estimate:.0f} %" if x.estimate in (0, 1) else per_cent(x)
                    for x in shares]  # fmt: skip
        assert sorted(row) == sorted(expected)
    taken, whole = rectangles(ax, "taken"), rectangles(ax, "all lives")
    parts = [t.get_width() / w.get_width() for t, w in zip(taken, whole, strict=True)]
    np.testing.assert_allclose(sorted(parts), sorted(steps["estimate"]), atol=1e-9)
    heads = {text.get_text().replace("\n", " ") for text in texts(ax, "head")}
    labels = [*steps.index.unique("step")]
    assert heads == {labels[0], *(f"and {label}" for label in labels[1:])}
    assert "all before it" in small_print(ax)


def test_the_step_that_loses_most_is_bold(four) -> None:
    ax, steps = plots.funnel(four), four.funnel()
    by_row = {}
    for text in texts(ax, "share"):
        by_row.setdefault(round(text.get_position()[1], 3), []).append(text)
    for regime, row in zip(["all", "most", "some", "none"], by_row.values(), strict=True):
        row.sort(key=lambda text: text.get_position()[0])
        lost = -np.diff([1, *steps.loc[regime]["estimate"]])
        bold = [text.get_fontweight() == "bold" for text in row]
        assert bold == [place == lost.argmax() and lost.max() > 0 for place in range(len(row))]


def test_an_aim_that_nothing_grows_into_has_no_funnel() -> None:
    oak = {"oak": {"stage": "grown", "lasts": "1 day"}}
    grown = GROVE | {"aim": "oak", "forms": oak, "stages": {"grown": {}}}
    batch = petsim.batch(grown, KEEPER, lives=1, workers=1)
    with pytest.raises(ArgumentError, match="funnel: nothing grows into oak"):
        plots.funnel(batch)


# Differences


def test_differences_that_are_shown_are_filled(four, lived) -> None:
    again = became(lived, "again", cedar=30, hazel=50)
    ax = plots.differences(compared(*four.batches, again))
    assert said(ax, "name") == ["all", "most", "again", "none"]
    marks = [container[0] for container in ax.containers]
    assert [to_hex(mark.get_markerfacecolor()) for mark in marks] == [
        colours.AIM.lower(), colours.AIM.lower(), "#ffffff", colours.AIM.lower(),
    ]  # fmt: skip
    ranked = sorted(compared(*four.batches, again).differences, key=lambda d: -d.interval.estimate)
    assert [points(d.interval) for d in ranked] == [
        text.get_text() for text in ax.texts if " to " in text.get_text() and "(" in text.get_text()
    ]
    assert "Filled: a difference is shown." in small_print(ax)


# Cost


def with_work(batch: petsim.Batch, presses: int) -> petsim.Batch:
    days = batch.values["end_s"] / 86_400
    values = {**batch.values, "presses": np.round(presses * days).astype(np.int64)}
    return replace(batch, values=values)


@pytest.fixture(scope="module")
def market(lived) -> petsim.Comparison:
    """Regimes by the presses that they take: three on the line, one open, one beaten."""
    names = {"idle": (0, 0), "cheap": (30, 100), "poor": (10, 150), "good": (75, 300),
             "same": (76, 900), "pet": (20, 950), "last": (75, 990)}  # fmt: skip
    return compared(
        *(with_work(became(lived, name, cedar=n, bramble=LIVES - n), presses)
          for name, (n, presses) in names.items())
    )  # fmt: skip


def drawn_as(ax) -> dict[Verdict, set[int]]:
    """The presses a day of the points of each verdict, to the nearest whole."""
    found = {verdict: set() for verdict in Verdict}
    for points_, _, _ in ax.containers:
        filled = to_hex(points_.get_markerfacecolor()) != "#ffffff"
        square = points_.get_marker() == "s"
        verdict = Verdict.BEATEN if square else Verdict.WORTH if filled else Verdict.OPEN
        found[verdict].add(round(points_.get_xdata()[0]))
    return found


def test_cost_says_no_more_than_paired_intervals_show(market) -> None:
    ax = plots.cost(market)
    ensure_clear(ax)
    assert drawn_as(ax) == {
        Verdict.WORTH: {0, 100, 300}, Verdict.OPEN: {900, 990}, Verdict.BEATEN: {150, 950},
    }  # fmt: skip
    [line] = with_gid(ax, "frontier")
    assert [round(x) for x in line.get_xdata()] == [0, 100, 300]
    [best] = with_gid(ax, "best")
    inside = {
        round(points_.get_xdata()[0])
        for points_, _, _ in ax.containers
        if best.get_x() <= points_.get_xdata()[0] <= best.get_x() + best.get_width()
        and best.get_y() <= points_.get_ydata()[0] <= best.get_y() + best.get_height()
    }
    assert inside == {300, 900, 990}
    named = [text.get_text() for text in ax.texts if getattr(text, "arrow_patch", None)]
    assert sorted(named) == ["cheap", "good", "idle"]


def test_all_of_a_few_are_named_in_whole_words(market) -> None:
    few = [replace(b, caretaker=replace(b.caretaker, name=f"{b.regime}-{LONG}"))
           for b in market.batches[:3]]  # fmt: skip
    ax = plots.cost(compared(*few))
    ensure_clear(ax)
    named = [text.get_text() for text in ax.texts if getattr(text, "arrow_patch", None)]
    assert sorted(name.replace("\n", "") for name in named) == sorted(b.regime for b in few)
    assert all(line.endswith("-") for name in named for line in name.split("\n")[:-1])


@pytest.fixture(scope="module")
def sweeps(tmp_path_factory):
    folder = tmp_path_factory.mktemp("sweeps")

    def swept(name, vary, **how):
        out = folder / name
        return petsim.sweep(MODEL, [KEEPER], vary, out=out, lives=40, workers=1, **how)

    return swept


def test_a_rate_of_error_has_a_panel_for_each_value(sweeps) -> None:
    vary = {"checks.every": "10 min, 20 min, 40 min", "eyes.waste.overlooks": "0, 40%"}
    result = sweeps("rates", vary)
    ax = plots.cost(result)
    panels = ax.figure.axes
    assert [said(panel, "setting") for panel in panels] == [["overlooks 0"], ["overlooks 40%"]]
    means = result.means("presses_per_day")
    for panel, rate in zip(panels, (0, 0.4), strict=True):
        own = means[means["eyes.waste.overlooks"] == rate]["estimate"]
        drawn = sorted(container[0].get_xdata()[0] for container in panel.containers)
        np.testing.assert_allclose(drawn, sorted(own))
    assert panels[0].get_xlim() == panels[1].get_xlim()
    assert "A panel for each eyes.waste.overlooks, which is not chosen." in small_print(ax)
    ensure_clear(ax)
    with pytest.raises(ArgumentError, match="ax: several settings have a panel each"):
        plots.cost(result, ax=plt.subplots()[1])


def test_points_that_share_no_rate_of_error_are_not_compared(sweeps) -> None:
    vary = {"checks.every": "10 min..40 min", "eyes.waste.overlooks": "0..40%"}
    ax = plots.cost(sweeps("points", vary, sample="latin", points=8))
    assert drawn_as(ax)[Verdict.OPEN]
    assert not with_gid(ax, "frontier") and not with_gid(ax, "best")
    assert "Nothing is compared, as eyes.waste.overlooks is not chosen" in small_print(ax)
    ensure_clear(ax)
