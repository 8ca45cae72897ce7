"""Schemas of a fit, and of the odds under it."""

from __future__ import annotations

from typing import get_args

from petsim.evidence.estimate import Of, Verdict
from petsim.view.data.parts import (
    SHARE,
    Schema,
    ends,
    flag,
    list_of,
    number,
    or_null,
    record,
    text,
    version,
    whole,
)


def fit() -> Schema:
    """Return the schema of a fit, with the odds under it if they were asked for."""
    return record(
        "What logs say of a pet and a rig",
        "odds",
        petsim=version(),
        model=text("Name of the model that was guessed"),
        regime=text("Name of the regime that was guessed"),
        logs=list_of("The logs", text("Path of a log, or what else it was")),
        lives=whole("Lives in the logs", least=1),
        days=number("Time that they cover", "days"),
        parameters=list_of("Each parameter that a log may tell", _parameter()),
        chains=list_of("How each hidden chain was fitted", _chain()),
        odds=_doubt(),
    )


def _doubt() -> Schema:
    ends = {end: number(f"{end.capitalize()} end of 95 %", SHARE) for end in ("low", "high")}
    of_lives = {"estimate": number("Odds of the aim", SHARE), **ends}
    of_draws = {"estimate": number("Median of the odds", SHARE), **ends}
    return record(
        "Odds of the aim with what the logs leave in doubt, where they are asked for",
        aim=text("What is hoped for, as --aim takes it, whose odds or worth they are"),
        regime=text("Name of the regime"),
        lives=whole("Lives of each draw", least=1),
        draws=whole("Draws of all that is in doubt", least=1),
        chance=record("At the estimates, with the doubt of chance", **of_lives),
        band=record("Over the draws of all that is in doubt", **of_draws),
        parts=list_of(
            "The same of one group of parameters alone, widest first",
            record("A group", group=text("What is in it"), **of_draws),
        ),
    )


def _parameter() -> Schema:
    unit = "a time in s, a rate a day, a chance as a share, a clock time in s of the day"
    told = {name: or_null(end, "if it is refused") for name, end in ends(unit).items()}
    return record(
        "A parameter",
        path=text("Where it is in its file"),
        file=text("Its file", "model", "regime"),
        of=text("What is estimated", *get_args(Of)),
        **told,
        verdict=text("How well the logs tell it", *get_args(Verdict)),
        record=text("What to record for more; empty if it is told well, or nothing would do"),
        why=text("Why it is refused; empty if it is not"),
        guess=or_null(number("Its value in the guess", unit), "if it is no number"),
    )


def _chain() -> Schema:
    part = record(
        "First looks of checks of one kind",
        what=text("A form, or hours of the day"),
        n=whole("Looks", least=1),
        seen=number("Mean that was seen", "level, pile or share"),
        expected=number("Mean that was expected", "level, pile or share"),
        z=number("Difference of the sums", "standard deviations"),
    )
    return record(
        "A hidden chain",
        chain=text("A need, or waste, illness, misbehaviour or light"),
        looks=whole("Looks at it"),
        impossible=whole("Looks that can't be by the model"),
        converged=flag("Whether the search for the likeliest values came to an end"),
        log_likelihood=number("Log-likelihood there, without the priors", "nat"),
        p=or_null(
            number("Chance of first looks as far from what was expected", SHARE),
            "if that is not tested",
        ),
        parts=list_of("What was seen and expected, by form and by hours", part),
    )
