"""The state in which a life takes over a pet, worked out by hand and by the rules of its manual."""

from __future__ import annotations

import copy
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from petsim.errors import SpecError
from petsim.life.pet_now import PetNow, next_miss, pet_now
from petsim.spec.library import load_model, load_pet
from petsim.spec.model import Model
from petsim.spec.pet import Pet
from petsim.spec.quantities import duration_text

VALID = Path(__file__).parents[1] / "cases" / "valid"
LAMPLET = load_model("lamplet")
LEAST, MOST = 2.0**-53, 1 - 2.0**-53
HOUR, MINUTE = 3600, 60
NOW: dict[str, Any] = {
    "petsim": "pet 1",
    "model": "lamplet",
    "at": "Wed 12:00",
    "form": "flicker",
    "for": "20 h",
    "levels": {"hunger": 3, "mood": 5},
    "misses in form": 0,
}
random = settings(
    max_examples=200, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck)
)


def no_draw(source: str) -> float:
    raise AssertionError(f"{source} is drawn")


def now(u: float | None = None, model: Model = LAMPLET, **fields: Any) -> PetNow:
    """A pet with some fields changed, with u for each of its ranges, of which else it has none."""
    data = copy.deepcopy(NOW) | {k.replace("_", " ").strip(): v for k, v in fields.items()}
    return pet_now(load_pet(data, model), model, no_draw if u is None else lambda _: u)


class TestNextMiss:
    @pytest.mark.parametrize(
        ("grace", "again", "lasted", "due"),
        [
            (1200, 7200, 0, 1200),
            (1200, 7200, 1199, 1),
            # one that falls now has fallen
            (1200, 7200, 1200, 7200),
            (1200, 7200, 1201, 7199),
            (1200, 7200, 1200 + 7199, 1),
            (1200, 7200, 1200 + 7200, 7200),
            (1200, 7200, 1200 + 3 * 7200 + 100, 7100),
            (1200, None, 1199, 1),
            (1200, None, 1200, None),
            (None, 7200, 0, None),
            (1200, 7200, None, None),
            (1, 1, 1, 1),
        ],
    )
    def test_by_hand(
        self, grace: int | None, again: int | None, lasted: int | None, due: int | None
    ) -> None:
        assert next_miss(grace, again, lasted) == due

    @given(grace=st.integers(1, 50), again=st.integers(1, 50), lasted=st.integers(0, 500))
    @random
    def test_it_is_the_least_of_all_misses_after_now(
        self, grace: int, again: int, lasted: int
    ) -> None:
        falls = (grace + k * again - lasted for k in count())
        assert next_miss(grace, again, lasted) == next(after for after in falls if after > 0)


class TestDraws:
    def test_what_is_known_draws_nothing(self) -> None:
        assert now() == now(0.5)

    def test_each_range_draws_from_a_source_of_its_own_in_the_order_of_the_fields(self) -> None:
        asked: list[str] = []

        def draw(source: str) -> float:
            asked.append(source)
            return 0.5

        data = NOW | {
            "at": "Wed 23:00",
            "for": "20 h to 21 h",
            "levels": {"mood": "1 to 2", "hunger": "0 to 6"},
            "waste": "0 to 2",
            "waste for": "0 s to 1 min",
            "weight": "30 to 40",
            "discipline": "0 to 100",
            "ill": "yes",
            "ill for": "1 min to 2 min",
            "doses": "1 to 3",
            "empty for": {"hunger": "1 min to 3 min"},
            "since last": {"waste": "0 s to 9 s", "misbehaviour": "0 s to 9 s", "mood": "4 s"},
            "misses in form": {"hunger": "1 to 2", "lights": 3},
            "misses in life": "5 to 7",
        }
        pet_now(load_pet(data), LAMPLET, draw)
        assert asked == [
            "now for",
            "now levels mood",
            "now levels hunger",
            "now waste",
            "now waste for",
            "now weight",
            "now discipline",
            "now ill for",
            "now doses",
            "now empty for hunger",
            "now since last waste",
            "now since last misbehaviour",
            "now misses in form hunger",
            "now misses in life",
        ]

    def test_misses_without_a_cause_draw_from_their_field(self) -> None:
        pet = load_pet(NOW | {"misses in form": "1 to 4"})
        drawn = pet_now(pet, LAMPLET, {"now misses in form": 0.5}.__getitem__)
        assert drawn.all_misses_in_form == 3

    @pytest.mark.parametrize(
        ("u", "discipline", "age"),
        [(LEAST, 20, 72_000), (0.5, 30, 79_200), (MOST, 40, 86_400)],
    )
    def test_numbers_and_whole_seconds(self, u: float, discipline: int, age: int) -> None:
        # 21 numbers and 14,401 seconds: 20 + floor(u 21), 72,000 + floor(u 14,401)
        drawn = now(u, for_="20 h to 24 h", discipline="20 to 40")
        assert (drawn.discipline, drawn.form_age) == (discipline, age)


class TestFilledIn:
    def test_what_is_not_said(self) -> None:
        assert now() == PetNow(
            form_age=20 * HOUR,
            levels={"hunger": 3, "mood": 5},
            misses_due={"hunger": None, "mood": None},
            deaths_due={"hunger": None, "mood": None},
            pile=0,
            waste_miss_due=None,
            weight=22,
            discipline=0,
            ill=False,
            doses=0,
            illness_miss_due=None,
            illness_death_due=None,
            asleep=False,
            lights_on=True,
            lights_miss_due=None,
            drop_ages={"hunger": 0, "mood": 0},
            waste_age=0,
            misbehaviour_age=0,
            misses_in_form=dict.fromkeys(LAMPLET.causes, 0),
            all_misses_in_form=0,
            misses_in_life=dict.fromkeys(LAMPLET.causes, 0),
            all_misses_in_life=0,
        )

    def test_needs_are_in_the_order_of_the_model(self) -> None:
        drawn = now(levels={"mood": 1, "hunger": 2})
        assert list(drawn.levels.items()) == [("hunger", 2), ("mood", 1)]

    @pytest.mark.parametrize(("said", "weight"), [(5, 22), (22, 22), (30, 30)])
    def test_weight_is_raised_to_that_of_the_form(self, said: int, weight: int) -> None:
        assert now(weight=said).weight == weight


class TestDeadlines:
    # Of a flicker: hunger's grace 20 min, again after 3 h, fatal after 20 h; waste's grace 45 min;
    # illness's grace 75 min, fatal after 16 h; lights' grace 25 min.

    def test_of_a_need_that_has_just_reached_0(self) -> None:
        drawn = now(levels={"hunger": 0, "mood": 1})
        assert drawn.misses_due == {"hunger": 20 * MINUTE, "mood": None}
        assert drawn.deaths_due == {"hunger": 20 * HOUR, "mood": None}

    @pytest.mark.parametrize(
        ("empty_for", "miss"),
        [(12 * MINUTE, 8 * MINUTE), (20 * MINUTE, 3 * HOUR), (4 * HOUR, 2 * HOUR + 20 * MINUTE)],
    )
    def test_of_a_need_that_is_empty_for_a_while(self, empty_for: int, miss: int) -> None:
        drawn = now(levels={"hunger": 0, "mood": 1}, empty_for={"hunger": f"{empty_for} s"})
        assert drawn.misses_due["hunger"] == miss
        assert drawn.deaths_due["hunger"] == 20 * HOUR - empty_for

    def test_of_a_need_without_a_death(self) -> None:
        drawn = now(levels={"hunger": 1, "mood": 0})
        assert drawn.misses_due["mood"] == 20 * MINUTE
        assert drawn.deaths_due["mood"] is None

    @pytest.mark.parametrize(("u", "due"), [(LEAST, 10 * MINUTE), (MOST, None)])
    def test_of_a_need_that_may_be_empty_only_in_lives_in_which_it_is(
        self, u: float, due: int | None
    ) -> None:
        drawn = now(u, levels={"hunger": "0 to 1", "mood": 1}, empty_for={"hunger": "10 min"})
        assert drawn.misses_due["hunger"] == due
        assert (drawn.deaths_due["hunger"] is None) == (due is None)

    @pytest.mark.parametrize(
        ("said", "due"), [({}, 45 * MINUTE), ({"waste_for": "44 min"}, MINUTE),
                          ({"waste_for": "45 min"}, None), ({"waste_for": "9 h"}, None)]
    )  # fmt: skip
    def test_of_a_pile(self, said: dict[str, str], due: int | None) -> None:
        drawn = now(waste=2, **said)
        assert (drawn.pile, drawn.waste_miss_due) == (2, due)

    def test_of_a_pile_only_in_lives_in_which_there_is_one(self) -> None:
        piles = [now(u, waste="0 to 1", waste_for="5 min") for u in (LEAST, MOST)]
        assert [(pile.pile, pile.waste_miss_due) for pile in piles] == [(0, None), (1, 2400)]

    @pytest.mark.parametrize(
        ("said", "miss", "death"),
        [
            ({}, 75 * MINUTE, 16 * HOUR),
            ({"ill_for": "1 h"}, 15 * MINUTE, 15 * HOUR),
            ({"ill_for": "75 min"}, None, 16 * HOUR - 75 * MINUTE),
        ],
    )
    def test_of_an_illness(self, said: dict[str, str], miss: int | None, death: int) -> None:
        drawn = now(ill="yes", **said)
        assert drawn.ill
        assert (drawn.illness_miss_due, drawn.illness_death_due) == (miss, death)

    def test_doses_are_those_said_or_for_the_engine_to_draw(self) -> None:
        assert now(ill="yes", doses=2).doses == 2
        assert now(MOST, ill="yes", doses="1 to 3").doses == 3
        assert now(ill="yes").doses == 0

    def test_of_an_illness_in_a_form_that_names_none(self) -> None:
        document = LAMPLET.source().with_value(("forms", "flicker", "illness"), "none")
        drawn = now(model=load_model(document.data), ill="yes")
        assert (drawn.ill, drawn.illness_miss_due, drawn.illness_death_due) == (True, None, None)

    def test_of_waste_in_a_form_that_has_none(self) -> None:
        document = LAMPLET.source().with_value(("forms", "flicker", "waste"), "none")
        drawn = now(model=load_model(document.data), waste=3)
        assert (drawn.pile, drawn.waste_miss_due, drawn.waste_age) == (3, None, 0)

    def test_of_a_dormant_form_there_are_none(self) -> None:
        drawn = now(form="spark", for_="1 min", levels={"hunger": 0, "mood": 3})
        assert drawn.levels["hunger"] == 0
        assert drawn.misses_due == drawn.deaths_due == {"hunger": None, "mood": None}
        assert not drawn.asleep


class TestSleep:
    # A flicker sleeps from 21:00 to 07:00, and its lights have a grace of 25 min.

    @pytest.mark.parametrize(
        ("at", "age", "asleep", "due"),
        [
            ("20:59:59", "20 h", False, None),
            ("21:00", "20 h", True, 25 * MINUTE),
            ("21:10", "20 h", True, 15 * MINUTE),
            ("21:25", "20 h", True, None),
            ("06:59:59", "20 h", True, None),
            ("07:00", "20 h", False, None),
            # it became a flicker in its sleep, by a growth
            ("06:00", "10 min", True, 15 * MINUTE),
            ("06:00", "0 s", True, 25 * MINUTE),
        ],
    )
    def test_lights_count_from_the_opening_of_the_window_or_the_growth_in_it(
        self, at: str, age: str, asleep: bool, due: int | None
    ) -> None:
        drawn = now(at=at, for_=age)
        assert (drawn.asleep, drawn.lights_on, drawn.lights_miss_due) == (asleep, True, due)

    def test_lights_that_are_off_may_still_be_missed(self) -> None:
        drawn = now(at="21:10", lights="off")
        assert (drawn.lights_on, drawn.lights_miss_due) == (False, 15 * MINUTE)


class TestWaits:
    def test_are_as_old_as_is_said(self) -> None:
        said = {"hunger": "9 min", "waste": "40 min", "misbehaviour": "1 h"}
        drawn = now(since_last=said)
        assert drawn.drop_ages == {"hunger": 9 * MINUTE, "mood": 0}
        assert (drawn.waste_age, drawn.misbehaviour_age) == (40 * MINUTE, HOUR)

    def test_are_no_older_than_the_form(self) -> None:
        said = {"hunger": "9 min", "waste": "40 min", "misbehaviour": "30 h"}
        drawn = now(for_="15 min", since_last=said)
        assert drawn.drop_ages["hunger"] == 9 * MINUTE
        assert (drawn.waste_age, drawn.misbehaviour_age) == (15 * MINUTE, 15 * MINUTE)

    def test_are_no_older_than_the_form_is_in_that_life(self) -> None:
        ages = [now(u, for_="10 min to 2 h", since_last={"waste": "1 h"}) for u in (LEAST, MOST)]
        assert [each.waste_age for each in ages] == [10 * MINUTE, HOUR]


class TestMisses:
    @pytest.mark.parametrize(
        ("in_form", "in_life", "all_in_form", "by_cause", "all_in_life"),
        [
            # a number has no cause
            (2, None, 2, {}, 2),
            (2, 5, 2, {}, 5),
            # those in life are never fewer than those in form
            (5, 2, 5, {}, 5),
            ({"hunger": 3}, 2, 3, {"hunger": 3}, 3),
            ({"hunger": 3}, {"hunger": 1, "mood": 2}, 3, {"hunger": 3, "mood": 2}, 5),
            (4, {"hunger": 1, "mood": 2}, 4, {"hunger": 1, "mood": 2}, 4),
            (1, {"hunger": 1, "mood": 2}, 1, {"hunger": 1, "mood": 2}, 3),
            ({"hunger": 1}, None, 1, {"hunger": 1}, 1),
            ({"hunger": 1}, 9, 1, {"hunger": 1}, 9),
            ({}, {"lights": 2}, 0, {"lights": 2}, 2),
        ],
    )
    def test_by_cause_and_in_all(
        self,
        in_form: Any,
        in_life: Any,
        all_in_form: int,
        by_cause: dict[str, int],
        all_in_life: int,
    ) -> None:
        said = {} if in_life is None else {"misses_in_life": in_life}
        drawn = now(misses_in_form=in_form, **said)
        of_form = in_form if isinstance(in_form, dict) else {}
        assert drawn.misses_in_form == dict.fromkeys(LAMPLET.causes, 0) | of_form
        assert drawn.all_misses_in_form == all_in_form
        assert drawn.misses_in_life == dict.fromkeys(LAMPLET.causes, 0) | by_cause
        assert drawn.all_misses_in_life == all_in_life


# What holds for every file that is not refused, whatever is drawn


def between(values: st.SearchStrategy[int], write: Any = str) -> st.SearchStrategy[str]:
    """A value, or a range."""
    pairs = st.tuples(values, values).map(sorted).map(lambda ends: " to ".join(map(write, ends)))
    return st.one_of(values.map(write), pairs)


def span(most: int) -> st.SearchStrategy[str]:
    return between(st.one_of(st.integers(0, most), st.integers(0, 3)), duration_text)


numbers = between(st.integers(0, 8))
by_cause = st.dictionaries(st.sampled_from(LAMPLET.causes), between(st.integers(0, 20)))
pets = st.fixed_dictionaries(
    {
        "petsim": st.just("pet 1"),
        "model": st.just("lamplet"),
        "at": st.tuples(st.integers(0, 23), st.integers(0, 59)).map(lambda t: f"{t[0]}:{t[1]:02}"),
        "form": st.sampled_from(list(LAMPLET.forms)),
        "for": span(110 * HOUR),
        "levels": st.fixed_dictionaries(dict.fromkeys(LAMPLET.needs, between(st.integers(0, 7)))),
        "misses in form": st.one_of(numbers, by_cause),
    },
    optional={
        "waste": numbers,
        "waste for": span(2 * HOUR),
        "weight": between(st.integers(0, 300)),
        "discipline": between(st.integers(0, 101)),
        "ill": st.sampled_from(("yes", "no")),
        "ill for": span(18 * HOUR),
        "doses": between(st.integers(1, 3)),
        "lights": st.sampled_from(("on", "off")),
        "empty for": st.dictionaries(st.sampled_from([*LAMPLET.needs]), span(30 * HOUR)),
        "since last": st.dictionaries(
            st.sampled_from([*LAMPLET.needs, "waste", "misbehaviour"]), span(4 * HOUR)
        ),
        "misses in life": st.one_of(between(st.integers(0, 70)), by_cause),
    },
)


def allowed(data: dict[str, Any]) -> dict[str, Any]:
    """The same without the fields that are refused."""
    while True:
        try:
            load_pet(data)
        except SpecError as refusal:
            wrong = {problem.field.partition(".")[0] for problem in refusal.problems}
            kept = {key: value for key, value in data.items() if key not in wrong}
            data = NOW | {"for": "0 s"} | kept
        else:
            return data


@given(data=pets.map(allowed), us=st.lists(st.floats(LEAST, MOST), min_size=3, max_size=3))
@random
def test_a_pet_that_is_not_refused_is_alive_and_possible_whatever_is_drawn(
    data: dict[str, Any], us: list[float]
) -> None:
    pet = load_pet(data)
    form = LAMPLET.forms[pet.form]
    for u in (LEAST, MOST, *us):
        drawn = pet_now(pet, LAMPLET, lambda _, u=u: u)
        dues = (
            *drawn.misses_due.values(),
            *drawn.deaths_due.values(),
            *(drawn.waste_miss_due, drawn.illness_miss_due, drawn.illness_death_due),
            drawn.lights_miss_due,
        )
        assert all(due is None or due >= 1 for due in dues)
        assert form.lasts.can_last(drawn.form_age)
        for need, age in drawn.drop_ages.items():
            assert age == 0 or form.drops[need].can_last(age)
        assert all(0 <= drawn.levels[need] <= LAMPLET.needs[need].full for need in LAMPLET.needs)
        assert drawn.weight >= form.weight_min
        assert 0 <= drawn.discipline <= 100
        assert drawn.lights_on or drawn.asleep
        fatal = LAMPLET.fatal_misses
        assert fatal is not None
        assert drawn.all_misses_in_form <= drawn.all_misses_in_life < fatal
        assert sum(drawn.misses_in_life.values()) <= drawn.all_misses_in_life
        assert all(
            drawn.misses_in_form[cause] <= drawn.misses_in_life[cause] for cause in LAMPLET.causes
        )


def test_random_pets_have_all_that_a_pet_can_have() -> None:
    # so that the property above is tried on more than the least of a pet
    said: set[str] = set()
    differing: set[str] = set()
    usual = now()

    @given(data=pets.map(allowed))
    @random
    def look(data: dict[str, Any]) -> None:
        said.update(data)
        drawn = pet_now(load_pet(data), LAMPLET, lambda _: 0.5)
        differing.update(
            field for field, value in vars(drawn).items() if value != getattr(usual, field)
        )

    look()
    assert said == {str(field.alias) for field in Pet.model_fields.values()} - {"name", "about"}
    assert differing == vars(usual).keys()
