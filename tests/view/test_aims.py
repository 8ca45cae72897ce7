"""What is said and drawn of several forms and of a worth: text, page and data agree."""

from __future__ import annotations

import re
import shlex

import matplotlib as mpl

mpl.use("Agg")

import pytest
from matplotlib import pyplot as plt

import petsim
from petsim.study.aims import read_aim
from petsim.view import aims, comparison, outcome, pet, plots, repeat, report, show, sweep_text
from petsim.view.plots import colours

MODEL = "lamplet"
SOURCES = {"plain": "beacon", "either": "beacon,lantern", "worth": "beacon=1,lantern=0.5"}
REGIMES = ("camera-rig", "ten-minute", "hourly", "thirty-minute")


@pytest.fixture(scope="module")
def compared():
    made = petsim.compare(MODEL, REGIMES, lives=300, seed=8)
    return {
        name: petsim.Comparison(made.model, read_aim(made.model, source), made.batches)
        for name, source in SOURCES.items()
    }


@pytest.fixture(scope="module")
def swept(tmp_path_factory):
    """A line, a grid and a sample of each aim."""
    folder = tmp_path_factory.mktemp("swept")
    every, works = {"checks.every": "10 min..40 min/10 min"}, {"care.play.works": "40%,80%"}

    def made(name, source, kind, vary, **chosen):
        out = folder / f"{name}-{kind}"
        return petsim.sweep(
            *(MODEL, ["ten-minute"], vary), lives=60, aim=source, out=out, workers=1, **chosen
        )

    sampled = {"checks.every": "10 min..60 min"}
    return {
        name: {
            "line": made(name, source, "line", every),
            "grid": made(name, source, "grid", every | works),
            "sample": made(name, source, "sample", sampled, sample="latin", points=12),
        }
        for name, source in SOURCES.items()
    }


@pytest.fixture(autouse=True)
def _closed():
    yield
    plt.close("all")


def in_one_line(text):
    return " ".join(text.split())


# Words


def test_text_page_and_data_agree_on_the_worth(compared, tmp_path):
    result = compared["worth"]
    [*_, told] = result.as_dict()["regimes"]
    text = comparison.comparison(result, 300)
    row = next(line for line in text.splitlines() if "expected worth (the aim)" in line)
    figures = re.findall(r"([\d.]+) % \(([\d.]+) to ([\d.]+)\)", row)
    regimes = [each for each in result.as_dict()["regimes"] if each["expected_worth"]["estimate"]]
    assert len(figures) == len(regimes) == 3
    for regime, said in zip(regimes, figures, strict=True):
        for number, end in zip(map(float, said), ("estimate", "low", "high"), strict=True):
            digits = len(said[0].partition(".")[2])
            exact = 100 * regime["expected_worth"][end]
            assert number == pytest.approx(exact, abs=0.51 / 10**digits)
    assert told["expected_worth"] == result.aim.of(result.batches[-1])._asdict()
    made = report.of(result)
    assert made.answer == comparison.gist(result)
    assert made.question.startswith("What is a life of lamplet worth under camera-rig")
    assert any("expected worth (the aim)" in str(section.tables) for section in made.sections)


def test_a_worth_is_said_to_be_higher_or_lower_and_odds_likelier(compared):
    gists = {name: comparison.gist(result) for name, result in compared.items()}
    assert gists["plain"].startswith("Of 300 lives under camera-rig, ")
    assert "became beacon or lantern; " in gists["either"]
    assert "beacon or lantern was less likely under " in gists["either"]
    assert gists["worth"].startswith("The expected worth of 300 lives under camera-rig was ")
    assert "of full worth; it was higher under ten-minute (" in gists["worth"]
    assert "it was lower under hourly" in gists["worth"]
    assert "Expected worth, highest first" in comparison.comparison(compared["worth"])


def test_methods_and_worths_are_said(compared):
    worth, either = compared["worth"], compared["either"]
    assert comparison.head(worth).endswith(" A life is worth 1 as beacon, 0.5 as lantern, else 0.")
    assert comparison.head(either) == comparison.head(compared["plain"])
    assert "Zou's for worths and differences (p-values: paired t test)" in comparison.methods(worth)
    assert comparison.methods(either) == comparison.methods(compared["plain"])


@pytest.mark.parametrize("name", ["either", "worth"])
def test_what_it_takes_and_the_steps_are_those_of_the_worthiest_form(compared, name):
    tables, plain = (comparison.sections(compared[each]) for each in (name, "plain"))
    [title] = [title for title in plain if title.startswith("What beacon takes")]
    assert tables[title] == plain[title]
    assert compared[name].funnel().equals(compared["plain"].funnel())
    assert compared[name].requirements().equals(compared["plain"].requirements())


@pytest.mark.parametrize("name", SOURCES)
def test_the_command_repeats_the_aim(compared, swept, name):
    words = shlex.split(repeat.compare(compared[name]))
    assert words[words.index("--aim") + 1] == SOURCES[name]
    words = shlex.split(repeat.sweep(swept[name]["line"]))
    assert words[words.index("--aim") + 1] == SOURCES[name]


def test_a_sweep_says_where_the_worth_is_highest(swept):
    said = in_one_line(sweep_text.sweep(swept["worth"]["line"], 200))
    assert "cells, the expected worth was highest under ten-minute with checks.every 10 min" in said
    assert "; lowest under ten-minute with checks.every 40 min: " in said
    assert "Zou's for worths and for differences on the same lives. A life is worth 1 as" in said
    either = sweep_text.sweep(swept["either"]["line"], 200)
    assert "cells, beacon or lantern was likeliest " in either
    made = report.of(swept["worth"]["line"])
    assert made.question == "How does the expected worth change with checks.every?"
    assert made.sections[0].question == "Where is the expected worth highest?"


def test_a_model_says_what_its_forms_are_worth():
    data = petsim.load_model(MODEL).model_dump(by_alias=True)
    model = petsim.load_model(data | {"worth": {"beacon": 1, "lantern": "50%"}})
    assert "\nworth: {beacon: 1, lantern: 0.5}\n" in show.show(model)
    assert "the aim is beacon. A life is worth 1 as beacon, 0.5 as lantern" in pet.model(model)
    assert "worth" not in show.show(petsim.load_model(MODEL))
    life = petsim.simulate(model, "camera-rig", life=24)
    assert outcome.headline(life).startswith("Life 24 became lantern (worth 0.5), not beacon: ")


# Pictures


UPRIGHT = {
    "plain": "odds of beacon (% of lives)",
    "either": "odds of beacon or lantern (% of lives)",
    "worth": "expected worth (% of full worth)",
}


def title_of(ax):
    return in_one_line(" ".join(text.get_text() for text in ax.figure.findobj(mpl.text.Text)))


@pytest.mark.parametrize("name", SOURCES)
def test_axes_say_what_is_estimated(compared, swept, name):
    for ax in (
        plots.convergence(compared[name]),
        plots.cost(compared[name]),
        plots.odds_along(swept[name]["line"]),
        plots.scatter(swept[name]["sample"]),
    ):
        assert in_one_line(ax.get_ylabel()) == UPRIGHT[name]
    bar = plots.heat_map(swept[name]["grid"]).figure.axes[-1]
    assert in_one_line(bar.get_ylabel()) == UPRIGHT[name]


def test_titles_and_small_print_say_what_is_estimated(compared, swept):
    worth, either = compared["worth"], compared["either"]
    for ax, words in (
        (plots.odds(worth), "What is a life worth, and what does the pet become?"),
        (plots.odds(worth), "Zou's 95 % intervals. A life is worth 1 as beacon, 0.5 as lantern"),
        (plots.odds(either), "How likely is beacon or lantern, and what else"),
        (plots.odds(either), "odds of beacon or lantern"),
        (plots.differences(worth), "Does the expected worth differ from that under camera-rig?"),
        (plots.differences(either), "Do the odds of beacon or lantern differ from those under"),
        (plots.convergence(worth), "Expected worth is known to"),
        (plots.cost(worth), "What do more presses buy in expected worth?"),
        (plots.funnel(worth), "At which step do lives miss beacon?"),
        (plots.odds_along(swept["worth"]["line"]), "Expected worth is above 80 %"),
        (plots.odds_along(swept["either"]["line"]), "Odds of beacon or lantern are"),
        (plots.heat_map(swept["worth"]["grid"]), "Expected worth is above 80 % in"),
        (plots.heat_map(swept["worth"]["grid"]), "Zou's 95 % intervals"),
        (plots.scatter(swept["worth"]["sample"]), "moves the expected worth most"),
    ):
        assert words in title_of(ax), title_of(ax)


def test_odds_of_one_regime_have_a_row_for_the_aim(compared):
    model, [first, *_] = compared["worth"].model, compared["worth"].batches
    for name, told in (("either", "The aim: beacon or lantern."), ("worth", "A life is worth 1")):
        ax = plots.odds(petsim.Comparison(model, compared[name].aim, (first,)))
        labels = [text.get_text() for text in ax.get_yticklabels()]
        assert labels[0].endswith("(the aim)")
        assert labels[1:3] == ["beacon", "lantern"]
        assert told in title_of(ax)


def test_forms_that_count_too_are_a_paler_blue():
    model = petsim.load_model(MODEL)
    plain = colours.of_outcomes(model, "beacon")
    looks = colours.of_outcomes(model, "beacon", "lantern")
    assert looks["beacon"] == plain["beacon"]
    assert len({look.colour for look in looks.values()}) == len(looks)
    dark, light = (mpl.colors.to_rgb(looks[form].colour) for form in ("beacon", "lantern"))
    assert colours.luminance(light) > 2 * colours.luminance(dark)


@pytest.mark.parametrize("name", SOURCES)
def test_the_last_point_of_a_picture_is_the_estimate(compared, name):
    result = compared[name]
    made = petsim.Comparison(result.model, result.aim, result.batches[:1])
    ax = plots.convergence(made)
    [line] = [line for line in ax.get_lines() if line.get_gid() == "odds under camera-rig"]
    assert line.get_ydata()[-1] == pytest.approx(100 * result.aim.of(result.batches[0]).estimate)


def test_words_for_what_no_life_came_to():
    model = petsim.load_model(MODEL)
    assert aims.became(read_aim(model, "beacon,lantern")) == "became beacon or lantern"
    assert aims.became(read_aim(model, SOURCES["worth"])) == "was worth anything"
