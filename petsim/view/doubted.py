"""The odds with the doubt in them, as text."""

from __future__ import annotations

from petsim.evidence.doubt import Doubt
from petsim.study.stats import Interval
from petsim.view import aims
from petsim.view.tables import Row, counted, paragraph, table

HEAD = ("In doubt", "95 % of the odds")
"""The head of the table of what is in doubt."""
LEAST_WIDTH = 0.02
"""The width of a part, as a share, below which it is not worth knowing better."""


def odds(doubt: Doubt, width: int = 80) -> str:
    """Return what chance and what not knowing the pet do to the odds, the answer first."""
    paragraphs = (paragraph(note, width) for note in notes(doubt))
    return "\n\n".join((paragraph(gist(doubt), width), table(HEAD, rows(doubt)), *paragraphs))


def gist(doubt: Doubt) -> str:
    """Return the odds, and what the logs leave in doubt of them, in a sentence."""
    return (
        f"{aims.title(doubt.aim)} under {doubt.regime}: {100 * doubt.chance.estimate:.0f} "
        f"%{aims.of_full(doubt.aim)}, and "
        f"anything from {_ends(doubt.band)} by what the logs leave in doubt of the pet and the rig."
    )


def rows(doubt: Doubt) -> list[Row]:
    """Return what is in doubt, and the odds over it, under HEAD."""
    return [
        ("all of it", _ends(doubt.band)),
        *((part.group, _ends(part.odds)) for part in doubt.parts),
        (f"chance alone, of {counted(doubt.lives)}", _ends(doubt.chance)),
    ]


def notes(doubt: Doubt) -> list[str]:
    """Return what is worth knowing better, and how it was found, a paragraph each."""
    how = (
        f"{counted(doubt.draws, 'draw')} of what is in doubt, the same {counted(doubt.lives)} of "
        "each; what no log tells is drawn from around the guess, within about 30 % to either side."
    )
    return [_advice(doubt), how]


def _advice(doubt: Doubt) -> str:
    """Which parts are worth knowing better."""
    wide = [part.group for part in doubt.parts if part.width >= LEAST_WIDTH]
    if not wide:
        return "No part is worth knowing better: the odds hardly depend on any of them."
    rest = ", then ".join(wide)
    return (
        f"Worth knowing better, most first: {rest}. Differences between two regimes depend far "
        "less on it than the odds themselves, as both meet the same pet."
    )


def _ends(interval: Interval) -> str:
    digits = 0 if interval.high - interval.low >= LEAST_WIDTH else 1
    return f"{100 * interval.low:.{digits}f} to {100 * interval.high:.{digits}f} %"
