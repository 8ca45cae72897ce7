"""Schema of the cheapest care: what `petsim choose` prints."""

from __future__ import annotations

from functools import partial

from petsim.advice.choosing.racing import Standing
from petsim.spec.choices import LOOKED_AT, REACHED_BY
from petsim.view.data.parts import (
    NUMBER,
    SHARE,
    Schema,
    by_name,
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


def choice() -> Schema:
    """Return the schema of the cheapest care found, and of all that was tried."""
    model = record(
        "A guess at the pet",
        model=text("Name of the model"),
        weight=number("How much it is believed; all sum to 1", SHARE),
    )
    place = whole("Place among the candidates, from 0", NUMBER)
    numbers = partial(list_of, item=place)
    share = or_null(number("Odds to reach", SHARE), "if the cheapest of all is asked for")
    return record(
        "The cheapest of many candidates that reaches the odds asked for",
        petsim=version(),
        models=list_of("The guesses at the pet", model),
        regime=text("Name of the regime, as given"),
        aim=text("What is hoped for, as --aim takes it"),
        at_least=share,
        on=text("What has to reach them, of the interval of the odds", *REACHED_BY),
        cheapest=text("What is to be cheap"),
        seed=seed(),
        fresh_seed=whole("Seed of the lives that confirm the choice", NUMBER),
        until=text("What each life was followed to: outcome, death, or a number of days"),
        lives=whole("Lives of a candidate at most, and fresh lives of one that is tried", least=1),
        lives_in_all=whole("Lives that were simulated in all", least=1),
        cells=or_null(whole("Combinations of what varies", least=1), "if there is any number"),
        sample=or_null(
            text("How it was chosen which to look at", *LOOKED_AT), "if all were looked at"
        ),
        rounds=whole("Rounds of small changes to the routine"),
        interrupted=flag("Whether it was ended by Ctrl-C"),
        chosen=or_null(place, "if none is shown to reach the odds"),
        tries=list_of("Those that were tried on fresh lives; the last is chosen or best", _tried()),
        alike=numbers("Those the same in every life as the chosen one, or the best"),
        as_cheap=numbers("Others that may cost as little, and may reach the odds"),
        cheaper=numbers("Those that cost less, and may reach the odds, as is not shown"),
        candidates=list_of("All that were looked at", _candidate()),
    )


def _tried() -> Schema:
    by_model = record("The odds under a model", model=text("Name of the model"), **ends(SHARE))
    return record(
        "A candidate on fresh lives",
        candidate=whole("Its place among the candidates, from 0", NUMBER),
        odds=record("Odds over all models, with an interval of the level", **ends(SHARE)),
        level=number("Level of that interval", SHARE),
        cost=record("Mean cost of a life", **ends("as asked for")),
        holds=flag("Whether that is enough"),
        by_model=list_of("The same under each model, with 95 % intervals", by_model),
    )


def _candidate() -> Schema:
    return record(
        "A way to look after the pet",
        values=by_name("The value of each quantity that varies", text("As a file has it")),
        steps=list_of("What is changed in the routine", text("A change")),
        odds=record("Odds of the aim over all models, in the search", **ends(SHARE)),
        cost=record("Mean cost of a life", **ends("as asked for")),
        more=record("What it costs more than the chosen one, or the best", **ends("same unit")),
        gained=record("How much better its odds are than there", **ends("share of lives")),
        lives=whole("Lives that it was simulated for", least=1),
        standing=text("Where the search left it", *(each.value for each in Standing)),
    )
