"""The JSON Schemas accept what loads and refuse what a shape can show to be wrong."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from jsonschema import Draft202012Validator
from ruamel.yaml import YAML

from petsim.spec.library import load_model, load_pet, load_regime, shipped
from petsim.spec.parts import as_yaml
from petsim.spec.schema import json_schema
from tests.spec.strategies import model_data, regime_data

ROOT = Path(__file__).parents[2]
CASES = ROOT / "tests" / "cases"
KINDS = ("model", "regime", "pet")
VALIDATORS = {kind: Draft202012Validator(json_schema(kind)) for kind in KINDS}

# Faults between the parts of a file or the numbers of a text, which no schema can express, ...
BEYOND_A_SCHEMA = {
    "aim-of-another-stage", "aim-of-less-worth", "comparison-below-zero", "death-named-as-a-form",
    "discipline-above-a-hundred", "distribution-around-a-time-outside",
    "distribution-of-zero", "distribution-shape-zero",
    "distribution-upside-down", "dormant-form-with-rates", "dormant-not-the-root",
    "dormant-with-rates", "doses-that-miss-one", "duration-beyond-all-time",
    "duration-of-part-of-a-second", "duration-units-out-of-order", "duration-zero",
    "fatal-need-without-death", "first-random-without-interval",
    "first-random-written-without-interval", "form-never-reached",
    "form-takes-away-what-is-needed", "growth-in-a-circle", "growth-into-itself",
    "growth-of-all-in-a-circle", "heavy-above-missing", "jitter-not-below-the-interval",
    "jitter-not-below-the-clock-times", "jitter-with-intervals-by-stage",
    "late-with-intervals-by-stage", "looks-even-with-a-misread", "looks-that-cannot-agree",
    "need-with-no-name", "raises-above-full", "root-unclear", "rule-that-cannot-hold",
    "rules-otherwise-too-early", "rules-without-otherwise",
    "slips-into-itself", "slips-into-more-than-all", "starts-above-full",
    "unfair-costs-above-full", "unfair-costs-of-two-needs", "unknown-aim", "unknown-cause",
    "unknown-need-in-drops", "unknown-need-raised", "unknown-outcome-stage",
    "unknown-stage-of-a-form", "unknown-successor", "unknown-successor-in-a-rule",
    "until-met-without-when", "when-clock-without-length", "when-discipline-below-zero",
    "when-level-below-zero",
    "when-not-in-a-list", "when-waste-below-zero", "window-without-length",
    "worth-of-another-stage", "worth-of-nothing", "worth-of-unknown-form",
    # of a pet as it is now
    "all-that-can-be-wrong", "discipline-range-above-hundred", "dormant-form-outlived",
    "dormant-pet-with-care", "drop-that-the-form-has-not", "empty-for-a-need-not-at-0",
    "empty-for-an-unknown-need", "empty-until-death", "empty-without-consequence",
    "form-not-of-the-model", "form-outlived", "form-outlived-in-a-range",
    "ill-for-in-a-form-without", "ill-until-death", "level-above-what-is-full", "level-missing",
    "level-of-an-unknown-need", "level-range-above-what-is-full", "lights-off-awake",
    "lights-off-in-the-second-of-waking", "misses-by-cause-fatal", "misses-in-form-fatal",
    "misses-in-life-fatal", "misses-of-an-unknown-cause", "misses-without-a-cause",
    "model-not-there", "model-unknown", "range-of-times-upside-down", "range-upside-down",
    "wait-beyond-chance", "wait-outlived", "wait-that-the-form-has-not", "wait-unknown",
    "waste-for-in-a-form-without", "waste-for-without-waste", "well-with-a-time-of-illness",
    "well-with-doses",
}  # fmt: skip
# ... and of YAML itself, of which a schema sees nothing.
OF_THE_TEXT = {
    "alias", "bracket-open", "chance-not-a-number", "control-character", "duplicate-key",
    "duplicate-key-in-one-line", "everything-at-once", "merge-key", "not-utf-8", "out-of-step",
    "quote-open", "tab", "tag", "two-colons", "two-documents",
}  # fmt: skip
STRUCTURAL = [
    path
    for kind in KINDS
    for path in sorted((CASES / "invalid" / kind).glob("*.yaml"))
    if path.stem not in OF_THE_TEXT
]


def in_yaml_1_2(text: str) -> Any:
    """What an editor sees: the data of YAML 1.2, whose keys JSON takes for text."""

    def with_text_keys(node: Any) -> Any:
        if isinstance(node, dict):
            return {str(key): with_text_keys(value) for key, value in node.items()}
        return [with_text_keys(item) for item in node] if isinstance(node, list) else node

    return with_text_keys(YAML(typ="safe", pure=True).load(text))


def complaints(kind: str, text: str) -> list[str]:
    errors = VALIDATORS[kind].iter_errors(in_yaml_1_2(text))
    return [f"{error.json_path}: {error.message[:200]}" for error in errors]


def kind_of(path: Path) -> str:
    if ".pet." in path.name:
        return "pet"
    return "model" if "model" in path.name or path.parent.name in ("models", "model") else "regime"


@pytest.mark.parametrize("kind", KINDS)
def test_schema_is_one_of_draft_2020_12(kind: str) -> None:
    schema = json_schema(kind)  # type: ignore[arg-type]
    Draft202012Validator.check_schema(schema)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert schema["title"] == f"petsim {kind} file"


def properties(node: Any) -> Iterator[tuple[str, dict[str, Any]]]:
    """The keys of a schema; not again what it says of them where they go together."""
    if isinstance(node, dict):
        for key, value in node.get("properties", {}).items():
            yield key, value
        for key, value in node.items():
            if key not in ("if", "then"):
                yield from properties(value)
    elif isinstance(node, list):
        for item in node:
            yield from properties(item)


@pytest.mark.parametrize(("kind", "least"), [("model", 40), ("regime", 40), ("pet", 18)])
def test_every_key_has_a_description(kind: str, least: int) -> None:
    found = list(properties(json_schema(kind)))  # type: ignore[arg-type]
    assert len(found) > least
    assert [key for key, value in found if not value.get("description")] == []


def test_schema_gives_no_default_that_stands_for_a_key_left_out() -> None:
    definitions = json_schema("regime")["$defs"]
    left_out = [
        definitions[part]["properties"][key]
        for part, key in (("CheckWindow", "every"), ("Step", "do"), ("Step", "look"))
    ]
    assert ["default" in each for each in left_out] == [False] * 3
    assert "usual" not in definitions["CheckWindow"]["properties"]["every"].values()


def test_schema_names_no_null_as_files_have_none() -> None:
    assert "null" not in "".join(str(json_schema(kind)) for kind in KINDS)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "path",
    [
        *(
            ROOT / shelf / f"{name}.yaml"
            for shelf in ("models", "regimes")
            for name in shipped(shelf)
        ),
        *(path for path in sorted((CASES / "valid").glob("*")) if path.name[:5] != "words"),
    ],
    ids=lambda path: path.name,
)
def test_file_that_loads_is_accepted(path: Path) -> None:
    assert complaints(kind_of(path), path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize("shelf", ["models", "regimes"])
def test_file_as_it_is_written_is_accepted(shelf: Any) -> None:
    for name in shipped(shelf):
        file = load_model(name) if shelf == "models" else load_regime(name)
        assert complaints(shelf.removesuffix("s"), as_yaml(file)) == []


@pytest.mark.parametrize("path", sorted((CASES / "valid").glob("*.pet.yaml")), ids=lambda p: p.name)
def test_pet_as_it_is_written_is_accepted(path: Path) -> None:
    assert complaints("pet", as_yaml(load_pet(path))) == []


random = settings(
    max_examples=25, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck)
)


@given(data=model_data())
@random
def test_any_written_model_is_accepted(data: dict[str, Any]) -> None:
    assert complaints("model", as_yaml(load_model(data))) == []


@given(data=regime_data())
@random
def test_any_written_regime_is_accepted(data: dict[str, Any]) -> None:
    assert complaints("regime", as_yaml(load_regime(data))) == []


@pytest.mark.parametrize("path", STRUCTURAL, ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_invalid_file_is_refused_if_its_shape_shows_it(path: Path) -> None:
    refused = bool(complaints(path.parent.name, path.read_text(encoding="utf-8")))
    assert refused == (path.stem not in BEYOND_A_SCHEMA)


def test_most_structural_faults_are_seen_by_an_editor() -> None:
    assert len(STRUCTURAL) - len(BEYOND_A_SCHEMA) > 60
