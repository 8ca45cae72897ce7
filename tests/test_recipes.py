"""The recipes of DEVELOPERS.md: each lists every place of the package that its example is in."""

import io
import re
import tokenize
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
GUIDE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
RECIPE = re.compile(r"^\*\*(An? [^*`]+), like `(\w+)`\.\*\*(.*?)(?=^\*\*|^## )", re.M | re.S)
RECIPES = {name: (example, text) for name, example, text in RECIPE.findall(GUIDE)}
WANTED = {
    "An effect of an action",
    "A rule of a need",
    "A column",
    "An event",
    "A statistic",
    "A measure",
    "A picture",
    "A distribution",
    "A hidden chain",
    "A signal",
    "A command",
    "A way of choosing points",
    "An imperfection",
    "An answer",
}
NAMES = {
    "An imperfection": r"_with(out)?_outages|a battery or an uninterruptible .*",
    "An answer": r"explain|Explanation",
    "A hidden chain": r".*(illness_chain|IllnessChain|forward_illness|\.illness\\?\.(base|per )).*",
}
"""By what the example is known in code, where its own word means more than what the recipe adds."""


def places(text: str) -> set[str]:
    """The files that a recipe lists."""
    return set(re.findall(r"`([\w./]+\.\w+)`", text))


@cache
def words_of(path: Path) -> set[str]:
    """The words of a file's code: its names, and the strings that are a word, but no comments."""
    tokens = tokenize.generate_tokens(io.StringIO(path.read_text(encoding="utf-8")).readline)
    in_fstring = getattr(tokenize, "FSTRING_MIDDLE", tokenize.STRING)  # from Python 3.12 on
    kinds = (tokenize.NAME, tokenize.STRING, in_fstring)
    return {token.string.strip("'\"") for token in tokens if token.type in kinds}


def files_with(example: str) -> set[str]:
    """The files of the package whose code has the example's word; theory only uses examples."""
    package = ROOT / "petsim"
    is_it = re.compile(example).fullmatch
    files = (path for path in package.rglob("*.py") if any(map(is_it, words_of(path))))
    places = {path.relative_to(package) for path in files}
    return {f"petsim/{place.as_posix()}" for place in places if place.parts[0] != "theory"}


def test_there_is_a_recipe_for_each_thing_one_adds():
    assert RECIPES.keys() == WANTED


@pytest.mark.parametrize("name", RECIPES)
def test_a_recipe_lists_every_place(name):
    example, text = RECIPES[name]
    listed = {place for place in places(text) if place.startswith("petsim/")}
    assert listed == files_with(NAMES.get(name, example))


@pytest.mark.parametrize("name", RECIPES)
def test_the_places_of_a_recipe_are_there_and_a_test_is_among_them(name):
    _, text = RECIPES[name]
    assert any(place.startswith("tests/") for place in places(text))
    for place in places(text):
        assert (ROOT / place).is_file(), place


def test_a_place_that_is_missing_is_noticed():
    example, text = RECIPES["A distribution"]
    listed = {place for place in places(text) if place.startswith("petsim/")}
    assert files_with(example) - (listed - {min(listed)}) == {min(listed)}
