"""What goes wrong by chance in a life, one by one, so that a life can be lived without one of it.

Nothing else changes by that: whatever is drawn for a mishap is drawn all the same, so the rest of
the life meets the luck that it would have met.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection
from typing import Final, NamedTuple

OUTAGE: Final = "outage"
SPELL: Final = "spell"
LATE: Final = "late"
UNHEARD: Final = "unheard"
FORGETS: Final = "forgets"
OVERLOOKS, IMAGINES, MISREADS, SLIPS = "overlooks", "imagines", "misreads", "slips"
"""How the sources of errors of eyes and hands begin; what is seen or done follows."""

Key = tuple[str, int]
"""The source of a mishap, and its number among those of the source, from 1."""


class Mishap(NamedTuple):
    """Something that went wrong by chance.

    source: where from, such as `overlooks waste`, `slips feed`, `forgets`, `late`, `unheard`,
    `outage` or `spell`. number: which of that source, 1 for the first of the life. t: its second;
    of a late check, that in which it was due. delay: by how many seconds a check was late.
    """

    source: str
    number: int
    t: int
    delay: int = 0

    @property
    def key(self) -> Key:
        """What tells it apart from all others of its life."""
        return self.source, self.number


class Mishaps:
    """Counts the mishaps of one life, and withholds some.

    Args:
        now: tells the second of the life.
        withheld: those that do not happen.

    happened: all others, in order.
    """

    def __init__(self, now: Callable[[], int], withheld: Collection[Key] = ()) -> None:
        self._now = now
        self._withheld = withheld
        self._counts = Counter[str]()
        self.happened: list[Mishap] = []

    def happens(self, source: str, delay: int = 0) -> bool:
        """Count one more mishap of a source; return whether it happens, or is withheld."""
        self._counts[source] += 1
        mishap = Mishap(source, self._counts[source], self._now(), delay)
        if mishap.key in self._withheld:
            return False
        self.happened.append(mishap)
        return True
