"""The odds with the doubt in them, as text."""

from __future__ import annotations

from petsim.evidence.doubt import Doubt
from petsim.study.stats import Interval
from petsim.view.tables import counted, paragraph, table

LEAST_WIDTH = 0.02
"""The width of a part, as a share, below which it is not worth knowing better."""


def odds(doubt: Doubt, width: int = 80) -> str:
    """Return what chance and what not knowing the pet do to the odds, the answer first."""
    band = _ends(doubt.band)
    answer = (
        f"Odds of {doubt.aim} under {doubt.regime}: {100 * doubt.chance.estimate:.0f} %, and "
        f"anything from {band} by what the logs leave in doubt of the pet and the rig."
    )
    rows = [
        ("all of it", band),
        *((part.group, _ends(part.odds)) for part in doubt.parts),
        (f"chance alone, of {counted(doubt.lives)}", _ends(doubt.chance)),
    ]
    how = (
        f"{counted(doubt.draws, 'draw')} of what is in doubt, the same {counted(doubt.lives)} of "
        "each; what no log tells is drawn from around the guess, within about 30 % to either side."
    )
    return "\n\n".join(
        (
            paragraph(answer, width),
            table(("In doubt", "95 % of the odds"), rows),
            paragraph(_advice(doubt), width),
            paragraph(how, width),
        )
    )


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
