"""Random worlds that were drawn once and are kept, so that every run meets the same at once.

    python -m tests.drawn

draws them anew, which takes a minute or two, and is to be done whenever `tests/strategies.py` or
`tests/pets.py` has changed.
"""

from __future__ import annotations

import gzip
import json
from collections.abc import Callable, Iterable
from functools import cache, partial, wraps
from hashlib import blake2b
from inspect import signature
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from tests import pets, strategies
from tests.strategies import World, worlds

KEPT = Path(__file__).parent / "data" / "worlds.json.gz"
CORPORA: dict[str, tuple[Callable[[], st.SearchStrategy[World | None]], int]] = {
    "worlds": (worlds, 400),
    "rigs": (partial(worlds, rig=True), 200),
    "takeovers": (pets.taken_over_worlds, 600),
}
"""What is kept under each name: what draws it, and how many are drawn."""


def digest() -> str:
    """What tells whether the strategies are those that the kept worlds were drawn by."""
    sources = (Path(str(module.__file__)).read_bytes() for module in (strategies, pets))
    return blake2b(b"".join(sources), digest_size=8).hexdigest()


@cache
def examples(strategy: Callable[[], st.SearchStrategy[Any]], number: int) -> tuple[Any, ...]:
    """Random examples of a strategy, the same in every run with one version of Hypothesis."""
    drawn: list[Any] = []

    @settings(
        max_examples=number,
        derandomize=True,
        database=None,
        deadline=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(strategy())
    def keep(example: Any) -> None:
        drawn.append(example)

    keep()
    return tuple(drawn)


@cache
def kept() -> dict[str, Any]:
    """All that is kept."""
    return dict(json.loads(gzip.decompress(KEPT.read_bytes())))


@cache
def _corpus(name: str) -> tuple[World, ...]:
    return tuple(World(*fields) for fields in kept()[name])


def random_worlds(number: int = 300) -> tuple[World, ...]:
    """The first of 400 random worlds, which all tests share, so none may change them."""
    return _corpus("worlds")[:number]


def random_rigs(number: int = 200) -> tuple[World, ...]:
    """The first of 200 random worlds whose regimes have most of what real rigs and people add."""
    return _corpus("rigs")[:number]


def random_takeovers(number: int = 150) -> tuple[World, ...]:
    """The first random worlds whose lives take a pet over, at least 150."""
    return _corpus("takeovers")[:number]


def of_each(sample: Callable[[], Iterable[Any]]) -> Callable[[Callable[..., None]], Any]:
    """Make a check of one example, its first argument, a test of all of them."""

    def tested(check: Callable[..., None]) -> Any:
        first, *fixtures = signature(check).parameters.values()

        @wraps(check)
        def test(**values: Any) -> None:
            for example in sample():
                try:
                    check(example, **values)
                except Exception as failure:
                    failure.add_note(f"{first.name}: {example}")
                    raise

        # the rest of its arguments are asked of pytest
        test.__signature__ = signature(check).replace(parameters=fixtures)  # type: ignore[attr-defined]
        return test

    return tested


def in_worlds(number: int) -> Callable[[Callable[..., None]], Any]:
    """Make a check of a world a test of so many random ones."""
    return of_each(partial(random_worlds, number))


def in_rigs(number: int) -> Callable[[Callable[..., None]], Any]:
    """The same, of worlds with what real rigs and people add."""
    return of_each(partial(random_rigs, number))


def main() -> None:
    """Draw the worlds anew and keep them."""
    drawn: dict[str, Any] = {"drawn by": digest()}
    for name, (strategy, number) in CORPORA.items():
        drawn[name] = [world for world in examples(strategy, number) if world is not None]
    data = json.dumps(drawn, separators=(",", ":")).encode()
    KEPT.write_bytes(gzip.compress(data, mtime=0))


if __name__ == "__main__":
    main()
