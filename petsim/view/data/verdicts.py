"""Schema of checks against theory: what `petsim verify` prints."""

from __future__ import annotations

from petsim.spec.choices import ENGINES
from petsim.view.data.parts import Schema, flag, list_of, number, or_null, record, text


def verdicts() -> Schema:
    """Return the schema of checks against theory."""
    got = or_null(number("What petsim has", "as named"), "if that is no finite number")
    figure = record(
        "A figure on an engine",
        check=text("Name of the check"),
        source=text("Where its theory is from"),
        engine=text("The engine", *ENGINES[1:]),
        what=text("The case and, after the last colon, the figure, with its unit if it has one"),
        expected=number("What theory says", "as named"),
        got=got,
        tolerance=number("How far they may be apart", "as named"),
        holds=flag("Whether they are as near as that"),
    )
    return list_of("Every figure of every check", figure)
