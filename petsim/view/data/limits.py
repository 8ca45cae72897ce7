"""Schema of how bad each part may be: what `petsim tolerance` prints."""

from __future__ import annotations

from typing import get_args

from petsim.advice.limits.quantity import Kind, Unit
from petsim.advice.limits.tolerance import Holds
from petsim.view.data.parts import (
    SHARE,
    Schema,
    ends,
    flag,
    list_of,
    number,
    or_null,
    record,
    seed,
    text,
    version,
    whole,
)


def tolerances() -> Schema:
    """Return the schema of limits under each model."""
    model = record(
        "A model",
        model=text("Its name"),
        weight=number("How much it is believed; all sum to 1", SHARE),
    )
    odds = record(
        "Odds of the aim today, or expected worth, with luck and the doubt between models",
        **ends(SHARE),
        sampling=record("With luck alone", **ends(SHARE)),
    )
    return record(
        "How bad each thing may be for the odds to hold",
        petsim=version(),
        aim=text("What is hoped for, as --aim takes it"),
        regime=text("Name of the regime, as given"),
        models=list_of("The models, each a guess at the pet", model),
        at_least=number("Odds that are to hold", SHARE),
        odds=odds,
        together=or_null(_tolerance(), "if there are no errors today, or it is not known yet"),
        each=list_of("Each thing by itself, those with the least room left first", _tolerance()),
        lives=whole("Lives with one value of one thing, at most", least=1),
        precision=number("Half the width of an interval that was wanted", "share of the limit"),
        seed=seed(),
        until=text("What each life was followed to: outcome, death, or a number of days"),
        asked=whole("Things that were asked about, together included", least=1),
        interrupted=flag("Whether some of them were not gone into"),
    )


def _tolerance() -> Schema:
    unit = "in the unit"
    beyond = "if it is beyond best or worst"
    end = record("Odds at the best if they hold nowhere, at the worst if everywhere", **ends(SHARE))
    return record(
        "How bad one thing may be; all values are worse the greater they are",
        what=text("What it is called"),
        path=text("Where the regime has it; empty for all errors together"),
        kind=text("What it is about", *get_args(Kind)),
        unit=text(
            "Unit of its values: a chance as a share, how often as times a day, a mean time in s, "
            "or a factor of today's values",
            *get_args(Unit),
        ),
        assumed=text("What is assumed that the regime does not say; empty if nothing is"),
        today=number("Its value today", unit),
        best=number("The best that was tried", unit),
        worst=number("The worst that was tried", unit),
        holds=text("Where the odds hold, from today on", *get_args(Holds)),
        limit=or_null(number("The greatest value up to which they hold", unit), "if none is"),
        low=or_null(number("Lower end of its 95 % interval", unit), beyond),
        high=or_null(number("Upper end of its 95 % interval", unit), beyond),
        room=or_null(number("The limit as a factor of today's", "factor"), "if it has none"),
        share_of_time=or_null(
            number("Share of the time that it takes at the limit", SHARE),
            "if it has none, or does not come and go",
        ),
        odds_at_end=or_null(end, "if there is a limit"),
        odds_under_each_model=list_of(
            "Of several models, the odds at the limit under each",
            record("Odds under a model", **ends(SHARE)),
        ),
    )


def known(unit: str) -> Schema:
    """Return a number that may not be known yet."""
    return or_null(number("In the unit", unit), "if it is not known yet")
