"""What is said of the odds with the doubt in them. All figures are made up."""

from jsonschema import Draft202012Validator

from petsim.evidence.doubt import Doubt, Part
from petsim.study.aims import aim_at
from petsim.study.stats import Interval
from petsim.view import report
from petsim.view.data import data_schema
from petsim.view.doubted import gist, notes, odds
from petsim.view.report.fits import of_fit
from tests.view.made_up_fits import fit_of

DOUBT = Doubt(
    aim=aim_at("beacon"),
    regime="camera-rig",
    chance=Interval(0.706, 0.666, 0.744),
    band=Interval(0.65, 0.26, 0.86),
    parts=(
        Part("outages", Interval(0.7, 0.3, 0.84)),
        Part("needs and waste", Interval(0.7, 0.692, 0.709)),
        Part("illness", Interval(0.704, 0.7, 0.708)),
    ),
    lives=500,
    draws=100,
)


def test_the_odds_are_said_first_then_what_is_in_doubt_then_what_is_worth_knowing():
    assert odds(DOUBT) == (
        "Odds of beacon under camera-rig: 71 %, and anything from 26 to 86 % by what the\n"
        "logs leave in doubt of the pet and the rig.\n"
        "\n"
        "In doubt                    95 % of the odds\n"
        "all of it                   26 to 86 %\n"
        "outages                     30 to 84 %\n"
        "needs and waste             69.2 to 70.9 %\n"
        "illness                     70.0 to 70.8 %\n"
        "chance alone, of 500 lives  67 to 74 %\n"
        "\n"
        "Worth knowing better, most first: outages. Differences between two regimes\n"
        "depend far less on it than the odds themselves, as both meet the same pet.\n"
        "\n"
        "100 draws of what is in doubt, the same 500 lives of each; what no log tells is\n"
        "drawn from around the guess, within about 30 % to either side."
    )


def test_nothing_is_worth_knowing_better_where_no_part_matters():
    narrow = Doubt(**{**vars(DOUBT), "parts": DOUBT.parts[2:]})
    assert "No part is worth knowing better: the odds hardly depend on any of them." in odds(narrow)


def test_the_data_of_it_are_as_the_schema_says():
    of_odds = data_schema("fit")["properties"]["odds"]
    Draft202012Validator(of_odds).validate(DOUBT.as_dict())
    assert not Draft202012Validator(of_odds).is_valid(DOUBT.as_dict() | {"draws": "many"})


def test_the_page_of_a_fit_has_it_where_it_was_asked_for(tmp_path):
    made = of_fit(fit_of(), DOUBT)
    assert "--odds" in made.command
    section = made.sections[-1]
    assert section.question == "How far may the odds of beacon be off?"
    assert next(iter(section.tables[0].rows)) == ("all of it", "26 to 86 %")
    report.write(made, tmp_path / "fit.html")
    page = (tmp_path / "fit.html").read_text("utf-8")
    assert all(said.split(" ")[-1] in page for said in (gist(DOUBT), *notes(DOUBT)))
    assert "beacon under camera-rig: 71" in page
    without = report.of(fit_of())
    assert len(without.sections) == len(made.sections) - 1
    assert "--odds" not in without.command
