"""The shipped files, and the manuals that lie beside them: examples load, tables keep up."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any, get_type_hints

import pytest
import yaml
from pydantic import TypeAdapter

from petsim import batch
from petsim.cli.values import VARIATION
from petsim.life.simulate import simulate
from petsim.spec import eyes as eyes_of_a_regime
from petsim.spec import model as model_file
from petsim.spec import pet as pet_file
from petsim.spec import regime as regime_file
from petsim.spec.clocks import WEEKDAYS
from petsim.spec.laws import Distribution
from petsim.spec.library import check_together, kind, load_model, load_pet, load_regime, shipped
from petsim.spec.model import Form, Need, Rule, Stage
from petsim.spec.parts import File, Part
from petsim.spec.quantities import DAY
from petsim.spec.regime import CheckWindow
from petsim.spec.variation import Axis
from petsim.study.design import design_of

ROOT = Path(__file__).parents[1]
SHELVES = {"models": [model_file, pet_file], "regimes": [regime_file, eyes_of_a_regime]}
MODELS, REGIMES = shipped("models"), shipped("regimes")

MINIMAL = {
    "models": """
        petsim: model 1
        name: Least
        aim: rock
        outcome stage: adult
        needs:
          hunger: {full: 4, death: starved}
          mood: {full: 4}
        care:
          feed: {raises: {hunger: 1}}
        stages:
          young: {}
          adult: {}
        forms:
          chip: {stage: young, lasts: 1 day, grows into: [{rock: {weight: 0}}, {sand: otherwise}]}
          rock: {stage: adult, lasts: 1 day}
          sand: {stage: adult, lasts: 1 day}
        """,
    "regimes": """
        petsim: regime 1
        name: Least
        """,
}


def load(shelf: str, source: Any) -> File:
    """Load a file of a shelf; a regime as one for the default pet."""
    if shelf == "models":
        return load_pet(source) if kind(source) == "pet" else load_model(source)
    return load_regime(source, load_model("lamplet"))


def manual(shelf: str) -> str:
    return (ROOT / shelf / "README.md").read_text(encoding="utf-8")


def plain(text: str) -> Any:
    """YAML with every scalar as text, as files are read."""
    return yaml.load(text, yaml.BaseLoader)


# Examples


@dataclass(frozen=True)
class Example:
    """A YAML block of a manual; `place` is where it belongs in a file, None for a whole file."""

    shelf: str
    line: int
    text: str
    place: tuple[str, ...] | None

    def __str__(self) -> str:
        return f"{self.shelf}:{self.line}"


BLOCK = re.compile(
    r"(?:<!-- fragment(?: of: (?P<place>[^\n]+))? -->\n)?```yaml\n(?P<text>.*?)```", re.S
)


def examples(shelf: str) -> Iterator[Example]:
    text = manual(shelf)
    for block in BLOCK.finditer(text):
        line = text.count("\n", 0, block.start("text")) + 1
        place = tuple(block["place"].split(".")) if block["place"] else ()
        is_whole = not block[0].startswith("<!--")
        yield Example(shelf, line, block["text"], None if is_whole else place)


EXAMPLES = [example for shelf in SHELVES for example in examples(shelf)]


def merged(under: Any, over: Any) -> Any:
    if not (isinstance(under, dict) and isinstance(over, dict)):
        return over
    return under | {key: merged(under.get(key), value) for key, value in over.items()}


@pytest.mark.parametrize("example", EXAMPLES, ids=str)
def test_an_example_of_the_manual_loads(example: Example, tmp_path: Path) -> None:
    if example.place is None:
        text = example.text
    else:
        over = plain(example.text)
        for key in reversed(example.place):
            over = {key: over}
        text = yaml.safe_dump(merged(plain(MINIMAL[example.shelf]), over), sort_keys=False)
    path = tmp_path / "example.yaml"
    path.write_text(text, encoding="utf-8")
    assert load(example.shelf, str(path)).id == "example"


@pytest.mark.parametrize("shelf", SHELVES)
def test_a_manual_has_a_whole_file_and_no_block_that_is_not_tested(shelf: str) -> None:
    found = [example for example in EXAMPLES if example.shelf == shelf]
    assert any(example.place is None for example in found)
    assert len(found) == manual(shelf).count("```yaml")


# Tables

KEYS = re.compile(r"<!-- keys of: (\w+) -->\n\|[^\n]*\n\|[-|]*\n((?:\|[^\n]*\n)+)")
NOTHING = ("none", "the usual rate", "the usual chance")
ITS_OWN = ("its own defaults", "the usual rates")


def tables(shelf: str) -> dict[str, dict[str, str]]:
    """The default that each table of a manual gives, by class and key; keys in italics vary."""
    found = {}
    for name, rows in KEYS.findall(manual(shelf)):
        cells = [[cell.strip() for cell in row.strip("|").split("|")] for row in rows.splitlines()]
        found[name] = {row[0].strip("`"): row[-1] for row in cells if row[0].startswith("`")}
    return found


def parts(modules: Sequence[ModuleType]) -> dict[str, type[Part]]:
    """The classes that describe mappings of a file; a rule is a form with its conditions."""
    return {
        name: value
        for module in modules
        for name, value in vars(module).items()
        if isinstance(value, type) and issubclass(value, Part) and value is not Rule
        if value.__module__ == module.__name__ and not name.startswith("_")
    }


def own_fields(part: type[Part]) -> dict[str, Any]:
    inherited = Stage.model_fields if part is Form else {}
    return {name: field for name, field in part.model_fields.items() if name not in inherited}


PARTS = [(shelf, part) for shelf, modules in SHELVES.items() for part in parts(modules).values()]


@pytest.mark.parametrize("shelf", SHELVES)
def test_a_manual_has_a_table_for_each_mapping_and_no_other(shelf: str) -> None:
    assert tables(shelf).keys() == parts(SHELVES[shelf]).keys()


@pytest.mark.parametrize(("shelf", "part"), PARTS)
def test_a_table_of_the_manual_has_just_the_keys_there_are(shelf: str, part: type[Part]) -> None:
    keys = {str(field.alias) for field in own_fields(part).values()}
    assert tables(shelf)[part.__name__].keys() == keys


@pytest.mark.parametrize(("shelf", "part"), PARTS)
def test_a_table_of_the_manual_has_the_right_defaults(shelf: str, part: type[Part]) -> None:
    table = tables(shelf)[part.__name__]
    types = get_type_hints(part, include_extras=True)
    for name, field in own_fields(part).items():
        written = table[str(field.alias)]
        if (part, name) == (Need, "starts"):
            assert written == "full"
        elif (part, name) == (CheckWindow, "every"):
            assert (written, field.default) == ("the usual interval", "usual")
        elif field.is_required():
            assert written == "required", name
        elif written in NOTHING:
            assert field.default in (None, "", (), {}, frozenset()), name
        elif written in ITS_OWN:
            assert field.default == type(field.default)(), name
        else:
            assert TypeAdapter(types[name]).validate_python(plain(written)) == field.default, name


def test_a_need_starts_full() -> None:
    assert Need.model_validate({"full": "4"}).starts == 4


def slug(heading: str) -> str:
    return re.sub(r"[^\w -]", "", heading.lower()).replace(" ", "-")


@pytest.mark.parametrize("shelf", SHELVES)
def test_the_links_of_a_manual_lead_somewhere(shelf: str) -> None:
    for target in re.findall(r"\]\(([^)\s]+)\)", manual(shelf)):
        path, _, anchor = target.partition("#")
        page = (ROOT / shelf / path).resolve() if path else ROOT / shelf / "README.md"
        headings = re.findall(r"^#+ (.+)$", page.read_text(encoding="utf-8"), re.M)
        assert not anchor or anchor in map(slug, headings), target


@pytest.mark.parametrize("shelf", SHELVES)
def test_a_manual_names_every_shipped_file(shelf: str) -> None:
    files = {path.name for path in (ROOT / shelf).glob("*.yaml")}
    assert set(re.findall(r"`([\w-]+\.yaml)`", manual(shelf))) == files


# Shipped files


@pytest.mark.parametrize(
    ("shelf", "name"), [*(("models", m) for m in MODELS), *(("regimes", r) for r in REGIMES)]
)
def test_a_shipped_file_names_its_schema_and_opens_by_saying_it_is_invented(
    shelf: str, name: str
) -> None:
    kind = shelf.removesuffix("s")
    schema, opening, *_ = (ROOT / shelf / f"{name}.yaml").read_text("utf-8").splitlines()
    assert schema == f"# yaml-language-server: $schema={kind}.schema.json"
    noun = "pet" if kind == "model" else "regime"
    assert opening == f"# An invented {noun}; every name and number in this file is made up."


@pytest.mark.parametrize("model", MODELS)
@pytest.mark.parametrize("regime", REGIMES)
def test_every_shipped_regime_fits_every_shipped_model(model: str, regime: str) -> None:
    check_together(load_model(model), load_regime(regime))


def without(file: File, *keys: str) -> dict[str, Any]:
    data = file.model_dump(by_alias=True)
    for key in ("name", "about", *keys):
        data.pop(key, None)
    return data


def test_the_tender_pet_differs_only_in_what_an_unfair_reprimand_costs() -> None:
    tender, usual = load_model("lamplet-tender"), load_model("lamplet")
    assert without(tender, "discipline") == without(usual, "discipline")
    assert tender.discipline == usual.discipline.model_copy(update={"unfair_costs": {"mood": 1}})


@pytest.mark.parametrize("other", ["thirty-minute", "hourly", "ten-minute-quiet-night", "staged"])
def test_the_plain_grids_differ_only_in_their_checks(other: str) -> None:
    assert without(load_regime(other), "checks") == without(load_regime("ten-minute"), "checks")


def test_the_rig_differs_from_ten_minutes_in_eyes_hands_outages_and_the_status_screen() -> None:
    failings = ("eyes", "hands", "outages")
    rig, usual = (load_regime(name) for name in ("camera-rig", "ten-minute"))
    assert without(rig, *failings, "routine") == without(usual, *failings, "routine")
    looks, scolds, *others = rig.routine
    scolds_blindly, *as_usual = usual.routine
    assert looks.look == ("calling", "discipline")
    assert str(scolds.when.discipline) == "below 100" if scolds.when else False
    assert scolds.model_copy(update={"when": None}) == scolds_blindly
    assert others == as_usual


def test_the_rig_succeeds_less_often_than_one_that_never_fails_and_more_often_than_not() -> None:
    odds = batch("lamplet", "camera-rig", lives=3000, seed=0).share("beacon")
    assert 0.6 < odds.low < odds.high < 0.75


def test_the_microphone_is_all_that_half_hourly_care_gains() -> None:
    microphone, usual = load_regime("microphone"), load_regime("thirty-minute")
    assert microphone.listens
    assert not usual.listens
    assert without(microphone, "listens") == without(usual, "listens")


def test_the_rota_with_a_gap_differs_only_in_that_window() -> None:
    gap, usual = load_regime("office-rota-gap"), load_regime("office-rota")
    assert without(gap, "checks") == without(usual, "checks")
    [nobody], [lunch] = gap.checks.windows, usual.checks.windows
    assert (nobody.every, nobody.forgets) == (None, None)
    assert (nobody.during, lunch.every) == (lunch.during, "usual")
    assert gap.checks.model_copy(update={"windows": (lunch,)}) == usual.checks


def test_the_rota_works_as_often_as_the_manual_says_and_with_a_gap_never() -> None:
    # "six times in ten": 4.5 standard errors of 2000 lives are 4.9 percentage points
    works = batch("lamplet", "office-rota", lives=2000, seed=1).share("beacon")
    assert abs(works.estimate - 0.6) < 0.049
    fails = batch("lamplet", "office-rota-gap", lives=2000, seed=1).share("beacon")
    assert fails.high < 0.01


def laws(value: Any) -> Iterator[Distribution]:
    """All distributions in a part of a file."""
    if isinstance(value, Distribution):
        yield value
    elif isinstance(value, Part):
        yield from laws(dict(value))
    elif isinstance(value, Mapping):
        for inner in value.values():
            yield from laws(inner)


def test_the_plain_clock_leaves_nothing_to_chance() -> None:
    clock = load_model("plain-clock")
    found = list(laws(clock))
    assert found
    assert {law.kind for law in found} == {"fixed"}
    assert {action.works for action in clock.care.values()} == {1.0}
    assert not any(form.illness for form in clock.forms.values())


def test_the_plain_clock_lives_49_hours_whichever_way_it_grows() -> None:
    forms = load_model("plain-clock").forms
    for adult in ("steady", "adrift"):
        life = [forms[name].lasts.parameters[0] for name in ("seed", "tick", "tock", adult, "hush")]
        assert sum(life) == 49 * 3600


def test_the_plain_clock_lives_as_the_manual_works_it_out_by_hand() -> None:
    _, _, worked = manual("models").partition("## A life worked by hand")
    rows = re.findall(r"^\| (\w+day) (\d\d):(\d\d) \| (\w+) \| (\w*) ?\|$", worked, re.M)
    birth = WEEKDAYS.index("Monday") * DAY + 9 * 3600
    expected = [
        (WEEKDAYS.index(day) * DAY + int(hour) * 3600 + int(minute) * 60 - birth, event, about)
        for day, hour, minute, event, about in rows
    ]
    told = {event for _, event, _ in expected}
    life = simulate("plain-clock", "hands-off")
    events = life.events[["t", "event", "what"]].itertuples(index=False, name=None)
    assert [event for event in events if event[1] in told] == expected
    assert life.summary["end_s"] == expected[-1][0]


# Paths and values

VARIED = re.findall(
    r"^\| `([^`]+=[^`]+)` \| [^|]+ \| (`[^|]*`) \|$", manual("regimes"), re.MULTILINE
)


def test_the_manual_of_paths_has_its_examples():
    assert len(VARIED) > 10


@pytest.mark.parametrize(("written", "listed"), VARIED)
def test_a_path_and_its_values_are_what_the_manual_says(written, listed):
    path, values = VARIATION.convert(written, None, None)
    expected = [plain(text) for text in re.findall("`([^`]+)`", listed)]
    axis = Axis.read(path, values)
    sample = {"sample": "latin", "points": 2} if axis.range is not None else {}
    design = design_of("lamplet", ["camera-rig"], {path: values}, **sample)
    design.validate()
    said = [axis.at(0), axis.at(1)] if sample else [*axis.values]
    assert said == expected
