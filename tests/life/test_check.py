"""Checking files of all kinds at once."""

from pathlib import Path

import pytest
import yaml

from petsim.life.check import Finding, check
from tests.life.worlds import care, pet

KEEPER = """
class Keeper:
    regime = {regime!r}
    def check(self, look):
        yield {action!r}
"""


def written(directory: Path, name: str, content: object) -> str:
    """The path of a file with this text or data."""
    path = directory / name
    text = content if isinstance(content, str) else yaml.safe_dump(content, sort_keys=False)
    path.write_text(text, encoding="utf-8")
    return str(path)


def regime(action: str = "feed", **more: object) -> dict[str, object]:
    """A regime with one step, and whatever else it is to say."""
    return {"petsim": "regime 1", "name": "A regime", "routine": [{"do": action}], **more}


def shuns(action: str) -> dict[str, object]:
    """A model that has not got one of the usual actions."""
    return pet(care={name: effects for name, effects in care().items() if name != action})


def test_model_by_itself(tmp_path: Path) -> None:
    path = written(tmp_path, "pet.yaml", pet())
    assert check([path], "lamplet") == [Finding(path, "model", (), ())]


def test_regime_is_checked_against_the_model_that_is_named_if_none_is_among_the_files(
    tmp_path: Path,
) -> None:
    path = written(tmp_path, "mine.yaml", regime())
    assert check([path], "lamplet") == [Finding(path, "regime", ("lamplet",), ())]
    assert check([path], "plain-clock") == [Finding(path, "regime", ("plain-clock",), ())]


def test_shipped_names_may_be_given(tmp_path: Path) -> None:
    assert check(["plain-clock", "hourly"], "lamplet") == [
        Finding("plain-clock", "model", (), ()),
        Finding("hourly", "regime", ("plain-clock",), ()),
    ]


def test_all_faults_of_a_regime_its_own_and_with_the_model_are_told_at_once(
    tmp_path: Path,
) -> None:
    path = written(tmp_path, "mine.yaml", regime("feet", passes=0))
    [finding] = check([path], "lamplet")
    assert finding.problems == (
        f"{path}:4:7: routine[0].do: found the unknown action 'feet'; did you mean 'feed'?",
        f"{path}:5:9: passes: found '0'; expected at least 1",
    )


def test_regime_is_checked_against_every_model_among_the_files(tmp_path: Path) -> None:
    plain = written(tmp_path, "plain.yaml", pet())
    other = written(tmp_path, "other.yaml", shuns("cheer"))
    good = written(tmp_path, "good.yaml", regime())
    half = written(tmp_path, "half.yaml", regime("cheer"))
    bad = written(tmp_path, "bad.yaml", regime("whistle"))
    findings = {found.source: found for found in check([good, half, bad, plain, other], "lamplet")}
    assert findings[good] == Finding(good, "regime", ("plain", "other"), ())
    [with_one] = findings[half].problems
    assert with_one.startswith(f"{half}:4:7: routine[0].do: found the unknown action 'cheer'; ")
    assert with_one.endswith(" (with other)")
    # the actions to choose from differ, so each model has a line of its own
    assert [line[-12:] for line in findings[bad].problems] == ["(with plain)", "(with other)"]


def test_fault_that_all_models_share_is_told_once(tmp_path: Path) -> None:
    models = [written(tmp_path, f"{name}.yaml", pet()) for name in ("one", "two")]
    path = written(tmp_path, "mine.yaml", regime("feet"))
    finding = check([path, *models], "lamplet")[0]
    assert finding.problems == (
        f"{path}:4:7: routine[0].do: found the unknown action 'feet'; did you mean 'feed'?",
    )


def test_regime_is_checked_by_itself_if_no_model_among_the_files_can_be_used(
    tmp_path: Path,
) -> None:
    wrong = written(tmp_path, "pet.yaml", pet(aim="bush"))
    good = written(tmp_path, "good.yaml", regime("whistle"))
    bad = written(tmp_path, "bad.yaml", regime("whistle", passes=0))
    keeper = written(tmp_path, "keeper.py", KEEPER.format(regime="hourly", action="whistle"))
    of_model, of_good, of_bad, of_keeper = check([wrong, good, bad, keeper], "lamplet")
    assert len(of_model.problems) == 1
    assert of_good == Finding(good, "regime", (), ())
    assert of_bad.problems == (f"{bad}:5:9: passes: found '0'; expected at least 1",)
    assert of_keeper == Finding(keeper, "policy", (), ())


def test_policy_is_tried_on_the_model(tmp_path: Path) -> None:
    model = written(tmp_path, "pet.yaml", pet())
    rota = regime(checks={"every": "1 h", "first": "0 s"})
    good = written(tmp_path, "good.py", KEEPER.format(regime=rota, action="cheer"))
    bad = written(tmp_path, "bad.py", KEEPER.format(regime=rota, action="whistle"))
    findings = check([f"{good}:Keeper", bad, model], "lamplet")
    assert findings[0] == Finding(f"{good}:Keeper", "policy", ("pet",), ())
    assert findings[1].problems == (
        "bad:Keeper: life 0, day 1 00:00:00: asked for 'whistle', which pet does not know "
        "(its actions: feed, cheer, clean, dose, lights_off, lights_on, reprimand)",
    )


def test_file_of_no_kind_is_told_and_keeps_nothing_else_from_being_checked(
    tmp_path: Path,
) -> None:
    neither = written(tmp_path, "neither.yaml", "petsim: rig 1\n")
    good = written(tmp_path, "good.yaml", regime())
    findings = check([neither, str(tmp_path / "nowhere.yaml"), good], "lamplet")
    assert findings == [
        Finding(
            neither,
            "",
            (),
            (f"{neither}:1:9: petsim: found 'rig 1'; expected 'model 1' or 'regime 1'",),
        ),
        Finding(
            f"{tmp_path}/nowhere.yaml",
            "",
            (),
            (f"{tmp_path}/nowhere.yaml: no such file; expected a YAML file",),
        ),
        Finding(good, "regime", ("lamplet",), ()),
    ]


def test_model_to_check_against_that_is_wrong_is_told_too(tmp_path: Path) -> None:
    path = written(tmp_path, "mine.yaml", regime())
    own, of_model = check([path], "lamplett")
    assert own == Finding(path, "regime", (), ())
    assert of_model.source == "lamplett"
    assert of_model.problems[0].startswith("'lamplett': found the unknown model 'lamplett'; ")


def test_model_to_check_against_is_not_read_if_there_is_nothing_to_check(tmp_path: Path) -> None:
    path = written(tmp_path, "pet.yaml", pet())
    assert check([path], "lamplett") == [Finding(path, "model", (), ())]
    assert [found.kind for found in check(["nothing"], "lamplett")] == [""]


@pytest.mark.parametrize("name", ["pet.yaml", "mine.yaml"])
def test_file_given_twice_is_checked_once(name: str, tmp_path: Path) -> None:
    path = written(tmp_path, name, pet() if name == "pet.yaml" else regime())
    assert len(check([path, path], "lamplet")) == 1
