"""Pictures of a fit say what it says; the figures are made up."""

import matplotlib as mpl

mpl.use("Agg")

import numpy as np
import pytest

from petsim.errors import ArgumentError
from petsim.evidence.written import fitted_model
from petsim.spec.laws import distribution
from petsim.view import plots
from petsim.view.choices import PICTURES
from tests.view.looked_at import faults, heads, question, small_print
from tests.view.made_up_fits import chain, fit_of, told, untold, usual

NOTHING = untold("stages.infant.grace.mood")
HUNGER = "stages.juvenile.drops.hunger"
ABOUT = "6.0 days of 1 life of lamplet"


def lines(ax, gid):
    return [line for line in ax.lines if line.get_gid() == gid]


def labels(ax):
    return [label.get_text() for label in ax.get_yticklabels()]


@pytest.mark.parametrize("kind", PICTURES["fit"])
def test_no_texts_overlap_and_none_is_cut(kind):
    figure = usual().plot(kind).figure.figure
    assert faults(figure) == []


def test_means_and_rates_are_factors_of_their_guesses():
    ax = usual().plot("fitted", part="pace")
    assert question(ax) == "How far is what was seen from the guess?"
    assert labels(ax) == ["hunger drops every", "infant", "juvenile", "illnesses a day", "infant",
                          "power is", "up"]  # fmt: skip
    values = {round(float(line.get_xdata()[0]), 3): line.get_markerfacecolor()
              for line in ax.lines if line.get_marker() == "D"}  # fmt: skip
    # what is weak is hollow
    assert values == {1.031: "white", 0.831: "black", 2.59: "white", 1.6: "white"}
    assert [*lines(ax, "guess")[0].get_xdata()] == [1, 1]
    assert [text.get_text() for text in ax.texts if "min" in text.get_text()] == [
        "8.2 min",
        "21.6 min",
    ]
    assert small_print(ax) == (
        f"{ABOUT}. Whiskers: 95 % intervals. Hollow: weak. Upright: the guess. Values kept as "
        "guessed are left out."
    )


def test_chances_are_in_per_cent_beside_their_guesses():
    ax = usual().plot("fitted", part="chances")
    assert labels(ax) == ["care works", "play", "eyes misread", "hunger"]
    shown = {marker: [round(float(line.get_xdata()[0]), 1) for line in ax.lines
                      if line.get_marker() == marker and line.get_markersize() > 7]
             for marker in "D|"}  # fmt: skip
    assert shown == {"D": [69.1, 6.7], "|": [70.0, 6.0]}


def test_both_are_one_above_the_other():
    ax = usual().plot("fitted")
    above, below = ax.figure.axes
    assert (above.get_xlabel(), below.get_xlabel()) == ("times the guess", "chance (%)")
    assert above.get_xscale() == "log"


def test_laws_are_drawn_beside_those_of_the_guess():
    fit = usual()
    ax = fit.plot("laws")
    assert question(ax) == "How long do the pet's waits last?"
    assert heads(ax) == [("hunger, infant", "8.2 min, weak"), ("hunger, juvenile", "21.6 min")]
    panel = ax.figure.axes[1]
    for gid, model in (("fitted", fitted_model(fit)), ("guess", fit.model)):
        [line] = lines(panel, gid)
        law = distribution(str(model.source().at("stages", "juvenile", "drops", "hunger")))
        minutes = np.array([10.0, 20.0, 30.0])
        drawn = np.interp(minutes, line.get_xdata(), line.get_ydata())
        assert drawn == pytest.approx([100 * law.survival(60 * t) for t in minutes], abs=0.5)
    assert panel.get_xlabel() == "min"
    assert "No data are drawn, as a log has looks and no waits." in small_print(ax)


def test_the_band_of_a_law_is_that_of_its_mean():
    fit = fit_of(told(HUNGER, "mean", 600, 1200, 2400, guess=1560))
    ax = fit.plot("laws")
    assert question(ax) == "How long does a wait of hunger, juvenile last?"
    [band] = [each for each in ax.collections if each.get_gid() == "interval"]
    vertices = band.get_paths()[0].vertices
    near = vertices[np.abs(vertices[:, 0] - 20) < 0.3][:, 1]
    # of an exponential law, after its mean
    assert [near.min(), near.max()] == pytest.approx([100 * np.exp(-2), 100 * np.exp(-0.5)], abs=1)


def test_one_law_is_drawn_if_it_is_asked_for():
    ax = usual().plot("laws", wait=HUNGER)
    assert question(ax) == "How long does a wait of hunger, juvenile last?"
    with pytest.raises(ArgumentError, match=r"^wait: 'stages\.juvenile\.drops\.hungr'; did you"):
        usual().plot("laws", wait=HUNGER[:-2] + "r")


def test_what_was_seen_is_beside_what_was_expected():
    ax = usual().plot("predicted")
    assert question(ax) == "Does the fit predict what is seen?"
    panels = ax.figure.axes
    assert [panel.get_title("left") for panel in panels] == ["hunger", "mood", "illness"]
    assert [panel.get_xlabel() for panel in panels] == ["level", "level", "looks (%)"]
    assert labels(ax) == ["glint", "12:00 to 15:00", "18:00 to 21:00"]
    [seen] = lines(panels[1], "seen 18:00 to 21:00")
    assert (seen.get_xdata()[0], seen.get_ydata()[0], seen.get_marker()) == (4.6, 2, "D")
    [seen] = lines(panels[0], "seen glint")
    assert (seen.get_xdata()[0], seen.get_marker()) == (4.5, "o")
    assert small_print(ax) == (
        f"{ABOUT}: first look of each check. Dot: seen; stroke and whiskers: expected, and where "
        "95 % of such means are. Diamonds: mood from 18:00 to 21:00, more than expected "
        "(z = +3.6); illness as glint, less than expected (z = -4.2)."
    )


def test_whiskers_are_where_95_of_100_means_are():
    part = ("glint", 100, 4.0, 3.0, 2.0)
    ax = fit_of(chains=[chain("mood", 0.5, part)]).plot("predicted")
    [whisker] = [each for each in ax.collections if len(each.get_segments()) == 1]
    ends = whisker.get_segments()[0][:, 0]
    # half a level is a standard deviation
    assert ends == pytest.approx([3 - 1.96 * 0.5, 3 + 1.96 * 0.5], abs=0.001)


def test_one_chain_is_drawn_if_it_is_asked_for():
    ax = usual().plot("predicted", chain="illness")
    assert (ax.get_xlabel(), labels(ax)) == ("looks (%)", ["glint"])
    with pytest.raises(ArgumentError, match=r"^chain: 'moot'; did you mean 'mood'\?$"):
        usual().plot("predicted", chain="moot")


@pytest.mark.parametrize("kind", PICTURES["fit"])
def test_a_picture_is_drawn_on_axes_that_are_given(kind):
    _, ax = mpl.pyplot.subplots()
    assert usual().plot(kind, ax=ax) is ax
    assert len(ax.figure.axes) == 1


@pytest.mark.parametrize(
    ("kind", "message"),
    [
        ("fitted", "fit: tells no mean, rate or chance; expected one that does"),
        ("laws", "fit: tells of no wait how long it lasts; expected one that does"),
        ("predicted", "fit: too little was seen to tell how well it predicts"),
    ],
)
def test_what_can_not_be_drawn_is_said(kind, message):
    with pytest.raises(ArgumentError, match=f"^{message}$"):
        plots.plot(fit_of(NOTHING), kind)


def test_a_part_without_anything_in_it_is_refused():
    fit = fit_of(told("care.play.works", "chance", 0.6, 0.7, 0.8, guess=0.7))
    assert fit.plot("fitted").get_xlabel() == "chance (%)"
    with pytest.raises(ArgumentError, match=r"^part: 'pace'; expected 'chances'$"):
        fit.plot("fitted", part="pace")
