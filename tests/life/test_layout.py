"""The table and the state of the compiled engine: what is declared is filled, fits and is used."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import petsim
from petsim.life.compiled import layout, lower
from petsim.life.compiled.constants import NONE
from petsim.life.compiled.structured import (
    COUNT,
    FLAG,
    NUMBER,
    PLACE,
    REAL,
    WORD,
    Field,
    filled,
)
from tests.life.worlds import pet, regime

SOURCES = "".join(
    file.read_text(encoding="utf-8")
    for file in (Path(petsim.__file__).parent / "life" / "compiled").glob("*.py")
)
ROOMS = {"needs": 4}


def lowered(model: str = "lamplet", caretaker: str = "camera-rig") -> lower.Lowered:
    files = petsim.load_model(model), petsim.load_regime(caretaker)
    return lower.lower_files(*files, until_outcome=True, horizon=None)


def test_none_is_refused_where_a_place_is_unsigned() -> None:
    field = Field("first_rule", PLACE, "the first of its rules", ("needs",))
    message = r"^first_rule: -1 to 3; expected 0 to 4294967295$"
    with pytest.raises(ValueError, match=message):
        filled([field], {"first_rule": [3, NONE]}, ROOMS)
    with pytest.raises(ValueError, match=message):
        filled([field], {"first_rule": np.array([3, -1])}, ROOMS)


@pytest.mark.parametrize(
    ("kind", "value", "message"),
    [
        (FLAG, 2, "one: 2 to 2; expected 0 to 1"),
        (COUNT, -1, "one: -1 to -1; expected 0 to 4611686018427387904"),
        (NUMBER, -2, "one: -2 to -2; expected -1 to 4611686018427387904"),
        (COUNT, 1.5, "one: float64; expected whole numbers"),
        (COUNT, 1.0, "one: float64; expected whole numbers"),
        (WORD, -1, "one: -1 to -1; expected 0 to 18446744073709551615"),
        (REAL, float("nan"), "one: nan to nan; expected -inf to inf"),
        (COUNT, [1], r"one: 1 dimensions; expected \(\)"),
    ],
)
def test_a_number_that_is_not_of_its_kind_is_refused(kind: Any, value: Any, message: str) -> None:
    with pytest.raises(ValueError, match=f"^{message}$"):
        filled([Field("one", kind, "a number")], {"one": value}, ROOMS)


def test_what_is_left_of_the_room_is_zero() -> None:
    record = filled([Field("full", COUNT, "a level", ("needs",))], {"full": [5, 6]}, ROOMS)
    assert record["full"].tolist() == [[5, 6, 0, 0]]


def test_a_declared_field_without_a_value_is_an_error(monkeypatch: pytest.MonkeyPatch) -> None:
    more = (*layout.TABLE, Field("shoe_size", COUNT, "not lowered"))
    monkeypatch.setattr(lower, "TABLE", more)
    message = r"^fields without a value: \['shoe_size'\]; without a declaration: \[\]$"
    with pytest.raises(ValueError, match=message):
        lowered()


def test_a_value_without_a_declared_field_is_an_error(monkeypatch: pytest.MonkeyPatch) -> None:
    fewer = tuple(field for field in layout.TABLE if field.name != "jitter")
    monkeypatch.setattr(lower, "TABLE", fewer)
    message = r"^fields without a value: \[\]; without a declaration: \['jitter'\]$"
    with pytest.raises(ValueError, match=message):
        lowered()


@pytest.mark.parametrize("record", ["table", "state"])
def test_every_field_is_used(record: str) -> None:
    fields = layout.TABLE if record == "table" else layout.STATE + layout.SIGHT
    unused = {f.name for f in fields if not re.search(rf"\b{record}\.{f.name}\b", SOURCES)}
    # the first drop's slot is a constant too, and clock windows are seen by their place only
    assert unused == ({"at_drop"} if record == "table" else {"_clock"})


def test_names_are_declared_once() -> None:
    for fields in (layout.TABLE, layout.STATE + layout.SIGHT):
        names = [field.name for field in fields]
        assert sorted(names) == sorted(set(names))


def test_what_can_be_looked_at_lies_in_the_order_of_its_places() -> None:
    state = np.zeros(1, dtype=lowered().state)
    for place, name in enumerate(("pile", "ill", "asleep", "lights", "calling", "weight")):
        state[name] = 10 + place
    state["level"][0][:2] = 20, 21
    assert state["sight"][0][:8].tolist() == [10, 11, 12, 13, 14, 15, 20, 21]


def test_usual_files_share_one_layout_and_larger_ones_have_room_for_more() -> None:
    usual, other = lowered(), lowered("lamplet-quick", "school-day")
    assert (usual.table.dtype, usual.state) == (other.table.dtype, other.state)
    model = petsim.load_model("lamplet").model_dump(by_alias=True)
    needs = {f"need {number}": {"full": 3} for number in range(9)}
    larger = petsim.load_model(model | {"needs": model["needs"] | needs})
    table = lower.lower_files(
        larger, petsim.load_regime("camera-rig"), until_outcome=True, horizon=None
    ).table
    assert usual.table["full"].shape == (1, layout.ROOMS["needs"])
    assert table["full"].shape == (1, 4 * layout.ROOMS["needs"])
    assert table["drops"].shape == (1, 4 * layout.ROOMS["forms"], 4 * layout.ROOMS["needs"])


def test_a_pet_that_knows_no_action_is_lowered() -> None:
    stages = {"young": {}}
    forms = {"sprig": {"stage": "young", "lasts": "1 h"}}
    file = pet(care={}, stages=stages, forms=forms, aim="sprig", outcome_stage="young")
    model, caretaker = petsim.load_model(file), petsim.load_regime(regime())
    table = lower.lower_files(model, caretaker, until_outcome=False, horizon=None).table
    assert table["in_cut_off"] == table["in_unfair"] + 1
