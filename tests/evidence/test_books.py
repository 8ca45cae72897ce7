"""Weight and discipline by their readings, from logs made by hand and from simulated lives."""

import pytest

from petsim import load_model, load_regime, simulate
from petsim.evidence.books import books_estimates
from petsim.evidence.places import places_of
from petsim.life.log.simulated import logged
from tests.evidence.logs import act, log, look, spans_of
from tests.life.worlds import care, fields, pet

YOUNG = fields(weight_min="12")
CARE = care(
    feed={"raises": {"hunger": 1}, "weight": "+3"},
    play={"raises": {"mood": 1}, "weight": "-4"},
)
MODEL = load_model(
    pet(
        YOUNG,
        care=CARE,
        weight={"starts": "20"},
        discipline=fields(starts="5", step="4", lapse_costs="2"),
    )
)


def told(*lives, model=MODEL):
    return {each.path: each for each in books_estimates(lives, spans_of(lives, model), model)}


def book(name, *entries, form="sprig"):
    """A log of readings (numbers) and actions (names, or with an outcome), a minute apart."""
    found = []
    for number, entry in enumerate(entries):
        t = 60 * number
        if isinstance(entry, int):
            found.append(look(t, form=form, **{name: entry}))
        else:
            action, outcome = entry if isinstance(entry, tuple) else (entry, "unknown")
            found.append(act(t, action, outcome))
    return log(*found)


class TestEffectOnWeight:
    def test_is_the_change_that_three_readings_agree_on(self):
        feed = told(book("weight", 30, "feed", 35, "feed", 40, "feed", 45))["care.feed.weight"]
        assert (feed.estimate, feed.low, feed.high, feed.verdict) == (5, 5, 5, "well")
        assert (feed.guess, feed.n, feed.of, feed.file) == (3, 3, "value", "model")

    def test_is_not_told_by_two_or_by_less_than_four_in_five(self):
        two = told(book("weight", 30, "feed", 35, "feed", 40))["care.feed.weight"]
        assert (two.verdict, two.estimate) == ("refused", None)
        assert two.why == "the changes seen are 5 (2 times)"
        assert two.record == "look at `weight` before and after each action"
        mixed = book("weight", 30, "feed", 35, "feed", 40, "feed", 45, "feed", 46)
        assert told(mixed)["care.feed.weight"].verdict == "refused"

    def test_is_not_hidden_by_presses_without_effect(self):
        play = book("weight", 60, "play", 60, "play", 56, "play", 52, "play", 52, "play", 48)
        assert told(play)["care.play.weight"].estimate == -4

    def test_leaves_out_what_was_seen_to_fail(self):
        play = book("weight", *[60, ("play", "lost")] * 20, 60, "play", 56, "play", 52, "play", 48)
        assert told(play)["care.play.weight"].n == 3

    def test_is_none_if_hardly_any_press_changed_it(self):
        clean = book("weight", *[30, "clean"] * 9, 35)
        assert told(clean)["care.clean.weight"].estimate == 0

    def test_is_not_told_where_two_that_may_change_it_were_pressed(self):
        both = told(book("weight", 30, "feed", "play", 29, "feed", "play", 28, "feed", "play", 27))
        assert both["care.feed.weight"].why == "no reading shows a change"
        beside = told(book("weight", 30, "feed", "clean", 33, "feed", "clean", 36, "feed", 39))
        assert beside["care.feed.weight"].estimate == 3
        # by the guess it changes nothing, so that the others did can't be told from that
        assert beside["care.clean.weight"].n == 0

    def test_is_not_told_by_weight_that_stops_at_the_least(self):
        stops = told(book("weight", *[14, "play", 12, "feed"] * 4, 14))
        assert stops["care.play.weight"].n == 0

    def test_is_not_told_across_a_growth_a_gap_or_a_cut(self):
        grown = log(
            *[look(60 * n, form="sprig", weight=30 + 3 * n) for n in range(2)],
            act(90, "feed"),
            look(120, form="tree", weight=90),
            act(180, "feed", "unfinished"),
            look(240, form="tree", weight=93),
        )
        assert told(grown)["care.feed.weight"].n == 0
        feeds = book("weight", 30, "feed", 33, "feed", 36, "feed", 39)
        assert told(feeds)["care.feed.weight"].n == 3
        lost = log(*feeds.entries, lost=((130.0, 140.0),))
        assert told(lost)["care.feed.weight"].n == 2

    def test_is_told_of_actions_that_were_pressed(self):
        assert "care.feed.weight" not in told(book("weight", 30, "clean", 30))


class TestLeastWeight:
    PATH = "stages.young.weight min"

    def test_is_seen_where_weight_stops_before_it_has_to(self):
        least = told(book("weight", *[17, "play", 15, "feed"] * 3, 15))[self.PATH]
        assert (least.estimate, least.guess, least.verdict) == (15, 12, "well")

    def test_is_at_most_what_was_seen(self):
        least = told(book("weight", 30, "play", 26, "play", 22))[self.PATH]
        assert (least.verdict, least.why) == ("refused", "the least weight seen is 22")
        assert least.record == "read `weight` while it is taken down until it goes no lower"

    def test_is_below_a_guess_that_was_contradicted(self):
        least = told(book("weight", 14, "play", 10))[self.PATH]
        assert (least.low, least.high, least.guess, least.verdict) == (0, 10, 12, "weak")

    def test_is_told_of_stages_that_were_lived(self):
        assert "stages.adult.weight min" not in told(book("weight", 14, "play", 10))
        assert told(book("hunger", 3))[self.PATH].why == "`weight` was not read"


class TestStarts:
    def test_is_the_first_reading_before_any_care(self):
        found = told(book("weight", 23, "feed", 26))
        assert (found["weight.starts"].estimate, found["weight.starts"].guess) == (23, 20)
        assert told(book("discipline", 7))["discipline.starts"].estimate == 7

    def test_is_refused_after_care_or_a_growth(self):
        late = told(book("weight", "feed", 23))["weight.starts"]
        assert late.record == "look at `weight` in the first check, before any care"
        assert late.verdict == "refused"
        grown = log(look(60, form="tree", weight=23))
        assert told(grown)["weight.starts"].verdict == "refused"

    def test_is_refused_after_lost_lines_in_which_there_may_have_been_care(self):
        missed = log(look(60, form="sprig", weight=23), lost=((20.0, 40.0),))
        assert told(missed)["weight.starts"].verdict == "refused"
        later = log(look(60, form="sprig", weight=23), lost=((70.0, 80.0),))
        assert told(later)["weight.starts"].estimate == 23

    def test_is_told_of_an_egg_whatever_is_pressed(self):
        egg = load_model(pet(YOUNG, egg="5 min", care=CARE, weight={"starts": "20"}))
        found = told(book("weight", "feed", 23, form="seed"), model=egg)
        assert found["weight.starts"].estimate == 23

    def test_may_be_less_where_weight_is_raised_to_the_least(self):
        starts = told(book("weight", 12))["weight.starts"]
        assert (starts.low, starts.estimate, starts.high, starts.verdict) == (0, 12, 12, "weak")

    def test_differs_between_lives(self):
        starts = told(book("weight", 23), book("weight", 24))["weight.starts"]
        assert starts.why == "the first readings differ: 23 (1 times), 24 (1 times)"

    def test_is_not_told_by_a_log_that_begins_later(self):
        assert (
            told(log(look(0, form="sprig", weight=23), is_born=False))["weight.starts"].verdict
            == "refused"
        )


class TestDiscipline:
    def test_goes_up_by_a_step_at_reprimands(self):
        up = book(
            "discipline", *[0, "reprimand", 0, "reprimand"], 6, "reprimand", 12, "reprimand", 18
        )
        assert told(up)["discipline.step"].estimate == 6
        capped = book("discipline", 90, "reprimand", 96, "reprimand", 100)
        assert told(capped)["discipline.step"].n == 1
        assert told(book("discipline", 0, "feed", 6))["discipline.step"].n == 0

    def test_goes_down_by_what_lapses_cost(self):
        down = book("discipline", 20, 17, "feed", 17, 14, "reprimand", 11, 11)
        assert told(down)["discipline.lapse costs"].estimate == 3
        assert told(book("discipline", 2, 0, 2, 0, 2, 0))["discipline.lapse costs"].n == 0

    def test_that_was_not_read_is_refused(self):
        found = told(book("weight", 23))
        for path in ("discipline.step", "discipline.lapse costs", "discipline.starts"):
            assert found[path].verdict == "refused"
            assert found[path].record.startswith("look at `discipline` in")


def test_simulated_logs_tell_the_truth():
    """Six lives, of which the guess knows no figure of weight or discipline."""
    readings = {"look": ["weight", "discipline"]}
    steps = [
        readings,
        {"when": {"calling": "yes"}, "do": "reprimand"},
        readings,
        {"when": {"hunger": "below 6"}, "do": "feed"},
        readings,
        {"when": {"mood": "below 6"}, "do": "play"},
        readings,
    ]
    rig = load_regime(
        {
            "petsim": "regime 1",
            "name": "A rig",
            "checks": {"every": "40 min", "first": "0 s"},
            "routine": steps,
            "hands": {action: {"slips": "3%"} for action in ("feed", "play", "reprimand")},
        }
    )
    truth = load_model("lamplet")
    lives = [logged(simulate(truth, rig, seed=2, life=number, days=5)) for number in range(6)]
    wrong = truth.model_dump(by_alias=True, mode="json")
    for action, weight in (("feed", "+1"), ("play", "-1")):
        wrong["care"][action]["weight"] = weight
    wrong["discipline"] |= {"starts": 30, "step": 9, "lapse costs": 9}
    found = told(*lives, model=load_model(wrong))
    expected = {
        "care.feed.weight": 3,
        "care.play.weight": -4,
        "care.reprimand.weight": 0,
        "discipline.step": 4,
        "discipline.lapse costs": 2,
        "discipline.starts": 0,
    }
    assert {path: found[path].estimate for path in expected} == expected
    # an egg is raised to 12
    assert (found["weight.starts"].low, found["weight.starts"].high) == (0, 12)


def test_a_place_is_of_the_stage_unless_the_form_has_its_own():
    file = pet(YOUNG)
    file["forms"]["tree"] |= fields(weight_min="40")
    assert places_of(load_model(file), "weight_min") == {
        "stages.young": ["sprig"],
        "forms.tree": ["tree"],
    }


@pytest.mark.parametrize("path", ["weight.starts", "discipline.starts"])
def test_a_log_without_readings_tells_nothing(path):
    assert told(log())[path].verdict == "refused"
