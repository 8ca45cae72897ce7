"""Every file of the cases loads, or is refused with exactly the message beside it."""

from pathlib import Path

import pytest

from petsim.errors import SpecError
from petsim.spec.library import load_model, load_pet, load_regime
from petsim.spec.model import Model
from petsim.spec.pet import Pet
from petsim.spec.regime import Regime

HERE = Path(__file__).parent
MOTE = HERE / "valid" / "mote.model.yaml"
INVALID = sorted((HERE / "invalid").rglob("*.yaml"))


def load(path: Path) -> Model | Regime | Pet:
    kind = path.parent.name
    if kind == "pet" or path.name.endswith(".pet.yaml"):
        return load_pet(path)
    if kind == "model" or path.name.endswith(".model.yaml"):
        return load_model(path)
    return load_regime(path, None if kind == "regime" else load_model(MOTE))


@pytest.mark.parametrize("path", sorted((HERE / "valid").glob("*.yaml")), ids=lambda p: p.name)
def test_valid_file_loads(path: Path) -> None:
    assert load(path).id == path.stem


@pytest.mark.parametrize("path", INVALID, ids=lambda p: f"{p.parent.name}/{p.stem}")
def test_invalid_file_is_refused_in_these_words(path: Path) -> None:
    with pytest.raises(SpecError) as refusal:
        load(path)
    expected = path.with_suffix(".expected").read_text(encoding="utf-8")
    assert str(refusal.value).replace(str(path), path.name) + "\n" == expected


@pytest.mark.parametrize("path", sorted((HERE / "invalid" / "together").glob("*.yaml")))
def test_regime_of_these_cases_is_at_fault_only_with_the_model(path: Path) -> None:
    if path.stem != "structure-and-names-at-once":
        load_regime(path)


def test_every_expected_message_has_its_file() -> None:
    expected = sorted((HERE / "invalid").rglob("*.expected"))
    assert [path.with_suffix(".yaml") for path in expected] == INVALID
