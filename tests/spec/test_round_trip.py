"""What is loaded is written so that it loads back to the same."""

from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings

from petsim.spec.library import load_model, load_pet, load_regime, shipped
from petsim.spec.model import Model
from petsim.spec.overlay import difference, overlay
from petsim.spec.parts import as_yaml
from petsim.spec.regime import Regime
from tests.spec.strategies import model_data, regime_data

VALID = sorted((Path(__file__).parents[1] / "cases" / "valid").glob("*.yaml"))
MODELS = [*shipped("models"), *(path for path in VALID if path.name.endswith(".model.yaml"))]
REGIMES = [*shipped("regimes"), *(path for path in VALID if path.name.endswith(".regime.yaml"))]
PETS = [path for path in VALID if path.name.endswith(".pet.yaml")]
random = settings(
    max_examples=60,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)


def model_again(model: Model, directory: Path) -> Model:
    path = directory / "again.yaml"
    path.write_text(as_yaml(model), encoding="utf-8")
    return load_model(path)


def regime_again(regime: Regime, directory: Path, *, complete: bool = False) -> Regime:
    path = directory / "again.yaml"
    path.write_text(as_yaml(regime, complete=complete), encoding="utf-8")
    return load_regime(path)


@pytest.mark.parametrize("source", MODELS, ids=str)
def test_written_model_loads_back(source: str | Path, tmp_path: Path) -> None:
    model = load_model(source)
    assert model_again(model, tmp_path) == model
    assert load_model(model.model_dump(by_alias=True)) == model


@pytest.mark.parametrize("source", REGIMES, ids=str)
def test_written_regime_loads_back(source: str | Path, tmp_path: Path) -> None:
    regime = load_regime(source)
    assert regime_again(regime, tmp_path) == regime
    assert load_regime(regime.model_dump(by_alias=True)) == regime


@pytest.mark.parametrize("source", MODELS, ids=str)
def test_model_written_out_in_full_loads_back(source: str | Path, tmp_path: Path) -> None:
    model = load_model(source)
    path = tmp_path / "again.yaml"
    path.write_text(as_yaml(model, complete=True), encoding="utf-8")
    assert load_model(path) == model


@pytest.mark.parametrize("source", PETS, ids=lambda path: path.name)
def test_written_pet_loads_back(source: Path, tmp_path: Path) -> None:
    (tmp_path / "mote.model.yaml").write_bytes((source.parent / "mote.model.yaml").read_bytes())
    pet, path = load_pet(source), tmp_path / "again.yaml"
    path.write_text(as_yaml(pet), encoding="utf-8")
    assert load_pet(path) == pet
    assert as_yaml(load_pet(path)) == as_yaml(pet)


@pytest.mark.parametrize("source", REGIMES, ids=str)
def test_regime_written_out_in_full_loads_back(source: str | Path, tmp_path: Path) -> None:
    regime = load_regime(source)
    assert regime_again(regime, tmp_path, complete=True) == regime


@given(data=model_data())
@random
def test_any_written_model_loads_back(data: dict[str, Any], tmp_path_factory: Any) -> None:
    model = load_model(data)
    assert model_again(model, tmp_path_factory.getbasetemp()) == model
    assert load_model(model.model_dump(by_alias=True)) == model


@given(data=regime_data())
@random
def test_any_written_regime_loads_back(data: dict[str, Any], tmp_path_factory: Any) -> None:
    regime = load_regime(data)
    assert regime_again(regime, tmp_path_factory.getbasetemp()) == regime
    assert regime_again(regime, tmp_path_factory.getbasetemp(), complete=True) == regime
    assert load_regime(regime.model_dump(by_alias=True)) == regime


@given(data=model_data())
@random
def test_resolved_form_is_its_mapping_laid_over_its_stage(data: dict[str, Any]) -> None:
    model = load_model(data)
    for name, form in data["forms"].items():
        alone = overlay(data["stages"][form["stage"]], form)
        stage = {
            key: value
            for key, value in alone.items()
            if key not in ("stage", "lasts", "grows into")
        }
        plain = data | {"stages": data["stages"] | {"laid": stage}}
        laid = {key: form[key] for key in ("stage", "lasts", "grows into") if key in form}
        again = load_model(plain | {"forms": data["forms"] | {name: laid | {"stage": "laid"}}}
                           | ({"outcome stage": "laid"} if name == "one" else {}))  # fmt: skip
        assert again.forms[name].model_copy(update={"stage": form["stage"]}) == model.forms[name]


def test_difference_undoes_overlay() -> None:
    under = {"a": {"x": "1", "y": "2"}, "b": "3", "c": {"z": "4"}, "d": "5"}
    over = {"a": {"x": "none", "w": "6"}, "b": "7", "c": "none"}
    merged = overlay(under, over)
    assert merged == {"a": {"y": "2", "w": "6"}, "b": "7", "d": "5"}
    assert overlay(under, difference(under, merged)) == merged
    assert under["a"] == {"x": "1", "y": "2"}


def test_doses_replace_doses() -> None:
    under, over = {"doses": {"1": "60%", "2": "40%"}}, {"doses": {"2": "50%", "3": "50%"}}
    assert overlay(under, over) == over
    assert difference(under, over) == over


def test_written_text_has_the_keys_in_the_order_of_the_class() -> None:
    text = as_yaml(load_model("lamplet"))
    keys = [line.partition(":")[0] for line in text.splitlines() if line[0] not in " -"]
    own = [field.alias for field in Model.model_fields.values()]
    assert keys == [key for key in own if key in keys]
    # the model does not say what forms are worth
    assert set(own) - set(keys) == {"worth"}
