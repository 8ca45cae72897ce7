"""The table and the state of the compiled engine: what is declared is filled, fits and is used."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import petsim
from petsim.life import draws
from petsim.life.compiled import layout, layout_state, lower
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


def lowered(model: Any = "lamplet", caretaker: Any = "camera-rig") -> lower.Lowered:
    files = petsim.load_model(model), petsim.load_regime(caretaker)
    return lower.lower_files(*files, until_outcome=True)


def first(table: Any, name: str, n: int) -> list[Any]:
    """The first numbers of a field of a table."""
    return table[name][0][:n].tolist()


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
    fields = layout.TABLE if record == "table" else layout_state.STATE + layout_state.SIGHT
    unused = {f.name for f in fields if not re.search(rf"\b{record}\.{f.name}\b", SOURCES)}
    # the first drop's slot is a constant too, and clock windows are seen by their place only
    assert unused == ({"at_drop"} if record == "table" else {"_clock"})


def test_names_are_declared_once() -> None:
    for fields in (layout.TABLE, layout_state.STATE + layout_state.SIGHT):
        names = [field.name for field in fields]
        assert sorted(names) == sorted(set(names))


def test_what_can_be_looked_at_lies_in_the_order_of_its_places() -> None:
    state = np.zeros(1, dtype=lowered().state)
    names = ("pile", "ill", "asleep", "lights", "calling", "weight", "discipline")
    for place, name in enumerate(names):
        state[name] = 10 + place
    state["level"][0][:2] = 20, 21
    assert state["sight"][0][:9].tolist() == [10, 11, 12, 13, 14, 15, 16, 20, 21]


def test_usual_files_share_one_layout_and_larger_ones_have_room_for_more() -> None:
    usual, other = lowered(), lowered("lamplet-quick", "school-day")
    assert (usual.table.dtype, usual.state) == (other.table.dtype, other.state)
    model = petsim.load_model("lamplet").model_dump(by_alias=True)
    needs = {f"need {number}": {"full": 3} for number in range(9)}
    larger = petsim.load_model(model | {"needs": model["needs"] | needs})
    table = lower.lower_files(larger, petsim.load_regime("camera-rig"), until_outcome=True).table
    assert usual.table["full"].shape == (1, layout.ROOMS["needs"])
    assert table["full"].shape == (1, 4 * layout.ROOMS["needs"])
    assert table["drops"].shape == (1, 4 * layout.ROOMS["forms"], 4 * layout.ROOMS["needs"])


def test_a_pet_that_knows_no_action_is_lowered() -> None:
    stages = {"young": {}}
    forms = {"sprig": {"stage": "young", "lasts": "1 h"}}
    file = pet(care={}, stages=stages, forms=forms, aim="sprig", outcome_stage="young")
    model, caretaker = petsim.load_model(file), petsim.load_regime(regime())
    table = lower.lower_files(model, caretaker, until_outcome=False).table
    assert table["in_cut_off"] == table["in_unfair"] + 1


# What the caretaker's time, light and presses become


def test_clock_times_are_seconds_of_the_week_in_order_each_once() -> None:
    at = ["12:30 on Sat", "07:15 on Mon Tue", "00:00 on Mon", "07:15 on Mon"]
    table = lowered(pet(), regime(checks={"at": at})).table
    day, quarter_past = 86_400, 7 * 3600 + 900
    assert table["n_times"] == 4
    assert first(table, "time_of_week", 5) == [
        *(0, quarter_past, day + quarter_past, 5 * day + 45_000),
        0,
    ]
    assert table["first"] == 0
    assert not table["is_regular"]


def test_more_clock_times_than_the_usual_room_have_more() -> None:
    def room(times: int) -> int:
        at = [f"{n // 60:02}:{n % 60:02}" for n in range(times)]
        return lowered(pet(), regime(checks={"at": at})).table["time_of_week"].size

    usual = layout.ROOMS["clock times"]
    assert room(usual // 7) == usual
    assert room(usual // 7 + 1) == 4 * usual


def test_windows_that_name_no_interval_are_none_of_the_grid() -> None:
    windows = [
        {"during": "00:00 to 01:00", "forgets": "50%"},
        {"during": "01:00 to 02:00", "every": "5 min"},
        {"during": "02:00 to 03:00", "every": "never", "forgets": "100%"},
    ]
    checks = {"every": "1 min", "forgets": "10%", "windows": windows}
    table = lowered(pet(), regime(checks=checks)).table
    assert table["n_check_windows"] == 2
    assert first(table, "window_every", 2) == [300, 2**62]
    assert table["n_forget_windows"] == 2
    assert first(table, "forget_step", 3) == [draws.error_step(p) for p in (0.1, 0.5, 1.0)]
    assert table["n_edges"] == 4


def test_rates_in_spells_are_those_of_a_whole_observation_in_each_setting_of_the_eyes() -> None:
    eyes = {
        "waste": {"overlooks": "10%", "imagines": "20%"},
        "hunger": {"misreads": "10%"},
        "looks": {"of": 3, "agree": 2},
        "windows": [{"during": "00:00 to 01:00", "waste": {"imagines": "40%"}}],
        "spells": {"clear": "1 h", "lasts": "1 h", "waste": {"imagines": "30%"},
                   "mood": {"misreads": "50%"}},
    }  # fmt: skip
    table = lowered(pet(), regime(eyes=eyes)).table

    def steps(error: int) -> list[int]:
        return table["error_step"][0][error][:5].tolist()

    def voted(p: float) -> int:
        return draws.error_step(draws.effective_imagines(p, 3, 2))

    # errors: overlooks of five signals, imagines of five, misreads of hunger and mood
    overlooked = draws.error_step(draws.effective_overlooks(0.1, 3, 2))
    assert steps(0) == [overlooked] * 4 + [0]
    assert steps(5) == [voted(0.2), voted(0.4), *[draws.error_step(0.3)] * 2, 0]
    misread = draws.error_step(draws.effective_misreads(0.1, 3))
    assert steps(10) == [misread] * 4 + [0]
    assert steps(11) == [0, 0, *[draws.error_step(0.5)] * 2, 0]


def test_eyes_that_err_in_spells_alone_err() -> None:
    spells = {"clear": "1 h", "lasts": "1 h", "lights": {"overlooks": "1%"}}
    eyes = {"looks": {"of": 2, "agree": 1}, "spells": spells}
    assert lowered(pet(), regime(eyes=eyes)).table["n_errors"] > 0
    assert lowered(pet(), regime(eyes={"spells": spells | {"lights": {}}})).table["n_errors"] == 0
    assert lowered(pet(), regime(checks={"every": "1 h", "forgets": "1%"})).table["n_errors"] > 0


def test_steps_that_only_look_are_left_out_where_no_eye_errs() -> None:
    routine = [{"look": ["calling", "discipline"]}, {"do": "clean"}]
    assert lowered(pet(), regime(*routine)).table["n_steps"] == 1
    table = lowered(pet(), regime(*routine, eyes={"ill": {"imagines": "1%"}})).table
    assert table["n_steps"] == 2
    # discipline is plain, so there is one thing to look at that can be mistaken
    assert first(table, "times", 2) == [0, 1]
    assert first(table, "n_looks", 2) == [1, 0]
    assert first(table, "looks_for_calls", 2) == [1, 0]


def test_a_law_of_lateness_gives_0_s_and_the_same_law_of_a_duration_does_not() -> None:
    law = "uniform 0 s to 9 s"
    table = lowered(pet(lasts=law), regime(checks={"every": "1 h", "late": law})).table
    lateness, lasts = table["lateness"][0], table["lasts"][0][0]
    assert lateness != lasts
    assert table["law_least"][0][lateness] == 0
    assert table["law_least"][0][lasts] == 1
