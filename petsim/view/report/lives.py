"""The page of one life."""

from __future__ import annotations

from collections.abc import Iterator

from petsim._version import __version__
from petsim.life.record import Life
from petsim.view import (
    diary,
    outcome,
    repeat,
)
from petsim.view.report.parts import (
    PageTable,
    Planned,
    Report,
    assumed_of,
    drawn,
)


def of_life(life: Life) -> Report:
    """The report of one life."""
    return Report(
        question=f"What became of life {life.number} of {life.model.id} under {life.regime}?",
        answer=f"{outcome.headline(life)}.",
        sections=drawn(_questions_of(life)),
        provenance={
            "model": life.model.id,
            "regime": life.regime,
            "seed": str(life.seed),
            "petsim": __version__,
        },
        command=repeat.report(life),
        assumed=assumed_of(life.model),
    )


def _questions_of(life: Life) -> Iterator[Planned]:
    """The sections on one life: what happened, and when care was missed if it was."""
    from petsim.view import plots

    rows = [
        (day.heading, f"{time}  {'; '.join(lines)}")
        for day in diary.days(life, ["misses", "growth"])
        for time, lines in day.entries
    ]
    entries = PageTable("Growth and care misses", ("day", "what happened"), rows, prose=True)
    yield Planned("What happened, day by day?", [lambda: plots.timeline(life)], [entries])
    if life.summary["misses"]:
        yield Planned("At which hours was care missed?", [lambda: plots.misses_by_hour(life)])
