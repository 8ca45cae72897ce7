"""What is said of a fit: its text, its files, and its page. Most figures are made up."""

import math
import re
from dataclasses import replace

import pytest

import petsim
from petsim.evidence.posterior import PRIORS
from petsim.spec.library import kind
from petsim.view import fitted, report, written_fit
from petsim.view.estimates import in_words, named
from tests.view.made_up_fits import (
    HIDDEN,
    LAMPLET,
    RIG,
    WORD,
    chain,
    fit_of,
    told,
    untold,
    usual,
)
from tests.view.test_report import Outline

TEXT = """\
6.0 days of 1 life fix hunger, and say little of illness and power cuts. 8
parameters stay as guessed, waste among them.

Values of the pet      guess       estimate     95 % interval        told
stages.infant
  drops.hunger          8 min       8.2 min      4.7 to 14.5 min     weak
  illness.base          0.1 a day   0.26 a day   0.06 to 1.08 a day  weak
stages.juvenile
  drops.hunger         26 min      21.6 min     20.5 to 22.8 min     well
  drops.hunger, shape   5.56        6.2          4.3 to 9.0          well
  sleeps[0].from       21:00       21:00        20:55 to 21:04       well
care
  play.works           70 %        69.1 %       63.3 to 74.3 %       well
needs
  hunger.starts         2           3           exactly              well

Values of the rig  guess      estimate  95 % interval    told
eyes
  hunger.misreads  6 %        6.7 %     4.7 to 9.4 %     well
outages
  up               1.25 days  2.0 days  0.5 to 4.6 days  weak

Weak, and what to record for more:
  stages.infant.drops.hunger and outages.up: more lives
  stages.infant.illness.base: look at the waste twice in each check

Kept as guessed: why, and what to record instead:
  eyes.waste.overlooks and eyes.windows[0].waste.overlooks: the same from
    0.3 % to 36 % (so eyes.waste.overlooks, and the other likewise). Remedy:
    look at the waste twice in each check
  grace of 4 parts and stages.juvenile.lights grace: care misses are never
    seen. Remedy: the maker's word
  stages.juvenile.waste.every: about 3 of them were lived. Remedy: more lives

How well the fit predicts the first look of each check:
  hunger: predicted well (p = 0.40)
  mood: predicted badly (p = 0.0031); its search found no end, so intervals
    are rough
  illness: predicted badly (p < 0.0001)

Largest lack: illness as glint, seen 1.7 %, expected 6.0 % (z = -4.2, of 4
sums). 2 of 900 looks at mood can't be by the model: life 1 on day 1 00:01:40,
life 1 on day 2 01:00:00.

"""
PET = """\
# Fitted by petsim {version} to 6.0 days of 1 life, logged in by-hand.log. The guess was lamplet.
# Estimated from the logs, with 95 % intervals:
#   stages.infant.drops.hunger            8.2 min (4.7 to 14.5)      weak
#   stages.juvenile.drops.hunger         21.6 min (20.5 to 22.8)
#   stages.juvenile.drops.hunger, shape   6.2 (4.3 to 9.0)
#   stages.juvenile.sleeps[0].from       21:00 (20:55 to 21:04)
#   care.play.works                      69.1 % (63.3 to 74.3)
#   needs.hunger.starts                   3 (exactly)
#   stages.infant.illness.base            0.26 a day (0.06 to 1.08)  weak
# All else is as guessed, 6 parameters of it as the logs can't tell them; petsim fit says why, and
# what to record.
petsim: model 1
"""


@pytest.fixture(scope="module")
def real():
    """A fit to two days of a simulated life."""
    model = petsim.load_model(LAMPLET)
    regime = petsim.load_regime(RIG, model)
    return petsim.fit(petsim.simulate(model, regime, seed=11, days=2), model, regime)


# Figures


@pytest.mark.parametrize(
    ("estimate", "guess", "said"),
    [
        (told("forms.spark.lasts", "mean", 4.2, 5, 6.1, guess=6), "6 s", "5.00 s (4.20 to 6.10)"),
        (told("a.drops.b", "mean", 283, 495, 868, guess=420), "7 min", "8.2 min (4.7 to 14.5)"),
        (told("a.drops.b", "mean", 30000, 36000, 48000, guess=39600), "11 h",
         "10.0 h (8.3 to 13.3)"),
        (told("outages.up", "mean", 2e5, 3e5, 9e5, guess=108000), "1.25 days",
         "3.5 days (2.3 to 10.4)"),
        (told("a.waste.every", "shape", 2.3, 3.94, 6.8, guess=4.911), "4.91", "3.9 (2.3 to 6.8)"),
        (told("eyes.ill.imagines", "chance", 0.0032, 0.0078, 0.0188, guess=0.01), "1 %",
         "0.78 % (0.32 to 1.88)"),
        (told("a.illness.base", "rate", 0.12, 0.52, 2.2, guess=0.2), "0.2 a day",
         "0.5 a day (0.1 to 2.2)"),
        (told("a.sleeps[0].to", "value", 86100, 86400, 86700), "", "00:00 (23:55 to 00:05)"),
        (told("needs.mood.full", "value", 5, 6, 7, guess=4), "4", "6 (5 to 7)"),
        (told("discipline.step", "value", 4, 4, 4, guess=5), "5", "4 (exactly)"),
    ],
)  # fmt: skip
def test_figures_have_few_digits_their_unit_and_their_interval(estimate, guess, said):
    words = in_words(estimate)
    assert (words.guess, str(words)) == (guess, said)


def test_every_law_rate_and_chance_of_a_fit_has_words(real):
    paths = [each.path for each in real.estimates if each.of in ("mean", "rate", "chance")]
    hidden = ("illness.per waste", "illness.per excess")
    assert len(paths) > 20
    assert not [path for path in paths if not named(path).what and not path.endswith(hidden)]


# Text


def test_the_text_says_the_answer_first_and_then_everything():
    text = fitted.fit(usual(), 80)
    priors = text.index("Priors, weak:")
    assert text[:priors] == TEXT
    assert text[priors:].replace("\n", " ") == fitted.priors()
    assert str(usual()) == text
    assert repr(usual()) == "<fit: lamplet under camera-rig, 6.0 days logged>"


@pytest.mark.parametrize("width", [44, 60, 80, 120])
def test_no_line_is_wider_than_the_terminal(width, real):
    for fit in (usual(), real):
        assert max(map(len, fitted.fit(fit, width).split("\n"))) <= width


def test_where_a_table_is_too_wide_each_parameter_has_its_line():
    lines = fitted.fit(usual(), 60).split("\n")
    assert "Values of the pet, with 95 % intervals:" in lines
    at = lines.index("  shape of stages.juvenile.drops.hunger: 6.2 (4.3 to 9.0),")
    assert lines[at + 1] == "    guess 5.56: well"


MEANS = {
    "hunger": "stages.juvenile.drops.hunger",
    "waste": "stages.infant.waste.every",
    "illness": "stages.infant.illness.base",
    "power": "outages.up",
    "forms": "forms.spark.lasts",
}


def fit_with(**verdicts):
    """A fit to three lives in which these means have these verdicts."""
    estimates = [
        untold(MEANS[name], "mean")
        if verdict == "refused"
        else told(MEANS[name], "mean", 1, 2, 3, verdict)
        for name, verdict in verdicts.items()
    ]
    return fit_of(*estimates, days=(1, 2, 0.25))


@pytest.mark.parametrize(
    ("verdicts", "said"),
    [
        ({"hunger": "well"}, "fix hunger. All that was asked is told."),
        (
            {"hunger": "well", "waste": "well", "forms": "well", "power": "refused"},
            "fix hunger, waste and how long forms last. 1 parameter stays as guessed, power cuts "
            "among them.",
        ),
        (
            {"hunger": "weak", "illness": "refused", "power": "refused"},
            "say little of hunger. 2 parameters stay as guessed, illness and power cuts among "
            "them.",
        ),
        (
            {"hunger": "refused", "power": "refused"},
            "fix nothing of the pet's pace. 2 parameters stay as guessed, hunger and power cuts "
            "among them.",
        ),
    ],
)
def test_the_answer_names_what_is_told_what_is_weak_and_what_is_guessed(verdicts, said):
    assert fitted.gist(fit_with(**verdicts)) == f"3.2 days of 3 lives {said}"


def test_a_need_is_fixed_if_it_is_in_one_stage():
    other = told("stages.infant.drops.hunger", "mean", 1, 5, 25, "weak")
    fit = fit_of(other, told(MEANS["hunger"], "mean", 9, 10, 11))
    assert fitted.gist(fit) == "6.0 days of 1 life fix hunger. All that was asked is told."


def test_what_has_one_reason_and_remedy_is_told_together():
    stages, actions = ("infant", "juvenile", "adolescent"), ("feed", "play", "clean")
    piles = [f"stages.{stage}.waste.pile max" for stage in stages]
    fit = fit_of(
        *(untold(path, why=f"the most seen is {n}", record="look") for n, path in enumerate(piles)),
        *(untold(f"care.{each}.weight", why="no change", record="") for each in actions),
        untold("stages.infant.grace.hunger"),
        untold("stages.infant.grace.mood", record="a test pet"),
    )
    assert [each.row for each in fitted.untold(fit)] == [
        (
            "pile max of 3 parts",
            "the most seen is 0 (so stages.infant.waste.pile max, and the others likewise). "
            "Remedy: look",
        ),
        ("care weight of 3 parts", "no change"),
        ("stages.infant.grace.hunger", f"{HIDDEN}. Remedy: {WORD}"),
        ("stages.infant.grace.mood", f"{HIDDEN}. Remedy: a test pet"),
    ]


@pytest.mark.parametrize(
    ("p", "said"),
    [
        (0.5, "predicted well (p = 0.50)"),
        (0.01, "predicted well (p = 0.01)"),
        (0.0099, "predicted badly (p = 0.0099)"),
    ],
)
def test_a_chain_predicts_badly_only_if_chance_hardly_does_so(p, said):
    fit = fit_of(chains=[chain("mood", p, ("glint", 10, 4.0, 4.2, -1.0))])
    assert fitted.predictions(fit) == [("mood", said)]
    assert fitted.oddities(fit) == (
        "Largest lack: mood as glint, seen 4.00, expected 4.20 (z = -1.0, of 1 sums)."
    )


def test_of_many_looks_that_cannot_be_the_first_are_told():
    times = [(life, 3600.0 * life) for life in range(5)]
    fit = fit_of(chains=[chain("mood", 1.0, impossible=times)], days=(1,) * 5)
    assert fitted.oddities(fit) == (
        "5 of 900 looks at mood can't be by the model: life 1 on day 1 00:00:00, life 2 on day 1 "
        "01:00:00, life 3 on day 1 02:00:00, …."
    )


def test_every_prior_is_told():
    assert {*fitted.PRIOR_OF} == {*PRIORS}
    assert all(what in fitted.priors() for what in fitted.PRIOR_OF.values())
    error = 100 / (1 + math.exp(-PRIORS["error"][0]))
    assert f"chances of an error around {error:.2g} %, SD 1.5 of the logit;" in fitted.priors()


# Files


def test_the_files_say_what_they_were_fitted_to_and_what_was_told():
    assert written_fit.model_file(usual()).startswith(PET.format(version=petsim.__version__))
    head = written_fit.regime_file(usual()).split("\n")
    assert head[2:5] == [
        "#   eyes.hunger.misreads  6.7 % (4.7 to 9.4)",
        "#   outages.up            2.0 days (0.5 to 4.6)  weak",
        "# All else is as guessed, 2 parameters of it as the logs can't tell them; petsim fit says "
        "why, and",
    ]


def test_the_files_of_a_fit_load_and_are_compared(real, tmp_path):
    pet, rig = tmp_path / "mypet.yaml", tmp_path / "myrig.yaml"
    pet.write_text(written_fit.model_file(real), "utf-8")
    rig.write_text(written_fit.regime_file(real), "utf-8")
    assert (kind(pet), kind(rig)) == ("model", "regime")
    model = petsim.load_model(pet)
    [hunger] = [e for e in real.estimates if (e.path, e.of) == (MEANS["hunger"], "mean")]
    law = model.stages["juvenile"].drops["hunger"]
    # a Weibull law of the mean and the shape that were fitted, each to three digits
    assert law.kind == "weibull"
    shape, scale = law.parameters
    assert scale * math.gamma(1 + 1 / shape) == pytest.approx(hunger.estimate, rel=0.01)
    result = petsim.compare(model, [str(rig), str(RIG)], lives=20, workers=1)
    assert len(result.batches) == 2


def test_the_name_of_a_log_can_write_nothing_into_a_file():
    fit = usual()
    named_so = replace(fit, lives=(replace(fit.lives[0], source="a\nb: c"),))
    text = written_fit.model_file(named_so)
    remarks = text[: text.index("petsim: model 1")].splitlines()
    assert all(line.startswith("# ") for line in remarks)
    assert not re.search(r"^b: c", text, re.MULTILINE)


# The page


def test_the_page_of_a_fit_has_all_of_it(real, tmp_path):
    made = report.of(real)
    assert made.question == "What do the logs tell of lamplet?"
    assert made.answer == fitted.gist(real)
    assert [section.question for section in made.sections] == [
        "What is told, and how surely?",
        "How long do the pet's waits last?",
        "What is weak?",
        "What can't be told?",
        "How well does the fit predict?",
        "What was seen, and what was expected?",
    ]
    assert len(made.pictures) == 4
    rows = {row[0] for table in made.tables for row in table.rows}
    assert {fitted.key_of(each) for each in real.estimates if each.estimate is not None} <= rows
    assert made.assumed[0] == fitted.priors()
    report.write(made, tmp_path / "fit.html")
    page = (tmp_path / "fit.html").read_text("utf-8")
    outline = Outline(page)
    assert len(outline.ids) == len(set(outline.ids))
    assert outline.headings == [1] + [2] * 9
    assert "stages.<wbr>juvenile.<wbr>drops.<wbr>hunger" in page


def test_a_page_of_a_fit_that_tells_nothing_says_so():
    made = report.of(fit_of(untold("stages.infant.grace.mood")))
    nothing = "No picture here: fit: tells no mean, rate or chance; expected one that does."
    assert made.left_out == [
        nothing,
        nothing,
        "No picture here: fit: tells of no wait how long it lasts; expected one that does.",
        "No picture here: fit: too little was seen to tell how well it predicts.",
    ]


def test_the_page_says_how_it_is_made_again():
    assert report.of(usual()).command == (
        f"petsim fit by-hand.log --model {LAMPLET} --regime {RIG} --report fit.html"
    )
