"""Models and regimes by name, path or plain data."""

import subprocess
import sys
from pathlib import Path

import pytest

from petsim.spec import library
from petsim.spec.library import check_together, load_model, load_regime, shipped
from petsim.spec.problems import SpecError

VALID = Path(__file__).parents[1] / "cases" / "valid"
MOTE = VALID / "mote.model.yaml"


def refusal(source: object) -> str:
    with pytest.raises(SpecError) as error:
        load_model(source)  # type: ignore[arg-type]
    return str(error.value)


@pytest.mark.parametrize("name", shipped("models"))
def test_shipped_model_loads_by_its_name(name: str) -> None:
    assert load_model(name).id == name


@pytest.mark.parametrize("name", shipped("regimes"))
def test_shipped_regime_goes_with_the_default_model(name: str) -> None:
    assert load_regime(name, load_model("lamplet")).id == name


def test_shipped_files_are_found_in_a_checkout() -> None:
    assert "lamplet" in shipped("models")
    assert "ten-minute" in shipped("regimes")


def test_shipped_files_are_found_beside_the_code_of_an_installed_package(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    package = tmp_path / "site-packages" / "petsim"
    (package / "models").mkdir(parents=True)
    (package.parent / "models").mkdir()
    (package.parent / "models" / "of-another-package.yaml").write_text("a: 1\n")
    (package / "models" / "mote.yaml").write_bytes(MOTE.read_bytes())
    monkeypatch.setattr(library, "_PACKAGE", package)
    assert shipped("models") == ["mote"]
    assert load_model("mote") == load_model(MOTE)


def test_unknown_name() -> None:
    names = ", ".join(f"'{name}'" for name in shipped("models"))
    assert refusal("lamplit") == (
        "'lamplit': found the unknown model 'lamplit'; did you mean 'lamplet'? "
        "(a path to a file works too, such as ./lamplit.yaml)"
    )
    assert refusal("qqq") == (
        f"'qqq': found the unknown model 'qqq'; expected one of {names} "
        "(a path to a file works too, such as ./qqq.yaml)"
    )


def test_name_of_a_regime_is_no_model() -> None:
    assert refusal("ten-minute").startswith("'ten-minute': found the unknown model 'ten-minute'; ")


def test_path_has_a_separator_or_an_ending(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "lamplet").write_bytes(MOTE.read_bytes())
    (tmp_path / "mote.yaml").write_bytes(MOTE.read_bytes())
    monkeypatch.chdir(tmp_path)
    assert load_model("lamplet").name == "Lamplet"
    assert load_model("./lamplet").name == "Mote"
    assert load_model(Path("lamplet")).name == "Mote"
    assert load_model("mote.yaml").id == "mote"
    assert refusal("none.yaml") == "none.yaml: no such file; expected a YAML file"


def test_object_is_returned_as_it_is() -> None:
    model = load_model(MOTE)
    assert load_model(model) is model
    regime = load_regime(VALID / "twice-an-hour.regime.yaml")
    assert load_regime(regime, model) is regime
    with pytest.raises(SpecError, match="unknown need 'hunger'"):
        load_regime(regime, load_model(VALID / "words-of-yaml.model.yaml"))


def test_every_shipped_regime_goes_with_every_shipped_model_that_has_its_names() -> None:
    for model in map(load_model, shipped("models")):
        if set(load_model("lamplet").care) <= set(model.care):
            for regime in map(load_regime, shipped("regimes")):
                if not {step.do for step in regime.routine} - set(model.care):
                    check_together(model, regime)


def test_reading_files_loads_no_heavy_package() -> None:
    code = (
        "import sys, petsim.spec.library, petsim.spec.schema\n"
        "heavy = {'numpy', 'pandas', 'scipy', 'simpy', 'numba', 'matplotlib'} & set(sys.modules)\n"
        "print(sorted(heavy))\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (done.stdout, done.stderr) == ("[]\n", "")
