"""What is said and drawn of limits: few digits, units, open ends, and what would help."""

from __future__ import annotations

import math
import re

import pytest
from matplotlib.text import Text

from petsim import ArgumentError, load_model
from petsim.advice.limits.tolerance import Tolerance, Tolerances
from petsim.life.caretaker import load_caretaker
from petsim.life.simulate import Span
from petsim.study.aims import read_aim
from petsim.study.stats import Interval
from petsim.study.weighted import WeightedInterval
from petsim.view import answers, tolerances
from petsim.view.notebook import notebook
from petsim.view.plots.sheet import figure_of
from petsim.view.printed import printed

HOUR, DAY = 3600.0, 86_400.0
INF = math.inf


def thing(what="overlooking waste", kind="eyes", unit="chance", today=0.05, **other):
    fields = {
        "path": "eyes.waste.overlooks",
        "best": 0.0,
        "worst": 1.0,
        "assumed": "",
        "half": None,
        "limit": 0.2,
        "low": 0.15,
        "high": 0.25,
    }
    return Tolerance(what=what, kind=kind, unit=unit, today=today, **{**fields, **other})


def outages(**other):
    fields = {"today": 0.8, "worst": 20.0, "half": 20.0, "limit": 1.2, "low": 1.0, "high": 1.4}
    return thing("outages", "outages", "per day", **{**fields, **other})


def at_none(what, odds, **other):
    ends = {"limit": -INF, "low": -INF, "high": -INF}
    return thing(what, end=Interval(odds, odds - 0.02, odds + 0.02), **ends, **other)


def at_all(what, **other):
    ends = {"limit": INF, "low": INF, "high": INF}
    return thing(what, end=Interval(0.95, 0.94, 0.96), **ends, **other)


def made(*each, odds=0.8, at_least=0.7, together=None, aim=None, **other):
    model = load_model("lamplet")
    interval = Interval(odds, odds - 0.01, odds + 0.01)
    return Tolerances(
        aim=read_aim(model, aim),
        caretaker=load_caretaker("camera-rig", model),
        models=(model,),
        weights=(1.0,),
        seed=4,
        span=Span(),
        at_least=at_least,
        odds=WeightedInterval(*interval, interval, 0.0),
        each=each,
        together=together,
        **{"lives": 5000, "precision": 0.2, "asked": 9, **other},
    )


def said(*each, width=1000, **other):
    return answers.text(tolerances.answer(made(*each, **other)), width)


@pytest.mark.parametrize(
    ("each", "today", "limit"),
    [
        (thing(), "5 %", "20 % (15 to 25)"),
        (thing(low=0.19, high=0.21), "5 %", "20.0 % (19.0 to 21.0)"),
        (thing(low=0.195, high=0.205), "5 %", "20.0 % (19.5 to 20.5)"),
        (thing(high=INF), "5 %", "20 % (15 or more)"),
        (thing(low=-INF), "5 %", "20 % (25 or less)"),
        (thing(low=-INF, high=INF), "5 %", "20 % (not known any nearer)"),
        (thing(today=0.0), "0 %", "20 % (15 to 25)"),
        (outages(), "one in 30 h", "one in 20 h (17 to 24)"),
        (outages(high=INF), "one in 30 h", "one in 20 h (24 or less)"),
        (outages(low=-INF), "one in 30 h", "one in 20.0 h (17.1 or more)"),
        (outages(limit=0.1, low=0.05, high=0.2), "one in 30 h", "one in 10 days (5 to 20)"),
        (outages(today=0.0, low=0.0), "none", "one in 20.0 h (17.1 or more)"),
        (
            thing("the length of outages", "length of outages", "s", 66 * 60.0, worst=DAY,
                  limit=87 * 60.0, low=78 * 60.0, high=97 * 60.0),
            "66 min", "87 min (78 to 97)",
        ),
        (
            thing("the time to answer a call", "reaction", "s", 35.0, worst=HOUR,
                  limit=50.0, low=44.0, high=57.0),
            "35 s", "50 s (44 to 57)",
        ),
        (
            thing("presses that land elsewhere", "wrong presses", "factor", 1.0, worst=90.0,
                  limit=20.4, low=18.0, high=22.9),
            "as it is", "20 times (18 to 23)",
        ),
    ],
)  # fmt: skip
def test_values_have_units_and_as_many_digits_as_are_known(each, today, limit):
    assert (tolerances.today(each), tolerances.limit(each)) == (today, limit)


def test_what_holds_begins_with_the_least_room():
    together = thing("all errors together", "all", "factor", 1.0, worst=16.0, limit=1.375,
                     low=1.28, high=1.48)  # fmt: skip
    text = said(outages(), thing(), at_all("imagining waste"), together=together)
    answer, *_ = text.split("\n\n")
    assert answer == (
        "camera-rig leads to beacon in 80.0 % (79.0 to 81.0) of lives, more than 70 %. The least "
        "room is left in outages: one in 20 h (17 to 24) instead of one in 30 h. All errors "
        "together may grow to 1.38 times (1.28 to 1.48) today's."
    )
    assert re.search(r"outages +one in 30 h +one in 20 h \(17 to 24\) +1.5\n", text)
    assert "No limit found: imagining waste up to 100 %." in text
    assert "Share of the time at these limits: outages 5.7 %." in text


def test_what_falls_short_says_what_would_do_and_what_not():
    together = thing("all errors together", "all", "factor", 1.0, worst=16.0, limit=0.3,
                     low=0.2, high=0.4)  # fmt: skip
    text = said(
        outages(limit=0.16, low=0.13, high=0.21),
        at_none("the interval of checks", 0.9, today=600.0, best=60.0, unit="s", kind="interval"),
        at_none("overlooking waste", 0.81),
        at_none("forgotten checks", 0.8, today=0.0),
        at_least=0.95,
        together=together,
    )
    answer, *_ = text.split("\n\n")
    assert "short of 95 %. One thing would do by itself: outages, one in 6.2 days (4.8 to 7.7)" in (
        answer
    )
    assert answer.endswith(
        "All errors together would have to come down to 0.30 times (0.20 to 0.40) today's."
    )
    assert re.search(r"interval of checks \(60 s\) +90.0 % \(88.0 to 92.0\)", text)
    assert "Hardly better alone, 81 % at most even if it were perfect: overlooking waste." in text
    # what is perfect already can't be made better
    assert "forgotten checks" not in text
    # what would do comes first, then what would help most
    assert text.index("- outages: ") < text.index("- the interval of checks: ")
    assert "(common practice, no source)" in text


def test_mains_and_batteries_come_with_a_caution_and_nothing_else_does():
    assert tolerances.CAUTION in said(outages())
    assert tolerances.CAUTION not in said(thing(limit=0.06))


def test_nothing_that_would_do_is_said_in_so_many_words():
    text = said(at_none("overlooking waste", 0.8), at_least=0.95,
                together=at_none("all errors together", 0.9, kind="all"))  # fmt: skip
    assert "No improvement would do by itself. Not even all errors together" in text
    assert "No limit was found." in said(at_all("overlooking waste"))


def test_luck_that_may_be_why_is_told():
    assert "which can't be told from 80.5 %" in said(thing(), at_least=0.805)


def test_an_expected_worth_is_called_so():
    text = said(thing(), aim={"beacon": 1.0, "lantern": 0.5})
    assert text.startswith("camera-rig leads to an expected worth of 80.0 % (79.0 to 81.0) of full")
    assert "for an expected worth of 70 %" in text


def test_text_notebook_and_page_say_the_same():
    found = made(outages(), thing(), at_all("imagining waste"))
    assert printed(found) == answers.text(tolerances.answer(found))
    shown = notebook(found)
    assert "<strong>" in shown
    assert "one in 20" in shown
    assert "a battery or an uninterruptible supply" in shown
    assert "<li>" in shown


@pytest.mark.parametrize("width", [40, 80])
def test_lines_are_no_wider_than_the_terminal(width):
    found = made(outages(), thing(), at_all("imagining waste"), together=None)
    text = answers.text(tolerances.answer(found), width)
    table = re.compile(r"^  ")
    for line in text.splitlines():
        assert len(line) <= width or table.match(line), line


# The picture


def texts(ax):
    return [" ".join(text.get_text().split()) for text in figure_of(ax).findobj(Text)]


def test_the_picture_has_factors_and_below_chances_of_what_does_not_happen_today():
    found = made(outages(), thing(), thing("forgotten checks", today=0.0, limit=0.16))
    ax = found.plot()
    factors, chances = figure_of(ax).axes
    assert factors.get_xscale() == "log"
    assert factors.get_xlabel() == "times today's"
    assert chances.get_xlabel() == "chance to err, none today (%)"
    bars = [line for line in factors.lines if line.get_gid() == "from today"]
    assert [[*bar.get_xdata()] for bar in bars] == [[1.0, pytest.approx(1.5)], [1.0, 4.0]]
    assert {"outages", "one in 20 h (17 to 24)", "forgotten checks"} <= {*texts(ax)}
    assert "How much worse may each be, for beacon in 70 % of lives?" in texts(ax)


def test_the_picture_of_what_falls_short_leads_to_the_left():
    found = made(outages(limit=0.2, low=0.1, high=0.4), at_least=0.95)
    ax = found.plot()
    [bar] = [line for line in ax.lines if line.get_gid() == "from today"]
    assert [*bar.get_xdata()] == [1.0, 0.25]
    low, high = ax.get_xlim()
    assert low < 0.125
    assert high > 1
    assert any("How much better must each be" in text for text in texts(ax))


def test_a_picture_of_nothing_is_refused():
    with pytest.raises(ArgumentError, match="camera-rig has no limit that could be drawn"):
        made(at_all("imagining waste")).plot()


def test_data_have_no_infinities():
    data = made(outages(high=INF), at_all("imagining waste"), at_none("x", 0.5)).as_dict()
    limits = [(each["holds"], each["limit"], each["high"], each["room"]) for each in data["each"]]
    assert limits == [
        ("up to a limit", 1.2, None, pytest.approx(1.5)),
        ("everywhere", None, None, None),
        ("nowhere", None, None, 0.0),
    ]
    assert data["each"][0]["share_of_time"] == pytest.approx(1.2 / 21.2)
