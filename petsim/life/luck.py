"""All the chance of one life: a stream of its own for every source."""

from __future__ import annotations

from collections.abc import Mapping

from petsim.life.streams import Stream


class Luck(dict[str, Stream]):
    """The streams of one life by source, each made when it is first used.

    before: how many numbers each source has drawn before, if a life goes on.
    """

    def __init__(self, seed: int, life: int, before: Mapping[str, int] | None = None) -> None:
        self.seed = seed
        self.life = life
        self._before = before or {}

    def __missing__(self, source: str) -> Stream:
        drawn = self._before.get(source, 0)
        stream = self[source] = Stream(self.seed, source, self.life, drawn)
        return stream

    def drawn(self) -> dict[str, int]:
        """How many numbers were drawn from each source that was used."""
        used = {source: stream.drawn for source, stream in self.items() if stream.drawn}
        return {**self._before, **used}
