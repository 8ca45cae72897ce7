"""All the chance of one life: a stream of its own for every source."""

from __future__ import annotations

from petsim.life.streams import Stream


class Luck(dict[str, Stream]):
    """The streams of one life by source, each made when it is first used."""

    def __init__(self, seed: int, life: int) -> None:
        self._seed = seed
        self._life = life

    def __missing__(self, source: str) -> Stream:
        stream = self[source] = Stream(self._seed, source, self._life)
        return stream

    def drawn(self) -> dict[str, int]:
        """How many numbers were drawn from each source that was used."""
        return {source: stream.drawn for source, stream in self.items() if stream.drawn}
