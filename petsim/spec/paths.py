"""Which path of a file is meant by one that leads nowhere."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from petsim.errors import MisfitError, near_miss, quote
from petsim.spec.document import Data, Steps, field_name
from petsim.spec.parts import COMPLETE, File
from petsim.spec.reading import read_data

_STEP = re.compile(r"[^.:/\\\[\]>]+")
"""A step of a path, also of one that is written otherwise, such as `checks/every`."""
MOST_MEANT = 6
"""Paths that are all named, where one of them is meant."""


def ensure_meant(path: str, files: Sequence[File], error: MisfitError) -> None:
    """Say of a path that leads nowhere which one is meant, if that can be told.

    Args:
        path: as it was given. files: those that it may lead into.
        error: what is wrong with it.

    Raises:
        MisfitError: naming the path that is meant, or a few of which one may be.
    """
    documents = [
        read_data(file.model_dump(by_alias=True, context=COMPLETE), file.name).data
        for file in files
    ]
    meant = _meant(path, documents)
    if meant:
        expected = f"did you mean {' or '.join(map(quote, meant))}?"
        raise MisfitError(expected, error.found or f"found {quote(path)}") from None


def _meant(path: str, documents: Sequence[Data]) -> list[str]:
    """The paths that may be meant: those of the same steps, of these as their end, or the nearest.

    The first step may name a file, before a path that is right.
    """
    steps = _STEP.findall(path)
    ways = [way for document in documents for way in _ways(document)]
    for wanted in filter(None, (steps, steps[1:])):
        if same := [way for way in ways if _folded(way) == _folded(wanted)]:
            return _named(same)[:1]
    ends = [way for way in ways if steps and _folded(way)[-len(steps) :] == _folded(steps)]
    shortest = min(map(len, ends), default=0)
    named = _named([way for way in ends if len(way) == shortest])
    if 0 < len(named) <= MOST_MEANT:
        return named
    nearest = (_nearest(document, steps) for document in documents)
    return _named([way for way in nearest if way])[:1]


def _ways(here: Data, steps: Steps = ()) -> Iterator[Steps]:
    """Yield the ways to all that is in a document."""
    if steps:
        yield steps
    below = here.items() if isinstance(here, dict) else enumerate(here)
    if not isinstance(here, str):
        for step, value in below:
            yield from _ways(value, (*steps, step))


def _folded(steps: Sequence[str | int]) -> list[str]:
    return [str(step).strip().casefold().replace("_", " ") for step in steps]


def _named(ways: Sequence[Steps]) -> list[str]:
    return [*dict.fromkeys(map(field_name, ways))]


def _nearest(here: Data, steps: Sequence[str]) -> Steps:
    """The way whose steps are nearest to some, one after another; none if one is near none."""
    way: list[str | int] = []
    for step in steps:
        known = here if isinstance(here, dict) else {}
        if isinstance(here, list):
            known = {str(place): value for place, value in enumerate(here)}
        name = near_miss(step, known)
        if name is None:
            return ()
        way.append(int(name) if isinstance(here, list) else name)
        here = known[name]
    return tuple(way)
