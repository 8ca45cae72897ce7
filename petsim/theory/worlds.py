"""Tiny pets and regimes as the files a user would write, invented: every number is made up."""

from __future__ import annotations

from collections.abc import Iterable
from textwrap import indent

ONE_NEED = "hunger: {full: 1}"
FEED = "feed: {raises: {hunger: 1}}"
FEED_WHEN_EMPTY = "{when: {hunger: at most 0}, do: feed}"
GROWN_SOON_ENOUGH = "{stage: young, lasts: 1000000 days, grows into: rock}"


def pet(
    *rates: str,
    needs: Iterable[str] = (ONE_NEED,),
    care: Iterable[str] = (FEED,),
    grain: str = GROWN_SOON_ENOUGH,
    rocks: Iterable[str] = ("rock: {stage: grown, lasts: 1 day}",),
    more: Iterable[str] = (),
) -> str:
    """A model: a `grain`, young, with these rates, that grows into a rock."""
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
        *_lines(_block("young", rates, none=("young: {}",))),
        "  grown: {}",
        *_block("forms", (f"grain: {grain}", *rocks)),
    )


def hungry(mean: float, grace: int, *more: str, full: int = 1) -> str:
    """A pet with one need of exponential drops, misses after a grace, and a feed that fills it."""
    return pet(
        f"drops: {{hunger: exponential {mean} s}}",
        f"grace: {{hunger: {grace} s}}",
        *more,
        needs=[f"hunger: {{full: {full}}}"],
        care=[f"feed: {{raises: {{hunger: {full}}}}}"],
    )


def regime(*lines: str, routine: Iterable[str] = (FEED_WHEN_EMPTY,)) -> str:
    """A regime of these lines and routine steps."""
    steps = [f"- {step}" for step in routine]
    return _file(
        "# An invented regime; every name and number is made up.",
        "petsim: regime 1",
        "name: regime",
        *lines,
        *_block("routine", steps, none=("routine: []",)),
    )


def every(seconds: int, first: str = "0 s") -> str:
    """The line of a regime that checks at `first` and then every so many seconds."""
    return f"checks: {{every: {seconds} s, first: {first}}}"


def _block(key: str, lines: Iterable[str], none: Iterable[str] = ()) -> list[str]:
    """The lines under a key; without any, what stands for none."""
    held = [*lines]
    return [f"{key}:", *_lines(held)] if held else [*none]


def _lines(lines: Iterable[str]) -> list[str]:
    return [indent(line, "  ") for line in lines]


def _file(*lines: str) -> str:
    return "\n".join((*lines, ""))
