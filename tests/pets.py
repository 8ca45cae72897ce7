"""Random pets as they are now, of random models, such as their checks let pass."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st

from petsim.errors import SpecError
from petsim.spec.clocks import clock_text
from petsim.spec.library import load_model
from petsim.spec.model import Form, Model
from petsim.spec.pet import waits
from petsim.spec.quantities import DAY
from petsim.spec.taken_over import TakenOver
from tests.strategies import Data, World, pace, worlds

WEEKDAYS = ("Mon", "Sat", "Sun")


@st.composite
def taken_over_worlds(draw: Any) -> World | None:
    """A random world whose lives take a pet over; None if its pet can't be as it was drawn."""
    world = draw(worlds())
    pet = draw(pets(world.model))
    try:
        model = load_model(pet)
    except SpecError:
        return None
    assert isinstance(model, TakenOver)
    return world._replace(model=pet)


@st.composite
def pets(draw: Any, data: Data) -> Data:
    """A pet of a model, given as plain data, in any of its forms, at any time of its day."""
    model, unit = load_model(data), pace(data)
    name = draw(st.sampled_from(list(model.forms)))
    form = model.forms[name]
    pet: Data = {
        "petsim": "pet 1",
        "model": data,
        "at": f"{draw(st.sampled_from(WEEKDAYS))} {clock_text(_clock(draw, form))}",
        "form": name,
        "for": _span(draw, unit, 0, 1, 2, 5),
        "levels": {need: _level(draw, each.full) for need, each in model.needs.items()},
        "misses in form": _misses(draw, model),
    }
    if draw(st.booleans()):
        pet["misses in life"] = draw(st.integers(0, 4))
    if form.dormant:
        return pet
    return pet | _waiting(draw, model, form, unit) | _of_the_form(draw, form, unit)


def _clock(draw: Any, form: Form) -> int:
    """A second of the day, often one at which sleep begins or ends, or next to it."""
    edges = [edge for window in form.sleeps for edge in (window.start, window.end)]
    near = [(edge + by) % DAY for edge in edges for by in (-1, 0, 1, 600)]
    return int(
        draw(st.sampled_from(near) if near and draw(st.booleans()) else st.integers(0, DAY - 1))
    )


def _span(draw: Any, unit: int, *multiples: int) -> str:
    low = unit * draw(st.sampled_from(multiples))
    more = draw(st.sampled_from([0, 0, 1, unit]))
    return f"{low} s to {low + more} s" if more else f"{low} s"


def _level(draw: Any, full: int) -> Any:
    low = draw(st.integers(0, full))
    high = draw(st.integers(low, full))
    return f"{low} to {high}" if high > low and draw(st.booleans()) else low


def _misses(draw: Any, model: Model) -> Any:
    if draw(st.booleans()):
        return draw(st.integers(0, 2))
    causes = draw(st.lists(st.sampled_from(model.causes), max_size=2, unique=True))
    return {cause: draw(st.integers(0, 2)) for cause in causes} or 0


def _waiting(draw: Any, model: Model, form: Form, unit: int) -> Data:
    """What is said of waits."""
    since = {key: _span(draw, unit, 0, 1, 2) for key in waits(model, form) if draw(st.booleans())}
    return {"since last": since} if since else {}


def _of_the_form(draw: Any, form: Form, unit: int) -> Data:
    """What is said of waste, illness, weight, discipline and lights."""
    pet: Data = {}
    if form.waste and draw(st.booleans()):
        pet["waste"] = draw(st.sampled_from([1, 2, "0 to 1"]))
        if draw(st.booleans()):
            pet["waste for"] = _span(draw, unit, 0, 1, 3)
    if form.illness and draw(st.booleans()):
        pet["ill"] = "yes"
        if draw(st.booleans()):
            pet["ill for"] = _span(draw, unit, 0, 1)
        if draw(st.booleans()):
            pet["doses"] = draw(st.sampled_from([1, 2, "1 to 3"]))
    if draw(st.booleans()):
        pet["weight"] = draw(st.sampled_from([5, "5 to 60"]))
    if draw(st.booleans()):
        pet["discipline"] = draw(st.sampled_from([0, 100, "20 to 90"]))
    if form.sleeps and draw(st.booleans()):
        pet["lights"] = draw(st.sampled_from(["on", "off"]))
    return pet
