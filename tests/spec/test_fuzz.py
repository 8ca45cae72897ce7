"""Whatever is fed to the loaders, nothing but SpecError comes out."""

import copy
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from petsim.errors import SpecError
from petsim.spec.document import Data
from petsim.spec.library import load_model, load_pet, load_regime
from petsim.spec.model import Model
from petsim.spec.pet import Pet
from petsim.spec.reading import read_text
from petsim.spec.regime import Regime

VALID = Path(__file__).parents[1] / "cases" / "valid"
MODEL = (VALID / "mote.model.yaml").read_text(encoding="utf-8")
REGIME = (VALID / "every-key.regime.yaml").read_text(encoding="utf-8")
PET = (VALID / "every-key.pet.yaml").read_text(encoding="utf-8")
MOTE = load_model(VALID / "mote.model.yaml")
READERS = (load_model, load_regime, lambda source: load_regime(source, MOTE), load_pet)
PIECES = (
    "", " ", "\n", "\t", ":", ": ", "- ", "{", "}", "[", "]", "'", '"', "#", "&a ", "*a", "!x ",
    "<<: ", "---\n",
    "|", ">", "? ", "%", "@", "\x00", "\ufeff", "\u2028", "\x85", "9" * 5000, "-", "none", "never",
    "otherwise",
    "hunger", "form", "conditions", "[key]", "1", "yes", "P", "PT", "24:00", "uniform ",
    "\\U99999999",
    '"\\ud800"', "a: {a: {a: ", "e1", ".5", "%YAML 1.99999\n---\n", "null", "~", "all", "petsim: ",
    "stage", "٣",
)  # fmt: skip
fuzz = settings(
    max_examples=300,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


def load(path: Path) -> None:
    for read in READERS:
        try:
            assert isinstance(read(path), Model | Regime | Pet)
        except SpecError as error:
            assert error.problems
            assert all(problem.found and problem.expected for problem in error.problems)
            str(error).encode("utf-8")


@st.composite
def mutated(draw: st.DrawFn) -> str:
    """A valid file with a few pieces cut out or put in."""
    text = draw(st.sampled_from((MODEL, REGIME, PET)))
    for _ in range(draw(st.integers(1, 4))):
        start = draw(st.integers(0, len(text)))
        end = min(len(text), start + draw(st.integers(0, 12)))
        piece = draw(st.one_of(st.sampled_from(PIECES), st.text(max_size=3)))
        text = text[:start] + piece + text[end:]
    return text


@given(text=mutated())
@fuzz
def test_mutated_files(text: str, tmp_path: Path) -> None:
    path = tmp_path / "it.yaml"
    path.write_text(text, encoding="utf-8", errors="surrogatepass")
    load(path)


@given(content=st.one_of(st.binary(max_size=200), st.text(max_size=200).map(str.encode)))
@example(content=b"petsim: model 1\n%YAML 9" + b"9" * 5000)
@example(content=b'petsim: "\\UFFFFFFFF"')
@fuzz
def test_any_bytes(content: bytes, tmp_path: Path) -> None:
    path = tmp_path / "it.yaml"
    path.write_bytes(content)
    load(path)


scalars = st.one_of(
    st.sampled_from(PIECES), st.text(max_size=5), st.integers(), st.floats(), st.booleans()
)
anything = st.recursive(
    st.one_of(scalars, st.none(), st.binary(max_size=1)),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3),
        st.dictionaries(
            st.one_of(st.sampled_from(PIECES), st.integers(0, 9), st.booleans()), inner, max_size=3
        ),
    ),
    max_leaves=6,
)
names = st.one_of(
    anything,
    st.dictionaries(
        st.sampled_from(("form", "conditions", "all", "moth", "hunger")), anything, max_size=2
    ),
)


def ways(data: Data, steps: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    items: list[tuple[Any, Data]] = []
    if isinstance(data, dict):
        items = list(data.items())
    elif isinstance(data, list):
        items = list(enumerate(data))
    return [steps, *(way for step, inner in items for way in ways(inner, (*steps, step)))]


@given(data=st.data())
@fuzz
def test_any_data_in_place_of_any_value(data: st.DataObject) -> None:
    text = data.draw(st.sampled_from((MODEL, REGIME, PET)))
    tree: Any = copy.deepcopy(read_text(text, "it").data)
    way = data.draw(st.sampled_from(ways(tree)[1:]))
    here = tree
    for step in way[:-1]:
        here = here[step]
    if data.draw(st.booleans()):
        here[way[-1]] = data.draw(names)
    elif isinstance(here, dict):
        here[data.draw(st.sampled_from(PIECES))] = here.pop(way[-1])
    for read in READERS:
        try:
            read(tree)
        except SpecError as error:
            assert error.problems


@given(data=st.one_of(anything, st.dictionaries(st.text(max_size=3), anything)).filter(
    lambda data: isinstance(data, dict)))  # fmt: skip
@fuzz
def test_any_mapping(data: dict[Any, Any]) -> None:
    for read in READERS:
        with pytest.raises(SpecError):
            read(data)
