"""Schemas of trials with real pets, and of how many it takes."""

from __future__ import annotations

from petsim.view.data.parts import (
    SHARE,
    Schema,
    either,
    ends,
    flag,
    number,
    or_null,
    record,
    text,
    version,
    whole,
)


def _odds(about: str) -> Schema:
    odds = number("Odds", SHARE)
    simulated = record(
        "Simulated odds",
        odds=odds,
        low=number("Lower end of their 95 % interval", SHARE),
        high=number("Upper end of their 95 % interval", SHARE),
        days=number("Time to the outcome of a simulated life, mean", "days"),
        model=text("Name of the model"),
        regime=text("Name of the regime"),
        aim=text("What is hoped for, as --aim takes it, whose odds they are"),
        lives=whole("Simulated lives", least=1),
    )
    return either(about, record("Odds as given", odds=odds), simulated)


def trials() -> Schema:
    """Return the schema of trials with real pets, and of odds that they are held against."""
    unasked = "if no odds are given to hold them against"
    bound = number("Greatest odds that go with no success, or least that go with successes", SHARE)
    real = record(
        "What real pets say (K/N)",
        petsim=version(),
        reached=whole("Pets that became what was aimed for"),
        pets=whole("Pets in all", least=1),
        **ends(SHARE),
        bound=or_null(bound, "if there were both"),
        against=or_null(_odds("What they are held against"), unasked),
        p_value=or_null(number("Exact binomial test, two-sided", SHARE), unasked),
        compatible=or_null(flag("Whether they agree with the odds, at 5 %"), unasked),
    )
    plan = record(
        "How many real pets tell two odds apart (--tell)",
        petsim=version(),
        first=_odds("The first odds"),
        second=_odds("The second odds"),
        days=number("Time that a real life takes", "days"),
        rigs=whole("Real pets that live at the same time", least=1),
        one_routine=_trial_design("Which of the odds one routine has"),
        two_routines=_trial_design("Whether two routines, one of each odds, differ"),
    )
    return either("What real pets say, or how many it takes", real, plan)


def _trial_design(about: str) -> Schema:
    cutoff = whole("Successes at which the second odds are believed")
    design = record(
        about,
        pets=whole("Pets, under each routine", least=1),
        power=number("Chance of seeing what is there", SHARE),
        cutoff=or_null(cutoff, "of two routines"),
        weeks=number("Time that all of them take", "weeks"),
    )
    return or_null(design, "if it takes too many")
