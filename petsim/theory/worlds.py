"""Tiny pets and regimes as the files a user would write, invented: every number is made up."""

from __future__ import annotations

from collections.abc import Iterable
from textwrap import indent

ONE_NEED = "hunger: {full: 1}"
FEED = "feed: {raises: {hunger: 1}}"
FEED_WHEN_EMPTY = "{when: {hunger: at most 0}, do: feed}"
ROCK = "rock: {stage: grown, lasts: 1 day}"
GROWN_SOON_ENOUGH = "{stage: young, lasts: 1000000 days, grows into: rock}"


def pet(
    *rates: str,
    needs: Iterable[str] = (ONE_NEED,),
    care: Iterable[str] = (FEED,),
    grain: str = GROWN_SOON_ENOUGH,
    rocks: Iterable[str] = (ROCK,),
    more: Iterable[str] = (),
) -> str:
    """The file of a model: a young `grain` with these rates, that grows into a rock.

    Args:
        rates: lines of the young stage.
        needs, care: a line each.
        grain: the mapping of the young form.
        rocks: the grown forms, a line each.
        more: other lines of the file.
    """
    return _file(
        "# An invented pet; every name and number is made up.",
        "petsim: model 1",
        "name: Pebble",
        "outcome stage: grown",
        "aim: rock",
        *more,
        *_block("needs", needs),
        *_block("care", care, none=()),
        "stages:",
        *_indented(_block("young", rates, none=("young: {}",))),
        "  grown: {}",
        *_block("forms", (f"grain: {grain}", *rocks)),
    )


def hungry(
    mean: float,
    grace: int,
    *rates: str,
    full: int = 1,
    actions: Iterable[str] = ("feed",),
    grain: str = GROWN_SOON_ENOUGH,
    rocks: Iterable[str] = (ROCK,),
) -> str:
    """A pet with one need, hunger, whose drops are exponential and which is missed after a grace.

    Each of the actions fills it. The rest is as in `pet`.
    """
    return pet(
        f"drops: {{hunger: exponential {mean} s}}",
        f"grace: {{hunger: {grace} s}}",
        *rates,
        needs=[f"hunger: {{full: {full}}}"],
        care=[f"{action}: {{raises: {{hunger: {full}}}}}" for action in actions],
        grain=grain,
        rocks=rocks,
    )


def dropping(wait: int, grace: int) -> str:
    """A pet whose one need drops after a fixed wait, and is missed after a grace."""
    return pet(f"drops: {{hunger: {wait} s}}", f"grace: {{hunger: {grace} s}}")


def wasting(wait: str) -> str:
    """A pet whose waste comes after each wait of a distribution, onto a pile without an end."""
    return pet(f"waste: {{every: {wait}, pile max: 1000000}}")


def regime(*lines: str, routine: Iterable[str] = (FEED_WHEN_EMPTY,)) -> str:
    """The file of a regime of these lines and routine steps."""
    steps = [f"- {step}" for step in routine]
    return _file(
        "# An invented regime; every name and number is made up.",
        "petsim: regime 1",
        "name: regime",
        *lines,
        *_block("routine", steps, none=("routine: []",)),
    )


def every(seconds: int, first: str = "0 s") -> str:
    """The line of a regime that checks at `first` and then at intervals of some seconds."""
    return f"checks: {{every: {seconds} s, first: {first}}}"


def _block(key: str, lines: Iterable[str], none: Iterable[str] = ()) -> list[str]:
    """A key with lines under it; if there are none, what is written instead."""
    entries = [*lines]
    return [f"{key}:", *_indented(entries)] if entries else [*none]


def _indented(lines: Iterable[str]) -> list[str]:
    return [indent(line, "  ") for line in lines]


def _file(*lines: str) -> str:
    return "\n".join((*lines, ""))


NO_CARE = regime(routine=())
