"""The sentence on what became of a life: the rule, the threshold, the misses, what most came of."""

import pytest

import petsim
from petsim.life.causes import Reason
from petsim.life.history import replay
from petsim.life.turning import turning
from petsim.view import outcome
from petsim.view.outcome import headline
from tests.life import worlds
from tests.life.worlds import fields

HUNGRY = fields(grace={"hunger": "20 s"}, again_after={"hunger": "40 s"})
"""Starts at 0, so there is a miss at 20, 60, 100 ... seconds, unless it is fed."""
LASTS = 130


def grove(rules, stage=None, *, lasts=LASTS, more=None, **model):
    """A pet whose sprig, hungry from birth, becomes one of several trees by some rules."""
    base = worlds.pet(
        stage or HUNGRY,
        lasts=f"{lasts} s",
        needs=worlds.needs(hunger_starts=0),
        aim="oak",
        **model,
    )
    trees = ("oak", "elm", "fern")
    forms = {"sprig": base["forms"]["sprig"] | {"grows into": rules}} | (more or {})
    grown = {tree: {"stage": "adult", "lasts": worlds.LONG} for tree in trees}
    reached = {name for rule in [*rules, *_rules_of(more or {})] for name in rule}
    return base | {"forms": forms | {tree: form for tree, form in grown.items() if tree in reached}}


def _rules_of(forms):
    return [rule for form in forms.values() for rule in form["grows into"]]


def became(rules, caretaker=None, stage=None, *, until="outcome", **more):
    return headline(worlds.live(grove(rules, stage, **more), caretaker, until))


def test_names_the_rule_the_threshold_the_misses_and_what_most_came_of() -> None:
    rules = [{"oak": {"misses in form": "at most 2"}}, {"elm": "otherwise"}]
    assert became(rules) == (
        "Life 0 became elm, not oak: 3 misses in sprig, at most 2 allowed; all of them with no "
        "check in time"
    )


def test_tells_misses_with_the_power_out_from_others() -> None:
    # the power is out from second 30 on, and the first check comes in second 35
    rig = worlds.regime(
        {"do": "feed"}, every=10, first="35 s", outages=fields(up="30 s", down="10 h")
    )
    rules = [{"oak": {"misses in form": "below 3"}}, {"elm": "otherwise"}]
    assert became(rules, rig) == (
        "Life 0 became elm, not oak: 3 misses in sprig, below 3 allowed; 2 of them with the power "
        "out"
    )


def test_a_single_miss_and_two_are_told_as_such() -> None:
    rules = [{"oak": {"misses in form": "exactly 0"}}, {"elm": "otherwise"}]
    assert became(rules, lasts=30).endswith(
        "1 miss in sprig, exactly 0 needed; with no check in time"
    )
    assert became(rules, lasts=70).endswith(
        "2 misses in sprig, exactly 0 needed; both with no check in time"
    )


def test_counts_only_misses_of_the_cause_that_the_rule_counts() -> None:
    waste = {"every": "fixed 30 s", "pile max": 1, "grace": "20 s"}
    rules = [{"oak": {"misses in form": {"waste": "at most 0"}}}, {"elm": "otherwise"}]
    assert became(rules, stage=HUNGRY | {"waste": waste}) == (
        "Life 0 became elm, not oak: 1 miss of waste in sprig, at most 0 allowed; with no check "
        "in time"
    )


def test_misses_in_life_are_those_of_all_forms() -> None:
    shoot = {"stage": "young", "lasts": "70 s", "grows into": [
        {"oak": {"misses in life": "at most 3"}}, {"elm": "otherwise"}]}  # fmt: skip
    sentence = became([{"shoot": "otherwise"}], more={"shoot": shoot})
    assert sentence == (
        "Life 0 became elm, not oak: 5 misses in life, at most 3 allowed; all of them with no "
        "check in time"
    )


def test_misses_in_a_form_are_those_of_that_form_alone() -> None:
    shoot = {"stage": "young", "lasts": "70 s", "grows into": [
        {"oak": {"misses in form": "at most 1"}}, {"elm": "otherwise"}]}  # fmt: skip
    assert "2 misses in shoot, at most 1 allowed; both" in became(
        [{"shoot": "otherwise"}], more={"shoot": shoot}
    )


def test_discipline_is_told_with_the_misbehaviours_that_nobody_reprimanded() -> None:
    stage = {"misbehaviour": {"every": "fixed 40 s", "window": "fixed 10 s"}}
    rules = [{"oak": {"discipline": "at least 80"}}, {"elm": "otherwise"}]
    discipline = fields(starts=50, step=5, lapse_costs=4)
    sentence = became(rules, stage=stage, discipline=discipline)
    # it begins at 40 and 90 s, and lapses at 50 and 100 s
    assert sentence == (
        "Life 0 became elm, not oak: discipline 42, at least 80 needed; 2 misbehaviours "
        "unreprimanded"
    )
    too_much = [{"oak": {"discipline": "at most 40"}}, {"elm": "otherwise"}]
    assert became(too_much, discipline=discipline).endswith("discipline 50, at most 40 allowed")


def test_weight_is_told_too() -> None:
    rules = [{"oak": {"weight": "above 9"}}, {"elm": "otherwise"}]
    assert became(rules, weight={"starts": 4}) == (
        "Life 0 became elm, not oak: weight 4, above 9 needed"
    )


def test_of_two_conditions_both_are_told_and_one_that_held_is_not() -> None:
    rules = [
        {
            "oak": {
                "misses in form": "at most 1",
                "discipline": "at least 10",
                "weight": "at most 9",
            }
        },
        {"elm": "otherwise"},
    ]
    assert became(rules, weight={"starts": 4}) == (
        "Life 0 became elm, not oak: 3 misses in sprig, at most 1 allowed; all of them with no "
        "check in time; and discipline 0, at least 10 needed"
    )


def test_of_two_rules_toward_the_aim_it_is_that_which_lacked_least() -> None:
    rules = [
        {"oak": {"misses in form": "at most 0", "discipline": "at least 10"}},
        {"oak": {"discipline": "at least 5"}},
        {"elm": "otherwise"},
    ]
    assert became(rules) == "Life 0 became elm, not oak: discipline 0, at least 5 needed"


def test_a_rule_that_leads_away_first_is_told_with_what_held() -> None:
    rules = [{"elm": {"misses in form": "at least 2"}}, {"oak": "otherwise"}]
    assert became(rules) == (
        "Life 0 became elm, not oak: it grew into elm by an earlier rule, with 3 misses in sprig, "
        "at least 2 needed"
    )


SHOOT = {
    "stage": "young",
    "lasts": "70 s",
    "grows into": [{"oak": {"misses in form": "at most 9"}}, {"elm": "otherwise"}],
}
WEED = {
    "stage": "young",
    "lasts": "70 s",
    "grows into": [{"elm": {"misses in form": "at most 9"}}, {"fern": "otherwise"}],
}
BRANCHES = [{"shoot": {"misses in form": "at most 2"}}, {"weed": "otherwise"}]


def test_a_branch_from_which_the_aim_is_out_of_reach_is_named() -> None:
    assert became(BRANCHES, more={"shoot": SHOOT, "weed": WEED}) == (
        "Life 0 became elm, not oak: it grew into weed, not shoot, with 3 misses in sprig, at most "
        "2 allowed; all of them with no check in time"
    )


def test_a_life_without_an_outcome_says_whether_the_aim_can_be_reached() -> None:
    both = {"shoot": SHOOT, "weed": WEED}
    assert became(BRANCHES, more=both, until=50) == (
        f"Life 0 has no outcome yet: after {50 / 86_400:.3g} days it is sprig, which can still "
        "become oak"
    )
    assert became(BRANCHES, more=both, until=150) == (
        f"Life 0 has no outcome yet: after {150 / 86_400:.3g} days it is weed, which can't become "
        "oak: 3 misses in sprig, at most 2 allowed; all of them with no check in time"
    )


def test_the_aim_is_told_with_how_near_it_was_missed() -> None:
    rules = [{"oak": {"misses in form": "at most 3", "weight": "above 2"}}, {"elm": "otherwise"}]
    assert became(rules, weight={"starts": 4}) == (
        "Life 0 became oak, the aim: 3 misses in sprig, at most 3 allowed; weight 4, above 2 needed"
    )
    assert became([{"oak": "otherwise"}]) == "Life 0 became oak, the aim"


def test_a_death_says_of_what_and_as_which_form() -> None:
    rules = [{"oak": "otherwise"}]
    starving = HUNGRY | fields(fatal_after={"hunger": "100 s"})
    assert became(rules, stage=starving) == (
        f"Life 0 died (starved) before it could become oak: as sprig after {100 / 86_400:.3g} "
        "days, hunger at 0 for 1 min 40 s"
    )
    neglected = became(rules, fatal_misses=3)
    assert neglected == (
        f"Life 0 died (neglect) before it could become oak: as sprig after {100 / 86_400:.3g} "
        "days, with 3 care misses; all of them with no check in time"
    )


def test_an_illness_nobody_treats_is_told_with_how_long_it_lasted() -> None:
    ill = worlds.ill_at(10, fatal_after="60 s")
    assert became([{"oak": "otherwise"}], stage={"illness": ill}).endswith(
        f"as sprig after {70 / 86_400:.3g} days, ill for 1 min"
    )


def test_a_death_after_the_aim_went_out_of_reach_says_both() -> None:
    both = {"shoot": SHOOT, "weed": WEED}
    assert became(BRANCHES, more=both, fatal_misses=4) == (
        f"Life 0 died (neglect) before it could become oak: as weed after {140 / 86_400:.3g} days, "
        "with 4 care misses; all of them with no check in time; oak was out of reach by then: "
        "3 misses in sprig, at most 2 allowed; all of them with no check in time"
    )


def test_a_life_followed_beyond_its_outcome_says_that_it_died() -> None:
    rules = [{"oak": {"misses in form": "at most 2"}}, {"elm": "otherwise"}]
    sentence = became(rules, until="death", adult_lasts="1 h")
    assert sentence.startswith("Life 0 became elm, not oak: 3 misses in sprig")
    assert sentence.endswith("; it died (old age) after 365 days")


# What it is made of


def test_the_turning_is_the_growth_at_which_the_aim_went_out_of_reach() -> None:
    life = worlds.live(grove(BRANCHES, more={"shoot": SHOOT, "weed": WEED}), until="outcome")
    turn = turning(replay(life), "oak")
    assert (turn.t, turn.form, turn.became, turn.missed) == (LASTS, "sprig", "weed", "shoot")
    assert life.entries[turn.place] == (LASTS, "growth", "weed", life.entries[turn.place].value)
    [demand] = turn.demands
    assert (demand.quantity, demand.cause, str(demand.bound), demand.number) == (
        *("misses_in_form", "all", "at most 2", 3),
    )
    assert turning(replay(life), "elm") is None


def test_each_reason_has_its_words() -> None:
    assert {*outcome.REASONS} == {*Reason}


@pytest.mark.parametrize("regime", ["ten-minute", "thirty-minute", "camera-rig", "hands-off"])
def test_says_of_real_lives_what_their_summaries_say(regime: str) -> None:
    for number in range(4):
        life = petsim.simulate("lamplet", regime, life=number)
        sentence, summary = headline(life), life.summary
        assert sentence.startswith(f"Life {number} ")
        ended = summary["outcome"]
        said = f"became {ended}" if ended in life.model.outcome_forms else f"died ({ended})"
        assert said in sentence
        assert ("the aim" in sentence) == (ended == life.model.aim)
