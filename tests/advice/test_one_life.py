"""Why one life went wrong: what it failed by, and what alone would have saved it."""

import json
from dataclasses import replace
from functools import partial
from itertools import takewhile

import numpy as np
import pytest
from click.testing import CliRunner
from jsonschema import Draft202012Validator
from scipy.spatial.distance import cdist

import petsim
from petsim.advice.one_life.chain import one_too_many
from petsim.advice.one_life.chosen_life import Chosen, features_of, typical_life, worst_life
from petsim.advice.one_life.explain_life import explain_life
from petsim.advice.one_life.nudges import Kind, all_that_hold, ladders, smallest_of
from petsim.advice.one_life.withheld import is_averted
from petsim.cli.explain import explain as command
from petsim.errors import ArgumentError
from petsim.life.draws import lateness
from petsim.life.reference import ReferenceEngine
from petsim.life.simulate import Span, load_together
from petsim.life.streams import uniform
from petsim.spec.laws import distribution
from petsim.view import answers, life_explained
from petsim.view.data import data_schema
from tests.drawn import in_rigs, of_each, random_takeovers
from tests.life import worlds
from tests.life.worlds import errors, fields, seed_where
from tests.strategies import World

LASTS = 1000
"""The seconds for which a sprig grows, hungry again each minute: 16 times."""
HUNGRY = fields(drops={"hunger": "1 min"}, grace={"hunger": "40 s"})
FEEDS = {"when": {"hunger": "below 1"}, "do": "feed"}
ANSWERS = {"when": {"calling": "yes"}, "do": "feed"}
TIMES = range(90, LASTS, 60)
"""When a check that comes each minute finds the sprig hungry, half a minute after it got so."""


def grove(most=0, stage=None, **model):
    """A sprig that becomes an oak if it has at most so many misses, else an elm."""
    base = worlds.pet(
        stage or HUNGRY, lasts=f"{LASTS} s", needs=worlds.needs(hunger=1), aim="oak", **model
    )
    rules = [{"oak": {"misses in form": f"at most {most}"}}, {"elm": "otherwise"}]
    sprig = base["forms"]["sprig"] | {"grows into": rules}
    grown = {"stage": "adult", "lasts": worlds.LONG}
    return base | {"forms": {"sprig": sprig, "oak": grown, "elm": grown}}


def rig(step=FEEDS, **more):
    """A check each minute, from half a minute on."""
    return worlds.regime(step, every=60, first="30 s", **more)


def cost(why):
    """The mishaps each of which alone cost a life its aim, as source and second."""
    return [(each.candidate.mishap.source, each.candidate.mishap.t) for each in why.withheld]


def tries(source, chance, *wrong):
    """The first seed under which just these of 16 trials of a source err, numbered from 0."""
    return seed_where(
        lambda seed: (
            {k for k, errs in enumerate(errors(source, [chance] * 16, seed)[0]) if errs} == {*wrong}
        )
    )


def said(why, width=80):
    """Why a life went wrong as the terminal shows it."""
    return answers.text(life_explained.answer(why), width)


# Toy worlds in which it is known what mattered


OUT = fields(up="fixed 500 s", down="fixed 150 s")


def test_the_one_outage_that_caused_the_only_miss() -> None:
    # hungry at 480; the power is out from 500 to 650, and 520 is too late
    why = explain_life(grove(), rig(outages=OUT))
    assert why.life.summary["outcome"] == "elm"
    [link] = why.links
    assert (link.since, link.t, link.cause, link.form) == (480, 520, "hunger", "sprig")
    assert cost(why) == [("outage", 500)]
    [saved] = why.withheld
    assert (saved.candidate.seconds, saved.outcome, saved.number) == (150, "oak", 0)
    assert why.candidates == why.tried == 1


def test_the_one_slip() -> None:
    slips = rig(hands={"feed": {"slips": "10%"}})
    why = explain_life(grove(), slips, seed=tries("slips feed", 0.1, 6))
    assert cost(why) == [("slips feed", TIMES[6])]
    [link] = why.links
    assert [attempt.fate for attempt in link.attempts] == ["slipped"]


def test_either_of_two_slips_where_one_miss_is_allowed() -> None:
    slips = rig(hands={"feed": {"slips": "10%"}})
    seed = tries("slips feed", 0.1, 3, 9)
    why = explain_life(grove(most=1), slips, seed=seed)
    assert cost(why) == [("slips feed", TIMES[3]), ("slips feed", TIMES[9])]
    assert [saved.number for saved in why.withheld] == [1, 1]
    assert explain_life(grove(most=2), slips, seed=seed).reached


def test_nothing_single_saves_a_life_of_two_slips_too_many() -> None:
    slips = rig(hands={"feed": {"slips": "10%"}})
    why = explain_life(grove(), slips, seed=tries("slips feed", 0.1, 3, 9))
    assert cost(why) == []
    assert why.nearer is not None
    assert (why.nearer.candidate.mishap.t, why.nearer.number) == (TIMES[3], 1)
    assert "it would have had 1 care miss, not 2" in " ".join(said(why).split())
    # but it is an oak if each feed that slipped is done once more
    assert "routine[0].repeat" in {nudge.path for nudge in why.nudges}


def test_the_one_forgotten_check() -> None:
    # the first check, at 30, is a trial too, and finds nothing to do
    why = explain_life(
        grove(), rig(checks=fields(every="1 min", first="30 s", forgets="10%")),
        seed=seed_where(
            lambda seed: [
                k for k, errs in enumerate(errors("forgets", [0.1] * 17, seed)[0]) if errs
            ] == [5]
        ),
    )  # fmt: skip
    assert cost(why) == [("forgets", TIMES[4])]


def test_the_one_error_of_the_eyes() -> None:
    eyes = {"calling": {"overlooks": "10%"}}
    why = explain_life(grove(), rig(ANSWERS, eyes=eyes), seed=tries("overlooks calling", 0.1, 7))
    assert cost(why) == [("overlooks calling", TIMES[7])]
    [saved] = why.withheld
    sight = saved.candidate.sight
    assert sight is not None
    assert (sight.signal, sight.truth, sight.seen) == ("calling", True, False)


def test_a_spell_and_the_look_in_it_that_mattered() -> None:
    # in bad light from 500 to 560 every call is overlooked, which is the check at 510
    spells = {"clear": "500 s", "lasts": "1 min", "calling": {"overlooks": "100%"}}
    model = grove(stage=HUNGRY | {"grace": {"hunger": "70 s"}})
    why = explain_life(model, rig(ANSWERS, eyes={"spells": spells}))
    [link] = why.links
    assert (link.since, link.t) == (480, 550)
    assert cost(why) == [("overlooks calling", 510), ("spell", 500)]


def test_the_one_late_check() -> None:
    # of 17 checks, up to 12 s late, one comes after the 10 s that are left at 30 s past
    law = distribution("uniform 0 s to 12 s")
    seed = seed_where(
        lambda seed: [
            k for k in range(17) if lateness(law, uniform(seed, "late", 0, k)) >= 10
        ] == [8]
    )  # fmt: skip
    checks = fields(every="1 min", first="30 s", late="uniform 0 s to 12 s")
    why = explain_life(grove(), rig(checks=checks), seed=seed)
    assert cost(why) == [("late", TIMES[7])]
    [saved] = why.withheld
    assert saved.candidate.seconds == lateness(law, uniform(seed, "late", 0, 8))


def test_the_one_call_that_nobody_heard() -> None:
    # nobody looks in by the clock, but comes 5 s after each call that is heard
    seed = seed_where(
        lambda seed: [k for k in range(16) if uniform(seed, "hears", 0, k) >= 0.9] == [11]
    )
    listens = {"hears": "90%", "reacts in": "5 s"}
    caretaker = worlds.regime(FEEDS, listens=listens)
    # an unheard call stays one until it is fed, so nobody comes any more
    why = explain_life(grove(), caretaker, seed=seed)
    assert cost(why) == [("unheard", 60 * 12)]
    assert "nobody heard it call" in said(why)


def test_a_misbehaviour_that_nobody_saw_where_discipline_is_short() -> None:
    # it misbehaves 200 s after the last time, which the next check sees; but not that at 450
    stage = fields(misbehaviour={"every": "200 s", "window": "50 s"})
    model = grove(stage=stage, discipline=fields(starts=0, step=10, lapse_costs=0))
    model["forms"]["sprig"]["grows into"] = [
        {"oak": {"discipline": "at least 40"}},
        {"elm": "otherwise"},
    ]
    reprimands = {"when": {"calling": "yes"}, "do": "reprimand"}
    eyes = {"calling": {"overlooks": "10%"}}
    seed = seed_where(lambda seed: errors("overlooks calling", [0.1] * 4, seed)[0] == [0, 1, 0, 0])
    why = explain_life(model, rig(reprimands, eyes=eyes), seed=seed)
    [link] = why.links
    assert (link.cause, link.since, link.t) == ("misbehaviour", 410, 460)
    assert link.reason == "overlooked or misread"
    assert cost(why) == [("overlooks calling", 450)]
    assert why.withheld[0].number == 40


def test_an_early_death() -> None:
    starves = HUNGRY | fields(fatal_after={"hunger": "150 s"})
    out = fields(up="500 s", down="500 s")
    why = explain_life(grove(stage=starves), rig(outages=out))
    assert (why.life.summary["died"], why.turn) == ("starved", None)
    assert [link.t for link in why.links] == [520]
    assert cost(why) == [("outage", 500)]
    assert "died (starved) before it could become oak" in said(why)


# What would have saved it


def test_a_mishap_that_played_no_part_is_not_tried() -> None:
    # two slips cost misses; one of the reprimand, which nothing is due to, does not
    hands = {"feed": {"slips": "10%"}, "reprimand": {"slips": "100%"}}
    reprimands = {"when": {"clock": "00:00:25 to 00:00:35"}, "do": "reprimand"}
    caretaker = worlds.regime(reprimands, FEEDS, every=60, first="30 s", hands=hands)
    why = explain_life(grove(), caretaker, seed=tries("slips feed", 0.1, 6))
    assert "slips reprimand" in {mishap.source for mishap in why.life.mishaps}
    assert why.candidates == 1


def test_what_was_due_is_averted_if_one_of_the_links_is_not_in_the_other_life() -> None:
    slips = rig(hands={"feed": {"slips": "10%"}})
    seed = tries("slips feed", 0.1, 3, 9)
    why = explain_life(grove(), slips, seed=seed)
    first, second = why.links
    engine = of(grove(), slips)
    without = engine.live(seed, 0, traced=True, withheld={("slips feed", 1)})
    assert not is_averted(why.life, why.links)
    assert is_averted(without, [first])
    assert not is_averted(without, [second])
    assert is_averted(without, why.links)
    assert is_averted(why.life, [])  # as where nothing was due that it failed by


def test_the_smallest_change_of_a_quantity() -> None:
    # a check 30 s past each minute is 4 s too late; those at 15, 20 and 24 s past are in time
    model = grove(stage=HUNGRY | {"grace": {"hunger": "26 s"}})
    why = explain_life(model, rig())
    [first] = [nudge for nudge in why.nudges if nudge.path == "checks.first"]
    assert (first.kind, first.before, first.after) == (Kind.TIME, "30 s", "24 s")
    assert (first.seconds, first.is_choice) == (-6, True)
    assert (why.withheld, why.candidates) == ((), 0)


def ladder(path, text, **more):
    """The changes of a quantity that is there once, less and more of it, as texts."""
    regime = petsim.load_regime(worlds.regime(FEEDS, **more))
    found = [rungs for rungs in ladders(regime) if rungs[0].path == path]
    assert {rung.before for rungs in found for rung in rungs} == {text}
    return [[rung.after for rung in rungs] for rungs in found]


def test_the_changes_of_a_time() -> None:
    assert ladder("checks.every", "100 s", every=100) == [
        ["50 s", "65 s", "80 s", "90 s", "95 s", "98 s", "99 s"],
        ["200 s", "150 s", "135 s", "2 min", "110 s", "105 s", "102 s", "101 s"],
    ]


def test_the_changes_of_a_distribution_are_of_all_its_times() -> None:
    checks = fields(every="1 h", late="uniform 1 min to 3 min")
    shorter, longer = ladder("checks.late", "uniform 1 min to 3 min", checks=checks)
    assert shorter[0] == "uniform 30 s to 90 s"
    assert longer[0] == "uniform 2 min to 6 min"


def test_the_changes_of_a_chance_of_an_error_are_less_only() -> None:
    [less] = ladder("checks.forgets", "10%", checks=fields(every="1 h", forgets="10%"))
    assert less == ["0%", "5%", "6.5%", "8%", "9%", "9.5%", "9.8%", "9.9%"]


def test_the_changes_of_a_clock_time() -> None:
    earlier, later = ladder("checks.at[0]", "00:05", checks={"at": ["00:05"]})
    assert earlier == ["00:00", "00:03", "00:04"]  # and none the day before
    assert later == ["00:25", "00:15", "00:10", "00:07", "00:06"]


def test_the_changes_of_a_bound() -> None:
    less, more = ladder("routine[0].when.hunger", "below 1", every=60)
    assert (less, more) == (["below 0"], ["below 3", "below 2"])


def test_a_change_counts_with_all_larger_ones() -> None:
    regime = petsim.load_regime(worlds.regime(FEEDS, every=100))
    [shorter] = [r for r in ladders(regime) if r[0].path == "checks.every" and r[0].change < 0]

    def smallest(*leading):
        return smallest_of(all_that_hold(shorter, lambda n: n.after in leading), shorter)

    assert smallest("50 s", "65 s", "80 s", "90 s") == shorter[3]
    assert smallest("50 s", "65 s", "80 s", "95 s") == shorter[2]  # 95 s is by chance
    assert smallest("50 s", "65 s") is None  # of seven, two are too few
    assert smallest_of(shorter[:2], shorter[:2]) == shorter[1]  # but not if there are no more
    assert all_that_hold(shorter, lambda nudge: None) == []


# Withholding mishaps


@in_rigs(150)
def test_one_mishap_withheld_is_one_less_and_nothing_else_is_drawn_otherwise(world: World) -> None:
    model, [caretaker] = load_together(world.model, [world.regime])
    span = Span(**world.span)
    ends = {"until_outcome": span.to_outcome, "horizon": span.horizon}
    engine = ReferenceEngine(model, caretaker, **ends)

    def live(*withheld):
        return engine.live(world.seed, world.life, traced=True, withheld=withheld)

    life = live()
    # of one that never came, nothing is withheld
    assert live(("outage", 10**6)) == life
    for mishap in life.mishaps[:: max(1, len(life.mishaps) // 3)]:
        other = live(mishap.key)
        assert mishap.key not in {each.key for each in other.mishaps}

        def before(life, t=mishap.t):
            return [*takewhile(lambda entry: entry.t < t, life.entries)]

        assert before(other) == before(life)
        counted = [m for m in other.mishaps if m.source == mishap.source]
        numbers = [m.number for m in counted]
        passed = list(range(1, mishap.number))
        assert numbers[: mishap.number - 1] == passed
        assert numbers[mishap.number - 1 :] == [
            *range(mishap.number + 1, mishap.number + 1 + len(numbers) - len(passed))
        ]


def test_a_slip_withheld_lands_and_later_ones_stay_what_they_were() -> None:
    # half of the slips land as cheer; each keeps its own half
    hands = {"feed": {"slips": "100%", "into": {"cheer": "50%"}}}
    engine = of(grove(), rig(hands=hands))
    life = engine.live(0, 0, traced=True)
    other = engine.live(0, 0, traced=True, withheld={("slips feed", 3)})
    third = life.mishaps[2].t
    landed = {e.t for e in life.entries if e.what == "cheer"}
    assert {e.t for e in other.entries if e.what == "cheer"} == landed - {third}
    assert [e.event for e in other.entries if e.t == third and e.what == "feed"] == ["done"]


def test_an_outage_withheld_passes_as_if_the_power_stayed_on() -> None:
    engine = of(grove(), rig(outages=fields(up="200 s", down="100 s")))
    life = engine.live(0, 0, traced=True)
    other = engine.live(0, 0, traced=True, withheld={("outage", 2)})
    fails, returns = (worlds.times(life, f"outage {which}") for which in ("begins", "ends"))
    assert worlds.times(other, "outage begins") == [fails[0], *fails[2:]]
    assert worlds.times(other, "outage ends") == [returns[0], *returns[2:]]
    assert all(not fails[1] <= t < returns[1] for t in worlds.times(other, "check skipped"))
    assert other.draws["down times"] == life.draws["down times"]


def test_a_misreading_withheld_leaves_each_later_one_its_side() -> None:
    model = worlds.pet(lasts="1000 s", needs=worlds.needs(hunger_starts=3))
    engine = of(model, rig({"look": ["hunger"]}, eyes={"hunger": {"misreads": "100%"}}))
    life = engine.live(0, 0, traced=True)
    other = engine.live(0, 0, traced=True, withheld={("misreads hunger", 3)})
    seen = [sight.seen for sight in life.sights]
    assert {*seen} == {2, 4}
    assert [sight.seen for sight in other.sights] == [*seen[:2], 3, *seen[3:]]


def test_a_call_heard_after_all_leaves_each_later_one_its_reaction() -> None:
    # it calls each minute, is answered within half of it, and fed
    listens = {"hears": "50%", "reacts in": "uniform 1 s to 30 s"}
    engine = of(grove(), worlds.regime(FEEDS, listens=listens, every=60, first="59 s"))
    life = engine.live(0, 0, traced=True)
    first = next(mishap for mishap in life.mishaps if mishap.source == "unheard")
    other = engine.live(0, 0, traced=True, withheld={first.key})
    answers = {t for t in worlds.times(life, "check") if t % 60 != 59}
    more = {t for t in worlds.times(other, "check") if t % 60 != 59} - answers
    assert len(answers) > 3
    assert answers < {*worlds.times(other, "check")}
    assert len(more) == 1
    assert 0 < min(more) - first.t <= 30


def test_a_late_check_that_comes_when_it_is_due_leaves_all_others_as_they_were() -> None:
    checks = fields(every="1 min", first="30 s", late="uniform 1 s to 12 s")
    engine = of(grove(), rig(checks=checks))
    life = engine.live(0, 0, traced=True)
    other = engine.live(0, 0, traced=True, withheld={("late", 4)})
    came = worlds.times(life, "check")
    assert came[3] > 210
    assert worlds.times(other, "check") == [*came[:3], 210, *came[4:]]


def of(model, regime):
    pet, [caretaker] = load_together(model, [regime])
    return ReferenceEngine(pet, caretaker, until_outcome=True, horizon=None)


# Which life is explained


def test_the_typical_life_is_the_medoid_by_scipy() -> None:
    """`scipy.spatial.distance.cdist` has all distances of pairs, and so the sums to brute force."""
    batch = petsim.batch("lamplet-quick", "camera-rig", lives=60)
    frame = batch.lives
    columns = [
        *(frame[f"misses.{cause}"] for cause in batch.model.causes),
        frame.presses / (frame.end_s / 86_400),
        *((frame.outcome == outcome) for outcome in batch.counts),
    ]
    table = np.array(columns, dtype=float).T
    table = table[:, table.std(axis=0) > 0]
    distances = cdist(table, table, "seuclidean", V=table.var(axis=0))
    assert typical_life(batch) == distances.sum(axis=1).argmin()
    assert features_of(batch).std(axis=0) == pytest.approx(1)


def test_the_worst_life_died_first_or_else_missed_most() -> None:
    starved = petsim.batch("lamplet-quick", "hands-off", lives=20)
    died = starved.lives[starved.lives.died != ""]
    assert len(died) > 1
    assert worst_life(starved) == died.end_s.idxmin()
    cared_for = petsim.batch("lamplet-quick", "hourly", lives=20)
    if (cared_for.lives.died == "").all():
        assert worst_life(cared_for) == cared_for.lives.misses.idxmax()


# A life that went right, or may yet


def test_a_life_that_reached_the_aim_says_what_came_nearest_to_spoiling_it() -> None:
    slips = rig(hands={"feed": {"slips": "10%"}})
    seed = tries("slips feed", 0.1, 3, 9)
    text = said(explain_life(grove(most=2), slips, seed=seed))
    assert text == (
        "Life 0 became oak, the aim: 2 misses in sprig, at most 2 allowed.\n\n"
        "It had no miss to spare as sprig: 2 care misses, at most 2 allowed."
    )
    text = said(explain_life(grove(most=3), slips, seed=seed))
    assert "It had 1 miss to spare where these were fewest, as sprig" in " ".join(text.split())


def test_a_life_that_can_still_reach_the_aim_has_nothing_to_explain() -> None:
    why = explain_life(grove(), rig(outages=OUT), days=400 / 86_400)
    assert (why.has_failed, why.links, why.tried) == (False, (), 0)
    assert said(why).startswith("Life 0 has no outcome yet")


def test_another_aim() -> None:
    assert explain_life(grove(), rig(outages=OUT), aim="elm").reached
    with pytest.raises(ArgumentError, match="aim: 'elmo'"):
        explain_life(grove(), rig(), aim="elmo")


# Text and data


def test_the_text_says_the_answer_first_then_the_chain_then_what_would_have_saved_it() -> None:
    assert said(explain_life(grove(), rig(outages=OUT))) == TEXT


TEXT = """\
Life 0 became elm, not oak: 1 miss in sprig, at most 0 allowed; with the power
out. Had the power not failed on day 1 00:08 (for 150 s), it would have become
oak.

What it failed by, each care miss that counted
  when         what    main reason
  day 1 00:08  hunger  power out
      empty since 00:08; 40 s allowed
      check at 00:08: skipped, the power was out

If any one of these had not gone wrong, it would have become oak, all other luck
held
  what went wrong                       without it
  the power cut of day 1 00:08 (150 s)  0 care misses

Tried: 1 mishap that may have played a part, left out; and 9 quantities of the
regime, each changed by up to half or to double, in 12 lives."""


def run(*words):
    result = CliRunner().invoke(command, words, catch_exceptions=False)
    assert result.exit_code == 0
    return result.output


SCHEMA = Draft202012Validator(data_schema("explain")["anyOf"][1])


@pytest.mark.parametrize("words", [("--worst",), ("--typical",), ("--life", "3")])
def test_the_data_are_what_their_schema_says_and_tell_the_same_life_as_the_text(words) -> None:
    words = ("camera-rig", *words, *(() if "--life" in words else ("--lives", "30")))
    printed = json.loads(run(*words, "--json"))
    SCHEMA.validate(printed)
    text = run(*words)
    if printed["chosen"]:
        assert printed["chosen"]["lives"] == 30
        assert text.startswith(f"Of 30 lives, life {printed['life']} is the ")
    assert f"ife {printed['life']} " in text.splitlines()[0]


def test_the_data_of_a_life_that_failed() -> None:
    printed = explain_life(grove(), rig(outages=OUT)).as_dict()
    [link], saved = printed["chain"], printed["would_have_saved"]
    assert (link["t"], link["due"], link["why"]) == (520, 480, "power out")
    assert link["checks"] == [{"t": 510, "done": "skipped, power out"}]
    assert saved[0] == {
        "what": "outage",
        "number": 1,
        "t": 500,
        "seconds": 150,
        "outcome": "oak",
        "condition": 0,
    }
    SCHEMA.validate(printed)


@in_rigs(20)
def test_any_life_on_a_rig_can_be_explained(world: World) -> None:
    assert_explained(world)


@of_each(partial(random_takeovers, 20))
def test_any_life_of_a_pet_as_it_is_now_can_be_explained(world: World) -> None:
    assert_explained(world)


def assert_explained(world):
    luck = {"seed": world.seed, "life": world.life}
    why = explain_life(world.model, world.regime, **luck, **world.span)
    SCHEMA.validate(json.loads(json.dumps(why.as_dict(), allow_nan=False)))
    assert said(why, 60).startswith(f"Life {world.life} ")
    assert str(answers.markup(life_explained.answer(why))).startswith("<p>")
    for link in why.links:
        assert link.before <= link.since < link.t
        assert all(check.t <= link.t for check in link.checks)


def test_lives_are_to_choose_from() -> None:
    with pytest.raises(ArgumentError, match="--lives: is how many to choose from"):
        run("camera-rig", "--life", "3", "--lives", "9")
    with pytest.raises(ArgumentError, match="lives: is how many to choose from; expected life"):
        explain_life(grove(), rig(), life=3, lives=9)


@pytest.mark.parametrize("word", ["worst", "typical"])
def test_a_life_is_chosen_by_a_word_as_the_command_chooses_it(word) -> None:
    why = explain_life("lamplet-quick", "camera-rig", life=word, lives=30)
    assert why.chosen == (word, 30)
    words = ("camera-rig", "--model", "lamplet-quick", f"--{word}", "--lives", "30", "--json")
    assert json.loads(run(*words)) == why.as_dict()


def test_a_misspelt_word_for_a_life_is_refused() -> None:
    with pytest.raises(ArgumentError, match=r"life: 'worse'.*did you mean 'worst'"):
        explain_life(grove(), rig(), life="worse")


def test_the_miss_that_was_one_too_many_is_told() -> None:
    slips = rig(hands={"feed": {"slips": "10%"}})
    seed = tries("slips feed", 0.1, 3, 9)
    why = explain_life(grove(most=1), slips, seed=seed)
    assert one_too_many(why.links, why.turn) is why.links[1]
    none = explain_life(grove(), slips, seed=seed)
    assert one_too_many(none.links, none.turn) is none.links[0]
    assert one_too_many((), None) is None


def test_a_pet_as_it_is_now() -> None:
    # it brings two misses along, and three are one too many
    pet = {
        "petsim": "pet 1",
        "model": grove(most=2),
        "at": "Mon 12:00",
        "form": "sprig",
        "for": "100 s",
        "levels": {"hunger": 1, "mood": 5},
        "misses in form": 2,
    }
    why = explain_life(pet, rig(outages=OUT))
    assert why.life.start is not None
    assert [source for source, _ in cost(why)] == ["outage"]
    assert [saved.number for saved in why.withheld] == [2]
    assert [demand.number for demand in why.turn.demands] == [3]


class Feeds:
    """Feeds whenever it looks in, with hands that slip."""

    regime = rig(hands={"feed": {"slips": "10%"}})

    def check(self, look):
        return ["feed"] if look()["hunger"] == 0 else []


def test_a_policy_whose_regime_has_the_hands() -> None:
    why = explain_life(grove(), Feeds, seed=tries("slips feed", 0.1, 6))
    assert cost(why) == [("slips feed", TIMES[6])]
    assert why.quantities > 0


POLICY = """\
class Idle:
    def check(self, look):
        return []
"""


def test_a_policy_from_a_file_lives_in_a_process_of_its_own(tmp_path) -> None:
    (tmp_path / "idle.py").write_text(POLICY)
    printed = json.loads(run(f"{tmp_path / 'idle.py'}:Idle", "--life", "1", "--json"))
    SCHEMA.validate(printed)
    assert printed["chain"]
    assert {link["why"] for link in printed["chain"]} == {"not in the routine"}


def test_what_is_wrong_throughout_is_said_where_nothing_single_saves_a_life() -> None:
    # a check each ten minutes, or five, is far too seldom
    why = explain_life(grove(), worlds.regime(FEEDS, every=600, first="30 s"))
    assert (why.withheld, why.nudges, why.together) == ((), (), ("the interval of checks",))
    text = " ".join(said(why).split())
    assert "No single mishap cost it oak, but with a check every minute it would have" in text
    assert "Tried: no mishap, as none played a part; and" in text


def test_a_chosen_life_is_said_to_be_one() -> None:
    why = replace(explain_life(grove(), rig(outages=OUT)), chosen=Chosen("worst", 250))
    assert said(why).startswith(
        "Of 250 lives, life 0 is the worst (the most care misses). Life 0 became elm"
    )
