"""Schemas of what counters should show: what `petsim expect` prints."""

from __future__ import annotations

from typing import get_args

from petsim.life.counters import Of as Counted
from petsim.view.data.parts import (
    NUMBER,
    SHARE,
    Schema,
    either,
    ends,
    list_of,
    number,
    record,
    seed,
    text,
    version,
    whole,
)


def expect() -> Schema:
    """Return the schema of what counters should show, in each of its three forms."""
    about = (
        "What the counters should show: by day, on a day by hour (--day), or in a log (--against)"
    )
    return either(about, _expected(), _expected_day(), _held_log())


def _counter(**more: Schema) -> Schema:
    return record(
        "Something that is counted",
        of=text("What is counted: looks that read 0 of a need are zero", *get_args(Counted)),
        name=text("The action or the need; empty of checks and presses"),
        **more,
    )


def _expected() -> Schema:
    own = "in which as many lives have it"
    day = record(
        "A day of the pet's clock",
        day=whole("Its number, 1 for the first", NUMBER, least=1),
        from_s=whole("Second of the day at which it begins, 0 but for the first", "s"),
        alive=number("Share of lives that live through it, of which all else is", SHARE),
        counters=list_of(
            "What is counted",
            _counter(
                median=number("Median", "count"),
                low=whole("Least within the band"),
                high=whole("Greatest within the band"),
            ),
        ),
    )
    regime = record(
        "The bands under a regime, which hold together",
        regime=text("Name of the regime, as given"),
        together=record("Fresh lives all of whose counts are within their bands", **ends(SHARE)),
        alone=record(f"The same, if each count has a band of its own {own}", **ends(SHARE)),
        days=list_of("The days", day),
    )
    return record(
        "By day",
        petsim=version(),
        model=text("Name of the model or pet"),
        seed=seed(),
        lives=whole("Lives from which the bands are made", least=1),
        confidence=number("Chance of a quiet life to stay within all bands", SHARE),
        regimes=list_of("The regimes, in the order given", regime),
    )


def _expected_day() -> Schema:
    mean = "mean over the lives that live through the hour"
    hour = record(
        "An hour of the day",
        hour=whole("The hour", "0..23"),
        suppressed=record(
            "Checks that are not carried out",
            outage=number(f"As the power is out, {mean}", "count"),
            busy=number(f"As another goes on, or the next has overtaken it, {mean}", "count"),
            forgotten=number(f"As nobody thinks of it, {mean}", "count"),
            window=number("That would be due in a clock window without checks", "count"),
        ),
        counters=list_of("What is counted", _counter(mean=number(f"Count, {mean}", "count"))),
    )
    growth = record(
        "A growth on that day",
        before=text("The form before it"),
        after=text("The form after it"),
        share=number("Share of the lives that begin the day", SHARE),
        median_s=number("When it comes, median", "s of the day"),
        low_s=number("When it comes, lower end of 95 % of them", "s of the day"),
        high_s=number("When it comes, upper end of 95 % of them", "s of the day"),
    )
    form = record(
        "A form that a pet may have on that day",
        form=text("The form"),
        share=number("Share of the lives that begin the day", SHARE),
        next=list_of("What the camera must tell apart next", text("A form it can grow into")),
    )
    return record(
        "A day by hour (--day)",
        petsim=version(),
        model=text("Name of the model or pet"),
        regime=text("Name of the regime, as given"),
        seed=seed(),
        lives=whole("Lives simulated", least=1),
        day=whole("Number of the day, 1 for the first", NUMBER, least=1),
        weekday=whole("Its weekday, Monday is 0", NUMBER),
        alive=number("Share of lives that begin the day", SHARE),
        hours=list_of("The hours that are lived", hour),
        growths=list_of("Growths of the day, by time", growth),
        forms=list_of("Forms of the day", form),
    )


def _held_log() -> Schema:
    outside = record(
        "A count outside its band",
        day=whole("Number of the day, 1 for the first", NUMBER, least=1),
        counter=_counter(),
        logged=whole("What the log has"),
        median=number("Median of quiet lives", "count"),
        low=whole("Least within the band"),
        high=whole("Greatest within the band"),
    )
    day = whole("Number of a day, 1 for the first", NUMBER, least=1)
    return record(
        "A log held against the bands (--against)",
        petsim=version(),
        log=text("The log"),
        model=text("Name of the model or pet"),
        regime=text("Name of the regime, as given"),
        confidence=number("Chance of a quiet life to have no count outside", SHARE),
        days=list_of("Days that were held", day),
        left_out=list_of("Days that were not, as lines of the log are lost", day),
        unseen=list_of("What the log does not tell", _counter()),
        outside=list_of("The counts outside, by day", outside),
    )
