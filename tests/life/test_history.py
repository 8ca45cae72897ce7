"""A life replayed from its log, held against the reference engine second by second."""

from __future__ import annotations

import math
import random
from bisect import bisect_right
from collections import Counter
from functools import partial
from itertools import chain, pairwise
from unittest.mock import patch

import pytest

from petsim.life import draws
from petsim.life.caretaker import Rounds
from petsim.life.history import CheckDone, CheckForgotten, CheckSkipped, Stretch, refusal, replay
from petsim.life.kinds import ACTION_KINDS, LIGHTS, WASTE, EventKind
from petsim.life.reference import under_way
from petsim.life.reference.host import SimulatedHost
from petsim.life.simulate import simulate
from petsim.life.streams import uniform
from petsim.spec.library import shipped
from tests.drawn import in_rigs, in_worlds, random_rigs
from tests.life.worlds import LONG, acting, alone, care, fields, ill_at, live, needs, pet, regime
from tests.strategies import World

FACTS = (
    "form",
    "dormant",
    "levels",
    "weight",
    "discipline",
    "pile",
    "ill",
    "doses left",
    "asleep",
    "lights",
    "misbehaving",
    "calling",
)


def of_engine(pet):
    """The facts of a pet of the reference engine, as they are now."""
    values = (
        pet.form_name,
        pet.form.dormant,
        dict(pet.levels),
        pet.weight,
        pet.discipline,
        pet.pile,
        pet.ill,
        pet._illness.doses_left,
        pet.asleep,
        pet.lights,
        pet.misbehaving,
        pet.calling,
    )
    return dict(zip(FACTS, values, strict=True))


def of_history(state):
    """The same facts of a state of a history."""
    values = {name: getattr(state, name) for name in FACTS if name != "doses left"}
    return values | {"doses left": state.doses_needed - state.doses_given}


def observed(model, caretaker, **options):
    """A life on the reference engine, and its pet's facts at the end of each second with events."""
    facts, parts = {}, {}
    pets = under_way.Pet

    def kept(part):
        return lambda *args, **named: parts.setdefault(part, part(*args, **named))

    class Watched(under_way.Seconds):
        def step(self):
            if self.peek() > self.now:
                facts[self.now] = of_engine(parts[pets])
            super().step()

    watch = {"Seconds": kept(Watched), "Pet": kept(pets)}
    with patch.multiple(under_way, **watch):
        life = simulate(model, caretaker, **options)
    # left at a horizon, a life stays to the end as it was
    facts[parts[Watched].now] = of_engine(parts[pets])
    return life, facts


def outages(life):
    """When the power is out in a life: up and down times in turn, as they are drawn."""
    laws = life.caretaker.regime.outages
    return turns(life, laws and (laws.up, laws.down), ("up times", "down times"))


def spells(life):
    """When there is bad light in a life: clear times and spells in turn, as they are drawn."""
    laws = life.caretaker.regime.eyes.spells
    return turns(life, laws and (laws.clear, laws.lasts), ("clear times", "spell times"))


def turns(life, laws, sources):
    """When the second of two states that take turns holds in a life."""
    t, k, held = 0, 0, []
    while laws is not None and t < life.summary["end_s"]:
        waits = [
            draws.sample(law, uniform(life.seed, source, life.number, k))
            for law, source in zip(laws, sources, strict=True)
        ]
        held.append((t + waits[0], t + sum(waits)))
        t, k = t + sum(waits), k + 1
    return held


def assert_replayed(life, facts):
    """A history has the facts of the engine, at all their changes and in some other seconds."""
    history, end = replay(life), life.summary["end_s"]
    out, dim = outages(life), spells(life)
    generator = random.Random(end)
    seconds = {*facts, *(entry.t for entry in life.entries), *chain(*out, *dim)}
    seconds |= {math.floor(generator.random() * end) for _ in range(20)}
    changes = sorted(facts)
    for t in sorted(second for second in seconds if second < end):
        engine = facts[changes[bisect_right(changes, t) - 1]]
        assert of_history(history.at(t)) == engine, f"in second {t}"
        assert history.at(t).power != any(begins <= t < ends for begins, ends in out)
        assert history.at(t).in_spell == any(begins <= t < ends for begins, ends in dim)


@in_worlds(150)
def test_a_random_life_is_replayed_as_it_was(world: World) -> None:
    assert_replayed(*observed_in(world))


@in_rigs(150)
def test_a_random_life_on_a_rig_is_replayed_as_it_was(world: World) -> None:
    assert_replayed(*observed_in(world))


def observed_in(world):
    """The life of a world, and its pet's facts, as they are observed."""
    return observed(world.model, world.regime, seed=world.seed, life=world.life, **world.span)


@pytest.mark.parametrize("regime", shipped("regimes"))
@pytest.mark.parametrize("model", shipped("models"))
def test_a_life_of_the_shipped_files_is_replayed_as_it_was(model, regime) -> None:
    assert_replayed(*observed(model, regime, seed=4, life=1, until="death"))


@in_worlds(150)
def test_a_history_agrees_with_the_log_and_the_summary(world: World) -> None:
    assert_history_agrees(lived_in(world))


@in_rigs(150)
def test_a_history_of_a_rig_agrees_with_the_log_and_the_summary(world: World) -> None:
    assert_history_agrees(lived_in(world))


def lived_in(world):
    """The life of a world."""
    return simulate(world.model, world.regime, seed=world.seed, life=world.life, **world.span)


def assert_history_agrees(life):
    history = replay(life)
    assert_refusals_are_explained(history)
    assert_checks_are_those_of_the_log(history)
    assert_stretches_last_as_long_as_the_summary_says(history)


def assert_refusals_are_explained(history):
    """An action is refused if and only if there is a reason."""
    for place, entry in enumerate(history.life.entries):
        if entry.event in ACTION_KINDS and entry.event != EventKind.SLIPPED:
            reason = refusal(entry.what, history.states[place - 1], history.life.model)
            assert (reason is not None) == (entry.event == EventKind.REFUSED)


def assert_checks_are_those_of_the_log(history):
    """Checks have all actions and looks, and are skipped when the power is out."""
    life, done = history.life, checks_done(history)
    assert len(done) == life.summary["checks"]
    others = ("checks_skipped", "checks_forgotten")
    assert len(history.checks) == len(done) + sum(life.summary[name] for name in others)
    forgotten = [check.t for check in history.checks if isinstance(check, CheckForgotten)]
    assert forgotten == [e.t for e in life.entries if e.event == EventKind.CHECK_FORGOTTEN]
    attempts = [attempt for check in done for attempt in check.attempts]
    assert [(a.t, a.fate, a.action) for a in attempts] == [
        (entry.t, entry.event, entry.what) for entry in life.entries if entry.event in ACTION_KINDS
    ]
    assert [sight for check in done for sight in check.sights] == list(life.sights)
    assert all(sight.t >= check.t for check in done for sight in check.sights)
    for check in history.checks:
        without_power = isinstance(check, CheckSkipped) and check.power_out
        is_given_up = isinstance(check, CheckSkipped) and check.given_up
        assert is_given_up or history.at(check.t).power != without_power


def assert_stretches_last_as_long_as_the_summary_says(history):
    """Stretches lie in the life, apart from each other, and have the seconds of its columns."""
    life = history.life
    columns = {
        "asleep_s": lambda state: state.asleep,
        "ill_s": lambda state: state.ill,
        "spells_s": lambda state: state.in_spell,
    }
    for need, about in life.model.needs.items():
        for level in range(about.full + 1):
            columns[f"level_s.{need}.{level}"] = partial(has_level, need, level)
    for column, holds in columns.items():
        stretches = history.stretches(holds)
        assert sum(until - since for since, until in stretches) == life.summary[column]
        assert all(0 <= since < until <= life.summary["end_s"] for since, until in stretches)
        assert all(one.until < other.since for one, other in pairwise(stretches))


def has_level(need, level, state):
    return state.levels[need] == level


def checks_done(history):
    return [check for check in history.checks if isinstance(check, CheckDone)]


# Rules that are easily read wrongly, one by one

NIGHT = fields(sleeps=["00:01 to 00:10"], lights_grace="5 min")
MISCHIEF = {"every": "fixed 60 s", "window": "fixed 30 s"}


def after(life, t):
    """How things are in a second of a life."""
    return replay(life).at(t)


def scolding(**effects):
    """The care of small pets, with a scold that does something else besides."""
    return care(scold={"reprimands": "yes", **effects})


def test_an_unfair_reprimand_has_the_other_effects_of_its_action():
    waste = fields(waste=fields(every="fixed 100 s", pile_max=3, grace="10 min"))
    life = live(pet(waste, care=scolding(cleans="yes")), acting((150, "scold")), until=170)
    assert after(life, 149).pile == 1
    assert WASTE in after(life, 149).troubles
    assert after(life, 150).pile == 0
    assert WASTE not in after(life, 150).troubles


def test_a_level_that_an_unfair_reprimand_lowers_was_raised_before():
    model = pet(
        needs=needs(mood_starts=1),
        care=scolding(raises={"mood": 2}),
        discipline={"unfair costs": {"mood": 1}},
    )
    assert after(live(model, acting((5, "scold")), until=10), 5).levels["mood"] == 2


def test_a_need_that_one_action_raises_and_empties_counts_from_then():
    model = pet(
        fields(grace={"mood": "1 min"}),
        needs=needs(mood=2, mood_starts=2),
        care=scolding(raises={"mood": 1}),
        discipline={"unfair costs": {"mood": 2}},
    )
    life = live(model, acting((5, "scold"), (40, "scold")), until=120)
    trouble = after(life, 90).troubles["mood"]
    assert (trouble.since, trouble.unfair) == (40, True)
    assert [entry.t for entry in life.entries if entry.event == EventKind.MISS] == [100]


def test_lights_off_and_on_again():
    moments = ((70, "lights_off"), (80, "lights_on"), (90, "lights_off"))
    life = live(pet(NIGHT), acting((30, "lights_off"), *moments), until=700)
    history = replay(life)
    assert history.stretches(lambda state: not state.lights) == [Stretch(70, 80), Stretch(90, 600)]
    assert history.at(85).troubles[LIGHTS].relit == 80
    # waking puts them on, and nothing is due any more
    assert LIGHTS not in history.at(600).troubles


def test_lights_stay_on_while_awake():
    tidy = care(tidy={"cleans": "yes", "lights": "off"})
    waste = fields(waste=fields(every="fixed 20 s", pile_max=3))
    life = live(pet(NIGHT | waste, care=tidy), acting((25, "tidy")), until=30)
    assert (after(life, 25).pile, after(life, 25).lights) == (0, True)


@pytest.mark.parametrize(
    ("model", "moments", "ends"),
    [
        (pet({"misbehaviour": MISCHIEF}, lasts="70 s"), (), 70),
        (pet({"misbehaviour": MISCHIEF, "sleeps": ["00:01:05 to 00:10"]}), (), 65),
        (pet({"misbehaviour": MISCHIEF}), ((75, "reprimand"),), 75),
        (pet({"misbehaviour": MISCHIEF}), (), 90),
    ],
    ids=["growth", "sleep", "a reprimand", "a lapse"],
)
def test_a_misbehaviour_ends_with(model, moments, ends):
    life = live(model, acting(*moments), until=100)
    assert replay(life).stretches(lambda state: state.misbehaving)[0] == Stretch(60, ends)


def test_discipline_after_reprimands_and_lapses():
    model = pet({"misbehaviour": MISCHIEF}, discipline=fields(starts=95, step=10, lapse_costs=30))
    life = live(model, acting((60, "reprimand"), (100, "reprimand")), until=200)
    # the second misbehaviour runs from 120 to 150
    assert [after(life, t).discipline for t in (59, 60, 100, 149, 150)] == [95, 100, 100, 100, 70]


def test_weight_is_not_below_that_of_the_form():
    model = pet(
        fields(weight_min=3),
        fields(weight_min=5),
        lasts="50 s",
        care=care(feed={"weight": "-2"}),
        weight={"starts": 4},
    )
    life = live(model, acting((10, "feed")), until=60)
    assert [after(life, t).weight for t in (9, 10, 50)] == [4, 3, 5]
    assert life.summary["weight_at.tree"] == 3


def test_an_illness_is_over_with_its_last_dose():
    ill = fields(illness=ill_at(60, doses={"2": "100%"}))
    life = live(pet(ill), acting((30, "dose"), (70, "dose"), (80, "dose")), until=82)
    doses = [(s.ill, s.doses_given, s.doses_needed) for s in (after(life, t) for t in (60, 70, 80))]
    assert doses == [(True, 0, 2), (True, 1, 2), (False, 0, 0)]


def test_an_action_that_death_cuts_off_changes_nothing():
    model = pet(fields(drops={"hunger": LONG}), lasts="20 s", adult_lasts="10 s")
    hands = {"feed": {"takes": "10 s"}}
    life = live(model, acting((25, "feed"), hands=hands), until="death")
    assert life.summary["cut_off"] == 1
    [*_, cut] = checks_done(replay(life))
    assert (cut.t, cut.attempts) == (25, [])


# What rigs and people add


def watched(world):
    """The life of a world, the seconds in which a check was given up, and each wrong press.

    A wrong press is the second in which it landed, and both actions.
    """
    given_up, pressed = [], []
    sets_off, start, land = Rounds._sets_off, SimulatedHost._start, SimulatedHost._land
    meant = {}

    def watched_sets_off(rounds, t):
        gives_up = sets_off(rounds, t)
        given_up.extend([t] if gives_up else [])
        return gives_up

    def watched_start(host, action):
        start(host, action)
        meant["action"] = action

    def watched_land(host):
        if host._landing is not None and host._has_slipped:
            pressed.append((host._env.now, meant["action"], host._landing))
        land(host)

    with (
        patch.object(Rounds, "_sets_off", watched_sets_off),
        patch.object(SimulatedHost, "_start", watched_start),
        patch.object(SimulatedHost, "_land", watched_land),
    ):
        return lived_in(world), given_up, pressed


def test_checks_that_were_given_up_and_wrong_presses_are_told_from_the_log() -> None:
    right = {"given up": 0, "overshadowed": 0, "pressed": 0, "taken for pressed": 0}
    for world in random_rigs():
        life, given_up, pressed = watched(world)
        history = replay(life)
        skipped = [check for check in history.checks if isinstance(check, CheckSkipped)]
        told = [check.t for check in skipped if check.given_up]
        assert {*told} <= {*given_up}
        # where the power was out or another check went on, the log can't tell
        for t in {*given_up} - {*told}:
            [check] = [check for check in skipped if check.t == t]
            assert check.power_out or is_busy(history, t)
        tries = [attempt for check in checks_done(history) for attempt in check.attempts]
        wrong = [(a.t, a.instead_of, a.action) for a in tries if a.instead_of]
        assert not Counter(pressed) - Counter(wrong)
        right["given up"] += len(told)
        right["overshadowed"] += len(given_up) - len(told)
        right["pressed"] += len(pressed)
        right["taken for pressed"] += len(wrong) - len(pressed)
    assert min(right["given up"], right["pressed"]) > 20
    assert right["overshadowed"] > 0
    assert right["taken for pressed"] < right["pressed"] / 10


def is_busy(history, t):
    """Whether a check that began before goes on after second t, by what it did later."""
    life = history.life
    begun = [check for check in checks_done(history) if check.t <= t]
    ends = begun[-1].ends(life.caretaker.regime.hands) if begun else 0
    return ends > t or (begun[-1] is checks_done(history)[-1] and life.summary["cut_off"] == 1)


LATE = {"every": "10 s", "first": "0 s", "late": "25 s"}
HEARD = {"hears": "100%", "reacts in": "20 s"}


def skips(until, model=None, **more):
    """Of each skipped check its second, and whether the power was out and it was given up."""
    caretaker = regime({"do": "clean"}, **more)
    checks = replay(alone(model or pet(), caretaker, until)).checks
    return [(c.t, c.power_out, c.given_up) for c in checks if isinstance(c, CheckSkipped)]


def test_a_late_check_was_given_up_if_nothing_else_skipped_it():
    assert skips(25, checks=LATE) == [(10, False, True), (20, False, True)]
    outages = fields(up="15 s", down="1 h")
    assert skips(25, checks=LATE, outages=outages) == [(10, False, True), (20, True, False)]
    # without lateness a check that is skipped with the power on finds another going on
    slow = {"clean": {"takes": "15 s"}}
    assert skips(25, checks={"every": "10 s", "first": "0 s"}, hands=slow) == [(10, False, False)]


@pytest.mark.parametrize("until", [39, 60])
def test_a_late_check_was_not_given_up_while_another_went_on(until):
    # heard at 30, the check cleans until 42, or until the end
    model = pet(fields(drops={"hunger": "10 s"}), needs=needs(hunger=1))
    checks, slow = {"every": "100 s", "first": "0 s", "late": "35 s"}, {"clean": {"takes": "12 s"}}
    told = skips(until, model, checks=checks, hands=slow, listens=HEARD)
    assert told == [(35, False, False)]


def test_a_check_given_up_comes_before_another_of_its_second():
    seed = next(
        seed
        for seed in range(1000)
        if uniform(seed, "late", 0, 0) > 0.5 and uniform(seed, "late", 0, 1) < 0.02
    )
    checks = LATE | {"late": "uniform 0 s to 20 s"}
    outages = fields(up="5 s", down="1 h")
    life = alone(pet(), regime(checks=checks, outages=outages), 15, seed=seed)
    told = [(c.t, c.power_out, c.given_up) for c in replay(life).checks]
    assert told == [(10, False, True), (10, True, False)]


def attempts(hands, *routine, until=60):
    """What one check tried: the second, the action, and which was meant if that slipped."""
    life = alone(pet(), regime(*routine, every=1000, hands=hands), until)
    [check] = checks_done(replay(life))
    return [(a.t, a.action, a.instead_of) for a in check.attempts]


def test_an_action_that_landed_instead_of_one_that_slipped_was_not_meant():
    feed = {"slips": "100%", "takes": "5 s", "into": {"cheer": "100%"}}
    steps = [{"do": "feed"}, {"do": "cheer"}]
    slow = {"feed": feed, "cheer": {"takes": "3 s"}}
    assert attempts(slow, *steps) == [(0, "feed", None), (5, "cheer", "feed"), (8, "cheer", None)]
    # a slip that presses nothing, and one that may not press what is done next
    nothing = slow | {"feed": feed | {"into": {"cheer": "0%"}}}
    assert attempts(nothing, *steps) == [(0, "feed", None), (8, "cheer", None)]
    other = {"feed": feed | {"into": {"dose": "0%"}}}
    assert attempts(other, *steps) == [(0, "feed", None), (5, "cheer", None)]
