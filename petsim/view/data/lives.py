"""Schema of one life: what `petsim run` prints."""

from __future__ import annotations

import re

from petsim.life.kinds import EventKind
from petsim.life.record import LABELS, columns
from petsim.spec import defaults
from petsim.spec.library import load_model
from petsim.view.data.parts import (
    NUMBER,
    Schema,
    list_of,
    or_null,
    record,
    seed,
    text,
    version,
    whole,
)


def life() -> Schema:
    """Return the schema of one life, its columns and its log."""
    event = record(
        "An entry of the log",
        t=whole("Time since the life began", "s"),
        event=text("What happened", *EventKind),
        what=text("The form, need, cause or action that it is about; empty if there is none"),
        value=or_null(
            whole("Level, pile, doses, discipline or care misses after it", NUMBER),
            "if nothing is counted",
        ),
    )
    return record(
        "One life",
        petsim=version(),
        model=text("Name of the model"),
        regime=text("Name of the regime, as given"),
        seed=seed(),
        life=whole("Number of the life", NUMBER),
        summary=_summary(),
        events=list_of("All that happened, in order", event),
    )


def _summary() -> Schema:
    """The columns of a life: those of any model, and by their beginnings those that vary."""
    fixed: dict[str, Schema] = {}
    varied: dict[str, Schema] = {}
    for column in columns(load_model(defaults.MODEL)):
        if column.name in LABELS:
            fixed[column.name] = text(column.meaning)
            continue
        start, dot, _ = column.name.partition(".")
        example = f"For example, {column.name}: " if dot else ""
        schema = whole(f"{example}{column.meaning}", column.unit or NUMBER, least=-1 if dot else 0)
        if dot:
            varied.setdefault(f"^{re.escape(start)}\\.", schema)
        else:
            fixed[column.name] = schema
    about = "The life in numbers, as in the table of lives"
    return record(about, **fixed) | {"patternProperties": varied}
