"""Why care misses happen, in words."""

from __future__ import annotations

from collections.abc import Sequence

from petsim.study.reasons import ORDER, MissReasons
from petsim.view.numbers import mean
from petsim.view.tables import Column, counted, paragraph, table

FIRST = "Each miss has one reason: what stopped the first check that could have put it right."


def title(reasons: Sequence[MissReasons]) -> str:
    """Return what the table of reasons is of."""
    return f"Why care misses happened, misses a life, in the first {counted(len(reasons[0]))}"


def reasons(traced: MissReasons, width: int = 80) -> str:
    """Return why the misses under one regime happened."""
    of = paragraph(f"{title([traced])}, under {traced.regime}", width)
    rows = table((), [*columns([traced])[0].items()], "  ")
    return f"{of}\n{rows}\n\n{paragraph(FIRST, width)}"


def columns(reasons: Sequence[MissReasons]) -> list[Column]:
    """Return the misses a life by reason, a column each regime, but for reasons that none had."""
    seen = [reason for reason in ORDER if any(r.mean(reason).estimate for r in reasons)]
    return [
        {"in all": mean(each.mean())} | {str(reason): mean(each.mean(reason)) for reason in seen}
        for each in reasons
    ]
