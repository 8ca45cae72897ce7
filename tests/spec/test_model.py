"""What a model's file becomes, and how a form inherits from its stage."""

import copy
import pickle
from pathlib import Path
from typing import Any

import pytest

from petsim.errors import SpecError
from petsim.spec.clocks import Begins, Window
from petsim.spec.laws import Distribution
from petsim.spec.library import load_model
from petsim.spec.model import Model
from petsim.spec.quantities import Bound
from petsim.spec.reading import read_file

VALID = Path(__file__).parents[1] / "cases" / "valid"
MOTE: dict[str, Any] = read_file(VALID / "mote.model.yaml").data


def changed(**blocks: Any) -> dict[str, Any]:
    """The data of a valid model with some of its blocks replaced."""
    return copy.deepcopy(MOTE) | {key.replace("_", " "): value for key, value in blocks.items()}


def refusal(data: dict[str, Any]) -> list[str]:
    with pytest.raises(SpecError) as error:
        load_model(data)
    return [str(problem).removeprefix("model data: ") for problem in error.value.problems]


@pytest.fixture(scope="module")
def mote() -> Model:
    return load_model(VALID / "mote.model.yaml")


@pytest.fixture(scope="module")
def overlay() -> Model:
    return load_model(VALID / "overrides.model.yaml")


def test_values(mote: Model) -> None:
    assert (mote.id, mote.name, mote.outcome_stage, mote.aim) == (
        "mote.model",
        "Mote",
        "grown",
        "moth",
    )
    assert mote.begins == Begins(0, 32400)
    assert list(mote.needs) == ["hunger", "mood"]
    assert (mote.needs["hunger"].full, mote.needs["hunger"].starts) == (4, 2)
    assert mote.discipline.unfair_costs == {"mood": 1}
    feed = mote.care["feed"]
    assert (feed.raises, feed.weight, feed.works) == ({"hunger": 1}, 1, 1.0)
    assert feed.refused_when == {"asleep", "full"}
    larva = mote.stages["larva"]
    assert larva.drops["mood"] == Distribution("uniform", (1200.0, 3600.0))
    assert (larva.grace, larva.fatal_after) == ({"hunger": 1200}, {"hunger": 72000})
    assert larva.waste is not None
    assert (larva.waste.pile_max, larva.waste.grace, larva.waste.again_after) == (3, 2700, None)
    grown = mote.stages["grown"]
    assert grown.sleeps == (Window(81000, 25200),)
    assert grown.illness is not None
    assert grown.illness.doses == {1: 0.6, 2: 0.4}


def test_what_is_left_out(mote: Model) -> None:
    assert mote.needs["mood"].starts == mote.needs["mood"].full == 3
    assert mote.needs["mood"].death is None
    assert mote.weight.starts == 0
    grown = mote.stages["grown"]
    assert (grown.waste, grown.lights_grace, grown.dormant, grown.weight_min) == (
        None,
        None,
        False,
        0,
    )
    assert mote.stages["larva"].illness is None
    assert grown.illness is not None
    assert (grown.illness.per_waste, grown.illness.heavy_above) == (0.0, None)
    bare = load_model(changed(discipline={}, forms={"moth": {"stage": "grown", "lasts": "1 h"}}))
    assert (bare.discipline.starts, bare.discipline.step, bare.forms["moth"].grows_into) == (
        0,
        0,
        (),
    )


def test_illness_takes_one_dose_unless_it_says_otherwise() -> None:
    stages = MOTE["stages"] | {"grown": {"illness": {"base": "1 per day"}}}
    illness = load_model(changed(stages=stages)).stages["grown"].illness
    assert illness is not None
    assert illness.doses == {1: 1.0}


def test_doses_keep_the_order_of_the_file() -> None:
    illness = {"base": "1 per day", "doses": {"3": "10%", "1": "60%", "2": "30%"}}
    stages = MOTE["stages"] | {"grown": {"illness": illness}}
    found = load_model(changed(stages=stages)).stages["grown"].illness
    assert found is not None
    assert list(found.doses) == [3, 1, 2]


@pytest.mark.parametrize(("excess", "right"), [("0.0000000009", True), ("0.0000000011", False)])
def test_doses_sum_to_one_within_a_billionth(excess: str, right: bool) -> None:
    illness = {"base": "1 per day", "doses": {"1": "50%", "2": "0.5" + excess[3:]}}
    stages = MOTE["stages"] | {"grown": {"illness": illness}}
    if right:
        load_model(changed(stages=stages))
    else:
        [problem] = refusal(changed(stages=stages))
        assert problem.startswith(
            "stages.grown.illness.doses: found chances that sum to 1.0000000011"
        )


def test_root_causes_and_deaths(mote: Model) -> None:
    assert mote.root == "bud"
    assert mote.causes == ("hunger", "mood", "waste", "illness", "lights")
    assert mote.deaths == ("starved", "untreated illness", "neglect", "old age")


def test_needs_may_share_a_death() -> None:
    needs = {"hunger": {"full": 4, "death": "gone"}, "mood": {"full": 3, "death": "gone"}}
    assert load_model(changed(needs=needs)).deaths[0:2] == ("gone", "untreated illness")


def test_rules(overlay: Model) -> None:
    calm, wild = overlay.forms["first"].grows_into
    assert (calm.form, wild.form) == ("calm", "wild")
    at_most_2, exactly_3 = Bound("at most", 2), Bound("exactly", 3)
    assert calm.conditions.misses_in_life == {"hunger": at_most_2, "all": exactly_3}
    assert calm.conditions.weight == Bound("above", 1)
    assert calm.conditions.discipline is None
    assert wild.conditions.misses_in_form == {}


def test_form_takes_away_and_replaces(overlay: Model) -> None:
    stage, calm, wild = overlay.stages["grown"], overlay.forms["calm"], overlay.forms["wild"]
    assert (calm.misbehaviour, calm.sleeps, list(calm.drops)) == (None, (), ["hunger"])
    assert calm.illness is not None
    assert stage.illness is not None
    assert wild.illness is not None
    assert (calm.illness.base, calm.illness.grace) == (0.0, None)
    assert calm.illness.doses == stage.illness.doses
    assert wild.illness.doses == {2: 0.2, 3: 0.8}
    assert wild.illness.grace == stage.illness.grace == 4500
    assert wild.fatal_after == {"hunger": None}
    assert len(wild.sleeps) == 2
    assert overlay.forms["first"].illness == stage.illness


def test_names_that_are_words_of_yaml() -> None:
    model = load_model(VALID / "words-of-yaml.model.yaml")
    assert (model.begins, model.name, model.outcome_stage) == (Begins(0, 36000), "010", "off")
    assert (list(model.needs), list(model.forms)) == (["on", "no"], ["yes", "null"])
    assert (model.care["no"].lights, model.care["no"].cleans) == ("off", True)
    assert model.root == "yes"


@pytest.mark.parametrize("text", ["09:00", "10:00"])
def test_clock_time_has_one_meaning(text: str, tmp_path: Path) -> None:
    """YAML 1.1 reads `10:00` as 600 and `09:00` as text."""
    path = tmp_path / "it.yaml"
    source = (VALID / "mote.model.yaml").read_text(encoding="utf-8")
    path.write_text(source.replace("Monday 09:00", text), encoding="utf-8")
    assert load_model(path).begins == Begins(0, int(text[:2]) * 3600)


def test_a_long_chain_of_forms_is_no_matter() -> None:
    chain = {
        f"f{n}": {"stage": "grown", "lasts": "1 h", "grows into": f"f{n + 1}"} for n in range(499)
    }
    forms = chain | {"f499": {"stage": "grown", "lasts": "1 h"}}
    assert load_model(changed(forms=forms, aim="f7")).root == "f0"


def test_model_is_a_value(mote: Model) -> None:
    again = load_model(MOTE)
    assert again == mote
    assert pickle.loads(pickle.dumps(mote)) == mote
    assert pickle.loads(pickle.dumps(mote)).id == "mote.model"
    assert load_model(changed(aim="fly")) != mote
    assert mote != "mote"
    with pytest.raises(ValueError, match="frozen"):
        mote.name = "Other"


def test_loading_changes_nothing_it_is_given() -> None:
    data = changed()
    load_model(data)
    assert data == MOTE


@pytest.mark.parametrize(
    ("blocks", "problems"),
    [
        ({"care": {}, "aim": "fly"}, []),
        ({"stages": {}}, ["stages: found none; expected at least one"]),
        ({"name": ""}, ["name: found nothing; expected a name"]),
        ({"about": ["x"]}, ["about: found a list; expected text"]),
        ({"begins": ""}, ["begins: found nothing; expected a clock time, such as 09:00"]),
        ({"fatal misses": "never"}, []),
        ({"needs": {"x" * 61: {"full": 1}} | MOTE["needs"]},
         [f"needs.{'x' * 61}: found '{'x' * 59}…'; expected a name of at most 60 characters"]),
        ({"name": "x" * 1001}, [f"name: found '{'x' * 59}…' of 1001 characters; expected a name"]),
    ],
)  # fmt: skip
def test_other_refusals(blocks: dict[str, Any], problems: list[str]) -> None:
    data = changed(**blocks)
    assert (refusal(data) if problems else load_model(data) and []) == problems


def test_faults_of_data_come_in_the_same_order_each_time() -> None:
    data = changed(
        needs={name: {"full": 3, "starts": 9} for name in "abcdef"},
        stages={"grown": {"drops": {}}},
        forms={"moth": {"stage": "grown", "lasts": "1 h", "grows into": "x"}},
        discipline={},
        care={"feed": {"raises": {"x": 1}}},
    )
    expected = [
        f"needs.{name}.starts: found '9'; expected at most 3, which is full" for name in "abcdef"
    ]
    assert refusal(data)[:6] == expected
    assert len(refusal(data)) == 8


def test_fault_that_stage_and_form_both_write_is_told_at_both() -> None:
    stages = MOTE["stages"] | {"grown": {"illness": {"base": ""}}}
    forms = MOTE["forms"] | {
        "fly": {"stage": "grown", "lasts": "1 h", "illness": {"base": ""}},
        "moth": {"stage": "grown", "lasts": "1 h"},
    }
    assert refusal(changed(stages=stages, forms=forms)) == [
        f"{place}.illness.base: found nothing; expected a rate, such as 0.2 per day"
        for place in ("stages.grown", "forms.fly")
    ]


def test_more_forms_than_time_can_hold_are_refused() -> None:
    chain = {
        f"f{n}": {"stage": "grown", "lasts": "1 h", "grows into": f"f{n + 1}"} for n in range(500)
    }
    with pytest.raises(SpecError) as caught:
        load_model(changed(forms=chain | {"f500": {"stage": "grown", "lasts": "1 h"}}, aim="f7"))
    assert [(p.field, p.found, p.expected) for p in caught.value.problems] == [
        (
            "forms",
            "found 501 forms",
            "expected at most 500, or a life might last longer than time is counted",
        )
    ]


def test_levels_beyond_a_thousand_are_refused() -> None:
    with pytest.raises(
        SpecError, match=r"needs\.hunger\.full: found '1001'; expected at most 1000"
    ):
        load_model({"petsim": "model 1", "needs": {"hunger": {"full": "1001"}}})


def test_needs_and_rates_are_bounded() -> None:
    needs = {f"n{n}": {"full": "4"} for n in range(101)}
    assert "needs: found 101 needs; expected at most 100" in refusal(changed(needs=needs))
    # each form has what its stage has: 400 forms times some 200 keys and values
    stages = {"grown": {"drops": {f"n{n}": "1 h" for n in range(100)}}}
    forms = {f"f{n}": {"stage": "grown", "lasts": "1 h"} for n in range(400)}
    assert refusal(changed(stages=stages, forms=forms)) == [
        "forms: found forms with 83,200 keys and values, those of their stages included; "
        "expected at most 50,000"
    ]


def test_a_long_circle_of_growth_is_not_told_in_full() -> None:
    forms = {
        f"f{n}": {"stage": "grown", "lasts": "1 h", "grows into": f"f{(n + 1) % 400}"}
        for n in range(400)
    }
    [told] = [line for line in refusal(changed(forms=forms, aim="f0")) if "circle" in line]
    assert told.count("→") == 12
    assert "→ …; expected growth without return" in told


@pytest.mark.parametrize("name", ["Mo\nth", "\x1b[31mMoth", "Mo\u202eth", "Mo\x85th"])
def test_a_name_is_one_line_without_control_characters(name: str) -> None:
    assert refusal(changed(name=name)) == [
        f"name: found {name!r}; expected a name in one line, without control characters"
    ]


@pytest.mark.parametrize("name", ["discipline", "misbehaviour", "spells", "clear", "lasts"])
def test_a_need_has_no_name_that_means_something_else_in_a_regime_or_pet(name: str) -> None:
    needs = {"hunger": {"full": "4", "death": "starved"}, "mood": {"full": "3"}}
    assert refusal(changed(needs=needs | {name: {"full": "4"}})) == [
        f"needs.{name}: found '{name}'; expected another name for the need, as this one has a "
        "meaning"
    ]
