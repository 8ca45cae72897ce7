"""The page of a fit."""

from __future__ import annotations

from collections.abc import Iterator

from petsim._version import __version__
from petsim.evidence.doubt import Doubt
from petsim.evidence.fit import Fit
from petsim.view import (
    doubted,
    fitted,
    repeat,
)
from petsim.view.report.parts import (
    PageTable,
    Planned,
    Report,
    drawn,
)

FIT_ASSUMED = (
    "The forms, needs, actions and effects of the guess are taken for the pet's; the intervals say "
    "nothing of that.",
    "Waits of needs, waste and misbehaviour are exponential or Weibull, whatever the guess has.",
    "What is pressed depends on what was seen alone, and never on what was hidden.",
)


def of_fit(found: Fit, doubt: Doubt | None = None) -> Report:
    """The report of what logs tell of a pet and a rig, and what they leave in doubt of the odds."""
    return Report(
        question=f"What do the logs tell of {found.model.id}?",
        answer=fitted.gist(found),
        sections=drawn([*_questions_of_fit(found), *_questions_of_doubt(doubt)]),
        provenance={
            "logs": ", ".join(found.sources),
            "covered": fitted.evidence(found),
            "guess": f"{found.model.id}, looked after by {found.regime.id}",
            "petsim": __version__,
        },
        command=repeat.fit(found, odds=doubt is not None),
        assumed=(fitted.priors(), *FIT_ASSUMED),
    )


def _questions_of_fit(found: Fit) -> Iterator[Planned]:
    """The sections on a fit: what is told, what is not, and how well it predicts."""
    from petsim.view import plots

    told = [PageTable(each.title, fitted.ROW, each.rows) for each in fitted.told(found)]
    # one by one, as both together would leave most of a printed page empty
    draw = [lambda: plots.fitted(found, "pace"), lambda: plots.fitted(found, "chances")]
    yield Planned("What is told, and how surely?", draw, told)
    yield Planned("How long do the pet's waits last?", [lambda: plots.laws(found)])
    weak = PageTable(fitted.WEAK, ("weak", "what to record"), fitted.remedies(found), True)
    yield Planned("What is weak?", [], [weak] if weak.rows else [])
    rows = [each.row for each in fitted.untold(found)]
    untold = PageTable(fitted.UNTOLD, ("as guessed", "why"), rows, True)
    yield Planned("What can't be told?", [], [untold] if untold.rows else [])
    chains = PageTable(fitted.GOODNESS, ("chain", "verdict"), fitted.predictions(found), True)
    yield Planned("How well does the fit predict?", [], [chains], fitted.oddities(found))
    yield Planned("What was seen, and what was expected?", [lambda: plots.predicted(found)])


def _questions_of_doubt(doubt: Doubt | None) -> Iterator[Planned]:
    """The section on what the logs leave in doubt of the odds, if that was asked for."""
    if doubt is None:
        return
    table = PageTable("What the odds depend on", doubted.HEAD, doubted.rows(doubt))
    remark = " ".join((doubted.gist(doubt), *doubted.notes(doubt)))
    yield Planned(f"How far may the {doubt.aim.figure} be off?", [], [table], remark)
