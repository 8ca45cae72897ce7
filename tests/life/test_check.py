"""Checking files of all kinds at once."""

from pathlib import Path

import pytest
import yaml

import petsim
from petsim.life.check import Finding, check
from petsim.life.remarks import seconds_within
from petsim.spec.clocks import window
from petsim.spec.quantities import DAY
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
    said = {"petsim": "regime 1", "name": "A regime", "routine": [{"do": action}], **more}
    said.setdefault("checks", {"every": "10 min"})
    return said


def but_for_notes(findings: list[Finding]) -> list[Finding]:
    """The same without what is noted of regimes that do one thing alone."""
    return [finding._replace(notes=()) for finding in findings]


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
    for model in ("lamplet", "plain-clock"):
        found = but_for_notes(check([path], model))
        assert found == [Finding(path, "regime", (model,), ())]


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
    assert but_for_notes(findings) == [
        Finding(
            neither,
            "",
            (),
            (
                f"{neither}:1:9: petsim: found 'rig 1'; expected 'model 1', 'regime 1', 'pet 1' or "
                "'study 1'",
            ),
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


# What a regime leaves undone

STEPS = ("feed", "play", "clean", "dose", "lights_off", "reprimand")
UNDONE = {
    "feed": "hunger, which can be fatal; feed would help",
    "play": "mood; treat or play would help",
    "clean": "waste; clean would help",
    "dose": "illness, which can be fatal; dose would help",
    "lights_off": "lights in its sleep; lights_off would help",
    "reprimand": "misbehaviour; reprimand would help",
}


def notes(directory: Path, steps: tuple[str, ...], *models: str) -> tuple[str, ...]:
    routine = [{"do": step} for step in steps]
    path = written(directory, "mine.yaml", {**regime(), "routine": routine})
    [*_, finding] = check([*models, path], "lamplet")
    assert finding.problems == ()
    return finding.notes


@pytest.mark.parametrize("left_out", STEPS)
def test_what_no_step_is_for_is_noted(left_out: str, tmp_path: Path) -> None:
    done = tuple(step for step in STEPS if step != left_out)
    assert notes(tmp_path, STEPS) == ()
    assert notes(tmp_path, done) == (f"nothing is done about {UNDONE[left_out]}",)


def test_any_action_that_helps_will_do(tmp_path: Path) -> None:
    assert notes(tmp_path, ("feed", "treat", *STEPS[2:])) == ()


def test_what_a_model_has_not_got_is_not_noted(tmp_path: Path) -> None:
    # whose pet never falls ill, as its file has no word of it
    text = (Path(__file__).parents[2] / "models" / "plain-clock.yaml").read_text(encoding="utf-8")
    assert "illness" not in text
    done = tuple(step for step in STEPS if step != "dose")
    assert notes(tmp_path, done, "plain-clock") == ()
    [note] = notes(tmp_path, done, "plain-clock", "lamplet")
    assert note == f"nothing is done about {UNDONE['dose']} (with lamplet)"


def test_what_nothing_helps_against_is_not_noted(tmp_path: Path) -> None:
    path = written(tmp_path, "pet.yaml", shuns("clean"))
    assert "waste" not in " ".join(notes(tmp_path, ("feed",), path))


def test_a_regime_that_does_not_go_with_the_model_has_problems_alone(tmp_path: Path) -> None:
    path = written(tmp_path, "mine.yaml", regime("fed"))
    [finding] = check([path], "lamplet")
    assert finding.problems and not finding.notes


@pytest.mark.parametrize(
    ("more", "ever"),
    [
        ({}, False),
        ({"checks": {"every": "never"}}, False),
        ({"checks": {"every": "1 h"}}, True),
        ({"checks": {"first": "0 s", "by stage": {"adult": "1 h"}}}, True),
        ({"checks": {"first": "0 s", "windows": [{"during": "09:00 to 10:00", "every": "1 h"}]}},
         True),
        ({"listens": {"hears": "50%", "reacts in": "5 min"}}, True),
    ],
)  # fmt: skip
def test_a_routine_that_is_never_done_is_noted(more: dict, ever: bool, tmp_path: Path) -> None:
    routine = [{"do": step} for step in STEPS]
    content = {"petsim": "regime 1", "name": "A regime", "routine": routine, **more}
    [finding] = check([written(tmp_path, "mine.yaml", content)], "lamplet")
    note = "no check ever comes, as `every` is never and it does not listen"
    assert finding.notes == (() if ever else (note,))


@pytest.mark.parametrize("name", ["ten-minute", "hourly", "camera-rig", "school-day", "staged"])
def test_regimes_that_do_all_there_is_to_do_have_no_notes(name: str) -> None:
    assert check([name], "lamplet")[0].notes == ()


LUNCH = {"during": "12:10 to 12:50", "every": "1 h"}
NOON = {"during": "12:00 to 12:01 on Mon-Fri", "every": "3 h"}
ALL_DAY = {"during": "00:00 to 24:00", "every": "30 min"}
SIESTA = {"during": "12:00 to 13:00", "every": "never"}


@pytest.mark.parametrize(
    ("checks", "why", "ever"),
    [
        # born at 09:00 on a Monday
        ({"first": "0 s", "windows": [LUNCH]},
         "12:10 to 12:50, as every 1 h from `first` on never falls in it", False),
        ({"first": "10 min", "windows": [LUNCH]}, None, True),
        ({"first": "0 s", "windows": [NOON]}, None, True),
        ({"first": "1 h", "windows": [NOON]},
         "12:00 to 12:01 on weekdays, as every 3 h from `first` on never falls in it", False),
        ({"first": "15 min", "windows": [ALL_DAY, LUNCH]},
         "12:10 to 12:50, as an earlier window is in force then", True),
        ({"first": "0 s", "every": "1 h", "windows": [SIESTA]}, None, True),
        ({"every": "1 h", "windows": [LUNCH]}, None, True),
    ],
)  # fmt: skip
def test_a_window_that_the_grid_passes_by_is_noted(
    checks: dict, why: str | None, ever: bool, tmp_path: Path
) -> None:
    routine = [{"do": step} for step in STEPS]
    content = {"petsim": "regime 1", "name": "A regime", "routine": routine, "checks": checks}
    [finding] = check([written(tmp_path, "mine.yaml", content)], "lamplet")
    assert finding.notes == ((f"no check comes during {why}",) if why else ())
    lived = petsim.simulate("lamplet", content, days=6).summary
    assert (lived["checks"] > 0) == ever


AT = ["07:15", "12:30 on weekdays"]
FRIDAYS = {"during": "12:00 to 13:00 on Fri", "every": "never"}
SPELLS = {"clear": "exponential 4 h", "lasts": "20 min"}


@pytest.mark.parametrize(
    ("more", "note"),
    [
        ({"checks": {"at": AT, "windows": [FRIDAYS]}}, None),
        ({"checks": {"at": AT, "windows": [SIESTA]}},
         "the check at 12:30 on weekdays never comes, as every window over it says never"),
        ({"checks": {"at": AT, "windows": [{"during": "12:00 to 13:00", "forgets": "9%"}]}}, None),
        ({"checks": {"at": AT, "windows": [{"during": "12:00 to 13:00 on Sun", "forgets": "9%"}]}},
         "`forgets` during 12:00 to 13:00 on Sun changes nothing, as no check at a clock time is "
         "then"),
        ({"checks": {"at": AT, "windows": [SIESTA, {"during": "12:00 to 13:00", "forgets": "9%"}]}},
         "the check at 12:30 on weekdays never comes, as every window over it says never"),
        ({"checks": {"every": "10 min", "late": "exponential 10 min"}}, None),
        # the median of an exponential wait is its mean times ln 2, here 10.4 min
        ({"checks": {"every": "10 min", "late": "exponential 15 min"}},
         "most checks are given up: half of them come 10 min 24 s or more late, and the next is "
         "due after 10 min"),
        ({"checks": {"every": "1 h", "late": "20 min",
                     "windows": [{"during": "12:00 to 13:00", "every": "10 min"}]}},
         "most checks are given up: half of them come 20 min or more late, and the next is due "
         "after 10 min"),
        ({"checks": {"at": ["07:15", "07:25"], "late": "20 min"}}, None),
        ({"checks": {"at": ["07:15", "07:25", "07:35"], "late": "20 min"}},
         "most checks are given up: half of them come 20 min or more late, and the next is mostly "
         "due before that"),
        ({"checks": {"every": "10 min", "forgets": 1}},
         "every check at set times is forgotten, as `forgets` is 100%; one in a hundred is 1%"),
        ({"hands": {"feed": {"slips": "1%", "into": {"play": "40%"}}}}, None),
        ({"hands": {"feed": {"takes": "3 s", "into": {"play": "40%"}}}},
         "`into` of feed changes nothing, as feed never slips"),
        ({"hands": {"feed": {"into": {"play": "0%"}}}}, None),
        ({"eyes": {"spells": SPELLS}},
         "spells of bad light change nothing, as they name no rate of error"),
        ({"eyes": {"spells": {**SPELLS, "ill": {"imagines": "0%"}}}}, None),
        ({"eyes": {"spells": {**SPELLS, "hunger": {"misreads": "5%"}}}}, None),
    ],
)  # fmt: skip
def test_what_changes_nothing_or_is_hardly_meant_is_noted(
    more: dict, note: str | None, tmp_path: Path
) -> None:
    content = {**regime(**more), "routine": [{"do": step} for step in STEPS]}
    [finding] = check([written(tmp_path, "mine.yaml", content)], "lamplet")
    assert finding.problems == ()
    assert finding.notes[:1] == ((note,) if note else ())


@pytest.mark.parametrize(
    "text",
    ["22:30 to 07:00", "00:00 to 24:00", "07:00 to 08:30 on Mon-Fri", "23:59:59 to 00:00:01 on Sun",
     "09:00 to 09:00:01 on weekends", "12:00 to 11:59 on Sat", "00:00 to 00:01 on Mon"],
)  # fmt: skip
def test_seconds_within_a_window_are_those_in_which_it_holds(text: str) -> None:
    clock_window, within = window(text), seconds_within(window(text))
    assert len(within) == 7 * DAY
    for second in range(0, 7 * DAY, 7):
        assert within[second] == clock_window.holds(second % DAY, second // DAY), second
    for edge in (clock_window.start, clock_window.end):
        for day in range(7):
            for second in ((day * DAY + edge + by) % (7 * DAY) for by in (-1, 0, 1)):
                assert within[second] == clock_window.holds(second % DAY, second // DAY), second


def test_a_check_of_many_windows_does_not_try_every_second_for_each(tmp_path: Path) -> None:
    # 30 windows that none of a million checks a fortnight comes in, as the first one holds then
    hidden = [f"00:{n // 60:02}:{n % 60:02} to 24:00" for n in range(1, 31)]
    windows = [{"during": text, "every": "1 s"} for text in ("00:00 to 24:00", *hidden)]
    checks = {"first": "0 s", "windows": windows}
    [finding] = check([written(tmp_path, "r.yaml", regime(checks=checks))], "lamplet-quick")
    about = [note for note in finding.notes if "an earlier window is in force then" in note]
    assert len(about) == 30
