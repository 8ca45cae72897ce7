"""Finding files by name or path, telling their kind, and files to start from."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings

from petsim.errors import ArgumentError, SpecError
from petsim.spec.library import (
    FileKind,
    check_together,
    is_sweep,
    kind,
    load,
    load_model,
    load_pet,
    load_regime,
    model_agreed,
    model_named_in,
    model_of,
    shipped,
    write_starter,
)
from petsim.spec.model import Model
from petsim.spec.pet import Pet
from petsim.spec.pet_starter import pet_starter
from petsim.spec.reading import read_text
from petsim.spec.regime import Regime
from tests.spec.strategies import model_data

KNOWN = "expected 'model 1', 'regime 1', 'pet 1' or 'study 1'"
KINDS: tuple[FileKind, ...] = ("model", "regime", "pet")


def refusal(source: str | Path) -> str:
    with pytest.raises(SpecError) as refused:
        load(source)
    return str(refused.value)


def file(directory: Path, text: str) -> Path:
    path = directory / "file.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def test_no_name_is_on_both_shelves() -> None:
    assert not set(shipped("models")) & set(shipped("regimes"))


@pytest.mark.parametrize("name", shipped("models"))
def test_shipped_model_is_told_by_its_name(name: str) -> None:
    assert kind(name) == "model"
    assert load(name) == load_model(name)


@pytest.mark.parametrize("name", shipped("regimes"))
def test_shipped_regime_is_told_by_its_name(name: str) -> None:
    assert kind(name) == "regime"
    assert load(name) == load_regime(name)


@pytest.mark.parametrize(("wanted", "of"), [("model", Model), ("regime", Regime), ("pet", Pet)])
@pytest.mark.parametrize("as_text", [True, False])
def test_file_is_told_by_its_first_line(
    wanted: FileKind, of: type, as_text: bool, tmp_path: Path
) -> None:
    path = tmp_path / "start.yaml"
    write_starter(wanted, path)
    source = str(path) if as_text else path
    assert kind(source) == wanted
    assert isinstance(load(source), of)


@pytest.mark.parametrize(
    ("source", "answer"),
    [
        ("policy.py:Keen", "policy"),
        ("policy.py", "policy"),
        ("night1", "sweep"),
        ("night1.sweep", "sweep"),
        ("./night1", "sweep"),
        ("none.sweep", "sweep"),
        ("often.yaml", "study"),
        ("./often.yaml", "study"),
        # a shipped name, and the path of another file, come before the name of a sweep
        ("hourly", "regime"),
        ("./often", "study"),
    ],
)
def test_what_is_no_model_or_regime_is_told_by_its_name_or_its_first_line(
    source: str, answer: FileKind, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    for name in ("night1", "hourly", "often"):
        (tmp_path / f"{name}.sweep").write_bytes(b"")
    for name in ("often.yaml", "often"):
        (tmp_path / name).write_text("petsim: study 1\n", encoding="utf-8")
    assert kind(source) == answer


def test_there_is_a_sweep_of_a_name_also_where_a_regime_has_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "hourly.sweep").write_bytes(b"")
    assert [is_sweep(name) for name in ("hourly", "hourly.sweep", "other", "", "/")] == [
        *(True, True, False, False, False)
    ]


def test_unknown_name_is_refused_with_the_nearest_of_both_shelves() -> None:
    assert refusal("lamplett") == (
        "'lamplett': found the unknown model or regime 'lamplett'; did you mean 'lamplet'? "
        "(a path to a file works too, such as ./lamplett.yaml)"
    )
    assert "did you mean 'hourly'?" in refusal("hourli")


def test_bare_name_of_a_file_that_is_here_is_met_with_its_path(tmp_path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "mine.yaml").write_text("", encoding="utf-8")
    assert refusal("mine") == (
        "'mine': found the unknown model or regime 'mine'; "
        "did you mean the file that is here, ./mine.yaml?"
    )


def test_a_file_that_is_here_is_not_taken_to_end_in_yaml(tmp_path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "mine").write_text("", encoding="utf-8")
    assert refusal("mine").endswith("; did you mean the file that is here, ./mine?")
    assert refusal("zzz.txt").endswith("(a path to a file works too, such as ./zzz.txt)")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("name: Some\n", f":1:1: petsim: missing; {KNOWN}"),
        ("petsim:\n", f":1:8: petsim: found nothing; {KNOWN}"),
        (
            "petsim: [model 1]\n",
            ":1:1: petsim: found a list; expected 'model 1', 'regime 1', 'pet 1' or 'study 1'",
        ),
        (
            "petsim: rig 1\n",
            ":1:9: petsim: found 'rig 1'; expected 'model 1', 'regime 1', 'pet 1' or 'study 1'",
        ),
        (
            "petsim: studying 1\n",
            f":1:9: petsim: found 'studying 1'; {KNOWN}",
        ),
        (
            "petsim: study 2\n",
            ":1:9: petsim: found 'study 2'; expected 'study 1', as version 1 is the only one this "
            "petsim reads",
        ),
        (
            "petsim: models 1\n",
            f":1:9: petsim: found 'models 1'; {KNOWN}",
        ),
        (
            "petsim: regime 2\nname:\n",
            ":1:9: petsim: found 'regime 2'; expected 'regime 1', as version 1 is the only one "
            "this petsim reads",
        ),
        (
            "petsim: model\n",
            ":1:9: petsim: found 'model'; expected 'model 1', as version 1 is the only one this "
            "petsim reads",
        ),
    ],
)
def test_file_of_no_known_kind_or_version_is_refused(
    text: str, message: str, tmp_path: Path
) -> None:
    path = file(tmp_path, text)
    assert refusal(path).removeprefix(str(path)) == message


def test_faults_of_a_file_are_those_of_its_kind(tmp_path: Path) -> None:
    path = file(tmp_path, "petsim: regime 1\nname: Some\npasses: 0\n")
    assert refusal(path) == f"{path}:3:9: passes: found '0'; expected at least 1"


FOREIGN = """
petsim: regime 1
name: Foreign
routine:
  - {when: {joy: below 3}, do: rub}
  - {when: {thirst: below 3, ill: yes}, do: water}
  - {when: {hunger: below 3}, do: feed}
"""


def test_that_most_names_are_another_models_is_told_once(tmp_path: Path) -> None:
    path = file(tmp_path, FOREIGN)
    with pytest.raises(SpecError) as refused:
        load_regime(path, "lamplet")
    assert str(refused.value) == (
        f"{path}:2:9: petsim: most names that it uses are not those of lamplet, such as the need "
        "'joy' and the action 'rub'; expected the model that it was made for, with --model (in "
        "Python, the model argument)"
    )


@pytest.mark.parametrize(
    ("change", "problems"),
    [
        # half of the names are no most, and a misspelt name is not foreign
        ({"joy": "mood"}, 3),
        ({"rub": "fed", "water": "cleen", "joy": "moods"}, 4),
    ],
)
def test_names_that_may_be_misspelt_are_told_one_by_one(change, problems, tmp_path) -> None:
    text = FOREIGN
    for word, other in change.items():
        text = text.replace(word, other)
    with pytest.raises(SpecError) as refused:
        load_regime(file(tmp_path, text), "lamplet")
    assert len(refused.value.problems) == problems
    assert "most names" not in str(refused.value)


def test_a_regime_names_its_model_by_name_or_from_its_own_folder(tmp_path: Path) -> None:
    (tmp_path / "pets").mkdir()
    (tmp_path / "pets" / "mine.yaml").write_text("", encoding="utf-8")

    def named(model: str) -> str | None:
        return model_named_in(file(tmp_path, f"petsim: regime 1\nname: A\nmodel: {model}\n"))

    assert named("lamplet") == "lamplet"
    assert named("pets/mine.yaml") == str(tmp_path / "pets" / "mine.yaml")
    assert model_named_in("hourly") is None
    for wrong, message in (
        ("lamplett", "found the unknown model 'lamplett'; did you mean 'lamplet'?"),
        ("pets/yours.yaml", "found no file 'pets/yours.yaml'; expected the path of a model from "
         "the folder of this file"),
    ):  # fmt: skip
        with pytest.raises(SpecError) as refused:
            named(wrong)
        assert str(refused.value).endswith(f":3:8: model: {message}")


def test_regimes_agree_on_a_model_or_are_refused() -> None:
    assert model_agreed({"a": None, "b": None}) is None
    assert model_agreed({"a": None, "b": "mine", "c": "mine"}) == "mine"
    with pytest.raises(ArgumentError) as refused:
        model_agreed({"a": "mine", "b": "yours"})
    assert str(refused.value) == (
        "model: missing, as a names mine and b names yours; expected the pet that is looked after"
    )


def test_problem_of_a_shipped_file_is_told_by_its_name_and_not_by_where_it_lies(tmp_path) -> None:
    text = (Path(__file__).parents[2] / "models" / "lamplet.yaml").read_text(encoding="utf-8")
    pet = load_model(file(tmp_path, text.replace("hunger", "thirst")))
    regime = Path(__file__).parents[2] / "regimes" / "hourly.yaml"
    lines = regime.read_text(encoding="utf-8").splitlines()
    [line] = [number for number, line in enumerate(lines) if "hunger" in line]
    place = f"{line + 1}:{lines[line].index('hunger') + 1}"
    misfit = (
        "routine[4].when.hunger: found the unknown need 'hunger'; expected one of 'thirst', 'mood'"
    )
    # by its path it is a file like any other
    for source, told in (
        ("hourly", f"hourly (hourly.yaml:{place}): {misfit}"),
        (regime, f"{regime}:{place}: {misfit}"),
    ):
        with pytest.raises(SpecError) as refused:
            load_regime(source, pet)
        assert str(refused.value) == told


@pytest.mark.parametrize("wanted", KINDS)
def test_starter_opens_by_saying_that_it_is_invented(wanted: FileKind, tmp_path: Path) -> None:
    path = tmp_path / "start.yaml"
    write_starter(wanted, path)
    schema, opening, *_ = path.read_text(encoding="utf-8").splitlines()
    noun = "regime" if wanted == "regime" else "pet"
    assert schema == f"# yaml-language-server: $schema={wanted}.schema.json"
    assert opening.startswith(
        f"# An invented {noun} to start from; every name and number in this file is made up."
    )


def test_starters_go_with_each_other_and_with_what_is_shipped(tmp_path: Path) -> None:
    for wanted in KINDS:
        write_starter(wanted, tmp_path / f"{wanted}.yaml")
    pet, regime = load_model(tmp_path / "model.yaml"), load_regime(tmp_path / "regime.yaml")
    for model in (pet, *map(load_model, shipped("models"))):
        check_together(model, regime)
    for name in shipped("regimes"):
        if name != "staged":  # which names stages of its own
            check_together(pet, load_regime(name))


def test_what_a_starter_holds_as_a_comment_may_be_put_in(tmp_path: Path) -> None:
    path = tmp_path / "start.yaml"
    write_starter("regime", path)
    text = path.read_text(encoding="utf-8")
    for key in ("listens", "outages"):
        assert f"\n# {key}:" in text
        text = text.replace(f"\n# {key}:", f"\n{key}:")
    path.write_text(text, encoding="utf-8")
    regime = load_regime(path)
    assert regime.listens is not None
    assert regime.outages is not None


def all_pets() -> list[str | Path]:
    cases = Path(__file__).parents[1] / "cases" / "valid"
    return [*shipped("models"), *sorted(cases.glob("*.model.yaml"))]


@pytest.mark.parametrize("model", all_pets(), ids=str)
def test_a_pet_to_start_from_is_one_of_any_model(model: str | Path, tmp_path: Path) -> None:
    path = tmp_path / "now.yaml"
    write_starter("pet", path, str(model))
    pet, of = load_pet(path), load_model(model)
    assert model_of(pet) == of
    assert not of.forms[pet.form].dormant
    assert pet.misses_in_life == {}


@given(data=model_data())
@settings(max_examples=40, deadline=None, derandomize=True, suppress_health_check=[*HealthCheck])
def test_a_pet_to_start_from_is_right_for_any_model_there_may_be(data: dict[str, Any]) -> None:
    model = load_model(data)
    load_pet(read_text(pet_starter(model, "any.yaml"), "now.yaml").data, model)


def test_what_a_pet_to_start_from_holds_as_comments_may_be_put_in(tmp_path: Path) -> None:
    path = tmp_path / "now.yaml"
    write_starter("pet", path)
    text = path.read_text(encoding="utf-8")
    text = text.replace("levels: {hunger: 6", "levels: {hunger: 0")
    for field in Pet.model_fields.values():
        text = text.replace(f"\n# {field.alias}: ", f"\n{field.alias}: ")
    # lights are off over one that sleeps, as no glint does
    text = text.replace("\nlights: off", "\nlights: on")
    path.write_text(text, encoding="utf-8")
    pet = load_pet(path)
    left_out = {n for n in Pet.model_fields if getattr(pet, n) in (None, {}, "")}
    assert left_out == {"name", "about"}


def test_starter_is_never_written_over_a_file(tmp_path: Path) -> None:
    path = file(tmp_path, "mine")
    with pytest.raises(FileExistsError):
        write_starter("model", path)
    assert path.read_text(encoding="utf-8") == "mine"
    assert list(tmp_path.iterdir()) == [path]


def test_starter_is_written_whole_or_not_at_all(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write = Path.write_text

    def half(path: Path, text: str, encoding: str, newline: str) -> int:
        write(path, text[: len(text) // 2], encoding=encoding, newline=newline)
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_text", half)
    with pytest.raises(OSError, match="No space left on device"):
        write_starter("model", tmp_path / "start.yaml")
    assert list(tmp_path.iterdir()) == []
