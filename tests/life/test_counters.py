"""What a rig counts, by both engines, and by the log that it would have written."""

from __future__ import annotations

import numpy as np
import pytest

import petsim
from petsim.life.caretaker import load_caretaker
from petsim.life.counters import Counter, counters_of, counters_under
from petsim.life.kinds import EventKind
from petsim.life.log.entries import Action, Check, Look
from petsim.life.simulate import Span, choose_engine
from petsim.spec.library import load_model
from petsim.spec.quantities import DAY
from tests.drawn import in_rigs, in_worlds, of_each, random_takeovers
from tests.life.worlds import acting, pet
from tests.strategies import World


def counted_alike(world: World) -> None:
    """Both engines count the same, up to seconds at which nothing else begins or ends."""
    end = petsim.simulate(
        world.model, world.regime, seed=world.seed, life=world.life, **world.span
    ).summary["end_s"]
    seconds = sorted({max(1, end * part // 5 + 1) for part in range(1, 6)})
    model = load_model(world.model)
    caretaker = load_caretaker(world.regime, model)
    reference, compiled = (
        choose_engine(model, caretaker, Span(days=seconds[-1] / DAY), name).followed(
            world.seed, world.life, seconds
        )[0]
        for name in ("reference", "compiled")
    )
    assert reference.tolist() == compiled.tolist()


@in_worlds(60)
def test_both_engines_count_the_same(world: World) -> None:
    counted_alike(world)


@in_rigs(60)
def test_so_it_is_with_all_that_rigs_add(world: World) -> None:
    counted_alike(world)


@of_each(lambda: random_takeovers()[:20])
def test_so_it_is_of_a_pet_as_it_is_now(world: World) -> None:
    counted_alike(world)


@pytest.mark.parametrize("regime", ["camera-rig", "ten-minute", "office-rota"])
def test_what_is_counted_is_in_the_log_of_the_rig_and_in_the_columns(regime: str) -> None:
    model = load_model("lamplet")
    life = petsim.simulate(model, regime, days=2, seed=4)
    engine = choose_engine(model, load_caretaker(regime, model), Span(days=2), "auto")
    [counts], _ = engine.followed(4, 0, [2 * DAY])
    found = dict(zip(counters_of(model), counts.tolist(), strict=True))
    log = life.log()
    assert found[Counter("checks")] == sum(isinstance(e, Check) for e in log.entries)
    assert found[Counter("checks")] == life.summary["checks"] > 30
    assert found[Counter("presses")] == life.summary["presses"]
    for action in model.care:
        begun = [e for e in log.entries if isinstance(e, Action) and e.action == action]
        assert found[Counter("action", action)] == len(begun)
    for need in model.needs:
        looks = [e.saw for e in log.entries if isinstance(e, Look)]
        assert found[Counter("zero", need)] == sum(saw.get(need) == 0 for saw in looks)


def test_counting_changes_nothing_of_the_lives_lived_after_it() -> None:
    model = load_model("lamplet-quick")
    caretaker = load_caretaker("ten-minute", model)
    counting, plain = (choose_engine(model, caretaker, Span(), "compiled") for _ in range(2))
    counting.followed(1, 0, [3600, 7200])
    assert np.array_equal(counting.lives(1, range(20)), plain.lives(1, range(20)))


@pytest.mark.parametrize("engine", ["reference", "compiled"])
def test_an_action_counts_when_it_is_begun_and_a_life_that_is_over_not_at_all(engine: str) -> None:
    model = load_model(pet(young={"drops": {"hunger": "50 s"}, "fatal after": {"hunger": "100 s"}}))
    regime = acting((10, "feed"), (20, "cheer"), hands={"feed": {"takes": "8 s", "presses": 3}})
    lived = choose_engine(model, load_caretaker(regime, model), Span(days=1), engine)
    seconds = [10, 11, 21, 400, 86_400]
    counts, _ = lived.followed(0, 0, seconds)
    feed, presses = (
        counters_of(model).index(each) for each in (Counter("action", "feed"), Counter("presses"))
    )
    # hunger is at 0 after five drops at most, and 100 s later the pet is dead
    assert counts[:, feed].tolist() == [0, 1, 1, -1, -1]
    assert counts[:, presses].tolist() == [0, 3, 4, -1, -1]


def test_a_regime_is_not_asked_for_what_it_never_does() -> None:
    model = load_model("lamplet")
    under = counters_under(model, load_caretaker("camera-rig", model))
    assert [str(each) for each in under] == [
        *("checks", "presses", "feed", "play", "clean", "dose", "lights_off", "reprimand"),
        *("hunger read 0", "mood read 0"),
    ]
    call = counters_under(model, load_caretaker("hands-off", model))
    assert Counter("action", "feed") not in call and Counter("checks") in call


def test_a_policy_may_do_anything() -> None:
    class Idle:
        def check(self, look: object) -> list[str]:
            return []

    model = load_model("lamplet")
    assert counters_under(model, load_caretaker(Idle, model)) == counters_of(model)


KEPT = (EventKind.GROWTH, EventKind.CHECK, EventKind.DEATH)


@pytest.mark.parametrize("name", ["reference", "compiled"])
@pytest.mark.parametrize("room", [4096, 10])
def test_what_is_followed_has_the_log_of_the_life(name, room, monkeypatch) -> None:
    # with room for so little that the log of two days has to be read in parts
    monkeypatch.setattr("petsim.life.compiled.LOG_ROOM", room)
    model = load_model("lamplet")
    engine = choose_engine(model, load_caretaker("camera-rig", model), Span(days=2), name)
    seconds = [3600, DAY, 2 * DAY]
    counts, entries = engine.followed(4, 1, seconds, KEPT)
    assert counts.tolist() == engine.followed(4, 1, seconds)[0].tolist()
    whole = petsim.simulate(model, "camera-rig", days=2, seed=4, life=1).entries
    assert entries == tuple(entry for entry in whole if entry.event in KEPT)
    assert len(entries) > 30
