"""What a notebook and `print` show of files and results."""

import inspect
import re
from html.parser import HTMLParser

import pytest

import petsim
from petsim.life.drawn import Drawn
from petsim.spec.laws import distribution
from petsim.spec.parts import File
from petsim.spec.shown import Shown
from petsim.spec.study import load_study
from petsim.study.sweep import planned
from petsim.theory.verdicts import Outcome, TheoryCheck, Verdict
from petsim.view import comparison, html, show
from petsim.view.laws import chance, law

PEBBLET = {
    "petsim": "model 1",
    "name": "Pebblet",
    "about": "An invented stone.",
    "begins": "Tuesday 08:00",
    "outcome stage": "adult",
    "aim": "boulder",
    "needs": {"hunger": {"full": "3", "death": "starved"}, "mood": {"full": "4", "starts": "1"}},
    "weight": {"starts": "5"},
    "discipline": {"starts": "10", "step": "7", "lapse costs": "3", "unfair costs": {"mood": "1"}},
    "fatal misses": "50",
    "care": {
        "feed": {
            "raises": {"hunger": "1", "mood": "2"},
            "weight": "+2",
            "refused when": ["full", "asleep"],
        },
        "scold": {"reprimands": "yes", "works": "70%"},
        "lights_off": {"lights": "off"},
    },
    "stages": {
        "egg": {"dormant": "yes"},
        "young": {
            "drops": {"hunger": "exponential 50 min", "mood": "uniform 40 min to 80 min"},
            "grace": {"hunger": "30 min", "mood": "30 min"},
            "again after": {"hunger": "2 h", "mood": "2 h"},
            "fatal after": {"hunger": "1 day"},
            "sleeps": ["21:00 to 07:00"],
            "lights grace": "20 min",
            "misbehaviour": {"every": "weibull shape 1.5 scale 3 h", "window": "24 min"},
        },
        "adult": {},
    },
    "forms": {
        "chip": {"stage": "egg", "lasts": "5 min", "grows into": "grit"},
        "grit": {
            "stage": "young",
            "lasts": "uniform 20 h to 22 h",
            "grows into": [
                {"boulder": {"misses in form": "at most 3", "discipline": "at least 5"}},
                {"sand": "otherwise"},
            ],
        },
        "boulder": {"stage": "adult", "lasts": "1 day"},
        "sand": {"stage": "adult", "lasts": "1 day"},
    },
}
ROTA = {
    "petsim": "regime 1",
    "name": "Rota",
    "about": "An invented rota.",
    "checks": {
        "every": "30 min",
        "first": "10 min",
        "windows": [{"during": "23:00 to 07:00", "every": "never"}],
    },
    "listens": {"hears": "80%", "reacts in": "exponential 5 min"},
    "routine": [
        {"do": "scold", "repeat": "2"},
        {"when": {"asleep": "yes", "lights": "on"}, "do": "lights_off"},
        {
            "when": {"asleep": "no", "ill": "no", "hunger": "below 3", "stage": ["young", "adult"]},
            "do": "feed",
            "repeat": "until met",
        },
    ],
    "passes": "2",
    "eyes": {
        "lights": {"overlooks": "6%", "imagines": "2%"},
        "hunger": {"misreads": "5%"},
        "windows": [{"during": "12:00 to 14:00", "hunger": {"misreads": "0%"}}],
        "looks": {"of": "3", "agree": "2"},
    },
    "hands": {"opening": {"takes": "3 s", "presses": "1"}, "feed": {"presses": "3", "slips": "4%"}},
    "outages": {"up": "exponential 30 h", "down": "lognormal median 40 min sigma 1.0"},
    "quiet hours": ["22:30 to 07:00"],
}
IDLE = {"petsim": "regime 1", "name": "Idle"}
HOSTILE = "<script>alert(\"1\")</script> & 'x' \N{BULLET}"
NO_RESULTS = {"Clock", "Observation", "PetLeft", "Policy", "Problem", "State", "Steps"}
"""Public classes of what a policy is, is given, an error holds, or a life goes on from or leaves,
and of lives under way."""


class Page(HTMLParser):
    """A piece of HTML: whether each tag is closed where it must be, and what is in its tables."""

    VOID = ("br", "img")

    def __init__(self, text):
        super().__init__()
        self.open, self.tags, self.attributes, self.words = [], [], [], []
        self.tables, self.bold, self.captions = [], [], []
        self.feed(text)
        self.close()
        assert not self.open, f"left open: {self.open}"

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += attrs
        if tag in self.VOID:
            self._add("\n" if tag == "br" else "")
            return
        self.open.append(tag)
        if tag == "table":
            self.tables.append([])
        elif tag == "tr":
            self.tables[-1].append([])
        elif tag in ("td", "th"):
            assert tag == "td" or ("scope", "row") in attrs or ("scope", "col") in attrs
            self.tables[-1][-1].append("")

    def handle_endtag(self, tag):
        assert self.open.pop() == tag, f"</{tag}>"

    def handle_data(self, data):
        self._add(data.replace("\N{NO-BREAK SPACE}", " "))

    def _add(self, data):
        self.words.append(data)
        if "td" in self.open or "th" in self.open:
            self.tables[-1][-1][-1] += data
        if "strong" in self.open:
            self.bold.append(data)
        if "caption" in self.open:
            self.captions.append(data)

    @property
    def text(self):
        return "".join(self.words)


@pytest.fixture(scope="module")
def shown(tmp_path_factory):
    """One of each kind of what can be shown, by the name that it has here."""
    folder = tmp_path_factory.mktemp("shown")
    pet, rota, idle = petsim.load_model(PEBBLET), petsim.load_regime(ROTA), petsim.load_regime(IDLE)
    now = petsim.load_pet(
        {
            "petsim": "pet 1",
            "name": "Now",
            "model": PEBBLET,
            "at": "Wed 07:40",
            "form": pet.root,
            "for": "1 s",
            "levels": dict.fromkeys(pet.needs, 1),
            "misses in form": 0,
        }
    )
    others = [petsim.load_regime({**IDLE, "name": name}) for name in ("Idler", "Idlest")]
    vary = {"checks.every": "20 min..60 min/20 min"}
    evaluator = petsim.Evaluator([pet, pet], rota, weights=[3, 1], workers=1)
    two = petsim.compare(pet, [rota, idle], lives=40, workers=1)
    study = folder / "night.yaml"
    study.write_text("petsim: study 1\nname: Night\nregimes: [hourly]\nlives: 10\n", "utf-8")
    verdicts = [Verdict("checks every 600 s: P(miss)", 0.25, 0.2503, 0.001)]
    fit = petsim.fit(petsim.simulate(pet, rota, life=2), pet, rota)
    return {
        "model": pet,
        "pet": now,
        "pet with its model": petsim.load_model(now),
        "regime": rota,
        "study": load_study(study),
        "explanation": petsim.explain(pet, rota, lives=100, workers=1),
        "choice": petsim.choose(pet, rota, vary, lives=100, workers=1),
        "tolerances": petsim.tolerance(pet, rota, at_least=0.5, lives=100, workers=1),
        "expected": petsim.expect(pet, rota, lives=100),
        "expected day": petsim.expect_day(pet, rota, 2, lives=100),
        "held log": petsim.hold_log(petsim.simulate(pet, rota).log(), pet, rota, lives=100),
        "two regimes": two,
        "four regimes": petsim.compare(pet, [idle, rota, *others], lives=20, workers=1),
        "batch": two.batches[0],
        "life": petsim.simulate(pet, rota, life=2),
        "sweep": petsim.sweep(pet, [rota], vary, out=folder / "grid", lives=20, workers=1),
        "sensitivity": petsim.sensitivity(
            pet, rota, {"checks.every": "20 min..60 min", "eyes.lights.overlooks": "0%..20%"},
            points=4, lives=10, workers=1, out=folder / "unknown",
        ),
        "log": petsim.simulate(pet, rota, life=2).log(),
        "fit": fit,
        "life explained": petsim.explain_life(pet, rota, life=2),
        "doubt": petsim.doubt(fit, lives=10, draws=4, draws_of_parts=2),
        "trials": petsim.trials(3, 5, 0.74),
        "plan": petsim.tell_apart(0.5, 0.8),
        "plan of a sweep": planned(pet, [rota], vary, out=folder / "later", lives=5, workers=1),
        "evaluator": evaluator,
        "evaluation": evaluator.evaluate(lives=30),
        "one model": petsim.Evaluator(pet, rota, workers=1).evaluate(lives=30),
        "hours": two.batches[1].miss_hours().first(5),
        "reasons": two.batches[1].miss_reasons(5),
        "check": Outcome(TheoryCheck("false alarms", "closed form", iter), {"compiled": verdicts}),
    }  # fmt: skip


KINDS = (
    *(
        "model",
        "pet",
        "pet with its model",
        "regime",
        "study",
        "two regimes",
        "four regimes",
        "batch",
        "life",
        "sweep",
    ),
    *(
        "sensitivity",
        "log",
        "fit",
        "doubt",
        "trials",
        "plan",
        "plan of a sweep",
        "evaluator",
        "evaluation",
        "one model",
    ),
    *("hours", "reasons", "check", "life explained"),
    *("explanation", "choice", "tolerances", "expected", "expected day", "held log"),
)


def kinds(kind):
    """All classes below one."""
    for below in kind.__subclasses__():
        yield below
        yield from kinds(below)


def test_every_kind_is_among_those_that_are_tried_here(shown):
    assert set(shown) == set(KINDS)
    tried = {type(each) for each in shown.values()}
    ours = {kind for kind in kinds(Shown) if kind.__module__.startswith("petsim.")}
    assert ours - {File, Drawn} == tried


def test_every_public_result_is_shown_as_tables():
    public = {name: getattr(petsim, name) for name in dir(petsim) if not name.startswith("_")}
    classes = {
        name: each
        for name, each in public.items()
        if inspect.isclass(each)
        and each.__module__.startswith("petsim.")
        and not issubclass(each, Exception)
        and name not in NO_RESULTS
    }
    for each in public.values():
        if inspect.isfunction(each):
            annotated = each.__globals__.get(inspect.signature(each).return_annotation)
            if inspect.isclass(annotated) and annotated.__module__.startswith("petsim."):
                classes[annotated.__name__] = annotated
    for name in NO_RESULTS:
        classes.pop(name, None)
    assert {"Batch", "Comparison", "Life", "Model", "Regime", "Sweep", "Trials"} <= set(classes)
    assert not [name for name, each in classes.items() if not issubclass(each, Shown)]


@pytest.mark.parametrize("kind", KINDS)
def test_html_is_whole_and_needs_nothing_from_elsewhere(kind, shown):
    text = shown[kind]._repr_html_()
    page = Page(text)
    known = "p strong ul ol li table caption thead tbody tr th td br details summary pre"
    assert set(page.tags) <= set(known.split())
    assert {name for name, _ in page.attributes} <= {"style", "scope"}
    assert page.text.strip()
    for rows in page.tables:
        assert len({len(row) for row in rows}) == 1, rows
        assert len(rows) > 1
    # no colours of our own, which would be right on light or on dark paper only
    assert not [
        value for name, value in page.attributes if "color" in value or "background" in value
    ]
    assert "nan" not in re.findall(r"\w+", page.text)


@pytest.mark.parametrize("kind", KINDS)
def test_the_plain_representation_is_a_line(kind, shown):
    line = repr(shown[kind])
    assert re.fullmatch(r"<[^\n]+>", line)
    assert len(line) < 200


@pytest.mark.parametrize("kind", KINDS)
def test_print_writes_what_the_terminal_shows(kind, shown):
    text = str(shown[kind])
    assert not text.startswith("<")
    assert max(map(len, text.splitlines())) <= (80 if kind not in ("model", "regime") else 140)


def test_the_lines_of_files(shown):
    assert repr(shown["model"]) == "<model pebblet: 4 forms, aim boulder>"
    line = "<regime rota: checks every 30 min, by the clock, on calls; 3 steps>"
    assert repr(shown["regime"]) == line
    assert repr(petsim.load_regime(IDLE)) == "<regime idle: no checks; 0 steps>"
    assert repr(shown["study"]) == "<study night: hourly; varies nothing>"


def test_print_of_a_comparison_and_a_file_is_their_text(shown):
    assert str(shown["two regimes"]) == comparison.comparison(shown["two regimes"], 80)
    assert str(shown["model"]) == show.show(shown["model"])


def test_files_of_one_line_are_told_apart_by_what_they_say():
    # an evaluator would else give the lives of one for the other's
    eyes = petsim.load_regime({**ROTA, "eyes": {"lights": {"overlooks": "7%"}}})
    assert repr(eyes) == repr(petsim.load_regime(ROTA))
    assert eyes.content != petsim.load_regime(ROTA).content
    assert petsim.load_regime(ROTA).content == petsim.load_regime(ROTA).content
    heavier = petsim.load_model({**PEBBLET, "weight": {"starts": "6"}})
    assert repr(heavier) == repr(petsim.load_model(PEBBLET))
    assert heavier.content != petsim.load_model(PEBBLET).content


# Files


def test_a_model_is_shown_by_its_growth(shown):
    page = Page(shown["model"]._repr_html_())
    growth = page.tables[0]
    assert growth == [
        ["form", "stage", "begins, after birth", "lasts", "grows into, by the first that holds"],
        ["chip", "egg", "birth", "5 min", "grit"],
        ["grit", "young", "5 min", "20 h to 22 h",
         "boulder (the aim): misses in form at most 3, discipline at least 5\nsand: otherwise"],
        ["boulder (the aim)", "adult", "20 h 5 min to 22 h 5 min", "1 day",
         "nothing: it dies of old age"],
        ["sand", "adult", "20 h 5 min to 22 h 5 min", "1 day", "nothing: it dies of old age"],
    ]  # fmt: skip
    assert "Pebblet: An invented stone." in page.bold
    assert "boulder (the aim)" in page.bold
    assert "sand" not in page.bold
    assert "born on Tuesday at 08:00 as chip" in page.text


def test_a_model_is_shown_by_what_its_stages_bring(shown):
    head, egg, young, adult = Page(shown["model"]._repr_html_()).tables[1]
    # waste and illness, which it does not have, have no column
    assert head == ["stage", "a level drops by 1 every", "a care miss after", "death after",
                    "sleeps", "misbehaves every"]  # fmt: skip
    assert egg == ["egg", "nothing happens", "", "", "", ""]
    assert adult == ["adult", "", "", "", "", ""]
    assert young == [
        "young",
        "hunger: 50 min on average\nmood: 40 min to 80 min",
        "hunger or mood empty: 30 min, again 2 h later\nasleep with the lights on: 20 min",
        "hunger empty: 1 day",
        "21:00 to 07:00",
        "about 141 min (half the time less)\nfor 24 min each",
    ]


def test_a_model_is_shown_by_its_care_and_its_beginnings(shown):
    page = Page(shown["model"]._repr_html_())
    assert page.tables[2][1:] == [
        ["feed", "hunger +1, mood +2, weight +2", "100 %", "asleep, full"],
        ["scold", "reprimands", "70 %", "never"],
        ["lights_off", "puts the lights off", "100 %", "never"],
    ]
    for note in (
        "hunger goes from 0 to 3, and is 3 at birth; death of it is called starved",
        "mood goes from 0 to 4, and is 1 at birth",
        "weight is 5 at birth",
        "discipline is 10 of 100 at birth; a reprimand in time adds 7, a misbehaviour without one "
        "takes 3; an unfair one takes 1 of mood",
        "the care miss number 50 is fatal",
    ):
        assert f"\n{note}\n" in page.text


def test_waste_and_illness_of_a_stage():
    young = {
        **PEBBLET["stages"]["young"],
        "waste": {"every": "2 h", "pile max": "3", "grace": "45 min", "again after": "1 h"},
        "illness": {"base": "0.2 per day", "per waste": "0.3 per day", "per excess": "0.1 per day",
                    "heavy above": "20", "doses": {"1": "60%", "2": "40%"}, "grace": "75 min",
                    "fatal after": "16 h"},
    }  # fmt: skip
    pet = {**PEBBLET, "stages": {**PEBBLET["stages"], "young": young}}
    head, _, row, _ = Page(petsim.load_model(pet)._repr_html_()).tables[1]
    cells = dict(zip(head, row, strict=True))
    assert cells["waste every"] == "2 h\na pile of 3 at most"
    assert cells["illnesses a day, and their cure"] == (
        "0.2\n+0.3 for each waste\n+0.1 for each weight above 20\n"
        "cured by 1 dose in 60 %, 2 doses in 40 %"
    )
    assert "waste: 45 min, again 1 h later\nill: 75 min" in cells["a care miss after"]
    assert cells["death after"] == "hunger empty: 1 day\nill: 16 h"


def test_forms_that_differ_from_their_stage_are_named():
    forms = {**PEBBLET["forms"], "sand": {**PEBBLET["forms"]["sand"], "weight min": "3"}}
    text = Page(petsim.load_model({**PEBBLET, "forms": forms})._repr_html_()).text
    assert "what their stages bring is changed by these forms: sand" in text
    assert "changed by these forms" not in Page(petsim.load_model(PEBBLET)._repr_html_()).text


def test_a_regime_is_shown_as_a_routine(shown):
    page = Page(shown["regime"]._repr_html_())
    lines = page.text.splitlines()
    assert lines[0] == "Rota: An invented rota."
    for line in (
        "from 23:00 to 07:00: no checks at set times",
        "otherwise a check every 30 min",
        "the intervals are counted from 10 min after birth",
        "it hears 80 % of the pet's calls, and comes after 5 min on average",
        "A check goes through these steps, and again as long as something was done, 2 times at "
        "most:",
        "scold, 2 times, without looking",
        "if it looks asleep and the lights look on: lights_off",
        "if it looks well and it looks awake and hunger is below 3 and its stage is young or "
        "adult: feed, and again while that is so, 20 times at most",
        "it looks 3 times for each observation: 2 must show a signal for it to be believed, and "
        "of levels it takes the middle one",
        "any other action takes no time and one press, and never slips",
        "the power lasts for 30 h on average, and is then out for about 40 min (half the time "
        "less)",
        "presses are counted apart in quiet hours, 22:30 to 07:00",
    ):
        assert line in lines
    assert page.tables == [
        [
            ["signal", "overlooks what is there", "imagines what is not", "reads a level one off"],
            ["lights", "6 %", "2 %", ""],
            ["hunger", "", "", "5 %"],
            ["hunger, 12:00 to 14:00", "", "", "0 %"],
        ],
        [
            ["action", "takes", "presses", "chance to slip"],
            ["opening a check", "3 s", "1", ""],
            ["feed", "0 s", "3", "4 %"],
        ],
    ]


def test_a_regime_of_nothing(shown):
    lines = Page(petsim.load_regime(IDLE)._repr_html_()).text.splitlines()
    assert [line for line in lines if line] == [
        "Idle", "no checks at set times", "A check does nothing.", "its eyes never err",
        "the power never fails",
    ]  # fmt: skip


CLOCKWORK = {
    **IDLE,
    "checks": {
        "at": ["07:15", "12:30 on weekdays"],
        "late": "exponential 6 min",
        "forgets": "10%",
        "windows": [
            {"during": "12:00 to 13:00 on Fri", "every": "never"},
            {"during": "18:00 to 22:00", "forgets": "25%"},
        ],
    },
    "routine": [
        {"look": ["calling", "discipline"]},
        {"when": {"discipline": "below 100", "calling": "yes"}, "do": "scold"},
        {"when": {"asleep": "no"}, "look": ["hunger"]},
    ],
    "eyes": {
        "waste": {"overlooks": "6%"},
        "spells": {
            "clear": "exponential 4 h",
            "lasts": "20 min",
            "during": "10:00 to 16:00",
            "waste": {"overlooks": "60%"},
            "lights": {"imagines": "0%"},
            "hunger": {"misreads": "40%"},
        },
        "looks": {"of": "3", "agree": "2"},
    },
    "hands": {
        "feed": {"slips": "3%", "into": {"play": "40%", "clean": "10%", "scold": "0%"}},
        "scold": {"slips": "3%", "into": {"feed": "100%"}},
        "clean": {"slips": "1%"},
    },
}


def test_what_rigs_and_people_add_in_words():
    care = petsim.load_regime(CLOCKWORK)
    assert repr(care) == "<regime idle: checks at clock times, by the clock; 3 steps>"
    page = Page(care._repr_html_())
    assert [line for line in page.text.splitlines() if line][1:10] == [
        "from 12:00 to 13:00 on Fri: no checks at set times",
        "otherwise a check at 07:15, 12:30 on weekdays",
        "a check comes late, by 6 min on average; if the next is due first, it is given up",
        "from 18:00 to 22:00: 25 % of the checks are forgotten",
        "otherwise 10 % of the checks are forgotten",
        "A check goes through these steps:",
        "look at calling, discipline, and do nothing",
        "if it calls and its discipline is below 100: scold",
        "if it looks awake: look at hunger, and do nothing",
    ]
    for line in (
        "the light is good for 4 h on average, and then bad for 20 min, which matters from 10:00 "
        "to 16:00",
        "in bad light all looks of an observation err together, with the chances given",
    ):
        assert line in page.text.splitlines()
    assert page.tables == [
        [
            ["signal", "overlooks what is there", "imagines what is not", "reads a level one off"],
            ["waste", "6 %", "", ""],
            ["waste, in bad light", "60 %", "", ""],
            ["lights, in bad light", "", "0 %", ""],
            ["hunger, in bad light", "", "", "40 %"],
        ],
        [
            ["action", "takes", "presses", "chance to slip", "what lands instead"],
            ["feed", "0 s", "1", "3 %", "play 40 %, clean 10 %, else nothing"],
            ["scold", "0 s", "1", "3 %", "feed 100 %"],
            ["clean", "0 s", "1", "1 %", ""],
        ],
    ]


def test_forgetting_alone_leaves_the_intervals_as_they_are():
    windows = [{"during": "18:00 to 22:00", "forgets": "25%"}]
    care = petsim.load_regime({**IDLE, "checks": {"every": "10 min", "windows": windows}})
    assert repr(care) == "<regime idle: checks every 10 min; 0 steps>"
    assert [line for line in Page(care._repr_html_()).text.splitlines() if line][1:5] == [
        "a check every 10 min",
        "the first check comes at a random time, before one interval is over",
        "from 18:00 to 22:00: 25 % of the checks are forgotten",
        "otherwise 0 % of the checks are forgotten",
    ]


@pytest.mark.parametrize(
    ("when", "words"),
    [
        ({"ill": "yes", "calling": "no"}, "it looks ill and it does not call"),
        ({"asleep": "no", "lights": "off"}, "it looks awake and the lights look off"),
        ({"waste": "at least 2", "calling": "yes"}, "it calls and the pile of waste is at least 2"),
        (
            {"weight": "above 9", "stage": "not egg"},
            "its weight is above 9 and its stage is not egg",
        ),
        ({"form": ["grit", "sand"]}, "its form is grit or sand"),
        ({"clock": "09:00 to 21:00 on weekdays"}, "the time is 09:00 to 21:00 on weekdays"),
    ],
)
def test_conditions_in_words(when, words):
    care = petsim.load_regime({**IDLE, "routine": [{"when": when, "do": "feed"}]})
    assert f"if {words}: feed\n" in Page(care._repr_html_()).text


def test_intervals_by_stage_and_a_random_first_check():
    checks = {"every": "10 min", "by stage": {"egg": "never", "young": "5 min"}}
    text = Page(petsim.load_regime({**IDLE, "checks": checks})._repr_html_()).text
    assert "as egg: no checks at set times\nas young: a check every 5 min\n" in text
    assert "otherwise a check every 10 min\nthe first check comes at a random time" in text
    late = {"every": "10 min", "first": "0 s", "jitter": "2 min"}
    text = Page(petsim.load_regime({**IDLE, "checks": late})._repr_html_()).text
    assert "the intervals are counted from birth\na check comes up to 2 min late\n" in text


@pytest.mark.parametrize(
    ("written", "words"),
    [
        ("5 min", "5 min"),
        ("uniform 80 min to 100 min", "80 min to 100 min"),
        ("triangular 5 days to 7 days around 6 days", "5 days to 7 days, around 6 days"),
        ("exponential 24 min", "24 min on average"),
        # the median of a Weibull distribution is scale (ln 2)^(1/shape), which is 2.35 h here
        ("weibull shape 1.5 scale 3 h", "about 141 min (half the time less)"),
        ("lognormal median 40 min sigma 1.0", "about 40 min (half the time less)"),
        ("lognormal median 9 days sigma 1.0", "about 9 days (half the time less)"),
        ("lognormal median 0.2 s sigma 1.0", "about 1 s (half the time less)"),
    ],
)
def test_distributions_in_words(written, words):
    assert law(distribution(written)) == words


def test_chances_in_words():
    assert [chance(x) for x in (0, 0.025, 1)] == ["0 %", "2.5 %", "100 %"]


# Results


def test_a_comparison_answers_first_and_marks_the_aim(shown):
    result = shown["two regimes"]
    page = Page(result._repr_html_())
    assert page.text.startswith(comparison.gist(result))
    assert comparison.gist(result) in page.bold
    odds = page.tables[0]
    assert odds[0] == ["", "rota", "idle"]
    assert odds[1][0] == "boulder (the aim)"
    assert set(odds[1]) <= set(page.bold)
    assert odds[2][0] == "sand"
    assert "sand" not in page.bold
    titles = [*comparison.sections(result), comparison.differences_title(result)]
    assert sorted(page.captions) == sorted(titles)
    assert comparison.methods(result) in page.text


def test_many_regimes_are_rows_the_likeliest_first(shown):
    result = shown["four regimes"]
    head, *rows = Page(result._repr_html_()).tables[0]
    assert head[:2] == ["regime", "boulder (the aim)"]
    odds = {batch.regime: batch.share("boulder").estimate for batch in result.batches}
    # the first given is not the likeliest
    assert rows[0][0] == "rota" != result.batches[0].regime
    assert [odds[row[0]] for row in rows] == sorted(odds.values(), reverse=True)
    assert rows[0][1] in Page(result._repr_html_()).bold


def test_too_few_lives_for_a_precision_are_said():
    result = petsim.compare(PEBBLET, [ROTA], lives=1000, precision=0.0001, workers=1)
    assert comparison.too_few(result, result.precision) in Page(result._repr_html_()).text


def test_a_batch_is_shown_as_a_comparison_of_one(shown):
    result = petsim.compare(PEBBLET, [ROTA], lives=40, workers=1)
    assert shown["batch"]._repr_html_() == result._repr_html_()
    assert str(shown["batch"]) == str(result)


def test_a_life_is_told_by_its_growth_and_care_misses(shown):
    life = shown["life"]
    page = Page(life._repr_html_())
    head, *rows = page.tables[0]
    assert head == ["day", "time", "what happened"]
    assert rows[0] == ["Day 1, Tuesday", "08:00", "begins as chip (egg)"]
    assert rows[1] == ["", "08:05", "grows into grit (young)"]
    misses = [row for row in rows if row[2].startswith("CARE MISS")]
    assert len(misses) == life.summary["misses"] > 0
    assert "\n" in misses[0][2]
    assert f"presses: {life.summary['presses']}, of them" in page.text


def test_a_life_that_became_the_aim_says_so():
    lives = (petsim.simulate(PEBBLET, ROTA, life=number) for number in range(50))
    life = next(life for life in lives if life.summary["outcome"] == "boulder")
    assert "forms: chip, grit, boulder (the aim)" in Page(life._repr_html_()).bold
    dead = petsim.simulate(PEBBLET, ROTA, life=0, until="death")
    assert f"at the end: dead, {dead.summary['died']}" in Page(dead._repr_html_()).text


def test_a_sweep_shows_its_cells_and_how_many_of_them(shown, monkeypatch):
    page = Page(shown["sweep"]._repr_html_())
    assert len(page.tables[0]) == 1 + 3
    assert "likeliest first" not in page.text
    monkeypatch.setattr("petsim.view.sweep.MOST_ROWS", 2)
    page = Page(shown["sweep"]._repr_html_())
    assert len(page.tables[0]) == 1 + 2
    assert page.captions[0].startswith("2 of 3 cells, likeliest first.")


def test_a_sensitivity_shows_what_matters(shown):
    page = Page(shown["sensitivity"]._repr_html_())
    assert page.tables[0][1][0] in ("checks.every", "eyes.lights.overlooks")


def test_a_plan_of_trials_answers_first(shown):
    page = Page(shown["plan"]._repr_html_())
    (_, one, two) = page.tables[0]
    assert page.bold[0] == (
        f"To tell odds of 50 % from 80 % takes {one[1]} pets under one routine, or {two[1]} pets "
        "under each of two routines."
    )


def test_answers_of_an_evaluator(shown):
    lives = shown["one model"]
    share = lives.shares()[0]
    said = f"{100 * share.estimate:.1f} %"
    assert f"Of 30 lives of pebblet under rota, {said}" in Page(lives._repr_html_()).bold[0]
    page = Page(shown["evaluation"]._repr_html_())
    assert page.bold[0].startswith("Over 2 models, the odds of boulder under rota are ")
    assert page.tables[0][0] == ["model", "weight", "odds under it"]
    assert [row[1] for row in page.tables[0][1:]] == ["75 %", "25 %"]
    assert repr(lives).startswith(f"<30 lives of pebblet under rota: boulder {share.estimate:.1%}")


def test_a_check_of_theory_is_shown_with_its_figures(shown):
    page = Page(shown["check"]._repr_html_())
    assert page.captions == ["checks every 600 s"]
    assert page.tables[0][1] == ["P(miss)", "0.2500", "0.2503", "± 0.0010", "holds"]
    assert repr(shown["check"]) == "<check of false alarms, 1 figure on compiled: holds>"


# Names that mean harm


def test_names_do_nothing(tmp_path):
    pet = {**PEBBLET, "name": HOSTILE, "about": f"{HOSTILE} \x1b[31m"}
    path = tmp_path / "<b onload=x>&amp;.yaml"
    path.write_text(f"petsim: regime 1\nname: '{HOSTILE.replace(chr(39), chr(34))}'\n", "utf-8")
    result = petsim.compare(pet, [path, ROTA], lives=3, workers=1)
    for each in (result, result.model, result.batches[0].caretaker.regime, result.batches[0]):
        text = each._repr_html_()
        page = Page(text)
        assert {"script", "b"}.isdisjoint(page.tags)
        assert "\x1b" not in text + str(each) + repr(each)
        assert "\n" not in repr(each)
    assert HOSTILE in Page(result.model._repr_html_()).text
    assert "<b onload=x>&amp;" in Page(result._repr_html_()).text


def test_the_parts_of_a_page_escape_what_they_hold():
    made = html.joined(
        *(part(HOSTILE) for part in (html.answer, html.paragraph)),
        html.listing([HOSTILE]),
        html.folded(HOSTILE, html.paragraph(HOSTILE)),
        html.table(HOSTILE, [HOSTILE, HOSTILE], [[HOSTILE, [HOSTILE, HOSTILE]]]),
    )
    page = Page(str(made))
    assert "script" not in page.tags
    assert page.text.count(HOSTILE) == 11


def test_no_figure_in_a_cell_is_broken():
    cells = ["12.0 % (7.0 to 19.8)", "0 % (at most 3.7)", "1.10 ± 0.21", "a b, c d"]
    text = str(html.table("x", ["", *"abcd"], [["boulder (the aim)", *cells]]))
    kept = [re.sub(r"<.*?>", "", cell) for cell in re.findall(r"<td.*?</td>", text)]
    assert [len(cell.split(" ")) for cell in kept] == [2, 2, 1, 4]
    # and the mark of the aim, unbroken, is one all the same
    assert Page(text).bold == ["boulder (the aim)", *cells]


def test_parts_without_content_are_left_out():
    nothing = (html.paragraph(""), html.listing([]), html.table("x", ["a"], []), html.folded("x"))
    assert str(html.joined(*nothing)) == ""
    assert html.paragraph("<") == "<p>&lt;</p>"


def test_a_column_with_nothing_in_it_is_left_out_but_never_the_first():
    [rows] = Page(str(html.table("x", ["", "a", "b"], [["", "", "1"], ["", "", ""]]))).tables
    assert rows == [["", "b"], ["", "1"], ["", ""]]
