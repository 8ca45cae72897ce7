"""What a file of a pet as it is now becomes, what it must fit, and what it leaves to be assumed."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from petsim.errors import MisfitError, SpecError
from petsim.spec.clocks import Begins, sleep_window
from petsim.spec.document import Data
from petsim.spec.growth import has_outcome
from petsim.spec.library import kind, load, load_model, load_pet, model_of
from petsim.spec.pet import EXACT_IF_EXPONENTIAL, Assumed, Pet, seconds_asleep, waits
from petsim.spec.quantities import DAY, LONGEST
from petsim.spec.ranges import Range, count_range, count_range_text, span_range, span_range_text

random = settings(max_examples=100, deadline=None, derandomize=True)
VALID = Path(__file__).parents[1] / "cases" / "valid"
LAMPLET = load_model("lamplet")
NOW: dict[str, Any] = {
    "petsim": "pet 1",
    "model": "lamplet",
    "at": "Wed 07:40",
    "form": "flicker",
    "for": "20 h to 24 h",
    "levels": {"hunger": 3, "mood": 5},
    "misses in form": {"hunger": 1},
}


def changed(data: dict[str, Any] | None = None, **fields: Any) -> dict[str, Any]:
    """The data of a valid pet with some of its fields changed, or taken away by None."""
    new = {key.replace("_", " ").strip(): value for key, value in fields.items()}
    both = copy.deepcopy(data or NOW) | new
    return {key: value for key, value in both.items() if value is not None}


def refusal(data: dict[str, Any], model: Any = None) -> list[str]:
    with pytest.raises(SpecError) as error:
        load_pet(data, model)
    return [str(problem).removeprefix("pet data: ") for problem in error.value.problems]


def with_model(*changes: tuple[tuple[str | int, ...], Data]) -> Any:
    """Lamplet with other values at some places."""
    document = LAMPLET.source()
    for steps, value in changes:
        document = document.with_value(steps, value)
    return load_model(document.data)


class TestRange:
    @pytest.mark.parametrize(
        ("text", "low", "high"), [("3", 3, 3), ("20 to 40", 20, 40), ("4 to 4", 4, 4)]
    )
    def test_numbers(self, text: str, low: int, high: int) -> None:
        assert count_range(text) == Range(low, high)
        assert count_range(count_range_text(Range(low, high))) == Range(low, high)

    @pytest.mark.parametrize(
        ("text", "low", "high"),
        [
            ("20 h", 72_000, 72_000),
            ("0 s", 0, 0),
            ("90 min to 1 h 40 min 5 s", 5400, 6005),
            ("PT10M to 1 day", 600, DAY),
        ],
    )
    def test_times(self, text: str, low: int, high: int) -> None:
        assert span_range(text) == Range(low, high)
        assert span_range(span_range_text(Range(low, high))) == Range(low, high)

    @pytest.mark.parametrize("text", ["", "3 to", "to 4", "3 to 4 to 5", "3-4", "3to4"])
    def test_what_is_none(self, text: str) -> None:
        for read in (count_range, span_range):
            with pytest.raises(MisfitError):
                read(text)

    def test_it_is_known_without_two_ends(self) -> None:
        assert Range(3, 3).is_known
        assert not Range(3, 4).is_known

    def test_each_value_has_the_same_share_of_the_numbers_drawn(self) -> None:
        ends = Range(20, 24)
        assert [ends.draw(k / 1000 + 5e-4) for k in range(1000)] == [
            20 + k // 200 for k in range(1000)
        ]

    @given(low=st.integers(0, LONGEST), more=st.integers(0, LONGEST), k=st.integers(0, 2**52 - 1))
    @random
    def test_a_draw_lies_in_it(self, low: int, more: int, k: int) -> None:
        ends = Range(low, low + more)
        assert low <= ends.draw((k + 0.5) * 2.0**-52) <= low + more

    def test_its_ends_are_drawn(self) -> None:
        least, most = 2.0**-53, 1 - 2.0**-53
        for ends in (Range(0, 1), Range(3, 1000), Range(0, DAY), Range(7, 7)):
            assert (ends.draw(least), ends.draw(most)) == (ends.low, ends.high)


class TestValues:
    def test_of_a_file(self) -> None:
        pet = load_pet(VALID / "every-key.pet.yaml")
        assert (pet.id, pet.name, pet.model) == ("every-key.pet", "Nook", "lamplet")
        assert pet.at == Begins(6, 21 * 3600 + 30 * 60 + 30)
        assert (pet.form, pet.form_age) == ("flicker", Range(5400, 7200))
        assert pet.levels == {"hunger": Range(0, 2), "mood": Range(6, 6)}
        assert (pet.waste, pet.waste_for) == (Range(0, 3), Range(0, 600))
        assert (pet.weight, pet.discipline) == (Range(5, 30), Range(20, 40))
        assert (pet.ill, pet.ill_for, pet.doses) == (True, Range(600, 600), Range(1, 2))
        assert (pet.lights, pet.empty_for) == ("off", {"hunger": Range(720, 68_400)})
        assert pet.since_last["waste"] == Range(2400, 5400)
        assert pet.misses_in_form == {"hunger": Range(1, 2), "lights": Range(0, 0)}
        assert pet.misses_in_life == {"mood": Range(3, 3)}

    def test_left_out(self) -> None:
        pet = load_pet(NOW)
        for field in ("waste", "waste_for", "weight", "discipline", "ill", "doses", "lights"):
            assert getattr(pet, field) is None
        assert (pet.empty_for, pet.since_last, pet.misses_in_life) == ({}, {}, {})

    def test_it_names_itself(self) -> None:
        assert load_pet(NOW).id == "pet"
        assert load_pet(changed(name="Nook of mine")).id == "nook-of-mine"
        assert repr(load_pet(NOW)) == "<pet pet: flicker of lamplet, at Wednesday 07:40>"

    def test_misses_of_no_cause_are_none(self) -> None:
        assert load_pet(changed(misses_in_form={})) == load_pet(changed(misses_in_form=0))

    def test_it_is_loaded_by_its_first_line(self) -> None:
        path = VALID / "flicker.pet.yaml"
        assert kind(path) == "pet"
        assert load(path) == load_pet(path) == load_pet(str(path))

    def test_a_pet_is_loaded_as_it_is_and_checked_against_another_model(self) -> None:
        pet = load_pet(VALID / "flicker.pet.yaml")
        assert load_pet(pet) is pet
        assert load_pet(pet, LAMPLET) is pet
        [problem, *_] = refusal(pet.model_dump(by_alias=True), "plain-clock")
        assert problem.startswith("form: found the unknown form 'flicker'; expected one of 'seed'")
        with pytest.raises(SpecError, match=r"flicker\.pet\.yaml:5:7: form: found the unknown"):
            load_pet(pet, "plain-clock")

    def test_its_model_is_found_by_its_name_or_from_the_folder_of_its_file(self) -> None:
        assert model_of(load_pet(NOW)) == LAMPLET
        assert model_of(load_pet(VALID / "asleep.pet.yaml")).name == "Mote"

    def test_a_pet_of_no_model_is_read_for_its_other_faults(self) -> None:
        assert refusal(changed(model=None, ill="perhaps")) == [
            "model: missing; expected the name of its model, the path from this file's folder, or "
            "its content",
            "ill: found 'perhaps'; expected yes or no",
        ]

    def test_a_name_alone_is_a_path_as_no_pet_is_shipped(self) -> None:
        with pytest.raises(SpecError, match=r"^nobody: no such file; expected a YAML file$"):
            load_pet("nobody")


class TestFit:
    """Beside the files of tests/cases/invalid/pet."""

    def test_a_range_that_begins_at_0_may_say_how_long_the_need_is_empty(self) -> None:
        load_pet(changed(levels={"hunger": "0 to 3", "mood": 5}, empty_for={"hunger": "1 h"}))

    def test_a_wait_is_as_old_as_the_form_at_most(self) -> None:
        # Waste comes after 3 h 30 min at most, but what was before the growth is drawn anew.
        load_pet(changed(for_="2 h", since_last={"waste": "9 h"}))
        [problem] = refusal(changed(for_="2 h to 4 h", since_last={"waste": "9 h"}))
        assert problem == (
            "since last.waste: found '9 h'; expected less, as the wait for waste lasts at most "
            "3 h 30 min"
        )

    def test_what_is_never_a_deadline_may_be_said_all_the_same(self) -> None:
        never = with_model((("stages", "juvenile", "grace", "mood"), "never"))
        data = changed(levels={"hunger": 3, "mood": 0}, empty_for={"mood": "3 days"})
        load_pet(data, never)

    def test_an_illness_is_brought_along_into_a_form_that_names_none(self) -> None:
        healthy = with_model((("forms", "flicker", "illness"), "none"))
        load_pet(changed(ill="yes", doses=2), healthy)

    def test_a_pile_may_be_above_that_of_the_form_as_growth_leaves_it(self) -> None:
        load_pet(changed(waste=9))

    @pytest.mark.parametrize(
        ("in_form", "in_life", "field"),
        [
            (2, None, "misses in form"),
            ({"hunger": 1}, 2, "misses in life"),
            ({"hunger": 1}, "0 to 2", "misses in life"),
            (4, {"hunger": 3}, "misses in form"),
        ],
    )
    def test_misses_in_life_without_a_cause_that_a_later_rule_asks_for(
        self, in_form: Any, in_life: Any, field: str
    ) -> None:
        asking = with_model(
            (("forms", "gutter", "grows into", 0, "candle", "misses in life"), {"mood": "below 9"})
        )
        data = changed(misses_in_form=in_form, misses_in_life=in_life)
        said = in_form if field == "misses in form" else in_life
        assert refusal(data, asking) == [
            f"{field}: found '{said}'; expected a number for each cause, as growth into candle "
            "asks for those of mood"
        ]
        load_pet(data)

    @pytest.mark.parametrize(
        ("in_form", "in_life"), [(0, None), ({}, 0), (3, {"hunger": 3}), ({"mood": 3}, None)]
    )
    def test_misses_that_all_have_a_cause_are_taken(self, in_form: Any, in_life: Any) -> None:
        asking = with_model(
            (("forms", "gutter", "grows into", 0, "candle", "misses in life"), {"mood": "below 9"})
        )
        load_pet(changed(misses_in_form=in_form, misses_in_life=in_life), asking)

    def test_a_rule_that_can_come_into_play_no_more_asks_for_nothing(self) -> None:
        load_pet(changed(form="beacon", for_="1 day", misses_in_form=3))

    @pytest.mark.parametrize(
        ("in_form", "in_life", "fatal"),
        [
            (59, None, False),
            (60, None, True),
            ({"hunger": 40}, {"hunger": 20, "mood": 19}, False),
            ({"hunger": 40}, {"hunger": 20, "mood": 20}, True),
            ({"hunger": 60}, 3, True),
            (60, {"hunger": 2}, True),
            (1, "2 to 60", True),
        ],
    )
    def test_misses_are_counted_as_lives_count_them(
        self, in_form: Any, in_life: Any, fatal: bool
    ) -> None:
        data = changed(form="beacon", for_="1 h", misses_in_form=in_form, misses_in_life=in_life)
        if fatal:
            [problem] = refusal(data)
            assert problem.endswith(": found 60; expected fewer than 60, which are fatal")
        else:
            load_pet(data)


class TestAsleep:
    NIGHT = (sleep_window("22:30 to 07:00"),)
    TOUCHING = tuple(map(sleep_window, ("21:00 to 23:00", "23:00 to 02:00", "01:30 to 06:00")))

    @pytest.mark.parametrize(
        ("clock", "seconds"),
        [
            ("22:29:59", None),
            ("22:30", 0),
            ("23:30", 3600),
            ("06:59:59", 30_599),
            ("07:00", None),
            ("12:00", None),
        ],
    )
    def test_since_the_opening_of_its_window(self, clock: str, seconds: int | None) -> None:
        pet = load_pet(changed(form="beacon", for_="1 h", at=clock))
        assert seconds_asleep(self.NIGHT, pet.at.clock) == seconds
        assert seconds_asleep(LAMPLET.forms["beacon"].sleeps, pet.at.clock) == seconds

    def test_windows_that_touch_or_overlap_are_one(self) -> None:
        assert seconds_asleep(self.TOUCHING, 5 * 3600) == 8 * 3600
        assert seconds_asleep(self.TOUCHING, 6 * 3600) is None

    def test_who_sleeps_round_the_clock_has_always_slept(self) -> None:
        always = tuple(map(sleep_window, ("00:00 to 12:00", "12:00 to 24:00")))
        assert [seconds_asleep(always, clock) for clock in (0, 43_200)] == [LONGEST, LONGEST]

    def test_who_has_no_window_is_awake(self) -> None:
        assert seconds_asleep((), 0) is None

    @given(
        st.lists(
            st.tuples(st.integers(0, DAY - 1), st.integers(0, DAY)).filter(lambda w: w[0] != w[1]),
            max_size=4,
        ),
        st.integers(0, DAY - 1),
    )
    @random
    def test_it_slept_in_each_second_since_and_not_before(
        self, ends: list[tuple[int, int]], clock: int
    ) -> None:
        texts = (
            f"{a // 3600:02}:{a % 3600 // 60:02}:{a % 60:02} to "
            f"{b // 3600:02}:{b % 3600 // 60:02}:{b % 60:02}"
            for a, b in ends
        )
        windows = tuple(map(sleep_window, texts))
        asleep = {
            s for a, b in ends for s in (range(a, b) if a < b else (*range(a, DAY), *range(b)))
        }
        seconds = seconds_asleep(windows, clock)
        assert (seconds is None) == (clock not in asleep)
        if seconds is not None and seconds < LONGEST:
            assert {(clock - back) % DAY for back in range(seconds + 1)} <= asleep
            assert (clock - seconds - 1) % DAY not in asleep
        if seconds == LONGEST:
            assert len(asleep) == DAY


class TestAssumed:
    def test_of_a_pet_of_which_little_is_said(self) -> None:
        data = changed(at="Wed 21:10", levels={"hunger": 0, "mood": "0 to 2"}, waste=1, ill="yes")
        assert load_pet(data).assumed(LAMPLET) == (
            Assumed("waste for", "0 s", "as if it had just come"),
            Assumed("weight", "22", "the least that flicker weighs"),
            Assumed("discipline", "0", "as at birth"),
            Assumed("ill for", "0 s", "as if it had just fallen ill"),
            Assumed("doses", "drawn", "as for a new illness"),
            Assumed("lights", "on", "as when it fell asleep"),
            Assumed("empty for.hunger", "0 s", "as if it had just reached 0"),
            Assumed("empty for.mood", "0 s", "as if it had just reached 0"),
            Assumed("since last.hunger", "0 s", EXACT_IF_EXPONENTIAL),
            Assumed("since last.waste", "0 s", EXACT_IF_EXPONENTIAL),
            Assumed("since last.misbehaviour", "0 s", EXACT_IF_EXPONENTIAL),
            Assumed("misbehaving", "no", "as it can't be seen"),
            Assumed("misses in life", "those in form", "as none before are said"),
        )

    def test_of_a_pet_that_nothing_is_wrong_with(self) -> None:
        said = load_pet(changed(since_last=dict.fromkeys(("hunger", "waste"), "1 min"), weight=30))
        fields = [assumed.field for assumed in said.assumed(LAMPLET)]
        assert fields == [
            *("waste", "discipline", "ill", "since last.misbehaviour", "misbehaving"),
            "misses in life",
        ]

    def test_a_weight_below_that_of_the_form_is_raised(self) -> None:
        for weight, raised in (("5 to 30", "22 to 30"), ("5 to 9", "22"), ("21", "22")):
            assumed = load_pet(changed(weight=weight)).assumed(LAMPLET)
            assert Assumed("weight", raised, "the least that flicker weighs") in assumed
        assumed = load_pet(changed(weight=22)).assumed(LAMPLET)
        assert "weight" not in {each.field for each in assumed}

    def test_a_dormant_pet_has_no_waste_illness_sleep_or_waits(self) -> None:
        pet = load_pet(VALID / "unhatched.pet.yaml")
        fields = [assumed.field for assumed in pet.assumed(LAMPLET)]
        assert fields == ["weight", "discipline", "misses in life"]

    def test_what_has_no_consequence_is_not_told(self) -> None:
        pet = load_pet(VALID / "asleep.pet.yaml")
        fields = {assumed.field for assumed in pet.assumed(model_of(pet))}
        assert not fields & {"waste for", "empty for.hunger", "lights"}

    @pytest.mark.parametrize("path", sorted(VALID.glob("*.pet.yaml")), ids=lambda path: path.name)
    def test_what_is_said_is_not_assumed(self, path: Path) -> None:
        pet = load_pet(path)
        said = {
            str(field.alias): getattr(pet, name)
            for name, field in Pet.model_fields.items()
            if getattr(pet, name) not in (None, {}, "")
        }
        for field, _, reason in pet.assumed(model_of(pet)):
            key, _, inner = field.partition(".")
            assert key not in said or (inner and inner not in said[key]) or "least" in reason


def test_a_model_of_nothing_is_refused_as_a_model() -> None:
    assert "name: missing; expected the name of the pet" in refusal(changed(model={}))[1]


def test_waits_of_a_form_are_those_it_has() -> None:
    assert list(waits(LAMPLET, LAMPLET.forms["flicker"])) == [
        *("hunger", "mood", "waste", "misbehaviour")
    ]
    assert list(waits(LAMPLET, LAMPLET.forms["glint"])) == ["hunger", "mood", "waste"]
    assert waits(LAMPLET, LAMPLET.forms["spark"]) == {}


@pytest.mark.parametrize(
    ("form", "decided"),
    [("spark", False), ("glow", False), ("beacon", True), ("ember", True), ("afterglow", True)],
)
def test_an_outcome_is_decided_in_the_outcome_stage_and_beyond(form: str, decided: bool) -> None:
    assert has_outcome(LAMPLET, form) == decided


def test_an_outcome_is_decided_where_no_form_of_its_stage_can_be_reached() -> None:
    dead_end = with_model((("forms", "shimmer", "grows into"), "ash"))
    assert has_outcome(dead_end, "shimmer")
    assert not has_outcome(dead_end, "flicker")
