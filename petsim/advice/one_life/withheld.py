"""Living a life again without one thing that went wrong in it, all other luck held.

Only what went wrong while something was due that the life failed by is tried. A life without any
other mishap would differ too, as small things shift all that follows; but that would be chance, and
not what the life failed by.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from petsim.advice.one_life.chain import Link
from petsim.life.history import History
from petsim.life.kinds import EventKind
from petsim.life.mishaps import IMAGINES, MISREADS, OUTAGE, OVERLOOKS, SPELL, Mishap
from petsim.life.record import Life, Seen
from petsim.life.turning import Turning

MOST = 150
"""Lives lived again without a mishap at most, a tenth to a fifth of a second each."""
_OF_EYES = (OVERLOOKS, IMAGINES, MISREADS)


@dataclass(frozen=True)
class Candidate:
    """A mishap that may be what a life failed by.

    seconds: how long it lasted, or by how much it was late; 0 of what takes no time. sight: what
    was seen wrongly by it. links: what was due then.
    """

    mishap: Mishap
    seconds: int
    sight: Seen | None
    links: tuple[Link, ...]


def candidates(history: History, turn: Turning | None, found: Sequence[Link]) -> list[Candidate]:
    """Return the mishaps that went on while something was due, up to the turning point, in order.

    From the last check before it was due on, as that could have kept it from coming. If the life
    failed by nothing that was due, such as by weight, all since the form was taken count.

    Args:
        history: of the life.
        turn: where the aim went out of reach; None if it died before.
        found: what it failed by.
    """
    life = history.life
    end = life.summary["end_s"] if turn is None else turn.t
    fallback = 0 if turn is None else life.summary[f"entered_s.{turn.form}"]
    each = []
    for mishap, seconds in _with_length(life):
        due = tuple(x for x in found if mishap.t < x.t and mishap.t + seconds >= x.before)
        unexplained = not found and mishap.t >= fallback
        sight = _sight(life, mishap)
        is_wrong = sight is not None or not mishap.source.startswith(_OF_EYES)
        if mishap.t < end and is_wrong and (due or unexplained):
            each.append(Candidate(mishap, seconds, sight, due))
    return each


def _with_length(life: Life) -> Iterator[tuple[Mishap, int]]:
    """Each mishap of a life, and how many seconds it took."""
    ends = {OUTAGE: EventKind.OUTAGE_ENDS, SPELL: EventKind.SPELL_ENDS}
    for mishap in life.mishaps:
        if mishap.source not in ends:
            yield mishap, mishap.delay
            continue
        over = (e.t for e in life.entries if e.event == ends[mishap.source] and e.t >= mishap.t)
        yield mishap, next(over, life.summary["end_s"]) - mishap.t


def _sight(life: Life, mishap: Mishap) -> Seen | None:
    """What was seen wrongly by an error of the eyes; None of another mishap, or if it was right."""
    if not mishap.source.startswith(_OF_EYES):
        return None
    _, signal = mishap.source.split(" ", 1)
    seen = (s for s in life.sights if s.t == mishap.t and s.signal == signal)
    return next((s for s in seen if s.seen != s.truth), None)


def is_averted(life: Life, links: Iterable[Link]) -> bool:
    """Whether one of several links is not in a life, or there are none."""
    kinds = (EventKind.MISS, EventKind.LAPSE)
    there = {(entry.t, entry.what) for entry in life.entries if entry.event in kinds}
    links = list(links)
    return not links or any((x.t, "" if x.miss is None else x.cause) not in there for x in links)
