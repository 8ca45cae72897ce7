"""Schema of what was found in files: what `petsim check` prints."""

from __future__ import annotations

from petsim.view.data.parts import (
    NUMBER,
    Schema,
    by_name,
    flag,
    list_of,
    number,
    or_null,
    record,
    text,
    version,
    whole,
)


def findings() -> Schema:
    """Return the schema of what checking files found."""
    finding = record(
        "What came of checking a file",
        source=text("Its name or path, as given"),
        kind=text(
            "What it is; empty if that can't be told",
            *("", "model", "regime", "pet", "policy", "study", "sweep", "log"),
        ),
        models=list_of("Models that it was checked against", text("Name of a model")),
        problems=list_of("What is wrong, none if all is well", text("A problem, in a line")),
        notes=list_of("What is allowed but may not be meant", text("A note, in a line")),
        log=or_null(_log(), "if it is no log, or a wrong one"),
    )
    return record(
        "What came of checking files", petsim=version(), files=list_of("The files", finding)
    )


def _log() -> Schema:
    gap = record(
        "Lines that are missing",
        line=whole("Number of the line before which they are", NUMBER),
        lost=whole("How many are missing"),
    )
    return record(
        "What is in a log",
        lines=whole("Lines that count"),
        lives=list_of("Its lives", _logged_life()),
        cuts=list_of("Lines that were cut off", whole("Number of the line", NUMBER)),
        gaps=list_of("Where lines are missing", gap),
        jumps=list_of("Where the wall clock jumped", _jump("it jumped")),
        drifts=list_of("Where the pet's clock has moved", _jump("it moved")),
        outside=whole("Checks, looks and actions between an end and the next birth"),
        blind_spots=list_of("What it can't say", text("A reason, and what stays a guess for it")),
    )


def _jump(what: str) -> Schema:
    return record(
        "A clock that is otherwise than the line before lets expect",
        line=whole("Number of the line", NUMBER),
        by_s=number(f"By how much {what}", "s"),
    )


def _logged_life() -> Schema:
    return record(
        "A life in a log",
        pet=text("What the pet is called"),
        regime=text("The regime that the header names; empty if it names none"),
        begins=text("The pet's clock at its first second"),
        born=flag("Whether that is its birth"),
        end=or_null(text("How it ended", "died", "left"), "if the log does not say"),
        days=number("From its first second to the last", "days"),
        checks=whole("Checks"),
        skipped=whole("Checks that were skipped, as the last one still went on"),
        looks=whole("Looks"),
        seen=by_name("Looks at each signal", whole("Looks at it")),
        unreadable=by_name("Looks that could not make out a signal", whole("Such looks")),
        actions=by_name("Actions that were begun", whole("How often")),
        unfinished=whole("Actions of which it has the first press only"),
        up_s=number("How long the rig was up", "s"),
        outages_s=list_of("Times for which it was not", number("How long one was", "s")),
    )
