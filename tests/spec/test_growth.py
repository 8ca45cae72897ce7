"""Bounds and ways of growth, against counting every way through the graph one by one."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings

from petsim.life.simulate import simulate
from petsim.spec.growth import entered, in_order_of_growth, left, reachable, successors
from petsim.spec.library import load_model, shipped
from petsim.spec.model import Model
from tests.strategies import World, models, worlds

HOUR, DAY = 3600, 86_400
randomly = settings(
    max_examples=40, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck)
)


def ways(model: Model, form: str) -> Iterator[tuple[str, ...]]:
    """Every way from a form on, as the forms along it; each beginning of a way is one too."""
    yield (form,)
    for successor in {rule.form for rule in model.forms[form].grows_into}:
        for way in ways(model, successor):
            yield (form, *way)


def check_by_ways(model: Model) -> None:
    begins, ends, ever = entered(model), left(model), reachable(model)
    found = list(ways(model, model.root))
    for form in model.forms:
        times = [
            [model.forms[past].lasts.bounds() for past in way[:-1]]
            for way in found
            if way[-1] == form
        ]
        shortest = min(sum(low for low, _ in lasts) for lasts in times)
        unbounded = any(high is None for lasts in times for _, high in lasts)
        longest = max(sum(high or 0 for _, high in lasts) for lasts in times)
        assert begins[form] == (shortest, None if unbounded else longest)
        low, high = model.forms[form].lasts.bounds()
        assert ends[form].earliest == shortest + low
        assert ends[form].latest == (None if unbounded or high is None else longest + high)
        onward = {past for way in ways(model, form) for past in way[1:]}
        assert set(ever[form]) == onward
        assert set(successors(model)[form]) == {
            way[1] for way in ways(model, form) if len(way) == 2
        }


@pytest.mark.parametrize("name", shipped("models"))
def test_growth_of_a_shipped_model_is_what_counting_every_way_gives(name: str) -> None:
    check_by_ways(load_model(name))


@randomly
@given(models())
def test_growth_of_any_model_is_what_counting_every_way_gives(data: dict[str, Any]) -> None:
    check_by_ways(load_model(data))


@pytest.mark.parametrize("name", shipped("models"))
def test_each_form_comes_after_all_that_can_grow_into_it(name: str) -> None:
    model = load_model(name)
    order = in_order_of_growth(model)
    assert sorted(order) == sorted(model.forms)
    for form, nexts in successors(model).items():
        assert all(order.index(form) < order.index(successor) for successor in nexts)


@randomly
@given(worlds())
def test_every_form_of_a_life_is_taken_within_its_bounds(world: World) -> None:
    model = load_model(world.model)
    begins = entered(model)
    life = simulate(model, world.regime, seed=world.seed, life=world.life, **world.span)
    for form, (earliest, latest) in begins.items():
        second = life.summary[f"entered_s.{form}"]
        assert second == -1 or earliest <= second
        assert latest is None or second <= latest


def test_bounds_of_lamplet_by_hand() -> None:
    # 5 min of spark, 80 to 100 min of glint, 38 to 42 h of flicker, 100 to 104 h of glow
    begins = entered(load_model("lamplet"))
    assert begins["spark"] == (0, 0)
    assert begins["glint"] == (300, 300)
    assert begins["flicker"] == (85 * 60, 105 * 60)
    assert begins["beacon"] == (138 * HOUR + 85 * 60, 146 * HOUR + 105 * 60)
    # ash: after 2 to 5 days, as smoulder at the shortest and as ember at the longest
    assert begins["ash"] == (begins["beacon"][0] + 2 * DAY, begins["beacon"][1] + 5 * DAY)
    assert left(load_model("lamplet"))["ash"] == (
        begins["ash"][0] + 12 * HOUR,
        begins["ash"][1] + 36 * HOUR,
    )


def test_a_wait_without_a_longest_leaves_everything_after_it_without_a_latest() -> None:
    model = load_model(
        {
            "petsim": "model 1",
            "name": "Twig",
            "outcome stage": "s",
            "aim": "c",
            "needs": {"n": {"full": 1}},
            "stages": {"s": {}},
            "forms": {
                "a": {"stage": "s", "lasts": "1 h", "grows into": "b"},
                "b": {"stage": "s", "lasts": "exponential 1 h", "grows into": "c"},
                "c": {"stage": "s", "lasts": "2 h"},
            },
        }
    )
    assert entered(model) == {"a": (0, 0), "b": (HOUR, HOUR), "c": (HOUR + 1, None)}
    assert left(model)["c"] == (3 * HOUR + 1, None)


def test_order_of_growth_of_a_wide_graph() -> None:
    # a form that many others grow into comes after them all, however they are written
    last = {"stage": "grown", "lasts": "1 h"}
    middle = {f"m{n}": {**last, "grows into": "end"} for n in range(100)}
    rules = [
        *({name: {"weight": f"exactly {n}"}} for n, name in enumerate(middle)),
        {"end": "otherwise"},
    ]
    data = {
        "petsim": "model 1", "name": "Wide", "outcome stage": "grown", "aim": "end",
        "needs": {"hunger": {"full": 4}}, "stages": {"grown": {}},
        "forms": {"end": last, **middle, "root": {**last, "grows into": rules}},
    }  # fmt: skip
    assert in_order_of_growth(load_model(data)) == ["root", *middle, "end"]
